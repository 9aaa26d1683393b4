"""Rounding, blending, ranking and budget obey their written rules."""

import datetime as dt
import itertools
import math
import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_builders import least_cost

from loambrief.actions.blend import Blend, NoBlend
from loambrief.actions.budget import choose
from loambrief.actions.model import Action
from loambrief.actions.offers import offer
from loambrief.actions.partial import cover
from loambrief.actions.ranking import rank
from loambrief.actions.rounding import pass_rates, round_rate, step
from loambrief.case.schema import Material
from loambrief.findings.model import WHOLE_FIELD, Confidence, Need, NeedKind, say


def product(name, price, **analysis):
    return offer(
        Material.model_validate(
            {
                "id": name,
                "name": name,
                "kind": "fertilizer",
                "analysis": {key: f"{value} %" for key, value in analysis.items()},
                "price": {"amount": price, "per": "ton", "date": "2020-05-21"},
            }
        )
    )


ILLINOIS = (  # USDA-AMS Illinois Production Cost Report GX_GR210, 21 May 2020, $/ton
    product("urea", 388.60, n=46),
    product("uan28", 241.21, n=28),
    product("dap", 406.06, n=18, p2o5=46),
    product("map", 406.00, n=11, p2o5=52),
    product("potash", 360.33, k2o=60),
)


def test_blend_at_published_prices():
    """ensures that the least-cost mix at published prices is the one worked by hand.

    150-60-60 lb: DAP for all P2O5 (130.43 lb), potash 100 lb, urea for the rest of the N.
    Prices are published (USDA-AMS, May 2020); the answer is arithmetic on them.
    """
    blend = least_cost({"N": 150, "P2O5": 60, "K2O": 60}, ILLINOIS)
    assert isinstance(blend, Blend)
    assert blend.amounts["urea"] == pytest.approx(275.05, abs=0.01)
    assert blend.amounts["dap"] == pytest.approx(130.43, abs=0.01)
    assert blend.amounts["potash"] == pytest.approx(100.0, abs=0.01)
    assert blend.cost_per_ac == pytest.approx(97.94, abs=0.01)
    assert blend.marginal["N"] == pytest.approx(0.422, abs=0.001)
    assert blend.marginal["P2O5"] == pytest.approx(0.276, abs=0.001)
    assert blend.marginal["K2O"] == pytest.approx(0.300, abs=0.001)


def test_blend_textbook():
    """ensures that a textbook minimum-cost blend comes out: 0 and 8 bags, cost 24.

    min 6x + 3y, 2x + 4y >= 16 (N), 4x + 3y >= 24 (P): Taylor, Introduction to Management
    Science (from memory, unverified; the optimum is checked here by its corners).
    """
    bags = (product("x", 6 * 2000, n=2, p2o5=4), product("y", 3 * 2000, n=4, p2o5=3))
    blend = least_cost({"N": 0.16, "P2O5": 0.24}, bags)
    assert blend.amounts == {"y": pytest.approx(8.0)}
    assert blend.cost_per_ac == pytest.approx(24.0)


def test_blend_matches_brute_force():
    """ensures that no mix on a fine grid is cheaper than the programme's answer."""
    needs = {"P2O5": 40, "K2O": 30}
    best = least_cost(needs, ILLINOIS)
    grid = range(0, 160, 4)
    tried = [
        sum(o.per_lb * x for o, x in zip(picked, pounds, strict=True))
        for picked in itertools.combinations(ILLINOIS, 2)
        for pounds in itertools.product(grid, grid)
        if all(
            sum(o.fraction(n) * x for o, x in zip(picked, pounds, strict=True)) >= want
            for n, want in needs.items()
        )
    ]
    assert best.cost_per_ac <= min(tried) + 1e-9


def test_a_pass_must_pay_for_itself():
    """ensures that a few pounds of a second product are not bought where the trip costs more.

    Brute force over every subset of products is the witness.
    """
    from dataclasses import replace

    litter = replace(product("litter", 22, p2o5=2.9, k2o=2.2), per_ac=10.0)
    potash = replace(product("potash", 445, k2o=60), per_ac=7.5)
    dap = replace(product("dap", 700, n=18, p2o5=46), per_ac=7.5)
    needs = {"P2O5": 48, "K2O": 44}
    offers = (litter, potash, dap)
    best = least_cost(needs, offers)
    assert set(best.amounts) == {"litter"}
    subsets = [c for size in (1, 2, 3) for c in itertools.combinations(offers, size)]
    costs = []
    for subset in subsets:
        bare = least_cost(needs, tuple(replace(o, per_ac=None) for o in subset))
        if isinstance(bare, Blend):
            costs.append(bare.cost_per_ac + sum(o.per_ac for o in subset if o.id in bare.amounts))
    assert best.cost_per_ac == pytest.approx(min(costs))


def test_blend_says_what_is_missing():
    """ensures that an unmet need names the nutrient, and a limit names what conflicts."""
    assert least_cost({"Zn": 5}, ILLINOIS) == NoBlend(("Zn",))
    conflict = least_cost({"P2O5": 60}, ILLINOIS, {"P2O5": 30})
    assert isinstance(conflict, NoBlend) and conflict.conflicting == ("P2O5",)


@settings(max_examples=40, deadline=None)
@given(raised=st.sampled_from([o.id for o in ILLINOIS]), factor=st.floats(1.0, 4.0))
def test_raising_a_price_never_raises_its_use(raised, factor):
    """ensures that demand for a product falls or holds when only its price rises."""
    needs = {"N": 120, "P2O5": 50, "K2O": 40}
    before = least_cost(needs, ILLINOIS).amounts.get(raised, 0.0)
    dearer = tuple(
        product(o.id, o.per_lb * 2000 * (factor if o.id == raised else 1.0),
                **{k: o.fraction(n) * 100 for k, n in (("n", "N"), ("p2o5", "P2O5"), ("k2o", "K2O"))
                   if o.fraction(n)})
        for o in ILLINOIS
    )
    assert least_cost(needs, dearer).amounts.get(raised, 0.0) <= before + 1e-6


@given(
    exact=st.floats(0.05, 900),
    unit=st.sampled_from(["lb/ac", "ton/ac"]),
    system=st.sampled_from(["us", "si"]),
    share=st.none() | st.floats(0.2, 2.0),
)
def test_rounding_never_crosses_a_cap(exact, unit, system, share):
    """ensures that a rounded rate is positive, near the exact one, and under its cap."""
    cap = None if share is None else exact * share
    rate = round_rate(exact, unit, system, cap)
    assert rate > 0
    if cap is not None:
        assert rate <= cap * (1 + 1e-9)
    elif exact > 2 * step(exact, unit, system):
        assert rate == pytest.approx(exact, rel=0.30)


def action(name, kind=NeedKind.NUTRIENT, severity=2, cost=10.0, waits=()):
    need = Need(kind, name, "lb/ac", say("actions.rule"))
    return Action(
        id=name, kind=kind, item=name, title=say("actions.rule"), need=need, finding_ids=("f",),
        place=WHOLE_FIELD, area_ac=10.0, severity=severity, confidence=Confidence.HIGH,
        cost_per_ac=cost / 10.0, cost_total=cost, depends_on=tuple(waits),
        price_date=dt.date(2026, 1, 1),
    )


POOL = (
    action("drain", NeedKind.DRAIN, 3, 400),
    action("gypsum", NeedKind.GYPSUM, 3, 300, ["drain"]),
    action("leach", NeedKind.LEACH, 3, 50, ["gypsum", "drain"]),
    action("lime", NeedKind.LIME, 2, 200),
    action("p", NeedKind.NUTRIENT, 2, 120),
    action("k", NeedKind.NUTRIENT, 1, 80),
    action("test", NeedKind.MEASURE, 3, 20),
)


def test_ranking_ignores_input_order():
    """ensures that the order of the file never changes the order of the plan."""
    wanted = [a.id for a in rank(POOL)]
    assert wanted == ["drain", "gypsum", "leach", "lime", "p", "k", "test"]
    shuffler = random.Random(7)
    for _ in range(50):
        mixed = list(POOL)
        shuffler.shuffle(mixed)
        assert [a.id for a in rank(tuple(mixed))] == wanted


def test_a_test_of_a_limit_stands_with_the_work_it_leads_to():
    """ensures that a test of a fault that limits the crop follows the work of its step that is
    settled, and stands before feed; a test of less stays behind.
    """
    graver = replace(action("surface buffer", NeedKind.MEASURE, 2, 5), distance=0.4)
    ranked = [a.id for a in rank((*POOL[3:], graver))]
    assert ranked == ["lime", "surface buffer", "p", "k", "test"]
    ranked = [a.id for a in rank((*POOL[3:], replace(graver, severity=1)))]
    assert ranked.index("surface buffer") > ranked.index("k")


def test_nothing_stands_before_what_it_waits_for():
    """ensures that a dependency always ranks higher, and a cycle does not hang."""
    ranked = rank(POOL)
    place = {a.id: a.rank for a in ranked}
    assert all(place[d] < place[a.id] for a in ranked for d in a.depends_on)
    ring = (action("a", waits=["b"]), action("b", waits=["a"]))
    assert [a.rank for a in rank(ring)] == [1, 2]


@given(limit=st.floats(0, 2000), more=st.floats(0, 1500))
def test_budget_is_kept_and_more_money_never_hurts(limit, more):
    """ensures that cost <= budget, and that a bigger budget is at least as good by rank."""
    ranked = rank(POOL)
    small, large = choose(ranked, limit), choose(ranked, limit + more)
    assert small.spent <= limit + 1e-6
    order = [a.id for a in ranked]

    def picture(result):
        return [name in result.chosen for name in order]

    assert picture(large) >= picture(small)
    for result in (small, large):
        for name in result.chosen:
            waits = next(a for a in ranked if a.id == name).depends_on
            assert set(waits) <= set(result.chosen)


def test_unpriced_is_not_free():
    """ensures that an action without a price is named as such, not counted as zero cost."""
    ranked = rank((action("p"), action("q", cost=0.0)))
    from dataclasses import replace

    unknown = tuple(replace(a, cost_total=None) if a.id == "p" else a for a in ranked)
    assert choose(unknown, 5.0).unpriced == ("p",)


@pytest.mark.parametrize(("need", "cap", "rates"), [
    (8.1, 3.0, (3.0, 2.5, 2.5)),        # three of 2.5 would be 0.6 short
    (8.1, 2.7, (2.7, 2.7, 2.7)),        # the usual step of 0.5 would stop at 2.5
    (4.2, 2.2, (2.0, 2.0)),
])
def test_passes_add_up_to_the_need(need, cap, rates):
    """ensures that the passes of a lime bring the whole need, to half a step of the spreader."""
    fewest = math.ceil(need / cap)
    made = pass_rates(need, fewest, "ton/ac", cap=cap)
    assert made == pytest.approx(rates)
    assert abs(sum(made) - need) <= 0.25 + 1e-9
    assert max(made) <= cap + 1e-9


def test_a_part_is_offered_before_lower_ranks_take_the_money():
    """ensures that too little money goes to a part of the first work it does not cover, and
    only what is left to what ranks lower: 10 ac at $12 with $100 are 8 ac, and the $4 left
    pay nothing of a $50 action.
    """
    first = replace(action("p", severity=3, cost=120), rate=1.0, rate_unit="lb/ac")
    second = replace(action("k", severity=2, cost=50), rate=1.0, rate_unit="lb/ac")
    split, money = cover(rank((first, second)), 100.0, lambda some: 0.0)
    assert [(a.id, a.area_ac) for a in split] == [("p", 8.0), ("p.rest", 2.0), ("k", 10.0)]
    assert money.chosen == ("p",)
    assert money.spent == pytest.approx(96.0)


@pytest.mark.parametrize(("limit", "parts"), [(13.0, ["p", "p.rest"]), (11.0, ["p"])])
def test_a_part_worth_driving_to(limit, parts):
    """ensures that a tenth of the area is still done, and less is left for another year: of
    10 ac at $12, $13 pay 1 ac and $11 only half an acre."""
    work = replace(action("p", severity=3, cost=120), rate=1.0, rate_unit="lb/ac")
    split, _ = cover(rank((work,)), limit, lambda some: 0.0)
    assert [a.id for a in split] == parts
