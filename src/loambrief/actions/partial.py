"""Too little money for a whole area: the part of it that the money reaches.

The first needed action that the money does not cover, in rank order, is split: as much of its
area as pays what the actions before it leave, in whole steps, and the rest, which waits; what
ranks lower gets what is left then. Only work paid by
the acre can be split; less than a tenth of its area is no part worth driving to (our own cut).
"""

import math
from collections.abc import Callable
from dataclasses import replace

from loambrief.actions.budget import choose
from loambrief.actions.model import Action, BudgetResult
from loambrief.findings.model import say

LEAST_SHARE = 0.1
STEP_AC = 0.5
"""Acres to which a part is rounded down; a tenth of the area where that is less."""

Leftover = Callable[[list[Action]], float]


def cover(actions: tuple[Action, ...], limit: float | None,
          leftover: Leftover) -> tuple[tuple[Action, ...], BudgetResult]:
    """Apply the money [currency] to actions in rank order, and split what it covers only in part.

    They are numbered anew where one was split. ``leftover`` is as of :func:`choose`.
    """
    money = choose(actions, limit, leftover)
    for action in actions:
        if limit is None or action.id not in money.left_out or not _divisible(action):
            continue
        done = [a for a in actions if a.id in money.chosen and a.rank < action.rank]
        if any(d in money.left_out for d in action.depends_on):
            continue

        def spent(part: Action, done: list[Action] = done) -> float:
            return sum(a.cost_total or 0.0 for a in (*done, part)) + leftover([*done, part])

        area = _reach(action, spent, limit)
        if area is None:
            continue
        split = tuple(piece for a in actions
                      for piece in (_pieces(a, area) if a is action else (a,)))
        split = tuple(replace(a, rank=i) for i, a in enumerate(split, 1))
        return split, choose(split, limit, leftover)
    return actions, money


def _divisible(action: Action) -> bool:
    return (not action.optional and action.cost_per_ac is not None and action.cost_per_ac > 0
            and action.rate is not None and bool(action.area_ac) and action.pass_number == 1)


def _reach(action: Action, cost: Callable[[Action], float], limit: float) -> float | None:
    """Largest part of the area that the money pays for [ac]; None if it is none worth it."""
    assert action.area_ac is not None
    step = min(STEP_AC, action.area_ac / 10.0)
    steps = math.ceil(action.area_ac / step) - 1
    while steps > 0 and steps * step >= LEAST_SHARE * action.area_ac - 1e-9:
        if cost(_sized(action, steps * step)) <= limit + 1e-9:
            return steps * step
        steps -= 1
    return None


def _sized(action: Action, area: float) -> Action:
    assert action.area_ac is not None and action.cost_per_ac is not None
    return replace(action, area_ac=area, share=area / action.area_ac,
                   cost_total=action.cost_per_ac * area)


def _pieces(action: Action, area: float) -> tuple[Action, Action]:
    """The part that is paid, under the action's own id, and the rest."""
    assert action.area_ac is not None
    done = replace(_sized(action, area), notes=(*action.notes, say(
        "actions.note_part", part=area, whole=action.area_ac)))
    left = _sized(action, action.area_ac - area)
    return done, replace(left, id=f"{action.id}.rest", rest_of=action.id, depends_on=(
        *action.depends_on, action.id))
