"""How long the two documents are: a limit for the advisory, no page nearly empty.

The limits are our own rule: an advisory that is acted on has five pages for one zone, the
signatures included, and one more for each further zone. Where the case asks for a plan of
several years and for check strips, these take one more.
"""

from __future__ import annotations

import re
from dataclasses import replace
from unittest.mock import patch

import pytest
from pagecheck import Page, Piece, blank, read, used
from pdf_text import page_texts
from sample_reports import CASES, ROOT, report, written

from loambrief.errors import CaseProblems
from loambrief.render.flowables import Chart, TaggedParagraph
from loambrief.render.pdf import paginated, render_pdf
from loambrief.render.styles import look
from loambrief.report.annex import advisory_alone, annex_alone
from loambrief.report.blocks import Paper, plain
from loambrief.topics.judge import judged_places

FIELDS = {**CASES, **{p.stem: p for p in ROOT.glob("sample_inputs/three_fields_indiana/*.yaml")},
          **{p.parent.name: p for p in sorted(ROOT.glob("tests/scenarios/*/case.yaml"))}}
ONE_ZONE, MORE = 5, 1
"""Pages for one zone, and for each further one."""
LEAST_FULL, MOST_BLANK = 1 / 3, 1 / 4
"""Share of a page's height that is used at least, and of a sheet that is blank at most."""


def limit(case) -> int:
    """Most pages of a case's advisory."""
    zones = len({place.id for place in judged_places(case)})
    asked = case.tenure is not None and case.strips is not None
    return ONE_ZONE + MORE * (max(zones - 1, 0) + asked)


def laid_out(model) -> list[Page]:
    """The pages of a document as the program lays them out: the lines of its texts and its
    charts, each where it would be drawn. To draw them and to read them back takes three times as
    long; that both say the same is a test of its own."""
    page = look(model.paper)
    pages: list[Page] = []

    def put(canvas, box, text=""):
        while len(pages) <= canvas.page_count():
            pages.append(Page(len(pages) + 1, page.width, page.height))
        pages[-1].pieces.append(Piece("text", box, "P", text))

    def lines(self, canvas, x, base, again):
        for index, line in enumerate(self.lines):
            at, size = x + self._offset(line, index), self.style.fontSize
            low = base - index * self.style.leading
            if line.runs and not again and self.tag.element is not None:
                put(canvas, (at, low - 0.2 * size, at + line.width, low + 0.7 * size),
                    "".join(run.text for run in line.runs))

    def chart(self, canvas, x, y):
        put(canvas, (x, y, x + self.width, y + self.height))

    with (patch.object(TaggedParagraph, "_draw_lines", lines),
          patch.object(Chart, "drawOn", chart)):
        count = paginated(model).page_count()
    assert len(pages) == count
    return pages


@pytest.mark.parametrize("name", ["acid_corn_ohio", "vegetables_new_jersey"])
def test_pages_are_drawn_as_they_are_laid_out(name):
    """ensures that what the next test looks at is what is on the pages."""
    first = advisory_alone(report(name))
    for model in (first, annex_alone(report(name), "Annex")):
        data, planned = render_pdf(model), laid_out(model)
        drawn = read(data, words=False, whole=False)
        for page, plan in zip(drawn, planned, strict=True):
            last = page is drawn[-1]
            assert blank(page, last) < blank(plan, last) + 0.01
            page.pieces = page.texts  # a path reaches as far as it would if nothing cut it
            assert used(page) == pytest.approx(used(plan), abs=0.01)
        words = letters(page_texts(data, 1)[0])
        assert all(letters(piece.text) in words for piece in planned[0].pieces)


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("name", FIELDS)
def test_documents_are_short_and_their_pages_full(name, language):
    """ensures that the advisory of every sample and scenario keeps to the limit of its zones, on
    both papers and in both languages, that all of page 1 is on page 1, cautions included, and
    that neither it nor the annex has a page that is nearly empty: each uses more than a third,
    the last and the signatures' one too, and none leaves a quarter of a sheet blank, nor half of
    its left or right half; page 1 of a field of which little is known may."""
    try:
        advice, model = written(FIELDS[name], language)
    except CaseProblems:
        return  # a scenario about a case that is refused
    case, first = advice.loaded.case, advisory_alone(model)
    parts = {"advisory": laid_out(first), "annex": laid_out(annex_alone(model, "Annex"))}
    other = replace(first, paper=next(p for p in Paper if p is not Paper(case.case.paper)))
    assert max(len(parts["advisory"]), len(laid_out(other))) <= limit(case)

    page = "".join(piece.text for piece in parts["advisory"][0].pieces)
    assert letters(plain(first.blocks[0].notes[-1])[-40:]) in letters(page)
    for kind, (*before, last) in parts.items():
        for page in before:
            assert used(page) > LEAST_FULL, (kind, page.number)
            first = kind == "advisory" and page.number == 1
            assert first or blank(page, False) < MOST_BLANK, (kind, page.number)
        assert used(last) > LEAST_FULL or not before, (kind, "last")
        assert blank(last, True) < MOST_BLANK, (kind, "last")


def letters(text):
    """A text without spaces and the hyphens of broken words."""
    return re.sub(r"[\s\u00ad-]", "", text)
