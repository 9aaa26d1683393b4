"""Draws a chart as vectors and real text on a reportlab canvas.

Text uses the page's own embedded fonts and stays text.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from loambrief.charts.drawing import (
    Bounds,
    Drawing,
    Fill,
    Lines,
    Markers,
    Pattern,
    Pen,
    Point,
    Stroke,
    Text,
    bounds,
    hatch_marks,
)
from loambrief.charts.faces import pdf_name
from loambrief.charts.theme import theme
from loambrief.colours import channels

CAPS = {"butt": 0, "round": 1}
JOINS = {"miter": 0, "round": 1}


def _arc(start: float, turn: float) -> tuple[float, ...]:
    """Control points and end of an arc of the unit circle [rad]; 4/3 tan(turn/4) is the reach."""
    reach, end = 4 / 3 * math.tan(turn / 4), start + turn
    return (math.cos(start) - reach * math.sin(start), math.sin(start) + reach * math.cos(start),
            math.cos(end) + reach * math.sin(end), math.sin(end) - reach * math.cos(end),
            math.cos(end), math.sin(end))


ARCS = tuple(_arc(n * math.pi / 4, math.pi / 4) for n in range(8))


@dataclass(frozen=True)
class TextBox:
    """One drawn line of text: its box in chart points, y upward from the bottom."""

    text: str
    x0: float
    y0: float
    x1: float
    y1: float
    size: float
    colour: tuple[float, float, float]

    def overlaps(self, other: TextBox, slack: float = 0.0) -> bool:
        """True if the boxes share more than ``slack`` points both ways."""
        return (min(self.x1, other.x1) - max(self.x0, other.x0) > slack
                and min(self.y1, other.y1) - max(self.y0, other.y0) > slack)


@dataclass
class Drawn:
    """What was put on the page, for checks: text boxes and path boxes, y upward."""

    texts: list[TextBox] = field(default_factory=list)
    paths: list[Bounds] = field(default_factory=list)


def draw(canvas: Canvas, drawing: Drawing, x: float, y: float, drawn: Drawn | None = None) -> None:
    """Draw a chart with its lower left corner at (x, y).

    Parameters
    ----------
    canvas : Canvas
        The page. Its state is the same afterwards.
    drawing : Drawing
    x, y : float
        Position [pt].
    drawn : Drawn, optional
        Filled with the boxes of all text and paths, in chart points.

    Raises
    ------
    ValueError
        An unknown pattern.
    """
    canvas.saveState()
    canvas.translate(x, y)
    painter = _Painter(canvas, drawing.height, drawn)
    for mark in drawing.marks:
        HOW[type(mark)](painter, mark)
    canvas.restoreState()


class _Painter:
    """Draws marks on a canvas whose origin is the chart's lower left corner."""

    def __init__(self, canvas: Canvas, height: float, drawn: Drawn | None):
        self.canvas, self.height, self.drawn = canvas, height, drawn
        self._state: dict[str, object] = {}

    def stroke(self, mark: Stroke) -> None:
        self._record((p for line in mark.lines for p in line), mark.pen.width)
        self._pen(mark.pen)
        self.canvas.drawPath(self._path(mark.lines, mark.closed, self.height), stroke=1, fill=0)

    def fill(self, mark: Fill) -> None:
        self._record(mark.points)
        self._colour(mark.colour)
        self.canvas.drawPath(self._path((mark.points,), True, self.height), stroke=0, fill=1)

    def pattern(self, mark: Pattern) -> None:
        """Lines or dots on a grid that is fixed to the chart's lower left corner."""
        canvas, look = self.canvas, theme()
        self._record(mark.points)
        x0, y0, x1, y1 = bounds(mark.points)
        lines, dots = hatch_marks(mark.signs, (x0, self.height - y1, x1, self.height - y0),
                                  look.hatch_gap)
        canvas.saveState()
        canvas.clipPath(self._path((mark.points,), True, self.height), stroke=0, fill=0)
        canvas.setDash([])
        if lines:
            canvas.setStrokeColorRGB(*channels(mark.colour))
            canvas.setLineWidth(look.hatch_line)
            canvas.lines(lines)
        if dots:
            canvas.setFillColorRGB(*channels(mark.colour))
            path = canvas.beginPath()
            for x, y in dots:
                path.circle(x, y, look.hatch_line)
            canvas.drawPath(path, stroke=0, fill=1)
        canvas.restoreState()

    def markers(self, mark: Markers) -> None:
        if mark.fill:
            self._colour(mark.fill)
        self._pen(mark.pen)
        if mark.shape == "o":
            half = mark.size / 2
            corners = [(-half, -half), (half, half)]
            sign = self._circle(half)
        else:
            lines, closed = mark.outline(0, 0)
            corners = [p for line in lines for p in line]
            sign = self._path(lines, closed, 0.0)
        for x, y in mark.places:
            self._record(((x + u, y + v) for u, v in corners), mark.pen.width)
            self.canvas.saveState()
            self.canvas.translate(x, self.height - y)
            self.canvas.drawPath(sign, stroke=1, fill=int(mark.fill is not None))
            self.canvas.restoreState()

    def text(self, mark: Text) -> None:
        name, y = pdf_name(mark.weight), self.height - mark.y
        self._colour(mark.colour)
        self.canvas.setFont(name, mark.size)
        self.canvas.drawString(mark.x, y, mark.text)
        if self.drawn is not None:
            width = pdfmetrics.stringWidth(mark.text, name, mark.size)
            self.drawn.texts.append(TextBox(
                mark.text, mark.x, y - 0.22 * mark.size, mark.x + width, y + 0.74 * mark.size,
                mark.size, channels(mark.colour)))

    def _path(self, lines: Lines, closed: bool, height: float) -> PDFPathObject:
        path = self.canvas.beginPath()
        for (x, y), *rest in lines:
            path.moveTo(x, height - y)
            for x, y in rest:
                path.lineTo(x, height - y)
            if closed:
                path.close()
        return path

    def _circle(self, radius: float) -> PDFPathObject:
        """A circle in eight arcs: rounder than reportlab's, which has four."""
        path = self.canvas.beginPath()
        path.moveTo(radius, 0.0)
        for arc in ARCS:
            path.curveTo(*(radius * v for v in arc))
        path.close()
        return path

    def _record(self, points: Iterable[Point], width: float = 0.0) -> None:
        """Note the box around points, with half a line's width more."""
        if self.drawn is not None:
            half, (x0, y0, x1, y1) = width / 2, bounds(points)
            self.drawn.paths.append((x0 - half, self.height - y1 - half,
                                     x1 + half, self.height - y0 + half))

    def _set(self, what: str, value: object, setter: Callable[[], object]) -> None:
        """Call a canvas setter only when the value differs from the one in force."""
        if self._state.get(what) != value:
            setter()
            self._state[what] = value

    def _colour(self, colour: str) -> None:
        self._set("fill", colour, lambda: self.canvas.setFillColorRGB(*channels(colour)))

    def _pen(self, pen: Pen) -> None:
        canvas = self.canvas
        self._set("colour", pen.colour,
                  lambda: canvas.setStrokeColorRGB(*channels(pen.colour)))
        self._set("width", pen.width, lambda: canvas.setLineWidth(pen.width))
        self._set("cap", pen.cap, lambda: canvas.setLineCap(CAPS[pen.cap]))
        self._set("join", pen.join, lambda: canvas.setLineJoin(JOINS[pen.join]))
        self._set("dash", pen.dash, lambda: canvas.setDash(list(pen.dash), 0))


HOW = {Stroke: _Painter.stroke, Fill: _Painter.fill, Pattern: _Painter.pattern,
       Markers: _Painter.markers, Text: _Painter.text}
