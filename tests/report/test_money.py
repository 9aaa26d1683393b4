"""Printed money adds up, on page 1, in the plan, in the data and on the calendar."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief import pipeline
from loambrief.batch.figures import figures_of
from loambrief.case.load import load_case
from loambrief.report.blocks import Paragraph, plain
from loambrief.report.money import money_of, rounded
from loambrief.report.parts import ActionCard, Summary

ROOT = Path(__file__).parents[2]
CASES = [*sorted((ROOT / "sample_inputs").glob("*/case.yaml")),
         *sorted((ROOT / "sample_inputs" / "three_fields_indiana").glob("[cmn]*_*.yaml"))]


@given(st.lists(st.floats(0, 1e5), min_size=1, max_size=20), st.sampled_from([1.0, 0.01]))
def test_parts_add_up_to_the_rounded_sum(parts, unit):
    """ensures that parts rounded together make the rounded total, each by less than a unit."""
    made = rounded(parts, unit)
    assert sum(made) == pytest.approx(round(sum(round(p / unit, 6) for p in parts)) * unit,
                                      abs=0.005)
    for part, shown in zip(parts, made, strict=True):
        assert abs(part - shown) < unit + 1e-6


def test_largest_fractions_are_rounded_up():
    """ensures that three thirds of a dollar over make one dollar, not none and not three."""
    assert rounded([10.4, 20.4, 30.4], 1.0) == [11.0, 20.0, 30.0]
    assert rounded([0.5, 0.25, 0.25], 0.01) == [0.5, 0.25, 0.25]


@pytest.fixture(scope="module", params=CASES, ids=lambda p: f"{p.parent.name}-{p.stem}")
def advice(request):
    return pipeline.advise(load_case(request.param))


def amounts(text):
    found = re.findall(r"([−-]?)\$([\d,]+(?:\.\d+)?)", text)
    return [(-1 if sign else 1) * float(value.replace(",", "")) for sign, value in found]


def test_one_total_everywhere(advice):
    """ensures that page 1, the plan table and the terminal print one total and parts that
    make it.
    """
    model = pipeline.report_model(advice)
    total = money_of(advice.plan).total
    first = model.blocks[0]
    assert isinstance(first, Summary)
    lines = [x for line in first.actions for x in amounts(plain(line.cost))]
    *others, last = [x for fact in first.foot for x in amounts(plain(fact.value))]
    assert sum(lines) + sum(others) == pytest.approx(total, abs=0.001)
    assert last == total
    cards = [b for b in model.blocks if isinstance(b, ActionCard)]
    covered = {a.rank for a in advice.plan.actions if a.id in advice.plan.budget.chosen}
    costs = [x for card in cards if card.rank in covered for x in amounts(plain(card.money))]
    money = money_of(advice.plan)
    told = amounts(next(plain(b.text) for b in model.blocks if isinstance(b, Paragraph)
                        and plain(b.text).startswith("Total of the plan")))
    parts = [x for x in (money.packages, money.saved) if x]
    assert told[:1 + len(parts)] == [total, *parts]
    assert sum(costs) + money.packages - money.saved == pytest.approx(total, abs=0.001)
    assert amounts(pipeline.brief(advice).money)[0] == total


def test_what_is_left_over_adds_up(advice):
    """ensures that the parts in the data make the total, and differ from the exact costs by
    less than a unit.
    """
    money = money_of(advice.plan)
    chosen = [a for a in advice.plan.actions if a.id in advice.plan.budget.chosen
              and a.cost_total is not None]
    assert sum(money.costs[a.id] for a in chosen) + money.packages - money.saved == \
        pytest.approx(money.total, abs=0.001)
    assert money.total == pytest.approx(advice.plan.budget.spent, abs=0.51)
    figures = figures_of(advice)
    assert figures.spent == money.total, "a month adds up what the advisories print"
    assert sum(cost for _, _, cost in figures.kinds) == pytest.approx(
        sum(money.costs[a.id] for a in chosen), abs=0.001)
    for action in chosen:
        assert abs(money.costs[action.id] - action.cost_total) < 1.0
    assert money.optional == pytest.approx(
        sum(money.costs[a.id] for a in chosen if a.optional), abs=0.001)
