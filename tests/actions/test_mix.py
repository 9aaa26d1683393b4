"""The mix: published and brute-forced answers, loads, limits, reasons and ranges."""

import itertools
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_builders import case_of, finding, least_cost, material, need, product, result

from loambrief.actions.blend import Blend, BlendZone, FieldMix, NoBlend, field_mix
from loambrief.actions.plan import make_plan
from loambrief.actions.reasons import best_effort, clash, limit_costs, rate_ranges
from loambrief.findings.model import NeedKind, Place

MAP = product("map", 760, n=11, p2o5=52)
TSP = product("tsp", 720, p2o5=45)
POTASH = product("potash", 445, k2o=60)
UREA = product("urea", 500, n=46)


def spanned(item, amount, low, high, **more):
    """A need with its range."""
    return need(NeedKind.NUTRIENT, item, amount, low=low, high=high, **more)


def test_textbook_blend_of_two_ingredients():
    """ensures that a textbook blend comes out as published: 4 lb and 2 lb for 22.

    min 3x + 5y; 10x + 2y >= 20 oz N, 6x + 6y >= 36 oz phosphate, y >= 2 oz potassium; the
    published answer is x = 4, y = 2, cost 22 (justaaa.com, advanced math 245137, seen).
    """
    first = product("x", 3 * 2000, n=62.5, p2o5=37.5)
    second = product("y", 5 * 2000, n=12.5, p2o5=37.5, k2o=6.25)
    blend = least_cost({"N": 20 / 16, "P2O5": 36 / 16, "K2O": 2 / 16}, (first, second))
    assert blend.amounts == {"x": pytest.approx(4.0), "y": pytest.approx(2.0)}
    assert blend.cost_per_ac == pytest.approx(22.0)


@settings(max_examples=25, deadline=None)
@given(
    need_p=st.integers(5, 120), need_k=st.integers(0, 120),
    prices=st.tuples(*[st.integers(200, 900)] * 3),
    pass_cost=st.sampled_from([0, 7, 30]),
)
def test_mix_matches_every_corner(need_p, need_k, prices, pass_cost):
    """ensures that the programme's cost is the least over all subsets and their corners.

    Witness: for each subset of products, every pair of tight constraints is solved by hand.
    """
    import numpy as np

    offers = tuple(product(name, price, spread=pass_cost or None, **grade) for name, price, grade
                   in zip("abc", prices, ({"p2o5": 46}, {"k2o": 60}, {"p2o5": 10, "k2o": 20}),
                          strict=True))
    needs = {"P2O5": float(need_p), "K2O": float(need_k)}
    best = math.inf
    for size in (1, 2, 3):
        for subset in itertools.combinations(offers, size):
            rows = np.array([[o.fraction(n) for o in subset] for n in needs]
                            + np.eye(size).tolist())
            wants = np.array([*needs.values(), *[0.0] * size])
            for tight in itertools.combinations(range(len(rows)), size):
                square = rows[list(tight)]
                if abs(np.linalg.det(square)) < 1e-12:
                    continue
                x = np.linalg.solve(square, wants[list(tight)])
                if (rows @ x >= wants - 1e-7).all():
                    used = [o for o, pounds in zip(subset, x, strict=True) if pounds > 1e-7]
                    best = min(best, sum(o.per_lb * p for o, p in zip(subset, x, strict=True))
                               + sum(o.per_ac or 0.0 for o in used))
    blend = least_cost(needs, offers)
    assert isinstance(blend, Blend)
    assert blend.cost_per_ac == pytest.approx(best, rel=1e-6)


def test_whole_loads_by_brute_force():
    """ensures that loads of two products for two zones are the cheapest that will do.

    Brute force over all counts of loads and bags is the witness.
    """
    a = product("a", 300, p2o5=40, loads={"load_size": "4 ton"})
    b = product("b", 420, p2o5=46, loads={"bag": "50 lb"})
    zones = (BlendZone(Place("N"), 24.0, {"P2O5": 60.0}),
             BlendZone(Place("S"), 18.0, {"P2O5": 85.0}))
    mix = field_mix(zones, (a, b))
    needed = 24 * 60 + 18 * 85
    best = min(loads * 8000 * a.per_lb + bags * 50 * b.per_lb
               for loads in range(4) for bags in range(0, 200)
               if loads * 8000 * 0.40 + bags * 50 * 0.46 >= needed - 1e-9)
    assert mix.cost == pytest.approx(best)
    assert all(v % 50 == 0 for v in mix.orders.values())
    supplied = sum(z.area_ac * p * {"a": 0.40, "b": 0.46}[i] for z in zones
                   for i, p in mix.blends[z.place.id].amounts.items())
    assert supplied >= needed - 1e-6


def test_minimum_load_is_paid_for():
    """ensures that a cheap product loses where its minimum load costs more than the dear one."""
    cheap = product("cheap", 300, k2o=60, loads={"minimum_load": "20 ton"})
    dear = product("dear", 450, k2o=60)
    small, large = (BlendZone(Place("A"), acres, {"K2O": 60.0}) for acres in (10.0, 400.0))
    assert set(field_mix((small,), (cheap, dear)).orders) == {"dear"}
    assert set(field_mix((large,), (cheap, dear)).orders) == {"cheap"}
    assert field_mix((small,), (cheap,)).cost == pytest.approx(20 * 300)


@settings(max_examples=30, deadline=None)
@given(factor=st.floats(1.0, 3.0), raised=st.sampled_from("abc"), load=st.booleans())
def test_a_dearer_product_is_never_ordered_more(factor, raised, load):
    """ensures that orders fall or hold when one price rises, with loads and passes too."""
    def offers(scale):
        sold = {"load_size": "2 ton"} if load else {}
        return tuple(product(n, p * (scale if n == raised else 1.0), spread=7, loads=sold, **g)
                     for n, p, g in (("a", 600, {"p2o5": 46, "n": 18}), ("b", 400, {"p2o5": 20,
                                     "k2o": 20}), ("c", 445, {"k2o": 60})))

    zones = (BlendZone(Place("N"), 20.0, {"P2O5": 50.0, "K2O": 40.0}),
             BlendZone(Place("S"), 10.0, {"K2O": 90.0}))
    before, after = (field_mix(zones, offers(s)) for s in (1.0, factor))
    assert after.orders.get(raised, 0.0) <= before.orders.get(raised, 0.0) + 1e-3
    assert after.cost >= before.cost - 1e-6


def test_order_of_zones_and_offers_does_not_matter():
    """ensures that the same mix comes out whatever the order of zones and products."""
    zones = (BlendZone(Place("N"), 20.0, {"P2O5": 50.0, "K2O": 40.0}),
             BlendZone(Place("S"), 10.0, {"K2O": 90.0}))
    offers = (MAP, TSP, POTASH, UREA)
    wanted = field_mix(zones, offers)
    for order in itertools.permutations(offers):
        assert field_mix(zones[::-1], order) == wanted


def test_zones_alone_and_together_agree(capfd):
    """ensures that solving zones one by one gives the joint optimum, and the solver is silent.

    An unused product that is sold by the load forces the joint programme.
    """
    import random

    chance = random.Random(5)
    offers = tuple(product(f"m{i}", chance.uniform(200, 900), spread=chance.choice([7, 8, 9]),
                           n=chance.uniform(0, 46), p2o5=chance.uniform(0, 30),
                           k2o=chance.uniform(0, 20)) for i in range(12))
    never = product("never", 1_000_000, p2o5=10, loads={"load_size": "1 ton"})
    zones = tuple(BlendZone(Place(f"z{i}"), 10.0,
                       {n: chance.uniform(10, 90) for n in ("N", "P2O5", "K2O")},
                       {"P2O5": 120.0}) for i in range(5))
    alone, joint = field_mix(zones, offers), field_mix(zones, (*offers, never))
    assert joint.cost == pytest.approx(alone.cost, rel=1e-5)
    assert capfd.readouterr() == ("", "")


def test_a_limit_says_what_it_costs():
    """ensures that the cost of a binding limit is the difference of the two optima.

    By hand: 52 lb P2O5 from MAP costs 100 lb x 0.38 = 38; without nitrogen TSP is left,
    115.56 lb x 0.36 = 41.60.
    """
    zone = BlendZone(Place("A"), 10.0, {"P2O5": 52.0}, {"N": 0.0})
    mix = field_mix((zone,), (MAP, TSP))
    assert mix.blends["A"].amounts == {"tsp": pytest.approx(115.5556, abs=1e-3)}
    assert limit_costs((zone,), (MAP, TSP), mix) == {("A", "N"): pytest.approx(36.0, abs=1e-6)}
    loose = replace(zone, upper={"N": 500.0})
    assert limit_costs((loose,), (MAP, TSP), field_mix((loose,), (MAP, TSP))) == {}


def test_a_clash_says_what_would_settle_it():
    """ensures that an impossible need is cut to what is possible, with the give it would take."""
    zone = BlendZone(Place("A"), 10.0, {"P2O5": 52.0}, {"N": 5.5})
    assert isinstance(field_mix((zone,), (MAP,)), NoBlend)
    found = clash(zone, (MAP,))
    assert found.short == {"P2O5": pytest.approx(26.0)}
    assert found.raise_by == {"N": pytest.approx(5.5)}
    mix, met, clashes, uncovered = best_effort((zone,), (MAP,))
    assert isinstance(mix, FieldMix) and set(clashes) == {"A"} and not uncovered
    assert mix.blends["A"].amounts["map"] == pytest.approx(50.0, rel=1e-4)
    assert met[0].needs["P2O5"] == pytest.approx(26.0, rel=1e-4)


def test_ranges_follow_every_need():
    """ensures that a rate fed by two needs moves with both and with what the products hold.

    By hand: MAP = P / 0.52; urea = (N - 0.11 MAP) / 0.46. One standard error of a guarantee is
    2 %, so 90 % lie within a factor of exp(1.645 x 0.02) = 1.0334. Independent errors add up as
    squares (JCGM 100, from memory).
    """
    zone = BlendZone(Place("A"), 10.0, {"N": 100.0, "P2O5": 52.0})
    needs = {"N": spanned("N", 100.0, 80.0, 120.0),
             "P2O5": spanned("P2O5", 52.0, 26.0, 78.0)}
    found = rate_ranges(zone, needs, (MAP, UREA))
    assert found["map"].low == pytest.approx(100 - math.hypot(50, 100 * (1 - 1 / 1.0334)), abs=0.01)
    assert found["map"].high == pytest.approx(100 + math.hypot(50, 3.34), abs=0.01)
    urea = 89 / 0.46
    parts = (20 / 0.46, 50 * 0.11 / 0.46, 100 * 0.11 * 0.0334 / 0.46, 3.3 * 0.11 / 0.46)
    more = math.hypot(*parts, urea * 0.0334)
    assert found["urea"].high == pytest.approx(urea + more, abs=0.1)
    assert rate_ranges(zone, {}, (MAP, UREA)) == {}


def test_spans_to_choose_between_are_no_errors():
    """ensures that a span a source prints is turned into product as it stands, and marked so."""
    zone = BlendZone(Place("A"), 10.0, {"N": 100.0})
    found = rate_ranges(zone, {"N": spanned("N", 100.0, 92.0, 115.0, printed_span=True)}, (UREA,))
    assert (found["urea"].low, found["urea"].high) == pytest.approx((200.0, 250.0))
    assert not found["urea"].results


def test_rounding_keeps_the_limits_of_the_mix():
    """ensures that rounded rates together never bring more than a limit allows."""
    case = case_of([material("map", 760, n=11, p2o5=52), material("potash", 445, k2o=60),
                    material("blend", 400, p2o5=10, k2o=30)])
    for amount in range(20, 120, 7):
        cap = amount + 0.5
        plan = make_plan(case, (finding(need(NeedKind.NUTRIENT, "P2O5", amount, cap=cap)),))
        brought = sum(a.supplies.get("P2O5", 0.0) for a in plan.actions)
        assert 0 < brought <= cap * (1 + 1e-9)
        assert all(a.exact_rate is not None for a in plan.actions)


def test_excess_is_not_fed():
    """ensures that a finding of excess potassium shuts out products that bring it."""
    over = finding(name="k", severity=0, results=(result(nutrient="K2O", upper_lb_ac=0.0),))
    case = case_of([material("litter", 22, "manure", p2o5=2.9, k2o=2.2),
                    material("tsp", 720, p2o5=45)])
    plan = make_plan(case, (finding(need(NeedKind.NUTRIENT, "P2O5", 40.0)), over))
    used = [a for a in plan.actions if a.rate is not None]
    assert [a.material_id for a in used] == ["tsp"]
    assert [m.params["item"] for m in used[0].limits] == ["K2O"]
    assert used[0].limits[0].params["cost"] > 0
