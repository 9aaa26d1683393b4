"""What the money covers.

Rule: in rank order, an action is taken if the money left pays for it and everything it
waits for is taken. This gives the best set by rank: no set within the budget holds a
higher-ranked action that this one lacks while keeping all ranked above it. More money
therefore never drops an action for a lower-ranked one. Actions without a price are taken
and named, since their cost is unknown, not zero. Nothing is kept for what a reading still
decides, nor for what the adviser put off.
"""

from collections.abc import Callable

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


def choose(actions: tuple[Action, ...], limit: float | None,
           leftover: Callable[[list[Action]], float] | None = None) -> BudgetResult:
    """Apply the rule of this module to actions in rank order.

    Parameters
    ----------
    limit : float or None
        Money for the field [currency], never exceeded; None: everything is taken.
    leftover : callable or None
        Cost of what whole loads of some actions leave over [currency].
    """
    chosen: list[Action] = []
    left_out: list[Action] = []
    deferred = tuple(a.id for a in actions if a.deferred is not None)
    actions = tuple(a for a in actions if a.deferred is None)
    undecided = tuple(a.id for a in actions if a.conditional_on is not None)
    actions = tuple(a for a in actions if a.conditional_on is None)
    present = {a.id for a in actions}

    def cost_of(taken: list[Action]) -> float:
        spare = leftover(taken) if leftover else 0.0
        return sum(a.cost_total or 0.0 for a in taken) + spare

    def free(action: Action) -> bool:
        done = {a.id for a in chosen}
        return all(d in done for d in action.depends_on if d in present)

    for action in actions:
        fits = limit is None or action.cost_total is None \
            or cost_of([*chosen, action]) <= limit + 1e-9
        (chosen if fits and free(action) else left_out).append(action)
    spent = cost_of(chosen)
    following = next((a for a in left_out if free(a) and a.cost_total is not None), None)
    money = None
    if following is not None and limit is not None:
        money = cost_of([*chosen, following]) - limit
    return BudgetResult(
        limit, tuple(a.id for a in chosen), tuple(a.id for a in left_out), spent,
        tuple(a.id for a in chosen if a.cost_total is None), undecided, deferred,
        None if following is None else following.id, money,
    )
