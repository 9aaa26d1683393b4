"""Open points of an advice that an adviser may accept with a reason before it is issued.

A primary nutrient or lime without a verdict, and a rate on values that were never checked
against the print, do not go out silently: each is accepted by name, and the reason is printed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from loambrief.actions.model import Action, Plan
from loambrief.case.problems import DataPath
from loambrief.case.schema import Accepted
from loambrief.findings.model import JudgedKind, Judgement
from loambrief.topics.judge import PRIMARY


def unjudged(plan: Plan) -> tuple[Judgement, ...]:
    """Verdicts that must be accepted: open ones on N, P2O5, K2O and lime."""
    return tuple(v for v in plan.unjudged() if v.key in PRIMARY)


def from_memory(plan: Plan) -> dict[str, list[Action]]:
    """Source -> actions that the money covers and whose rate rests on its unchecked values."""
    found: dict[str, list[Action]] = {}
    for action in plan.actions:
        if action.id in plan.budget.chosen:
            for source in action.from_memory():
                found.setdefault(source, []).append(action)
    return found


def left_open(plan: Plan, accepted: Sequence[Accepted]) -> Iterator[tuple[str, str]]:
    """Name of a verdict that nobody accepted, and where it is open.

    Yields
    ------
    (str, str)
        ``nutrient.N`` and the ids of its places.
    """
    names = [a.field for a in accepted if a.code == "UNJUDGED"]
    rest: dict[str, list[Judgement]] = {}
    for verdict in unjudged(plan):
        if not any(verdict.answers_to(name) for name in names):
            rest.setdefault(f"{verdict.kind.value}.{verdict.key}", []).append(verdict)
    for name, verdicts in rest.items():
        yield name, ", ".join(v.place.id or "field" for v in verdicts)


def unchecked(plan: Plan, accepted: Sequence[Accepted]) -> Iterator[tuple[str, str]]:
    """Source of rates from memory that nobody accepted, and the ranks of the actions."""
    names = {a.field for a in accepted if a.code == "MEMORY"}
    for source, actions in from_memory(plan).items():
        if source not in names:
            yield source, ", ".join(str(a.rank) for a in actions)


def unknown(plan: Plan, accepted: Sequence[Accepted]) -> Iterator[tuple[DataPath, str]]:
    """Entries that accept what this advice does not have, with those that it has."""
    verdicts = [v for v in plan.verdicts if v.kind is not JudgedKind.MATERIAL
                and v in plan.unjudged()]
    sources = from_memory(plan)
    for i, entry in enumerate(accepted):
        if entry.code == "UNJUDGED" and not any(v.answers_to(entry.field) for v in verdicts):
            known = sorted({v.id for v in verdicts})
        elif entry.code == "MEMORY" and entry.field not in sources:
            known = sorted(sources)
        else:
            continue
        yield ("accept", i, "field"), (f"{entry.field}; {entry.code} has "
                                       f"{', '.join(known) or 'nothing'}")
