"""A sheet to draw one chart on: a matplotlib figure, laid out in points.

Charts are laid out directly in points, y downward from the top left corner, because every
label has to be measured and kept apart. Values are drawn on axes: ``axes`` puts one where two
scales say, and the helpers below draw on it in the units of its data if told ``on`` which.
The figure's height is known when the last line of text is placed, so ``finish`` sets it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from functools import cache
from itertools import count
from typing import Any

import matplotlib
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import fontManager
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.rcsetup import cycler
from matplotlib.transforms import Affine2D, Transform, TransformedPath

from loambrief.charts.fonts import FILES, TYPEFACE, font_path, one_line
from loambrief.charts.measure import LEADING, MIDDLE, Scale, text_width, wrap
from loambrief.charts.model import ChartSpec, Threshold
from loambrief.charts.panel import PageText, Panel
from loambrief.charts.place import Box
from loambrief.charts.renderer import ASCENT, DESCENT, VectorRenderer
from loambrief.charts.theme import theme

DOTS = 72
"""Pixels of a figure per inch: one pixel is one point."""
UNCLIPPED = TransformedPath(Path.unit_rectangle(), Affine2D())
"""Spares each artist a clip path of its own, which it would not use."""

Point = tuple[float, float]
Sign = Callable[[float, float], None]


@cache
def _typeface() -> None:
    """Tell matplotlib where the faces are: it asks the file how high a line of text is."""
    for name in FILES:
        fontManager.addfont(str(font_path(name)))


def themed() -> AbstractContextManager[None]:
    """Settings under which figures are made; those outside stay as they are."""
    _typeface()
    t = theme()
    axis: dict[str, Any] = {f"{side}tick.{key}": value for side in "xy" for key, value in {
        "major.size": 2.5, "major.width": t.hairline, "major.pad": 3.0, "color": t.rule,
        "labelcolor": t.muted, "labelsize": t.small}.items()}
    looks: dict[Any, Any] = {
        "font.family": [TYPEFACE], "font.size": t.text, "text.color": t.ink,
        "text.parse_math": False, "lines.scale_dashes": False, "lines.linewidth": t.line,
        "lines.markersize": t.marker, "patch.linewidth": t.hairline,
        "axes.edgecolor": t.rule, "axes.linewidth": t.hairline, "axes.labelcolor": t.muted,
        "axes.labelsize": t.small, "axes.unicode_minus": True, "axes.axisbelow": True,
        "axes.facecolor": "none", "axes.spines.top": False, "axes.spines.right": False,
        "axes.prop_cycle": cycler(color=[t.accent, t.second, t.ink]),
        "grid.color": t.faint, "grid.linewidth": t.hairline, **axis}
    return matplotlib.rc_context(looks)


def circles(size: float, places: Sequence[Point]) -> Path:
    """One path of circles of a diameter."""
    whole = Path.unit_circle()
    return Path.make_compound_path(*(
        whole.transformed(Affine2D().scale(size / 2).translate(x, y)) for x, y in places))


class Sheet:
    """A figure that text flows down; ``y`` is where the next part starts.

    Attributes
    ----------
    figure : Figure
    page : Transform
        From points of the sheet to the figure's pixels.
    """

    def __init__(self, width: float):
        self.width = width
        self.theme = theme()
        self.y = 0.0
        self.figure = Figure(figsize=(width / DOTS, 1.0), dpi=DOTS, frameon=False)
        self.page = Affine2D()
        self._placed: list[tuple[Axes, Scale, Scale | None]] = []
        self._order = count(1)

    def finish(self) -> Figure:
        """The figure, as high as what was drawn."""
        self.figure.set_size_inches(self.width / DOTS, self.y / DOTS)
        self.page.clear().scale(1, -1).translate(0, self.y)
        for ax, across, down in self._placed:
            top, bottom = (0.0, self.y) if down is None else sorted((down.start, down.end))
            ax.set_position((across.start / self.width, 1 - bottom / self.y,
                             (across.end - across.start) / self.width, (bottom - top) / self.y))
            if down is None:
                ax.set_ylim(self.y, 0.0)
        return self.figure

    # Axes -------------------------------------------------------------------------------

    def axes(self, across: Scale, down: Scale | None = None) -> Axes:
        """Axes without frame or ticks where two scales lie.

        Parameters
        ----------
        across : Scale
            Of the numbers to the right.
        down : Scale, optional
            Of the numbers up or down; without it, the whole height of the sheet in points
            downward, for charts whose rows lie where their text is.
        """
        ax = Panel(self.figure, (0.0, 0.0, 1.0, 1.0), zorder=next(self._order), frameon=False)
        self.figure.add_axes(ax)
        ax.set_axis_off()
        for scale, kind, limit in ((across, ax.set_xscale, ax.set_xlim),
                                   (down, ax.set_yscale, ax.set_ylim)):
            if scale is not None:
                if scale.log:
                    kind("log")
                upright = scale is across or scale.start > scale.end
                limit(*((scale.low, scale.high) if upright else (scale.high, scale.low)))
        self._placed.append((ax, across, down))
        return ax

    def plain_axes(self, height: float, draw: Callable[[Axes], None]) -> Axes:
        """Axes with frame and ticks over the width, drawn by a function.

        They are made smaller once, by what their ticks and labels take.
        """
        high = Scale(0.0, 1.0, self.y + height, self.y)
        ax = self.figure.add_axes((0.0, 0.0, 1.0, 1.0), zorder=next(self._order))
        self.figure.set_size_inches(self.width / DOTS, height / DOTS)
        draw(ax)
        inner = ax.bbox
        outer = ax.get_tightbbox(VectorRenderer(self.figure)) or inner
        left, low = max(0.0, inner.x0 - outer.x0), max(0.0, inner.y0 - outer.y0)
        right, over = max(0.0, outer.x1 - inner.x1), max(0.0, outer.y1 - inner.y1)
        self._placed.append((ax, Scale(0.0, 1.0, left + 1, self.width - right - 1),
                             Scale(0.0, 1.0, high.start - low - 1, high.end + over + 1)))
        self.y += height
        return ax

    def _add(self, artist: Artist, on: Axes | None, place: Transform | None = None) -> None:
        artist.set_zorder(next(self._order))
        artist.set_transform(place or (self.page if on is None else on.transData))
        if artist.get_clip_path() is None:
            artist.set_clip_on(False)
            artist.set_clip_path(UNCLIPPED)
        (self.figure if on is None else on).add_artist(artist)

    # Shapes -----------------------------------------------------------------------------

    def line(self, xs: Sequence[float], ys: Sequence[float], colour: str = "ink",
             width: float | None = None, pattern: str = "", on: Axes | None = None) -> None:
        """A line through points; ``pattern`` is "", "dash" or "dot"."""
        if on is None:
            self.strokes([(xs, ys)], colour, width, pattern)
            return
        t = self.theme
        self._add(Line2D(
            xs, ys, color=t.colour(colour), linewidth=t.line if width is None else width,
            linestyle=(0, getattr(t, pattern)) if pattern else "-",
            dash_capstyle="round" if pattern == "dot" else "butt", solid_capstyle="butt",
            dash_joinstyle="round", solid_joinstyle="round"), on)

    def strokes(self, parts: Sequence[tuple[Sequence[float], Sequence[float]]],
                colour: str = "ink", width: float | None = None, pattern: str = "",
                on: Axes | None = None) -> None:
        """Separate lines (xs, ys) in one stroke setting."""
        if not parts:
            return
        t = self.theme
        points = [p for xs, ys in parts for p in zip(xs, ys, strict=True)]
        codes = [c for xs, _ in parts for c in [Path.MOVETO] + [Path.LINETO] * (len(xs) - 1)]
        self._add(PathPatch(
            Path(points, codes), fill=False, edgecolor=t.colour(colour),
            linewidth=t.line if width is None else width,
            linestyle=(0, getattr(t, pattern)) if pattern else "-",
            capstyle="round" if pattern == "dot" else "butt", joinstyle="round"), on)

    def verticals(self, xs: Sequence[float], y0: float, y1: float, colour: str = "faint",
                  width: float | None = None, pattern: str = "", on: Axes | None = None) -> None:
        """Vertical lines from ``y0`` to ``y1``, hairlines unless said otherwise."""
        width = self.theme.hairline if width is None else width
        self.strokes([((x, x), (y0, y1)) for x in xs], colour, width, pattern, on)

    def rect(self, x0: float, y0: float, x1: float, y1: float, fill: str | None = None,
             edge: str | None = None, width: float | None = None, hatch: str = "",
             hatch_colour: str = "ink", pattern: str = "", on: Axes | None = None) -> None:
        """A rectangle; the pattern lies on the fill."""
        self.polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], fill, edge, width, hatch,
                     hatch_colour, pattern, on)

    def polygon(self, points: Sequence[Point], fill: str | None = None,
                edge: str | None = None, width: float | None = None, hatch: str = "",
                hatch_colour: str = "ink", pattern: str = "", on: Axes | None = None) -> None:
        """A closed shape, with or without its first point again as the last."""
        t = self.theme
        ring = [*points] if tuple(points[0]) == tuple(points[-1]) else [*points, points[0]]
        path = Path(ring, closed=True)
        if fill and hatch:
            self._add(PathPatch(path, facecolor=t.colour(fill), linewidth=0, edgecolor="none"), on)
        if hatch:
            self._hatch(path, hatch, t.colour(hatch_colour), on)
        if edge or (fill and not hatch):
            self._add(PathPatch(
                path, facecolor=t.colour(fill) if fill and not hatch else "none",
                edgecolor=t.colour(edge) if edge else "none",
                linewidth=(t.hairline if width is None else width) if edge else 0,
                linestyle=(0, getattr(t, pattern)) if pattern else "-",
                capstyle="butt", joinstyle="miter"), on)

    def _hatch(self, path: Path, signs: str, colour: str, on: Axes | None) -> None:
        """Pattern lines and dots inside a shape, on a grid that is fixed to the sheet."""
        t = self.theme
        place = self.page if on is None else on.transData
        points = np.array(path.vertices, dtype=float)
        if on is not None:
            points = self.points(on, points)
        (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
        lines, dots = hatch_marks(signs, (x0, y0, x1, y1), t.hatch_gap)
        if lines:
            marks = PathPatch(
                Path([p for a, b, c, d in lines for p in ((a, b), (c, d))],
                     [Path.MOVETO, Path.LINETO] * len(lines)),
                fill=False, edgecolor=colour, linewidth=t.hatch_line, capstyle="butt")
            marks.set_clip_path(path, place)
            self._add(marks, on, self.page)
        if dots:
            marks = PathPatch(circles(2 * t.hatch_line, dots), facecolor=colour, linewidth=0,
                              edgecolor="none")
            marks.set_clip_path(path, place)
            self._add(marks, on, self.page)

    def points(self, on: Axes, values: np.ndarray) -> np.ndarray:
        """Data of an axes, (x, y) each, as points of the sheet."""
        (across, down), = ((a, d) for ax, a, d in self._placed if ax is on)
        result = values.copy()
        result[:, 0] = [across(v) for v in values[:, 0]]
        if down is not None:
            result[:, 1] = [down(v) for v in values[:, 1]]
        return result

    def marks(self, xs: Sequence[float], ys: Sequence[float], shape: str = "o",
              size: float | None = None, fill: str | None = "ink", edge: str | None = None,
              width: float | None = None, on: Axes | None = None) -> None:
        """Marks at points: a marker of matplotlib; no fill if None."""
        t = self.theme
        self._add(Line2D(
            xs, ys, linestyle="none", marker=shape,
            markersize=t.marker if size is None else size,
            markerfacecolor=t.colour(fill) if fill else "none",
            markeredgecolor=t.colour(edge or fill or "ink"),
            markeredgewidth=t.line if width is None else width), on)

    # Text -------------------------------------------------------------------------------

    def text(self, x: float, y: float, text: str, size: float | None = None,
             weight: str = "regular", colour: str = "ink", align: str = "left",
             behind: str | None = None, on: Axes | None = None) -> Box:
        """One line of text with its baseline at ``y``, in points of the sheet.

        ``behind`` fills its box first; drawn together with the axes ``on`` if one is given.
        """
        size = self.theme.text if size is None else size
        text = one_line(text)
        box = self.box_of(x, y, text, size, weight, align)
        if behind:
            left, right = max(box.x0 - 2, 0), min(box.x1 + 2, self.width)
            self._add(PathPatch(
                Path([(left, box.y0 - 0.4), (right, box.y0 - 0.4), (right, box.y1 + 0.2),
                      (left, box.y1 + 0.2), (left, box.y0 - 0.4)], closed=True),
                facecolor=self.theme.colour(behind), edgecolor="none", linewidth=0), on,
                self.page)
        if text:
            self._add(PageText(box.x0, y, text, size, weight, self.theme.colour(colour)), on,
                      self.page)
        return box

    def box_of(self, x: float, y: float, text: str, size: float, weight: str = "regular",
               align: str = "left") -> Box:
        """Box a line of text would take with its baseline at ``y``."""
        width = text_width(text, size, weight)
        left = x - {"left": 0.0, "center": width / 2, "right": width}[align]
        return Box(left, y - ASCENT * size, left + width, y + DESCENT * size)

    def middle(self, x: float, y: float, text: str, size: float | None = None,
               **more: Any) -> Box:
        """One line of text with its middle at ``y``."""
        size = self.theme.text if size is None else size
        return self.text(x, y + MIDDLE * size, text, size, **more)

    def lines(self, x: float, y: float, lines: Sequence[str], size: float | None = None,
              **more: Any) -> float:
        """Lines of text from the top edge ``y``; returns the bottom edge."""
        size = self.theme.text if size is None else size
        for line in lines:
            self.text(x, y + size * 0.98, line, size, **more)
            y += size * LEADING
        return y

    def paragraph(self, x: float, y: float, text: str, width: float, size: float | None = None,
                  weight: str = "regular", **more: Any) -> float:
        """Wrapped text from the top edge ``y``; returns the bottom edge."""
        size = self.theme.text if size is None else size
        return self.lines(x, y, wrap(text, width, size, weight), size, weight=weight, **more)

    def block_middle(self, x: float, y: float, lines: Sequence[str], size: float | None = None,
                     **more: Any) -> None:
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

    def key(self, entries: Sequence[tuple[Sign, float, str]], x: float = 0.0,
            width: float | None = None) -> None:
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
            def sign(at: float, y: float, pattern: str = t.pattern) -> None:
                self.line([at, at + 14], [y, y], "ink", 0.9, pattern)

            self.key([(sign, 14.0, t.named(practice))], x)
            self.y -= 3
        if thresholds:
            self.y += 3


def hatch_marks(pattern: str, box: tuple[float, float, float, float], gap: float
                ) -> tuple[list[tuple[float, float, float, float]], list[Point]]:
    """Line ends and dot centres of a pattern inside a box.

    Parameters
    ----------
    pattern : str
        Any of ``/ \\ - | x + .``; a sign given twice halves the distance.
    box : tuple of float
        x0, y0, x1, y1 [pt], y downward.
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
    dots: list[Point] = []
    spelled = pattern.replace("x", "/\\").replace("+", "-|")
    for sign in sorted(set(spelled)):
        step = gap / spelled.count(sign)
        if sign == "-":
            lines += [(x0, y, x1, y) for y in _grid(y0, y1, step)]
        elif sign == "|":
            lines += [(x, y0, x, y1) for x in _grid(x0, x1, step)]
        elif sign == "\\":  # y = x + c
            for c in _grid(y0 - x1, y1 - x0, step * math.sqrt(2)):
                left, right = max(x0, y0 - c), min(x1, y1 - c)
                lines.append((left, left + c, right, right + c))
        elif sign == "/":  # y = c - x
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
