"""Where things land: no orphans, one first page, what belongs together on one page."""

from __future__ import annotations

import dataclasses
import io

import pdfplumber
import pytest
from render_figures import CONE, SAP
from render_samples import SUMMARY, model
from reportlab.lib.colors import black

from loambrief.charts.fonts import REGULAR, register_fonts
from loambrief.findings.model import Status
from loambrief.render.lines import Piece, break_lines
from loambrief.render.pdf import render_pdf
from loambrief.render.styles import look
from loambrief.report.blocks import (
    Beside,
    Bullets,
    Callout,
    CalloutKind,
    Column,
    Figure,
    FigureRow,
    Heading,
    KeepTogether,
    PageBreak,
    Paper,
    Paragraph,
    Table,
)
from loambrief.report.parts import (
    ActionCard,
    EvidenceLine,
    FindingBlock,
    FirstAction,
    LimitLine,
)

ANCHORS = tuple(Paragraph("x", anchor=a) for a in (
    "finding-ph", "finding-pan", "finding-k", "action-1", "action-2", "action-3"))
FOLLOWERS = {
    "paragraph": Paragraph("FOLLOWS " + "and goes on and on " * 40),
    "table": Table((Column("FOLLOWS"), Column("x")), tuple((f"r{i}", "1") for i in range(40))),
    "small table": Table((Column("a"), Column("x")), (("1", "FOLLOWS"),) * 4, caption="Caption"),
    "list": Bullets(("FOLLOWS this one", "and this") * 4),
    "callout": Callout(CalloutKind.NOTE, (Paragraph("FOLLOWS"), Paragraph("more " * 300))),
    "finding": FindingBlock("Finding title", Status.WATCH, "FOLLOWS", body=("text " * 900,)),
    "action": ActionCard(1, "Action title", rate="FOLLOWS", how=("step " * 40,) * 30),
    "heading": Heading(2, "FOLLOWS"),
    "figure": Figure(CONE),
}


@pytest.mark.parametrize("name", FOLLOWERS)
def test_no_heading_is_left_alone(name, pages_of):
    """ensures that a heading stands on the page of what it announces, wherever it falls."""
    for filler in range(28, 38):
        texts = pages_of(Heading(1, "Start"), *(Paragraph(f"line {i}") for i in range(filler)),
                         Heading(1, "HEADING"), FOLLOWERS[name], Paragraph("end"))
        page = next(text for text in texts if "HEADING" in text)
        if name == "figure":
            assert CONE.title in page
        else:
            assert "FOLLOWS" in page, filler


def test_a_line_below_a_heading_is_not_left_with_it_alone(pages_of):
    """ensures that a heading with one line of pointers stands on the page of what follows."""
    for filler in range(26, 38):
        texts = pages_of(Heading(1, "Start"), *(Paragraph(f"line {i}") for i in range(filler)),
                         Heading(1, "HEADING"), Paragraph("See the chart"),
                         FindingBlock("Finding title", Status.WATCH, "FOLLOWS",
                                      body=("text " * 90,)))
        page = next(text for text in texts if "HEADING" in text)
        assert "FOLLOWS" in page, filler


def test_a_sentence_below_a_heading_stays_with_the_tables(pages_of):
    """ensures that a heading and what introduces tables side by side stand on their page."""
    side = (Heading(3, "FOLLOWS"), Paragraph("sampled in autumn, by a laboratory " * 3),
            Table((Column("a"), Column("x")), (("r", "1"),) * 12))
    for filler in range(26, 46):
        texts = pages_of(Heading(1, "Start"), *(Paragraph(f"line {i}") for i in range(filler)),
                         Heading(2, "HEADING"), Paragraph("Values are given as they were typed, "
                                                          "with method and depth."),
                         Beside(side, side), Paragraph("end"))
        page = next(text for text in texts if "HEADING" in text)
        assert "FOLLOWS" in page, filler


@pytest.mark.parametrize("paper", list(Paper))
def test_full_summary_is_one_page(paper, pages_of):
    """ensures that five limits, five actions with cautions and four warnings fit on page 1."""
    caution = "Call the line locating service before any shank goes into the ground."
    full = dataclasses.replace(
        SUMMARY,
        message=f"{SUMMARY.message} Nothing else on this page is urgent.",
        limits=(*SUMMARY.limits, LimitLine("Water leaves late.", "Two days after 1 in of rain."),
                LimitLine("Straw ties nitrogen up.", "C:N of the mix is 61. Calculated.")),
        actions=(*(dataclasses.replace(a, caution=a.caution or caution) for a in SUMMARY.actions),
                 FirstAction(4, "Open the outlet", "Own work", "", "2 ac", "", "$0", "by frost",
                             caution),
                 FirstAction(5, "Spread nitrogen on straw", "Ammonium sulfate 21-0-0-24S",
                             "285 lb/ac", "38 ac", "5.4 ton", "$1,140", "at tillage", caution)),
        avoid=(*SUMMARY.avoid, "A second ripping: the first has not been measured yet."),
    )
    texts = pages_of(full, Heading(1, "SECOND"), *ANCHORS, paper=paper)
    assert len(texts) == 2
    assert "at tillage" in texts[0] and "Not measured" in texts[0]
    assert "SECOND" in texts[1]


def test_dense_page_keeps_its_type_size():
    """ensures that a page set closer saves space, not type size."""
    for name, style in look().styles.items():
        close = look(dense=True).styles[name]
        assert close.fontSize == style.fontSize
        assert close.leading >= 1.15 * close.fontSize


def test_page_break_makes_no_empty_page(pages_of):
    """ensures that a break on a fresh page, twice or at the end leaves no blank sheet."""
    texts = pages_of(Heading(1, "A"), PageBreak(), PageBreak(), Heading(1, "B", new_page=True),
                     Paragraph("c"), PageBreak())
    assert len(texts) == 2


def test_kept_blocks_share_a_page(pages_of):
    """ensures that blocks kept together are, as long as one page can hold them."""
    for filler in range(24, 38):
        texts = pages_of(*(Paragraph(f"line {i}") for i in range(filler)),
                         KeepTogether((Paragraph("FIRST"), Bullets(("b",) * 6), Paragraph("LAST"))))
        assert any("FIRST" in t and "LAST" in t for t in texts)


def test_short_finding_is_not_parted(pages_of):
    """ensures that a short finding with its evidence stays on one page."""
    block = FindingBlock("TITLE", Status.LIMITING, "limits", "high", "measured", reading="pH 5",
                         support=(EvidenceLine("one"),), against=(EvidenceLine("LAST"),))
    for filler in range(24, 38):
        texts = pages_of(Heading(1, "S"), *(Paragraph(f"line {i}") for i in range(filler)), block)
        assert any("TITLE" in t and "LAST" in t for t in texts)


def _words(*blocks, **changes):
    with pdfplumber.open(io.BytesIO(render_pdf(model(blocks=blocks, **changes)))) as pages:
        return pages.pages[0].extract_words()


def _at(words, text):
    return next(w for w in words if w["text"] == text)


def test_an_action_is_a_line_of_figures_and_what_belongs_to_it():
    """ensures that rate and money stand right of an action's title, the rest below it."""
    words = _words(Heading(1, "P"), ActionCard(1, "TITLE", source="SOURCE", rate="RATE",
                                               money="MONEY", cautions="C1"))
    title = _at(words, "TITLE")
    for figure in ("RATE", "MONEY"):
        assert _at(words, figure)["x0"] > title["x1"] + 50
        assert abs(_at(words, figure)["top"] - title["top"]) < 4
    assert _at(words, "C1.")["top"] > title["bottom"]


def test_half_figures_stand_level():
    """ensures that two half-width charts have their tops at one height, side by side."""
    words = _words(Heading(1, "P"), FigureRow((Figure(CONE, half=True), Figure(SAP, half=True))))
    left, right = _at(words, CONE.title.split()[1]), _at(words, SAP.title.split()[0])
    assert abs(left["top"] - right["top"]) < 1 and right["x0"] > left["x1"]


def test_numbers_align_at_the_right():
    """ensures that a number column lines up at its last digit."""
    words = _words(Table((Column("a"), Column("n", "right"), Column("z")),
                         (("x", "1", "p"), ("x", "22.5", "p"), ("x", "1,234", "p"))))
    assert len({round(_at(words, text)["x1"], 1) for text in ("1", "22.5", "1,234")}) == 1


def test_tall_figure_is_made_smaller(pages_of, monkeypatch):
    """ensures that a chart higher than the page is shrunk as a whole, not cut or refused."""
    from loambrief.render import figures

    drawn = []
    monkeypatch.setattr(figures, "figure_size", lambda spec, width: (width, 2000.0))
    monkeypatch.setattr(figures, "draw_chart", lambda canvas, spec, x, y, width: drawn.append(
        canvas._currentMatrix))
    assert len(pages_of(Heading(1, "A"), Figure(CONE))) == 1
    assert 0.2 < drawn[0][0] < 0.35 and drawn[0][0] == drawn[0][3]


def test_large_print():
    """ensures that the large-print scale enlarges the running text by as much."""
    def size(scale):
        with pdfplumber.open(io.BytesIO(render_pdf(model(
                blocks=(Paragraph("Xylem"),), scale=scale)))) as pages:
            return next(c["size"] for c in pages.pages[0].chars if c["text"] == "X")

    assert size(1.5) == pytest.approx(1.5 * size(1.0))


@pytest.mark.parametrize("word, lines", [
    ("ammonium-acetate", ["ammonium-", "acetate"]),
    ("https://a.example/bcdefghijkl/", ["https://", "a.example/", "bcdefghijkl/"]),
    ("Donaudampfschiff", ["Donaudampf", "schiff"]),
    ("short", ["short"]),
])
def test_long_words_are_parted_where_a_reader_expects(word, lines):
    """ensures that a word wider than its line is parted after a hyphen or slash if it has one,
    else between letters, and loses nothing."""
    register_fonts()
    made = break_lines([Piece(word, REGULAR, 10, black)], 55, 55)
    printed = ["".join(run.text for run in line.runs) for line in made]
    assert "".join(printed) == word
    assert all(line.width <= 55.01 for line in made)
    assert printed == lines
