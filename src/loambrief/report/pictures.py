"""Charts of one case: which stand where. Each topic makes its own.

A chart's title is its finding. A chart without data is left out.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

from loambrief.charts import ChartSpec, figure_size
from loambrief.report.blocks import Figure, FigureRow
from loambrief.report.chart_text import described
from loambrief.report.context import Context
from loambrief.report.glossary import printed
from loambrief.report.pictures_map import zone_map
from loambrief.report.pictures_plan import budget, season
from loambrief.topics.carbon_nitrogen import chart as carbon_nitrogen
from loambrief.topics.cations import chart as cations
from loambrief.topics.compaction import chart as compaction
from loambrief.topics.cover_crops import chart as cover_crops
from loambrief.topics.forage import chart as forage
from loambrief.topics.nutrients import chart as nutrients
from loambrief.topics.refractometry import chart as refractometry
from loambrief.topics.salinity import chart as salinity
from loambrief.topics.soil_life import chart as soil_life
from loambrief.topics.soil_water import chart as soil_water
from loambrief.topics.stratification import chart as stratification
from loambrief.topics.weeds import chart as weeds

TOPICS: Mapping[str, Callable[[Context], ChartSpec | None]] = {
    "compaction": compaction.chart, "nutrients": nutrients.chart, "salinity": salinity.chart,
    "soil_water": soil_water.chart,
    "cations": cations.chart, "refractometry": refractometry.chart,
    "carbon_nitrogen": carbon_nitrogen.chart, "forage": forage.chart, "weeds": weeds.chart,
    "cover_crops": cover_crops.chart, "soil_life": soil_life.chart}
"""Topics with one chart, in the order of the page."""
SAMPLES: Mapping[str, Callable[[Context], Iterable[ChartSpec]]] = {
    "stratification": stratification.charts, "nutrients": nutrients.manure_charts}
"""Topics with a chart for each sample or material; these take the width of the page."""


HALF, FULL, GAP = 245.0, 504.0, 14.0
"""Widths of charts in one of two columns and over both, and what is between them [pt]."""
ROOM = 590.0
"""Height for pictures on one page of either paper, under its heading [pt]."""


@dataclass(frozen=True)
class Pictures:
    """Charts by where they stand."""

    overview: tuple[Figure | FigureRow, ...] = ()
    """The field in pictures, one page of the advisory: the map, then the charts of the topics that
    limit the field most, as many as the page holds."""
    by_topic: Mapping[str, tuple[Figure, ...]] = field(default_factory=dict)
    """Every chart, for the topic's section of the annex."""
    season: tuple[Figure, ...] = ()
    money: tuple[Figure, ...] = ()
    """``season``, ``money``: when each action is done, and what the plan costs; at most one
    each."""


def pictures(context: Context) -> Pictures:
    """All charts that have data."""
    def figures(specs: Iterable[ChartSpec | None], half: bool = False) -> tuple[Figure, ...]:
        return tuple(Figure(described(spec, context.write), half)
                     for spec in specs if spec is not None and spec.has_data())

    topics = {topic: found for topic, make in TOPICS.items()
              if (found := figures([make(context)], True))}
    topics |= {topic: (*topics.get(topic, ()), *found) for topic, make in SAMPLES.items()
               if (found := figures(make(context)))}
    return Pictures(_overview(context, figures([zone_map(context)]), topics), topics,
                    figures([season(context)]), figures([budget(context)]))


def _overview(context: Context, zones: tuple[Figure, ...],
              topics: Mapping[str, tuple[Figure, ...]]) -> tuple[Figure | FigureRow, ...]:
    """What one page holds: the map over both columns, then charts, the gravest topic first."""
    gravest = {topic: max((f.severity for f in context.diagnosis.by_topic(topic)), default=0)
               for topic in topics}
    room = ROOM - sum(figure_size(printed(f.spec), FULL)[1] + GAP for f in zones)
    chosen: list[Figure] = []
    columns = [0.0, 0.0]
    for topic in sorted(topics, key=lambda name: -gravest[name]):
        for figure in topics[topic]:
            if not figure.half:
                continue
            shorter = columns.index(min(columns))
            high = figure_size(printed(figure.spec), HALF)[1] + GAP
            if columns[shorter] + high <= room:
                columns[shorter] += high
                chosen.append(figure)
    if len(chosen) == 1 and not zones:
        return (replace(chosen[0], half=False),)
    return (*zones, *((FigureRow(tuple(chosen)),) if chosen else ()))
