"""Text as outlines: shapes that are seen, but neither read aloud, searched nor copied."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from loambrief.charts.fonts import BOLD, font_path, printable


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
    from fontTools.pens.basePen import BasePen
    from fontTools.pens.boundsPen import BoundsPen
    from fontTools.pens.transformPen import TransformPen
    from fontTools.ttLib import TTFont

    steps: list[tuple[str, tuple[float, ...]]] = []

    class Steps(BasePen):  # turns the quadratic curves of the file into cubic ones
        def _moveTo(self, end):
            steps.append(("move", end))

        def _lineTo(self, end):
            steps.append(("line", end))

        def _curveToOne(self, one, two, end):
            steps.append(("curve", (*one, *two, *end)))

        def _closePath(self):
            steps.append(("close", ()))

    with TTFont(font_path(BOLD)) as font:
        glyphs, names, em = font.getGlyphSet(), font.getBestCmap(), font["head"].unitsPerEm
        pen, box, at = Steps(glyphs), BoundsPen(glyphs), 0.0
        for glyph in (glyphs[names[ord(sign)]] for sign in printable(word)):
            for target in (pen, box):
                glyph.draw(TransformPen(target, (1 / em, 0, 0, 1 / em, at, 0)))
            at += glyph.width / em
    x0, y0, x1, y1 = box.bounds
    return Outline(tuple((kind, tuple(v - (x0, y0)[i % 2] for i, v in enumerate(ends)))
                         for kind, ends in steps), x1 - x0, y1 - y0)
