"""Page 1: the cautions it prints, what holds money up, and what it leaves for want of room."""

from __future__ import annotations

import re
from collections import Counter
from itertools import pairwise
from pathlib import Path

import pytest
from sample_reports import CASES, written

from loambrief.findings.confidence import ERRORS
from loambrief.findings.harm import SAFETY, Harm, gravest_first, harm_of
from loambrief.findings.model import Message, NeedKind, say
from loambrief.report.blocks import plain
from loambrief.report.first_actions import chosen_for_page_one
from loambrief.report.text import Writer
from loambrief.resources import templates_dir
from loambrief.tables import load
from loambrief.topics.assess import PLAN_ORDER

FIELDS = {p.parent.name: p for p in sorted(
    (Path(__file__).parents[1] / "scenarios").glob("*/case.yaml"))
    if "refused" not in (p.parent / "expect.yaml").read_text(encoding="utf-8")}
EVERY = {**FIELDS, **CASES}
every_field = pytest.mark.parametrize("name", EVERY)
CAUTION = re.compile(r"macro ((?:caution|interaction)_\w+)\(p\)")
TOPIC_ORDER = {topic: place for place, topic in enumerate(PLAN_ORDER)}
NOT_OF_ACTIONS = {"report"}
"""Topics whose cautions belong to the whole sheet."""


def advised(name):
    return written(EVERY[name])[0]


def printed(name):
    return written(EVERY[name])[1]


def first_page(name):
    return printed(name).blocks[0]


def lines_of(name):
    """Each line of page 1 with its action."""
    by_rank = {a.rank: a for a in advised(name).plan.actions}
    return [(line, by_rank[line.rank]) for line in first_page(name).actions]


def test_each_caution_has_its_gravity():
    """ensures that every caution of the templates says in the table what it wards off, once."""
    wanted = {f"{path.stem}.{name}" for path in (templates_dir() / "text" / "en").glob("*.j2")
              if path.stem not in NOT_OF_ACTIONS
              for name in CAUTION.findall(path.read_text(encoding="utf-8"))}
    rows = load("wording/cautions").column("message")
    assert wanted <= set(rows)
    assert max(Counter(rows).values()) == 1
    assert {Harm(row) for row in load("wording/cautions").column("harm")} == set(Harm)


def test_gravest_first_goes_by_key():
    """ensures that people stand before stock, water, the crop, gear, effect and money, whatever
    the order or the words."""
    given = [say(key) for key in (
        "nutrients.caution_cap", "acidity.caution_ammonia", "actions.caution_lime_dust",
        "acidity.caution_legume", "actions.caution_setback", "forage.caution_horse",
        "salinity.caution_acid")]
    assert [harm_of(c) for c in gravest_first(given)] == [
        Harm.PEOPLE, Harm.STOCK, Harm.WATER, Harm.CROP, Harm.HANDLING, Harm.WORK, Harm.MONEY]
    with pytest.raises(KeyError):
        harm_of(Message("acidity.caution_nobody_listed"))


@every_field
def test_no_caution_that_keeps_from_harm_is_dropped(name):
    """ensures that page 1 prints, beside each action on it, all that keeps people, stock, water
    and the crop from harm, though another line says it too; else the gravest of the rest."""
    writer = Writer("en", "us", advised(name).loaded.case.case.currency)
    said = set()
    for line, action in lines_of(name):
        grave = [writer.short(c) for c in action.cautions if harm_of(c) in SAFETY]
        printed = plain(line.caution)
        assert not [text for text in grave if text not in printed], (action.id, printed)
        rest = [writer.short(c) for c in gravest_first(action.cautions)
                if harm_of(c) not in {*SAFETY, Harm.HANDLING}]
        if not grave and rest:
            assert rest[0] in printed or rest[0] in said, (action.id, printed)
        said.add(printed)


@every_field
def test_the_usual_gear_stands_once(name):
    """ensures that what to wear with the materials of the page stands in its last line."""
    writer = Writer("en", "us", advised(name).loaded.case.case.currency)
    last = plain(first_page(name).notes[-1])
    for _, action in lines_of(name):
        for caution in action.cautions:
            if harm_of(caution) is Harm.HANDLING:
                assert writer.short(caution) in last, (action.id, last)


@every_field
def test_work_stands_before_habits_and_decisions(name):
    """ensures that no habit, test or decision takes the place of needed work on page 1."""
    plan = advised(name).plan
    shown = {line.rank for line in first_page(name).actions}
    work = [a.rank for a in plan.actions if a.id in plan.budget.chosen and a.pass_number == 1
            and a.rate is not None and not a.optional]
    if [r for r in work if r not in shown]:
        decides = [a.rank for a in plan.actions if a.item == "adviser decides"]
        assert not shown & set(decides)


class _Context:
    """As much of a report's context as the choice of actions takes."""

    def __init__(self, plan):
        self.plan = plan

    def in_budget(self, action):
        return action.id in self.plan.budget.chosen


def test_optional_work_leaves_when_there_is_no_room():
    """ensures that what may be left out goes before what is needed, never instead of it."""
    plan = advised("did_the_lime_work").plan
    every = chosen_for_page_one(_Context(plan))
    needed = chosen_for_page_one(_Context(plan), optional=False)
    assert any(a.optional for a in every) and not any(a.optional for a in needed)
    assert [a.id for a in every if not a.optional] == [a.id for a in needed]


def test_only_missing_money_waits_for_money():
    """ensures that "waits for money" stands only where there is a budget that does not reach;
    what a reading decides names the action that is read."""
    for name in EVERY:
        page, plan = first_page(name), advised(name).plan
        for line, action in lines_of(name):
            cost = plain(line.cost)
            if "waits for money" in cost:
                assert plan.budget.limit is not None and action.id in plan.budget.left_out, name
            if action.id in plan.budget.undecided:
                reading = plan.action(action.conditional_on)
                assert cost == f"open until action {reading.rank}", (name, cost)
        if plan.budget.limit is None:
            assert "Waiting for money" not in plain(page.cost_line), name


def test_a_stale_test_is_open_not_poor():
    """ensures that what a new sample decides is not said to lack money."""
    costs = {a.item: plain(line.cost) for line, a in lines_of("stale_test_seven_years")}
    assert costs["P2O5"] == costs["K2O"] == "open until action 1"
    assert costs["soil test"] == "on the same samples"


def test_work_that_waits_for_money_is_named():
    """ensures that page 1 names needed work the money does not reach, with place, price and
    what is missing for all of it."""
    money = plain(first_page("tiny_budget_two_zones").cost_line).replace("\u00a0", " ")
    plan = advised("tiny_budget_two_zones").plan
    waiting = [a for a in plan.actions if a.id in plan.budget.left_out
               and not a.optional and a.pass_number == 1]
    assert len(waiting) >= 2
    for action in waiting:
        assert f"action {action.rank} (Lime" in money and action.place.label in money
        assert f"${action.cost_total:,.0f}" in money
    lacking = sum(a.cost_total for a in waiting) - plan.budget.remaining
    assert f"${lacking:,.0f} more would pay for all of it" in money


def test_a_drain_that_a_reading_decides_is_named():
    """ensures that no number on page 1 stands for work that is not named there."""
    money = plain(first_page("wet_field_drain_cost").cost_line).replace("\u00a0", " ")
    assert re.search(r"Action 1 decides these[^:]*: "
                     r"action \d \(Give the water an outlet[^;]*\$10,660\)", money)


@every_field
def test_optional_money_stands_apart_inside_one_total(name):
    """ensures that the total says what of it is needed and what may be left out."""
    page, plan = first_page(name), advised(name).plan
    chosen = [a for a in plan.actions if a.id in plan.budget.chosen]
    if not page.foot:
        return
    parts = [float(x.replace(",", "")) for x in re.findall(
        r"\$([\d,]+(?:\.\d+)?) (?:needed|optional)", plain(page.foot[-1].label))]
    total = float(re.sub(r"[^\d.]", "", plain(page.foot[-1].value)))
    optional = sum(a.cost_total or 0.0 for a in chosen if a.optional)
    assert bool(parts) == (optional > 0)
    if parts:
        assert sum(parts) == pytest.approx(total, abs=0.001)
        assert parts[1] == pytest.approx(optional, abs=len(chosen))


def test_a_method_settles_only_its_own_nutrient():
    """ensures that "settled by a test by" one extract is not said of what it does not read."""
    told = " ".join(plain(t) for t in first_page("stale_test_seven_years").unjudged)
    assert "Phosphorus, potassium and lime" in told and "bray" not in told.lower()
    action = next(a for a in advised("stale_test_seven_years").plan.actions
                  if a.item == "soil test")
    title = Writer("en", "us", "USD").write(action.title)
    assert re.search(r"phosphorus by bray-p1", title) and not re.search(r"lime by bray", title)


def test_a_legume_leaves_no_decision_on_nitrogen():
    """ensures that nitrogen of a legume is settled by its nodules, not made a job."""
    plan = advised("foxtail_nothing_explains_it").plan
    told = next(v for v in plan.verdicts if v.key == "N")
    assert (told.reason, told.settled_by) == ("nitrogen_legume", "nodules")
    assert not [a for a in plan.actions if a.item == "adviser decides"]


def test_decisions_of_the_adviser_come_after_tests_with_a_date():
    """ensures that "the adviser decides" ranks below the tests and says by when."""
    plan = advised("nothing_measured").plan
    ranks = {a.item: a.rank for a in plan.actions}
    assert ranks["soil test"] < ranks["adviser decides"]
    decides = next(a for a in plan.actions if a.item == "adviser decides")
    assert decides.window.text.key == "actions.when_decision"
    assert decides.window.end == advised("nothing_measured").loaded.case.field.dates.planting
    assert not plan.followups  # a choice leaves nothing in the field to look at


def test_actions_without_a_price_are_counted_alike():
    """ensures that page 1 and the total of the plan name the same number of them."""
    advice = advised("saline_alfalfa_utah")
    counted = len(advice.plan.budget.unpriced)
    undecided = [a for a in advice.plan.actions
                 if a.cost_total is None and a.id not in advice.plan.budget.unpriced]
    assert counted and undecided
    said = Writer().write(say("report.money_note", oldest=None, unpriced=counted))
    blocks = printed("saline_alfalfa_utah").blocks
    assert any(said in plain(b.text) for b in blocks if isinstance(getattr(b, "text", None), tuple))


def test_nitrogen_bought_for_a_need_is_named():
    """ensures that the product for nitrogen is named by it, and that the verdict which answers
    the question is not told again below."""
    page = first_page("nebraska_corn_nitrogen")
    urea = next(line for line, action in lines_of("nebraska_corn_nitrogen")
                if action.material_id == "urea")
    assert plain(urea.what).startswith("Apply N")
    verdict = "Nitrogen: needed."
    assert verdict in plain(page.message)
    assert not any(verdict in plain(note) for note in page.notes)


def test_sap_alone_is_said_to_be_read():
    """ensures that page 1 says what sap was read, and that it cannot tell what is short."""
    page = first_page("weeds_and_brix_only")
    assert re.search(r"6\.0.*8\.3", plain(page.message))
    assert "Sap cannot say which nutrient" in plain(page.message)
    assert "Nothing was measured, so" not in plain(page.no_limits)
    assert "calcium" in plain(page.actions[0].what)


def test_a_leaf_alone_is_said_to_be_tested():
    """ensures that page 1 says what plant tissue showed, and that it shows no limit of the soil."""
    page = first_page("orchard_leaf_boron")
    assert "low in potassium and boron" in plain(page.message)
    for said in (plain(page.message), plain(page.no_limits)):
        assert "Nothing was measured" not in said
    assert "Only plant tissue was tested" in plain(page.no_limits)


@every_field
def test_the_first_limit_is_put_right_first(name):
    """ensures that of equally grave limits one that work puts right stands before one that
    waits for a test, and that each limit of page 1 has its action in the plan.
    """
    advice = advised(name)
    limits = advice.diagnosis.worst(len(first_page(name).limits))
    acted = {i for a in advice.plan.actions for i in a.finding_ids}
    tested = [all(n.kind is NeedKind.MEASURE for n in f.needs) for f in limits if f.needs]
    graded = [(-f.severity, TOPIC_ORDER[f.topic]) for f in limits if f.needs]
    for (one, first), (other, second) in pairwise(zip(graded, tested, strict=True)):
        assert one != other or not (first and not second), [f.id for f in limits]
    limed = any(c.key == "actions.caution_dolomitic"
                for a in advice.plan.actions for c in a.cautions)
    lacking = [f.id for f in limits if f.needs and f.id not in acted
               and not (limed and all(n.item == "Mg" for n in f.needs))]
    assert not lacking


def test_the_first_limit_of_the_sample_is_the_sourer_zone():
    """ensures that the zone at pH 5.6 to 6 in stands before the one at 6.0, and that page 1
    names the test that settles the other.
    """
    advice = advised("acid_corn_ohio")
    assert advice.diagnosis.worst(1)[0].id == "acidity.ph.N"
    assert advice.plan.actions[0].finding_ids == ("acidity.ph.N",)
    assert any(a.item == "surface buffer" for _, a in lines_of("acid_corn_ohio"))


@every_field
def test_limits_from_memory_are_named(name):
    """ensures that page 1 says which of its limits rest on values not read in print."""
    page = first_page(name)
    shown = advised(name).diagnosis.worst(len(page.limits))
    wanted = {n for n, finding in enumerate(shown, 1)
              if any(r.how == "memory" and r.formula not in ERRORS for r in finding.results)}
    said = [re.match(r"Limits? ([\d–]+(?:(?:, | and )[\d–]+)*)", plain(note))
            for note in page.notes]
    named = set()
    for run in re.split(", | and ", next((m.group(1) for m in said if m), "")):
        ends = [int(n) for n in run.split("–") if n]
        named |= set(range(ends[0], ends[-1] + 1)) if ends else set()
    assert named == wanted
