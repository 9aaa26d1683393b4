"""Brix of the crop beside its weeds: every reading, the mean and its interval."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import LEADING, Scale, text_width, tick_text, ticks, wrap
from loambrief.charts.model import ChartSpec, Threshold, any_number, is_number, worded
from loambrief.charts.registry import chart
from loambrief.numbers import figures

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from loambrief.charts.sheet import Sheet

STACK = 3.4
"""Vertical step between readings that would cover each other [pt]."""


@dataclass(frozen=True)
class SapRow:
    """Refractometer readings of one plant. ``line``: how sharp the shadow line was, in words."""

    label: str
    is_crop: bool
    replicates: tuple[float, ...]
    mean: float | None
    low: float | None = None
    high: float | None = None
    line: str = ""
    detail: str = ""


@dataclass(frozen=True, kw_only=True)
class SapSpec(ChartSpec):
    """Brix of the crop beside its weeds: replicates, mean and interval of the mean."""

    rows: tuple[SapRow, ...]
    unit: str = "°Brix"
    digits: int = 1
    thresholds: tuple[Threshold, ...] = ()

    split = "rows"

    def has_data(self) -> bool:
        return any(any_number(r.replicates) for r in self.rows)

    def facts(self) -> dict[str, Any]:
        return {"unit": self.unit, "thresholds": [t.facts() for t in self.thresholds], "rows": [
            {"label": r.label, "crop": r.is_crop, "line": r.line,
             **{name: worded(value, self.digits, within=(r.low, r.high)) for name, value in (
                 ("mean", r.mean), ("low", r.low), ("high", r.high))},
             "readings": [figures(v, self.digits) for v in r.replicates if is_number(v)]}
            for r in self.rows]}


@chart(SapSpec, "sap")
def draw(sheet: Sheet, spec: SapSpec) -> None:
    """One row per plant on a common scale; the crop is the accent."""
    w, width = spec.words, sheet.width
    t = sheet.theme
    _signs(sheet, spec)
    rows = [r for r in spec.rows if any(map(is_number, r.replicates))]
    values = [v for r in rows for v in (*r.replicates, r.mean, r.low, r.high) if is_number(v)]
    values += [x.value for x in spec.thresholds]
    pad = (max(values) - min(values)) * 0.08 or 1.0
    wide = width >= 380
    left = width * 0.25 if wide else 0.0
    right = width * 0.66 if wide else width
    across = Scale(max(0.0, min(values) - pad), max(values) + pad, left + 6, right - 6)

    lanes: list[tuple[float, float]] = []
    marks: list[tuple[SapRow, float]] = []
    for row in rows:
        name, facts = _texts(row, spec)
        stacks = _stacks(sorted(v for v in row.replicates if is_number(v)), across)
        tall = 9 + max(stacks, default=0) * STACK + 13
        if wide:
            name_lines = wrap(name, left - 10, t.text, "bold")
            detail = wrap(row.detail, left - 10, t.small) if row.detail else []
            fact_lines = wrap(facts, width - right - 8, t.text)
            text_height = max(len(name_lines) * t.text * LEADING + len(detail) * t.small * LEADING,
                              len(fact_lines) * t.text * LEADING)
            height = max(tall, text_height) + 8
            middle = sheet.y + height / 2
            start = middle - (len(name_lines) * t.text + len(detail) * t.small) * LEADING / 2
            start = sheet.lines(0, start, name_lines, weight="bold")
            sheet.lines(0, start, detail, t.small, colour="muted")
            sheet.block_middle(right + 8, middle, fact_lines)
            lanes.append((sheet.y, sheet.y + height))
            marks.append((row, middle + (tall - 22) / 2))
            sheet.y += height
        else:
            heading = f"{name}, {row.detail}" if row.detail else name
            sheet.y = sheet.paragraph(0, sheet.y + 2, heading, width, weight="bold")
            sheet.y = sheet.paragraph(0, sheet.y, facts, width, t.small)
            lanes.append((sheet.y + 2, sheet.y + tall + 1))
            marks.append((row, sheet.y + tall - 9))
            sheet.y += tall + 5
        sheet.line([0, width], [sheet.y, sheet.y], "faint", 0.7)
    ax = sheet.axes(across)
    for threshold in spec.thresholds:
        sheet.strokes([((threshold.value, threshold.value), lane) for lane in lanes], "ink", t.line,
                      threshold.pattern, on=ax)
    for row, y in marks:
        _row(sheet, row, across, ax, y)
    _axis(sheet, spec, across)
    sheet.threshold_key(spec.thresholds, w.practice)


def _texts(row: SapRow, spec: SapSpec) -> tuple[str, str]:
    """Name with role, and the numbers in words."""
    w = spec.words
    role = w.crop if row.is_crop else w.weed
    count = sum(map(is_number, row.replicates))
    facts = []
    if is_number(row.mean):
        facts.append(f"{w.mean} {figures(row.mean, spec.digits, within=(row.low, row.high))}")
    if is_number(row.low) and is_number(row.high):
        low, high = (figures(end, spec.digits, within=(row.low, row.high))
                     for end in (row.low, row.high))
        facts.append(f"({w.to.format(low, high)}), n = {count}")
    elif count == 1:
        facts.append(f"({w.one_reading})")
    else:
        facts.append(f"(n = {count})")
    text = " ".join(facts)
    return f"{row.label} ({role})", f"{text}. {row.line}" if row.line else text


def _stacks(values: list[float], across: Scale) -> list[int]:
    """How many marks each reading is lifted so that none covers another."""
    last: dict[int, float] = {}
    levels = []
    for value in values:
        x = across(value)
        level = 0
        while level in last and x - last[level] < 4.4 and level < 12:
            level += 1
        last[level] = x
        levels.append(level)
    return levels


def _row(sheet: Sheet, row: SapRow, across: Scale, ax: Axes, y: float) -> None:
    """Readings above, mean and interval on the line ``y``."""
    t = sheet.theme
    colour = "accent" if row.is_crop else "second"
    values = sorted(v for v in row.replicates if is_number(v))
    levels = _stacks(values, across)
    sheet.marks(values, [y - 8 - n * STACK for n in levels], "o", 3.2, "paper", colour, 0.8, on=ax)
    if is_number(row.low) and is_number(row.high):
        sheet.line([row.low, row.high], [y, y], colour, t.strong + 0.6, on=ax)
        sheet.strokes([((v, v), (y - 2.6, y + 2.6)) for v in (row.low, row.high)], colour, t.line,
                      on=ax)
    if is_number(row.mean):
        sheet.marks([row.mean], [y], "o" if row.is_crop else "s", t.marker + 1.6, colour, "paper",
                    0.9, on=ax)


def _signs(sheet: Sheet, spec: SapSpec) -> None:
    w, t = spec.words, sheet.theme

    def interval(x: float, y: float) -> None:
        sheet.line([x, x + 18], [y, y], "second", t.strong + 0.6)
        sheet.strokes([((v, v), (y - 2.6, y + 2.6)) for v in (x, x + 18)], "second", t.line)
        sheet.marks([x + 9], [y], "s", t.marker + 1, "second", "paper", 0.9)

    entries = [sheet.sign(w.readings, "o", 3.2, "paper", "second", 0.8)]
    if any(is_number(r.low) and is_number(r.high) for r in spec.rows):
        entries.append((interval, 18.0, f"{w.mean}, {w.interval}"))
    sheet.key(entries)


def _axis(sheet: Sheet, spec: SapSpec, across: Scale) -> None:
    """Scale under the rows; threshold numbers on it in bold."""
    t = sheet.theme
    bottom = sheet.y
    marks = ticks(across.low, across.high, max(2, int((across.end - across.start) / 40)))
    sheet.scale_below(across, list(zip(marks, tick_text(marks), strict=True)),
                      [(x.value, figures(x.value)) for x in spec.thresholds])
    unit = spec.unit
    if across.start > text_width(unit, t.small) + 20:
        sheet.text(across.start - 10, bottom + 9, unit, t.small, colour="muted", align="right")
        sheet.y = bottom + 14
    else:
        sheet.text(sheet.width, bottom + 18, unit, t.small, colour="muted", align="right")
        sheet.y = bottom + 22
