"""Conditions, options, parts, rounding inside the range, windows and small money."""

import datetime as dt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_builders import TODAY, case_of, finding, material, need

from loambrief.actions.plan import make_plan
from loambrief.actions.rounding import round_rate, round_up, spanned
from loambrief.findings.model import (
    Confidence,
    Finding,
    Grade,
    Need,
    NeedKind,
    Place,
    Status,
    Verdict,
    amendment,
    beyond,
    nutrient,
    say,
)
from loambrief.report.naming import brief_message
from loambrief.report.text import Writer
from loambrief.topics.judge import unjudged

DRAIN = material("drain", 410, "service", per="ac", loads={"does": "drainage"})
SAMPLING = material("lab", 45, "service", per="each", loads={"does": "sampling"})
MAP = material("map", 800, p2o5=52, n=11)
POTASH = material("potash", 600, k2o=60)
LIME = material("lime", 40, "lime", effective=80)


def plain_need(kind, item, where="A", area=26.0, **more):
    return Need(kind, item, "", say("actions.rule"), place=Place(where, where), area_ac=area,
                **more)


def held(where, value, critical, *needs, severity=2, confidence=Confidence.HIGH):
    """A finding that holds a reading against a critical level."""
    return Finding(
        id=f"nutrients.p.{where}", title=say("actions.rule"),
        status=Status.LIMITING, severity=severity, confidence=confidence, grade=Grade.CALCULATED,
        value=value, place=Place(where, where), needs=needs,
        reference=say("nutrients.reference_levels", critical=critical, limit=None, guide=""))


# rates inside their range ------------------------------------------------------------------


@settings(max_examples=200, deadline=None)
@given(low=st.floats(0.1, 500), more=st.floats(0.01, 400), at=st.floats(0, 1),
       unit=st.sampled_from(["lb/ac", "ton/ac", "gal/ac"]), system=st.sampled_from(["us", "si"]))
def test_a_rate_never_leaves_its_range(low, more, at, unit, system):
    """ensures that rounding to the spreader stays between the ends of the range."""
    high = low + more
    rate = round_rate(low + at * more, unit, system, low=low, high=high)
    assert low * (1 - 1e-9) <= rate <= high * (1 + 1e-9)


@pytest.mark.parametrize(("exact", "low", "high", "rate"), [
    (3.57, 3.57, 7.14, 3.75),  # borate: 3.5 lay below its own range
    (133.0, 0.0, 133.0, 130.0),  # potash: 135 lay above
    (333.3, 333.2, 333.4, 333.3),  # no step inside: the exact rate
])
def test_rates_that_lay_outside(exact, low, high, rate):
    """ensures that three rates that were printed outside their range lie inside (arithmetic)."""
    assert round_rate(exact, "lb/ac", low=low, high=high) == pytest.approx(rate)


def test_a_range_of_one_number_is_none():
    """ensures that 333 to 333 is not called a range."""
    assert spanned(333.33, 333.34) == (None, None)
    assert spanned(100.0, 130.0) == (100.0, 130.0)


def test_gypsum_for_pods_never_rounds_below_the_table():
    """ensures that 1,000 lb of gypsum stay at least 1,000 lb (harris-2015-peanut-calcium)."""
    gypsum = material("g", 60, "gypsum", gypsum=90)
    wanted = need(NeedKind.GYPSUM, "shallow calcium", 0.5, params={"at_least": True})
    case = case_of([gypsum], case={"date": "2027-05-20"},
                   field={"crop": "peanut", "dates": {"planting": "2027-05-10"}})
    action = make_plan(case, (finding(wanted),)).actions[0]
    assert 1000 <= action.rate * 2000 * 0.90 <= 1150
    assert round_up(0.5, "ton/ac") >= 0.5
    # early bloom is 30 to 45 days after planting (University of Georgia, 8 August 2013)
    assert (action.window.start, action.window.end) == (dt.date(2027, 6, 9),
                                                        dt.date(2027, 6, 24))


# conditions ---------------------------------------------------------------------------------


def wet_plan(budget):
    water = plain_need(NeedKind.MEASURE, "water-table")
    drain = plain_need(NeedKind.DRAIN, "outlet", params={"first": "water-table"})
    hungry = need(NeedKind.NUTRIENT, "P2O5", 60.0)
    return make_plan(case_of([DRAIN, MAP], budget={"amount": budget}), (
        finding(water, drain, name="drain", severity=1, confidence=Confidence.LOW),
        finding(hungry, name="p", severity=3)))


def test_an_unread_condition_keeps_no_money():
    """ensures that a drain of 10,660 does not take the money of phosphorus (common practice)."""
    plan = wet_plan(11_000)
    drain = next(a for a in plan.actions if a.kind is NeedKind.DRAIN)
    reading = next(a for a in plan.actions if a.item == "water-table")
    assert drain.conditional_on == reading.id and reading.rank < drain.rank
    assert plan.budget.undecided == (drain.id,)
    assert drain.id not in (*plan.budget.chosen, *plan.budget.left_out)
    fed = next(a for a in plan.actions if a.item == "P2O5")
    assert fed.id in plan.budget.chosen and plan.budget.spent < 5_000


def test_an_old_sample_is_taken_again_before_what_it_decides():
    """ensures that a new sample ranks before the rate of the old one (4r-wleb-certification)."""
    again = plain_need(NeedKind.MEASURE, "soil-sample", params={"faults": ["age"]})
    plan = make_plan(case_of([SAMPLING, MAP]), (
        finding(again, name="s", severity=1), finding(need(NeedKind.NUTRIENT, "P2O5", 60.0))))
    place = {a.kind: a.rank for a in plan.actions}
    assert place[NeedKind.MEASURE] < place[NeedKind.NUTRIENT]


def test_a_thin_sample_stays_behind_what_is_sure():
    """ensures that a test which decides no amount does not come before the feeding."""
    again = plain_need(NeedKind.MEASURE, "soil-sample", params={"faults": ["cores"]})
    plan = make_plan(case_of([SAMPLING, MAP]), (
        finding(again, name="s", severity=1), finding(need(NeedKind.NUTRIENT, "P2O5", 60.0))))
    place = {a.kind: a.rank for a in plan.actions}
    assert place[NeedKind.NUTRIENT] < place[NeedKind.MEASURE]


@pytest.mark.parametrize(("made", "key"), [
    (nutrient, "P2O5"), (nutrient, "K2O"), (nutrient, "N"), (amendment, "lime")])
def test_a_test_of_an_unjudged_nutrient_is_paid_before_work_elsewhere(made, key):
    """ensures that the test which settles a primary nutrient or lime in zone B is action 1 and
    paid where graver work in zone A would leave nothing for it (common practice: a test of 45
    decides more than the last 45 of an order).
    """
    case = case_of([SAMPLING, MAP, LIME], budget={"amount": 1500})
    asked = unjudged(case, (made(key, Place("B", "B"), Verdict.NOT_JUDGED, "not_measured",
                                 "soil_test", crop="corn", test=key, methods=[]),))
    plan = make_plan(case, (
        asked, finding(need(NeedKind.LIME, "lime", 1.0), name="l", severity=3),
        finding(need(NeedKind.NUTRIENT, "P2O5", 60.0), name="p", severity=3)))
    first = plan.actions[0]
    assert first.item == "soil test" and first.id == plan.budget.chosen[0]
    assert first.rank_reason.params["step"] == 0
    assert plan.budget.left_out and plan.budget.spent <= 1500


def test_a_test_that_decides_a_rate_is_paid_before_work_elsewhere():
    """ensures that a new sample which decides the phosphate of B stands before the lime of A."""
    again = plain_need(NeedKind.MEASURE, "soil-sample", "B", params={"faults": ["age"]})
    hungry = need(NeedKind.NUTRIENT, "P2O5", 60.0, "B")
    plan = make_plan(case_of([SAMPLING, MAP, LIME], budget={"amount": 2000}), (
        finding(again, name="s", severity=1, where="B"),
        finding(hungry, name="p", where="B", severity=1),
        finding(need(NeedKind.LIME, "lime", 1.0), name="l", severity=3)))
    assert [a.kind for a in plan.actions][:2] == [NeedKind.MEASURE, NeedKind.LIME]
    assert plan.actions[0].id in plan.budget.chosen


@pytest.mark.parametrize("params", [{}, {"settles": ["Zn"]}])
def test_a_test_of_less_stays_behind_the_work(params):
    """ensures that only a primary nutrient or lime lifts its test before work."""
    asked = plain_need(NeedKind.MEASURE, "soil test", "B", params=params)
    plan = make_plan(case_of([SAMPLING, LIME]), (
        finding(asked, name="t", severity=1, where="B"),
        finding(need(NeedKind.LIME, "lime", 1.0), name="l", severity=3)))
    assert [a.kind for a in plan.actions] == [NeedKind.LIME, NeedKind.MEASURE]


# order --------------------------------------------------------------------------------------


def test_the_worst_zone_comes_first():
    """ensures that of two equal faults the reading farther below its level goes first."""
    plan = make_plan(case_of([POTASH]), (
        held("Z1", 88.0, 120.0, need(NeedKind.NUTRIENT, "K2O", 104.0, "Z1"),
             confidence=Confidence.MEDIUM),
        held("Z3", 104.0, 120.0, need(NeedKind.NUTRIENT, "K2O", 80.0, "Z3"))))
    assert [a.place.id for a in plan.actions] == ["Z1", "Z3"]
    assert beyond(held("Z", 88.0, 120.0)) == pytest.approx(32 / 120)


def test_what_may_be_left_out_comes_last_and_takes_no_needed_money():
    """ensures that maintenance stands behind every need, at whatever place."""
    keep = need(NeedKind.NUTRIENT, "K2O", 90.0, "A", optional=True)
    hungry = need(NeedKind.NUTRIENT, "P2O5", 60.0, "B")
    plan = make_plan(case_of([MAP, POTASH], budget={"amount": 4000}), (
        finding(keep, name="k", severity=1), finding(hungry, name="p", severity=1, where="B")))
    assert [a.optional for a in plan.actions] == [False, True]
    assert plan.actions[0].id in plan.budget.chosen
    assert plan.actions[1].uncertain is None


def test_a_later_pass_does_not_take_this_years_money():
    """ensures that lime of the next season waits behind phosphorus of this one."""
    plan = make_plan(case_of([LIME, MAP]), (
        finding(need(NeedKind.LIME, "lime", 6.0, cap=3.0), name="l", severity=3),
        finding(need(NeedKind.NUTRIENT, "P2O5", 60.0), name="p", severity=2)))
    kinds = [(a.kind, a.pass_number) for a in plan.actions]
    assert kinds == [(NeedKind.LIME, 1), (NeedKind.NUTRIENT, 1), (NeedKind.LIME, 2)]


# money --------------------------------------------------------------------------------------


def test_too_little_money_limes_a_part():
    """ensures that 500 of 2,500 lime a part of the area, and the rest waits (arithmetic).

    1.25 ton/ac at 40 a ton are 50 an acre: 500 reach 10 of 40 ac.
    """
    plan = make_plan(case_of([LIME], budget={"amount": 500}),
                     (finding(need(NeedKind.LIME, "lime", 1.0)),))
    part, rest = plan.actions
    assert (part.area_ac, rest.area_ac) == (10.0, 30.0) and part.share == pytest.approx(0.25)
    assert plan.budget.chosen == (part.id,) and plan.budget.left_out == (rest.id,)
    assert rest.id == f"{part.id}.rest" and part.id in rest.depends_on
    assert plan.budget.spent == pytest.approx(500)


def test_an_own_rate_of_nothing_costs_nothing():
    """ensures that a rate of 0 costs no product and no pass of the spreader."""
    spread = material("potash", 600, k2o=60, spread=8)
    case = case_of([spread], overrides=[{"action": "potash", "rate": "0 lb/ac", "reason": "No."}])
    action, = make_plan(case, (finding(need(NeedKind.NUTRIENT, "K2O", 60.0)),)).actions
    assert (action.rate, action.cost_total, action.cost_parts) == (0.0, 0.0, ())


def test_sampling_is_paid_by_the_sample():
    """ensures that 120 ac take six samples of at most 20 ac (psu-agguide-sampling)."""
    again = plain_need(NeedKind.MEASURE, "soil-sample", area=120.0)
    action, = make_plan(case_of([SAMPLING]), (finding(again),)).actions
    assert action.cost_total == pytest.approx(6 * 45)


def test_one_sampling_serves_two_tests():
    """ensures that tests on samples that are taken anyway cost no second sampling."""
    again = plain_need(NeedKind.MEASURE, "soil-sample", area=40.0)
    tests = plain_need(NeedKind.MEASURE, "soil test", area=40.0)
    plan = make_plan(case_of([SAMPLING]), (finding(again, tests),))
    costs = {a.item: a.cost_total for a in plan.actions}
    assert costs == {"soil-sample": pytest.approx(90), "soil test": 0.0}
    saved = next(a for a in plan.actions if a.item == "soil test").notes[-1]
    assert saved.params["saved"] == pytest.approx(90)


# windows ------------------------------------------------------------------------------------


def cover_window(**field):
    matter = plain_need(NeedKind.ORGANIC_MATTER, "organic matter")
    seed = material("rye", 34, "cover crop", per="ac", loads={"does": "seeding"})
    case = case_of([seed], case={"valid_until": "2027-06-30"}, field=field)
    action, = make_plan(case, (finding(matter, status=Status.WATCH, severity=1),)).actions
    return action


@pytest.mark.parametrize("field", [
    {"dates": {"harvest": "2027-10-10"}},  # after the advice has lapsed
    {"crop": "tomato", "dates": {"harvest": "2027-06-10"}},  # first of many picks
    {"crop": "alfalfa"}, {"crop": "winter wheat"}, {"following_crop": "winter wheat"},
])
def test_no_cover_crop_is_dated_where_none_can_be_sown(field):
    """ensures that rye is not dated into a stand, a picking or another season."""
    action = cover_window(**field)
    assert (action.window.start, action.window.end) == (None, None)
    assert action.optional


@pytest.mark.parametrize("field", [{"crop": "alfalfa"}, {"crop": "winter wheat"}])
def test_no_cover_crop_is_bought_where_the_ground_is_taken(field):
    """ensures that nothing is drilled into a stand or an autumn-sown crop (common practice)."""
    assert cover_window(**field).material_id is None


def test_a_standing_orchard_is_not_planted():
    """ensures that the age-old planting date of trees dates nothing."""
    case = case_of([LIME], field={"crop": "apple", "tillage": "perennial",
                                  "dates": {"planting": "2027-05-01"}})
    action = make_plan(case, (finding(need(NeedKind.LIME, "lime", 1.0)),)).actions[0]
    assert action.window.text.key == "actions.when_next_chance"


@pytest.mark.parametrize("gypsum", [True, False])
def test_leaching_follows_gypsum_only_where_it_goes_on(gypsum):
    """ensures that leaching waits for no gypsum that is not in the plan."""
    needs = [Need(NeedKind.LEACH, "salts", "in", say("actions.rule"), place=Place("A", "A"),
                  area_ac=40.0, amount=6.6, low=4.0, high=8.0)]
    if gypsum:
        needs.append(need(NeedKind.GYPSUM, "sodium", 1.0))
    plan = make_plan(case_of([material("g", 60, "gypsum", gypsum=90)]), (finding(*needs),))
    leach = next(a for a in plan.actions if a.kind is NeedKind.LEACH)
    assert leach.window.text.params.get("gypsum") is gypsum
    assert leach.window.start >= TODAY


def test_the_cone_is_pushed_again_in_spring():
    """ensures that what is called spring is due in spring, not a year after autumn work."""
    loosen = plain_need(NeedKind.LOOSEN, "subsoil")
    case = case_of([], field={"dates": {"harvest": "2026-10-25"}})
    followup, = make_plan(case, (finding(loosen),)).followups
    assert followup.due == dt.date(2027, 4, 15)


# small fields and magnesium -------------------------------------------------------------------


def test_a_tenth_of_an_acre_gets_its_rate_by_the_square():
    """ensures that a plot has lb per 1,000 square feet: 100 lb/ac are 2.30 (43,560 sq ft)."""
    small = need(NeedKind.NUTRIENT, "K2O", 60.0)
    plan = make_plan(case_of([POTASH], field={"area": "0.1 ac"}), (finding(small),))
    caution = plan.actions[0].cautions[0]
    assert caution.key == "actions.note_small_area"
    assert caution.params["small"] == pytest.approx(100 / 43.56)


def test_acid_soil_short_of_magnesium_takes_dolomitic_lime():
    """ensures that no magnesium product stands beside lime, and no word against dolomite.

    Source: labarge-2014-enp (dolomitic lime where magnesium is low and lime is due).
    """
    plan = make_plan(case_of([LIME, material("epsom", 900, magnesium=10, sulfur=13)]), (
        finding(need(NeedKind.LIME, "lime", 1.0), name="l"),
        finding(need(NeedKind.NUTRIENT, "Mg", 20.0,
                     cautions=(say("cations.caution_magnesium"),)), name="mg")))
    lime, = plan.actions
    assert lime.kind is NeedKind.LIME
    assert lime.cautions[0].key == "actions.caution_dolomitic"


@pytest.mark.parametrize(("magnesium", "said"), [(1, True), (10, False)])
def test_only_dolomitic_lime_counts_as_dolomitic(magnesium, said):
    """ensures that a calcitic lime with a trace of magnesium does not silence the word for
    dolomitic lime.

    Source: labarge-2014-enp; 6 to 13 % Mg in dolomitic aglime (from memory, unverified).
    """
    lime = material("near", 40, "lime", effective=80, magnesium=magnesium)
    plan = make_plan(case_of([lime]), (
        finding(need(NeedKind.LIME, "lime", 1.0), name="l"),
        finding(need(NeedKind.NUTRIENT, "Mg", 20.0), name="mg")))
    action = next(a for a in plan.actions if a.kind is NeedKind.LIME)
    assert said is ("actions.caution_dolomitic" in {c.key for c in action.cautions})


def test_dolomitic_lime_on_offer_is_taken_though_dearer():
    """ensures that a listed dolomitic lime goes where magnesium is short, and the cheaper one
    elsewhere; without one, the title asks for it.

    Source: labarge-2014-enp (dolomitic lime where magnesium is low and lime is due).
    """
    short = (finding(need(NeedKind.LIME, "lime", 1.0), name="l"),
             finding(need(NeedKind.NUTRIENT, "Mg", 20.0), name="mg"))
    near = material("near", 30, "lime", effective=80)
    dolomite = material("dolomite", 60, "lime", effective=80, magnesium=11)

    def lime(offered, findings):
        plan = make_plan(case_of(offered), findings)
        return next(a for a in plan.actions if a.kind is NeedKind.LIME)

    assert lime([near, dolomite], short).material_id == "dolomite"
    assert lime([near, dolomite], short[:1]).material_id == "near"
    asked = lime([near], short)
    assert asked.title.params["dolomitic"] and not lime([near], short[:1]).title.params["dolomitic"]
    assert "ask for dolomitic lime" in Writer("en").short(brief_message(asked))
