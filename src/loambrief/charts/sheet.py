"""A sheet to draw one chart on: a matplotlib figure, laid out in points.

Charts are laid out directly in points, y downward from the top left corner, because every
label has to be measured and kept apart. Values are drawn on axes: ``axes`` puts one where two
scales say, and the helpers below draw on it in the units of its data if told ``on`` which.
The figure's height is known when the last line of text is placed, so ``finish`` sets it.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from functools import cache
from itertools import count
from typing import Any, Protocol, TypeVar

import matplotlib
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
from loambrief.charts.model import ChartSpec, Threshold, headed
from loambrief.charts.panel import Lettering, Panel
from loambrief.charts.place import TextBox, spread
from loambrief.charts.renderer import ASCENT, DESCENT, VectorRenderer
from loambrief.charts.theme import theme

DOTS = 72
"""Pixels of a figure per inch: one pixel is one point."""
UNCLIPPED = TransformedPath(Path.unit_rectangle(), Affine2D())
"""Spares each artist a clip path of its own, which it would not use."""


class Panelled(Protocol):
    """What a panel is headed with."""

    @property
    def label(self) -> str: ...

    @property
    def unit(self) -> str: ...


P = TypeVar("P", bound=Panelled)
Point = tuple[float, float]
Entry = tuple[Callable[[float, float], None], float, str]
"""Of a key: draw at x and middle y, width of the sign [pt], words."""


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
        "hatch.linewidth": t.hatch_line, "grid.color": t.faint, "grid.linewidth": t.hairline,
        **axis}
    return matplotlib.rc_context(looks)


class Sheet:
    """A figure that text flows down; ``y`` is where the next part starts.

    ``page`` goes from points of the sheet to the figure's pixels.
    """

    def __init__(self, width: float):
        self.width = width
        self.theme = theme()
        self.y = 0.0
        self.figure = Figure(figsize=(width / DOTS, 1.0), dpi=DOTS, frameon=False)
        self.page = Affine2D()
        self._placed: list[tuple[Axes, Scale, Scale | None]] = []
        self._order = count(1)
        self._lettering: tuple[Lettering, Axes | None] | None = None

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
        """Axes without frame or ticks where two scales lie, to the right and up or down.

        Without the second it is the whole height of the sheet in points downward, for charts whose
        rows lie where their text is.
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
        self._lettering = None
        return ax

    def plain_axes(self, height: float, draw: Callable[[Axes], None]) -> None:
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
        self._lettering = None

    def _add(self, artist: Artist, on: Axes | None, place: Transform | None = None) -> None:
        self._lettering = None
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
             hatch_colour: str = "", on: Axes | None = None) -> None:
        self.polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], fill, edge, width, hatch,
                     hatch_colour, on)

    def polygon(self, points: Sequence[Point], fill: str | None = None,
                edge: str | None = None, width: float | None = None, hatch: str = "",
                hatch_colour: str = "", on: Axes | None = None) -> None:
        """A closed shape, with or without its first point again as the last; the pattern lies
        on the fill and has the colour of the edge unless told otherwise."""
        t = self.theme
        colour = hatch_colour or edge or "ink"
        path = Path([*points] if tuple(points[0]) == tuple(points[-1]) else [*points, points[0]],
                    closed=True)
        if edge and edge != colour:  # matplotlib draws both in one colour
            self.polygon(points, fill, None, None, hatch, colour, on)
            fill, hatch = None, ""
        self._add(PathPatch(
            path, facecolor=t.colour(fill) if fill else "none", hatch=hatch or None,
            edgecolor=t.colour(edge or colour) if edge or hatch else "none",
            linewidth=(t.hairline if width is None else width) if edge else 0,
            capstyle="butt", joinstyle="miter"), on)

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
             behind: str | None = None, on: Axes | None = None) -> TextBox:
        """One line of text with its baseline at ``y``, in points of the sheet.

        ``behind`` fills its box first; drawn together with the axes ``on`` if one is given.
        """
        size = self.theme.text if size is None else size
        text = one_line(text)
        box = self.box_of(x, y, text, size, weight, align)
        back = None
        if behind:
            left, right = max(box.x0 - 2, 0), min(box.x1 + 2, self.width)
            back = (left, box.y0 - 0.4, right, box.y1 + 0.2, self.theme.colour(behind))
        if text or back:
            if self._lettering is None or self._lettering[1] is not on:
                lettering = Lettering()
                self._add(lettering, on, self.page)
                self._lettering = (lettering, on)
            self._lettering[0].lines.append(
                (box.x0, y, text, size, weight, self.theme.colour(colour), back))
        return box

    def box_of(self, x: float, y: float, text: str, size: float, weight: str = "regular",
               align: str = "left") -> TextBox:
        """Box a line of text would take with its baseline at ``y``."""
        width = text_width(text, size, weight)
        left = x - {"left": 0.0, "center": width / 2, "right": width}[align]
        return TextBox(left, y - ASCENT * size, left + width, y + DESCENT * size)

    def middle(self, x: float, y: float, text: str, size: float | None = None,
               **more: Any) -> TextBox:
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

    def header(self, spec: ChartSpec) -> None:
        """Rule, title (the finding) and what is drawn."""
        t = self.theme
        self.line([0, self.width], [0.5, 0.5], "ink", 0.8)
        self.y = self.paragraph(0, 5, spec.title, self.width, t.title, "bold")
        if spec.conditions:
            self.y = self.paragraph(0, self.y + 1, spec.conditions, self.width, t.text,
                                    colour="muted")
        self.y += 6

    def footer(self, spec: ChartSpec) -> None:
        """Source and caution."""
        if spec.note:
            self.y = self.paragraph(0, self.y + 4, spec.note, self.width, self.theme.small,
                                    colour="muted")
        self.y += 2

    def key(self, entries: Sequence[Entry]) -> None:
        """A row of signs with their meaning."""
        size, gap = self.theme.small, 12.0
        at, row = 0.0, self.y
        for draw, sign, words in entries:
            lines = wrap(words, self.width - sign - 4, size)
            need = sign + 4 + max(text_width(line, size) for line in lines)
            if at > 0 and at + need > self.width + 1e-6:
                at, row = 0.0, self.y + 1.5
            draw(at, row + size * LEADING / 2)
            bottom = self.lines(at + sign + 4, row, lines, size)
            self.y = max(self.y, bottom)
            at += need + gap
        if entries:
            self.y += 5

    def swatch(self, words: str, **looks: Any) -> Entry:
        """Of a key: a filled rectangle, looks as of :meth:`rect`."""
        return (lambda x, y: self.rect(x, y - 3.5, x + 14, y + 3.5, **looks)), 14.0, words

    def sign(self, words: str, shape: str, size: float, fill: str | None, edge: str,
             width: float) -> Entry:
        """Of a key: a mark."""
        return (lambda x, y: self.marks([x + 3], [y], shape, size, fill, edge, width)), 6.0, words

    def threshold_key(self, thresholds: Sequence[Threshold], practice: str) -> None:
        """What each threshold line means; rules of the trade are named as such."""
        for t in thresholds:
            self.y = self.meaning(0.0, self.y, self.width, t.pattern, t.named(practice), 14.0) + 2
        if thresholds:
            self.y += 3

    def meaning(self, x: float, y: float, width: float, pattern: str, words: str,
                sign: float = 10.0) -> float:
        """A stretch of line with what it means, from the top edge ``y``; returns the bottom."""
        middle = y + self.theme.small * LEADING / 2
        self.line([x, x + sign], [middle, middle], "ink", None, pattern)
        return self.paragraph(x + sign + 4, y, words, width - sign - 4, self.theme.small)

    def row(self, name: str, detail: str, width: float, beside: bool, bar: float, x: float = 0.0,
            weight: str = "regular", colour: str = "ink") -> tuple[float, float]:
        """Name and detail of a row, its bar beside them or below; ``y`` moves past it.

        Returns the top of the name and the middle of the bar.
        """
        t = self.theme
        names = wrap(name, width, t.text, weight)
        details = wrap(detail, width, t.small) if detail else []
        block = (len(names) * t.text + len(details) * t.small) * LEADING
        height = max(block, bar) + 5 if beside else block + bar + 9
        top = self.y + ((height - block) / 2 if beside else 3)
        below = self.lines(x, top, names, weight=weight, colour=colour)
        self.lines(x, below, details, t.small, colour="muted")
        middle = self.y + height / 2 if beside else self.y + block + 4.5 + bar / 2
        self.y += height
        return top, middle

    def panels(self, items: Sequence[P], least: float, gap: float, gutter: float = 0.0
               ) -> Iterator[tuple[float, float, list[tuple[P, float]]]]:
        """Panels of equal width in as many rows as they need, with their headings.

        Yields the top edge, the width, and each panel with its left edge; whoever draws a row
        sets ``y`` to its bottom.
        """
        size = self.theme.text
        columns = max(1, min(len(items), int((self.width - gutter + gap) / (least + gap))))
        width = (self.width - gutter + gap) / columns - gap
        for start in range(0, len(items), columns):
            row = [(item, gutter + n * (width + gap))
                   for n, item in enumerate(items[start:start + columns])]
            heads = [wrap(headed(item.label, item.unit), width, size, "bold") for item, _ in row]
            top = self.y + max(map(len, heads)) * size * LEADING + 3
            for (_, x), lines in zip(row, heads, strict=True):
                self.lines(x, top - 3 - len(lines) * size * LEADING, lines, weight="bold")
            yield top, width, row

    def scale_below(self, across: Scale, marks: Sequence[tuple[float, str]],
                    bold: Sequence[tuple[float, str]] = (), left: float = 0.0) -> None:
        """Ticks and numbers along the bottom: bold ones kept apart, others where there is room."""
        t, y = self.theme, self.y
        sizes = [text_width(word, t.small, "bold") for _, word in bold]
        boxes = [self.text(x, y + 9.5, word, t.small, "bold", align="center")
                 for x, (_, word) in zip(spread([across(v) for v, _ in bold], sizes, 0, self.width),
                                         bold, strict=True)]
        self.verticals([across(v) for v, _ in marks], y, y + 2.5, "rule")
        for value, word in marks:
            half = text_width(word, t.small) / 2
            box = self.box_of(max(across(value), left + half), y + 9.5, word, t.small,
                              align="center")
            if box.x1 <= self.width and not any(box.hits(b, 3.0) for b in boxes):
                boxes.append(self.text(box.x0, y + 9.5, word, t.small, colour="muted"))
        self.y = y + 13
