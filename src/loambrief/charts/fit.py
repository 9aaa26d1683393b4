"""Splits a chart that would be higher than a page into charts that fit."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

from loambrief.charts.model import ChartSpec
from loambrief.charts.registry import figure_size

S = TypeVar("S", bound=ChartSpec)


def fitted(spec: S, width: float, highest: float) -> tuple[S, ...]:
    """The chart in as few parts as fit, each no higher than ``highest``.

    Parameters
    ----------
    spec : ChartSpec
        With data.
    width, highest : float
        Width and greatest height of a part [pt].

    Returns
    -------
    tuple of ChartSpec
        One spec if it fits as it is. Titles of parts end in "(1 of 2)". A single row that
        is too high by itself stays as it is. Every part keeps the whole text alternative;
        describe the parts afterwards for one each.

    Raises
    ------
    ValueError
        No data, or too narrow.
    """
    parts = _parts(spec, width, highest)
    if len(parts) == 1:
        return parts
    of = spec.words.of
    return tuple(replace(part, title=f"{spec.title} ({of.format(n, len(parts))})")
                 for n, part in enumerate(parts, 1))


def _parts(spec: S, width: float, highest: float) -> tuple[S, ...]:
    # The numbering of the title is added later and may take a line more.
    if figure_size(spec, width)[1] + 14 <= highest:
        return (spec,)
    halves = [half for half in spec.halves() if half.has_data()]
    if not halves:
        return (spec,)
    return tuple(part for half in halves for part in _parts(half, width, highest))
