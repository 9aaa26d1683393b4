"""Invented chart specs: everyday ones and hostile ones. Numbers and names mean nothing."""

from __future__ import annotations

import datetime as dt

from loambrief.charts import Threshold
from loambrief.charts.budget import BudgetSpec, CostStep
from loambrief.charts.carbon_nitrogen import CarbonNitrogenSpec, RatioRow
from loambrief.charts.cations import CationBar, CationSpec, Share
from loambrief.charts.compare import CompareColumn, CompareSpec
from loambrief.charts.layers import LayerMeasure as Measure
from loambrief.charts.layers import LayerSpec, Slab
from loambrief.charts.penetration import PenetrationSpec, Profile
from loambrief.charts.ranges import PublishedRange, RangesSpec, RangeTest
from loambrief.charts.salinity import SalinityPoint, SalinitySpec
from loambrief.charts.sap import SapRow, SapSpec
from loambrief.charts.season import SeasonBar, SeasonMark, SeasonSpec
from loambrief.charts.sketch_map import MapArea, MapSpec
from loambrief.charts.spread import SpreadRow, SpreadSpec
from loambrief.charts.sufficiency import LevelSide as Side
from loambrief.charts.sufficiency import SufficiencyRow, SufficiencySpec
from loambrief.charts.tally import TallyRow, TallySpec
from loambrief.charts.trend import TrendPanel, TrendPoint, TrendSpec
from loambrief.charts.weeds import Hint, WeedMark, WeedSpec
from loambrief.charts.weeds import HintSign as Verdict
from loambrief.report.chart_text import chart_words
from loambrief.report.text import Writer

WORDS = chart_words(Writer())
LONG = "Upper Bramblewick terrace beyond the second drainage gate, north-facing and stony"
UNBROKEN = "Unterhaltungsgartenbewirtschaftungsgemeinschaft"
DAY = dt.date

CONE = {
    "P1": (110, 175, 335, 290, 240, 230),
    "P2": (95, 190, 350, 310, 255, 240),
    "P3": (130, 210, 365, 300, 260, 250),
    "P4": (120, 185, 310, 275, 235, 225),
    "P5": (105, 240, 390, 320, 270, 245),
    "P6": (180, 330, 420, 380, 310, 280),
    "P7": (90, 160, 280, 260, 230, 220),
    "P8": (105, 170, 295, 265, 225, None),
}


def penetration(**changes) -> PenetrationSpec:
    values = dict(
        title="A dense layer at 9 inches holds roots back over most of the field",
        subtitle="Push resistance of a cone, psi.",
        note="Cone 12.83 mm, 9 April 2026. Read at field capacity: dry soil reads higher.",
        words=WORDS,
        depths=(3.0, 6.0, 9.0, 12.0, 15.0, 18.0),
        profiles=tuple(Profile(k, v, stopped=v[-1] is None) for k, v in CONE.items()),
        depth_unit="in",
        pressure_unit="psi",
        thresholds=(Threshold(200.0, "Over 200 psi: too tight for air", practice=True),
                    Threshold(300.0, "From 300 psi: few roots get through")),
        count_from=300.0,
        moisture="field capacity",
    )
    return PenetrationSpec(**{**values, **changes})


def _two(top: float | None, below: float | None, calculated: bool = True) -> tuple[Slab, ...]:
    return Slab(0.0, 2.0, top), Slab(2.0, 6.0, below, calculated)


def layers(**changes) -> LayerSpec:
    values = dict(
        title="The top 2 inches are more acid and hold most of the phosphorus",
        subtitle="Sample N, north. The layer below is worked out from the 0–2 and 0–6 inch tests.",
        note="Mehlich-3; pH in water 1:1. Layers drawn to scale.",
        words=WORDS,
        measures=(
            Measure("pH", "", _two(5.1, 5.9), 1, low=4.5, high=7.5, target=6.5,
                    target_label="target 6.5"),
            Measure("Calcium", "ppm", _two(930, 1305), 0),
            Measure("Phosphorus", "ppm", _two(21, 7.5), 0, target=20,
                    target_label="critical level 20", remark="2.8 times as much on top"),
            Measure("Potassium", "ppm", _two(176, 89), 0, target=120,
                    target_label="critical level 120"),
            Measure("Organic matter", "%", _two(3.4, 2.2), 1),
        ),
        depth_unit="in",
    )
    return LayerSpec(**{**values, **changes})


def sap(**changes) -> SapSpec:
    values = dict(
        title="Corn reads lower than the foxtail beside it, and both are under 10",
        subtitle="Refractometer readings of leaf sap, °Brix, 8 July 2026, early afternoon.",
        note="Interval: 95 % of the mean. Brix shifts with hour, weather and plant part.",
        words=WORDS,
        rows=(
            SapRow("Corn", True, (6.8, 7.4, 7.0, 6.6, 7.2), 7.0, 6.6, 7.4, "Line sharp.",
                   "youngest collared leaf"),
            SapRow("Giant foxtail", False, (8.2, 7.6, 8.4, 7.9, 8.0), 8.02, 7.65, 8.39,
                   "Line diffuse.", "youngest full leaf"),
            SapRow("Lambsquarters", False, (9.1,), 9.1, line="Line sharp."),
        ),
        thresholds=(Threshold(10.0, "10 °Brix", practice=True),),
    )
    return SapSpec(**{**values, **changes})


def _shares(*percent: float | None) -> tuple[Share, ...]:
    return tuple(Share(i, p) for i, p in zip(("Ca", "Mg", "K", "Na", "H"), percent, strict=True))


def cations(**changes) -> CationSpec:
    values = dict(
        title="Acid, not calcium, holds 43% of the exchange places in the north",
        subtitle="Share of the exchange capacity, %, 0–6 inches.",
        note="Hydrogen from the buffer pH. No yield trial supports one best cation ratio.",
        words=WORDS,
        bars=(
            CationBar("N, north, higher ground", _shares(44.0, 10.0, 2.3, 0.5, 43.2),
                      "CEC 13.4 meq/100 g"),
            CationBar("S, south, toward the ditch", _shares(57.8, 14.6, 2.6, 0.5, 24.5),
                      "CEC 14.9 meq/100 g"),
            CationBar("Often quoted (common practice, no source)", _shares(68, 12, 4, 1, 15),
                      reference=True),
        ),
    )
    return CationSpec(**{**values, **changes})


def salinity(**changes) -> SalinitySpec:
    values = dict(
        title="The low end is saline and sodic; the rest only saline",
        subtitle="Saturation extract, 0–12 inches.",
        note="Class limits: ECe 4 dS/m, SAR 13.",
        words=WORDS,
        points=(SalinityPoint("A", 3.1, 6.0), SalinityPoint("B", 7.4, 11.5),
                SalinityPoint("C", 9.8, 17.0), SalinityPoint("D", 5.2, None),
                SalinityPoint("E", 5.2, 8.0, estimated=True)),
        ece_limit=4.0,
        sodium_limit=13.0,
        sodium_name="SAR",
        sodium_unit="",
        classes=("neither", "saline", "sodic", "saline and sodic"),
        crop=Threshold(2.0, "Alfalfa loses yield from ECe 2.0 dS/m"),
    )
    return SalinitySpec(**{**values, **changes})


def sufficiency(**changes) -> SufficiencySpec:
    values = dict(
        title="Phosphorus is short; potassium is too close to call; zinc is ample",
        subtitle="Each test as a multiple of its critical level, sample N, 0–6 inches.",
        note="Interval: sampling and laboratory error together, 95 %.",
        words=WORDS,
        rows=(
            SufficiencyRow("Phosphorus", 12, 20, Side.BELOW, "12 ppm; critical 20 to 40 ppm",
                           "Below", 9, 16, upper=40, detail="Mehlich-3"),
            SufficiencyRow("Potassium", 118, 120, Side.NEAR, "118 ppm; critical 120 to 170 ppm",
                           "Too close to call", 95, 145, upper=170, detail="Mehlich-3"),
            SufficiencyRow("Magnesium", 160, 50, Side.ABOVE, "160 ppm; critical 50 ppm", "Above",
                           135, 190),
            SufficiencyRow("Zinc", 1.6, 0.8, Side.ABOVE, "1.6 ppm; critical 0.8 ppm", "Above",
                           1.1, 2.2),
            SufficiencyRow("Boron", 0.5, 0.5, Side.NEAR, "below 0.5 ppm; critical 0.5 ppm",
                           "Not known: under the lab's limit", censor="<"),
        ),
    )
    return SufficiencySpec(**{**values, **changes})


def weeds(**changes) -> WeedSpec:
    values = dict(
        title="The weeds hint at acid, tight soil, and the tests agree",
        subtitle="Weeds seen on 8 July 2026, sorted by what they are said to hint at.",
        note="A weed is a reason to test, never a reason to spread anything.",
        words=WORDS,
        hints=(
            Hint("Acid soil", (WeedMark("sheep sorrel", 6), WeedMark("corn spurry", 2)),
                 Verdict.AGREES, "Agrees", "pH 5.1 on top, 5.6 at 0–6 inches."),
            Hint("Tight soil", (WeedMark("giant foxtail", 18), WeedMark("broadleaf plantain", 2)),
                 Verdict.AGREES, "Agrees", "Cone over 300 psi at 9 inches in 10 of 12 places."),
            Hint("Much nitrogen", (WeedMark("lambsquarters", 3), WeedMark("redroot pigweed", 4)),
                 Verdict.NOT_MEASURED, "Not measured", "No nitrate test in this case."),
            Hint("Low calcium", (WeedMark("dandelion", 3),), Verdict.DIFFERS, "Disagrees",
                 "Calcium 1,180 ppm is enough for the crop."),
            Hint("Wet soil", (WeedMark("yellow nutsedge", None),), Verdict.MIXED, "Partly agrees",
                 "Water soaks in slowly, yet the tiles run."),
        ),
    )
    return WeedSpec(**{**values, **changes})


def budget(**changes) -> BudgetSpec:
    values = dict(
        title="The first four actions fit the $9,000; ripping does not",
        subtitle="Cost of each action for the whole field, in order of rank.",
        note="Prices of 1 October 2026, invented.",
        words=WORDS,
        steps=(
            CostStep(1, "Lime, pass 1 of 2: 2 ton/ac of calcitic lime", 3384.0),
            CostStep(2, "Monoammonium phosphate 11-52-0: 95 lb/ac", 1830.0),
            CostStep(3, "Cereal rye cover", 1428.0),
            CostStep(4, "Keep wheels to the lanes", 0.0),
            CostStep(5, "Deep ripping, custom", 3200.0, included=False),
            CostStep(6, "Tile inspection", None),
        ),
        budget=9000.0,
    )
    return BudgetSpec(**{**values, **changes})


def carbon_nitrogen(**changes) -> CarbonNitrogenSpec:
    values = dict(
        title="Soybean stubble ties nitrogen up for a while; the litter gives it",
        subtitle="Carbon to 1 part of nitrogen, by weight.",
        note="Between about 20 and 30 the balance can go either way.",
        words=WORDS,
        rows=(
            RatioRow("Soybean stubble", 46.7, "42 % carbon, 0.9 % nitrogen"),
            RatioRow("Broiler litter", 9.0, "27 % carbon, 3.0 % nitrogen"),
            RatioRow("Cereal rye at heading", None),
            RatioRow("Stubble with 2 ton/ac of litter", 19.5, mix=True),
        ),
        turning=Threshold(24.0, "24:1, where soil life is said to be fed evenly"),
        below="gives nitrogen to the crop",
        above="ties nitrogen up",
    )
    return CarbonNitrogenSpec(**{**values, **changes})


def season(**changes) -> SeasonSpec:
    values = dict(
        title="Lime goes on now; the phosphorus waits for planting",
        subtitle="When each action is done, East 40.",
        note="Dates move with the weather; soil dry enough to shatter comes before the calendar.",
        words=WORDS,
        bars=(
            SeasonBar("1", "Lime, pass 1 of 2", DAY(2026, 10, 20), DAY(2026, 12, 1),
                      "after harvest, before freeze-up"),
            SeasonBar("2", "Phosphate beside the row", DAY(2027, 4, 25), DAY(2027, 5, 10),
                      "with the planter"),
            SeasonBar("3", "Cone again, same places", DAY(2027, 4, 5), DAY(2027, 4, 25),
                      "at field capacity", measuring=True),
            SeasonBar("4", "Keep wheels to the lanes", DAY(2026, 10, 14), None, "from now on"),
            SeasonBar("5", "Tile inspection", None, None, "before money is spent on drains",
                      measuring=True),
            SeasonBar("6", "Soil test again", DAY(2027, 9, 20), DAY(2027, 10, 20), "same depths",
                      measuring=True),
        ),
        marks=(SeasonMark(DAY(2027, 5, 5), "planting"), SeasonMark(DAY(2027, 10, 20), "harvest")),
        today=DAY(2026, 10, 14),
    )
    return SeasonSpec(**{**values, **changes})


def trend(**changes) -> TrendSpec:
    values = dict(
        title="pH has climbed since the first lime; the phosphorus rise is a change of method",
        subtitle="Sample N, 0–6 inches.",
        note="A line is broken where the laboratory method changed: the two sides do not compare.",
        words=WORDS,
        panels=(
            TrendPanel("pH", "", tuple(
                TrendPoint(DAY(y, 9, 20), v, "water 1:1") for y, v in
                ((2018, 5.2), (2020, 5.4), (2022, 5.7), (2024, 5.9), (2026, 6.1))), 1,
                Threshold(6.5, "target 6.5")),
            TrendPanel("Phosphorus", "ppm", (
                TrendPoint(DAY(2018, 9, 20), 9, "Bray P1", 7, 11),
                TrendPoint(DAY(2020, 9, 20), 10, "Bray P1", 8, 12),
                TrendPoint(DAY(2022, 9, 20), 11, "Bray P1", 9, 13),
                TrendPoint(DAY(2024, 9, 20), 17, "Mehlich-3 (ICP)", 14, 20),
                TrendPoint(DAY(2026, 9, 20), 16, "Mehlich-3 (ICP)", 13, 19)), 0,
                Threshold(20, "critical level 20")),
            TrendPanel("Organic matter", "%", (
                TrendPoint(DAY(2022, 9, 20), 2.4, "loss on ignition"),
                TrendPoint(DAY(2026, 9, 20), 2.6, "loss on ignition")), 1),
        ),
    )
    return TrendSpec(**{**values, **changes})


def compare(**changes) -> CompareSpec:
    values = dict(
        title="Three of the five blocks are short of phosphorus; all have enough zinc",
        subtitle="0–6 inches, September 2026.",
        note="Dashed: critical level.",
        words=WORDS,
        names=("N, north", "S, south", "Headland", "Creek strip", "Old orchard"),
        columns=(
            CompareColumn("pH", "", (5.6, 6.0, 6.4, 5.9, 7.1), 1, Threshold(6.5, "target 6.5"),
                          low=5.0),
            CompareColumn("Phosphorus", "ppm", (12, 24, 18, 9, 55), 0,
                          Threshold(20, "critical 20")),
            CompareColumn("Potassium", "ppm", (118, 151, 190, None, 240), 0,
                          Threshold(120, "critical 120")),
            CompareColumn("Zinc", "ppm", (1.6, 2.0, 1.4, 1.2, 6.8), 1,
                          Threshold(0.8, "critical 0.8")),
        ),
    )
    return CompareSpec(**{**values, **changes})


def _box(x, y, w, h):
    return ((x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y))


def sketch_map(**changes) -> MapSpec:
    slope = ((0, 0), (400, 0), (400, 120), (180, 210), (0, 180), (0, 0))
    pond = _box(300, 30, 40, 30)
    rest = ((0, 180), (180, 210), (400, 120), (400, 330), (0, 330), (0, 180))
    values = dict(
        title="The north of the field is held back by acid, the south by phosphorus",
        subtitle="East 40, 31 acres drawn.",
        note="A sketch from the boundary file, not a survey.",
        words=WORDS,
        areas=(MapArea("1", "North, higher ground", "pH 5.4", 1, ((rest,),)),
               MapArea("2", "South, toward the ditch", "Phosphorus 12 ppm", 2, ((slope, pond),))),
        outlines=((_box(0, 0, 400, 330),),),
        looks=("nothing found that limits", "acidity", "nutrients"),
        length_unit="ft",
        unit_m=0.3048,
    )
    return MapSpec(**values | changes)


def tally(**changes) -> TallySpec:
    values = dict(
        title="Acid soil holds back fields on 8 of 12 farms",
        subtitle="Farms with at least one field that it limits, of 12.",
        note="Counted from the findings of this month's advisories.",
        words=WORDS,
        rows=(
            TallyRow("Acidity and lime", 8, "8 farms", "11 fields"),
            TallyRow("Phosphorus, potassium and other nutrients", 5, "5 farms", "5 fields"),
            TallyRow("Salts and sodium", 1, "1 farm"),
            TallyRow("Plant sap", 0, "0 farms"),
        ),
        whole=12,
        whole_label="All farms: 12",
    )
    return TallySpec(**{**values, **changes})


def spread(**changes) -> SpreadSpec:
    values = dict(
        title="Half of the samples lie between pH 5.6 and 6.4",
        subtitle="Soil pH in water, tilled layer.",
        note="Counted from the advisories of three years.",
        words=WORDS,
        rows=(
            SpreadRow("2024", "8 samples", 8, (5.1, 5.6, 5.9, 6.4, 6.8)),
            SpreadRow("2025"),
            SpreadRow("2026", "3 samples", 3, (5.3, 5.5, 5.7, 6.05, 6.4), (5.3, 5.7, 6.4)),
        ),
        digits=1,
    )
    return SpreadSpec(**{**values, **changes})


def ranges(**changes) -> RangesSpec:
    values = dict(
        title="Soil life beside ranges that others publish",
        subtitle="Each test on a scale of its own.",
        note="None of them sets a rate.",
        words=WORDS,
        tests=(
            RangeTest("Active carbon: 320 ppm", 320.0, (
                PublishedRange("India: high", 150.0, 300.0, "low below 150, high from 300"),
                PublishedRange("Northeast: low", 400.0, 650.0, "low below 400, high from 650"))),
            RangeTest("Earthworms: 310", 310.0, (
                PublishedRange("A list: good", 108.0, None, "good from 108 on"),)),
        ),
    )
    return RangesSpec(**{**values, **changes})


EVERYDAY = {f.__name__: f for f in (
    penetration, layers, sap, cations, salinity, sufficiency, weeds, budget, carbon_nitrogen,
    season, trend, compare, sketch_map, tally, spread, ranges)}


def _hostile_penetration():
    deep = tuple(float(d) for d in range(1, 61))
    many = tuple(Profile(f"{LONG} {n}", tuple(100.0 + (n * 37 + d * 11) % 400 for d in range(60)))
                 for n in range(40))
    return [
        penetration(depths=(6.0,), profiles=(Profile("P1", (140.0,)),), thresholds=(),
                    count_from=None, moisture=""),
        penetration(depths=deep, profiles=many),
        penetration(profiles=tuple(Profile(f"P{n}", (200.0,) * 6) for n in range(12))),
        penetration(profiles=(Profile("P1", (100, None, None, 3000.0, None, None), stopped=True),)),
        penetration(profiles=(Profile("P1", (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)),), thresholds=()),
        penetration(title=f"{LONG} and {LONG}", subtitle=LONG, note=LONG + ". " + LONG,
                    thresholds=(Threshold(298, LONG), Threshold(300, LONG + LONG, practice=True),
                                Threshold(302, UNBROKEN * 3), Threshold(305, "d"))),
        penetration(depths=(7.5, 15.0, 22.5, 30.0), depth_unit="cm", pressure_unit="MPa",
                    pressure_digits=2, count_from=2.0, thresholds=(Threshold(2.0, "2 MPa"),),
                    profiles=(Profile("P1", (0.76, 1.21, 2.31, 2.0)),
                              Profile("P2", (0.65, 1.31, 2.41, None), stopped=True))),
    ]


def _hostile_layers():
    return [
        layers(measures=(Measure("Phosphorus", "ppm", _two(None, 12.0, False), 0),)),
        layers(measures=(Measure("Phosphorus", "ppm",
                                 (Slab(0, 2, 0.5, censor="<"), Slab(2, 6, 9000.0)), 1),)),
        layers(measures=(Measure("Zinc", "ppm", _two(0.0, 0.0)),)),
        layers(measures=(Measure(LONG, "mg/kg", _two(1.0, 2.0), target=1.5, target_label=LONG,
                                 remark=LONG), Measure(UNBROKEN, "%", _two(3.4, 3.4)))),
        layers(measures=tuple(Measure(f"Test {n}", "ppm", _two(n * 1e4, n * 10.0))
                              for n in range(12))),
        layers(measures=(Measure("Nitrate", "ppm", (Slab(0, 6, 12.0), Slab(6, 24, None),
                                                    Slab(24, 48, 3.0)), 0),)),
        layers(measures=(Measure("pH", "", (Slab(0, 6, 5.1),), 1, low=4.5, high=7.5),)),
        layers(measures=(Measure("pH", "", _two(3.2, 9.1), 1, low=4.5, high=7.5, target=9.0,
                                 target_label="target 9"),)),
    ]


def _hostile_sap():
    return [
        sap(rows=(SapRow("Corn", True, (7.0,), 7.0),), thresholds=()),
        sap(rows=(SapRow("Corn", True, (7.0,) * 40, 7.0, 7.0, 7.0),)),
        sap(rows=tuple(SapRow(LONG, n == 0, (3.0 + n * 0.1, 80.0, 6.0), 29.7, 0.0, 85.0, LONG, LONG)
                       for n in range(6))),
        sap(rows=(SapRow(UNBROKEN * 2, False, (0.0, 0.0), 0.0, 0.0, 0.0, UNBROKEN * 3, UNBROKEN),)),
        sap(thresholds=(Threshold(9.9, LONG), Threshold(10, LONG, practice=True),
                        Threshold(10.1, "z"))),
    ]


def _hostile_cations():
    return [
        cations(bars=(CationBar("N", (Share("Ca", 55.0), Share("K", None), Share("H", None))),)),
        cations(bars=(CationBar(LONG, _shares(0.1, 0.1, 0.1, 0.1, 99.6), LONG),)),
        cations(bars=(CationBar(UNBROKEN * 3, _shares(60, 30, 20, 10, 5), UNBROKEN * 2),)),
        cations(bars=tuple(CationBar(f"Sample {n}", _shares(20, 20, 20, 20, 20), "CEC 4")
                           for n in range(20))),
        cations(bars=(CationBar("N", _shares(100, 0, 0, 0, 0)),)),
        cations(bars=(CationBar("N", tuple(Share(f"Ion-{n}", 5.0) for n in range(20))),)),
    ]


def _hostile_salinity():
    crowd = tuple(SalinityPoint(f"Sample {n}", 4.0 + (n % 7) * 0.05, 12.8 + (n % 5) * 0.1)
                  for n in range(40))
    return [
        salinity(points=(SalinityPoint("A", 1.0, 1.0),), crop=None),
        salinity(points=crowd),
        salinity(points=tuple(SalinityPoint(f"S{n}", 5.0, 5.0) for n in range(12))),
        salinity(points=(SalinityPoint(LONG, 200.0, 400.0), SalinityPoint(UNBROKEN, 0.0, 0.0),
                         SalinityPoint("C", 0.2, 0.1))),
        salinity(points=(SalinityPoint("A", None, 14.0), SalinityPoint("B", 3.0, None),
                         SalinityPoint("C", None, None), SalinityPoint("D", 1.0, 2.0)),
                 crop=Threshold(30.0, LONG)),
        salinity(classes=(LONG, LONG, LONG, LONG), crop=Threshold(1.0, LONG)),
    ]


def _hostile_sufficiency():
    return [
        sufficiency(rows=(SufficiencyRow("P", 1e6, 1.0, Side.ABOVE, "1,000,000 ppm", "Above"),
                          SufficiencyRow("K", 1e-6, 1.0, Side.BELOW, "0.000001 ppm", "Below"))),
        sufficiency(rows=(SufficiencyRow("P", 20.0, 20.0, Side.NEAR, "20 ppm", "On it", 0.0, 900.0),
                          SufficiencyRow("K", None, 20.0, None, "no test", "Not measured"),
                          SufficiencyRow("S", 0.0, 20.0, Side.BELOW, "0 ppm", "Below"))),
        sufficiency(rows=tuple(SufficiencyRow(LONG, 5.0, 20.0, Side.BELOW, LONG, UNBROKEN * 2, 4, 6,
                                              upper=40.0, detail=LONG) for _ in range(3))),
        sufficiency(rows=(SufficiencyRow("P", 300.0, 20.0, Side.ABOVE, "over 300", "Above",
                                         censor=">"),)),
        sufficiency(rows=(SufficiencyRow("P", 200.0, 20.0, Side.ABOVE, "200", "Above", 150, 260),
                          SufficiencyRow("K", 210.0, 20.0, Side.ABOVE, "210", "Above", 150, 280))),
        sufficiency(rows=(SufficiencyRow("P", 2.0, 20.0, Side.BELOW, "2", "Below", 1.5, 2.6),)),
    ]


def _hostile_weeds():
    return [
        weeds(hints=(Hint("Acid soil", (WeedMark("sorrel", None),), Verdict.AGREES, "Agrees"),)),
        weeds(hints=(Hint(LONG, tuple(WeedMark(f"{LONG} {n}", 0.1) for n in range(12)),
                          Verdict.MIXED, LONG, LONG),
                     Hint(UNBROKEN, (WeedMark(UNBROKEN * 2, 100.0),), Verdict.DIFFERS,
                          UNBROKEN, UNBROKEN * 2))),
        weeds(hints=tuple(Hint(f"Hint {n}", (WeedMark("weed", 0.0),), Verdict.NOT_MEASURED,
                               "Not measured") for n in range(15))),
    ]


def _hostile_budget():
    return [
        budget(steps=(CostStep(1, "Lime", 12.5),), budget=None),
        budget(steps=(CostStep(1, "Lime", 0.0),), budget=0.0),
        budget(steps=tuple(CostStep(n, LONG, 1e7 / n, n < 4, LONG) for n in range(1, 9)),
               budget=1.0, money="{}\u00a0CAD"),
        budget(steps=tuple(CostStep(n, f"Action {n}", 10.0) for n in range(1, 41)), budget=1e6),
        budget(steps=(CostStep(1, UNBROKEN * 2, None), CostStep(2, "Rest", 5.25, False))),
    ]


def _hostile_carbon_nitrogen():
    return [
        carbon_nitrogen(rows=(RatioRow("Sawdust", 480.0),)),
        carbon_nitrogen(rows=(RatioRow(LONG, 0.1, LONG), RatioRow(UNBROKEN * 2, 4000.0, LONG),
                              RatioRow("a", 24.0), RatioRow("b", 24.1, mix=True),
                              RatioRow("c", None))),
        carbon_nitrogen(below=LONG, above=LONG,
                        turning=Threshold(16.0, LONG, practice=True)),
    ]


def _hostile_season():
    return [
        season(bars=(SeasonBar("1", "Now", DAY(2026, 5, 5), DAY(2026, 5, 5), ""),), marks=(),
               today=None),
        season(bars=(SeasonBar("1", LONG, None, DAY(2036, 1, 1), LONG),
                     SeasonBar("2", UNBROKEN * 2, DAY(2026, 1, 1), None, UNBROKEN),
                     SeasonBar("33", "c", None, None, "when dry"))),
        season(marks=tuple(SeasonMark(DAY(2027, 5, 5 + n % 3), f"{LONG[:30]} {n}")
                           for n in range(8))),
        season(marks=(SeasonMark(DAY(2027, 5, 5), LONG + " " + LONG),)),
        season(bars=tuple(SeasonBar(str(n), f"Action {n}", DAY(2026, 12, 31), DAY(2027, 1, 1), "")
                          for n in range(1, 41))),
    ]


def _hostile_trend():
    def points(values, methods=("m",), days=90):
        return tuple(TrendPoint(DAY(2015, 1, 1) + dt.timedelta(days=days * n), v,
                                methods[n * len(methods) // len(values)])
                     for n, v in enumerate(values))

    return [
        trend(panels=(TrendPanel("pH", "", points([6.0]), 1),)),
        trend(panels=(TrendPanel("pH", "", points([6.0] * 40), 1, Threshold(6.0, LONG)),)),
        trend(panels=(TrendPanel("P", "ppm", points([(n * 7) % 23 for n in range(40)]), 0),
                      TrendPanel("K", "ppm", points([5, 5, 90000, 5, None, 7]), 0,
                                 Threshold(10, "t", practice=True)))),
        trend(panels=(TrendPanel(LONG, UNBROKEN, points(list(range(1, 13)),
                                                        tuple(f"{LONG} {n}" for n in range(6)))),)),
        trend(panels=(TrendPanel("P", "ppm", (TrendPoint(DAY(2020, 1, 1), 0.5, censor="<"),
                                              TrendPoint(DAY(2020, 1, 1), 0.0),
                                              TrendPoint(DAY(2020, 1, 2), 4.0, low=0, high=9))),)),
    ]


def _hostile_compare():
    names = tuple(f"{LONG} {n}" for n in range(40))
    return [
        compare(names=("A",), columns=(CompareColumn("pH", "", (6.0,), 1, low=6.0),)),
        compare(names=names, columns=tuple(
            CompareColumn(f"Measure {n} {LONG}", "ppm", tuple(float(n * k % 17) for k in range(40)),
                          reference=Threshold(8.0, LONG, practice=True)) for n in range(1, 8))),
        compare(names=("A", "B", "C"), columns=(
            CompareColumn("Equal", "", (5.0, 5.0, 5.0)),
            CompareColumn("Outlier", "ppm", (0.001, None, 1e6), reference=Threshold(3.0, "3")),
            CompareColumn("Log", "ppm", (0.001, None, 1e6), log=True),
            CompareColumn("Zero", "", (0.0, 0.0, None), log=True),
            CompareColumn("None", "", (None, None, None)))),
    ]


def _hostile_map():
    grid = tuple(MapArea(str(n + 1), f"{LONG} {n}", LONG if n % 3 else "", n % 17,
                         ((_box(n % 8 * 60, n // 8 * 40, 55, 35),),)) for n in range(40))
    looks = tuple(f"limit {n}" for n in range(17))
    sliver = ((0.0, 0.0), (3000.0, 1.0), (3000.0, 2.0), (0.0, 1.0), (0.0, 0.0))
    return [
        sketch_map(areas=grid, looks=looks, outlines=()),
        sketch_map(areas=(MapArea("1", "Strip", "", 0, ((sliver,),)),), outlines=()),
        sketch_map(areas=(MapArea("1", UNBROKEN * 2, UNBROKEN * 3, 0,
                                  ((_box(0, 0, 0.4, 900),),)),), outlines=(), unit_m=1.0,
                   length_unit="m"),
        sketch_map(areas=tuple(MapArea(str(n), "same place", "", 1, ((_box(0, 0, 9, 9),),))
                               for n in range(1, 6)), outlines=()),
    ]


def _hostile_tally():
    return [
        tally(rows=(TallyRow("One", 1e-9, "1e-9"),), whole=0, whole_label=""),
        tally(rows=(TallyRow("None", None, ""), TallyRow("Zero", 0, "0")), whole=0,
              whole_label=LONG),
        tally(rows=(TallyRow(UNBROKEN * 2, 1e12, "1,000,000,000,000 USD", LONG),
                    TallyRow(LONG + LONG, 1.0, "1 USD", UNBROKEN * 3)), title=LONG, note=LONG),
        tally(rows=tuple(TallyRow(f"row {n}", n, str(n)) for n in range(60)), whole=60,
              whole_label=LONG),
        tally(rows=(TallyRow("more than the whole", 20, "20"),)),
    ]


def _hostile_spread():
    return [
        spread(rows=(SpreadRow("one", "", 1, (7.0,) * 5, (7.0,)),)),
        spread(rows=(SpreadRow("zero", LONG, 4, (0.0,) * 5),), unit="ppm"),
        spread(rows=tuple(SpreadRow(f"{LONG} {n}", LONG, n, (0.0, n, n * 2.0, n * 3.0, n * 40.0))
                          for n in range(60)), title=LONG, note=LONG, unit=UNBROKEN),
        spread(rows=(SpreadRow(UNBROKEN * 2, UNBROKEN * 3, 9, (1e-9, 1e-3, 1.0, 1e6, 1e12)),
                     SpreadRow("no number", "", 2, (float("nan"),) * 5))),
        spread(rows=(SpreadRow("below zero", "", 9, (-3.0, -1.0, 0.0, 1.0, 2.0)),)),
    ]


def _hostile_ranges():
    wide = PublishedRange(LONG, 1e-9, 1e12, UNBROKEN * 3)
    return [
        ranges(tests=(RangeTest("zero", 0.0, (PublishedRange("none", 0.0, None, "from 0 on"),)),)),
        ranges(tests=(RangeTest(UNBROKEN * 2, 1e6, (wide, wide)),
                      RangeTest("no number", float("nan"), (wide,)),
                      RangeTest("no range", 1.0, ())), title=LONG, note=LONG),
        ranges(tests=tuple(RangeTest(f"{LONG} {n}", float(n), (
            PublishedRange("low", 3.0, 30.0, LONG),)) for n in range(6))),
    ]


HOSTILE = {
    "penetration": _hostile_penetration, "layers": _hostile_layers, "sap": _hostile_sap,
    "cations": _hostile_cations, "salinity": _hostile_salinity,
    "sufficiency": _hostile_sufficiency, "weeds": _hostile_weeds, "budget": _hostile_budget,
    "carbon_nitrogen": _hostile_carbon_nitrogen, "season": _hostile_season,
    "trend": _hostile_trend, "compare": _hostile_compare,
    "sketch_map": _hostile_map, "tally": _hostile_tally, "spread": _hostile_spread,
    "ranges": _hostile_ranges,
}
