"""Findings on layers: the shallow slice beside the tilled layer, and what cannot be."""

from pathlib import Path

import pytest

from findings.field_cases import case_of, needs_of, sources, texts
from loambrief.agronomy.registry import recording
from loambrief.case.load import load_case
from loambrief.findings.model import Confidence, Grade, NeedKind, Status
from loambrief.tables import references
from loambrief.topics.stratification import findings as stratification
from loambrief.topics.stratification.state import layer_state

ROOT = Path(__file__).parents[2] / "sample_inputs"
TOP = {"depth": "0-2 in", "ph": 5.2, "phosphorus": "60 ppm", "potassium": "240 ppm",
       "calcium": "900 ppm", "organic_matter": "3.6 %"}
WHOLE = {"depth": "0-6 in", "ph": 5.8, "phosphorus": "30 ppm", "potassium": "150 ppm",
         "calcium": "1100 ppm", "organic_matter": "2.8 %"}
METHODS = {"ph": "water 1:1", "phosphorus": "mehlich-3-icp", "cations": "mehlich-3",
           "organic_matter": "loss on ignition"}


def layer_case(*slices, sample=None, **parts):
    keys = {"methods": METHODS, "residue": "brushed off",
            "increments": list(slices) or [TOP, WHOLE], **(sample or {})}
    field = {"tillage": "no-till", **parts.pop("field", {})}
    return case_of(sample=keys, field=field, **parts)


def _names(finding):
    """Properties a finding shows, with the grade of the line they stand in."""
    return {row["name"]: e.grade for e in finding.evidence
            if e.text.key == "stratification.for_layers" for row in e.text.params["rows"]}


def by_id(case):
    return {f.id: f for f in stratification.assess(case).findings}


def test_the_soil_below_is_worked_out_by_mass_balance():
    """ensures that 60 ppm in 0-2 in and 30 in 0-6 in leave 15 below, four times less."""
    state = layer_state(layer_case().samples[0])
    p = state.layer("phosphorus")
    assert p.below == pytest.approx(15) and p.below_by == "balance"
    assert p.ratio == pytest.approx(4)
    assert {r.formula for r in p.results} == {"lower_layer_value", "layer_ratio"}


def test_ph_is_compared_but_never_balanced():
    """ensures that no pH is worked out for the lower layer."""
    with recording() as trace:
        found = by_id(layer_case())["stratification.layers.A"]
    assert any(e.text.key == "stratification.for_ph" for e in found.evidence)
    assert all(r.inputs["top_value"] != 5.2 for r in trace.results
               if r.formula == "lower_layer_value")


def test_a_layered_soil_is_watched():
    """ensures that a ratio of two or a pH gap of 0.3 is marked, less is only noted."""
    layered = by_id(layer_case())["stratification.layers.A"]
    assert (layered.status, layered.severity) == (Status.WATCH, 1)
    assert layered.value == pytest.approx(4)
    even = by_id(layer_case({"depth": "0-2 in", "ph": 5.8, "phosphorus": "33 ppm"},
                            WHOLE))["stratification.layers.A"]
    assert (even.status, even.severity) == (Status.NOTED, 0)
    acid = by_id(layer_case({"depth": "0-2 in", "ph": 5.4}, WHOLE))["stratification.layers.A"]
    assert acid.status is Status.WATCH


def test_layers_set_no_rate():
    """ensures that a shallow sample never creates an amount."""
    for case in (layer_case(), layer_case({**TOP, "phosphorus": "150 ppm"}, WHOLE)):
        for finding in stratification.assess(case).findings:
            for need in finding.needs:
                assert need.kind is NeedKind.MEASURE and need.amount is None


def test_a_measured_lower_slice_is_used():
    """ensures that 2-6 in, where sampled, replaces the balance."""
    case = layer_case(TOP, WHOLE, {"depth": "2-6 in", "phosphorus": "18 ppm"})
    p = layer_state(case.samples[0]).layer("phosphorus")
    assert (p.below, p.below_by) == (18, "measured")
    assert layer_state(case.samples[0]).layer("potassium").below_by == "balance"


def test_two_slices_without_the_whole():
    """ensures that 0-2 and 2-6 in are averaged for the layer, not balanced."""
    state = layer_state(layer_case(TOP, {"depth": "2-6 in", "phosphorus": "15 ppm"}).samples[0])
    p = state.layer("phosphorus")
    assert not state.nested and p.whole == pytest.approx(30) and p.below == 15


def test_an_impossible_balance_is_its_own_finding():
    """ensures that a slice holding more than its layer is stated, and not worked out."""
    case = layer_case({**TOP, "phosphorus": "150 ppm"}, WHOLE)
    found = by_id(case)
    wrong = found["stratification.impossible.A"]
    assert wrong.status is Status.UNCERTAIN and wrong.confidence is Confidence.LOW
    assert wrong.title.params["names"] == ["phosphorus"]
    assert "layers again" in needs_of(stratification.assess(case), NeedKind.MEASURE)
    rest = found["stratification.layers.A"]
    assert "phosphorus" not in _names(rest)
    assert rest.confidence is Confidence.MEDIUM


def test_a_limit_is_not_worked_with():
    """ensures that "<5 ppm" enters no balance and is said."""
    case = layer_case({**TOP, "phosphorus": "<5 ppm"}, WHOLE)
    assert layer_state(case.samples[0]).layer("phosphorus").limit
    assert any("only a limit" in t for t in texts(stratification.assess(case)))


@pytest.mark.parametrize(("residue", "doubt", "confidence"), [
    ("brushed off", False, Confidence.HIGH), ("left on", True, Confidence.MEDIUM),
    (None, True, Confidence.HIGH),
])
def test_residue_in_the_sample_is_a_doubt(residue, doubt, confidence):
    """ensures that residue left on, or not recorded, is held against the surface figures."""
    found = by_id(layer_case(sample={"residue": residue}))["stratification.layers.A"]
    assert any(e.text.key == "stratification.against_residue" for e in found.evidence) is doubt
    assert found.confidence is confidence


def test_a_shallow_value_is_not_read_against_a_deep_table():
    """ensures that the text says so, and that a shallow sample alone gives no finding."""
    assert any("must not be compared with" in t for t in texts(stratification.assess(layer_case())))
    said = stratification.assess(layer_case({"depth": "0-3 in", "phosphorus": "40 ppm"}))
    assert not said.findings
    assert [m.what.key for m in said.missing] == ["stratification.missing_whole"]


def test_a_split_is_asked_for_only_without_tillage():
    """ensures that a missing surface sample matters where nothing mixes the soil."""
    no_till = stratification.assess(layer_case(WHOLE))
    assert [m.what.key for m in no_till.missing] == ["stratification.missing_surface"]
    assert not stratification.assess(layer_case(WHOLE, field={"tillage": "conventional"})).missing


def test_grades_tell_measured_from_worked_out():
    """ensures that a balance is graded calculated and a sampled layer measured."""
    case = layer_case(TOP, WHOLE, {"depth": "2-6 in", "phosphorus": "18 ppm"})
    found = by_id(case)["stratification.layers.A"]
    grades = _names(found)
    assert grades["phosphorus"] is Grade.MEASURED
    assert grades["potassium"] is Grade.CALCULATED


def _variants():
    yield layer_case()
    yield layer_case({**TOP, "phosphorus": "150 ppm", "potassium": "900 ppm"}, WHOLE)
    yield layer_case({**TOP, "phosphorus": "<5 ppm"}, WHOLE, sample={"residue": None})
    yield layer_case(TOP, {"depth": "2-6 in", "phosphorus": "15 ppm", "ph": 6.1})
    yield layer_case({"depth": "0-2 in", "ph": 6.4}, WHOLE, sample={"residue": "left on"})
    yield layer_case({"depth": "0-2 in", "ph": 5.8, "phosphorus": "33 ppm"}, WHOLE,
                     field={"tillage": "conventional"})
    yield layer_case({"depth": "0-2 in", "ph": 5.2}, {"depth": "0-6 in", "ph": 5.8})
    yield layer_case({"depth": "0-3 in", "ph": 5.2})
    yield layer_case(WHOLE)


@pytest.mark.parametrize("case", list(_variants()))
def test_every_message_can_be_written(case):
    """ensures that every sentence renders in both unit systems, from known sources."""
    said = stratification.assess(case)
    assert said.findings or said.missing
    us, si = texts(said, "us"), texts(said, "si")
    for line in us + si:
        assert line and "None" not in line and "{" not in line, line
        assert "  " not in line, line
    assert set(sources(said)) <= set(references())


@pytest.mark.parametrize("name", ["acid_corn_ohio", "saline_alfalfa_utah",
                                  "vegetables_new_jersey"])
def test_sample_cases_are_traced(name):
    """ensures that the numbers of a sample case are recorded and its layers can be."""
    case = load_case(ROOT / name / "case.yaml").case
    with recording() as trace:
        said = stratification.assess(case)
    kept = {r.calculation for r in trace.results}
    assert all(r.calculation in kept for f in said.findings for r in f.results)
    assert not any("impossible" in f.id for f in said.findings)
