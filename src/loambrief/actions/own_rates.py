"""The adviser's own rates: both rates stay on the action, and a crossed cap is said aloud."""

from collections.abc import Mapping
from dataclasses import replace

from loambrief.actions.blend import BlendZone
from loambrief.actions.materials import pounds_per, spread
from loambrief.actions.model import Action
from loambrief.actions.offers import Offer
from loambrief.case.schema import CaseFile, Override
from loambrief.findings.model import Message, NeedKind, say

OVER_CAP, OVER_LIMIT = "actions.own_over_cap", "actions.own_over_limit"
WARNINGS = (OVER_CAP, OVER_LIMIT)
"""Messages that an own rate crosses a limit."""


def apply(case: CaseFile, actions: list[Action], offers: Mapping[str, Offer],
          zones: tuple[BlendZone, ...]) -> list[Action]:
    """Put the case's own rates in place of the computed ones; own actions stay as they are.

    ``zones`` hold the limits that the nutrient mix had to keep.
    """
    for entry in case.overrides:
        touched = {a.id for a in actions if a.rate is not None and not a.own
                   and entry.action in (a.id, a.material_id)}
        actions = [_own(a, entry, offers) if a.id in touched else a for a in actions]
    if case.overrides:
        actions = [_warn(a, actions, zones) for a in actions]
    return actions


def _own(action: Action, entry: Override, offers: Mapping[str, Offer]) -> Action:
    assert action.material_id is not None  # only actions with a rate are touched
    offer = offers[action.material_id]
    rate = entry.rate.value / pounds_per(action.rate_unit, offer)
    return replace(
        action,
        title=say(action.title.key, **{**action.title.params, "rate": rate}),
        computed_rate=action.rate, own_reason=entry.reason,
        changed=(*action.changed, "rate"), reasons=(*action.reasons, entry.reason),
        **spread(offer, rate, action.rate_unit, action.area_ac),
    )


def _warn(action: Action, actions: list[Action], zones: tuple[BlendZone, ...]) -> Action:
    """Warnings of an own rate: over the product's cap, over a limit of the zone."""
    if action.own_reason is None or action.rate is None:
        return action
    extra: list[Message] = []
    if action.cap is not None and action.rate > action.cap * (1 + 1e-9):
        extra.append(say(OVER_CAP, rate=action.rate, cap=action.cap,
                         unit=action.rate_unit))
    zone = next((z for z in zones if z.place.id == action.place.id), None)
    if zone is not None and action.kind is NeedKind.NUTRIENT:
        there = [a for a in actions if a.place.id == action.place.id
                 and a.kind is NeedKind.NUTRIENT]
        for nutrient, limit in sorted(zone.upper.items()):
            brought = sum(a.supplies.get(nutrient, 0.0) for a in there)
            if action.supplies.get(nutrient, 0.0) > 0 and brought > limit * (1 + 1e-9) + 1e-9:
                extra.append(say(OVER_LIMIT, item=nutrient, brought=brought,
                                 limit=limit))
    return replace(action, cautions=(*extra, *action.cautions))
