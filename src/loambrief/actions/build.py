"""Work rather than product: drainage, loosening, leaching, measuring, managing."""

from __future__ import annotations

from loambrief.actions.gather import NeedFor
from loambrief.actions.materials import base
from loambrief.actions.model import Action
from loambrief.actions.offers import Offer, service
from loambrief.case.schema import CaseFile
from loambrief.findings.model import NeedKind

LABORATORY_TESTS = ("paste extract", "sodium", "soil test", "soil-sample", "buffer ph",
                    "subsoil pH", "surface buffer", "layers again", "surface slice")
"""Measurements that the sampling service on the price list covers."""


def service_action(case: CaseFile, need_for: NeedFor, offers: tuple[Offer, ...]) -> Action:
    """One action for a need that a service, or nothing on the list, answers."""
    need = need_for.need
    does = {NeedKind.LOOSEN: "subsoiling", NeedKind.DRAIN: "drainage", NeedKind.LEACH: "leaching",
            NeedKind.MEASURE: "sampling", NeedKind.ORGANIC_MATTER: "seeding"}.get(need.kind)
    offer = service(offers, does) if does else None
    money: dict = {}
    if need.kind is NeedKind.MEASURE and need.item not in LABORATORY_TESTS:
        offer = None
    if offer is not None and need.kind is NeedKind.MEASURE and offer.per_each is not None:
        money = {"cost_total": offer.per_each, "price_date": offer.price_date,
                 "cost_parts": (("each", offer.per_each),)}
    elif offer is not None and offer.per_ac is not None:
        money = {
            "cost_per_ac": offer.per_ac,
            "cost_total": None if need.area_ac is None else offer.per_ac * need.area_ac,
            "cost_parts": (("service", offer.per_ac),),
            "price_date": offer.price_date,
        }
    return base(
        case, need_for, "", need.text,
        kind_of_material=offer.material.kind if offer else None,
        material_id=offer.id if offer else None,
        material_name=offer.material.name if offer else None,
        exact_rate=need.amount, rate_low=need.low, rate_high=need.high,
        results=need.results, **money,
    )
