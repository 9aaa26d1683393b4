"""Fertilizer guides: what they cover, and the rates their rules give."""
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief.agronomy import guides
from loambrief.agronomy.crops import crops, find_crop
from loambrief.errors import ImpossibleInput, TableFault, UnknownName
from loambrief.tables import HOW, references
from loambrief.topics.nutrients.formulas import nutrient_rate, soil_test_class
from loambrief.topics.nutrients.formulas_engine import ABOVE, BELOW, class_of, evaluate
from loambrief.topics.nutrients.formulas_micronutrients import micronutrient_class

SHIPPED = guides.shipped()
CASES = [  # every rule of every shipped guide that reads a soil test, with one crop it covers
    (guide, rule, find_crop("corn" if rule.crops[0] == guides.ANY_CROP else rule.crops[0]))
    for guide in SHIPPED.values()
    for rule in guide.rules if rule.nutrient != guides.NITROGEN
]
IDS = [f"{g.name}-{r.nutrient}-{c.name}-{r.methods[0]}" for g, r, c in CASES]
YIELD = {"bu/ac": 120.0, "ton/ac": 6.0, "cwt/ac": 400.0, "bale/ac": 2.0, "lb/ac": 2000.0}
WANTED = {"tri_state_2020", "tri_state_1995", "iowa_2013", "montana_eb0161",
          "montana_alfalfa_1998", "south_dakota_ec750", "kansas_mf2586", "rutgers_mehlich3",
          "nebraska_critical", "georgia_coastal_plain", "florida_mehlich1", "oklahoma_wheat",
          "colorado_corn", "united_kingdom_2010", "ireland_morgan", "north_dakota_barley",
          "ontario_corn", "ontario_field_crops", "california_vegetables", "washington_tree_fruit",
          "new_york_corn", "connecticut_modified_morgan", "south_carolina_cotton",
          "arkansas_rice_soybean", "prairie_canola", "south_carolina_field_crops",
          "south_africa_vineyard", "south_africa_maize_potassium", "argentina_pampas",
          "australia_pasture", "iowa_fruit_vegetables", "north_carolina_trials",
          "midwest_vegetables", "oregon_western"}


def test_wanted_guides_are_shipped():
    """ensures that the promised guides are there under their names."""
    assert set(SHIPPED) >= WANTED


@pytest.mark.parametrize("guide", SHIPPED.values(), ids=list(SHIPPED))
def test_guide_is_sourced(guide):
    """ensures that each guide names its region, depth, sources and how they were checked."""
    assert guide.regions and guide.kind
    assert 3 <= guide.depth_in <= 12
    assert guide.reference in references() and guide.how in HOW
    for rule in guide.rules:
        assert rule.reference in references()
        assert {rule.how, *rule.how_of.values()} <= set(HOW)
        assert all(name == guides.ANY_CROP or name in crops() for name in rule.crops)


@pytest.mark.parametrize(("guide", "rule", "crop"), CASES, ids=IDS)
def test_more_in_the_soil_never_means_more_fertilizer(guide, rule, crop):
    """ensures that no rule's rate rises with the soil test, nor falls below zero (own property)."""
    previous = float("inf")
    for test in [t / 2 for t in range(0, 601)]:
        rate = evaluate(guide, rule, crop, test, YIELD[crop.yield_unit], 15.0)
        if rate.value is None:
            continue
        assert 0 <= rate.value <= previous + 1e-9, (test, rate)
        previous = rate.value


@pytest.mark.parametrize(("guide", "rule", "crop"), CASES, ids=IDS)
def test_position_goes_one_way(guide, rule, crop):
    """ensures that a rising test passes from below through within to above, once (own property)."""
    order = [BELOW, "within", ABOVE]
    seen = [
        order.index(evaluate(guide, rule, crop, t / 2, 100.0, 15.0).position) for t in range(601)
    ]
    assert seen == sorted(seen)
    assert seen[0] == 0


@pytest.mark.parametrize(("guide", "rule", "crop"), CASES, ids=IDS)
def test_critical_level_parts_below_from_the_rest(guide, rule, crop):
    """ensures that the critical level given is where "below" ends (own property)."""
    critical = evaluate(guide, rule, crop, 1.0, 100.0, 15.0).critical_ppm
    assert evaluate(guide, rule, crop, critical * 0.999, 100.0, 15.0).position == BELOW
    assert evaluate(guide, rule, crop, critical * 1.001, 100.0, 15.0).position != BELOW


@given(st.sampled_from(CASES), st.floats(0, 300), st.floats(0, 25))
def test_range_holds_the_rate(case, test, error):
    """ensures that the range from the error of the test holds the rate itself (own property)."""
    guide, rule, crop = case
    result = nutrient_rate.evaluate(
        guide=guide.name, crop=crop.name, nutrient=rule.nutrient, test_ppm=test,
        method=rule.methods[0], cec_meq=15.0, test_error_pct=error, **{"yield": 100.0},
    )
    if result.value is not None and "low" in result.details:
        assert result.details["low"] <= result.value <= result.details["high"]


KG_HA = 0.8922
P_HA, K_HA = 2.2914 * KG_HA, 1.2046 * KG_HA
MGO_HA = 0.6030 * KG_HA


@pytest.mark.parametrize(("guide", "crop", "nutrient", "method", "test", "printed", "factor"), [
    # Fertiliser Manual 2010, archived pages: rates by index in kg/ha of P2O5, K2O and MgO
    ("united_kingdom_2010", "potato", "K2O", "ammonium-nitrate", 100, 330, KG_HA),
    ("united_kingdom_2010", "sugar beet", "K2O", "ammonium-nitrate", 200, 100, KG_HA),
    ("united_kingdom_2010", "canola", "P2O5", "olsen", 12, 80, KG_HA),
    ("united_kingdom_2010", "canola", "K2O", "ammonium-nitrate", 150, 40, KG_HA),
    ("united_kingdom_2010", "flax", "K2O", "ammonium-nitrate", 150, 20, KG_HA),
    ("united_kingdom_2010", "potato", "Mg", "ammonium-nitrate", 40, 80, MGO_HA),
    ("united_kingdom_2010", "sugar beet", "Mg", "ammonium-nitrate", 20, 150, MGO_HA),
    # Teagasc, potatoes, table 42: kg/ha of P and K; none above 15 mg per litre
    ("ireland_morgan", "potato", "P2O5", "morgan", 8, 75, P_HA),
    ("ireland_morgan", "potato", "P2O5", "morgan", 12, 50, P_HA),
    ("ireland_morgan", "potato", "P2O5", "morgan", 16, 0, P_HA),
    ("ireland_morgan", "potato", "K2O", "morgan", 160, 120, K_HA),
    # Ontario dry bean, table 1: kg/ha of P2O5
    ("ontario_field_crops", "dry bean", "P2O5", "olsen", 9, 40, KG_HA),
    # Arkansas, wheat after rice (abstract): kg/ha of P
    ("arkansas_rice_soybean", "winter wheat", "P2O5", "mehlich-3-icp", 12, 30, P_HA),
])
def test_rate_of_a_metric_page(guide, crop, nutrient, method, test, printed, factor):
    """ensures that a rate printed in kilograms a hectare comes out in pounds an acre."""
    rate = nutrient_rate(guide, crop, nutrient, test, method=method)
    assert rate == pytest.approx(printed * factor, abs=0.06)


def test_other_method_gets_no_rate():
    """ensures that a Bray value is never read with a Mehlich-3 guide (SERA-IEG-6 2005: each
    calibration belongs to its extractant)."""
    for formula in (nutrient_rate, soil_test_class):
        extra = {"yield": 180.0} if formula is nutrient_rate else {}
        result = formula.evaluate(guide="tri_state_2020", crop="corn", nutrient="P2O5",
                                  test_ppm=12.0, method="bray-p1", **extra)
        assert result.value is None
        assert not result.within_range
        assert "mehlich-3-icp" in result.notes[0] and "bray-p1" in result.notes[0]


def test_most_demanding_crop_sets_the_level():
    """ensures that wheat in the rotation lifts the corn level to 30 ppm (Bulletin 974)."""
    alone = soil_test_class.evaluate(guide="tri_state_2020", crop="corn", nutrient="P2O5",
                                     test_ppm=24.0)
    beside = soil_test_class.evaluate(guide="tri_state_2020", crop="corn", nutrient="P2O5",
                                      test_ppm=24.0, rotation="soybean|winter wheat")
    assert (alone.details["critical_ppm"], beside.details["critical_ppm"]) == (20, 30)
    assert (alone.details["position"], beside.details["position"]) == ("within", "below")


def test_own_rule_comes_before_the_general_one():
    """ensures that tomato gets its own rate and onion only a class in the New Jersey guide."""
    tomato = nutrient_rate.evaluate(guide="rutgers_mehlich3", crop="tomato", nutrient="K2O",
                                    test_ppm=68.0)
    onion = nutrient_rate.evaluate(guide="rutgers_mehlich3", crop="onion", nutrient="K2O",
                                   test_ppm=68.0)
    assert tomato.value == 200
    assert onion.value is None and onion.details["class"] == "medium"


def test_rule_refuses_what_it_cannot_know():
    """ensures that a missing yield, CEC, crop or guide is named rather than assumed."""
    with pytest.raises(ImpossibleInput, match="yield goal"):
        nutrient_rate(guide="tri_state_2020", crop="corn", nutrient="P2O5", test_ppm=10.0)
    with pytest.raises(ImpossibleInput, match="cec_meq"):
        nutrient_rate("tri_state_2020", "corn", "K2O", 90.0, 180.0)
    with pytest.raises(UnknownName, match="known: alfalfa"):
        nutrient_rate("tri_state_2020", "tomato", "P2O5", 10.0, 20.0)
    with pytest.raises(UnknownName, match="did you mean 'tri_state_2020'"):
        nutrient_rate("tristate_2020", "corn", "P2O5", 10.0, 180.0)
    with pytest.raises(UnknownName):
        nutrient_rate("tri_state_2020", "corn", "P", 10.0, 180.0)
    with pytest.raises(ImpossibleInput):
        nutrient_rate("tri_state_2020", "corn", "P2O5", -1.0, 180.0)


def test_beyond_a_printed_table_is_flagged():
    """ensures that a test past the last column keeps its rate but is flagged (own rule)."""
    result = nutrient_rate.evaluate(guide="montana_eb0161", crop="winter wheat", nutrient="P2O5",
                                    test_ppm=20.0)
    assert result.value == 35
    assert not result.within_range


def test_nothing_to_add_is_said_as_a_limit():
    """ensures that a soil above the guide's limit tells the planner to bring none."""
    high = nutrient_rate.evaluate(guide="tri_state_2020", crop="corn", nutrient="P2O5",
                                  test_ppm=60.0, **{"yield": 180.0})
    drawn = nutrient_rate.evaluate(guide="tri_state_1995", crop="corn", nutrient="P2O5",
                                   test_ppm=35.0, **{"yield": 180.0})
    assert high.details["upper_lb_ac"] == 0 and high.details["nutrient"] == "P2O5"
    assert "upper_lb_ac" not in drawn.details


def test_memory_is_admitted():
    """ensures that a rate resting on one unverified number is graded as from memory."""
    assert nutrient_rate.evaluate(guide="tri_state_2020", crop="corn", nutrient="P2O5",
                                  test_ppm=10.0, **{"yield": 180.0}).how == "memory"
    assert nutrient_rate.evaluate(guide="montana_alfalfa_1998", crop="alfalfa", nutrient="P2O5",
                                  test_ppm=10.0, **{"yield": 5.0}).how == "seen"


def test_guides_that_fit():
    """ensures that region, method and crop together pick the guide, and Bray picks the old one."""
    corn = find_crop("corn")
    new = guides.fitting_guides(corn, {"P2O5": "mehlich-3-icp", "K2O": "mehlich-3"}, ("Ohio",))
    bray = {"P2O5": "bray-p1", "K2O": "ammonium-acetate"}
    old = guides.fitting_guides(corn, bray, ("Ohio, USA",))
    both = guides.fitting_guides(find_crop("alfalfa"), {"P2O5": "olsen"}, (None, "Montana"))
    none = guides.fitting_guides(corn, {}, ("Ohio",))
    assert [g.name for g in new] == ["tri_state_2020"]
    assert [g.name for g in old] == ["tri_state_1995"]
    assert [g.name for g in both] == ["montana_alfalfa_1998", "montana_eb0161"]
    assert none == ()


@pytest.mark.parametrize(("region", "place", "there"), [
    ("Kansas", "Arkansas", False), ("Kansas", "eastern Kansas", True),
    ("England", "New England, USA", False), ("Wales", "New South Wales", False),
    ("Kansas", "Kansas City, Missouri", False), ("Virginia", "West Virginia", False),
    ("Virginia", "West Virginia and Virginia", True), ("West Virginia", "West Virginia", True),
    ("Delaware", "Delaware County, Indiana", False), ("Georgia", "Georgia Coastal Plain", True),
    ("Coastal Plain of Georgia", "the coastal plain of Georgia", True)])
def test_region_is_told_word_by_word(region, place, there):
    """ensures that a region is not found in the name of another one, of a county or a town."""
    assert replace(SHIPPED["kansas_mf2586"], regions=(region,)).fits_region(place) is there


OWN = {
    "source": {"title": "House guide", "reference": "own strips 2020 to 2025", "how": "seen"},
    "guide": {"regions": ["Ohio"], "kind": "class table", "depth_in": 6},
    "rule": [{"nutrient": "P2O5", "crops": ["corn"], "methods": ["mehlich-3-icp"],
              "kind": "classes", "critical_class": "enough",
              "classes": [{"name": "short", "from_ppm": 0, "rate_lb": 70},
                          {"name": "enough", "from_ppm": 25, "rate_lb": 0}]}],
}


def test_own_guide_is_known_only_inside_its_block():
    """ensures that a consultant's guide answers while a case runs and not after."""
    own = guides.from_data("house", OWN, own=True)
    with guides.with_guides(own):
        result = nutrient_rate.evaluate(guide="house", crop="corn", nutrient="P2O5", test_ppm=10.0)
        assert result.value == 70
        assert result.source == guides.OWN_REFERENCE and "own strips" in result.locator
    with pytest.raises(UnknownName):
        nutrient_rate("house", "corn", "P2O5", 10.0)


def test_faulty_guide_data_is_refused():
    """ensures that a rule of an unknown kind or without its parts is a table fault."""
    for rule in ({**OWN["rule"][0], "kind": "guess"}, {"nutrient": "P2O5", "kind": "critical"}):
        with pytest.raises(TableFault):
            guides.from_data("bad", {**OWN, "rule": [rule]})


def test_classes_hold_from_their_lower_bound():
    """ensures that printed whole-number classes (11 to 15) hold from 11 on (PM 1688, 2013)."""
    rule = SHIPPED["iowa_2013"].rule("P2O5", find_crop("corn"), "bray-p1")
    names = [class_of(rule.classes, t).name for t in (0, 10.9, 11, 15.9, 16, 20.9, 21, 31, 500)]
    assert names == ["very low", "very low", "low", "low", "optimum", "optimum", "high",
                     "very high", "very high"]


KG_HA = 0.45359237 * 2.4710538
"""Kilograms per hectare in a pound per acre."""
IRISH_UNIT = 1.23
"""Kilograms per hectare in the Irish unit per acre (Fertilizer Association of Ireland)."""


@pytest.mark.parametrize(("guide", "crop", "nutrient", "method", "test_ppm", "kg_ha"), [
    # Fertiliser Manual (RB209, 2010), section 4: kg/ha at index 0, 2 and 3
    ("united_kingdom_2010", "potato", "P2O5", "olsen", 9.0, 250),
    ("united_kingdom_2010", "potato", "P2O5", "olsen", 45.0, 100),
    ("united_kingdom_2010", "sugar beet", "P2O5", "olsen", 16.0, 50),
    ("united_kingdom_2010", "flax", "P2O5", "olsen", 26.0, 0),
    # Ireland: 28 units of P at index 2, 88 units of K at index 3
    ("ireland_morgan", "winter wheat", "P2O5", "morgan", 3.1, 28 * IRISH_UNIT * 2.2914),
    ("ireland_morgan", "winter wheat", "K2O", "morgan", 150.0, 88 * IRISH_UNIT * 1.2046),
    # Ontario, corn, table 1: 90 kg/ha at 6 to 7 ppm, 20 kg/ha at 30 ppm
    ("ontario_corn", "corn", "P2O5", "olsen", 7.0, 90),
    ("ontario_corn", "corn", "P2O5", "olsen", 30.0, 20),
    # North Dakota, barley: 26 lb/ac at 12 to 15 ppm
    ("north_dakota_barley", "barley", "P2O5", "olsen", 15.0, 26 * KG_HA),
])
def test_rate_is_the_printed_one(guide, crop, nutrient, method, test_ppm, kg_ha):
    """ensures that rates printed in other units come out as printed, to a pound per acre."""
    result = nutrient_rate.evaluate(guide=guide, crop=crop, nutrient=nutrient,
                                    test_ppm=test_ppm, method=method)
    assert result.how == "seen"
    assert result.value * KG_HA == pytest.approx(kg_ha, abs=KG_HA)


@pytest.mark.parametrize(("crop", "element", "method", "test", "status"), [
    ("apple", "Zn", "dtpa", 0.2, "low"), ("apple", "Zn", "dtpa", 0.4, "marginal"),
    ("apple", "Zn", "dtpa", 0.8, "adequate"), ("pear", "Cu", "dtpa", 25.0, "high"),
    ("cherry", "S", "monocalcium phosphate", 3.0, "low"),
])
def test_minor_elements_by_the_guide(crop, element, method, test, status):
    """ensures that a guide's own ranges read sulfur and micronutrients (Washington State
    University, EM119E, table 1: zinc 0.25 and 0.6, copper 20, sulfur 4 ppm)."""
    result = micronutrient_class.evaluate(nutrient=element, method=method, test_ppm=test, crop=crop,
                                          region="Washington", guide="washington_tree_fruit")
    assert result.details["status"] == status and result.source == "wsu-em119e-2022"
    assert result.details["local"] is True


def test_own_guide_holds_every_nutrient():
    """ensures that a consultant's own rule for zinc gives its class and rate, and goes before the
    general scale; a crop it lacks is read by the scale (invented numbers)."""
    zinc = {"nutrient": "Zn", "crops": ["corn"], "methods": ["dtpa"], "kind": "classes",
            "critical_class": "enough", "classes": [
                {"name": "short", "from_ppm": 0, "low_lb": 3, "high_lb": 5},
                {"name": "enough", "from_ppm": 0.7}]}
    data = {"source": {"title": "House", "reference": "own trials", "how": "seen"},
            "guide": {"regions": ["Ohio"], "kind": "class table", "depth_in": 6}, "rule": [zinc]}
    with guides.with_guides(guides.from_data("house", data, own=True)):
        own = micronutrient_class.evaluate(nutrient="Zn", method="dtpa", test_ppm=0.6, crop="corn",
                                           region="Ohio", guide="house")
        other = micronutrient_class.evaluate(nutrient="Zn", method="dtpa", test_ppm=0.6,
                                             crop="onion", region="Ohio", guide="house")
    assert (own.value, own.details["broadcast_low"], own.details["broadcast_high"]) == (
        "short", 3, 5)
    assert other.details["scale"] == "general dtpa zinc"
