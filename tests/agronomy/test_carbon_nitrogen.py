"""Carbon and nitrogen formulas behave as their sources say."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief.agronomy.arguments import parse_value
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load
from loambrief.topics.carbon_nitrogen import formulas as carbon
from loambrief.topics.carbon_nitrogen import formulas_compost as compost
from loambrief.topics.carbon_nitrogen import formulas_decay as decay
from loambrief.topics.carbon_nitrogen import formulas_nitrogen as nitrogen
from loambrief.topics.carbon_nitrogen import formulas_supply as supply

COMPOST = "carbon_nitrogen/compost_materials"
RATIO = st.floats(6.0, 400.0)
LITTER = {"name": "litter", "mass": 1000, "moisture_pct": 37, "nitrogen_pct": 2.7, "cn_ratio": 14}
STRAW = {"name": "straw", "mass": 300, "moisture_pct": 12, "nitrogen_pct": 0.7, "carbon_pct": 56}


@given(RATIO, st.floats(100, 10000))
def test_high_ratio_never_releases(ratio, mass):
    """ensures that C:N above the diet of 24 ties up and below it releases (NRCS 2011)."""
    value = decay.nitrogen_tie_up_lb_ac(mass, ratio)
    assert (value > 0) == (ratio > 24) or abs(value) < 1e-9


@given(RATIO)
def test_ratio_and_content_are_inverse(ratio):
    """ensures that N from C:N gives the C:N back (ARS Akron, footnote 1)."""
    nitrogen = carbon.nitrogen_pct_from_ratio(ratio)
    assert carbon.carbon_nitrogen_ratio(40.0, nitrogen) == pytest.approx(ratio)


def test_mineral_nitrogen_by_hand():
    """ensures that 15 cm at 1.3 g/cm3, 1.5 % C, C:N 10 and 2 % give 58.5 kg/ha (arithmetic)."""
    result = carbon.nitrogen_mineralised_kg_ha.evaluate(
        depth_cm=15, bulk_density_g_cm3=1.3, carbon_pct=1.5, cn_ratio=10, turnover_pct=2)
    assert result.value == pytest.approx(58.5)
    assert result.details["organic_nitrogen_kg_ha"] == pytest.approx(2925)


@given(st.floats(8, 15))
def test_wider_ratio_gives_less_nitrogen(ratio):
    """ensures that a wider C:N yields less nitrogen from the same carbon (own property)."""
    narrow = carbon.nitrogen_mineralised_kg_ha(15, 1.3, 1.5, ratio, 2)
    assert carbon.nitrogen_mineralised_kg_ha(15, 1.3, 1.5, ratio * 1.2, 2) < narrow


def test_sixteen_is_a_share_not_a_threshold():
    """ensures that the 16 of the microbial diet is the part that is burned (NRCS 2011)."""
    result = decay.carbon_respired_pct.evaluate()
    assert result.details == {"parts_respired": 16.0, "parts_kept": 8.0}
    assert result.value == pytest.approx(200 / 3)
    assert decay.nitrogen_by_rule_of_16.evidence == "common practice"


def test_effect_of_each_element():
    """ensures that limits belong to their element and guide (Alberta, NRCS, Minnesota)."""
    assert decay.decay_effect(25, guide="nrcs") == "tie-up"
    assert decay.decay_effect(25, guide="alberta") == "about even"
    assert decay.decay_effect(150, "phosphorus") == "release"
    with pytest.raises(UnknownName):
        decay.decay_effect(25, "potassium")
    with pytest.raises(ImpossibleInput):
        decay.decay_effect(0)


def test_residue_is_found_by_synonym_after_its_name():
    """ensures that "manures" is not taken for the rotted manure of the same list."""
    assert decay.residue_carbon_nitrogen("Wheat Straw") == 80
    assert decay.residue_carbon_nitrogen("hairy vetch") == 11
    assert decay.residue_carbon_nitrogen("manures") == 20
    with pytest.raises(UnknownName):
        decay.residue_carbon_nitrogen("moon dust")


@given(st.floats(1, 1000), st.floats(0, 45), st.floats(65, 100), st.floats(46, 64))
def test_moisture_mix_reads_back(mass, dry, wet, target):
    """ensures that the mix has the moisture that was asked for (Cornell)."""
    added = compost.mix_mass_for_moisture(mass, wet, dry, target)
    got = (mass * wet + added * dry) / (mass + added)
    assert got == pytest.approx(target)


@pytest.mark.parametrize("target", [80, 20])
def test_unreachable_moisture_is_refused(target):
    """ensures that a goal outside the two moistures gives no negative mass (Cornell)."""
    with pytest.raises(ImpossibleInput, match="no mix"):
        compost.mix_mass_for_moisture(10, 77, 35, target)


def test_recipe_reads_back():
    """ensures that the three-part recipe has the C:N and moisture asked for (Cornell)."""
    parts = [LITTER, {k: v for k, v in STRAW.items() if k != "mass"}]
    recipe = compost.compost_recipe.evaluate(materials=parts, target_ratio=28,
                                             target_moisture_pct=58)
    mixed = [LITTER, {**STRAW, "mass": recipe.details["second"]},
             {**compost.WATER, "mass": recipe.details["third"]}]
    blend = compost.blend_carbon_nitrogen.evaluate(materials=mixed)
    assert blend.value == pytest.approx(28)
    assert blend.details["moisture_pct"] == pytest.approx(58)


@given(st.permutations([LITTER, STRAW, {**compost.WATER, "mass": 500}]))
def test_blend_does_not_depend_on_order(parts):
    """ensures that a blend is the same whatever the order of its parts (own property)."""
    assert compost.blend_carbon_nitrogen(parts) == pytest.approx(
        compost.blend_carbon_nitrogen([LITTER, STRAW]))


def test_blend_takes_json_from_the_command_line():
    """ensures that a typed JSON list is understood as materials."""
    typed = parse_value(json.dumps([LITTER, STRAW]))
    assert compost.blend_carbon_nitrogen(typed) == pytest.approx(
        compost.blend_carbon_nitrogen([LITTER, STRAW]))


@pytest.mark.parametrize("bad", [
    "straw", [], [3], [{**LITTER, "moisture_pct": 140}], [{**LITTER, "mass": -1}],
    [{"mass": 1, "moisture_pct": 10, "carbon_pct": 40, "nitrogen_pct": 0}],
    [{"mass": 1, "moisture_pct": 10}], [{**LITTER, "cn_ratio": 60}],
    [{**LITTER, "nitrogen_pct": "much"}],
])
def test_impossible_blend_is_refused(bad):
    """ensures that missing or impossible parts of a blend raise instead of counting as zero."""
    with pytest.raises(ImpossibleInput):
        compost.blend_carbon_nitrogen(bad)


def test_misspelt_key_of_a_material_is_refused():
    """ensures that "nitrogen" for "nitrogen_pct" is caught."""
    with pytest.raises(UnknownName, match="nitrogen_pct"):
        compost.blend_carbon_nitrogen([{**LITTER, "nitrogen_ptc": 1}])


def test_handbook_means_are_flagged_not_refused():
    """ensures that handbook sawdust (0.24 % N, 442:1, so 106 % C) is let through and flagged."""
    row = load(COMPOST).find(material="sawdust")
    part = {"mass": 1, "moisture_pct": row["moisture_pct"], "nitrogen_pct": row["nitrogen_pct"],
            "cn_ratio": row["cn_ratio"]}
    result = compost.blend_carbon_nitrogen.evaluate(materials=[LITTER, part])
    assert not result.within_range


def test_cornell_rows_of_the_material_table():
    """ensures that rows marked seen agree with the carbon of the Cornell worksheet."""
    seen = {"fish waste": 38.2, "cattle manure": 45.6, "newsprint": 62.5, "seaweed": 32.3}
    for row in load(COMPOST):
        if row["how"] == "seen":
            got = row["nitrogen_pct"] * row["cn_ratio"]
            assert got == pytest.approx(seen[row["material"]], abs=0.05)


@given(st.floats(0, 6), st.floats(0.1, 5))
def test_cover_nitrogen_never_falls_with_content(mass, content):
    """ensures that richer covers never give less nitrogen (PNW 636)."""
    low = supply.cover_crop_nitrogen_lb_ac(mass, content)
    assert 0 <= low <= supply.cover_crop_nitrogen_lb_ac(mass, content + 0.5) <= 100


def test_shares_stay_in_order():
    """ensures that each share of usable nitrogen has low up to high, at most all of it."""
    for row in load(supply.SHARES):
        assert 0 <= row["low_pct"] <= row["high_pct"] <= 100
    with pytest.raises(UnknownName):
        supply.available_nitrogen_lb_ton("elephant manure", 1.0)


def test_organic_matter_takes_long_or_never_comes():
    """ensures that decay can stop the rise for good, and a met target takes no time.

    Residue per lb and decay: Noble (2016); equilibrium by arithmetic.
    """
    never = supply.years_to_organic_matter.evaluate(
        organic_matter_pct=2.0, target_pct=3.0, yearly_residue_lb_ac=4000)
    assert never.value is None
    assert never.details["equilibrium_pct"] == pytest.approx(0.4, abs=0.01)
    assert supply.years_to_organic_matter(3.0, 2.0, 4000) == 0.0
    slow = supply.years_to_organic_matter(2.0, 3.0, 9000, residue_per_lb=5, decay_pct=2)
    assert 25 < slow < 75


@given(st.floats(1.0, 3.0), st.floats(1000, 9000))
def test_more_residue_is_never_slower(start, mass):
    """ensures that more residue reaches a target no later (own property)."""
    def years(pounds):
        got = supply.years_to_organic_matter(start, start + 0.2, pounds, 5, 2)
        return float("inf") if got is None else got

    assert years(mass * 1.2) <= years(mass)


def test_compost_range_brackets():
    """ensures that the least compost is if all of it lasted, the most if a third did."""
    result = supply.compost_for_organic_matter_ton_ac.evaluate(rise_pct=1, carbon_pct=20)
    assert result.value == pytest.approx(20000 / (0.2 * 1.724) / 2000, rel=1e-4)
    assert result.details["high"] == pytest.approx(3 * result.value, rel=1e-3)


def test_clay_ranges_are_the_texture_triangle():
    """ensures that clay limits stay inside 0 to 100 % and organic soils have none."""
    for row in load("carbon_nitrogen/clay"):
        assert 0 <= row["clay_low_pct"] < row["clay_high_pct"] <= 100
    assert carbon.clay_range("peat") is None
    assert carbon.clay_range("silty clay loam") == (27.0, 40.0)


def test_a_method_without_printed_spans_gives_one_rate():
    """ensures that a rate has ends only where the source prints a span or the test has an error."""
    spans = ("base_high_lb_ac", "per_yield_high_lb", "om_low_lb_pct", "om_high_lb_pct")
    rows = [r for r in load("carbon_nitrogen/nitrogen_methods") if not any(r[s] for s in spans)]
    assert any(r["om_yield_lb"] for r in rows)
    for row in rows:
        inputs = {"method": row["method"], "crop": row["crop"], "organic_matter_pct": 2.0,
                  "yield_goal": row["yield_least"] or row["yield_most"] or 60.0,
                  "nitrate_n_ppm": 5.0, "nitrate_n_lb_ac": 10.0}
        once = nitrogen.nitrogen_rate_yield_goal.evaluate(**inputs)
        assert once.value is None or "high" not in once.details, row["method"]
