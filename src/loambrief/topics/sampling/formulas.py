"""How far a number can be trusted: intervals and how many samples it takes.

A level of confidence may be written 95 or 0.95.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from loambrief.agronomy.guides import find_guide
from loambrief.agronomy.intervals import (
    COVERAGE_PCT,
    confidence,
    mean_sd,
    numbers,
    t_two_sided,
    welch,
)
from loambrief.agronomy.possible import NotNegative, Positive
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load
from loambrief.topics.sampling.formulas_error import constant

MOST_SAMPLES = 100_000


@formula(unit="as given", source="student-1908", locator="mean and its probable error", how="seen")
def mean_interval(values: Iterable[float | None], level: float = COVERAGE_PCT) -> Answer:
    """Mean of a few readings with its confidence interval.

    Parameters
    ----------
    values : sequence of float or None
        Independent readings [any unit]; None where none was taken.
    level : float
        Confidence level [% or fraction].

    Returns
    -------
    float
        Mean [unit of the values]; ``details`` hold ``half_width``, ``low``, ``high``,
        ``sd``, ``cv_pct`` (None for a mean of zero), ``n`` and ``t``.

    Notes
    -----
    Mean +- t s / square root of n, Student's t with n - 1 degrees of freedom. It assumes
    readings spread evenly around their mean; infiltration and nutrients are skewed, and the
    interval is then only rough. It covers chance, not a wrong method.
    """
    found = numbers(values, "values", 2)
    mean, sd = mean_sd(found)
    t = t_two_sided(confidence(level), len(found) - 1)
    half = t * sd / math.sqrt(len(found))
    return Answer(
        mean,
        details={"half_width": half, "low": mean - half, "high": mean + half, "sd": sd,
                 "cv_pct": None if mean == 0 else 100 * sd / abs(mean), "n": len(found), "t": t,
                 "level": 100 * confidence(level)},
    )


@formula(unit="as given", source="welch-1947", locator="two means, unequal spread", how="seen")
def difference_interval(
    first: Iterable[float | None], second: Iterable[float | None], level: float = COVERAGE_PCT
) -> Answer:
    """Difference of two means with its interval, spread not taken as equal.

    Parameters
    ----------
    first, second : sequence of float or None
        Independent readings of two things [any unit].
    level : float
        Confidence level [% or fraction].

    Returns
    -------
    float
        Mean of the first minus mean of the second [unit of the values]; ``details`` hold
        ``low``, ``high``, ``half_width``, ``se``, ``df`` and ``t`` (the statistic).

    Raises
    ------
    ImpossibleInput
        Fewer than two readings on a side, no spread on either, or no such level.

    Notes
    -----
    Welch's interval with Satterthwaite's degrees of freedom.
    """
    a, b = numbers(first, "first", 2), numbers(second, "second", 2)
    found = welch(a, b, level)
    if found.half_width is None or not found.se:
        raise ImpossibleInput("neither side varies at all: no interval can be given")
    return Answer(
        found.value,
        details={"low": found.low, "high": found.high, "half_width": found.half_width,
                 "se": found.se, "df": found.df, "t": found.value / found.se,
                 "level": 100 * confidence(level)},
    )


@formula(unit="samples", source="quadrat-exercise", locator="n = t2 s2 / E2", how="seen")
def samples_needed(t: Positive, sd: NotNegative, error: Positive) -> Answer:
    """Samples needed so that the mean is known within a wanted error.

    Parameters
    ----------
    t : float
        Student's t of the wanted confidence [1]; 1.96 for 95 % and many samples.
    sd : float
        Standard deviation between samples [any unit, or % of the mean].
    error : float
        Wanted half-width of the interval [same unit].

    Returns
    -------
    float
        n = (t sd / error)2 [samples], not rounded; ``details`` hold ``whole``, rounded up.

    Notes
    -----
    The other form, n = 4 t2 s2 / L2, has the full width L = 2 x error. t itself depends on n:
    ``samples_needed_iterated`` repeats until both fit. Sources: soil-probe-manual-b (full width).
    """
    n = (t * sd / error) ** 2
    return Answer(n, details={"whole": max(math.ceil(n - 1e-9), 1)})


@formula(unit="samples", source="own-arithmetic", locator="n = (t CV / E)2 until t fits n",
         how="convention", valid={"cv_pct": (1.0, 200.0), "error_pct": (1.0, 100.0)})
def samples_needed_iterated(cv_pct: Positive, error_pct: Positive, level: float = 95) -> Answer:
    """Samples needed for a wanted error, with the t that belongs to that number.

    Parameters
    ----------
    cv_pct : float
        Coefficient of variation between samples [% of the mean].
    error_pct : float
        Wanted half-width of the interval [% of the mean].
    level : float
        Confidence level [% or fraction].

    Returns
    -------
    float
        Smallest whole number that is enough [samples]; ``details`` hold ``t``.

    Raises
    ------
    ImpossibleInput
        CV or error at or below zero, no such level, or more samples than anyone takes.

    Notes
    -----
    The smallest n of at least 2 with n >= (t(n - 1) CV / E)2. Repeating the formula with the last
    t, as handbooks do, ends at the same number or one beside it. Sources: Arithmetic on Student's
    t.
    """
    fraction = confidence(level)
    ratio = cv_pct / error_pct
    if (2.0 * ratio) ** 2 > MOST_SAMPLES:
        raise ImpossibleInput(f"this would take more than {MOST_SAMPLES} samples")
    low, high = 1, 2
    while not _enough(high, ratio, fraction):
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _enough(middle, ratio, fraction) else (middle, high)
    n = high
    return Answer(float(n), details={"t": t_two_sided(fraction, n - 1)})


def _enough(n: int, ratio: float, fraction: float) -> bool:
    return n >= (t_two_sided(fraction, n - 1) * ratio) ** 2 - 1e-9


AGES = "sampling/sample_age"
GENERAL = "general"
CURRENT, PAST, TOO_OLD = "current", "past the interval", "too old for a rate"


@formula(unit="class", source="isu-soil-sampling-2023", locator="when to sample", how="seen",
         valid={"age_years": (0.0, 30.0)})
def sample_age_class(age_years: NotNegative, test: str = GENERAL,
                     guide: str | None = None) -> Answer[str]:
    """Whether a soil sample is still current.

    Parameters
    ----------
    age_years : float
        Time between sampling and the advice [years].
    test : str
        ``"general"``, ``"nitrogen"`` or ``"sulfur"``; any other test counts as general.
    guide : str or None
        Name of the fertilizer guide; its own interval goes before the general one.

    Returns
    -------
    str
        ``"current"``, ``"past the interval"`` (lower rank and confidence) or ``"too old for a
        rate"`` [class]; the interval itself is still current. ``details`` hold
        ``interval_years``, ``too_old_years`` and ``own_guide``.

    Raises
    ------
    UnknownName
        No such guide.

    Notes
    -----
    Samples are taken every 2 to 4 years or once in a rotation; nitrate and sulfate each year, and
    what is a year old says nothing of them. From one and a half times the interval on no rate is
    given: that factor is our choice, no publication states one. Sources: osu-agbmps-sampling;
    fall-soil-sampling.
    """
    rows = {row["test"]: row for row in load(AGES)}
    row = rows.get(test, rows[GENERAL])
    interval, source, how, own = row["interval_years"], row["source"], row["how"], False
    if guide is not None and row["test"] == GENERAL:
        held = find_guide(guide)
        if held.interval_years is not None:
            interval, source, how, own = (held.interval_years, held.interval_reference,
                                          held.interval_how, True)
    oldest = interval if row["test"] != GENERAL else interval * constant("too_old_factor")
    value = CURRENT if age_years <= interval else PAST if age_years <= oldest else TOO_OLD
    return Answer(value, source=source, locator="" if own else row["locator"], how=how,
                  details={"interval_years": interval, "too_old_years": oldest,
                           "own_guide": own})
