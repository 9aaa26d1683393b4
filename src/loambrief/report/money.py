"""The money of a plan as it is printed: one set of figures whose parts add up to the total.

Costs are rounded together, not one by one, so that a reader who adds up a printed column
gets the printed total.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from loambrief.actions.model import Plan

WHOLE_FROM = 100.0
"""From this total up money is printed in whole units, below it to the cent."""


@dataclass(frozen=True)
class Money:
    """Printed costs of a plan [currency]."""

    costs: Mapping[str, float]
    """Mapping of action id to float: Of every action with a price. Those that the money covers,
    ``packages`` and ``saved`` add up to ``total``."""
    packages: float
    """What whole loads and bags leave over."""
    saved: float
    """What ordering together saves."""
    total: float
    """What the plan spends."""
    optional: float
    """The part of it for what may be left out."""
    unpriced: tuple[str, ...]
    """Actions in the plan without a price."""


def money_of(plan: Plan) -> Money:
    """Round the costs of a plan so that they add up.

    No figure differs from the exact one by a whole unit (a cent where the plan costs less than
    100).
    """
    chosen = [a for a in plan.actions if a.id in plan.budget.chosen and a.cost_total is not None]
    exact = [a.cost_total or 0.0 for a in chosen]
    packages = sum(o.extra_cost or 0.0 for o in plan.orders)
    saved = max(sum(exact) + packages - plan.budget.spent, 0.0)
    unit = 1.0 if plan.budget.spent >= WHOLE_FROM else 0.01
    *costs, left_over, less = rounded([*exact, packages, -saved], unit)
    printed = {a.id: cost for a, cost in zip(chosen, costs, strict=True)}
    total = _tidy(sum((*costs, left_over, less)))
    optional = _tidy(sum(printed[a.id] for a in chosen if a.optional))
    for action in plan.actions:
        if action.cost_total is not None and action.id not in printed:
            printed[action.id] = _tidy(round(action.cost_total / unit) * unit)
    return Money(printed, left_over, -less, total, optional, plan.budget.unpriced)


def rounded(parts: Sequence[float], unit: float) -> list[float]:
    """Round numbers to multiples of a unit so that they sum to their rounded sum.

    The largest fractions are rounded up (method of largest remainders).
    """
    scaled = [round(part / unit, 6) for part in parts]
    floors = [math.floor(x) for x in scaled]
    short = round(sum(scaled)) - sum(floors)
    order = sorted(range(len(parts)), key=lambda i: floors[i] - scaled[i])
    for i in order[:short]:
        floors[i] += 1
    return [_tidy(n * unit) for n in floors]


def _tidy(value: float) -> float:
    """Without the error of the last binary digit."""
    return round(value, 2) + 0.0
