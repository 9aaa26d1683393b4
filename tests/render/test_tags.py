"""The tag layer, after ISO 14289-1 (PDF/UA-1) and ISO 32000-1, 14.6 to 14.8."""

from __future__ import annotations

import io
import re
from collections import Counter
from itertools import pairwise

import pdfplumber
import pikepdf
import pytest
from accessible import judged
from render_samples import model

from loambrief.render.pdf import render_pdf
from loambrief.render.tags import Element
from loambrief.report.blocks import (
    Bullets,
    Callout,
    CalloutKind,
    Column,
    Heading,
    Paragraph,
    Span,
    Table,
)
from loambrief.report.links import prefixed

PAINTS = {"Tj", "TJ", "'", '"', "f", "F", "f*", "S", "s", "B", "B*", "b", "b*", "Do", "sh", "EI"}
LONG = "The soil holds what the plant takes up. " * 260


def _open(*blocks):
    return pikepdf.open(io.BytesIO(render_pdf(model(blocks=blocks))))


def _elements(node):
    """Structure elements in reading order."""
    kids = node.get("/K", [])
    kids = kids if isinstance(kids, pikepdf.Array) else [kids]
    for kid in kids:
        if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
            yield kid
            yield from _elements(kid)


def _pieces(element):
    """(page, number) of each marked piece of an element itself."""
    own = element.get("/Pg")
    for kid in element.get("/K", []):
        if isinstance(kid, int):
            yield own.objgen, int(kid)
        elif isinstance(kid, pikepdf.Dictionary) and kid.get("/Type") == "/MCR":
            yield kid.Pg.objgen, int(kid.MCID)


def _in_order(node):
    """(page, number) of all marked pieces below a node, as a reader meets them."""
    kids = node.get("/K", pikepdf.Array())
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, int):
            yield node.Pg.objgen, int(kid)
        elif kid.get("/Type") == "/MCR":
            yield kid.Pg.objgen, int(kid.MCID)
        elif "/S" in kid:
            yield from _in_order(kid)


def _told(data):
    """Text in the order of the structure tree, as a screen reader tells it."""
    texts = {}
    with pdfplumber.open(io.BytesIO(data)) as opened:
        for number, page in enumerate(opened.pages):
            for char in page.chars:
                texts.setdefault((number, char["mcid"]), []).append(char["text"])
    with pikepdf.open(io.BytesIO(data)) as pdf:
        pages = {page.obj.objgen: number for number, page in enumerate(pdf.pages)}
        told = ["".join(texts.get((pages[page], number), ()))
                for page, number in _in_order(pdf.Root.StructTreeRoot)]
    return " ".join(told).replace("\u00a0", " ")


def _marks(page):
    """Marked pieces of a page: (role, number or None), and what is painted outside of any."""
    stack, marks, outside = [], [], []
    for operands, operator in pikepdf.parse_content_stream(page):
        name = str(operator)
        if name == "BDC":
            number = operands[1].get("/MCID")
            marks.append((str(operands[0]), None if number is None else int(number)))
            stack.append(name)
            assert len(stack) == 1, "marked content inside marked content"
        elif name == "EMC":
            stack.pop()
        elif name in PAINTS and not stack:
            outside.append(name)
    assert not stack
    return marks, outside


def test_two_checkers_find_nothing(advisory, accessibility_faults, tmp_path):
    """ensures that two independent PDF/UA checkers (pdfua, outloud) report no error."""
    path = tmp_path / "advisory.pdf"
    path.write_bytes(advisory)
    assert not judged(path)
    assert not accessibility_faults(advisory)


def test_all_that_is_painted_is_marked(pdf):
    """ensures that each stroke and letter is content or decoration, never both or neither."""
    for page in pdf.pages:
        marks, outside = _marks(page)
        assert not outside
        numbers = [n for _, n in marks if n is not None]
        assert sorted(numbers) == list(range(len(numbers)))
        assert any(role == "/Artifact" for role, _ in marks)


def test_tree_and_pages_agree(pdf):
    """ensures that each marked piece has one element of its role, and the parent tree says so."""
    owners = {}
    for element in _elements(pdf.Root.StructTreeRoot):
        for piece in _pieces(element):
            assert piece not in owners
            owners[piece] = element
    numbers = pdf.Root.StructTreeRoot.ParentTree.Nums
    parents = {int(numbers[i]): numbers[i + 1] for i in range(0, len(numbers), 2)}
    count = 0
    for page in pdf.pages:
        row = parents[int(page.obj.StructParents)]
        for role, number in _marks(page)[0]:
            if number is None:
                continue
            element = owners[page.obj.objgen, number]
            assert str(element.S) == role
            assert row[number].objgen == element.objgen
            count += 1
        assert page.obj.Tabs == "/S"
    assert count == len(owners)


def test_links_are_heard(pdf):
    """ensures that each link is an element with text, its area, and words for it."""
    numbers = pdf.Root.StructTreeRoot.ParentTree.Nums
    parents = {int(numbers[i]): numbers[i + 1] for i in range(0, len(numbers), 2)}
    links = [e for e in _elements(pdf.Root.StructTreeRoot) if e.S == "/Link"]
    areas = [a for page in pdf.pages for a in page.obj.get("/Annots", [])]
    assert len(links) > 20
    for area in areas:
        if area.Subtype == "/Widget":
            continue
        element = parents[int(area.StructParent)]
        assert element.S == "/Link"
        assert re.match("Go to |Open |finding |source ", str(area.Contents))
        assert int(area.F) == 4
    for link in links:
        assert list(_pieces(link))
        assert any(isinstance(k, pikepdf.Dictionary) and k.get("/Type") == "/OBJR" for k in link.K)


def test_signature_fields_are_heard(pdf):
    """ensures that both empty signature fields have a name for readers and a Form element."""
    forms = [e for e in _elements(pdf.Root.StructTreeRoot) if e.S == "/Form"]
    fields = list(pdf.Root.AcroForm.Fields)
    assert [(str(f.T), str(f.TU)) for f in fields] == [
        ("Adviser", "Adviser’s sign-off: Signature"),
        ("Client", "Grower’s acknowledgement: Signature"),
    ]
    for field, form in zip(fields, forms, strict=True):
        assert field.FT == "/Sig" and "/V" not in field
        assert form.K.Obj.objgen == field.objgen
        x0, y0, x1, y1 = (float(v) for v in field.Rect)
        assert x1 - x0 > 150 and y1 - y0 > 20
        assert field.AP.N.read_bytes() == b"q Q"  # paints nothing


def test_the_last_signature_locks_the_file(pdf):
    """ensures that the grower's field, and only it, forbids changes once it is signed.

    ISO 32000-1, table 233: a signature field lock; its permission P is of ISO 32000-2.
    """
    adviser, client = pdf.Root.AcroForm.Fields
    assert "/Lock" not in adviser
    assert client.Lock.Action == "/All" and client.Lock.P == 1


def test_headings_step_by_one(pdf):
    """ensures that there is one document title and no level is skipped."""
    levels = [int(str(e.S)[2]) for e in _elements(pdf.Root.StructTreeRoot)
              if re.fullmatch("/H[1-6]", str(e.S))]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b <= a + 1 for a, b in pairwise(levels))


def test_headings_of_several_fields_step_by_one():
    """ensures that under a cover no level is skipped either (ISO 14289-1, 7.4.2)."""
    one = model(figures=False).blocks
    made = model(blocks=(Heading(1, "Both fields", "client"), Heading(2, "Orders"),
                         *prefixed(one, "f1-"), *prefixed(one, "f2-")))
    with pikepdf.open(io.BytesIO(render_pdf(made))) as pdf:
        levels = [int(str(e.S)[2]) for e in _elements(pdf.Root.StructTreeRoot)
                  if re.fullmatch("/H[1-6]", str(e.S))]
    assert levels[:3] == [1, 2, 2] and levels.count(1) == 1
    assert all(b <= a + 1 for a, b in pairwise(levels))


def test_document_settings(pdf):
    """ensures that the file says it is tagged, in which language, and shows its title."""
    assert bool(pdf.Root.MarkInfo.Marked)
    assert str(pdf.Root.Lang) == "en"
    assert bool(pdf.Root.ViewerPreferences.DisplayDocTitle)


def test_figures_have_words_and_a_box(pdf):
    """ensures that each chart has a text alternative and its place on the page."""
    figures = [e for e in _elements(pdf.Root.StructTreeRoot) if e.S == "/Figure"]
    assert len(figures) == 3
    for figure in figures:
        assert len(str(figure.Alt)) > 20
        x0, y0, x1, y1 = (float(v) for v in figure.A.BBox)
        assert x1 - x0 > 200 and y1 - y0 > 60


def test_table_over_pages_stays_one_table():
    """ensures that a table over two pages is one table with one row of titles."""
    rows = 60
    block = Table((Column("Depth"), Column("Reading", "right"), Column("Sign")),
                  tuple((f"d{i}", f"{i}", "x") for i in range(rows)), row_headers=True)
    with _open(Heading(1, "Readings"), block) as pdf:
        assert len(pdf.pages) >= 2
        roles = Counter(str(e.S) for e in _elements(pdf.Root.StructTreeRoot))
        assert roles["/Table"] == 1 and roles["/TR"] == rows + 1
        assert roles["/TH"] == 3 + rows and roles["/TD"] == 2 * rows
        heads = [e for e in _elements(pdf.Root.StructTreeRoot) if e.S == "/TH"]
        assert [str(h.A.Scope) for h in heads[:4]] == ["/Column"] * 3 + ["/Row"]


def test_repeated_titles_are_read_once():
    """ensures that a screen reader meets the column titles of a long table only once."""
    block = Table((Column("Depth"), Column("Reading", "right")),
                  tuple((f"d{i}", f"{i}") for i in range(60)))
    told = _told(render_pdf(model(blocks=(Heading(1, "Readings"), block))))
    assert told.count("Depth") == 1
    with pdfplumber.open(io.BytesIO(render_pdf(model(blocks=(block,))))) as opened:
        assert all("Depth" in page.extract_text() for page in opened.pages)


def test_content_over_pages_stays_one_element():
    """ensures that a paragraph, a list item and a callout parted by pages are not doubled."""
    with _open(
        Heading(1, "Long"), Paragraph(LONG), Bullets((LONG,)),
        Callout(CalloutKind.NOTE, (Paragraph(LONG),)),
    ) as pdf:
        assert len(pdf.pages) >= 4
        roles = Counter(str(e.S) for e in _elements(pdf.Root.StructTreeRoot))
        assert roles["/P"] == 4 and roles["/LI"] == roles["/LBody"] == 1  # status, two, one opening
        parted = [e for e in _elements(pdf.Root.StructTreeRoot)
                  if len({page for page, _ in _pieces(e)}) > 1]
        assert sorted(str(e.S) for e in parted) == ["/LBody", "/P", "/P"]


def test_link_over_a_page_break_stays_one_link():
    """ensures that a link that goes on over the page is one element with areas on both."""
    link = Span(LONG, link="#there")
    with _open(Heading(1, "Long", "there"), Paragraph(("Before. ", link, " After."))) as pdf:
        assert len(pdf.pages) == 2
        links = [e for e in _elements(pdf.Root.StructTreeRoot) if e.S == "/Link"]
        assert len(links) == 1
        assert len({page for page, _ in _pieces(links[0])}) == 2
        assert all(len(page.obj.Annots) > 5 for page in pdf.pages)


def test_reading_order_of_cards(advisory):
    """ensures that what stands side by side is read one after the other, cautions at the end."""
    told = _told(advisory)
    told = told[told.index("Nitrogen and rain"):]
    order = ["For it", "Sheep sorrel", "Against it", "Nodules were pink",
             "Spread 1.5 ton/ac of ag lime", "Check the spreader", "Subsoil the headlands",
             "Lime dust burns"]
    places = [told.index(words) for words in order]
    assert places == sorted(places)


def test_unknown_role_is_refused():
    """ensures that only standard structure types are written, so no role map is needed."""
    with pytest.raises(ValueError, match="not in use"):
        Element("Sidebar")
