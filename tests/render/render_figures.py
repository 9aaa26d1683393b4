"""Invented charts for the invented advisory."""

from __future__ import annotations

from loambrief.charts import Threshold
from loambrief.charts.penetration import PenetrationSpec, Profile
from loambrief.charts.sap import SapRow, SapSpec
from loambrief.charts.sufficiency import LevelSide, SufficiencyRow, SufficiencySpec
from loambrief.report.blocks import Figure, FigureRow
from loambrief.report.chart_text import chart_words
from loambrief.report.text import Writer

WORDS = chart_words(Writer())
TESTS = SufficiencySpec(
    title="Only potassium stands near its critical level",
    subtitle="Each test divided by its critical level",
    note="Invented numbers.",
    alt="Potassium 112 ppm is near its critical level of 120. Phosphorus 34 ppm is above 20.",
    words=WORDS,
    rows=(
        SufficiencyRow("Potassium", 112, 120, LevelSide.NEAR, "112 ppm of 120", "too close to call",
                       98, 126),
        SufficiencyRow("Phosphorus", 34, 20, LevelSide.ABOVE, "34 ppm of 20", "enough", 29, 39),
    ),
)
CONE = PenetrationSpec(
    title="The hard layer starts at 7 in",
    subtitle="Cone pressure, psi",
    alt="Median pressure passes 300 psi between 7 and 11 inches.",
    words=WORDS,
    depths=(3, 6, 9, 12),
    profiles=(Profile("P1", (110, 175, 335, 240)), Profile("P2", (95, 190, 350, 250))),
    depth_unit="in",
    pressure_unit="psi",
    thresholds=(Threshold(300, "roots slow down"),),
    count_from=300,
)
SAP = SapSpec(
    title="Crop and weed read alike",
    subtitle="Leaf sap, °Brix",
    alt="Alfalfa reads 6.0, sheep sorrel 6.2 Brix.",
    words=WORDS,
    rows=(SapRow("Alfalfa", True, (5.8, 6.2), 6.0, 5.5, 6.5, "diffuse"),
          SapRow("Sheep sorrel", False, (6.1, 6.3), 6.2, 5.9, 6.5, "diffuse")),
)
PICTURES = (
    Figure(TESTS, anchor="figure-tests"),
    FigureRow((Figure(CONE, half=True), Figure(SAP, half=True, anchor="figure-sap"))),
)
