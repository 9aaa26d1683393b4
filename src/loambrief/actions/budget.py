"""What the money covers.

Rule: in rank order, an action is taken if the money left pays for it and everything it
waits for is taken. This gives the best set by rank: no set within the budget holds a
higher-ranked action that this one lacks while keeping all ranked above it. More money
therefore never drops an action for a lower-ranked one. Actions without a price are taken
and named, since their cost is unknown, not zero.
"""

from __future__ import annotations

from loambrief.actions.model import Action, BudgetResult
from loambrief.case.schema import CaseFile
from loambrief.units import ACRE_PER_HA


def limit_of(case: CaseFile) -> float | None:
    """Budget for the whole field [currency], or None if the case has none."""
    if case.budget is None:
        return None
    area_ac = case.field.area.value
    scale = {"field": 1.0, "ac": area_ac, "ha": area_ac / ACRE_PER_HA}[case.budget.per]
    return case.budget.amount * scale


def choose(actions: tuple[Action, ...], limit: float | None) -> BudgetResult:
    """Apply the rule of this module to ranked actions."""
    chosen: list[str] = []
    left_out: list[str] = []
    unpriced: list[str] = []
    spent = 0.0
    present = {a.id for a in actions}
    for action in actions:
        waits = [d for d in action.depends_on if d in present]
        cost = action.cost_total
        fits = limit is None or cost is None or spent + cost <= limit + 1e-9
        if fits and all(d in chosen for d in waits):
            chosen.append(action.id)
            if cost is None:
                unpriced.append(action.id)
            else:
                spent += cost
        else:
            left_out.append(action.id)
    return BudgetResult(limit, tuple(chosen), tuple(left_out), spent, tuple(unpriced))
