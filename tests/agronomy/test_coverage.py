"""What the guides cover, and why a nutrient is not judged."""


from loambrief.agronomy.coverage import coverage, crops_without_guide
from loambrief.agronomy.crops import crops, find_crop
from loambrief.agronomy.guides import known_guides
from loambrief.tables import references
from loambrief.topics.listing import crop_rows, guide_rows, lime_table_rows
from loambrief.topics.nutrients.formulas_micronutrients import micronutrient_class


def covering(nutrient, crop=None):
    """Names of the guides and scales that answer for a nutrient and a crop."""
    names = ("*", *crop.lineage) if crop else ()
    return {c.guide for c in coverage() if c.nutrient == nutrient and (not crop or c.crop in names)}


def methods_judged(nutrient, crop):
    """Test methods by which a nutrient is judged for a crop anywhere."""
    return {c.method for c in coverage() if c.nutrient == nutrient
            and c.crop in ("*", *crop.lineage)}


def test_every_rule_of_every_guide_is_listed():
    """ensures that the list is the guides themselves, rule by rule."""
    listed = {(c.guide, c.crop, c.nutrient, c.method) for c in coverage()}
    for guide in known_guides().values():
        for rule in guide.rules:
            for crop in rule.crops:
                for method in rule.methods:
                    assert (guide.name, crop, rule.nutrient, method) in listed


def test_nitrogen_is_covered_only_where_a_guide_has_a_rule_of_it():
    """ensures that the list tells which crops have a rule of nitrogen, and what it is read with."""
    assert "ireland_morgan" in covering("N", find_crop("winter wheat"))
    assert methods_judged("N", find_crop("spring wheat")) == {"index"}
    assert not covering("N", find_crop("chickpea"))
    assert {r["name"] for r in guide_rows() if r["nitrogen"]} == covering("N")


def test_a_micronutrient_by_another_method_is_not_judged():
    """ensures that the list and the classes agree on which methods are judged."""
    corn = find_crop("corn")
    assert micronutrient_class("Zn", "hcl", 1.0, "corn") is None
    for nutrient in ("Zn", "Cu", "Fe"):
        for method in methods_judged(nutrient, corn):
            assert micronutrient_class(nutrient, method, 1.0, "corn") is not None


def test_lists_hold_every_name():
    """ensures that the printed lists leave out no guide, lime table or crop."""
    assert {r["name"] for r in guide_rows()} >= set(known_guides())
    assert [r["name"] for r in crop_rows()] == list(crops())
    assert {r["name"] for r in crop_rows() if r["any_crop_only"]} == set(crops_without_guide())
    assert all(r["citation"] and r["targets"] is not None for r in lime_table_rows())
    for guide in known_guides().values():
        assert guide.interval_years is None or guide.interval_reference in references()
