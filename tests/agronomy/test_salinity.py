"""Salinity, sodicity and irrigation water formulas behave as their sources say."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load, references
from loambrief.topics.nutrients import formulas_seed_row as seed_row
from loambrief.topics.salinity import formulas as salinity
from loambrief.topics.salinity import formulas_crops as salinity_crops
from loambrief.topics.salinity import formulas_gypsum as sodicity_gypsum
from loambrief.topics.salinity import formulas_sodicity as sodicity
from loambrief.topics.salinity import formulas_water as water
from loambrief.topics.salinity import formulas_water_quality as quality

EC = st.floats(0.05, 30.0)
TEXTURES = load(salinity.TEXTURES).column("texture")


@given(EC, st.sampled_from(TEXTURES))
def test_converted_ece_stays_in_its_own_range(ec, texture):
    """ensures that the answer lies between the lowest and highest equation, never below EC.

    PLoS ONE 2018 e0198290, table 2.
    """
    for convert in (salinity.ece_from_1to1, salinity.ece_from_1to2):
        result = convert.evaluate(ec_ds_m=ec, texture=texture)
        low, high = result.details["low"], result.details["high"]
        assert ec <= low <= result.value <= high


@given(EC, st.sampled_from(TEXTURES))
def test_conversion_rises_with_ec(ec, texture):
    """ensures that a saltier mix never gives a lower ECe (own property)."""
    for convert in (salinity.ece_from_1to1, salinity.ece_from_1to2):
        assert convert(ec + 0.5, texture) >= convert(ec, texture)
    assert salinity.ece_from_1to5(ec + 0.5, texture) > salinity.ece_from_1to5(ec, texture)


def test_low_ec_is_floored_and_flagged():
    """ensures that a negative constant cannot give less ECe than EC (own rule, table 2)."""
    result = salinity.ece_from_1to1.evaluate(ec_ds_m=0.2, texture="clay")
    assert result.value == pytest.approx(0.2)
    assert not result.within_range


@pytest.mark.parametrize("texture", ["muck", "peat"])
def test_organic_soil_has_no_equation(texture):
    """ensures that muck and peat get no number instead of a mineral soil's."""
    for convert in (salinity.ece_from_1to1, salinity.ece_from_1to2, salinity.ece_from_1to5):
        result = convert.evaluate(ec_ds_m=1.0, texture=texture)
        assert result.value is None and not result.within_range


def test_unknown_texture_is_refused():
    """ensures that a misspelt texture is not guessed."""
    with pytest.raises(UnknownName, match="silt loam"):
        salinity.ece_from_1to1(1.0, "silt laom")


@given(st.floats(0.0, 60.0), st.floats(0.5, 12.0), st.floats(0.5, 33.0))
def test_relative_yield_is_a_share(ece, threshold, slope):
    """ensures that relative yield lies from 0 to 100 and is full below the threshold.

    Maas and Grattan (1999), equation 1.
    """
    value = salinity_crops.relative_yield_salinity(ece, threshold, slope)
    assert 0.0 <= value <= 100.0
    assert salinity_crops.relative_yield_salinity(threshold, threshold, slope) == 100.0


@given(st.floats(0.0, 100.0), st.floats(0.5, 12.0), st.floats(0.5, 33.0))
def test_yield_loss_and_ece_are_inverse(loss, threshold, slope):
    """ensures that the ECe of a loss gives that loss back (same equation)."""
    ece = salinity_crops.ece_at_yield_loss(loss, threshold, slope)
    assert 100 - salinity_crops.relative_yield_salinity(ece, threshold, slope) == pytest.approx(
        loss, abs=1e-7)


def test_tolerance_table_is_complete():
    """ensures that at least 40 crops carry a threshold, a slope and their own source."""
    rows = load(salinity_crops.TOLERANCE).rows
    assert len(rows) >= 40
    assert len({r["crop"] for r in rows}) == len(rows)
    for row in rows:
        assert row["source"] in references()
        assert row["how"] in ("seen", "computed")
        assert 0 < row["threshold_ds_m"] < 15 and 0 < row["slope_pct"] <= 33
        assert row["rating"] in ("S", "MS", "MT", "T")


@pytest.mark.parametrize(("typed", "row"), [
    ("lucerne", "alfalfa"), ("maize", "corn"), ("winter wheat", "wheat"), ("zucchini", "zucchini"),
    ("Medicago sativa", "alfalfa"), ("bean", "dry bean"), ("grape", "grape"),
])
def test_crop_is_found_by_any_name(typed, row):
    """ensures that synonyms of the shared crop table lead to the right row."""
    assert salinity_crops.crop_salt_threshold.evaluate(crop=typed).details["crop"] == row


def test_memory_rows_say_so():
    """ensures that a threshold from memory is not passed off as seen."""
    assert salinity_crops.boron_threshold.evaluate(crop="tomato").how == "memory"
    assert salinity_crops.crop_salt_threshold.evaluate(crop="tomato").how == "seen"


def test_alternatives_keep_their_yield_and_their_use():
    """ensures that forages replace forages and keep the wanted share (same equation)."""
    rows = salinity_crops.tolerant_alternatives("alfalfa", 8.0, 90.0, most=10)
    assert rows
    for row in rows:
        assert row["kind"] == "forage"
        kept = salinity_crops.relative_yield_salinity(8.0, row["threshold_ds_m"], row["slope_pct"])
        assert kept >= 90.0


def test_sar_from_worked_water():
    """ensures that SAR of 36 over sqrt((6 + 2)/2) is 18, and needs calcium or magnesium."""
    assert sodicity.sodium_adsorption_ratio(36, 6, 2) == pytest.approx(18.0)
    with pytest.raises(ImpossibleInput):
        sodicity.sodium_adsorption_ratio(5, 0, 0)


@given(st.floats(1.0, 60.0))
def test_esp_regression_inverts(sar):
    """ensures that SAR / (100 + SAR) of the regression turns back (Handbook 60, p. 26)."""
    ratio = sodicity.esp_from_sar(sar) / (100 - sodicity.esp_from_sar(sar))
    assert (ratio + 0.0126) / 0.01475 == pytest.approx(sar, rel=1e-6)


@given(st.floats(5, 40), st.floats(15, 60), st.floats(10, 60), st.floats(1.0, 1.7),
       st.floats(60, 100), st.floats(0.5, 1.0))
def test_gypsum_metric_and_us_agree(cec, esp, depth_cm, density, purity, efficiency):
    """ensures that the two gypsum formulas give the same mass of product (own property)."""
    metric = sodicity_gypsum.gypsum_requirement(cec, esp, 10, depth_cm, density, purity, efficiency)
    us = sodicity_gypsum.gypsum_requirement_us(
        cec, esp, 10, depth_cm / 2.54, purity, efficiency,
        soil_lb_per_acre_foot=43560 * 62.42796 * density)
    assert us * 2.241702 == pytest.approx(metric, rel=1e-4)


def test_gypsum_counts_purity_and_losses():
    """ensures that half purity doubles the product and efficiency 0.8 adds a quarter.

    Ali (2011), example 8.7: factor 1.25.
    """
    need = sodicity_gypsum.gypsum_requirement
    pure = need(20, 25, 10, 30, 1.4)
    assert need(20, 25, 10, 30, 1.4, 50) == pytest.approx(2 * pure)
    assert need(20, 25, 10, 30, 1.4, 100, 0.8) == pytest.approx(1.25 * pure)


def test_no_gypsum_where_the_target_is_met():
    """ensures that a soil below its target needs none, and says so."""
    result = sodicity_gypsum.gypsum_requirement.evaluate(
        cec_meq=20, esp_pct=4, target_esp_pct=10, depth_cm=15, bulk_density_g_cm3=1.3)
    assert result.value == 0.0 and result.notes


@pytest.mark.parametrize("wrong", [{"efficiency": 1.25}, {"efficiency": 0}, {"purity_pct": 0},
                                   {"purity_pct": 120}, {"cec_meq": 0}, {"esp_pct": 101}])
def test_impossible_gypsum_input_is_refused(wrong):
    """ensures that a factor typed as an efficiency, and other impossible input, raises."""
    inputs = {"cec_meq": 20, "esp_pct": 25, "target_esp_pct": 10, "depth_cm": 15,
              "bulk_density_g_cm3": 1.3, **wrong}
    with pytest.raises(ImpossibleInput):
        sodicity_gypsum.gypsum_requirement.evaluate(**inputs)


def test_dissolved_sodium_is_taken_off():
    """ensures that sodium in the soil water is not counted as exchangeable (method 18)."""
    assert sodicity.exchangeable_sodium_meq(5.0, 40, 50) == pytest.approx(3.0)
    result = sodicity.exchangeable_sodium_meq.evaluate(
        extractable_na_meq=1.0, extract_na_meq_l=40, saturation_pct=50)
    assert result.value == 0.0 and not result.within_range


def test_leaching_requirement_knows_its_limit():
    """ensures that water too salty to hold an ECe gets no fraction (FAO 29)."""
    assert water.leaching_requirement(12.0, 2.0) is None
    assert water.leaching_requirement(6.0, 2.0) is None  # 6/(10 - 6) is above 1
    assert water.leaching_requirement(0.0, 2.0) == 0.0


@given(st.floats(0.1, 5.0), st.floats(2.0, 10.0))
def test_leaching_rises_with_salt(ecw, ece):
    """ensures that saltier water needs more leaching (own property)."""
    low, high = water.leaching_requirement(ecw, ece), water.leaching_requirement(ecw * 1.1, ece)
    assert low is None or high is None or high > low


@pytest.mark.parametrize("fraction", [0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50, 0.60, 0.70,
                                      0.80])
def test_concentration_factor_is_the_mean_of_the_root_zone(fraction):
    """ensures that the table is half the mean salt of five depths, 40-30-20-10 % of water used."""
    left = [1 - used * (1 - fraction) for used in (0, 0.4, 0.7, 0.9, 1)]
    assert water.concentration_factor(fraction) == pytest.approx(
        sum(1 / share for share in left) / 5 / 2, abs=0.05)


@given(st.floats(0.02, 1.0))
def test_concentration_factor_falls_with_leaching(fraction):
    """ensures that more leaching never makes the root zone saltier (FAO 29, table 3)."""
    assert water.concentration_factor(fraction) >= water.concentration_factor(
        min(fraction * 1.05, 1.0))


@given(st.floats(2.0, 40.0), st.floats(0.05, 0.99), st.floats(6, 36))
def test_reclamation_range_holds_the_answer(ece, share, depth):
    """ensures that the leaching depth lies in its own range and grows with the depth of soil."""
    result = water.reclamation_leaching_in.evaluate(
        ece_ds_m=ece, target_ece_ds_m=ece * share, soil_depth_in=depth)
    assert 0 < result.details["low"] <= result.value <= result.details["high"]
    assert water.reclamation_leaching_in(ece, ece * share, depth * 2) == pytest.approx(
        2 * result.value)


def test_met_target_needs_no_leaching():
    """ensures that a soil at its target gets no leaching water."""
    assert water.reclamation_leaching_in(2.0, 4.0, 12) == 0.0


def test_pure_water_seals_soil_too():
    """ensures that very pure water is a severe hazard even at low SAR (FAO 29, table 1)."""
    assert quality.infiltration_hazard(0.1, 1.0) == "severe"
    assert quality.infiltration_hazard(0.1, 45.0) == "severe"
    assert not quality.infiltration_hazard.evaluate(ecw_ds_m=6, sar=45.0).within_range


def test_water_units_are_not_mixed_up():
    """ensures that mg/L is converted, and refused where it makes no sense (FAO 29, table 1)."""
    assert quality.water_restriction("chloride", 500, unit="mg/L") == "severe"
    assert quality.water_restriction("chloride", 14.1) == "severe"
    with pytest.raises(ImpossibleInput):
        quality.water_restriction("sodium", 200, unit="mg/L")
    assert quality.water_restriction("bicarbonate", 9.0, "surface") is None


def test_salt_load_of_an_acre_foot():
    """ensures that one acre-foot at 735 mg/L brings one ton of salt (definition)."""
    assert water.salt_load_ton_ac(735.5, 12) == pytest.approx(1.0, abs=0.001)


def test_seed_row_limit_takes_the_stricter_row():
    """ensures that a row spacing between two listed ones gets the stricter limit."""
    limit = seed_row.seed_row_salt_limit
    assert limit("corn", 22) == limit("corn", 30)
    assert limit("corn", 15) == limit("corn", 20)
    assert limit("corn", 42) is None
    assert limit("soybean") == 0.0
    assert limit("alfalfa") is None


def test_seed_row_limit_is_the_strictest_and_names_the_other():
    """ensures that Michigan's 5 lb on low CEC stands before Kansas's 8 lb and Dakota's 10 lb.

    Sources: msu-in-furrow, ksu-starter-corn, ndsu-seed-2002.
    """
    found = seed_row.seed_row_salt_limit.evaluate(crop="corn", row_in=30, cec=6)
    assert (found.value, found.details["most"], found.source) == (5.0, 10.0, "msu-in-furrow")
    assert seed_row.seed_row_salt_limit("corn", 30, cec=12) == 8.0


@pytest.mark.parametrize(("grade", "counts"), [((11, 52, 0), "P2O5"), ((21, 0, 0), "N")])
def test_a_seed_row_product_keeps_every_limit_of_the_crop(grade, counts):
    """ensures that field pea is held by phosphate and by nitrogen, whichever binds.

    Sources: ndsu-pea-1997, 40 lb of 11-52-0; usask-pulse-starter, 10 kg/ha of nitrogen.
    """
    found = seed_row.seed_row_product_lb_ac.evaluate(
        crop="field pea", n_pct=grade[0], p2o5_pct=grade[1], k2o_pct=grade[2], row_in=10)
    assert found.details["counts"] == counts
    if counts == "P2O5":
        assert found.value == pytest.approx(40.0)


def test_no_product_where_no_limit_counts_it():
    """ensures that urea beside canola has no number: its limit counts phosphate only."""
    assert seed_row.seed_row_product_lb_ac("canola", n_pct=46) is None
    assert seed_row.seed_row_product_lb_ac("soybean", n_pct=0, p2o5_pct=46) == 0.0


@pytest.mark.parametrize("grade, most", [
    ({"n_pct": 11, "p2o5_pct": 52}, 96), ({"n_pct": 12, "p2o5_pct": 51}, 98),
    ({"n_pct": 18, "p2o5_pct": 46}, None), ({"n_pct": 8, "p2o5_pct": 20, "k2o_pct": 30}, None),
])
def test_a_limit_of_phosphate_says_nothing_of_other_salts(grade, most):
    """ensures that a limit printed for mono-ammonium phosphate (Manitoba Agriculture, table 1:
    cereals 50 lb of P2O5) lets no potash and no more ammonium lie with the seed."""
    assert seed_row.seed_row_product_lb_ac("barley", row_in=7.5, **grade) == most
