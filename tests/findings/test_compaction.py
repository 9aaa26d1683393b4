"""Findings on dense layers, density and water intake: when loosening is advised, and when not."""

from pathlib import Path

import pytest
from model_texts import inside
from sample_reports import report

from findings.field_cases import WRITERS, case_of, needs_of, sources, texts
from loambrief.agronomy.registry import recording
from loambrief.case.load import load_case
from loambrief.charts.penetration import PenetrationSpec
from loambrief.findings.model import Confidence, Grade, NeedKind, Status
from loambrief.tables import references
from loambrief.topics.compaction import findings as compaction

ROOT = Path(__file__).parents[2] / "sample_inputs"
DENSE = [110, 180, 340, 290, 240]
LOOSE = [90, 140, 180, 210, 230]
DEPTHS = [3, 6, 9, 12, 15]


def cone(pushes, *, moisture="field capacity", depths=DEPTHS, places=(), lanes=(), **more):
    points = [{"id": f"P{i}", "readings": list(p)} for i, p in enumerate(pushes)]
    for point, place in zip(points, places, strict=False):
        point |= {"place": place, "traffic": place in lanes}
    return {"date": "2026-04-09", "cone": "small 12.83 mm", "moisture": moisture,
            "depths": depths, "points": points, **more}


def found(**parts):
    return {f.id: f for f in compaction.assess(case_of(**parts)).findings}


def test_loosening_is_advised_with_its_depth():
    """ensures that a dense layer in tilled soil, read at field capacity, gets a depth 1 in below.

    Depth: DeJong-Hughes, an inch under the bottom of the layer; the medians of twelve equal
    pushes cross 300 psi at 8.25 and 11.4 in (straight lines between marks).
    """
    said = compaction.assess(case_of(penetrometer=cone([DENSE] * 12)))
    need = needs_of(said, NeedKind.LOOSEN)["subsoil"]
    assert need.params["top_in"] == pytest.approx(6 + 3 * 120 / 160)
    assert need.params["bottom_in"] == pytest.approx(9 + 3 * 40 / 50)
    assert need.params["depth_in"] == pytest.approx(need.params["bottom_in"] + 1)
    assert need.amount is None
    assert {c.key for c in need.cautions} >= {
        "compaction.caution_utility", "compaction.caution_tile", "compaction.caution_wet"}
    finding = next(f for f in said.findings if f.id == "compaction.resistance.field")
    assert (finding.status, finding.severity) == (Status.LIMITING, 3)
    assert finding.confidence is Confidence.HIGH
    assert finding.advise_against == ()


@pytest.mark.parametrize("moisture", ["dry", "slightly moist", "moist"])
def test_readings_from_drier_soil_are_refused(moisture):
    """ensures that high readings from soil drier than field capacity never lead to loosening."""
    said = compaction.assess(case_of(penetrometer=cone([DENSE] * 12, moisture=moisture)))
    assert not needs_of(said, NeedKind.LOOSEN)
    assert "cone-again" in needs_of(said, NeedKind.MEASURE)
    finding = said.findings[0]
    assert (finding.status, finding.severity) == (Status.UNCERTAIN, 0)
    assert finding.confidence is not Confidence.HIGH
    assert finding.advise_against[0][1].key == "compaction.not_loosening_moisture"
    assert not any(f.id.startswith("compaction.layer") for f in said.findings)


def test_loose_readings_from_slightly_moist_soil_count():
    """ensures that soil a little too dry, yet under the limit, is taken as loose."""
    finding = found(penetrometer=cone([LOOSE] * 12, moisture="slightly moist"))[
        "compaction.resistance.field"]
    assert finding.status is Status.ADEQUATE
    assert finding.needs == ()


def test_readings_from_dry_soil_judge_nothing():
    """ensures that dry soil is called neither dense nor loose, whatever it read."""
    for reading in (LOOSE, DENSE):
        finding = found(penetrometer=cone([reading] * 12, moisture="dry"))[
            "compaction.resistance.field"]
        assert finding.status is Status.UNCERTAIN


def test_loose_readings_from_wet_soil_prove_nothing():
    """ensures that wet soil under the limit is not called loose."""
    finding = found(penetrometer=cone([LOOSE] * 12, moisture="wet"))["compaction.resistance.field"]
    assert finding.status is Status.UNCERTAIN


@pytest.mark.parametrize("tillage", ["no-till", "perennial"])
def test_untilled_soil_is_dug_first(tillage):
    """ensures that the no-till exception (Duiker) holds: dig and look, do not loosen."""
    said = compaction.assess(case_of(field={"tillage": tillage},
                                     penetrometer=cone([DENSE] * 12)))
    assert not needs_of(said, NeedKind.LOOSEN)
    assert "dig" in needs_of(said, NeedKind.MEASURE)
    assert "traffic" in needs_of(said, NeedKind.MANAGE)
    finding = said.findings[0]
    assert finding.status is Status.WATCH
    assert any(e.text.key == "compaction.against_untilled" for e in finding.evidence)
    assert finding.advise_against[0][1].key == "compaction.not_loosening_tillage"


def test_below_half_of_the_points_nothing_is_loosened():
    """ensures that under 50 % of points over 300 psi no loosening is advised (Kentucky)."""
    said = compaction.assess(case_of(penetrometer=cone([DENSE] * 5 + [LOOSE] * 7)))
    finding = said.findings[0]
    assert finding.value == pytest.approx(100 * 5 / 12)
    assert finding.status is Status.WATCH
    assert not needs_of(said, NeedKind.LOOSEN)
    assert finding.advise_against[0][1].key == "compaction.not_loosening_share"


def test_no_depth_without_a_bottom():
    """ensures that a layer whose bottom was not reached is measured deeper, not loosened."""
    said = compaction.assess(case_of(penetrometer=cone([[100, 200, 320, 350, 380]] * 12)))
    assert not needs_of(said, NeedKind.LOOSEN)
    assert "cone-deeper" in needs_of(said, NeedKind.MEASURE)
    layer = next(f for f in said.findings if f.id == "compaction.layer.field")
    assert "not reached" in texts(said)[texts(said).index(
        next(t for t in texts(said) if t.startswith("The dense layer")))]
    assert layer.value == pytest.approx(6 + 3 * 100 / 120)


def test_scattered_spots_have_no_depth():
    """ensures that dense spots at different depths are not given one working depth."""
    pushes = [[320, 200, 150, 150, 150], [150, 320, 150, 150, 150], [150, 150, 320, 150, 150],
              [150, 150, 150, 320, 150]] * 3
    said = compaction.assess(case_of(penetrometer=cone(pushes)))
    assert said.findings[0].value == 100
    assert not needs_of(said, NeedKind.LOOSEN)
    assert "cone-deeper" in needs_of(said, NeedKind.MEASURE)


def test_traffic_lanes_are_judged_apart():
    """ensures that wheel ways and headlands do not raise the share of the field (Kentucky)."""
    ids = found(penetrometer=cone([LOOSE] * 10 + [DENSE] * 4,
                                  places=["bed"] * 10 + ["wheel way"] * 2 + ["headland"] * 2,
                                  lanes=("wheel way", "headland")))
    assert ids["compaction.resistance.field"].value == 0
    assert ids["compaction.resistance.traffic"].value == 100
    assert ids["compaction.resistance.traffic"].place.label == "wheel way, headland"


def test_a_name_is_no_traffic():
    """ensures that only what the case calls traffic is judged apart, whatever its name."""
    push = cone([LOOSE] * 10 + [DENSE] * 4, places=["bed"] * 10 + ["headland"] * 4)
    assert "compaction.resistance.traffic" not in found(penetrometer=push)


def test_metric_readings_give_the_same_answer():
    """ensures that kPa and cm lead where psi and in lead."""
    us = found(penetrometer=cone([DENSE] * 12))
    si = found(penetrometer=cone(
        [[r * 6.894757 for r in DENSE]] * 12, depths=[d * 2.54 for d in DEPTHS],
        depth_unit="cm", pressure_unit="kPa"))
    for key in ("compaction.resistance.field", "compaction.layer.field"):
        assert si[key].value == pytest.approx(us[key].value, abs=1e-3)


def test_stopped_pushes_and_empty_depths():
    """ensures that readings that were not taken are left out, never taken as zero."""
    pushes = [[*DENSE[:3], None, None], *([DENSE] * 11)]
    ids = found(penetrometer=cone(pushes))
    assert ids["compaction.resistance.field"].results[2].details["taken"] == [12, 12, 12, 11, 11]
    gap = found(penetrometer=cone([[110, None, 340, 290, 240]] * 12))
    assert "compaction.layer.field" in gap
    none = compaction.assess(case_of(penetrometer=cone([[None] * 5] * 3)))
    assert [m.what.key for m in none.missing] == ["compaction.missing_cone"]


def test_without_a_cone_it_is_named_as_missing():
    """ensures that no statement on dense layers is made without readings."""
    said = compaction.assess(case_of())
    assert said.findings == ()
    assert said.missing[0].consequence.key == "compaction.missing_cone_means"


def test_the_rule_of_the_trade_is_marked_and_answered():
    """ensures that the trade's band is common practice, with the literature beside it."""
    band = found(penetrometer=cone([DENSE] * 12))["compaction.trade_band"]
    assert band.grade is Grade.PRACTICE
    assert band.severity == 0 and band.needs == ()
    named = {s for e in band.evidence for s in e.sources}
    assert {"taylor-1967-cotton", "dasilva-1994-llwr", "urrbrae-root-probe"} <= named


@pytest.mark.parametrize(
    ("density", "status", "severity"),
    [("1.25 g/cm3", Status.ADEQUATE, 0), ("1.62 g/cm3", Status.WATCH, 1),
     ("1.70 g/cm3", Status.LIMITING, 2)],
)
def test_density_by_texture(density, status, severity):
    """ensures that density is judged by the limits of its texture (NRCS, silt loam)."""
    ids = found(slice_={"depth": "0-6 in", "bulk_density": density})
    finding = ids["compaction.density.A.0-6"]
    assert (finding.status, finding.severity) == (status, severity)


def test_little_air_is_a_warning():
    """ensures that 4.4 % air (density 1.50, 26 % water, own arithmetic) raises the severity."""
    ids = found(slice_={"depth": "0-6 in", "bulk_density": "1.50 g/cm3", "water_content": "26 %"})
    finding = ids["compaction.density.A.0-6"]
    air = next(r for r in finding.results if r.formula == "air_filled_porosity_pct")
    assert air.value == pytest.approx(100 * (1 - 1.5 / 2.65) - 39)
    assert finding.severity == 1


def test_density_without_texture_is_not_judged():
    """ensures that a density without a texture is missing its limits, and says so."""
    case = case_of(slice_={"depth": "0-6 in", "bulk_density": "1.50 g/cm3"},
                   sample={"texture": None})
    said = compaction.assess(case)
    assert not said.findings
    assert "compaction.missing_texture" in {m.what.key for m in said.missing}


@pytest.mark.parametrize(
    ("rates", "status", "severity"),
    [(["0.1 in/h", "0.12 in/h", "0.11 in/h", "0.1 in/h"], Status.LIMITING, 2),
     (["0.35 in/h", "0.2 in/h", "0.5 in/h"], Status.UNCERTAIN, 0),
     (["15 mm/h", "18 mm/h"], Status.UNCERTAIN, 0),
     (["0.1 in/h"], Status.UNCERTAIN, 0),
     (["15 mm/h", "18 mm/h", "16 mm/h", "17 mm/h"], Status.ADEQUATE, 0)],
)
def test_intake_beside_its_texture(rates, status, severity):
    """ensures that intake is held against its texture (Hillel, silt loam 10 to 20 mm/h)."""
    finding = found(infiltration={"date": "2026-04-09", "rates": rates})["compaction.infiltration"]
    assert (finding.status, finding.severity) == (status, severity)


def test_rings_that_cannot_tell_ask_for_rings_only():
    """ensures that an interval over the expected minimum leads to rings, not to a measure.

    Mean of 0.35, 0.2 and 0.5 in/h is 0.35 with a 95 % t interval of about -0.02 to 0.72 in/h
    (t = 4.303 at 2 degrees of freedom, Student's table); silt loam takes 0.39 in/h (Hillel).
    """
    said = compaction.assess(case_of(infiltration={
        "date": "2026-04-09", "rates": ["0.35 in/h", "0.2 in/h", "0.5 in/h"]}))
    finding = next(f for f in said.findings if f.id == "compaction.infiltration")
    assert finding.confidence is Confidence.LOW
    assert [(n.kind, n.item) for n in finding.needs] == [(NeedKind.MEASURE, "rings")]
    title, expected = (WRITERS["us"].write(m) for m in (
        finding.title, next(e.text for e in finding.evidence
                            if e.text.key == "compaction.evidence_expected")))
    assert "cannot be told apart from normal" in title and "slower" not in title
    assert "takes less." not in expected.replace("whether this soil takes less", "")


@pytest.mark.parametrize("moisture", ["moist", "dry"])
def test_a_lane_that_shows_no_dense_layer_asks_only_for_a_reading(moisture):
    """ensures that wheel ways read in soil below field capacity change no traffic."""
    said = compaction.assess(case_of(penetrometer=cone(
        [LOOSE] * 10 + [DENSE] * 2, moisture=moisture, places=["bed"] * 10 + ["wheel way"] * 2,
        lanes=("wheel way",))))
    lane = next(f for f in said.findings if f.id == "compaction.resistance.traffic")
    assert [(n.kind, n.item) for n in lane.needs] == [(NeedKind.MEASURE, "cone-again")]


def test_exactly_at_the_limit_is_not_over_it():
    """ensures that 300 psi counts as not over 300 psi, and that the text says so."""
    finding = found(penetrometer=cone([[100, 300, 200, 200, 200], [100, 301, 200, 200, 200]]))[
        "compaction.resistance.field"]
    assert finding.results[0].details["over"] == 1
    body = WRITERS["us"].write(finding.body[0])
    assert "1 of 2" in body and "exactly 300" in body and "is not counted" in body


def test_a_limit_is_not_a_rate():
    """ensures that "<0.1 in/h" enters no mean."""
    finding = found(infiltration={"date": "2026-04-09", "rates": ["<0.1 in/h", "0.4 in/h"]})[
        "compaction.infiltration"]
    assert finding.value == pytest.approx(0.4)
    only = found(infiltration={"date": "2026-04-09", "rates": ["<0.1 in/h"]})[
        "compaction.infiltration"]
    assert only.value is None and only.status is Status.UNCERTAIN


CASES = [
    {"penetrometer": cone([DENSE] * 12)},
    {"penetrometer": cone([DENSE] * 2, moisture="dry", cone="other")},
    {"penetrometer": cone([LOOSE], moisture="wet")},
    {"penetrometer": cone([[320, 340, 350, 360, 380]] * 12), "field": {"tillage": "no-till"}},
    {"penetrometer": cone([DENSE] * 12), "field": {"drainage": "poorly drained"}},
    {"penetrometer": cone([DENSE] * 12), "field": {"drainage": "tile drained"}},
    {"penetrometer": cone([DENSE] * 4 + [LOOSE] * 8), "field": {"tillage": "perennial"}},
    {"penetrometer": cone([[320, 200, 150, 150, 150], [150, 320, 150, 150, 150],
                           [150, 150, 320, 150, 150]] * 4)},
    {"penetrometer": cone([[100, 200, 320, 350, 380]] * 12, places=["gate"] * 3)},
    {"penetrometer": cone([[110, 320, 200, 330, 200]] * 12)},
    {"slice_": {"depth": "0-6 in", "bulk_density": "1.66 g/cm3", "water_content": "24 %"}},
    {"slice_": {"depth": "0-6 in", "bulk_density": "1.6 g/cm3", "water_content": "40 %"}},
    {"slice_": {"depth": "0-6 in", "bulk_density": "2.8 g/cm3"}},
    {"slice_": {"depth": "0-6 in", "bulk_density": "1.6 g/cm3"}, "sample": {"texture": None}},
    {"infiltration": {"date": "2026-04-09", "rates": ["0.1 in/h"]}},
    {"infiltration": {"date": "2026-04-09", "place": "gate", "rates": [">30 in/h", "2 in/h"]},
     "sample": {"texture": None}},
    {"infiltration": {"date": "2026-04-09", "rates": ["<0.1 in/h"]}},
    {},
]


@pytest.mark.parametrize("system", ["us", "si"])
@pytest.mark.parametrize("parts", CASES, ids=range(len(CASES)))
def test_every_message_is_written(parts, system):
    """ensures that every message renders in both unit systems, with known sources."""
    said = compaction.assess(case_of(**parts))
    lines = texts(said, system)
    assert all(line and "None" not in line for line in lines)
    assert set(sources(said)) <= set(references())
    if system == "si":
        assert not any("psi" in line or "\u00a0in" in line for line in lines)


@pytest.mark.parametrize("name", ["acid_corn_ohio", "saline_alfalfa_utah", "vegetables_new_jersey"])
def test_sample_cases(name):
    """ensures that the demo cases are judged, recorded and unique, in both unit systems."""
    case = load_case(ROOT / name / "case.yaml").case
    with recording() as trace:
        said = compaction.assess(case)
    ids = [f.id for f in said.findings]
    assert len(ids) == len(set(ids))
    made = {r.calculation for r in trace.results}
    assert all(r.calculation in made for f in said.findings for r in f.results)
    assert texts(said) and texts(said, "si")


@pytest.mark.parametrize(("system", "pressure", "length"), [
    ("us", 1.0, 1.0), ("si", 0.00689476, 2.54)])
def test_the_chart_shows_the_readings(system, pressure, length):
    """ensures that resistance is drawn as it was read, against 300 psi, and in MPa and cm by
    the factors of the units (6.894757 kPa to the psi and 2.54 cm to the inch, both of NIST
    SP 811, from memory, unverified)."""
    cone = load_case(ROOT / "acid_corn_ohio" / "case.yaml").case.penetrometer
    assert (cone.pressure_unit, cone.depth_unit) == ("psi", "in")
    drawn = [x for x in inside(report("acid_corn_ohio", system).blocks)
             if isinstance(x, PenetrationSpec)]
    spec = drawn[0]
    assert all(other == spec for other in drawn)
    read = [p.readings for p in cone.points if not p.traffic]
    assert [p.readings for p in spec.profiles] == [
        tuple(None if r is None else pytest.approx(r * pressure, rel=1e-4) for r in readings)
        for readings in read]
    assert spec.depths == tuple(pytest.approx(d * length, abs=0.51) for d in cone.depths)
    assert spec.count_from == spec.thresholds[0].value == pytest.approx(300 * pressure, rel=1e-4)
