"""Rendered once, looked at by many tests."""

from __future__ import annotations

import io

import pikepdf
import pypdf
import pytest
from accessible import looked_at
from pdf_text import page_texts
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
def accessibility_faults(tmp_path):
    """Errors that the checker outloud finds in a file, but for one false alarm.

    Its rule TAG-002 takes any long line outside the structure tree for lost prose. The
    column titles that a table repeats on its next page are such a line, and are decoration
    on purpose: a screen reader would else meet them as new cells (Tagged PDF Best Practice
    Guide of the PDF Association, from memory, unverified). So such a line is let pass if it
    stands in the file a second time.
    """

    def run(data):
        path = tmp_path / "checked.pdf"
        path.write_bytes(data)
        result = looked_at(path)
        assert result.stats["tagged"] and result.stats["elements"] > 300
        printed = " ".join(" ".join(page_texts(data)).split())
        return [f for f in result.findings
                if not (f.rule == "TAG-002" and _repeated(f.evidence, printed))]

    return run


def _repeated(line, printed):
    """A line, or its halves in two columns, stands in the text more than once."""
    words = line.split()
    return printed.count(line) > 1 or any(
        printed.count(" ".join(words[:n])) > 1 and printed.count(" ".join(words[n:])) > 1
        for n in range(2, len(words) - 1))


@pytest.fixture
def pages_of():
    """Text of each page of a model made of some blocks."""

    def run(*blocks, **changes):
        return page_texts(render_pdf(model(blocks=blocks, **changes)))

    return run
