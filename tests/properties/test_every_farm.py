"""Whatever a farm states of itself, areas, money and orders say the same everywhere."""

import json
from functools import cache
from pathlib import Path

import pytest
import yaml
from hypothesis import example, given, settings
from hypothesis import strategies as st

from loambrief import pipeline
from loambrief.actions.constraints import ruled_out
from loambrief.actions.equipment import machine
from loambrief.actions.offers import offers
from loambrief.actions.orders import needed_lb
from loambrief.actions.tenure import grower_part
from loambrief.case.load import load_bytes
from loambrief.case.select import sample_area_ac, treated_share
from loambrief.findings.model import WHOLE_FIELD
from loambrief.render.html import render_html
from loambrief.render.plain import render_plain
from loambrief.report.annex import advisory_alone
from loambrief.report.applicator import applicator_sheet
from loambrief.report.farm_part import years_of
from loambrief.report.money import money_of
from loambrief.report.text import Writer

ROOT = Path(__file__).parents[2]
CASES = {p.parent.name: p for p in (
    *sorted((ROOT / "sample_inputs").glob("*/case.yaml")),
    *(ROOT / "tests" / "scenarios" / name / "case.yaml" for name in (
        "rented_until_next_year", "knoll_of_a_zone_with_strips", "whole_loads_three_zones")))
    if p.parent.name != "broken"}
SPREADERS = st.fixed_dictionaries({
    "name": st.just("spreader"),
    "smallest_rate": st.sampled_from(["0 lb/ac", "60 lb/ac", "150 lb/ac", "1 ton/ac"]),
    "step": st.sampled_from(["5 lb/ac", "25 lb/ac", "0.5 ton/ac"]),
    "width": st.sampled_from(["20 ft", "60 ft"]),
    "per_day": st.sampled_from(["20 ton", "200 ton"])})
FARMS = st.fixed_dictionaries({
    "tenure": st.sampled_from([
        None, {"held": "owned", "years": 4},
        {"held": "rented", "until": "2029-12-31", "lime_paid_by": "owner"},
        {"held": "rented", "until": "2028-06-30", "lime_paid_by": "shared",
         "grower_share": "40 %", "years": 3}]),
    "organic": st.sampled_from([None, "certified"]),
    "excluded": st.sampled_from([[], [{"kind": "lime", "reason": "no lime"}],
                                 [{"kind": "fertilizer", "reason": "none bought"}]]),
    "spreaders": st.one_of(st.just([]), st.lists(SPREADERS, min_size=1, max_size=1)),
    "strips": st.sampled_from([None, {"length": "300 ft", "count": 2, "width": "20 ft"}]),
    "treat": st.sampled_from([None, {"share": "55 %", "reason": "the rest is sound"}]),
    "neighbour": st.booleans(),
})


HELD = {"name": "spreader", "smallest_rate": "60 lb/ac", "step": "25 lb/ac", "width": "20 ft",
        "per_day": "20 ton"}
RENTED = {"tenure": {"held": "rented", "until": "2028-06-30", "lime_paid_by": "shared",
                     "grower_share": "40 %", "years": 3},
          "organic": None, "excluded": [], "spreaders": [HELD],
          "strips": {"length": "300 ft", "count": 2, "width": "20 ft"},
          "treat": {"share": "55 %", "reason": "the rest is sound"}, "neighbour": True}
ORGANIC = {**RENTED, "tenure": {"held": "owned", "years": 4}, "organic": "certified",
           "spreaders": [{**HELD, "smallest_rate": "150 lb/ac"}], "strips": None}


@cache
def typed(name):
    return yaml.load(CASES[name].read_text(encoding="utf-8"), Loader=yaml.CSafeLoader)


def advised(name, farm):
    """The advice on a sample with another farm around it."""
    data = json.loads(json.dumps(typed(name), default=str))
    constraints = {"excluded": farm["excluded"], "spreaders": farm["spreaders"],
                   "days_available": 3}
    if farm["organic"]:
        constraints["organic"] = farm["organic"]
    zone = data["samples"][0]
    if farm["neighbour"]:
        constraints["neighbours"] = [{"name": "a house", "setback": "50 ft", "length": "435.6 ft",
                                      "kinds": ["lime", "fertilizer"], "zone": zone["id"]}]
    data["constraints"] = constraints
    for key in ("plan_changes", "overrides"):  # they name actions that another farm may not have
        data.pop(key, None)
    for key in ("tenure", "strips"):
        data.pop(key, None)
        if farm[key]:
            data[key] = farm[key]
    zone.pop("treat", None)
    if farm["treat"] and "repeats" not in zone:
        zone["treat"] = farm["treat"]
    loaded = load_bytes(json.dumps(data).encode(), "case.yaml", folder=CASES[name].parent)
    return pipeline.advise(loaded)


def held_areas(case, plan):
    """No action is for more ground than its zone has to treat, and strips are taken off it."""
    shares = {s.id: treated_share(case, s) * sample_area_ac(case, s) for s in case.samples}
    strips = {s.action_id: s.area_ac for s in plan.strips}
    for action in plan.actions:
        if action.rate is None or action.area_ac is None or action.own:
            continue
        whole = shares.get(action.place.id, case.field.area.value)
        if action.place.id == WHOLE_FIELD.id:
            whole = case.field.area.value
        if action.share is None:
            assert action.area_ac + strips.get(action.id, 0.0) <= whole * 1.006, action.id
        assert action.area_ac > 0


def held_money(advice):
    """Costs are rate by area, orders what is spread, and every total the same."""
    case, plan = advice.loaded.case, advice.plan
    for action in plan.actions:
        if action.cost_per_ac is not None and action.area_ac is not None and not action.own:
            assert action.cost_total == pytest.approx(action.cost_per_ac * action.area_ac)
        if action.owner_pays is not None:
            part = grower_part(case)
            assert action.cost_total == pytest.approx(
                (action.cost_total + action.owner_pays) * part)
    done = [a for a in plan.actions if a.id in plan.budget.chosen]
    for order in plan.orders:
        spread = sum(needed_lb(a) for a in done if a.material_id == order.material_id
                     and a.pass_number == order.pass_number)
        assert order.needed_lb == pytest.approx(spread)
        assert order.ordered_lb >= order.needed_lb - 1e-6
    money = money_of(plan)
    model = advisory_alone(pipeline.report_model(advice))
    data = json.loads(next(a.content for a in model.attachments
                           if a.name == f"{case.case.id}.json"))
    assert data["budget"]["printed"]["total"] == money.total
    assert money.total == pytest.approx(plan.budget.spent, abs=0.51)
    printed = Writer("en", case.case.units, case.case.currency).money(money.total)
    if done and case.case.language == "en":
        assert printed in render_plain(model).decode()
        assert printed in render_html(model).decode()
    held_years(case, plan, money, data)


def held_years(case, plan, money, data):
    """What is done in all years, without what comes again, is the total of the plan."""
    found = years_of(case, plan, money)
    assert (found is None) is (data["cost_by_year"] is None)
    if found is None:
        return
    lines = {line.key: line.amounts for line in found.lines}
    once = {a.id: money.costs[a.id] for a in plan.actions
            if a.id in plan.budget.chosen and a.id in money.costs}
    first = sum(amounts[0] for key, amounts in lines.items()
                if key not in ("retests", "waiting", "deferred"))
    later = sum(cost for name, cost in once.items() if plan.action(name).pass_number > 1)
    assert first + later == pytest.approx(money.total, abs=0.01)
    for year, total in enumerate(found.totals):
        assert total == pytest.approx(sum(a[year] for a in lines.values()))
        assert found.per_ac[year] == pytest.approx(total / case.field.area.value)
    assert data["cost_by_year"]["totals"] == pytest.approx(list(found.totals))


def held_constraints(case, plan):
    """Nothing that is ruled out is advised, and no rate is one that the machine cannot set."""
    out = set(ruled_out(case, offers(case)))
    for action in plan.actions:
        if action.own or action.changed or action.own_reason is not None:
            continue
        assert action.material_id not in out, action.id
        held = machine(case, action.material_kind)
        if held is None or not action.rate or not action.area_ac:
            continue
        pounds = needed_lb(action) / action.area_ac
        assert pounds >= held.smallest_rate.value * (1 - 1e-6), action.id
        steps = (pounds - held.smallest_rate.value) / held.step.value
        assert steps == pytest.approx(round(steps), abs=1e-5), action.id
        assert action.cap is None or action.rate <= action.cap * (1 + 1e-6), action.id
    served = {a.id for a in plan.actions if a.material_id is not None}
    assert not served & {g.action_id for g in plan.gaps}


@pytest.mark.usefixtures("plain_pages")
@pytest.mark.parametrize("name", sorted(CASES))
@settings(max_examples=max(2, settings().max_examples // 50))
@given(farm=FARMS)
@example(farm=RENTED)
@example(farm=ORGANIC)
def test_plan_agrees_with_itself_on_every_farm(name, farm):
    """ensures that areas, rates, money, orders and years agree in the plan, the page, the
    data, the HTML, the text and the spreading sheet, whatever the farm states.
    """
    advice = advised(name, farm)
    case, plan = advice.loaded.case, advice.plan
    held_areas(case, plan)
    held_constraints(case, plan)
    held_money(advice)
    writer = Writer("en", case.case.units, case.case.currency)
    sheet = render_plain(applicator_sheet(case, plan, writer)).decode()
    for action in plan.actions:
        if action.rate and action.pass_number == 1 and action.id in plan.budget.chosen:
            total = writer.order(action.total, action.total_unit).replace("\u00a0", " ")
            assert total in " ".join(sheet.replace("\u00a0", " ").split()), action.id
    laid = [s for s in plan.strips if s.laid_out and s.action_id in plan.budget.chosen]
    assert any(f.what.key == "farm.follow_strips" for f in plan.followups) is bool(laid)
