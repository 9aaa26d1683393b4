"""How much of the ground an action is for: the part that is treated, less what keeps off it."""

from collections.abc import Iterable
from dataclasses import replace

from loambrief.actions.gather import NeedFor
from loambrief.actions.model import Action, WithoutMaterial
from loambrief.actions.setback import LEAST_AC, neighbours, strip_ac
from loambrief.case.schema import CaseFile
from loambrief.case.schema_farm import Neighbour
from loambrief.case.select import treated_share
from loambrief.findings.model import NeedKind, say

SPREAD = (NeedKind.LIME, NeedKind.ACIDIFY, NeedKind.GYPSUM, NeedKind.NUTRIENT, NeedKind.LEACH,
          NeedKind.LOOSEN, NeedKind.ORGANIC_MATTER)
"""Needs that a part of a zone can have; a test or a drain is for the whole of it."""

NEIGHBOUR = "farm.caution_neighbour"
SETBACK = "setback"
"""Constraint of a need that a neighbour's distance leaves no ground for."""


def treated(case: CaseFile, needs: tuple[NeedFor, ...]) -> tuple[NeedFor, ...]:
    """Needs on the part of their zone that is treated."""
    shares = {s.id: treated_share(case, s) for s in case.samples if s.treat is not None}

    def part(need_for: NeedFor) -> NeedFor:
        need = need_for.need
        share = shares.get(need.place.id, 1.0)
        if need.kind not in SPREAD or need.area_ac is None or share >= 1.0:
            return need_for
        return NeedFor(replace(need, area_ac=need.area_ac * share), need_for.findings)

    return tuple(part(n) for n in needs) if shares else needs


def part_notes(case: CaseFile, actions: Iterable[Action]) -> list[Action]:
    """Actions that say why only a part of their zone is treated."""
    parts = {s.id: s for s in case.samples if s.treat is not None}
    told = []
    for action in actions:
        sample = parts.get(action.place.id)
        if sample is not None and sample.treat is not None and action.kind in SPREAD \
                and action.area_ac:
            share = treated_share(case, sample)
            if 0 < share < 1:
                action = replace(action, notes=(*action.notes, say(
                    "farm.note_treated", part=action.area_ac, whole=action.area_ac / share,
                    reason=sample.treat.reason)))
        told.append(action)
    return told


def kept_off(case: CaseFile, actions: Iterable[Action]) -> list[Action]:
    """Actions less the strip along a neighbour that their material keeps off.

    The strip is taken off the area where the case says which zone it lies in, or where there
    is only one; else only the distance is said.
    """
    kept = []
    for action in actions:
        for neighbour, zone in neighbours(case):
            if action.material_kind in neighbour.kinds:
                action = _off(action, neighbour, zone)
        kept.append(action)
    return kept


def barred(actions: Iterable[Action]) -> tuple[list[Action], tuple[WithoutMaterial, ...]]:
    """Actions less those whose whole area a neighbour keeps free, and what that leaves undone.

    Leaching that waits for such gypsum goes with it: washing a sodic soil without calcium seals
    it. What the adviser put in stays, on no area.
    """
    actions = list(actions)
    out = {a.id: [str(c.params["name"]) for c in a.cautions if c.key == NEIGHBOUR]
           for a in actions if a.area_ac is not None and a.area_ac < LEAST_AC and not a.own
           and any(c.key == NEIGHBOUR and c.params["counted"] for c in a.cautions)}
    for action in actions:
        first = next((d for d in action.depends_on if d in out), None)
        if action.kind is NeedKind.LEACH and first is not None:
            out[action.id] = out[first]
    gaps = tuple(WithoutMaterial(
        a.id, a.item, a.place, SETBACK, name, (a.material_name,) if a.material_name else (), a.kind)
        for a in actions if a.id in out and a.pass_number == 1 for name in out[a.id])
    return [a for a in actions if a.id not in out], gaps


def _off(action: Action, neighbour: Neighbour, zone: str | None) -> Action:
    here = zone is not None and action.place.id.lower() in ("", zone.lower())
    if zone is not None and not here:
        return action
    lost = strip_ac(neighbour) * _part_of(action)
    counted = here and action.area_ac is not None
    if counted and action.area_ac is not None:
        lost = min(lost, action.area_ac)
        action = resized(action, action.area_ac - lost)
    return replace(action, cautions=(say(
        NEIGHBOUR, name=neighbour.name, setback=neighbour.setback.value,
        length=neighbour.length.value, lost=lost, counted=counted), *action.cautions))


def _part_of(action: Action) -> float:
    """Share of the strip that lies in a part of a split action: the part's share of the area.

    Where the line runs through the parts is not known, but the sum is right.
    """
    whole = action.need.area_ac
    if not action.split_from or not whole or action.area_ac is None:
        return 1.0
    return min(action.area_ac / whole, 1.0)


def resized(action: Action, area_ac: float) -> Action:
    """The action on another area [ac], with its cost for that area."""
    cost = action.cost_total
    if cost is not None and action.cost_per_ac is not None:
        cost = action.cost_per_ac * area_ac
    owner = action.owner_pays
    if owner is not None and action.area_ac:
        owner = owner * area_ac / action.area_ac
    return replace(action, area_ac=area_ac, cost_total=cost, owner_pays=owner)
