"""Exact words of the problems: what a consultant sees."""

import json
import pickle
from pathlib import Path

import pytest

from loambrief.case.codes import codes
from loambrief.case.load import load_bytes
from loambrief.case.problems import MOST_PRINTED, Problem, in_file_order, severity
from loambrief.errors import CaseProblems

HERE = Path(__file__).parent
BROKEN = HERE.parents[1] / "sample_inputs" / "broken"


@pytest.mark.parametrize("name", ["wrong_unit", "unknown_key", "impossible_value",
                                  "missing_method"])
def test_broken_sample(name):
    """ensures that each broken sample gives exactly the expected text, all problems at once."""
    raw = (BROKEN / f"{name}.yaml").read_bytes()
    with pytest.raises(CaseProblems) as caught:
        load_bytes(raw, f"{name}.yaml")
    expected = (HERE / "expected" / f"{name}.txt").read_text(encoding="utf-8")
    assert str(caught.value) + "\n" == expected


def test_every_broken_sample_is_tested():
    """ensures that no broken sample lies about without its expected text."""
    assert {p.stem for p in BROKEN.iterdir()} == {p.stem for p in (HERE / "expected").iterdir()}


def test_json_form():
    """ensures that the JSON form holds the same facts under stable names."""
    with pytest.raises(CaseProblems) as caught:
        load_bytes((BROKEN / "wrong_unit.yaml").read_bytes(), "wrong_unit.yaml")
    last = caught.value.problems[-1].as_json()
    assert json.loads(json.dumps(last)) == {
        "file": "wrong_unit.yaml",
        "line": 59,
        "column": 15,
        "code": "CASE024",
        "field": "samples[B1].increments[0-6 in].zinc",
        "found": "'1.1 pmm'",
        "wanted": "a unit of ppm, mg/kg, ug/g, g/kg, lb/ac",
        "source_line": "        zinc: 1.1 pmm",
        "help": "Did you mean 'ppm'?",
        "severity": "error",
    }


def test_problems_survive_a_worker():
    """ensures that problems travel between processes unchanged."""
    with pytest.raises(CaseProblems) as caught:
        load_bytes((BROKEN / "unknown_key.yaml").read_bytes(), "unknown_key.yaml")
    again = pickle.loads(pickle.dumps(caught.value))
    assert again.problems == caught.value.problems
    assert again.exit_code == 1


def test_long_line_is_cut_around_the_place():
    """ensures that a very long line is shown in part, with the caret under the right letter."""
    problem = Problem("c.yaml", 3, 501, "CASE009", "a", "x", "y", "-" * 500 + "@" + "-" * 500)
    excerpt, caret = str(problem).splitlines()[1:3]
    assert len(excerpt) < 120
    assert excerpt[caret.index("^")] == "@"


def test_caret_after_unprintable_characters():
    """ensures that the caret stays in place behind tabs and spelled-out characters."""
    problem = Problem("c.yaml", 1, 5, "CASE004", "a", "x", "y", "\t\x07b:@")
    excerpt, caret = str(problem).splitlines()[1:3]
    assert excerpt.endswith(" \\x07b:@")
    assert excerpt[caret.index("^")] == "@"


def test_many_problems_are_counted():
    """ensures that a file full of faults ends in a count instead of a flood."""
    many = [Problem("c.yaml", i, 1, "CASE020", "k", "a", "b") for i in range(1, 251)]
    kept = in_file_order(many, more=50)
    assert len(kept) == MOST_PRINTED + 1
    assert str(kept[-1]).startswith("c.yaml: CASE019 file: found 200 more problems, wanted none")


def test_codes_are_documented():
    """ensures that codes are well-formed, explained, and split into errors and warnings."""
    for code, meaning in codes().items():
        assert code.startswith("CASE")
        assert len(code) == 7
        assert meaning
        assert (severity(code) == "warning") == (int(code[4:]) >= 100)


def test_warning_tells_how_to_accept_it(problems):
    """ensures that a warning prints the entry that confirms it, ready to copy."""
    from case_builders import minimal

    found = problems(minimal(notes=["<fill in>"]))
    text = str(next(p for p in found if p.code == "CASE118"))
    assert text.endswith(
        "       = warning only; if it is right, add to the case:\n"
        '         accept: [{code: CASE118, field: "file", reason: "..."}]'
    )
    assert str(next(p for p in found if p.code == "CASE119")) == (
        "case.yaml:31:3: CASE119 notes[1]: found '<fill in>', wanted your own words\n"
        '    31 |   "<fill in>"\n'
        "       |   ^\n"
        "       = help: Fill in the placeholder of the starter case."
    )
