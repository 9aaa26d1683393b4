"""Inputs of formulas that cannot be; a value that is None is passed over.

Each function takes inputs by name and raises ``ImpossibleInput`` for the first that cannot be.
A formula names the kind of its parameter instead (``cec_meq: Positive``); the registry holds it
to that before the formula is worked out.
"""

from collections.abc import Collection
from typing import Annotated

from loambrief.errors import ImpossibleInput, UnknownName


def not_negative(**values: float | None) -> None:
    for name, value in values.items():
        if value is not None and value < 0:
            raise ImpossibleInput(f"{name} cannot be negative (found {value:g})")


def percent(**values: float | None) -> None:
    not_negative(**values)
    for name, value in values.items():
        if value is not None and value > 100:
            raise ImpossibleInput(f"{name} cannot be above 100 % (found {value:g})")


def positive(**values: float | None) -> None:
    for name, value in values.items():
        if value is not None and not value > 0:
            raise ImpossibleInput(f"{name} must be above zero (found {value:g})")


def positive_percent(**values: float | None) -> None:
    positive(**values)
    percent(**values)


def share(**values: float | None) -> None:
    """A part of a whole, above none of it."""
    positive(**values)
    for name, value in values.items():
        if value is not None and value > 1:
            raise ImpossibleInput(f"{name} cannot be above 1 (found {value:g})")


def real_ph(**values: float | None) -> None:
    """A pH that no soil has (outside 2 to 12)."""
    for name, value in values.items():
        if value is not None and not 2.0 <= value <= 12.0:
            raise ImpossibleInput(f"{name} = {value:g} is not a pH that soil has (2 to 12)")


def one_of(called: str, name: object, known: Collection[str]) -> None:
    """Refuse a name that does not exist (``UnknownName``, with those known)."""
    if name not in known:
        raise UnknownName(called, str(name), tuple(known))


NotNegative = Annotated[float, not_negative]
Percent = Annotated[float, percent]
Positive = Annotated[float, positive]
PositivePercent = Annotated[float, positive_percent]
Share = Annotated[float, share]
SoilPh = Annotated[float, real_ph]
KINDS = {"NotNegative": not_negative, "Percent": percent, "Positive": positive,
         "PositivePercent": positive_percent, "Share": share, "SoilPh": real_ph}
"""Kind of a parameter, as an annotation names it -> what refuses another value."""
