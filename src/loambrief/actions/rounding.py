"""Rates a spreader can hold, never across a cap; the exact rate is kept beside it.

Steps are our choice from what broadcast spreaders can hold (10-15 % coefficient of
variation is common practice): 5 lb/ac or kg/ha up to 200, then 10; 0.25 ton/ac of lime
or gypsum up to 2, then 0.5 (0.5 t/ha up to 5, then 1); below 20 lb/ac 1, below 5 0.25;
1 gal/ac of what is sprayed (10 L/ha), 100 of what is pumped up to 2,000, then 500.
"""

import math

from loambrief.numbers import L_PER_GAL
from loambrief.units import ACRE_PER_HA, KG_PER_HA_PER_LB_PER_ACRE, T_PER_HA_PER_TON_PER_ACRE

FINER = 5.0
"""Share of a step that a spreader can be set to where the usual step will not do."""
SAME = 1e-3
"""Ends of a range closer than this share of it are one number."""
_TO_SI = {"lb/ac": KG_PER_HA_PER_LB_PER_ACRE, "ton/ac": T_PER_HA_PER_TON_PER_ACRE,
          "gal/ac": L_PER_GAL * ACRE_PER_HA}


def step(rate: float, unit: str, system: str) -> float:
    """Spreader step at this rate, in the reader's unit."""
    if unit == "ton/ac":
        if system == "si":
            return 0.5 if rate <= 5 else 1.0
        return 0.25 if rate <= 2 else 0.5
    if unit == "gal/ac" and rate < (1000 if system == "si" else 100):
        return 10.0 if system == "si" else 1.0
    if unit == "gal/ac":
        return 100.0 if rate <= 2000 else 500.0 if system != "si" or rate <= 20000 else 1000.0
    if rate < 5:
        return 0.25
    if rate < 20:
        return 1.0
    return 5.0 if rate <= 200 else 10.0


def round_rate(exact: float, unit: str, system: str = "us", cap: float | None = None,
               low: float | None = None, high: float | None = None) -> float:
    """Nearest rate the spreader can hold, in ``unit``, inside the range of the need.

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
    low, high : float or None
        Ends of the rate's own range [same unit]: rounding turns back at them.

    Returns
    -------
    float
        Rounded rate [same unit]; never 0 for a positive need. Where no step lies between the
        ends, the exact rate.
    """
    factor = _TO_SI[unit] if system == "si" else 1.0
    shown = exact * factor
    width = step(shown, unit, system)
    tops = [v for v in (cap, high) if v is not None]
    top = max(min(tops), exact if cap is None else min(exact, cap)) * factor if tops else None
    bottom = 0.0 if low is None else min(low, exact) * factor
    rounded = max(round(shown / width), 1) * width
    if top is not None and rounded > top * (1 + 1e-9):
        rounded = math.floor(top / width + 1e-9) * width
    if rounded < bottom * (1 - 1e-9):
        rounded = math.ceil(bottom / width - 1e-9) * width
    if rounded <= 0 or (top is not None and rounded > top * (1 + 1e-9)):
        rounded = shown if top is None else min(shown, top)
    return rounded / factor


def pass_rates(exact: float, passes: int, unit: str, system: str = "us",
               cap: float | None = None, low: float | None = None,
               high: float | None = None) -> tuple[float, ...]:
    """Rates of several passes that add up to the need, each one that the spreader can hold.

    Parameters
    ----------
    exact : float
        The whole need, unrounded [unit].
    passes : int
        Fewest passes that the cap allows.
    unit, system
        As in ``round_rate``.
    cap : float or None
        Most that one pass may carry [unit].
    low, high : float or None
        Ends of the range of the whole need [unit].

    Returns
    -------
    tuple of float
        The largest first. In a fifth of the usual step where rounding down under the cap would
        leave half a step of the need or more.
    """
    if passes == 1:
        return (round_rate(exact, unit, system, cap, low, high),)
    factor = _TO_SI[unit] if system == "si" else 1.0
    if cap is not None:
        width = step(cap * factor, unit, system)
        most = math.floor(cap * factor / width + 1e-9) * width / factor
        if passes * most < exact - width / factor / 2.0 + 1e-9:
            fine = width / FINER
            rate = math.ceil(exact / passes * factor / fine - 1e-9) * fine / factor
            return (min(rate, cap),) * passes
    made: list[float] = []
    for number in range(1, passes + 1):
        wanted = exact * number / passes - sum(made)
        made.append(round_rate(wanted, unit, system, cap,
                               None if low is None else min(low / passes, wanted),
                               None if high is None else max(high / passes, wanted)))
    return tuple(sorted(made, reverse=True))


def round_up(exact: float, unit: str, system: str = "us") -> float:
    """The next rate at or above a published least one, in steps of a fifth of the usual."""
    factor = _TO_SI[unit] if system == "si" else 1.0
    width = step(exact * factor, unit, system) / FINER
    return math.ceil(exact * factor / width - 1e-9) * width / factor


def spanned(low: float | None, high: float | None) -> tuple[float | None, float | None]:
    """Ends of a range that says something: none where both are one number."""
    if low is None or high is None or high - low <= SAME * max(abs(high), 1.0):
        return None, None
    return low, high


def step_down(rate: float, unit: str, system: str = "us") -> float:
    """The spreader's next lower rate [same unit]; 0 below the first step."""
    factor = _TO_SI[unit] if system == "si" else 1.0
    shown = rate * factor
    width = step(shown * (1 - 1e-9), unit, system)
    return max(math.ceil(shown / width - 1e-9) - 1, 0) * width / factor
