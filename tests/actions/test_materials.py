"""Materials: biosolids by 40 CFR 503, lime quality, whole loads, own rates."""

import pytest
from plan_builders import case_of, finding, material, need, product

from loambrief.actions import biosolids
from loambrief.actions.plan import make_plan
from loambrief.agronomy.registry import recording
from loambrief.errors import PlanFaults
from loambrief.findings.model import NeedKind

CLEAN = {"As": "4 mg/kg", "Cd": "2 mg/kg", "Cu": "500 mg/kg", "Pb": "50 mg/kg", "Hg": "1 mg/kg",
         "Mo": "10 mg/kg", "Ni": "25 mg/kg", "Se": "5 mg/kg", "Zn": "700 mg/kg"}


def sludge(moisture=None, **metals):
    analysis = {"metals": {**CLEAN, **metals}}
    if moisture is not None:
        analysis["moisture"] = f"{moisture} %"
    return product("cake", 5, "biosolids", analysis=analysis, p2o5=3)


def test_biosolids_rate_by_the_strictest_metal():
    """ensures that the yearly rate is the least over the metals, as sold.

    40 CFR 503 appendix A: rate = annual limit / (0.001 x concentration). Copper of 500 mg/kg
    with 75 kg/ha in a year (table 4): 150 t/ha dry = 66.9 short ton/ac; zinc of 700 gives
    200 t/ha. With 75 % water four times as much may be spread.
    """
    dry = 150 / 2.241702 * 2000
    assert sludge().most_lb_ac == pytest.approx(dry, rel=1e-4)
    assert sludge(moisture=75).most_lb_ac == pytest.approx(4 * dry, rel=1e-4)


def test_biosolids_above_a_ceiling_or_untested_are_refused():
    """ensures that lead above 840 mg/kg (table 1) or a missing metal forbids the material."""
    assert sludge(Pb="900 mg/kg").most_lb_ac == 0.0
    assert biosolids.above_ceiling(sludge(Pb="900 mg/kg").material) == ("Pb",)
    bare = product("cake", 5, "biosolids", p2o5=3)
    assert bare.most_lb_ac == 0.0 and len(biosolids.untested(bare.material)) == 9
    case = case_of([material("cake", 5, "biosolids", p2o5=3), material("tsp", 720, p2o5=45)])
    plan = make_plan(case, (finding(need(NeedKind.NUTRIENT, "P2O5", 40.0)),))
    assert [a.material_id for a in plan.actions] == ["tsp"]
    told = next(n for n in plan.not_advised if n.material_id == "cake")
    assert told.why.key == "verdicts.why_material_metals"


def test_lime_quality_comes_from_what_is_stated():
    """ensures that an effective value, a fineness or sieves give the same kind of factor.

    1 ton/ac of need; effective 80 %: 1.25; CCE 90 and fineness 80: 1 / 0.72 = 1.389.
    """
    for lime, factor in (
        (material("l", 30, "lime", effective=80), 1.25),
        (material("l", 30, "lime", cce=90, fineness=80), 1 / 0.72),
        (material("l", 30, "lime", cce=90, fineness=80, moisture=10), 1 / 0.648),
    ):
        plan = make_plan(case_of([lime]), (finding(need(NeedKind.LIME, "lime", 1.0)),))
        assert plan.actions[0].exact_rate == pytest.approx(factor)
    plan = make_plan(case_of([material("l", 30, "lime", cce=90)]),
                     (finding(need(NeedKind.LIME, "lime", 1.0)),))
    assert plan.actions[0].material_id is None


def test_cheapest_lime_counts_effect_and_minimum_load():
    """ensures that the cheaper ton of weak lime does not win over the cheaper effect."""
    weak = material("weak", 20, "lime", effective=40)
    strong = material("strong", 30, "lime", effective=80)
    need_lime = (finding(need(NeedKind.LIME, "lime", 1.0)),)
    assert make_plan(case_of([weak, strong]), need_lime).actions[0].material_id == "strong"
    far = {**strong, "minimum_load": "200 ton"}
    assert make_plan(case_of([weak, far]), need_lime).actions[0].material_id == "weak"


def test_whole_loads_are_ordered_and_paid():
    """ensures that the budget counts what a whole load leaves over.

    40 ac x 1.25 ton = 50 ton; loads of 24 ton: 3 loads, 72 ton, 22 ton left at 30 a ton.
    """
    lime = material("l", 30, "lime", effective=80, loads={"load_size": "24 ton"})
    found = (finding(need(NeedKind.LIME, "lime", 1.0)),)
    plan = make_plan(case_of([lime]), found)
    order, = plan.orders
    assert (order.needed_lb, order.ordered_lb) == (pytest.approx(100_000), pytest.approx(144_000))
    assert order.extra_cost == pytest.approx(660) and order.package == "load"
    assert plan.budget.spent == pytest.approx(72 * 30)
    tight = make_plan(case_of([lime], budget={"amount": 1600}), found)
    part, = tight.budget.chosen  # two loads, 48 ton, are enough for 38 of the 40 ac
    assert tight.action(part).area_ac == pytest.approx(38) and tight.budget.spent <= 1600
    assert [o.ordered_lb for o in tight.orders] == [pytest.approx(96_000)]
    assert tight.budget.left_out == (f"{part}.rest",)
    assert tight.budget.next_money == pytest.approx(560)


def test_price_by_the_bag_needs_the_bag():
    """ensures that a price per bag counts only where the bag's mass is stated."""
    bagged = product("z", 25, per="bag", zinc=36, loads={"bag": "50 lb"})
    assert bagged.per_lb == pytest.approx(0.5) and bagged.package_lb == 50
    assert product("z", 25, per="bag", zinc=36).per_lb is None


OVERRIDE = {"action": "tsp", "rate": "150 lb/ac", "reason": "Cold soil on the east side."}


def test_own_rate_keeps_the_computed_one():
    """ensures that both rates stay, and money and supply follow the adviser's."""
    case = case_of([material("tsp", 720, p2o5=45)], overrides=[OVERRIDE])
    action, = make_plan(case, (finding(need(NeedKind.NUTRIENT, "P2O5", 45.0)),)).actions
    assert (action.rate, action.computed_rate) == (150.0, 100.0)
    assert action.own_reason == OVERRIDE["reason"]
    assert action.exact_rate == pytest.approx(100.0)
    assert action.cost_total == pytest.approx(150 * 0.36 * 40)
    assert action.supplies["P2O5"] == pytest.approx(67.5)
    assert action.title.params["rate"] == 150.0


def test_own_rate_never_crosses_a_cap_in_silence():
    """ensures that a warning is the first caution where the own rate passes the cap."""
    case = case_of([material("tsp", 720, p2o5=45)], overrides=[OVERRIDE])
    action, = make_plan(
        case, (finding(need(NeedKind.NUTRIENT, "P2O5", 45.0, cap=50.0)),)).actions
    assert [c.key for c in action.cautions[:2]] == ["actions.own_over_cap",
                                                    "actions.own_over_limit"]
    within = case_of([material("tsp", 720, p2o5=45)],
                     overrides=[{**OVERRIDE, "rate": "105 lb/ac"}])
    action, = make_plan(
        within, (finding(need(NeedKind.NUTRIENT, "P2O5", 45.0, cap=50.0)),)).actions
    assert not any(c.key.startswith("actions.own") for c in action.cautions)


def test_own_rate_for_nothing_is_an_error():
    """ensures that a misspelled action or material is named, with what exists."""
    case = case_of([material("tsp", 720, p2o5=45)], overrides=[{**OVERRIDE, "action": "tps"}])
    with pytest.raises(PlanFaults) as error:
        make_plan(case, (finding(need(NeedKind.NUTRIENT, "P2O5", 45.0)),))
    fault, = error.value.faults
    assert fault.path == ("overrides", 0, "action") and "Did you mean 'tsp'?" in fault.help


def test_the_cap_of_metals_is_among_the_calculations():
    """ensures that the yearly rates behind a printed cap are recorded and named by the action."""
    case = case_of([material("cake", 5, "biosolids", p2o5=3, analysis={"metals": CLEAN})])
    with recording() as trace:
        plan = make_plan(case, (finding(need(NeedKind.NUTRIENT, "P2O5", 40.0)),))
    rates = [r for r in trace.results if r.formula == "biosolids_annual_rate"]
    (action,) = [a for a in plan.actions if a.material_id == "cake"]
    told = [r.calculation for r in action.results]
    assert len(rates) == len(CLEAN) and all(r.calculation in told for r in rates)
    assert "actions.limit_metals" in [m.key for m in action.limits]
