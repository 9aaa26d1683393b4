"""The plane of salinity and sodium: samples, class limits and the crop's threshold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import LEADING, Scale, log_ticks, text_width, tick_text, ticks, wrap
from loambrief.charts.model import ChartSpec, Threshold, is_number, worded
from loambrief.charts.place import TextBox, around
from loambrief.charts.registry import chart
from loambrief.numbers import figures

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from loambrief.charts.sheet import Sheet

LIST = 150.0
"""Width of the list of samples beside a wide plot [pt]."""


@dataclass(frozen=True)
class SalinityPoint:
    """One sample on the salinity and sodium plane; None where not measured."""

    label: str
    ece: float | None
    sodium: float | None
    estimated: bool = False

    @property
    def whole(self) -> bool:
        """Both values are known: it has a place on the chart, and else only in the list."""
        return is_number(self.ece) and is_number(self.sodium)


@dataclass(frozen=True, kw_only=True)
class SalinitySpec(ChartSpec):
    """Salinity against sodium with the class limits and the crop's threshold.

    ``sodium_name`` is "SAR" or "ESP"; ``classes`` are the four class names in the order
    (neither, saline, sodic, both).
    """

    points: tuple[SalinityPoint, ...]
    ece_limit: float
    sodium_limit: float
    sodium_name: str
    sodium_unit: str
    classes: tuple[str, str, str, str]
    ece_name: str = "ECe"
    ece_unit: str = "dS/m"
    crop: Threshold | None = None

    split = "points"

    def has_data(self) -> bool:
        return any(p.whole for p in self.points)

    def facts(self) -> dict[str, Any]:
        return {"ece": self.ece_name, "sodium": self.sodium_name,
                "crop": self.crop and self.crop.label,
                "crop_at": self.crop and worded(self.crop.value, None, self.ece_unit),
                "ece_limit": worded(self.ece_limit, None, self.ece_unit),
                "sodium_limit": worded(self.sodium_limit, None, self.sodium_unit),
                "points": [{"label": p.label, "ece": worded(p.ece), "sodium": worded(p.sodium),
                            "estimated": p.estimated} for p in self.points]}


@chart(SalinitySpec, "salinity")
def draw(sheet: Sheet, spec: SalinitySpec) -> None:
    """Salinity to the right, sodium upward; the four classes are named in their corners."""
    w, width = spec.words, sheet.width
    t = sheet.theme
    wide = width >= 380
    plotted = [p for p in spec.points if p.whole]
    if any(p.estimated for p in plotted):
        sheet.key([sheet.sign(w.estimated, "o", 5.4, "paper", "accent", 1.2)])

    eces = [p.ece for p in plotted if is_number(p.ece)]
    sodiums = [p.sodium for p in plotted if is_number(p.sodium)]
    high_y = max([2 * spec.sodium_limit, *(v * 1.12 for v in sodiums)])
    crop = [spec.crop.value * 1.15] if spec.crop else []
    high_x = max([2 * spec.ece_limit, *crop, *(v * 1.12 for v in eces)])
    log_x, log_y = high_x > 8 * spec.ece_limit, high_y > 8 * spec.sodium_limit
    low_x = _low(eces, spec.ece_limit) if log_x else 0.0
    low_y = _low(sodiums, spec.sodium_limit) if log_y else 0.0

    top = sheet.y + t.small * LEADING + 3
    height = 178.0 if wide else 165.0
    marks_y = log_ticks(low_y, high_y) if log_y else ticks(0, high_y, 5)
    words_y = [figures(v) for v in marks_y] if log_y else tick_text(marks_y)
    left = max(text_width(s, t.small) for s in words_y) + 7
    right = width - (LIST + 14 if wide else 2)
    bottom = top + height
    across = Scale(low_x, high_x, left, right, log_x)
    up = Scale(low_y, high_y, bottom, top, log_y)
    plot = TextBox(left, top, right, bottom)

    sheet.text(0, top - 5, f"{spec.sodium_name}, {spec.sodium_unit}" if spec.sodium_unit
               else spec.sodium_name, t.small, colour="muted")
    ax = sheet.axes(across, up)
    taken, keyed = _classes(sheet, spec, across, up, ax, plot)
    above = bottom + 99.0
    for value, word in zip(marks_y, words_y, strict=True):
        y = up(value)
        sheet.line([left - 2.5, left], [y, y], "rule", t.hairline)
        if above - y >= t.small * LEADING:
            sheet.middle(left - 4, y, word, t.small, colour="muted", align="right")
            above = y
    _x_axis(sheet, spec, across, bottom, log_x)
    sheet.y = bottom + 2 * t.small * LEADING + 5
    unplaced = _points(sheet, plotted, across, up, ax, plot, taken)
    if keyed:
        names = "; ".join(f"{n}\u00a0{name}" for n, name in enumerate(spec.classes, 1))
        sheet.y = sheet.paragraph(left, sheet.y, names, right - left, t.small) + 4
    if spec.crop:
        sheet.key([(lambda a, y: sheet.line([a, a + 14], [y, y], "accent", t.line + 0.3, "dash"),
                    14.0, spec.crop.label)])
    if wide:
        _list(sheet, spec, right + 14, top - 3, LIST, sheet)
    else:
        sheet.y = _list(sheet, spec, 0, sheet.y, min(width, 190.0), None)
    if unplaced:
        sheet.y = sheet.paragraph(0, sheet.y + 2, w.unplaced.format(", ".join(unplaced)), width,
                                  t.small)


def _low(values: list[float], limit: float) -> float:
    return min([v for v in values if v > 0] + [limit]) / 2


def _classes(sheet: Sheet, spec: SalinitySpec, across: Scale, up: Scale, ax: Axes, plot: TextBox
             ) -> tuple[list[TextBox], bool]:
    """Class limits as lines, class names in the outer corners.

    Returns the boxes of the names, and whether numbers stand in for them.
    """
    t = sheet.theme
    x, y = across(spec.ece_limit), up(spec.sodium_limit)
    sheet.rect(spec.ece_limit, spec.sodium_limit, across.high, up.high, "faint", on=ax)
    if spec.crop:
        sheet.verticals([spec.crop.value], up.high, up.low, "accent", t.line + 0.3, "dash", on=ax)
    sheet.strokes([((spec.ece_limit, spec.ece_limit), (up.high, up.low)),
                   ((across.low, across.high), (spec.sodium_limit, spec.sodium_limit))],
                  "muted", t.line, on=ax)
    sheet.rect(across.low, up.low, across.high, up.high, None, "rule", t.hairline, on=ax)
    leading = t.small * LEADING
    corners = []
    for index, (left, right, top, bottom) in enumerate((
            (plot.x0, x, y, plot.y1), (x, plot.x1, y, plot.y1),
            (plot.x0, x, plot.y0, y), (x, plot.x1, plot.y0, y))):
        lines = wrap(spec.classes[index], max(right - left - 8, 1), t.small, "bold")
        whole = " ".join(lines) == " ".join(spec.classes[index].split())
        fits = whole and len(lines) * leading + 12 <= bottom - top
        start = top + 3 if index > 1 else bottom - 9 - len(lines) * leading
        corners.append((left, start, lines, fits, top, bottom))
    boxes = []
    keyed = not all(corner[3] for corner in corners)
    for index, (left, start, lines, _, top, bottom) in enumerate(corners):
        if keyed:  # a name does not fit its corner: number the corners, explain them below
            lines = [str(index + 1)]
            start = top + 3 if index > 1 else bottom - 9 - leading
        for n, line in enumerate(lines):
            boxes.append(sheet.text(
                left + 4, start + n * leading + 0.98 * t.small, line, t.small, "bold", "muted",
                behind="faint" if index == 3 else "paper", on=ax))
    return boxes, keyed


def _x_axis(sheet: Sheet, spec: SalinitySpec, across: Scale, bottom: float, log: bool) -> None:
    t = sheet.theme
    count = max(2, int((across.end - across.start) / 40))
    marks = log_ticks(across.low, across.high) if log else ticks(0, across.high, count)
    words = [figures(v) for v in marks] if log else tick_text(marks)
    sheet.y = bottom
    sheet.scale_below(across, list(zip(marks, words, strict=True)), left=across.start - 2)
    sheet.text(across.end, bottom + 9.5 + t.small * LEADING, f"{spec.ece_name}, {spec.ece_unit}",
               t.small, colour="muted", align="right")


def _points(sheet: Sheet, points: list[SalinityPoint], across: Scale, up: Scale, ax: Axes,
            plot: TextBox, taken: list[TextBox]) -> list[str]:
    """Marks and their names; returns the names that found no room."""
    t = sheet.theme
    where = [(across(p.ece), up(p.sodium)) for p in points
             if is_number(p.ece) and is_number(p.sodium)]
    for estimated in (False, True):
        chosen = [(across.value(x), up.value(y)) for (x, y), p in zip(where, points, strict=True)
                  if p.estimated == estimated]
        if chosen:
            xs, ys = zip(*chosen, strict=True)
            sheet.marks(xs, ys, "o", 6.4, "paper" if estimated else "accent",
                        "accent" if estimated else "paper", 1.2 if estimated else 0.8, on=ax)
    sizes = [(text_width(p.label, t.text, "bold"), t.text) for p in points]
    inside = TextBox(plot.x0 + 2, plot.y0 + 2, plot.x1 - 2, plot.y1 - 2)
    unplaced = []
    for point, (x, y), box in zip(points, where, around(where, sizes, inside, taken), strict=True):
        if box is None:
            unplaced.append(point.label)
            continue
        far = max(box.x0 - x, x - box.x1, box.y0 - y, y - box.y1)
        if far > 7:
            edge_x, edge_y = min(max(x, box.x0), box.x1), min(max(y, box.y0), box.y1)
            sheet.line([x, edge_x], [y, edge_y], "muted", t.hairline)
        sheet.text(box.x0, box.y0 + 0.76 * t.text, point.label, weight="bold")
    return unplaced


def _list(sheet: Sheet, spec: SalinitySpec, x: float, y: float, width: float,
          beside: Sheet | None) -> float:
    """Every sample with its two values; returns the bottom edge."""
    t, w = sheet.theme, spec.words

    def number(value: float | None) -> str:
        return figures(value, 1) if is_number(value) else w.not_measured

    heads = (spec.ece_name, spec.sodium_name)
    rows = [(p.label, number(p.ece), number(p.sodium)) for p in spec.points]
    size = [max([text_width(h, t.small), *(text_width(r[n + 1], t.text) for r in rows)])
            for n, h in enumerate(heads)]
    ends = (x + width - size[1] - 10, x + width)
    for head, end in zip(heads, ends, strict=True):
        sheet.text(end, y + t.small * 0.98, head, t.small, colour="muted", align="right")
    y += t.small * LEADING + 1
    sheet.line([x, x + width], [y, y], "rule", t.hairline)
    y += 1.5
    for label, *cells in rows:
        lines = wrap(label, width - sum(size) - 22, t.text, "bold")
        for end, cell in zip(ends, cells, strict=True):
            sheet.text(end, y + t.text * 0.98, cell, align="right")
        y = sheet.lines(x, y, lines, weight="bold")
    if beside is not None:
        sheet.y = max(sheet.y, y + 3)
    return y + 3
