"""Issue: the completeness gate, the number, the frozen inputs."""

import io
import json
import os
import re
import stat
from dataclasses import replace

import pypdf
import pytest
from click.testing import CliRunner
from model_texts import texts
from pdf_text import page_texts
from record_builders import LINES, NUMBER, PERSONAL, SAMPLE, WHOLE, case_file, clock

from loambrief import pipeline
from loambrief.archive.canonical import sha256
from loambrief.archive.check import check
from loambrief.archive.store import Store
from loambrief.case.load import load_case
from loambrief.case.starter import starter_case
from loambrief.cli import main
from loambrief.errors import CaseProblems, RecordRefused
from loambrief.record import completeness
from loambrief.record.issue import issue, prepare
from loambrief.record.rerender import rerender
from loambrief.record.retention import plain_name
from loambrief.tables import load

pytestmark = pytest.mark.usefixtures("drawn_anew")  # to make a document again is tested here
GATE = load("record/completeness").rows
ACCEPT_AREA = "accept:\n  - {code: CASE109, field: 'samples[N].area', reason: one soil}\n"


def codes(path, **given):
    with pytest.raises(CaseProblems) as error:
        prepare(path, **given)
    return [p for p in error.value.problems if p.code.startswith("ISSUE-")]


@pytest.fixture(scope="module")
def advice():
    """The plan of the complete sample."""
    return prepare(WHOLE).advice


@pytest.mark.parametrize(("change", "text", "code", "field", "line"), [
    # places in the sample; wanted by COMAR 15.20.08.04 and .05 (plan information), California
    # FAC 12003 (written recommendation) and the other publications named in the table
    ("valid", "", "ISSUE-VALID-UNTIL", "case.valid_until", r"^case:"),
    ("purpose", "", "ISSUE-PURPOSE", "case.purpose", r"^case:"),
    ("jurisdiction", "", "ISSUE-JURISDICTION", "case.jurisdiction", r"^case:"),
    ("reach_client", "", "ISSUE-REACH-CLIENT", "client.address", r"^client:"),
    ("location", "", "ISSUE-FARM-LOCATION", "farm.location", r"^farm:"),
    ("field_id", "", "ISSUE-FIELD-ID", "field.id", r"^field:"),
    ("previous", "", "ISSUE-PREVIOUS-CROP", "field.previous_crop", r"^field:"),
    ("goal", "", "ISSUE-YIELD-GOAL", "field.yield_goal", r"^field:"),
    ("business", "", "ISSUE-BUSINESS", "adviser.business", r"^adviser:"),
    ("adviser_address", "", "ISSUE-ADVISER-ADDRESS", "adviser.address", r"^adviser:"),
    ("sampler", "", "ISSUE-SAMPLER", "samples[N].sampler", r"^  - id: N"),
    ("cores", "", "ISSUE-CORES", "samples[S].cores", r"^  - id: S"),
    ("report", "", "ISSUE-LAB-REPORT", "samples[N].lab.report", r"^    lab:"),
    ("stage", "", "ISSUE-WEED-STAGE", "weeds[Setaria faberi].stage", r"species: Setaria faberi"),
    ("cover", "", "ISSUE-WEED-AMOUNT", "weeds[Rumex acetosella].cover", r"species: Rumex"),
])
def test_what_is_missing_is_told_at_its_place(advice, tmp_path, change, text, code, field, line):
    """ensures that one missing thing is told at the line where it would stand."""
    path = case_file(tmp_path, WHOLE, **{change: text})
    source = completeness.case_source(path.read_bytes(), str(path), tmp_path)
    problems = completeness.missing(completeness.IssueCheck(advice, source, {}))
    assert [(p.code, p.field, p.severity) for p in problems] == [(code, field, "error")]
    lines = path.read_text().splitlines()
    assert re.search(line, lines[problems[0].line - 1])
    assert problems[0].column >= 1 and problems[0].found in str(problems[0])
    assert str(path) in str(problems[0])


def test_everything_missing_is_told_at_once(tmp_path):
    """ensures that an incomplete case is not sent back one item at a time, nor written."""
    path = case_file(tmp_path, valid="", purpose="", business="", report="", stage="", dates="",
                     expires="    expires: 2026-01-01\n", accept="")
    problems = codes(path)
    assert {p.code for p in problems} == {
        "ISSUE-VALID-UNTIL", "ISSUE-PURPOSE", "ISSUE-BUSINESS", "ISSUE-CREDENTIAL",
        "ISSUE-LAB-REPORT", "ISSUE-LAB-RECEIVED", "ISSUE-LAB-REPORTED", "ISSUE-WEED-STAGE",
        "ISSUE-WARNINGS", "ISSUE-OPEN-VERDICT", "ISSUE-FROM-MEMORY"}
    assert [p.line for p in problems] == sorted(p.line for p in problems)


def test_dates_that_cannot_count(tmp_path):
    """ensures that an expired credential and an empty period stop the issue."""
    path = case_file(tmp_path, expires="    expires: 2026-10-13\n",
                     accept="accept:\n  - {code: CASE116, field: adviser.credential.expires, "
                            "reason: is being renewed}\n  - {code: CASE109, field: 'samples[N]"
                            ".area', reason: one soil}\n")
    # accepting the warning is not enough
    assert {p.code for p in codes(path)} == {
        "ISSUE-CREDENTIAL", "ISSUE-OPEN-VERDICT", "ISSUE-FROM-MEMORY"}


def test_plan_that_is_not_complete(advice):
    """ensures that a rate without area, time, price, caution or reason stops the issue."""
    rated = next(a for a in advice.plan.actions if a.rate is not None)
    bare = replace(rated, area_ac=None, window=None, price_date=None, cautions=(), finding_ids=())
    plan = replace(advice.plan, actions=(bare,), followups=(), alternatives=())
    source = completeness.case_source(SAMPLE.read_bytes(), str(SAMPLE), SAMPLE.parent)
    asked = completeness.IssueCheck(replace(advice, plan=plan), source, {})
    found = {p.code: p for p in completeness.missing(asked)}
    assert {"ISSUE-RATE-AREA", "ISSUE-ACTION-REASON", "ISSUE-ACTION-TIME", "ISSUE-CAUTION",
            "ISSUE-PRICE", "ISSUE-LATER-LOOK"} <= set(found)
    assert found["ISSUE-PRICE"].field == f"materials[{rated.material_id}].price"


# The state's own rule, and what may be left out ------------------------------------------------


def gate_of(advice, tmp_path, **changes):
    """Problems of the gate for a changed sample; accepted points are those of the file."""
    path = case_file(tmp_path, WHOLE, **changes)
    loaded = load_case(path)
    source = completeness.case_source(path.read_bytes(), str(path), tmp_path)
    return completeness.missing(completeness.IssueCheck(replace(advice, loaded=loaded), source, {}))


@pytest.mark.parametrize("place, named, waiver", [
    # COMAR 15.20.08.04 (Maryland) wants unit identifiers; no rule of Ohio is listed
    ("Maryland, USA", "COMAR 15.20.08.04", False),
    ("Ohio, USA", "Wanted in every record of this program", True),
    ("California, USA", "Wanted in every record of this program", True),
])
def test_a_rule_is_named_that_holds_where_the_case_is(advice, tmp_path, place, named, waiver):
    """ensures that a state's own rule is named there and only there, and leaves no way out."""
    (problem,) = gate_of(advice, tmp_path, field_id="",
                         jurisdiction=f"  jurisdiction: {place}\n")
    assert problem.code == "ISSUE-FIELD-ID" and named in problem.help
    assert ("accept: [{code: ISSUE-FIELD-ID" in problem.help) is waiver
    others = {"COMAR", "California Code", "Food and Agricultural"} - {named.split()[0]}
    assert not any(other in problem.help for other in others)


WAIVER = "  - {code: ISSUE-SAMPLER, field: 'SAMPLER', reason: The grower forgot who it was.}\n"
WAIVED = re.search(LINES["accept"], WHOLE.read_text(encoding="utf-8"), re.MULTILINE)[0] + WAIVER


@pytest.mark.parametrize("named", ["samples[N].sampler", "samples[].sampler"])
def test_a_point_that_cannot_be_had_is_left_out_with_its_reason(advice, tmp_path, named):
    """ensures that a waiver with its reason opens the gate for that point, and is printed."""
    text = WAIVED.replace("'SAMPLER'", f"'{named}'")
    found = gate_of(advice, tmp_path / "a", sampler="", accept=text)
    assert [str(problem) for problem in found] == []
    model = pipeline.report_model(pipeline.advise(load_case(tmp_path / "a" / "case.yaml")))
    printed = " ".join(texts(model.blocks))
    assert "Left out: who took the samples" in printed
    assert "The grower forgot who it was." in printed


@pytest.mark.parametrize("entry, changes, said", [
    ("{code: ISSUE-CREDENTIAL, field: adviser.credential.expires, reason: soon}", {},
     "ISSUE-CREDENTIAL, which cannot be left out"),
    ("{code: ISSUE-FIELD-ID, field: field.id, reason: none}",
     {"field_id": "", "jurisdiction": "  jurisdiction: Maryland, USA\n"},
     "which cannot be left out, since Maryland asks for it"),
    ("{code: ISSUE-FIELD-ID, field: field.id, reason: none}", {},
     "field.id, which ISSUE-FIELD-ID does not miss"),
])
def test_a_waiver_that_does_not_hold_is_a_problem(advice, tmp_path, entry, changes, said):
    """ensures that law is not waived away, and that no waiver stands without its cause."""
    text = WAIVED.replace(WAIVER, f"  - {entry}\n")
    problems = gate_of(advice, tmp_path, accept=text, **changes)
    assert any(said in p.found for p in problems if p.code == "ISSUE-ACCEPTED")


def test_a_waiver_of_nothing_known_is_found_when_the_case_is_read(tmp_path):
    """ensures that a misspelt point of issue is told like any other unknown code."""
    path = case_file(tmp_path, accept=WAIVED.replace("ISSUE-SAMPLER", "ISSUE-SAMPLERS"))
    assert "CASE117" in {p.code for p in load_case(path).warnings}


def test_check_for_issue_asks_what_issue_asks(tmp_path):
    """ensures that check --for-issue tells all of it beforehand, over folders, with a count."""
    case_file(tmp_path / "in" / "good")
    bad = case_file(tmp_path / "in" / "bad", id="  id: other", location="", sampler="")
    plain = CliRunner().invoke(main, ["check", str(tmp_path / "in")])
    assert plain.exit_code == 0 and "2 cases: 2 good, 0 with problems" in plain.output
    done = CliRunner().invoke(main, ["check", str(tmp_path / "in"), "--for-issue"])
    assert done.exit_code == 1 and "2 cases: 1 good, 1 with problems" in done.output
    assert {line.split()[1] for line in done.output.splitlines() if line.startswith(f"{bad}:")} == {
        p.code for p in codes(bad)} == {"ISSUE-FARM-LOCATION", "ISSUE-SAMPLER"}
    quiet = CliRunner().invoke(main, ["check", str(tmp_path / "in" / "good"), "-q"])
    assert quiet.output == ""


def test_the_starter_case_holds_every_key_that_issue_asks_for():
    """ensures that who fills in the starter's lines has what an issued advisory must hold."""
    for units in ("us", "si"):
        text = starter_case(units=units, crop="alfalfa")
        for row in GATE:
            keys = [path.split(".")[-1] for path in str(row["path"]).split("|")
                    if row["path"] is not None]
            assert not keys or any(re.search(rf"\b{key}:", text) for key in keys), row["code"]


def test_profiles_are_held_to_it_too(tmp_path):
    """ensures that what is missing in a shared file is told in that file."""
    text = SAMPLE.read_text()
    start, end = text.index("adviser:\n"), text.index("guide: tri_state")
    block = text[start:end].removeprefix("adviser:\n").replace("  address: 12 Depot Street, "
                                                                "Tarrow, Ohio\n", "")
    (tmp_path / "me.yaml").write_text("".join(line[2:] for line in block.splitlines(True)))
    path = tmp_path / "case.yaml"
    path.write_text(text[:start] + "adviser: {file: me.yaml}\n" + text[end:])
    problems = codes(path)
    assert [(p.code, p.file.endswith("me.yaml")) for p in problems] == [
        ("ISSUE-ADVISER-ADDRESS", True)]


def test_lab_file_is_frozen_or_missed(tmp_path):
    """ensures that a lab's file that the case names must be there, as it was."""
    lab = "      name: Millrace Soil Laboratory\n      file: results.csv\n      file_sha256: {}\n"
    raw = b"sample,ph\nN,5.6\n"
    path = case_file(tmp_path / "a", lab=lab.format(sha256(raw)))
    assert [(p.code, p.field) for p in codes(path)] == [("ISSUE-LAB-FILE", "samples[N].lab.file")]
    (path.parent / "results.csv").write_bytes(raw + b"changed")
    assert "another content" in codes(path)[0].found
    elsewhere = tmp_path / "lab" / "results.csv"
    elsewhere.parent.mkdir()
    elsewhere.write_bytes(raw)
    ready = prepare(path, (elsewhere,))
    assert ("lab", raw) in [(f.role, f.content) for f in ready.inputs.files]
    outside = case_file(tmp_path / "b", lab=lab.format(sha256(raw)).replace(
        "results.csv", "../lab/results.csv"))
    assert [p.code for p in codes(outside)] == ["ISSUE-LAB-FILE"]  # not read from outside by itself


@pytest.mark.parametrize("row", GATE, ids=[row["code"] for row in GATE])
def test_each_row_of_the_gate_has_its_rule(row):
    """ensures that no wanted item is listed without being looked at."""
    assert row["rule"] in completeness.RULES
    assert (row["path"] is None) == str(row["rule"]).startswith(
        ("plan", "warnings", "unjudged", "memory", "accepted"))


def test_the_sample_passes_and_is_numbered(first):
    """ensures that a complete case gets its number, and says so on paper, in data and metadata."""
    folder, made = first
    assert (made.number, made.revision, made.again) == (NUMBER, 1, False)
    pdf = made.files[f"{NUMBER}-r1.pdf"]
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    text = reader.pages[0].extract_text()
    assert f"{NUMBER} · rev. 1" in text and "Draft" not in text
    assert reader.metadata["/Keywords"] == f"{NUMBER} · rev. 1"
    data = json.loads(made.files[f"{NUMBER}-r1.json"])
    assert (data["status"], data["number"], data["revision"]) == ("issued", NUMBER, 1)
    assert json.loads(reader.attachments["tarrow-east-40.json"][0]) == data
    with Store.open(folder, clock=clock()) as store:
        assert check(store).good
        assert store.find_digest(sha256(pdf)).role == "pdf"
        assert store.content(sha256(SAMPLE.read_bytes())) == SAMPLE.read_bytes()


def test_log_and_names_tell_nothing_of_the_client(first):
    """ensures that log lines, file names and folder names hold no personal data."""
    folder, made = first
    text = (folder / "log.jsonl").read_text().casefold() + " ".join(made.files).casefold()
    text += " ".join(p.name for p in folder.rglob("*"))
    assert not [word for word in PERSONAL if word in text]


def test_same_case_again(store):
    """ensures that issuing the same inputs twice gives the same number and the same bytes."""
    made = issue(SAMPLE, store)
    again = issue(SAMPLE, store)
    assert again.again and (again.number, again.revision) == (NUMBER, 1)
    assert again.files == made.files and store.head[0] == 2


def test_changed_case_is_not_issued_twice(store, tmp_path):
    """ensures that a changed case does not get a second number by mistake."""
    with pytest.raises(RecordRefused, match=f"archive supersede {NUMBER}"):
        issue(case_file(tmp_path / "x", budget="  amount: 4000\n"), store)
    assert store.head[0] == 2


def test_only_the_day_of_issue_of_a_clock_on_paper(first, tmp_path):
    """ensures that another archive on the same day gives the same bytes, and that the day of
    issue stands at the top of page 1 and in the data.
    """
    name = f"{NUMBER}-r1"
    with Store.create(tmp_path / "other", clock=clock(2)) as other:
        assert issue(SAMPLE, other).files == first[1].files
    with Store.create(tmp_path / "later", clock=clock(9)) as later:
        files = issue(SAMPLE, later).files
    page = " ".join(page_texts(files[f"{name}.pdf"], 1)[0].split()).split("What limits")[0]
    assert "Issued" in page and "9 November 2026" in page
    data = json.loads(files[f"{name}.json"])
    assert data["issued"] == "2026-11-09"
    assert {**data, "issued": None} == {
        **json.loads(first[1].files[f"{name}.json"]), "issued": None}


def test_unjudged_needs_are_accepted_by_name(tmp_path):
    """ensures that each open primary nutrient or lime, and each rate from memory, is accepted
    by name with a reason, which is printed on page 1 and in the annex.
    """
    found = codes(case_file(tmp_path / "none", WHOLE, accept=ACCEPT_AREA))
    told = {(p.code, p.found.split()[0]) for p in found}
    assert told == {("ISSUE-OPEN-VERDICT", "nutrient.N"), ("ISSUE-OPEN-VERDICT", "amendment.lime"),
                    ("ISSUE-FROM-MEMORY", "mclean-1982-smp"),
                    ("ISSUE-FROM-MEMORY", "culman-2020-bulletin-974")}
    made = prepare(case_file(tmp_path / "all", WHOLE)).advice
    document = pipeline.render(made)
    first, annex = (" ".join(" ".join(t.split()) for t in page_texts(part, count)) for part, count
                    in ((document.pdf, 1), (document.annex, None)))
    reason = "The nitrogen rate is set in April, from prices."
    assert reason in first and reason in annex


@pytest.mark.parametrize(("entry", "known"), [
    ("{code: UNJUDGED, field: nutrient.P2O5.N, reason: none}", "nutrient.N.N"),
    ("{code: MEMORY, field: some-book, reason: none}", "culman-2020-bulletin-974"),
])
def test_what_is_not_open_cannot_be_accepted(tmp_path, entry, known):
    """ensures that an entry for a point this advice does not have stops the issue at its line,
    with those it has.
    """
    path = tmp_path / "case.yaml"
    path.write_text(SAMPLE.read_text(encoding="utf-8") + f"  - {entry}\n", encoding="utf-8")
    (problem,) = codes(path)
    assert problem.code == "ISSUE-ACCEPTED" and known in problem.found
    assert entry.split()[1].rstrip(",") in path.read_text().splitlines()[problem.line - 1]


def test_render_again(store):
    """ensures that the frozen inputs give the same bytes, and another program is named."""
    outcome = rerender(store, NUMBER)
    assert outcome.same and outcome.differences == ()


def test_render_again_with_another_program(store, monkeypatch):
    """ensures that a difference is told with what it was made with."""
    monkeypatch.setattr("loambrief.record.rerender.__version__", "9.9")
    monkeypatch.setattr(pipeline, "__version__", "9.9")
    outcome = rerender(store, NUMBER)
    assert not outcome.same_data
    assert any("now 9.9" in text for text in outcome.differences)


def test_draft_is_marked_on_every_page():
    """ensures that a draft shows what it is above and below the text of each page."""
    advice = pipeline.advise(pipeline.load_case(SAMPLE))
    pdf = pipeline.render(advice).pdf
    assert all(text.count("Draft, not issued") == 2 for text in page_texts(pdf))


def test_output_files_follow_the_umask(tmp_path):
    """ensures that written files are as private as the user's other files."""
    old = os.umask(0o027)
    try:
        (path,) = pipeline.write_files({"a.pdf": b"x"}, tmp_path)
    finally:
        os.umask(old)
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert os.listdir(tmp_path) == ["a.pdf"]


@pytest.mark.parametrize("name", ["../x", "a/b", ".hidden", "", "a\nb", "..", "x" * 200, "a\\b"])
def test_names_of_added_files(name):
    """ensures that the name of an added file cannot lead out of a folder or hide."""
    from loambrief.errors import ImpossibleInput

    with pytest.raises(ImpossibleInput):
        plain_name(name)
