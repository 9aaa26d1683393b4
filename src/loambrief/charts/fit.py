"""Splits a chart that would be higher than a page into charts that fit."""

from __future__ import annotations

from dataclasses import replace
from itertools import accumulate

from loambrief.charts.build import figure_size
from loambrief.report.specs import (
    BudgetSpec,
    CarbonNitrogenSpec,
    CationSpec,
    ChartSpec,
    CompareSpec,
    LayerSpec,
    MapArea,
    MapSpec,
    SalinitySpec,
    SapSpec,
    SeasonSpec,
    SufficiencySpec,
    TallySpec,
    TrendSpec,
    WeedSpec,
    has_data,
    is_number,
)

ROWS = {
    BudgetSpec: "steps",
    CarbonNitrogenSpec: "rows",
    CationSpec: "bars",
    LayerSpec: "measures",
    MapSpec: "areas",
    SalinitySpec: "points",
    SapSpec: "rows",
    SeasonSpec: "bars",
    SufficiencySpec: "rows",
    TallySpec: "rows",
    TrendSpec: "panels",
    WeedSpec: "hints",
}
"""The field a chart is split along."""


def fitted(spec: ChartSpec, width: float, highest: float) -> tuple[ChartSpec, ...]:
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


def _parts(spec: ChartSpec, width: float, highest: float) -> tuple[ChartSpec, ...]:
    # The numbering of the title is added later and may take a line more.
    if figure_size(spec, width)[1] + 14 <= highest:
        return (spec,)
    halves = [h for h in _halves(spec) if has_data(h)]
    if not halves:
        return (spec,)
    return tuple(part for half in halves for part in _parts(half, width, highest))


def _halves(spec: ChartSpec) -> tuple[ChartSpec, ...]:
    """Two halves of a chart; empty if it cannot be split any further."""
    if isinstance(spec, CompareSpec):
        return _compare_halves(spec)
    name = ROWS.get(type(spec))
    rows = getattr(spec, name) if name else ()
    if len(rows) < 2:
        return ()
    middle = (len(rows) + 1) // 2
    first, second = replace(spec, **{name: rows[:middle]}), replace(spec, **{name: rows[middle:]})
    if isinstance(spec, MapSpec):  # the whole map stays, the list is split
        first = replace(first, outlines=(*spec.outlines, *_outer(rows[middle:])))
        second = replace(second, outlines=(*spec.outlines, *_outer(rows[:middle])))
    if isinstance(spec, BudgetSpec):
        spent = [s.cost for s in rows[:middle] if s.included and is_number(s.cost)]
        second = replace(second, already=list(accumulate([spec.already, *spent]))[-1])
    return first, second


def _outer(areas: tuple[MapArea, ...]) -> list:
    return [rings for area in areas for rings in area.polygons]


def _compare_halves(spec: CompareSpec) -> tuple[ChartSpec, ...]:
    """Fewer measures first; then fewer samples."""
    if len(spec.columns) > 1:
        middle = (len(spec.columns) + 1) // 2
        return (replace(spec, columns=spec.columns[:middle]),
                replace(spec, columns=spec.columns[middle:]))
    if len(spec.names) < 2:
        return ()
    middle = (len(spec.names) + 1) // 2
    return tuple(
        replace(spec, names=spec.names[part],
                columns=tuple(replace(c, values=c.values[part]) for c in spec.columns))
        for part in (slice(None, middle), slice(middle, None)))
