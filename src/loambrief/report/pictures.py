"""Charts of one case: which stand where. Each topic makes its own.

A chart's title is its finding. A chart without data is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

from loambrief.charts import ChartSpec, has_data
from loambrief.report.blocks import Figure, FigureRow
from loambrief.report.chart_text import described
from loambrief.report.context import Context
from loambrief.report.pictures_map import zone_map
from loambrief.report.pictures_plan import budget, season
from loambrief.topics.carbon_nitrogen import chart as carbon_nitrogen
from loambrief.topics.cations import chart as cations
from loambrief.topics.compaction import chart as compaction
from loambrief.topics.nutrients import chart as nutrients
from loambrief.topics.refractometry import chart as refractometry
from loambrief.topics.salinity import chart as salinity
from loambrief.topics.stratification import chart as stratification
from loambrief.topics.weeds import chart as weeds

TOPICS: Mapping[str, Callable[[Context], ChartSpec | None]] = {
    "compaction": compaction.chart, "nutrients": nutrients.chart, "salinity": salinity.chart,
    "cations": cations.chart, "refractometry": refractometry.chart,
    "carbon_nitrogen": carbon_nitrogen.chart, "weeds": weeds.chart}
"""Topics with one chart, in the order of the page."""
SAMPLES: Mapping[str, Callable[[Context], Iterable[ChartSpec]]] = {
    "stratification": stratification.charts}
"""Topics with a chart for each sample; these take the width of the page."""


@dataclass(frozen=True)
class Pictures:
    """Charts by where they stand.

    Attributes
    ----------
    overview : tuple of Figure or FigureRow
        The field in pictures.
    by_topic : mapping of str to str
        Topic to the anchor of its chart in the overview.
    season, money : tuple of Figure
        When each action is done, and what the plan costs; at most one each.
    """

    overview: tuple[Figure | FigureRow, ...] = ()
    by_topic: Mapping[str, str] = field(default_factory=dict)
    season: tuple[Figure, ...] = ()
    money: tuple[Figure, ...] = ()


def pictures(context: Context) -> Pictures:
    """All charts that have data."""
    topics: dict[str, str] = {}

    def figures(topic: str, specs: Iterable[ChartSpec | None], half: bool = False
                ) -> tuple[Figure, ...]:
        found = [Figure(described(spec, context.write), half)
                 for spec in specs if spec is not None and has_data(spec)]
        if found and topic:
            topics[topic] = f"picture-{topic}"
            found[0] = replace(found[0], anchor=topics[topic])
        return tuple(found)

    halves = [f for topic, make in TOPICS.items() for f in figures(topic, [make(context)], True)]
    if len(halves) == 1:
        halves = [replace(halves[0], half=False)]
    row = [FigureRow(tuple(halves))] if len(halves) > 1 else halves
    zones = figures("", [zone_map(context)])
    layers = [f for topic, make in SAMPLES.items() for f in figures(topic, make(context))]
    return Pictures((*row, *zones, *layers), topics, figures("", [season(context)]),
                    figures("", [budget(context)]))
