"""Calendar, spreading sheet and what-if comparison of a plan."""

import datetime as dt
import io
import json
import re
from pathlib import Path

import pypdf
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from loambrief import pipeline
from loambrief.case.load import load_case
from loambrief.case.whatif import load_changed, set_value
from loambrief.cli import main
from loambrief.errors import CaseProblems, ImpossibleInput, UnknownName
from loambrief.report.calendar_file import calendar_bytes, escape, fold
from loambrief.report.text import Writer

CASE = Path(__file__).parents[2] / "sample_inputs" / "acid_corn_ohio" / "case.yaml"


@pytest.fixture(scope="module")
def advice():
    return pipeline.advise(load_case(CASE))


def unfold(raw):
    """Lines of an iCalendar file, read back as RFC 5545 section 3.1 says."""
    text = raw.decode("utf-8")
    assert text.endswith("\r\n") and "\n" not in text.replace("\r\n", "")
    return text.replace("\r\n ", "").split("\r\n")[:-1]


def events(raw):
    """Properties of each event; the value keeps its escapes."""
    found, lines = [], unfold(raw)
    assert (lines[0], lines[1], lines[-1]) == ("BEGIN:VCALENDAR", "VERSION:2.0", "END:VCALENDAR")
    for line in lines[1:-1]:
        name, _, value = line.partition(":")
        if line == "BEGIN:VEVENT":
            found.append({})
        elif line != "END:VEVENT" and found:
            assert name not in found[-1]
            found[-1][name] = value
    return found


def test_calendar_obeys_the_standard(advice):
    """ensures that the file keeps RFC 5545: folding, required properties, unique UIDs.

    RFC 5545 sections 3.1 (75 octets), 3.6 (one event at least), 3.6.1 (UID, DTSTAMP; DTEND
    of an all-day event is exclusive), 3.3.11 (escapes).
    """
    raw = pipeline.calendar_file(advice)["tarrow-east-40.ics"]
    assert all(len(line) <= 75 for line in raw.split(b"\r\n"))
    read = events(raw)
    assert read and len({e["UID"] for e in read}) == len(read)
    for event in read:
        assert {"UID", "DTSTAMP", "DTSTART;VALUE=DATE", "DTEND;VALUE=DATE", "SUMMARY"} <= set(event)
        assert event["DTSTAMP"] == "20261014T000000Z"
        assert event["DTEND;VALUE=DATE"] > event["DTSTART;VALUE=DATE"]
        assert not re.search(r"(?<!\\)[,;]", event["SUMMARY"] + event["DESCRIPTION"])


def test_calendar_holds_windows_and_retests(advice):
    """ensures that every dated window the money covers, and every re-test, has its days."""
    read = events(pipeline.calendar_file(advice)["tarrow-east-40.ics"])
    plan = advice.plan
    dated = [a for a in plan.actions if a.id in plan.budget.chosen and a.window
             and (a.window.start or a.window.end)]
    assert len(read) == len(dated) + len([f for f in plan.followups if f.due])
    lime = next(a for a in dated if a.kind.value == "lime")
    entry = next(e for e in read if "Lime" in e["SUMMARY"])
    assert entry["DTSTART;VALUE=DATE"] == f"{lime.window.start:%Y%m%d}"
    assert entry["DTEND;VALUE=DATE"] == f"{lime.window.end + dt.timedelta(days=1):%Y%m%d}"


def test_calendar_holds_the_reading_of_check_strips():
    """ensures that the harvest day says to weigh the strips, where, and what would show it."""
    path = CASE.parents[1] / "own_plan_michigan" / "case.yaml"
    made = pipeline.advise(load_case(path))
    (raw,) = pipeline.calendar_file(made).values()
    read = events(raw)
    assert len({e["UID"] for e in read}) == len(read)
    (entry,) = [e for e in read if "check strips" in e["SUMMARY"]]
    assert entry["DTSTART;VALUE=DATE"] == f"{made.loaded.case.field.dates.harvest:%Y%m%d}"
    assert "weigh 4 untreated strips" in entry["SUMMARY"]
    assert "across the rows from the pivot road" in entry["SUMMARY"]
    assert "treated strips are better in nearly every pair" in entry["DESCRIPTION"]


def test_calendar_is_the_same_every_time(advice):
    """ensures that the bytes depend on the case alone."""
    case = advice.loaded.case
    writer = Writer("en", case.case.units, case.case.currency)
    again = calendar_bytes(case, pipeline.advise(load_case(CASE)).plan, writer)
    assert again == pipeline.calendar_file(advice)["tarrow-east-40.ics"]


@given(st.text(alphabet=st.characters(blacklist_categories=("Cs", "Cc")), max_size=400))
def test_folding_loses_nothing(text):
    """ensures that folding keeps every character whole and every line within 75 octets."""
    folded = fold(text)
    assert folded.replace("\r\n ", "") == text
    assert all(len(line.encode("utf-8")) <= 75 for line in folded.split("\r\n"))


def test_escaping():
    """ensures that text is escaped as RFC 5545 section 3.3.11 says."""
    assert escape("a,b;c\\d\ne") == "a\\,b\\;c\\\\d\\ne"


def test_spreading_sheet_is_one_page_without_diagnosis(advice):
    """ensures that the sheet holds rates, totals and hazards, and neither findings nor money."""
    pdf = pipeline.applicator_file(advice)["tarrow-east-40-spreading.pdf"]
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert len(pages) == 1
    text = " ".join(pages[0].extract_text().split()).replace("\u00a0", " ")
    spread = [a for a in advice.plan.actions if a.rate is not None]
    assert spread
    for action in spread:
        assert action.material_name.split(",")[0] in text
        assert f"{action.rate:g} ton/ac" in text or f"{action.rate:g} lb/ac" in text
    assert "goggles" in text and "Open ditch along the south edge" in text
    assert "$" not in text
    writer = Writer()
    for finding in advice.diagnosis.findings:
        assert writer.write(finding.title) not in text


def test_what_if_changes_only_what_was_set():
    """ensures that a changed value reaches the case and the rest stays as it was."""
    before = load_case(CASE).case
    after = load_changed(CASE, ("samples.N.increments.1.ph=6.4", "materials[map].price.amount=900",
                                "budget.amount=3000", "field.area=50 ac")).case
    assert after.samples[0].increments[1].ph == 6.4 and before.samples[0].increments[1].ph == 5.6
    assert next(m for m in after.materials if m.id == "map").price.amount == 900
    assert after.budget.amount == 3000 and after.field.area.value == 50
    assert after.samples[1] == before.samples[1] and after.weeds == before.weeds
    assert load_changed(CASE, ("budget=",)).case.budget is None


@pytest.mark.parametrize("change, error", [
    ("budget.amount", ImpossibleInput),
    ("=5", ImpossibleInput),
    ("field.name.x=5", ImpossibleInput),
    ("samples.Q.ph=5", UnknownName),
    ("materials[9999].price.amount=5", UnknownName),
    ("samples.N.increments.1.ph=acid", CaseProblems),
    ("field.aria=50 ac", CaseProblems),
])
def test_a_wrong_change_is_refused(change, error):
    """ensures that a change that cannot be made, or makes a broken case, is an error."""
    with pytest.raises(error):
        load_changed(CASE, (change,))


def test_set_value_makes_missing_groups():
    """ensures that a group that the case lacks can be set, but no list is invented."""
    data = {"a": 1}
    set_value(data, "budget.amount=5")
    assert data["budget"] == {"amount": 5}
    with pytest.raises(UnknownName):
        set_value(data, "samples.0.ph=5")


def test_a_case_compared_with_itself():
    """ensures that two equal cases show no difference."""
    found = pipeline.compare(CASE, CASE)
    assert (found.findings, found.actions, found.money) == ((), (), ())
    assert found.as_text() == "The two plans are the same."


def test_compare_shows_rates_and_money():
    """ensures that a smaller budget shows as what waits and what is spent, nothing else."""
    found = pipeline.compare(CASE, None, ("budget.amount=2000",))
    assert found.findings == ()
    money = {line.data["id"]: line.data for line in found.money}
    assert money["budget"]["difference"] == -7000
    assert money["spent"]["second"] <= 2000
    changed = {line.data["id"]: line.data for line in found.actions}
    kept = [d for d in changed.values() if d["first"] and d["second"]]
    assert kept and all(d["first"]["rate"] == d["second"]["rate"] for d in kept)
    parts = {name.removesuffix(".rest") for name in changed if name.endswith(".rest")}
    assert len(parts) <= 1  # one piece of work is done on a part of its area, the rest waits
    assert all(d["first"]["in_budget"] for d in kept)  # nothing comes in with less money
    assert [d for d in kept if not d["second"]["in_budget"]]


def test_commands_write_and_print(tmp_path):
    """ensures that the options write their files and the comparison comes as text and data."""
    run = CliRunner().invoke(main, ["advise", str(CASE), "-o", str(tmp_path), "--ics",
                                    "--applicator-sheet", "--json"])
    assert run.exit_code == 0, run.output
    assert {Path(f).name for f in json.loads(run.output)["files"]} == {
        "tarrow-east-40.pdf", "tarrow-east-40.annex.pdf", "tarrow-east-40.json",
        "tarrow-east-40.ics", "tarrow-east-40-spreading.pdf"}
    run = CliRunner().invoke(main, ["compare", str(CASE), "--set", "budget.amount=2000", "--json"])
    assert json.loads(run.output)["money"][0]["second"] == 2000
    text = CliRunner().invoke(main, ["compare", str(CASE), "--set", "budget.amount=2000"])
    assert "ACTIONS" in text.output and "waits" in text.output
    assert CliRunner().invoke(main, ["compare", str(CASE)]).exit_code == 2
