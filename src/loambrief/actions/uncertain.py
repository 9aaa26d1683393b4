"""Needs whose range straddles a threshold, published chances of response, cost of waiting."""

from dataclasses import replace

from loambrief.actions.model import Action
from loambrief.actions.offers import Offer
from loambrief.agronomy.registry import Result
from loambrief.findings.model import Finding, Message, NeedKind, Status, say

TREATMENTS = (NeedKind.LIME, NeedKind.ACIDIFY, NeedKind.GYPSUM, NeedKind.NUTRIENT,
              NeedKind.LEACH)


def straddles(action: Action, findings: tuple[Finding, ...]) -> bool:
    """Nothing may be needed within the error of the test, or a finding behind it is uncertain.

    Never for what may be left out anyway: no test settles a choice.
    """
    need = action.need
    if action.kind not in TREATMENTS or action.optional:
        return False
    none = need.may_be_none
    if none is None:
        none = need.low is not None and need.high is not None and need.low <= 0 < need.high
    if none:
        return True
    return any(f.status is Status.UNCERTAIN for f in findings if f.id in action.finding_ids)


def cheapest_test(offers: tuple[Offer, ...]) -> Offer | None:
    """The cheapest sampling service with a price for each."""
    able = [o for o in offers if o.material.does == "sampling" and o.per_each is not None]
    return min(able, key=lambda o: (o.per_each, o.id), default=None)


def mark(actions: list[Action], findings: tuple[Finding, ...],
         offers: tuple[Offer, ...]) -> list[Action]:
    """Say of each action whether it is uncertain, and what its benefit rests on."""
    test = cheapest_test(offers)
    marked = []
    for action in actions:
        doubt = None
        if straddles(action, findings):
            doubt = say("actions.uncertain", test=test.material.name if test else None,
                        price=test.per_each if test else None, cost=action.cost_total)
        chance = published_chance(action)
        marked.append(replace(
            action, uncertain=doubt,
            response_chance_pct=None if chance is None else _pct(chance),
            benefit=None if action.kind is NeedKind.MEASURE else
            say("actions.benefit_none") if chance is None
            else say("actions.benefit_chance", chance=_pct(chance)),
        ))
    return marked


def published_chance(action: Action) -> Result | None:
    """The result that carries a published chance of a response, the highest if several do."""
    known = [r for r in action.results if r.details.get("response_chance_pct") is not None]
    return max(known, key=lambda r: (_pct(r), r.source), default=None)


def _pct(result: Result) -> float:
    return float(result.details["response_chance_pct"])


def costs_of_waiting(actions: tuple[Action, ...], left_out: tuple[str, ...]) -> tuple[Action, ...]:
    """Write on each action that waits what the waiting costs, without inventing a yield."""
    told = []
    for action in actions:
        if action.id in left_out:
            said: list[Message] = [say("actions.waiting_fault", severity=action.severity,
                                       chance=action.response_chance_pct)]
            held = [a.rank for a in actions if action.id in a.depends_on and a.id in left_out]
            if held:
                said.append(say("actions.waiting_blocks", ranks=[str(r) for r in sorted(held)]))
            action = replace(action, waiting=tuple(said))
        told.append(action)
    return tuple(told)
