"""Axes and lines of text without what the charts never use, which takes most of their time."""

from __future__ import annotations

from typing import Any

from matplotlib.axes import Axes
from matplotlib.axis import XAxis, YAxis
from matplotlib.backend_bases import RendererBase
from matplotlib.text import Text


class _Bare:
    """An axis that is a scale only: no tick is ever made."""

    def set_clip_path(self, path: Any, transform: Any = None) -> None:
        pass


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


class PageText(Text):
    """One line of text from the left end of its baseline, so that it needs no layout."""

    def draw(self, renderer: RendererBase) -> None:
        if self.get_visible():
            x, y = self.get_transform().transform(self.get_position())
            gc = renderer.new_gc()
            gc.set_foreground(self.get_color())
            renderer.draw_text(gc, x, y, self.get_text(), self.get_fontproperties(), 0.0)
            gc.restore()
        self.stale = False
