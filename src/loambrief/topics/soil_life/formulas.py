"""Tests of soil life and structure beside what others call low and high; never a rate."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from statistics import fmean, median

from loambrief.agronomy.possible import NotNegative, Percent, Positive
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load

LOW, MIDDLE, HIGH, GOOD = "low", "middle", "high", "good"
CM2_PER_M2 = 10_000.0


def schemes(indicator: str, method: str | None) -> tuple[str, ...]:
    """Names of the published ranges for an indicator by its method, in table order."""
    return tuple(str(r["scheme"]) for r in load("soil_life/ranges")
                 if r["indicator"] == indicator and r["method"] in (None, method))


@formula(unit="class", source="fine-2017-cash", locator="rows name their own source",
         how="memory")
def soil_life_reading(scheme: str, value: NotNegative) -> Answer[str]:
    """What one published range calls a result of a test of soil life or structure.

    Parameters
    ----------
    scheme : str
        Name of the range in ``soil_life/ranges``.
    value : float
        The result, in the unit of the range: ppm of carbon, percent, earthworms per square
        meter, or mean class of the slake test.

    Returns
    -------
    str
        ``low``, ``middle``, ``high``, or ``good`` where the range has one line only;
        ``details`` hold ``low`` and ``high``.

    Raises
    ------
    UnknownName
        No such range.

    Notes
    -----
    The ranges come from surveys and observation, not from yield trials; they differ by region and
    laboratory. No rate follows from any of them.
    """
    row = load("soil_life/ranges").find(scheme=scheme)
    low, high = float(row["low"]), row["high"]
    name = LOW if value < low else GOOD if high is None else MIDDLE if value < high else HIGH
    return by_row(row, name, details={"low": low, "high": high})


@formula(unit="/m2", source="own-arithmetic", locator="count by area", how="convention")
def earthworms_per_m2(counts: Iterable[float], side_cm: Positive) -> Answer:
    """Earthworms per square meter from counts in square holes.

    Parameters
    ----------
    counts : sequence of float
        Worms found in each hole.
    side_cm : float
        Side of the hole [cm].

    Returns
    -------
    float
        Mean [/m2]; ``details`` hold ``n`` holes, and ``least`` and ``most`` per square meter.

    Raises
    ------
    ImpossibleInput
        No count, or one below zero.

    Notes
    -----
    The depth of the hole is not in it: 20 to 30 cm is usual. Counts hold for the day: worms go deep
    in dry, hot or frozen soil.
    """
    found = [float(c) for c in counts]
    if not found or min(found) < 0:
        raise ImpossibleInput("counts: at least one, none below zero")
    per_m2 = CM2_PER_M2 / side_cm**2
    return Answer(fmean(found) * per_m2, details={
        "n": len(found), "least": min(found) * per_m2, "most": max(found) * per_m2})


@formula(unit="class", source="nrcs-soil-quality-kit", locator="slake test", how="memory")
def slake_class(ratings: Iterable[float]) -> Answer:
    """Middle rating of the slake test, from those of single crumbs.

    Parameters
    ----------
    ratings : sequence of float
        Class of each crumb, 0 (falls apart at a touch) to 6 (stays whole after five dips).

    Returns
    -------
    float
        Median class; ``details`` hold ``n``, ``least`` and ``most``.

    Raises
    ------
    ImpossibleInput
        No rating, or one outside 0 to 6.

    Notes
    -----
    16 air-dry crumbs, five minutes in water, five dips (kit guide, read in a copy). A class is a
    rank: the median, not the mean, stands for it.
    """
    found = [float(r) for r in ratings]
    if not found or not all(0 <= r <= 6 for r in found):
        raise ImpossibleInput("ratings: at least one, each from 0 to 6")
    return Answer(float(median(found)),
                  details={"n": len(found), "least": min(found), "most": max(found)})


@formula(unit="%", source="nrcs-soil-quality-kit", locator="water-stable aggregates",
         how="memory", valid={"organic_matter_pct": (0.4, 12)})
def stable_aggregates_suitable_pct(organic_matter_pct: Percent) -> Answer:
    """Share of aggregates that should be stable in water, by the organic matter of the soil.

    Parameters
    ----------
    organic_matter_pct : float
        Organic matter [%], 0.4 to 12.

    Returns
    -------
    float
        Suitable share by wet sieving [%]; the ends of the table outside its range. ``details``
        hold nothing more than ``between``, the rows used.

    Notes
    -----
    A straight line between two rows is our own step.
    """
    rows = [(float(r["organic_matter_pct"]), float(r["suitable_pct"]))
            for r in load("soil_life/stable_aggregates")]
    inside = min(max(organic_matter_pct, rows[0][0]), rows[-1][0])
    (x0, y0), (x1, y1) = next((low, high) for low, high in pairwise(rows) if inside <= high[0])
    return Answer(y0 + (y1 - y0) * (inside - x0) / (x1 - x0),
                  details={"between": f"{x0:g}-{x1:g}"},
                  within_range=inside == organic_matter_pct)
