"""Copper and zinc that have gathered in a soil, and what a leaf changes in a soil test."""

import pytest

from findings.test_nutrients import COPPER_VINEYARD, MICRO_METHODS, build, said, words
from loambrief.errors import UnknownName
from loambrief.findings.model import NeedKind, Side, Status, Verdict
from loambrief.topics.judge import judgements
from loambrief.topics.nutrients.formulas_toxic import toxic_rows, toxic_soil_level

MN = {"farm": {"name": "F", "region": "Minnesota"}, "guide": None,
      "case": {"id": "mn", "date": "2026-10-20"}}


def leaf(crop_part="ear leaf", stage="silking", **values):
    return [{"id": "leaf", "part": crop_part, "stage": stage, "date": "2026-07-20", **values}]


def verdict(finding, key):
    return next((j.verdict, j.reason) for j in finding.judgements if j.key == key)


def test_residual_copper_of_a_vineyard():
    """ensures that 66 ppm under vines is over North Carolina's 60 and stops additions.

    Copper that sprays left stays; the petiole at 60 ppm (toxic over 50) speaks for uptake, so no
    further leaf test is asked for, and no spray is named.
    """
    _, found = said(build(**COPPER_VINEYARD))
    copper = found["nutrients.toxic_cu.A1"]
    assert (copper.status, copper.severity) == (Status.EXCESS, 2)
    assert verdict(copper, "Cu") == (Verdict.NOT_NEEDED, "test_high")
    assert [n.item for n in copper.needs] == ["stop-metal-cu"]
    cautions = [words(c) for c in copper.needs[0].cautions]
    assert any("label" in c for c in cautions) and any("heep" in c for c in cautions)
    assert any(e.text.key == "nutrients.evidence_toxic_leaf" and e.side is Side.FOR
               for e in copper.evidence)
    assert copper.advise_against
    assert copper.body[0].params["sprayed"]
    _, other = said(build(layer={"copper": "66 ppm"}, methods=MICRO_METHODS))
    assert not other["nutrients.toxic_cu.A1"].body[0].params["sprayed"]


def test_little_copper_under_trees_is_a_note():
    """ensures that copper of an orchard is told of below every level too, without any action."""
    _, found = said(build(**{**COPPER_VINEYARD, "layer": {"copper": "9 ppm"}, "tissue": []}))
    copper = found["nutrients.toxic_cu.A1"]
    assert (copper.status, copper.severity, copper.needs) == (Status.NOTED, 0, ())
    _, other = said(build(layer={"copper": "9 ppm"}, methods=MICRO_METHODS))
    assert "nutrients.toxic_cu.A1" not in other


def test_a_total_content_is_read_by_its_own_level_alone():
    """ensures that a digestion is held against the levels for total copper, not an extract's."""
    parts = {**COPPER_VINEYARD, "methods": {"copper": "total"}, "tissue": []}
    _, found = said(build(**{**parts, "layer": {"copper": "75 ppm"}}))
    copper = found["nutrients.toxic_cu.A1"]
    assert copper.status is Status.WATCH
    assert copper.sources == ("serbia-vineyard-copper", "ccme-2007-soil")
    assert "nutrients.cu.A1" not in found
    assert [n.kind for n in copper.needs] == [NeedKind.MEASURE] and not copper.advise_against
    assert [n.sources for n in copper.needs] == [("serbia-vineyard-copper", "ccme-2007-soil")]
    assert "no proof of harm" in words(copper.evidence[0].text)


def test_pots_are_a_reason_to_watch_only():
    """ensures that zinc of 50 ppm under soybean limits nothing, and 50 under peanut does.

    Mehlich-3: pots 70 for soybean and 36 for peanut (Borkert 1998); fields of North Carolina 120,
    for peanut 20.
    """
    read = {crop: said(build(field={"crop": crop, "yield_goal": None}, methods=MICRO_METHODS,
                             layer={"zinc": "50 ppm"}))[1]
            for crop in ("soybean", "peanut", "rice")}
    assert "nutrients.toxic_zn.A1" not in read["soybean"]
    assert read["peanut"]["nutrients.toxic_zn.A1"].severity == 2
    assert "nutrients.toxic_zn.A1" not in read["rice"]


def test_a_pot_trial_asks_for_a_leaf_only():
    """ensures that copper of 18 ppm under corn, over pots (17) and under the rule of fields (40),
    asks for a leaf test by the trial's name and stops nothing (Borkert 1998)."""
    _, found = said(build(field={"crop": "corn", "yield_goal": None}, methods=MICRO_METHODS,
                          layer={"copper": "18 ppm"}))
    copper = found["nutrients.toxic_cu.A1"]
    assert [(n.kind, n.sources) for n in copper.needs] == [(NeedKind.MEASURE, ("borkert-1998",))]
    assert not copper.advise_against
    assert [j.verdict for j in copper.judgements] == [Verdict.NOT_JUDGED]


def test_the_following_crop_counts():
    """ensures that zinc of 15 ppm under corn is held against peanut, which follows (watch 12)."""
    _, found = said(build(field={"crop": "corn", "following_crop": "peanut", "yield_goal": None},
                          methods=MICRO_METHODS, layer={"zinc": "15 ppm"}))
    zinc = found["nutrients.toxic_zn.A1"]
    assert zinc.severity == 1 and "eanut" in " ".join(words(e.text) for e in zinc.evidence)


@pytest.mark.parametrize("zinc, has, reason", [
    ("15 ppm", True, "test_low"), ("30 ppm", False, "leaf_enough")])
def test_a_leaf_settles_a_low_test_without_a_calibrated_rate(zinc, has, reason):
    """ensures that the usual rate goes on without waiting where leaf and soil agree, and not at
    all where the leaf holds enough (ear leaf 20 to 70 ppm)."""
    _, found = said(build(layer={"zinc": "0.3 ppm"}, methods={"zinc": "dtpa"},
                          tissue=leaf(zinc=zinc)))
    low = found["nutrients.zn.A1"]
    assert bool(low.needs) is has and verdict(low, "Zn")[1] == reason
    assert all(n.kind is NeedKind.NUTRIENT and "first" not in n.params for n in low.needs)
    side = next(e.side for e in low.evidence if e.text.key == "nutrients.evidence_leaf")
    assert side is (Side.FOR if has else Side.AGAINST)


def test_a_calibrated_rate_stands_beside_the_leaf():
    """ensures that Minnesota's own rate stays, said to disagree, where the leaf holds enough."""
    _, found = said(build(layer={"zinc": "0.3 ppm"}, methods={"zinc": "dtpa"},
                          tissue=leaf(zinc="30 ppm"), **MN))
    low = found["nutrients.zn.A1"]
    assert low.needs[0].amount == 10 and verdict(low, "Zn") == (Verdict.NEEDED, "test_low")
    assert any(e.side is Side.AGAINST and e.text.key == "nutrients.evidence_leaf"
               for e in low.evidence)


@pytest.mark.parametrize("matter, sulfur, amount, reason", [
    ("2.5 %", "0.10 %", 12.5, "leaf_short"), ("2.5 %", None, None, "response_open"),
    ("1.5 %", "0.30 %", None, "leaf_enough"), ("1.5 %", None, 12.5, "response_likely")])
def test_sulfur_by_soil_and_leaf(matter, sulfur, amount, reason):
    """ensures that an open chance is decided by the leaf (0.16 to 0.5 %), a likely one taken back.

    Rate 10 to 15 lb/ac for corn (University of Minnesota).
    """
    tissue = leaf(sulfur=sulfur) if sulfur else []
    _, found = said(build(layer={"organic_matter": matter}, tissue=tissue, **MN))
    finding = found["nutrients.sulfur.A1"]
    assert (finding.needs[0].amount if finding.needs else None) == amount
    assert verdict(finding, "S")[1] == reason


def test_another_crop_s_leaf_says_nothing():
    """ensures that a leaf of another crop or place does not settle this field's test."""
    for tissue in ([{**leaf(zinc="30 ppm")[0], "crop": "soybean"}],
                   [{**leaf(zinc="30 ppm")[0], "place": "Other corner"}]):
        _, found = said(build(layer={"zinc": "0.3 ppm"}, methods={"zinc": "dtpa"}, tissue=tissue))
        assert found["nutrients.zn.A1"].needs[0].item == "tissue"


def test_levels_by_name():
    """ensures that a level is found by who set it, crop before all crops, none for dilute acid.

    A screening level (Montana, 40 ppm of DTPA copper) is never called harm.
    """
    assert [r["crops"] for r in toxic_rows("Zn", "mehlich-3", "peanut")] == ["peanut", "peanut"]
    assert toxic_soil_level("Zn", "mehlich-3", 15, "peanut", by="North Carolina") == "watch"
    assert toxic_soil_level("Zn", "mehlich-3", 15, "peanut", by="pot trial") == "below"
    assert toxic_soil_level("Cu", "hcl", 90, "grape") is None
    assert toxic_soil_level("Cu", "dtpa", 90, "grape") == "watch"
    with pytest.raises(UnknownName):
        toxic_soil_level("Cu", "mehlich-3", 90, "grape", by="Georgia")


ELEMENTS = {"selenium": "total", "molybdenum": "total", "boron": "hot water"}


@pytest.mark.parametrize("field, value, stock, severity, needs", [
    ("selenium", "1.4 ppm", ["cattle"], 1, ["forage trace"]), ("selenium", "1.4 ppm", [], 1, []),
    ("molybdenum", "3 ppm", ["cattle"], 0, []), ("boron", "6 ppm", [], 1, ["tissue"])])
def test_what_harms_stock_is_read_from_the_forage(field, value, stock, severity, needs):
    """ensures that a screening level asks for a test of what is eaten, and of leaves for boron.

    Selenium 1 mg/kg (Canada, farm land), molybdenum 4 (United Kingdom, sludge code), boron by hot
    water 5 (Wyoming, topsoil). Below its level selenium or molybdenum is told of, not called safe.
    """
    _, found = said(build(layer={field: value}, methods={field: ELEMENTS[field]},
                          field={"crop": "corn", "livestock": stock}))
    key = {"selenium": "se", "molybdenum": "mo", "boron": "b"}[field]
    read = found[f"nutrients.toxic_{key}.A1"]
    assert (read.severity, [n.item for n in read.needs]) == (severity, needs)
    assert not read.advise_against
    assert [j.reason for j in read.judgements] == ["level_reached"] * (needs == ["tissue"])


@pytest.mark.parametrize("crop, layer, reason", [
    ("corn", {"boron": "6 ppm"}, "level_reached"), ("alfalfa", {"boron": "6 ppm"}, "test_high"),
    ("corn", {"zinc": "45 ppm"}, "level_reached")])
def test_a_class_of_the_guide_stands_before_a_level_of_harm(crop, layer, reason):
    """ensures that a level of harm leaves a verdict open only where nothing else gives one.

    Levels: Wyoming 5 (boron, hot water), Montana 40 (zinc, DTPA). Minnesota: over 5 ppm of boron
    is high for alfalfa.
    """
    case = build(field={"crop": crop, "yield_goal": None}, layer=layer,
                 methods={"boron": "hot water", "zinc": "dtpa"}, **MN)
    assessment, _ = said(case)
    verdicts = judgements(case, assessment.findings, assessment.missing)
    assert [j.reason for j in verdicts if j.key in ("B", "Zn")] == [reason]


def test_selenium_by_hot_water_is_watched_from_a_tenth():
    """ensures that a soil twenty times below the withdrawn level of the 1970s is looked at.

    Wyoming's guideline of 1984: suspect from 0.1 ppm by hot water.
    """
    assert [toxic_soil_level("Se", "hot water", v, "alfalfa") for v in (0.05, 0.1, 2)] == [
        "below", "watch", "watch"]


@pytest.mark.parametrize("layer, methods, open_", [
    ({"selenium": "1.4 ppm"}, {"selenium": "ab-dtpa"}, True),
    ({"copper": "2 ppm"}, {"copper": "hcl"}, True),
    ({"copper": "2 ppm"}, {"copper": "dtpa"}, False),
    ({"boron": "1 ppm"}, {"boron": "mehlich-3"}, False)])
def test_without_a_level_too_much_is_said_to_be_open(layer, methods, open_):
    """ensures that a method without a published level of harm is named as not judged.

    Boron by Mehlich-3 has the warning of New Jersey (20 ppm).
    """
    assessment, _ = said(build(layer=layer, methods=methods))
    told = [m.what.key for m in assessment.missing]
    assert ("nutrients.missing_toxic" in told) is open_
