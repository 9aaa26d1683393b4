"""Every kind of chart, on everyday and on hostile data, at the widths pages use."""

from __future__ import annotations

import io
import time

import pytest
from chart_samples import EVERYDAY, HOSTILE, weeds
from pypdf import PdfReader

from loambrief.charts import KINDS, broken, build, figure_size, fitted, least_height
from loambrief.charts.theme import theme
from loambrief.charts.weeds import Hint, HintSign, WeedMark

CASES = [pytest.param(make(), id=name) for name, make in EVERYDAY.items()]
CASES += [pytest.param(spec, id=f"{name}-hostile-{n}")
          for name, make in HOSTILE.items() for n, spec in enumerate(make())]


def test_every_kind_has_samples():
    """ensures that no kind of chart escapes the checks below."""
    assert {type(make()) for make in EVERYDAY.values()} == set(KINDS)
    assert {type(make()[0]) for make in HOSTILE.values()} == set(KINDS)


@pytest.mark.parametrize("width", [504.0, 245.0, 200.0])
@pytest.mark.parametrize("spec", CASES)
def test_layout(record_once, spec, width):
    """ensures that nothing lies outside the chart, no two labels touch, no type is tiny."""
    drawn, _, height = record_once(spec, width)
    assert drawn.texts and drawn.paths
    for text in drawn.texts:
        assert text.size >= theme().smallest, text.text
        assert text.x0 >= -0.5 and text.x1 <= width + 0.5, text
        assert text.y0 >= -0.5 and text.y1 <= height + 0.5, text
    for x0, y0, x1, y1 in drawn.paths:
        assert x0 >= -1 and x1 <= width + 1 and y0 >= -1 and y1 <= height + 1
    assert drawn.touching(0.4) == []


def test_a_row_of_weeds_starts_at_the_edge_and_holds_its_names(record):
    """ensures that what weeds hint at stands at the left edge, and that a row is as high as
    the longest of its texts: the next one begins below (own rule)."""
    many = tuple(WeedMark(f"a long name of weed {n}", 1) for n in range(40))
    hints = (Hint("First", many, HintSign.AGREES, "Agrees", "pH 5."),
             Hint("Second", many[:1], HintSign.AGREES, "Agrees", "pH 5."))
    drawn, _, _ = record(weeds(hints=hints))
    first, second = (next(t for t in drawn.texts if t.text == h.label) for h in hints)
    assert first.x0 == second.x0 == 0
    last = [t for t in drawn.texts if "weed 39" in t.text]
    assert len(last) == 1 and 0 < last[0].y0 - second.y1 < 3 * second.size


@pytest.mark.parametrize("spec", CASES)
def test_title_and_note_are_whole(record_once, spec):
    """ensures that wrapping loses no word of title, subtitle and note."""
    drawn, _, _ = record_once(spec, 245.0)
    printed = "".join(t.text for t in drawn.texts).replace(" ", "")
    for text in (spec.title, spec.subtitle, spec.note):
        assert text.replace(" ", "") in printed


@pytest.mark.parametrize("name", EVERYDAY)
def test_text_is_text(pdf, name):
    """ensures that a PDF reader finds the words of the chart."""
    spec = EVERYDAY[name]()
    found = PdfReader(io.BytesIO(pdf(spec))).pages[0].extract_text()
    assert spec.title in " ".join(found.split())
    assert spec.note in " ".join(found.split())


def test_same_bytes_twice(pdf):
    """ensures that drawing is deterministic, from fresh drawings as well as kept ones."""
    specs = [make() for make in EVERYDAY.values()]
    first = pdf(*specs)
    assert pdf(*specs) == first
    build.cache_clear()
    assert pdf(*specs) == first


def test_vector_and_opaque(pdf):
    """ensures that a page of charts holds no picture, no soft mask and no transparency."""
    reader = PdfReader(io.BytesIO(pdf(*(make() for make in EVERYDAY.values()))))
    for page in reader.pages:
        assert list(page.images) == []
        resources = page["/Resources"]
        assert "/XObject" not in resources
        for state in resources.get("/ExtGState", {}).values():
            assert state.get_object().get("/ca", 1) == 1
            assert state.get_object().get("/CA", 1) == 1
        assert "/SMask" not in str(resources)


@pytest.mark.parametrize("width", [504.0, 245.0])
@pytest.mark.parametrize("spec", CASES)
def test_fitted(spec, width):
    """ensures that a chart too high for a page comes in parts that fit and lose no row."""
    parts = fitted(spec, width, 640.0)
    assert all(figure_size(part, width)[1] <= 640 for part in parts)
    if len(parts) == 1:
        assert parts == (spec,)
    else:
        assert len({part.title for part in parts}) == len(parts)


@pytest.mark.parametrize("name", EVERYDAY)
def test_broken(name):
    """ensures that a chart of items is parted where a page ends, none lost, as many as have room
    first, and never below the least height it names; a chart without items stays whole."""
    spec = EVERYDAY[name]()
    whole, least = figure_size(spec, 245.0)[1], least_height(spec, 245.0)
    assert broken(spec, 245.0, least - 1) == ()
    parts = broken(spec, 245.0, whole - 1)
    if spec.items() < 2:
        assert parts == () and least == whole
    elif parts:
        assert figure_size(parts[0], 245.0)[1] < whole and parts[0].title != parts[1].title
        assert sum(part.items() for part in parts) == spec.items()
        assert broken(spec, 245.0, least) and least < whole


def test_fitted_budget_adds_up(record):
    """ensures that the running total goes on from one part of a split chart to the next."""
    spec = HOSTILE["budget"]()[3]
    last = fitted(spec, 504.0, 300.0)[-1]
    drawn, _, _ = record(last)
    assert "$400" in [t.text for t in drawn.texts]  # 40 steps of $10


@pytest.mark.parametrize("name", EVERYDAY)
def test_quick(record, name):
    """ensures that a warm chart takes about as long as planned (20 ms, with room for slow CI).

    Time of the processor, so that a busy machine changes little.
    """
    spec = EVERYDAY[name]()
    record(spec)

    def spend():
        build.cache_clear()
        start = time.process_time()
        record(spec)
        return time.process_time() - start

    assert any(spend() < 0.25 for _ in range(4))


def test_refusals():
    """ensures that a chart without data or without room is refused."""
    spec = EVERYDAY["sap"](rows=())
    with pytest.raises(ValueError, match="no data"):
        build(spec, 504.0)
    with pytest.raises(ValueError, match="too narrow"):
        build(EVERYDAY["sap"](), 120.0)
