"""What a reader gets: text, bookmarks, links, margins, type, fonts, attachments."""

from __future__ import annotations

import io
import re

import pdfplumber
import pikepdf
import pypdfium2
import pytest
from pdf_text import page_texts
from render_samples import CLIENT, WORDS, model

from loambrief.charts.fonts import FILES, font_path
from loambrief.charts.model import FixedWords
from loambrief.charts.theme import theme
from loambrief.render.pdf import render_pdf
from loambrief.render.styles import SMALLEST, look
from loambrief.report.blocks import DocumentStatus, Paper


def _flat(text):
    return re.sub(r"\s+", " ", text.replace("\u00a0", " "))


def test_own_words_for_page_numbers_may_hold_braces():
    """ensures that only the two places for numbers are filled, whatever else is written there."""
    words = FixedWords((*((n, w) for n, w in WORDS.texts if n != "page_of"),
                        ("page_of", "{s} {} / {} {}")))
    pages = page_texts(render_pdf(model(words=words)))
    assert f"{{s}} 1 / {len(pages)} {{}}" in _flat(pages[0])


def test_first_page_stands_alone(reader):
    """ensures that page 1 names limits, actions with amounts, money, contact and validity."""
    text = _flat(reader.pages[0].extract_text())
    for words in ("What limits this field", "pH 5.4", "What to do first", "1.5 ton/ac", "57 ton",
                  "$2,410", "by 15 Nov 2026", "What not to buy", "Gypsum", "Whom to call",
                  "+1 555 0142", "Valid until", "1 October 2027", "Caution: Dust hurts eyes"):
        assert words in text, words
    assert "The field in numbers" not in text


def test_every_page_is_numbered(reader):
    """ensures that each sheet says which page of how many, of which advisory."""
    total = len(reader.pages)
    assert 5 <= total <= 8
    for number, page in enumerate(reader.pages, start=1):
        text = _flat(page.extract_text())
        assert f"Page {number} of {total}" in text
        assert "lower-bench-2026" in text
        assert CLIENT in text


def test_status_band():
    """ensures that a draft says so on each page, an issued advisory nowhere, on equal pages."""
    texts = {}
    for status in DocumentStatus:
        data = render_pdf(model(status=status, number="LB-2026-014", revision="rev. 2"))
        texts[status] = [_flat(text) for text in page_texts(data)]
    assert all("Draft, not issued" in t for t in texts[DocumentStatus.DRAFT])
    assert all("Withdrawn: do not use" in t for t in texts[DocumentStatus.WITHDRAWN])
    assert not any("Draft" in t or "Withdrawn" in t for t in texts[DocumentStatus.ISSUED])
    assert all("LB-2026-014 · rev. 2" in t for t in texts[DocumentStatus.ISSUED])
    assert len({len(t) for t in texts.values()}) == 1


def test_bookmarks(advisory, reader):
    """ensures that headings, findings and actions are in the outline, in order, at their page."""

    def walk(items, depth=0):
        for item in items:
            if isinstance(item, list):
                yield from walk(item, depth + 1)
            else:
                yield depth, item

    entries = list(walk(reader.outline))
    titles = [(depth, item.title) for depth, item in entries]
    assert titles[0] == (0, "Lower Bench: lime first, then air, and no more gypsum")
    assert (0, "Plan") in titles
    assert (1, "The top two inches are too acid for alfalfa") in titles
    assert (1, "1. Spread 1.5 ton/ac of ag lime") in titles
    pages = [reader.get_destination_page_number(item) for _, item in entries]
    assert pages == sorted(pages)
    texts = [_flat(text) for text in page_texts(advisory)]
    for (_, item), page in zip(entries, pages, strict=True):
        name = "What to do, in order" if item.title == "Plan" else item.title
        name = re.sub(r"^\d+\. ", "", name)  # the number stands in a cell of its own
        assert _flat(name) in texts[page]


def test_links_lead_somewhere(pdf):
    """ensures that links inside the file have a page, links outside are plain addresses."""
    inside = outside = 0
    pages = {page.obj.objgen for page in pdf.pages}
    for page in pdf.pages:
        for link in page.obj.get("/Annots", []):
            if link.Subtype == "/Widget":
                continue
            if "/Dest" in link:
                assert link.Dest[0].objgen in pages
                inside += 1
            else:
                assert link.A.S == "/URI"
                assert re.match(r"https://example\.org/|mailto:", str(link.A.URI))
                outside += 1
            x0, y0, x1, y1 = (float(v) for v in link.Rect)
            assert x1 - x0 > 2 and 6 < y1 - y0 < 20
    assert inside > 20 and outside == 3


def test_link_goes_to_its_finding(reader):
    """ensures that the first limit on page 1 leads to the page of its finding."""
    link = reader.pages[0]["/Annots"][0].get_object()
    page = next(p for p in reader.pages if p.indirect_reference == link["/Dest"][0])
    assert "The top two inches are too acid" in _flat(page.extract_text())


def test_fonts_are_embedded(pdf):
    """ensures that all fonts are ours, embedded, with Unicode; no default font slips in."""
    names = set()
    for item in pdf.objects:
        if isinstance(item, pikepdf.Dictionary) and item.get("/Type") == "/Font":
            assert item.Subtype == "/TrueType"
            assert "/FontFile2" in item.FontDescriptor
            assert "/ToUnicode" in item
            names.add(str(item.BaseFont).split("+")[-1])
    assert names == {"SourceSans3-Regular", "SourceSans3-It", "SourceSans3-Semibold"}
    for page in pdf.pages:
        assert b"Helvetica" not in page.Contents.read_bytes()


def test_typeface_is_whole():
    """ensures that the four faces print every sign that an advisory needs."""
    from fontTools.ttLib import TTFont

    wanted = "µμ°₀₁₂₃₄₅₆₇₈₉≥≤±×–—−…≈→\u00a0\u2011ñéüßÅøçőłšžÆ€£•·“”‘’¼½¾□"
    for name in FILES:
        faces = TTFont(font_path(name)).getBestCmap()
        assert not [sign for sign in wanted if ord(sign) not in faces], name
    assert "SIL OPEN FONT LICENSE" in (font_path(name).parent / "OFL.md").read_text()


def test_type_is_large_enough():
    """ensures that page type is 7.5 pt or more and running text 9.5 pt or more."""
    with pdfplumber.open(io.BytesIO(render_pdf(model()))) as pages:
        sizes = [c["size"] for page in pages.pages for c in page.chars if c["text"].strip()]
        body = [c["size"] for page in pages.pages for c in page.chars
                if "Nitrogen and rain" in _line_of(page, c)]
    assert min(sizes) >= SMALLEST
    assert body and min(body) >= 9.5
    assert look().style("item").fontSize >= 9.5 and look().style("table").fontSize >= 9.5


def _line_of(page, char):
    """Text of the line a character stands on, read once a page."""
    if not hasattr(page, "known_lines"):
        page.known_lines = {}
        for c in page.chars:
            page.known_lines.setdefault(round(c["bottom"]), []).append(c["text"])
    return "".join(page.known_lines[round(char["bottom"])])


def test_charts_keep_their_own_limit(advisory):
    """ensures that even chart labels are no smaller than the theme's smallest size."""
    with pdfplumber.open(io.BytesIO(advisory)) as pages:
        sizes = [c["size"] for page in pages.pages for c in page.chars if c["text"].strip()]
    assert min(sizes) >= theme().smallest - 0.01


def test_ink_stays_inside_the_margins(advisory):
    """ensures that nothing is printed where sheets are punched, bound or gripped."""
    scale = 2
    document = pypdfium2.PdfDocument(advisory)
    for page in document:
        width, height = page.get_size()
        image = page.render(scale=scale).to_pil().convert("L")
        box = image.point(lambda v: 255 if v < 250 else 0).getbbox()
        left, top, right, bottom = (v / scale for v in box)
        assert left >= 53 and width - right >= 53
        assert top >= 27 and height - bottom >= 32
        page.close()
    document.close()


def test_copies_in_grey_keep_their_contrast():
    """ensures that text and status boxes differ in lightness from what is behind them."""
    from loambrief.colours import contrast

    colours = look().colours
    hexes = {k: "#" + v.hexval()[2:].upper() for k, v in colours.items()}
    from loambrief.render.status import BOXES

    for fill, _, _, text in BOXES.values():
        assert contrast(hexes[fill], hexes[text]) >= 4.5
    for text in ("ink", "muted", "accent"):
        assert contrast(hexes[text], hexes["paper"]) >= 4.5
    assert len({(fill, line, dash) for fill, line, dash, _ in BOXES.values()}) == len(BOXES)


def test_no_pictures_no_transparency(pdf):
    """ensures that pages are text and lines only."""
    for page in pdf.pages:
        resources = page.Resources
        for drawn in resources.get("/XObject", {}).values():
            assert drawn.Subtype == "/Form" and "/Group" not in drawn
            assert not drawn.get("/Resources", {}).get("/XObject", {}).keys()
            names = {str(i.operator) for i in pikepdf.parse_content_stream(drawn)}
            assert not names & {"Do", "BI", "Tj", "TJ", "gs", "sh"}
        assert not resources.get("/ExtGState", {}).keys()
        assert "/Trans" not in page.obj and "/Group" not in page.obj


def test_attachments(pdf):
    """ensures that the case and the data are inside, with what they are to the document."""
    assert list(pdf.attachments) == ["lower-bench-2026.json", "lower-bench-2026.yaml"]
    case = pdf.attachments["lower-bench-2026.yaml"]
    assert case.get_file().read_bytes() == b"case: {id: lower-bench-2026}\n"
    assert case.get_file().mime_type == "application/yaml"
    assert [str(f.AFRelationship) for f in pdf.Root.AF] == ["/Source", "/Alternative"]


def test_metadata(pdf):
    """ensures that title, author and the case's date are in the file, the clock is not."""
    assert str(pdf.docinfo.Title) == "Lower Bench: lime first, then air"
    assert str(pdf.docinfo.Author) == "R. Fennimore"
    assert str(pdf.docinfo.CreationDate) == str(pdf.docinfo.ModDate) == "D:20261014000000Z"
    text = pdf.Root.Metadata.read_bytes().decode()
    with pdf.open_metadata(set_pikepdf_as_editor=False) as xmp:
        assert xmp["dc:title"] == "Lower Bench: lime first, then air"
        assert xmp["dc:description"] == f"Crop and soil advisory for {CLIENT}"
        assert xmp["pdfaid:part"] == "3" and xmp["pdfaid:conformance"] == "A"
        assert xmp["pdfuaid:part"] == "1"
        assert xmp["xmp:CreateDate"].startswith("2026-10-14")
    assert set(re.findall(r"\d{4}-\d\d-\d\dT", text)) == {"2026-10-14T"}


@pytest.mark.parametrize("paper", list(Paper))
def test_paper_size(paper):
    """ensures that the sheet has the size asked for."""
    data = render_pdf(model(paper=paper))
    with pikepdf.open(io.BytesIO(data)) as pdf:
        box = [round(float(v), 1) for v in pdf.pages[0].mediabox]
    assert box == {Paper.LETTER: [0, 0, 612, 792], Paper.A4: [0, 0, 595.3, 841.9]}[paper]


def test_file_is_small(advisory):
    """ensures that an advisory of eight pages with charts can be mailed."""
    assert len(advisory) < 400_000
