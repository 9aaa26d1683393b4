"""What was measured beside the ranges that others publish for it, so that their spread is seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import Scale
from loambrief.charts.model import ChartSpec, any_number, is_number
from loambrief.charts.registry import chart

if TYPE_CHECKING:
    from loambrief.charts.sheet import Entry, Sheet

BAND = 9.0
BEYOND = 1.12
"""Room on the scale beyond the largest number of a test."""


@dataclass(frozen=True)
class PublishedRange:
    """Low and high by one publication; ``high`` is None where it draws one line only."""

    label: str
    low: float
    high: float | None
    printed: str


@dataclass(frozen=True)
class RangeTest:
    """One test at one place, with its value in words, beside what is published for it."""

    label: str
    value: float
    ranges: tuple[PublishedRange, ...]


@dataclass(frozen=True, kw_only=True)
class RangesSpec(ChartSpec):
    """Tests against published ranges, each test on a scale of its own from zero."""

    tests: tuple[RangeTest, ...]

    split = "tests"

    def has_data(self) -> bool:
        return any_number(t.value for t in self.tests if t.ranges)

    def facts(self) -> dict[str, Any]:
        return {"tests": [{"label": t.label, "ranges": [
            {"label": r.label, "printed": r.printed} for r in t.ranges]} for t in self.tests]}


@chart(RangesSpec, "ranges")
def draw(sheet: Sheet, spec: RangesSpec) -> None:
    """A lane for each publication; the value is one line through all lanes of its test."""
    t, width = sheet.theme, sheet.width
    _signs(sheet, spec)
    wide = width >= 380
    left = width * 0.46 if wide else 0.0
    for test in spec.tests:
        sheet.y = sheet.paragraph(0, sheet.y + 3, test.label, width, weight="bold")
        if not is_number(test.value):
            continue
        ends = [test.value, *(v for r in test.ranges for v in (r.low, r.high) if is_number(v))]
        across = Scale(0.0, max(ends) * BEYOND or 1.0, left + 4, width - 4)
        lanes: list[tuple[PublishedRange, float]] = []
        for one in test.ranges:
            _, middle = sheet.row(one.label, one.printed, left - 8 if wide else width, wide, BAND)
            lanes.append((one, middle))
        ax = sheet.axes(across)
        for one, middle in lanes:
            top, bottom = middle - BAND / 2, middle + BAND / 2
            sheet.line([across.low, across.high], [middle, middle], "rule", t.hairline, on=ax)
            end = across.high if one.high is None else one.high
            sheet.rect(one.low, top, end, bottom, "faint" if one.high is not None else None,
                       "second", t.hairline, "" if one.high is not None else "/", on=ax)
        for _, middle in lanes:
            sheet.line([test.value, test.value], [middle - BAND / 2 - 2, middle + BAND / 2 + 2],
                       "ink", t.strong, on=ax)
            sheet.marks([test.value], [middle], "o", 6.0, "ink", "paper", 0.8, on=ax)
        sheet.y += 2
        sheet.line([0, width], [sheet.y, sheet.y], "faint", 0.7)


def _signs(sheet: Sheet, spec: RangesSpec) -> None:
    w = spec.words
    highs = {r.high is None for test in spec.tests for r in test.ranges}
    entries: list[Entry] = [sheet.sign(w.measured, "o", 6.0, "ink", "paper", 0.8)]
    if False in highs:
        entries.append(sheet.swatch(w.between, fill="faint", edge="second"))
    if True in highs:
        entries.append(sheet.swatch(w.good_from, edge="second", hatch="/"))
    sheet.key(entries)
