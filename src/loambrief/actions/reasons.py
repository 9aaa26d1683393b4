"""Why a mix is what it is: what each limit costs, what cannot be met, how far rates may move.

A limit's cost is worked out by solving again without it, so that it also shows limits that
shut a product out altogether. Where needs and limits collide, two small linear programmes
say how much of each need can be met, and by how much a limit would have to give.

Ranges: the mix of the chosen products is worked out again at both ends of each need and of each
content of each product, one at a time; what they come to adds up as squares. The errors are
independent, and rates answer them nearly in proportion. Where needs have only spans that sources
print, to choose between, the range is what those come to, without errors.
"""

import itertools
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from loambrief.actions.blend import TINY, BlendZone, FieldMix, NoBlend, field_mix, priced
from loambrief.actions.offers import Offer
from loambrief.actions.solver import minimise
from loambrief.agronomy.intervals import log_ends, within_limits
from loambrief.agronomy.registry import Result, subject
from loambrief.findings.model import Need
from loambrief.topics.sampling.formulas_error import answer_range, material_error_pct

WORTH_SAYING = 0.005
"""Cost per acre below which a limit is not named [currency/ac]."""


@dataclass(frozen=True)
class Clash:
    """What cannot be had together in one zone."""

    short: Mapping[str, float]
    """Mapping of nutrient to lb/ac of the need that cannot be met within the limits."""
    raise_by: Mapping[str, float]
    """Mapping of nutrient to lb/ac by which its limit would have to give way."""
    capped: tuple[str, ...] = ()
    """Offer ids whose yearly cap stands in the way."""


@dataclass(frozen=True)
class RateRange:
    """Ends of a product's rate [its rate unit].

    ``results`` are the errors behind it; without any, it comes of spans that sources print.
    """

    low: float
    high: float
    results: tuple[Result, ...] = ()


def limit_costs(zones: tuple[BlendZone, ...], offers: tuple[Offer, ...],
                mix: FieldMix) -> dict[tuple[str, str], float]:
    """What each upper limit, by zone and nutrient, adds to the cost of the field [currency].

    Only limits that cost something.
    """
    found: dict[tuple[str, str], float] = {}
    if not any(z.upper for z in zones):
        return found
    free = field_mix(tuple(replace(z, upper={}) for z in zones), offers)
    assert isinstance(free, FieldMix)
    if mix.cost - free.cost <= WORTH_SAYING * sum(z.area_ac for z in zones):
        return found
    for zone in zones:
        if free.blends[zone.place.id] == mix.blends[zone.place.id] or _kept(zone, offers, free):
            continue
        for nutrient in sorted(zone.upper):
            freed = replace(zone, upper={k: v for k, v in zone.upper.items() if k != nutrient})
            other = field_mix(tuple(freed if z is zone else z for z in zones), offers)
            if isinstance(other, FieldMix):
                saved = mix.cost - other.cost
                if saved > WORTH_SAYING * zone.area_ac:
                    found[zone.place.id, nutrient] = saved
    return found


def _kept(zone: BlendZone, offers: tuple[Offer, ...], mix: FieldMix) -> bool:
    """The mix made without limits keeps those of this zone all the same."""
    amounts = mix.blends[zone.place.id].amounts
    return all(
        sum(o.fraction(n) * amounts.get(o.id, 0.0) for o in offers) <= limit + TINY
        for n, limit in zone.upper.items()
    )


def clash(zone: BlendZone, offers: tuple[Offer, ...]) -> Clash:
    """What gives where needs and limits of one zone cannot all be kept."""
    usable = priced(offers)
    short = _elastic(zone, usable, slack_in_needs=True)
    raise_by = _elastic(zone, usable, slack_in_needs=False)
    capped = tuple(o.id for o in usable if o.most_lb_ac is not None)
    return Clash(short or {}, raise_by or {}, capped)


def _elastic(zone: BlendZone, usable: list[Offer], slack_in_needs: bool) -> dict[str, float] | None:
    """Least total give, shared as the programme finds it; None if no amount of give helps."""
    needs, upper = zone.wanted(), dict(sorted(zone.upper.items()))
    slack = list(needs) if slack_in_needs else list(upper)
    count = len(usable)
    rows, bounds = [], []
    for sign, limits, gives in ((-1.0, needs, slack_in_needs), (1.0, upper, not slack_in_needs)):
        for name, amount in limits.items():
            rows.append([sign * o.fraction(name) for o in usable]
                        + [-1.0 if gives and name == s else 0.0 for s in slack])
            bounds.append(sign * amount)
    sizes = [1.0 / needs[s] if slack_in_needs else 1.0 for s in slack]
    answer = minimise(
        [0.0] * count + sizes, [dict(enumerate(row)) for row in rows], bounds,
        [(0.0, 0.0 if o.id in zone.barred else o.most_lb_ac) for o in usable]
        + [(0.0, None)] * len(slack))
    if answer is None:
        return None
    return {s: v for s, v in zip(slack, answer.x[count:], strict=True) if v > 1e-5}


def best_effort(zones: tuple[BlendZone, ...], offers: tuple[Offer, ...]
                ) -> tuple[FieldMix, tuple[BlendZone, ...], dict[str, Clash], tuple[str, ...]]:
    """The cheapest mix of what can be met, with what had to be left.

    Beside the mix: the zones with the needs that are met, what collides where needs and limits
    do, by zone, and the nutrients that no priced product supplies.
    """
    mix = field_mix(zones, offers)
    if isinstance(mix, FieldMix):
        return mix, zones, {}, ()
    uncovered = mix.uncovered
    zones = tuple(replace(z, needs={k: v for k, v in z.needs.items() if k not in uncovered})
                  for z in zones)
    mix = field_mix(zones, offers)
    if isinstance(mix, FieldMix):
        return mix, zones, {}, uncovered
    clashes: dict[str, Clash] = {}
    met = []
    for zone in zones:
        if isinstance(field_mix((zone,), offers), NoBlend):
            found = clash(zone, offers)
            clashes[zone.place.id] = found
            zone = replace(zone, needs={
                name: max(amount - found.short.get(name, 0.0) * (1 + 1e-9) - TINY, 0.0)
                if name in found.short else amount
                for name, amount in zone.wanted().items()})
        met.append(zone)
    mix = field_mix(tuple(met), offers)
    if isinstance(mix, NoBlend):  # rounding of the solver at the very edge: give a hair more
        met = [replace(z, needs={k: v * (1 - 1e-6) for k, v in z.needs.items()}) for z in met]
        mix = field_mix(tuple(met), offers)
    assert isinstance(mix, FieldMix)
    return mix, tuple(met), clashes, uncovered


def rate_ranges(zone: BlendZone, needs: Mapping[str, Need],
                chosen: tuple[Offer, ...],
                follows: Collection[str] = ()) -> dict[str, RateRange]:
    """Low and high end of each product's rate, in the unit it is spread in; empty where no need has
    a range.

    Parameters
    ----------
    needs : mapping
        Nutrient -> its need; one without a range stays as it is.
    chosen : tuple of Offer
        The products of the plan's mix: the range is of their rates, not of other products.
    follows : collection of str
        Nutrients whose limit is the guide's own rate, and moves with the need.
    """
    wanted = zone.wanted()
    moving = {n: (need.low, need.high, need.printed_span) for n in wanted
              if (need := needs.get(n)) is not None
              and need.low is not None and need.high is not None and need.low < need.high}
    if not moving:
        return {}
    chosen = tuple(sorted(chosen, key=lambda o: o.id))
    free = tuple(replace(o, per_ac=None, material=o.material.model_copy(
        update={"minimum_load": None, "load_size": None, "bag": None})) for o in chosen)

    def rates(zone: BlendZone = zone, offers: tuple[Offer, ...] = free) -> dict[str, float]:
        mix, _, _, uncovered = best_effort((zone,), offers)
        if uncovered:
            return {}
        amounts = mix.blends[zone.place.id].amounts
        return {o.id: amounts.get(o.id, 0.0) / o.spread_in[1] for o in chosen}

    here = rates()
    if not here:
        return {}

    def needing(name: str, end: float) -> BlendZone:
        upper = dict(zone.upper)
        if name in follows and name in upper:
            upper[name] = max(upper[name] + end - wanted[name], 0.0)
        return replace(zone, needs={**wanted, name: end}, upper=upper)

    alone = [(printed, [rates(needing(name, end)) for end in (
        min(low, wanted[name]), max(high, wanted[name]))])
        for name, (low, high, printed) in moving.items()]
    measured = {o.id for o in free for name, (_, _, printed) in moving.items()
                if o.fraction(name) > 0 and not printed}
    errors: dict[str, list[Result]] = {o.id: [] for o in chosen}
    for offer, name in itertools.product(free if measured else (), wanted):
        if offer.fraction(name) > 0:
            with subject(offer.material.name):
                error = material_error_pct.evaluate(kind=offer.material.kind, nutrient=name)
            errors[offer.id].append(error)
            alone.append((False, [rates(offers=tuple(
                replace(o, content={name: share}) if o is offer else o for o in free))
                for share in log_ends(1.0, error.number)]))
    return {o.id: _range(zone, o, here[o.id], [
        (printed, [r[o.id] for r in ends if r]) for printed, ends in alone],
        errors[o.id] if o.id in measured else None) for o in chosen}


def _range(zone: BlendZone, offer: Offer, here: float, alone: list[tuple[bool, list[float]]],
           errors: list[Result] | None) -> RateRange:
    """Range of one product: of errors where a need that it serves has them (``errors``).

    Beside errors a span that a source prints counts as a rectangle.
    """
    if errors is None:
        ends = [here, *(rate for printed, rates in alone if printed for rate in rates)]
        return RateRange(min(ends), max(ends))
    with subject(zone.place, offer.material.name):
        result = answer_range(here, *(
            within_limits(here, min(here, *rates), max(here, *rates)) if printed and rates
            else rates for printed, rates in alone))
    return RateRange(result.details["low"], result.details["high"], (*errors, result))
