"""The plan of a case: every need answered, ordered, priced against the budget."""

from dataclasses import replace

from loambrief.actions import budget, changes, constraints, equipment, ground, own_rates, tenure
from loambrief.actions.alternatives import alternatives, not_advised, practices
from loambrief.actions.build import one_sampling, service_action
from loambrief.actions.followups import followups
from loambrief.actions.gather import NeedFor, amounts, gather
from loambrief.actions.interactions import (
    decisions,
    dependencies,
    in_turn,
    interactions,
    small_areas,
)
from loambrief.actions.lime import (
    gypsum_actions,
    lime_actions,
    sulfur_actions,
    with_dolomitic,
)
from loambrief.actions.limits import zone_limits
from loambrief.actions.materials import distinct
from loambrief.actions.mix import KINDS, NutrientPlan, nutrient_plan
from loambrief.actions.model import (
    Action,
    CheckStrip,
    Plan,
    SetAside,
    WithoutMaterial,
)
from loambrief.actions.offers import Offer, kind_of, offers
from loambrief.actions.orders import leftover_cost, orders
from loambrief.actions.own import SEVERITY, committed, counted, less, met_by, own_actions
from loambrief.actions.own import brought as brought_by
from loambrief.actions.partial import cover
from loambrief.actions.ranking import rank
from loambrief.actions.strips import lay_out, strip_followup
from loambrief.actions.uncertain import costs_of_waiting, mark
from loambrief.actions.verdicts import material_verdicts
from loambrief.case.schema import CaseFile
from loambrief.errors import PlanFaults
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.topics.judge import AMENDMENTS, judgements
from loambrief.topics.salinity.soil import salty_materials

WORK = (m.NeedKind.LOOSEN, m.NeedKind.DRAIN, m.NeedKind.LEACH, m.NeedKind.MEASURE,
        m.NeedKind.MANAGE, m.NeedKind.ORGANIC_MATTER)


def make_plan(case: CaseFile, findings: tuple[m.Finding, ...],
              judged: tuple[m.Judgement, ...] | None = None) -> Plan:
    """Turn findings into a ranked, priced plan, which does not depend on the order of anything.

    Parameters
    ----------
    judged : tuple of Judgement or None
        Verdicts on nutrients and amendments; None: worked out from the findings.

    Raises
    ------
    PlanFaults
        An own rate or a change of the plan names nothing in it, or cannot be done.
    """
    listed = offers(case)
    on_offer = constraints.allowed(case, listed)
    by_id = {o.id: o for o in listed}
    own = own_actions(case, by_id, findings)
    asked = ground.treated(case, gather(findings))
    needs, gone = counted(asked, own, by_id)
    magnesium = {n.need.place.id for n in needs if n.need.item == "Mg"}
    actions = list(lime_actions(case, amounts(needs, m.NeedKind.LIME), on_offer, magnesium))
    actions += gypsum_actions(case, amounts(needs, m.NeedKind.GYPSUM), on_offer)
    actions += sulfur_actions(case, amounts(needs, m.NeedKind.ACIDIFY), on_offer)
    salty = set(salty_materials(case))
    bare = tuple(o for o in committed(on_offer, own) if o.id not in salty)
    if judged is None:
        judged = judgements(case, findings, ())
    fed = _nutrients(case, (asked, needs), bare, findings, judged, actions, own)
    actions += [replace(a, severity=SEVERITY) if a.item == "N" else a for a in fed.actions]
    for kind in WORK:
        actions += [service_action(case, n, on_offer) for n in amounts(needs, kind)]
    actions = distinct([*one_sampling(actions), *own])
    changes.check_names(case, actions)
    actions = own_rates.apply(case, actions, by_id, fed.zones)
    actions = changes.replaced(case, actions, by_id)
    actions = [equipment.fit(case, a, by_id) for a in changes.split(case, actions, by_id)]
    actions = with_dolomitic(actions, magnesium)
    actions = mark(changes.deferred(case, actions), findings, on_offer)
    actions = changes.put_off_with(dependencies(decisions(actions)))
    actions, aside = changes.dropped(case, actions)
    actions, strips, unreached = _on_the_ground(case, actions)
    by_id = tenure.lime_shared(case, by_id)
    actions = interactions(case, findings, in_turn(actions))
    ranked = small_areas(case, rank(changes.moved(case, actions),
                                    changes.wanted_ranks(case, actions)))
    disordered = tuple(changes.order_faults(case, ranked))
    if disordered:
        raise PlanFaults(disordered)
    ranked, money = cover(ranked, budget.limit_of(case), lambda some: leftover_cost(some, by_id))
    ranked = costs_of_waiting(ranked, money.left_out)
    gaps = (*constraints.gaps(case, ranked, listed), *unreached)
    ranked = constraints.with_gaps(ranked, gaps)
    usable = kind_of(bare, *KINDS)
    materials = material_verdicts(listed, judged, ranked, fed, usable,
                                  tuple(s.action for s in aside),
                                  constraints.ruled_out(case, listed))
    done = tuple(a for a in ranked if a.id in money.chosen)
    return Plan(
        actions=ranked,
        not_advised=not_advised(findings, judged, materials, listed, case.case.units),
        followups=tuple(sorted((*followups(case, done),
                                *strip_followup(case, strips, money.chosen)),
                               key=lambda f: (f.due is None, f.due or case.case.date))),
        budget=money,
        rule=say("actions.rule"),
        findings=findings,
        orders=orders(done, by_id),
        alternatives=alternatives(fed.zones, usable, fed.mix, findings),
        verdicts=(*with_reasons(judged, aside), *materials, *practices(findings)),
        set_aside=aside,
        met=tuple(met_by(gone, own)),
        gaps=gaps,
        strips=strips,
        spreading=equipment.spreading_days(case, done),
    )


def _on_the_ground(case: CaseFile, actions: list[Action]
                   ) -> tuple[list[Action], tuple[CheckStrip, ...],
                              tuple[WithoutMaterial, ...]]:
    """Actions less what keeps off and what is left as a check, at the grower's cost."""
    actions = ground.kept_off(case, ground.part_notes(case, actions))
    actions, unreached = ground.barred(actions)
    actions, strips = lay_out(case, actions)
    actions = tenure.tenure_notes(case, tenure.share_lime(case, actions))
    return constraints.with_rulings(case, actions), strips, unreached


def with_reasons(judged: tuple[m.Judgement, ...],
                 aside: tuple[SetAside, ...]) -> tuple[m.Judgement, ...]:
    """Verdicts with why the adviser set aside what they ask for; the verdicts themselves stay."""
    told = []
    for judgement in judged:
        why = dict.fromkeys(
            s.reason for s in aside
            if judgement.key in (s.action.item, AMENDMENTS.get(s.action.kind), *s.action.supplies)
            and s.action.place.id in (judgement.place.id, m.WHOLE_FIELD.id)
            and judgement.verdict in (m.Verdict.NEEDED, m.Verdict.OPTIONAL))
        told.append(replace(judgement, set_aside=tuple(why)) if why else judgement)
    return tuple(told)


def _nutrients(case: CaseFile, both: tuple[tuple[NeedFor, ...], ...], on_offer: tuple[Offer, ...],
               findings: tuple[m.Finding, ...], judged: tuple[m.Judgement, ...],
               earlier: list[Action], own: list[Action]) -> NutrientPlan:
    """Blend the nutrient needs; what lime and gypsum bring anyway is not bought again.

    ``both`` are the needs as the findings ask them and less own actions; limits rest on the
    first, and what own actions bring is taken off them.
    """
    asked, needs = both
    brought: dict[tuple[str, str], float] = {}
    for action in earlier:
        if action.pass_number == 1:
            for nutrient, pounds in action.supplies.items():
                key = (action.place.id, nutrient)
                brought[key] = brought.get(key, 0.0) + pounds
    zones: dict[str, list[NeedFor]] = {}
    for need_for in amounts(needs, m.NeedKind.NUTRIENT):
        place, item = need_for.need.place.id, need_for.need.item
        if item == "Mg" and any(a.kind is m.NeedKind.LIME and a.place.id == place
                                for a in earlier):
            continue  # dolomitic lime first: no product beside it
        left = _left(need_for, brought.get((place, item), 0.0))
        if left is not None:
            zones.setdefault(need_for.need.place.id, []).append(left)
    fixed = {name: tuple(zone) for name, zone in sorted(zones.items())}
    whole = {name: tuple(n for n in amounts(asked, m.NeedKind.NUTRIENT)
                         if n.need.place.id == name) for name in fixed}
    limits = zone_limits(case, whole if own else fixed, findings, judged)
    for name, zone in fixed.items():
        there = brought_by(own, zone[0].need.place, zone[0].need.area_ac)
        limits[name] = {n: replace(limit, amount=max(limit.amount - there.get(n, 0.0), 0.0))
                        for n, limit in limits[name].items()}
    return nutrient_plan(case, fixed, on_offer, limits)


def _left(need_for: NeedFor, have: float) -> NeedFor | None:
    """The need less what comes with lime or gypsum; None if that covers it."""
    need = need_for.need
    met = have > 0 and need.amount is None and need.item in ("Mg", "Ca")
    return None if met else less(need_for, have)
