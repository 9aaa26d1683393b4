"""Findings on exchangeable cations: described, not aimed at; few limits; nothing from lime."""

from pathlib import Path

import pytest

from findings.field_cases import case_of, needs_of, sources, texts
from loambrief.agronomy.registry import recording
from loambrief.case.load import load_case
from loambrief.findings.model import Confidence, Grade, NeedKind, Side, Status
from loambrief.tables import references
from loambrief.topics.cations import findings as cations

ROOT = Path(__file__).parents[2] / "sample_inputs"
SLICE = {"depth": "0-6 in", "ph": 6.0, "buffer_ph": 6.7, "calcium": "1400 ppm",
         "magnesium": "180 ppm", "potassium": "130 ppm", "sodium": "12 ppm"}
METHODS = {"ph": "water 1:1", "buffer": "smp", "cations": "mehlich-3"}


def cation_case(slice_=None, *, methods=None, sample=None, region="Ohio", **parts):
    keys = {"methods": {**METHODS, **(methods or {})}, "fizz": "none", **(sample or {})}
    made = {**SLICE, **(slice_ or {})}
    return case_of(slice_={k: v for k, v in made.items() if v is not None}, sample=keys,
                   farm={"name": "Thornlea", "region": region}, **parts)


def by_id(case):
    return {f.id: f for f in cations.assess(case).findings}


def test_shares_are_described_and_ask_for_nothing():
    """ensures that saturations, hydrogen included, are a note without needs or severity."""
    found = by_id(cation_case())["cations.saturation.A"]
    assert (found.status, found.severity, found.needs) == (Status.NOTED, 0, ())
    shares = {s["cation"]: s["pct"] for s in found.title.params["shares"]}
    assert sum(shares.values()) == pytest.approx(100)
    assert shares["H"] == pytest.approx(100 * 3.6 / found.value)
    assert found.value == pytest.approx(1400 / 200.39 + 180 / 121.525 + 130 / 390.983
                                        + 12 / 229.8977 + 3.6)


def test_the_trade_rule_stands_beside_its_refutation():
    """ensures that the ranges are graded as practice with the reviews against them."""
    found = by_id(cation_case())["cations.saturation.A"]
    practice = [e for e in found.evidence if e.grade is Grade.PRACTICE]
    assert practice and practice[0].side is Side.FOR
    against = [e for e in found.evidence if e.side is Side.AGAINST]
    assert any({"kopittke-menzies-2007", "chaganti-culman-2017"} <= set(e.sources)
               for e in against)
    assert found.advise_against[0][0].key == "cations.avoid_balancing"


@pytest.mark.parametrize("change", [
    {"slice_": {"ph": 7.4, "buffer_ph": None}}, {"sample": {"fizz": "slight"}},
    {"slice_": {"carbonate": "2 %"}},
    {"slice_": {"cec": "7 meq/100g"}, "methods": {"cec": "ammonium acetate"}},
])
def test_limy_soil_prints_no_shares(change):
    """ensures that no saturation or summed capacity is worked out from dissolved lime."""
    with recording() as trace:
        found = by_id(cation_case(**change))
    assert "cations.suppressed.A" in found and "cations.saturation.A" not in found
    made = {r.formula for r in trace.results}
    assert not made & {"cec_by_summation", "cation_saturation", "acid_saturation"}


def test_displacement_capacity_is_preferred():
    """ensures that a measured capacity carries the shares, with acidity as the rest."""
    found = by_id(cation_case({"cec": "16 meq/100g"}, methods={"cec": "ammonium acetate"}))
    result = found["cations.saturation.A"]
    assert result.value == 16
    assert sum(s["pct"] for s in result.title.params["shares"]) == pytest.approx(100)


def test_without_acidity_there_is_no_capacity():
    """ensures that a missing buffer is not taken as no acidity."""
    said = cations.assess(cation_case({"buffer_ph": None}))
    assert not [f for f in said.findings if f.id.startswith("cations.saturation")]
    missing = [m for m in said.missing if m.what.key == "cations.missing_cec"]
    assert missing and missing[0].what.params["unknown"] == ["acidity"]


def test_the_labs_own_sum_stands_in():
    """ensures that a lab's summed capacity is used where the buffer is not given here."""
    found = by_id(cation_case({"buffer_ph": None, "cec": "12 meq/100g"},
                              methods={"cec": "summation"}))["cations.saturation.A"]
    assert found.value == 12


def test_a_lab_sum_far_off_lowers_confidence():
    """ensures that two sums more than 15 % apart disagree."""
    near = by_id(cation_case({"cec": "12.4 meq/100g"}, methods={"cec": "summation"}))
    far = by_id(cation_case({"cec": "18 meq/100g"}, methods={"cec": "summation"}))
    assert near["cations.saturation.A"].confidence is Confidence.HIGH
    assert far["cations.saturation.A"].confidence is Confidence.MEDIUM


def test_mehlich_acidity_by_volume_is_not_added_to_charges_by_mass():
    """ensures that meq per 100 cm3 and meq per 100 g are not mixed."""
    said = cations.assess(cation_case({"buffer_ph": 6.1}, methods={"buffer": "mehlich"}))
    assert not [f for f in said.findings if f.id.startswith("cations.saturation")]


def test_unmeasured_sodium_is_not_zero():
    """ensures that no sodium share is printed where sodium was not measured."""
    found = by_id(cation_case({"sodium": None}))["cations.saturation.A"]
    assert "Na" not in {s["cation"] for s in found.title.params["shares"]}
    assert any("not measured" in t for t in texts(cations.assess(cation_case({"sodium": None}))))


def test_a_limit_is_not_a_value():
    """ensures that "<20 ppm" of magnesium is neither low nor used."""
    said = cations.assess(cation_case({"magnesium": "<20 ppm"}))
    assert not [f for f in said.findings if "magnesium" in f.id or "saturation" in f.id]


@pytest.mark.parametrize(("mg", "region", "low", "found"), [
    ("30 ppm", "Ohio", True, True), ("45 ppm", "Ohio", False, True),
    ("60 ppm", "Ohio", None, False),
    ("45 ppm", "Kansas", None, False), ("30 ppm", "Kansas", True, True),
    ("90 ppm", "Ontario", False, True),
])
def test_magnesium_limits_by_region(mg, region, low, found):
    """ensures the limits: 35 ppm low (Michigan State), 50 in Ohio, 100 in Ontario for dolomite."""
    finding = by_id(cation_case({"magnesium": mg}, region=region)).get("cations.magnesium.A")
    assert (finding is not None) is found
    if found:
        assert (finding.status is Status.LIMITING) is low


def test_dolomitic_lime_before_magnesium_fertilizer():
    """ensures that a low magnesium asks for an amount, and a middling one only for the lime."""
    low = needs_of(cations.assess(cation_case({"magnesium": "30 ppm", "ph": 5.6})),
                   NeedKind.NUTRIENT)["Mg"]
    assert (low.amount, low.low, low.high, low.unit) == (50, 50, 100, "lb/ac")
    middling = needs_of(cations.assess(cation_case({"magnesium": "45 ppm", "ph": 5.6})),
                        NeedKind.NUTRIENT)["Mg"]
    assert middling.amount is None and middling.text.key == "cations.need_dolomitic"
    unlimed = cations.assess(cation_case({"magnesium": "45 ppm", "ph": 6.6}))
    assert not needs_of(unlimed, NeedKind.NUTRIENT)


def test_magnesium_need_and_lime_share_a_place():
    """ensures that the planner can see that lime and magnesium belong together."""
    from loambrief.topics.acidity import findings as acidity

    case = cation_case({"magnesium": "30 ppm", "ph": 5.6})
    lime = needs_of(acidity.assess(case), NeedKind.LIME)["lime"]
    magnesium = needs_of(cations.assess(case), NeedKind.NUTRIENT)["Mg"]
    assert lime.place == magnesium.place and lime.area_ac == magnesium.area_ac


def test_pennsylvania_counts_magnesium_by_share():
    """ensures that less than 5 % of the capacity is deficient there."""
    slice_ = {"magnesium": "60 ppm", "calcium": "2600 ppm"}
    assert "cations.magnesium.A" in by_id(cation_case(slice_, region="Pennsylvania"))
    assert "cations.magnesium.A" not in by_id(cation_case(slice_, region="Kansas"))


def test_low_calcium_is_left_to_the_lime():
    """ensures that an acid soil low in calcium gets no second product."""
    acid = cations.assess(cation_case({"calcium": "250 ppm", "ph": 5.2, "buffer_ph": 6.4}))
    found = {f.id: f for f in acid.findings}["cations.calcium.A"]
    assert found.severity == 2 and not found.needs
    sweet = cations.assess(cation_case({"calcium": "250 ppm", "ph": 6.6}))
    assert needs_of(sweet, NeedKind.MANAGE)["calcium"].amount is None


def test_magnesium_above_calcium_is_watched():
    """ensures the Michigan State rule: act only where magnesium equals or passes calcium."""
    found = by_id(cation_case({"calcium": "600 ppm", "magnesium": "400 ppm"}))
    assert found["cations.calcium.A"].status is Status.WATCH
    assert "cations.calcium.A" not in by_id(cation_case({"calcium": "600 ppm"}))


def test_tetany_only_where_stock_eat_the_crop():
    """ensures that the warning needs ruminants, a forage, and potassium above magnesium."""
    rich = {"potassium": "480 ppm", "magnesium": "110 ppm"}
    forage = {"crop": "tall fescue", "tillage": "perennial"}
    stock = cation_case(rich, field={**forage, "livestock": ["cattle"]})
    found = by_id(stock)["cations.tetany.A"]
    need = needs_of(cations.assess(stock), NeedKind.MEASURE)["forage minerals"]
    assert found.severity == 1 and need.amount is None
    assert any("veterinarian" in t for t in texts(cations.assess(stock)))
    for other in (cation_case(rich, field=forage),
                  cation_case(rich, field={**forage, "livestock": ["hogs"]}),
                  cation_case(rich, field={"livestock": ["cattle"]}),
                  cation_case({"potassium": "80 ppm"}, field={**forage, "livestock": ["sheep"]})):
        assert "cations.tetany.A" not in by_id(other)


def test_tetany_is_a_limit_where_magnesium_is_scarce_too():
    """ensures that K 520 and Mg 42 ppm under dairy grass limit, by charge 1.33 over 0.35.

    Forage limit K/(Ca + Mg) 2.2 (Rahman 2022); magnesium scarce below 50 ppm (Tri-State).
    """
    poor = {"potassium": "520 ppm", "magnesium": "42 ppm"}
    case = cation_case(poor, field={"crop": "grass hay", "tillage": "perennial",
                                    "livestock": ["dairy"]})
    found = by_id(case)["cations.tetany.A"]
    assert (found.status, found.severity) == (Status.WATCH, 2)
    assert found.value == pytest.approx(3.8, abs=0.1)


def test_dolomitic_lime_is_taken_where_lime_is_due():
    """ensures that low magnesium under pH 4.6 asks for dolomitic lime and does not warn of it."""
    case = cation_case({"magnesium": "20 ppm", "ph": 4.6})
    need = needs_of(cations.assess(case), NeedKind.NUTRIENT)["Mg"]
    assert need.params["take_dolomitic"] and not need.cautions
    assert any("Use dolomitic lime here" in t for t in texts(cations.assess(case)))


def test_make_up_for_the_chart():
    """ensures that the chart gets hydrogen too, and nothing from limy samples."""
    states = cations.cation_make_up(cation_case())
    assert set(states[0].shares) == {"Ca", "Mg", "K", "Na", "H"}
    assert not cations.cation_make_up(cation_case(sample={"fizz": "strong"}))


def _variants():
    yield cation_case()
    yield cation_case({"sodium": None, "cec": "18 meq/100g"}, methods={"cec": "summation"})
    yield cation_case({"cec": "16 meq/100g"}, methods={"cec": "ammonium acetate"})
    yield cation_case({"ph": 8.0, "buffer_ph": None, "carbonate": "5 %", "cec": "9 meq/100g"},
                      methods={"cec": "ammonium acetate"}, sample={"fizz": "strong"})
    yield cation_case({"buffer_ph": None})
    yield cation_case({"potassium": None, "buffer_ph": None})
    yield cation_case({"magnesium": "30 ppm", "calcium": "250 ppm", "ph": 5.4})
    yield cation_case({"magnesium": "45 ppm", "ph": 5.6})
    yield cation_case({"magnesium": "45 ppm", "calcium": "250 ppm", "ph": 6.7})
    yield cation_case({"magnesium": "60 ppm", "calcium": "2600 ppm"}, region="Pennsylvania")
    yield cation_case({"calcium": "600 ppm", "magnesium": "400 ppm", "ph": 5.5})
    yield cation_case({"potassium": "480 ppm", "magnesium": "40 ppm"}, field={
        "crop": "orchardgrass", "tillage": "perennial", "livestock": ["dairy", "goats"]})


@pytest.mark.parametrize("case", list(_variants()))
def test_every_message_can_be_written(case):
    """ensures that every sentence renders in both unit systems, from known sources."""
    said = cations.assess(case)
    assert said.findings or said.missing
    us, si = texts(said, "us"), texts(said, "si")
    for line in us + si:
        assert line and "None" not in line and "{" not in line, line
        assert "  " not in line, line
    assert not any("lb/ac" in line for line in si)
    assert set(sources(said)) <= set(references())


@pytest.mark.parametrize("name", ["acid_corn_ohio", "saline_alfalfa_utah",
                                  "vegetables_new_jersey"])
def test_sample_cases_are_traced(name):
    """ensures that the numbers of a sample case are recorded and the Utah soil is suppressed."""
    case = load_case(ROOT / name / "case.yaml").case
    with recording() as trace:
        said = cations.assess(case)
    kept = {r.calculation for r in trace.results}
    assert all(r.calculation in kept for f in said.findings for r in f.results)
    limy = any(f.id.startswith("cations.suppressed") for f in said.findings)
    assert limy is (name == "saline_alfalfa_utah")
