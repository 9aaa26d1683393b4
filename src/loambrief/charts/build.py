"""From a chart spec to its drawing and onto the page."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from reportlab.pdfgen.canvas import Canvas

from loambrief.charts import (
    budget,
    carbon_nitrogen,
    cations,
    compare,
    layers,
    penetration,
    salinity,
    sap,
    season,
    sketch_map,
    sufficiency,
    tally,
    trend,
    weeds,
)
from loambrief.charts.backend import Drawn, draw
from loambrief.charts.drawing import Drawing
from loambrief.report import specs
from loambrief.report.numbers import local
from loambrief.report.specs import ChartSpec, has_data

KINDS: dict[type[ChartSpec], Callable[[ChartSpec, float], Drawing]] = {
    specs.PenetrationSpec: penetration.draw,
    specs.LayerSpec: layers.draw,
    specs.SapSpec: sap.draw,
    specs.CationSpec: cations.draw,
    specs.SalinitySpec: salinity.draw,
    specs.SufficiencySpec: sufficiency.draw,
    specs.WeedSpec: weeds.draw,
    specs.BudgetSpec: budget.draw,
    specs.CarbonNitrogenSpec: carbon_nitrogen.draw,
    specs.SeasonSpec: season.draw,
    specs.TrendSpec: trend.draw,
    specs.CompareSpec: compare.draw,
    specs.TallySpec: tally.draw,
    specs.MapSpec: sketch_map.draw,
}
"""Which function draws which spec."""

NARROWEST = 200.0


@lru_cache(maxsize=16)
def build(spec: ChartSpec, width: float) -> Drawing:
    """The chart as a drawing.

    Kept for a while, because a page first asks for the size and then draws.

    Parameters
    ----------
    spec : ChartSpec
    width : float
        Width [pt], at least 200.

    Returns
    -------
    Drawing

    Raises
    ------
    ValueError
        The spec has no data, or the width is below 200 pt.
    """
    if not has_data(spec):
        raise ValueError(f"{type(spec).__name__} {spec.title!r} has no data to draw")
    if width < NARROWEST:
        raise ValueError(f"{width:g} pt is too narrow; charts need {NARROWEST:g}")
    with local(spec.words.signs):
        return KINDS[type(spec)](spec, float(width))


def figure_size(spec: ChartSpec, width: float) -> tuple[float, float]:
    """Width and height of a chart [pt] at a given width; raises as :func:`build`."""
    drawing = build(spec, float(width))
    return drawing.width, drawing.height


def draw_chart(canvas: Canvas, spec: ChartSpec, x: float, y: float, width: float,
               drawn: Drawn | None = None) -> None:
    """Draw a chart with its lower left corner at (x, y) [pt]; raises as :func:`build`."""
    draw(canvas, build(spec, float(width)), x, y, drawn)
