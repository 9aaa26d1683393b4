"""Text as outlines: shapes that are seen, but neither read aloud, searched nor copied."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from loambrief.charts.fonts import BOLD, font_path, printable
from loambrief.charts.registry import load_matplotlib

KINDS = {"m": "move", "l": "line", "c": "curve", "h": "close"}


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
    load_matplotlib()
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath
    from matplotlib.transforms import Affine2D

    from loambrief.charts.renderer import steps_of

    path = TextPath((0, 0), printable(word), size=1.0, usetex=False,
                    prop=FontProperties(fname=str(font_path(BOLD))))
    box = path.get_extents()
    steps = steps_of(path, Affine2D().translate(-box.x0, -box.y0))
    return Outline(tuple((KINDS[kind], tuple(ends)) for kind, *ends in steps),
                   float(box.width), float(box.height))
