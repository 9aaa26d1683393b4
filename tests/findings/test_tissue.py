"""Tissue tests: ranges by part and stage, no rate from a leaf, leaf against soil."""

import pytest

from findings.carbon_cases import case_of
from loambrief.findings.model import NeedKind, Status, Verdict, nutrient
from loambrief.findings.places import place_of
from loambrief.tables import load
from loambrief.topics.assess import assess as all_topics
from loambrief.topics.tissue import findings as tissue
from loambrief.topics.tissue.formulas import HIGH, SUFFICIENT, TOXIC, tissue_class

LEAF = {"id": "t", "part": "ear leaf", "stage": "silking", "date": "2026-07-20"}


def read(**results):
    case = case_of(tissue=[{**LEAF, **results}], field={"crop": "corn"})
    return case, tissue.assess(case)


def test_ranges_of_enough_crops():
    """ensures that ranges of at least 25 crops are held, each with its print."""
    rows = load("tissue/ranges").rows
    assert len({r["crop"] for r in rows}) >= 25
    assert all(r["locator"] and r["low"] >= 0 for r in rows)
    assert all(r["high"] is None or r["high"] > r["low"] for r in rows)


@pytest.mark.parametrize("results, low", [
    ({"potassium": "1.5 %"}, True), ({"potassium": "2.2 %"}, False),
    ({"zinc": "12 ppm"}, True), ({"zinc": "300 mg/kg"}, False)])
def test_low_leaf_asks_for_samples_and_for_no_rate(results, low):
    """ensures that a short leaf asks for a pair of samples, never for an amount."""
    _, said = read(**results)
    needs = [n for f in said.findings for n in f.needs]
    assert bool(needs) is low
    assert {(f.status, f.severity) for f in said.findings} == {
        (Status.WATCH, 1) if low else (Status.ADEQUATE, 0)}
    assert all(n.kind is NeedKind.MEASURE and n.amount is None for n in needs)
    assert not [j for f in said.findings for j in f.judgements]


def test_range_of_another_part_is_not_borrowed():
    """ensures that a part or stage without a range is said to be unjudged."""
    case = case_of(tissue=[{**LEAF, "part": "whole plant", "potassium": "1.5 %"}],
                   field={"crop": "corn"})
    said = tissue.assess(case)
    assert not said.findings and len(said.missing) == 1


@pytest.mark.parametrize("value, verdict, said", [
    ("1.5 %", Verdict.NOT_NEEDED, True), ("1.5 %", Verdict.NEEDED, False),
    ("3.2 %", Verdict.NEEDED, True), ("2.2 %", Verdict.NOT_NEEDED, False)])
def test_leaf_and_soil_that_disagree_are_said_to(value, verdict, said):
    """ensures that a leaf which contradicts the verdict from the soil test says so."""
    case = case_of(tissue=[{**LEAF, "potassium": value, "place": "E"}], field={"crop": "corn"})
    told = [nutrient("K2O", place_of(case.samples[0]), verdict, "below_critical")]
    found = tissue.with_soil(tissue.assess(case).findings, told)
    assert said is any(e.text.key == "tissue.disagrees" for f in found for e in f.evidence)


def test_ratio_stands_beside_its_criticism():
    """ensures that the trade's ratio is graded as such and doubted."""
    case, said = read(nitrogen="3.0 %", sulfur="0.15 %")
    keys = [e.text.key for f in said.findings for e in f.evidence]
    assert "tissue.practice_ratio" in keys and "tissue.against_ratio" in keys
    assert any(f.topic == "tissue" for f in all_topics(case).findings)


@pytest.mark.parametrize("crop, field, result, rates", [
    ("apple", {}, {"boron": "12 ppm"}, ["B"]),
    ("apple", {}, {"zinc": "5 ppm"}, []),
    ("apple", {}, {"boron": "30 ppm"}, []),
    ("strawberry", {"irrigation": "drip"}, {"nitrogen": "2.2 %"}, ["N"]),
    ("strawberry", {"irrigation": "sprinkler"}, {"nitrogen": "2.2 %"}, [])])
def test_published_sprays_stand_after_the_label(crop, field, result, rates):
    """ensures that a published rate is shown where one fits, and sets nothing."""
    part = {"apple": ("mid-shoot leaf", "late July"), "strawberry": ("upper leaf", "spring growth")}
    case = case_of(tissue=[{**LEAF, "part": part[crop][0], "stage": part[crop][1], **result}],
                   field={"crop": crop, **field})
    found, = tissue.assess(case).findings
    assert [e.text.params["nutrient"] for e in found.evidence
            if e.text.key == "tissue.foliar"] == rates
    assert all(n.kind is NeedKind.MEASURE for n in found.needs) and not found.judgements
    assert not rates or any(b.key == "tissue.body_foliar" for b in found.body)


@pytest.mark.parametrize("region, source", [("Washington", "wsu-nutrient-sprays"),
                                            ("Ohio", "msu-apple-leaf")])
def test_spray_of_the_own_state_goes_first(region, source):
    """ensures that of two published rates the one made for the state of the case is shown."""
    case = case_of(tissue=[{**LEAF, "part": "mid-shoot leaf", "stage": "late July",
                            "boron": "12 ppm"}], field={"crop": "apple"}, farm={"region": region})
    found, = tissue.assess(case).findings
    assert [e.sources for e in found.evidence if e.text.key == "tissue.foliar"] == [(source,)]


@pytest.mark.parametrize("value, low", [("11000 ppm", True), ("18000 ppm", False)])
def test_low_petiole_asks_for_the_soil_first(value, low):
    """ensures that dried petiole nitrate of potato is read, and a low one is held to the soil."""
    case = case_of(tissue=[{**LEAF, "part": "petiole", "stage": "50 to 60 days after planting",
                            "nitrate_n": value}],
                   field={"crop": "potato"})
    found, = tissue.assess(case).findings
    assert any(e.text.key == "tissue.petiole_backup" for e in found.evidence) is low


@pytest.mark.parametrize("value, status, severity", [
    ("500 ppm", Status.WATCH, 1), ("700 ppm", Status.NOTED, 0), ("900 ppm", Status.NOTED, 0)])
def test_only_low_sap_is_watched(value, status, severity):
    """ensures that sap nitrate of tomato is watched below 600 mg/L (UF CV004, from memory)."""
    case = case_of(tissue=[{**LEAF, "part": "petiole sap", "stage": "early bloom",
                            "sap_nitrate_n": value.replace("ppm", "mg/L")}],
                   field={"crop": "tomato"})
    found, = tissue.assess(case).findings
    assert (found.status, found.severity) == (status, severity)


def test_toxic_begins_above_its_level():
    """ensures that a leaf at the printed toxic level is not called toxic, and one above it is."""
    for row in load("tissue/ranges"):
        if row["toxic"] is not None:
            key = {name: row[name] for name in ("crop", "part", "stage", "nutrient")}
            assert tissue_class(value=row["toxic"], **key) in (SUFFICIENT, HIGH)
            assert tissue_class(value=row["toxic"] * 1.01, **key) == TOXIC
