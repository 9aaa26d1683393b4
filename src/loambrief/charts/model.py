"""What all charts share: the base of every spec, thresholds, and the fixed words.

Numbers are in the units named beside them, already in the reader's system; charts never
convert. Texts are finished sentences. A value that was not measured is None: it is shown as
missing, never as zero.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, ClassVar, Self, TypeGuard

from loambrief.numbers import ENGLISH, NBSP, Ends, Signs, figures, percent, symbol


@dataclass(frozen=True)
class FixedWords:
    """Fixed words of one language by name: ``words.median`` is the macro ``word_median``."""

    texts: tuple[tuple[str, str], ...]

    @cached_property
    def _by_name(self) -> Mapping[str, str]:
        return dict(self.texts)

    def __getattr__(self, name: str) -> str:
        if name.startswith("_") or name not in self._by_name:
            raise AttributeError(f"there is no word_{name} among the fixed words")
        return self._by_name[name]


@dataclass(frozen=True)
class ChartWords(FixedWords):
    """Those of the charts, in ``charts.j2``. A kind of chart names what it needs and puts it
    there.
    """

    months: tuple[str, ...]
    """Short names, January first."""
    signs: Signs = ENGLISH
    """Those the numbers of the chart are written with."""


@dataclass(frozen=True, kw_only=True)
class ChartSpec:
    """What all charts have; each kind adds its data."""

    title: str
    """The finding in one sentence, not the name of the chart."""
    words: ChartWords
    subtitle: str = ""
    """What is drawn, in which unit, under which conditions."""
    note: str = ""
    """Source and caution, printed small under the chart."""
    alt: str = ""
    """Text alternative that states the numbers (``chart_text.describe`` writes one)."""

    split: ClassVar[str] = ""
    """The field that a chart higher than a page is split along; empty: never split."""

    def has_data(self) -> bool:
        """True if there is at least one value to draw."""
        raise TypeError(f"{type(self).__name__} is not a chart spec")

    @property
    def conditions(self) -> str:
        """What is printed under the title."""
        return self.subtitle

    def facts(self) -> dict[str, Any]:
        """What the macro of the text alternative is given beside the title."""
        raise TypeError(f"{type(self).__name__} is not a chart spec")

    def items(self) -> int:
        """How many parts of one chart may stand on different pages."""
        return len(getattr(self, self.split)) if self.split else 0

    def halves(self, first_items: int = 0) -> tuple[Self, ...]:
        """Two parts of the chart, with so many items in the first, or half of them; empty if it
        cannot be split any further."""
        found = getattr(self, self.split) if self.split else ()
        if len(found) < 2:
            return ()
        middle = first_items or (len(found) + 1) // 2
        first: dict[str, Any] = {self.split: found[:middle]}
        second: dict[str, Any] = {self.split: found[middle:]}
        return replace(self, **first), replace(self, **second)


@dataclass(frozen=True)
class Threshold:
    """A line to hold values against. ``practice``: a rule of the trade without a source."""

    value: float
    label: str
    practice: bool = False

    @property
    def pattern(self) -> str:
        """Rules of the trade are dotted, published limits dashed."""
        return "dot" if self.practice else "dash"

    def named(self, practice: str) -> str:
        """The label; a rule of the trade says that it is one."""
        return f"{self.label} ({practice})" if self.practice else self.label

    def facts(self) -> dict[str, Any]:
        return {"value": figures(self.value), "label": self.label, "practice": self.practice}


def is_number(value: float | None) -> TypeGuard[float]:
    """True for a finite number; False for None and for what no scale can show."""
    return value is not None and math.isfinite(value)


def any_number(values: Iterable[float | None]) -> bool:
    return any(map(is_number, values))


def headed(label: str, unit: str) -> str:
    """Heading of a panel: what was measured, and its unit."""
    return f"{label}, {unit}" if unit else label


def worded(value: float | None, digits: int | None = None, unit: str = "",
           censor: str | None = None, within: Ends | None = None) -> str | None:
    """A number with its unit as a text alternative says it, None if there is none.

    ``within``: ends of its range, which limit its digits.
    """
    if not is_number(value):
        return None
    if unit == "%":
        return f"{censor or ''}{percent(value, digits, within=within)}"
    number = f"{censor or ''}{figures(value, digits, within=within)}"
    return f"{number}{NBSP if unit else ''}{symbol(unit)}"
