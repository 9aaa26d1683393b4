"""Charts say what the numbers say: lengths, positions and words of what was drawn."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from itertools import pairwise

import pytest
from chart_samples import (
    EVERYDAY,
    budget,
    carbon_nitrogen,
    cations,
    layers,
    penetration,
    salinity,
    sap,
    season,
    sketch_map,
    sufficiency,
    tally,
    trend,
    weeds,
)
from hypothesis import given
from hypothesis import strategies as st

from loambrief.charts import Threshold
from loambrief.charts.budget import BAR, CostStep
from loambrief.charts.cations import CationBar, Share
from loambrief.charts.measure import MIDDLE, Scale, log_ticks, tick_text, ticks, wrap
from loambrief.charts.penetration import Profile, stretches
from loambrief.charts.sap import SapRow
from loambrief.charts.sketch_map import MapArea, inner_point, round_length
from loambrief.charts.sufficiency import LevelSide, SufficiencyRow
from loambrief.charts.tally import BAR as TALLY_BAR
from loambrief.charts.tally import TallyRow
from loambrief.charts.trend import TrendPanel, TrendPoint, _covered


def words(drawn) -> list[str]:
    return [t.text for t in drawn.texts]


def boxes(drawn, height, tolerance=0.01):
    """Boxes of a given height, left to right, without repeats."""
    found = {tuple(round(v, 3) for v in p) for p in drawn.paths
             if abs(p[3] - p[1] - height) < tolerance}
    return sorted(found)


def test_budget_bars(record):
    """ensures that bars are as long as the costs, each starting where the one before ends."""
    spec = budget(steps=EVERYDAY["budget"]().steps[:3])
    drawn, _, _ = record(spec)
    bars = boxes(drawn, BAR)
    lengths = [b[2] - b[0] for b in bars]
    costs = [s.cost for s in spec.steps]
    assert len(bars) == 3
    assert lengths[1] / lengths[0] == pytest.approx(costs[1] / costs[0], rel=1e-3)
    assert lengths[2] / lengths[0] == pytest.approx(costs[2] / costs[0], rel=1e-3)
    assert bars[1][0] == pytest.approx(bars[0][2], abs=0.01)
    assert {"$3,384", "$5,214", "$6,642", "budget $9,000"} <= set(words(drawn))


def test_tally_bars(record):
    """ensures that bars start at zero and are as long as the numbers; unmeasured has none."""
    rows = (TallyRow("a", 8, "8"), TallyRow("b", 2, "2"), TallyRow("c", None, ""),
            TallyRow("d", 0, "0"))
    drawn, _, _ = record(tally(rows=rows, whole=0, whole_label=""))
    bars = boxes(drawn, TALLY_BAR)
    assert len(bars) == 2 and len({b[0] for b in bars}) == 1
    lengths = sorted(b[2] - b[0] for b in bars)
    assert lengths[1] / lengths[0] == pytest.approx(4.0, rel=1e-3)
    assert {"8", "2", "0", "not measured"} <= set(words(drawn))


def test_budget_missing_price_is_not_zero(record):
    """ensures that an action without a price says so, and one that is free says that."""
    spec = budget(steps=(CostStep(1, "Lime", 100.0), CostStep(2, "Lanes", 0.0),
                         CostStep(3, "Tiles", None)))
    drawn, _, _ = record(spec)
    printed = words(drawn)
    assert printed.count("no price") == 1 and printed.count("no cost") == 1
    assert printed.count("$0") == 1  # the zero of the scale
    assert printed.count("$100") >= 2  # cost, and the total that stays


def test_budget_left_out_adds_nothing(record):
    """ensures that an action the budget does not cover is drawn but not added up."""
    spec = budget(steps=(CostStep(1, "Lime", 100.0), CostStep(2, "Ripping", 70.0, included=False),
                         CostStep(3, "Rye", 30.0)))
    printed = words(record(spec)[0])
    assert {"$70", "$130", "not covered by the budget"} <= set(printed)
    assert "$170" not in printed and "$200" not in printed


def test_cation_segments(record):
    """ensures that segments are as wide as the shares and the whole bar is 100 percent."""
    shares = tuple(Share(i, p) for i, p in (("Ca", 50.0), ("Mg", 30.0), ("H", 20.0)))
    drawn, width, _ = record(cations(bars=(CationBar("N", shares),)))
    segments = boxes(drawn, 19.0)
    sizes = [b[2] - b[0] for b in segments]
    assert sizes == pytest.approx([share * (width - 1) for share in (0.5, 0.3, 0.2)], abs=0.01)
    assert {"Ca\u00a050%", "Mg\u00a030%", "H\u00a020%"} <= set(words(drawn))


def test_cations_unmeasured(record):
    """ensures that a cation that was not measured leaves a named gap, not a zero."""
    shares = (Share("Ca", 55.0), Share("Na", None))
    drawn, _, _ = record(cations(bars=(CationBar("N", shares),)))
    assert "not measured 45%" in words(drawn)
    assert not any(w.startswith("Na") for w in words(drawn))


def test_penetration_table(record):
    """ensures that medians and counts are those of the readings, missing ones left out."""
    spec = penetration(depths=(3.0, 6.0), count_from=300.0, profiles=(
        Profile("a", (100.0, 310.0)), Profile("b", (140.0, None)), Profile("c", (120.0, 290.0))))
    drawn, _, _ = record(spec)
    assert {"120", "300", "0 of 3", "1 of 2"} <= set(words(drawn))


def test_penetration_missing_breaks_line(record):
    """ensures that no line is drawn across a depth without a reading."""
    found = stretches((3, 6, 9, 12), (100, None, 300, 200))
    assert found == [([100.0], [3.0]), ([300.0, 200.0], [9.0, 12.0])]
    broken = penetration(depths=(3.0, 6.0), profiles=(Profile("a", (100.0, None)),))
    assert "not measured" in words(record(broken)[0])


def test_penetration_moisture(record):
    """ensures that soil moisture is always named, even when it was not recorded."""
    assert any("Soil moisture: field capacity." in w for w in words(record(penetration())[0]))
    assert any("not recorded" in w for w in words(record(penetration(moisture=""))[0]))


@pytest.mark.parametrize("make", [penetration, sap])
def test_practice_is_named(record, make):
    """ensures that a rule of the trade is never shown like a published limit."""
    assert any("trade rule of thumb, no source" in w for w in words(record(make())[0]))


def test_layer_bars(record):
    """ensures that bars of one panel are in proportion and a calculated layer is said to be so."""
    spec = layers(measures=(layers().measures[1],))  # calcium 930 over 1305
    drawn, _, _ = record(spec)
    printed = set(words(drawn))
    assert {"930", "1,305", "0–2 in", "calculated from the two samples"} <= printed
    left = min(p[0] for p in drawn.paths if p[3] - p[1] > 15 and p[2] - p[0] > 100)
    ends = sorted({round(p[2] - left, 1) for p in drawn.paths
                   if abs(p[0] - left) < 0.6 and p[3] - p[1] > 15})
    assert any(abs(a / b - 930 / 1305) < 0.01 for a in ends for b in ends)


def test_sap_single_reading(record):
    """ensures that one reading is shown without an interval and says why."""
    drawn, _, _ = record(sap(rows=(SapRow("Corn", True, (7.0,), 7.0),)))
    assert any("one reading, no interval" in w for w in words(drawn))
    assert not any("interval of the mean" in w for w in words(drawn))


def test_penetration_scales(record):
    """ensures that the pressures along the top carry the unit, and each threshold its value."""
    lines = (Threshold(210.0, "air", practice=True), Threshold(290.0, "roots"))
    printed = words(record(penetration(thresholds=lines))[0])
    assert {"0", "210", "290"} <= set(printed)
    assert [w for w in printed if w.endswith(" psi")] != []


def test_salinity_scale_and_corners(record):
    """ensures that sodium is marked from zero up, that a class in two lines has one under the
    other, and that where names do not fit the four corners are numbered from 1."""
    drawn, _, _ = record(salinity())
    beside = [t.text for t in drawn.texts if t.x1 < 24]
    assert beside.count("0") == 2 and {"10", "20"} <= set(beside)  # a zero of either scale
    name = "saline and sodic at one and the same time, so that roots find no water at all there"
    two = salinity(classes=("neither", "saline", "sodic", name))
    lines = [t for t in record(two)[0].texts if t.text in name and len(t.text) > 12]
    assert len(lines) > 1 and " ".join(t.text for t in lines) == name
    assert len({round(t.x0, 1) for t in lines}) == 1
    assert all(a.y0 - b.y0 > 7 for a, b in pairwise(lines))
    narrow = salinity(classes=("too many words for a corner of the plane " * 4,) * 4)
    assert {"1", "2", "3", "4"} <= set(words(record(narrow, 200)[0]))


def test_salinity_plane(record):
    """ensures that samples lie on their side of the limits, and that one whose sodium was not
    measured has no place among them but a line in the list that says so."""
    drawn, _, _ = record(salinity())
    assert {"not measured", "A", "B", "C", "D"} <= set(words(drawn))
    names = {t.text: t for t in drawn.texts if t.x1 < 340}  # the plot, not the list
    assert "D" not in names
    saline = names["saline and sodic"]
    assert names["C"].x0 > saline.x0 and names["A"].x1 < saline.x0  # ECe 9.8 and 3.1; limit 4
    assert names["C"].y0 > names["B"].y0 > names["A"].y0  # SAR 17, 11.5, 6


def test_sufficiency_positions(record):
    """ensures that half and twice the critical level lie equally far from it."""
    rows = (SufficiencyRow("a", 10.0, 20.0, LevelSide.BELOW, "10", "Below"),
            SufficiencyRow("b", 40.0, 20.0, LevelSide.ABOVE, "40", "Above"),
            SufficiencyRow("c", 20.0, 20.0, LevelSide.NEAR, "20", "Near"))
    drawn, width, _ = record(sufficiency(rows=rows))
    marks = sorted((p[0] + p[2]) / 2 for p in drawn.paths
                    if abs((p[2] - p[0]) - (p[3] - p[1])) < 0.01 and p[2] - p[0] > 7
                    and width * 0.24 < p[0] < width * 0.70)
    low, middle, high = marks[0], marks[len(marks) // 2], marks[-1]
    assert middle - low == pytest.approx(high - middle, abs=0.05)


def test_weed_verdicts(record):
    """ensures that every hint carries its verdict in words."""
    spec = weeds()
    printed = " ".join(words(record(spec)[0]))
    assert all(h.verdict_text in printed for h in spec.hints)
    assert "cover not estimated" in printed


def test_carbon_nitrogen_sides(record):
    """ensures that ratios below the turning point lie left of it, those above to the right."""
    drawn, _, _ = record(carbon_nitrogen())
    at = {t.text: (t.x0 + t.x1) / 2 for t in drawn.texts}
    assert at["9:1"] < at["20:1"] < at["24:1"] < at["47:1"]


def test_season_order(record):
    """ensures that undated work says so and the months run in order."""
    drawn, _, _ = record(season())
    assert {"no date set", "planting", "harvest", "2026", "2027"} <= set(words(drawn))
    at = {t.text: t.x0 for t in drawn.texts}
    assert at["Nov"] < at["Dec"] < at["Jan"] < at["Feb"]


def test_trend_method_change(record):
    """ensures that a change of method is named with both methods."""
    printed = " ".join(words(record(trend())[0]))
    assert "method changed from Bray P1 to Mehlich-3 (ICP)" in printed.replace("  ", " ")


def test_sign_of_a_method_change_stands_beside_its_words(record):
    """ensures that the short dotted line lies at the height of the words it explains, 9 pt
    high (own rule)."""
    drawn, _, _ = record(trend())
    (label,) = [t for t in drawn.texts if t.text.startswith("2024: ")]
    middle = label.y0 + (0.22 + MIDDLE) * label.size
    signs = [(y0, y1) for x0, y0, x1, y1 in drawn.paths
             if x1 - x0 < 2 and 0 < label.x0 - x1 < 14 and abs((y0 + y1) / 2 - middle) < 6]
    assert len(signs) == 1
    assert signs[0][1] - signs[0][0] == pytest.approx(9.0, abs=1.5)
    assert (signs[0][0] + signs[0][1]) / 2 == pytest.approx(middle, abs=1.5)


def test_trend_limits(record):
    """ensures that a value under the laboratory's limit keeps its sign."""
    panel = TrendPanel("P", "ppm", (TrendPoint(dt.date(2024, 9, 1), 0.5, censor="<"),
                                    TrendPoint(dt.date(2026, 9, 1), 4.0)),
                       reference=Threshold(3.0, "critical 3"))
    assert "<0.5" in words(record(trend(panels=(panel,)))[0])


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6), st.floats(0, 1))
def test_scale_is_linear(low, span, share):
    """ensures that a share of the numbers is the same share of the line, and outside is held."""
    scale = Scale(low, low + span, 10.0, 110.0)
    assert scale(low + share * span) == pytest.approx(10 + 100 * share, abs=1e-3)
    assert scale(low - span) == 10.0 and scale(low + 2 * span) == 110.0


def test_log_scale():
    """ensures that equal ratios are equal distances."""
    scale = Scale(0.5, 8.0, 0.0, 100.0, log=True)
    assert [scale(v) for v in (0.5, 1, 2, 4, 8)] == pytest.approx([0, 25, 50, 75, 100])


@given(st.floats(-1e5, 1e5), st.floats(1e-2, 1e6))
def test_ticks_are_round_and_inside(low, span):
    """ensures that ticks stay inside their range and each is printed differently."""
    found = ticks(low, low + span, 5)
    assert all(low - 1e-6 <= v <= low + span + 1e-6 for v in found)
    assert len(set(tick_text(found))) == len(found)


@given(st.floats(-1e5, 1e5), st.floats(1e-2, 1e6), st.integers(2, 12))
def test_ticks_are_ones_twos_or_fives(low, span, most):
    """ensures that ticks are one step of 1, 2 or 5 times a power of ten apart, at most so many
    steps unless the next longer step would leave fewer than two ticks."""
    found = ticks(low, low + span, most)
    step = found[1] - found[0]
    assert found == pytest.approx([found[0] + n * step for n in range(len(found))], abs=1e-6 * step)
    leading = f"{step:.3e}"[:5]
    assert leading in ("1.000", "2.000", "5.000")
    assert len(found) >= 2
    if len(found) > most + 1:
        longer = step * (2.5 if leading == "2.000" else 2)
        assert math.floor((low + span) / longer) - math.ceil(low / longer) < 1


def test_ticks_of_no_range():
    """ensures that a range without extent has one tick."""
    assert ticks(3.0, 3.0, 5) == [3.0]


def test_log_ticks():
    """ensures that log ticks are 1, 2, 5 times powers of ten."""
    assert log_ticks(0.09, 12) == pytest.approx([0.1, 0.2, 0.5, 1, 2, 5, 10])


@given(st.text(alphabet="abc deé-", max_size=120), st.floats(20, 300))
def test_wrap_loses_nothing(text, width):
    """ensures that wrapping keeps every letter and breaks only what is too long."""
    lines = wrap(text, width, 8.0)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_map_keeps_shape_and_scale(record):
    """ensures that the map keeps the ratio of the sides and that its scale bar is true."""
    drawn, _, _ = record(sketch_map(areas=sketch_map().areas[:1]))
    outer = max((p for p in drawn.paths if p[2] - p[0] < 495), key=lambda p: p[3] - p[1])
    wide, high = outer[2] - outer[0], outer[3] - outer[1]
    assert wide / high == pytest.approx(400 / 330, rel=0.02)
    (words_of_bar,) = [t for t in drawn.texts if t.text.endswith("\u00a0ft") or
                       t.text.endswith(" ft")]
    feet = float(words_of_bar.text.split()[0].replace(",", ""))
    middle = (words_of_bar.y0 + words_of_bar.y1) / 2
    bar = max((p for p in drawn.paths if p[3] < middle + 6 and p[2] < words_of_bar.x0 + 1),
              key=lambda p: p[2] - p[0])
    assert (bar[2] - bar[0]) / feet == pytest.approx(wide / 400 * 0.3048, rel=0.03)


@given(st.floats(1e-3, 1e6))
def test_round_lengths(wanted):
    """ensures that a scale bar is 1, 2 or 5 times a power of ten and fills at least 40 %."""
    found = round_length(wanted)
    assert 0.4 * wanted - 1e-9 <= found <= wanted * (1 + 1e-6)


def test_map_numbers_do_not_cover_each_other(record):
    """ensures that the numbers of two areas at one place stand one under the other, and those
    of areas beside each other where the areas are."""
    def numbers(second):
        areas = tuple(MapArea(n, n, "", 1, ((ring,),)) for n, ring in (("1", whole), ("2", second)))
        drawn, _, _ = record(sketch_map(areas=areas))
        return [next(t for t in drawn.texts if t.text == n) for n in ("1", "2")]

    whole = ((0, 0), (400, 0), (400, 330), (0, 330), (0, 0))
    one, two = numbers(whole)
    assert abs(one.y0 - two.y0) > 8 and abs(one.x0 - two.x0) < 1
    one, two = numbers(((800, 0), (1200, 0), (1200, 330), (800, 330), (800, 0)))
    assert abs(one.y0 - two.y0) < 1 and abs(one.x0 - two.x0) > 20


def test_labels_of_a_trend_keep_off_its_line():
    """ensures that the boxes that labels avoid lie on the line and on the intervals."""
    points = [TrendPoint(dt.date(2020, 9, 20), 10, "Olsen", 8, 12),
              TrendPoint(dt.date(2024, 9, 20), 20, "Olsen")]
    first, last = (p.date.toordinal() for p in points)
    days, up = Scale(first, last, 100, 300), Scale(0, 25, 250, 0)
    boxes = _covered(points, days, up)
    assert boxes and all(99 <= (b.x0 + b.x1) / 2 <= 301 and 50 <= (b.y0 + b.y1) / 2 <= 170
                         for b in boxes)
    on_line = [b for b in boxes if b.x0 > 101]
    assert all((b.y0 + b.y1) / 2 == pytest.approx(150 - ((b.x0 + b.x1) / 2 - 100) / 2)
               for b in on_line)
    assert {round((b.y0 + b.y1) / 2) for b in boxes if b.x0 < 101} >= {130, 170}


def test_sap_scale_reaches_low_readings(record):
    """ensures that readings under 1 have their place on the scale."""
    drawn, _, _ = record(sap(rows=(SapRow("Corn", True, (0.4, 0.6), 0.5),), thresholds=()))
    at = {t.text: t.x0 for t in drawn.texts}
    assert at["0.4"] < at["0.5"] < at["0.6"]


def test_a_thin_ring_gets_the_middle_of_its_first_side():
    """ensures that a ring without an inside still has a point on it."""
    assert inner_point(((10, 50), (30, 50), (10, 50))) == (20, 50)


def test_inner_point_is_inside():
    """ensures that a number stands inside a horseshoe, not at its middle."""
    shoe = ((0, 0), (90, 0), (90, 90), (60, 90), (60, 30), (30, 30), (30, 90), (0, 90), (0, 0))
    x, y = inner_point(shoe)
    assert (0 < x < 90 and 0 < y < 30) or ((0 < x < 30 or 60 < x < 90) and 0 < y < 90)


def test_map_names_its_areas(record):
    """ensures that a name stands in the area it belongs to where that has room, and only in the
    list where it has none."""
    square = ((0.0, 0.0), (400.0, 0.0), (400.0, 400.0), (0.0, 400.0), (0.0, 0.0))
    strip = ((400.0, 0.0), (412.0, 0.0), (412.0, 400.0), (400.0, 400.0), (400.0, 0.0))
    spec = sketch_map()
    first = replace(spec.areas[0], number="1", name="bench", polygons=((square,),))
    second = replace(spec.areas[0], number="2", name="headland", polygons=((strip,),))
    drawn, _, _ = record(replace(spec, areas=(first, second), outlines=()))
    printed = words(drawn)
    assert "1  bench" in printed and "2" in printed and "2  headland" not in printed
