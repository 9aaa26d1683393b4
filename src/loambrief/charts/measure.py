"""Text measured and wrapped, and numbers along a line: what the layout of a chart rests on."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any

from loambrief.charts.fonts import advance, one_line
from loambrief.numbers import figures

LEADING = 1.26
MIDDLE = 0.355
"""Baseline below the middle of a line of text, in type sizes (half the cap height)."""
HATCHED: dict[str, Any] = {"fill": "paper", "edge": "second", "width": 0.7, "hatch": "/"}
"""What is worked out, tested or left out, beside a plain fill for what is so."""


@lru_cache(maxsize=2048)
def text_width(text: str, size: float, weight: str = "regular") -> float:
    """Width of a line of text [pt]."""
    return advance(one_line(text), size, weight)


def wrap(text: str, width: float, size: float, weight: str = "regular") -> list[str]:
    """Lines no wider than ``width`` [pt]; a word that is wider by itself is broken."""
    lines: list[str] = []
    line = ""
    for word in one_line(text).split(" "):
        if not word:
            continue
        joined = f"{line} {word}" if line else word
        if text_width(joined, size, weight) <= width:
            line = joined
            continue
        if line:
            lines.append(line)
        while text_width(word, size, weight) > width and len(word) > 1:
            n = len(word) - 1
            while n > 1 and text_width(word[:n], size, weight) > width:
                n -= 1
            lines.append(word[:n])
            word = word[n:]
        line = word
    return [*lines, line] if line else lines


def clear_right(x: float, width: float, lines: Sequence[float], end: float) -> float:
    """Left end for a label wanted at ``x``: moved past vertical lines it would cross.

    Stays where it is if there is no room before ``end``.
    """
    moved = x
    for line in sorted(lines):
        if moved - 2.5 < line < moved + width + 2.5:
            moved = line + 3.5
    return moved if moved + width <= end else x


@dataclass(frozen=True)
class Scale:
    """Numbers from ``low`` to ``high`` along a line from ``start`` to ``end`` [pt]."""

    low: float
    high: float
    start: float
    end: float
    log: bool = False

    def __call__(self, value: float) -> float:
        """Position of a number; numbers outside land on the nearer end."""
        value = self.held(value)
        low, high = self.low, self.high
        if self.log:
            value, low, high = math.log(value), math.log(low), math.log(high)
        return self.start + (value - low) / (high - low) * (self.end - self.start)

    def value(self, at: float) -> float:
        """The number that lies at a position [pt]."""
        share = (at - self.start) / (self.end - self.start)
        if self.log:
            return self.low * (self.high / self.low) ** share
        return self.low + share * (self.high - self.low)

    def held(self, value: float) -> float:
        """The number, or the nearer end of the scale."""
        return min(max(value, self.low), self.high)

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high


def ticks(low: float, high: float, most: int) -> list[float]:
    """Multiples of 1, 2 or 5 times a power of ten from ``low`` to ``high``.

    At most ``most`` steps, unless fewer than two ticks would be left.
    """
    if not high > low:
        return [low]
    from matplotlib.ticker import MaxNLocator

    found = MaxNLocator(nbins=max(most, 1), steps=[1, 2, 5, 10]).tick_values(low, high)
    slack = 1e-9 * (found[1] - found[0])
    return [float(v) for v in found if low - slack <= v <= high + slack]


def tick_text(values: Sequence[float]) -> list[str]:
    """Ticks in words, all with the same number of decimals."""
    step = min((b - a for a, b in pairwise(values)), default=1.0)
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    return [figures(v, digits) for v in values]


def log_ticks(low: float, high: float) -> list[float]:
    """1, 2 and 5 times powers of ten within a range."""
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    return [m * 10.0**p for p in powers for m in (1, 2, 5) if low <= m * 10.0**p <= high]
