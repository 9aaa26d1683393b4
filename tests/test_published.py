"""Every published answer in tests/published/ is reproduced."""

import pytest

import loambrief.topics.formulas  # noqa: F401  (registers every formula)
from loambrief.agronomy.registry import FORMULAS
from loambrief.agronomy.selftest import LOOKUPS, Check, Outcome, load_checks, run_check
from loambrief.tables import HOW, references

CHECKS = tuple(load_checks())


@pytest.mark.parametrize("reference", sorted({check.reference for check in CHECKS}))
def test_published_answers(reference):
    """ensures that published answers come out within half of their last printed digit."""
    outcomes = [run_check(check) for check in CHECKS if check.reference == reference]
    assert [f"{one.check.label} ({one.check.where}): {one.message}"
            for one in outcomes if not one.passed] == []


def test_each_check_names_its_source():
    """ensures that each check has a known reference, a place in it and how it was seen."""
    for check in CHECKS:
        assert check.reference in references(), check.label
        assert check.where.strip(), check.label
        assert check.how in HOW, check.label
        assert (check.tolerance is None) or check.why.strip(), f"{check.label}: wider needs why"


def test_every_formula_has_an_answer_to_reproduce():
    """ensures that no formula is without a kept answer, and that most have one seen in print."""
    answers = [check for check in CHECKS if check.printed]
    assert {check.formula for check in answers} == FORMULAS.keys()
    worked = {check.formula for check in answers if run_check(check).kind == "worked"}
    assert len(worked) >= 120


@pytest.mark.parametrize("formula, source, how, kind", [
    ("ph_target", "print", "seen", "table_row"),
    ("ph_target", "another print", "seen", "worked"),
    ("crude_protein_pct", "print", "seen", "worked"),
    ("ph_target", "print", "memory", "memory"),
])
def test_a_row_read_again_is_no_worked_answer(formula, source, how, kind):
    """ensures that an answer out of the table it was typed into is not counted as a proof."""
    check = Check("print", 1, formula, {}, "6.5", None, "table 1", how)
    assert Outcome(check, True, 6.5, "", source).kind == kind


def test_lookups_are_formulas():
    """ensures that no name among the lookups has gone."""
    assert FORMULAS.keys() >= LOOKUPS
