"""A sheet to draw one chart on: points, y downward, top left is (0, 0).

Charts are laid out directly in points, because every label has to be measured and kept
apart. The sheet turns each call into marks of one drawing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from reportlab.pdfbase import pdfmetrics

from loambrief.charts.drawing import Drawing, Fill, Markers, Pattern, Pen, Point, Stroke, Text
from loambrief.charts.faces import one_line, pdf_name
from loambrief.charts.place import Box
from loambrief.charts.theme import theme
from loambrief.report.numbers import figures
from loambrief.report.specs import ChartSpec, Threshold

LEADING = 1.26
MIDDLE = 0.355
"""Baseline below the middle of a line of text, in type sizes (half the cap height)."""


@lru_cache(maxsize=2048)
def text_width(text: str, size: float, weight: str = "regular") -> float:
    """Width of a line of text [pt]."""
    return pdfmetrics.stringWidth(one_line(text), pdf_name(weight), size)


def wrap(text: str, width: float, size: float, weight: str = "regular") -> list[str]:
    """Lines no wider than ``width`` [pt]; a word that is wider by itself is broken."""
    lines: list[str] = []
    line = ""
    for word in one_line(text).split(" "):
        if not word:
            continue
        joined = f"{line} {word}" if line else word
        if text_width(joined, size, weight) <= width:
            line = joined
            continue
        if line:
            lines.append(line)
        while text_width(word, size, weight) > width and len(word) > 1:
            n = len(word) - 1
            while n > 1 and text_width(word[:n], size, weight) > width:
                n -= 1
            lines.append(word[:n])
            word = word[n:]
        line = word
    return [*lines, line] if line else lines


def clear_right(x: float, width: float, lines: Sequence[float], end: float) -> float:
    """Left end for a label wanted at ``x``: moved past vertical lines it would cross.

    Stays where it is if there is no room before ``end``.
    """
    moved = x
    for line in sorted(lines):
        if moved - 2.5 < line < moved + width + 2.5:
            moved = line + 3.5
    return moved if moved + width <= end else x


@dataclass(frozen=True)
class Scale:
    """Numbers from ``low`` to ``high`` along a line from ``start`` to ``end`` [pt]."""

    low: float
    high: float
    start: float
    end: float
    log: bool = False

    def __call__(self, value: float) -> float:
        """Position of a number; numbers outside land on the nearer end."""
        value = min(max(value, self.low), self.high)
        low, high = self.low, self.high
        if self.log:
            value, low, high = math.log(value), math.log(low), math.log(high)
        return self.start + (value - low) / (high - low) * (self.end - self.start)

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high


def ticks(low: float, high: float, most: int) -> list[float]:
    """Multiples of 1, 2 or 5 times a power of ten from ``low`` to ``high``.

    At most ``most`` steps, unless fewer than two ticks would be left.
    """
    if not high > low:
        return [low]
    least = (high - low) / max(most, 1)
    power = math.floor(math.log10(least))
    steps = [m * 10.0**p for p in (power + 1, power, power - 1) for m in (5, 2, 1)]
    for step in steps[sum(step >= least for step in steps) - 1:]:
        slack = 1e-9 * min(step, 1.0)
        first, last = math.ceil((low - slack) / step), math.floor((high + slack) / step)
        if last > first:
            break
    return [n * step for n in range(first, last + 1)]


def tick_text(values: Sequence[float]) -> list[str]:
    """Ticks in words, all with the same number of decimals."""
    step = min((b - a for a, b in pairwise(values)), default=1.0)
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    return [figures(v, digits) for v in values]


def log_ticks(low: float, high: float) -> list[float]:
    """1, 2 and 5 times powers of ten within a range."""
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    return [m * 10.0**p for p in powers for m in (1, 2, 5) if low <= m * 10.0**p <= high]


class Sheet:
    """Collects marks; ``finish`` fixes the height and returns the drawing.

    ``y`` is where the next part starts; every helper that flows downward moves it.
    """

    def __init__(self, width: float):
        self.width = width
        self.theme = theme()
        self.y = 0.0
        self._marks: list[Stroke | Fill | Pattern | Markers | Text] = []

    def finish(self, bottom: float = 0.0) -> Drawing:
        """The drawing, as high as what was drawn plus ``bottom``."""
        return Drawing(self.width, self.y + bottom, tuple(self._marks))

    # Shapes -----------------------------------------------------------------------------

    def line(self, xs: Sequence[float], ys: Sequence[float], colour: str = "ink",
             width: float | None = None, pattern: str = "") -> None:
        """A line through points; ``pattern`` is "", "dash" or "dot"."""
        self.strokes([(xs, ys)], colour, width, pattern)

    def strokes(self, parts: Sequence[tuple[Sequence[float], Sequence[float]]],
                colour: str = "ink", width: float | None = None, pattern: str = "") -> None:
        """Separate lines (xs, ys) in one stroke setting."""
        t = self.theme
        pen = Pen(t.colour(colour), t.line if width is None else width,
                  getattr(t, pattern) if pattern else (),
                  "round" if pattern == "dot" else "butt", "round")
        if parts:
            self._marks.append(Stroke(
                tuple(tuple(zip(xs, ys, strict=True)) for xs, ys in parts), pen))

    def verticals(self, xs: Sequence[float], y0: float, y1: float, colour: str = "faint",
                  width: float | None = None, pattern: str = "") -> None:
        """Vertical lines from ``y0`` to ``y1``, hairlines unless said otherwise."""
        width = self.theme.hairline if width is None else width
        self.strokes([((x, x), (y0, y1)) for x in xs], colour, width, pattern)

    def rect(self, x0: float, y0: float, x1: float, y1: float, fill: str | None = None,
             edge: str | None = None, width: float | None = None, hatch: str = "",
             hatch_colour: str = "ink", pattern: str = "") -> None:
        """A rectangle; the pattern lies on the fill."""
        self.polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], fill, edge, width, hatch,
                     hatch_colour, pattern)

    def polygon(self, points: Sequence[Point], fill: str | None = None,
                edge: str | None = None, width: float | None = None, hatch: str = "",
                hatch_colour: str = "ink", pattern: str = "") -> None:
        """A closed shape, with or without its first point again as the last."""
        t = self.theme
        ring = tuple(points[:-1] if points[0] == points[-1] else points)
        if fill:
            self._marks.append(Fill(ring, t.colour(fill)))
        if hatch:
            self._marks.append(Pattern(ring, hatch, t.colour(hatch_colour)))
        if edge:
            pen = Pen(t.colour(edge), t.hairline if width is None else width,
                      getattr(t, pattern) if pattern else ())
            self._marks.append(Stroke((ring,), pen, closed=True))

    def marks(self, xs: Sequence[float], ys: Sequence[float], shape: str = "o",
              size: float | None = None, fill: str | None = "ink", edge: str | None = None,
              width: float | None = None) -> None:
        """Marks at points: "o" or one of ``drawing.SHAPES``."""
        t = self.theme
        pen = Pen(t.colour(edge or fill or "ink"), t.line if width is None else width,
                  join="round" if shape in "ox|" else "miter")
        self._marks.append(Markers(
            tuple(zip(xs, ys, strict=True)), shape, t.marker if size is None else size,
            t.colour(fill) if fill else None, pen))

    # Text -------------------------------------------------------------------------------

    def text(self, x: float, y: float, text: str, size: float | None = None,
             weight: str = "regular", colour: str = "ink", align: str = "left",
             behind: str | None = None) -> Box:
        """One line of text with its baseline at ``y``; ``behind`` fills its box first."""
        size = self.theme.text if size is None else size
        text = one_line(text)
        box = self.box_of(x, y, text, size, weight, align)
        if behind:
            self.rect(max(box.x0 - 2, 0), box.y0 - 0.4, min(box.x1 + 2, self.width), box.y1 + 0.2,
                      fill=behind)
        if text:
            self._marks.append(Text(box.x0, y, text, size, weight, self.theme.colour(colour)))
        return box

    def box_of(self, x: float, y: float, text: str, size: float, weight: str = "regular",
               align: str = "left") -> Box:
        """Box a line of text would take with its baseline at ``y``."""
        width = text_width(text, size, weight)
        left = x - {"left": 0.0, "center": width / 2, "right": width}[align]
        return Box(left, y - 0.74 * size, left + width, y + 0.22 * size)

    def middle(self, x: float, y: float, text: str, size: float | None = None,
               **more: object) -> Box:
        """One line of text with its middle at ``y``."""
        size = self.theme.text if size is None else size
        return self.text(x, y + MIDDLE * size, text, size, **more)

    def lines(self, x: float, y: float, lines: Sequence[str], size: float | None = None,
              **more: object) -> float:
        """Lines of text from the top edge ``y``; returns the bottom edge."""
        size = self.theme.text if size is None else size
        for line in lines:
            self.text(x, y + size * 0.98, line, size, **more)
            y += size * LEADING
        return y

    def paragraph(self, x: float, y: float, text: str, width: float, size: float | None = None,
                  weight: str = "regular", **more: object) -> float:
        """Wrapped text from the top edge ``y``; returns the bottom edge."""
        size = self.theme.text if size is None else size
        return self.lines(x, y, wrap(text, width, size, weight), size, weight=weight, **more)

    def block_middle(self, x: float, y: float, lines: Sequence[str], size: float | None = None,
                     **more: object) -> None:
        """Lines of text with the middle of the block at ``y``."""
        size = self.theme.text if size is None else size
        self.lines(x, y - len(lines) * size * LEADING / 2, lines, size, **more)

    # Parts all charts share -------------------------------------------------------------

    def header(self, spec: ChartSpec, subtitle: str | None = None) -> None:
        """Rule, title (the finding) and what is drawn."""
        t = self.theme
        self.line([0, self.width], [0.5, 0.5], "ink", 0.8)
        self.y = self.paragraph(0, 5, spec.title, self.width, t.title, "bold")
        under = spec.subtitle if subtitle is None else subtitle
        if under:
            self.y = self.paragraph(0, self.y + 1, under, self.width, t.text, colour="muted")
        self.y += 6

    def footer(self, spec: ChartSpec) -> None:
        """Source and caution."""
        if spec.note:
            self.y = self.paragraph(0, self.y + 4, spec.note, self.width, self.theme.small,
                                    colour="muted")
        self.y += 2

    def key(self, entries: Sequence[tuple[Callable[[float, float], None], float, str]],
            x: float = 0.0, width: float | None = None) -> None:
        """A row of signs with their meaning: (draw at x and middle y, sign width, words)."""
        size, gap = self.theme.small, 12.0
        right = self.width if width is None else x + width
        at, row = x, self.y
        for draw, sign, words in entries:
            lines = wrap(words, right - x - sign - 4, size)
            need = sign + 4 + max(text_width(line, size) for line in lines)
            if at > x and at + need > right + 1e-6:
                at, row = x, self.y + 1.5
            draw(at, row + size * LEADING / 2)
            bottom = self.lines(at + sign + 4, row, lines, size)
            self.y = max(self.y, bottom)
            at += need + gap
        if entries:
            self.y += 5

    def threshold_key(self, thresholds: Sequence[Threshold], practice: str,
                      x: float = 0.0) -> None:
        """What each threshold line means; rules of the trade are named as such."""
        for t in thresholds:
            words = f"{t.label} ({practice})" if t.practice else t.label
            style = "dot" if t.practice else "dash"

            def sign(at: float, y: float, style: str = style) -> None:
                self.line([at, at + 14], [y, y], "ink", 0.9, style)

            self.key([(sign, 14.0, words)], x)
            self.y -= 3
        if thresholds:
            self.y += 3
