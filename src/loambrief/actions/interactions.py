"""What waits for what, and what two actions on one area do to each other."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from loambrief.actions.model import Action, Window
from loambrief.case.schema import CaseFile
from loambrief.findings.model import WHOLE_FIELD, Finding, Message, NeedKind, say

LARGE_K2O_LB_AC = 150.0
"""From here on magnesium in forage is watched (our own cut for a large single rate)."""
GRAZERS = ("cattle", "dairy", "sheep", "goats")
LIVE_SOURCES = ("manure", "biosolids")
INTERACTIONS = (
    "actions.interaction_lime_n",
    "actions.interaction_lime_p",
    "actions.interaction_manure_lime",
    "actions.interaction_k_mg",
    "actions.interaction_pure_water",
    "actions.interaction_gypsum_water",
)
"""Every caution that is given here."""


def same_area(one: Action, other: Action) -> bool:
    """Two actions meet if they name the same place, or one of them the whole field."""
    return one.place.id == other.place.id or WHOLE_FIELD.id in (one.place.id, other.place.id)


def dependencies(actions: list[Action]) -> list[Action]:
    """What waits for what, beside a second pass for the first.

    Drainage waits for the reading of the water table; gypsum for drainage; leaching for
    both; letting a share of each season's water drain, for gypsum and leaching anywhere on
    the field, because washing a sodic soil without calcium seals it.
    """
    return [
        replace(action, depends_on=tuple(dict.fromkeys((
            *action.depends_on,
            *sorted(o.id for o in actions if o.id != action.id and _waits(action, o)),
        ))))
        for action in actions
    ]


def _waits(action: Action, other: Action) -> bool:
    if action.item == "leaching share":
        return other.kind in (NeedKind.GYPSUM, NeedKind.LEACH)
    if not same_area(action, other):
        return False
    if action.kind is NeedKind.DRAIN:
        return other.item == "water-table"
    return other.kind in {
        NeedKind.GYPSUM: (NeedKind.DRAIN,),
        NeedKind.LEACH: (NeedKind.DRAIN, NeedKind.GYPSUM),
    }.get(action.kind, ())


def in_turn(actions: list[Action]) -> list[Action]:
    """No window opens before the window of what the action waits for."""
    starts = {a.id: a.window.start for a in actions if a.window and a.window.start}
    moved: list[Action] = []
    for action in actions:
        latest: dt.date | None = max((starts[d] for d in action.depends_on if d in starts),
                                     default=None)
        own = action.window
        if own is not None and latest is not None and own.start is not None \
                and own.start < latest:
            end = own.end if own.end is None or own.end >= latest else None
            action = replace(action, window=Window(
                latest, end, say("actions.when_not_before", start=latest)))
        moved.append(action)
    return moved


def interactions(case: CaseFile, findings: tuple[Finding, ...],
                 actions: list[Action]) -> list[Action]:
    """Cautions that arise only because actions, water or stock meet on one area."""
    told = []
    for action in actions:
        beside = [a for a in actions if a.id != action.id and same_area(action, a)]
        extra = tuple(_of(case, findings, action, beside))
        told.append(replace(action, cautions=action.cautions + extra))
    return told


def _of(case: CaseFile, findings: tuple[Finding, ...], action: Action,
        beside: list[Action]) -> list[Message]:
    found: list[Message] = []
    if action.kind is NeedKind.LIME:
        bought = [a for a in beside if a.material_kind == "fertilizer"]
        if any(a.supplies.get("N", 0) > 0 for a in bought):
            found.append(say("actions.interaction_lime_n"))
        if any(a.supplies.get("P2O5", 0) > 0 for a in bought):
            found.append(say("actions.interaction_lime_p"))
    if action.material_kind in LIVE_SOURCES and any(a.kind is NeedKind.LIME for a in beside):
        found.append(say("actions.interaction_manure_lime"))
    if action.kind is NeedKind.NUTRIENT:
        potassium = action.supplies.get("K2O", 0.0)
        grazed = any(animal in GRAZERS for animal in case.field.livestock)
        short = _magnesium_short(findings, action)
        fed = grazed or case.field.tillage == "perennial"
        if (fed and potassium >= LARGE_K2O_LB_AC) or (potassium > 0 and (grazed or short)):
            found.append(say("actions.interaction_k_mg", short=short))
    if action.kind is NeedKind.LEACH and _pure_water(findings) \
            and not any(a.kind is NeedKind.GYPSUM for a in beside):
        found.append(say("actions.interaction_pure_water"))
    if action.kind is NeedKind.GYPSUM and _pure_water(findings):
        found.append(say("actions.interaction_gypsum_water"))
    return found


def _magnesium_short(findings: tuple[Finding, ...], action: Action) -> bool:
    """A finding asks for magnesium on the same area."""
    return any(n.item == "Mg" and n.place.id in (WHOLE_FIELD.id, action.place.id)
               for f in findings for n in f.needs)


def _pure_water(findings: tuple[Finding, ...]) -> bool:
    """The water test found that this water seals the soil surface (FAO 29, table 1)."""
    return any(
        r.formula == "infiltration_hazard" and r.value != "none"
        for f in findings for r in f.results
    )
