"""Units of nutrients, soil tests, removal, sulfur, micronutrients, calcium and limits."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief.agronomy.crops import crops, find_crop
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load, references
from loambrief.topics.nutrients import formulas as nutrients
from loambrief.topics.nutrients import formulas_limits as limits
from loambrief.topics.nutrients import formulas_manure as manure
from loambrief.topics.nutrients import formulas_micronutrients as micronutrients
from loambrief.topics.nutrients import formulas_removal as removal
from loambrief.topics.nutrients import formulas_soil_tests as soil_tests

AMOUNT = st.floats(0, 1e5)


@given(AMOUNT)
def test_oxides_and_elements_turn_back(amount):
    """ensures that P to P2O5 and K to K2O turn back into themselves (own property)."""
    for element, oxide in (("P", "P2O5"), ("K", "K2O")):
        there = nutrients.fertilizer_form(amount, element, oxide)
        assert nutrients.fertilizer_form(there, oxide, element) == pytest.approx(amount)


@given(AMOUNT, st.floats(0.5, 12))
def test_layers_add_up(ppm, depth):
    """ensures that two layers hold what the whole holds (own property)."""
    whole = nutrients.ppm_to_lb_per_acre(ppm, depth)
    halves = 2 * nutrients.ppm_to_lb_per_acre(ppm, depth / 2)
    assert whole == pytest.approx(halves)


def test_corn_and_soybean_rotation_removal():
    """ensures that 180 bu corn and 60 bu soybean need 100 to 120 lb of each (Ohio ANR-74).

    The sheet also prints 210 lb MAP or 240 lb DAP and 180 lb potash for it.
    """
    def removed(nutrient, test, cec=None):
        return sum(
            nutrients.nutrient_rate("tri_state_2020", crop, nutrient, test, amount, cec_meq=cec)
            for crop, amount in (("corn", 180.0), ("soybean", 60.0))
        )

    p2o5 = removed("P2O5", 30.0)
    k2o = removed("K2O", 150.0, 12.0) - 2 * 20  # without the 20 lb of loss a year
    assert 100 <= p2o5 <= 120 and 100 <= k2o <= 120
    for product, grade, wanted in ((210, 52, p2o5), (240, 46, p2o5), (180, 60, k2o)):
        assert nutrients.nutrient_supplied(product, grade) == pytest.approx(wanted, abs=5)


@pytest.mark.parametrize("forms", [("S", "P"), ("P", "K2O"), ("K2O", "Mg")])
def test_forms_of_two_nutrients_are_not_converted(forms):
    """ensures that a form is turned only into one of the same nutrient."""
    with pytest.raises(UnknownName):
        nutrients.fertilizer_form(1, *forms)


def test_impossible_amounts_are_refused():
    """ensures that negative or absurd inputs raise rather than compute."""
    for call in (
        lambda: nutrients.fertilizer_form(-1, "P", "P2O5"),
        lambda: nutrients.ppm_to_lb_per_acre(10, 0),
        lambda: nutrients.nutrient_supplied(100, 101),
        lambda: nutrients.soil_test_change("K2O", 10.0),
        lambda: soil_tests.bray_p_from_mehlich3_ohio(-1),
        lambda: removal.removal_from_analysis(10, 120, 1),
        lambda: limits.biosolids_annual_rate("Zn", 0.0),
        lambda: micronutrients.sulfur_response(101.0),
    ):
        with pytest.raises(ImpossibleInput):
            call()
    with pytest.raises(UnknownName):
        nutrients.soil_test_change("N", 10.0)


@given(st.sampled_from(sorted(set(load(removal.TABLE).column("crop")))),
       st.sampled_from(removal.NUTRIENTS), st.floats(0, 500))
def test_removal_is_proportional_and_inside_its_range(crop, nutrient, amount):
    """ensures that removal grows with yield and lies within its published ends (own property)."""
    result = removal.crop_removal.evaluate(crop=crop, nutrient=nutrient, **{"yield": amount})
    if result.value is None:
        return
    assert result.details["low"] <= result.value + 1e-9
    assert result.value <= result.details["high"] + 1e-9
    assert result.value == pytest.approx(result.details["lb_per_unit"] * amount)


def test_every_row_of_removal_is_a_known_crop_in_a_known_unit():
    """ensures that no removal row is out of reach, and low never exceeds high."""
    for row in load(removal.TABLE):
        assert row["crop"] in crops()
        assert row["source"] in references()
        for column in removal.COLUMNS.values():
            low, high = row[f"{column}_low"], row[f"{column}_high"]
            assert (low is None) == (high is None)
            assert low is None or 0 <= low <= high
        result = removal.crop_removal.evaluate(crop=row["crop"], nutrient="N", **{"yield": 1.0})
        assert result.unit == "lb/ac"


def test_corn_potash_is_not_its_phosphate():
    """ensures that every corn row has less K2O than P2O5; a trade copy prints 0.35 for both."""
    for row in load(removal.TABLE):
        if row["crop"] == "corn" and row["p2o5_low"] is not None and row["k2o_low"] is not None:
            assert row["k2o_high"] < row["p2o5_low"] + 0.01 or row["k2o_high"] <= 0.30


def test_ontario_units_agree():
    """ensures that Ontario's kg/t and lb/bu columns agree as far as they are rounded.

    fieldcropnews.com 2025, table 1; corn K2O is printed as 5.2 kg/t and 0.30 lb/bu, 3 % apart.
    """
    for crop, nutrient, low, high in (("corn", "P2O5", 6.6, 7.9), ("corn", "K2O", 4.6, 5.2),
                                      ("soybean", "K2O", 23.0, 23.3), ("barley", "N", 17.3, 23.1),
                                      ("canola", "P2O5", 22.2, 26.7)):
        result = removal.crop_removal.evaluate(crop=crop, nutrient=nutrient, **{"yield": 1.0})
        per_kg = 1000 / find_crop(crop).lb_per_unit
        assert result.details["low"] * per_kg == pytest.approx(low, rel=0.035)
        assert result.details["high"] * per_kg == pytest.approx(high, rel=0.035)


def test_missing_removal_is_none_not_zero():
    """ensures that a crop without published removal gets no number."""
    result = removal.crop_removal.evaluate(crop="pepper", nutrient="P2O5", **{"yield": 20.0})
    assert result.value is None and result.notes


@given(st.floats(0, 60), st.floats(4, 8.5))
def test_manganese_index_rises_with_manganese_and_falls_with_ph(manganese, ph):
    """ensures the sense of the index (Rutgers): more Mn up, higher pH down."""
    index = micronutrients.manganese_activity_index
    assert index(manganese + 1, ph) > index(manganese, ph)
    assert index(manganese, ph + 0.1) < index(manganese, ph)


def test_class_of_the_region_comes_first():
    """ensures that Minnesota is read by its own zinc table, other states by a general one."""
    here = micronutrients.micronutrient_class.evaluate(
        nutrient="Zn", method="dtpa", test_ppm=0.8, crop="corn", region="Minnesota, USA")
    there = micronutrients.micronutrient_class.evaluate(
        nutrient="Zn", method="dtpa", test_ppm=0.8, crop="corn", region="Utah")
    assert (here.value, here.details["local"]) == ("adequate", True)
    assert (there.value, there.details["local"]) == ("marginal", False)
    county = micronutrients.micronutrient_class.evaluate(
        nutrient="Zn", method="dtpa", test_ppm=0.8, crop="corn", region="Iowa County, Wisconsin")
    assert county.details["local"] is False


def test_method_without_classes_gives_none():
    """ensures that a boron test by a method without classes is not read by another's."""
    result = micronutrients.micronutrient_class.evaluate(
        nutrient="Zn", method="mehlich-1", test_ppm=1.0, crop="corn")
    assert result.value is None


def test_micronutrient_scales_are_whole():
    """ensures that each scale starts at or below zero, rises, and ends in adequate or high."""
    scales = {}
    for row in load(micronutrients.CLASSES):
        scales.setdefault(row["scale"], []).append(row)
        assert row["status"] in ("low", "marginal", "adequate", "high")
    for name, rows in scales.items():
        lower = [r["lower"] for r in rows]
        assert lower == sorted(lower) and lower[0] <= 0, name
        assert rows[0]["status"] == "low" and rows[-1]["status"] in ("adequate", "high"), name
        assert len({(r["nutrient"], r["method"], r["crops"], r["region"]) for r in rows}) == 1


def test_boron_rates_stay_within_the_seasons_limit():
    """ensures that no boron rate in the tables passes 4 lb/ac (Pennsylvania's most)."""
    for row in load(micronutrients.RATES):
        if row["nutrient"] == "B":
            assert row["high"] <= 4
    for row in load(micronutrients.CLASSES):
        if row["nutrient"] == "B" and row["broadcast_high"] is not None:
            assert row["broadcast_high"] <= 4


def test_states_disagree_on_sulfur():
    """ensures that Nebraska's word is kept beside Minnesota's on loam of 1.5 % organic matter."""
    loam = micronutrients.sulfur_response.evaluate(organic_matter_pct=1.5, texture="silt loam")
    sand = micronutrients.sulfur_response.evaluate(organic_matter_pct=1.5, texture="loamy sand")
    assert (loam.value, loam.details["nebraska"]) == ("likely", "not expected")
    assert sand.details["nebraska"] == "possible"


def test_shallow_calcium_rule_only_where_published():
    """ensures that field crops get no shallow calcium rule (none is published)."""
    with pytest.raises(UnknownName, match="peanut"):
        micronutrients.surface_calcium_gypsum("corn", 400.0, 100.0)
    low_ph = micronutrients.surface_calcium_gypsum.evaluate(crop="pepper", calcium_lb_ac=300.0,
                                                            soil_ph=5.8)
    assert low_ph.value is None


def test_runoff_levels_never_cross_methods():
    """ensures that a Mehlich-3 value is not held against Minnesota's Bray level."""
    result = limits.phosphorus_runoff_level.evaluate(region="Minnesota", method="mehlich-3-icp",
                                                     test_ppm=80.0)
    assert result.value is None


def test_biosolids_ceiling_is_flagged():
    """ensures that a material above the federal ceiling is marked (40 CFR 503.13 table 1)."""
    over = limits.biosolids_annual_rate.evaluate(metal="Zn", concentration_mg_kg=8000.0)
    under = limits.biosolids_annual_rate.evaluate(metal="Zn", concentration_mg_kg=1202.0)
    assert over.details["ceiling_passed"] and not under.details["ceiling_passed"]
    assert limits.biosolids_annual_rate("Mo", 10.0) is None


def test_biosolids_tables_agree_with_each_other():
    """ensures that table 3 equals table 2 in number and table 4 is 1/20 of table 2 (40 CFR 503)."""
    for row in load(limits.METALS):
        if row["cumulative_kg_ha"] is not None:
            assert row["monthly_mean_mg_kg"] == row["cumulative_kg_ha"]
            assert row["annual_kg_ha"] == pytest.approx(row["cumulative_kg_ha"] / 20, rel=0.03)


@pytest.mark.parametrize(("basis", "missing"), [("guide", "p2o5_need_lb_ac"),
                                                ("removal", "p2o5_removal_lb_ac"),
                                                ("nitrogen", "n_need_lb_ac")])
def test_manure_without_what_decides_has_no_rate(basis, missing):
    """ensures that missing knowledge never becomes a rate of manure."""
    found = manure.manure_rate_limit.evaluate(p2o5_lb=5.0, n_lb=4.0, phosphorus_basis=basis)
    assert found.value is None and found.details["missing"] == missing


@given(st.floats(0.1, 60), st.floats(0.1, 60), st.floats(0, 300), st.floats(0, 150),
       st.sampled_from(("nitrogen", "guide", "removal", "none")))
def test_manure_passes_none_of_its_limits(p2o5_lb, n_lb, n_need, p_need, basis):
    """ensures that the rate given keeps within every limit that was given for it."""
    found = manure.manure_rate_limit.evaluate(
        p2o5_lb=p2o5_lb, n_lb=n_lb, n_need_lb_ac=n_need, p2o5_need_lb_ac=p_need,
        p2o5_removal_lb_ac=p_need, phosphorus_basis=basis)
    assert found.details["n_lb_ac"] <= n_need * (1 + 1e-9) + 1e-9
    if basis in ("guide", "removal"):
        assert found.details["p2o5_lb_ac"] <= p_need * (1 + 1e-9) + 1e-9
    if basis == "none":
        assert found.value == 0 and found.details["limit"] == "phosphorus class"
