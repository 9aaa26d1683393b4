"""Water held, allowed depletion and interval: what is said and what stays open."""

import pytest

from findings.field_cases import WRITERS, case_of, messages
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.findings.model import Assessment, Confidence, NeedKind, Status
from loambrief.topics.soil_water import findings as soil_water
from loambrief.topics.soil_water import formulas

PIVOT = {"irrigation": "center pivot", "reference_et": "0.30 in/day"}
SALTY = {"source": "Well", "date": "2026-08-01", "ec": "1.6 dS/m"}


def said(**parts):
    return soil_water.assess(case_of(**parts))


def by_id(**parts):
    return {f.id: f for f in said(**parts).findings}


def test_corn_on_silt_loam():
    """ensures that the water of a pivot corn is held, allowed and used as worked by hand.

    Survey table, silt loam under 1.5 % organic matter: 0.15 to 0.20, middle 0.175, of 39.37 in
    (FAO 56, 1.0 m) is 6.89 in. ETc 1.20 x 0.30 in = 9.14 mm, p = 0.55 - 0.04 x 4.14 = 0.384,
    RAW 2.65 in, 7.4 days.
    """
    found = by_id(field=PIVOT)
    held, interval = found["soil_water.held.A"], found["soil_water.interval.A"]
    results = {r.formula: r for f in found.values() for r in f.results}
    assert results["root_zone_water_in"].number == pytest.approx(6.89, abs=0.01)
    assert results["allowed_depletion"].number == pytest.approx(0.384, abs=0.001)
    assert results["irrigation_interval_days"].number == pytest.approx(7.35, abs=0.05)
    assert held.status is Status.NOTED and held.severity == 0 and not held.needs
    need, = interval.needs
    assert need.kind is NeedKind.MANAGE and need.amount is None and need.cautions
    assert need.params["low"] < need.params["days"] < need.params["high"]


def test_organic_matter_counts_where_it_was_tested():
    """ensures that 3 % in the top 6 in raises the water of that layer alone (0.21 for 0.175)."""
    bare, rich = (by_id(field=PIVOT, slice_=s)["soil_water.held.A"].results[0] for s in (
        None, {"depth": "0-6 in", "ph": 6.4, "organic_matter": "3 %"}))
    assert rich.number - bare.number == pytest.approx(6 * 0.035, abs=1e-6)


def test_leaching_is_built_in():
    """ensures that a salty water adds its share: RAW / (1 - LR), none where it is not known.

    Corn, 1.7 dS/m: LR = 1.6 / (5 x 1.7 - 1.6) = 0.232 (FAO 29).
    """
    need, = by_id(field=PIVOT, water=SALTY)["soil_water.interval.A"].needs
    assert need.params["drain"] == pytest.approx(0.2319, abs=0.0005)
    assert need.params["gross"] == pytest.approx(need.params["allowed"] / 0.7681, rel=1e-3)
    dry = by_id(field=PIVOT)["soil_water.interval.A"]
    assert dry.needs[0].params["drain"] is None and dry.confidence is Confidence.LOW
    assert any(e.text.key == "soil_water.against_no_leaching" for e in dry.evidence)


def test_drip_has_a_daily_use_and_no_interval():
    """ensures that no interval follows where only a part of the root zone is wetted."""
    drip = {**PIVOT, "irrigation": "drip", "crop": "tomato"}
    finding = by_id(field=drip)["soil_water.interval.A"]
    text = WRITERS["us"].write(finding.needs[0].text)
    assert "0.34" in text and "days" not in text
    assert "not judged" in WRITERS["us"].write(finding.body[0])
    need, = by_id(field=drip, water=SALTY)["soil_water.interval.A"].needs
    assert need.params["gross"] == pytest.approx(
        need.params["use"] / (1 - need.params["drain"]), rel=1e-6)
    assert "share for salt, 0." in WRITERS["us"].write(need.text)


@pytest.mark.parametrize("parts, key", [
    ({"field": {**PIVOT, "crop": "tall fescue"}}, "missing_crop"),
    ({"field": {**PIVOT, "crop": "rice"}}, "missing_crop"),
    ({"field": PIVOT, "sample": {"texture": None}}, "missing_texture"),
    ({"field": PIVOT, "sample": {"texture": "muck"}}, "missing_texture"),
    ({"field": {"irrigation": "furrow"}}, "missing_reference"),
])
def test_what_no_table_covers_is_not_judged(parts, key):
    """ensures that a crop, a texture or a reference that is not there is said, not guessed."""
    told = said(**parts)
    assert [m.what.key for m in told.missing] == [f"soil_water.{key}"]
    assert not any(f.needs for f in told.findings)


def test_fields_on_rain_are_left_alone_unless_asked():
    """ensures that rainfed fields get no line, and the deep roots where a depth or ET is given."""
    assert said() == Assessment()
    held = by_id(field={"root_depth": "30 in"})["soil_water.held.A"]
    assert held.results[0].inputs["root_depth_in"] == 30
    deep = by_id(field={"reference_et": "5 mm/day"})
    depth = deep["soil_water.held.A"].results[0].inputs["root_depth_in"]
    assert depth == pytest.approx(66.9, abs=0.1)
    assert "soil_water.interval.A" not in deep


def test_a_dense_layer_speaks_against_deep_roots():
    """ensures that the water above a dense layer is told beside that of the whole root zone."""
    cone = {"date": "2026-10-01", "cone": "small 12.83 mm", "moisture": "field capacity",
            "depths": [6, 12, 18], "points": [
                {"id": str(i), "readings": [150, 390, 380]} for i in range(12)]}
    lines = by_id(field=PIVOT, penetrometer=cone)["soil_water.held.A"].evidence
    dense = next(e for e in lines if e.text.key == "soil_water.against_dense")
    assert 6 < dense.text.params["top"] < 12
    assert dense.text.params["water"] == pytest.approx(dense.text.params["top"] * 0.175, rel=1e-6)
    need, = by_id(field=PIVOT, penetrometer=cone)["soil_water.interval.A"].needs
    share = dense.text.params["top"] / 39.37
    assert need.params["dense_days"] == pytest.approx(need.params["days"] * share, rel=1e-3)
    assert f"or {need.params['dense_days']:.0f} where roots stop" in WRITERS["us"].write(need.text)


@pytest.mark.parametrize("system", ["us", "si"])
def test_every_message_can_be_written(system):
    """ensures that no message lacks a value in either unit system."""
    for parts in ({"field": PIVOT, "water": SALTY}, {"field": {**PIVOT, "irrigation": "drip"}},
                  {"field": {**PIVOT, "irrigation": "flood", "root_depth": "20 in"}},
                  {"field": {**PIVOT, "crop": "rice"}}):
        assert all(WRITERS[system].write(m) for m in messages(said(**parts)))


def test_formulas_refuse_what_cannot_be():
    """ensures that unknown textures, stages and broken layers are refused, muck has no value."""
    with pytest.raises(UnknownName):
        formulas.available_water_capacity("gravel")
    with pytest.raises(UnknownName):
        formulas.crop_water_use("corn", 0.3, stage="late")
    with pytest.raises(ImpossibleInput):
        formulas.root_zone_water_in("loam", 30, [6, 6], [2, 1])
    with pytest.raises(ImpossibleInput):
        formulas.root_zone_water_in("loam", 30, [6], [2, 1])
    assert formulas.root_zone_water_in("muck", 30, [6], [40]) is None
    assert formulas.allowed_depletion("spinach", 12) == 0.1
    assert formulas.allowed_depletion("cotton", 0) == 0.8
    assert formulas.allowed_depletion("rice") is None is formulas.crop_water_use("rice", 0.2)
    assert formulas.crop_water_use("wheat", 10, "initial") == pytest.approx(3.0)
    assert formulas.crop_water_use("soybean", 10, "initial") == pytest.approx(4.0)  # table 12


def test_a_second_table_speaks_against_the_first():
    """ensures that the other published figure is told where there is one, and only there."""
    told = {f.id: [e.text.params for e in f.evidence if e.text.key == "soil_water.against_second"]
            for f in said(field=PIVOT).findings}
    held = by_id(field=PIVOT)["soil_water.held.A"]
    assert [p["water"] for p in told["soil_water.held.A"]] == [held.results[0].details["second"]]
    assert told["soil_water.interval.A"] == []
