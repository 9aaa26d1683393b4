"""What the farm allows: spreader steps, the organic table, tenure, parts, strips."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from plan_builders import case_of, finding, material, need

from loambrief.actions.constraints import ruling
from loambrief.actions.equipment import settable, spreading_days, years_for
from loambrief.actions.model import SpreadingDays
from loambrief.actions.plan import make_plan
from loambrief.actions.tenure import number, seasons_left
from loambrief.case.schema_materials import MATERIAL_KINDS
from loambrief.errors import PlanFaults
from loambrief.findings.model import Confidence, NeedKind
from loambrief.tables import load, references
from loambrief.tables.organic import ORGANIC, organic_row, substances
from loambrief.topics.nutrients.formulas_manure import raw_manure_interval

POTASH = material("potash", 445, spread=8, k2o=60)
SULFATE = material("sop", 800, spread=8, k2o=50, sulfur=17)
LIME = material("lime", 26, "lime", spread=9, cce=95, fineness=75)
FEED = finding(need(NeedKind.NUTRIENT, "K2O", 60.0))
ACID = finding(need(NeedKind.LIME, "lime", 2.0, cap=4.0), name="a")


@given(exact=st.floats(1, 900), smallest=st.floats(0, 300), step=st.sampled_from([0, 5, 25, 100]),
       cap=st.one_of(st.none(), st.floats(10, 900)))
def test_settable_rates_keep_step_cap_and_smallest(exact, smallest, step, cap):
    """ensures that a machine is never set below its least, across a cap, or between steps."""
    rate = settable(exact, smallest, step, cap)
    if rate is None:
        assert cap is not None and smallest + (step if smallest == 0 else 0) > cap * (1 - 1e-6)
        return
    assert rate >= smallest - 1e-9
    assert cap is None or rate <= cap * (1 + 1e-8)
    if step:
        steps = (rate - smallest) / step
        assert steps == pytest.approx(round(steps), abs=1e-6)
        if cap is None and exact >= smallest and rate > step:
            assert abs(rate - exact) <= step / 2 + 1e-6


def test_a_step_alone_is_the_smallest_rate():
    """ensures that a machine with steps of 200 lb/ac is not set to one for a need of half."""
    plan = make_plan(case_of([POTASH], constraints={"spreaders": [
        {"name": "truck", "step": "200 lb/ac"}]}), (FEED,))
    assert [g.reason for g in plan.gaps] == ["truck"]


@pytest.mark.parametrize(("exact", "expected"), [(118, 125), (112, 100), (90, 100), (400, 400)])
def test_settable_by_hand(exact, expected):
    """ensures that a spreader from 100 lb/ac in steps of 25 gives what a driver would set."""
    assert settable(exact, 100, 25) == expected


def test_years_at_once_only_for_maintenance_of_a_guide_that_says_so():
    """ensures that two years go on at once only where the guide lets them (Bulletin 974:
    maintenance yearly or every other year), never a rate for a short soil.
    """
    case = case_of([POTASH])
    guided = case.model_copy(update={"guide": "tri_state_2020"})
    assert years_for(guided, 80, 120, optional=True) == 2
    assert years_for(guided, 50, 120, optional=True) is None  # three years
    assert years_for(guided, 80, 120, optional=False) is None
    assert years_for(case, 80, 120, optional=True) is None  # no guide, no such rule
    assert years_for(guided, 120, 120, optional=False) == 1


@pytest.mark.parametrize("kind", MATERIAL_KINDS)
def test_every_kind_of_material_is_classified(kind):
    """ensures that no kind of material is passed over by the organic table."""
    row = organic_row(kind, None)
    assert row["status"] in ("allowed", "restricted", "prohibited", "ask")
    assert str(row["section"]).startswith("205.")


def test_organic_table_names_its_sources():
    """ensures that each row names a section of the rule, and each restriction its condition."""
    known = references()
    for row in load(ORGANIC):
        assert row["source"] in known, row
        assert (row["condition"] is not None) is (row["status"] == "restricted"), row
        key = str(row["source"]).rsplit("-", 1)[-1]
        assert str(row["section"]).startswith(f"205.{key}"), row
    assert "mined limestone" in substances()


@pytest.mark.parametrize(("made_of", "status"), [
    (None, "organic_ask"), ("mined potassium chloride", "organic_restricted"),
    ("mined potassium sulfate", "organic_allowed"),
    ("synthetic nitrogen or phosphate", "organic_prohibited")])
def test_organic_ruling(made_of, status):
    """ensures that 205.105(a), 205.203(d)(3) and 205.602(e) are held to, and that silence
    never allows.
    """
    case = case_of([POTASH], constraints={"organic": "certified"})
    offered = case.materials[0].model_copy(update={"substance": made_of})
    found = ruling(case, offered)
    assert found.key == status
    assert found.out is (status in ("organic_ask", "organic_prohibited"))
    approved = ruling(case, offered.model_copy(update={"certifier": "listed, 2 May 2026"}))
    assert approved.out is (status == "organic_prohibited")


def test_organic_rule_names_the_days_of_raw_manure():
    """ensures that the condition of manure is the interval of 7 CFR 205.203(c)(1)."""
    assert organic_row("manure", None)["condition"] == "manure"
    assert raw_manure_interval(crop="lettuce") == 120


def test_dearer_material_takes_over_where_the_cheap_one_cannot_be_set():
    """ensures that the mix respects the machine: 60 lb K2O are 100 lb of 0-0-60, too little for
    it, and 120 lb of 0-0-50.
    """
    spreader = {"spreaders": [{"name": "drop", "smallest_rate": "110 lb/ac", "step": "10 lb/ac"}]}
    free = make_plan(case_of([POTASH, SULFATE]), (FEED,))
    held = make_plan(case_of([POTASH, SULFATE], constraints=spreader), (FEED,))
    assert [a.material_id for a in free.actions if a.rate] == ["potash"]
    assert [(a.material_id, a.rate) for a in held.actions if a.rate] == [("sop", 120.0)]
    alone = make_plan(case_of([POTASH], constraints=spreader), (FEED,))
    assert not [a for a in alone.actions if a.rate]
    assert [(g.key, g.reason) for g in alone.gaps] == [("equipment", "drop")]


def test_excluded_lime_leaves_a_gap_with_its_reason():
    """ensures that a need without material names the constraint that left it."""
    plan = make_plan(case_of([LIME], constraints={
        "excluded": [{"material": "lime", "reason": "the landlord forbids it"}]}), (ACID,))
    assert [(g.item, g.key, g.reason) for g in plan.gaps] == [
        ("lime", "excluded", "the landlord forbids it")]
    assert not plan.orders


@pytest.mark.parametrize(("until", "expected"), [
    ("2027-11-30", 1), ("2027-09-30", 0), ("2029-10-10", 3)])
def test_harvests_left(until, expected):
    """ensures that harvests are counted up to the last day of the lease, with it."""
    case = case_of([LIME], tenure={"held": "rented", "until": until})
    dated = case.model_copy(update={"field": case.field.model_copy(update={
        "dates": case.field.dates.model_copy(update={"harvest": dt.date(2027, 10, 10)})})})
    assert seasons_left(dated) == expected


def test_a_stand_is_harvested_from_its_next_cut_on():
    """ensures that a cut before the end of the lease counts as a harvest that is left."""
    case = case_of([LIME], tenure={"held": "rented", "until": "2027-12-31"})
    cut = case.model_copy(update={"field": case.field.model_copy(update={
        "dates": case.field.dates.model_copy(update={
            "harvest": None, "next_cut": dt.date(2027, 6, 10)})})})
    assert seasons_left(cut) == 1


@pytest.mark.parametrize(("until", "passes"), [("2027-06-30", 1), ("2029-12-31", 2)])
def test_no_pass_after_the_lease(until, passes):
    """ensures that lime of a year in which the ground is not held is neither ordered nor paid,
    and that the pass before it says so.
    """
    deep = finding(need(NeedKind.LIME, "lime", 6.0, cap=4.0), name="acid")
    plan = make_plan(case_of([LIME], tenure={"held": "rented", "until": until}), (deep,))
    limed = [a for a in plan.actions if a.kind is NeedKind.LIME]
    assert len(limed) == passes
    assert any(n.key == "farm.note_after_lease" for n in limed[-1].notes) is (passes == 1)


def test_harvests_on_owned_ground_are_not_counted():
    """ensures that owned ground has no end."""
    assert seasons_left(case_of([LIME], tenure={"held": "owned"})) is None


def test_lime_is_shared_and_what_the_lease_leaves_is_money():
    """ensures that the grower pays the stated part, and that straight-line depreciation over
    three to five years (Iowa State C2-07) says what is not used up.
    """
    case = case_of([LIME], tenure={"held": "rented", "until": "2027-12-31",
                                "lime_paid_by": "shared", "grower_share": "25 %"})
    whole = make_plan(case_of([LIME]), (ACID,)).actions[0]
    part = make_plan(case, (ACID,)).actions[0]
    assert part.cost_total == pytest.approx(whole.cost_total / 4)
    assert part.owner_pays == pytest.approx(whole.cost_total * 3 / 4)
    note = next(n for n in part.notes if n.key == "farm.note_lime_lease").params
    assert (number("lime_life_low"), number("lime_life_high")) == (3, 5)
    assert note["unused_low"] == pytest.approx(part.cost_total * 2 / 3)
    assert note["unused_high"] == pytest.approx(part.cost_total * 4 / 5)


def test_strips_are_left_out_of_order_and_cost():
    """ensures that four strips of 40 ft by 1,089 ft, four acres, are not bought for."""
    unsure = finding(need(NeedKind.NUTRIENT, "K2O", 60.0), confidence=Confidence.LOW)
    plain = make_plan(case_of([POTASH]), (unsure,))
    laid = make_plan(case_of([POTASH], strips={"length": "1089 ft", "width": "40 ft"}), (unsure,))
    before, after = plain.actions[0], laid.actions[0]
    assert before.area_ac - after.area_ac == pytest.approx(4.0)
    assert laid.orders[0].needed_lb == pytest.approx(after.rate * after.area_ac)
    assert after.cost_total == pytest.approx(after.cost_per_ac * after.area_ac)
    assert [s.laid_out for s in plain.strips] == [False]
    assert laid.strips[0].area_ac == pytest.approx(4.0)


def test_strips_of_an_unknown_action_are_refused():
    """ensures that a name that nothing is spread for is a problem with the names there are."""
    with pytest.raises(PlanFaults, match="wanted an action that is spread"):
        make_plan(case_of([POTASH], strips={"length": "500 ft", "width": "40 ft",
                                         "actions": ["potasch"]}), (FEED,))


def test_days_are_tons_by_tons_a_day():
    """ensures that 84 ton at 40 ton a day are 2.1 days."""
    assert SpreadingDays("truck", 168_000.0, 80_000.0).days == 2.1
    assert spreading_days(case_of([LIME]), ()) == ()
