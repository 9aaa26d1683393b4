"""The plain-text twin: whole, in order, narrow, and nothing but text."""

from __future__ import annotations

import re

import pytest
from model_texts import headings, inside, texts
from render_samples import model
from sample_reports import CASES, report

from loambrief.charts import ChartSpec
from loambrief.errors import RenderFault
from loambrief.render.plain import WIDTH, render_plain
from loambrief.report.blocks import Block, Column, Heading, Paragraph, Row, RowKind, Table

SPACE = re.compile(r"\s+")


@pytest.fixture(scope="module", params=("synthetic", *CASES))
def both(request):
    made = model(figures=True) if request.param == "synthetic" else report(request.param)
    return made, render_plain(made).decode()


def test_no_text_is_lost(both):
    """ensures that every text of every block and every chart's text alternative is there."""
    made, text = both
    joined = SPACE.sub("", text)
    for block in made.blocks:
        for part in texts(block):
            assert SPACE.sub("", part) in joined, part
    unbarred = SPACE.sub("", text.replace("\n|", "\n"))
    for spec in inside(made.blocks):
        if isinstance(spec, ChartSpec):
            assert SPACE.sub("", spec.alt) in unbarred


def test_headings_are_those_of_the_model(both):
    """ensures that underlined lines are the model's headings, in order."""
    made, text = both
    parts = re.findall(r"(?<=\n\n)((?:[^\n]+\n){1,6})(?:=+|-+|\.+)\n", text)
    found = [SPACE.sub(" ", part).strip() for part in parts]
    assert found == [SPACE.sub(" ", h).strip() for h in headings(made)]


def test_lines_are_narrow(both):
    """ensures that no line is wider than the width unless a single word is."""
    _, text = both
    for line in text.split("\n"):
        assert len(line) <= WIDTH or " " not in line.strip(" -|0123456789.[]:"), line
    assert "\n\n\n\n" not in text and text.endswith("\n") and "\r" not in text


def test_rows_become_records():
    """ensures that each cell stands beside its column's title, with the unit at the number."""
    table = Table((Column("Test"), Column("Result", unit="ppm"), Column("Left out")),
                  (Row(("Group",), RowKind.GROUP), ("P", "34", "")), caption="Results")
    lines = render_plain(model(blocks=(table,))).decode().split("\n")
    assert lines[lines.index("Results"):][:6] == [
        "Results", "", "[Group]", "", "Test: P", "  Result: 34 ppm"]
    assert not any("Left out" in line for line in lines)


def test_controls_are_dropped():
    """ensures that a name cannot move the cursor or turn the direction of writing."""
    text = render_plain(model(blocks=(Heading(1, "a\x1b[2Jb\u202ec\x00"), Paragraph("x\ty")))
                        ).decode()
    assert "a[2Jbc" in text and "x y" in text
    assert not set(text) & set("\x1b\u202e\x00\t")


def test_unknown_block_is_named():
    """ensures that a block nothing can write is refused, not left out."""
    with pytest.raises(RenderFault, match="no way"):
        render_plain(model(blocks=(Block(),)))
