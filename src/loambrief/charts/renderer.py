"""What matplotlib draws, as vectors: the part that paper and screen share.

A figure has 72 dots an inch, so its pixels are points. Text stays text in the page's own
typeface, which also measures it, so matplotlib never looks for a font. Everything is opaque:
PDF/A-2 would allow transparency, old printers and copiers do not show it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.backend_bases import GraphicsContextBase, RendererBase
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, weight_dict
from matplotlib.path import Path
from matplotlib.transforms import Affine2D, Transform

from loambrief.charts.fonts import one_line
from loambrief.charts.measure import text_width
from loambrief.charts.theme import theme

DESCENT, ASCENT = 0.22, 0.74
"""Of a line of text, in type sizes."""
SEMIBOLD = 600
SLANT = math.sqrt(2)
MOVE, LINE, CURVE, BEND, CLOSE, STOP = (int(code) for code in (
    Path.MOVETO, Path.LINETO, Path.CURVE4, Path.CURVE3, Path.CLOSEPOLY, Path.STOP))
NAMES = {MOVE: "m", LINE: "l", CURVE: "c"}
TAKES = {STOP: 1, MOVE: 1, LINE: 1, BEND: 2, CURVE: 3, CLOSE: 1}
"""Points of each code of a path."""

Colour = tuple[float, float, float]
Step = tuple[Any, ...]
"""("m", x, y) moves, ("l", x, y) draws a line, ("c", six numbers) a curve, ("h",) closes."""


@dataclass(frozen=True, slots=True)
class Pen:
    """How a line is drawn: width and dashes [pt], ends and corners."""

    colour: Colour
    width: float
    dash: tuple[float, ...]
    cap: str
    join: str


@dataclass(frozen=True)
class Drawing:
    """A chart as shapes and lines of text, in order: the name of a method of a surface, and what
    it is called with."""

    width: float
    height: float
    marks: tuple[tuple[str, tuple[Any, ...]], ...]


class Surface:
    """What a drawing is put on; y upward.

    A backend fills :meth:`shape`, :meth:`stamps` (if it can repeat a shape) and :meth:`words`.
    """

    def put(self, drawing: Drawing) -> None:
        """Draw all of it."""
        for name, how in drawing.marks:
            getattr(self, name)(*how)

    def shape(self, steps: Sequence[Step], fill: Colour | None, pen: Pen | None,
              clip: Sequence[Step] | None) -> None:
        """Draw one path; ``clip`` is the outline it stays inside."""
        raise NotImplementedError

    def stamps(self, marker: Sequence[Step], places: Sequence[tuple[float, float]],
               fill: Colour | None, pen: Pen | None, clip: Sequence[Step] | None) -> None:
        """Draw the same small path at each place."""
        for x, y in places:
            self.shape(moved(marker, x, y), fill, pen, clip)

    def words(self, x: float, y: float, text: str, size: float, weight: str, colour: Colour,
              angle: float) -> None:
        """Draw a line of text with its baseline's left end at (x, y)."""
        raise NotImplementedError


def drawing(figure: Figure) -> Drawing:
    """What matplotlib draws of a figure."""
    renderer = VectorRenderer(figure)
    figure.draw(renderer)
    return Drawing(renderer.width, renderer.height, tuple(renderer.marks))


class VectorRenderer(RendererBase):
    """Takes down what matplotlib asks for as shapes and lines of text."""

    def __init__(self, figure: Figure):
        super().__init__()
        self.width, self.height = (float(v) for v in figure.bbox.size)
        self.marks: list[tuple[str, tuple[Any, ...]]] = []

    def _mark(self, name: str, *how: Any) -> None:
        self.marks.append((name, how))

    # What matplotlib calls --------------------------------------------------------------

    def flipy(self) -> bool:
        return False

    def get_canvas_width_height(self) -> tuple[float, float]:
        return self.width, self.height

    def get_text_width_height_descent(self, s: str, prop: FontProperties, ismath: Any
                                      ) -> tuple[float, float, float]:
        size = prop.get_size_in_points()
        return (text_width(s, size, weight_of(prop)), (ASCENT + DESCENT) * size, DESCENT * size)

    def draw_path(self, gc: GraphicsContextBase, path: Path, transform: Transform,
                  rgbFace: Any = None) -> None:
        fill, pen, clip = _opaque(rgbFace, gc), _pen(gc), _clip(gc)
        steps = steps_of(path, transform) if fill or pen or gc.get_hatch() else []
        if gc.get_hatch():
            if fill:
                self._mark("shape", steps, fill, None, clip)
            self._hatch(gc, steps)
            fill = None
        if fill or pen:
            self._mark("shape", steps, fill, pen, clip)

    def _hatch(self, gc: GraphicsContextBase, outline: Sequence[Step]) -> None:
        """The pattern inside a shape, on a grid that is fixed to the figure."""
        xs, ys = ([v for _, *at in outline for v in at[axis::2]] for axis in (0, 1))
        colour = _opaque(gc.get_hatch_color(), gc)
        lines, dots = hatch(str(gc.get_hatch()), (min(xs), min(ys), max(xs), max(ys)),
                            theme().hatch_gap)
        if lines and colour:
            pen = Pen(colour, gc.get_hatch_linewidth(), (), "butt", "miter")
            self._mark("shape", lines, None, pen, outline)
        if dots and colour:
            self._mark("shape", dots, colour, None, outline)

    def draw_markers(self, gc: GraphicsContextBase, marker_path: Path, marker_trans: Transform,
                     path: Path, trans: Transform, rgbFace: Any = None) -> None:
        places = trans.transform(path.vertices)
        self._mark("stamps", steps_of(marker_path, marker_trans),
                   [(float(x), float(y)) for x, y in places if np.isfinite(x + y)],
                   _opaque(rgbFace, gc), _pen(gc), _clip(gc))

    def draw_text(self, gc: GraphicsContextBase, x: float, y: float, s: str,
                  prop: FontProperties, angle: float, ismath: Any = False,
                  mtext: Any = None) -> None:
        text = one_line(s)
        if text:
            colour = _opaque(gc.get_rgb(), gc)
            assert colour is not None
            self._mark("words", float(x), float(y), text, prop.get_size_in_points(),
                       weight_of(prop), colour, float(angle))

    def draw_image(self, *args: Any, **more: Any) -> None:
        raise NotImplementedError("a chart of an advisory holds no pixels: draw shapes and text")


def weight_of(prop: FontProperties) -> str:
    """The face of the page that stands for a font of matplotlib: see ``fonts.WEIGHTS``."""
    weight = prop.get_weight()
    if (weight_dict[weight] if isinstance(weight, str) else weight) >= SEMIBOLD:
        return "bold"
    return "italic" if prop.get_style() in ("italic", "oblique") else "regular"


def steps_of(path: Path, transform: Transform) -> list[Step]:
    """A path of matplotlib as steps; quadratic curves become cubic ones."""
    path = transform.transform_path(path)
    if not np.isfinite(path.vertices).all():
        path = path.cleaned(remove_nans=True, curves=True)
    points: list[list[float]] = np.asarray(path.vertices, dtype=float).tolist()
    codes: list[int] = ([MOVE] + [LINE] * (len(points) - 1) if path.codes is None
                        else np.asarray(path.codes).tolist())
    steps: list[Step] = []
    at = 0
    while at < len(codes):
        code = codes[at]
        if code == STOP:
            break
        taken = [v for point in points[at:at + TAKES[code]] for v in point]
        if code == BEND:
            (x, y), (u, v, a, b) = points[at - 1], taken
            steps.append(("c", x + 2 / 3 * (u - x), y + 2 / 3 * (v - y),
                          a + 2 / 3 * (u - a), b + 2 / 3 * (v - b), a, b))
        elif code == CLOSE:
            steps.append(("h",))
        else:
            steps.append((NAMES[code], *taken))
        at += TAKES[code]
    return steps


def moved(steps: Sequence[Step], x: float, y: float) -> list[Step]:
    """The same steps further right by ``x`` and up by ``y``."""
    return [(kind, *(v + (y if i % 2 else x) for i, v in enumerate(at))) for kind, *at in steps]


def hatch(pattern: str, box: tuple[float, float, float, float], gap: float
          ) -> tuple[list[Step], list[Step]]:
    """Lines and dots of a pattern that cover a box.

    Made here because matplotlib's own patterns are tiles: to cover a field with short lines
    takes twenty times as many as with long ones.

    Parameters
    ----------
    pattern : str
        Of matplotlib's signs ``/ \\ - | x + .``; a sign given twice halves the distance.
    box : tuple of float
        x0, y0, x1, y1 [pt].
    gap : float
        Distance between lines [pt].

    Raises
    ------
    ValueError
        Another sign.
    """
    x0, y0, x1, y1 = box
    ends: list[tuple[float, float, float, float]] = []
    dots: list[Step] = []
    spelled = pattern.lower().replace("x", "/\\").replace("+", "-|")
    for sign in sorted(set(spelled)):
        step = gap / spelled.count(sign)
        if sign == "-":
            ends += [(x0, y, x1, y) for y in _grid(y0, y1, step)]
        elif sign == "|":
            ends += [(x, y0, x, y1) for x in _grid(x0, x1, step)]
        elif sign == "/":
            ends += [(x0, x0 + c, x1, x1 + c) for c in _grid(y0 - x1, y1 - x0, step * SLANT)]
        elif sign == "\\":
            ends += [(x0, c - x0, x1, c - x1) for c in _grid(x0 + y0, x1 + y1, step * SLANT)]
        elif sign == ".":
            dot = steps_of(Path.unit_circle(), Affine2D().scale(gap / 4))
            for row, y in enumerate(_grid(y0, y1, step)):
                for x in _grid(x0, x1 + step, step):
                    dots += moved(dot, x - row % 2 * step / 2, y)
        else:
            raise ValueError(f"unknown pattern sign {sign!r}")
    return [step for a, b, c, d in ends for step in (("m", a, b), ("l", c, d))], dots


def _grid(low: float, high: float, step: float) -> list[float]:
    """Multiples of ``step`` strictly between two numbers."""
    first = math.floor(low / step) + 1
    return [i * step for i in range(first, math.ceil(high / step))]


def _opaque(colour: Any, gc: GraphicsContextBase) -> Colour | None:
    """A colour as it looks on white paper; None if nothing would be seen."""
    if colour is None:
        return None
    forced: Any = gc.get_alpha()
    r, g, b, *alpha = (float(v) for v in colour)
    cover = float(forced) if gc.get_forced_alpha() else (alpha or [1.0])[0]
    if cover == 0.0:
        return None
    return (1 - cover * (1 - r), 1 - cover * (1 - g), 1 - cover * (1 - b))


def _pen(gc: GraphicsContextBase) -> Pen | None:
    colour, width = _opaque(gc.get_rgb(), gc), float(gc.get_linewidth())
    if colour is None or width <= 0:
        return None
    dash: Any = gc.get_dashes()[1]
    return Pen(colour, width, tuple(float(v) for v in dash) if dash is not None else (),
               str(gc.get_capstyle()), str(gc.get_joinstyle()))


def _clip(gc: GraphicsContextBase) -> list[Step] | None:
    clip: Any = gc.get_clip_path()
    if clip[0] is not None:
        return steps_of(*clip)
    box = gc.get_clip_rectangle()
    if box is None:
        return None
    return steps_of(Path.unit_rectangle(), Affine2D().scale(*box.size).translate(*box.min))
