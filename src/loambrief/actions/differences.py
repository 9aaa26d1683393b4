"""What the adviser set differently from the program, each with the figures of both plans."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from loambrief.actions.interactions import same_area
from loambrief.actions.model import Action, Plan, PlanDifference, PlanFigure
from loambrief.actions.plan import make_plan
from loambrief.actions.ranking import DECISION
from loambrief.agronomy.registry import recording
from loambrief.case.schema import OWN_ENTRIES, CaseFile
from loambrief.findings.model import NeedKind
from loambrief.topics.assess import assess

HABITS = (NeedKind.MANAGE, NeedKind.MEASURE)
SAME = 1e-6
"""Rates closer than this share are one."""


def without_own(case: CaseFile) -> CaseFile:
    """The case as the program would plan it by itself."""
    strips = None if case.strips is None else case.strips.for_program()
    return case.model_copy(update={"nitrogen": None, "strips": strips,
                                   **{name: [] for name in OWN_ENTRIES}})


def beside_program(case: CaseFile, plan: Plan, earlier: Sequence[CaseFile]) -> Plan:
    """A plan with the program's own beside it, and every difference."""
    bare = without_own(case)
    with recording():  # only to compare with; what is advised was worked out already
        diagnosis = assess(bare, earlier)
        program = make_plan(bare, diagnosis.findings, diagnosis.judgements)
    return replace(plan, program=program, differences=differences(plan, program))


def differences(plan: Plan, program: Plan) -> tuple[PlanDifference, ...]:
    """Every difference between a plan and the program's own of the same case.

    What the adviser put in, then what was changed, then what was taken out, each in the order of
    the plan; last what follows from these without an entry of its own.
    """
    before = {a.id: a for a in program.actions}
    put_in = [a for a in plan.actions if a.own]
    changed: dict[str, list[Action]] = {}
    for action in plan.actions:
        if action.changed and not action.own:
            changed.setdefault(action.split_from or action.id, []).append(action)
    found = [_own(a, plan, program) for a in put_in]
    for name, actions in changed.items():
        kinds = tuple(dict.fromkeys(k for a in actions for k in a.changed))
        reasons = tuple(dict.fromkeys(r for a in actions for r in a.reasons))
        found.append(PlanDifference(kinds, name, actions[0].title, actions[0].place, reasons,
                                _figures(actions), _figures([before[name]] if name in before
                                                            else [])))
    for aside in plan.set_aside:
        name = aside.action.id
        found.append(PlanDifference(("drop",), name, aside.action.title, aside.action.place,
                                (aside.reason,), (),
                                _figures([before.get(name, aside.action)])))
    told = {n for d in found for n in (d.action_id, *(f.action_id for f in d.program))}
    found += _following(plan, program, told)
    return tuple(found)


def _own(action: Action, plan: Plan, program: Plan) -> PlanDifference:
    """An own action beside the work of the program that it stands for."""
    now = {n for a in plan.actions for n in (a.id, a.split_from)}
    now |= {s.action.id for s in plan.set_aside}
    gone = [a for a in program.actions if a.id not in now and same_area(a, action)]
    instead = [a for a in gone if a.kind is action.kind and a.kind not in HABITS
               and (a.kind is not NeedKind.NUTRIENT or set(a.supplies) & set(action.supplies))]
    if action.own == "nitrogen":
        instead += [a for a in gone if a.item == DECISION]
    return PlanDifference((action.own, *action.changed), action.id, action.title, action.place,
                      action.reasons, _figures([action]), _figures(instead))


def _following(plan: Plan, program: Plan, told: set[str]) -> list[PlanDifference]:
    """Actions that came, went or got another rate without an entry of their own."""
    now, before = ({a.id: a for a in p.actions if not a.split_from and not a.own}
                   for p in (plan, program))
    found = []
    for name in dict.fromkeys((*now, *before)):
        one, other = now.get(name), before.get(name)
        if name in told or (one is not None and other is not None and _same(one, other)):
            continue
        either = one or other
        if either is None or either.rest_of:
            continue
        found.append(PlanDifference(("instead",), name, either.title, either.place, (),
                                _figures([one] if one else []), _figures([other] if other else [])))
    return found


def _same(one: Action, other: Action) -> bool:
    if one.material_id != other.material_id or (one.rate is None) is not (other.rate is None):
        return False
    if one.rate is None or other.rate is None:
        return True
    return abs(one.rate - other.rate) <= SAME * max(abs(other.rate), 1.0)


def _figures(actions: Iterable[Action]) -> tuple[PlanFigure, ...]:
    return tuple(PlanFigure(a.id, a.rank, a.material_name if a.rate is not None else None, a.rate,
                        a.rate_unit, a.cost_total, None if a.window is None else a.window.text)
                 for a in actions)
