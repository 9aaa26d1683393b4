"""The crop table and yields in each crop's own unit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief.agronomy.crops import (
    GROUPS,
    MASS_YIELDS,
    crops,
    find_crop,
    first_known,
    lb_per_yield_unit,
    yield_in_crop_unit,
)
from loambrief.case.names import crops as crops_of_the_case
from loambrief.case.names import fold as name_of
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.units import YIELD_UNITS

NAMES = sorted(crops())


def test_enough_crops_in_known_groups():
    """ensures that the table is wide enough and every crop has a group and unit."""
    assert len(NAMES) >= 45
    for crop in crops().values():
        assert crop.group in GROUPS
        assert crop.yield_unit in YIELD_UNITS
        assert set(crop.other_units) <= set(YIELD_UNITS)
        assert crop.parent is None or crop.parent in crops()


def test_names_are_not_shared():
    """ensures that no name or synonym leads to two crops."""
    seen = {}
    for crop in crops().values():
        for name in (crop.name, *crop.synonyms):
            assert seen.setdefault(name.lower(), crop.name) == crop.name, name


@pytest.mark.parametrize(("name", "pounds"), [
    ("corn", 56), ("soybean", 60), ("wheat", 60), ("barley", 48), ("oats", 32), ("rye", 56),
    ("flax", 56), ("grain sorghum", 56),
])
def test_bushel_weights(name, pounds):
    """ensures that bushels weigh what the trade says (Missouri G4020, as copied at unc.edu)."""
    assert find_crop(name).lb_per_unit == pounds


@pytest.mark.parametrize(("name", "bushels"), [
    ("corn", 39.368), ("wheat", 36.744), ("barley", 45.930), ("oats", 68.894),
])
def test_bushels_per_tonne(name, bushels):
    """ensures that 1 t/ha becomes the printed bushels per tonne over 2.471 acres.

    U.S. Grains Council: 39.368, 36.744 and 45.930 bu per tonne; oats at 32 lb: own arithmetic.
    """
    got = yield_in_crop_unit(find_crop(name), 1.0, "t/ha") * 2.4710538
    assert got == pytest.approx(bushels, abs=0.01)


def test_names_in_other_spellings():
    """ensures that case, hyphens, synonyms and scientific names find the crop."""
    for name in ("Maize", "CORN", "dent-corn", "Zea  mays"):
        assert find_crop(name).name == "corn"
    assert find_crop("lucerne").name == "alfalfa"


def test_near_miss_is_suggested():
    """ensures that a typing slip is answered with the name that was meant."""
    with pytest.raises(UnknownName, match="did you mean 'alfalfa'"):
        find_crop("alfafa")


def test_unit_of_another_crop_is_refused():
    """ensures that bushels of alfalfa are not guessed at."""
    with pytest.raises(UnknownName):
        lb_per_yield_unit(find_crop("alfalfa"), "bu/ac")
    with pytest.raises(ImpossibleInput):
        yield_in_crop_unit(find_crop("corn"), -1.0, "bu/ac")


@given(st.sampled_from(NAMES), st.sampled_from(sorted(MASS_YIELDS)), st.floats(0.01, 1e5))
def test_any_mass_unit_serves_any_crop(name, unit, amount):
    """ensures that a yield by mass keeps its mass in the crop's own unit (own property)."""
    crop = find_crop(name)
    got = yield_in_crop_unit(crop, amount, unit)
    assert got * crop.lb_per_unit == pytest.approx(amount * MASS_YIELDS[unit])


def test_parent_stands_in():
    """ensures that a table with wheat serves winter wheat, and its own row comes first."""
    winter = find_crop("winter wheat")
    assert first_known(winter, {"wheat": 1}) == "wheat"
    assert first_known(winter, {"wheat": 1, "winter wheat": 2}) == "winter wheat"
    assert first_known(winter, {"corn": 1}) is None


def test_case_and_formulas_know_the_same_names():
    """ensures that a crop the case file accepts is a crop the formulas find."""
    for name in crops_of_the_case():
        find_crop(name)


@pytest.mark.parametrize("typed, name", [
    ("maíz", "corn"), ("maiz", "corn"), ("Frijol", "dry bean"), ("jitomate", "tomato"),
    ("algodón", "cotton"), ("cacahuate", "peanut"), ("sorgo", "grain sorghum"),
])
def test_spanish_names(typed, name):
    """ensures that crops are known by their Mexican names, for a case and for the formulas."""
    assert find_crop(typed).name == name
    assert crops_of_the_case()[name_of(typed)]["crop"] == name
