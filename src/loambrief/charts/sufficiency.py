"""Distance of each soil test from its critical level, on a ratio scale, with uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import LEADING, Scale, wrap
from loambrief.charts.model import ChartSpec, is_number, worded
from loambrief.charts.registry import chart
from loambrief.numbers import figures

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from loambrief.charts.sheet import Entry, Sheet

WIDEST = 16.0
"""Ratios beyond this (or its inverse) are drawn at the edge with an arrow."""


class LevelSide(StrEnum):
    """Where a test stands against its critical level."""

    BELOW = "below"
    NEAR = "near"
    """Its interval holds the critical level: too close to call."""
    ABOVE = "above"


COLOURS = {LevelSide.BELOW: "accent", LevelSide.NEAR: "ink", LevelSide.ABOVE: "second"}
Band = tuple[float, float]
"""Top and bottom of a row's part of the scale [pt]."""


@dataclass(frozen=True)
class SufficiencyRow:
    """One test against its critical level.

    ``low`` and ``high`` bound the value; ``upper`` is the end of a critical range that
    starts at ``critical``. ``printed`` is the value and the level in words, ``verdict`` the
    conclusion in a word or two.
    """

    label: str
    value: float | None
    critical: float
    side: LevelSide | None
    printed: str
    verdict: str
    low: float | None = None
    high: float | None = None
    upper: float | None = None
    censor: str | None = None
    detail: str = ""


@dataclass(frozen=True, kw_only=True)
class SufficiencySpec(ChartSpec):
    """How far each test is from its critical level, as a ratio, with its uncertainty."""

    rows: tuple[SufficiencyRow, ...]
    coverage_pct: float = 0.0
    """Share of true values that lie between ``low`` and ``high`` [%]."""

    split = "rows"

    def has_data(self) -> bool:
        return any(is_number(r.value) and r.value > 0 and r.critical > 0 for r in self.rows)

    def facts(self) -> dict[str, Any]:
        def ratio(value: float | None, row: SufficiencyRow) -> str | None:
            ends = [None if v is None else v / row.critical for v in (row.low, row.high)]
            return worded(value / row.critical, within=(ends[0], ends[1])) if (
                is_number(value) and row.critical > 0) else None

        return {"rows": [
            {"label": r.label, "verdict": r.verdict, "printed": r.printed,
             "ratio": None if r.censor else ratio(r.value, r),
             "low": ratio(r.low, r), "high": ratio(r.high, r)} for r in self.rows]}


@chart(SufficiencySpec, "sufficiency")
def draw(sheet: Sheet, spec: SufficiencySpec) -> None:
    """The critical level is the line in the middle; twice and half are equally far from it."""
    width = sheet.width
    t = sheet.theme
    _signs(sheet, spec)
    wide = width >= 380
    left = width * 0.24 if wide else 2.0
    right = width * 0.70 if wide else width - 2.0
    ratios = [v / r.critical for r in spec.rows if r.critical > 0
              for v in (r.value, r.low, r.high, r.upper) if is_number(v) and v > 0]
    high = min(max([2.0, *(x * 1.12 for x in ratios)]), WIDEST)
    low = max(min([0.5, *(x / 1.12 for x in ratios)]), 1 / WIDEST)
    across = Scale(low, high, left + 7, right - 7, log=True)

    _heads(sheet, spec, across, left, right)
    parts: list[tuple[SufficiencyRow, float, Band]] = []
    for row in spec.rows:
        name = wrap(row.label, (left - 8 if wide else width), t.text, "bold")
        detail = wrap(row.detail, left - 8, t.small) if wide and row.detail else []
        if wide:
            verdict = wrap(row.verdict, width - right - 8, t.text, "bold")
            printed = wrap(row.printed, width - right - 8, t.small)
            side = len(verdict) * t.text + len(printed) * t.small
            names = len(name) * t.text + len(detail) * t.small
            height = max(side, names) * LEADING + 7
            middle = sheet.y + height / 2
            y = sheet.lines(0, middle - names * LEADING / 2, name, weight="bold")
            sheet.lines(0, y, detail, t.small, colour="muted")
            y = sheet.lines(right + 8, middle - side * LEADING / 2, verdict, weight="bold",
                            colour="accent" if row.side is LevelSide.BELOW else "ink")
            sheet.lines(right + 8, y, printed, t.small)
            band = (sheet.y + 2, sheet.y + height - 2)
        else:
            words = f"{row.label}: {row.verdict}"
            sheet.y = sheet.paragraph(0, sheet.y + 3, words, width, weight="bold",
                                      colour="accent" if row.side is LevelSide.BELOW else "ink")
            more = f"{row.printed}. {row.detail}" if row.detail else row.printed
            sheet.y = sheet.paragraph(0, sheet.y, more, width, t.small)
            middle, height = sheet.y + 8, 17.0
            band = (sheet.y + 2, sheet.y + 14)
        parts.append((row, middle, band))
        sheet.y += height
        sheet.line([0, width], [sheet.y, sheet.y], "faint", 0.7)
    ax = sheet.axes(across)
    _scale(sheet, spec, across, ax, [band for *_, band in parts])
    for row, middle, band in parts:
        _row(sheet, row, across, ax, middle, band, spec)


def _signs(sheet: Sheet, spec: SufficiencySpec) -> None:
    w, rows = spec.words, spec.rows

    def clear(x: float, y: float) -> None:
        sheet.marks([x + 3], [y], "o", 6.0, "accent", "paper", 0.8)
        sheet.marks([x + 11], [y], "o", 6.0, "second", "paper", 0.8)

    def spread(x: float, y: float) -> None:
        sheet.line([x, x + 18], [y, y], "second", sheet.theme.strong)

    entries: list[Entry] = [(clear, 14.0, w.clear)]
    if any(r.side is LevelSide.NEAR for r in rows):
        entries.append(sheet.sign(w.near, "o", 5.4, "paper", "ink", 1.1))
    if any(is_number(r.low) and is_number(r.high) for r in rows):
        entries.append((spread, 18.0, w.uncertainty.format(figures(spec.coverage_pct))))
    if any(is_number(r.upper) for r in rows):
        entries.append(sheet.swatch(w.range, fill="faint", edge="rule"))
    sheet.key(entries)


def _heads(sheet: Sheet, spec: SufficiencySpec, across: Scale, left: float, right: float) -> None:
    """What either side of the critical level means."""
    t, w = sheet.theme, spec.words
    middle = across(1.0)
    less = wrap("← " + w.less_than_critical, middle - 8, t.small)
    more = wrap(w.more_than_critical + " →", sheet.width - middle - 8, t.small)
    if max(len(less), len(more)) > 4:  # a lopsided scale: say it over the whole width
        less = wrap("← " + w.less_than_critical + "; " + w.more_than_critical + " →",
                    right - left, t.small)
        more = []
        sheet.lines(left, sheet.y, less, t.small, colour="muted")
    else:
        sheet.lines(middle - 8, sheet.y, less, t.small, colour="muted", align="right")
        sheet.lines(middle + 8, sheet.y, more, t.small, colour="muted")
    sheet.y += max(len(less), len(more)) * t.small * LEADING + 3


def _scale(sheet: Sheet, spec: SufficiencySpec, across: Scale, ax: Axes, bands: list[Band]
           ) -> None:
    """Grid behind the marks, and the numbers under it."""
    t = sheet.theme
    steps = [2.0**n for n in range(-4, 5) if across.holds(2.0**n) and n]
    sheet.strokes([((v, v), b) for v in steps for b in bands], "rule", t.hairline, on=ax)
    sheet.strokes([((1.0, 1.0), (b[0] - 2, b[1] + 2)) for b in bands], "ink", 1.3, on=ax)
    sheet.scale_below(across, [(v, f"{v:g}×" if v >= 1 else f"1/{1 / v:g}×") for v in steps],
                      [(1.0, spec.words.critical)])


def _row(sheet: Sheet, row: SufficiencyRow, across: Scale, ax: Axes, y: float, band: Band,
         spec: SufficiencySpec) -> None:
    t = sheet.theme
    if not is_number(row.value) or row.value <= 0 or row.critical <= 0:
        sheet.middle(across(1.0) + 8, y, spec.words.not_measured, t.small, colour="muted",
                     behind="paper")
        return
    if is_number(row.upper) and row.upper > row.critical:
        sheet.rect(1.0, band[0], across.held(row.upper / row.critical), band[1], "faint", "rule",
                   0.5, on=ax)
        sheet.line([1.0, 1.0], band, "ink", 1.3, on=ax)
    colour = COLOURS[row.side] if row.side else "ink"
    ratio = row.value / row.critical
    shown = across.held(ratio)
    x = across(ratio)
    if row.censor:
        end = across.start - 5 if row.censor == "<" else across.end + 5
        sheet.line([x, end], [y, y], colour, t.strong)
        sheet.marks([end], [y], "<" if row.censor == "<" else ">", 5, colour)
        sheet.marks([shown], [y], "|", 7, None, colour, 1.4, on=ax)
        return
    if is_number(row.low) and is_number(row.high) and row.high > 0:
        sheet.line([across.held(v / row.critical) for v in (row.low, row.high)], [y, y], colour,
                   t.strong, on=ax)
    if not across.holds(ratio):
        shape = "<" if ratio < across.low else ">"
        sheet.marks([x + (4 if shape == ">" else -4)], [y], shape, 6.5, colour)
    elif row.side is LevelSide.NEAR:
        sheet.marks([ratio], [y], "o", 6.2, "paper", "ink", 1.2, on=ax)
    else:
        sheet.marks([ratio], [y], "o", 7.0, colour, "paper", 0.8, on=ax)
