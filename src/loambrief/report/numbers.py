"""How numbers are shown: house units to the reader's units, sensible digits."""

from __future__ import annotations

import math

from loambrief.units import (
    ACRE_PER_HA,
    CM_PER_INCH,
    KG_PER_HA_PER_LB_PER_ACRE,
    KPA_PER_PSI,
    LB_PER_KG,
    T_PER_HA_PER_TON_PER_ACRE,
)

NBSP = "\u00a0"
MINUS = "\u2212"

SI = {
    "lb/ac": ("kg/ha", KG_PER_HA_PER_LB_PER_ACRE),
    "ton/ac": ("t/ha", T_PER_HA_PER_TON_PER_ACRE),
    "ton": ("t", 0.90718474),
    "lb": ("kg", 1 / LB_PER_KG),
    "ac": ("ha", 1 / ACRE_PER_HA),
    "in": ("cm", CM_PER_INCH),
    "ft": ("m", 0.3048),
    "psi": ("MPa", KPA_PER_PSI / 1000),
    "ppm": ("mg/kg", 1.0),
    "meq/100g": ("cmol(+)/kg", 1.0),
    "in/h": ("mm/h", 25.4),
    "/ac": ("/ha", ACRE_PER_HA),
    "lb/ton": ("kg/t", 0.5),
    "bu/ac": ("bu/ac", 1.0),
    "F": ("°C", 1.0),
    "C": ("°C", 1.0),
}
US = {"C": ("°C", 1.0), "meq/100g": ("meq/100 g", 1.0)}


def shown(value: float, unit: str, system: str) -> tuple[float, str]:
    """Value and unit as the reader's system has them (unknown units pass through)."""
    name, factor = (SI if system == "si" else US).get(unit, (unit, 1.0))
    return value * factor, name


def figures(value: float, digits: int | None = None) -> str:
    """A number as text: thousands set off, true minus, ``digits`` decimals.

    Without ``digits``: three significant figures at most, no trailing zeros.
    """
    if not math.isfinite(value):
        return "not a number"
    if digits is None:
        size = abs(value)
        digits = 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 0.1 or size == 0 else 3
        text = f"{abs(value):,.{digits}f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
    else:
        text = f"{abs(value):,.{digits}f}"
    negative = value < 0 and float(text.replace(",", "")) != 0
    return (MINUS if negative else "") + text


def quantity(value: float, unit: str, system: str, digits: int | None = None) -> str:
    """Number and unit for the reader, held together by a no-break space."""
    number, name = shown(value, unit, system)
    glue = "" if name in ("%", "") or name.startswith("/") else NBSP
    return f"{figures(number, digits)}{glue}{name}"
