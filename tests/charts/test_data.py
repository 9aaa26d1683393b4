"""Marks lie at their data: what stands on the axes, in the units of the case."""

from __future__ import annotations

import ast
import copy
import datetime as dt
import io
import pickle
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import pytest
from chart_samples import (
    EVERYDAY,
    WORDS,
    budget,
    carbon_nitrogen,
    cations,
    compare,
    layers,
    penetration,
    ranges,
    salinity,
    sap,
    season,
    sketch_map,
    sufficiency,
    tally,
    trend,
    weeds,
)
from matplotlib.colors import to_hex
from pypdf import PdfReader
from reportlab.pdfgen.canvas import Canvas

import loambrief.charts
from loambrief.charts import (
    KINDS,
    ChartSpec,
    any_number,
    axes_chart,
    draw_chart,
    fitted,
    svg_chart,
)
from loambrief.charts.compare import CompareColumn
from loambrief.charts.layers import LayerMeasure, Slab
from loambrief.charts.measure import MIDDLE
from loambrief.charts.model import Threshold
from loambrief.charts.penetration import Profile
from loambrief.charts.sufficiency import LevelSide, SufficiencyRow
from loambrief.charts.theme import theme
from loambrief.charts.trend import TrendPanel, TrendPoint
from loambrief.report.chart_text import chart_words
from loambrief.report.text import Writer

DAY = dt.date


def marks(ax, shape=None):
    """(x, y) of all marks on an axes, or of those of one shape."""
    return [(float(x), float(y)) for line in ax.lines
            if line.get_marker() not in ("None", None, "") and shape in (None, line.get_marker())
            for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)]


def spans(ax, colour=None, filled=True):
    """Extents (x0, x1) of the shapes drawn in data of an axes, left to right, without repeats."""
    found = set()
    for patch in ax.patches:
        face = to_hex(patch.get_facecolor()).upper()
        if patch.get_data_transform() is not ax.transData:
            continue  # patterns and what lies behind words, in points
        if patch.get_fill() is filled and colour in (None, face):
            box = patch.get_path().get_extents()
            found.add((round(box.x0, 6), round(box.x1, 6)))
    return sorted(found)


def verticals(ax, dash):
    """x of the lines of one dash pattern that run straight down."""
    found = []
    for patch in ax.patches:
        _, pattern = patch.get_linestyle() if isinstance(patch.get_linestyle(), tuple) else (0, ())
        xs = {round(float(x), 9) for x, _ in patch.get_path().vertices}
        if not patch.get_fill() and tuple(pattern or ()) == dash and len(xs) == 1:
            found += xs
    return found


def test_penetration(panels):
    """ensures that readings, medians and thresholds lie at their pressure and depth, depth
    downward."""
    spec = penetration(depths=(3.0, 6.0), thresholds=(
        Threshold(300.0, "few roots"), Threshold(200.0, "air", practice=True)), profiles=(
            Profile("a", (100.0, 310.0)), Profile("b", (140.0, None), stopped=True)))
    (ax,) = panels(spec)
    small, median = [m for m in ax.lines if m.get_marker() == "o"]
    assert sorted(zip(small.get_xdata(), small.get_ydata(), strict=True)) == [
        (100.0, 3.0), (140.0, 3.0), (310.0, 6.0)]
    assert list(median.get_xdata()) == [120.0, 310.0] and list(median.get_ydata()) == [3.0, 6.0]
    top, bottom = ax.get_ylim()[::-1]
    assert (top, bottom) == (0.0, pytest.approx(6.36)) and ax.get_xlim()[0] == 0.0
    assert verticals(ax, theme().dash) == [300.0] and verticals(ax, theme().dot) == [200.0]
    ((stop_x, stop_y),) = marks(ax, "x")
    assert stop_x == 140.0 and 3.0 < stop_y < 6.0


def test_layers(panels):
    """ensures that bars start at zero and end at the value, from the top to the bottom of their
    layer, that a scale which does not start at zero gets edges, and that targets stand."""
    bars, edges = panels(layers(measures=(
        LayerMeasure("Ca", "ppm", (Slab(0, 2, 930.0), Slab(2, 6, 1305.0, calculated=True)), 0,
                     target=1200.0, target_label="target"),
        LayerMeasure("pH", "", (Slab(0, 2, 5.1), Slab(2, 6, 5.9)), 1, low=4.5, high=7.5))))
    assert spans(bars)[0][0] == 0.0 and {s[1] for s in spans(bars)} == {930.0, 1305.0}
    assert verticals(bars, theme().dash) == [1200.0]
    depths = sorted({(round(b.y0, 3), round(b.y1, 3)) for b in (
        p.get_path().get_extents() for p in bars.patches if p.get_fill())})
    assert depths[0] == (0.0, 2.0) and depths[-1][1] == 6.0 and depths[-1][0] > 2.0
    assert edges.get_xlim() == (4.5, 7.5)
    assert [(a + b) / 2 for a, b in spans(edges)] == pytest.approx([5.1, 5.9])


def test_sap(panels):
    """ensures that readings, means and interval ends lie at their Brix; the crop's mark differs."""
    spec = sap()
    (ax,) = panels(spec)
    assert sorted(x for x, _ in marks(ax)) == sorted(
        [v for r in spec.rows for v in r.replicates] + [r.mean for r in spec.rows if r.mean])
    means = {r.mean for r in spec.rows if not r.is_crop}
    assert {x for x, _ in marks(ax, "s")} == means
    assert {x.value for x in spec.thresholds} == {
        *verticals(ax, theme().dash), *verticals(ax, theme().dot)}
    bars = {tuple(line.get_xdata()) for line in ax.lines if line.get_marker() == "None"}
    assert bars == {(r.low, r.high) for r in spec.rows if r.low is not None}


def test_cations(panels):
    """ensures that shares follow each other without gap on a scale of a whole."""
    spec = cations()
    for ax in panels(spec):
        assert ax.get_xlim() == (0.0, pytest.approx(100.0, abs=1.0))
    (ax, *_) = panels(replace(spec, bars=spec.bars[:1]))
    known = [s.percent for s in spec.bars[0].shares]
    found = spans(ax)
    assert [b - a for a, b in found] == pytest.approx(known)
    assert all(a[1] == pytest.approx(b[0]) for a, b in pairwise(found))


def test_salinity(panels):
    """ensures that samples lie at their two values, estimates hollow; that one whose sodium was
    not measured is not drawn; that limits and the crop's threshold stand where they are."""
    spec = salinity()
    (ax,) = panels(spec)
    whole = {(p.ece, p.sodium) for p in spec.points if p.sodium is not None}
    assert sorted(marks(ax, "o")) == [pytest.approx(p) for p in sorted(whole)]
    assert any(p.sodium is None for p in spec.points) and not marks(ax, "^")
    hollow = {line.get_marker() for line in ax.lines
              if to_hex(line.get_markerfacecolor()).upper() == theme().paper}
    assert hollow == {"o"} and any(p.estimated for p in spec.points)
    assert verticals(ax, theme().dash) == [spec.crop.value]
    assert spans(ax, theme().faint) == [
        (spec.ece_limit, pytest.approx(ax.get_xlim()[1]))]


def test_sufficiency(panels):
    """ensures that marks lie at the ratio to the critical level, on a scale of ratios."""
    rows = (SufficiencyRow("a", 10.0, 20.0, LevelSide.BELOW, "10", "Below", 8.0, 13.0),
            SufficiencyRow("b", 60.0, 20.0, LevelSide.ABOVE, "60", "Above", upper=40.0),
            SufficiencyRow("c", 20.0, 20.0, LevelSide.NEAR, "20", "Near"))
    (ax,) = panels(sufficiency(rows=rows))
    assert ax.get_xscale() == "log" and sorted(x for x, _ in marks(ax)) == [0.5, 1.0, 3.0]
    lines = [tuple(line.get_xdata()) for line in ax.lines if line.get_marker() == "None"]
    assert (0.4, 0.65) in lines
    assert spans(ax, theme().faint) == [(1.0, 2.0)]
    colours = {float(line.get_xdata()[0]): to_hex(line.get_markerfacecolor()).upper()
               for line in ax.lines if line.get_marker() == "o"}
    assert colours == {0.5: theme().accent, 1.0: theme().paper, 3.0: theme().second}


def test_sufficiency_limits(panels, record):
    """ensures that a value under or over the laboratory's limit points outward from it, and that
    one off the scale is an arrow at the edge."""
    rows = tuple(SufficiencyRow(sign, 40.0, 20.0, None, sign, sign, censor=sign) for sign in "<>")
    (ax,) = panels(sufficiency(rows=rows))
    assert marks(ax, "|") and all(x == 2.0 for x, _ in marks(ax, "|"))
    (far,) = panels(sufficiency(rows=(
        SufficiencyRow("a", 2000.0, 20.0, LevelSide.ABOVE, "", ""),)))
    assert marks(far, "o") == []


def test_weeds(panels):
    """ensures that cover adds up from zero, the larger first, with a gap between pieces."""
    spec = weeds()
    (ax,) = panels(replace(spec, hints=spec.hints[:1]))
    covers = sorted((m.cover for m in spec.hints[0].weeds if m.cover), reverse=True)
    found = spans(ax)
    starts = [sum(covers[:n]) for n in range(len(covers))]
    assert [a for a, _ in found] == pytest.approx(starts)
    assert all(0.8 * c < b - a < c for (a, b), c in zip(found, covers, strict=True))


def test_budget(panels):
    """ensures that a bar spans from what is spent before to what is spent after, one that is not
    covered starts there too, and the budget is a line across."""
    spec = budget()
    (ax,) = panels(spec)
    at, expected = 0.0, []
    for step in spec.steps:
        if step.cost:
            expected.append((at, at + step.cost))
        at += step.cost if step.included and step.cost else 0.0
    assert set(spans(ax)) == set(expected)
    assert spec.budget in verticals(ax, ())


def test_carbon_nitrogen(panels):
    """ensures that marks lie at the ratio and lines reach to them from the turning point."""
    spec = carbon_nitrogen()
    (ax,) = panels(spec)
    ratios = {r.ratio for r in spec.rows if r.ratio}
    assert ax.get_xscale() == "log" and {x for x, _ in marks(ax)} == ratios
    assert {x for x, _ in marks(ax, "D")} == {r.ratio for r in spec.rows if r.mix}
    reach = {tuple(line.get_xdata()) for line in ax.lines if line.get_marker() == "None"}
    assert reach == {(spec.turning.value, r) for r in ratios}


def test_season(panels):
    """ensures that bars run from the first to the last day; an open end reaches the scale's."""
    spec = season()
    (ax,) = panels(spec)
    found = spans(ax)
    for bar in spec.bars:
        if bar.start and bar.end:
            days = (bar.end - bar.start).days
            assert any(a == pytest.approx(bar.start.toordinal(), abs=2 if days < 9 else 1e-3)
                       and b == pytest.approx(bar.end.toordinal(), abs=2 if days < 9 else 1e-3)
                       for a, b in found), bar
        elif bar.start:
            assert any(a == pytest.approx(bar.start.toordinal(), abs=1e-3)
                       and b == pytest.approx(ax.get_xlim()[1], abs=1e-3) for a, b in found)
    dated = {m.date.toordinal() for m in spec.marks}
    assert set(verticals(ax, theme().dash)) == dated
    assert verticals(ax, theme().dot) == [spec.today.toordinal()]


def test_trend(panels):
    """ensures that points lie at their day and value, joined within a method only, that the
    change of method stands midway, and that an arrow points where a limit leaves the value."""
    points = (TrendPoint(DAY(2020, 1, 1), 9.0, "A"), TrendPoint(DAY(2021, 1, 1), 11.0, "A", 8, 14),
              TrendPoint(DAY(2022, 1, 1), 20.0, "B"), TrendPoint(DAY(2023, 1, 1), 3.0, "B",
                                                                 censor="<"),
              TrendPoint(DAY(2024, 1, 1), 30.0, "B", censor=">"))
    (ax,) = panels(trend(panels=(TrendPanel("P", "ppm", points, 0, Threshold(15.0, "critical")),)))
    day = [p.date.toordinal() for p in points]
    joined = [list(line.get_xdata()) for line in ax.lines
              if line.get_marker() == "None" and to_hex(line.get_color()).upper() == theme().accent]
    assert [day[0], day[1]] in joined and [day[2]] in joined
    assert not any(day[1] in xs and day[2] in xs for xs in joined)
    own = {(x, y) for x, y in marks(ax) if y in {p.value for p in points}}
    assert own == {(d, p.value) for d, p in zip(day, points, strict=True)}
    (under,), (over,) = marks(ax, "v"), [m for m in marks(ax, "^") if m[0] == day[4]]
    assert under[0] == day[3] and under[1] < 3.0 and over[1] > 30.0
    assert verticals(ax, theme().dot) == [(day[1] + day[2]) / 2]
    low, high = ax.get_ylim()
    assert low <= 3.0 and high >= 30.0


@pytest.mark.parametrize(("width", "columns"), [(316.0, 2), (315.0, 1), (482.0, 3), (481.0, 2)])
def test_trend_panels_to_a_row(panels, width, columns):
    """ensures that as many panels of 150 pt with 16 pt between stand in a row as have room."""
    panel = TrendPanel("P", "ppm", (TrendPoint(DAY(2020, 1, 1), 9.0),))
    found = panels(trend(panels=tuple(replace(panel, label=f"P{n}") for n in range(5))), width)
    tops = sorted({round(ax.bbox.y1, 3) for ax in found}, reverse=True)
    assert sum(round(ax.bbox.y1, 3) == tops[0] for ax in found) == columns
    assert all(ax.bbox.x1 <= width + 1e-6 for ax in found)


@pytest.mark.parametrize("make", ["trend", "compare", "layers"])
def test_signs_stand_beside_their_words(record, make):
    """ensures that the short line before a label lies at the height of the label's letters."""
    reference = Threshold(15.0, "critical level 15")
    spec = {
        "trend": trend(panels=(TrendPanel("P", "ppm", (TrendPoint(DAY(2020, 1, 1), 9.0),), 0,
                                          reference),)),
        "compare": compare(names=("A", "B"), columns=(
            CompareColumn("P", "ppm", (9.0, 20.0), 0, reference),)),
        "layers": layers(measures=(LayerMeasure("P", "ppm", (Slab(0, 2, 9.0), Slab(2, 6, 20.0)), 0,
                                                target=15.0, target_label=reference.label),)),
    }[make]
    drawn, _, _ = record(spec)
    (label,) = [t for t in drawn.texts if t.text == reference.label]
    middle = label.y0 + 0.22 * label.size + MIDDLE * label.size
    signs = [(y0 + y1) / 2 for x0, y0, x1, y1 in drawn.paths
             if 9 < x1 - x0 < 14 and x1 <= label.x0 and y1 - y0 < 2 and abs(y0 - middle) < 12]
    assert signs and all(abs(y - middle) < 0.6 for y in signs)


def test_compare(panels):
    """ensures that marks lie at their values, with a stem only from zero, beside the reference."""
    zero, ph = panels(compare(names=("A", "B", "C"), columns=(
        CompareColumn("P", "ppm", (12.0, None, 30.0), 0, Threshold(20.0, "critical")),
        CompareColumn("pH", "", (5.5, 6.0, 6.5), 1, low=5.0))))
    assert [x for x, _ in marks(zero)] == [12.0, 30.0]
    assert zero.get_xlim() == (0.0, 30.0) and verticals(zero, theme().dash) == [20.0]
    (stems,) = [p for p in zero.patches if to_hex(p.get_edgecolor()).upper() == theme().rule]
    assert [tuple(x) for x in stems.get_path().vertices[:, 0].reshape(2, 2)] == [
        (0.0, 12.0), (0.0, 30.0)]
    assert ph.get_xlim() == (5.0, 6.5)
    assert not [p for p in ph.patches if to_hex(p.get_edgecolor()).upper() == theme().rule]


@pytest.mark.parametrize(("low", "log", "limits"), [
    (5.0, False, (5.0, 6.0)), (0.0, True, (2.5, 10.0)), (9.0, False, (5.0, 6.0))])
def test_compare_of_equal_values(panels, low, log, limits):
    """ensures that samples which are all alike still get a scale: one unit up from their value,
    or, on a scale of ratios, half and twice of it."""
    (ax,) = panels(compare(names=("A", "B"), columns=(
        CompareColumn("P", "ppm", (5.0, 5.0), low=low, log=log),)))
    assert ax.get_xlim() == limits and [x for x, _ in marks(ax)] == [5.0, 5.0]


def test_map(panels):
    """ensures that zones have their corners in metres, north up, one metre as long either way."""
    spec = sketch_map()
    (ax,) = panels(spec)
    drawn = {tuple(map(float, p)) for patch in ax.patches for p in patch.get_path().vertices}
    assert {p for a in spec.areas for rings in a.polygons for r in rings for p in r} <= drawn
    (x0, y0), (x1, y1) = ax.transData.transform([(0, 0), (100, 100)])
    assert x1 - x0 == pytest.approx(y1 - y0) and y1 > y0


def test_tally(panels):
    """ensures that bars run from zero to the number, and the frame to the whole."""
    spec = tally()
    (ax,) = panels(spec)
    assert spans(ax, theme().accent) == sorted((0.0, r.value) for r in spec.rows if r.value)
    assert (0.0, spec.whole) in spans(ax, filled=True)


def test_ranges(panels):
    """ensures that a band runs from low to high, and the point lies at the measured value."""
    spec = ranges()
    for ax, test in zip(panels(spec), spec.tests, strict=True):
        assert {x for line in ax.lines if line.get_marker() == "o"
                for x in line.get_xdata()} == {test.value}
        drawn = {round(float(x), 6) for patch in ax.patches for x, _ in patch.get_path().vertices}
        assert {v for r in test.ranges for v in (r.low, r.high) if v is not None} <= drawn


# A chart of one's own -------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class RainSpec(ChartSpec):
    """Rain by month."""

    months: tuple[str, ...]
    millimetres: tuple[float, ...]

    split = "months"

    def has_data(self) -> bool:
        return any_number(self.millimetres)


@pytest.fixture
def rain():
    """A kind of chart that a user adds, as the package's docstring shows it."""

    @axes_chart(RainSpec, "rain", height=140.0)
    def draw(ax, spec):
        ax.bar(spec.months, spec.millimetres)
        ax.set_ylabel("mm, $5 a gauge")

    yield RainSpec(title="May was wet", subtitle="Rain at the house.", note="Gauge of our own.",
                   words=WORDS, alt="Rain: April 40 mm, May 120 mm.", months=("April", "May"),
                   millimetres=(40.0, 120.0))
    del KINDS[RainSpec]


def test_own_chart(rain, record, pdf):
    """ensures that a function which takes an Axes is a chart like the others: title, typeface,
    sizes and room kept, text as text on paper, an image with its words on a screen."""
    drawn, width, height = record(rain, 300.0)
    printed = [t.text for t in drawn.texts]
    assert {"May was wet", "Rain at the house.", "Gauge of our own.", "April", "May", "100",
            "mm, $5 a gauge"} <= set(printed)
    assert min(t.size for t in drawn.texts) >= theme().smallest
    for text in drawn.texts:
        if text.text != "mm, $5 a gauge":  # runs upward
            assert text.x0 >= -0.5 and text.x1 <= width + 0.5
            assert text.y0 >= -0.5 and text.y1 <= height + 0.5
    found = PdfReader(io.BytesIO(pdf(rain))).pages[0]
    assert "May was wet" in found.extract_text() and list(found.images) == []
    svg = svg_chart(rain, 250.0, "own")
    assert svg.find("desc").text == rain.alt
    assert {e.tag for e in svg.iter()} <= {"svg", "title", "desc", "path", "text", "clipPath"}
    assert fitted(rain, 300.0, 640.0) == (rain,)


def test_unregistered_chart():
    """ensures that a spec nobody draws is refused by its type."""
    spec = RainSpec(title="t", words=WORDS, months=("May",), millimetres=(1.0,))
    with pytest.raises(KeyError, match="RainSpec"):
        draw_chart(Canvas(io.BytesIO()), spec, 0, 0, 300.0)


def test_every_kind_is_one_module():
    """ensures that each kind's spec and drawing stand together, in a module of their own."""
    modules = [spec.__module__ for spec in KINDS]
    assert len(set(modules)) == len(modules) == len(EVERYDAY)
    assert all(kind.draw.__module__ == spec.__module__ for spec, kind in KINDS.items())


def test_a_kind_is_registered_once(rain):
    """ensures that neither a spec nor a name of a kind can be taken a second time."""
    assert len({kind.name for kind in KINDS.values()}) == len(KINDS)
    with pytest.raises(ValueError, match="registered already"):
        axes_chart(RainSpec, "showers")(lambda ax, spec: None)
    with pytest.raises(ValueError, match="registered already"):
        axes_chart(type("Other", (ChartSpec,), {}), "rain")(lambda ax, spec: None)


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_word_that_charts_ask_for_is_there(language):
    """ensures that a kind's own words stand in the templates, and that none stands there idle."""
    words = chart_words(Writer(language))
    asked = set()
    for path in Path(loambrief.charts.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and (
                    (isinstance(node.value, ast.Name) and node.value.id == "w")
                    or (isinstance(node.value, ast.Attribute) and node.value.attr == "words")):
                asked.add(node.attr)
    asked -= {"months", "signs"}
    assert asked == {name for name, text in words.texts if text}
    with pytest.raises(AttributeError, match="word_drizzle"):
        words.drizzle  # noqa: B018


def test_words_pass_through_a_pipe():
    """ensures that words survive being sent to another process, as those of a batch are."""
    words = chart_words(Writer())
    assert pickle.loads(pickle.dumps(words)) == words and copy.copy(words).median == words.median
