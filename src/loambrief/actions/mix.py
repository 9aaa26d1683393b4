"""Nutrient needs of all zones into products: the least-cost mix, rounded, with its reasons."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from loambrief.actions.blend import Blend, BlendZone, FieldMix
from loambrief.actions.equipment import settable_mix, stretched_cap, years_at_once
from loambrief.actions.gather import NeedFor
from loambrief.actions.limits import Limit, waters
from loambrief.actions.manure import manure_limit, shut_out
from loambrief.actions.materials import GRADE, base, on_surface, spread, unspread, with_seed
from loambrief.actions.model import Action
from loambrief.actions.offers import Offer, kind_of
from loambrief.actions.raw_manure import caution, window
from loambrief.actions.reasons import Clash, RateRange, limit_costs, rate_ranges
from loambrief.actions.rounding import round_rate, spanned, step_down
from loambrief.actions.setback import barred, kept_off, limit_of
from loambrief.agronomy.crops import find_crop
from loambrief.agronomy.registry import Result
from loambrief.case.schema import CaseFile
from loambrief.errors import UnknownName
from loambrief.findings.crop_kinds import known_crop, seeded_in_rows
from loambrief.findings.model import Message, Need, say
from loambrief.topics.nutrients.formulas_limits import band_limit
from loambrief.topics.nutrients.seed_row import CAUTION as SEED_ROW
from loambrief.units import LB_PER_TON

KINDS = ("fertilizer", "manure", "compost", "biosolids", "gypsum", "elemental sulfur")
GUIDE_RATES = ("guide_rate", "guide_rate_water")
YEARLY = ("guide_rate", "harvest")
"""Reasons of a limit that is a rate for each year, so that two years may have twice as much."""
TOP_UP = 0.75
"""Share of a need that other products must bring before the rest is dropped (our own cut)."""


@dataclass(frozen=True)
class NutrientPlan:
    """The nutrient actions of a field, with the problem they answer."""

    actions: tuple[Action, ...]
    zones: tuple[BlendZone, ...]
    """Needs as they are met (after what could not be met was taken off)."""
    mix: FieldMix
    shut_out: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Materials that only a limit keeps out, not their price, and the nutrients limited."""
    near_water: bool = False


def nutrient_plan(case: CaseFile, zones: Mapping[str, tuple[NeedFor, ...]],
                  offers: tuple[Offer, ...],
                  limits: Mapping[str, Mapping[str, Limit]]) -> NutrientPlan:
    """One action per product and zone of the field's least-cost mix.

    ``zones`` are the needs by zone, ``limits`` the most from all sources by zone and nutrient.
    """
    usable = kind_of(offers, *KINDS)
    wanted = tuple(
        BlendZone(needs[0].need.place, area,
                  {n.need.item: n.need.amount for n in needs if n.need.amount is not None},
                  {n: limit.amount for n, limit in limits.get(zone_id, {}).items()},
                  barred(case, zone_id, area, usable))
        for zone_id, needs in sorted(zones.items())
        for area in (next((n.need.area_ac for n in needs if n.need.area_ac), 1.0),)
    )
    optional = {zone_id: frozenset(n.need.item for n in needs if n.need.optional)
                for zone_id, needs in zones.items()}
    by_year = {zone_id: frozenset(n for n, limit in found.items() if limit.reason in YEARLY)
               for zone_id, found in limits.items()}
    mix, met, clashes, uncovered = settable_mix(case, wanted, usable, optional, by_year)
    costs = limit_costs(met, usable, mix)
    actions: list[Action] = []
    for zone in met:
        needs = {n.need.item: n for n in zones[zone.place.id]}
        spoken = {n: c for (zone_id, n), c in costs.items() if zone_id == zone.place.id}
        actions += _zone_actions(case, zone, needs, usable, mix.blends[zone.place.id], spoken,
                                 limits.get(zone.place.id, {}))
        actions += _unmet(case, needs, uncovered, clashes.get(zone.place.id), usable)
    return NutrientPlan(tuple(actions), met, mix, shut_out(met, usable, mix),
                        bool(case.field.sensitive_areas or any(waters(case, z) for z in zones)))


def _zone_actions(case: CaseFile, zone: BlendZone, needs: Mapping[str, NeedFor],
                  usable: tuple[Offer, ...], blend: Blend,
                  limit_cost: Mapping[str, float],
                  bounds: Mapping[str, Limit]) -> list[Action]:
    chosen = tuple(o for o in usable if o.id in blend.amounts)
    spans = {item: (n.need.low, n.need.high) for item, n in needs.items()
             if n.need.low is not None and n.need.high is not None}
    ranges = rate_ranges(zone, {item: n.need for item, n in needs.items()}, chosen,
                         [n for n, limit in bounds.items()
                          if limit.reason in GUIDE_RATES])
    rates = _rounded(case, zone, chosen, blend.amounts, ranges)
    spare = _top_ups(zone, chosen, blend.amounts, rates, spans)
    actions = []
    for offer in sorted(chosen, key=lambda o: (-blend.amounts[o.id], o.id)):
        if offer.id in spare:
            continue  # what the others bring is enough within the error of the need
        met = [item for item in zone.wanted() if offer.fraction(item) > 0]
        lead = max(met, key=lambda item: blend.amounts[offer.id] * offer.fraction(item))
        limits = [say("actions.limit_upper", item=item, cost=cost, cap=zone.upper[item],
                      by=bounds[item].reason if item in bounds else "excess")
                  for item, cost in sorted(limit_cost.items())]
        held = manure_limit(offer, zone, bounds)
        limits += held[:1]
        if offer.most_lb_ac is not None:
            limits.append(say("actions.limit_metals", cap=offer.most_lb_ac / LB_PER_TON))
        made = _product(case, needs[lead], tuple(needs[i] for i in met), offer, blend,
                        rates[offer.id], ranges.get(offer.id), tuple(limits),
                        _cap(zone, offer), held[1:])
        at_once = stretched_cap(zone, offer, years_at_once(case), frozenset(
            n for n, limit in bounds.items() if limit.reason in YEARLY))
        actions.append(replace(made, cap_at_once=None if made.cap is None
                               else at_once / offer.spread_in[1]))
    return actions


def _top_ups(zone: BlendZone, chosen: tuple[Offer, ...], amounts: Mapping[str, float],
             rates: Mapping[str, float],
             spans: Mapping[str, tuple[float, float]]) -> frozenset[str]:
    """Products whose whole share of the needs lies within the error of those needs.

    Only beside others, which bring most of it, and one at a time, the smallest first: a pass
    for a few pounds that the test cannot tell from none is not worth its spreading.
    """
    left = list(chosen)
    for offer in sorted(chosen, key=lambda o: (amounts[o.id], o.id)):
        others = [o for o in left if o is not offer]
        served = [n for n in zone.wanted() if offer.fraction(n) > 0]
        brought = {n: sum(rates[o.id] * o.spread_in[1] * o.fraction(n) for o in others)
                   for n in served}
        if served and all(n in spans and brought[n] >= max(spans[n][0], TOP_UP * zone.needs[n])
                          for n in served):
            left = others
    return frozenset(o.id for o in chosen if o not in left)


def _span(span: RateRange | None) -> tuple[float | None, float | None]:
    return (None, None) if span is None else spanned(span.low, span.high)


def _cap(zone: BlendZone, offer: Offer) -> float | None:
    """Most of a product alone that keeps every limit of the zone [its rate unit]."""
    most = stretched_cap(zone, offer)
    return None if math.isinf(most) else most / offer.spread_in[1]


def _rounded(case: CaseFile, zone: BlendZone, chosen: tuple[Offer, ...],
             amounts: Mapping[str, float],
             ranges: Mapping[str, RateRange]) -> dict[str, float]:
    """Spreader rates [rate unit]; where all together would cross a limit, a step is taken off.

    The product that brings most of the limited nutrient gives way first.
    """
    rates = {}
    for offer in chosen:
        unit, size = offer.spread_in
        low, high = _span(ranges.get(offer.id))
        rates[offer.id] = round_rate(amounts[offer.id] / size, unit, case.case.decided_in,
                                     _cap(zone, offer), low, high)
    for nutrient, limit in sorted(zone.upper.items()):
        bringing = [o for o in chosen if o.fraction(nutrient) > 0]

        def brought(offer: Offer, nutrient: str = nutrient) -> float:
            return rates[offer.id] * offer.spread_in[1] * offer.fraction(nutrient)

        while bringing and sum(map(brought, bringing)) > limit * (1 + 1e-9) + 1e-9:
            most = max(bringing, key=lambda o: (brought(o), o.id))
            unit, size = most.spread_in
            exact = amounts[most.id] / size
            lower = step_down(rates[most.id], unit, case.case.decided_in)
            if rates[most.id] > exact:
                least = ranges[most.id].low if most.id in ranges else 0.0
                rates[most.id] = lower if lower > 0 and lower >= least else exact
            else:
                bringing.remove(most)
                rates[most.id] = exact
    return rates


def _product(case: CaseFile, lead: NeedFor, met: tuple[NeedFor, ...], offer: Offer,
             blend: Blend, rate: float, span: RateRange | None,
             limits: tuple[Message, ...], cap: float | None, held: list[Result]) -> Action:
    need = lead.need
    unit, size = offer.spread_in
    area, off = kept_off(case, need.place.id, need.area_ac, offer.material)
    limits = (*limits, *(limit_of(s, area) for s in off))
    merged = NeedFor(need, tuple({f.id: f for n in met for f in n.findings}.values()))
    items = [n.need.item for n in met]
    placed = _placement(case, offer, rate * size, need)
    low, high = _span(span)
    action = base(
        case, merged, offer.id,
        say("actions.title_nutrient", where=need.place, rate=rate, unit=unit,
            material=offer.material.name, items=items),
        kind_of_material=offer.material.kind, material_id=offer.id,
        material_name=offer.material.name, exact_rate=blend.amounts[offer.id] / size, cap=cap,
        rate_low=low, rate_high=high, range_printed=span is not None and not span.results,
        how=(say("actions.how_nutrient", kind=offer.material.kind,
                 surface=on_surface(case) or bool(need.params.get("growing")),
                 standing=case.field.tillage == "perennial", place=placed),),
        meets=tuple(items),
        results=(*{r.calculation or id(r): r for n in met for r in n.need.results}.values(),
                 *(span.results if span is not None else ()), *offer.metals, *held),
        limits=limits,
        notes=(*_last_pound(blend, items), *_band(case, offer, rate * size)),
        **spread(offer, rate, unit, area),
    )
    if off:
        action = replace(action, area_ac=area,
                         results=(*action.results, *(r for s in off for r in s.results)))
    if offer.wait is not None:
        assert action.window is not None
        action = replace(action, window=window(case, action.window, offer.wait),
                         cautions=(caution(offer.wait), *action.cautions),
                         results=(*action.results, *offer.wait.results))
    known = {c.key for c in action.cautions}
    extra = tuple(c for n in met if n is not lead for c in n.need.cautions if c.key not in known)
    told = action.cautions + extra
    beside: tuple[Message, Result] | None = None
    if any(c.key == SEED_ROW for c in told) and (
            placed == "either" or (placed == "broadcast" and offer.material.kind == "fertilizer"
                                   and _band_most(case, offer) is None)):
        beside = with_seed(case, need.place.id, offer, rate * size)
    return replace(action, cautions=(*(c for c in told if c.key != SEED_ROW),
                                     *((beside[0],) if beside else ())),
                   results=(*action.results, *((beside[1],) if beside else ())))


def _placement(case: CaseFile, offer: Offer, pounds: float, need: Need) -> str:
    """How a product may be placed: ``broadcast only``, ``band only``, ``either`` or ``broadcast``.

    A band is offered only within a published limit for it, and never for boron.
    """
    if offer.fraction("B") > 0:
        return "broadcast only"
    if need.params.get("placement") == "band":
        return "band only"
    crop = known_crop(case.field.crop)
    if offer.material.kind != "fertilizer" or crop is None or not seeded_in_rows(case, crop):
        return "broadcast"
    most = _band_most(case, offer)
    return "either" if most is not None and pounds <= most else "broadcast"


def _last_pound(blend: Blend, items: list[str]) -> tuple[Message, ...]:
    """What the last pound of each nutrient costs in this mix."""
    priced_items = [{"item": i, "cost": blend.marginal[i]} for i in items
                    if blend.marginal.get(i, 0.0) > 1e-4]
    return (say("actions.note_last_pound", prices=priced_items),) if priced_items else ()


def _band(case: CaseFile, offer: Offer, pounds: float) -> tuple[Message, ...]:
    """Where the rate is more than a band beside the seed may hold, by a published limit."""
    most = _band_most(case, offer)
    if offer.fraction("B") > 0 or most is None or pounds <= most:
        return ()
    return (say("actions.note_band", most=most, crop=case.field.crop),)


def _band_most(case: CaseFile, offer: Offer) -> float | None:
    """Most of a product in a band beside the seed [lb/ac]; None where no limit is published."""
    if offer.material.kind != "fertilizer":
        return None
    try:
        find_crop(case.field.crop)
        limits = {n: band_limit(case.field.crop, n) for n in GRADE}
        both = band_limit(case.field.crop, "N+K2O")
    except UnknownName:
        return None
    shares = {n: offer.fraction(n) for n in GRADE}
    most = [float(limit) / shares[n] for n, limit in limits.items()
            if limit is not None and shares[n] > 0]
    if both is not None and shares["N"] + shares["K2O"] > 0:
        most.append(float(both) / (shares["N"] + shares["K2O"]))
    return min(most, default=None)


def _unmet(case: CaseFile, needs: Mapping[str, NeedFor], uncovered: tuple[str, ...],
           found: Clash | None, usable: tuple[Offer, ...]) -> list[Action]:
    """Needs that no product meets, that limits forbid, or that have no amount."""
    actions = []
    for item, need_for in sorted(needs.items()):
        need = need_for.need
        if need.amount is None:
            actions.append(unspread(case, need_for, need.text))
        elif item in uncovered:
            unpriced = [o.material.name for o in sorted(usable, key=lambda o: o.id)
                        if o.fraction(item) > 0 and o.per_lb is None]
            actions.append(unspread(
                case, need_for, say("actions.title_nutrient_no_product", item=item,
                                    amount=need.amount, where=need.place),
                limits=(say("actions.limit_no_product", item=item, unpriced=unpriced),)))
        elif found is not None and item in found.short:
            give = [{"item": n, "by": by} for n, by in sorted(found.raise_by.items())]
            capped = [o.material.name for o in sorted(usable, key=lambda o: o.id)
                      if o.id in found.capped]
            actions.append(base(
                case, need_for, "short",
                say("actions.title_nutrient_short", item=item, amount=found.short[item],
                    where=need.place),
                exact_rate=found.short[item], results=need.results,
                limits=(say("actions.limit_clash", item=item, give=give, capped=capped),)))
    return actions
