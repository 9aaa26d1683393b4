"""Texts and sizes nobody would type on purpose: printed or marked, never lost, never a crash."""

from __future__ import annotations

import dataclasses
import io
import re
from random import Random

import pikepdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pdf_text import page_texts
from render_samples import SUMMARY, model

from loambrief.charts.fonts import REPLACEMENT, covered, printable
from loambrief.charts.sufficiency import SufficiencySpec
from loambrief.errors import RenderFault
from loambrief.findings.model import Status
from loambrief.render.pdf import render_pdf
from loambrief.report.blocks import (
    Block,
    Bullets,
    Callout,
    CalloutKind,
    Column,
    Fact,
    Figure,
    Heading,
    KeepTogether,
    KeyFacts,
    Numbered,
    Paper,
    Paragraph,
    Row,
    RowKind,
    Span,
    Table,
)
from loambrief.report.parts import (
    ActionCard,
    Calculation,
    CalculationList,
    EvidenceLine,
    FindingBlock,
    FirstAction,
    LimitLine,
    SignOff,
    SourceEntry,
    SourceList,
    Summary,
)

MARKUP = 'A & B <Farms> <img src="http://x.invalid/a.png"/> <b>no</b> &amp; </para> {{ x }} %s'
LONG = "Bramble" * 40
NAME = "Ünsal " * 34
HUGE = "Words that go on and on. " * 400


def _text(data):
    return re.sub(r"\s+", " ", " ".join(page_texts(data)))


def test_markup_is_printed_letter_by_letter():
    """ensures that nothing typed in a case is taken as markup, wherever it is printed."""
    data = render_pdf(model(
        title=MARKUP, author=MARKUP, subject=MARKUP, running_head=MARKUP,
        blocks=(Heading(1, MARKUP), Paragraph(MARKUP), Bullets((MARKUP,)),
                KeyFacts((Fact(MARKUP, MARKUP),), 1),
                Table((Column(MARKUP),), ((MARKUP,),), caption=MARKUP),
                FindingBlock(MARKUP, Status.WATCH, "watch", body=(MARKUP,)),
                ActionCard(1, MARKUP, cautions=MARKUP)),
    ), checked=True)
    text = _text(data)
    assert text.count("A & B <Farms>") >= 10
    assert text.count("&amp;") >= 8 and text.count('<img src="http://x.invalid') >= 6
    with pikepdf.open(io.BytesIO(data)) as pdf:
        assert all("/Annots" not in page.obj for page in pdf.pages)
        assert str(pdf.docinfo.Title) == MARKUP
        with pdf.open_metadata(set_pikepdf_as_editor=False) as xmp:
            assert xmp["dc:title"] == MARKUP


def test_missing_signs_are_marked():
    """ensures that a sign the typeface lacks shows as an open square, others stay."""
    text = _text(render_pdf(model(blocks=(Paragraph("Soil 🌱, 日本, é, µS/cm, ≥ 5 °C, P₂O₅."),))))
    assert f"Soil {REPLACEMENT}, {REPLACEMENT}{REPLACEMENT}, é, µS/cm, ≥ 5 °C, P₂O₅." in text


@given(st.text(st.characters(exclude_categories=())))
@settings(max_examples=300)
def test_printable_is_printable(text):
    """ensures that every text, even broken Unicode, becomes one the typeface covers."""
    made = printable(text)
    assert all(ord(sign) in covered() or sign == "\n" for sign in made)
    assert printable(made) == made


@given(st.lists(st.text(st.characters(exclude_categories=()), max_size=60), max_size=6))
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_text_prints(texts):
    """ensures that no text in any place stops the advisory."""
    texts = [text.replace("#", "") for text in texts]  # no anchors are wanted here
    first = texts[0] if texts else ""
    assert render_pdf(model(blocks=(
        Heading(1, first), Bullets(tuple(texts)), Paragraph(tuple(Span(t, link=t) for t in texts)),
        Table((Column(first), Column("x")), tuple((t, t) for t in texts)),
        SourceList((SourceEntry(first, first, url=first),)),
    )))


@pytest.mark.parametrize("link", ["javascript:alert(1)", "file:///etc/passwd", "data:text/html,x",
                                  "https://example.org/a b", "vbscript:x", " ", "//example.org"])
def test_unsafe_links_are_only_text(link):
    """ensures that a link is made to web and mail addresses alone."""
    data = render_pdf(model(blocks=(Paragraph(Span("here", link=link)),)))
    with pikepdf.open(io.BytesIO(data)) as pdf:
        assert "/Annots" not in pdf.pages[0].obj
    assert "here" in _text(data)


def test_address_is_percent_encoded():
    """ensures that an address with other letters becomes plain ASCII, as RFC 3986 wants."""
    link = "https://example.org/é?a=1&b=(2)%20"
    data = render_pdf(model(blocks=(Paragraph(Span("x", link=link)),)))
    with pikepdf.open(io.BytesIO(data)) as pdf:
        assert str(pdf.pages[0].obj.Annots[0].A.URI) == "https://example.org/%C3%A9?a=1&b=(2)%20"


EVIDENCE = tuple(EvidenceLine(MARKUP * 3, "measured") for _ in range(40))
CASES = {
    "nothing": (),
    "empty blocks": (
        Paragraph(""), Bullets(()), Numbered(("",)), KeyFacts(()), KeepTogether(()),
        Callout(CalloutKind.NOTE, ()), CalculationList(()), SourceList(()),
        Table((Column("a"),), ()), Table((Column("a"),), (), empty="nothing here"),
    ),
    "names": (Heading(1, LONG), Heading(2, NAME), Paragraph(LONG), Bullets((LONG, NAME)),
              KeyFacts((Fact(LONG, NAME), Fact(NAME, LONG)), 3)),
    "cells": (Table((Column("a"), Column("b")), (("x", "y"), ("k", HUGE), ("z", LONG))),),
    "callout": (Callout(CalloutKind.CAUTION, (
        Paragraph(HUGE), Bullets((HUGE,)),
        Table((Column("a"),), tuple((str(i),) for i in range(90))),
        Callout(CalloutKind.NOTE, (Paragraph(HUGE),))), LONG),),
    "together": (KeepTogether((Paragraph(HUGE), Heading(1, "h"), Paragraph(HUGE))),),
    "finding": (FindingBlock(LONG, Status.WATCH, LONG, HUGE, LONG, "a", HUGE, LONG, (HUGE,),
                             EVIDENCE,
                             EVIDENCE[:2], EVIDENCE[:1], (Paragraph(HUGE),)),),
    "action": (ActionCard(12345, LONG, "a", HUGE, LONG, NAME, MARKUP, LONG, LONG, LONG, (HUGE,),
                          (HUGE,), HUGE, (HUGE,), (HUGE, HUGE), LONG),),
    "summary": (dataclasses.replace(
        SUMMARY, title=NAME + LONG, message=HUGE,
        limits=tuple(LimitLine(MARKUP, MARKUP) for _ in range(40)),
        actions=tuple(FirstAction(i, NAME, LONG, NAME, "38 ac", LONG, "$1", NAME, MARKUP)
                      for i in range(15)), avoid=(HUGE,), contact=(LONG,) * 9),),
    "bare summary": (Summary("T", "m"),),
    "sign-off": (SignOff((Fact("a", LONG),), HUGE, NAME, HUGE, "", LONG, LONG),),
    "calculations": (CalculationList(tuple(
        Calculation(NAME, LONG, tuple(Fact(f"in{j}", LONG) for j in range(5)), LONG, NAME,
                    group=NAME)
        for _ in range(12))),),
    "sources": (SourceList(tuple(SourceEntry(f"[{i}]", NAME, "", "https://example.org/" + "a" * 300)
                                 for i in range(20))),),
}


@pytest.mark.parametrize("scale", [1.0, 1.6])
@pytest.mark.parametrize("name", CASES)
def test_no_content_is_too_much(name, scale):
    """ensures that long, empty and huge contents come out as a valid archive file."""
    blocks = CASES[name]
    links = {line.link[1:] for block in blocks if isinstance(block, Summary)
             for line in (*block.limits, *block.actions) if line.link}
    if not any(isinstance(block, Summary | Heading) for block in blocks):
        blocks = (Heading(1, "Start"), *blocks)
    blocks += tuple(Paragraph("x", anchor=anchor) for anchor in sorted(links))
    data = render_pdf(model(blocks=blocks, scale=scale, title=NAME, running_head=LONG),
                      checked=True)
    assert data.startswith(b"%PDF-1.7")


def _random_block(random, depth=2):
    """Any block with any amount of text."""

    def text():
        count = random.choice((1, 1, 2, 5, 12, 40, 150, 600 if random.random() < 0.1 else 3))
        words = random.choices(["soil", "5.4", "unbelievablylongcompoundword", "x"], k=count)
        if random.random() < 0.7:
            return " ".join(words)
        link = random.choice(("", "https://example.org/x", "#start"))
        return (Span(" ".join(words), bold=random.random() < 0.5, link=link), "\nmore")

    def several(most, make=text):
        return tuple(make() for _ in range(random.randrange(most)))

    def evidence():
        return EvidenceLine(text(), "measured", random.choice(("", Span("[1]", link="#start"))))

    def inner():
        return _random_block(random, depth - 1)

    columns = random.randrange(1, 9)
    rows = tuple(
        Row((text(),), RowKind.GROUP) if random.random() < 0.1
        else Row(tuple(str(random.random())[: random.randrange(9)] for _ in range(columns)))
        for _ in range(random.choice((0, 1, 2, 5, 30, 90))))
    aligned = tuple(Column("c", random.choice(("left", "right"))) for _ in range(columns))
    makers = [
        lambda: Paragraph(text()), lambda: Bullets(several(7)), lambda: Numbered(several(7)),
        lambda: Table(aligned, rows, random.choice(("", text())), random.choice(("", text())),
                      random.random() < 0.5, random.random() < 0.1),
        lambda: KeyFacts(several(9, lambda: Fact("label", text())), random.randrange(1, 5)),
    ]
    if depth:
        makers += [
            lambda: Callout(random.choice(list(CalloutKind)), several(4, inner), text()),
            lambda: KeepTogether(several(4, inner)),
            lambda: FindingBlock(text(), random.choice(list(Status)), "status", text(),
                                 "grade", "",
                                 text(), text(), several(3), several(5, evidence),
                                 several(5, evidence), several(3, evidence), several(3, inner)),
            lambda: ActionCard(random.randrange(40), text(), "", text(), text(), "", text(),
                               why=several(4), how=several(4), cautions=text()),
        ]
    return random.choice(makers)()


@pytest.mark.parametrize("seed", range(16))
def test_any_mix_of_blocks_prints(seed):
    """ensures that blocks of any size in any order make a valid archive file."""
    random = Random(seed)
    blocks = tuple(_random_block(random) for _ in range(8))
    scale, paper = random.choice((1.0, 1.3, 1.6)), random.choice(list(Paper))
    assert render_pdf(model(blocks=(Heading(1, "Start", "start"), *blocks), scale=scale,
                            paper=paper), checked=True)


@pytest.mark.parametrize("count", [*range(1, 9), 30, 36, 37, 38, 39, 40, 41, 42, 43, 300])
def test_tables_of_any_length(count):
    """ensures that each row is printed once, in order, under titles repeated on each page."""
    rows = tuple((f"row{i}.", f"{i}") for i in range(count))
    data = render_pdf(model(blocks=(Heading(1, "T"), Table((Column("Head"), Column("N")), rows))))
    pages = page_texts(data)
    found = [int(n) for n in re.findall(r"row(\d+)\.", " ".join(pages))]
    assert found == list(range(count))
    for page in pages:
        on_page = re.findall(r"row(\d+)\.", page)
        assert "Head" in page
        assert len(on_page) >= min(2, count), "a row stands alone"


def test_total_and_group_stay_with_their_rows():
    """ensures that no page ends with a group's name and none starts with the total."""
    for count in range(30, 42):
        rows = [(f"row{i}.", "1") for i in range(count)]
        rows.insert(count - 4, Row(("Group:",), RowKind.GROUP))
        rows.append(Row(("Total:", "9"), RowKind.TOTAL))
        data = render_pdf(model(blocks=(Table((Column("H"), Column("N")), tuple(rows)),)))
        for text in page_texts(data):
            if "Group:" in text:
                assert len(re.findall(r"row\d+\.", text.split("Group:")[1])) >= 2
            if "Total:" in text:
                assert "row" in text.split("Total:")[0]


class Unknown(Block):
    """A block nobody prints."""


@pytest.mark.parametrize("blocks,words", [
    ((Paragraph(Span("x", link="#nowhere")),), "links to nowhere: nowhere"),
    ((Paragraph("x", anchor="a"), Paragraph("y", anchor="a")), "two blocks with the anchor 'a'"),
    ((Heading(1, "x"), Heading(3, "y")), "level 3 after 1"),
    ((Heading(2, "y"),), "level 2 after 0"),
    ((Figure(SufficiencySpec(title="t", words=None, rows=())),), "no text alternative"),
    ((Unknown(),), "no way to print"),
])
def test_faults_of_the_builder_are_named(blocks, words):
    """ensures that a document put together wrongly is refused with the reason."""
    with pytest.raises(RenderFault, match=re.escape(words)):
        render_pdf(model(blocks=blocks))


def test_data_classes_refuse_nonsense():
    """ensures that wrong cells, levels, scales and a missing disclosure are refused early."""
    with pytest.raises(ValueError, match="cells"):
        Table((Column("a"), Column("b")), (("x",),))
    with pytest.raises(ValueError, match="columns"):
        Table((), ())
    with pytest.raises(ValueError, match="level"):
        Heading(4, "x")
    with pytest.raises(ValueError, match="alignment"):
        Column("a", "middle")
    with pytest.raises(ValueError, match="scale"):
        model(scale=2.0)
    with pytest.raises(ValueError, match="disclosure"):
        SignOff((), "s", "", "a")
