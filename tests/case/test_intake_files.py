"""Mappings and lab files that are wrong, damaged or hostile."""

import io
import zipfile

import pytest
from lab_builders import (
    DATE,
    LAB,
    PLAIN,
    RESULTS,
    mapping,
    taken,
    workbook,
    write,
)

from loambrief.case import intake_read
from loambrief.case.intake_cells import NotAResult, depth_of
from loambrief.case.intake_map import load_map
from loambrief.case.intake_read import MAX_COLUMNS, MAX_ROWS, read_lab_file
from loambrief.errors import CaseProblems

GOOD = workbook([["Sample", "Depth", "pH"], ["A1", "0-6", 6.1]])


def map_problems(folder, text):
    _, path = write(folder, b"", text)
    with pytest.raises(CaseProblems) as caught:
        load_map(path)
    return [(p.code, p.field) for p in caught.value.problems]


def file_problems(folder, content, text=None):
    with pytest.raises(CaseProblems) as caught:
        taken(folder, content, text or mapping())
    return list(caught.value.problems)


def repacked(part, change):
    """A workbook with one part of its archive changed."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(GOOD)) as old, zipfile.ZipFile(
        out, "w", zipfile.ZIP_DEFLATED
    ) as new:
        for name in old.namelist():
            data = old.read(name)
            new.writestr(name, change(data) if name == part else data)
    return out.getvalue()


SHEET = "xl/worksheets/sheet1.xml"


@pytest.mark.parametrize(("text", "expected"), [
    (mapping(confirmed="no"), [("CASE062", "confirmed")]),
    (mapping(confirmed="maybe"), [("CASE027", "confirmed")]),
    (mapping(results=RESULTS.replace("unit: ppm", 'unit: "?"', 1)),
     [("CASE062", "results[2].unit")]),
    (mapping(methods='methods: {ph: "water 1:1", phosphorus: "?", cations: mehlich-3}\n'),
     [("CASE062", "methods.phosphorus")]),
    (mapping(methods='methods: {ph: "water 1:1", cations: mehlich-3}\n'),
     [("CASE040", "results[2].to")]),
    (mapping(results=RESULTS.replace(", unit: ppm", "", 1)), [("CASE023", "results[2].unit")]),
    (mapping(results=RESULTS.replace("unit: ppm", "unit: bushels", 1)),
     [("CASE024", "results[2].unit")]),
    (mapping(results=RESULTS.replace("to: ph}", "to: ph, unit: ppm}")),
     [("CASE024", "results[1].unit")]),
    (mapping(results=RESULTS.replace("unit: ppm", "unit: ppm, form: K2O", 1)),
     [("CASE024", "results[2].form")]),
    (mapping(results=RESULTS.replace("to: phosphorus", "to: phosphorous")),
     [("CASE027", "results[2].to")]),
    (mapping(results=RESULTS.replace("to: potassium", "to: phosphorus")),
     [("CASE042", "results[3].to")]),
    (mapping(results=RESULTS.replace("to: ph}", "too: ph}")),
     [("CASE021", "results[1].to"), ("CASE020", "results[1].too")]),
    (mapping(table="{decimal: dot}"), [("CASE027", "table.decimal")]),
    (mapping(table="{thousands: none}"), [("CASE021", "table.decimal")]),
    (mapping(table="{decimal: comma, thousands: comma}"), [("CASE026", "table.thousands")]),
    (mapping(sample="{id: {column: Sample}, " + DATE + "}"),
     [("CASE021", f"results[{i}].depth") for i in (1, 2, 3, 4)]),
    (mapping(sample="{id: {column: S}, depth: {column: D, value: 0-6 in}, " + DATE + "}"),
     [("CASE021", "sample.depth")]),
    (mapping(sample="{id: {column: S}, depth: {top: a, bottom: b}, " + DATE + "}"),
     [("CASE023", "sample.depth.unit")]),
    (mapping(sample="{id: {column: S}, depth: {value: 0-6 in}, date: {value: 30.2.26}}"),
     [("CASE028", "sample.date.value")]),
    (mapping(lab="lab: {name: {value: D, column: Lab}}\n"), [("CASE021", "lab.name")]),
    (mapping(lab="lab: {}\n"), [("CASE021", "lab.name")]),
    (mapping(results="results: []\n"), [("CASE034", "results")]),
    (mapping(more="lab: {}\n"), [("CASE010", "lab")]),
    (mapping(more="run: !!python/object:os.system x\n"), [("CASE009", "run")]),
])
def test_mapping_faults(text, expected, tmp_path):
    """ensures that each fault of a mapping is found at its key, and nothing is assumed."""
    found = map_problems(tmp_path, text)
    assert [f for f in found if f in expected] == expected
    assert {f[0] for f in found} <= {c for c, _ in expected} | {"CASE020"}


def test_all_gaps_of_a_mapping_at_once(tmp_path):
    """ensures that everything still to fill in is reported in one go."""
    text = mapping(confirmed="no", lab=LAB.replace("Dunmore Soil Laboratory", '"?"'),
                   methods='methods: {ph: "?", phosphorus: "?", cations: "?"}\n',
                   results=RESULTS.replace("unit: ppm", 'unit: "?"'))
    assert map_problems(tmp_path, text) == [("CASE062", f) for f in (
        "confirmed", "lab.name.value", "methods.ph", "methods.phosphorus", "methods.cations",
        "results[2].unit", "results[3].unit", "results[4].unit")]


def test_missing_and_double_columns_point_into_the_mapping(tmp_path):
    """ensures that a header that is absent or there twice is blamed on the mapping's line."""
    content = PLAIN.replace("K (ppm)", "Kalium").replace("Ca (ppm)", "P (ppm)")
    found = file_problems(tmp_path, content)
    assert [(p.code, p.field) for p in found] == [
        ("CASE061", f"results[{i}].column") for i in (2, 3, 4)]
    assert all(p.file.endswith("map.yaml") and p.line > 1 for p in found)


def test_header_unit_against_mapping(tmp_path):
    """ensures that 'ppm' for a column headed 'lb/ac' is refused: a factor of two."""
    (problem,) = file_problems(tmp_path, PLAIN.replace("P (ppm)", "P (lb/ac)"), mapping(
        results=RESULTS.replace("P (ppm)", "P (lb/ac)")))
    assert (problem.code, problem.field) == ("CASE061", "results[2].unit")


def test_formulas_stay_text(tmp_path):
    """ensures that no formula is worked out, whatever result the workbook remembers."""
    content = workbook([["Sample", "Depth", "pH", "P (ppm)", "K (ppm)", "Ca (ppm)"],
                        ["A1", "0-6", 6.1, "=10+10", 150, '=HYPERLINK("http://x.example")'],
                        ["=A2", "0-12", 6.1, 4, 150, 1000]])
    found = file_problems(tmp_path, content)
    assert [(p.code, p.line, p.column) for p in found] == [
        ("CASE063", 2, 4), ("CASE063", 2, 6), ("CASE065", 3, 1)]
    assert "'=10+10'" in found[0].found


@pytest.mark.parametrize(("content", "line"), [
    (b"", 0),
    (b"\n\n,,,\n", 0),
    (PLAIN.encode() + b"A\0B,0-6,1,1,1,1\n", 5),
    (PLAIN.encode("utf-16-le"), 1),
    (PLAIN.encode() + b"\x1b[31m,,\n", 5),
    (b"\xd0\xcf\x11\xe0" + b"x" * 600, 0),
    (b"%PDF-1.7\n", 0),
    (b"{\\rtf1", 0),
    (PLAIN.encode() + b'"unclosed' + b"x" * 200_000, 5),
    (PLAIN.encode() + b"y" * 5000, 5),
    (PLAIN.encode() + b"," * (MAX_COLUMNS + 9) + b"1\n", 5),
    (b"a,b\n" * (MAX_ROWS + 1), 0),
    (b"PK\x03\x04 not an archive", 0),
    (GOOD[: len(GOOD) // 2], 0),
    (repacked(SHEET, lambda d: d[: len(d) // 2]), 0),
    (repacked(SHEET, lambda d: b"<!DOCTYPE x [<!ENTITY a 'b'>]>" + d), 0),
    (repacked(SHEET, lambda d: d.replace(b"<v>6.1</v>", b"<v>" + b"9" * 5000 + b"</v>")), 0),
    (repacked("xl/workbook.xml", lambda d: b"<workbook/>"), 0),
], ids=range(18))
def test_files_that_are_no_table(content, line, tmp_path):
    """ensures that damaged, foreign and hostile files end in one plain problem."""
    (problem,) = file_problems(tmp_path, content)
    assert (problem.code, problem.line) == ("CASE060", line)


def test_archive_that_unpacks_without_end(tmp_path, monkeypatch):
    """ensures that a workbook is not unpacked beyond the limit."""
    monkeypatch.setattr(intake_read, "MAX_UNPACKED", 1_000_000)
    content = repacked("xl/styles.xml", lambda d: d + b" " * 2_000_000)
    assert len(content) < 20_000
    (problem,) = file_problems(tmp_path, content)
    assert "unpacked" in problem.found


def test_numbers_no_soil_has(tmp_path):
    """ensures that an infinite number of a workbook is refused at its cell."""
    content = repacked(SHEET, lambda d: d.replace(b"<v>6.1</v>", b"<v>1e400</v>"))
    text = mapping(methods='methods: {ph: "water 1:1"}\n',
                   results="results: [{column: pH, to: ph}]\n")
    (problem,) = file_problems(tmp_path, content, text)
    assert (problem.code, problem.line, problem.column) == ("CASE063", 2, 3)


def test_size_limit(tmp_path, monkeypatch):
    """ensures that a file beyond the limit is refused before it is read."""
    monkeypatch.setattr(intake_read, "MAX_LAB_BYTES", 100)
    (problem,) = file_problems(tmp_path, PLAIN * 10)
    assert problem.code == "CASE002"


def test_stated_encoding_is_kept_to(tmp_path):
    """ensures that a stated encoding that does not fit is a problem with its line."""
    content = PLAIN.encode() + "Müller,,\n".encode("latin-1")
    (problem,) = file_problems(tmp_path, content, mapping("{decimal: point, encoding: utf-8}"))
    assert (problem.code, problem.line) == ("CASE060", 5)
    assert "read as windows-1252" in taken(tmp_path, content, mapping()).notes


def test_sheets(tmp_path):
    """ensures that a sheet is chosen by name, and sheets not read are named."""
    path = tmp_path / "x.xlsx"
    path.write_bytes(GOOD)
    assert read_lab_file(path, sheet="Results").rows[1].cell(0).text == "A1"
    with pytest.raises(CaseProblems, match="one of Results"):
        read_lab_file(path, sheet="Other")


def test_quoted_line_breaks_keep_line_numbers(tmp_path):
    """ensures that a problem after a cell with a line break names the line in the file."""
    content = PLAIN.replace("B2", '"B\n2"').replace(",6.8,", ",acid,") + "C3,0-6,sour,1,1,1\n"
    found = file_problems(tmp_path, content)
    assert [(p.line, p.column) for p in found] == [(4, 3), (6, 3)]


@pytest.mark.parametrize(("top", "bottom"), [("8", "2"), ("0", "900"), ("x", "6")])
def test_a_slice_that_is_none_is_named(top, bottom):
    """ensures that two ends which make no slice are told as typed, with what is wanted."""
    with pytest.raises(NotAResult) as caught:
        depth_of(top, bottom, "in")
    assert caught.value.code == "CASE065" and f"{top}-{bottom} in" in caught.value.found
