"""A chart as a list of marks in drawing order: points, y downward, top left is (0, 0).

``sheet`` makes it, ``backend`` draws it on a page and ``svg`` as an SVG element. All is
opaque: PDF/A-2 would allow transparency, old printers and copiers do not show it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

Point = tuple[float, float]
Lines = tuple[tuple[Point, ...], ...]
Bounds = tuple[float, float, float, float]

_DIAGONAL = math.sqrt(0.5)
SHAPES: dict[str, tuple[Lines, bool]] = {
    "s": ((((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)),), True),
    "D": ((((0, -_DIAGONAL), (_DIAGONAL, 0), (0, _DIAGONAL), (-_DIAGONAL, 0)),), True),
    "^": ((((0, -0.5), (-0.5, 0.5), (0.5, 0.5)),), True),
    "v": ((((0, 0.5), (0.5, -0.5), (-0.5, -0.5)),), True),
    "<": ((((-0.5, 0), (0.5, 0.5), (0.5, -0.5)),), True),
    ">": ((((0.5, 0), (-0.5, -0.5), (-0.5, 0.5)),), True),
    "x": ((((-0.5, -0.5), (0.5, 0.5)), ((-0.5, 0.5), (0.5, -0.5))), False),
    "|": ((((0, -0.5), (0, 0.5)),), False),
}
"""Markers beside the circle "o": the lines of each at size 1, and whether they are closed."""


@dataclass(frozen=True, slots=True)
class Pen:
    """How a line is drawn: colour as ``#RRGGBB``, width and dashes [pt], ends and corners."""

    colour: str
    width: float
    dash: tuple[float, ...] = ()
    cap: str = "butt"
    join: str = "miter"


@dataclass(frozen=True, slots=True)
class Stroke:
    """Lines through points, all in one pen."""

    lines: Lines
    pen: Pen
    closed: bool = False


@dataclass(frozen=True, slots=True)
class Fill:
    """A filled polygon."""

    points: tuple[Point, ...]
    colour: str


@dataclass(frozen=True, slots=True)
class Pattern:
    """Pattern lines or dots inside a polygon; signs as in :func:`hatch_marks`."""

    points: tuple[Point, ...]
    signs: str
    colour: str


@dataclass(frozen=True, slots=True)
class Markers:
    """The same mark at several places: "o" or one of :data:`SHAPES`; no fill if None."""

    places: tuple[Point, ...]
    shape: str
    size: float
    fill: str | None
    pen: Pen

    def outline(self, x: float, y: float) -> tuple[Lines, bool]:
        """The lines of the mark at a place, and whether they are closed; not for "o"."""
        lines, closed = SHAPES[self.shape]
        return tuple(tuple((x + u * self.size, y + v * self.size) for u, v in line)
                     for line in lines), closed


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text: its left end on the baseline, and a weight of ``faces.WEIGHTS``."""

    x: float
    y: float
    text: str
    size: float
    weight: str
    colour: str


@dataclass(frozen=True, slots=True)
class Drawing:
    """A chart: its size [pt], and its marks, the first lowest."""

    width: float
    height: float
    marks: tuple[Stroke | Fill | Pattern | Markers | Text, ...]


def bounds(points: Iterable[Point]) -> Bounds:
    """Least x, least y, greatest x, greatest y."""
    xs, ys = zip(*points, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def hatch_marks(pattern: str, box: Bounds, gap: float):
    """Line ends and dot centres of a pattern inside a box.

    Parameters
    ----------
    pattern : str
        Any of ``/ \\ - | x + .``; a sign given twice halves the distance.
    box : tuple of float
        x0, y0, x1, y1 [pt], y upward.
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
