"""Every public calculation says what goes in, what comes out, and where it is from."""

import inspect
import re

import pytest

import loambrief.topics.formulas  # noqa: F401
from loambrief.agronomy.registry import EVIDENCE, FORMULAS
from loambrief.tables import HOW, references

NAMES = sorted(FORMULAS)
FIXED = {  # name -> parameters that the command line promises
    "ppm_to_lb_per_acre": "ppm depth_in",
    "ppm_to_meq": "ppm cation",
    "exchange_acidity": "buffer_method buffer_ph",
    "lime_requirement": "table buffer_ph target_ph depth_in acidity soil_ph",
    "lime_product_rate": "requirement cce_pct fineness_pct moisture_pct",
    "effective_lime_pct": "cce_pct fineness_pct",
    "cec_by_summation": "ca_ppm mg_ppm k_ppm na_ppm acidity_meq",
    "cation_saturation": "ppm cation cec_meq",
    "exchangeable_sodium_pct": "na_meq cec_meq",
    "sodium_adsorption_ratio": "na_meq_l ca_meq_l mg_meq_l",
    "esp_from_sar": "sar",
    "gypsum_requirement": "cec_meq esp_pct target_esp_pct depth_cm bulk_density_g_cm3 "
    "purity_pct efficiency",
    "ece_from_1to1": "ec_ds_m texture",
    "relative_yield_salinity": "ece_ds_m threshold_ds_m slope_pct",
    "ece_at_yield_loss": "loss_pct threshold_ds_m slope_pct",
    "leaching_requirement": "ecw_ds_m ece_ds_m",
    "water_with_leaching": "et leaching_fraction",
    "crop_removal": "crop yield nutrient",
    "nutrient_rate": "guide crop nutrient test_ppm yield",
    "cost_per_lb_nutrient": "price_per_ton grade_pct",
    "organic_carbon_pct": "organic_matter_pct",
    "carbon_nitrogen_ratio": "carbon_pct nitrogen_pct",
    "nitrogen_mineralised_kg_ha": "depth_cm bulk_density_g_cm3 carbon_pct cn_ratio turnover_pct",
    "mix_mass_for_moisture": "mass moisture_pct added_moisture_pct target_pct",
    "blend_carbon_nitrogen": "materials",
    "porosity_pct": "bulk_density_g_cm3 particle_density_g_cm3",
    "compaction_share": "readings threshold_psi",
    "brix_from_refractive_index": "index",
    "brix_at_20c": "reading temperature_c",
    "relative_feed_value": "adf_pct ndf_pct",
    "relative_forage_quality": "",
    "samples_needed": "t sd error",
    "mean_interval": "values level",
    "lower_layer_value": "top_value top_depth whole_value whole_depth",
    "weed_yield_loss": "density i a",
    "indicator_mean": "",
}


@pytest.mark.parametrize("name", NAMES)
def test_docstring_is_complete(name):
    """ensures that parameters, unit, errors and notes of a formula are said, each once."""
    formula = FORMULAS[name]
    text = formula.__doc__ or ""
    assert text.strip(), f"{name} has no docstring"
    code = inspect.getsource(inspect.unwrap(formula))
    wanted = ["Parameters", "Notes"]
    wanted += ["Raises"] if re.search(r"^ +raise ", code, re.M) else []
    wanted += ["Returns"] if re.search(r"\bdetails=|-> dict|-> tuple", code) else []
    for section in wanted:
        assert re.search(rf"^\s*{section}\n\s*-{{3,}}", text, re.M), f"{name}: no {section}"
    for parameter in formula.signature.parameters:
        assert re.search(rf"^\s*[\w, ]*\b{parameter}\b[\w, ]* :", text, re.M), (
            f"{name}: parameter {parameter} is not described"
        )
    returns = text.partition("Returns")[2].partition("Raises")[0]
    assert formula.unit or "[" in returns, f"{name}: no unit"


@pytest.mark.parametrize("name", NAMES)
def test_source_is_known(name):
    """ensures that each formula's source is in the reference list, honestly graded, and that
    the kinds of its parameters can be read (they are read as text)."""
    formula = FORMULAS[name]
    assert formula.source in references(), formula.source
    assert formula.how in HOW
    assert formula.evidence in EVIDENCE
    for parameter in formula.valid:
        assert parameter in formula.signature.parameters
    for parameter in formula.signature.parameters.values():
        assert isinstance(parameter.annotation, str), f"{name}: its module needs __future__"


@pytest.mark.parametrize("name", sorted(FIXED))
def test_promised_formula_exists(name):
    """ensures that the names and parameters the command line promises are there."""
    assert name in FORMULAS
    for parameter in FIXED[name].split():
        assert parameter in FORMULAS[name].signature.parameters, parameter
