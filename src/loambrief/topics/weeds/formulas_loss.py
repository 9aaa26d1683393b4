"""Yield loss from weeds by Cousens' curve, and how long their seed lasts in the soil.

Parameters of a curve hold for one site and year; nothing here is a forecast.
"""

from __future__ import annotations

from loambrief.agronomy.possible import NotNegative, Positive
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load

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


@formula(unit="%", source="burnside-1996", locator="abstract", how="seen",
         valid={"years": (1, 17)})
def weed_seed_alive_pct(group: str, years: Positive) -> Answer:
    """Share of weed seed that still germinates after years of deep burial, by kind of weed.

    Parameters
    ----------
    group : str
        ``"annual grass"``, ``"annual broadleaf"``, ``"biennial broadleaf"`` or
        ``"perennial broadleaf"``.
    years : float
        Years since burial, 1 to 17 [a].

    Returns
    -------
    float
        Mean of the group and span of years [%]; ``details`` hold ``fresh_pct``, germination
        before burial, and ``span``, the years the mean is of.

    Raises
    ------
    ImpossibleInput
        More than 17 or less than 1 year, which the trial does not tell.
    UnknownName
        No such group.

    Notes
    -----
    41 species, 20 cm deep, two places in Nebraska. Nearer the surface seed is lost sooner; single
    species lie far from the mean of their group (common mullein 95 % after 17 years).
    """
    spans = ((1, 4), (5, 8), (9, 17))
    row = load("weeds/seed_groups").find(group=group)
    for first, last in spans:
        if first <= years <= last:
            return Answer(float(row[f"years_{first}_{last}_pct"]),
                          details={"fresh_pct": row["fresh_pct"], "span": f"{first}-{last}"})
    raise ImpossibleInput(f"years: {years:g} is not from 1 to 17, in whole years")
