"""Calendar of the actions: when each is done, and the days the season hangs on."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import HATCHED, LEADING, Scale, clear_right, text_width, wrap
from loambrief.charts.model import ChartSpec
from loambrief.charts.registry import chart

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from loambrief.charts.sheet import Entry, Sheet

BAR = 9.0


@dataclass(frozen=True)
class SeasonBar:
    """When one action, or several at once, are done; a missing start or end is an open end."""

    rank: str
    label: str
    start: dt.date | None
    end: dt.date | None
    when: str
    measuring: bool = False


@dataclass(frozen=True)
class SeasonMark:
    """A day the season hangs on: planting, harvest, a re-test."""

    date: dt.date
    label: str


@dataclass(frozen=True, kw_only=True)
class SeasonSpec(ChartSpec):
    """Calendar of the actions."""

    bars: tuple[SeasonBar, ...]
    marks: tuple[SeasonMark, ...] = ()
    today: dt.date | None = None

    split = "bars"

    def has_data(self) -> bool:
        return any(b.start or b.end for b in self.bars)

    def facts(self) -> dict[str, Any]:
        return {"bars": [{"rank": b.rank, "label": b.label, "start": b.start, "end": b.end}
                         for b in self.bars],
                "marks": [{"label": m.label, "date": m.date} for m in self.marks]}


@chart(SeasonSpec, "season")
def draw(sheet: Sheet, spec: SeasonSpec) -> None:
    """Months along the top; open ends are arrows; undated work says so in words."""
    w, width = spec.words, sheet.width
    t = sheet.theme
    _signs(sheet, spec)
    wide = width >= 380
    marks = list(spec.marks)
    if spec.today:
        marks.insert(0, SeasonMark(spec.today, w.today))
    first, last = _range(spec, marks)
    left = width * 0.46 if wide else 0.0
    days = Scale(first.toordinal(), last.toordinal(), left + 2, width - 6)

    flags_bottom = _flags(sheet, marks, days)
    top = sheet.y = _months(sheet, spec, first, last, days, flags_bottom)
    rank_size = max(text_width(b.rank, t.text, "bold") for b in spec.bars) + 6
    rows: list[tuple[SeasonBar, float]] = []
    for bar in spec.bars:
        size = (left - 8 if wide else width) - rank_size
        y, middle = sheet.row(bar.label, bar.when, size, wide, BAR, rank_size)
        sheet.text(0, y + t.text * 0.98, bar.rank, weight="bold")
        rows.append((bar, middle))
        sheet.line([0, width], [sheet.y, sheet.y], "faint", 0.7)
    ax = sheet.axes(days)
    spans = [(top, sheet.y)] if wide else [(m - BAR / 2 - 2, m + BAR / 2 + 2) for _, m in rows]
    for mark in marks:
        x = float(mark.date.toordinal())
        sheet.strokes([((x, x), span) for span in spans], "ink", t.line,
                      "dot" if mark.date == spec.today else "dash", on=ax)
    for bar, middle in rows:
        _bar(sheet, bar, days, ax, middle, w.no_date, [days(m.date.toordinal()) for m in marks])


def _range(spec: SeasonSpec, marks: list[SeasonMark]) -> tuple[dt.date, dt.date]:
    """First and last day shown: whole months around every date."""
    dates = [d for b in spec.bars for d in (b.start, b.end) if d] + [m.date for m in marks]
    first, last = min(dates), max(dates)
    end = dt.date(last.year + (last.month == 12), last.month % 12 + 1, 1)
    return first.replace(day=1), end


def _signs(sheet: Sheet, spec: SeasonSpec) -> None:
    w = spec.words

    def open_end(x: float, y: float) -> None:
        sheet.rect(x, y - 3.5, x + 9, y + 3.5, "second")
        sheet.polygon([(x + 9, y - 3.5), (x + 14, y), (x + 9, y + 3.5)], "second")

    entries: list[Entry] = []
    if any(b.measuring for b in spec.bars):
        entries += [sheet.swatch(w.work, fill="accent"), sheet.swatch(w.measuring, **HATCHED)]
    if any((b.start is None) != (b.end is None) for b in spec.bars):
        entries.append((open_end, 14.0, w.open_end))
    sheet.key(entries)


def _flags(sheet: Sheet, marks: list[SeasonMark], days: Scale) -> float:
    """Names of the marked days over their lines, in as many rows as they need."""
    t = sheet.theme
    leading = t.small * LEADING
    rows: list[tuple[float, int]] = []  # right end of the last name and most lines, per row
    placed = []
    for mark in sorted(marks, key=lambda m: m.date):
        lines = wrap(mark.label, min(sheet.width * 0.4, 150.0), t.small, "bold")
        half = max(text_width(line, t.small, "bold") for line in lines) / 2
        x = days(mark.date.toordinal())
        centre = min(max(x, half), sheet.width - half)
        row = next((n for n, (end, _) in enumerate(rows) if centre - half > end + 6), len(rows))
        if row == len(rows):
            rows.append((0.0, 1))
        rows[row] = (centre + half, max(rows[row][1], len(lines)))
        placed.append((row, centre, x, lines))
    tops = [sheet.y]
    for _, count in rows:
        tops.append(tops[-1] + count * leading + 1)
    for row, _, x, lines in sorted(placed):
        sheet.line([x, x], [tops[row] + len(lines) * leading, tops[-1] + 1], "ink", t.hairline)
    for row, centre, _, lines in placed:
        sheet.lines(centre, tops[row], lines, t.small, weight="bold", align="center",
                    behind="paper" if len(rows) > 1 else None)
    return tops[-1] + (2 if rows else 0)


def _months(sheet: Sheet, spec: SeasonSpec, first: dt.date, last: dt.date, days: Scale,
            y: float) -> float:
    """Names of months with the year under the first; returns the bottom edge."""
    t, names = sheet.theme, spec.words.months
    count = (last.year - first.year) * 12 + last.month - first.month
    widest = max(text_width(n, t.small) for n in names)
    room = (days.end - days.start) / count
    step = next((s for s in (1, 2, 3, 4, 6, 12, 24, 60, 120) if room * s >= widest + 5), 240)
    line = y + 2 * t.small * LEADING + 1
    year = None
    year_end = -1.0
    for n in range(0, count, step):
        month = dt.date(first.year + (first.month - 1 + n) // 12, (first.month - 1 + n) % 12 + 1, 1)
        x = days(month.toordinal())
        sheet.line([x, x], [line - 3, line], "rule", t.hairline)
        name = names[month.month - 1]
        if x + text_width(name, t.small) <= sheet.width:
            sheet.text(x, y + t.small * 0.98, name, t.small, colour="muted")
        word = str(month.year)
        if month.year != year and x > year_end and x + text_width(word, t.small) <= sheet.width:
            year = month.year
            year_end = sheet.text(x, y + t.small * (0.98 + LEADING), word, t.small,
                                  colour="muted").x1 + 4
    sheet.line([days.start, sheet.width], [line, line], "ink", 1.0)
    return line


def _bar(sheet: Sheet, bar: SeasonBar, days: Scale, ax: Axes, y: float, no_date: str,
         lines: list[float]) -> None:
    """From the first day to the last; an open end stops short of the scale's with an arrow."""
    t = sheet.theme
    if bar.start is None and bar.end is None:
        x = clear_right(days.start + 2, text_width(no_date, t.small), lines, sheet.width)
        sheet.middle(x, y, no_date, t.small, colour="muted", behind="paper", on=ax)
        return
    x0 = days(bar.start.toordinal()) if bar.start else days.start + 5
    x1 = days(bar.end.toordinal()) if bar.end else days.end - 5
    if x1 - x0 < 3:  # one day, or nearly
        x0, x1 = (x0 + x1) / 2 - 1.5, (x0 + x1) / 2 + 1.5
    half = BAR / 2
    points = [(x0, y - half), (x1, y - half), (x1, y + half), (x0, y + half)]
    if bar.end is None:
        points[2:2] = [(x1 + 5, y)]
    if bar.start is None:
        points.append((x0 - 5, y))
    looks = HATCHED if bar.measuring else {"fill": "accent"}
    sheet.polygon([(days.value(x), at) for x, at in points], **looks, on=ax)
