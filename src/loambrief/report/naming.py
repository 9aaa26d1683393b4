"""Short names on page 1 and in charts: what to do, without material, rate or place."""

from __future__ import annotations

import re

from loambrief.actions.model import Action
from loambrief.findings.model import NeedKind, say
from loambrief.report.context import Context

_SENTENCE_END = re.compile(r"(?<=[.!?])\s+(?=[A-Z\u00c0-\u00dd¿¡])")
_CLAUSE_END = re.compile(r"[:;(]|, after |, where |, después de |, donde ")
FED = ("P2O5", "K2O", "S", "Mg", "Zn", "B", "Mn", "Cu", "Fe")


def first_sentence(text: str) -> str:
    """The first sentence; the rest stands in the full part."""
    return _SENTENCE_END.split(text, maxsplit=1)[0]


def first_clause(text: str) -> str:
    """The instruction without what follows a colon, semicolon or bracket."""
    return _CLAUSE_END.split(text, maxsplit=1)[0].rstrip(" .,")


def brief(context: Context, action: Action) -> str:
    """What to do, without the material and rate that have columns of their own."""
    if action.material_id is None or action.rate is None:
        return first_clause(context.write(action.title))
    if action.kind is NeedKind.NUTRIENT:
        items = [n for n in action.supplies if n in FED]
        return context.write(say("actions.brief_nutrient", items=items))
    return context.write(say(f"actions.brief_{action.kind.value}", number=action.pass_number,
                             passes=action.passes))


def with_place(text: str, where: str) -> str:
    """A name and its place, said once."""
    return text if not where or where.lower() in text.lower() else f"{text}, {where}"
