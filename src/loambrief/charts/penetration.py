"""Penetration resistance by depth: every reading, the median, and the thresholds."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import LEADING, Scale, text_width, tick_text, ticks, wrap
from loambrief.charts.model import ChartSpec, Threshold, any_number, is_number, worded
from loambrief.charts.registry import chart
from loambrief.numbers import NBSP, figures, symbol

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from loambrief.charts.sheet import Entry, Sheet

GAP = 10.0
ROW = 10.8
"""Least height of a line of the table [pt]."""


@dataclass(frozen=True)
class Profile:
    """Cone readings of one place, one per depth; None where none was taken."""

    label: str
    readings: tuple[float | None, ...]
    stopped: bool = False
    """The cone was stopped (a stone, a pan) below the last reading."""


@dataclass(frozen=True, kw_only=True)
class PenetrationSpec(ChartSpec):
    """Penetration resistance by depth: every reading, the median and the thresholds.

    ``count_from`` is the threshold whose exceedance is counted in the table beside the
    plot. ``moisture`` is the soil moisture at the visit; empty prints "not recorded".
    """

    depths: tuple[float, ...]
    profiles: tuple[Profile, ...]
    depth_unit: str
    pressure_unit: str
    pressure_digits: int = 0
    thresholds: tuple[Threshold, ...] = ()
    count_from: float | None = None
    moisture: str = ""

    def at(self, index: int) -> tuple[float, ...]:
        """Readings taken at one depth."""
        found = (p.readings[index] for p in self.profiles if index < len(p.readings))
        return tuple(v for v in found if is_number(v))

    @property
    def medians(self) -> tuple[float | None, ...]:
        """Median of the readings at each depth; None where there is none."""
        columns = (self.at(i) for i in range(len(self.depths)))
        return tuple(statistics.median(c) if c else None for c in columns)

    def has_data(self) -> bool:
        return any_number(self.medians)

    @property
    def conditions(self) -> str:
        moisture = (self.words.moisture.format(self.moisture) if self.moisture
                    else self.words.moisture_unknown)
        return f"{self.subtitle} {moisture}".strip()

    def facts(self) -> dict[str, Any]:
        rows = []
        for i, depth in enumerate(self.depths):
            found = self.at(i)
            over = None
            if self.count_from is not None:
                over = str(sum(v > self.count_from for v in found))
            rows.append({
                "depth": worded(depth, None, self.depth_unit),
                "median": worded(self.medians[i], self.pressure_digits),
                "low": worded(min(found), self.pressure_digits) if found else None,
                "high": worded(max(found), self.pressure_digits) if found else None,
                "over": over, "count": len(found),
            })
        return {"unit": self.pressure_unit, "places": len(self.profiles), "moisture": self.moisture,
                "limit": worded(self.count_from, self.pressure_digits), "rows": rows,
                "thresholds": [t.facts() for t in self.thresholds]}


@chart(PenetrationSpec, "penetration")
def draw(sheet: Sheet, spec: PenetrationSpec) -> None:
    """Depth runs downward, resistance to the right; a table beside it counts readings."""
    w = spec.words
    t = sheet.theme
    _signs(sheet, spec)

    columns = _columns(sheet, spec)
    head = max(len(lines) for _, lines, _ in columns) * t.small * LEADING
    left = max(text_width(s, t.text) for s in _depth_texts(spec)) + 8
    right = sheet.width - sum(size + GAP for size, _, _ in columns) - 8
    top = sheet.y + head + 4
    bottom = top + min(max(150.0, len(spec.depths) * ROW), 280.0)
    readings = [v for p in spec.profiles for v in p.readings if is_number(v)]
    high = max([*readings, *(x.value for x in spec.thresholds)]) * 1.05 or 1.0
    across = Scale(0, high, left, right)
    down = Scale(0, max(spec.depths) * 1.06, top, bottom)

    ax = sheet.axes(across, down)
    _axis(sheet, spec, across, ax, top)
    shown = _shown(spec.depths, down)
    _table(sheet, spec, columns, right + 8, top, down, shown)
    for i in shown:
        sheet.middle(left - 5, down(spec.depths[i]), _depth_texts(spec)[i], align="right")
    sheet.strokes([((left - 3, left), (down(d), down(d))) for d in spec.depths], "rule", t.hairline)
    sheet.line([0.0, 0.0], [down.low, down.high], "rule", t.hairline, on=ax)
    for threshold in spec.thresholds:
        sheet.verticals([threshold.value], down.low, down.high, "ink", t.line, threshold.pattern,
                        on=ax)
    _profiles(sheet, spec, down, ax)
    sheet.line([0, sheet.width], [top, top], "ink", 1.2)

    sheet.y = bottom
    sheet.scale_below(across, [], [(x.value, figures(x.value, spec.pressure_digits))
                                   for x in spec.thresholds])
    sheet.y = bottom + (14 if spec.thresholds else 4)
    sheet.threshold_key(spec.thresholds, w.practice)


def _axis(sheet: Sheet, spec: PenetrationSpec, across: Scale, ax: Axes, top: float) -> None:
    """Pressure along the soil surface, which is the strong line on top."""
    t = sheet.theme
    marks = ticks(0, across.high, max(2, int((across.end - across.start) / 45)))
    words = tick_text(marks)
    words[-1] += f" {spec.pressure_unit}"
    for value, word in zip(marks, words, strict=True):
        x = across(value)
        half = text_width(word, t.small) / 2
        sheet.text(min(x, across.end + 2 - half), top - 4, word, t.small, colour="muted",
                   align="center")
    sheet.verticals(marks, *ax.get_ylim(), on=ax)


def _profiles(sheet: Sheet, spec: PenetrationSpec, down: Scale, ax: Axes) -> None:
    t = sheet.theme
    runs = [stretches(spec.depths, p.readings) for p in spec.profiles]
    drawn = [run for found in runs for run in found]
    sheet.strokes(drawn, "rule", t.hairline, on=ax)
    sheet.marks([x for xs, _ in drawn for x in xs], [y for _, ys in drawn for y in ys],
                "o", 2.6, "paper", "second", 0.6, on=ax)
    stops = [found[-1] for p, found in zip(spec.profiles, runs, strict=True)
             if p.stopped and found]
    if stops:
        below = [min(down(ys[-1]) + 6, down.end - 2) for _, ys in stops]
        sheet.marks([xs[-1] for xs, _ in stops], [down.value(y) for y in below], "x", 4.2, None,
                    "ink", 0.9, on=ax)
    middle = stretches(spec.depths, spec.medians)
    sheet.strokes(middle, "accent", t.strong, on=ax)
    sheet.marks([x for xs, _ in middle for x in xs], [y for _, ys in middle for y in ys],
                "o", t.marker + 0.6, "accent", "paper", 0.8, on=ax)


def stretches(depths: tuple[float, ...], values: tuple[float | None, ...]
              ) -> list[tuple[list[float], list[float]]]:
    """Unbroken stretches (readings, depths) of a profile: a missing reading ends a stretch."""
    runs: list[tuple[list[float], list[float]]] = []
    joined = False
    for depth, value in zip(depths, values, strict=False):
        if is_number(value):
            if not joined:
                runs.append(([], []))
            runs[-1][0].append(value)
            runs[-1][1].append(depth)
        joined = is_number(value)
    return runs


def _shown(depths: tuple[float, ...], down: Scale) -> list[int]:
    """Depths that have room for a line of the table, the deepest always among them."""
    kept: list[int] = []
    for i in sorted(range(len(depths)), key=lambda i: -depths[i]):
        if not kept or down(depths[kept[-1]]) - down(depths[i]) >= ROW - 0.5:
            kept.append(i)
    return kept


def _depth_texts(spec: PenetrationSpec) -> list[str]:
    return [figures(d) + (f" {symbol(spec.depth_unit)}" if d == max(spec.depths) else "")
            for d in spec.depths]


def _signs(sheet: Sheet, spec: PenetrationSpec) -> None:
    w = spec.words

    def one(x: float, y: float) -> None:
        sheet.line([x, x + 16], [y, y], "rule", 0.5)
        sheet.marks([x + 8], [y], "o", 2.6, "paper", "second", 0.6)

    def mid(x: float, y: float) -> None:
        sheet.line([x, x + 16], [y, y], "accent", sheet.theme.strong)
        sheet.marks([x + 8], [y], "o", sheet.theme.marker, "accent", "paper", 0.8)

    entries: list[Entry] = [(one, 16.0, w.one_profile.format(len(spec.profiles))),
                            (mid, 16.0, w.median)]
    if any(p.stopped for p in spec.profiles):
        entries.append(sheet.sign(w.stopped, "x", 4.2, None, "ink", 0.9))
    sheet.key(entries)


def _columns(sheet: Sheet, spec: PenetrationSpec) -> list[tuple[float, list[str], list[str]]]:
    """Width, heading lines and cells of the table on the right."""
    t, w = sheet.theme, spec.words
    medians = [w.not_measured if m is None else figures(m, spec.pressure_digits)
               for m in spec.medians]
    rows = [(w.median, medians)]
    if spec.count_from is not None:
        cells = []
        for i in range(len(spec.depths)):
            found = spec.at(i)
            over = sum(v > spec.count_from for v in found)
            cells.append(w.of.format(over, len(found)))
        limit = f"{figures(spec.count_from, spec.pressure_digits)}{NBSP}{spec.pressure_unit}"
        rows.append((w.over.format(limit), cells))
    result = []
    for heading, cells in rows:
        lines = wrap(heading, 46, t.small)
        size = max(*(text_width(s, t.small) for s in lines),
                   *(text_width(s, t.text, "bold") for s in cells))
        result.append((size, lines, cells))
    return result


def _table(sheet: Sheet, spec: PenetrationSpec, columns, x: float, top: float, down: Scale,
           shown: list[int]) -> None:
    t = sheet.theme
    for size, lines, cells in columns:
        x += size
        y = top - 4 - (len(lines) - 1) * t.small * LEADING
        for line in lines:
            sheet.text(x, y, line, t.small, colour="muted", align="right")
            y += t.small * LEADING
        for i in shown:
            depth, median, cell = spec.depths[i], spec.medians[i], cells[i]
            over = (median is not None and spec.count_from is not None
                    and median > spec.count_from)
            sheet.middle(x, down(depth), cell, weight="bold" if over else "regular",
                         colour="accent" if over else "ink", align="right")
        x += GAP
