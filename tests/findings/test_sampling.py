"""Findings on soil samples: cores, area, depth, age against the guides."""

from pathlib import Path

import pytest

from findings.field_cases import WRITERS, case_of, needs_of, sources, texts
from loambrief.case.load import load_case
from loambrief.findings.model import Confidence, NeedKind, Status, Verdict
from loambrief.tables import references
from loambrief.topics.assess import assess as assess_all
from loambrief.topics.sampling import findings as sampling
from loambrief.topics.sampling.age import age_params, too_old

ROOT = Path(__file__).parents[2] / "sample_inputs"


def said(sample=None, slice_=None, **field):
    return sampling.assess(case_of(sample=sample, slice_=slice_, field=field))


def faults(*args, **kwargs):
    return said(*args, **kwargs).findings[0].title.params["faults"]


def test_a_sample_by_the_guides_is_fine():
    """ensures that 20 cores on 18 ac, 0-6 in, three weeks old, have no fault (Penn State)."""
    finding = said().findings[0]
    assert (finding.status, finding.severity, finding.needs) == (Status.ADEQUATE, 0, ())
    assert finding.confidence is Confidence.HIGH


@pytest.mark.parametrize(
    ("sample", "slice_", "field", "expected"),
    [
        ({"cores": 14}, None, {}, ["cores"]),
        ({"cores": None}, None, {}, ["cores"]),
        ({}, None, {"area": "24 ac"}, ["area"]),
        ({"area": "30 ac"}, None, {"area": "60 ac"}, ["area"]),
        ({"date": "2022-10-01"}, None, {}, ["age"]),
        ({"residue": "left on"}, None, {}, ["residue"]),
        ({}, {"depth": "0-2 in", "ph": 6.0}, {}, ["depth"]),
        ({}, {"depth": "6-12 in", "ph": 6.0}, {}, ["depth"]),
        ({}, None, {"tillage": "no-till"}, ["depth"]),
        ({}, {"depth": "0-3 in", "ph": 6.0}, {"tillage": "perennial"}, []),
        ({"cores": 5, "date": "2021-10-01", "residue": "left on"}, None, {"area": "200 ac"},
         ["cores", "area", "age", "residue"]),
    ],
)
def test_faults_against_the_guides(sample, slice_, field, expected):
    """ensures that each departure from the guides is found (Penn State, Minnesota, Oklahoma)."""
    assert faults(sample, slice_, **field) == expected


def test_no_till_with_both_depths_is_fine():
    """ensures that 6 in and 2 in together are what no-till asks for (Penn State table 1.2-2)."""
    case = case_of(field={"tillage": "no-till"}, sample={"increments": [
        {"depth": "0-2 in", "ph": 5.6}, {"depth": "0-6 in", "ph": 6.0}]})
    assert sampling.assess(case).findings[0].status is Status.ADEQUATE


@pytest.mark.parametrize(("date", "years", "old"), [
    ("2019-10-20", 7.0, True), ("2020-10-18", 6.0, True), ("2020-10-22", 6.0, False)])
def test_how_old_a_sample_is_goes_with_what_is_said(date, years, old):
    """ensures that the age is told in years beside the line at six, one and a half times an
    interval of four (own rule), and that past it no rate is taken."""
    case = case_of(sample={"date": date})
    told = age_params(case, case.samples[0])
    assert told["years"] == pytest.approx(years, abs=0.01)
    assert (told["most"], told["own"]) == (6.0, False)
    assert too_old(case, case.samples[0]) is old


def test_an_area_a_little_large_costs_nothing():
    """ensures that 24 ac is said but no new sample is asked for; 60 ac is."""
    assert not needs_of(said(area="24 ac"), NeedKind.MEASURE)
    assert "soil-sample" in needs_of(said(area="60 ac"), NeedKind.MEASURE)


def test_error_of_the_composite():
    """ensures that the example error is CV over root cores, with the laboratory's added.

    Own arithmetic: P at CV 40 to 100 %, 20 cores, laboratory 6.5 %: 11.0 to 23.3 %.
    """
    evidence = next(e for e in said().findings[0].evidence
                    if e.text.key == "sampling.context_error")
    assert evidence.text.params["low"] == pytest.approx((1600 / 20 + 6.5**2) ** 0.5)
    assert evidence.text.params["high"] == pytest.approx((10000 / 20 + 6.5**2) ** 0.5)
    assert len(evidence.results) == 4


def test_no_soil_test_is_named():
    """ensures that a case without samples gets no rate and is told so."""
    assessment = sampling.assess(case_of(samples=[]))
    assert assessment.findings == ()
    assert assessment.missing[0].what.key == "sampling.missing_soil_test"


EDGES = [
    ({}, None, {}), ({"cores": 1}, None, {}), ({"cores": None, "pattern": "zigzag"}, None, {}),
    ({"date": "2020-01-05"}, None, {"area": "90 ac"}), ({"residue": "left on"}, None, {}),
    ({}, {"depth": "0-2 in", "ph": 6.0}, {}), ({}, {"depth": "6-12 in", "ph": 6.0}, {}),
    ({"cores": 3}, None, {"tillage": "no-till"}),
]


@pytest.mark.parametrize("edge", EDGES, ids=range(len(EDGES)))
def test_every_message_is_written(edge):
    """ensures that every message renders in both unit systems, with known sources."""
    sample, slice_, field = edge
    assessment = said(sample, slice_, **field)
    for system in ("us", "si"):
        lines = texts(assessment, system)
        assert all(line and "None" not in line for line in lines)
    assert set(sources(assessment)) <= set(references())


@pytest.mark.parametrize("name", ["acid_corn_ohio", "saline_alfalfa_utah", "vegetables_new_jersey"])
def test_sample_cases(name):
    """ensures that the demo cases give one finding per sample."""
    case = load_case(ROOT / name / "case.yaml").case
    assessment = sampling.assess(case)
    assert [f.id for f in assessment.findings] == [
        f"sampling.support.{s.id}" for s in case.samples]
    assert texts(assessment) and texts(assessment, "si")


def test_a_sample_too_old_gives_no_rate():
    """ensures that a 7-year-old sample decides nothing and a new one is asked for first.

    Samples every 2 to 4 years (Iowa State, when to sample); from one and a half times the
    interval on no rate is given (our own limit).
    """
    data = {"slice_": {"depth": "0-6 in", "ph": 5.2, "buffer_ph": 6.2, "phosphorus": "6 ppm",
                       "potassium": "80 ppm"},
            "sample": {"cores": 20, "fizz": "none", "methods": {
                "ph": "water 1:1", "buffer": "smp", "phosphorus": "bray-p1",
                "cations": "ammonium-acetate"}},
            "farm": {"name": "F", "region": "Iowa"}, "guide": "iowa_2013"}
    old = assess_all(case_of(**{**data, "sample": {**data["sample"], "date": "2019-10-01"}}))
    fresh = assess_all(case_of(**{**data, "sample": {**data["sample"], "date": "2026-10-01"}}))
    rates = (NeedKind.LIME, NeedKind.NUTRIENT)
    assert not [n for f in old.findings for n in f.needs
                if n.kind in rates and n.amount is not None]
    assert [n for f in fresh.findings for n in f.needs if n.kind in rates]
    told = {j.key: j for j in old.judgements}
    for key in ("P2O5", "K2O", "lime"):
        assert (told[key].verdict, told[key].reason) == (Verdict.NOT_JUDGED, "sample_too_old")
    support = next(f for f in old.findings if f.id.startswith("sampling.support"))
    assert "age" in WRITERS["us"].write(support.title)
    assert any(n.item == "soil-sample" for n in support.needs)
    assert not [1 for f in old.findings if f.topic == "nutrients" for _ in f.advise_against]
