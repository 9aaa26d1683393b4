"""The finished pages of the samples and of hard cases have no flaw that the checker knows."""

from __future__ import annotations

from dataclasses import replace

import pytest
from pagecheck import SMALLEST, SMALLEST_IN_CHARTS, check, read
from sample_reports import CASES, advice, rendered, report
from stress_cases import LONG, STRESS, UNBROKEN, many_rows, stressed

from loambrief import pipeline
from loambrief.charts.theme import theme
from loambrief.render.page import status_word
from loambrief.render.pdf import render_pdf
from loambrief.render.styles import look
from loambrief.report.annex import advisory_alone
from loambrief.report.blocks import DocumentStatus, Paper

EDITIONS = [(name, "us", "letter", "en") for name in CASES]
EDITIONS += [("acid_corn_ohio", "si", "a4", "en"), ("saline_alfalfa_utah", "si", "a4", "es")]


@pytest.mark.parametrize("name, units, paper, language", EDITIONS)
def test_samples(name, units, paper, language):
    """ensures that no page of a sample's two documents has a flaw, on both papers, in both unit
    systems and in Spanish, whose words are longer."""
    made = rendered(name, units, paper, language)
    assert check(made.pdf) == [] and check(made.annex) == []


MARKED = [(s, Paper.LETTER) for s in DocumentStatus if s is not DocumentStatus.ISSUED]


@pytest.mark.parametrize("status, paper", [*MARKED, (DocumentStatus.DRAFT, Paper.A4)])
def test_status_covers_nothing(status, paper):
    """ensures that on every page the status stands above and below the text, in type that is
    read from a distance, on bands that touch nothing else that is drawn."""
    model = replace(advisory_alone(report("own_plan_michigan")), status=status, paper=paper)
    for page in read(render_pdf(model, checked=False)):
        marks = [p for p in page.texts if p.text.strip() == status_word(model)]
        assert len(marks) == 2 and all(p.size >= 11 for p in marks)
        bands = [next(p for p in page.pieces if p.kind == "path" and _inside(mark.box, p.box))
                 for mark in marks]
        above, below = sorted((p.box for p in bands), key=lambda box: -box[1])
        others = [p for p in page.pieces if p not in bands and p not in marks]
        assert len(others) > 10
        assert not [p for box in (above, below) for p in others if _meet(box, p.box)]
        content = [p for p in page.content if p not in marks]
        assert all(below[3] < p.box[1] and p.box[3] < above[1] for p in content)


def _inside(inner, outer):
    return (outer[0] <= inner[0] and outer[1] <= inner[1]
            and inner[2] <= outer[2] and inner[3] <= outer[3])


def _meet(one, other):
    return (one[0] < other[2] and other[0] < one[2] and one[1] < other[3]
            and other[1] < one[3])


def test_sheets():
    """ensures that the sheet for the spreader has no flaw, in letters twice as large."""
    (data,) = pipeline.applicator_file(advice("acid_corn_ohio")).values()
    assert check(data) == []


@pytest.mark.parametrize("name", STRESS)
def test_hard_cases(name, tmp_path):
    """ensures that long and unbreakable names, several samples, one of each kind and nothing at
    all make pages without a flaw."""
    data = stressed(name, tmp_path, paper="a4")
    assert check(data) == []
    if name == "long names":
        text = "".join(p.text for page in read(data) for p in page.texts).replace(" ", "")
        for part in (*LONG.split(), UNBROKEN):
            assert part in text or part[:20] in text, part


@pytest.mark.parametrize("paper, count", [(Paper.LETTER, 40), (Paper.A4, 1)])
def test_many_rows(paper, count):
    """ensures that one zone and forty zones fill charts, tables, actions and findings without
    a flaw: charts are split, not shrunk, and table rows stay whole."""
    data = render_pdf(many_rows(count, paper))
    assert check(data) == []
    printed = "".join(p.text for page in read(data) for p in page.texts)
    assert f"zone {count}" in printed.replace("\xa0", " ")


def test_theme_keeps_the_limits():
    """ensures that the theme's own sizes and margins are within what the checker allows."""
    for fine in (False, True):
        page = look(fine=fine)
        assert min(s.fontSize for s in page.styles.values()) >= SMALLEST
        assert page.lengths["margin_side"] >= 50
    assert theme().smallest >= SMALLEST_IN_CHARTS
