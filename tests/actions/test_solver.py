"""The solver of mixes against another library's answers, and against answers by hand."""

import subprocess
import sys

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from loambrief.actions.solver import minimise

SMALL = st.floats(-3, 3).map(lambda v: round(v, 2))


@st.composite
def programmes(draw):
    columns, rows = draw(st.integers(1, 6)), draw(st.integers(1, 5))
    cost = draw(st.lists(st.floats(0, 5).map(lambda v: round(v, 2)), min_size=columns,
                         max_size=columns))
    table = [draw(st.lists(SMALL, min_size=columns, max_size=columns)) for _ in range(rows)]
    bounds = draw(st.lists(SMALL, min_size=rows, max_size=rows))
    box = [(0.0, draw(st.sampled_from([None, 1.0, 4.0]))) for _ in range(columns)]
    whole = draw(st.lists(st.integers(0, 1), min_size=columns, max_size=columns))
    return cost, table, bounds, box, whole


@given(programmes())
def test_same_least_cost_as_another_library(programme):
    """ensures least cost, feasibility and marginal costs as scipy.optimize.linprog has them."""
    cost, table, bounds, box, _ = programme
    ours = minimise(cost, [dict(enumerate(row)) for row in table], bounds, box)
    theirs = linprog(cost, A_ub=table, b_ub=bounds, bounds=box, method="highs")
    assert (ours is None) == (not theirs.success)
    if ours is not None:
        assert numpy.dot(cost, ours.x) == pytest.approx(theirs.fun, abs=1e-6)
        assert all(m <= 1e-9 for m in ours.marginals)
        assert (numpy.array(table) @ ours.x <= numpy.array(bounds) + 1e-6).all()


@given(programmes())
def test_same_whole_numbers_as_another_library(programme):
    """ensures the cost of scipy.optimize.milp where some columns take whole numbers only."""
    cost, table, bounds, box, whole = programme
    ours = minimise(cost, [dict(enumerate(row)) for row in table], bounds, box, whole=whole,
                    gap=1e-6, most_nodes=5000)
    ends = [numpy.inf if high is None else high for _, high in box]
    theirs = milp(cost, integrality=whole, bounds=Bounds(0, ends),
                  constraints=LinearConstraint(numpy.array(table), ub=bounds))
    assert (ours is None) == (theirs.x is None)
    if ours is not None:
        assert numpy.dot(cost, ours.x) == pytest.approx(theirs.fun, rel=1e-5, abs=1e-5)
        assert all(abs(v - round(v)) < 1e-6 for v, w in zip(ours.x, whole, strict=True) if w)


def test_diet_by_hand():
    """ensures a mix worked out by hand: 2 of a at 3, since b at 4 gives no more per dollar.

    Need 10 units; a gives 5 for 3, b gives 6 for 4. The last unit costs 3/5.
    """
    answer = minimise([3.0, 4.0], [{0: -5.0, 1: -6.0}], [-10.0], [(0.0, None), (0.0, None)])
    assert answer.x == pytest.approx((2.0, 0.0))
    assert answer.marginals == pytest.approx((-0.6,))


def test_solver_prints_nothing():
    """ensures that no banner of the solver reaches the terminal."""
    done = subprocess.run(
        [sys.executable, "-c", "from loambrief.actions.solver import minimise\n"
         "minimise([1.0], [{0: -1.0}], [-1.0], [(0.0, 5.0)], whole=[1])"],
        capture_output=True, text=True, check=True)
    assert done.stdout == done.stderr == ""
