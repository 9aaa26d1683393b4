"""Rates that the farm's own spreader can be set to, and the days that the spreading takes.

A rate goes to the machine's step, never across a cap and never below its smallest rate. Where
the need is smaller than that, several years of maintenance go on in one pass if the guide says
that they may; else the product is not possible with this machine, which is said.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

from loambrief.actions.blend import BlendZone, FieldMix
from loambrief.actions.materials import pounds_per, spread
from loambrief.actions.model import Action, SpreadingDays
from loambrief.actions.offers import Offer
from loambrief.actions.orders import needed_lb
from loambrief.actions.reasons import Clash, best_effort
from loambrief.case.schema import CaseFile
from loambrief.case.schema_farm import Spreader
from loambrief.findings.model import say
from loambrief.tables import load

EVEN = 1e-9
YEARS_AT_ONCE = "farm/years_at_once"
Mixed = tuple[FieldMix, tuple[BlendZone, ...], dict[str, Clash], tuple[str, ...]]
"""What ``best_effort`` returns."""


def machine(case: CaseFile, kind: str | None) -> Spreader | None:
    """The machine that spreads least of a kind of material; None where the case names none."""
    if case.constraints is None or kind is None:
        return None
    able = [m for m in case.constraints.spreaders if not m.spreads or kind in m.spreads]
    return min(able, key=_smallest, default=None)


def _smallest(found: Spreader) -> float:
    """Smallest rate of a machine [lb/ac]; one step where nothing else is stated."""
    least = found.smallest_rate.value if found.smallest_rate is not None else 0.0
    return least or (found.step.value if found.step is not None else 0.0)


def years_at_once(case: CaseFile) -> int:
    """Most years of maintenance that the case's guide lets go on in one pass; 1 if it is silent."""
    rows = [row for row in load(YEARS_AT_ONCE) if row["guide"] == case.guide]
    return int(rows[0]["years"]) if rows else 1


def years_for(case: CaseFile, rate_lb: float, smallest_lb: float, optional: bool) -> int | None:
    """Years in one pass for a rate below the smallest [lb/ac both]; None where the guide does not
    allow it. An ``optional`` rate only holds a test in its range.
    """
    if rate_lb >= smallest_lb * (1 - EVEN):
        return 1
    years = math.ceil(smallest_lb / rate_lb - EVEN)
    return years if optional and years <= years_at_once(case) else None


def stretched_cap(zone: BlendZone, offer: Offer, years: int = 1,
                  by_year: frozenset[str] = frozenset()) -> float:
    """Most of a product alone, in one pass for so many years, that keeps every limit [lb/ac].

    The limits of the nutrients ``by_year`` are rates for each year; others do not grow.
    """
    caps = [limit * (years if n in by_year else 1) / offer.fraction(n)
            for n, limit in zone.upper.items() if offer.fraction(n) > 0]
    if offer.most_lb_ac is not None:
        caps.append(offer.most_lb_ac)
    return min(caps, default=math.inf)


def settable_mix(case: CaseFile, zones: tuple[BlendZone, ...], usable: tuple[Offer, ...],
                 optional: Mapping[str, frozenset[str]],
                 by_year: Mapping[str, frozenset[str]]) -> Mixed:
    """The cheapest mix whose every rate a machine of the farm can hold, as far as there is one.

    A product too small to set on a zone is left out there and the mix made again, until all
    can be set or a need would be left; what still cannot be set is said by :func:`fit`.
    ``optional`` and ``by_year`` name, by zone, the nutrients whose need there is only maintenance,
    and those whose limit there is a rate for each year.
    """
    best = best_effort(zones, usable)
    for _ in range(len(zones) * len(usable)):
        small = _too_small(case, best, usable, optional, by_year)
        if small is None:
            break
        zone_id, offer_id = small
        zones = tuple(replace(z, barred=z.barred | {offer_id}) if z.place.id == zone_id else z
                      for z in zones)
        other = best_effort(zones, usable)
        if set(other[2]) > set(best[2]) or set(other[3]) > set(best[3]):
            break
        best = other
    return best


def _too_small(case: CaseFile, mixed: Mixed, usable: tuple[Offer, ...],
               optional: Mapping[str, frozenset[str]],
               by_year: Mapping[str, frozenset[str]]) -> tuple[str, str] | None:
    """A zone and a product whose rate no machine can hold, the smallest first."""
    mix, zones, _, _ = mixed
    by_id = {o.id: o for o in usable}
    found = []
    for zone in zones:
        spare = optional.get(zone.place.id, frozenset())
        for name, pounds in mix.blends[zone.place.id].amounts.items():
            offer = by_id[name]
            serves = {n for n in zone.wanted() if offer.fraction(n) > 0}
            held = machine(case, offer.material.kind)
            if held is None:
                continue
            years = years_for(case, pounds, _smallest(held), serves <= spare)
            if years is None or _smallest(held) > (1 + EVEN) * stretched_cap(
                    zone, offer, years, by_year.get(zone.place.id, frozenset())):
                found.append((pounds, zone.place.id, name))
    return min(found)[1:] if found else None


def fit(case: CaseFile, action: Action, offers: Mapping[str, Offer]) -> Action:
    """The action at a rate that a machine of the farm can be set to."""
    held, offer = machine(case, action.material_kind), offers.get(action.material_id or "")
    if held is None or not action.rate or offer is None:
        return action
    size = pounds_per(action.rate_unit, offer)
    wanted, smallest = action.rate * size, _smallest(held)
    if action.own or action.own_reason is not None or action.changed:
        # the adviser's rate is not moved, only held to account
        if wanted >= smallest * (1 - EVEN):
            return action
        return replace(action, cautions=(say("farm.own_below_smallest", machine=held.name,
                                             smallest=smallest / size, unit=action.rate_unit),
                                         *action.cautions))
    step = held.step.value if held.step is not None else 0.0
    if smallest == 0 and step == 0:
        return action
    years = years_for(case, wanted, smallest, action.optional)
    cap = None if action.cap is None else action.cap * size * (years or 1)
    if cap is not None and years is not None and years > 1:
        cap = min(cap, (action.cap_at_once or 0.0) * size)
    if years is None or (cap is not None and smallest > cap * (1 + EVEN)):
        return _unsettable(action, held, smallest / size)
    ends = [None if v is None else v * size * years
            for v in (action.rate_low, action.rate_high)]
    exact = (action.exact_rate if action.exact_rate is not None else action.rate) * size
    rate = settable(max(exact * years, smallest), smallest, step, cap, ends[0], ends[1])
    if rate is None:
        return _unsettable(action, held, smallest / size)
    inside = all(v is None for v in ends) or (
        (ends[0] or 0.0) - EVEN <= rate <= (ends[1] or math.inf) + EVEN)
    limit = say("farm.limit_machine", machine=held.name, years=years, unit=action.rate_unit,
                smallest=smallest / size, step=step / size, inside=inside)
    low, high = ((None if v is None else v / size) for v in ends) if inside else (None, None)
    params = {**action.title.params, "rate": rate / size}
    return replace(
        action, title=say(action.title.key, **params), rate_low=low, rate_high=high,
        exact_rate=exact * years / size, years_at_once=years,
        cap=None if cap is None else cap / size, limits=(*action.limits, limit),
        **spread(offer, rate / size, action.rate_unit, action.area_ac))


def settable(exact: float, smallest: float, step: float, cap: float | None = None,
             low: float | None = None, high: float | None = None) -> float | None:
    """The nearest rate a machine can be set to.

    Parameters
    ----------
    exact : float
        Wanted [lb/ac].
    smallest : float
        Smallest setting [lb/ac].
    step : float
        Step from the smallest setting up [lb/ac]; 0: any rate.
    cap : float or None
        Highest rate allowed; never crossed [lb/ac].
    low, high : float or None
        Range of the need: a setting inside it is preferred [lb/ac].

    Returns
    -------
    float or None
        [lb/ac]; None where the smallest setting is above the cap.
    """
    top = math.inf if cap is None else cap * (1 + EVEN)
    if smallest > top:
        return None
    if step <= 0:
        return min(max(exact, smallest), cap if cap is not None else math.inf)
    steps = max(round((exact - smallest) / step), 0)
    near = [smallest + n * step for n in (steps - 1, steps, steps + 1) if n >= 0]
    possible = [r for r in near if 0 < r <= top]
    while not possible and steps > 0:
        steps -= 1
        possible = [r for r in (smallest + steps * step,) if 0 < r <= top]
    inside = [r for r in possible if (low is None or r >= low * (1 - EVEN))
              and (high is None or r <= high * (1 + EVEN))]
    return min(inside or possible, key=lambda r: (abs(r - exact), r), default=None)


def _unsettable(action: Action, held: Spreader, smallest: float) -> Action:
    """The need stays; the product goes, since no machine of the farm can set so little."""
    return replace(
        action, title=say("farm.title_unsettable", item=action.item, kind=action.kind.value,
                          material=action.material_name, rate=action.rate,
                          unit=action.rate_unit, where=action.place, machine=held.name),
        material_id=None, material_name=None, material_kind=None, rate=None, rate_low=None,
        rate_high=None, exact_rate=None, supplies={}, cost_parts=(), cost_per_ac=None,
        cost_total=None, price_date=None, cap=None, gallon_lb=None, how=(), notes=(),
        limits=(*action.limits, say("farm.limit_unsettable", machine=held.name,
                                    smallest=smallest, unit=action.rate_unit,
                                    rate=action.rate)))


def uncounted(case: CaseFile, actions: Iterable[Action]) -> tuple[str, ...]:
    """Names of materials spread this season by no machine whose day's work is stated."""
    found = [a.material_name for a in actions
             if a.rate and a.material_name is not None and a.pass_number == 1
             and ((held := machine(case, a.material_kind)) is None or held.per_day is None)]
    return tuple(dict.fromkeys(found))


def spreading_days(case: CaseFile, actions: Iterable[Action]) -> tuple[SpreadingDays, ...]:
    """Mass and days of each machine for what will be done this season, in the order of the case."""
    if case.constraints is None:
        return ()
    loads: dict[str, float] = {}
    for action in actions:
        held = machine(case, action.material_kind)
        if held is not None and held.per_day is not None and action.pass_number == 1:
            loads[held.name] = loads.get(held.name, 0.0) + needed_lb(action)
    return tuple(SpreadingDays(m.name, loads[m.name], m.per_day.value)
                 for m in case.constraints.spreaders
                 if m.per_day is not None and loads.get(m.name))
