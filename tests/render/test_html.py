"""The HTML twin: valid, whole, linked, quiet, and the same as the model."""

from __future__ import annotations

import base64
import copy
import dataclasses
import hashlib
import os
import re
import subprocess
import sys
from functools import cache
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import html5lib
import pytest
from fontTools.ttLib import TTFont
from model_texts import KINDS, headings, inside, links, texts
from render_samples import model
from sample_reports import report

from loambrief import colours as colour_file
from loambrief.charts import ChartSpec
from loambrief.colours import contrast
from loambrief.errors import RenderFault, ResourceMissing
from loambrief.render.flow import MAKERS as ON_PAPER
from loambrief.render.html import POLICY, SHOWN, page_colours, render_html
from loambrief.render.plain import WRITERS
from loambrief.report.blocks import (
    Block,
    Column,
    DocumentStatus,
    Figure,
    Heading,
    Paragraph,
    Span,
    Table,
)

HERE = Path(__file__).parent
SAMPLES = ("acid_corn_ohio", "saline_alfalfa_utah")
NAMES = ("synthetic", *SAMPLES)
SPACE = re.compile(r"[ \t\r\n]+")


@cache
def _read(name):
    """A report model and its page, read by html5lib in strict mode: any fault of the markup
    is an error (parsing rules of the HTML standard, WHATWG)."""
    made = model(figures=True) if name == "synthetic" else report(name)
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    data = render_html(made)
    return made, parser.parse(data), data.decode()


@pytest.fixture(params=NAMES)
def both(request):
    return _read(request.param)


@pytest.fixture
def bare(monkeypatch):
    """Leaves the typeface out, where nothing is said about it, to save time."""
    monkeypatch.setattr("loambrief.render.html.font_faces", lambda text: "")


def _flat(text):
    return SPACE.sub(" ", text).strip()


def _text(element):
    return "".join(element.itertext())


def test_every_kind_of_block_has_a_place():
    """ensures that paper, screen and plain text each know every kind of block an advisory has."""
    assert set(SHOWN) == KINDS
    assert set(WRITERS) == KINDS
    assert set(ON_PAPER) >= KINDS


def test_markup_is_valid(both):
    """ensures that strict parsing finds no fault, one title and one main heading."""
    _, page, _ = both
    assert page.tag == "html"
    assert len(page.findall(".//h1")) == 1 and page.find("head/title").text


def test_no_text_is_lost(both):
    """ensures that every text of every block, numbers included, is on the page as it is."""
    made, page, _ = both
    shown = _flat(_text(page.find("body")).replace("\n", " "))
    joined = shown.replace(" ", "")
    for block in made.blocks:
        for text in texts(block):
            assert SPACE.sub("", text) in joined, text


def test_numbers_are_those_of_the_model(both):
    """ensures that the page holds no number that the model does not."""
    made, page, _ = both
    figures = re.compile(r"\d[\d.,]*\d|\d")
    known = {n for block in made.blocks for t in texts(block) for n in figures.findall(t)}
    known |= {n for spec in _specs(made) for field in dataclasses.fields(spec)
              if isinstance(t := getattr(spec, field.name), str) for n in figures.findall(t)}
    known |= {str(item.rank) for item in inside(made.blocks) if hasattr(item, "rank")}
    known |= set(figures.findall(f"{made.running_head} {made.case_id}"))
    known |= {n for item in inside(made.blocks) for n in figures.findall(getattr(item, "url", ""))}
    body = copy.deepcopy(page.find("body"))
    for svg in body.iter("{http://www.w3.org/2000/svg}svg"):
        svg.clear()  # scale numbers are drawn, not stated
    for part in body.iter():
        for text in (part.text or "", part.tail or ""):
            assert set(figures.findall(text)) <= known


def _specs(made):
    return [item for item in inside(made.blocks) if isinstance(item, ChartSpec)]


def test_headings_are_those_of_the_model(both):
    """ensures that headings come in the model's order and skip no level."""
    made, page, _ = both
    found = [e for e in page.find("body").iter() if re.fullmatch("h[1-6]", str(e.tag))]
    assert [_flat(_text(e)) for e in found] == [_flat(h) for h in headings(made)]
    levels = [int(e.tag[1]) for e in found]
    assert levels[0] == 1
    assert all(b <= a + 1 for a, b in pairwise(levels))


def test_links_lead_where_the_model_says(both):
    """ensures that every link of the model is there and every place it names exists once."""
    made, page, _ = both
    ids = [e.get("id") for e in page.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    places = [e.get("href") for e in page.find("body").iter("a")]
    inner = [link for link in places if link.startswith("#")]
    assert {link[1:] for link in inner} <= set(ids)
    wanted = links(made.blocks)
    main = [e.get("href") for e in page.find("body/main").iter("a")]
    names = {link[1:] for link in main if link.startswith("#")
             and not link.startswith("#doc-figure")}
    assert names == {link[1:] for link in wanted if link.startswith("#")}
    sources = {item.url for item in inside(made.blocks) if getattr(item, "url", "")}
    outer = {link for link in main if not link.startswith("#")}
    assert len(outer) == len(sources | {w for w in wanted if not w.startswith("#")})
    assert all(re.match(r"https?://|mailto:|tel:", link) for link in outer)


@pytest.mark.parametrize("name", SAMPLES)
def test_the_chain_holds(name):
    """ensures that from an action one can follow links to a finding, on to a calculation,
    and to a source."""
    _, page, _ = _read(name)
    parents = {child: parent for parent in page.iter() for child in parent}
    places = {e.get("id"): e for e in page.iter() if e.get("id")}

    def reached(start, kind):
        """Targets of one kind that the part around a place links to."""
        part = places[start]
        while part.tag not in ("section", "li"):
            part = parents[part]
        return {a.get("href")[1:] for a in part.iter("a")
                if a.get("href").startswith(f"#{kind}-")}

    chains = 0
    for action in [i for i in places if i.startswith("a-")]:
        for finding in reached(action, "f"):
            # what was not judged rests on nothing
            assert finding == "f-nutrients.unjudged" or reached(finding, "s") or reached(
                finding, "c"), finding
            chains += any(c in places for c in reached(finding, "c"))
    assert chains


def test_charts_have_their_text(both):
    """ensures that each chart is an image named by its finding, with its text alternative,
    which stands below it for everyone; one that comes twice is drawn once and then linked."""
    made, page, _ = both
    figures = page.findall(".//figure")
    found = _specs(made)
    specs = [spec for n, spec in enumerate(found) if spec not in found[:n]]
    again = [a.get("href")[1:] for a in page.iter("a")
             if a.get("href").startswith("#doc-figure")]
    assert len(again) == len(found) - len(specs)
    assert set(again) <= {f.get("id") for f in figures}
    assert len(figures) == len(specs) > 0
    for figure, spec in zip(figures, specs, strict=True):
        svg = next(e for e in figure if str(e.tag).endswith("svg"))
        assert svg.get("role") == "img"
        named = {e.get("id"): _text(e) for e in svg.iter() if e.get("id")}
        title, described = svg.get("aria-labelledby").split()
        assert named[title] == spec.title and named[described] == spec.alt
        assert _text(figure.find("details/p")) == spec.alt


def test_tables_can_be_heard(both):
    """ensures that column heads have a scope, row names too, and a caption is a caption."""
    made, page, _ = both
    found = page.findall(".//table")
    tables = [item for item in inside(made.blocks) if isinstance(item, Table) and item.rows]
    assert len(found) == len(tables)
    for table, block in zip(found, tables, strict=True):
        heads = table.findall("thead/tr/th")
        assert len(heads) == len(block.columns)
        assert all(h.get("scope") == "col" for h in heads)
        assert (table.find("caption") is not None) == bool(block.caption)
        rows = [r for r in table.findall("tbody/tr") if len(r) > 1]
        if block.row_headers and len(block.columns) > 1:
            assert all(r[0].tag == "th" and r[0].get("scope") == "row" for r in rows)


def test_page_is_quiet(both):
    """ensures that the file fetches nothing, runs nothing and says so to the browser."""
    _, page, text = both
    tags = {str(e.tag).rsplit("}")[-1] for e in page.iter()}
    assert not tags & {"script", "iframe", "object", "embed", "link", "form", "base",
                       "input", "audio", "video", "use", "image", "foreignObject"}
    for element in page.iter():
        assert not any(str(name).startswith("on") for name in element.attrib)
        if "src" in element.attrib:
            assert element.tag == "img" and element.get("src").startswith("data:image/")
            assert element.get("alt")
    style = page.find("head/style").text
    assert "@import" not in style
    assert set(re.findall(r"url\((.{10})", style)) <= {"data:font/"}
    assert f'content="{POLICY}"' in text
    assert "default-src 'none'" in POLICY


def test_page_works_by_keyboard_and_ear(both):
    """ensures the language, a skip link first, zoom left on, and one main part."""
    made, page, text = both
    assert page.get("lang") == made.language
    first = next(page.find("body").iter("a"))
    assert first.get("href") == "#doc-main"
    assert [e.tag for e in page.iter() if e.get("id") == "doc-main"] == ["main"]
    viewport = next(m.get("content") for m in page.iter("meta") if m.get("name") == "viewport")
    assert "maximum-scale" not in viewport and "user-scalable" not in viewport
    assert "prefers-color-scheme:dark" in text and "@media print" in text


def test_status_is_said_once_on_top(bare):
    """ensures that a draft and a withdrawn advisory say so, and an issued one has its number."""
    for status in DocumentStatus:
        text = render_html(model(status=status, number="LB-2026-014", revision="rev. 2")).decode()
        assert ("Draft, not issued" in text) == (status is DocumentStatus.DRAFT)
        assert ("Withdrawn: do not use" in text) == (status is DocumentStatus.WITHDRAWN)
        assert "LB-2026-014 · rev. 2" in text


HOSTILE = ('<script>alert(1)</script>', '"><img src=x onerror=alert(1)>', "</style><b>", "</title>",
           "<!--", "]]>", "&lt;&amp;", "javascript:alert(1)", "\u202eevil\u0007\x00\ufeff",
           "\ud800", "{{ 7*7 }}", "</svg></figure>")


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_names_are_only_text(text, bare):
    """ensures that what a case says never becomes markup, wherever it stands."""
    spec = dataclasses.replace(_specs(model(figures=True))[0], title=text, alt=f"x {text}",
                               note=text)
    made = model(
        blocks=(Heading(1, text), Paragraph(Span(text, link=text)), Figure(spec),
                Table((Column(text),), ((text,),), caption=text)),
        title=text, author=text, subject=text, running_head=text)
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    page = parser.parse(render_html(made))
    tags = {str(e.tag).rsplit("}")[-1] for e in page.iter()}
    assert not tags & {"script", "img"}
    assert len(page.findall(".//h1")) == 1 and len(page.findall(".//figure")) == 1
    kept = re.sub("[\u202e\u0007\x00\ufeff]", "", text).replace("\ud800", "\ufffd")
    assert _text(page.find(".//h1")) == kept
    assert page.find("head/title").text == kept
    assert page.find(".//p/a") is None  # none of these is an address


def test_nothing_empty_is_written(bare):
    """ensures that a document without author and subject gets no empty description."""
    page = html5lib.parse(render_html(model(author="", subject="")), namespaceHTMLElements=False)
    metas = list(page.iter("meta"))
    assert len(metas) > 4 and all(m.get("content") or m.get("charset") for m in metas)
    assert not any(m.get("name") in ("author", "description") for m in metas)


def test_other_scripts_stay(bare):
    """ensures that letters the typeface lacks still reach a device that has them."""
    made = model(blocks=(Heading(1, "田中 Ünsal Łódź"),))
    assert "田中 Ünsal Łódź" in render_html(made).decode()


@pytest.mark.parametrize("blocks, message", [
    ((Heading(1, "a", "x"), Heading(1, "b", "x")), "two blocks"),
    ((Paragraph(Span("a", link="#nowhere")),), "nowhere"),
    ((Heading(2, "a"),), "level 2"),
    ((Block(),), "no way"),
])
def test_faults_are_named(blocks, message):
    """ensures that a document with a fault is refused, as on paper."""
    with pytest.raises(RenderFault, match=message):
        render_html(model(blocks=blocks))


def test_figure_needs_its_text():
    """ensures that a chart without a text alternative is refused."""
    spec = dataclasses.replace(_specs(model(figures=True))[0], alt=" ")
    with pytest.raises(RenderFault, match="text alternative"):
        render_html(model(blocks=(Figure(spec),)))


ONE = """
import hashlib, sys
sys.path.insert(0, {here!r})
from render_samples import model
from loambrief.render.html import render_html
print(hashlib.sha256(render_html(model(figures=True))).hexdigest())
"""


def test_same_model_same_bytes(tmp_path):
    """ensures that process, hash seed, time zone and folder leave no trace in the page."""
    environment = dict(os.environ, PYTHONHASHSEED="4711", TZ="Asia/Tokyo", LC_ALL="C")
    other = subprocess.run([sys.executable, "-c", ONE.format(here=str(HERE))], check=True,
                           cwd=tmp_path, env=environment, capture_output=True, text=True).stdout
    assert hashlib.sha256(render_html(model(figures=True))).hexdigest() == other.strip()


def test_colours_can_be_read_by_day_and_night():
    """ensures 4.5:1 for text and links on every ground they stand on, in both schemes
    (WCAG 2.2, 1.4.3 level AA)."""
    for colours in (*page_colours(), *page_colours("#225544"), *page_colours("#000000")):
        for text, ground in (("ink", "paper"), ("muted", "paper"), ("accent", "paper"),
                             ("paper", "ink"), ("ink", "accent_soft"), ("ink", "faint")):
            assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)


def test_typeface_travels_with_the_page():
    """ensures that each face holds the page's characters, is small, and does not carry the
    name that the Open Font License reserves."""
    text = render_html(model(figures=True)).decode()
    found = re.findall(r"data:font/woff;base64,([^)]+)\)", text)
    assert len(found) == 3
    for data in found:
        raw = base64.b64decode(data)
        assert len(raw) < 20_000
        font = TTFont(BytesIO(raw))
        assert {ord(c) for c in "Okonjo & Dray 0123°₃"} <= set(font.getBestCmap())
        assert not any("Source" in str(n) for n in font["name"].names)


def test_several_fields_share_one_page(bare):
    """ensures that a document of several fields has one main heading, each field one level
    below it, and contents that name the fields."""
    from loambrief.report.links import prefixed

    one = model(figures=False).blocks
    cover = (Heading(1, "Both fields", "client"),)
    made = model(blocks=(*cover, *prefixed(one, "f1-"), *prefixed(one, "f2-")))
    page = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(render_html(made))
    assert [_text(e) for e in page.iter("h1")] == ["Both fields"]
    assert len(page.findall(".//nav//li")) == 3


@pytest.mark.parametrize(("text", "lacking"), [
    ("[night]\nink = '#FFFFFF'\n", "colors"), ("[colors]\nink = '#000000'\n", "night")])
def test_a_theme_without_its_colours_is_named(tmp_path, monkeypatch, text, lacking):
    """ensures that a theme that lacks a part is told as such, not as a fault of the program."""
    (tmp_path / "theme.toml").write_text(text, encoding="utf-8")
    monkeypatch.setattr(colour_file, "templates_dir", lambda: tmp_path)
    read = colour_file.theme_file.__wrapped__
    monkeypatch.setattr("loambrief.render.html.theme_file", read)
    with pytest.raises(ResourceMissing, match=lacking):
        page_colours()
