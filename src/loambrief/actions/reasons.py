"""Why a mix is what it is: what each limit costs, what cannot be met, how far rates may move.

A limit's cost is worked out by solving again without it, so that it also shows limits that
shut a product out altogether. Where needs and limits collide, two small linear programmes
say how much of each need can be met, and by how much a limit would have to give.

Ranges: rates answer the needs linearly while the products stay the same, so the ends of a
rate lie at combinations of the ends of the needs. Every combination is worked out
(closed form, no sampling); nothing is assumed about the distribution between the ends.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, replace

from loambrief.actions.blend import TINY, BlendZone, FieldMix, NoBlend, field_mix, priced
from loambrief.actions.offers import Offer
from loambrief.actions.solver import minimise

MOST_CORNERS = 64
WORTH_SAYING = 0.005
"""Cost per acre below which a limit is not named [currency/ac]."""


@dataclass(frozen=True)
class Clash:
    """What cannot be had together in one zone.

    Attributes
    ----------
    short : mapping of nutrient to lb/ac of the need that cannot be met within the limits
    raise_by : mapping of nutrient to lb/ac by which its limit would have to give way
    capped : tuple of offer ids whose yearly cap stands in the way
    """

    short: Mapping[str, float]
    raise_by: Mapping[str, float]
    capped: tuple[str, ...] = ()


def limit_costs(zones: tuple[BlendZone, ...], offers: tuple[Offer, ...],
                mix: FieldMix) -> dict[tuple[str, str], float]:
    """What each upper limit adds to the cost of the field.

    Returns
    -------
    dict
        (zone, nutrient) -> currency for the field, only limits that cost something.
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
    for name, amount in needs.items():
        give = [-1.0 if slack_in_needs and name == s else 0.0 for s in slack]
        rows.append([-o.fraction(name) for o in usable] + give)
        bounds.append(-amount)
    for name, limit in upper.items():
        give = [-1.0 if not slack_in_needs and name == s else 0.0 for s in slack]
        rows.append([o.fraction(name) for o in usable] + give)
        bounds.append(limit)
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

    Returns
    -------
    FieldMix
    tuple of BlendZone
        The zones with the needs that are met.
    dict of zone id to Clash
        Only zones where needs and limits collide.
    tuple of str
        Nutrients that no priced product supplies.
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


def rate_ranges(zone: BlendZone, spans: Mapping[str, tuple[float, float]],
                chosen: tuple[Offer, ...]) -> dict[str, tuple[float, float]]:
    """Low and high end of each product's rate over the ends of the needs.

    Parameters
    ----------
    zone : BlendZone
    spans : mapping
        Nutrient -> (low, high) of its need [lb/ac]; needs without a range stay as they are.
    chosen : tuple of Offer
        The products of the plan's mix: the range is of their rates, not of other products.

    Returns
    -------
    dict of offer id to (low, high) [lb/ac]
        Empty where no need has a range.
    """
    wanted = zone.wanted()
    moving = [n for n in wanted if n in spans and spans[n][0] < spans[n][1]]
    if not moving:
        return {}
    ends = [tuple(sorted({spans[n][0], wanted[n], spans[n][1]})) for n in moving]
    combinations = list(itertools.islice(itertools.product(*ends), MOST_CORNERS + 1))
    if len(combinations) > MOST_CORNERS:
        combinations = [tuple(e[0] for e in ends), tuple(e[-1] for e in ends)]
    free = tuple(replace(o, per_ac=None, material=o.material.model_copy(
        update={"minimum_load": None, "load_size": None, "bag": None})) for o in chosen)
    found: dict[str, list[float]] = {o.id: [] for o in chosen}
    for values in combinations:
        at = replace(zone, needs={**wanted, **dict(zip(moving, values, strict=True))})
        mix = field_mix((at,), free)
        if isinstance(mix, FieldMix):
            amounts = mix.blends[zone.place.id].amounts
            for offer in chosen:
                found[offer.id].append(amounts.get(offer.id, 0.0))
    return {name: (min(rates), max(rates)) for name, rates in found.items() if rates}
