"""Tests of soil life and structure: read beside others, never a rate."""

import copy

import pytest

from findings.test_weeds import BASE
from loambrief.case.schema import CaseFile
from loambrief.findings.model import Side, Status
from loambrief.report.text import Writer
from loambrief.tables import load, references
from loambrief.topics.soil_life import findings as soil_life
from loambrief.topics.soil_life.formulas import stable_aggregates_suitable_pct

WRITERS = [Writer(language, system) for language in ("en", "es") for system in ("us", "si")]


def assess(slice_=None, methods=None, **observations):
    data = copy.deepcopy(BASE)
    if slice_:
        data["samples"][0]["increments"][0].update(slice_)
        data["samples"][0]["methods"].update(methods or {})
    if observations:
        data["observations"] = {"date": "2026-05-01", **observations}
    return soil_life.assess(CaseFile.model_validate(data))


ALL = {
    "carbon": assess({"active_carbon": "320 ppm"}),
    "burst": assess({"respiration": "85 ppm"}, {"respiration": "24 hour burst"}),
    "trap": assess({"respiration": "150 ppm"}, {"respiration": "4 day trap"}),
    "sieved": assess({"aggregate_stability": "48 %", "organic_matter": "3 %"},
                     {"aggregate_stability": "wet sieving",
                      "organic_matter": "loss on ignition"}),
    "rain": assess({"aggregate_stability": "60 %"}, {"aggregate_stability": "rainfall simulator"}),
    "worms": assess(earthworms=[11, 14, 9, 16, 12], hole_side="20 cm"),
    "slake": assess(slake=[1, 2, 2, 3]),
}


@pytest.mark.parametrize("name", ALL)
def test_no_rate_and_no_work_follows(name):
    """ensures that each test is only noted, with a doubt beside it, in every edition."""
    (finding,) = ALL[name].findings
    assert finding.needs == () and finding.status is Status.NOTED and finding.severity == 0
    assert finding.judgements == () and finding.advise_against == ()
    assert [e for e in finding.evidence if e.side is Side.AGAINST]
    assert set(finding.sources) <= set(references())
    for writer in WRITERS:
        for message in (finding.title, finding.reference, *finding.body,
                        *(e.text for e in finding.evidence)):
            line = writer.write(message)
            assert line and "None" not in line and "{" not in line, line


@pytest.mark.parametrize(("name", "classes"), [
    ("carbon", ["high", "low"]),  # IARI: high above 300; north-eastern survey, from memory: low
    ("burst", ["middle"]),  # 60 to 120 ppm, common practice
    ("trap", []),  # no range is held
    ("sieved", ["low"]),  # 76 % at 3 % organic matter, from memory
    ("rain", ["high"]),  # from memory
    ("worms", ["good", "middle"]),  # 310 a square meter: GWCT 250 to 375; list: over 108
    ("slake", ["low"]),  # from memory
])
def test_ranges_stand_side_by_side(name, classes):
    """ensures that ranges that disagree are both said, and what none covers is not judged."""
    (finding,) = ALL[name].findings
    assert finding.title.params["classes"] == classes
    assert any(b.name == "body_unjudged" for b in finding.body) is (not classes)


def test_worms_need_the_size_of_the_hole():
    """ensures that counts without a hole are named as a gap."""
    told = assess(earthworms=[4, 5])
    assert told.findings == () and [m.what.name for m in told.missing] == ["missing_hole"]


def test_nothing_tested_nothing_said():
    """ensures that a case without such tests gets neither finding nor gap."""
    assert assess().findings == assess().missing == ()


def test_suitable_share_rises_with_organic_matter():
    """ensures that the table is met at its rows and straight between (own step)."""
    rows = load("soil_life/stable_aggregates")
    for row in rows:
        assert stable_aggregates_suitable_pct(organic_matter_pct=row["organic_matter_pct"]) == (
            pytest.approx(row["suitable_pct"]))
    assert stable_aggregates_suitable_pct(organic_matter_pct=3) == pytest.approx(76)
