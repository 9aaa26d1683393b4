"""Sucrose table and its inverse, temperature, replicates, crop beside weed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from loambrief.errors import ImpossibleInput
from loambrief.tables import load
from loambrief.topics.refractometry.formulas import (
    brix_at_20c,
    brix_crop_minus_weed,
    brix_from_refractive_index,
    brix_replicates_agree,
    refractive_index_of_sucrose,
    sap_pressing_check,
)


@given(st.floats(0, 40))
def test_index_and_brix_are_inverse(brix):
    """ensures that Brix to index and back is the same Brix."""
    assert brix_from_refractive_index(refractive_index_of_sucrose(brix)) == pytest.approx(
        brix, abs=1e-6)


def test_index_rises_smoothly():
    """ensures that the index rises with ever larger steps, as the published tables do."""
    index = [refractive_index_of_sucrose(float(b)) for b in np.linspace(0, 30, 301)]
    steps = np.diff(index)
    assert steps.min() > 0.000142 and steps.max() < 0.000182


@pytest.mark.parametrize("column", ["index_handbook", "index_control_table"])
def test_memory_table_against_tables_that_were_seen(column):
    """ensures that the five-decimal column stays within 0.00012 of both seen tables up to 30 %."""
    for row in load("refractometry/sucrose_index"):
        if row[column] is not None and row["brix"] <= 30:
            assert row["index"] == pytest.approx(row[column], abs=0.00012), row["brix"]


def test_glucose_syrup_would_be_wrong():
    """ensures that the glucose syrup table (ISO 1743) is half a Brix off at 10 %."""
    assert brix_from_refractive_index(1.34852) - 10 == pytest.approx(0.45, abs=0.02)


def test_ends_of_the_table():
    """ensures that the range is said: below water, above 30, above 40, no liquid of a plant."""
    below = brix_from_refractive_index.evaluate(index=1.3325)
    assert below.value < 0 and not below.within_range
    assert not brix_from_refractive_index.evaluate(index=1.39).within_range
    above = brix_from_refractive_index.evaluate(index=1.41)
    assert above.value is None and not above.within_range
    for index in (1.0, 1.29, 1.6):
        with pytest.raises(ImpossibleInput):
            brix_from_refractive_index(index)
    for brix in (-0.1, 40.1):
        with pytest.raises(ImpossibleInput):
            refractive_index_of_sucrose(brix)


def test_every_cell_of_the_temperature_table():
    """ensures that table points come back as printed, with their sign and how they were checked."""
    for row in load("refractometry/temperature_correction"):
        for brix in (0, 5, 10, 15, 20, 25, 30):
            result = brix_at_20c.evaluate(reading=float(brix), temperature_c=row["temperature_c"])
            sign = 1 if row["temperature_c"] >= 20 else -1
            assert result.details["correction"] == pytest.approx(sign * row[f"brix_{brix}"])
            seen = row["seen_to_brix"] is not None and brix <= row["seen_to_brix"]
            assert result.how == ("seen" if seen else "memory")
            assert result.within_range


@given(st.floats(0, 30), st.floats(10, 30))
def test_correction_has_the_right_sign_and_size(reading, temperature):
    """ensures that cold readings fall and warm ones rise, by no more than the table's largest."""
    change = brix_at_20c(reading, temperature) - reading
    assert abs(change) <= 0.8 + 1e-9
    assert change <= 0 if temperature < 20 else change >= 0


def test_correction_agrees_with_water():
    """ensures that at 0 Brix the correction to 30 C is that of water, 0.73 (ISO 1743, own)."""
    per_brix = refractive_index_of_sucrose(1.0) - refractive_index_of_sucrose(0.0)
    assert brix_at_20c(0, 30) == pytest.approx((1.33299 - 1.33194) / per_brix, abs=0.03)


def test_outside_the_table_is_flagged():
    """ensures that hot, cold or thick sap still gets a value, with a flag."""
    for reading, temperature in ((10, 35), (10, 5), (40, 25)):
        result = brix_at_20c.evaluate(reading=reading, temperature_c=temperature)
        assert not result.within_range
    assert brix_at_20c(10, 35) > brix_at_20c(10, 30)
    assert brix_at_20c(10, 5) < brix_at_20c(10, 10)
    for bad in ((-1, 20), (86, 20), (10, 80), (10, -20)):
        with pytest.raises(ImpossibleInput):
            brix_at_20c(*bad)


def test_compensation_is_not_corrected_twice():
    """ensures that a compensating instrument's reading stays, and is flagged beyond 10 to 30 C."""
    inside = brix_at_20c.evaluate(reading=8.0, temperature_c=28, atc=True)
    assert inside.value == 8.0 and inside.within_range
    outside = brix_at_20c.evaluate(reading=8.0, temperature_c=38, atc=True)
    assert outside.value == 8.0 and not outside.within_range


def test_critical_range_against_the_studentized_range():
    """ensures that the factors for n replicates are the 95 % points of the range (scipy)."""
    for row in load("refractometry/critical_range"):
        wanted = stats.studentized_range.ppf(0.95, int(row["n"]), np.inf)
        assert row["factor"] == pytest.approx(wanted, abs=0.06)


def test_replicates_by_the_instrument():
    """ensures that two readings 0.28 apart agree and 0.3 apart do not (SD 0.1)."""
    assert brix_replicates_agree([8.0, 8.28]) == "agree"
    assert brix_replicates_agree([8.0, 8.3]) == "differ"
    assert not brix_replicates_agree.evaluate(readings=[8.0] * 12).within_range
    with pytest.raises(ImpossibleInput):
        brix_replicates_agree([8.0])


def test_difference_and_what_the_instrument_can_show():
    """ensures that a difference under 0.3 is never called clear, however tight its interval."""
    tight = brix_crop_minus_weed.evaluate(crop_brix=[8.0, 8.01, 8.0, 8.01],
                                          weed_brix=[8.2, 8.21, 8.2, 8.21])
    assert tight.details["high"] < 0 and tight.details["clear"] is False
    wide = brix_crop_minus_weed.evaluate(crop_brix=[7.0, 9.0], weed_brix=[8.5, 10.5])
    assert wide.details["clear"] is False
    single = brix_crop_minus_weed.evaluate(crop_brix=[7.0], weed_brix=[9.0, 9.2])
    assert single.details["low"] is None and single.notes


def test_difference_against_scipy():
    """ensures that the interval is Welch's (scipy), here for five and five readings."""
    crop, weed = [6.8, 7.4, 7.0, 6.6, 7.2], [8.2, 7.6, 8.4, 7.9, 8.0]
    result = brix_crop_minus_weed.evaluate(crop_brix=crop, weed_brix=weed)
    wanted = stats.ttest_ind(crop, weed, equal_var=False).confidence_interval(0.90)
    assert (result.details["low"], result.details["high"]) == pytest.approx(
        (wanted.low, wanted.high))
    assert result.evidence == "screening sign"


def test_harmful_plants_are_known_by_genus():
    """ensures that listed genera are refused and unlisted ones are not called safe."""
    assert sap_pressing_check("Conium maculatum") == "do not press"
    assert sap_pressing_check("euphorbia esula") == "do not press"
    result = sap_pressing_check.evaluate(species="Setaria faberi")
    assert result.value == "not listed" and "never means safe" in result.notes[0]
    with pytest.raises(ImpossibleInput):
        sap_pressing_check(" ")
