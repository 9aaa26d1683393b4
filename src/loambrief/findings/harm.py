"""How grave a caution is: whom or what it keeps from harm, by its key, never by its words."""

from collections.abc import Iterable
from enum import StrEnum
from functools import cache

from loambrief.findings.model import Message
from loambrief.tables import load


class Harm(StrEnum):
    """What a caution wards off, the gravest first.

    ``HANDLING`` is the usual dust and gear of the work; ``WORK`` a loss of effect.
    """

    PEOPLE = "people"
    STOCK = "stock"
    WATER = "water"
    CROP = "crop"
    HANDLING = "handling"
    WORK = "work"
    MONEY = "money"


SAFETY = frozenset({Harm.PEOPLE, Harm.STOCK, Harm.WATER, Harm.CROP})
"""Harms whose cautions stand on page 1 beside every action that they belong to."""
_ORDER = tuple(Harm)


@cache
def _harms() -> dict[str, Harm]:
    table = load("wording/cautions")
    return {str(row["message"]): Harm(str(row["harm"])) for row in table}


def harm_of(caution: Message) -> Harm:
    """What a caution wards off, by its row in ``wording/cautions``."""
    return _harms()[caution.key]


def gravest_first(cautions: Iterable[Message]) -> list[Message]:
    """Cautions by their harm; of equals the first stays first."""
    return sorted(cautions, key=lambda c: _ORDER.index(harm_of(c)))
