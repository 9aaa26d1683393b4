"""Labels kept apart: along a line (``spread``) and around points (``around``)."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief.charts.place import ABOVE, BESIDE, TextBox, _candidates, around, spread

LABELS = st.lists(st.tuples(st.floats(-50, 550), st.floats(1, 30)), min_size=1, max_size=14)


@given(LABELS)
def test_spread_keeps_labels_apart(labels):
    """ensures that labels on a line neither touch nor leave it, and keep their order."""
    centres, sizes = zip(*labels, strict=True)
    found = spread(centres, sizes, 0.0, 500.0, 2.0)
    order = sorted(range(len(found)), key=lambda i: (centres[i], i))
    for a, b in pairwise(order):
        assert found[b] - found[a] >= (sizes[a] + sizes[b]) / 2 + 2.0 - 1e-6
    for centre, size in zip(found, sizes, strict=True):
        assert centre - size / 2 >= -1e-6 and centre + size / 2 <= 500 + 1e-6


def test_spread_moves_only_what_it_must():
    """ensures that labels with room stay where they are."""
    assert spread([50.0, 10.0, 90.0], [10.0] * 3, 0, 100) == [50.0, 10.0, 90.0]


def test_spread_shares_the_shift():
    """ensures that two labels wanted at one place move apart equally."""
    assert spread([50.0, 50.0], [10.0, 10.0], 0, 100, 2.0) == pytest.approx([44.0, 56.0])


def test_spread_without_room():
    """ensures that labels that cannot fit are refused, not stacked."""
    with pytest.raises(ValueError, match="need"):
        spread([1.0, 2.0], [60.0, 60.0], 0, 100)
    assert spread([], [], 0, 100) == []


@given(st.lists(st.tuples(st.floats(0, 300), st.floats(0, 200)), min_size=1, max_size=40))
def test_around_never_overlaps(points):
    """ensures that labels touch neither each other, nor a mark, nor the frame."""
    bounds = TextBox(0, 0, 300, 200)
    taken = [TextBox(100, 50, 200, 60)]
    found = [b for b in around(points, [(40.0, 8.0)] * len(points), bounds, taken) if b]
    for n, box in enumerate(found):
        assert box.within(bounds)
        assert not box.hits(taken[0])
        assert not any(box.hits(other) for other in found[:n])
        assert not any(box.x0 < x < box.x1 and box.y0 < y < box.y1 for x, y in points)


@pytest.mark.parametrize(("sides", "names"), [
    (BESIDE, "E NE SE W NW SW N S"), (ABOVE, "N S NW SE NE SW E W")])
def test_sides_are_tried_best_first(sides, names):
    """ensures that labels go beside a mark, or above it, before they go to its corners, and
    that a corner is as far from the mark as an edge, about (own rule)."""
    corner = 7.2  # of 10
    where = {"E": (10, -4), "W": (-30, -4), "N": (-10, -18), "S": (-10, 10),
             "NE": (corner, -8 - corner), "SE": (corner, corner),
             "NW": (-20 - corner, -8 - corner), "SW": (-20 - corner, corner)}
    found = [(b.x0, b.y0, b.x1 - b.x0, b.y1 - b.y0)
             for b in _candidates(0, 0, 20, 8, 10, sides)]
    assert found == [pytest.approx((*where[name], 20, 8)) for name in names.split()]


def test_around_prefers_the_asked_side():
    """ensures that a lone label stands at the first side of the list."""
    bounds = TextBox(0, 0, 300, 200)
    beside = around([(100, 100)], [(40.0, 8.0)], bounds)[0]
    above = around([(100, 100)], [(40.0, 8.0)], bounds, directions=ABOVE)[0]
    assert beside.x0 > 100 and above.y1 < 100


def test_around_gives_none_where_there_is_no_room():
    """ensures that a label without room is reported, so that it can be named elsewhere."""
    assert around([(5, 5)], [(40.0, 8.0)], TextBox(0, 0, 10, 10)) == [None]
