"""What the guides cover, and why a nutrient is not judged."""

import pytest

from loambrief.agronomy.coverage import (
    Gap,
    coverage,
    covering,
    crops_without_guide,
    gap,
    methods_judged,
)
from loambrief.agronomy.crops import crops, find_crop
from loambrief.agronomy.guides import TEST_OF, find_guide, known_guides
from loambrief.errors import UnknownName
from loambrief.tables import references
from loambrief.topics.listing import crop_rows, guide_rows, lime_table_rows
from loambrief.topics.nutrients.formulas import nutrient_rate
from loambrief.topics.nutrients.formulas_micronutrients import micronutrient_class


def test_every_rule_of_every_guide_is_listed():
    """ensures that the list is the guides themselves, rule by rule."""
    listed = {(c.guide, c.crop, c.nutrient, c.method) for c in coverage()}
    for guide in known_guides().values():
        for rule in guide.rules:
            for crop in rule.crops:
                for method in rule.methods:
                    assert (guide.name, crop, rule.nutrient, method) in listed


@pytest.mark.parametrize("nutrient", TEST_OF)
@pytest.mark.parametrize("guide", known_guides())
def test_a_gap_is_where_the_guide_gives_no_rate(guide, nutrient):
    """ensures that a gap is named for each crop and method that the guide does not answer."""
    held = find_guide(guide)
    for name in ("corn", "canola", "tomato", "alfalfa", "blueberry"):
        crop = find_crop(name)
        for method in ("olsen", "bray-p1", "mehlich-3-icp", "mehlich-3", "ammonium-acetate"):
            why = gap(nutrient, crop, method, held)
            try:
                rate = nutrient_rate.evaluate(
                    guide=guide, crop=name, nutrient=nutrient, test_ppm=1.0, method=method,
                    cec_meq=10.0, **{"yield": 5.0}).value
            except UnknownName:
                assert why in (Gap.NO_RULE_FOR_CROP, Gap.NO_RULE_FOR_NUTRIENT), (name, method)
                continue
            assert why not in (Gap.NO_RULE_FOR_CROP, Gap.NO_RULE_FOR_NUTRIENT), (name, method)
            if why is Gap.METHOD_WITHOUT_RULE:
                assert rate is None, (guide, name, method)


def test_nitrogen_is_covered_only_where_a_guide_has_a_rule_of_it():
    """ensures that the list tells which crops have a rule of nitrogen, and what it is read with."""
    assert "ireland_morgan" in covering("N", find_crop("winter wheat"))
    assert methods_judged("N", find_crop("spring wheat")) == ("index",)
    assert gap("N", find_crop("chickpea"), None) is Gap.NO_RULE_FOR_CROP
    assert {r["name"] for r in guide_rows() if r["nitrogen"]} == set(covering("N"))


def test_a_micronutrient_by_another_method_is_not_judged():
    """ensures that the list and the classes agree on which methods are judged."""
    corn = find_crop("corn")
    assert gap("Zn", corn, "hcl") is Gap.METHOD_WITHOUT_RULE
    assert micronutrient_class("Zn", "hcl", 1.0, "corn") is None
    for nutrient in ("Zn", "Cu", "Fe"):
        for method in methods_judged(nutrient, corn):
            assert micronutrient_class(nutrient, method, 1.0, "corn") is not None


def test_other_guides_are_named_for_a_gap():
    """ensures that a crop that one guide lacks leads to the guides that have it."""
    wheat = find_crop("winter wheat")
    assert gap("P2O5", wheat, "olsen", find_guide("iowa_2013")) is Gap.NO_RULE_FOR_CROP
    assert "montana_eb0161" in covering("P2O5", wheat, "olsen")


def test_lists_hold_every_name():
    """ensures that the printed lists leave out no guide, lime table or crop."""
    assert {r["name"] for r in guide_rows()} >= set(known_guides())
    assert [r["name"] for r in crop_rows()] == list(crops())
    assert {r["name"] for r in crop_rows() if r["any_crop_only"]} == set(crops_without_guide())
    assert all(r["citation"] and r["targets"] is not None for r in lime_table_rows())
    for guide in known_guides().values():
        assert guide.interval_years is None or guide.interval_reference in references()
