"""Findings on sap readings: corrected, compared with their spread, and never more than a hint."""

from pathlib import Path

import pytest

from findings.field_cases import WRITERS, case_of, needs_of, sources, texts
from loambrief.agronomy.registry import recording
from loambrief.case.load import load_case
from loambrief.findings.model import Confidence, Grade, NeedKind, Status
from loambrief.tables import references
from loambrief.topics.refractometry import findings as refractometry

ROOT = Path(__file__).parents[2] / "sample_inputs"
CROP = {"plant": "corn", "role": "crop", "part": "leaf", "replicates": [6.8, 7.4, 7.0, 6.6, 7.2],
        "temperature": "27 C", "time": "14:10", "line": "sharp"}
WEED = {"plant": "Setaria faberi", "role": "weed", "part": "leaf",
        "replicates": [8.2, 7.6, 8.4, 7.9, 8.0], "temperature": "27 C", "time": "14:25",
        "line": "diffuse"}


def sap(*readings, atc=False, zeroed=True, **more):
    part = {"date": "2026-07-08", "atc": atc, "readings": list(readings), **more}
    return part if zeroed is None else part | {"zeroed": zeroed}


def said(*readings, **more):
    return refractometry.assess(case_of(refractometer=sap(*readings, **more)))


def found(*readings, **more):
    return {f.id: f for f in said(*readings, **more).findings}


def test_readings_are_corrected_upward_when_warm():
    """ensures that 27 C readings rise by about half a degree (International table)."""
    pair = found(CROP, WEED)["refractometry.pair.1-2"]
    corrections = [r.details["correction"] for e in pair.evidence for r in e.results
                   if r.formula == "brix_at_20c"]
    assert len(corrections) == 10
    assert all(0.50 <= c <= 0.52 for c in corrections)


def test_compensated_readings_are_left_alone():
    """ensures that an instrument with compensation is not corrected a second time."""
    pair = found(CROP, WEED, atc=True)["refractometry.pair.1-2"]
    assert pair.value == pytest.approx(7.0 - 8.02)
    assert all(r.details["correction"] == 0 for e in pair.evidence for r in e.results
               if r.formula == "brix_at_20c")


def test_difference_has_its_interval():
    """ensures that crop less weed is given with Welch's interval (scipy in the formula's tests)."""
    pair = found(CROP, WEED, atc=True)["refractometry.pair.1-2"]
    details = pair.results[0].details
    assert details["low"] == pytest.approx(-1.3845, abs=1e-4)
    assert details["high"] == pytest.approx(-0.6555, abs=1e-4)
    assert "clear difference of 1.0" in texts(said(CROP, WEED, atc=True))[0]


def test_no_clear_difference_is_said_so():
    """ensures that an interval that holds zero is not called a difference."""
    weed = WEED | {"replicates": [6.9, 7.3, 7.5]}
    lines = texts(said(CROP, weed))
    assert "no clear difference" in lines[0]


def test_sap_never_carries_an_amount():
    """ensures that sap leads to a test at most, whatever it reads (brief of the user)."""
    for readings in ((CROP, WEED), (CROP | {"replicates": [1.0, 1.1, 1.2]}, WEED), (CROP,)):
        assessment = said(*readings)
        for finding in assessment.findings:
            assert finding.severity <= 1
            for need in finding.needs:
                assert need.kind is NeedKind.MEASURE
                assert (need.amount, need.low, need.high) == (None, None, None)


def test_screening_is_never_trusted_highly():
    """ensures that confidence in sap is medium at best and low with few or odd readings."""
    best = found(CROP, WEED)["refractometry.pair.1-2"]
    assert best.grade is Grade.SCREENING and best.confidence is Confidence.MEDIUM
    few = found(CROP | {"replicates": [7.0]}, WEED, zeroed=False)["refractometry.pair.1-2"]
    assert few.confidence is Confidence.LOW


@pytest.mark.parametrize(("readings", "confidence"), [(5, Confidence.MEDIUM), (4, Confidence.LOW)])
def test_five_readings_make_up_for_one_doubt(readings, confidence):
    """ensures that five replicates are enough and four are not (own rule): with a zero nobody
    set as the one other doubt, the difference shows."""
    crop = CROP | {"replicates": CROP["replicates"][:readings]}
    pair = found(crop, WEED, zeroed=False)["refractometry.pair.1-2"]
    assert pair.confidence is confidence


def test_unknown_temperature_is_missing_not_twenty():
    """ensures that without temperature or compensation nothing is corrected and it is said."""
    crop = {k: v for k, v in CROP.items() if k != "temperature"}
    assessment = said(crop, WEED)
    assert [m.what.key for m in assessment.missing] == ["refractometry.missing_temperature"]
    pair = assessment.findings[0]
    assert pair.status is Status.UNCERTAIN
    assert "sap-again" in needs_of(assessment, NeedKind.MEASURE)
    assert "clear difference of" not in texts(assessment)[0]


def test_single_readings_have_no_interval():
    """ensures that one reading of each plant is shown without a range and asked for again."""
    assessment = said(CROP | {"replicates": [7.0]}, WEED | {"replicates": [8.0]})
    assert assessment.findings[0].results[0].details["low"] is None
    assert "sap-again" in needs_of(assessment, NeedKind.MEASURE)
    assert texts(assessment)


def test_the_rule_of_ten_is_marked_and_answered():
    """ensures that the trade's level stands beside evidence for and against."""
    level = found(CROP)["refractometry.level.1"]
    assert level.grade is Grade.PRACTICE and level.severity == 0 and level.needs == ()
    sides = [e.side.value for e in level.evidence]
    assert sides.count("against") >= 4 and sides.count("for") >= 1


def test_the_line_is_only_written_down():
    """ensures that a diffuse line is an observation, not a sign of calcium."""
    line = found(CROP, WEED)["refractometry.line"]
    assert line.grade is Grade.OBSERVED and line.needs == () and line.severity == 0
    assert any(e.side.value == "against" for e in line.evidence)


def test_poisonous_weed_is_refused():
    """ensures that a weed on the list of harmful plants is flagged, a crop of its genus is not."""
    ids = found(CROP | {"plant": "Solanum lycopersicum"}, WEED | {"plant": "Conium maculatum"})
    assert ids["refractometry.press.2"].severity == 1
    assert "refractometry.press.1" not in ids


def test_conditions_that_differ_count_against():
    """ensures that other parts, hours or places and an unset zero are named."""
    weed = WEED | {"part": "petiole", "time": "09:00", "place": "gate"}
    pair = found(CROP, weed, zeroed=None)["refractometry.pair.1-2"]
    keys = {e.text.key for e in pair.evidence}
    assert keys >= {"refractometry.against_time", "refractometry.against_part",
                    "refractometry.against_place", "refractometry.against_zero"}


@pytest.mark.parametrize(("crop", "weed", "differ"), [
    ("youngest leaf", "youngest full leaf", False), ("Hoja joven", "leaves", False),
    ("leaf", "leaf petiole", True), ("leaf", "leafy stem", True), ("crown", "crown tissue", True),
    ("crown", "Crown", False)])
def test_parts_are_told_by_their_organ(crop, weed, differ):
    """ensures that two parts are alike by the organs they name, not by letters they share."""
    pair = found(CROP | {"part": crop}, WEED | {"part": weed})["refractometry.pair.1-2"]
    assert ("refractometry.against_part" in {e.text.key for e in pair.evidence}) is differ


def test_weeds_alone_are_not_compared():
    """ensures that weed readings without a crop lead to a named gap."""
    assessment = said(WEED)
    assert [m.what.key for m in assessment.missing] == ["refractometry.missing_crop"]
    assert not any(f.id.startswith("refractometry.pair") for f in assessment.findings)


def test_silent_without_an_instrument():
    """ensures that no sap reading is no gap: nothing rests on it."""
    assessment = refractometry.assess(case_of())
    assert assessment.findings == () and assessment.missing == ()


EDGES = [
    (CROP, WEED),
    (CROP | {"replicates": [9.6, 10.3, 10.1]}, WEED | {"replicates": [8.0]}),
    (CROP | {"replicates": [12.0, 12.1, 12.2]},),
    (WEED | {"plant": "Euphorbia esula", "line": "sharp"},),
    (CROP | {"replicates": [0.1, 0.0, 0.2], "temperature": "4 C"}, WEED),
    (CROP | {"replicates": [84.9, 85.0], "temperature": "38 C"}, WEED),
    (CROP | {"replicates": [7.0, 7.0]}, WEED | {"replicates": [8.0, 8.0]}),
    (CROP | {"temperature": "75 C"}, WEED),
]


@pytest.mark.parametrize("atc", [False, True])
@pytest.mark.parametrize("readings", EDGES, ids=range(len(EDGES)))
def test_every_message_is_written(readings, atc):
    """ensures that every message renders in both unit systems, with known sources."""
    assessment = said(*readings, atc=atc, weather="clear")
    for system in ("us", "si"):
        lines = texts(assessment, system)
        assert all(line and "None" not in line for line in lines)
    assert set(sources(assessment)) <= set(references())


@pytest.mark.parametrize("name", ["acid_corn_ohio", "saline_alfalfa_utah", "vegetables_new_jersey"])
def test_sample_cases(name):
    """ensures that the charts can find each corrected reading and its interval in the record."""
    case = load_case(ROOT / name / "case.yaml").case
    with recording() as trace:
        assessment = refractometry.assess(case)
    at = {(r.inputs["reading"], r.inputs["temperature_c"]): r.value for r in trace.results
          if r.formula == "brix_at_20c"}
    intervals = [list(r.inputs["values"]) for r in trace.results if r.formula == "mean_interval"]
    for reading in case.refractometer.readings:
        corrected = [at[v, reading.temperature.value] for v in reading.replicates]
        assert corrected in intervals
    assert texts(assessment) and texts(assessment, "si")


def test_weeds_go_by_their_local_name():
    """ensures that a sap title has the name in the weed list, whatever name was typed."""
    case = load_case(ROOT / "saline_alfalfa_utah" / "case.yaml").case
    titles = [WRITERS["us"].write(f.title) for f in refractometry.assess(case).findings]
    assert any("kochia" in t for t in titles)
    assert not any("Bassia" in t for t in titles)
    bare = case.model_copy(update={"weeds": []})
    assert any("Bassia" in WRITERS["us"].write(f.title)
               for f in refractometry.assess(bare).findings)
