"""Changes of the plan that the adviser makes: drop, defer, replace, split, move; each by id.

All names are looked up in the plan as it stands with own actions counted and before any change,
so that an entry never depends on another one. A name is the id of an action, or its first parts:
``nutrient.p2o5.n`` means each product that is bought for phosphorus at N. What a change leaves
unmet is not bought by other means: the verdict of the nutrient stays, and says so.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from loambrief.actions.materials import (
    CAUTIONS,
    DUST_OF_FINDING,
    WATER_OF_FINDING,
    by_area,
    pounds_per,
    spread,
)
from loambrief.actions.model import Action, SetAside, Window
from loambrief.actions.offers import Offer
from loambrief.actions.orders import needed_lb
from loambrief.actions.own import main_nutrient, own_window, pure_share, spread_by
from loambrief.actions.rounding import round_rate
from loambrief.case.own_checks import zone_named
from loambrief.case.problems import DataPath, Fault
from loambrief.case.quantities import nearest, show
from loambrief.case.schema import CaseFile
from loambrief.case.schema_plan import PlanChange, SplitPart
from loambrief.case.select import sample_area_ac
from loambrief.errors import PlanFaults
from loambrief.findings.model import Message, NeedKind, say
from loambrief.findings.places import place_of
from loambrief.units import LB_PER_TON

AREA_SLACK, RATE_SLACK = 0.005, 0.01
"""How far parts may miss the whole: rounding of what is typed."""
TITLES = {NeedKind.LIME: "title_lime", NeedKind.GYPSUM: "title_gypsum",
          NeedKind.ACIDIFY: "title_sulfur", NeedKind.NUTRIENT: "title_nutrient"}
PATH = "plan_changes"
Wrong = tuple[str, str, str] | tuple[str, str, str, str]
"""Why a change cannot be made: its key, what was found, what is wanted, a hint."""


def check_names(case: CaseFile, actions: Sequence[Action]) -> None:
    """Raise PlanFaults for every own rate or change that names nothing, or contradicts another."""
    faults = [*_rates(case, actions), *_names(case, actions), *_pairs(case, actions)]
    if faults:
        raise PlanFaults(tuple(faults))


def _rates(case: CaseFile, actions: Sequence[Action]) -> Iterator[Fault]:
    rated = [a for a in actions if a.rate is not None and not a.own]
    known = sorted({n for a in rated for n in (a.id, a.material_id) if n})
    for i, entry in enumerate(case.overrides):
        if entry.action not in known:
            yield _unknown(("overrides", i, "action"), entry.action,
                           "an action with a rate, or a material in use", known)


def _names(case: CaseFile, actions: Sequence[Action]) -> Iterator[Fault]:
    known = [a.id for a in actions if not a.own]
    for i, change in enumerate(case.plan_changes):
        named = [a for a in actions if a.answers_to(change.action)]
        if any(a.own for a in named):
            yield Fault("CASE053", (PATH, i, "action"), show(change.action),
                        "an action of the program",
                        "It is the adviser's own: change its entry under own_actions or nitrogen.")
        elif change.change in ("replace", "split") and len(named) > 1:
            yield Fault("CASE053", (PATH, i, "action"),
                        f"{change.action}, which means {', '.join(a.id for a in named)}",
                        f"one action to {change.change}")
        elif not named:
            yield _unknown((PATH, i, "action"), change.action, "an action of this plan", known)


def _unknown(path: DataPath, typed: str, wanted: str, known: Sequence[str]) -> Fault:
    near = nearest(typed, known, cutoff=0.5)
    others = [n for n in known if n != near]
    there = [*([near] if near else []), *others]
    hint = f"Did you mean {near!r}? " if near else ""
    return Fault("CASE052", path, show(typed), wanted,
                 hint + (f"There are: {', '.join(there)}." if there else "There is none."))


def _pairs(case: CaseFile, actions: Sequence[Action]) -> Iterator[Fault]:
    """The same change twice, or anything beside a drop, for one action."""
    for action in actions:
        made: dict[str, int] = {}
        for i, change in enumerate(case.plan_changes):
            if not action.answers_to(change.action):
                continue
            other = change.change if change.change in made else (
                "drop" if "drop" in made else next(iter(made), "")
                if change.change == "drop" else "")
            if other in made:
                yield Fault("CASE053", (PATH, i, "change"), f"{change.change} of {action.id}",
                            f"not beside entry {made[other] + 1}, which says {other}",
                            needs=((PATH, made[other], "change"),))
            made.setdefault(change.change, i)


def _of(case: CaseFile, *kinds: str) -> Iterator[tuple[int, PlanChange]]:
    yield from ((i, c) for i, c in enumerate(case.plan_changes) if c.change in kinds)


# replace and split -------------------------------------------------------------------------


def replaced(case: CaseFile, actions: list[Action], offers: Mapping[str, Offer]) -> list[Action]:
    """Other materials and rates in place of the computed ones.

    Raises PlanFaults for a material that cannot do the work, or a rate of nothing.
    """
    return _applied(case, actions, "replace",
                    lambda action, change: _replaced(case, action, change, offers))


def _applied(case: CaseFile, actions: list[Action], kind: str,
             make: Callable[[Action, PlanChange], list[Action] | Wrong]) -> list[Action]:
    """What becomes of the actions by every change of a kind; raises PlanFaults for the wrong."""
    faults: list[Fault] = []
    for i, change in _of(case, kind):
        made: list[Action] = []
        for action in actions:
            new = make(action, change) if action.answers_to(change.action) else [action]
            if isinstance(new, tuple):
                faults.append(Fault("CASE053", (PATH, i, new[0]), *new[1:]))
                new = [action]
            made += new
        actions = made
    if faults:
        raise PlanFaults(tuple(faults))
    return actions


def _told(action: Action, change: PlanChange, **fields: Any) -> Action:
    """The action as it is changed, with what was done and the reason."""
    return replace(action, **{"changed": (*action.changed, change.change), **fields},
                   reasons=(*action.reasons, change.reason))


def _replaced(case: CaseFile, action: Action, change: PlanChange,
              offers: Mapping[str, Offer]) -> list[Action] | Wrong:
    offer = offers.get(change.material or action.material_id or "")
    if offer is None:
        return "rate", f"a rate for {action.id}", "the material it is a rate of, beside it"
    unit, size = spread_by(offer)
    if offer.id == action.material_id and action.rate_unit:
        unit, size = action.rate_unit, pounds_per(action.rate_unit, offer)
    if change.rate is not None:
        rate = change.rate.value / size
    elif action.kind in TITLES:
        pounds = _as_much(action, offer, offers)
        if pounds is None:
            return ("material", f"{offer.id} for {action.id}",
                    "a material that does the same work, or its rate beside it")
        rate = round_rate(pounds / size, unit, case.case.decided_in)
    else:
        return _service(action, change, offer)
    same = offer.id == action.material_id
    fields = spread(offer, rate, unit, action.area_ac)
    old = {f"actions.{n}" for n in CAUTIONS.get(action.material_kind or "", ())}
    general = tuple(say(f"actions.{n}") for n in CAUTIONS.get(offer.material.kind, ()))
    kept = tuple(c for c in action.cautions if c.key not in old)
    return [_told(
        action, change,
        title=_title(action, offer, rate, unit, list(fields["supplies"])),
        material_id=offer.id, material_name=offer.material.name,
        material_kind=offer.material.kind, exact_rate=None,
        rate_low=None, rate_high=None, cap=action.cap if same else None,
        computed_rate=action.rate if same else None,
        own_reason=change.reason if same else action.own_reason,
        cautions=(*kept, *general),
        limits=() if not same else action.limits, notes=(),
        changed=(*action.changed, "rate" if same else "replace"), **fields)]


def _as_much(action: Action, offer: Offer, offers: Mapping[str, Offer]) -> float | None:
    """Pounds per acre of another product that do what the computed action does."""
    before = offers.get(action.material_id or "")
    if action.kind is NeedKind.NUTRIENT:
        share = offer.fraction(action.item)
        want = action.supplies.get(action.item, action.need.amount)
        return None if not share or want is None else want / share
    pure = pure_share(action.kind, offer)
    if not pure:
        return None
    if before is not None and action.rate is not None:
        return needed_lb(replace(action, area_ac=1.0)) * (
            pure_share(action.kind, before) or 0.0) / pure
    amount = action.need.amount
    if amount is None:
        return None
    return amount * (LB_PER_TON if action.need.unit == "ton/ac" else 1.0) / action.passes / pure


def _service(action: Action, change: PlanChange, offer: Offer) -> list[Action] | Wrong:
    """Another service, or a seed, for work that has no rate."""
    if offer.per_ac is None:
        return ("material", f"{offer.id} for {action.id}",
                "a service with a price per area, or a material with its rate beside it")
    return [_told(action, change, material_id=offer.id, material_name=offer.material.name,
                  material_kind=offer.material.kind,
                  **by_area(offer.per_ac, action.area_ac, offer.price_date))]


def _title(action: Action, offer: Offer, rate: float, unit: str, held: list[str]) -> Message:
    name = TITLES.get(action.kind)
    if name is None:
        return action.title
    items = action.title.params.get("items")
    known = [n for n in items if n in held] if isinstance(items, list | tuple) else []
    return say(f"actions.{name}", where=action.place, rate=rate, unit=unit,
               material=offer.material.name, number=action.pass_number, passes=action.passes,
               dolomitic=False,
               items=known or [action.item if action.item in held else main_nutrient(offer)])


def split(case: CaseFile, actions: list[Action], offers: Mapping[str, Offer]) -> list[Action]:
    """Actions in the parts that the adviser states.

    Raises PlanFaults for parts that do not add up to the whole.
    """
    def parted(action: Action, change: PlanChange) -> list[Action] | Wrong:
        fault = _adds_up(case, action, change, offers)
        return ("parts", *fault) if fault is not None else [
            _part(case, action, change, part, number, offers)
            for number, part in enumerate(change.parts or (), 1)]

    actions = _applied(case, actions, "split", parted)
    parts: dict[str, list[str]] = {}
    for action in actions:
        if action.split_from:
            parts.setdefault(action.split_from, []).append(action.id)
    return [replace(a, depends_on=tuple(n for d in a.depends_on for n in parts.get(d, [d])))
            for a in actions]


def _part_area(case: CaseFile, part: SplitPart) -> float | None:
    """Area of a part [ac]: as stated, else of its zone; None where neither is."""
    if part.area is not None:
        return part.area.value
    zone = zone_named(case, part.where)
    return None if zone is None else sample_area_ac(case, zone)


def _adds_up(case: CaseFile, action: Action, change: PlanChange,
             offers: Mapping[str, Offer]) -> tuple[str, str, str] | None:
    parts = change.parts or ()
    named = [p.where for p in parts if p.where is not None]
    if named and action.place.id:
        return (f"where: {named[0]}", "parts by area, rate or window",
                f"{action.id} is for {action.place.label} alone.")
    zones = [zone_named(case, name) for name in named]
    if None in zones:
        ids = ", ".join(s.id for s in case.samples)
        return f"where: {named[zones.index(None)]}", f"a zone of the case: {ids or 'none'}", ""
    if len({z.id for z in zones if z is not None}) < len(zones):
        return "one zone twice", "each zone once", ""
    areas = [a for p in parts if (a := _part_area(case, p)) is not None]
    if areas and (action.area_ac is None
                  or abs(sum(areas) - action.area_ac) > AREA_SLACK * action.area_ac):
        return (f"{sum(areas):.4g} ac in all parts", f"the {action.area_ac or 0:.4g} ac of the "
                f"action {action.id}", "Treat less of it with an own action and a drop.")
    rates = [p.rate.value for p in parts if p.rate is not None]
    offer = offers.get(action.material_id or "")
    if rates and (offer is None or action.rate is None):
        return f"rates of {action.id}, which has none", "areas or windows", ""
    if rates and not areas and offer is not None and action.rate is not None:
        size = pounds_per(action.rate_unit, offer)
        whole = action.rate * size
        if abs(sum(rates) - whole) > RATE_SLACK * whole:
            return (f"{sum(rates) / size:.4g} {action.rate_unit} in all parts",
                    f"the {action.rate:.4g} {action.rate_unit} of {action.id}",
                    "Another rate is a change of its own: change: replace.")
    return None


def _part(case: CaseFile, action: Action, change: PlanChange, part: SplitPart, number: int,
          offers: Mapping[str, Offer]) -> Action:
    count = len(change.parts or ())
    offer = offers.get(action.material_id or "")
    area, rate = action.area_ac, action.rate
    by_area = any(p.area is not None or p.where is not None for p in change.parts or ())
    stated, zone = _part_area(case, part), zone_named(case, part.where)
    if stated is not None:
        area = stated
    elif rate is None and area is not None and not by_area:
        area = area / count
    if rate is not None and offer is not None:
        size = pounds_per(action.rate_unit, offer)
        rate = (part.rate.value / size if part.rate is not None
                else rate if by_area else rate / count)
    fields: dict = {}
    if rate is not None and offer is not None:
        fields = {"exact_rate": None, "rate_low": None, "rate_high": None,
                  "title": Message(action.title.key, {**action.title.params, "rate": rate}),
                  **spread(offer, rate, action.rate_unit, area)}
    elif action.cost_total is not None and action.area_ac and area is not None:
        fields = {"cost_total": action.cost_total * area / action.area_ac}
    if part.window is not None:
        fields["window"] = own_window(case, part.window, action.kind, action.item)
    if zone is not None:
        fields["place"] = place_of(zone)
    return _told(
        action, change, id=f"{action.id}.{number if zone is None else zone.id.lower()}",
        split_from=action.id, area_ac=area,
        notes=(*action.notes, say("actions.note_split_part", number=number, count=count)),
        **fields)


# defer and drop ------------------------------------------------------------------------------


def deferred(case: CaseFile, actions: list[Action]) -> list[Action]:
    """Actions that the adviser put off, with until when."""
    for _, change in _of(case, "defer"):
        said = {"until": change.until, "condition": change.condition}
        actions = [_told(
            a, change, deferred=say("actions.deferred", **said),
            window=Window(change.until, None, say("actions.when_deferred", **said)))
            if a.answers_to(change.action) else a for a in actions]
    return actions


def put_off_with(actions: list[Action]) -> list[Action]:
    """What waits for an action that was put off is put off with it."""
    for _ in actions:
        off = {a.id for a in actions if a.deferred is not None}
        more = [a for a in actions if a.deferred is None and off & set(a.depends_on)]
        if not more:
            return actions
        actions = [replace(a, deferred=say("actions.deferred_with")) if a in more else a
                   for a in actions]
    return actions


def dropped(case: CaseFile,
            actions: list[Action]) -> tuple[list[Action], tuple[SetAside, ...]]:
    """The plan without what the adviser set aside, and that, with what must still be heeded.

    Work that waited for something set aside says so; work that a reading was to decide first
    stays undecided without that reading.
    """
    handling = {*DUST_OF_FINDING, *WATER_OF_FINDING}  # of a material that is not spread
    aside: list[SetAside] = []
    for _, change in _of(case, "drop"):
        aside += [SetAside(a, change.reason, tuple(c for c in a.need.cautions
                                                   if c.key not in handling))
                  for a in actions if a.answers_to(change.action)]
    gone = {s.action.id: s.action for s in aside}
    left = []
    for action in actions:
        if action.id in gone:
            continue
        missed = [gone[d] for d in action.depends_on if d in gone]
        left.append(replace(
            action, depends_on=tuple(d for d in action.depends_on if d not in gone),
            decided_by=tuple(d for d in action.decided_by if d not in gone),
            cautions=(*(say("actions.caution_without", title=m.title) for m in missed),
                      *action.cautions)) if gone else action)
    return left, tuple(aside)


# move ----------------------------------------------------------------------------------------


def wanted_ranks(case: CaseFile, actions: Sequence[Action]) -> dict[str, int]:
    """Id of an action -> the place in the order that the adviser gives it."""
    wanted = {a.id: a.stated_rank for a in actions if a.stated_rank is not None}
    for _, change in _of(case, "move"):
        named = [a.id for a in actions if a.answers_to(change.action)]
        wanted.update({name: (change.rank or 1) + i for i, name in enumerate(named)})
    return wanted


def moved(case: CaseFile, actions: Sequence[Action]) -> tuple[Action, ...]:
    """Marks what was moved, with the reason."""
    told = tuple(actions)
    for _, change in _of(case, "move"):
        told = tuple(_told(a, change) if a.answers_to(change.action) else a for a in told)
    return told


def order_faults(case: CaseFile, ranked: Sequence[Action]) -> Iterator[Fault]:
    """Stated places in the order that lie before something the action waits for."""
    place = {a.id: i for i, a in enumerate(ranked)}
    for action in ranked:
        first = max((d for d in action.depends_on if d in place), key=lambda d: place[d],
                    default=None)
        if first is None or place[first] < place[action.id]:
            continue
        path = _stated_at(case, action) or _stated_at(case, ranked[place[first]])
        if path is not None:
            yield Fault("CASE053", path, f"{action.id} before {first}",
                        "a place after what it waits for",
                        "Work that waits for other work cannot come before it.")


def _stated_at(case: CaseFile, action: Action) -> DataPath | None:
    for i, change in _of(case, "move"):
        if action.answers_to(change.action):
            return (PATH, i, "rank")
    return next((("own_actions", i, "rank") for i, e in enumerate(case.own_actions)
                 if action.own and action.id == f"own.{e.id.lower()}" and e.rank is not None), None)
