"""Every command that the documents and the help show is run as it stands."""

import os
import re
import shlex
import shutil
import tomllib
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import pytest
from click.testing import CliRunner
from pdf_text import page_texts
from pypdf import PdfWriter
from sample_reports import short_text

from loambrief import doctor, pipeline
from loambrief.archive import verify_apart
from loambrief.archive.verify_pdf import inspect
from loambrief.case import workbook_write
from loambrief.case.load import load_case
from loambrief.cli import COMMANDS, main

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_inputs"
TUTORIAL = SAMPLES / "tutorial" / "README.md"
PASSPHRASE = "for trial only 31"


def blocks(path):
    """Command lines of a document's shell blocks, continued lines joined."""
    for block in re.findall(r"```sh\n(.*?)```", path.read_text(encoding="utf-8"), re.DOTALL):
        yield from block.replace("\\\n", " ").strip().splitlines()


def examples():
    """Command lines of every command's help."""
    def each(command):
        if hasattr(command, "list_commands"):
            for name in command.list_commands(None):
                yield from each(command.get_command(None, name))
        else:
            yield command.help or ""

    for name in COMMANDS:
        for text in each(main.get_command(None, name)):
            for line in text.replace("\\\n", " ").splitlines():
                if line.strip().startswith("loambrief "):
                    yield " ".join(line.split())


def run(line, **keys):
    """Run one line, its output redirected if it says so."""
    words = shlex.split(line)
    assert words[0] == "loambrief", line
    target = None
    if ">" in words:
        target = Path(words[words.index(">") + 1]).expanduser()
        words = words[: words.index(">")]
    result = CliRunner().invoke(main, words[1:], **keys)
    if target is not None:
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(result.output)
    return result


@pytest.fixture(scope="module", autouse=True)
def read_once():
    """The first PDF is read in a process apart, later ones here, and each once.

    The process apart has tests of its own; to start it costs more than most commands.
    """
    apart, known = verify_apart.inspect_apart, {}

    def look(data, anchors=(), *, now, archival=True, limits=None):
        key = (data, tuple(anchors), archival)
        if key not in known:
            read = inspect if known else apart
            known[key] = read(data, anchors, now=now, archival=archival)
        return known[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(verify_apart, "inspect_apart", look)
        patch.setattr("loambrief.record.verify.inspect_apart", look)
        yield


@pytest.fixture(scope="module", autouse=True)
def small_work():
    """Workbooks with one empty row, and a doctor who leaves the kept answers to 'selftest'."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(workbook_write, "SPARE_ROWS", 1)
        patch.setattr(doctor, "_answers", lambda: doctor.Checked("answers", True, ""))
        yield


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """An empty folder with the samples in it, to work in."""
    shutil.copytree(SAMPLES, tmp_path / "sample_inputs")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("KEYPASS", PASSPHRASE)
    return tmp_path


def test_tutorial_works_as_it_stands(bench):
    """ensures that the worked case can be followed to the signed and verified advisory."""
    for line in blocks(TUTORIAL):
        if line.startswith("cp -r "):
            _, _, source, target = shlex.split(line)
            shutil.copytree(source, target)
            Path("work/acid_corn_ohio/case.yaml").write_text(short_text(), "utf-8")
            continue
        result = run(line)
        assert result.exit_code == 0, (line, result.output)
    assert "Good." in run("loambrief verify work/signed.pdf --trust adviser=work/me.pem").output
    words = " ".join(page_texts(Path("work/out/creek-bottom-tutorial.annex.pdf").read_bytes()))
    assert "How the numbers were worked out" in words and "House guide" in words
    assert Path("work/spanish/creek-bottom-tutorial.html").exists()


def test_readme_commands_are_known(bench):
    """ensures that each command line of the README names commands and options that exist."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = [line for line in re.findall(r"`(loambrief [^`]+)`", text)
             if line != "loambrief COMMAND --help"]
    assert len(lines) >= 25
    for line in lines:
        name, *words = shlex.split(line)[1:]
        command = main.get_command(None, name)
        assert command is not None, line
        while hasattr(command, "list_commands") and words[0] != "--help":
            command, words = command.get_command(None, words[0]), words[1:]
            assert command is not None, line
        known = {"--help", *(o for p in command.params for o in p.opts)}
        assert {w for w in words if w.startswith("-")} <= known, line


def test_ci_runs_the_command_of_the_readme():
    """ensures that what the README says is what is run after each change, and is bounded."""
    section = (ROOT / "README.md").read_text("utf-8").partition("## Run all tests")[2]
    (command,) = re.findall(r"```sh\n(.*?)\n```", section.partition("\n## ")[0], re.DOTALL)
    assert any(line.startswith(command) for line in
               (ROOT / ".ci" / "run").read_text("utf-8").splitlines())
    options = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["pytest"][
        "ini_options"]
    assert 0 < options["timeout"] < options["session_timeout"]


def prepare():
    """The files that the examples of the help speak of."""
    three = Path("sample_inputs/three_fields_indiana")
    for name in ("profiles", "north_terrace.geojson", "mill_piece.geojson"):
        (shutil.copytree if (three / name).is_dir() else shutil.copy)(three / name, name)
    shutil.copy(three / "north_terrace.yaml", "north.yaml")
    shutil.copy(three / "mill_piece.yaml", "south.yaml")
    shutil.copytree(three, "cases/2026-10")
    Path("cases/2026-10/mill_piece.yaml").rename("cases/2026-10/2026-10-mill.yaml")
    Path("clients.txt").write_text("cases/2026-10\n")
    lab = Path("sample_inputs/lab_file")
    shutil.copy(lab / "results.csv", "results.csv")
    shutil.copytree(lab / "profiles", "cases/profiles")
    Path("case.yaml").write_text(short_text().replace("amount: 9000", "amount: 8000"), "utf-8")
    Path("grower-passphrase").write_text("")
    Path("work.csv").write_text("date,case,kind,quantity,what\n"
                                "2026-10-14,ravenel-creek-bottom,visit,1,Sampling\n")
    ring = "-86.70,40.150 -86.69,40.150 -86.69,40.151 -86.70,40.151 -86.70,40.150"
    Path("east40.kml").write_text(
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><Polygon><outerBoundaryIs>'
        f"<LinearRing><coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs></Polygon>"
        "</Placemark></kml>")
    advice = pipeline.advise(load_case(three / "creek_bottom.yaml"))
    maps, _ = pipeline.rate_map_files(advice)
    with ZipFile(BytesIO(maps["ravenel-creek-bottom-rates.zip"])) as source, \
            ZipFile("zones.zip", "w") as target:
        for name in source.namelist():
            if name.startswith("tsp."):
                target.writestr(name, source.read(name))


def fill(sheet, target):
    """Fill one box of a field sheet as a PDF reader would."""
    writer = PdfWriter(clone_from=sheet)
    fields = writer.get_fields()
    name = next(n for n in fields if "weed" in n and "species" in n)
    for page in writer.pages:
        writer.update_page_form_field_values(page, {name: "Setaria faberi"},
                                             auto_regenerate=False)
    writer.write(target)


SPECIAL = {
    "tls://10.0.0.5:8786": "needs a cluster; tests/batch/test_cluster.py runs one",
    "--really": "needs a mail server; tests/mail/test_send.py runs one",
    "--settings signing.toml": "needs a timestamp server; tests/sign runs one",
    "--head 3f8a...": "an abridged digest",
    "loambrief preview ": "serves until it is stopped; tests/preview runs one",
    "--sign --key me.p12": "needs complete cases; tests/record/test_issue_month.py issues some",
}
"""Parts of example lines that cannot be run here, and why."""


@pytest.mark.filterwarnings("ignore::DeprecationWarning:pypdf")
def test_examples_of_the_help_work(bench):
    """ensures that each example of each command runs, in the order of a season's work."""
    prepare()
    lines = list(examples())
    sample = Path("sample_inputs/acid_corn_ohio/case.yaml")
    whole = sample.read_text(encoding="utf-8")
    for line in lines:
        if any(part in line for part in SPECIAL):
            continue
        # one speaks of a material that the short case has not
        sample.write_text(whole if line.split()[1] == "compare" else short_text(), "utf-8")
        if line.startswith("loambrief intake results.csv --map"):
            shutil.rmtree("maps", ignore_errors=True)
            Path("maps").mkdir()
            shutil.copy("sample_inputs/lab_file/map.yaml", "maps/results.map.yaml")
        if "cases/east40.yaml" in line and "filled" not in line:
            shutil.copy("sample_inputs/lab_file/visit.yaml", "cases/east40.yaml")
        if "filled-fieldsheet.pdf" in line:
            run("loambrief fieldsheet cases/east40.yaml -o sheets")
            fill(next(Path("sheets").glob("*.pdf")), "filled-fieldsheet.pdf")
        if line.startswith("loambrief intake output/tarrow-east-40-"):
            run("loambrief fieldsheet sample_inputs/acid_corn_ohio/case.yaml -o output")
            fill("output/tarrow-east-40-fieldsheet.pdf", "output/x.pdf")
            os.replace("output/x.pdf", "output/tarrow-east-40-fieldsheet.pdf")
        if line.startswith("loambrief batch "):
            for left in [*Path("cases").glob("*.yaml"), *Path("cases").glob("lab*")]:
                left.unlink()
            if "'cases" in line:
                shutil.rmtree("output/2026-10")
        if line.startswith("loambrief sign MQ"):
            run('loambrief keys new --name "Ilse Varga" -o me.p12 --passphrase-env KEYPASS')
            run('loambrief keys new --name "Odessa Pruett" -o grower.p12 '
                '--passphrase-env KEYPASS')
            shutil.copy("output/IV-2026-0001-r1.pdf", "MQ-2026-0001-r1.pdf")
            for name in ("IV-2026-0001-r1.annex.pdf", "MQ-2026-0001-r1.annex.pdf"):
                shutil.copy("output/IV-2026-0001-r1.annex.pdf", name)
        if line.startswith("loambrief keys new"):
            Path("me.p12").unlink()
            Path("me.pem").unlink()
        if line.startswith("loambrief archive init") and Path("records").exists():
            os.replace("records", "kept")
        asks = line.startswith(("loambrief sign ", "loambrief keys new")) and "-env" not in line
        result = run(f"{line} --passphrase-env KEYPASS" if asks else line)  # no terminal here
        if Path("kept").exists():
            shutil.rmtree("records")
            os.replace("kept", "records")
        assert result.exit_code == 0, (line, result.output, result.exception)
    assert len(lines) > 50
