"""Chart specs: what each chart shows, as finished numbers and words. No drawing here.

Numbers are in the units named beside them, already in the reader's system; charts never
convert. Texts are finished sentences. A value that was not measured is None: it is shown as
missing, never as zero. Which spec draws which chart is fixed in ``loambrief.charts``.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import median

from loambrief.report.numbers import ENGLISH, Signs


@dataclass(frozen=True)
class Words:
    """The fixed words of the charts in one language; filled by ``chart_text.chart_words``."""

    months: tuple[str, ...]
    practice: str
    of: str
    depth: str
    surface: str
    median: str
    over: str
    one_profile: str
    moisture: str
    moisture_unknown: str
    stopped: str
    measured: str
    calculated: str
    not_measured: str
    mean: str
    interval: str
    one_reading: str
    readings: str
    to: str
    crop: str
    weed: str
    estimated: str
    critical: str
    range: str
    less_than_critical: str
    more_than_critical: str
    clear: str
    near: str
    uncertainty: str
    off_scale: str
    limit_only: str
    cover_unknown: str
    hint_at: str
    ground_covered: str
    measurement_says: str
    running_total: str
    budget: str
    in_plan: str
    outside_budget: str
    no_price: str
    no_cost: str
    carbon_per_nitrogen: str
    mix: str
    no_date: str
    today: str
    work: str
    measuring: str
    open_end: str
    method_change: str
    unknown_method: str
    rest_unmeasured: str
    unplaced: str
    north: str
    signs: Signs = ENGLISH
    """Signs the numbers of the chart are written with."""


@dataclass(frozen=True, kw_only=True)
class ChartSpec:
    """What all charts have.

    Attributes
    ----------
    title : str
        The finding in one sentence, not the name of the chart.
    subtitle : str
        What is drawn, in which unit, under which conditions.
    note : str
        Source and caution, printed small under the chart.
    alt : str
        Text alternative that states the numbers (``chart_text.describe`` writes one).
    """

    title: str
    words: Words
    subtitle: str = ""
    note: str = ""
    alt: str = ""


@dataclass(frozen=True)
class Threshold:
    """A line to hold values against. ``practice``: a rule of the trade without a source."""

    value: float
    label: str
    practice: bool = False


@dataclass(frozen=True)
class Profile:
    """Cone readings of one place, one per depth; None where none was taken."""

    label: str
    readings: tuple[float | None, ...]
    stopped: bool = False
    """The cone was stopped (a stone, a pan) below the last reading."""


@dataclass(frozen=True, kw_only=True)
class PenetrationSpec(ChartSpec):
    """Penetration resistance by depth: every reading, the median and the thresholds.

    ``count_from`` is the threshold whose exceedance is counted in the table beside the
    plot. ``moisture`` is the soil moisture at the visit; empty prints "not recorded".
    """

    depths: tuple[float, ...]
    profiles: tuple[Profile, ...]
    depth_unit: str
    pressure_unit: str
    pressure_digits: int = 0
    thresholds: tuple[Threshold, ...] = ()
    count_from: float | None = None
    moisture: str = ""

    def at(self, index: int) -> tuple[float, ...]:
        """Readings taken at one depth."""
        found = (p.readings[index] for p in self.profiles if index < len(p.readings))
        return tuple(v for v in found if is_number(v))

    @property
    def medians(self) -> tuple[float | None, ...]:
        """Median of the readings at each depth; None where there is none."""
        columns = (self.at(i) for i in range(len(self.depths)))
        return tuple(median(c) if c else None for c in columns)


@dataclass(frozen=True)
class Slab:
    """One soil layer with its value. ``censor`` is "<" or ">" where the value is a limit."""

    top: float
    bottom: float
    value: float | None
    calculated: bool = False
    censor: str | None = None


@dataclass(frozen=True)
class Measure:
    """One soil test over the layers; ``low`` and ``high`` fix its scale if given."""

    label: str
    unit: str
    slabs: tuple[Slab, ...]
    digits: int | None = None
    low: float = 0.0
    high: float | None = None
    target: float | None = None
    target_label: str = ""
    remark: str = ""


@dataclass(frozen=True, kw_only=True)
class LayerSpec(ChartSpec):
    """The thin top layer against the soil below it, one panel per measure."""

    measures: tuple[Measure, ...]
    depth_unit: str


@dataclass(frozen=True)
class SapRow:
    """Refractometer readings of one plant. ``line``: how sharp the shadow line was, in words."""

    label: str
    is_crop: bool
    replicates: tuple[float, ...]
    mean: float | None
    low: float | None = None
    high: float | None = None
    line: str = ""
    detail: str = ""


@dataclass(frozen=True, kw_only=True)
class SapSpec(ChartSpec):
    """Brix of the crop beside its weeds: replicates, mean and interval of the mean."""

    rows: tuple[SapRow, ...]
    unit: str = "°Brix"
    digits: int = 1
    thresholds: tuple[Threshold, ...] = ()


@dataclass(frozen=True)
class Share:
    """One cation's share of the exchange capacity, percent; None if not measured."""

    ion: str
    percent: float | None


@dataclass(frozen=True)
class CationBar:
    """Cation make-up of one sample. ``total`` is the exchange capacity in words."""

    label: str
    shares: tuple[Share, ...]
    total: str = ""
    reference: bool = False
    """A bar to compare with (a rule of the trade), drawn in outline."""


@dataclass(frozen=True, kw_only=True)
class CationSpec(ChartSpec):
    """Cation make-up, hydrogen included: one bar per sample, every share printed."""

    bars: tuple[CationBar, ...]


@dataclass(frozen=True)
class SalinityPoint:
    """One sample on the salinity and sodium plane; None where not measured."""

    label: str
    ece: float | None
    sodium: float | None
    estimated: bool = False


@dataclass(frozen=True, kw_only=True)
class SalinitySpec(ChartSpec):
    """Salinity against sodium with the class limits and the crop's threshold.

    ``sodium_name`` is "SAR" or "ESP"; ``classes`` are the four class names in the order
    (neither, saline, sodic, both).
    """

    points: tuple[SalinityPoint, ...]
    ece_limit: float
    sodium_limit: float
    sodium_name: str
    sodium_unit: str
    classes: tuple[str, str, str, str]
    ece_name: str = "ECe"
    ece_unit: str = "dS/m"
    crop: Threshold | None = None


class Side(StrEnum):
    """Where a test stands against its critical level."""

    BELOW = "below"
    NEAR = "near"
    """Its interval holds the critical level: too close to call."""
    ABOVE = "above"


@dataclass(frozen=True)
class SufficiencyRow:
    """One test against its critical level.

    ``low`` and ``high`` bound the value; ``upper`` is the end of a critical range that
    starts at ``critical``. ``printed`` is the value and the level in words, ``verdict`` the
    conclusion in a word or two.
    """

    label: str
    value: float | None
    critical: float
    side: Side | None
    printed: str
    verdict: str
    low: float | None = None
    high: float | None = None
    upper: float | None = None
    censor: str | None = None
    detail: str = ""


@dataclass(frozen=True, kw_only=True)
class SufficiencySpec(ChartSpec):
    """How far each test is from its critical level, as a ratio, with its uncertainty."""

    rows: tuple[SufficiencyRow, ...]


class Verdict(StrEnum):
    """What the measurement says about a hint."""

    AGREES = "agrees"
    DIFFERS = "differs"
    MIXED = "mixed"
    NOT_MEASURED = "not measured"


@dataclass(frozen=True)
class WeedMark:
    """One weed that carries a hint; cover in percent of the ground, None if not estimated."""

    name: str
    cover: float | None


@dataclass(frozen=True)
class Hint:
    """A condition some weeds hint at and what was measured about it."""

    label: str
    weeds: tuple[WeedMark, ...]
    verdict: Verdict
    verdict_text: str
    measured: str = ""


@dataclass(frozen=True, kw_only=True)
class WeedSpec(ChartSpec):
    """Weeds by what they hint at, each hint beside the measurement that tests it."""

    hints: tuple[Hint, ...]


@dataclass(frozen=True)
class CostStep:
    """One action of the plan with its cost; None where the case holds no price."""

    rank: int
    label: str
    cost: float | None
    included: bool = True
    detail: str = ""


@dataclass(frozen=True, kw_only=True)
class BudgetSpec(ChartSpec):
    """Cost of the plan adding up by rank, against the budget (None: no budget given).

    ``money`` is a pattern with one ``{}`` for the number, such as ``"${}"``; ``already`` is
    the cost of steps on an earlier part of the same chart.
    """

    steps: tuple[CostStep, ...]
    budget: float | None
    money: str = "${}"
    already: float = 0.0


@dataclass(frozen=True)
class RatioRow:
    """Carbon to nitrogen ratio of one material, residue or mix."""

    label: str
    ratio: float | None
    detail: str = ""
    mix: bool = False


@dataclass(frozen=True, kw_only=True)
class CarbonNitrogenSpec(ChartSpec):
    """Carbon to nitrogen of residues and the mix against the ratio where nitrogen turns.

    ``below`` and ``above`` say what happens on either side of ``turning``.
    """

    rows: tuple[RatioRow, ...]
    turning: Threshold
    below: str
    above: str


@dataclass(frozen=True)
class SeasonBar:
    """When one action is done; a missing start or end is an open end."""

    rank: int
    label: str
    start: dt.date | None
    end: dt.date | None
    when: str
    measuring: bool = False


@dataclass(frozen=True)
class SeasonMark:
    """A day the season hangs on: planting, harvest, a re-test."""

    date: dt.date
    label: str


@dataclass(frozen=True, kw_only=True)
class SeasonSpec(ChartSpec):
    """Calendar of the actions."""

    bars: tuple[SeasonBar, ...]
    marks: tuple[SeasonMark, ...] = ()
    today: dt.date | None = None


@dataclass(frozen=True)
class TrendPoint:
    """One earlier result. ``method`` is how it was obtained; ``low`` and ``high`` bound it."""

    date: dt.date
    value: float | None
    method: str = ""
    low: float | None = None
    high: float | None = None
    censor: str | None = None


@dataclass(frozen=True)
class TrendPanel:
    """One measure over time."""

    label: str
    unit: str
    points: tuple[TrendPoint, ...]
    digits: int | None = None
    reference: Threshold | None = None


@dataclass(frozen=True, kw_only=True)
class TrendSpec(ChartSpec):
    """Results of earlier cases; the line breaks where the method changed."""

    panels: tuple[TrendPanel, ...]


@dataclass(frozen=True)
class CompareColumn:
    """One measure over the samples, in the order of ``CompareSpec.names``."""

    label: str
    unit: str
    values: tuple[float | None, ...]
    digits: int | None = None
    reference: Threshold | None = None
    low: float = 0.0
    """Where the scale starts; marks get a stem only from zero."""
    log: bool = False


@dataclass(frozen=True, kw_only=True)
class CompareSpec(ChartSpec):
    """Several samples or fields side by side, one small panel per measure."""

    names: tuple[str, ...]
    columns: tuple[CompareColumn, ...]


@dataclass(frozen=True)
class MapArea:
    """One zone on the sketch map.

    Attributes
    ----------
    number : str
        Printed inside the zone and in the list.
    label, detail : str
        Name, and what limits it.
    look : int
        Position of its fill in ``MapSpec.looks``.
    polygons : tuple of (outer ring, hole, ...)
        Corners east and north of a common origin [m].
    """

    number: str
    label: str
    detail: str
    look: int
    polygons: tuple[tuple[tuple[tuple[float, float], ...], ...], ...]


@dataclass(frozen=True, kw_only=True)
class MapSpec(ChartSpec):
    """Fields or zones from above, filled by what limits them."""

    areas: tuple[MapArea, ...]
    outlines: tuple[tuple[tuple[tuple[float, float], ...], ...], ...] = ()
    """Boundaries drawn without a number, as ``MapArea.polygons``."""
    looks: tuple[str, ...]
    """What each fill means."""
    length_unit: str
    unit_m: float
    """Length of one ``length_unit`` [m]."""


@dataclass(frozen=True)
class TallyRow:
    """One bar: its name, its length, and the number as printed."""

    label: str
    value: float | None
    printed: str
    detail: str = ""


@dataclass(frozen=True, kw_only=True)
class TallySpec(ChartSpec):
    """How often or how much, over several cases; ``whole`` is what each bar is a part of."""

    rows: tuple[TallyRow, ...]
    whole: float = 0.0
    whole_label: str = ""


def is_number(value: float | None) -> bool:
    """True for a finite number; False for None and for what no scale can show."""
    return value is not None and math.isfinite(value)


def _any(values: Sequence[float | None]) -> bool:
    return any(is_number(v) for v in values)


def has_data(spec: ChartSpec) -> bool:
    """True if the chart has at least one value to draw; otherwise leave it out.

    Parameters
    ----------
    spec : ChartSpec
        Any of the specs above.

    Returns
    -------
    bool
        A calendar needs a dated action, a budget chart a priced action, a weed chart a weed.

    Raises
    ------
    TypeError
        Not one of the specs above.
    """
    match spec:
        case PenetrationSpec():
            return _any(spec.medians)
        case LayerSpec():
            return _any([s.value for m in spec.measures for s in m.slabs])
        case SapSpec():
            return any(_any(r.replicates) for r in spec.rows)
        case CationSpec():
            return _any([s.percent for b in spec.bars if not b.reference for s in b.shares])
        case SalinitySpec():
            return _any([v for p in spec.points for v in (p.ece, p.sodium)])
        case SufficiencySpec():
            return any(is_number(r.value) and r.value > 0 and r.critical > 0 for r in spec.rows)
        case WeedSpec():
            return any(h.weeds for h in spec.hints)
        case BudgetSpec():
            return _any([s.cost for s in spec.steps])
        case CarbonNitrogenSpec():
            return any(is_number(r.ratio) and r.ratio > 0 for r in spec.rows)
        case SeasonSpec():
            return any(b.start or b.end for b in spec.bars)
        case TrendSpec():
            return _any([p.value for panel in spec.panels for p in panel.points])
        case MapSpec():
            return any(a.polygons for a in spec.areas)
        case CompareSpec():
            return _any([v for c in spec.columns for v in c.values])
        case TallySpec():
            return _any([r.value for r in spec.rows])
    raise TypeError(f"{type(spec).__name__} is not a chart spec")
