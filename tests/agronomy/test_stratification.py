"""Layers: mass balance and its limits."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.topics.stratification.formulas import (
    figure,
    layer_ratio,
    layer_weighted_mean,
    lower_layer_value,
)

VALUE = st.floats(0, 3000)


@given(VALUE, VALUE, st.floats(0.5, 4), st.floats(0.5, 20))
def test_balance_is_the_inverse_of_the_mean(top, below, top_depth, thickness):
    """ensures that the worked-out layer, averaged back, gives the whole layer."""
    whole = layer_weighted_mean(values=[top, below], thicknesses=[top_depth, thickness])
    assume(whole > 1e-6)
    found = lower_layer_value(top_value=top, top_depth=top_depth, whole_value=whole,
                              whole_depth=top_depth + thickness)
    assert found == pytest.approx(below, rel=1e-6, abs=1e-5 * max(top, 1))


def test_a_slice_cannot_hold_more_than_its_layer():
    """ensures that an impossible balance is refused, and an exact one gives zero."""
    assert lower_layer_value(top_value=30, top_depth=2, whole_value=10, whole_depth=6) == 0
    with pytest.raises(ImpossibleInput, match="holds more"):
        lower_layer_value(top_value=30.1, top_depth=2, whole_value=10, whole_depth=6)


@pytest.mark.parametrize("bad", [
    {"top_depth": 0}, {"top_depth": 6}, {"top_depth": 7}, {"top_value": -1}, {"whole_value": -1},
])
def test_impossible_layers_are_refused(bad):
    """ensures that depths nest and values are not negative."""
    inputs = {"top_value": 10.0, "top_depth": 2.0, "whole_value": 10.0, "whole_depth": 6.0}
    with pytest.raises(ImpossibleInput):
        lower_layer_value(**{**inputs, **bad})


@pytest.mark.parametrize(("values", "thicknesses"), [
    ([], []), ([1], [1, 2]), ([1, -2], [1, 1]), ([1, 2], [1, 0]), ("12", "34"),
])
def test_impossible_cores_are_refused(values, thicknesses):
    """ensures that a core has as many values as slices, none of them impossible."""
    with pytest.raises(ImpossibleInput):
        layer_weighted_mean(values=values, thicknesses=thicknesses)


def test_ratio_needs_something_below():
    """ensures that nothing below is not an infinite ratio."""
    assert layer_ratio(top_value=0, below_value=4) == 0
    with pytest.raises(ImpossibleInput):
        layer_ratio(top_value=4, below_value=0)


def test_figures_are_known_by_name():
    """ensures that a published figure is asked for by its name."""
    assert figure("runoff_depth") == 2
    with pytest.raises(UnknownName):
        figure("nothing")
