"""What the planner hands to the report: actions, what is left out, what not to buy."""

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from loambrief.agronomy.registry import Result
from loambrief.findings import model as m


@dataclass(frozen=True)
class Window:
    """When an action is done. ``text`` says it in words; the dates drive the calendar."""

    start: dt.date | None
    end: dt.date | None
    text: m.Message


@dataclass(frozen=True)
class Action:
    """One thing to do, on one area, with its money and its reasons.

    Rates are in ``rate_unit`` (lb/ac or ton/ac of the product as sold; None where the
    action has no rate). ``exact_rate`` is unrounded. Costs are in the case's currency;
    None means the case holds no price, which is never shown as zero.
    """

    id: str
    kind: m.NeedKind
    item: str
    title: m.Message
    need: m.Need
    finding_ids: tuple[str, ...]
    place: m.Place
    area_ac: float | None
    severity: int
    confidence: m.Confidence
    distance: float | None = None
    """How far the reading behind it lies beyond its line, as a share of the line."""
    material_id: str | None = None
    material_name: str | None = None
    material_kind: str | None = None
    rate: float | None = None
    rate_low: float | None = None
    rate_high: float | None = None
    range_printed: bool = False
    """Its ends are what sources print, to choose between, not the range of an error."""
    exact_rate: float | None = None
    rate_unit: str = ""
    gallon_lb: float | None = None
    """Pounds in a gallon where the rate is in gallons."""
    cap: float | None = None
    """Most that may go on in one pass, as the product is sold [rate_unit]."""
    computed_rate: float | None = None
    """Rounded rate of the calculation where the adviser set another (``rate`` is theirs)."""
    own_reason: str | None = None
    own: str = ""
    """``action`` or ``nitrogen`` where the adviser put it into the plan; empty else."""
    entry: int | None = None
    """Number, from 0, of that entry of theirs in the case."""
    changed: tuple[str, ...] = ()
    """What the adviser changed of it: ``rate``, ``replace``, ``split``, ``defer``, ``move``."""
    reasons: tuple[str, ...] = ()
    """The adviser's reasons for it and for each change, as typed."""
    split_from: str = ""
    """Id of the action that it is a part of; empty if whole."""
    rest_of: str = ""
    """Id of the action that the money covers in part, where this is the rest of it."""
    stated_rank: int | None = None
    deferred: m.Message | None = None
    """Until when the adviser put it off; no money is kept for it and nothing is ordered."""
    pass_number: int = 1
    passes: int = 1
    years_at_once: int = 1
    """Years whose maintenance goes on in one pass, since the spreader cannot set less."""
    cap_at_once: float | None = None
    """``cap`` where the guide's most years of maintenance go on in one pass [rate_unit]."""
    owner_pays: float | None = None
    """What the owner of the ground pays beside ``cost_total`` [currency]; None: nothing."""
    supplies: Mapping[str, float] = field(default_factory=dict)
    """lb/ac of each nutrient the rounded rate brings."""
    meets: tuple[str, ...] = ()
    """Nutrients it is bought for; what else the product brings is not among them."""
    cost_parts: tuple[tuple[str, float], ...] = ()
    """(message name, amount per acre) of product, freight, spreading."""
    cost_per_ac: float | None = None
    cost_total: float | None = None
    price_date: dt.date | None = None
    window: Window | None = None
    how: tuple[m.Message, ...] = ()
    cautions: tuple[m.Message, ...] = ()
    depends_on: tuple[str, ...] = ()
    conditional_on: str | None = None
    """Action whose reading decides whether this one is done at all; no money is kept for it."""
    decided_by: tuple[str, ...] = ()
    """Tests that decide its rate: they come before it, but it does not wait for their money."""
    share: float | None = None
    """Part of the area of one piece of work that the money was split over; None if whole."""
    topics: tuple[str, ...] = ()
    """Topics of the findings behind it."""
    rank: int = 0
    rank_reason: m.Message | None = None
    benefit: m.Message | None = None
    """Published chance of a response, or that none is published."""
    response_chance_pct: float | None = None
    waiting: tuple[m.Message, ...] = ()
    """What it costs to leave it for later."""
    uncertain: m.Message | None = None
    """Set where the range of the need straddles a threshold: what would settle it."""
    results: tuple[Result, ...] = ()
    notes: tuple[m.Message, ...] = ()
    limits: tuple[m.Message, ...] = ()
    """What bound the rate (a cap, a spreader step, a whole load)."""

    @property
    def optional(self) -> bool:
        """Sound to leave out: it only keeps up what the soil holds enough of."""
        return self.need.optional

    def from_memory(self) -> tuple[str, ...]:
        """Sources of its rate whose values were not checked against the print."""
        if self.rate is None:
            return ()
        return tuple(dict.fromkeys(r.source for r in self.results
                                   if r.how == "memory" and r.source is not None))

    def answers_to(self, name: str) -> bool:
        """Whether a name means this action: its id, or the first parts of it (``lime.lime.n``)."""
        return any(own == name or own.startswith(f"{name}.")
                   for own in (self.id, self.split_from) if own)

    @property
    def total(self) -> float | None:
        """Quantity to order, in the rate's mass unit."""
        if self.rate is None or self.area_ac is None:
            return None
        return self.rate * self.area_ac

    @property
    def total_unit(self) -> str:
        return self.rate_unit.split("/")[0] if self.rate is not None else ""


@dataclass(frozen=True)
class NotAdvised:
    """Something not to spend money on, and why."""

    what: m.Message
    why: m.Message
    saved: m.Message | None = None
    """Money not spent, as far as it is known."""
    material_id: str | None = None
    sources: tuple[str, ...] = ()
    key: str = ""
    """The nutrient, amendment or practice it is about; empty for a product."""


@dataclass(frozen=True)
class Followup:
    """What to look at later, and what counts as success."""

    due: dt.date | None
    what: m.Message
    success: m.Message
    action_id: str | None = None


@dataclass(frozen=True)
class BudgetResult:
    """What the money covers."""

    limit: float | None
    chosen: tuple[str, ...]
    left_out: tuple[str, ...]
    spent: float
    unpriced: tuple[str, ...]
    undecided: tuple[str, ...] = ()
    """Actions that a reading still decides: no money is kept for them."""
    deferred: tuple[str, ...] = ()
    """Actions that the adviser put off: no money is kept for them."""
    next_use: str | None = None
    """Action that the next money should buy."""
    next_money: float | None = None
    """How much more it takes [currency]."""

    @property
    def remaining(self) -> float | None:
        return None if self.limit is None else self.limit - self.spent


@dataclass(frozen=True)
class Order:
    """What to order of one material for one season."""

    material_id: str
    material_name: str
    needed_lb: float
    ordered_lb: float
    package_lb: float | None
    pass_number: int
    extra_cost: float | None
    """Cost of what is left over [currency]; it counts against the budget."""
    package: str = ""
    """``load`` or ``bag`` where only whole ones are sold."""
    gallon_lb: float | None = None
    """Pounds in a gallon where it is ordered by the gallon."""


@dataclass(frozen=True)
class Alternative:
    """Another way to meet the nutrient needs, or to leave them."""

    name: m.Message
    cost: float | None
    """Cost for the field [currency]; None where it cannot be done."""
    note: m.Message


@dataclass(frozen=True)
class WithoutMaterial:
    """A need that a constraint of the farm leaves without a material."""

    action_id: str
    item: str
    place: m.Place
    key: str
    """Of the constraint: ``excluded``, ``organic_prohibited``, ``organic_ask``, ``equipment``,
    ``setback``."""
    reason: str
    """As typed, or the name of the machine or the neighbour."""
    materials: tuple[str, ...]
    """Names of what would have served."""
    kind: m.NeedKind


@dataclass(frozen=True)
class CheckStrip:
    """Strips that show whether an uncertain action was worth its money."""

    action_id: str
    laid_out: bool
    """The case asks for them, so their area is taken off the action; else only offered."""
    width_ft: float | None
    length_ft: float | None
    """``width_ft``, ``length_ft``: of one strip [ft]; None where the case does not say."""
    count: int
    area_ac: float
    """Of all strips of the action [ac]; 0 where they are only offered."""
    read_by: str
    """Key of how to read them."""
    why: str


@dataclass(frozen=True)
class SpreadingDays:
    """Days one machine needs for what the money covers this season."""

    machine: str
    mass_lb: float
    per_day_lb: float

    @property
    def days(self) -> float:
        """Days, up to the next tenth."""
        return math.ceil(self.mass_lb / self.per_day_lb * 10 - 1e-9) / 10


@dataclass(frozen=True)
class SetAside:
    """An action of the program that the adviser took out of the plan."""

    action: Action
    reason: str
    cautions: tuple[m.Message, ...]
    """What still holds without it: what they warn of is still there."""


@dataclass(frozen=True)
class PlanFigure:
    """One side of a difference: what is done, at which rate, cost and rank."""

    action_id: str
    rank: int
    material: str | None
    rate: float | None
    rate_unit: str
    cost: float | None
    window: m.Message | None = None


@dataclass(frozen=True)
class PlanDifference:
    """What the adviser set differently from the program, with both figures."""

    kinds: tuple[str, ...]
    """``action`` (own), ``nitrogen``, ``rate``, ``replace``, ``split``, ``defer``, ``move``,
    ``drop``, or ``instead``: it follows from other entries."""
    action_id: str
    title: m.Message
    place: m.Place
    reasons: tuple[str, ...]
    own: tuple[PlanFigure, ...] = ()
    program: tuple[PlanFigure, ...] = ()
    """``own``, ``program``: what the plan holds in its place, several where it was split; what the
    program gave."""


@dataclass(frozen=True)
class Plan:
    """Ranked actions and everything around them."""

    actions: tuple[Action, ...]
    not_advised: tuple[NotAdvised, ...]
    followups: tuple[Followup, ...]
    budget: BudgetResult
    rule: m.Message
    findings: tuple[m.Finding, ...] = ()
    orders: tuple[Order, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    verdicts: tuple[m.Judgement, ...] = ()
    """On each nutrient and amendment at each place, then on each material."""
    gaps: tuple[WithoutMaterial, ...] = ()
    strips: tuple[CheckStrip, ...] = ()
    spreading: tuple[SpreadingDays, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    met: tuple[tuple[m.Need, Action], ...] = ()
    """Needs that an own action meets whole, with that action."""
    differences: tuple[PlanDifference, ...] = ()
    program: "Plan | None" = None
    """The program's own plan, without anything that the adviser set; None where it is the same."""

    def unjudged(self) -> tuple[m.Judgement, ...]:
        """Nutrients and amendments that nothing here judges."""
        return tuple(v for v in self.verdicts if v.verdict is m.Verdict.NOT_JUDGED
                     and v.kind in (m.JudgedKind.NUTRIENT, m.JudgedKind.AMENDMENT))

    def action(self, action_id: str) -> Action:
        return next(a for a in self.actions if a.id == action_id)
