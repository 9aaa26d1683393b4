"""Cost of nutrients, and the rate that pays."""


import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief.errors import ImpossibleInput
from loambrief.topics.economics import formulas as eco

PRICE = st.floats(1, 2000)
GRADE = st.floats(1, 100)


@given(PRICE, GRADE)
def test_cost_buys_back_the_price(price, grade):
    """ensures that cost per lb times the lb in a ton is the price of the ton (own property)."""
    cost = eco.cost_per_lb_nutrient(price, grade)
    assert cost * 2000 * grade / 100 == pytest.approx(price)


@given(PRICE, st.floats(1, 50), st.floats(1, 50), st.floats(0, 2))
def test_two_nutrients_share_one_price(price, grade, other, worth):
    """ensures that both nutrients together cost what the ton costs (A-133, residual cost)."""
    cost = eco.residual_cost_per_lb(price, grade, other, worth)
    total = 2000 * (cost * grade + worth * other) / 100
    assert total == pytest.approx(price, abs=1e-6)


def test_dap_and_map_from_one_nitrogen_price():
    """ensures that Illinois prices of May 2020 give 0.276 and 0.301 $/lb P2O5 (own arithmetic
    on the AMS report), with nitrogen valued at urea."""
    nitrogen = eco.cost_per_lb_nutrient(388.60, 46)
    assert eco.residual_cost_per_lb(406.06, 46, 18, nitrogen) == pytest.approx(0.276, abs=5e-4)
    assert eco.residual_cost_per_lb(406.00, 52, 11, nitrogen) == pytest.approx(0.301, abs=5e-4)


@given(st.floats(0.2, 5), st.floats(1e-4, 0.01), st.floats(0, 1), st.floats(1, 20))
def test_optimum_beats_its_neighbours(b, c, input_price, crop_price):
    """ensures that no rate near the optimum earns more (own property; Fausti et al. 2018)."""
    best = eco.quadratic_optimum(b, c, input_price, crop_price)

    def margin(rate):
        return (50.0 + b * rate - c * rate**2) * crop_price - rate * input_price

    for rate in (best * 0.9, best * 1.1, best + 1, max(best - 1, 0)):
        assert margin(best) >= margin(rate) - 1e-6


def test_dear_input_means_none():
    """ensures that an input dearer than its first gain is not used (own property)."""
    assert eco.quadratic_optimum(0.5, 0.002, 6.0, 5.0) == 0


def test_nonsense_prices_are_refused():
    """ensures that a grade of zero, a negative price or a cost of nothing raises."""
    for call in (
        lambda: eco.cost_per_lb_nutrient(-1, 46), lambda: eco.cost_per_lb_nutrient(400, 0),
        lambda: eco.cost_per_lb_nutrient(400, 146),
        lambda: eco.residual_cost_per_lb(400, 60, 50, 0.3),
        lambda: eco.quadratic_optimum(1, 0, 0.5, 5),
    ):
        with pytest.raises(ImpossibleInput):
            call()
