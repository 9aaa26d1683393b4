"""Manure over the years: what earlier spreading still gives, and what the next may bring."""

import pytest

from findings.field_cases import WRITERS, case_of
from loambrief.case.schema_plan import NitrogenInputs
from loambrief.findings.places import field_place
from loambrief.topics.carbon_nitrogen.credits import credits_of, uncounted

DAIRY = {"total_nitrogen": "0.5 %", "p2o5": "0.3 %"}


def credit(date, analysis=None, kind="manure"):
    case = case_of(earlier_applications=[{
        "date": date, "material": "Dairy manure", "kind": kind, "rate": "20 ton/ac",
        "analysis": DAIRY if analysis is None else analysis}])
    found = [c for c in credits_of(case, NitrogenInputs(), None, field_place(case))
             if c.kind == "manure"]
    return case, found


@pytest.mark.parametrize(
    ("date", "pounds"), [("2025-11-01", 90), ("2025-03-01", 20), ("2024-03-01", 10)])
def test_later_seasons_count_by_their_share(date, pounds):
    """ensures 10 and 5 % of the total in the second and third season (Iowa, Huyser 2013).

    20 ton with 10 lb of nitrogen are 200 lb; the first season counts the middle of 30 to 60 %.
    """
    _, (found,) = credit(date)
    assert found.amount == pytest.approx(pounds)


def test_later_seasons_go_by_the_organic_part_where_it_is_known():
    """ensures 12 % of the organic nitrogen (Cornell), with the other way told beside it.

    20 ton x (10 - 4 lb) x 12 % = 14.4 lb, by hand; by the share of the total it is 20.
    """
    _, (found,) = credit("2025-03-01", DAIRY | {"ammonium_n": "0.2 %"})
    assert found.amount == pytest.approx(14.4)
    assert found.text.params["other"] == pytest.approx(20.0)
    assert "second season" in WRITERS["us"].write(found.text)


@pytest.mark.parametrize(("date", "kind"), [("2023-03-01", "manure"), ("2025-03-01", "compost")])
def test_nothing_is_counted_without_a_published_share(date, kind):
    """ensures that a fourth season and the later seasons of compost give no credit."""
    assert credit(date, kind=kind)[1] == []


def test_manure_without_an_analysis_stays_open():
    """ensures that manure of last year without its nitrogen is named as not counted."""
    case, found = credit("2025-03-01", {"p2o5": "0.3 %"})
    assert found == [] and "manure" in list(uncounted(case, set()))
