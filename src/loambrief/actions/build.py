"""Work rather than product: drainage, loosening, leaching, measuring, managing."""

import math
from dataclasses import replace

from loambrief.actions.gather import NeedFor
from loambrief.actions.materials import by_area, unspread
from loambrief.actions.model import Action
from loambrief.actions.offers import Offer, service
from loambrief.case.schema import CaseFile
from loambrief.findings.crop_kinds import cover_fits
from loambrief.findings.model import Need, NeedKind, Status, say
from loambrief.topics.sampling.formulas_error import constant

LABORATORY_TESTS = ("paste extract", "sodium", "soil test", "soil-sample", "buffer ph",
                    "subsoil pH", "surface buffer", "layers again", "surface slice",
                    "shallow calcium test")
"""Measurements that the sampling service on the price list covers."""
COVERS = 0.99
"""Share of an area from which samples stand for all of it."""
SOIL_SAMPLES = ("soil test", "soil-sample")
"""Measurements that want one composite sample for each part of the area."""


def samples_needed(need: Need) -> int:
    """Composite samples for an area: one for each 20 ac begun, else one."""
    if need.item not in SOIL_SAMPLES or not need.area_ac:
        return 1
    return math.ceil(need.area_ac / constant("area_max") - 1e-9)


def one_sampling(actions: list[Action]) -> list[Action]:
    """Tests that are made on samples which are paid for already cost nothing more.

    They wait for those samples, so that they are not promised without them.
    """
    samples = [a for a in actions if a.item == "soil-sample" and a.kind is NeedKind.MEASURE]
    again = sum(a.area_ac or 0.0 for a in samples)
    taken = tuple(sorted(a.id for a in samples))
    return [replace(a, cost_total=0.0, cost_parts=(), depends_on=(*a.depends_on, *taken),
                    notes=(*a.notes, say("actions.note_same_samples", saved=a.cost_total)))
            if a.kind is NeedKind.MEASURE and a.item == "soil test" and a.cost_total
            and again >= COVERS * (a.area_ac or 0.0) else a for a in actions]


def service_action(case: CaseFile, need_for: NeedFor, offers: tuple[Offer, ...]) -> Action:
    """One action for a need that a service, or nothing on the list, answers."""
    need = need_for.need
    if need.kind is NeedKind.ORGANIC_MATTER:
        # feeding the soil may be left out where no finding says that it limits the crop
        limits = any(f.status is Status.LIMITING for f in need_for.findings)
        need = replace(need, optional=not limits)
        need_for = NeedFor(need, need_for.findings)
    does = {NeedKind.LOOSEN: "subsoiling", NeedKind.DRAIN: "drainage", NeedKind.LEACH: "leaching",
            NeedKind.MEASURE: "sampling", NeedKind.ORGANIC_MATTER: "seeding"}.get(need.kind)
    offer = service(offers, does) if does else None
    money: dict = {}
    if need.kind is NeedKind.ORGANIC_MATTER and not cover_fits(case):
        offer = None
    if need.kind is NeedKind.MEASURE and need.item not in LABORATORY_TESTS:
        offer = None
    if offer is not None and need.kind is NeedKind.MEASURE and offer.per_each is not None:
        count = samples_needed(need)
        money = {"cost_total": count * offer.per_each, "price_date": offer.price_date,
                 "cost_parts": (("each", count * offer.per_each),)}
    elif offer is not None and offer.per_ac is not None:
        money = by_area(offer.per_ac, need.area_ac, offer.price_date)
    if offer is not None:
        money |= {"kind_of_material": offer.material.kind, "material_id": offer.id,
                  "material_name": offer.material.name}
    return unspread(case, need_for, need.text, **money)
