"""Rendered once, looked at by many tests."""

from __future__ import annotations

import io

import pikepdf
import pypdf
import pytest
from render_samples import model

from loambrief.render.pdf import render_pdf
from loambrief.report.blocks import Paper


@pytest.fixture(scope="session", params=[Paper.LETTER, Paper.A4], ids=["letter", "a4"])
def advisory(request):
    """The invented advisory with charts, as bytes, on both papers."""
    return render_pdf(model(figures=True, paper=request.param), checked=True)


@pytest.fixture
def reader(advisory):
    """The advisory opened for reading texts and links."""
    return pypdf.PdfReader(io.BytesIO(advisory))


@pytest.fixture
def pdf(advisory):
    """The advisory opened for reading objects."""
    with pikepdf.open(io.BytesIO(advisory)) as opened:
        yield opened


@pytest.fixture
def pages_of():
    """Text of each page of a model made of some blocks."""

    def run(*blocks, **changes):
        reader = pypdf.PdfReader(io.BytesIO(render_pdf(model(blocks=blocks, **changes))))
        return [page.extract_text() for page in reader.pages]

    return run
