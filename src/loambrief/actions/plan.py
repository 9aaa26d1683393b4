"""The plan of a case: every need answered, ordered, priced against the budget."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import replace

from loambrief.actions import budget
from loambrief.actions.build import (
    gypsum_action,
    lime_actions,
    nutrient_actions,
    service_action,
)
from loambrief.actions.gather import NeedFor, amounts, gather
from loambrief.actions.model import Action, Followup, NotAdvised, Plan
from loambrief.actions.offers import Offer, offers
from loambrief.actions.ranking import rank
from loambrief.case.schema import CaseFile
from loambrief.findings.model import Finding, NeedKind, say
from loambrief.findings.salinity import salty_materials

WORK = (NeedKind.LOOSEN, NeedKind.DRAIN, NeedKind.LEACH, NeedKind.MEASURE, NeedKind.MANAGE,
        NeedKind.ORGANIC_MATTER, NeedKind.ACIDIFY)


def make_plan(case: CaseFile, findings: tuple[Finding, ...]) -> Plan:
    """Turn findings into a ranked, priced plan.

    Parameters
    ----------
    case : CaseFile
    findings : tuple of Finding
        From every topic, in any order.

    Returns
    -------
    Plan
        The same whatever the order of findings and materials.
    """
    needs = gather(findings)
    on_offer = offers(case)
    actions = list(_lime(case, needs, on_offer))
    actions += [gypsum_action(case, n, on_offer) for n in amounts(needs, NeedKind.GYPSUM)]
    actions += _nutrients(case, needs, on_offer, findings, actions)
    for kind in WORK:
        actions += [service_action(case, n, on_offer) for n in amounts(needs, kind)]
    linked = _interactions(_dependencies(actions))
    ranked = rank(tuple(linked))
    money = budget.choose(ranked, budget.limit_of(case))
    return Plan(
        actions=ranked,
        not_advised=_not_advised(case, findings, ranked, on_offer),
        followups=_followups(case, ranked),
        budget=money,
        rule=say("actions.rule"),
        findings=findings,
    )


def _lime(case: CaseFile, needs: tuple[NeedFor, ...],
          on_offer: tuple[Offer, ...]) -> Iterable[Action]:
    magnesium = {n.need.where for n in needs if n.need.item == "Mg"}
    for need_for in amounts(needs, NeedKind.LIME):
        yield from lime_actions(case, need_for, on_offer, need_for.need.where in magnesium)


def _nutrients(case, needs, on_offer, findings, earlier: list[Action]) -> list[Action]:
    """Blend each zone's nutrient needs; magnesium that the lime brings is not bought again."""
    made: list[Action] = []
    brought: dict[tuple[str, str], float] = {}
    for action in earlier:
        for nutrient, pounds in action.supplies.items():
            key = (action.where, nutrient)
            brought[key] = brought.get(key, 0.0) + pounds
    salty = set(salty_materials(case))
    on_offer = tuple(o for o in on_offer if o.id not in salty)
    zones: dict[str, list[NeedFor]] = {}
    for need_for in amounts(needs, NeedKind.NUTRIENT):
        need = need_for.need
        have = brought.get((need.where, need.item), 0.0)
        if need.item == "Mg" and have >= (need.amount or 1.0):
            continue
        zones.setdefault(need.where, []).append(need_for)
    for where in sorted(zones):
        zone = tuple(zones[where])
        made += nutrient_actions(case, zone, on_offer, _upper(zone, findings, where))
    return made


def _upper(zone: tuple[NeedFor, ...], findings: tuple[Finding, ...], where: str) -> dict[str, float]:
    """Limits a mix must keep: what findings of excess forbid, and what a need's own cap says."""
    limits: dict[str, float] = {}
    for finding in findings:
        if finding.where and not where.startswith(finding.where.split(",")[0]):
            continue
        for result in finding.results:
            limit = result.details.get("upper_lb_ac")
            item = result.details.get("nutrient")
            if limit is not None and item:
                limits[str(item)] = min(limits.get(str(item), float("inf")), float(limit))
    for need_for in zone:
        need = need_for.need
        if need.cap is not None:
            limits[need.item] = min(limits.get(need.item, float("inf")), need.cap)
    return limits


def _dependencies(actions: list[Action]) -> list[Action]:
    """What waits for what: gypsum for drainage, leaching for both, nutrients for lime."""
    linked = []
    for action in actions:
        waits = list(action.depends_on)
        for other in actions:
            same = other.where == action.where or not other.where or not action.where
            if other.id == action.id or not same:
                continue
            if (
                (action.kind is NeedKind.GYPSUM and other.kind is NeedKind.DRAIN)
                or (action.kind is NeedKind.LEACH
                    and other.kind in (NeedKind.DRAIN, NeedKind.GYPSUM))
            ):
                waits.append(other.id)
        linked.append(replace(action, depends_on=tuple(dict.fromkeys(waits))))
    return linked


def _interactions(actions: list[Action]) -> list[Action]:
    """Cautions that arise only because two actions meet on one area."""
    by_where: dict[str, list[Action]] = {}
    for action in actions:
        by_where.setdefault(action.where, []).append(action)
    told = []
    for action in actions:
        beside = [a for a in by_where[action.where] if a.id != action.id]
        extra = []
        if action.kind is NeedKind.LIME and any(a.supplies.get("N", 0) > 0 for a in beside):
            extra.append(say("actions.interaction_lime_n"))
        if action.kind is NeedKind.LIME and any(a.supplies.get("P2O5", 0) > 0 for a in beside):
            extra.append(say("actions.interaction_lime_p"))
        if action.material_kind == "manure" and any(a.kind is NeedKind.LIME for a in beside):
            extra.append(say("actions.interaction_manure_lime"))
        if action.supplies.get("K2O", 0) >= 150 and action.kind is NeedKind.NUTRIENT:
            extra.append(say("actions.interaction_k_mg"))
        told.append(replace(action, cautions=action.cautions + tuple(extra)))
    return told


def _not_advised(case, findings, actions, on_offer) -> tuple[NotAdvised, ...]:
    listed: list[NotAdvised] = []
    seen: set[str] = set()
    for finding in sorted(findings, key=lambda f: f.id):
        for what, why in finding.advise_against:
            if what.key not in seen:
                seen.add(what.key)
                listed.append(NotAdvised(what, why, sources=finding.sources))
    named = {str(v) for n in listed for v in n.what.params.values()}
    used = {a.material_id for a in actions}
    needed_kinds = {a.material_kind for a in actions}
    for offer in on_offer:
        kind = offer.material.kind
        if offer.material.name in named:
            continue
        if offer.id in used or kind == "service" or kind in needed_kinds:
            continue
        listed.append(
            NotAdvised(
                say("actions.not_needed", material=offer.material.name),
                say("actions.not_needed_why", kind=kind),
                material_id=offer.id,
            )
        )
    return tuple(listed)


def _followups(case: CaseFile, actions: tuple[Action, ...]) -> tuple[Followup, ...]:
    today = case.case.date
    wait = {
        NeedKind.LIME: 365,
        NeedKind.ACIDIFY: 180,
        NeedKind.GYPSUM: 365,
        NeedKind.LEACH: 240,
        NeedKind.NUTRIENT: 730,
        NeedKind.LOOSEN: 365,
        NeedKind.DRAIN: 365,
        NeedKind.ORGANIC_MATTER: 1095,
        NeedKind.MANAGE: 365,
    }
    found: dict[NeedKind, Followup] = {}
    for action in actions:
        if action.kind in wait and action.kind not in found:
            name = action.kind.value.replace(" ", "_")
            start = action.window.start if action.window and action.window.start else today
            found[action.kind] = Followup(
                due=max(start, today) + dt.timedelta(days=wait[action.kind]),
                what=say(f"actions.follow_{name}"),
                success=say(f"actions.success_{name}"),
                action_id=action.id,
            )
    return tuple(sorted(found.values(), key=lambda f: (f.due, f.what.key)))
