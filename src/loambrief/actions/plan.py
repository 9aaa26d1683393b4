"""The plan of a case: every need answered, ordered, priced against the budget."""

from __future__ import annotations

from dataclasses import replace

from loambrief.actions import budget, constraints, equipment, ground, own_rates, tenure
from loambrief.actions.alternatives import alternatives, not_advised, practices
from loambrief.actions.build import one_sampling, service_action
from loambrief.actions.followups import followups
from loambrief.actions.gather import NeedFor, amounts, gather
from loambrief.actions.interactions import decisions, dependencies, in_turn, interactions
from loambrief.actions.lime import (
    gypsum_actions,
    lime_actions,
    sulfur_actions,
    with_dolomitic,
)
from loambrief.actions.limits import zone_limits
from loambrief.actions.materials import distinct
from loambrief.actions.mix import KINDS, NutrientPlan, nutrient_plan
from loambrief.actions.model import Action, CheckStrip, Plan
from loambrief.actions.offers import Offer, kind_of, offers
from loambrief.actions.orders import leftover_cost, orders
from loambrief.actions.partial import cover
from loambrief.actions.ranking import rank
from loambrief.actions.strips import lay_out, strip_followup
from loambrief.actions.uncertain import costs_of_waiting, mark
from loambrief.actions.verdicts import material_verdicts
from loambrief.case.schema import CaseFile
from loambrief.findings.model import Finding, Judgement, NeedKind, say
from loambrief.topics.judge import judgements
from loambrief.topics.salinity.findings import salty_materials

WORK = (NeedKind.LOOSEN, NeedKind.DRAIN, NeedKind.LEACH, NeedKind.MEASURE, NeedKind.MANAGE,
        NeedKind.ORGANIC_MATTER)


def make_plan(case: CaseFile, findings: tuple[Finding, ...],
              judged: tuple[Judgement, ...] | None = None) -> Plan:
    """Turn findings into a ranked, priced plan.

    Parameters
    ----------
    case : CaseFile
    findings : tuple of Finding
        From every topic, in any order.
    judged : tuple of Judgement or None
        Verdicts on nutrients and amendments; None: worked out from the findings.

    Returns
    -------
    Plan
        The same whatever the order of findings and materials.

    Raises
    ------
    UnknownName
        An own rate of the case names no action or material with a rate.
    """
    needs = ground.treated(case, gather(findings))
    listed = offers(case)
    on_offer = constraints.allowed(case, listed)
    by_id = {o.id: o for o in listed}
    magnesium = {n.need.place.id for n in needs if n.need.item == "Mg"}
    actions = list(lime_actions(case, amounts(needs, NeedKind.LIME), on_offer, magnesium))
    actions += gypsum_actions(case, amounts(needs, NeedKind.GYPSUM), on_offer)
    actions += sulfur_actions(case, amounts(needs, NeedKind.ACIDIFY), on_offer)
    salty = set(salty_materials(case))
    bare = tuple(o for o in on_offer if o.id not in salty)
    if judged is None:
        judged = judgements(case, findings, ())
    actions = with_dolomitic(actions, magnesium)
    fed = _nutrients(case, needs, bare, findings, judged, actions)
    actions += fed.actions
    for kind in WORK:
        actions += [service_action(case, n, on_offer) for n in amounts(needs, kind)]
    actions = one_sampling(distinct(actions))
    actions = own_rates.apply(case, actions, by_id, fed.zones)
    actions = equipment.fit(case, actions, by_id)
    actions = mark(actions, findings, on_offer)
    actions, strips = _on_the_ground(case, actions)
    by_id = tenure.lime_shared(case, by_id)
    actions = interactions(case, findings, in_turn(dependencies(decisions(actions))))
    ranked = rank(tuple(actions))
    ranked, money = cover(ranked, budget.limit_of(case), lambda some: leftover_cost(some, by_id))
    ranked = costs_of_waiting(ranked, money.left_out)
    gaps = constraints.gaps(case, ranked, listed)
    ranked = constraints.with_gaps(ranked, gaps)
    usable = kind_of(bare, *KINDS)
    materials = material_verdicts(listed, judged, ranked, fed, usable,
                                  constraints.ruled_out(case, listed))
    done = tuple(a for a in ranked if a.id in money.chosen)
    return Plan(
        actions=ranked,
        not_advised=not_advised(findings, judged, materials, listed, case.case.units),
        followups=(*followups(case, done), *strip_followup(case, strips, money.chosen)),
        budget=money,
        rule=say("actions.rule"),
        findings=findings,
        orders=orders(done, by_id),
        alternatives=alternatives(fed.zones, usable, fed.mix, findings),
        verdicts=(*judged, *materials, *practices(findings)),
        gaps=gaps,
        strips=strips,
        spreading=equipment.spreading_days(case, done),
    )


def _on_the_ground(case: CaseFile, actions: list[Action]
                   ) -> tuple[list[Action], tuple[CheckStrip, ...]]:
    """Actions less what keeps off and what is left as a check, at the grower's cost."""
    actions = ground.kept_off(case, ground.part_notes(case, actions))
    actions, strips = lay_out(case, actions)
    actions = tenure.tenure_notes(case, tenure.share_lime(case, actions))
    return constraints.with_rulings(case, actions), strips


def _nutrients(case: CaseFile, needs: tuple[NeedFor, ...], on_offer: tuple[Offer, ...],
               findings: tuple[Finding, ...], judged: tuple[Judgement, ...],
               earlier: list[Action]) -> NutrientPlan:
    """Blend the nutrient needs; what lime and gypsum bring anyway is not bought again."""
    brought: dict[tuple[str, str], float] = {}
    for action in earlier:
        if action.pass_number == 1:
            for nutrient, pounds in action.supplies.items():
                key = (action.place.id, nutrient)
                brought[key] = brought.get(key, 0.0) + pounds
    zones: dict[str, list[NeedFor]] = {}
    for need_for in amounts(needs, NeedKind.NUTRIENT):
        place, item = need_for.need.place.id, need_for.need.item
        if item == "Mg" and any(a.kind is NeedKind.LIME and a.place.id == place
                                for a in earlier):
            continue  # dolomitic lime first: no product beside it
        left = _left(need_for, brought.get((place, item), 0.0))
        if left is not None:
            zones.setdefault(need_for.need.place.id, []).append(left)
    fixed = {name: tuple(zone) for name, zone in sorted(zones.items())}
    return nutrient_plan(case, fixed, on_offer, zone_limits(case, fixed, findings, judged))


def _left(need_for: NeedFor, have: float) -> NeedFor | None:
    """The need less what comes with lime or gypsum; None if that covers it."""
    need = need_for.need
    if have <= 0:
        return need_for
    if need.amount is None:
        return None if need.item in ("Mg", "Ca") else need_for
    if have >= need.amount:
        return None
    low, high = (None if value is None else max(value - have, 0.0)
                 for value in (need.low, need.high))
    return NeedFor(replace(need, amount=need.amount - have, low=low, high=high),
                   need_for.findings)
