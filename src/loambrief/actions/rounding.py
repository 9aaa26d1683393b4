"""Rates a spreader can hold, never across a cap; the exact rate is kept beside it.

Steps are our choice from what broadcast spreaders can hold (10-15 % coefficient of
variation is common practice): 5 lb/ac or kg/ha up to 200, then 10; 0.25 ton/ac of lime
or gypsum up to 2, then 0.5 (0.5 t/ha up to 5, then 1); below 20 lb/ac 1, below 5 0.25.
"""

from __future__ import annotations

import math

from loambrief.units import KG_PER_HA_PER_LB_PER_ACRE, T_PER_HA_PER_TON_PER_ACRE

_TO_SI = {"lb/ac": KG_PER_HA_PER_LB_PER_ACRE, "ton/ac": T_PER_HA_PER_TON_PER_ACRE}


def step(rate: float, unit: str, system: str) -> float:
    """Spreader step at this rate, in the reader's unit."""
    if unit == "ton/ac":
        if system == "si":
            return 0.5 if rate <= 5 else 1.0
        return 0.25 if rate <= 2 else 0.5
    if rate < 5:
        return 0.25
    if rate < 20:
        return 1.0
    return 5.0 if rate <= 200 else 10.0


def round_rate(exact: float, unit: str, system: str = "us", cap: float | None = None) -> float:
    """Nearest rate the spreader can hold, in ``unit``.

    Parameters
    ----------
    exact : float
        Unrounded rate [lb/ac or ton/ac].
    unit : str
        ``"lb/ac"`` or ``"ton/ac"``.
    system : str
        ``"us"`` or ``"si"``: the steps are round in the reader's units.
    cap : float or None
        Highest rate allowed [same unit]; rounding goes down rather than across it.

    Returns
    -------
    float
        Rounded rate [same unit]; never 0 for a positive need unless the cap is below one
        step, in which case the cap itself is returned.
    """
    factor = _TO_SI[unit] if system == "si" else 1.0
    shown = exact * factor
    width = step(shown, unit, system)
    rounded = max(round(shown / width), 1) * width
    if cap is not None and rounded > cap * factor * (1 + 1e-9):
        rounded = math.floor(cap * factor / width + 1e-9) * width or cap * factor
    return rounded / factor


def step_down(rate: float, unit: str, system: str = "us") -> float:
    """The spreader's next lower rate [same unit]; 0 below the first step."""
    factor = _TO_SI[unit] if system == "si" else 1.0
    shown = rate * factor
    width = step(shown * (1 - 1e-9), unit, system)
    return max(math.ceil(shown / width - 1e-9) - 1, 0) * width / factor
