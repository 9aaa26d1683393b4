"""`loambrief batch` as a user starts it: real cases, real bytes, exit codes and words."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from loambrief.cli import main
from loambrief.pipeline import make_advisory

SAMPLES = Path(__file__).parents[2] / "sample_inputs"
GOOD = SAMPLES / "vegetables_new_jersey" / "case.yaml"
BAD = SAMPLES / "broken" / "wrong_unit.yaml"


def batch(*arguments, folder=None):
    """The command in a process of its own."""
    environment = {**os.environ, "PYTHONHASHSEED": "7", "TZ": "Asia/Kolkata", "LC_ALL": "C"}
    return subprocess.run([sys.executable, "-m", "loambrief.cli", "batch", *map(str, arguments)],
                          capture_output=True, text=True, timeout=300, cwd=folder,
                          env=environment, encoding="utf-8")


@pytest.fixture(scope="module")
def month(tmp_path_factory):
    """A run over two good cases and a bad one, one of them with a profile and own wording."""
    folder = tmp_path_factory.mktemp("month")
    home = folder / "cases" / "north"
    home.mkdir(parents=True)
    text = GOOD.read_text(encoding="utf-8")
    start, end = text.index("client:"), text.index("farm:")
    profile = "".join(line[2:] if line.startswith("  ") else line
                      for line in text[start:end].splitlines(keepends=True)[1:])
    (home / "client.yaml").write_text(profile, encoding="utf-8")
    (home / "one.yaml").write_text(text[:start] + "client: {file: client.yaml}\n" + text[end:],
                                   encoding="utf-8")
    two = text.replace("id: marl-run-block-c", "id: block-d").replace("name: Block C",
                                                                      "name: =Block D")
    (folder / "cases" / "two.yaml").write_text(two, encoding="utf-8")
    (folder / "cases" / "bad.yaml").write_text(BAD.read_text(encoding="utf-8"), encoding="utf-8")
    done = batch("cases", "-o", "out", "--workers", "2", "--json", "--bundle", "--text",
                 folder=folder)
    return folder, done


def test_one_bad_case_is_an_exit_code(month):
    """ensures exit code 1, every problem by place, and the good cases made."""
    _, done = month
    assert done.returncode == 1, done.stderr
    data = json.loads(done.stdout)
    assert (data["made"], data["failed"], data["not_tried"]) == (2, 1, 0)
    bad = next(c for c in data["cases"] if c["status"] == "failed")
    assert len(bad["problems"]) == 4 and bad["problems"][0].startswith("cases/bad.yaml:55:21: ")


def test_the_very_bytes_of_advise(month):
    """ensures that a batch writes for each case what advise writes, to the byte."""
    folder, _ = month
    out = folder / "out" / "sorrentino-oyelaran-produce"
    for name, case_id in (("north/one.yaml", "marl-run-block-c"), ("two.yaml", "block-d")):
        advisory = make_advisory(folder / "cases" / name)
        assert (out / f"{case_id}.pdf").read_bytes() == advisory.pdf
        assert (out / f"{case_id}.json").read_bytes() == advisory.data
        assert (out / f"{case_id}.txt").exists()


def test_documents_of_the_month(month):
    """ensures that summary, cover and bundle stand where they are said to."""
    folder, done = month
    data = json.loads(done.stdout)
    written = [Path(p).as_posix() for p in data["documents"]]
    assert written == ["out/summary.csv", "out/summary.xlsx",
                       "out/sorrentino-oyelaran-produce/_bundle-sorrentino-oyelaran-produce.pdf",
                       "out/month-2026-11.pdf"]
    assert all((folder / p).stat().st_size > 500 for p in written)
    table = (folder / "out" / "summary.csv").read_text(encoding="utf-8-sig")
    assert "'=Block D" in table and ",failed," in table
    assert not list((folder / "out" / ".loambrief").glob("*stage*"))


def test_a_profile_is_part_of_a_case(month, monkeypatch):
    """ensures that a second run with one worker makes only the case whose profile changed."""
    folder, _ = month
    profile = folder / "cases" / "north" / "client.yaml"
    before = {p: p.read_bytes() for p in (folder / "out").rglob("*.pdf")}
    profile.write_text(profile.read_text(encoding="utf-8") + "\n# moved\n", encoding="utf-8")
    monkeypatch.chdir(folder)
    done = CliRunner().invoke(main, ["batch", "cases", "-o", "out", "--workers", "1", "--bundle",
                                     "--text"])
    assert done.exit_code == 1
    assert "3 cases: 1 made, 1 unchanged, 1 failed" in done.stdout, done.stderr
    assert "making: 1 of 1" in done.stderr and "failed: cases/bad.yaml" in done.stderr
    for path, content in before.items():
        same = path.stem not in ("marl-run-block-c", "_bundle-sorrentino-oyelaran-produce")
        assert (path.read_bytes() == content) is same, path


@pytest.mark.parametrize(("arguments", "words"), [
    (["nowhere", "-o", "out"], "no such file or folder"),
    (["cases", "-o", "out", "--month", "2026-13"], "no month"),
    (["cases"], "--output"),
    (["cases", "-o", "cases/two.yaml"], "two.yaml"),
], ids=["place", "month", "output missing", "output a file"])
def test_what_cannot_run(month, monkeypatch, arguments, words):
    """ensures exit code 2 and the reason, without a trace of Python."""
    monkeypatch.chdir(month[0])
    done = CliRunner().invoke(main, ["batch", *arguments])
    assert done.exit_code == 2 and words in done.output and "Traceback" not in done.output
    assert isinstance(done.exception, SystemExit)


def test_made_up_cases_are_valid_and_differ():
    """ensures that the benchmark measures a month of different cases, not one case N times."""
    sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))
    try:
        from made_up_cases import cases
    finally:
        sys.path.pop(0)
    made = list(cases(24))
    assert made == list(cases(24)) and len({text for _, text in made}) == 24
    text = "".join(text for _, text in made)
    assert len({client for client, _ in made}) >= 4
    for word in ("crop:", "texture:", "name:"):
        assert len({line.strip() for line in text.splitlines() if f" {word}" in line}) >= 5
    assert sum("penetrometer:" in t for _, t in made) not in (0, 24)
