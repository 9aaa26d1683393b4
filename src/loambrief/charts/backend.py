"""Draws a matplotlib figure as vectors and real text on a reportlab canvas.

One point of the page is one pixel of the figure (72 dpi), so nothing is scaled. Text uses
the page's own embedded fonts and stays text. Nothing is ever drawn transparent or as a
picture: PDF/A-2 would allow some of it, old printers and copiers do not show it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from matplotlib.backend_bases import RendererBase
from matplotlib.figure import Figure
from matplotlib.path import Path
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from loambrief.charts.faces import pdf_font
from loambrief.charts.theme import theme

CAPS = {"butt": 0, "round": 1, "projecting": 2}
JOINS = {"miter": 0, "round": 1, "bevel": 2}
CLOSED, MOVE, LINE, QUADRATIC, CUBIC = (
    Path.CLOSEPOLY, Path.MOVETO, Path.LINETO, Path.CURVE3, Path.CURVE4)


@dataclass(frozen=True)
class TextBox:
    """One drawn line of text: its box in figure points, y upward from the bottom."""

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
    """What a renderer put on the page, for checks: text boxes and path boxes."""

    texts: list[TextBox] = field(default_factory=list)
    paths: list[tuple[float, float, float, float]] = field(default_factory=list)


class CanvasRenderer(RendererBase):
    """Matplotlib renderer with a reportlab canvas under it.

    Parameters
    ----------
    canvas : Canvas
        Drawn on with its origin at the figure's lower left corner.
    width, height : float
        Figure size [pt].
    drawn : Drawn, optional
        Filled with what is drawn.

    Raises
    ------
    ValueError
        While drawing: partial transparency, an unknown pattern, mathematical markup.
    NotImplementedError
        While drawing: a bitmap or a colour gradient.
    """

    def __init__(self, canvas: Canvas, width: float, height: float, drawn: Drawn | None = None):
        super().__init__()
        self.canvas, self.width, self.height, self.drawn = canvas, width, height, drawn
        self._state: dict[str, object] = {}

    def flipy(self) -> bool:
        return False

    def get_canvas_width_height(self) -> tuple[float, float]:
        return self.width, self.height

    def points_to_pixels(self, points: float) -> float:
        return points

    def draw_image(self, gc, x, y, im, transform=None):
        raise NotImplementedError("charts hold no bitmaps")

    def draw_gouraud_triangles(self, gc, triangles_array, colors_array, transform):
        raise NotImplementedError("charts hold no gradients")

    def draw_path(self, gc, path, transform, rgbFace=None):
        fill = opaque(rgbFace)
        stroke = opaque(gc.get_rgb()) if gc.get_linewidth() > 0 else None
        hatch = gc.get_hatch()
        if fill is None and stroke is None and not hatch:
            return
        outline, box = self._outline(path, transform)
        if outline is None:
            return
        self._record_path(box, gc.get_linewidth() if stroke is not None else 0.0)
        clipped = self._clip(gc)
        if fill is not None:
            self._set("fill", fill, self.canvas.setFillColorRGB)
        if hatch:
            if fill is not None:
                self.canvas.drawPath(outline, stroke=0, fill=1)
            self._hatch(outline, box, hatch, opaque(gc.get_hatch_color()),
                        gc.get_hatch_linewidth())
            fill = None
        if stroke is not None:
            self._pen(gc, stroke)
        if fill is not None or stroke is not None:
            self.canvas.drawPath(outline, stroke=int(stroke is not None),
                                 fill=int(fill is not None))
        self._unclip(clipped)

    def draw_markers(self, gc, marker_path, marker_trans, path, trans, rgbFace=None):
        fill = opaque(rgbFace)
        stroke = opaque(gc.get_rgb()) if gc.get_linewidth() > 0 else None
        outline, box = self._outline(marker_path, marker_trans)
        if outline is None or (fill is None and stroke is None):
            return
        clipped = self._clip(gc)
        if fill is not None:
            self._set("fill", fill, self.canvas.setFillColorRGB)
        if stroke is not None:
            self._pen(gc, stroke)
        margin = gc.get_linewidth() if stroke is not None else 0.0
        for vertices, _ in path.iter_segments(trans, simplify=False):
            x, y = (float(v) for v in vertices[-2:])
            if not (math.isfinite(x) and math.isfinite(y)):
                continue
            self._record_path((box[0] + x, box[1] + y, box[2] + x, box[3] + y), margin)
            self.canvas.saveState()
            self.canvas.translate(x, y)
            self.canvas.drawPath(outline, stroke=int(stroke is not None),
                                 fill=int(fill is not None))
            self.canvas.restoreState()
        self._unclip(clipped)

    def draw_text(self, gc, x, y, s, prop, angle, ismath=False, mtext=None):
        if ismath:
            raise ValueError(f"mathematical markup in {s!r}")
        name, size = pdf_font(prop), prop.get_size_in_points()
        colour = opaque(gc.get_rgb())
        if colour is None or not s:
            return
        clipped = self._clip(gc)
        self._set("fill", colour, self.canvas.setFillColorRGB)
        if angle:
            self.canvas.saveState()
            self.canvas.translate(x, y)
            self.canvas.rotate(angle)
            self.canvas.setFont(name, size)
            self.canvas.drawString(0, 0, s)
            self.canvas.restoreState()
        else:
            self.canvas.setFont(name, size)
            self.canvas.drawString(x, y, s)
        self._unclip(clipped)
        if self.drawn is not None:
            self.drawn.texts.append(_text_box(s, x, y, name, size, angle, colour))

    def get_text_width_height_descent(self, s, prop, ismath):
        name, size = pdf_font(prop), prop.get_size_in_points()
        ascent, descent = pdfmetrics.getAscentDescent(name, size)
        return pdfmetrics.stringWidth(s, name, size), ascent - descent, -descent

    # State ------------------------------------------------------------------------------

    def _set(self, what: str, value: tuple, setter) -> None:
        """Call a canvas setter only when the value differs from the one in force."""
        if self._state.get(what) != value:
            setter(*value)
            self._state[what] = value

    def _pen(self, gc, colour: tuple[float, float, float]) -> None:
        canvas = self.canvas
        self._set("stroke", colour, canvas.setStrokeColorRGB)
        self._set("width", (float(gc.get_linewidth()),), canvas.setLineWidth)
        self._set("cap", (CAPS[str(gc.get_capstyle())],), canvas.setLineCap)
        self._set("join", (JOINS[str(gc.get_joinstyle())],), canvas.setLineJoin)
        offset, dashes = gc.get_dashes()
        pattern = tuple(float(d) for d in dashes) if dashes is not None else ()
        self._set("dash", (pattern, float(offset or 0)), lambda p, o: canvas.setDash(list(p), o))

    def _clip(self, gc) -> dict | None:
        """Narrow the canvas to the artist's clip; returns the state to go back to."""
        rectangle = gc.get_clip_rectangle()
        path, transform = gc.get_clip_path()
        if rectangle is None and path is None:
            return None
        kept = dict(self._state)
        self.canvas.saveState()
        if rectangle is not None:
            outline = self.canvas.beginPath()
            outline.rect(*(float(v) for v in rectangle.bounds))
            self.canvas.clipPath(outline, stroke=0, fill=0)
        if path is not None:
            outline, _ = self._outline(path, transform)
            if outline is not None:
                self.canvas.clipPath(outline, stroke=0, fill=0)
        return kept

    def _unclip(self, kept: dict | None) -> None:
        if kept is not None:
            self.canvas.restoreState()
            self._state = kept

    def _record_path(self, box, width: float) -> None:
        if self.drawn is not None:
            half = width / 2
            self.drawn.paths.append((box[0] - half, box[1] - half, box[2] + half, box[3] + half))

    # Paths ------------------------------------------------------------------------------

    def _outline(self, path, transform):
        """A reportlab path and its box; (None, None) if there is nothing in it."""
        outline = self.canvas.beginPath()
        xs: list[float] = []
        ys: list[float] = []
        px = py = 0.0
        for vertices, code in path.iter_segments(transform, remove_nans=True, simplify=False):
            if code == CLOSED:
                outline.close()
                continue
            v = [float(n) for n in vertices]
            if code == MOVE:
                outline.moveTo(*v)
            elif code == LINE:
                outline.lineTo(*v)
            elif code == CUBIC:
                outline.curveTo(*v)
            elif code == QUADRATIC:
                cx, cy, ex, ey = v
                outline.curveTo(px + 2 / 3 * (cx - px), py + 2 / 3 * (cy - py),
                                ex + 2 / 3 * (cx - ex), ey + 2 / 3 * (cy - ey), ex, ey)
            xs += v[0::2]
            ys += v[1::2]
            px, py = v[-2:]
        if not xs:
            return None, None
        return outline, (min(xs), min(ys), max(xs), max(ys))

    def _hatch(self, outline, box, pattern: str, colour, width: float) -> None:
        """Pattern lines or dots inside an outline, on a grid fixed to the figure."""
        canvas, gap = self.canvas, theme().hatch_gap
        lines, dots = hatch_marks(pattern, box, gap)
        canvas.saveState()
        canvas.clipPath(outline, stroke=0, fill=0)
        canvas.setDash([])
        if lines:
            canvas.setStrokeColorRGB(*colour)
            canvas.setLineWidth(width)
            canvas.lines(lines)
        if dots:
            canvas.setFillColorRGB(*colour)
            path = canvas.beginPath()
            for x, y in dots:
                path.circle(x, y, width)
            canvas.drawPath(path, stroke=0, fill=1)
        canvas.restoreState()


def hatch_marks(pattern: str, box: tuple[float, float, float, float], gap: float):
    """Line ends and dot centres of a pattern inside a box.

    Parameters
    ----------
    pattern : str
        Any of ``/ \\ - | x + .``; a sign given twice halves the distance.
    box : tuple of float
        x0, y0, x1, y1 [pt].
    gap : float
        Distance between lines [pt].

    Returns
    -------
    lines, dots : list of (x0, y0, x1, y1), list of (x, y)

    Raises
    ------
    ValueError
        Another sign.
    """
    x0, y0, x1, y1 = box
    lines: list[tuple[float, float, float, float]] = []
    dots: list[tuple[float, float]] = []
    spelled = pattern.replace("x", "/\\").replace("+", "-|")
    for sign in sorted(set(spelled)):
        step = gap / spelled.count(sign)
        if sign == "-":
            lines += [(x0, y, x1, y) for y in _grid(y0, y1, step)]
        elif sign == "|":
            lines += [(x, y0, x, y1) for x in _grid(x0, x1, step)]
        elif sign == "/":  # y = x + c
            for c in _grid(y0 - x1, y1 - x0, step * math.sqrt(2)):
                left, right = max(x0, y0 - c), min(x1, y1 - c)
                lines.append((left, left + c, right, right + c))
        elif sign == "\\":  # y = c - x
            for c in _grid(x0 + y0, x1 + y1, step * math.sqrt(2)):
                left, right = max(x0, c - y1), min(x1, c - y0)
                lines.append((left, c - left, right, c - right))
        elif sign == ".":
            for row, y in enumerate(_grid(y0, y1, step)):
                shift = step / 2 if row % 2 else 0.0
                dots += [(x + shift, y) for x in _grid(x0 - shift, x1 - shift, step)]
        else:
            raise ValueError(f"unknown pattern sign {sign!r}")
    return lines, dots


def _grid(low: float, high: float, step: float) -> list[float]:
    """Multiples of ``step`` strictly between two numbers."""
    first = math.floor(low / step) + 1
    return [i * step for i in range(first, math.ceil(high / step))]


def opaque(colour) -> tuple[float, float, float] | None:
    """RGB of a colour, None if it is absent or wholly clear; anything between is refused."""
    if colour is None:
        return None
    r, g, b, *rest = (float(c) for c in colour)
    alpha = rest[0] if rest else 1.0
    if alpha == 0.0:
        return None
    if alpha != 1.0:
        raise ValueError("charts use no transparency")
    return (r, g, b)


def _text_box(s, x, y, name, size, angle, colour) -> TextBox:
    width = pdfmetrics.stringWidth(s, name, size)
    low, high = -0.22 * size, 0.74 * size
    turn = math.radians(angle)
    corners = [(x + a * math.cos(turn) - b * math.sin(turn),
                y + a * math.sin(turn) + b * math.cos(turn))
               for a in (0.0, width) for b in (low, high)]
    xs, ys = zip(*corners, strict=True)
    return TextBox(s, min(xs), min(ys), max(xs), max(ys), size, colour)


def draw_figure(canvas: Canvas, figure: Figure, x: float, y: float,
                drawn: Drawn | None = None) -> None:
    """Draw a figure with its lower left corner at (x, y).

    Parameters
    ----------
    canvas : Canvas
        The page. Its state is the same afterwards.
    figure : Figure
        At 72 dpi, made by this package.
    x, y : float
        Position [pt].
    drawn : Drawn, optional
        Filled with the boxes of all text and paths, in figure coordinates.

    Raises
    ------
    ValueError
        The figure is not at 72 dpi or holds something transparent.
    """
    if figure.dpi != 72:
        raise ValueError(f"figure at {figure.dpi} dpi, wanted 72")
    width, height = figure.bbox.size
    canvas.saveState()
    canvas.translate(x, y)
    figure.draw(CanvasRenderer(canvas, float(width), float(height), drawn))
    canvas.restoreState()
