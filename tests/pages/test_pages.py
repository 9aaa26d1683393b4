"""The finished pages of the samples and of hard cases have no flaw that the checker knows."""

from __future__ import annotations

import pytest
from pagecheck import SMALLEST, SMALLEST_IN_CHARTS, check, read
from sample_reports import CASES, advice
from stress_cases import LONG, STRESS, UNBROKEN, many_rows, stressed

from loambrief import pipeline
from loambrief.charts.theme import theme
from loambrief.render.pdf import render_pdf
from loambrief.render.styles import look
from loambrief.report.blocks import Paper

EDITIONS = [(name, "us", "letter", "en") for name in CASES]
EDITIONS += [("acid_corn_ohio", "si", "a4", "en"), ("saline_alfalfa_utah", "si", "a4", "es")]


@pytest.mark.parametrize("name, units, paper, language", EDITIONS)
def test_samples(name, units, paper, language):
    """ensures that no page of a sample's two documents has a flaw, on both papers, in both unit
    systems and in Spanish, whose words are longer."""
    made = pipeline.render(advice(name, units, paper, language))
    assert check(made.pdf) == [] and check(made.annex) == []


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
