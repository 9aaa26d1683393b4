"""The order of actions: a written rule, the same whatever order the input came in.

1. What another action waits for comes before it.
2. Among the rest, by step, where what others wait for takes the step of the earliest of
   them, and so does a test that decides the rate of work that limits or costs; a test that
   settles a fault that limits the crop takes the step of the work it would lead to: what keeps
   stock safe, then water and air (drainage, loosening), then acidity and sodium (lime,
   acidifying, gypsum, then leaching), then nutrients, then organic material and management,
   then measurements that open new decisions, passes of a later season and what the adviser
   decides, and last what may be left out.
3. Within a step: the more severe finding first; work before a test; then the one farther on
   the wrong side of its line; then the surer one.
4. Of equals, those with a published chance of a response first, by that chance for each unit
   of money; then the rest, the cheaper first.
5. Ties go by the action's name, so that nothing depends on the order of the file.
6. Where the adviser gives an action its place, it stands there, and the rest around it.

No yield gain is assumed anywhere: "benefit" here is the severity of what is put right, and
the chance of a response only where a source publishes one.
"""

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from loambrief.actions.interactions import DECIDED_BY
from loambrief.actions.model import Action
from loambrief.findings.model import Confidence, NeedKind, say
from loambrief.topics.judge import DECIDES, PRIMARY, SETTLES

STEP = {
    NeedKind.DRAIN: 1,
    NeedKind.LOOSEN: 1,
    NeedKind.LIME: 2,
    NeedKind.ACIDIFY: 2,
    NeedKind.GYPSUM: 2,
    NeedKind.LEACH: 2,
    NeedKind.NUTRIENT: 3,
    NeedKind.ORGANIC_MATTER: 4,
    NeedKind.MANAGE: 4,
    NeedKind.MEASURE: 5,
}
FIRST = 0
"""Step of what keeps stock safe, and of tests that settle a primary nutrient or lime."""
OPTIONAL = 6
"""Step of what may be left out: after everything that is needed at any place."""
LATER = 5
"""Step of a later pass: it is the work of another season, and must not take this one's money."""
_SURE = {Confidence.HIGH: 0, Confidence.MEDIUM: 1, Confidence.LOW: 2}
_PLACES = ("step", "severity", "test", "distance", "confidence", "chance", "chance", "cost", "name")
"""What each place of the sort key stands for, in words of ``rank_reason``."""
LIMITS = 2
"""Severity from which a fault limits the crop: only such management goes before lime and feed,
and such a fault stands among the limits of page 1."""
_WATER_AND_AIR = {"compaction", "salinity"}
DECISION = "adviser decides"
"""Item of what the adviser settles without a measurement: it stands after all work."""
SAFETY = {"weedy-hay": 0, "nitrate": 0, "horse-sugar": 0, "tetany": LIMITS,
          "forage-minerals": LIMITS}
"""Items of needs that keep stock from harm, and the severity from which they do."""


def keeps_stock_safe(action: Action) -> bool:
    """It wards off harm to stock that the findings show, not one that is merely possible."""
    return action.item in SAFETY and action.severity >= SAFETY[action.item]


def step_of(action: Action) -> int:
    """Step of an action; managing traffic, cover or water against a fault that limits the crop
    is water and air.
    """
    if keeps_stock_safe(action):
        return FIRST
    if action.item == DECISION:
        return LATER
    if action.optional:
        return OPTIONAL
    if action.pass_number > 1 or action.item == DECIDES or action.deferred is not None:
        return LATER
    if action.kind is NeedKind.MEASURE and _settles(action):
        return FIRST
    if action.kind is NeedKind.MEASURE and action.severity >= LIMITS:
        return min((STEP[kind] for kind in DECIDED_BY.get(action.item, ())), default=LATER)
    if (action.kind is NeedKind.MANAGE and action.severity >= LIMITS
            and _WATER_AND_AIR & set(action.topics)):
        return 1
    return STEP[action.kind]


def _settles(test: Action) -> bool:
    """A test that settles a primary nutrient or lime which nothing judges yet."""
    keys = test.need.params.get(SETTLES, ())
    return isinstance(keys, list) and not set(keys).isdisjoint(PRIMARY)


def _primary(action: Action) -> bool:
    """Needed work whose rate is one of a primary nutrient or of lime."""
    if action.optional or action.deferred is not None or action.pass_number > 1:
        return False
    return action.kind is NeedKind.LIME or (
        action.kind is NeedKind.NUTRIENT and not {action.item, *action.meets}.isdisjoint(PRIMARY))


def sort_key(action: Action) -> tuple:
    """Places of the rule, in order; smaller comes first."""
    cost = action.cost_per_ac if action.cost_per_ac is not None else float("inf")
    chance = action.response_chance_pct
    worth = 0.0
    if chance is not None:
        worth = float("inf") if cost == 0 else chance / cost
    severity = -1 if action.item == DECIDES else action.severity
    return (step_of(action), -severity, action.kind is NeedKind.MEASURE,
            -round(action.distance or 0.0, 2),  # only a difference that means something decides
            _SURE[action.confidence], chance is None, -worth, cost, action.id)


def rank(actions: tuple[Action, ...],
         wanted: Mapping[str, int] = MappingProxyType({})) -> tuple[Action, ...]:
    """Sort and number the actions by the rule of this module, with why each stands where it does.

    Parameters
    ----------
    actions : tuple of Action
        In any order; ``depends_on`` may name actions that are absent (ignored).
    wanted : mapping of str to int
        Id of an action -> the place in the order that the adviser gives it, from 1; the rest
        keep their order around it.
    """
    waiting = {a.id: a for a in actions}
    urgent = _steps(waiting)
    done: list[Action] = []
    while waiting:
        free = [
            a for a in waiting.values()
            if not any(d in waiting for d in (*a.depends_on, *a.decided_by) if d != a.id)
        ]
        best = min(free or list(waiting.values()), key=lambda a: (urgent[a.id], sort_key(a)))
        del waiting[best.id]
        done.append(best)
    placed = [a for a in done if a.id not in wanted]
    for action in sorted((a for a in done if a.id in wanted), key=lambda a: wanted[a.id]):
        placed.insert(wanted[action.id] - 1, action)
    return _explained(placed, urgent, wanted)


def _explained(placed: list[Action], urgent: Mapping[str, int],
               wanted: Mapping[str, int]) -> tuple[Action, ...]:
    """The order with its numbers, and why each action stands where it stands."""
    told: list[Action] = []
    for number, action in enumerate(placed, 1):
        above = placed[number - 2] if number > 1 else None
        by = None if above is None else _placed_by(above, action, urgent)
        if action.id in wanted:
            by = "adviser"
        elif above is not None and above.id in wanted:
            by = "moved"
        reason = say(
            "actions.rank_reason",
            step=urgent[action.id],
            severity=action.severity,
            confidence=action.confidence.value,
            optional=action.optional,
            waits=any(d in {a.id for a in told} for d in action.depends_on),
            above=None if above is None else number - 1,
            by=by,
            own=action.own,
        )
        told.append(replace(action, rank=number, rank_reason=reason))
    return tuple(told)


def _steps(actions: Mapping[str, Action]) -> dict[str, int]:
    """Step of each action: its own, or the earliest of what waits for it."""
    steps = {name: step_of(action) for name, action in actions.items()}
    for _ in actions:  # as many rounds as the longest chain can be
        for action in actions.values():
            for before in action.depends_on:
                if before in steps:
                    steps[before] = min(steps[before], steps[action.id])
            if action.severity >= 2 or action.cost_total is not None:
                for test in action.decided_by:
                    if test in steps:
                        steps[test] = min(steps[test], steps[action.id])
            if _primary(action):
                for reading in (action.conditional_on, *action.decided_by):
                    if reading in steps and actions[reading].deferred is None:
                        steps[reading] = FIRST
    return steps


def _placed_by(above: Action, own: Action, urgent: Mapping[str, int]) -> str:
    """Why an action stands below the one above it."""
    if above.id in (*own.depends_on, *own.decided_by):
        return "waits"
    if urgent[above.id] < urgent[own.id]:
        return "step"
    first, second = sort_key(above), sort_key(own)
    if second <= first:
        return "waits"
    place = next(i for i in range(len(first)) if first[i] != second[i])
    return _PLACES[place]
