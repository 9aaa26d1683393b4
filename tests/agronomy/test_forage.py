"""Feed value, forage quality, grades, nitrate, sugar for horses, ash."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load
from loambrief.topics.forage.formulas import (
    TDN_VARIANTS,
    forage_intake_pct,
    nonfibrous_carbohydrate_pct,
    relative_feed_value,
    relative_forage_quality,
    total_digestible_nutrients_pct,
)
from loambrief.topics.forage.formulas_grades import afgc_hay_grade, external_ash_pct, usda_hay_grade
from loambrief.topics.forage.formulas_safety import (
    forage_nitrate_class,
    hay_weed_caution,
    horse_sugar_caution,
    nitrate_converted,
)
from loambrief.topics.weeds.formulas_names import find_species

LEGUME = dict(kind="legume", cp_pct=20, adf_pct=30, ndf_pct=40, ee_pct=2.5, ash_pct=10, ndfd_pct=45)
GRASS = dict(kind="grass", cp_pct=12, adf_pct=36, ndf_pct=60, ee_pct=2.5, ash_pct=8, ndfd_pct=45)


@pytest.mark.parametrize(
    ("adf", "ndf", "error"), [(30, 40, 6.0), (26, 34, 8.5), (31.5, 40.1, 5.9), (41, 53, 3.1)]
)
def test_error_of_feed_value(adf, ndf, error):
    """ensures that 1 ADF and 1.5 NDF move RFV this far (own arithmetic; Shewmaker and Putnam)."""
    assert relative_feed_value.evaluate(adf_pct=adf, ndf_pct=ndf).details["error"] == pytest.approx(
        error, abs=0.15)


@given(st.floats(15, 45), st.floats(46, 75))
def test_more_fibre_is_worse(adf, ndf):
    """ensures that RFV falls with either fibre."""
    now = relative_feed_value(adf, ndf)
    assert relative_feed_value(adf + 1, ndf) < now
    assert relative_feed_value(adf, ndf + 1) < now


@pytest.mark.parametrize("bad", [(-1, 40), (30, 0), (30, 101), (50, 40)])
def test_impossible_fibre_is_refused(bad):
    """ensures that fibre outside 0 to 100, no NDF, or ADF over NDF is refused."""
    with pytest.raises(ImpossibleInput):
        relative_feed_value(*bad)


def test_two_tdn_variants():
    """ensures that nitrogen-free and plain NDF give 61.3 and 59.8 TDN (own arithmetic)."""
    found = [total_digestible_nutrients_pct("legume", 20, 40, 2.5, 10, 45, v) for v in TDN_VARIANTS]
    assert found == pytest.approx([61.3, 59.8], abs=0.05)
    with pytest.raises(UnknownName):
        total_digestible_nutrients_pct("legume", 20, 40, 2.5, 10, 45, "wet")


@pytest.mark.parametrize(
    ("ndfd", "tdn", "dmi", "rfq"),
    [(45, 54.32, 2.455, 108.4), (55, 58.02, 2.603, 122.8), (65, 61.73, 2.776, 139.3)],
)
def test_grass_quality_by_steps(ndfd, tdn, dmi, rfq):
    """ensures that each step of RFQ comes out as worked by hand from the printed equations.

    Own arithmetic, not a published answer; no published example with all inputs is known.
    """
    result = relative_forage_quality.evaluate(**(GRASS | {"ndfd_pct": ndfd}))
    assert result.details["nfc_pct"] == pytest.approx(21.70, abs=0.005)
    assert result.details["tdn_pct"] == pytest.approx(tdn, abs=0.005)
    assert result.details["dmi_pct"] == pytest.approx(dmi, abs=0.0005)
    assert result.value == pytest.approx(rfq, abs=0.05)


@pytest.mark.parametrize(("cp", "adf", "ndf"), [(20, 30, 40), (18, 34, 44), (22, 27, 35)])
def test_average_legume_scores_alike_on_both(cp, adf, ndf):
    """ensures that a legume of average digestibility scores about alike on both (Undersander)."""
    rfq = relative_forage_quality(**(LEGUME | {"cp_pct": cp, "adf_pct": adf, "ndf_pct": ndf}))
    assert rfq == pytest.approx(relative_feed_value(adf, ndf), abs=6)


def test_ash_moves_quality_and_not_feed_value():
    """ensures that ash 10 to 14 % lowers RFQ from 149.5 to 140.0 (own arithmetic)."""
    assert relative_forage_quality(**LEGUME) == pytest.approx(149.5, abs=0.05)
    assert relative_forage_quality(**(LEGUME | {"ash_pct": 14})) == pytest.approx(140.0, abs=0.05)


@given(st.floats(30, 60))
def test_digestible_fibre_raises_quality(ndfd):
    """ensures that RFQ rises with fibre digestibility in both kinds."""
    for base in (LEGUME, GRASS):
        low = relative_forage_quality(**(base | {"ndfd_pct": ndfd}))
        assert relative_forage_quality(**(base | {"ndfd_pct": ndfd + 2})) > low


def test_mixed_hay_takes_legume_equations():
    """ensures that mixtures go by the legume equations, as published."""
    assert relative_forage_quality(**(LEGUME | {"kind": "mixed"})) == relative_forage_quality(
        **LEGUME)
    with pytest.raises(UnknownName):
        relative_forage_quality(**(LEGUME | {"kind": "straw"}))


def test_quality_refuses_what_cannot_be():
    """ensures that 30-hour values and contents over 100 % are refused or flagged."""
    with pytest.raises(ImpossibleInput):
        relative_forage_quality(**LEGUME, ndfd_hours=30)
    over = nonfibrous_carbohydrate_pct.evaluate(cp_pct=40, ndf_pct=60, ee_pct=5, ash_pct=12)
    assert over.value < 0 and not over.within_range
    with pytest.raises(ImpossibleInput):
        forage_intake_pct("legume", 20, 45, 40, 45, 60)


def test_grades_by_column_and_by_kind():
    """ensures that columns are graded apart, ends go to the better grade, mixed hay has none."""
    result = usda_hay_grade.evaluate(kind="legume", cp_pct=20.4, adf_pct=31.5, ndf_pct=39.8)
    assert result.details["protein"] == "Premium" and result.details["rfv"] == "Good"
    assert result.details["agree"] is False
    ends = usda_hay_grade.evaluate(kind="legume", cp_pct=22, adf_pct=27, ndf_pct=34)
    assert {ends.details[c] for c in ("adf", "ndf", "protein")} == {"Premium"}
    assert usda_hay_grade(kind="mixed", cp_pct=18) is None
    for bad in (dict(kind="grass"), dict(kind="legume", adf_pct=30)):
        with pytest.raises(ImpossibleInput):
            usda_hay_grade(**bad)


@given(st.floats(30, 300), st.floats(30, 300))
def test_better_hay_has_no_worse_council_grade(first, second):
    """ensures that the older scale falls with RFV and has no gap."""
    order = ["Prime", "1", "2", "3", "4", "5"]
    low, high = sorted((first, second))
    assert order.index(afgc_hay_grade(high)) <= order.index(afgc_hay_grade(low))


@given(st.floats(0, 50_000), st.sampled_from(["no3-n", "no3", "kno3"]),
       st.sampled_from(["no3-n", "no3", "kno3"]))
def test_nitrate_forms_are_one_number(value, first, second):
    """ensures that forms convert both ways and the class does not depend on the form used."""
    there = nitrate_converted(value, first, second)
    assert nitrate_converted(there, second, first) == pytest.approx(value)
    for table in ("clemson", "oklahoma_state"):
        a = forage_nitrate_class.evaluate(value_ppm=value, form=first, table=table)
        b = forage_nitrate_class.evaluate(value_ppm=there, form=second, table=table)
        near = abs(a.details["no3_n_ppm"] - round(a.details["no3_n_ppm"], -2)) < 1e-6
        assert near or a.value == b.value


def test_nitrate_tables_have_no_gaps():
    """ensures that each class begins where the one before ends, and the last is open."""
    for name in ("clemson", "oklahoma_state"):
        rows = [r for r in load("forage/nitrate_classes") if r["table"] == name]
        assert rows[0]["low_ppm"] == 0 and rows[-1]["high_ppm"] is None
        for upper, lower in pairwise(rows):
            assert upper["high_ppm"] == lower["low_ppm"]
            assert lower["ration_pct"] <= upper["ration_pct"]
            assert lower["pregnant_pct"] <= upper["pregnant_pct"]
    with pytest.raises(UnknownName):
        forage_nitrate_class(100, "no3", "nowhere")
    with pytest.raises(UnknownName):
        forage_nitrate_class(100, "nitrite")
    with pytest.raises(ImpossibleInput):
        forage_nitrate_class(-1, "no3")


def test_a_limit_goes_to_the_riskier_class():
    """ensures that 4,000 ppm NO3-N is not fed, in any form it is written."""
    assert forage_nitrate_class(4000, "no3-n") == "do not feed"
    assert forage_nitrate_class(nitrate_converted(4000, "no3-n", "kno3"), "kno3") == "do not feed"


def test_soil_in_hay():
    """ensures that 11 % (alfalfa) and 9 % (grass) are the most aimed at (Ohio State)."""
    for kind, most in (("legume", 11), ("mixed", 11), ("grass", 9)):
        assert external_ash_pct.evaluate(kind=kind, ash_pct=most).details["over_goal"] is False
        assert external_ash_pct.evaluate(kind=kind, ash_pct=most + 0.1).details["over_goal"] is True
    assert external_ash_pct("grass", 4) == 0


def test_sugar_limits_for_horses():
    """ensures that the classes lie between the two limits."""
    found = [horse_sugar_caution(n) for n in (9.9, 10, 11.9, 12)]
    assert found == ["below both limits", "over the laminitis limit", "over the laminitis limit",
                     "over both limits"]
    with pytest.raises(ImpossibleInput):
        horse_sugar_caution(101)


def test_an_unlisted_weed_in_hay_is_not_called_safe():
    """ensures that no caution is never an all-clear."""
    result = hay_weed_caution.evaluate(species="Poa annua", share_pct=50.0)
    assert result.value is None and "does not mean" in result.notes[0]


def test_weeds_with_a_hay_caution_are_known():
    """ensures that every weed of the table can be named in a case and carries a hazard."""
    hazards = {name for row in load("weeds/hazards") if row["kind"] == "livestock"
               for name in row["species"].split("|")}
    for row in load("forage/hay_cautions"):
        for name in row["species"].split("|"):
            assert find_species(name)["scientific_name"] == name
            assert name in hazards
