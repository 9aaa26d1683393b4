"""What holding the ground changes: who pays for lime, how long it pays, the cost by year.

Lime is written off in a straight line over the years a lease supplement gives it; what is left
on the last day of the lease is said as money, and nothing is dropped for it. Build-up of a
test is held against the build-up years of the guide in the same way.
"""

import datetime as dt
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from loambrief.actions.model import Action, Plan
from loambrief.actions.offers import Offer, kind_of
from loambrief.actions.uncertain import cheapest_test
from loambrief.actions.windows import EVERY_SEASON
from loambrief.case.schema import CaseFile
from loambrief.case.select import sample_area_ac
from loambrief.findings.model import NeedKind, say
from loambrief.tables import load
from loambrief.topics.sampling.formulas_error import constant

TABLE = "farm/tenure"
YEAR = 365.25
AGAIN_EACH_YEAR = ("N", "P2O5", "K2O", "S")
"""Nutrients that a crop takes again each year; a micronutrient lasts, and is tested first."""
GROUPS = {NeedKind.LIME: "lime", NeedKind.GYPSUM: "amendments", NeedKind.ACIDIFY: "amendments",
          NeedKind.NUTRIENT: "nutrients", NeedKind.ORGANIC_MATTER: "cover",
          NeedKind.MEASURE: "tests"}
ORDER = ("lime", "amendments", "nutrients", "cover", "work", "tests", "retests", "packages",
         "waiting", "deferred")
SOIL_RETESTS = (NeedKind.LIME, NeedKind.ACIDIFY, NeedKind.GYPSUM, NeedKind.LEACH,
                NeedKind.NUTRIENT, NeedKind.ORGANIC_MATTER)


@dataclass(frozen=True)
class YearLine:
    """One group of costs by year [currency]."""

    key: str
    amounts: tuple[float, ...]


@dataclass(frozen=True)
class YearPlan:
    """Cost of the plan by year, from the day of the advice."""

    starts: tuple[dt.date, ...]
    """First day of each year."""
    lines: tuple[YearLine, ...]
    totals: tuple[float, ...]
    per_ac: tuple[float, ...]
    """``totals``, ``per_ac``: the grower's money [currency], and for each acre of the field."""
    owner: tuple[float, ...]
    """What the owner pays for lime [currency]."""
    held: tuple[bool, ...]
    """The year's harvest is the grower's."""
    unpriced: tuple[str, ...]
    """Actions in it without a price."""


def number(name: str) -> float:
    """A number of ``farm/tenure`` [years]."""
    return load(TABLE).number("value", name=name)


def grower_part(case: CaseFile) -> float:
    """Share of the lime that the grower pays, 0 to 1."""
    tenure = case.tenure
    if tenure is None or tenure.lime_paid_by in (None, "grower"):
        return 1.0
    if tenure.lime_paid_by == "owner" or tenure.grower_share is None:
        return 0.0
    return min(tenure.grower_share.value / 100, 1.0)


def seasons_left(case: CaseFile) -> int | None:
    """Years with a harvest until the lease ends; None if owned.

    A stand is harvested from its next cut on; where nothing is dated whole years are counted.
    """
    tenure = case.tenure
    if tenure is None or tenure.held != "rented" or tenure.until is None:
        return None
    dates = case.field.dates
    harvest = None if dates is None else dates.harvest or dates.next_cut
    if harvest is None:
        return int((tenure.until - case.case.date).days / YEAR + 0.25)
    count, day = 0, harvest
    while day <= tenure.until:
        count += day >= case.case.date
        day = _years_on(harvest, 1 + day.year - harvest.year)
    return count


def _years_on(day: dt.date, years: int) -> dt.date:
    try:
        return day.replace(year=day.year + years)
    except ValueError:  # 29 February
        return day.replace(year=day.year + years, day=28)


def share_lime(case: CaseFile, actions: Iterable[Action]) -> list[Action]:
    """Lime at the grower's part of its cost, with what the owner pays beside it."""
    part = grower_part(case)
    if part >= 1.0:
        return list(actions)
    return [replace(
        a, owner_pays=a.cost_total * (1 - part), cost_total=a.cost_total * part,
        cost_per_ac=None if a.cost_per_ac is None else a.cost_per_ac * part,
        cost_parts=tuple((name, amount * part) for name, amount in a.cost_parts))
        if a.material_kind == "lime" and a.cost_total is not None else a for a in actions]


def lime_shared(case: CaseFile, offers: Mapping[str, Offer]) -> dict[str, Offer]:
    """Offers with lime at the grower's part, for what whole loads leave over."""
    part = grower_part(case)
    limes = {o.id for o in kind_of(tuple(offers.values()), "lime")}
    return {name: replace(o, per_lb=None if o.per_lb is None else o.per_lb * part)
            if name in limes else o for name, o in offers.items()}


def tenure_notes(case: CaseFile, actions: Iterable[Action]) -> list[Action]:
    """Lime and build-up with what a lease that ends before they are used up changes.

    A later pass that would fall after the last day of the lease is not in the grower's plan;
    the pass before it says so.
    """
    left = seasons_left(case)
    until = case.tenure.until if case.tenure is not None else None
    actions = tuple(actions)
    gone = {a.id: a for a in actions if until is not None and a.pass_number > 1
            and a.window is not None and a.window.start is not None and a.window.start > until}
    before = {d for a in gone.values() for d in a.depends_on} - set(gone)
    told = [_noted(case, a, left) for a in actions if a.id not in gone]
    return [replace(a, notes=(*a.notes, say("farm.note_after_lease", until=until)))
            if a.id in before else a for a in told]


def _noted(case: CaseFile, action: Action, left: int | None) -> Action:
    notes = list(action.notes)
    if action.owner_pays is not None:
        notes.append(say("farm.note_owner", owner=action.owner_pays, part=grower_part(case) * 100))
    if left is not None and action.kind is NeedKind.LIME and action.cost_per_ac is not None \
            and action.cost_total is not None and action.rate:
        low, high = number("lime_life_low"), number("lime_life_high")
        if left < high:
            notes.append(say(
                "farm.note_lime_lease", seasons=left, low=low, high=high, per=action.cost_per_ac,
                year_low=action.cost_per_ac / high, year_high=action.cost_per_ac / low,
                lease=action.cost_per_ac / left if left else None,
                unused_low=action.cost_total * max(1 - left / low, 0.0),
                unused_high=action.cost_total * (1 - left / high)))
    build = build_up(action)
    years = number("build_up_years")
    if left is not None and build is not None and action.cost_total is not None \
            and left < years:
        bought = sum(amount for name, amount in action.cost_parts if name != "spreading")
        notes.append(say("farm.note_build_lease", seasons=left, years=years, build=build[0],
                         share=bought * build[1] * (action.area_ac or 0.0)))
    return replace(action, notes=tuple(notes))


def build_up(action: Action) -> tuple[float, float] | None:
    """Pounds per acre of a rate that build the test up, and their share of the need."""
    need = action.need
    if action.kind is not NeedKind.NUTRIENT or not need.amount or action.rate is None:
        return None
    found = next((c.params["build"] for c in need.cautions
                  if c.key == "nutrients.caution_build_up"), None)
    if not isinstance(found, int | float) or found <= 0:
        return None
    return float(found), min(float(found) / need.amount, 1.0)


def horizon(case: CaseFile, plan: Plan) -> int:
    """Years that the plan looks ahead; 0 where nothing asks for more than one."""
    last = max((a.pass_number for a in plan.actions), default=1)
    tenure = case.tenure
    if tenure is None:
        return last if last > 1 else 0
    if tenure.years is not None:
        return max(tenure.years, last)
    left = seasons_left(case)
    return max(last, int(number("build_up_years")) if left is None else min(max(left, 1), 10))


def cost_by_year(case: CaseFile, plan: Plan, costs: Mapping[str, float], packages: float,
                 offers: tuple[Offer, ...]) -> YearPlan | None:
    """The money of a plan year by year; None where all is of this season and no tenure stated.

    Each action stands in the year of its pass. What is needed and left out for want of money
    stands in the second year, where it waits; what may be left out anyway stands in none;
    what the adviser put off stands in the year until which it is, else in the second.
    Nitrogen, phosphorus, potassium, sulfur and cover crops come again each year for the same
    crop (every ``years_at_once`` years where that is how they are spread), and build-up ends
    with the guide's build-up years. Tests of what was done stand in the year they fall due.

    Parameters
    ----------
    costs : mapping of action id to float
        As printed [currency].
    packages : float
        What whole loads leave over, less what ordering together saves [currency].
    """
    years = horizon(case, plan)
    if years == 0:
        return None
    today = case.case.date
    starts = tuple(_years_on(today, n) for n in range(years))
    sums: dict[str, list[float]] = {}
    owner = [0.0] * years

    def add(key: str, year: int, amount: float) -> None:
        if 0 <= year < years:
            sums.setdefault(key, [0.0] * years)[year] += amount

    for action in plan.actions:
        if action.id in plan.budget.undecided or action.id not in costs:
            continue
        if action.id in plan.budget.deferred:
            begins = action.window.start if action.window is not None else None
            add("deferred", 1 if begins is None or begins >= _years_on(today, years) else
                max(n for n, start in enumerate(starts) if start <= max(begins, today)),
                costs[action.id])
            continue
        if action.id in plan.budget.left_out:
            if not action.optional:
                add("waiting", max(1, action.pass_number - 1), costs[action.id])
            continue
        key = GROUPS.get(action.kind, "work")
        add(key, action.pass_number - 1, costs[action.id])
        if action.owner_pays is not None and action.pass_number <= years:
            owner[action.pass_number - 1] += action.owner_pays
        for year in _again(action, years):
            add(key, year, costs[action.id] * _kept(action, year))
    add("packages", 0, packages)
    for year, amount in _retests(case, plan, offers, starts).items():
        add("retests", year, amount)
    lines = tuple(YearLine(key, tuple(sums[key])) for key in ORDER
                  if key in sums and any(sums[key]))
    totals = tuple(sum(line.amounts[n] for line in lines) for n in range(years))
    left = seasons_left(case)
    return YearPlan(starts, lines, totals,
                    tuple(t / case.field.area.value for t in totals), tuple(owner),
                    tuple(left is None or year < left for year in range(years)),
                    plan.budget.unpriced)


def _again(action: Action, years: int) -> range:
    """Later years in which an action of this season comes again."""
    if action.pass_number > 1:
        return range(0)
    if action.kind is NeedKind.NUTRIENT and action.item in AGAIN_EACH_YEAR:
        return range(action.years_at_once, years, action.years_at_once)
    each = action.kind is NeedKind.ORGANIC_MATTER or action.item == EVERY_SEASON
    return range(1, years) if each else range(0)


def _kept(action: Action, year: int) -> float:
    """Share of this season's cost that is still spent in a later year."""
    build = build_up(action)
    return 1.0 if build is None or year < number("build_up_years") else 1.0 - build[1]


def _retests(case: CaseFile, plan: Plan, offers: tuple[Offer, ...],
             starts: tuple[dt.date, ...]) -> dict[int, float]:
    """Cost of one sampling in each year in which a soil test falls due."""
    test = cheapest_test(offers)
    if test is None or test.per_each is None:
        return {}
    names = {a.id: a for a in plan.actions}
    most = constant("area_max")
    samples = sum(math.ceil(sample_area_ac(case, s) / most - 1e-9)
                  for s in case.samples) or 1
    found: dict[int, float] = {}
    for followup in plan.followups:
        action = names.get(followup.action_id or "")
        if followup.due is None or action is None or action.kind not in SOIL_RETESTS \
                or followup.what.topic != "actions":
            continue
        if followup.due < _years_on(starts[-1], 1):
            year = max(n for n, start in enumerate(starts) if start <= followup.due)
            found[year] = samples * test.per_each
    return found
