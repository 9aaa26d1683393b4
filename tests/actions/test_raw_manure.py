"""Raw manure before the harvest of what people eat: refused, dated, or not dated at all."""

import datetime as dt

import pytest
from plan_builders import case_of, finding, material, need

from loambrief.actions.plan import make_plan
from loambrief.findings.model import NeedKind, Place, Verdict, nutrient

LITTER = material("litter", 4, "manure", spread=6, available_n=1.5, p2o5=2.9, k2o=2.4)
POTASH = material("potash", 600, k2o=60)


def plan(crop, harvest=None, litter=LITTER, organic=None, **field):
    """A plan on 20 October 2026 that wants potash and phosphate; litter is the cheap way."""
    dates = {"planting": "2027-04-01", **({"harvest": harvest} if harvest else {})}
    case = case_of((litter, POTASH), field={"crop": crop, "dates": dates, **field},
                   **({"constraints": {"organic": organic}} if organic else {}))
    wanted = (need(NeedKind.NUTRIENT, "K2O", 80.0), need(NeedKind.NUTRIENT, "P2O5", 90.0))
    return make_plan(case, (finding(*wanted),), tuple(
        nutrient(k, Place("A", "A"), Verdict.NEEDED, "below_critical", test=k, crop=crop,
                 methods=[]) for k in ("P2O5", "K2O")))


def litter_of(made):
    return next((a for a in made.actions if a.material_id == "litter"), None)


@pytest.mark.parametrize(("crop", "harvest", "refused"), [
    ("lettuce", "2027-02-16", True),   # 119 days of the 120
    ("lettuce", "2027-02-17", False),  # 120
    ("apple", "2027-01-17", True),     # 89 days of the 90
    ("apple", "2027-01-18", False),
    ("corn", "2026-11-20", False),     # for stock: no interval unless the farm is organic
])
def test_the_last_day_is_counted_from_the_harvest(crop, harvest, refused):
    """ensures that raw manure is refused from the day its interval cannot be kept.

    Source: cfr-7-205-203 (c)(1): 120 days where the edible part touches soil, else 90;
    cornell-gap-amendments: the usual guidance takes the same for other growers.
    """
    made = plan(crop, harvest)
    said = next(v for v in made.verdicts if v.key == "litter")
    assert (said.reason == "material_interval") is refused
    assert (litter_of(made) is None) is refused


def test_the_organic_rule_binds_grain_too():
    """ensures that a certified organic farm keeps the interval before grain.

    Source: cfr-7-205-203 (c)(1)(i) frees only crops that are not for people.
    """
    made = plan("corn", "2026-11-20", organic="certified")
    said = next(v for v in made.verdicts if v.key == "litter")
    assert (said.reason, said.params["rule"]) == ("material_interval", "organic")


def test_the_window_ends_at_the_last_day():
    """ensures that the days before planting are cut where the interval ends sooner.

    Lettuce cut on 15 June 2027: 120 days before is 15 February. Source: cfr-7-205-203 (c)(1)(ii).
    """
    action = litter_of(plan("lettuce", "2027-06-15"))
    assert action.window.end == dt.date(2027, 2, 15)
    assert action.window.start <= action.window.end
    assert action.cautions[0].key == "actions.caution_raw_interval"
    assert action.cautions[0].params["last"] == dt.date(2027, 2, 15)


def test_no_day_is_given_without_a_harvest_date():
    """ensures that manure before a food crop is not dated where no harvest is planned."""
    action = litter_of(plan("lettuce"))
    assert (action.window.start, action.window.end) == (None, None)
    assert action.window.text.key == "actions.when_raw_undated"
    assert action.cautions[0].params["last"] is None


def test_treated_manure_has_no_interval():
    """ensures that heat-treated manure is not held to the days of raw manure.

    Source: cfr-7-205-203 (c)(1) is about raw manure.
    """
    made = plan("lettuce", "2026-12-01", {**LITTER, "substance": "heat-treated manure"})
    assert litter_of(made).window.text.key != "actions.when_raw"


@pytest.mark.parametrize(("crop", "harvest", "pathogens", "refused"), [
    ("corn", "2026-11-18", None, True),         # 29 days of the 30
    ("corn", "2026-11-19", None, False),
    ("lettuce", "2027-12-20", "class B", True),  # 426 days of the 427
    ("lettuce", "2027-12-21", "class B", False),
    ("lettuce", "2026-11-18", "class A", False),
])
def test_biosolids_keep_the_days_of_their_own_rule(crop, harvest, pathogens, refused):
    """ensures that biosolids whose class is not stated are held to class B before every crop.

    Source: cfr-40-503-32 (b)(5): 14 months where the edible part touches soil, else 30 days.
    """
    metals = {m: "1 mg/kg" for m in ("As", "Cd", "Cu", "Pb", "Hg", "Mo", "Ni", "Se", "Zn")}
    cake = material("litter", 4, "biosolids", spread=6, available_n=1.5, p2o5=2.9, k2o=2.4)
    cake = {**cake, **({"pathogens": pathogens} if pathogens else {}),
            "analysis": {**cake["analysis"], "metals": metals, "moisture": "70 %"}}
    said = next(v for v in plan(crop, harvest, cake).verdicts if v.key == "litter")
    assert (said.reason == "material_interval") is refused
    assert not refused or said.params["rule"] == "biosolids"
