"""Distributions side by side: for each group the middle half, the median and both ends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import Scale, text_width, tick_text, ticks
from loambrief.charts.model import ChartSpec, any_number, is_number, worded
from loambrief.charts.registry import chart
from loambrief.numbers import figures

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from loambrief.charts.sheet import Entry, Sheet

BOX = 9.0
LEAST_BOX = 4
"""Values from which a box is drawn: of fewer the quarters say nothing."""


@dataclass(frozen=True)
class SpreadRow:
    """One group: lowest, lower quarter, median, upper quarter, highest; None without values.

    ``values`` are the single ones where there are too few for a box; a number no higher than
    ``below`` is only a limit of the laboratory, and is printed as one.
    """

    label: str
    detail: str = ""
    count: int = 0
    summary: tuple[float, float, float, float, float] | None = None
    values: tuple[float, ...] = ()
    below: float | None = None

    def sign(self, value: float) -> str:
        return "<" if self.below is not None and value <= self.below else ""

    @property
    def shown(self) -> tuple[float, float, float, float, float] | None:
        """The summary if every number of it can be drawn."""
        whole = self.summary is not None and all(map(is_number, self.summary))
        return self.summary if whole else None


@dataclass(frozen=True, kw_only=True)
class SpreadSpec(ChartSpec):
    """Groups of values on one scale."""

    rows: tuple[SpreadRow, ...]
    unit: str = ""
    digits: int | None = None

    split = "rows"

    def has_data(self) -> bool:
        return any_number(v for r in self.rows for v in r.shown or ())

    def facts(self) -> dict[str, Any]:
        def row(r: SpreadRow) -> dict[str, Any]:
            found = [None if v is None else worded(v, self.digits, censor=r.sign(v))
                     for v in r.shown or (None,) * 5]
            return {"label": r.label, "count": r.count, "low": found[0], "lower": found[1],
                    "median": found[2], "upper": found[3], "high": found[4]}

        return {"unit": self.unit, "rows": [row(r) for r in self.rows]}


@chart(SpreadSpec, "spread")
def draw(sheet: Sheet, spec: SpreadSpec) -> None:
    """A row a group; what was not measured says so in words."""
    width, t = sheet.width, sheet.theme
    _signs(sheet, spec)
    wide = width >= 380
    left = width * 0.34 if wide else 0.0
    printed = [_printed(row, spec) for row in spec.rows]
    room = max(text_width(text, t.small) for text in printed) + 10
    right = max(width - room, left + width * 0.2) if wide else width
    values = [v for row in spec.rows for v in row.shown or ()]
    pad = (max(values) - min(values)) * 0.05 or abs(values[0]) * 0.1 or 1.0
    low = min(values) - pad
    low = 0.0 if min(values) >= 0 and (low < 0 or min(values) < 0.3 * max(values)) else low
    across = Scale(low, max(values) + pad, left + 4, right - 4)
    marks = ticks(across.low, across.high, max(2, int((across.end - across.start) / 44)))
    ax = sheet.axes(across)
    lanes: list[tuple[float, float]] = []
    placed: list[tuple[SpreadRow, float]] = []
    for row, text in zip(spec.rows, printed, strict=True):
        detail = row.detail if wide else ", ".join(x for x in (row.detail, text) if x)
        top = sheet.y
        _, middle = sheet.row(row.label, detail, left - 8 if wide else width, wide, BOX)
        if wide:
            sheet.middle(width, middle, text, t.small, align="right",
                         colour="ink" if row.shown else "muted")
        lanes.append((top if wide else middle - BOX, sheet.y if wide else middle + BOX / 2 + 2))
        placed.append((row, middle))
        sheet.line([0, width], [sheet.y, sheet.y], "faint", 0.7)
    sheet.strokes([((v, v), lane) for v in marks for lane in lanes], "faint", t.hairline, on=ax)
    for row, middle in placed:
        _group(sheet, row, ax, middle)
    sheet.scale_below(across, list(zip(marks, tick_text(marks), strict=True)), left=across.start)
    sheet.y += 2


def _printed(row: SpreadRow, spec: SpreadSpec) -> str:
    """Median and both ends in words."""
    if row.shown is None:
        return spec.words.not_measured
    low, _, median, _, high = (row.sign(v) + figures(v, spec.digits) for v in row.shown)
    return median if low == high else f"{median} ({spec.words.to.format(low, high)})"


def _group(sheet: Sheet, row: SpreadRow, ax: Axes, y: float) -> None:
    """Line from end to end, box over the middle half, thick median."""
    if row.shown is None:
        return
    t, half = sheet.theme, BOX / 2
    low, lower, median, upper, high = row.shown
    if high > low:
        sheet.line([low, high], [y, y], "second", t.line, on=ax)
    if row.count >= LEAST_BOX and upper > lower:
        sheet.rect(lower, y - half, upper, y + half, "accent_soft", "accent", t.line, on=ax)
    elif row.values:
        sheet.marks(list(row.values), [y] * len(row.values), "o", 3.4, "paper", "second", 0.9,
                    on=ax)
    sheet.line([median, median], [y - half, y + half], "ink", t.strong + 0.6, on=ax)


def _signs(sheet: Sheet, spec: SpreadSpec) -> None:
    w, t = spec.words, sheet.theme
    half = BOX / 2 - 1

    def box(x: float, y: float) -> None:
        sheet.line([x, x + 26], [y, y], "second", t.line)
        sheet.rect(x + 7, y - half, x + 19, y + half, "accent_soft", "accent", t.line)

    def median(x: float, y: float) -> None:
        sheet.line([x + 2, x + 2], [y - half, y + half], "ink", t.strong + 0.6)

    entries: list[Entry] = [(median, 5.0, w.median)]
    if any(r.shown and r.count >= LEAST_BOX for r in spec.rows):
        entries.append((box, 26.0, w.middle_half))
    if any(r.shown and r.values and r.count < LEAST_BOX for r in spec.rows):
        entries.append(sheet.sign(w.readings, "o", 3.4, "paper", "second", 0.9))
    sheet.key(entries)
