"""The strip along water: off area, order and cost where its length is stated, said where not."""

import pytest
from plan_builders import case_of, finding, material, need

from loambrief.actions.plan import make_plan
from loambrief.findings.model import NeedKind, Place, Verdict, nutrient

POTASH = material("potash", 600, k2o=60)
MAP = material("map", 900, n=11, p2o5=52)


def manure(kind="manure"):
    return material("litter", 4, kind, spread=6, available_n=1.5, p2o5=2.9, k2o=2.4)


def plan(water, kind="manure", area="40 ac"):
    """40 ac in one zone that wants potash and phosphate beside a water."""
    case = case_of((manure(kind), POTASH, MAP), field={
        "crop": "corn", "area": area, "yield_goal": {"value": "180 bu/ac", "basis": "mean"},
        "near_water": [water] if water else []})
    wanted = (need(NeedKind.NUTRIENT, "K2O", 60.0), need(NeedKind.NUTRIENT, "P2O5", 70.0))
    return make_plan(case, (finding(*wanted),), tuple(
        nutrient(k, Place("A", "A"), Verdict.NEEDED, "below_critical", test=k, crop="corn",
                 methods=[]) for k in ("P2O5", "K2O")))


def litter(made):
    return next((a for a in made.actions if a.material_id == "litter"), None)


@pytest.mark.parametrize("kind", ["manure", "compost"])
def test_the_strip_comes_off_area_order_and_cost(kind):
    """ensures that 1,089 ft of stream 20 ft off take 2 ac of 40 away.

    Source: cfr-40-412-4 (c)(5), 100 ft: (100 - 20) x 1,089 / 43,560 = 2.0 ac.
    """
    made = plan({"kind": "stream", "distance": "20 ft", "length": "1089 ft"}, kind)
    action = litter(made)
    assert action.area_ac == pytest.approx(38.0)
    assert action.cost_total == pytest.approx(action.cost_per_ac * 38)
    order, = [o for o in made.orders if o.material_id == "litter"]
    assert order.needed_lb == pytest.approx(action.rate * 38 * 2000)
    told, = [m for m in action.limits if m.key == "actions.limit_setback"]
    assert (told.params["feet"], told.params["kind"]) == (100.0, "stream")
    assert action.cautions[0].params["off"] == pytest.approx(2.0)


def test_an_unstated_length_is_said_and_stays_in_the_order():
    """ensures that the page tells what each 100 ft take off while the order holds all.

    (100 - 20) x 100 / 43,560 = 0.18 ac.
    """
    action = litter(plan({"kind": "stream", "distance": "20 ft"}))
    assert action.area_ac == 40.0
    told = action.cautions[0]
    assert (told.key, told.params["off"]) == ("actions.caution_near_water", None)
    assert told.params["each"] == pytest.approx(0.1837, abs=1e-4)


def test_nothing_comes_off_beyond_the_setback():
    """ensures that water farther off than the setback leaves the area whole."""
    action = litter(plan({"kind": "stream", "distance": "150 ft", "length": "2000 ft"}))
    assert action.area_ac == 40.0
    assert not action.cautions[0].params["inside"]


def test_a_zone_all_inside_the_setback_gets_none():
    """ensures that mineral fertilizer takes over where no part of the zone may get manure."""
    made = plan({"kind": "stream", "distance": "0 ft", "length": "40000 ft"})
    assert litter(made) is None
    assert {a.material_id for a in made.actions if a.kind is NeedKind.NUTRIENT} == {
        "potash", "map"}


def test_fertilizer_has_no_strip():
    """ensures that the rule on manure does not take area from potash."""
    made = plan({"kind": "stream", "distance": "0 ft", "length": "40000 ft"})
    assert all(a.area_ac == 40.0 for a in made.actions if a.material_id == "potash")


@pytest.mark.parametrize(("slope", "warned"), [("3 %", False), ("12 %", True)])
def test_a_slope_is_read(slope, warned):
    """ensures that the slope of the field warns of runoff with what brings phosphorus, only.

    The line of 8 % is our own.
    """
    case = case_of((POTASH, MAP), field={"crop": "corn", "slope": slope})
    made = make_plan(case, (finding(need(NeedKind.NUTRIENT, "K2O", 60.0),
                                    need(NeedKind.NUTRIENT, "P2O5", 70.0)),))
    keys = {a.material_id: {c.key for c in a.cautions} for a in made.actions}
    assert ("actions.caution_slope" in keys["map"]) is warned
    assert "actions.caution_slope" not in keys["potash"]


def test_a_neighbour_can_bar_a_material_from_a_zone():
    """ensures that manure is not chosen for a zone that lies all inside a neighbour's
    setback,
    and that the strip of a neighbour comes off where a part is left: 2 of 2 ac (435.6 ft by
    200 ft), then 1 ac of 40 (435.6 ft by 100 ft; 43,560 square feet in an acre).
    """
    def told(setback):
        case = case_of((manure(), POTASH, MAP), field={
            "crop": "corn", "area": "40 ac",
            "yield_goal": {"value": "180 bu/ac", "basis": "mean"}},
            constraints={"neighbours": [{"name": "a school", "setback": setback,
                                         "length": "435.6 ft", "zone": "A",
                                         "kinds": ["manure"]}]})
        wanted = (need(NeedKind.NUTRIENT, "K2O", 60.0), need(NeedKind.NUTRIENT, "P2O5", 70.0))
        return make_plan(case, (finding(*wanted),), tuple(
            nutrient(k, Place("A", "A"), Verdict.NEEDED, "below_critical", test=k, crop="corn",
                     methods=[]) for k in ("P2O5", "K2O")))

    inside = told("4000 ft")
    assert litter(inside) is None
    assert {"potash", "map"} <= {a.material_id for a in inside.actions}
    beside = litter(told("100 ft"))
    assert beside.area_ac == pytest.approx(39.0)
    assert beside.cost_total == pytest.approx(beside.cost_per_ac * 39)


@pytest.mark.parametrize(("kind", "item", "does"), [
    (NeedKind.LIME, "lime", {"effective": 80}), (NeedKind.GYPSUM, "sodium", {"gypsum": 90})])
def test_lime_or_gypsum_on_no_ground_is_no_action(kind, item, does):
    """ensures that a zone all inside a neighbour's setback gets no action on 0 ac, that the gap
    names the neighbour, that leaching does not go on without its gypsum, and that the strip
    alone comes off where ground is left (435.6 ft by 100 ft is 1 ac; arithmetic).
    """
    def made(setback):
        spread = material("spread", 40, kind.value, analysis={k: f"{v} %" for k, v in does.items()})
        case = case_of((spread,), constraints={"neighbours": [
            {"name": "the school", "setback": setback, "length": "435.6 ft", "zone": "A",
             "kinds": [kind.value]}]})
        return make_plan(case, (finding(need(kind, item, 5.0, cap=2.0),
                                        need(NeedKind.LEACH, item, 6.0)),))

    whole, beside = made("4000 ft"), made("100 ft")
    assert all(a.kind is NeedKind.LEACH for a in whole.actions)
    assert {(g.key, g.reason, g.kind) for g in whole.gaps} == {
        ("setback", "the school", k) for k in
        ({kind, NeedKind.LEACH} if kind is NeedKind.GYPSUM else {kind})}
    assert bool(whole.actions) is (kind is NeedKind.LIME)
    assert not whole.orders and whole.budget.spent == 0
    spread = [a.area_ac for a in beside.actions if a.kind is kind]
    assert spread == pytest.approx([39.0] * len(spread)) and len(spread) > 1
    assert not beside.gaps
