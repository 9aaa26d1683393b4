"""What the plan costs, adding up by rank, against the budget."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import accumulate
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import HATCHED, LEADING, Scale, text_width, ticks
from loambrief.charts.model import ChartSpec, any_number, is_number
from loambrief.charts.registry import chart
from loambrief.numbers import figures

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from loambrief.charts.sheet import Sheet

BAR = 12.0


@dataclass(frozen=True)
class CostStep:
    """One action of the plan with its cost; None where the case holds no price."""

    rank: int
    label: str
    cost: float | None
    included: bool = True
    detail: str = ""


@dataclass(frozen=True, kw_only=True)
class BudgetSpec(ChartSpec):
    """Cost of the plan adding up by rank, against the budget (None: no budget given).

    ``money`` is a pattern with one ``{}`` for the number, such as ``"${}"``; ``already`` is
    the cost of steps on an earlier part of the same chart.
    """

    steps: tuple[CostStep, ...]
    budget: float | None
    money: str = "${}"
    already: float = 0.0

    split = "steps"

    def has_data(self) -> bool:
        return any_number(s.cost for s in self.steps)

    def halves(self, first_items: int = 0) -> tuple[BudgetSpec, ...]:
        parts = super().halves(first_items)
        if not parts:
            return ()
        first, second = parts
        spent = (s.cost for s in first.steps if s.included and is_number(s.cost))
        return first, replace(second, already=list(accumulate(spent, initial=self.already))[-1])

    def facts(self) -> dict[str, Any]:
        def money(value: float | None) -> str | None:
            return self.money.format(figures(value)) if is_number(value) else None

        total, steps = self.already, []
        for step in self.steps:
            spent = step.cost if step.included and is_number(step.cost) else None
            total += spent or 0.0
            steps.append({"rank": step.rank, "label": step.label, "cost": money(step.cost),
                          "sum": None if spent is None else money(total),
                          "included": step.included})
        return {"budget": money(self.budget), "steps": steps}


@chart(BudgetSpec, "budget")
def draw(sheet: Sheet, spec: BudgetSpec) -> None:
    """Steps in the order of rank; each bar starts where the covered ones before it end."""
    w, width = spec.words, sheet.width
    t = sheet.theme
    if not all(s.included for s in spec.steps):
        sheet.key([sheet.swatch(w.in_plan, fill="accent"),
                   sheet.swatch(w.outside_budget, **HATCHED)])
    wide = width >= 380
    starts, total, farthest = [], spec.already, spec.already
    for step in spec.steps:
        starts.append(total)
        if is_number(step.cost):
            farthest = max(farthest, total + step.cost)
            total += step.cost if step.included else 0.0
    budget = spec.budget if is_number(spec.budget) else None
    high = max(farthest, budget or 0.0) * 1.04 or 1.0

    costs = [_cost(s, spec) for s in spec.steps]
    sums = [_money(a + (s.cost or 0.0), spec) if s.included and is_number(s.cost) else ""
            for a, s in zip(starts, spec.steps, strict=True)]
    cost_size = max(text_width(c, t.text, "bold") for c in costs)
    sum_size = max([text_width(s, t.small) for s in sums] + [text_width(w.running_total, t.small)])
    rank_size = max(text_width(str(s.rank), t.text, "bold") for s in spec.steps) + 6
    left = width * 0.42 if wide else rank_size
    right = width - cost_size - 10 - (sum_size + 12 if wide else 0)
    across = Scale(0, high, left, right if wide else width - 2)

    top = _budget_head(sheet, spec, across, budget, wide, sum_size)
    bars: list[tuple[CostStep, float, float]] = []
    for step, start, cost, running in zip(spec.steps, starts, costs, sums, strict=True):
        colour = "ink" if step.included else "muted"
        room = (left if wide else width - cost_size - 6) - rank_size - 8
        y, middle = sheet.row(step.label, step.detail, room, wide, BAR, rank_size, colour=colour)
        sheet.text(0, y + t.text * 0.98, str(step.rank), weight="bold", colour=colour)
        if wide:
            sheet.middle(right + 10 + cost_size, middle, cost, weight="bold", colour=colour,
                         align="right")
            if running:
                sheet.middle(width, middle, running, t.small, colour="muted", align="right")
        else:
            sheet.text(width, y + t.text * 0.98, cost, weight="bold", colour=colour,
                       align="right")
        bars.append((step, start, middle - BAR / 2))
    sheet.line([0, width], [sheet.y, sheet.y], "rule", t.hairline)
    ax = sheet.axes(across)
    if budget is not None:
        spans = [(b[2] - 1.0, b[2] + BAR + 2.0) for b in bars] if not wide else [(top, sheet.y)]
        sheet.strokes([((budget, budget), span) for span in spans], "ink", 1.4, on=ax)
    for n, (step, start, y) in enumerate(bars):
        _bar(sheet, step, start, ax, y)
        following = bars[n + 1][2] if n + 1 < len(bars) else None
        if wide and following is not None and step.included and is_number(step.cost):
            end = start + step.cost
            sheet.line([end, end], [y + BAR, following], "muted", t.hairline, on=ax)
    marks = ticks(0, high, max(2, int((across.end - across.start) / 55)))
    sheet.scale_below(across, [(v, _money(v, spec)) for v in marks])


def _money(value: float, spec: BudgetSpec) -> str:
    return spec.money.format(figures(value, 0 if value >= 100 or value == int(value) else 2))


def _cost(step: CostStep, spec: BudgetSpec) -> str:
    if not is_number(step.cost):
        return spec.words.no_price
    return _money(step.cost, spec) if step.cost else spec.words.no_cost


def _budget_head(sheet: Sheet, spec: BudgetSpec, across: Scale, budget: float | None, wide: bool,
                 sum_size: float) -> float:
    """The budget's amount over its line; returns where the line starts."""
    t, w = sheet.theme, spec.words
    base = sheet.y + t.text * 0.98
    end = sheet.width
    if wide:
        sheet.text(sheet.width, base, w.running_total, t.small, colour="muted", align="right")
        end = sheet.width - sum_size - 8
    if budget is not None:
        word = w.budget.format(_money(budget, spec))
        half = text_width(word, t.text, "bold") / 2
        x = min(max(across(budget), half), end - half)
        sheet.text(x, base, word, weight="bold", align="center")
    if wide or budget is not None:
        sheet.y += t.text * LEADING + 2
    return sheet.y - 1


def _bar(sheet: Sheet, step: CostStep, start: float, ax: Axes, y: float) -> None:
    if not is_number(step.cost):
        return
    end = start + step.cost
    if step.cost == 0:
        sheet.line([start, start], [y, y + BAR], "accent", 1.6, on=ax)
    else:
        looks = {"fill": "accent"} if step.included else HATCHED
        sheet.rect(start, y, end, y + BAR, **looks, on=ax)
