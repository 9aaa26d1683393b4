"""Axes and lines of text without what the charts never use, which takes most of their time."""

from functools import cache
from typing import Any

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.axis import Axis, XAxis, YAxis
from matplotlib.backend_bases import RendererBase
from matplotlib.colors import to_rgb
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.scale import scale_factory
from matplotlib.ticker import NullLocator

from loambrief.charts.fonts import TYPEFACE
from loambrief.charts.renderer import SEMIBOLD


class _Bare(Axis):
    """An axis that is a scale only: no tick is ever made."""

    get_ticks_position: Any = staticmethod(lambda: "none")
    """Neither side; matplotlib would make a tick to find out."""
    get_major_locator: Any = staticmethod(NullLocator)

    def _set_scale(self, value: Any, **more: Any) -> None:
        """The scale without what would place and word its ticks."""
        self._scale = scale_factory(value, self, **more)

    def set_clip_path(self, path: Any, transform: Any = None) -> None:
        """Nothing: there are no ticks to clip."""


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


class Lettering(Artist):
    """Lines of text from the left end of their baselines: known beforehand, so without layout.

    ``lines`` are (x, y, text, size, weight, colour, box or None): the box (x0, y0, x1, y1, fill)
    lies behind the words.
    """

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[tuple[float, float, str, float, str, str, Any]] = []

    def draw(self, renderer: RendererBase) -> None:
        gc = renderer.new_gc()
        gc.set_linewidth(0)
        place = self.get_transform()
        places = place.transform([line[:2] for line in self.lines])
        for (x, y), (_, _, text, size, weight, colour, box) in zip(places, self.lines, strict=True):
            if box is not None:
                x0, y0, x1, y1, fill = box
                renderer.draw_path(gc, Path([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)],
                                            closed=True), place, to_rgb(fill))
            gc.set_foreground(to_rgb(colour), isRGBA=True)
            renderer.draw_text(gc, x, y, text, font(weight, size), 0.0)
        gc.restore()


@cache
def font(weight: str, size: float) -> FontProperties:
    """A face of the page as matplotlib names it."""
    return FontProperties(family=TYPEFACE, size=size,
                          weight=SEMIBOLD if weight == "bold" else "normal",
                          style="italic" if weight == "italic" else "normal")
