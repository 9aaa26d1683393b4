"""A proposed mapping: what it may fill in, what it must leave open, and that it is refused."""

import pytest
from lab_builders import LAYOUTS, PLAIN, results_of, taken

from loambrief.case.intake_case import new_case
from loambrief.case.intake_guess import guess_map, recognise
from loambrief.case.intake_map import load_map
from loambrief.case.load import load_bytes
from loambrief.case.reader import read_text
from loambrief.errors import CaseProblems

FILE = """\
A laboratory of our own invention
Report 12

Sample,Field,Depth (in),Date Sampled,pH,Buffer pH,OM %,M3-P ppm,K (mg/kg),Ca,Zn ppm,CEC meq/100g,Hue
N1,East,0-6,09/22/2026,5.6,6.5,2.6,12,118,"1,180",1.6,13.4,x
S1,East,0-6,09/25/2026,6.0,6.7,3.1,24,151,"1,720",,15.1,y
"""


def guess(folder, content, name="results.csv"):
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return guess_map(path)


def test_guess_is_refused_until_it_is_completed_and_confirmed(tmp_path):
    """ensures that a proposal passes only with every '?' answered and confirmed: yes."""
    text = guess(tmp_path, FILE).text
    path = tmp_path / "map.yaml"

    def codes(text):
        path.write_text(text)
        try:
            load_map(path)
            return []
        except CaseProblems as error:
            return [(p.code, p.field) for p in error.problems]

    found = codes(text)
    assert {code for code, _ in found} == {"CASE062"}
    assert {field for _, field in found} == {
        "confirmed", "lab.name.value", "methods.ph", "methods.buffer", "methods.phosphorus",
        "methods.cations", "methods.zinc", "methods.organic_matter", "methods.cec",
        "results[6].unit"}
    only = text.replace("confirmed: no", "confirmed: yes")
    assert ("CASE062", "results[6].unit") in codes(only)
    answers = {'ph: "?"': 'ph: "water 1:1"', 'buffer: "?"': "buffer: sikora",
               'phosphorus: "?"': "phosphorus: mehlich-3-icp", 'cations: "?"': "cations: mehlich-3",
               'zinc: "?"': "zinc: dtpa", 'organic_matter: "?"': "organic_matter: loss on ignition",
               'cec: "?"': "cec: summation", 'value: "?"': "value: Dunmore",
               'unit: "?"': "unit: ppm"}
    for gap, answer in answers.items():
        text = text.replace(gap, answer)
    assert codes(text) == [("CASE062", "confirmed")]
    text = text.replace("confirmed: no", "confirmed: yes")
    assert codes(text) == []
    intake = taken(tmp_path, FILE, text)
    case = new_case(intake, "n").content.decode()
    case = case.replace("    lab:\n", "    area: 9 ac\n    lab:\n")
    found = results_of(load_bytes(case.encode(), "n").case)
    assert found["N1", (0.0, 6.0)]["calcium"] == (1180.0, None)
    assert "zinc" not in found["S1", (0.0, 6.0)]


def test_units_and_methods_are_never_invented(tmp_path):
    """ensures that only a unit printed in the file is filled in, and no method ever is."""
    data = read_text(guess(tmp_path, FILE).text, "g")[0].data
    units = {r["to"]: r.get("unit") for r in data["results"]}
    assert units == {"ph": None, "buffer_ph": None, "organic_matter": "%", "phosphorus": "ppm",
                     "potassium": "mg/kg", "calcium": "?", "zinc": "ppm", "cec": "meq/100g"}
    assert set(data["methods"].values()) == {"?"}
    assert data["lab"]["name"] == {"value": "?"}
    assert data["confirmed"] == "no"
    assert data["table"]["dates"] == "MM/DD/YYYY"
    assert (data["table"]["decimal"], data["table"]["thousands"]) == ("point", "comma")


def test_confidence_and_what_is_not_recognised(tmp_path):
    """ensures that every proposal has its confidence and unknown columns are listed."""
    found = guess(tmp_path, FILE)
    assert found.unknown == ("Hue",)
    by_header = {p.header: p for p in found.proposals}
    assert 0.5 <= by_header["M3-P ppm"].confidence < by_header["pH"].confidence <= 1
    assert '#   - Hue' in found.text


@pytest.mark.parametrize(("values", "marks"), [
    (("5.4", "17.5"), ("point", "none")),
    (("5,4", "1.040"), ("comma", "point")),
    (("5.4", "1,040.5"), ("point", "comma")),
    (("5", "1,040"), ("?", "?")),
    (("5", "1.040"), ("?", "?")),
    (("5,4", "17.5"), ("?", "?")),
    (("5", "17"), ("point", "none")),
    (("<0,5", "17"), ("comma", "none")),
])
def test_decimal_mark_only_where_the_numbers_tell(values, marks, tmp_path):
    """ensures that '1,040' alone is not taken for a thousand nor for one point oh four."""
    content = "Sample;Depth;P ppm;K ppm\nA;0-6;{};{}\n".format(*values)
    table = read_text(guess(tmp_path, content).text, "g")[0].data["table"]
    assert (table["decimal"], table["thousands"]) == marks


@pytest.mark.parametrize("layout", [
    "plain", "noise above and below", "UTF-16 tabs", "units in a second header row",
    "one row for each result", "workbook"])
def test_invented_layouts_are_recognised(layout, tmp_path):
    """ensures that the results of usual layouts are proposed for the right fields."""
    name = "r.xlsx" if "workbook" in layout else "r.csv"
    data = read_text(guess(tmp_path, LAYOUTS[layout][0], name).text, "g")[0].data
    assert [r["to"] for r in data["results"]] == ["ph", "phosphorus", "potassium", "calcium"]
    assert data["sample"]["id"]["column"] == "Sample"
    assert "column" in data["sample"]["depth"]


@pytest.mark.parametrize(("header", "name"), [
    ("P2O5 (lb/ac)", "phosphorus"), ("Olsen P ppm", "phosphorus"), ("NO3-N", "nitrate_n"),
    ("Soil pH", "ph"), ("SMP Buffer pH", "buffer_ph"), ("Exch. Na", "exchangeable_sodium"),
    ("Depth [cm]", "depth"), ("Lime index", None), ("Base saturation Ca %", None), ("", None),
    ("Phosphorus rating", None)])
def test_headers(header, name):
    """ensures that headers mean what they say, and doubtful ones nothing."""
    found = recognise(header)
    assert (found and found[1]) == name


def test_no_header(tmp_path):
    """ensures that a file without a known header is a problem, not an empty mapping."""
    with pytest.raises(CaseProblems, match="CASE060"):
        guess(tmp_path, "x,y\n1,2\n")


def test_two_columns_for_one_field(tmp_path):
    """ensures that the better of two columns is proposed and the other one listed."""
    found = guess(tmp_path, PLAIN.replace("Ca (ppm)", "P2O5 ppm"))
    assert "P2O5 ppm" in found.unknown
