"""Shares, profiles, layers, ratings; pores and air; infiltration."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief.case.schema import MOISTURES, TEXTURES
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load
from loambrief.topics.compaction.formulas import (
    compacted_layer,
    compaction_rating,
    compaction_share,
    penetration_profile,
    threshold_psi,
)
from loambrief.topics.compaction.formulas_air import (
    air_filled_porosity_pct,
    bulk_density_class,
    porosity_pct,
    water_filled_pore_space_pct,
)
from loambrief.topics.compaction.formulas_cone import (
    loosening_depth,
    penetrometer_moisture_check,
)
from loambrief.topics.compaction.formulas_water import expected_infiltration, permeability_class

DEPTHS = [3, 6, 9, 12, 15]


@pytest.mark.parametrize(
    ("over", "n", "low", "high"),
    [(3, 10, 7, 65), (5, 10, 19, 81), (8, 10, 44, 97.5), (12, 20, 36, 81), (30, 60, 37, 63)],
)
def test_share_with_its_interval(over, n, low, high):
    """ensures that few points leave a wide interval (own arithmetic, exact binomial)."""
    result = compaction_share.evaluate(readings=[301] * over + [300] * (n - over),
                                       threshold_psi=300, level=95)
    assert result.value == pytest.approx(100 * over / n)
    assert result.details["low"] == pytest.approx(low, abs=0.6)
    assert result.details["high"] == pytest.approx(high, abs=0.6)


def test_share_counts_only_what_was_read():
    """ensures that None is left out and the threshold itself does not count."""
    result = compaction_share.evaluate(readings=[300, 301, None, 250], threshold_psi=300)
    assert (result.details["over"], result.details["n"]) == (1, 3)
    assert compaction_share(readings=310, threshold_psi=300) == 100


@pytest.mark.parametrize("readings", [[], [None], [-5], ["300"], [True]])
def test_share_refuses(readings):
    """ensures that no reading, a negative one or text is refused."""
    with pytest.raises(ImpossibleInput):
        compaction_share(readings=readings, threshold_psi=300)


@given(st.lists(st.floats(0, 900), min_size=1, max_size=40), st.floats(0, 900), st.floats(0, 900))
def test_share_falls_with_the_threshold(readings, first, second):
    """ensures that a higher threshold never gives a larger share, and intervals hold it."""
    low, high = sorted((first, second))
    loose = compaction_share.evaluate(readings=readings, threshold_psi=low)
    tight = compaction_share.evaluate(readings=readings, threshold_psi=high)
    assert tight.value <= loose.value
    assert tight.details["low"] - 1e-9 <= tight.value <= tight.details["high"] + 1e-9


@given(st.floats(0, 100))
def test_every_share_has_a_class(share):
    """ensures that the rating table has neither gap nor overlap."""
    rating = compaction_rating.evaluate(share_pct=share)
    assert rating.details["subsoiling"] == ("yes" if share >= 50 else "no")


def test_rating_says_how_sure_it_is():
    """ensures that an interval over several classes is not called certain."""
    rating = compaction_rating.evaluate(share_pct=50, low_pct=19, high_pct=81)
    assert (rating.details["low_rating"], rating.details["high_rating"]) == (
        "little or none", "severe")
    assert rating.details["certain"] is False
    with pytest.raises(ImpossibleInput):
        compaction_rating(share_pct=101)


def test_profile_by_depth():
    """ensures that medians, maxima and shares are those of each depth (by hand)."""
    result = penetration_profile.evaluate(
        depths_in=[3, 6, 9], profiles=[[100, 200, 350], [120, 310, 330], [90, 180, None]])
    assert result.value == 340 and result.details["depth_in"] == 9
    assert result.details["median_psi"] == [100, 200, 340]
    assert result.details["highest_psi"] == [120, 310, 350]
    assert result.details["share_pct"] == [0, pytest.approx(100 / 3), 100]
    assert result.details["taken"] == [3, 3, 2]


@pytest.mark.parametrize("bad", [
    dict(depths_in=[6, 3], profiles=[[1, 2]]), dict(depths_in=[3], profiles=[]),
    dict(depths_in=[3], profiles=[[1, 2]]), dict(depths_in=[3, 6], profiles=[[1, None]]),
    dict(depths_in=[-1, 3], profiles=[[1, 2]]),
])
def test_profile_refuses(bad):
    """ensures that depths must increase and each must have been read."""
    with pytest.raises(ImpossibleInput):
        penetration_profile(**bad)


@pytest.mark.parametrize(
    ("readings", "top", "bottom", "layers"),
    [
        ([100, 200, 400, 200, 150], 7.5, 10.5, 1),
        ([320, 340, 200, 200, 150], 3, 6 + 3 * 40 / 140, 1),
        ([100, 200, 300, 300, 150], None, None, 0),
        ([100, 200, 280, 320, 400], 9 + 3 * 20 / 40, None, 1),
        ([100, 400, 200, 400, 100], 4.0 + 1.0, 7.5, 2),
        ([100, None, 400, None, 100], 3 + 6 * 200 / 300, 9 + 6 * 100 / 300, 1),
    ],
)
def test_layer_depths(readings, top, bottom, layers):
    """ensures that the level is passed and left where straight lines between marks say."""
    result = compacted_layer.evaluate(depths_in=DEPTHS, readings_psi=readings)
    assert result.value == (None if top is None else pytest.approx(top))
    assert result.details["bottom_in"] == (None if bottom is None else pytest.approx(bottom))
    assert result.details["layers"] == layers


@given(st.lists(st.floats(0, 600), min_size=5, max_size=5))
def test_layer_lies_between_its_marks(readings):
    """ensures that the interpolated depths never leave the marks the published rule notes."""
    result = compacted_layer.evaluate(depths_in=DEPTHS, readings_psi=readings)
    if result.value is None:
        assert max(readings) <= 300
        return
    details = result.details
    assert details["top_in"] <= details["first_over_in"]
    if details["bottom_in"] is not None:
        assert details["first_over_in"] <= details["bottom_in"] <= details["first_under_in"]


def test_layer_refuses():
    """ensures that unequal lengths and missing readings are refused."""
    for depths, values in (([3, 6], [100]), ([3, 6], [None, None]), ([6, 3], [1, 2])):
        with pytest.raises(ImpossibleInput):
            compacted_layer(depths_in=depths, readings_psi=values)


def test_moisture_words_are_those_of_a_case():
    """ensures that each moisture word has its row; only field capacity and wet soil decide."""
    assert load("compaction/moisture").column("moisture") == MOISTURES
    assert [m for m in MOISTURES if penetrometer_moisture_check(moisture=m) == "usable"] == [
        "field capacity", "wet"]
    with pytest.raises(UnknownName):
        penetrometer_moisture_check(moisture="soggy")


def test_thresholds_in_one_unit():
    """ensures that limits published in MPa come out in psi."""
    assert threshold_psi("water_range") == pytest.approx(290, abs=0.1)
    assert threshold_psi("limit") == 300
    with pytest.raises(UnknownName):
        threshold_psi("nothing")


def test_loosening_depth_takes_its_margin():
    """ensures that the published margin is used unless another is given, and flagged when deep."""
    assert loosening_depth(11) == 12
    assert loosening_depth(11, 2) == 13
    assert not loosening_depth.evaluate(bottom_in=30).within_range
    with pytest.raises(ImpossibleInput):
        loosening_depth(0)


@given(st.floats(0.3, 2.0), st.floats(0, 25))
def test_pores_are_air_and_water(density, water):
    """ensures that air plus water make up the pores, and shares agree."""
    air = air_filled_porosity_pct.evaluate(bulk_density_g_cm3=density, water_pct=water)
    wet = density * water  # % by volume, water at 1 g/cm3
    if not air.within_range:
        assert wet > porosity_pct(density)
        return
    assert air.value + wet == pytest.approx(porosity_pct(density))
    filled = water_filled_pore_space_pct(density, water)
    assert filled == pytest.approx(100 * wet / porosity_pct(density))


def test_dense_wet_soil_is_short_of_air():
    """ensures that density 1.60 and 22 % water leave 39.6 pores, 35.2 water, 4.4 air (own)."""
    result = air_filled_porosity_pct.evaluate(bulk_density_g_cm3=1.60, water_pct=22)
    assert result.value == pytest.approx(4.4, abs=0.05)
    assert result.details["below_limit"] is True
    over = air_filled_porosity_pct.evaluate(bulk_density_g_cm3=1.60, water_pct=40)
    assert over.value == 0 and not over.within_range and over.notes


@pytest.mark.parametrize(("water", "share", "possible"), [
    (25.0, 50.0, True), (50.0, 100.0, True), (52.0, 100.0, False)])
def test_full_pores_are_possible_and_overfull_ones_flagged(water, share, possible):
    """ensures that half, all and more than all of the pores full of water are told apart
    (density 1 of solids of 2 g/cm3 leaves 50 % pores; own arithmetic)."""
    found = water_filled_pore_space_pct.evaluate(bulk_density_g_cm3=1.0, water_pct=water,
                                                 particle_density_g_cm3=2.0)
    assert (found.value, found.within_range, not found.notes) == (share, possible, possible)


@pytest.mark.parametrize("call", [
    lambda: porosity_pct(0), lambda: porosity_pct(-1), lambda: porosity_pct(2.7),
    lambda: air_filled_porosity_pct(1.4, -1), lambda: water_filled_pore_space_pct(2.65, 1),
    lambda: bulk_density_class(0, "loam"),
])
def test_impossible_soil_is_refused(call):
    """ensures that densities and waters no soil can have are refused."""
    with pytest.raises(ImpossibleInput):
        call()


@pytest.mark.parametrize("texture", TEXTURES)
def test_every_texture_has_limits_or_says_none(texture):
    """ensures that each texture a case may hold is judged or openly not."""
    judged = bulk_density_class.evaluate(bulk_density_g_cm3=1.2, texture=texture)
    rate = expected_infiltration.evaluate(texture=texture)
    if texture in ("muck", "peat"):
        assert judged.value is None and rate.value is None
    else:
        assert judged.value is not None and rate.value > 0


@given(st.floats(0.6, 2.0), st.sampled_from([t for t in TEXTURES if t not in ("muck", "peat")]))
def test_denser_is_never_better(density, texture):
    """ensures that the class does not improve with density."""
    order = ("ideal", "between ideal and affected", "may affect roots", "restricts roots")
    now = order.index(bulk_density_class(density, texture))
    assert order.index(bulk_density_class(density + 0.05, texture)) >= now


def test_a_texture_in_two_lines_names_both():
    """ensures that loam at 1.61, judged by the stricter line, names the milder one."""
    result = bulk_density_class.evaluate(bulk_density_g_cm3=1.61, texture="loam")
    assert result.value == "may affect roots"
    assert result.details["milder"] == "between ideal and affected"
    with pytest.raises(UnknownName):
        bulk_density_class(1.4, "gravel")


@given(st.floats(0, 100))
def test_every_rate_has_a_class(rate):
    """ensures that the permeability table has neither gap nor overlap."""
    result = permeability_class.evaluate(rate_in_h=rate)
    high = result.details["high_in_h"]
    assert result.details["low_in_h"] <= rate and (high is None or rate < high)


def test_steady_rates_in_both_units():
    """ensures that the mm/h of the table and the printed in/h agree (0.8, 0.4, 0.2, 0.04)."""
    for texture, printed in (("sand", 0.8), ("silt loam", 0.4), ("loam", 0.2), ("clay", 0.04)):
        assert expected_infiltration(texture) == pytest.approx(printed, rel=0.02)
    assert math.isclose(expected_infiltration("loam") * 25.4, 5)
