"""Penetration resistance: how much of a field is dense, where the layer lies, what is advised.

A cone reads soil strength, which depends on water as much as on density. Readings decide
about loosening only at field capacity; nothing here corrects for water, because one equation
holds for one soil only (Busscher and others 1997).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial
from itertools import pairwise
from statistics import median

from loambrief.agronomy.intervals import COVERAGE_PCT, binomial_interval, confidence, numbers
from loambrief.agronomy.possible import NotNegative
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import DataRow, load, named_number
from loambrief.units import KPA_PER_PSI

constant = partial(named_number, "compaction/constants")


def threshold_psi(key: str) -> float:
    row = load("compaction/thresholds").find(key=key)
    return row["value"] * (1000.0 / KPA_PER_PSI if row["unit"] == "MPa" else 1.0)


def _resistances(readings: object, name: str = "readings") -> tuple[float, ...]:
    found = numbers(readings, name)
    if min(found) < 0:
        raise ImpossibleInput(f"{name}: resistance cannot be negative ({min(found):g})")
    return found


@formula(unit="%", source="clopper-pearson-1934", locator="exact interval", how="seen")
def compaction_share(
    readings: Iterable[float | None], threshold_psi: NotNegative, level: float = COVERAGE_PCT
) -> Answer:
    """Share of readings over a threshold, with its exact binomial interval.

    Parameters
    ----------
    readings : sequence of float or None
        Penetration resistance [psi]; None where none was taken.
    threshold_psi : float
        Counted if above it [psi].
    level : float
        Confidence level of the interval [% or fraction].

    Returns
    -------
    float
        Readings over the threshold [% of readings taken]; ``details`` hold ``over``, ``n``,
        ``low`` and ``high`` [%].

    Notes
    -----
    A reading equal to the threshold does not count. To rate a field, give the highest
    reading of each measuring point within the rated depth. The interval takes points as
    independent; neighbouring readings of one push are not, so for all depths together it is
    too narrow.
    """
    found = _resistances(readings)
    over = sum(r > threshold_psi for r in found)
    low, high = binomial_interval(over, len(found), level)
    notes = []
    if len(found) < constant("points_low"):
        notes.append(f"{len(found)} points; {constant('points_low'):g} to "
                     f"{constant('points_high'):g} are asked for in a small field")
    return Answer(
        100.0 * over / len(found),
        notes=tuple(notes),
        details={"over": over, "n": len(found), "low": 100 * low, "high": 100 * high,
                 "level": 100 * confidence(level)},
    )


@formula(unit="%", source="duiker-2002-af63", locator="rating table", how="memory",
         valid={"share_pct": (0.0, 100.0)})
def compaction_rating(
    share_pct: float, low_pct: float | None = None, high_pct: float | None = None
) -> Answer:
    """Compaction class of a field by its share of points over 300 psi in the top 15 in.

    Parameters
    ----------
    share_pct : float
        Measuring points over 300 psi [% of points].
    low_pct, high_pct : float or None
        Interval of that share [% of points], to see which classes it reaches.

    Returns
    -------
    str
        ``little or none``, ``slight``, ``moderate`` or ``severe`` [class]; ``details`` hold
        ``subsoiling`` (yes or no), and ``low_rating``, ``high_rating`` and ``certain`` if an
        interval was given.

    Notes
    -----
    The table speaks of measuring points (pushes), not of single readings. It holds for readings at
    field capacity. In long-term no-till, sod and forest the same readings may not be a problem: dig
    and look at roots and structure first. Sources: duiker-2002-af63 (from memory, unverified);
    uky-id153-sefp for the limit of 50 %.
    """
    row = _rating(share_pct)
    details: dict[str, object] = {"subsoiling": row["subsoiling"]}
    if low_pct is not None and high_pct is not None:
        low, high = _rating(low_pct), _rating(high_pct)
        details |= {"low_rating": low["rating"], "high_rating": high["rating"],
                    "certain": low["rating"] == high["rating"]}
    return Answer(row["rating"], unit="class", details=details)


def _rating(share_pct: float) -> DataRow:
    if not 0 <= share_pct <= 100:
        raise ImpossibleInput(f"a share is 0 to 100 % (found {share_pct:g})")
    for row in load("compaction/rating"):
        if share_pct < row["high_pct"] or (row["high_in"] and share_pct == row["high_pct"]):
            return row
    raise ImpossibleInput(f"no class holds {share_pct:g} %")  # the table ends at 100


@formula(unit="psi", source="duiker-sefp", locator="page 1", how="seen")
def penetration_profile(
    depths_in: Sequence[float], profiles: Sequence[Sequence[float | None]],
    threshold_psi: float = 300,
) -> Answer:
    """Median, highest reading and share over a threshold at each depth.

    Parameters
    ----------
    depths_in : sequence of float
        Depths of the readings, top first [in].
    profiles : sequence of sequences of float or None
        One push each, one reading per depth [psi]; None where none was taken.
    threshold_psi : float
        Counted if above it [psi].

    Returns
    -------
    float
        Highest of the medians [psi]; ``details`` hold ``depth_in`` of it and, for each
        depth, ``median_psi``, ``highest_psi``, ``share_pct`` and ``taken``.

    Raises
    ------
    ImpossibleInput
        No push, depths that do not increase, a push with more readings than depths, or a
        depth without any reading at all.

    Notes
    -----
    A push may be shorter than the others (a stone). Fewer pushes then stand behind the deeper
    medians: ``taken`` says how many. Sources: duiker-sefp (the depths where a level is passed);
    statistics by definition.
    """
    depths = _depths(depths_in)
    pushes = [tuple(p) for p in profiles]
    if not pushes:
        raise ImpossibleInput("profiles: at least one push is needed")
    if any(len(p) > len(depths) for p in pushes):
        raise ImpossibleInput("profiles: a push has more readings than there are depths")
    medians, highest, shares, taken = [], [], [], []
    for i, depth in enumerate(depths):
        column = _resistances([p[i] for p in pushes if i < len(p)] or None,
                              f"readings at {depth:g} in")
        medians.append(median(column))
        highest.append(max(column))
        shares.append(100.0 * sum(r > threshold_psi for r in column) / len(column))
        taken.append(len(column))
    best = max(range(len(depths)), key=lambda i: (medians[i], -i))
    return Answer(
        medians[best],
        details={"depth_in": depths[best], "depths_in": list(depths), "median_psi": medians,
                 "highest_psi": highest, "share_pct": shares, "taken": taken},
    )


def _depths(depths_in: Sequence[float]) -> tuple[float, ...]:
    depths = numbers(depths_in, "depths_in")
    if depths[0] < 0 or any(b <= a for a, b in pairwise(depths)):
        raise ImpossibleInput("depths_in must begin at or below the surface and increase")
    return depths


@formula(unit="in", source="cornell-nrcca-ca0435", locator="rule for reading depths", how="seen")
def compacted_layer(
    depths_in: Sequence[float], readings_psi: Sequence[float | None], threshold_psi: float = 300
) -> Answer:
    """Depths at which resistance first rises over a threshold and falls below it again.

    Parameters
    ----------
    depths_in : sequence of float
        Depths of the readings, top first [in].
    readings_psi : sequence of float or None
        Readings of one push, or medians, at those depths [psi].
    threshold_psi : float
        Level that is passed [psi].

    Returns
    -------
    float or None
        Depth of the top of the first layer [in]; None if the level is never passed.
        ``details`` hold ``top_in``, ``bottom_in`` (None if still over at the deepest
        reading), ``open_above``, ``open_below``, ``first_over_in``, ``first_under_in`` and
        ``layers`` (number of separate layers).

    Raises
    ------
    ImpossibleInput
        Depths that do not increase, unequal lengths, no reading, or a negative one.

    Notes
    -----
    The published rule notes the marks at which the needle passes the level. Between two
    marks this formula interpolates on a straight line (our addition); ``first_over_in`` and
    ``first_under_in`` are the marks themselves, and the truth lies somewhere between marks.
    Depths without a reading are left out. A layer already over at the first mark is open
    above.
    """
    depths = _depths(depths_in)
    if len(depths) != len(readings_psi):
        raise ImpossibleInput("as many readings as depths are needed (None where none was taken)")
    known = [(d, r) for d, r in zip(depths, readings_psi, strict=True) if r is not None]
    _resistances([r for _, r in known], "readings_psi")
    over = [r > threshold_psi for _, r in known]
    layers = sum(now and not before for before, now in zip([False, *over], over, strict=False))
    if not layers:
        return Answer(None, notes=(f"no reading over {threshold_psi:g} psi",),
                      details={"top_in": None, "bottom_in": None, "layers": 0})
    first = over.index(True)
    after = next((i for i in range(first, len(known)) if not over[i]), None)
    top = known[0][0] if first == 0 else _crossing(known[first - 1], known[first], threshold_psi)
    bottom = None if after is None else _crossing(known[after - 1], known[after], threshold_psi)
    notes = []
    if after is None:
        notes.append("still over the level at the deepest reading: the bottom was not found")
    if layers > 1:
        notes.append(f"{layers} separate layers; these depths are of the first")
    return Answer(
        top,
        notes=tuple(notes),
        details={
            "top_in": top,
            "bottom_in": bottom,
            "open_above": first == 0,
            "open_below": after is None,
            "first_over_in": known[first][0],
            "first_under_in": None if after is None else known[after][0],
            "layers": layers,
        },
    )


def _crossing(upper: tuple[float, float], lower: tuple[float, float], level: float) -> float:
    (d1, r1), (d2, r2) = upper, lower
    return d1 + (d2 - d1) * (level - r1) / (r2 - r1)
