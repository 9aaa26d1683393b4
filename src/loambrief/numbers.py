"""How numbers are shown: house units to the reader's units, sensible digits, the signs of a
locale."""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

from loambrief.units import (
    ACRE_PER_HA,
    CM_PER_INCH,
    KG_PER_HA_PER_LB_PER_ACRE,
    KG_PER_LB,
    KPA_PER_PSI,
    LB_PER_KG,
    LB_PER_TON,
    M_PER_FT,
    MM_PER_INCH,
    T_PER_HA_PER_TON_PER_ACRE,
)

L_PER_GAL = 3.785412
"""Litres in a US gallon."""
NBSP = "\u00a0"
MINUS = "\u2212"

SI = {
    "lb/ac": ("kg/ha", KG_PER_HA_PER_LB_PER_ACRE),
    "ton/ac": ("t/ha", T_PER_HA_PER_TON_PER_ACRE),
    "gal/ac": ("L/ha", L_PER_GAL * ACRE_PER_HA),
    "gal": ("L", L_PER_GAL),
    "ton": ("t", LB_PER_TON * KG_PER_LB / 1000),
    "lb": ("kg", 1 / LB_PER_KG),
    "ac": ("ha", 1 / ACRE_PER_HA),
    "in": ("cm", CM_PER_INCH),
    "ft": ("m", M_PER_FT),
    "psi": ("MPa", KPA_PER_PSI / 1000),
    "ppm": ("mg/kg", 1.0),
    "meq/100g": ("cmol(+)/kg", 1.0),
    "in/h": ("mm/h", MM_PER_INCH),
    "in/d": ("mm/d", MM_PER_INCH),
    "/ac": ("/ha", ACRE_PER_HA),
    "lb/ton": ("kg/t", 0.5),
    "bu/ac": ("bu/ac", 1.0),
    "C": ("°C", 1.0),
    "/m2": ("/m²", 1.0),
}
US = {"C": ("°C", 1.0), "meq/100g": ("meq/100 g", 1.0), "/m2": ("/ft²", M_PER_FT**2)}


Ends = tuple[float | None, float | None]
"""Low and high end of a range; None where it has none."""


@dataclass(frozen=True)
class Signs:
    """The signs a locale writes numbers with."""

    decimal: str = "."
    group: str = ","
    percent: str = "%"
    """The percent sign with the blank the locale sets before it."""
    units: tuple[tuple[str, str], ...] = ()
    """Symbols of units that the language writes in its own way (inch and foot)."""


ENGLISH = Signs()
_LOCAL: ContextVar[Signs] = ContextVar("signs", default=ENGLISH)


@contextmanager
def local(signs: Signs) -> Iterator[None]:
    """Numbers inside the block are written with these signs unless told otherwise.

    For the charts, which print numbers in many places (as ``decimal.localcontext`` does for
    precision).
    """
    token = _LOCAL.set(signs)
    try:
        yield
    finally:
        _LOCAL.reset(token)


def shown(value: float, unit: str, system: str) -> tuple[float, str]:
    """Value and unit as the reader's system has them (unknown units pass through)."""
    name, factor = (SI if system == "si" else US).get(unit, (unit, 1.0))
    return value * factor, name


FINEST = 5.0
"""Least share of half a range that the last printed digit may stand for (our own line)."""


def last_place(low: float, high: float) -> int:
    """Decimals that a range supports, negative where tens or hundreds are the last that count.

    A step of the last digit is a power of ten that is at most a fifth and more than a fiftieth
    of half the range: from 19 to 102 whole numbers, from 2 to 3 one decimal.
    """
    half = abs(high - low) / 2.0
    return 99 if half == 0 else -math.floor(math.log10(half / FINEST) + 1e-9)


def figures(value: float, digits: int | None = None, signs: Signs | None = None,
            within: Ends | None = None) -> str:
    """A number as text: thousands set off, true minus, ``digits`` decimals.

    Without ``digits``: three significant figures at most, no trailing zeros. A number that is
    none (infinite) is a dash. ``within`` are the ends of its range: no more digits than they
    support (:func:`last_place`), whatever ``digits`` says.
    """
    if not math.isfinite(value):
        return "–"
    most = _usual(value)
    if within is not None and within[0] is not None and within[1] is not None:
        place = last_place(within[0], within[1])
        value = round(value, min(place, 15))
        most = max(min(most, place), 0)
        digits = None if digits is None else max(min(digits, place), 0)
    if digits is None:
        text = f"{abs(value):,.{most}f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
    else:
        text = f"{abs(value):,.{digits}f}"
    negative = value < 0 and float(text.replace(",", "")) != 0
    return (MINUS if negative else "") + signed(text, signs)


def _usual(value: float) -> int:
    """Decimals of three significant figures."""
    size = abs(value)
    return 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 0.1 or size == 0 else 3


def percent(value: float, digits: int | None = None, signs: Signs | None = None,
            within: Ends | None = None) -> str:
    """A percentage with its sign."""
    signs = _LOCAL.get() if signs is None else signs
    return figures(value, digits, signs, within) + signs.percent


def signed(text: str, signs: Signs | None = None) -> str:
    """A number written with comma and point, with the signs of a locale instead."""
    signs = _LOCAL.get() if signs is None else signs
    if (signs.decimal, signs.group) == (".", ","):
        return text
    return text.translate({ord("."): signs.decimal, ord(","): signs.group})


def symbol(unit: str, signs: Signs | None = None) -> str:
    """A unit as the language writes it: "in/h", in Spanish "pulg/h"."""
    signs = _LOCAL.get() if signs is None else signs
    own = dict(signs.units)
    return "/".join(own.get(part, part) for part in unit.split("/")) if own else unit


def quantity(value: float, unit: str, system: str, digits: int | None = None,
             signs: Signs | None = None, within: Ends | None = None) -> str:
    """Number and unit for the reader, held together by a no-break space.

    ``within``: ends of its range in the same house unit, which limit its digits.
    """
    number, name = shown(value, unit, system)
    signs = _LOCAL.get() if signs is None else signs
    if within is not None and within[0] is not None and within[1] is not None:
        within = (shown(within[0], unit, system)[0], shown(within[1], unit, system)[0])
    if name == "%":
        return percent(number, digits, signs, within)
    glue = "" if name == "" or name.startswith("/") else NBSP
    return f"{figures(number, digits, signs, within)}{glue}{symbol(name, signs)}"


def depth(top_in: float, bottom_in: float, system: str, signs: Signs | None = None) -> str:
    """A slice of soil between two depths [in]: "0-2 in", to an SI reader "0-5 cm".

    Centimetres are whole, unless a depth was stated in halves of one.
    """
    if system != "si":
        ends = (figures(round(end, 1), None, signs) for end in (top_in, bottom_in))
        return f"{'-'.join(ends)} {symbol('in', signs)}"
    deep = [round(end * CM_PER_INCH, 6) for end in (top_in, bottom_in)]
    halves = any(end % 1 == 0.5 for end in deep) and all(end % 0.5 == 0 for end in deep)
    return f"{'-'.join(figures(end, None if halves else 0, signs) for end in deep)} cm"
