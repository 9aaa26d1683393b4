"""Results of earlier cases: one small panel per measure, broken where the method changed."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import LEADING, Scale, text_width, tick_text, ticks
from loambrief.charts.model import ChartSpec, Threshold, any_number, is_number, worded
from loambrief.charts.place import ABOVE, TextBox, around
from loambrief.charts.registry import chart
from loambrief.numbers import figures

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from loambrief.charts.sheet import Sheet

PANEL = 150.0
GAP = 16.0
HEIGHT = 92.0
ARROW = 9.0
"""Length of the arrow at a limit [pt]."""
SHAPES = (("o", "accent"), ("s", "paper"), ("^", "accent"), ("D", "paper"), ("v", "accent"))
"""Mark and fill of the first, second ... method of a panel."""


@dataclass(frozen=True)
class TrendPoint:
    """One earlier result. ``method`` is how it was obtained; ``low`` and ``high`` bound it."""

    date: dt.date
    value: float | None
    method: str = ""
    low: float | None = None
    high: float | None = None
    censor: str | None = None


@dataclass(frozen=True)
class TrendPanel:
    """One measure over time."""

    label: str
    unit: str
    points: tuple[TrendPoint, ...]
    digits: int | None = None
    reference: Threshold | None = None


@dataclass(frozen=True, kw_only=True)
class TrendSpec(ChartSpec):
    """Results of earlier cases; the line breaks where the method changed."""

    panels: tuple[TrendPanel, ...]

    split = "panels"

    def has_data(self) -> bool:
        return any_number(p.value for panel in self.panels for p in panel.points)

    def facts(self) -> dict[str, Any]:
        return {"panels": [
            {"label": p.label, "reference": p.reference and p.reference.label,
             "points": [{"date": x.date, "method": x.method,
                         "value": worded(x.value, p.digits, p.unit, x.censor, (x.low, x.high)),
                         "low": worded(x.low, p.digits, within=(x.low, x.high)),
                         "high": worded(x.high, p.digits, within=(x.low, x.high))}
                        for x in p.points]}
            for p in self.panels]}


@chart(TrendSpec, "trend")
def draw(sheet: Sheet, spec: TrendSpec) -> None:
    """Panels share the time axis; what the lines mean is written under each panel."""
    panels = [p for p in spec.panels if any(is_number(x.value) for x in p.points)]
    dates = [x.date for p in panels for x in p.points]
    for top, size, row in sheet.panels(panels, PANEL, GAP):
        bottoms = [_panel(sheet, panel, x, size, top, min(dates), max(dates), spec)
                   for panel, x in row]
        sheet.y = max(bottoms) + 8


def _panel(sheet: Sheet, panel: TrendPanel, x: float, size: float, top: float, first: dt.date,
           last: dt.date, spec: TrendSpec) -> float:
    t = sheet.theme
    everything = sorted(panel.points, key=lambda p: p.date)
    points = [p for p in everything if is_number(p.value)]
    values = [v for p in points for v in (p.value, p.low, p.high) if is_number(v)]
    if panel.reference:
        values.append(panel.reference.value)
    pad = (max(values) - min(values)) * 0.16 or abs(values[0]) * 0.1 or 1.0
    spare = 0.3 * max(abs(min(values)), abs(max(values))) - (max(values) - min(values))
    pad = max(pad, spare / 2)  # a small change must not fill the panel
    low, high = min(values) - pad, max(values) + pad
    if min(values) >= 0 and (low < 0 or min(values) < 0.4 * max(values)):
        low = 0.0
    marks = ticks(low, high, 4)
    words = tick_text(marks)
    left = x + max(text_width(s, t.small) for s in words) + 6
    bottom = top + HEIGHT
    up = Scale(low, high, bottom, top)
    pad_days = max((last - first).days * 0.08, 20)
    days = Scale(first.toordinal() - pad_days, last.toordinal() + pad_days, left, x + size)
    ax = sheet.axes(days, up)
    span = (days.low, days.high)
    sheet.strokes([(span, (v, v)) for v in marks], "faint", t.hairline, on=ax)
    for value, word in zip(marks, words, strict=True):
        sheet.middle(left - 4, up(value), word, t.small, colour="muted", align="right")
    sheet.line(span, [low, low], "rule", t.hairline, on=ax)
    _years(sheet, days, points, bottom)

    changes = [(a, b) for a, b in pairwise(points) if a.method != b.method]
    runs = [list(g) for whole, g in groupby(everything, key=_joined) if whole is not None]
    taken = []
    if panel.reference:
        y = panel.reference.value
        sheet.line(span, [y, y], "ink", t.line, panel.reference.pattern, on=ax)
    for a, b in changes:
        change = (a.date.toordinal() + b.date.toordinal()) / 2
        sheet.verticals([change], high, low, "muted", t.line, "dot", on=ax)
        middle = days(change)
        taken.append(TextBox(middle - 0.5, top, middle + 0.5, bottom))
    methods = list(dict.fromkeys(p.method for p in points))
    for run in runs:
        _run(sheet, run, up, ax, *SHAPES[methods.index(run[0].method) % len(SHAPES)])
        taken += _covered(run, days, up)
    _labels(sheet, panel, points, days, up, TextBox(left + 1, top, x + size, bottom - 1), taken)
    return _under(sheet, panel, changes, x, size, bottom + t.small * LEADING + 5, spec)


def _joined(point: TrendPoint) -> tuple[str, dt.date | None] | None:
    """Neighbours with the same answer are joined: same method, and a plain value."""
    if not is_number(point.value):
        return None
    return (point.method, point.date if point.censor else None)


def _level(point: TrendPoint) -> float:
    """The value of a point that has one."""
    assert point.value is not None
    return point.value


def _run(sheet: Sheet, run: list[TrendPoint], up: Scale, ax: Axes, shape: str, fill: str) -> None:
    """Points of one method, joined."""
    t = sheet.theme
    xs = [float(p.date.toordinal()) for p in run]
    ys = [_level(p) for p in run]
    sheet.line(xs, ys, "accent", t.line + 0.3, on=ax)
    bars = [((x, x), (p.low, p.high)) for x, p in zip(xs, run, strict=True)
            if is_number(p.low) and is_number(p.high)]
    sheet.strokes(bars, "second", t.line, on=ax)
    sheet.marks(xs, ys, shape, t.marker, fill, "accent", 1.1, on=ax)
    for x, y, point in zip(xs, ys, run, strict=True):
        if point.censor:  # only a limit is known: an arrow says which way the value lies
            tip = up.value(up(y) + (ARROW if point.censor == "<" else -ARROW))
            sheet.line([x, x], [y, tip], "accent", t.line, on=ax)
            sheet.marks([x], [tip], "v" if point.censor == "<" else "^", 3.6, "accent", on=ax)


def _covered(run: list[TrendPoint], days: Scale, up: Scale) -> list[TextBox]:
    """Small boxes along the line and the intervals of one run, for labels to keep off."""
    ends = [(days(p.date.toordinal()), up(_level(p))) for p in run]
    spans = list(pairwise(ends))
    spans += [((x, up(p.low)), (x, up(p.high))) for (x, _), p in zip(ends, run, strict=True)
              if is_number(p.low) and is_number(p.high)]
    boxes = []
    for (x0, y0), (x1, y1) in spans:
        steps = int(max(abs(x1 - x0), abs(y1 - y0)) / 4) + 1
        for n in range(steps + 1):
            x, y = x0 + (x1 - x0) * n / steps, y0 + (y1 - y0) * n / steps
            if n not in (0, steps) or x0 == x1:
                boxes.append(TextBox(x - 0.8, y - 0.8, x + 0.8, y + 0.8))
    return boxes


def _labels(sheet: Sheet, panel: TrendPanel, points: list[TrendPoint], days: Scale, up: Scale,
            bounds: TextBox, taken: list[TextBox]) -> None:
    """Values beside their marks: last, first, highest and lowest before the rest."""
    t = sheet.theme
    where = [(days(p.date.toordinal()), up(_level(p))) for p in points]
    words = [(p.censor or "") + figures(_level(p), panel.digits, within=(p.low, p.high))
             for p in points]
    order = [len(points) - 1, 0]
    order += sorted(range(len(points)), key=lambda i: _level(points[i]))[:: max(1, len(points) - 1)]
    order = list(dict.fromkeys([*order, *range(len(points))]))
    boxes = list(taken) + [TextBox(x - 2.5, y - 2.5, x + 2.5, y + 2.5) for x, y in where]
    for i in order:
        weight = "bold" if i == len(points) - 1 else "regular"
        size = (text_width(words[i], t.small, weight), t.small * 0.8)
        others = [b for n, b in enumerate(boxes) if n != len(taken) + i]
        box = around([where[i]], [size], bounds, others, (4.5, 8.0, 13.0), ABOVE)[0]
        if box:
            boxes.append(box)
            sheet.text(box.x0, box.y0 + 0.76 * t.small, words[i], t.small, weight)


def _years(sheet: Sheet, days: Scale, points: list[TrendPoint], bottom: float) -> None:
    """Years in the middle of their span, a tick where each begins."""
    t = sheet.theme
    first, last = dt.date.fromordinal(int(days.low)), dt.date.fromordinal(int(days.high))
    years = range(first.year, last.year + 1)
    half = text_width("2000", t.small) / 2
    room = (days.end - days.start) / (days.high - days.low) * 365.25
    step = max(1, math.ceil((2 * half + 4) / room))
    edges = [dt.date(year, 1, 1).toordinal() for year in years]
    sheet.verticals([days(e) for e in edges if days.holds(e)], bottom, bottom + 2.5, "rule")
    middles = [m for m in (dt.date(y, 7, 1) for y in years) if days.holds(m.toordinal())]
    for date in middles[(len(middles) - 1) % step :: step] or [points[-1].date]:
        x = min(max(days(date.toordinal()), days.start + half - 4), days.end - half)
        sheet.text(x, bottom + 9.5, str(date.year), t.small, colour="muted", align="center")


def _under(sheet: Sheet, panel: TrendPanel, changes, x: float, size: float, y: float,
           spec: TrendSpec) -> float:
    """What the dashed and dotted lines mean."""
    t, w = sheet.theme, spec.words
    if panel.reference:
        y = sheet.meaning(x, y, size, panel.reference.pattern, panel.reference.named(w.practice),
                          12.0)
    for a, b in changes:
        mid = y + t.small * LEADING / 2
        sheet.line([x + 6, x + 6], [mid - 4.5, mid + 4.5], "muted", t.line, "dot")
        words = w.method_change.format(a.method or w.unknown_method, b.method or w.unknown_method)
        y = sheet.paragraph(x + 16, y, f"{b.date.year}: {words}", size - 16, t.small)
    return y
