"""Cover crops: seed in a mix, days left before frost, when they must be ended, what seed costs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from types import MappingProxyType

from loambrief.agronomy.possible import NotNegative, Percent
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import DataRow, load, parts
from loambrief.tables.names import unaccented

SPECIES = "cover_crops/species"
FITS, TIGHT, LATE = "fits", "tight", "too late"
TIGHT_DAYS = 10
"""Fewer spare days than this are called tight: our own cut."""


def _fold(name: str) -> str:
    return " ".join(unaccented(name).replace("-", " ").split()).casefold()


@cache
def _by_name() -> Mapping[str, DataRow]:
    found: dict[str, DataRow] = {}
    for row in load(SPECIES):
        for name in (str(row["species"]), *parts(row["also"])):
            found.setdefault(_fold(name), row)
    return MappingProxyType(found)


def cover_species(name: str) -> DataRow:
    """The row of ``cover_crops/species`` for a cover crop by any of its names."""
    row = _by_name().get(_fold(name))
    if row is None:
        raise UnknownName("cover crop", name, tuple(map(str, load(SPECIES).column("species"))))
    return row


@formula(unit="lb/ac", source="own-arithmetic", locator="share of the rate alone",
         how="convention", valid={"share_pct": (5, 100)})
def cover_mix_seed_lb_ac(species: str, share_pct: Percent = 100) -> Answer:
    """Seed of one cover crop in a mix: its share of the rate it is drilled at alone.

    Parameters
    ----------
    species : str
        By any name of ``cover_crops/species``.
    share_pct : float
        Its share of the mix [%]; 100 alone. The shares of a mix may add up to more than 100.

    Returns
    -------
    float
        Middle of the range [lb/ac of live seed]; ``details`` hold ``low`` and ``high``.

    Raises
    ------
    UnknownName
        No such cover crop.
    ImpossibleInput
        No share at all.

    Notes
    -----
    Rates alone are published; that a mix takes its share of each is common practice, and advisers
    sow aggressive grasses at less (Wisconsin: rye a third less in any mix). Broadcast seed takes
    more. The stand will not hold the shares of the seed.
    """
    if share_pct <= 0:
        raise ImpossibleInput("share_pct: a cover crop of the mix has a share above zero")
    row = cover_species(species)
    low, high = (float(row[end]) * share_pct / 100 for end in ("low_lb_ac", "high_lb_ac"))
    return by_row(row, (low + high) / 2, details={"low": low, "high": high,
                                                  "season": row["season"]})


@formula(unit="money/ac", source="own-arithmetic", locator="seed by price", how="convention")
def cover_seed_cost(rates_lb_ac: Iterable[float], prices_per_lb: Iterable[float]) -> float:
    """What the seed of a mix costs.

    Parameters
    ----------
    rates_lb_ac : sequence of float
        Seed of each cover crop [lb/ac].
    prices_per_lb : sequence of float
        Price of each [money/lb].

    Raises
    ------
    ImpossibleInput
        Unequal lengths, or a negative rate or price.

    Notes
    -----
    Sum of rate by price; drilling and ending are not in it.
    """
    rates, prices = [float(r) for r in rates_lb_ac], [float(p) for p in prices_per_lb]
    if not rates or len(rates) != len(prices) or min(*rates, *prices, 0.0) < 0:
        raise ImpossibleInput("rates and prices: one of each, none below zero")
    return sum(r * p for r, p in zip(rates, prices, strict=True))


@formula(unit="class", source="nrcs-ga-340", locator="rows name their own source", how="memory")
def cover_sowing_fit(species: str, days_to_frost: float) -> Answer[str]:
    """Whether a cover crop sown now has the days it should have before the first killing frost.

    Parameters
    ----------
    species : str
        By any name of ``cover_crops/species``.
    days_to_frost : float
        Days from sowing to the usual first killing frost; negative after it [days].

    Returns
    -------
    str
        ``fits``, ``tight`` (fewer than ten spare days) or ``too late``; ``details`` hold
        ``needs``, days it should have, and ``spare``.

    Raises
    ------
    UnknownName
        No such cover crop.

    Notes
    -----
    Rye, which goes on growing after frost, needs none. The usual frost is a middle: in half of the
    years it comes earlier.
    """
    row = cover_species(species)
    needs = float(row["frost_days"])
    spare = days_to_frost - needs
    name = FITS if spare >= TIGHT_DAYS or needs == 0 else TIGHT if spare >= 0 else LATE
    return by_row(row, name, details={"needs": needs, "spare": spare})


@formula(unit="days", source="nrcs-termination-2014", locator="zones 1 to 4", how="seen")
def cover_end_days_before(zone: int, irrigated: bool = False) -> Answer:
    """How many days before planting a cover crop is ended at the latest, by federal zone.

    Parameters
    ----------
    zone : int
        Zone of the federal guidelines, 1 (dry) to 4 (humid).
    irrigated : bool
        Irrigated crops have no such date, only before the crop comes up.

    Returns
    -------
    float
        Days before planting; negative: days after it, and before the crop is up. ``details``
        hold ``irrigated``.

    Raises
    ------
    UnknownName
        No such zone.

    Notes
    -----
    For crops seeded from late spring to fall without irrigation. Early spring crops and summer
    fallow have rules of their own; the insurer's text in force decides.
    """
    row = load("cover_crops/termination").find(zone=zone)
    return by_row(row, float(row["days_before"]), details={"irrigated": irrigated})


def stages(species: str) -> tuple[tuple[str, NotNegative], ...]:
    """Stage and C:N of a cover crop when it is ended, as far as published; may be empty."""
    return tuple((str(r["stage"]), float(r["cn"])) for r in load("cover_crops/carbon_nitrogen")
                 if r["species"] == species)
