"""Several samples or fields side by side: one small panel per measure, one row per sample."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import LEADING, Scale, clear_right, text_width, wrap
from loambrief.charts.model import ChartSpec, Threshold, any_number, is_number, worded
from loambrief.charts.registry import chart
from loambrief.numbers import figures

if TYPE_CHECKING:
    from loambrief.charts.sheet import Sheet

PANEL = 78.0
GAP = 12.0


@dataclass(frozen=True)
class CompareColumn:
    """One measure over the samples, in the order of ``CompareSpec.names``."""

    label: str
    unit: str
    values: tuple[float | None, ...]
    digits: int | None = None
    reference: Threshold | None = None
    low: float = 0.0
    """Where the scale starts; marks get a stem only from zero."""
    log: bool = False


@dataclass(frozen=True, kw_only=True)
class CompareSpec(ChartSpec):
    """Several samples or fields side by side, one small panel per measure."""

    names: tuple[str, ...]
    columns: tuple[CompareColumn, ...]

    def has_data(self) -> bool:
        return any_number(v for c in self.columns for v in c.values)

    split = "columns"

    def items(self) -> int:
        return 0  # columns stand side by side: fewer of them do not make it lower

    def halves(self, first_items: int = 0) -> tuple[CompareSpec, ...]:
        """Fewer measures first; then fewer samples."""
        if len(self.columns) > 1:
            return super().halves(first_items)
        if len(self.names) < 2:
            return ()
        middle = (len(self.names) + 1) // 2
        return tuple(
            replace(self, names=self.names[part],
                    columns=tuple(replace(c, values=c.values[part]) for c in self.columns))
            for part in (slice(None, middle), slice(middle, None)))

    def facts(self) -> dict[str, Any]:
        missing = self.words.not_measured
        return {"columns": [
            {"label": c.label, "reference": c.reference and c.reference.label,
             "values": [f"{n} {worded(v, c.digits, c.unit) or missing}"
                        for n, v in zip(self.names, c.values, strict=True)]}
            for c in self.columns]}


@chart(CompareSpec, "compare")
def draw(sheet: Sheet, spec: CompareSpec) -> None:
    """Marks on a scale of their own per panel; every value printed beside its mark."""
    width = sheet.width
    t = sheet.theme
    columns = [c for c in spec.columns if any(map(is_number, c.values))]
    longest = max(text_width(n, t.text) for n in spec.names)
    gutter = min(longest, width * 0.3) + 10
    names = [wrap(n, gutter - 10, t.text) for n in spec.names]
    heights = [max(len(n) * t.text * LEADING + 4, 14.0) for n in names]
    for top, size, row in sheet.panels(columns, PANEL, GAP, gutter):
        bottom = top + sum(heights)
        middles, edges, y = [], [], top
        for lines, height in zip(names, heights, strict=True):
            middles.append(y + height / 2)
            sheet.block_middle(0, y + height / 2, lines)
            y += height
            edges.append(y)
        sheet.strokes([((0, width), (e, e)) for e in edges], "faint", 0.7)
        ends = []
        for column, x in row:
            sheet.line([x, x + size], [top, top], "ink", 1.0)
            ends.append(_column(sheet, column, x, size, top, bottom, middles, spec))
        sheet.y = max(ends) + 6


def _column(sheet: Sheet, column: CompareColumn, x: float, size: float, top: float, bottom: float,
            middles: list[float], spec: CompareSpec) -> float:
    t, w = sheet.theme, spec.words
    values = [v for v in column.values if is_number(v)]
    words = [figures(v, column.digits) if is_number(v) else w.not_measured for v in column.values]
    held = [*values, column.reference.value] if column.reference else values
    room = max(text_width(s, t.text, "bold") for s, v in zip(words, column.values, strict=True)
               if is_number(v)) + 6
    log = column.log and min(held) > 0
    low, high = (min(held) if log else min(column.low, *held, *held)), max(held)
    if high <= low:
        low, high = (low / 2, low * 2) if log else (low, low + 1.0)
    across = Scale(low, high, x + 4, x + size - room, log)
    ax = sheet.axes(across)
    if column.reference:
        sheet.verticals([column.reference.value], top, bottom, "ink", t.line,
                        column.reference.pattern, on=ax)
    places = [(v, y) for v, y in zip(column.values, middles, strict=True) if is_number(v)]
    if low == 0:
        sheet.strokes([((0.0, v), (y, y)) for v, y in places], "rule", t.hairline, on=ax)
    xs, ys = zip(*places, strict=True)
    sheet.marks(xs, ys, "o", t.marker + 0.6, "accent", "paper", 0.7, on=ax)
    lines = [across(column.reference.value)] if column.reference else []
    for value, word, y in zip(column.values, words, middles, strict=True):
        if not is_number(value):
            sheet.middle(clear_right(x + 4, text_width(word, t.small), lines, x + size), y, word,
                         t.small, colour="muted", behind="paper", on=ax)
            continue
        at = clear_right(across(value) + 5, text_width(word, t.text, "bold"), lines, x + size)
        sheet.middle(at, y, word, weight="bold", behind="paper", on=ax)
    end = bottom + 2
    if column.reference:
        end = sheet.meaning(x, end, size, column.reference.pattern,
                            column.reference.named(w.practice))
    return end
