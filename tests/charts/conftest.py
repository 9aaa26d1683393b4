"""Helpers that draw a chart and tell what was put where."""

from __future__ import annotations

import io

import pytest
from reportlab.pdfgen.canvas import Canvas

from loambrief.charts import Drawn, draw_chart, figure_size


@pytest.fixture
def record():
    """Draw a spec; returns what was drawn, and the chart's width and height."""

    def run(spec, width=504.0):
        drawn = Drawn()
        draw_chart(Canvas(io.BytesIO()), spec, 0, 0, width, drawn)
        return drawn, *figure_size(spec, width)

    return run


@pytest.fixture
def pdf():
    """Draw specs one to a page; returns the bytes of the PDF."""

    def run(*specs, width=504.0):
        buffer = io.BytesIO()
        canvas = Canvas(buffer, pagesize=(width + 40, 900), invariant=1, pageCompression=0)
        for spec in specs:
            draw_chart(canvas, spec, 20, 880 - figure_size(spec, width)[1], width)
            canvas.showPage()
        canvas.save()
        return buffer.getvalue()

    return run
