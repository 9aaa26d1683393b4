"""What is kept beside an advisory: spreading sheet, rate map, the laboratory's own PDF."""

from __future__ import annotations

import io
import json
import zipfile

import pytest
import shapefile
from click.testing import CliRunner
from pdf_text import page_texts
from record_builders import (
    CLIENT,
    NUMBER,
    REPORT,
    case_file,
    clock,
    copied,
    drawn_case,
    unprinted,
)

from loambrief.archive.canonical import sha256
from loambrief.archive.check import check
from loambrief.archive.store import Store
from loambrief.cli import main
from loambrief.record.export import export_client
from loambrief.record.issue import issue, prepare
from loambrief.record.rerender import rerender
from loambrief.record.retention import erase, scope_of
from loambrief.record.supersede import supersede
from loambrief.record.withdraw import withdraw

STEM = f"{NUMBER}-r1"
PERSON = b"Odessa Pruett"
pytestmark = pytest.mark.usefixtures("advisories_unprinted")


@pytest.fixture(scope="module")
def issued(tmp_path_factory):
    """An archive with such a case issued, its case file, and what was issued."""
    top = tmp_path_factory.mktemp("beside")
    path = drawn_case(top / "case")
    with unprinted(), Store.create(top / "records", clock=clock()) as store:
        return top / "records", path, issue(path, store, sheet=True, rate_map=True)


@pytest.fixture
def store(issued, tmp_path):
    with Store.open(copied(issued[0], tmp_path / "copy"), clock=clock(5)) as opened:
        yield opened


def zone_of(content):
    """Status, number, zone and rate of each feature of a rate map."""
    return [tuple(one["properties"][key] for key in ("status", "number", "zone", "rate"))
            for one in json.loads(content)["features"]]


def test_a_rate_map_is_issued_with_its_number(issued):
    """ensures that each zone of both forms names the status and number, as the sheet does."""
    files = issued[2].files
    assert sorted(files) == [f"{STEM}-rates.geojson", f"{STEM}-rates.zip",
                             f"{STEM}-spreading.pdf", f"{STEM}.annex.pdf", f"{STEM}.json",
                             f"{STEM}.pdf"]
    found = zone_of(files[f"{STEM}-rates.geojson"])
    assert found and {one[:2] for one in found} == {("issued", NUMBER)}
    with zipfile.ZipFile(io.BytesIO(files[f"{STEM}-rates.zip"])) as packed:
        stem = packed.namelist()[0].rpartition(".")[0]
        parts = {e: io.BytesIO(packed.read(f"{stem}.{e}")) for e in ("shp", "shx", "dbf")}
    with shapefile.Reader(**parts) as reader:
        row = reader.record(0).as_dict()
    assert (row["STATUS"], row["NUMBER"]) == ("issued", NUMBER)


def test_all_of_it_is_frozen(issued, store):
    """ensures that the record gives back the same bytes, and makes them again."""
    _, path, made = issued
    again = issue(path, store, sheet=True, rate_map=True)
    assert again.again and again.files == made.files
    assert rerender(store, NUMBER).same and check(store).good
    assert store.content(sha256(REPORT)) == REPORT
    assert store.content(sha256((path.parent / "zones.kml").read_bytes()))


def test_an_export_marks_all_that_no_longer_holds(store, tmp_path):
    """ensures that sheet and rate map that no longer hold are marked, the originals not."""
    changed = drawn_case(tmp_path / "case", north_ph="        ph: 5.5")
    supersede(NUMBER, changed, store, reason="The lab corrected a pH.", sheet=True, rate_map=True)
    withdraw(NUMBER, store, reason="The lab mixed up two samples.")
    files = export_client(store, CLIENT)
    for revision, word in ((1, "superseded"), (2, "withdrawn")):
        home, stem = f"{NUMBER}-r{revision}", f"{NUMBER}-r{revision}"
        sheet = files[f"{home}/{stem}-{word}-spreading.pdf"]
        plain = files[f"{home}/original/{stem}-spreading.pdf"]
        told = {"superseded": "Replaced", "withdrawn": "Withdrawn"}[word]
        assert all(told in text for text in page_texts(sheet))
        assert not any("Replaced" in t or "Withdrawn" in t for t in page_texts(plain))
        assert {one[0] for one in zone_of(
            files[f"{home}/{stem}-{word}-rates.geojson"])} == {word}
        assert f"{home}/{stem}-{word}-rates.zip" in files
        assert {one[0] for one in zone_of(
            files[f"{home}/original/{stem}-rates.geojson"])} == {"issued"}
        assert files[f"{home}/inputs/odessa-pruett.pdf"] == REPORT
    assert f"{NUMBER}-r1/{NUMBER}-r1-spreading.pdf" not in files


def test_the_report_of_the_laboratory_is_wanted(tmp_path):
    """ensures that a report that is not there, or is no PDF, is told; elsewhere, it is found."""
    path = drawn_case(tmp_path / "case")
    report = path.with_name("odessa-pruett.pdf")
    report.write_bytes(b"a letter")
    run = CliRunner().invoke(main, ["check", "--for-issue", str(path)])
    assert run.exit_code == 1 and "ISSUE-LAB-FILE" in run.output and "no PDF" in run.output
    report.unlink()
    run = CliRunner().invoke(main, ["check", "--for-issue", str(path)])
    assert run.exit_code == 1 and "lab.pdf" in run.output and "not there" in run.output
    elsewhere = tmp_path / "lab" / "odessa-pruett.pdf"
    elsewhere.parent.mkdir()
    elsewhere.write_bytes(REPORT)
    ready = prepare(path, (elsewhere,))
    assert REPORT in [f.content for f in ready.inputs.files if f.role == "lab"]


def test_a_redacted_copy_has_no_report(redacted):
    """ensures that the report, which holds names, is in no copy for others, nor its file's name."""
    files = redacted.copy.files
    for content in files.values():
        assert PERSON not in content and b"odessa-pruett" not in content
        assert b"zones.kml" not in content
    assert not [name for name in files if "rates" in name or "spreading" in name]


def test_erasing_takes_the_report_too(store):
    """ensures that nothing of report, boundary, sheet or rate map is left in the archive."""
    gone = erase(store, scope_of(store, client=CLIENT), reason="The client asked for it by law.")
    assert gone.left == () and check(store).good
    content = [p.read_bytes() for p in store.disk.root.rglob("*") if p.is_file()]
    assert not [c for c in content if PERSON in c or b"<Placemark>" in c or b"FeatureColl" in c]


def test_jobs_without_a_shape_are_told(tmp_path):
    """ensures that issuing with a rate map names what no shape of the case shows."""
    path = case_file(tmp_path / "case")
    Store.create(tmp_path / "records").close()
    run = CliRunner().invoke(main, ["issue", str(path), "--rate-map", "--archive",
                                    str(tmp_path / "records"), "-o", str(tmp_path / "out")])
    assert run.exit_code == 0 and "not in the rate map" in run.stderr
    assert not list((tmp_path / "out").glob("*rates*"))


def test_what_is_asked_for_after_the_issue_is_told(issued, tmp_path):
    """ensures that a sheet and rate map asked for too late are named as not in the record, and
    that a revision from the same case brings them; then nothing is named."""
    path, archive, out = issued[1], str(tmp_path / "records"), str(tmp_path / "out")
    with Store.create(tmp_path / "records", clock=clock()) as store:
        issue(path, store)
    command = ["issue", str(path), "--rate-map", "--applicator-sheet", "--archive", archive,
               "-o", out]
    run = CliRunner().invoke(main, command)
    assert run.exit_code == 0 and not list((tmp_path / "out").glob("*rates*"))
    told = "was issued without --applicator-sheet and --rate-map"
    assert f"{NUMBER} revision 1 {told}" in run.stderr and "archive supersede" in run.stderr
    many = CliRunner().invoke(main, [*command, str(path)])  # the way of several cases
    assert told in many.stderr
    with Store.open(tmp_path / "records", clock=clock()) as store:
        made = supersede(NUMBER, path, store, reason="With the sheet.", kind="clerical",
                         sheet=True, rate_map=True)
        assert rerender(store, NUMBER).same
    assert {f"{NUMBER}-r2-rates.zip", f"{NUMBER}-r2-spreading.pdf"} <= set(made.files)
    again = CliRunner().invoke(main, command)
    assert "revision 2" in again.stdout and again.stderr == ""
