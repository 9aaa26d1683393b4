"""Short names on page 1 and in charts: what to do, without material, rate or place."""

from loambrief.actions.lime import ASK_DOLOMITIC
from loambrief.actions.model import Action
from loambrief.actions.windows import EVERY_SEASON
from loambrief.findings.model import Message, NeedKind, say
from loambrief.report.text import Writer

FED = ("P2O5", "K2O", "S", "Mg", "Zn", "B", "Mn", "Cu", "Fe", "Mo", "Cl")
NAMED = ("N", *FED, "Ca")
"""Nutrients named where a need for them is met; nitrogen that merely comes along is not."""


def brief_message(action: Action) -> Message:
    """What to do, without the material and rate; its short form is the name."""
    if action.material_id is None or action.rate is None or action.own \
            or action.item == EVERY_SEASON:
        return action.title
    if action.kind is NeedKind.NUTRIENT:
        items = [n for n in action.supplies if n in NAMED and n in (action.meets or FED)]
        return say("actions.brief_nutrient", items=items)
    return say(f"actions.brief_{action.kind.value}", number=action.pass_number,
               passes=action.passes, dolomitic=any(c.key == ASK_DOLOMITIC
                                                   for c in action.cautions))


def brief(writer: Writer, action: Action) -> str:
    """What to do, without the material and rate that have columns of their own."""
    return writer.short(brief_message(action))


def with_place(text: str, label: str) -> str:
    """A short name and the place it is for."""
    return f"{text}, {label}" if label else text
