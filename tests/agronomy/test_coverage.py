"""What the guides cover."""

from itertools import product

import pytest

from loambrief.agronomy.crops import crops, find_crop
from loambrief.agronomy.guides import ANY_CROP, TEST_OF, known_guides
from loambrief.errors import UnknownName
from loambrief.tables import references
from loambrief.topics.listing import (
    coverage,
    crop_rows,
    crops_without_guide,
    guide_rows,
    lime_table_rows,
)
from loambrief.topics.nutrients.formulas import nutrient_rate
from loambrief.topics.nutrients.formulas_micronutrients import micronutrient_class

LISTED = coverage()


def test_every_rule_of_every_guide_is_listed():
    """ensures that the list is the guides themselves, rule by rule."""
    listed = {(c.guide, c.crop, c.nutrient, c.method) for c in LISTED}
    for guide in known_guides().values():
        for rule in guide.rules:
            for crop in rule.crops:
                for method in rule.methods:
                    assert (guide.name, crop, rule.nutrient, method) in listed


def rules(nutrient, crop, guide=None):
    """Lines of the list that answer for a nutrient and a crop."""
    return [c for c in LISTED if c.nutrient == nutrient and c.crop in (ANY_CROP, *crop.lineage)
            and guide in (None, c.guide)]


@pytest.mark.parametrize("guide", known_guides())
def test_the_list_holds_what_the_guide_answers(guide):
    """ensures that each crop and method is listed that the guide answers, and no other."""
    for nutrient, name in product(TEST_OF, ("corn", "canola", "tomato", "alfalfa", "blueberry")):
        listed = rules(nutrient, find_crop(name), guide)
        for method in ("olsen", "bray-p1", "mehlich-3-icp", "mehlich-3", "ammonium-acetate"):
            try:
                rate = nutrient_rate.evaluate(
                    guide=guide, crop=name, nutrient=nutrient, test_ppm=1.0, method=method,
                    cec_meq=10.0, **{"yield": 5.0}).value
            except UnknownName:
                assert not listed, (nutrient, name, method)
                continue
            assert listed, (nutrient, name, method)
            if method not in {c.method for c in listed}:
                assert rate is None, (nutrient, name, method)


def test_nitrogen_is_covered_only_where_a_guide_has_a_rule_of_it():
    """ensures that the list tells which crops have a rule of nitrogen, and what it is read with."""
    assert "ireland_morgan" in {c.guide for c in rules("N", find_crop("winter wheat"))}
    assert {c.method for c in rules("N", find_crop("spring wheat"))} == {"index"}
    assert not rules("N", find_crop("chickpea"))
    assert {r["name"] for r in guide_rows() if r["nitrogen"]} == {
        c.guide for c in LISTED if c.nutrient == "N"}


def test_a_micronutrient_by_another_method_is_not_judged():
    """ensures that the list and the classes agree on which methods are judged."""
    for nutrient in ("Zn", "Cu", "Fe"):
        judged = {c.method for c in rules(nutrient, find_crop("corn"))}
        assert judged and "hcl" not in judged
        assert micronutrient_class(nutrient, "hcl", 1.0, "corn") is None
        for method in judged:
            assert micronutrient_class(nutrient, method, 1.0, "corn") is not None


def test_one_guide_has_a_crop_that_another_lacks():
    """ensures that the list tells guides apart by crop and method."""
    wheat = find_crop("winter wheat")
    assert not rules("P2O5", wheat, "iowa_2013")
    assert "olsen" in {c.method for c in rules("P2O5", wheat, "montana_eb0161")}


def test_lists_hold_every_name():
    """ensures that the printed lists leave out no guide, lime table or crop."""
    assert {r["name"] for r in guide_rows()} >= set(known_guides())
    assert [r["name"] for r in crop_rows()] == list(crops())
    assert {r["name"] for r in crop_rows() if r["any_crop_only"]} == set(crops_without_guide())
    assert all(r["citation"] and r["targets"] is not None for r in lime_table_rows())
    for guide in known_guides().values():
        assert guide.interval_years is None or guide.interval_reference in references()
