"""A case as a workbook and back: the same case, every problem at its cell."""

from __future__ import annotations

import io
import string
from pathlib import Path

import openpyxl
import pytest
from case_builders import MINIMAL, PENETROMETER, as_bytes, minimal, sample
from hypothesis import given, settings
from hypothesis import strategies as st

from loambrief.case import workbook_read, workbook_rows, workbook_write
from loambrief.case.fields import ValueKind, group_at, groups
from loambrief.case.load import load_bytes, load_case
from loambrief.case.reader import read_text
from loambrief.case.scalars import resolve
from loambrief.case.workbook_case import new_from_workbook, updated_from_workbook
from loambrief.case.workbook_cells import cell_of, value_of
from loambrief.case.workbook_read import is_workbook, read_workbook
from loambrief.case.workbook_rows import BookRow, gather, settled, spread
from loambrief.case.workbook_write import workbook_of
from loambrief.case.yaml_edit import emit, plain_of
from loambrief.errors import CaseProblems

ROOT = Path(__file__).parents[2]
CASES = sorted(path for folder in ("sample_inputs", "tests/scenarios")
               for path in (ROOT / folder).rglob("*.yaml")
               if "broken" not in path.parts and "\ncase:" in path.read_text(encoding="utf-8"))
SAMPLES = ("acid_corn_ohio/case.yaml", "three_fields_indiana/creek_bottom.yaml",
           "lab_file/visit.yaml")
TEXTS = st.text(st.sampled_from(string.printable.replace("\x0b", "").replace("\x0c", "") + "é°µ²"),
                min_size=1, max_size=30).filter(str.strip) | st.sampled_from(
    ["=1+1", "#N/A", "_x0041_", "'quoted", "-", "+1", "@SUM(A1)", "true", "null", "00123", "0-6",
     "1e3", "2026-05-01", "a\nb", "a\r\nb", " led", "x: y # z", "TRUE", "12 ppm"])
NUMBERS = st.sampled_from(["0", "7", "-3", "6.20", "148", "0.05", "100.0", "1e3", "5.", ".5", "007",
                           "123456789012345678", "0.1234567890123456"])


@pytest.fixture(autouse=True)
def _short_sheets(monkeypatch):
    """Few empty rows, which only take time."""
    monkeypatch.setattr(workbook_write, "SPARE_ROWS", 1)


PARTS = {"adviser", "boundary", "case", "client", "farm", "field", "notes", "penetrometer",
         "samples", "weeds"}


@pytest.fixture
def few_sheets(monkeypatch):
    """Sheets of some parts of a case only: to write and read them all takes four times as long."""
    some = tuple(group for group in groups() if not group.path or group.path[0] in PARTS)
    for module in (workbook_read, workbook_rows, workbook_write):
        monkeypatch.setattr(module, "groups", lambda: some)


def source_of(text: str):
    source, problems = read_text(text, "case.yaml")
    assert not problems
    return source


def through(text: str, folder: Path):
    """What a workbook of a case gives back, and the workbook's file."""
    path = folder / "made.xlsx"
    path.write_bytes(workbook_of(source_of(text)).content)
    return read_workbook(path), path


class Filled:
    """A workbook of a case in the hands of a user: cells by sheet and key, set and saved."""

    def __init__(self, case: dict | str, folder: Path):
        text = case if isinstance(case, str) else as_bytes(case).decode()
        self.path = folder / "filled.xlsx"
        self.path.write_bytes(workbook_of(source_of(text)).content)
        self.book = openpyxl.load_workbook(self.path)

    def at(self, title: str, key: str, row: int = 1) -> str:
        """The cell of a key."""
        sheet = self.book[title]
        for cell in sheet[1]:
            if cell.value == key:
                return f"{cell.column_letter}{workbook_write.FIRST + row - 1}"
        return next(f"C{cell.row}" for cell in sheet["A"] if cell.value == key)

    def place(self, title: str, key: str, row: int = 1) -> str:
        return f"{title}!{self.at(title, key, row)}"

    def put(self, title: str, key: str, value: object, row: int = 1) -> None:
        self.book[title][self.at(title, key, row)] = value

    def read(self):
        self.book.save(self.path)
        return read_workbook(self.path)


def said(found) -> set[tuple[str, str]]:
    return {(problem.code, problem.cell) for problem in found.value.problems}


def test_every_case_has_rows_that_say_the_same():
    """ensures that no value of any sample or scenario is lost between data and rows."""
    assert len(CASES) > 20
    for path in CASES:
        data = source_of(path.read_text(encoding="utf-8")).data
        rows, faults = spread(data)
        assert not faults, path
        again = gather(rows)[0]
        assert plain_of(settled(again)) == plain_of(again), path
        assert sorted(map(str, _scalars(again))) == sorted(map(str, _scalars(data))), path


def _scalars(data):
    if isinstance(data, dict):
        return [(key, *found) for key, value in data.items() for found in _scalars(value)]
    if isinstance(data, list):
        return [found for value in data for found in (_scalars(value) or [(None,)])]
    return [] if data is None else [(plain_of(data),)]


@pytest.mark.parametrize("name", SAMPLES)
def test_sample_comes_back_as_the_same_case(name, tmp_path):
    """ensures that YAML -> workbook -> YAML gives the same values, and for cases that are right
    the same case, down to the digits that were typed; and that the case itself stays untouched."""
    path = ROOT / "sample_inputs" / name
    book, _ = through(path.read_text(encoding="utf-8"), tmp_path)
    try:
        case = load_case(path).case
    except CaseProblems as wrong:
        with pytest.raises(CaseProblems) as found:
            new_from_workbook(book, path.parent)
        assert {p.code for p in found.value.problems} == {p.code for p in wrong.problems}
        assert all(p.cell for p in found.value.problems)
        return
    made = new_from_workbook(book, path.parent)
    assert load_bytes(made.content, "made.yaml", folder=path.parent).case == case
    again = updated_from_workbook(path.read_bytes(), str(path), book, path.parent)
    assert again.content == path.read_bytes()


@st.composite
def _scalar(draw, leaf):
    if leaf.kind is ValueKind.QUANTITY:
        number = draw(st.sampled_from(["12", "0.240", "<0.5", "1,250", "3e2", "0", ">8.0", "9.00"]))
        return number + draw(st.sampled_from([" ", " ", "", "  "])) + draw(
            st.sampled_from(leaf.units))
    if leaf.kind in (ValueKind.NUMBER, ValueKind.WHOLE):
        return resolve(draw(NUMBERS))
    if leaf.kind is ValueKind.TRUTH:
        return draw(st.booleans())
    if leaf.kind is ValueKind.DATE:
        return draw(st.sampled_from(["2026-05-04", "1900-01-01", "2026-02-30", "soon"]))
    if leaf.kind is ValueKind.CHOICE:
        return draw(st.sampled_from(leaf.choices) | TEXTS)
    return draw(TEXTS)


LEAVES = [leaf for group in groups() for leaf in group.leaves if leaf.kind is not ValueKind.DATA]


@settings(max_examples=25)
@given(data=st.data())
def test_a_value_survives_its_cell(data):
    """ensures that a value of any kind and any text comes back from a saved cell as it was,
    in a column of its own unit and in one of another."""
    leaves = data.draw(st.lists(st.sampled_from(LEAVES), min_size=8, max_size=8))
    values = [data.draw(_scalar(leaf)) for leaf in leaves]
    units = [data.draw(st.sampled_from(leaf.units)) if leaf.units else "" for leaf in leaves]
    book = openpyxl.Workbook()
    for row, (leaf, value, unit) in enumerate(zip(leaves, values, units, strict=True), 1):
        made, cell = cell_of(value, leaf, unit), book.active.cell(row, 1)
        cell.value, cell.number_format = made.value, made.shown_as
        if isinstance(made.value, str):
            cell.data_type = "s"
    saved = io.BytesIO()
    book.save(saved)
    read = openpyxl.load_workbook(saved, read_only=True).active
    for (cell,), leaf, value, unit in zip(read.iter_rows(), leaves, values, units, strict=True):
        back = value_of(cell.value, cell.number_format, leaf, unit)
        assert plain_of(back) == plain_of(value), (leaf.path, unit)


@st.composite
def _values(draw, group, number):
    found = {}
    for leaf in group.leaves:
        if group.by and leaf.path == (group.by,):
            found[leaf.path] = f"E{number}"
        elif group.keyed and leaf.path == ("name",):
            found[leaf.path] = f"mesh {number}"
        elif leaf.kind is ValueKind.DATA or leaf.path[-1:] in (("file",), ("attribute",)):
            continue  # the boundary has tests of its own
        elif leaf.many and draw(st.booleans()):
            item = _scalar(leaf)
            found[leaf.path] = draw(st.lists(st.none() | item if leaf.gaps else item,
                                             min_size=1, max_size=5))
        elif not leaf.many and (group.keyed or draw(st.integers(0, 3)) == 0):
            found[leaf.path] = draw(_scalar(leaf))
    return found


@st.composite
def _cases(draw):
    """Data of any shape that the schema has places for; seldom a case that is right."""
    rows = {}
    for group in groups():
        if not group.table:
            found = draw(_values(group, 1))
            rows[group.path] = [BookRow(found)] if found else []
            continue
        owner = group_at(group.owner) if group.owner else None
        owners = rows[owner.path] if owner else []
        rows[group.path] = []
        for number in range(1, draw(st.integers(0, 3 if not owner or owners else 0)) + 1):
            of = draw(st.sampled_from([str(r.values[(owner.by,)]) if owner.by else str(r.number)
                                       for r in owners])) if owner else ""
            found = draw(_values(group, number))
            if found:
                rows[group.path].append(BookRow(found, of, len(rows[group.path]) + 1))
    return gather(rows)[0]


@settings(max_examples=2, deadline=None)
@given(data=_cases())
def test_whatever_has_a_place_comes_back_unchanged(data, tmp_path_factory):
    """ensures that any values, right or wrong, odd text and odd numbers among them, come back
    from a workbook as they stood in the YAML."""
    text = "\n".join("\n".join(emit({key: value})) for key, value in data.items()) + "\n"
    read = source_of(text)
    assert plain_of(read.data) == plain_of(data)
    book, _ = through(text, tmp_path_factory.mktemp("book"))
    assert plain_of(book.source.data) == plain_of(read.data)


def test_every_key_of_the_schema_has_a_place(schema):
    """ensures that no key of the case's JSON Schema is without a cell."""
    def paths(node, at):
        for option in [node, *node.get("anyOf", ())]:
            if "$ref" in option:
                option = schema["$defs"][option["$ref"].rsplit("/", 1)[-1]]
            if option.get("type") == "array":
                yield from paths(option["items"], at)
            elif set(option.get("properties", ())) - {"value", "unit", "file"}:
                for key, inner in option["properties"].items():
                    yield from paths(inner, (*at, key))
            elif option.get("type") != "null" and not any(
                    k in option for k in ("anyOf", "properties")):
                yield at

    known = {(*group.path, *leaf.path) for group in groups() for leaf in group.leaves}
    known |= {group.path for group in groups()}
    lost = {path for path in paths(schema, ()) if path not in known}
    assert lost == {("loambrief",)}


@pytest.mark.usefixtures("few_sheets")
def test_what_is_offered_comes_from_the_schema(tmp_path):
    """ensures drop-downs with the schema's choices, units below the headings, the meaning of each
    column, and that only the cells to fill in are open."""
    case = minimal(samples=[sample()])
    filled = Filled(case, tmp_path)
    book, sheet = filled.book, filled.book["samples increments"]
    where = filled.at("samples increments", "phosphorus")
    letter = where[:-1]
    assert sheet[f"{letter}{workbook_write.UNITS}"].value == "ppm"
    assert sheet[f"{letter}{workbook_write.MEANING}"].value == "phosphorus, as P"

    def offered(sheet, cell):
        rule = next(r for r in sheet.data_validations.dataValidation if cell in r.sqref
                    and r.formula1)
        name, _, area = rule.formula1.partition("!")
        return [c.value for line in book[name.strip("'")][area.replace("$", "")]
                for c in (line if isinstance(line, tuple) else [line])]

    assert offered(sheet, f"{letter}{workbook_write.UNITS}") == [
        "ppm", "mg/kg", "ug/g", "g/kg", "lb/ac"]
    assert offered(sheet, "A6")[0] == "B1"
    assert "olsen" in offered(book["samples"], filled.at("samples", "methods.phosphorus"))
    assert not sheet[where].protection.locked
    assert sheet[f"{letter}{workbook_write.HEAD}"].protection.locked
    assert all(book[name].protection.sheet for name in book.sheetnames)
    assert book.security.lockStructure
    again = workbook_of(source_of(as_bytes(case).decode())).content
    assert again == filled.path.read_bytes()  # no time of writing enters


@pytest.mark.usefixtures("few_sheets")
def test_numbers_keep_their_digits_and_take_the_unit_of_their_heading(tmp_path):
    """ensures that a column's unit is the one most values were typed with, that a number below it
    is a number, and that another unit or a limit stays text in its own words."""
    filled = Filled(minimal(samples=[sample(
        {"zinc": "1.60 mg/kg"}, {"depth": "6-12 in", "zinc": "<0.5 mg/kg"},
        {"depth": "12-18 in", "zinc": "2 ppm"})]), tmp_path)
    sheet, slices = filled.book["samples increments"], "samples increments"
    column = filled.at(slices, "zinc")[:-1]
    assert [sheet[f"{column}{row}"].value for row in (4, 6, 7, 8)] == [
        "mg/kg", 1.6, "<0.5", "2 ppm"]
    assert sheet[f"{column}6"].number_format == "0.00"
    for key, value in (("zinc", 3.25), ("depth", "18-24 in")):
        filled.put(slices, key, value, row=4)
    sheet["A9"] = "B1"
    made = filled.read().source.data["samples"][0]["increments"]
    assert [s["zinc"] for s in made] == ["1.60 mg/kg", "<0.5 mg/kg", "2 ppm", "3.25 mg/kg"]


def test_a_changed_cell_changes_its_line_and_no_remark(tmp_path):
    """ensures that only the lines of what was changed are written; remarks and order stay."""
    text = (ROOT / "sample_inputs/acid_corn_ohio/case.yaml").read_text(encoding="utf-8")
    text = text.replace("  area: 42 ac\n", "  area: 42 ac  # by the deed\n")
    filled = Filled(text, tmp_path)
    filled.put("field", "slope", 3)
    filled.put("client", "phone", None)
    made = updated_from_workbook(text.encode(), "case.yaml", filled.read(), tmp_path)
    old, new = text.splitlines(), made.content.decode().splitlines()
    assert [line for line in new if line not in old] == ["  slope: 3 %"]
    assert [line for line in old if line not in new] == ["  phone: 555-0142", "  slope: 2 %"]
    assert made.notes[1] == "changed: client, field"


@pytest.mark.usefixtures("few_sheets")
def test_problems_stand_at_their_sheet_and_cell(tmp_path):
    """ensures that every problem of a filled workbook names its cell: wrong units and words,
    values that are missing, results without their method, formulas, strays, lost rows."""
    filled = Filled(minimal(samples=[sample({"phosphorus": "12 ppm"})],
                            penetrometer=PENETROMETER), tmp_path)
    filled.put("samples increments", "phosphorus", "12 pppm")
    filled.put("field", "tillage", "none")
    filled.put("case", "date", None)
    with pytest.raises(CaseProblems) as found:
        new_from_workbook(filled.read(), tmp_path)
    tillage = filled.place("field", "tillage")
    assert said(found) == {("CASE024", filled.place("samples increments", "phosphorus")),
                           ("CASE027", tillage), ("CASE021", filled.place("case", "date"))}
    assert f"filled.xlsx:{tillage}: CASE027 field.tillage" in str(found.value)
    assert {p.as_json()["cell"] for p in found.value.problems} == {c for _, c in said(found)}
    filled.put("samples increments", "phosphorus", 12)
    filled.put("field", "tillage", "no-till")
    filled.put("case", "date", "2026-10-20")
    filled.put("samples", "methods.phosphorus", None)
    with pytest.raises(CaseProblems) as found:
        new_from_workbook(filled.read(), tmp_path)
    assert said(found) == {("CASE040", filled.place("samples", "methods.phosphorus"))}
    filled.put("samples", "cores", "=4+5")
    filled.put("samples increments", "depth", "0-2 in", row=2)
    filled.book["samples increments"]["A7"] = "B9"
    filled.book["field"]["H9"] = "stray"
    with pytest.raises(CaseProblems) as found:
        filled.read()
    assert said(found) == {("CASE079", "samples increments!A7"), ("CASE079", "field!H9"),
                           ("CASE079", filled.place("samples", "cores"))}
    assert [p.wanted for p in found.value.problems if p.cell == "samples increments!A7"] == [
        "one id of the sheet 'samples': B1"]


@pytest.mark.usefixtures("few_sheets")
def test_a_change_on_both_sides_is_not_lost(tmp_path):
    """ensures that what was changed in the case since is kept, and refused where the workbook
    says something else again."""
    text = "\n".join("\n".join(emit({k: v})) for k, v in minimal(notes=["one"]).items()) + "\n"
    filled = Filled(text, tmp_path)
    later = text.replace("- one", "- two")
    filled.put("farm", "country", "USA")
    made = updated_from_workbook(later.encode(), "case.yaml", filled.read(), tmp_path)
    assert "- two" in made.content.decode() and "country: USA" in made.content.decode()
    assert "kept as the case has it: notes" in made.notes
    filled.book["notes"]["B6"] = "three"
    with pytest.raises(CaseProblems) as found:
        updated_from_workbook(later.encode(), "case.yaml", filled.read(), tmp_path)
    assert said(found) == {("CASE079", "notes!B6")}
    filled.book["notes"]["B6"] = None
    gone = updated_from_workbook(text.encode(), "case.yaml", filled.read(), tmp_path)
    assert b"notes" not in gone.content and "taken out, empty in the workbook: notes" in gone.notes


def test_what_has_no_cell_is_named_before_anything_is_written():
    """ensures that unknown keys, quantities without a unit, groups in place of values, and
    entries that no row could name are refused with their line."""
    text = as_bytes(minimal(fied={"a": 1}, notes=[{"x": "y"}], samples=[
        sample({"zinc": 12}), sample()])).decode()
    with pytest.raises(CaseProblems) as found:
        workbook_of(source_of(text))
    assert {(p.code, p.field) for p in found.value.problems} == {
        ("CASE077", "fied.a"), ("CASE077", "notes[1].x"), ("CASE023",
        "samples[1].increments[0-6 in].zinc"), ("CASE042", "samples[1].id"),
        ("CASE042", "samples[2].id")}
    assert all(p.line for p in found.value.problems)


@pytest.mark.usefixtures("few_sheets")
def test_drawn_boundary_comes_back_and_damage_is_seen(tmp_path, monkeypatch):
    """ensures that GeoJSON in the case survives in its cells, and is refused once damaged."""
    monkeypatch.setattr(workbook_rows, "PIECE", 1000)
    ring = [[-83.1, 40.0], [-83.1, 40.01], [-83.09, 40.01], [-83.1, 40.0]]
    shape = {"type": "Polygon", "coordinates": [ring * 20]}
    filled = Filled(minimal(boundary=shape), tmp_path)
    assert plain_of(filled.read().source.data["boundary"]) == plain_of(shape)
    filled.put("boundary", "@value#2", None)
    with pytest.raises(CaseProblems) as found:
        filled.read()
    assert {code for code, _ in said(found)} == {"CASE079"}


@pytest.mark.usefixtures("few_sheets")
def test_other_workbooks_are_told_apart(tmp_path):
    """ensures that a lab's workbook is none of ours, and a rebuilt or damaged one is refused."""
    other = tmp_path / "lab.xlsx"
    openpyxl.Workbook().save(other)
    assert not is_workbook(other) and not is_workbook(tmp_path / "none.xlsx")
    filled = Filled(MINIMAL, tmp_path)
    assert is_workbook(filled.path)
    del filled.book["weeds"]
    filled.book.create_sheet("mine")["A1"] = "weeds"
    filled.book["samples"]["D1"], filled.book["samples"]["D6"] = "colour", "red"
    with pytest.raises(CaseProblems) as found:
        filled.read()
    assert {code for code, _ in said(found)} == {"CASE078"}
    assert "no sheet weeds" in [p.found for p in found.value.problems] or (
        "samples!D6" in {cell for _, cell in said(found)})
    filled.path.write_bytes(filled.path.read_bytes()[:-900])
    with pytest.raises(CaseProblems):
        read_workbook(filled.path)
