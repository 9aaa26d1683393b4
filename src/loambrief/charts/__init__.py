"""The charts of the documents: specs, and vectors drawn from them with matplotlib.

``draw_chart(canvas, spec, x, y, width)`` draws on a page, ``svg_chart`` for a screen;
``figure_size(spec, width)`` tells how high a chart will be, and ``fitted(spec, width, highest)``
splits what is higher than a page, ``broken`` what is higher than what is left of one.

A kind of chart is one module: its spec, ``has_data`` and ``facts`` of the spec, and its drawing
registered with ``@chart``; its words and its text alternative (``alt_<name>``) stand in
``charts.j2`` of each language. Nothing else has to know of it.

A chart of your own needs no layout. Register a function that takes a matplotlib ``Axes``::

    @dataclass(frozen=True, kw_only=True)
    class RainSpec(ChartSpec):
        months: tuple[str, ...]
        millimetres: tuple[float, ...]

        def has_data(self) -> bool:
            return any_number(self.millimetres)

    @axes_chart(RainSpec, "rain", height=140.0)
    def rain(ax: Axes, spec: RainSpec) -> None:
        ax.bar(spec.months, spec.millimetres)
        ax.set_ylabel("mm")

Title, note, typeface, strokes and colours are those of the other charts, and the result goes
the same way: vectors on paper, SVG on a screen, ``spec.alt`` for who cannot see it.

Figures are matplotlib's, without pyplot. A ``Sheet`` lays text out in points and puts axes where
two scales lie, so marks stand in the units of the case; ``canvas`` draws the figure on the page
and ``svg`` for a screen, as opaque vectors with text in the page's typeface. ``panel`` leaves out
ticks and spines, which nobody sees and which take most of the time of an ``Axes``. matplotlib is
loaded by the first chart. The title is the finding; every value is printed; colour is never the
only sign.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from loambrief.charts.model import ChartSpec, ChartWords, Threshold, any_number, is_number
from loambrief.charts.registry import (
    KINDS,
    axes_chart,
    broken,
    build,
    chart,
    drawn,
    figure_size,
    fitted,
    least_height,
)

if TYPE_CHECKING:
    from loambrief.charts.canvas import Canvas

__all__ = ["KINDS", "ChartSpec", "ChartWords", "Threshold", "any_number", "axes_chart", "broken",
           "build", "chart", "draw_chart", "drawn", "figure_size", "fitted",
           "is_number", "least_height", "svg_chart"]


def draw_chart(canvas: Canvas, spec: ChartSpec, x: float, y: float, width: float) -> None:
    """Draw a chart with its lower left corner at (x, y) [pt]; raises as ``build``."""
    made = drawn(spec, float(width))
    from loambrief.charts.canvas import put_on_canvas

    put_on_canvas(canvas, made, x, y)


def svg_chart(spec: ChartSpec, width: float, prefix: str) -> ET.Element:
    """A chart as one ``svg`` element, to be put into an HTML page; raises as :func:`build`.

    Parameters
    ----------
    width : float
        Width it is laid out for [pt]; on the page it scales.
    prefix : str
        Starts every id in the drawing, so that several charts can share a page.

    Returns
    -------
    xml.etree.ElementTree.Element
        Without a namespace, with a ``title`` and a ``desc`` (the text alternative) that name
        it to a screen reader.
    """
    made = drawn(spec, float(width))
    from loambrief.charts.svg import as_svg

    return as_svg(made, spec.title, spec.alt, prefix)
