"""Helpers that draw a chart and tell what was put where."""

import io
from functools import cache

import pytest
from recording import recorded
from reportlab.pdfgen.canvas import Canvas

from loambrief.charts import build, draw_chart, figure_size


@pytest.fixture
def record():
    """:func:`recorded`, anew at each call."""
    return recorded


@pytest.fixture(scope="session")
def record_once():
    """:func:`recorded`, kept for the other checks of the same chart."""
    return cache(recorded)


@pytest.fixture
def panels():
    """The axes of a spec's figure, in the order they were made."""

    def run(spec, width=504.0):
        return build(spec, width).axes

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
