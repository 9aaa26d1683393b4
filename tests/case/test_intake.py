"""A dozen invented laboratories, one truth: what a lab file comes to in a case."""

import hashlib

import pytest
from lab_builders import (
    DATE,
    LAYOUTS,
    PLAIN,
    RESULTS,
    TRUTH,
    mapping,
    results_of,
    taken,
    workbook,
    write,
)

from loambrief.case.intake import take_in
from loambrief.case.intake_case import new_case
from loambrief.case.intake_map import EXAMPLE, conversion, load_map
from loambrief.case.load import load_bytes
from loambrief.errors import CaseProblems


def case_of(intake):
    """The case that comes of it; samples get the areas only an adviser knows."""
    text = new_case(intake, "new.yaml").content.decode()
    text = text.replace("    lab:\n", "    area: 10 ac\n    lab:\n")
    return load_bytes(text.encode(), "new.yaml").case


def problems(folder, content, text, field=None):
    with pytest.raises(CaseProblems) as caught:
        taken(folder, content, text, field)
    return [(p.code, p.file.rpartition("/")[2], p.line, p.column) for p in caught.value.problems]


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_comes_to_the_same_results(layout, tmp_path):
    """ensures that values, limits, depths and gaps survive each layout; no blank becomes 0."""
    intake = taken(tmp_path, *LAYOUTS[layout])
    found = results_of(case_of(intake))
    assert found.keys() == TRUTH.keys()
    for key, values in TRUTH.items():
        assert found[key].keys() == values.keys()
        for name, (value, sign) in values.items():
            assert found[key][name][0] == pytest.approx(value, rel=2e-5), (key, name)
            assert found[key][name][1] == sign


def test_file_and_digest_are_kept(tmp_path):
    """ensures that a sample names the lab's file and its SHA-256 as sha256sum prints it."""
    case = case_of(taken(tmp_path, PLAIN, mapping()))
    lab = case.samples[0].lab
    assert (lab.file, lab.file_sha256) == ("results.csv",
                                           hashlib.sha256(PLAIN.encode()).hexdigest())
    assert str(case.samples[0].date) == "2026-10-02"


def test_conversions_follow_from_definitions():
    """ensures that oxides, ions and charges become the element.

    Molar masses of IUPAC 2007: P2O5 141.9445, 2 P 61.9475; K2O 94.196, 2 K 78.1966; Ca 40.078
    (20.039 g per mol of charge); NO3 62.0049, N 14.0067; SO4 96.0626, S 32.065; CaO 56.0774;
    MgO 40.3044, Mg 24.305.
    """
    assert conversion("phosphorus", "mg/100g", "P2O5")[1] == pytest.approx(
        10 * 61.94752 / 141.9445, rel=1e-6)
    assert conversion("potassium", "ppm", "K2O") == ("ppm", pytest.approx(78.1966 / 94.196))
    assert conversion("calcium", "cmolc/kg", None) == ("ppm", pytest.approx(200.39))
    assert conversion("calcium", "ppm", "CaO")[1] == pytest.approx(40.078 / 56.0774, rel=1e-6)
    assert conversion("magnesium", "ppm", "MgO")[1] == pytest.approx(24.305 / 40.3044, rel=1e-6)
    assert conversion("nitrate_n", "ppm", "NO3")[1] == pytest.approx(14.0067 / 62.0049, rel=1e-6)
    assert conversion("sulfate_s", "ppm", "SO4")[1] == pytest.approx(32.065 / 96.0626, rel=1e-6)
    assert conversion("calcium", "lb/ac", None) == ("lb/ac", 1.0)
    assert conversion("cec", "ppm", None) is None
    assert conversion("zinc", "cmol/kg", None) is None
    assert conversion("organic_matter", "mg/100g", None) is None


def test_a_converted_value_keeps_the_labs_words(tmp_path):
    """ensures that the case says beside a converted value what the lab wrote."""
    intake = taken(tmp_path, *LAYOUTS["oxides in mg/100 g and charge"])
    text = new_case(intake, "new.yaml").content.decode()
    assert "phosphorus: <4.99998 ppm  # lab: <1.14568 mg/100g P2O5" in text


def test_percent_formats_of_a_workbook(tmp_path):
    """ensures that 0.034 shown as 3.4 % is read as 3.4 %."""
    content = workbook([["Sample", "Depth", "OM"], ["A1", "0-6", 0.034]], formats=[("C2", "0.0%")])
    text = mapping(methods="methods: {organic_matter: loss on ignition}\n",
                   results='results: [{column: OM, to: organic_matter, unit: "%"}]\n')
    found = results_of(case_of(taken(tmp_path, content, text)))
    assert found["A1", (0.0, 6.0)]["organic_matter"][0] == pytest.approx(3.4)


def test_one_field_of_several(tmp_path):
    """ensures that a file with several fields needs a choice, and that only that field comes."""
    content = PLAIN.replace("Sample", "Field,Sample").replace("A1", "East,A1").replace(
        "B2", "West,B2")
    sample = "{id: {column: Sample}, field: {column: Field}, depth: {column: Depth, unit: in}, "
    text = mapping(sample=sample + DATE + "}")
    assert problems(tmp_path, content, text) == [("CASE065", "results.csv", 0, 0)]
    assert [s.id for s in taken(tmp_path, content, text, "west").samples] == ["B2"]
    assert problems(tmp_path, content, text, "wesst") == [("CASE065", "results.csv", 0, 0)]
    chosen = text.replace("{column: Field}", "{column: Field, equals: East}")
    assert [s.id for s in taken(tmp_path, content, chosen).samples] == ["A1"]


def test_notes_name_everything_left_out(tmp_path):
    """ensures that unused columns, empty rows and changed names are said."""
    content = PLAIN.replace("Ca (ppm)", "Ca (ppm),Zn").replace("B2", "B 2") + "C3,0-6,,,,\n"
    notes = taken(tmp_path, content, mapping()).notes
    assert "columns not used: Zn" in notes
    assert "rows without results, left out: 5" in notes
    assert "sample 'B 2' is written as B-2" in notes


def test_rows_to_skip_and_repeated_headers(tmp_path):
    """ensures that quality-control rows and headers of a second page are left out."""
    content = PLAIN + PLAIN.split("\n")[0] + "\nQC,0-6,7,9,9,9\n"
    text = mapping("{decimal: point, skip: [{column: Sample, equals: [qc, blank]}]}")
    assert results_of(case_of(taken(tmp_path, content, text))).keys() == TRUTH.keys()


@pytest.mark.parametrize(("policy", "value"), [("first", 17.5), ("last", 19.0)])
def test_duplicates_by_choice(policy, value, tmp_path):
    """ensures that a repeated result is refused unless the mapping says which one counts."""
    content = PLAIN + "A1,0-6,5.9,19.0,121,1260\n"
    assert problems(tmp_path, content, mapping()) == [("CASE064", "results.csv", 5, 1)]
    intake = taken(tmp_path, content, mapping(f"{{decimal: point, duplicates: {policy}}}"))
    assert results_of(case_of(intake))["A1", (0.0, 6.0)]["phosphorus"] == (value, None)
    assert any("row 5" in note and policy in note for note in intake.notes)


def test_names_that_would_fall_together(tmp_path):
    """ensures that 'N 1' and 'N/1' are not merged into one sample."""
    content = PLAIN.replace("A1,0-2", "N 1,0-2").replace("A1,0-6", "N/1,0-6")
    assert problems(tmp_path, content, mapping()) == [("CASE042", "results.csv", 3, 1)]


def test_not_detected_becomes_a_limit(tmp_path):
    """ensures that ND is the stated limit with '<', and refused without one."""
    content = PLAIN.replace("<5", "ND")
    table = "{decimal: point, not_detected: [nd]}"
    assert problems(tmp_path, content, mapping()) == [("CASE063", "results.csv", 2, 4)]
    assert problems(tmp_path, content, mapping(table)) == [("CASE063", "results.csv", 2, 4)]
    text = mapping(table, results=RESULTS.replace("to: phosphorus",
                                                  "to: phosphorus, detection_limit: 5"))
    assert results_of(case_of(taken(tmp_path, content, text))) == TRUTH


def test_ratings_behind_numbers(tmp_path):
    """ensures that '182 H' is refused unless H is declared a rating."""
    content = PLAIN.replace(",182,", ",182 H,")
    assert problems(tmp_path, content, mapping()) == [("CASE063", "results.csv", 2, 5)]
    text = mapping("{decimal: point, ratings: [VL, L, M, H]}")
    assert results_of(case_of(taken(tmp_path, content, text))) == TRUTH


def test_all_cell_problems_at_once(tmp_path):
    """ensures that every bad cell is reported with its own row and column, in order."""
    content = ("Sample,Depth,pH,P (ppm),K (ppm),Ca (ppm)\n"
               "A1,0-2,acid,5.5,182,\"1,040\"\n"  # no number; thousands not declared
               "A1,6,5.9,17.5,121,1260\n"  # no slice
               ",0-6,6.8,41,3,1720\n"  # no sample
               "B2,0-6,15,1e400,-3,=1+1\n")  # impossible, infinite, negative, formula text
    assert problems(tmp_path, content, mapping()) == [
        ("CASE063", "results.csv", 2, 3), ("CASE063", "results.csv", 2, 6),
        ("CASE065", "results.csv", 3, 2), ("CASE065", "results.csv", 4, 1),
        ("CASE026", "results.csv", 5, 3), ("CASE063", "results.csv", 5, 4),
        ("CASE026", "results.csv", 5, 5), ("CASE063", "results.csv", 5, 6)]


def test_other_units_in_cells_and_rows(tmp_path):
    """ensures that a unit beside a number must be the mapping's."""
    content = PLAIN.replace(",17.5,", ",17.5 ppm,").replace(",121,", ",121 lb/ac,")
    assert problems(tmp_path, content, mapping()) == [("CASE063", "results.csv", 3, 5)]
    raw, text = LAYOUTS["one row for each result"]
    assert problems(tmp_path, raw.replace(b"17.5,ppm", b"17.5,lb/ac"), text) == [
        ("CASE063", "results.csv", 7, 5)]


def test_dates_and_their_order(tmp_path):
    """ensures that dates are read only in the stated order, and one sample has one date."""
    content = PLAIN.replace("Sample", "Day,Sample").replace("A1", "02/10/2026,A1").replace(
        "B2", "13/10/2026,B2")
    sample = ("{id: {column: Sample}, depth: {column: Depth, unit: in}, date: {column: Day}}")
    text = mapping("{decimal: point, dates: DD/MM/YYYY}", sample)
    case = case_of(taken(tmp_path, content, text))
    assert [str(s.date) for s in case.samples] == ["2026-10-02", "2026-10-13"]
    assert problems(tmp_path, content, text.replace("DD/MM", "MM/DD")) == [
        ("CASE028", "results.csv", 4, 1)]
    two = content.replace("02/10/2026,A1,0-6", "03/10/2026,A1,0-6")
    assert problems(tmp_path, two, text) == [("CASE065", "results.csv", 3, 1)]


def test_a_depth_the_spreadsheet_took_for_a_date(tmp_path):
    """ensures that 6-12 turned into 6 December is recognised, not read."""
    import datetime as dt

    content = workbook([["Sample", "Depth", "pH"], ["A1", dt.date(2026, 12, 6), 6.1]])
    text = mapping(methods='methods: {ph: "water 1:1"}\n',
                   results="results: [{column: pH, to: ph}]\n")
    with pytest.raises(CaseProblems) as caught:
        taken(tmp_path, content, text)
    (problem,) = caught.value.problems
    assert (problem.code, problem.line, problem.column) == ("CASE065", 2, 2)
    assert "for a date" in problem.help


def test_too_many_samples(tmp_path):
    """ensures that a file for a whole county is refused with the way out."""
    rows = "".join(f"S{i},0-6,6.1,20,150,1400\n" for i in range(60))
    assert problems(tmp_path, PLAIN.split("\n")[0] + "\n" + rows, mapping()) == [
        ("CASE034", "results.csv", 0, 0)]


def test_example_mapping_is_good(tmp_path):
    """ensures that the example in the module's text is itself a mapping that works."""
    lab, map_file = write(tmp_path, "Sample,Depth,pH,P ppm\nA1,0-6,6.1,20\n", EXAMPLE)
    assert [s.id for s in take_in(lab, load_map(map_file)).samples] == ["A1"]
