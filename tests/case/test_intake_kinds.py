"""Reports of each kind as laboratories lay them out: what is proposed, and what comes out.

The files under ``intake_files`` are invented; none is copied from a laboratory.
"""

import io
import re
from pathlib import Path

import openpyxl
import pytest
import yaml
from lab_builders import workbook
from other_sheets import old_workbook, open_document

from loambrief.case.intake import take_in
from loambrief.case.intake_case import new_case
from loambrief.case.intake_guess import guess_map
from loambrief.case.intake_kinds import PART_OF
from loambrief.case.intake_map import load_map
from loambrief.case.measurements import path_of
from loambrief.errors import CaseProblems

FOLDER = Path(__file__).parent / "intake_files"
HELD = ("soil", *PART_OF)
FILES = [pytest.param(kind, entry, id=f"{kind}-{i}") for kind in HELD
         for i, entry in enumerate(yaml.safe_load((FOLDER / f"{kind}.yaml").read_text()), 1)]
TISSUE = yaml.safe_load((FOLDER / "tissue.yaml").read_text())
ANSWERS = {"ph": '"water 1:1"', "buffer": "sikora", "phosphorus": "olsen", "cations": "mehlich-3",
           "zinc": "dtpa", "organic_matter": "loss on ignition", "cec": "summation",
           "ec": "1:1", "kind": "{value: legume}", "nitrate_as": "{value: no3-n}",
           "part": "{value: upper leaf}", "stage": "{value: early bloom}",
           "name": "{value: Dunmore}", "date": "{value: 2026-06-14}", "decimal": "point",
           "thousands": "none", "dates": "MM/DD/YYYY"}


def answered(text, more):
    """A proposal as an adviser with the report in hand completes it."""
    text = text.replace("confirmed: no", "confirmed: yes")
    for key, answer in ANSWERS.items():
        text = re.sub(rf'(?m)^( +{key}: )(\{{value: )?"\?"\}}?', rf"\g<1>{answer}", text)
    lines = "".join(f"\n  {k}: {v}" for k, v in more.items())
    return text.replace("\ntable:", f"\ntable:{lines}", 1)


def came_out(folder, content, more):
    lab, path = folder / "results.csv", folder / "map.yaml"
    lab.write_bytes(content.encode() if isinstance(content, str) else content)
    guess = guess_map(lab)
    path.write_text(answered(guess.text, more), encoding="utf-8")
    return guess, take_in(lab, load_map(path))


@pytest.mark.parametrize(("kind", "entry"), FILES)
def test_files_come_out_as_they_are_meant(kind, entry, tmp_path):
    """ensures that the kind is recognised and every result lands in its own place, no more."""
    guess, taken = came_out(tmp_path, entry["file"], entry.get("set", {}))
    assert guess.kind.name == kind and guess.kind.why
    found = {s.id: {path_of(k)[-1]: v.text for part in s.slices.values()
                    for k, v in part.values.items() if k != "lab_number"} for s in taken.samples}
    wanted = {name: {k: str(v) for k, v in values.items()} for name, values in entry["to"].items()}
    assert found == wanted
    assert all(p.name.startswith(f"{PART_OF[kind]}.") for p in guess.proposals
               if p.role == "result" and kind != "soil")
    text = new_case(taken, "new.yaml").content.decode()
    for values in wanted.values():
        for name, value in values.items():
            assert re.search(rf'(?m)\b{name}: "?{re.escape(value)}"?( +#.*)?$', text), name


@pytest.mark.parametrize("content", [entry["file"] for entry in TISSUE])
def test_tissue_is_never_proposed_as_soil(content, tmp_path):
    """ensures that 0.22 % P of a leaf is not offered as a soil's, whatever the layout."""
    path = tmp_path / "results.csv"
    path.write_text(content, encoding="utf-8")
    assert guess_map(path).kind.name == "tissue"
    try:
        proposed = guess_map(path, "soil").proposals
    except CaseProblems:
        return
    assert not [p for p in proposed if p.name in ("phosphorus", "potassium", "calcium")]


def test_unclear_kind_is_asked(tmp_path):
    """ensures that a file whose words fit two kinds gets a question, not a guess."""
    path = tmp_path / "results.csv"
    path.write_text("Sample,Depth,pH,Na meq/L,HCO3 meq/L\nA,0-6,7.9,4,3\n", encoding="utf-8")
    with pytest.raises(CaseProblems, match="may be of") as caught:
        guess_map(path)
    assert "--kind" in caught.value.problems[0].help
    assert guess_map(path, "water").kind.name == "water"


def test_map_without_kind_takes_no_other_report(tmp_path):
    """ensures that a soil mapping of last year is not used on a manure file."""
    path, lab = tmp_path / "map.yaml", tmp_path / "results.csv"
    lab.write_text("Sample,Depth,Total N lb/ton,P2O5 lb/ton\nA,0-6,9,6\n", encoding="utf-8")
    path.write_text("""\
loambrief_map: 1
confirmed: yes
table: {decimal: point}
sample: {id: {column: Sample}, date: {value: 2026-06-14}, depth: {value: 0-6 in}}
lab: {name: {value: Dunmore}}
methods: {phosphorus: olsen}
results: [{column: P2O5 lb/ton, to: phosphorus, unit: ppm}]
""", encoding="utf-8")
    with pytest.raises(CaseProblems, match="a manure report"):
        take_in(lab, load_map(path))


def test_mean_of_a_limit_is_refused(tmp_path):
    """ensures that no mean is made up from a value below the limit."""
    content = "Sample,Depth,pH,P ppm,K ppm\nA,0-6 in,6.1,<5,90\nA,0-6 in,6.1,7,94\n"
    with pytest.raises(CaseProblems, match="numbers of one unit for the mean of A phosphorus"):
        came_out(tmp_path, content, {"duplicates": "mean"})


def test_mean_says_its_spread(tmp_path):
    """ensures that a mean of repeats is written with what it was made of."""
    content = "Sample,Depth,pH,P ppm,K ppm\nA,0-6 in,6.1,11,90\nA,0-6 in,6.3,14,94\n"
    _, taken = came_out(tmp_path, content, {"duplicates": "mean"})
    assert "phosphorus: 12.5 ppm  # mean of 2: 11 ppm, 14 ppm; spread 3 ppm" in new_case(
        taken, "n").content.decode()


def test_qualifier_of_unknown_meaning(tmp_path):
    """ensures that a flag is not skipped, and "U" is a limit where the mapping says so."""
    content = "Sample,Depth,pH,P ppm,P Qual,K ppm\nA,0-6 in,6.1,5,U,90\n"
    with pytest.raises(CaseProblems, match="the qualifier 'U'"):
        came_out(tmp_path, content, {})
    _, taken = came_out(tmp_path, content, {"not_detected": "[U]"})
    assert taken.samples[0].slices[0.0, 6.0].values["phosphorus"].text == "<5 ppm"


ROWS = [["Sample", "Depth", "pH", "P ppm", "K ppm"], ["A1", "0-6 in", 6.1, "<5", 140]]


def with_cover():
    book = openpyxl.load_workbook(io.BytesIO(workbook(ROWS)))
    book.create_sheet("Cover", 0).append(["Report of soil"])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


@pytest.mark.parametrize("content", [
    old_workbook(), with_cover(), open_document(("Cover", [["Report"]]), ("Results", ROWS))],
    ids=["xls", "xlsx", "ods"])
def test_workbooks_of_several_sheets(content, tmp_path):
    """ensures that the sheet with the results is found and named, in old and open formats too."""
    guess, taken = came_out(tmp_path, content, {})
    assert "sheet: Results" in guess.text
    values = taken.samples[0].slices[0.0, 6.0].values
    assert {k: v.text for k, v in values.items()} == {
        "ph": "6.1", "phosphorus": "<5 ppm", "potassium": "140 ppm"}


@pytest.mark.parametrize("content", [
    old_workbook()[:3000], b"\xd0\xcf\x11\xe0" + bytes(2000), open_document(("A", ROWS))[:-30],
    open_document(("A", ROWS),
                  cell='office:value-type="string" table:number-columns-repeated="16384"')],
    ids=["cut xls", "empty xls", "cut ods", "endless ods"])
def test_damaged_sheets(content, tmp_path):
    """ensures that a broken or endless workbook is one plain problem."""
    path = tmp_path / "results.xls"
    path.write_bytes(content)
    with pytest.raises(CaseProblems, match="CASE060"):
        guess_map(path)
