"""Axes and lines of text without what the charts never use, which takes most of their time."""

from __future__ import annotations

from functools import cache
from typing import Any

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.axis import XAxis, YAxis
from matplotlib.backend_bases import RendererBase
from matplotlib.font_manager import FontProperties

from loambrief.charts.fonts import TYPEFACE
from loambrief.charts.renderer import SEMIBOLD


class _Bare:
    """An axis that is a scale only: no tick is ever made."""

    def set_clip_path(self, path: Any, transform: Any = None) -> None:
        """Nothing: there are no ticks to clip."""

    def get_ticks_position(self) -> Any:
        """Neither side; matplotlib would make a tick to find out."""
        return "none"


class _BareX(_Bare, XAxis):
    pass


class _BareY(_Bare, YAxis):
    pass


class Panel(Axes):
    """Data coordinates in a rectangle, without spines, ticks and grid.

    Making an ``Axes`` with all of them takes four times as long, and a chart of ten panels
    would wait longer for ticks it does not show than for all it does.
    """

    def _init_axis(self) -> None:
        self.xaxis, self.yaxis = _BareX(self, clear=False), _BareY(self, clear=False)

    def _gen_axes_spines(self, *args: Any, **more: Any) -> dict[str, Any]:
        return {}

    def grid(self, *args: Any, **more: Any) -> None:
        """Nothing: there are no ticks to carry a grid."""

    def tick_params(self, *args: Any, **more: Any) -> None:
        """Nothing: there are no ticks."""


class PageText(Artist):
    """One line of text from the left end of its baseline: known beforehand, so without layout."""

    def __init__(self, x: float, y: float, text: str, size: float, weight: str, colour: str):
        super().__init__()
        self.x, self.y, self.text = x, y, text
        self.size, self.weight, self.colour = size, weight, colour

    def draw(self, renderer: RendererBase) -> None:
        x, y = self.get_transform().transform((self.x, self.y))
        gc = renderer.new_gc()
        gc.set_foreground(self.colour)
        renderer.draw_text(gc, x, y, self.text, font(self.weight, self.size), 0.0)
        gc.restore()
        self.stale = False


@cache
def font(weight: str, size: float) -> FontProperties:
    """A face of the page as matplotlib names it."""
    return FontProperties(family=TYPEFACE, size=size,
                          weight=SEMIBOLD if weight == "bold" else "normal",
                          style="italic" if weight == "italic" else "normal")
