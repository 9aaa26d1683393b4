"""The page for a screen says the figures of the paper, section by section."""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Iterator
from difflib import SequenceMatcher
from html.parser import HTMLParser

import pikepdf
import pytest
from pagecheck import read
from sample_reports import pdf, report

from loambrief.render.html import render_html

NUMBER = re.compile(r"\d+(?:[.,]\d+)*")
COUNT = re.compile(r"\d+\.?")
ADDRESS = re.compile(r"https?://\S+")
"""Paper names the site of an address, the screen all of it."""
HEADINGS = ("H1", "H2", "H3")
"""Of sections; inside one, what fills a page better may stand first."""
Sections = list[tuple[str, Counter[str]]]


def numbers(text: str) -> Counter[str]:
    return Counter(NUMBER.findall(ADDRESS.sub("", text)))


def on_paper(data: bytes) -> Sections:
    """Headings of a tagged PDF with the numbers below each, charts left out."""
    texts: dict[tuple[int, int], list[str]] = {}
    for page in read(data):
        for piece in page.texts:
            texts.setdefault((page.number, piece.number), []).append(piece.text)
    found: list[tuple[str, list[str]]] = [("", [])]
    with pikepdf.open(io.BytesIO(data)) as opened:
        pages = {page.obj.objgen: n for n, page in enumerate(opened.pages, 1)}
        for role, page, mcid in _marked(opened.Root.StructTreeRoot, "", None):
            said = " ".join(texts.get((pages[page], mcid), ()))
            if role == "label" and COUNT.fullmatch(said.strip()):
                continue  # a browser counts lists itself
            if role == "heading":
                found.append((said, []))
            elif role == "more":
                found[-1] = (f"{found[-1][0]} {said}", found[-1][1])
            else:
                found[-1][1].append(said)
    return [(_plain(title), numbers(" ".join(said))) for title, said in found]


def _marked(node, role: str, page) -> Iterator[tuple[str, tuple, int]]:
    """Pieces of text in reading order: part of a heading or not, page, number."""
    page = node.get("/Pg").objgen if "/Pg" in node else page
    kind = str(node.get("/S", ""))[1:]
    if kind == "Figure":
        return
    role = "label" if kind == "Lbl" else role
    role = "heading" if kind in HEADINGS else role
    kids = node.get("/K", pikepdf.Array())
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, pikepdf.Dictionary):
            if "/MCID" in kid:
                yield role, (kid.Pg.objgen if "/Pg" in kid else page), int(kid.MCID)
            elif "/S" in kid:
                yield from _marked(kid, "more" if role == "heading" else role, page)
            else:
                continue
        else:
            yield role, page, int(kid)
        role = "more" if role == "heading" else role


class Screen(HTMLParser):
    """Headings of a page with what stands below each, charts left out."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[list[str], list[str]]] = [([], [])]
        self.skipped, self.heading, self.started = 0, False, False
        self.charts: list[str] = []
        self.told = False

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        if tag == "main":
            self.started = True
        if tag in ("figure", "style"):
            self.skipped += 1
        if tag == "desc":
            self.charts.append("")
            self.told = True
        if tag in ("h1", "h2", "h3", "h4", "h5", "h6"):
            self.heading = True
            self.found.append(([], []))
        elif "value" in values:
            self.found[-1][1].append(f" {values['value']} ")

    def handle_endtag(self, tag):
        if tag in ("figure", "style"):
            self.skipped -= 1
        self.told = self.told and tag != "desc"
        if tag in ("h1", "h2", "h3", "h4", "h5", "h6"):
            self.heading = False
        self.found[-1][1].append("\n" if tag in ("p", "dd", "dt", "li", "td", "th") else "")

    def handle_data(self, data):
        if self.told:
            self.charts[-1] += data
        if self.started and not self.skipped:
            self.found[-1][0 if self.heading else 1].append(data)


def on_screen(data: bytes) -> tuple[Sections, list[str]]:
    """Headings of an HTML file with the numbers below each, and what is said of its charts."""
    page = Screen()
    page.feed(data.decode("utf-8"))
    return [(_plain("".join(title)), numbers("".join(said))) for title, said in page.found], [
        _plain(said) for said in page.charts]


def alternatives(data: bytes) -> list[str]:
    """What a tagged PDF says of its figures."""
    with pikepdf.open(io.BytesIO(data)) as opened:
        return [_plain(str(item.Alt)) for item in opened.objects
                if isinstance(item, pikepdf.Dictionary) and item.get("/S") == "/Figure"]


def _plain(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").replace("\u202f", " ").split())


def split(sections: Sections, titles: list[str]) -> list[tuple[str, set[str]]]:
    """The numbers below some of the headings alone, each with those of the headings after it."""
    made: list[tuple[str, set[str]]] = [("", set())]
    for title, found in sections:
        if len(made) <= len(titles) and title == titles[len(made) - 1]:
            made.append((title, set(found)))
        else:
            made[-1][1].update(found, numbers(title))
    return made


@pytest.mark.parametrize("name, language", [
    ("own_plan_michigan", "en"), ("saline_alfalfa_utah", "es"), ("vegetables_new_jersey", "es")])
def test_screen_and_paper_say_the_same_numbers(name, language):
    """ensures that below each heading that both have, the page for a screen says every number of
    the paper and no other, and that of each chart both say the same."""
    data = pdf(name, language=language)
    paper = on_paper(data)
    screen, charts = on_screen(render_html(report(name, language=language)))
    assert len(charts) > 4 and set(charts) <= set(alternatives(data))
    names = [[title for title, _ in sections] for sections in (paper, screen)]
    titles = [names[0][n] for at, _, count in
              SequenceMatcher(None, *names, autojunk=False).get_matching_blocks()
              for n in range(at, at + count) if names[0][n]]
    assert len(titles) > 20
    for (title, printed), (_, shown) in zip(split(paper, titles), split(screen, titles),
                                            strict=True):
        assert printed == shown, title
    assert sum(len(printed) for _, printed in split(paper, titles)) > 500
