"""Kinds of charts by their spec, and from a spec to its picture.

``matplotlib`` is imported when the first chart is drawn, not before: most commands draw none.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any, TypeVar

from loambrief.charts.model import ChartSpec
from loambrief.numbers import local

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from loambrief.charts.renderer import Drawing
    from loambrief.charts.sheet import Sheet

NARROWEST = 200.0
TITLE_LINE = 14.0
"""The numbering of a part's title is added later and may take a line more [pt]."""
S = TypeVar("S", bound=ChartSpec)
Draw = Callable[["Sheet", Any], None]


@dataclass(frozen=True)
class ChartKind:
    """How one kind of chart is drawn; ``name`` is that of its text alternative's macro."""

    name: str
    draw: Draw


KINDS: dict[type[ChartSpec], ChartKind] = {}
"""Every kind whose module was imported."""


def _register(spec: type[ChartSpec], name: str, draw: Draw) -> None:
    if spec in KINDS or any(kind.name == name for kind in KINDS.values()):
        raise ValueError(f"chart {name!r} or {spec.__name__} is registered already")
    KINDS[spec] = ChartKind(name, draw)


def chart(spec: type[S], name: str) -> Callable[[Callable[[Sheet, S], None]],
                                                Callable[[Sheet, S], None]]:
    """Register the function below as the one that draws a spec.

    Parameters
    ----------
    spec : type
        A frozen dataclass over :class:`~loambrief.charts.model.ChartSpec`.
    name : str
        Of the kind; its text alternative is the macro ``alt_<name>`` in ``charts.j2``.

    Raises
    ------
    ValueError
        The spec or the name is registered already.
    """
    def register(draw: Callable[[Sheet, S], None]) -> Callable[[Sheet, S], None]:
        _register(spec, name, draw)
        return draw

    return register


def axes_chart(spec: type[S], name: str, height: float = 150.0
               ) -> Callable[[Callable[[Axes, S], None]], Callable[[Axes, S], None]]:
    """Register a function that draws a spec on plain axes.

    Title, subtitle and note are put round the axes, which have the theme's typeface and
    strokes and are moved until their tick labels fit the width.

    Parameters
    ----------
    spec, name
        As for :func:`chart`.
    height : float
        Of the axes with their tick labels [pt].
    """
    def register(draw: Callable[[Axes, S], None]) -> Callable[[Axes, S], None]:
        _register(spec, name, lambda sheet, given: sheet.plain_axes(
            height, lambda ax: draw(ax, given)))
        return draw

    return register


@cache
def load_matplotlib() -> None:
    """Import matplotlib without a word: on its first run it lists the machine's typefaces, and
    says so; where it may not keep that list, it says so too. Help texts of its classes are left
    without their lists of properties, and their ``set`` without its signature: to write these
    takes a third of the time."""
    log = logging.getLogger("matplotlib")
    level = log.level
    log.setLevel(logging.ERROR)
    try:
        from matplotlib import artist

        base: Any = artist.Artist
        signed, listed = base._update_set_signature_and_docstring.__func__, artist.kwdoc
        setattr(base, signed.__name__, classmethod(lambda cls: None))
        setattr(artist, "kwdoc", lambda artist: "")  # noqa: B010
        try:
            import matplotlib.figure  # noqa: F401
        finally:
            setattr(base, signed.__name__, classmethod(signed))
            setattr(artist, "kwdoc", listed)  # noqa: B010
    finally:
        log.setLevel(level)


@lru_cache(maxsize=32)
def build(spec: ChartSpec, width: float) -> Figure:
    """The chart as a figure of 72 dots an inch, so that its pixels are points.

    Kept for a while, because a page first asks for the size and then draws.

    Raises
    ------
    TypeError
        No kind of chart draws such a spec.
    ValueError
        The spec has no data, or the width is below 200 pt.
    """
    if not spec.has_data():
        raise ValueError(f"{type(spec).__name__} {spec.title!r} has no data to draw")
    if width < NARROWEST:
        raise ValueError(f"{width:g} pt is too narrow; charts need {NARROWEST:g}")
    kind = KINDS[type(spec)]
    load_matplotlib()
    from loambrief.charts.sheet import Sheet, themed

    with local(spec.words.signs), themed():
        sheet = Sheet(float(width))
        sheet.header(spec)
        kind.draw(sheet, spec)
        sheet.footer(spec)
        return sheet.finish()


@lru_cache(maxsize=32)  # a page of the advisory and one of its annex show the same chart
def drawn(spec: ChartSpec, width: float) -> Drawing:
    """The chart as shapes and lines of text; parameters and errors as of :func:`build`."""
    figure = build(spec, width)
    from loambrief.charts.renderer import drawing

    return drawing(figure)


@lru_cache(maxsize=1024)  # pages are tried in several ways, and ask for sizes each time
def figure_size(spec: ChartSpec, width: float) -> tuple[float, float]:
    """Width and height of a chart [pt] at a given width; raises as :func:`build`."""
    box = build(spec, float(width)).bbox
    return float(box.width), float(box.height)


def fitted(spec: S, width: float, highest: float) -> tuple[S, ...]:
    """The chart in as few parts as fit, each no higher than ``highest`` [pt].

    One if it fits as it is. Titles of parts end in "(1 of 2)". A single row that is too high by
    itself stays as it is. Every part keeps the whole text alternative; describe the parts
    afterwards for one each. Raises as :func:`build`.
    """
    parts = _parts(spec, width, highest)
    if len(parts) == 1:
        return parts
    of = spec.words.of
    return tuple(replace(part, title=f"{spec.title} ({of.format(n, len(parts))})")
                 for n, part in enumerate(parts, 1))


def broken(spec: S, width: float, room: float) -> tuple[S, ...]:
    """The chart in two parts, as much as fits into ``room`` [pt] in the first.

    Neither part has a single item where there are four; empty if no good part fits.
    """
    least, count = _fewest(spec), spec.items()
    if not least:
        return ()
    low, whole = least_height(spec, width), figure_size(spec, width)[1]
    each = max((whole - low) / (count - least), 1.0)
    guess = least + max(int((room - low) / each), 0) + 1  # items are about as high as each other
    for first_items in range(min(guess, count - least), least - 1, -1):
        parts = spec.halves(first_items)
        if len(parts) == 2 and all(part.has_data() for part in parts) and (
                figure_size(parts[0], width)[1] + TITLE_LINE <= room):
            of = spec.words.of
            return tuple(replace(part, title=f"{spec.title} ({of.format(n, 2)})")
                         for n, part in enumerate(parts, 1))
    return ()


def least_height(spec: ChartSpec, width: float) -> float:
    """Height of the least part of a chart that may stand alone [pt]; of all of it, if it is
    never parted."""
    parts = spec.halves(_fewest(spec)) if _fewest(spec) else ()
    if not parts or not parts[0].has_data():
        return figure_size(spec, width)[1]
    return figure_size(parts[0], width)[1] + TITLE_LINE


def _fewest(spec: ChartSpec) -> int:
    """Items that a part has at least; 0 for a chart that stays whole."""
    count = spec.items()
    return 0 if count < 2 else 2 if count >= 4 else 1


def _parts(spec: S, width: float, highest: float) -> tuple[S, ...]:
    if figure_size(spec, width)[1] + TITLE_LINE <= highest:
        return (spec,)
    halves = [half for half in spec.halves() if half.has_data()]
    if not halves:
        return (spec,)
    return tuple(part for half in halves for part in _parts(half, width, highest))
