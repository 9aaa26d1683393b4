"""Fields or zones from above: each filled by what limits it, numbered, with a list beside."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import LEADING, Scale, text_width
from loambrief.charts.model import ChartSpec
from loambrief.charts.registry import chart
from loambrief.numbers import figures, symbol

if TYPE_CHECKING:

    from loambrief.charts.sheet import Sheet

LOOKS = (("paper", "", "ink"), (0, "", "ink"), (1, "/", "paper"), (2, "", "paper"),
         ("accent_soft", ".", "ink"), (4, "\\", "paper"), ("faint", "-", "ink"))
"""Fill (theme name or place in the series), pattern, its colour; the first: nothing limits."""
WIDEST, HIGHEST = 290.0, 230.0
SIDE_BY_SIDE = 420.0
GAP = 18.0
SIGN = 16.0
GRID = 10
"""Steps of the search for the place of a number."""

Ring = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class MapArea:
    """One zone on the sketch map."""

    number: str
    """Printed inside the zone and in the list."""
    label: str
    detail: str
    """``label``, ``detail``: name, and what limits it."""
    look: int
    """Position of its fill in ``MapSpec.looks``."""
    polygons: tuple[tuple[tuple[tuple[float, float], ...], ...], ...]
    """Tuple of (outer ring, hole, ...): Corners east and north of a common origin [m]."""
    rates: str = ""
    """What goes on it, in words."""
    name: str = ""
    """Printed beside the number where the zone has room for it."""


@dataclass(frozen=True, kw_only=True)
class MapSpec(ChartSpec):
    """Fields or zones from above, filled by what limits them."""

    areas: tuple[MapArea, ...]
    outlines: tuple[tuple[tuple[tuple[float, float], ...], ...], ...] = ()
    """Boundaries drawn without a number, as ``MapArea.polygons``."""
    looks: tuple[str, ...]
    """What each fill means."""
    length_unit: str
    unit_m: float
    """Length of one ``length_unit`` [m]."""

    split = "areas"

    def has_data(self) -> bool:
        return any(a.polygons for a in self.areas)

    def items(self) -> int:
        return 0  # a map is parted only where it is higher than a page

    def halves(self, first_items: int = 0) -> tuple[MapSpec, ...]:
        """The whole map stays, the list is split."""
        parts = super().halves(first_items)
        if not parts:
            return ()
        first, second = parts
        return (replace(first, outlines=(*self.outlines, *_polygons(second))),
                replace(second, outlines=(*self.outlines, *_polygons(first))))

    def facts(self) -> dict[str, Any]:
        return {"areas": [{"number": a.number, "label": a.label, "detail": a.detail,
                           "look": self.looks[a.look], "rates": a.rates} for a in self.areas]}


def _polygons(spec: MapSpec) -> list[tuple[tuple[tuple[float, float], ...], ...]]:
    return [rings for area in spec.areas for rings in area.polygons]


@chart(MapSpec, "map")
def draw(sheet: Sheet, spec: MapSpec) -> None:
    """The map on the left, the list beside it or below."""
    width = sheet.width
    beside = width >= SIDE_BY_SIDE
    top = sheet.y
    across = min(WIDEST, width)
    bottom, right = _map(sheet, spec, across, top)
    if beside:
        sheet.y = top
        _list(sheet, spec, right + GAP, width - right - GAP)
        sheet.y = max(sheet.y, bottom)
    else:
        sheet.y = bottom + 6
        _list(sheet, spec, 0.0, width)


def fill_of(sheet: Sheet, look: int) -> tuple[str, str, str]:
    """Fill, pattern and its colour; more looks than fills begin again with a denser pattern."""
    fill, hatch, colour = LOOKS[look % len(LOOKS)]
    if isinstance(fill, int):
        fill = sheet.theme.series[fill]
    if look >= len(LOOKS):
        hatch, colour = "x" * (look // len(LOOKS)), "muted"
    return fill, hatch, colour


def _map(sheet: Sheet, spec: MapSpec, across: float, top: float) -> tuple[float, float]:
    """Draw the shapes; returns the bottom and the right edge."""
    t = sheet.theme
    polygons = [p for a in spec.areas for p in a.polygons] + list(spec.outlines)
    xs = [x for rings in polygons for x, _ in rings[0]]
    ys = [y for rings in polygons for _, y in rings[0]]
    west, north = min(xs), max(ys)
    wide, high = max(max(xs) - west, 1.0), max(north - min(ys), 1.0)
    scale = min((across - 2) / wide, HIGHEST / high)

    east = Scale(west, west + wide, 1.0, 1.0 + wide * scale)
    up = Scale(north - high, north, top + 1 + high * scale, top + 1)
    ax = sheet.axes(east, up)
    ax.set_aspect("equal")

    for area in spec.areas:
        fill, hatch, colour = fill_of(sheet, area.look)
        for rings in area.polygons:
            sheet.polygon(rings[0], fill, hatch=hatch, hatch_colour=colour, on=ax)
            for hole in rings[1:]:
                sheet.polygon(hole, "paper", "muted", t.hairline, on=ax)
            sheet.polygon(rings[0], None, "ink", t.line, on=ax)
    for rings in spec.outlines:
        for ring in rings:
            sheet.polygon(ring, None, "ink", t.strong, on=ax)
    taken: list = []
    for area in spec.areas:
        outer = [(east(x), up(y)) for x, y in max((p[0] for p in area.polygons), key=_size)]
        x, y = inner_point(outer)
        named = f"{area.number}  {area.name}" if area.name else area.number
        half = text_width(named, t.text, "bold") / 2 + 3
        if not _holds(outer, x - half, y - t.text, x + half, y + t.text):
            named = area.number
            half = text_width(named, t.text, "bold") / 2 + 3
        box = (min(max(x, half), across - half), y)
        while any(abs(box[0] - b[0]) < half + b[2] and abs(box[1] - b[1]) < t.text * 1.3
                  for b in taken):
            box = (box[0], box[1] + t.text * 1.3)
        taken.append((*box, half))
        sheet.rect(box[0] - half, box[1] - t.text * 0.62, box[0] + half, box[1] + t.text * 0.62,
                   "paper", "ink", t.hairline)
        sheet.middle(*box, named, weight="bold", align="center")
    bottom = max(top + 2 + high * scale, max((b[1] + t.text for b in taken), default=0.0))
    right = max(wide * scale + 2, 96.0)
    return _rulers(sheet, spec, scale, bottom + 5, right), right


def _size(ring: Ring) -> float:
    return abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairwise(ring)))


def _rulers(sheet: Sheet, spec: MapSpec, scale: float, y: float, right: float) -> float:
    """Scale bar and north arrow; returns the bottom."""
    t = sheet.theme
    unit_pt = scale * spec.unit_m
    length = round_length(right * 0.35 / unit_pt)
    end = length * unit_pt
    words = f"{figures(length)} {symbol(spec.length_unit)}"
    middle = y + t.small * LEADING / 2
    sheet.strokes([((0.5, end), (middle, middle)), ((0.5, 0.5), (middle - 3, middle + 3)),
                   ((end, end), (middle - 3, middle + 3))], "ink", t.line)
    box = sheet.middle(end + 5, middle, words, t.small)
    x = max(right - text_width(spec.words.north, t.small) - 12, box.x1 + 14)
    sheet.polygon([(x, middle - 5), (x + 3.5, middle + 4.5), (x, middle + 2.5),
                   (x - 3.5, middle + 4.5)], "ink")
    sheet.middle(x + 7, middle, spec.words.north, t.small)
    return y + t.small * LEADING + 2


def _list(sheet: Sheet, spec: MapSpec, x: float, width: float) -> None:
    """Number, fill, name and what limits it, one entry an area."""
    t = sheet.theme
    number = max(text_width(a.number, t.text, "bold") for a in spec.areas) + 5
    left = x + number + SIGN + 6
    for area in spec.areas:
        top = sheet.y
        sheet.text(x, top + t.text * 0.98, area.number, weight="bold")
        fill, hatch, colour = fill_of(sheet, area.look)
        sheet.rect(x + number, top + 1.5, x + number + SIGN, top + 11, fill, "ink",
                   t.hairline, hatch, colour)
        bottom = sheet.paragraph(left, top, _entry(spec, area), x + width - left, weight="bold")
        if area.detail:
            bottom = sheet.paragraph(left, bottom, area.detail, x + width - left, t.small,
                                     colour="muted")
        if area.rates:
            bottom = sheet.paragraph(left, bottom, area.rates, x + width - left, t.small)
        sheet.y = max(bottom, top + 12) + 4


def _entry(spec: MapSpec, area: MapArea) -> str:
    return f"{area.label}: {spec.looks[area.look]}"


def inner_point(ring: Ring) -> tuple[float, float]:
    """The point of a coarse grid that lies deepest inside a closed ring.

    For a ring too thin for the grid, the middle of its first side.
    """
    xs, ys = [x for x, _ in ring], [y for _, y in ring]
    sides = list(pairwise(ring))
    best = (0.0, (xs[0] + xs[1]) / 2, (ys[0] + ys[1]) / 2)
    for row in range(1, GRID):
        y = min(ys) + (max(ys) - min(ys)) * row / GRID
        cuts = sorted(x0 + (y - y0) / (y1 - y0) * (x1 - x0)
                      for (x0, y0), (x1, y1) in sides if (y0 > y) != (y1 > y))
        for left, right in zip(cuts[::2], cuts[1::2], strict=False):
            for column in range(1, GRID):
                x = left + (right - left) * column / GRID
                depth = min(_distance(x, y, *side) for side in sides)
                best = max(best, (depth, x, y))
    return best[1], best[2]


def _holds(ring: Ring, x0: float, y0: float, x1: float, y1: float) -> bool:
    """Whether a box lies inside a closed ring: every point of its edge does."""
    steps = [n / GRID for n in range(GRID + 1)]
    edge = [*((x0 + (x1 - x0) * s, y) for s in steps for y in (y0, y1)),
            *((x, y0 + (y1 - y0) * s) for s in steps for x in (x0, x1))]
    return all(_within(ring, x, y) for x, y in edge)


def _within(ring: Ring, x: float, y: float) -> bool:
    """Whether a point lies inside a closed ring, by the sides on its left."""
    return sum(x0 + (y - y0) / (y1 - y0) * (x1 - x0) < x
               for (x0, y0), (x1, y1) in pairwise(ring) if (y0 > y) != (y1 > y)) % 2 == 1


def _distance(x: float, y: float, start: tuple[float, float], end: tuple[float, float]) -> float:
    """From a point to a stretch of line."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    long2 = dx * dx + dy * dy
    share = 0.0 if long2 == 0 else ((x - start[0]) * dx + (y - start[1]) * dy) / long2
    share = min(max(share, 0.0), 1.0)
    return math.hypot(x - start[0] - share * dx, y - start[1] - share * dy)


def round_length(wanted: float) -> float:
    """Largest of 1, 2 and 5 times a power of ten that is not above a length."""
    power = 10.0 ** math.floor(math.log10(wanted))
    return next(m * power for m in (5, 2, 1) if m * power <= wanted * (1 + 1e-9))
