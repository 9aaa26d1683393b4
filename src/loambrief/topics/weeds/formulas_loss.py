"""Yield loss from weeds, break-even density, and how long their seed lasts in the soil.

Parameters of the curves hold for one site and year; nothing here is a forecast.
"""

from __future__ import annotations

from collections.abc import Iterable

from loambrief.agronomy.possible import NotNegative, Positive, Share
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load

LOCAL = "parameters hold for the site and year they were fitted on"


def _curve(i: float, a: float) -> None:
    if i < 0:
        raise ImpossibleInput(f"i cannot be negative (found {i:g})")
    if not 0 < a <= 100:
        raise ImpossibleInput(f"a, the greatest loss, must be above 0 to 100 (found {a:g})")


def _loss(pressure: float, a: float) -> float:
    return pressure / (1 + pressure / a)


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
    return Answer(_loss(i * density, a), notes=(LOCAL,))


@formula(unit="%", source="swinton-1994", locator="several species", how="memory")
def weed_yield_loss_several(densities: Iterable[float], i: Iterable[float], a: float) -> Answer:
    """Yield loss from several weeds together.

    Parameters
    ----------
    densities : sequence of float
        Weeds per area, one per species [/m2].
    i : sequence of float
        Loss per weed as density goes to zero, one per species [% per weed/m2].
    a : float
        Greatest loss of all weeds together [%].

    Returns
    -------
    float
        Yield loss [%].

    Raises
    ------
    ImpossibleInput
        No species, unequal lengths, a negative value, or a outside 0 to 100.

    Notes
    -----
    YL = S / (1 + S / a) with S the sum of i D. Curves of single weeds must not be added: the weeds
    compete with each other too. Sources: swinton-1994 (from memory, unverified).
    """
    counts, slopes = [float(d) for d in densities], [float(s) for s in i]
    if not counts or len(counts) != len(slopes):
        raise ImpossibleInput("densities and i: one of each per species is needed")
    for count, slope in zip(counts, slopes, strict=True):
        _curve(slope, a)
        if count < 0:
            raise ImpossibleInput(f"density cannot be negative (found {count:g})")
    pressure = sum(d * s for d, s in zip(counts, slopes, strict=True))
    return Answer(_loss(pressure, a), notes=(LOCAL,), details={"pressure": pressure})


@formula(unit="/m2", source="cousens-1985", locator="solved for density", how="computed")
def weed_density_for_loss(loss_pct: float, i: float, a: float) -> Answer:
    """Weed density at which the loss curve reaches a given loss.

    Parameters
    ----------
    loss_pct : float
        Yield loss [%].
    i : float
        Loss per weed as density goes to zero [% per weed/m2].
    a : float
        Greatest loss at any density [%].

    Raises
    ------
    ImpossibleInput
        A loss below zero or not below a, i not above zero, or a outside 0 to 100.

    Notes
    -----
    D = y / (i (1 - y / a)). With the loss at which control pays for itself this is the economic
    threshold of one season; seed shed for later years is not in it. Sources: cousens-1985 (from
    memory, unverified).
    """
    _curve(i, a)
    if i == 0:
        raise ImpossibleInput("i must be above zero")
    if not 0 <= loss_pct < a:
        raise ImpossibleInput(f"loss {loss_pct:g} % is not from 0 to below a = {a:g} %")
    return Answer(loss_pct / (i * (1 - loss_pct / a)), notes=(LOCAL,))


@formula(unit="%", source="own-arithmetic", locator="control cost over value saved",
         how="convention")
def weed_break_even_loss(
    control_cost: NotNegative, weed_free_yield: Positive, price: Positive, efficacy: Share
) -> float:
    """Yield loss at which one control pays for itself.

    Parameters
    ----------
    control_cost : float
        Cost of the control [money per area].
    weed_free_yield : float
        Yield without weeds [mass per the same area].
    price : float
        Price of the crop [money per the same mass].
    efficacy : float
        Share of the loss that the control saves, above 0 to 1.

    Notes
    -----
    100 C / (Y P H).
    """
    return 100 * control_cost / (weed_free_yield * price * efficacy)


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
