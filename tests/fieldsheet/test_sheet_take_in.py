"""Filled sheets into cases: nothing guessed, nothing overwritten, all problems at once."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_helpers import CASE, fill

from loambrief.case.load import load_bytes, load_case
from loambrief.case.reader import read_text
from loambrief.case.sheet_case import new_from_sheet, updated_from_sheet
from loambrief.case.sheet_layout import boxes
from loambrief.case.sheet_read import Filled
from loambrief.case.sheet_values import read_parts
from loambrief.case.yaml_edit import plain_of
from loambrief.cli import main
from loambrief.errors import CaseProblems
from loambrief.report.fieldsheet_plan import plan_visit
from loambrief.report.text import Writer

VISIT = {"visit/date": "2027-04-20", "visit/by": "I. Varga"}
NEXT = """# next visit; keep this remark
loambrief: 1
case:
  id: tarrow-2027   # mine
  date: 2027-05-01
client: {name: Pruett & Daughters Grain}
farm: {name: Tarrow Home Farm}
field: {name: East 40, id: E40, area: 42 ac, crop: corn, tillage: no-till, irrigation: none,
        drainage: tile drained}
adviser:
  name: I
  credential: {scheme: s, number: "1", expires: 2028-01-01}
  interest: None

weeds:
  - {species: Setaria faberi, cover: 9 %, identification: certain, place: gate}
samples:
  # the north end
  - id: N
    place: north, higher ground
    area: 24 ac
"""


def problems(action) -> dict[str, tuple[str, str]]:
    with pytest.raises(CaseProblems) as caught:
        action()
    return {p.field: (p.found, p.wanted) for p in caught.value.problems}


def test_new_case_holds_what_was_written(filled):
    """ensures that values, units and ticks come out as written, and nothing else does."""
    sheet = filled.of(VISIT | {
        "soil/lab": "Millrace", "soil/1/cores": "20", "soil/1/slice1=1": "yes",
        "soil/1/residue=1": "yes", "cone/cone=2": "yes", "cone/moisture=4": "yes",
        "cone/1/1": "110", "cone/1/3": "300,5",
        "cone/2/1": "90", "cone/2/stopped": "stone",
        "sap/atc=2": "yes", "sap/1/1": "7.1", "sap/1/2": "-", "sap/1/temperature": "80",
        "sap/2/1": "8", "sap/2/temperature": "26 C",
        "weeds/1/cover": "D2", "weeds/1/sure=1": "yes", "water/1": "12", "water/2": "15",
        "water/table": "> 40", "remarks": "Gate is wet.\n\nCattle in.",
    })
    written = new_from_sheet(sheet, "new.yaml")
    case = load_bytes(written.content, "new.yaml").case
    assert case.field.name == "East 40" and case.field.tillage == "no-till"
    (north,) = case.samples
    assert (north.id, north.cores, north.residue, north.date) == (
        "N", 20, "brushed off", dt.date(2027, 4, 20))
    assert [i.depth[2] for i in north.increments] == ["0-2 in"]
    cone = case.penetrometer
    assert cone.cone == "small 12.83 mm" and cone.moisture == "field capacity"
    assert cone.points[0].readings == [110, None, 300.5, None, None, None]
    assert cone.points[1].stopped_by == "stone" and len(cone.points) == 2
    crop, weed = case.refractometer.readings
    assert crop.replicates == [7.1] and crop.temperature.typed == "80 F"
    assert weed.plant == "Setaria faberi" and weed.temperature.typed == "26 C"
    assert case.weeds[0].cover.value == 15 and "cover class D2" in written.content.decode()
    assert [r.value for r in case.infiltration.rates] == [5, 4]
    assert case.observations.water_table.censor == ">" and case.observations.residue_cover is None
    assert case.notes == ["Gate is wet.", "Cattle in."]


def test_missing_stays_missing(filled):
    """ensures that what was not filled in is reported as open, and written nowhere."""
    written = new_from_sheet(filled.of({"soil/1/cores": "20", "cone/1/1": "100"}), "new.yaml")
    open_now = {p.field for p in written.problems if p.severity == "error"}
    assert {"samples[N].date", "samples[N].lab", "samples[N].increments", "penetrometer.date",
            "penetrometer.cone", "penetrometer.moisture"} <= open_now
    data = read_text(written.content.decode(), "n")[0].data
    assert "refractometer" not in data and "cover" not in str(data.get("weeds"))


def test_every_problem_at_once_with_its_page(filled):
    """ensures that each wrong box is named by page, with what was found and is wanted."""
    found = problems(lambda: read_parts(filled.of({
        "visit/date": "4/20/2027", "cone/1/1": "about 200", "cone/1/2": "2 MPa",
        "cone/moisture=1": "yes", "cone/moisture=4": "yes", "sap/1/1": "1,200",
        "sap/1/temperature": "80 K", "sap/1/time": "2 pm", "soil/1/cores": "12.5",
        "life/slake/1": "9", "life/worms/1": "many",
        "soil/3/cores": "9", "weeds/1/cover": "120 %", "water/table": "deep",
    })))
    wanted = {
        "visit/date": "a real date written YYYY-MM-DD", "cone/1/1": "a number in psi",
        "cone/1/2": "a number in psi", "cone/moisture=4": "one of them",
        "sap/1/1": "a number in Brix", "sap/1/time": 'a time of day written "HH:MM"',
        "soil/1/cores": "a whole number", "soil/3/cores": "a short id, such as Z3",
        "water/table": "a number in in", "life/worms/1": "a number",
        "life/slake/1": "a class from 0 to 6",
    }
    for box, words in wanted.items():
        assert found[f"page 1, box {box}"][1] == words, box
    assert "F" in found["page 1, box sap/1/temperature"][1]
    assert found["page 1, box weeds/1/cover"][0] == "'120 %'"
    assert len(found) == len(wanted) + 2


def test_soil_life_is_read_back(filled):
    """ensures that worms, crumbs and what the laboratory was asked for become the case's."""
    parts = read_parts(filled.of({
        "visit/date": "2027-04-20", "life/side": "8", "life/worms/1": "11", "life/worms/3": "0",
        "life/slake/1": "4", "life/slake/16": "6", "soil/1/sent1=1": "yes",
        "soil/1/sent3=1": "yes"}))
    assert plain_of(parts.single["observations"]) == {
        "date": "2027-04-20", "hole_side": "8 in", "earthworms": ["11", "0"],
        "slake": ["4", "6"]}
    assert plain_of(parts.samples[0]["sent_for"]) == ["active_carbon", "aggregate_stability"]


def test_an_empty_sheet_is_not_a_visit(empty):
    """ensures that a sheet without entries makes no case."""
    assert "file" in problems(lambda: read_parts(empty))


def test_update_keeps_comments_and_fills_gaps(filled):
    """ensures that an existing case keeps its text and gets only what it lacked."""
    sheet = filled.of(VISIT | {
        "soil/lab": "Millrace", "soil/1/cores": "20", "soil/1/slice2=1": "yes",
        "soil/2/cores": "18", "soil/2/slice2=1": "yes", "weeds/2/cover": "4",
        "weeds/2/sure=1": "yes", "cone/1/1": "100", "cone/cone=1": "yes", "cone/moisture=4": "yes"})
    written = updated_from_sheet(NEXT.encode(), "next.yaml", sheet)
    text = written.content.decode()
    for line in NEXT.splitlines():
        assert line in text, line
    case = load_bytes(text.encode(), "next.yaml").case
    assert [s.id for s in case.samples] == ["N", "S"]
    assert case.samples[0].cores == 20 and case.samples[0].lab.name == "Millrace"
    assert [w.species for w in case.weeds] == ["Setaria faberi", "Rumex acetosella"]
    assert case.penetrometer.points[0].readings[0] == 100
    assert any(note.startswith("sample N: put in ") and "cores" in note for note in written.notes)
    again = updated_from_sheet(text.encode(), "next.yaml", sheet)
    assert again.content == written.content
    assert not any("put in" in note for note in again.notes if note.startswith("sample"))


def test_update_overwrites_nothing(filled):
    """ensures that other values in the case are a problem, each with its line."""
    first = updated_from_sheet(NEXT.encode(), "next.yaml", filled.of(
        VISIT | {"soil/1/cores": "20", "cone/1/1": "100"})).content
    found = problems(lambda: updated_from_sheet(first, "next.yaml", filled.of(
        VISIT | {"visit/date": "2027-06-01", "soil/1/cores": "15", "cone/1/1": "90"})))
    assert set(found) == {"samples[N].cores", "samples[N].date", "penetrometer"}
    with pytest.raises(CaseProblems) as caught:
        updated_from_sheet(NEXT.replace("East 40", "West 20").replace("E40", "W20").encode(),
                           "west.yaml", filled.of(VISIT))
    assert caught.value.problems[0].code == "CASE069"  # nothing on the sheet but the visit
    other = NEXT.replace("East 40", "West 20").replace("E40", "W20")
    found = problems(lambda: updated_from_sheet(other.encode(), "west.yaml", filled.of(
        VISIT | {"soil/1/cores": "15"})))
    assert "field West 20" in found["field.name"][0]


def _values(layout):
    """Strategy: some boxes with something right in them."""
    number = st.integers(1, 80).map(str)
    right = {
        "number": number, "quantity": st.integers(1, 60).map(str),
        "text": st.text("abc XYZ é-#:'\"{[&*!%", min_size=2, max_size=20).map(
            lambda t: " ".join(t.split())).filter(lambda t: len(t) > 1 and t not in "-–—/"),
        "lines": st.text("ab #:\n", min_size=2, max_size=40).filter(lambda t: t.strip()),
        "date": st.dates(dt.date(2026, 1, 1), dt.date(2030, 1, 1)).map(str),
        "time": st.times().map(lambda t: f"{t:%H:%M}"), "word": st.just("loam"),
        "tick": st.just("yes"),
    }
    chosen = {box.name: st.integers(0, 6).map(str) if box.name.startswith("life/slake")
              else right[box.kind] for box in boxes(layout)
              if not box.name.endswith("/id") and not box.name.startswith("soil/3")
              and (box.kind != "tick" or box.name.endswith("=1"))}
    return st.fixed_dictionaries({}, optional=chosen)


@settings(max_examples=12)
@given(st.data())
def test_round_trip(empty, data):
    """ensures that whatever stands in the boxes stands in the case, value for value."""
    values = data.draw(_values(empty.layout))
    sheet = type(empty)(empty.layout, values, empty.pages, "sheet.pdf")
    try:
        parts = read_parts(sheet)
    except CaseProblems as error:
        assert error.problems[0].found == "a sheet without entries"
        return
    written = new_from_sheet(sheet, "new.yaml")
    got = read_text(written.content.decode(), "new.yaml")[0].data
    for key, tree in parts.single.items():
        assert plain_of(got[key]) == plain_of(tree)
    assert plain_of(got.get("weeds") or []) == plain_of(parts.weeds)
    assert plain_of(got.get("notes") or []) == plain_of(parts.notes)
    assert len(got.get("samples") or []) == len(parts.samples)
    said = json.dumps(plain_of(got), ensure_ascii=False)
    for name, text in values.items():
        if name.startswith("cone/") and name[5].isdigit() and name.endswith("/1"):
            assert f'"{text}"' in said


def test_the_command(sheet, tmp_path):
    """ensures print, fill, take in and check with the commands a user types."""
    run = CliRunner().invoke
    made = run(main, ["fieldsheet", str(CASE), "-o", str(tmp_path), "--only", "soil", "--json"])
    assert made.exit_code == 0, made.output
    (path,) = json.loads(made.stdout)["files"]
    content = fill(Path(path).read_bytes(), {"visit/date": "2027-04-20", "soil/1/cores": "20"})
    done = tmp_path / "done.pdf"
    done.write_bytes(content)
    taken = run(main, ["intake", str(done), "-o", str(tmp_path / "cases")])
    assert taken.exit_code == 0, taken.output
    assert "2 boxes filled" in taken.stdout and "samples[N].lab" in taken.stderr
    assert (tmp_path / "cases" / "done.yaml").is_file()
    wrong = run(main, ["intake", str(done), "--map", "m.yaml"])
    assert wrong.exit_code == 2 and "needs no --map" in wrong.stderr
    bad = tmp_path / "bad.pdf"
    bad.write_bytes(b"%PDF-1.7 nothing")
    refused = run(main, ["intake", str(bad), "-o", str(tmp_path / "none")])
    assert refused.exit_code == 1 and "CASE069" in refused.stderr
    assert not (tmp_path / "none").exists()


def test_words_of_the_sheets_language():
    """ensures that a texture written in the sheet's language becomes the case's word."""
    case = load_case(CASE).case
    layout = plan_visit(case, Writer("es", "si")).layout
    pages = {box.name: 1 for box in boxes(layout)}
    for typed in ("franco limoso", "Franco Limoso", "silt loam"):
        values = {"soil/3/id": "Z3", "soil/3/texture": typed, "soil/3/area": "2 ha"}
        (sample,) = read_parts(Filled(layout, values, pages, "s.pdf")).samples
        assert plain_of(sample["texture"]) == "silt loam"
    found = problems(lambda: read_parts(Filled(layout, {
        "soil/3/id": "Z3", "soil/3/texture": "barro"}, pages, "s.pdf")))
    assert "silt loam" in found["page 1, box soil/3/texture"][1]
