"""Intervals and sample numbers against a statistics library, and errors of composites."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from loambrief.agronomy.intervals import (
    beta_quantile,
    binomial_interval,
    incomplete_beta,
    mean_sd,
    numbers,
    t_two_sided,
    welch,
)
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load
from loambrief.topics.sampling.formulas import (
    difference_interval,
    mean_interval,
    samples_needed,
    samples_needed_iterated,
)
from loambrief.topics.sampling.formulas_error import (
    combined_error_pct,
    composite_error_pct,
    soil_test_error,
)

SAP = [8.2, 8.6, 7.9, 8.4, 8.8]
readings = st.lists(st.floats(0.1, 1000), min_size=2, max_size=12)


@pytest.mark.parametrize("level", [0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 0.999])
@pytest.mark.parametrize("df", [1, 1.5, 2, 3, 4, 5, 7.9, 9, 17.776, 30, 120, 5000])
def test_t_against_scipy(level, df):
    """ensures that Student's t agrees with scipy to nine digits."""
    assert t_two_sided(level, df) == pytest.approx(stats.t.ppf(0.5 + level / 2, df), rel=1e-9)


@pytest.mark.parametrize(("a", "b"), [(0.5, 0.5), (1, 1), (2, 8), (4, 8), (30.5, 0.5), (400, 600)])
def test_beta_against_scipy(a, b):
    """ensures that the incomplete beta function and its inverse agree with scipy."""
    for x in (0.001, 0.1, 0.37, 0.5, 0.9, 0.999):
        assert incomplete_beta(a, b, x) == pytest.approx(stats.beta.cdf(x, a, b), abs=1e-12)
    for p in (0.025, 0.3, 0.5, 0.975):
        assert beta_quantile(p, a, b) == pytest.approx(stats.beta.ppf(p, a, b), rel=1e-9)


@pytest.mark.parametrize("n", [1, 2, 3, 10, 12, 20, 60])
def test_binomial_against_scipy(n):
    """ensures that the exact interval of a share agrees with scipy for every count."""
    for count in range(n + 1):
        wanted = stats.binomtest(count, n).proportion_ci(0.95, "exact")
        assert binomial_interval(count, n, 95) == pytest.approx((wanted.low, wanted.high),
                                                                abs=1e-10)


@given(readings, readings)
def test_welch_against_scipy(first, second):
    """ensures that the interval of a difference agrees with scipy for readings that vary."""
    assume(all(max(side) - min(side) > 1e-3 * max(side) for side in (first, second)))
    found = welch(tuple(first), tuple(second), 95)
    wanted = stats.ttest_ind(first, second, equal_var=False)
    interval = wanted.confidence_interval(0.95)
    assert found.df == pytest.approx(wanted.df, rel=1e-6)
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high), rel=1e-6,
                                                    abs=1e-6)


@given(readings)
def test_mean_interval_against_scipy(values):
    """ensures that mean and interval agree with scipy, and hold the mean."""
    result = mean_interval.evaluate(values=values)
    details = result.details
    assert min(values) - 1e-9 <= result.value <= max(values) + 1e-9
    assert details["low"] <= result.value <= details["high"]
    if max(values) - min(values) > 1e-3 * max(values):
        wanted = stats.t.interval(0.90, len(values) - 1, result.value, stats.sem(values))
        assert (details["low"], details["high"]) == pytest.approx(wanted, rel=1e-6, abs=1e-6)


def test_replicates_of_the_reference():
    """ensures that 8.2 8.6 7.9 8.4 8.8 give 8.38 +- 0.43, s 0.349, CV 4.2 % (own arithmetic)."""
    result = mean_interval.evaluate(values=SAP, level=95)
    assert result.value == pytest.approx(8.38)
    assert result.details["half_width"] == pytest.approx(0.43, abs=0.005)
    assert result.details["sd"] == pytest.approx(0.349, abs=0.0005)
    assert result.details["cv_pct"] == pytest.approx(4.2, abs=0.05)


def test_level_in_percent_or_fraction():
    """ensures that 95 and 0.95 mean the same and 1, 0 and 100 mean nothing."""
    assert (mean_interval.evaluate(values=SAP, level=0.95).details
            == mean_interval.evaluate(values=SAP, level=95).details)
    for level in (0, 1, 100, -5, True):
        with pytest.raises(ImpossibleInput):
            mean_interval(values=SAP, level=level)


@pytest.mark.parametrize("values", [[], [1.0], 3.0, "1,2", [1, "2"], [1, math.inf], [1, True]])
def test_too_little_or_no_number_is_refused(values):
    """ensures that a mean needs two numbers and nothing else."""
    with pytest.raises(ImpossibleInput):
        mean_interval(values=values)


def test_readings_not_taken_are_left_out():
    """ensures that None is not a reading and never zero."""
    assert numbers([1, None, 2.5], "x") == (1.0, 2.5)
    assert mean_interval(values=[None, 2.0, 4.0]) == 3.0


def test_samples_needed_for_a_patchy_field():
    """ensures that CV 35 %, error 20 %, 95 % take 15 (own arithmetic: 12, 15, 15 by steps)."""
    assert samples_needed_iterated(35, 20) == 15
    assert samples_needed(t=1.96, sd=35, error=20) == pytest.approx(11.76, abs=0.01)


@given(st.floats(5, 120), st.floats(5, 60))
def test_iterated_number_is_the_smallest(cv, error):
    """ensures that the number is enough and one less is not."""
    n = int(samples_needed_iterated(cv, error))
    def enough(k):
        return k >= (t_two_sided(0.95, k - 1) * cv / error) ** 2 - 1e-6
    assert enough(n)
    assert n == 2 or not enough(n - 1)


@pytest.mark.parametrize("bad", [dict(t=0, sd=1, error=1), dict(t=2, sd=1, error=0),
                                 dict(t=2, sd=-1, error=1)])
def test_samples_needed_refuses(bad):
    """ensures that a wanted error of zero or a negative spread is refused."""
    with pytest.raises(ImpossibleInput):
        samples_needed(**bad)


def test_difference_needs_spread():
    """ensures that two sides that do not vary have no interval."""
    with pytest.raises(ImpossibleInput):
        difference_interval(first=[1, 1], second=[2, 2])
    with pytest.raises(ImpossibleInput):
        difference_interval(first=[1], second=[2, 3])


@pytest.mark.parametrize(("cores", "printed"), [(5, 27), (10, 19), (15, 15.5), (20, 13.4)])
def test_composite_error(cores, printed):
    """ensures that P at CV 60 % has these errors by cores (own arithmetic, rounded)."""
    assert composite_error_pct(60, cores) == pytest.approx(printed, abs=0.2)


def test_combined_error():
    """ensures that 15.5 % from the field and 7 % from the laboratory make 17 % (own arithmetic)."""
    assert combined_error_pct(15.5, 7) == pytest.approx(17, abs=0.05)


def test_error_of_a_test_grows_with_fewer_cores():
    """ensures that the error falls with cores and rises between laboratories."""
    errors = [soil_test_error(test="phosphorus", value=20, cores=n) for n in (5, 10, 20)]
    assert errors == sorted(errors, reverse=True)
    apart = soil_test_error(test="phosphorus", value=20, cores=20, same_lab=False)
    assert apart > errors[-1]


def test_unknown_parts_of_the_error_are_said():
    """ensures that a part without a figure is flagged, never taken as zero."""
    buffer = soil_test_error.evaluate(test="buffer_ph", value=6.5, cores=20)
    assert not buffer.within_range and "field" in buffer.notes[0]
    ph = soil_test_error.evaluate(test="ph", value=6.0, cores=16)
    assert ph.within_range
    assert ph.value == pytest.approx(math.hypot(6.0 * 0.10 / 4, 0.075))
    nothing = soil_test_error.evaluate(test="micronutrients", value=2.0)
    assert nothing.value is None and not nothing.within_range
    with pytest.raises(UnknownName):
        soil_test_error(test="nickel", value=1.0)


def test_variation_table_is_in_order():
    """ensures that each low figure of the spread table is no larger than its high one."""
    for row in load("sampling/variation"):
        for name in ("same_lab", "between_lab", "field_cv"):
            low, high = row[f"{name}_low"], row[f"{name}_high"]
            assert high is None or low <= high
        for low, how in (("same_lab_low", "same_how"), ("between_lab_low", "between_how"),
                         ("field_cv_low", "field_how")):
            assert (row[low] is None) == (row[how] is None)


def test_one_value_has_a_mean_and_no_spread():
    """ensures that a single reading is its own mean and says nothing of the spread."""
    mean, sd = mean_sd((6.5,))
    assert mean == 6.5 and math.isnan(sd)
