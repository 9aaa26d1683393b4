"""What bounds a manure on one zone, and materials that a limit rather than a price keeps out."""

from collections.abc import Mapping
from dataclasses import replace

from loambrief.actions.blend import BlendZone, FieldMix, field_mix
from loambrief.actions.limits import Limit
from loambrief.actions.offers import ORGANIC, Offer
from loambrief.agronomy.registry import subject
from loambrief.findings.model import say
from loambrief.topics.nutrients.formulas_manure import (
    GALLONS,
    manure_lb_per_1000_gal,
    manure_lb_per_ton,
    manure_rate_limit,
)

SET_BY = {"nitrogen need": "N", "guide rate": "P2O5", "potassium need": "K2O"}
"""Limits of ``manure_rate_limit`` to the nutrient whose bound of the zone it is."""


def manure_limit(offer: Offer, zone: BlendZone, bounds: Mapping[str, Limit]) -> list:
    """A message on what sets the most of a manure here, then the results behind it.

    Empty for other materials, and where the zone sets no limit of phosphorus.
    """
    if offer.material.kind not in ORGANIC or "P2O5" not in bounds:
        return []
    unit, size = offer.spread_in
    pumped = unit == "gal/ac"
    with subject(zone.place, offer.material.name):
        held = {n: manure_lb_per_1000_gal.evaluate(analysis_pct=100 * offer.fraction(n),
                                                   density_lb_gal=size) if pumped
                else manure_lb_per_ton.evaluate(analysis_pct=100 * offer.fraction(n))
                for n in ("N", "P2O5", "K2O")}
        most = manure_rate_limit.evaluate(
            p2o5_lb=held["P2O5"].value, n_lb=held["N"].value or None,
            k2o_lb=held["K2O"].value or None,
            n_need_lb_ac=bounds["N"].amount if "N" in bounds else None,
            p2o5_need_lb_ac=bounds["P2O5"].amount,
            k2o_need_lb_ac=bounds["K2O"].amount if "K2O" in bounds else None)
    if most.value is None:
        return []
    by = SET_BY.get(str(most.details["limit"]))
    message = say("actions.limit_manure", most=float(most.value) * (GALLONS if pumped else 1.0),
                  unit=unit, pumped=pumped, by="need" if by is None else bounds[by].reason,
                  **{n.lower(): float(r.value) for n, r in held.items()})
    return [message, *held.values(), most]


def shut_out(zones: tuple[BlendZone, ...], usable: tuple[Offer, ...],
             mix: FieldMix) -> dict[str, tuple[str, ...]]:
    """Materials that the mix would hold if nothing were limited, and what limits them."""
    free = field_mix(tuple(replace(z, upper={}) for z in zones), usable)
    if not isinstance(free, FieldMix):
        return {}
    found = {}
    for offer in usable:
        if offer.id not in free.orders or offer.id in mix.orders:
            continue
        over = {n for z in zones for n, limit in z.upper.items()
                if offer.fraction(n) * free.blends[z.place.id].amounts.get(offer.id, 0.0)
                > limit + 1e-6}
        if over:
            found[offer.id] = tuple(sorted(over))
    return found
