"""Manure over the years: what earlier spreading still gives, and what the next may bring."""

import pytest

from findings.field_cases import WRITERS, case_of
from loambrief.agronomy.registry import recording
from loambrief.case.schema_plan import NitrogenInputs
from loambrief.findings.places import field_place
from loambrief.topics.assess import assess
from loambrief.topics.carbon_nitrogen.credits import credits_of, uncounted
from loambrief.topics.nutrients.manure_plan import liquid_room
from loambrief.topics.soil_water.formulas import available_water_capacity

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


SLURRY = {"id": "pit", "name": "Pit slurry", "kind": "manure", "form": "slurry", "animal": "dairy",
          "analysis": {"total_nitrogen": "25 lb/1000gal", "available_n": "12 lb/1000gal",
                       "p2o5": "10 lb/1000gal", "k2o": "20 lb/1000gal"}}
CORN = {"crop": "corn", "yield_goal": {"value": "200 bu/ac", "basis": "mean of five years"}}


def rates_of(material, **parts):
    with recording():
        said = assess(case_of(materials=[material], field=CORN, **parts))
    return next(f for f in said.findings if f.id == f"nutrients.manure_rates.{material['id']}")


def rows_of(finding):
    return {row["key"]: row for row in finding.evidence[0].text.params["rows"]}


def test_manure_by_nitrogen_harvest_and_years():
    """ensures the four rates by hand: nitrogen set by the adviser, and the harvest's phosphate.

    150 lb over 12 lb in 1,000 gal are 12,500 gal with 125 lb P2O5; 200 bu x 0.35 lb (Ontario) = 70
    lb over 10 lb are 7,000 gal; five harvests would be 35,000 gal, held by nitrogen to 12,500.
    """
    finding = rates_of(SLURRY, nitrogen={
        "rate": "150 lb/ac", "rate_is": "from all sources", "source": "own trials",
        "set_by": "Imre Castellan"})
    rows = rows_of(finding)
    removal = finding.results
    taken = next(r for r in removal if r.formula == "phosphorus_years").inputs["removal_lb_ac"]
    assert rows["nitrogen"]["rate"] == pytest.approx(12_500, rel=1e-3)
    assert rows["removal"]["rate"] == pytest.approx(taken * 100, rel=1e-3)
    assert rows["years"]["rate"] == pytest.approx(min(taken * 500, 12_500), rel=1e-3)
    assert rows["years"]["limit"] == "nitrogen need"
    assert rows["guide"]["rate"] is None  # no phosphorus test, no guide rate
    assert not finding.needs and finding.severity == 0


def test_manure_without_nitrogen_has_no_rate_by_it():
    """ensures that an untested nitrogen leaves the rate by it open and is said."""
    finding = rates_of(SLURRY | {"analysis": {"p2o5": "10 lb/1000gal"}})
    assert rows_of(finding)["nitrogen"]["rate"] is None
    assert "nutrients.body_manure_open" in {m.key for m in finding.body}


def test_liquid_has_the_room_of_the_top_eight_inches():
    """ensures 8 in x capacity x half at 27,154 gal, and the hours by the measured infiltration."""
    case = case_of(infiltration={"date": "2026-10-01", "rates": ["0.5 in/h", "0.5 in/h"]})
    with recording():
        half = liquid_room(case, case.samples[0])
    room = half.inputs["capacity"] * 8 * 0.5
    assert half.number == pytest.approx(min(room, 0.5) * 27154.29, rel=1e-6)
    assert half.details["capped"] is (room > 0.5)
    assert half.details["hours"] == pytest.approx(half.details["inches"] / 0.5)
    bare = case_of(sample={"texture": None})
    assert liquid_room(bare, bare.samples[0]) is None


@pytest.mark.parametrize("texture", ["silt loam", "loam", "clay", "silty clay", "sand"])
def test_no_pass_over_half_an_inch(texture):
    """ensures that no texture gets more than 1/2 in (13,577 gal/ac) at once: Ohio's limit over tile
    drains, and that untested organic matter counts as the class that holds least."""
    case = case_of(sample={"texture": texture})
    with recording():
        room = liquid_room(case, case.samples[0])
        classes = [available_water_capacity.evaluate(texture=texture, organic_matter_pct=p)
                   for p in (1.0, 3.0, 6.0)]
        unknown = available_water_capacity.evaluate(texture=texture)
    assert room.number <= 13577.2
    assert unknown.value == min(c.value for c in classes)
