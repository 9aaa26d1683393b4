"""Short names on page 1 and in charts: what to do, without material, rate or place."""

from __future__ import annotations

from loambrief.actions.model import Action
from loambrief.actions.windows import EVERY_SEASON
from loambrief.findings.model import NeedKind, say
from loambrief.report.context import Context

FED = ("P2O5", "K2O", "S", "Mg", "Zn", "B", "Mn", "Cu", "Fe")


def brief(context: Context, action: Action) -> str:
    """What to do, without the material and rate that have columns of their own."""
    if action.material_id is None or action.rate is None or action.own:
        return context.writer.short(action.title)
    if action.item == EVERY_SEASON:
        return context.writer.short(action.title)
    if action.kind is NeedKind.NUTRIENT:
        items = [n for n in action.supplies if n in FED and n in (action.meets or FED)]
        return context.write(say("actions.brief_nutrient", items=items))
    return context.write(say(f"actions.brief_{action.kind.value}", number=action.pass_number,
                             passes=action.passes))


def with_place(text: str, label: str) -> str:
    """A short name and the place it is for."""
    return f"{text}, {label}" if label else text
