"""Text as outlines: shapes that are seen, but neither read aloud, searched nor copied."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from matplotlib.font_manager import FontProperties
from matplotlib.path import Path as Curve
from matplotlib.textpath import TextPath

from loambrief.charts.fonts import BOLD, font_path


@dataclass(frozen=True)
class Outline:
    """Outlines of a word at one unit of type size.

    Attributes
    ----------
    steps : tuple
        ("move" | "line" | "curve" | "close", coordinates): a curve has two control points
        and its end.
    width, height : float
        Of the box around the shapes, whose lower left corner is the origin.
    """

    steps: tuple[tuple[str, tuple[float, ...]], ...]
    width: float
    height: float


@cache
def outline(word: str) -> Outline:
    """Outlines of a word in the bold face.

    Raises
    ------
    ResourceMissing
        The typeface is not there.
    """
    path = TextPath((0, 0), word, size=1, prop=FontProperties(fname=str(font_path(BOLD))))
    box = path.get_extents()
    steps: list[tuple[str, tuple[float, ...]]] = []
    here = (0.0, 0.0)
    for points, code in path.iter_segments(curves=True, simplify=False):
        at = [float(v) - (box.x0, box.y0)[i % 2] for i, v in enumerate(points)]
        if code == Curve.CLOSEPOLY:
            steps.append(("close", ()))
            continue
        if code == Curve.CURVE3:  # a quadratic curve as a cubic one
            (cx, cy), end = at[:2], at[2:]
            at = [here[0] + 2 / 3 * (cx - here[0]), here[1] + 2 / 3 * (cy - here[1]),
                  end[0] + 2 / 3 * (cx - end[0]), end[1] + 2 / 3 * (cy - end[1]), *end]
        kind = {Curve.MOVETO: "move", Curve.LINETO: "line"}.get(code, "curve")
        steps.append((kind, tuple(at)))
        here = (at[-2], at[-1])
    return Outline(tuple(steps), float(box.width), float(box.height))
