"""Chart specs to vector drawings on the page.

``draw_chart(canvas, spec, x, y, width)`` draws; ``figure_size(spec, width)`` tells how high
it will be; ``fitted(spec, width, highest)`` splits what is higher than a page. Each kind of
chart has a module of its own with one ``draw(spec, width)``.
"""

from loambrief.charts.backend import Drawn
from loambrief.charts.build import KINDS, build, draw_chart, figure_size
from loambrief.charts.fit import fitted
from loambrief.report.specs import has_data

__all__ = ["KINDS", "Drawn", "build", "draw_chart", "figure_size", "fitted", "has_data"]
