"""Charts for the screen say and draw what charts on paper do."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import pytest
from chart_samples import EVERYDAY, HOSTILE

from loambrief.charts import svg_chart
from loambrief.charts.svg import number

CASES = [pytest.param(make(), id=name) for name, make in EVERYDAY.items()]
CASES += [pytest.param(make()[0], id=f"{name}-hostile") for name, make in HOSTILE.items()]


@pytest.mark.parametrize("spec", CASES)
def test_same_words_at_the_same_places(record, spec):
    """ensures that the SVG holds each line of text of the paper chart, as text, in place."""
    drawn, width, height = record(spec, 250.0)
    svg = svg_chart(spec, 250.0, "x")
    assert svg.get("viewBox") == f"0 0 {number(width)} {number(height)}"
    texts = list(svg.iter("text"))
    assert [t.text for t in texts] == [t.text for t in drawn.texts if t.text.strip()]
    for line, box in zip(texts, [t for t in drawn.texts if t.text.strip()], strict=True):
        assert float(line.get("font-size")) == pytest.approx(box.size, abs=0.01)
        if not line.get("transform"):
            assert float(line.get("x")) == pytest.approx(box.x0, abs=0.01)
            assert float(line.get("textLength")) == pytest.approx(box.x1 - box.x0, abs=0.02)


@pytest.mark.parametrize("spec", CASES)
def test_named_for_a_screen_reader(spec):
    """ensures that the drawing is an image with the finding as title and the numbers as
    description, and that its ids cannot meet those of another chart."""
    svg = svg_chart(spec, 250.0, "chart7")
    assert svg.get("role") == "img"
    named = {e.get("id"): e.text for e in svg.iter() if e.get("id")}
    title, described = svg.get("aria-labelledby").split()
    assert named[title] == spec.title and named[described] == spec.alt
    assert all(name.startswith("chart7-") for name in named)
    used = re.findall(r"url\(#([^)]+)\)", ET.tostring(svg, encoding="unicode"))
    assert set(used) <= set(named)


def test_nothing_is_fetched_or_run():
    """ensures that a drawing holds shapes and text only."""
    for make in EVERYDAY.values():
        tags = {e.tag for e in svg_chart(make(), 300.0, "x").iter()}
        assert tags <= {"svg", "title", "desc", "path", "circle", "text", "clipPath"}
