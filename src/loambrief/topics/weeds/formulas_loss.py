"""Yield loss from weeds by Cousens' curve.

Parameters of a curve hold for one site and year; nothing here is a forecast.
"""

from __future__ import annotations

from loambrief.agronomy.possible import NotNegative
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput

LOCAL = "parameters hold for the site and year they were fitted on"


def _curve(i: float, a: float) -> None:
    if i < 0:
        raise ImpossibleInput(f"i cannot be negative (found {i:g})")
    if not 0 < a <= 100:
        raise ImpossibleInput(f"a, the greatest loss, must be above 0 to 100 (found {a:g})")


@formula(unit="%", source="cousens-1985", locator="rectangular hyperbola", how="memory")
def weed_yield_loss(density: NotNegative, i: float, a: float) -> Answer:
    """Yield loss from the density of one weed.

    Parameters
    ----------
    density : float
        Weeds per area [/m2].
    i : float
        Loss per weed as density goes to zero [% per weed/m2].
    a : float
        Greatest loss at any density [%].

    Notes
    -----
    YL = i D / (1 + i D / a). The parameters must be local: a five-site study found no common ones
    even within a region (Lindquist et al. 1996). Sources: cousens-1985 (from memory, unverified);
    lindquist-1996.
    """
    _curve(i, a)
    return Answer(i * density / (1 + i * density / a), notes=(LOCAL,))
