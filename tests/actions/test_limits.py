"""What a zone may get of phosphorus and nitrogen from all sources, and what is said of it."""

import pytest
from plan_builders import case_of, finding, material, need, product

from loambrief.actions.plan import make_plan
from loambrief.findings.model import NeedKind, Place, Verdict, nutrient

NEAR_WATER = {"sensitive_areas": ["Creek 20 ft from the east side"], "crop": "corn silage",
              "yield_goal": {"value": "22 ton/ac", "basis": "mean"}}
SLURRY = material("slurry", 0.004, "manure", per="gal", spread=20,
                  loads={"form": "slurry"}, total_nitrogen=0.38, available_n=0.15, p2o5=0.25,
                  k2o=0.33)
POTASH = material("potash", 600, k2o=60)
LITTER = material("litter", 4, "manure", spread=6, available_n=1.5, p2o5=2.9, k2o=2.4)


def judged(verdict, reason, key="P2O5", where="A"):
    return nutrient(key, Place(where, where), verdict, reason, test=key, crop="corn", methods=[])


def potash_plan(judgement, materials=(SLURRY, POTASH), **field):
    """A plan for 234 lb/ac of K2O where phosphorus is judged so."""
    return make_plan(case_of(materials, field=field),
                     (finding(need(NeedKind.NUTRIENT, "K2O", 234.0)),), (judgement,))


@pytest.mark.parametrize(("verdict", "reason", "field", "by"), [
    (Verdict.NOT_NEEDED, "enough_in_soil", NEAR_WATER, "not_needed"),
    (Verdict.OPTIONAL, "maintenance_left_out", NEAR_WATER, "left_out_water"),
    (Verdict.OPTIONAL, "maintenance_left_out", {}, "left_out"),
    (Verdict.NOT_JUDGED, "not_measured", NEAR_WATER, "unknown_water"),
    (Verdict.NOT_JUDGED, "not_measured", {}, "unknown"),
])
def test_no_phosphorus_where_none_may_go(verdict, reason, field, by):
    """ensures that manure bought for potash brings no phosphorus where none is to go on.

    Source: osu-agbmps-p50 (no agronomic reason to apply phosphorus), and near water common
    practice; cheap slurry would bring 177 lb/ac of P2O5 with this potash.
    """
    plan = potash_plan(judged(verdict, reason), **field)
    assert sum(a.supplies.get("P2O5", 0.0) for a in plan.actions) == 0
    action, = [a for a in plan.actions if a.kind is NeedKind.NUTRIENT]
    assert action.material_id == "potash"
    assert [m.params["by"] for m in action.limits if m.key == "actions.limit_upper"] == [by]


def test_a_refused_manure_names_its_phosphorus_and_no_price():
    """ensures that cheap slurry is not said to be dear where its phosphorus shuts it out."""
    plan = potash_plan(judged(Verdict.NOT_NEEDED, "enough_in_soil"), **NEAR_WATER)
    said = next(v for v in plan.verdicts if v.key == "slurry")
    assert said.reason in ("material_over_limit", "material_limited", "material_no_question")
    assert "dearer" not in said.reason
    assert said.reason == "material_no_question" or "P2O5" in said.params["items"]


def test_a_manure_is_held_to_the_harvest_and_says_so():
    """ensures that litter for potash stops where the harvest takes no more phosphorus.

    Corn takes 0.37 to 0.44 lb of P2O5 a bushel (ontario-2025-removal): 180 bu take 73 lb, and
    litter with 58 lb/ton may go on at 1.26 ton/ac, not at the 4.9 ton its potash asks for.
    """
    field = {"yield_goal": {"value": "180 bu/ac", "basis": "mean"}}
    plan = make_plan(
        case_of((LITTER, POTASH, material("map", 800, p2o5=52, n=11)), field=field),
        (finding(need(NeedKind.NUTRIENT, "K2O", 234.0), need(NeedKind.NUTRIENT, "P2O5", 30.0)),),
        (judged(Verdict.NEEDED, "below_critical"),))
    litter = next(a for a in plan.actions if a.material_id == "litter")
    assert litter.supplies["P2O5"] <= 180 * 0.405 + 1e-6
    said = next(m for m in litter.limits if m.key == "actions.limit_manure")
    assert said.params["by"] == "harvest"
    assert said.params["p2o5"] == pytest.approx(58.0)
    assert any(r.formula == "manure_rate_limit" for r in litter.results)


def test_the_guide_rate_is_the_most_near_water():
    """ensures that water near takes away the allowance of the harvest (common practice)."""
    field = {"yield_goal": {"value": "180 bu/ac", "basis": "mean"}, "sensitive_areas": ["Ditch"]}
    plan = make_plan(
        case_of((LITTER, POTASH), field=field),
        (finding(need(NeedKind.NUTRIENT, "K2O", 234.0), need(NeedKind.NUTRIENT, "P2O5", 30.0)),),
        (judged(Verdict.NEEDED, "below_critical"),))
    assert sum(a.supplies.get("P2O5", 0.0) for a in plan.actions) <= 30.0 + 1e-6
    litter = next(a for a in plan.actions if a.material_id == "litter")
    keys = [c.key for c in litter.cautions]
    assert keys[0] == "actions.caution_setback"


def test_manure_keeps_the_federal_distance_where_no_state_is_named():
    """ensures that the setback is 100 ft, or 35 ft behind a strip (40 CFR 412.4 (c)(5))."""
    plan = make_plan(
        case_of((LITTER,), field={"sensitive_areas": ["Pond"]}),
        (finding(need(NeedKind.NUTRIENT, "P2O5", 60.0)),), (judged(Verdict.NEEDED, "low"),))
    caution = plan.actions[0].cautions[0]
    assert (caution.params["feet"], caution.params["strip"]) == (100.0, 35.0)


def test_slurry_is_rated_priced_and_ordered_in_gallons():
    """ensures that what is pumped has its rate in gal/ac and lb in 1,000 gal.

    A gallon as heavy as water (8.34 lb) with 0.25 % P2O5 holds 20.85 lb in 1,000 gal
    (lpelc-manure-analysis); 60 lb of P2O5 take 2,878 gal/ac, which a tank holds as 3,000.
    """
    plan = make_plan(case_of((SLURRY,)), (finding(need(NeedKind.NUTRIENT, "P2O5", 60.0,
                                                       high=70.0, low=50.0)),),
                     (judged(Verdict.NEEDED, "below_critical"),))
    action, = [a for a in plan.actions if a.kind is NeedKind.NUTRIENT]
    assert action.rate_unit == "gal/ac"
    assert action.exact_rate == pytest.approx(2878, abs=1)
    assert action.rate == 3000
    assert action.supplies["P2O5"] == pytest.approx(3.0 * 20.85)
    assert action.cost_total == pytest.approx(40 * (3000 * 0.004 + 20))
    order, = plan.orders
    assert order.needed_lb / order.gallon_lb == pytest.approx(40 * 3000)
    said = next(m for m in action.limits if m.key == "actions.limit_manure")
    assert said.params["pumped"] and said.params["p2o5"] == pytest.approx(20.85)


def test_a_price_by_the_gallon_counts_only_for_what_is_pumped():
    """ensures that no density is made up for a solid priced by the gallon."""
    solid = product("solid", 1, "manure", per="gal", p2o5=1)
    assert solid.per_lb is None
    assert product("wet", 1, "manure", per="gal", p2o5=1,
                   loads={"form": "liquid"}).per_lb == pytest.approx(1 / 8.34)


@pytest.mark.parametrize(("risk", "most"), [("low", None), ("very high", 0.0)])
def test_a_stated_index_sets_the_basis_of_manure(risk, most):
    """ensures that a very high phosphorus index lets no phosphorus go on.

    Source: unl-passel-p-index, interpretation of the risk levels.
    """
    plan = potash_plan(judged(Verdict.NEEDED, "below_critical"), (LITTER, POTASH),
                       crop="corn", yield_goal={"value": "180 bu/ac", "basis": "mean"},
                       p_index={"risk": risk})
    brought = sum(a.supplies.get("P2O5", 0.0) for a in plan.actions)
    assert brought == most if most is not None else brought > 0


@pytest.mark.parametrize(("distance", "inside"), [("20 ft", True), ("150 ft", False)])
def test_manure_keeps_its_setback_from_stated_water(distance, inside):
    """ensures that manure beside a stated stream says the setback, and whether it is inside.

    Source: cfr-40-412-4 (c)(5), 100 ft.
    """
    case = case_of((LITTER, POTASH), field={
        "crop": "corn", "yield_goal": {"value": "180 bu/ac", "basis": "mean"},
        "near_water": [{"kind": "stream", "distance": distance}]})
    plan = make_plan(case, (finding(need(NeedKind.NUTRIENT, "K2O", 100.0),
                                    need(NeedKind.NUTRIENT, "P2O5", 60.0)),),
                     (judged(Verdict.NEEDED, "below_critical"),))
    said = [m for a in plan.actions for m in a.cautions if m.key == "actions.caution_near_water"]
    assert [(m.params["feet"], m.params["inside"]) for m in said] == [(100, inside)]


@pytest.mark.parametrize(("days", "kept"), [(120, False), (30, True)])
def test_a_material_inside_its_harvest_interval_is_ruled_out(days, kept):
    """ensures that the interval, not the price, is the reason against a material.

    Source: cfr-7-205-203 (c)(1)(ii), 120 days; the case's own interval states it.
    """
    litter = {**LITTER, "harvest_interval": days}
    plan = potash_plan(judged(Verdict.NEEDED, "below_critical"), (litter, POTASH), crop="corn",
                       yield_goal={"value": "180 bu/ac", "basis": "mean"},
                       dates={"planting": "2026-05-01", "harvest": "2026-12-19"})
    said = next(v for v in plan.verdicts if v.key == "litter")
    assert (said.reason != "material_interval") is kept
    assert any(a.material_id == "litter" for a in plan.actions) is kept


@pytest.mark.parametrize(("field", "told"), [
    ({**NEAR_WATER, "slope": "6 %"}, True),
    (NEAR_WATER, True),
    ({**NEAR_WATER, "p_index": {"risk": "low"}}, False),
    ({"crop": "corn silage"}, False),
])
def test_an_index_that_nobody_stated_is_not_judged(field, told):
    """ensures that manure near water without a stated phosphorus index says that the index was
    not judged, whatever the slope: it is never worked out here. Fertilizer is not asked.
    """
    case = case_of((LITTER, POTASH), field={
        "yield_goal": {"value": "22 ton/ac", "basis": "mean"}, **field})
    wanted = (need(NeedKind.NUTRIENT, "P2O5", 60.0), need(NeedKind.NUTRIENT, "K2O", 80.0))
    made = make_plan(case, (finding(*wanted),), (judged(Verdict.NEEDED, "below_critical"),))
    keys = {a.material_id: [c.key for c in a.cautions] for a in made.actions}
    assert ("actions.caution_index_open" in keys["litter"]) is told
    assert "actions.caution_index_open" not in keys.get("potash", [])
