"""Acidity and lime beyond single published answers: rules, ranges, refusals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief.case.measurements import methods
from loambrief.case.schema import TEXTURES
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load, references
from loambrief.topics.acidity.formulas import (
    buffer_ph_error,
    effective_lime_pct,
    exchange_acidity,
    lime_credit,
    lime_from_nitrogen,
    lime_passes,
    lime_product_rate,
)
from loambrief.topics.acidity.formulas_lime import (
    fits_buffer,
    lime_requirement,
    lime_requirement_uk,
    lime_table,
    lime_tables,
    tables_for,
    targets_of,
)
from loambrief.topics.acidity.formulas_quality import (
    fineness_factor_pct,
    lime_quality,
    schemes,
    sieves_of,
)
from loambrief.topics.acidity.formulas_targets import (
    ALKALINE,
    SOUR,
    SUITS,
    TOO_ACID,
    TOO_ALKALINE,
    aluminum_saturation,
    guide_for,
    ph_suitability,
    ph_target,
    sulfur_to_acidify,
)

BUFFERS = st.floats(4.9, 6.8)


# --- buffers -------------------------------------------------------------------------------


@pytest.mark.parametrize("method", methods()["buffer"])
def test_every_buffer_of_a_case_is_known(method):
    """ensures that each buffer method a case may name has an acidity or an open refusal."""
    result = exchange_acidity.evaluate(buffer_method=method, buffer_ph=6.0)
    assert (result.value is None) == (method == "modified-mehlich")
    assert result.source in references()
    if result.value is None:
        assert "laboratory" in result.notes[0]


def test_a_buffer_method_is_never_guessed():
    """ensures that a buffer reading without its method is refused."""
    with pytest.raises(UnknownName):
        exchange_acidity(buffer_method="", buffer_ph=6.5)
    with pytest.raises(UnknownName):
        exchange_acidity(buffer_method="SMP-like", buffer_ph=6.5)
    with pytest.raises(ImpossibleInput):
        exchange_acidity.evaluate(buffer_ph=6.5)


def test_the_same_reading_means_different_acidity():
    """ensures that methods are not mixed (Iowa: SMP 6.44 beside Mehlich 5.78 on one soil)."""
    values = {m: exchange_acidity(buffer_method=m, buffer_ph=6.0) for m in
              ("smp", "mehlich", "adams-evans", "woodruff")}
    assert len(set(values.values())) == 4
    assert exchange_acidity.evaluate(buffer_method="mehlich", buffer_ph=6.0).unit == "meq/100cm3"


def test_buffer_error_falls_with_cores_and_is_wide_without():
    """ensures that more cores make a reading surer; none stated gives the laboratory's limit."""
    few, many = (buffer_ph_error(soil_ph=5.6, cores=n) for n in (4, 25))
    assert many < few
    assert many > 0.05
    assert buffer_ph_error.evaluate(soil_ph=5.6).value == 0.15
    with pytest.raises(ImpossibleInput):
        buffer_ph_error(soil_ph=5.6, cores=0)


# --- lime tables ---------------------------------------------------------------------------


@given(BUFFERS, BUFFERS, st.sampled_from([5.6, 6.0, 6.4, 6.8, 7.2]))
def test_a_lower_buffer_never_needs_less_lime(one, two, target):
    """ensures that lime grows as the buffer pH falls, steps included."""
    low, high = sorted((one, two))
    at_low, at_high = (lime_requirement(table="sikora_oregon_2025", buffer_ph=b, target_ph=target,
                                        depth_in=6) for b in (low, high))
    assert at_low >= at_high - 1e-9


@given(st.floats(4.8, 6.8), st.floats(6.0, 7.0), st.floats(6.0, 7.0))
def test_a_higher_target_never_needs_less_lime(buffer, one, two):
    """ensures that lime grows with the target in the SMP table."""
    low, high = sorted((one, two))
    assert lime_requirement(table="smp", buffer_ph=buffer, target_ph=low, depth_in=8) <= (
        lime_requirement(table="smp", buffer_ph=buffer, target_ph=high, depth_in=8) + 1e-9)


@pytest.mark.parametrize("name", lime_tables())
def test_depth_scales_from_each_table_own_base(name):
    """ensures that half the base depth gives half the lime, whatever the table."""
    row = lime_table(name)
    base = row["base_depth_in"] if row["base_depth_in"] > 1 else 6.0
    inputs = {"table": name, "buffer_ph": 7.6 if name == "adams_evans" else 6.2, "acidity": 8.0,
              "soil_ph": 5.2, "target_ph": (targets_of(name) or (6.4,))[-1]}
    if name == "smp_organic":
        inputs["soil_ph"] = 4.6
    if row["key"] == "buffer_ph":
        del inputs["acidity"]
    whole = lime_requirement.evaluate(**inputs, depth_in=base)
    half = lime_requirement.evaluate(**inputs, depth_in=base / 2)
    assert whole.value > 0
    assert half.value == pytest.approx(whole.value / 2)
    assert half.details["effective_caco3_ton_ac"] == pytest.approx(
        whole.details["effective_caco3_ton_ac"] / 2)
    assert whole.details["basis"] and whole.source in references()
    if row["base_depth_in"] > 1:
        assert lime_requirement.evaluate(**inputs).value == pytest.approx(whole.value)


def test_a_table_per_inch_needs_a_depth():
    """ensures that the Kansas equations are not used without a depth."""
    with pytest.raises(ImpossibleInput, match="depth_in"):
        lime_requirement(table="kansas_mf2586", buffer_ph=6.2, target_ph=6.8)


def test_the_step_of_the_source_stands():
    """ensures that nothing is interpolated between Sikora 5.8 and 5.7 (EM 9585)."""
    seen = {b: lime_requirement.evaluate(table="sikora_oregon_2025", buffer_ph=b, target_ph=6.8,
                                         depth_in=6) for b in (5.79, 5.76, 5.74, 5.71)}
    assert [seen[b].value for b in seen] == [5.4, 5.4, 7.2, 7.2]
    assert all("steps" in r.notes[1] for r in seen.values())
    assert seen[5.76].details["low"] == 5.4 and seen[5.76].details["high"] == 7.2
    inside = lime_requirement.evaluate(table="sikora_oregon_2025", buffer_ph=6.15, target_ph=6.8,
                                       depth_in=6)
    assert inside.value == pytest.approx((3.7 + 4.2) / 2)
    assert "low" not in inside.details


def test_beyond_the_rows_is_flagged_not_extrapolated():
    """ensures that the last row stands, and says so, above and below the table."""
    above = lime_requirement.evaluate(table="smp", buffer_ph=6.95, target_ph=6.5, depth_in=8)
    assert above.value == 1.2 and not above.within_range
    below = lime_requirement.evaluate(table="smp", buffer_ph=4.2, target_ph=6.5, depth_in=8)
    assert below.value == 18.6 and not below.within_range
    beside = lime_requirement.evaluate(table="smp", buffer_ph=6.2, target_ph=5.5, depth_in=8)
    assert beside.value == 5.2 and not beside.within_range
    assert any("no column" in note for note in beside.notes)


@pytest.mark.parametrize("name", lime_tables())
def test_another_buffers_table_is_refused(name):
    """ensures that a reading is never used with the table of another buffer."""
    for method in methods()["buffer"]:
        if fits_buffer(name, method):
            continue
        with pytest.raises(ImpossibleInput, match="not interchangeable"):
            lime_requirement(table=name, buffer_ph=6.2, target_ph=6.5, depth_in=6, acidity=5.0,
                             soil_ph=5.2, buffer_method=method)


def test_sikora_may_borrow_smp_and_says_so():
    """ensures that the one allowed loan is stated, and Mehlich has none."""
    result = lime_requirement.evaluate(table="smp", buffer_ph=6.2, target_ph=6.5, depth_in=8,
                                       buffer_method="sikora")
    assert any("SMP calibration" in note for note in result.notes)
    assert "smp" not in tables_for("mehlich")
    assert "sikora_oregon_2025" not in tables_for("smp")


def test_printed_tables_differ_about_twofold():
    """ensures that SMP and Oregon stay as far apart as printed (6.4 against about 3)."""
    smp = lime_requirement(table="smp", buffer_ph=6.2, target_ph=6.5, depth_in=8)
    oregon = lime_requirement(table="sikora_oregon_2025", buffer_ph=6.2, target_ph=6.5, depth_in=6)
    assert smp == pytest.approx(6.4)
    assert 1.9 < smp / oregon < 2.3


def test_effective_lime_is_less_than_ground_lime():
    """ensures that the SMP rate is turned into pure CaCO3 by the table's own two columns."""
    result = lime_requirement.evaluate(table="smp", buffer_ph=6.2, target_ph=6.0, depth_in=8)
    assert result.details["effective_caco3_ton_ac"] == pytest.approx(5.2 * 5.4 / 7.5)


def test_no_lime_at_the_target():
    """ensures that a soil at its target gets none (EM 9585 note)."""
    result = lime_requirement.evaluate(table="sikora_oregon_2025", buffer_ph=6.2, target_ph=6.4,
                                       depth_in=6, soil_ph=6.4)
    assert result.value == 0.0
    assert "no lime" in result.notes[0]


@pytest.mark.parametrize("inputs", [
    {"table": "smp", "target_ph": 6.5},
    {"table": "smp", "buffer_ph": 6.2},
    {"table": "smp", "buffer_ph": 6.2, "target_ph": 6.5, "depth_in": -1},
    {"table": "smp", "buffer_ph": 6.2, "target_ph": 6.5, "depth_in": 0},
    {"table": "smp", "buffer_ph": 62, "target_ph": 6.5},
    {"table": "mehlich_north_carolina", "acidity": 1.2, "target_ph": 6.0},
    {"table": "mehlich_north_carolina", "soil_ph": 5.0, "target_ph": 6.0},
    {"table": "mehlich_penn_state", "buffer_ph": 6.2, "target_ph": 6.5, "soil_ph": 5.5},
    {"table": "mehlich_penn_state", "acidity": 3.0, "target_ph": 6.5},
    {"table": "adams_evans", "buffer_ph": 7.7, "target_ph": 6.5},
    {"table": "mehlich_penn_state", "acidity": -3.0, "target_ph": 7.0},
])
def test_what_a_table_needs_is_asked_for(inputs):
    """ensures that a missing or impossible input is refused rather than guessed."""
    with pytest.raises(ImpossibleInput):
        lime_requirement(**inputs)


def test_unknown_lime_table_is_named():
    """ensures that a misspelt table suggests the right one."""
    with pytest.raises(UnknownName, match="smp"):
        lime_requirement(table="smpp", buffer_ph=6.2, target_ph=6.5, depth_in=8)


def test_north_carolina_takes_the_buffer_too():
    """ensures that the acidity can come from the Mehlich buffer: 4 x (6.6 - 6.3) = 1.2."""
    by_buffer = lime_requirement(table="mehlich_north_carolina", buffer_ph=6.3, soil_ph=5.0,
                                 target_ph=6.0)
    by_acidity = lime_requirement(table="mehlich_north_carolina", acidity=1.2, soil_ph=5.0,
                                  target_ph=6.0)
    assert by_buffer == pytest.approx(by_acidity)


def test_grids_hold_what_they_say():
    """ensures that every grid of the index exists with its columns."""
    for name in lime_tables():
        row = lime_table(name)
        if row["kind"] != "grid":
            continue
        grid = load(f"acidity/{row['file']}")
        for part in str(row["targets"]).split("|"):
            assert part.split("=")[1] in grid.source.columns


def test_british_rate_knows_every_texture():
    """ensures that each texture of a case has a British factor."""
    for texture in TEXTURES:
        assert lime_requirement_uk(texture=texture, soil_ph=5.7, target_ph=6.7) > 0
    with pytest.raises(UnknownName):
        lime_requirement_uk(texture="gravel", soil_ph=5.7, target_ph=6.7)


# --- lime as sold --------------------------------------------------------------------------


@pytest.mark.parametrize("name", schemes())
def test_fineness_is_bounded(name):
    """ensures that powder counts fully and grit counts least in every scheme."""
    fine = {str(mesh): 100 for mesh in sieves_of(name)}
    coarse = {str(mesh): 0 for mesh in sieves_of(name)}
    assert fineness_factor_pct(scheme=name, passing=fine) == pytest.approx(100)
    assert 0 <= fineness_factor_pct(scheme=name, passing=coarse) <= 15
    quality = lime_quality.evaluate(scheme=name, cce_pct=100, passing=fine)
    assert quality.value == load("acidity/fineness_schemes").find(scheme=name)["full_value"]
    assert quality.details["term"]


def test_one_lime_has_many_values():
    """ensures that jurisdictions are not mixed: the same sieves, different factors."""
    passing = {"4": 100, "8": 95, "10": 92, "20": 75, "30": 68, "40": 60, "50": 55, "60": 52,
               "100": 45}
    found = {name: fineness_factor_pct(scheme=name, passing=passing) for name in schemes()}
    assert found["missouri"] < found["oklahoma_kansas"] < found["illinois_4_year"]
    assert found["ohio"] == found["minnesota"] == found["wisconsin"]


@pytest.mark.parametrize("passing", [
    {}, {"8": 90, "20": 70}, {"8": 90, "20": 95, "60": 50}, {"8": 90, "20": 70, "60": 150},
    {"8": 90, "20": 70, "fine": 10, "60": 50}, "8", None, {"8": 90, "20": True, "60": 50},
])
def test_impossible_sieves_are_refused(passing):
    """ensures that a sieve is neither missing nor finer than what passes it."""
    with pytest.raises(ImpossibleInput):
        fineness_factor_pct(scheme="ohio", passing=passing)


@given(st.floats(0.1, 20), st.floats(40, 175), st.floats(20, 100), st.floats(0, 40))
def test_product_holds_the_requirement(need, cce, fineness, moisture):
    """ensures that the rate of product, turned back, is the requirement."""
    rate = lime_product_rate(requirement=need, cce_pct=cce, fineness_pct=fineness,
                             moisture_pct=moisture)
    assert rate * cce / 100 * fineness / 100 * (1 - moisture / 100) == pytest.approx(need)


@pytest.mark.parametrize("bad", [
    {"cce_pct": 0, "fineness_pct": 80}, {"cce_pct": 90, "fineness_pct": 0},
    {"cce_pct": 90, "fineness_pct": 101}, {"cce_pct": 300, "fineness_pct": 80},
    {"cce_pct": 90, "fineness_pct": 80, "moisture_pct": 100},
    {"cce_pct": -1, "fineness_pct": 80},
])
def test_impossible_limes_are_refused(bad):
    """ensures that a lime without value has no rate."""
    with pytest.raises(ImpossibleInput):
        lime_product_rate(requirement=1.0, **bad)


@pytest.mark.parametrize(("cce", "fineness"), [(90, 100.5), (90, -0.5), (-0.5, 80), (250.5, 80)])
def test_impossible_shares_of_lime_are_refused(cce, fineness):
    """ensures that a fineness outside 0 to 100 % and a CCE no lime has are refused, and that
    the limits themselves count (own rule)."""
    with pytest.raises(ImpossibleInput):
        effective_lime_pct(cce, fineness)
    assert effective_lime_pct(250, 100) == 250 and effective_lime_pct(0, 0) == 0


def test_passes_respect_the_cap():
    """ensures that surface lime is split at 2 ton/ac and tilled lime at 4."""
    for placement, cap in (("surface", 2.0), ("tilled", 4.0)):
        for tons in (0.5, 1.9, 2.0, 3.7, 7.9, 12.1):
            result = lime_passes.evaluate(product_ton_ac=tons, placement=placement)
            assert result.details["per_pass_ton_ac"] <= cap + 1e-9
            assert result.value * result.details["per_pass_ton_ac"] == pytest.approx(tons)
    missouri = lime_passes.evaluate(product_ton_ac=3, placement="surface", region="Missouri")
    assert missouri.details["wait_years"] == 2
    with pytest.raises(UnknownName):
        lime_passes(product_ton_ac=1, placement="air")


def test_credit_runs_out_and_never_turns_negative():
    """ensures that earlier lime counts less each month and then not at all."""
    assert lime_credit(applied=2, months=-3) == 2
    assert [round(lime_credit(applied=1, months=m), 2) for m in (0, 6, 12, 13, 80)] == [
        1.0, 0.52, 0.04, 0.0, 0.0]


def test_nitrogen_sources_without_a_figure_say_so():
    """ensures that a missing figure is None, not zero."""
    result = lime_from_nitrogen.evaluate(n_lb_ac=100, nitrogen_source="calcium nitrate")
    assert result.value is None and result.details["caco3_lb_ac"] < 0
    phosphate = lime_from_nitrogen.evaluate(n_lb_ac=100, nitrogen_source="ammonium phosphate")
    assert phosphate.value == 700 and "caco3_lb_ac" not in phosphate.details
    with pytest.raises(UnknownName):
        lime_from_nitrogen(n_lb_ac=100, nitrogen_source="compost tea")


# --- targets, aluminum, sulfur -------------------------------------------------------------


def test_every_crop_has_a_target_everywhere():
    """ensures that no crop of the crop table falls through the pH guides."""
    regions = (None, "Ohio", "Pennsylvania", "Iowa", "Oregon", "England", "Narnia")
    for crop in load("crops/crops").column("crop"):
        for region in regions:
            result = ph_target.evaluate(crop=crop, region=region)
            assert 4.0 < result.value <= 7.2
            assert result.details["trigger"] <= result.value
            assert result.details["own_guide"] <= (guide_for(region) is not None)


def test_unmeasured_subsoil_keeps_both_targets():
    """ensures that the higher target is used and the lower one is kept beside it."""
    unknown = ph_target.evaluate(crop="corn", region="Ohio")
    assert unknown.value == 6.5 and unknown.details["other_target"] == 6.0
    known = ph_target.evaluate(crop="corn", region="Ohio", subsoil_ph=6.9)
    assert known.value == 6.0 and "other_target" not in known.details


def test_acid_crops_keep_their_own_target():
    """ensures that a region's general target does not lime blueberries."""
    for region in (None, "Ohio", "Pennsylvania", "Iowa"):
        assert ph_target(crop="blueberry", region=region) == 4.5
        assert ph_target.evaluate(crop="blueberry", region=region).details["acidify"]
        assert ph_target(crop="potato", region=region) == 5.5


@pytest.mark.parametrize(("limey", "word"), [
    ({"fizz": "slight"}, "fizzes"), ({"fizz": "none", "carbonate_pct": 0.4}, "lime"),
    ({}, "likely"),
])
def test_calcareous_soil_gets_no_sulfur(limey, word):
    """ensures that free lime, seen or likely, stops every sulfur rate (RHS: vinegar test)."""
    result = sulfur_to_acidify.evaluate(table="purdue_per_unit", soil_ph=8.0, target_ph=6.5,
                                        texture="loam", **limey)
    assert result.value is None
    assert word in result.notes[0]


def test_sulfur_tables_are_used_only_for_their_target():
    """ensures that the table to pH 4.5 is not read for pH 6.5, and organic soils get none."""
    assert sulfur_to_acidify(table="michigan_blueberry", soil_ph=7.0, target_ph=6.5,
                             texture="loam", fizz="none") is None
    assert sulfur_to_acidify(table="purdue_per_unit", soil_ph=7.0, target_ph=6.5,
                             texture="peat", fizz="none") is None
    peat = sulfur_to_acidify.evaluate(table="purdue_per_unit", soil_ph=7.0, target_ph=6.5,
                                      texture="peat", fizz="none")
    assert peat.notes[0] == "the tables do not cover organic soils" and peat.source
    assert sulfur_to_acidify(table="purdue_per_unit", soil_ph=6.0, target_ph=6.5,
                             texture="loam", fizz="none") == 0
    between = sulfur_to_acidify.evaluate(table="michigan_blueberry", soil_ph=5.25, target_ph=4.5,
                                         texture="loam", fizz="none")
    assert between.value == pytest.approx((530 + 1030) / 2)
    beyond = sulfur_to_acidify.evaluate(table="michigan_blueberry", soil_ph=7.4, target_ph=4.5,
                                        texture="loam", fizz="none")
    assert beyond.value == 2560 and not beyond.within_range


def test_aluminum_cannot_pass_the_capacity():
    """ensures that aluminum saturation stays between 0 and 100 %."""
    assert aluminum_saturation(al_meq=2.0, ecec_meq=5.0) == 40
    with pytest.raises(ImpossibleInput):
        aluminum_saturation(al_meq=6.0, ecec_meq=5.0)
    with pytest.raises(ImpossibleInput):
        aluminum_saturation(al_meq=0.0, ecec_meq=0.0)


def test_a_crop_without_a_published_ph_range_is_not_judged():
    """ensures that a missing range never reads as suitable."""
    result = ph_suitability.evaluate(crop="buckwheat", soil_ph=8.6)
    assert result.value is None and result.notes


@given(st.sampled_from(load("acidity/ph_tolerance").column("crop")), st.floats(2.0, 12.0))
def test_a_higher_ph_never_looks_less_alkaline(crop, soil_ph):
    """ensures that the classes follow the pH in order."""
    order = (TOO_ACID, SOUR, SUITS, ALKALINE, TOO_ALKALINE)
    higher = min(soil_ph + 0.3, 12.0)
    one, two = (ph_suitability.evaluate(crop=crop, soil_ph=p).text for p in (soil_ph, higher))
    assert order.index(one) <= order.index(two)


@pytest.mark.parametrize(("soil", "pounds"), [(4.48, 0.0), (4.5, 0.0), (4.75, 265.0), (5.0, 530.0)])
def test_sulfur_begins_at_the_target_of_its_table(soil, pounds):
    """ensures that a soil at the table's target takes none, though the wish lies just below it
    (msu-blueberry-sulfur: 530 lb/ac on loam from pH 5.0 to 4.5)."""
    assert sulfur_to_acidify(table="michigan_blueberry", soil_ph=soil, target_ph=4.46,
                             texture="loam") == pytest.approx(pounds)
