"""A logo and an accent on paper and on a screen: opaque, tagged, in their place."""

from __future__ import annotations

import dataclasses
import io

import html5lib
import pikepdf
import pikepdf.pdfa
import pypdfium2
import pytest
from PIL import Image
from render_samples import SUMMARY, blocks, model

from loambrief.case.brand import flat_png
from loambrief.charts.theme import theme
from loambrief.errors import RenderFault
from loambrief.render import pdfa
from loambrief.render.html import render_html
from loambrief.render.pdf import render_pdf
from loambrief.render.plain import render_plain
from loambrief.report.blocks import LogoPrint

ACCENT = "#225544"


def _logo(width=300, height=100):
    buffer = io.BytesIO()
    Image.new("RGBA", (width, height), (30, 60, 90, 128)).save(buffer, "PNG")
    return LogoPrint(*flat_png(buffer.getvalue()), "Varga Field Notes, an ear of rye")


def _model(logo=None, **changes):
    logo = logo or _logo()
    summary = dataclasses.replace(SUMMARY, logo=logo)
    return model(blocks=(summary, *blocks(figures=True)[1:]), logo=logo, accent=ACCENT, **changes)


@pytest.fixture(scope="module")
def branded():
    return render_pdf(_model(), checked=True)



def test_logo_is_on_every_page_once(branded):
    """ensures one opaque RGB picture in the file, drawn at the title and beside each head."""
    with pikepdf.open(io.BytesIO(branded)) as pdf:
        pictures = [o for o in pdf.objects if isinstance(o, pikepdf.Stream)
                    and o.get("/Subtype") == "/Image"]
        assert len(pictures) == 1
        assert "/SMask" not in pictures[0] and "/Mask" not in pictures[0]
        assert pictures[0].ColorSpace == "/DeviceRGB" and pictures[0].Width == 300
        for page in pdf.pages:
            drawn = [str(i.operator) for i in pikepdf.parse_content_stream(page)]
            assert drawn.count("Do") - _forms(page) == 1


def _forms(page):
    """Drawn objects that are no pictures, such as a watermark."""
    objects = page.Resources.get("/XObject", {})
    return sum(str(i.operands[0]) in objects and objects[str(i.operands[0])].Subtype == "/Form"
               for i in pikepdf.parse_content_stream(page) if str(i.operator) == "Do")


def test_logo_is_heard_once(branded, accessibility_faults):
    """ensures a figure with the logo's text alternative and no accessibility fault."""
    with pikepdf.open(io.BytesIO(branded)) as pdf:
        said = [str(o.Alt) for o in pdf.objects
                if isinstance(o, pikepdf.Dictionary) and o.get("/S") == "/Figure"]
    assert said.count(_logo().alt) == 1
    assert not accessibility_faults(branded)


def test_archive_check_passes(branded):
    """ensures that the picture breaks no rule of PDF/A-3b that pikepdf checks."""
    with pikepdf.open(io.BytesIO(branded)) as pdf, pdfa._without_fields(pdf):
        findings = [str(f) for f in pikepdf.pdfa.check(pdf, "3b").findings]
    assert all("(MetadataStream)" in finding for finding in findings)


def test_accent_is_on_pages_and_not_in_charts(branded):
    """ensures that titles and links take the accent while charts keep the theme's colours,
    which are chosen to be told apart."""
    with pikepdf.open(io.BytesIO(branded)) as pdf:
        text, chart = set(), set()
        for page in pdf.pages:
            inside = []
            for item in pikepdf.parse_content_stream(page):
                name = str(item.operator)
                if name in ("BDC", "BMC"):
                    inside.append(str(item.operands[0]))
                elif name == "EMC":
                    inside.pop()
                elif name in ("rg", "RG"):
                    values = tuple(round(float(v) * 255) for v in item.operands)
                    (chart if "/Figure" in inside else text).add(values)
    own, themes = (tuple(int(c[i:i + 2], 16) for i in (1, 3, 5))
                   for c in (ACCENT, theme().accent))
    assert own in text and themes not in text
    assert themes in chart and own not in chart


@pytest.mark.parametrize("width, height", [(900, 75), (60, 300), (24, 24)])
def test_any_shape_fits(width, height):
    """ensures that a long, a tall and a small logo stay in their room and keep their shape."""
    data = render_pdf(_model(_logo(width, height)))
    page = pypdfium2.PdfDocument(data)[0]
    (image,) = page.get_objects([pypdfium2.raw.FPDF_PAGEOBJ_IMAGE], max_depth=1)
    x0, y0, x1, y1 = image.get_bounds()
    assert x1 - x0 <= 120.01 and y1 - y0 <= 40.01
    assert (x1 - x0) / (y1 - y0) == pytest.approx(width / height, rel=0.01)
    assert x1 == pytest.approx(page.get_width() - 54, abs=0.1)


def test_screen_has_logo_and_colours():
    """ensures that the page shows the logo with its words, takes the accent by day and a
    lighter one by night, and the plain text says the words."""
    page = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(
        render_html(_model()))
    (image,) = page.iter("img")
    assert image.get("alt") == _logo().alt and image.get("src").startswith("data:image/png;")
    style = page.find("head/style").text
    assert f"--accent:{ACCENT}" in style and theme().accent not in style
    assert _logo().alt in render_plain(_model()).decode()


def test_logo_needs_its_words():
    """ensures that a logo without a text alternative is refused."""
    with pytest.raises(RenderFault, match="text alternative"):
        render_pdf(_model(dataclasses.replace(_logo(), alt=" ")))
