"""Boron by crop, trace elements and the adjusted SAR of irrigation water."""

import pytest

from findings.test_salinity import case_of, texts
from loambrief.errors import UnknownName
from loambrief.findings.model import Side, Status
from loambrief.topics.salinity import findings as salinity
from loambrief.topics.salinity.formulas_crops import boron_threshold
from loambrief.topics.salinity.formulas_water_quality import adjusted_sar, water_trace_limit

PUMPED = {"source": "Well", "date": "2026-08-01"}


def by_id(**parts):
    return {f.id: f for f in salinity.assess(case_of(**parts)).findings}


def line(finding, key):
    return next(e for e in finding.evidence if e.text.key == f"salinity.{key}")


def test_boron_is_held_against_the_crop():
    """ensures that 0.8 mg/L speaks against vines (0.5 to 0.75) and for alfalfa (4 to 6)."""
    water = {"water": {**PUMPED, "boron": "0.8 mg/L"}}
    vines, hay = (by_id(field={"crop": crop}, **water)["salinity.water.ions"]
                  for crop in ("grape", "alfalfa"))
    assert line(vines, "boron_crop").side is Side.FOR
    assert line(hay, "boron_crop").side is Side.AGAINST
    assert "from memory" in " ".join(texts(case_of(field={"crop": "alfalfa"}, **water)))


@pytest.mark.parametrize("boron, status", [
    ("0.3 mg/L", Status.ADEQUATE), ("0.6 mg/L", Status.WATCH), ("1.2 mg/L", Status.LIMITING)])
def test_boron_of_the_extract(boron, status):
    """ensures that boron of the soil's own water is judged by the crop's threshold."""
    slice_ = {"depth": "0-6 in", "ph": 7.8, "extract": {"boron": boron}}
    found = by_id(slice_=slice_, field={"crop": "grape"})["salinity.boron.W"]
    assert found.status is status and bool(found.needs) is (status is not Status.ADEQUATE)
    other = by_id(slice_=slice_, field={"crop": "tall fescue"})["salinity.boron.W"]
    assert other.status is Status.UNCERTAIN and not other.needs  # no row: said, not passed over


def test_selenium_and_molybdenum_are_the_stock_s_harm():
    """ensures that they ask for a forage test where stock eat the crop, and for none elsewhere."""
    water = {**PUMPED, "selenium": "0.05 mg/L", "copper": "0.1 mg/L", "manganese": "0.4 mg/L"}
    hay = by_id(field={"crop": "alfalfa", "livestock": ["cattle"]}, water=water)
    trace = hay["salinity.water.trace"]
    assert (trace.status, trace.severity) == (Status.WATCH, 1)
    assert [n.item for n in trace.needs] == ["forage trace"]
    assert [r.inputs["element"] for r in trace.results] == ["copper", "selenium"]
    corn = by_id(field={"crop": "cotton"}, water=water)["salinity.water.trace"]
    assert not corn.needs


def test_more_than_any_soil_takes_limits():
    """ensures that copper of 6 mg/L is over both limits, manganese counts on acid soil alone."""
    water = {**PUMPED, "copper": "6 mg/L", "manganese": "0.4 mg/L"}
    trace = by_id(slice_={"depth": "0-6 in", "ph": 5.4}, water=water)["salinity.water.trace"]
    assert (trace.status, trace.severity) == (Status.LIMITING, 2)
    assert [r.value for r in trace.results] == ["severe", "slight to moderate"]


def test_lime_that_settles_raises_sodium():
    """ensures that bicarbonate water is held against its adjusted SAR beside the plain one.

    HCO3/Ca 4, 1.0 dS/m leaves 0.82 meq/L (FAO 29, table 11); with Mg 1: 10/0.91^0.5 = 10.5.
    """
    water = {**PUMPED, "ec": "1.0 dS/m", "sodium": "10 meq/L", "calcium": "2 meq/L",
             "magnesium": "1 meq/L", "bicarbonate": "8 meq/L"}
    sealing = by_id(water=water)["salinity.water.infiltration"]
    told = line(sealing, "adjusted_sar")
    assert told.text.params["adjusted"] == pytest.approx(10.48, abs=0.01)
    assert told.text.params["adjusted"] > sealing.value


def test_formulas_at_their_ends():
    """ensures that the table is held at its ends and flagged, unknown names are refused."""
    far = adjusted_sar.evaluate(na_meq_l=5, ca_meq_l=0.1, mg_meq_l=1, bicarbonate_meq_l=9,
                                ecw_ds_m=0.05)
    assert not far.within_range and far.details["calcium"] == pytest.approx(0.18)
    assert adjusted_sar(10, 100, 1, 1, 20) == pytest.approx(10 / ((19.94 + 1) / 2) ** 0.5)
    with pytest.raises(UnknownName):
        water_trace_limit("gold", 1)
    assert boron_threshold("tall fescue") is None


@pytest.mark.parametrize("system", ["us", "si"])
def test_every_message_can_be_written(system):
    """ensures that no message lacks a value."""
    slice_ = {"depth": "0-6 in", "ph": 5.4, "extract": {"boron": "1 mg/L"}}
    water = {**PUMPED, "boron": "0.8 mg/L", "selenium": "0.05 mg/L", "molybdenum": "0.005 mg/L",
             "ec": "1.0 dS/m", "sodium": "10 meq/L", "calcium": "2 meq/L", "magnesium": "1 meq/L",
             "bicarbonate": "8 meq/L"}
    for crop in ("grape", "alfalfa"):
        case = case_of(slice_, field={"crop": crop, "livestock": ["cattle"]}, water=water)
        assert all(texts(case, system))


@pytest.mark.parametrize("crop, rooted", [("grape", True), ("cotton", False)])
def test_chloride_of_the_soil_is_said_to_be_open(crop, rooted):
    """ensures that chloride of the extract, for which no limit is held, is not passed over."""
    extract = {"chloride": "14 meq/L"}
    case = case_of(slice_={"depth": "0-12 in", "ph": 7.2, "extract": extract},
                   field={"crop": crop})
    told = [m for m in salinity.assess(case).missing
            if m.what.key == "salinity.missing_chloride"]
    assert [m.consequence.params["rooted"] for m in told] == [rooted]
