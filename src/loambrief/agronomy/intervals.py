"""The coverage of every range, and intervals on small samples. Plain numbers, no formulas.

**One coverage.** Every range that comes of errors holds the true value in ``COVERAGE_PCT`` of
100 cases; ``Z`` belongs to it and stands nowhere else. A result that cannot be negative (a
concentration, an ECe) varies on the log scale, as errors of it are shares of the value; a pH is
a logarithm already and varies plainly. Limits that a source prints without saying what lies
between them are taken as a rectangle, as the ISO guide to measurement uncertainty does. What comes
of several independent errors adds up as squares, each way for itself, on the scale of the answer:
a rate may fall to nothing at one end, where it has no logarithm. Where a table makes the answer
jump, the range holds the answers at all values inside the range of the reading, so that it covers
at least as much. Where one error makes another smaller (the rules of leaching lie closer together
where there is less salt), the ends are sought where all have moved by their part. A need that
starts at a line reaches down to none where the range of the reading reaches that line; what a plan
does turns on one standard error instead. What is chosen and not measured (guide, crop, yield goal,
lime table) is taken as it is.

**Small samples.** Student t, binomial, Welch. Written here because importing a statistics library
takes longer than a whole advisory; the tests hold every function against one.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from statistics import NormalDist

from loambrief.errors import ImpossibleInput

COVERAGE_PCT = 90.0
"""Share of cases in which a printed range holds the true value [%]: our choice, a usual one."""
Z = NormalDist().inv_cdf(0.5 + COVERAGE_PCT / 200.0)
"""Standard errors from the middle of a normal error to the ends of that range."""
RECTANGLE = Z / math.sqrt(3.0)
"""The same for half the width of a rectangle, of which one standard deviation is 1/sqrt(3)."""
_TINY = 1e-300
_STEPS = 400


def numbers(values: object, name: str, least: int = 1) -> tuple[float, ...]:
    """Readings as floats; a single number counts as one reading, None as not taken.

    Parameters
    ----------
    values : number or iterable of number or None
        The readings.
    name : str
        What they are, for the message.
    least : int
        Fewest readings that will do.

    Raises
    ------
    ImpossibleInput
        Text, true/false or infinity among them, or too few.
    """
    if isinstance(values, int | float) or values is None:
        values = (values,)
    if isinstance(values, str) or not isinstance(values, Iterable):
        raise ImpossibleInput(f"{name}: wanted a list of numbers, found {values!r}")
    found = []
    for value in values:
        if value is None:
            continue
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ImpossibleInput(f"{name}: {value!r} is not a number")
        if not math.isfinite(value):
            raise ImpossibleInput(f"{name}: {value!r} is not a finite number")
        found.append(float(value))
    if len(found) < least:
        raise ImpossibleInput(f"{name}: {len(found)} given, at least {least} needed")
    return tuple(found)


def confidence(level: float) -> float:
    """A confidence level as a fraction: 95 and 0.95 both mean 95 %.

    Raises
    ------
    ImpossibleInput
        At or below 0, exactly 1, or at or above 100.
    """
    if isinstance(level, bool) or not isinstance(level, int | float):
        raise ImpossibleInput(f"level: {level!r} is not a number")
    fraction = level / 100.0 if level > 1 else float(level)
    if level == 1 or not 0 < fraction < 1:
        raise ImpossibleInput(f"level: {level:g} is not a confidence level such as 95 or 0.95")
    return fraction


def log_ends(value: float, cv_pct: float) -> tuple[float, float]:
    """Ends of the range of a positive value from its coefficient of variation [%]."""
    apart = math.exp(Z * math.sqrt(math.log1p((cv_pct / 100.0) ** 2)))
    return value / apart, value * apart


def plain_ends(value: float, error: float) -> tuple[float, float]:
    """Ends of the range of a value from its standard error [unit of the value]."""
    return value - Z * error, value + Z * error


def within_limits(best: float, low: float, high: float) -> tuple[float, float]:
    """Ends of the range between printed limits, which bound a rectangle about ``best``."""
    return best - RECTANGLE * (best - low), best + RECTANGLE * (high - best)


def combined(best: float, *alone: Iterable[float]) -> tuple[float, float]:
    """Ends of the range of an answer that rests on several independent errors.

    Each of ``alone`` holds the answers at the ends of one error's own range, all else at its
    reading, ``best`` the answer with every input at its reading. What the errors take off and what
    they add is summed apart, as the root of the squares.
    """
    ends = [tuple(answers) for answers in alone]
    less = math.sqrt(sum((best - min(best, *e)) ** 2 for e in ends if e))
    more = math.sqrt(sum((max(best, *e) - best) ** 2 for e in ends if e))
    return best - less, best + more


def on_lines(at: float, points: Sequence[tuple[float, float]]) -> float:
    """A value on straight lines between points, held at the ends."""
    if at <= points[0][0]:
        return points[0][1]
    for (x0, y0), (x1, y1) in pairwise(points):
        if at <= x1:
            return y0 + (at - x0) / (x1 - x0) * (y1 - y0)
    return points[-1][1]


def mean_sd(values: tuple[float, ...]) -> tuple[float, float]:
    """Mean and sample standard deviation (n - 1); the latter is nan for one value."""
    mean = math.fsum(values) / len(values)
    if len(values) < 2:
        return mean, math.nan
    squares = math.fsum((v - mean) ** 2 for v in values)
    return mean, math.sqrt(squares / (len(values) - 1))


def incomplete_beta(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta function I_x(a, b), by its continued fraction."""
    if x <= 0:
        return 0.0
    if x >= 1:
        return 1.0
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
        + a * math.log(x) + b * math.log1p(-x)
    )
    if x > (a + 1) / (a + b + 2):
        return 1.0 - front * _fraction(b, a, 1.0 - x) / b
    return front * _fraction(a, b, x) / a


def _fraction(a: float, b: float, x: float) -> float:
    """Continued fraction of the incomplete beta function (modified Lentz steps)."""
    c, d = 1.0, 1.0 / _away(1.0 - (a + b) * x / (a + 1.0))
    h = d
    for m in range(1, _STEPS):
        for step in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1.0 / _away(1.0 + step * d)
            c = _away(1.0 + step / c)
            h *= d * c
        if abs(d * c - 1.0) < 1e-15:
            return h
    return h


def _away(value: float) -> float:
    return value if abs(value) > _TINY else _TINY


def beta_quantile(p: float, a: float, b: float) -> float:
    """x with I_x(a, b) = p, by halving."""
    low, high = 0.0, 1.0
    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if incomplete_beta(a, b, middle) < p:
            low = middle
        else:
            high = middle
    return (low + high) / 2


@cache
def t_two_sided(level: float, df: float) -> float:
    """Student's t that leaves (1 - level) outside both sides, for ``df`` degrees of freedom.

    Raises
    ------
    ImpossibleInput
        Less than some degree of freedom, or not a level.
    """
    fraction = confidence(level)
    if not df > 0:
        raise ImpossibleInput(f"t needs more than 0 degrees of freedom (found {df:g})")
    tail = 1.0 - fraction
    low, high = 0.0, 1.0
    while incomplete_beta(df / 2, 0.5, df / (df + high * high)) > tail:
        low, high = high, high * 2
    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if incomplete_beta(df / 2, 0.5, df / (df + middle * middle)) > tail:
            low = middle
        else:
            high = middle
    return (low + high) / 2


@cache
def binomial_interval(count: int, n: int, level: float) -> tuple[float, float]:
    """Exact (Clopper and Pearson) interval of a proportion, as fractions."""
    half = (1.0 - confidence(level)) / 2
    low = 0.0 if count == 0 else beta_quantile(half, count, n - count + 1)
    high = 1.0 if count == n else beta_quantile(1.0 - half, count + 1, n - count)
    return low, high


@dataclass(frozen=True)
class Difference:
    """Difference of two means. The interval is None where a side has a single value."""

    value: float
    se: float | None
    df: float | None
    half_width: float | None

    @property
    def low(self) -> float | None:
        return None if self.half_width is None else self.value - self.half_width

    @property
    def high(self) -> float | None:
        return None if self.half_width is None else self.value + self.half_width


def welch(first: tuple[float, ...], second: tuple[float, ...], level: float) -> Difference:
    """Difference of means, first minus second, without assuming equal spread.

    Where neither side varies at all the standard error is zero and says nothing; no
    interval is given then.
    """
    (m1, s1), (m2, s2) = mean_sd(first), mean_sd(second)
    if len(first) < 2 or len(second) < 2:
        return Difference(m1 - m2, None, None, None)
    v1, v2 = s1 * s1 / len(first), s2 * s2 / len(second)
    if v1 + v2 == 0:
        return Difference(m1 - m2, 0.0, None, None)
    df = (v1 + v2) ** 2 / (v1 * v1 / (len(first) - 1) + v2 * v2 / (len(second) - 1))
    se = math.sqrt(v1 + v2)
    return Difference(m1 - m2, se, df, t_two_sided(level, df) * se)
