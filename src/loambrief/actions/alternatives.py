"""Other ways: mineral products only, local organic sources only, or nothing at all."""

from __future__ import annotations

from loambrief.actions.blend import BlendZone, FieldMix, field_mix, priced
from loambrief.actions.model import Alternative, NotAdvised
from loambrief.actions.offers import Offer, kind_of
from loambrief.findings.model import Finding, Judgement, Message, Product, Verdict, say
from loambrief.units import ACRE_PER_HA, LB_PER_KG, LB_PER_TON

LEAST_SAVING = 1.0
"""Difference for the field from which a product counts as dearer [currency]."""
MINERAL = ("fertilizer", "gypsum", "elemental sulfur")
ORGANIC = ("manure", "compost", "biosolids")


def alternatives(zones: tuple[BlendZone, ...], usable: tuple[Offer, ...], mix: FieldMix,
                 findings: tuple[Finding, ...]) -> tuple[Alternative, ...]:
    """The plan's nutrient mix beside the other ways, each with its cost for the field.

    Returns
    -------
    tuple of Alternative
        Empty where no nutrient is bought. Doing nothing costs no money; what it leaves is
        said, not priced.
    """
    wanted = tuple(z for z in zones if z.wanted())
    if not wanted:
        return ()
    named = {o.id: o.material.name for o in usable}
    found = [Alternative(say("actions.other_plan"), mix.cost,
                         say("actions.other_uses", materials=[named[i] for i in mix.orders]))]
    for name, kinds in (("mineral", MINERAL), ("organic", ORGANIC)):
        some = kind_of(usable, *kinds)
        if not priced(some):
            found.append(Alternative(say(f"actions.other_{name}"), None,
                                     say("actions.other_none_listed")))
            continue
        other = field_mix(wanted, some)
        if isinstance(other, FieldMix):
            note = say("actions.other_uses", materials=[named[i] for i in other.orders])
            found.append(Alternative(say(f"actions.other_{name}"), other.cost, note))
        else:
            found.append(Alternative(
                say(f"actions.other_{name}"), None,
                say("actions.other_impossible", missing=list(other.uncovered),
                    over=list(other.conflicting))))
    worst = [f for f in findings if f.severity >= 2 and any(n.amount for n in f.needs)]
    found.append(Alternative(say("actions.other_nothing"), 0.0,
                             say("actions.other_nothing_note", count=len(worst))))
    return tuple(found)


def beaten(offer: Offer, zones: tuple[BlendZone, ...], usable: tuple[Offer, ...],
           mix: FieldMix) -> float | None:
    """How much more the field costs if this product does the work of its rivals.

    Returns
    -------
    float or None
        Currency for the field; None where it cannot do that work.
    """
    serves = {n for z in zones for n in z.wanted() if offer.fraction(n) > 0}
    rivals = {o.id for o in usable if o.id in mix.orders
              and any(o.fraction(n) > 0 for n in serves)}
    other = field_mix(zones, tuple(o for o in usable if o.id not in rivals))
    if not isinstance(other, FieldMix) or offer.id not in other.orders:
        return None
    return other.cost - mix.cost


def not_advised(findings: tuple[Finding, ...], materials: tuple[Judgement, ...],
                on_offer: tuple[Offer, ...], system: str = "us") -> tuple[NotAdvised, ...]:
    """What not to spend money on: the findings' own list, then materials judged not needed.

    ``system`` is the reader's ("us" or "si"): savings are said per ton and acre, or per tonne
    and hectare.
    """
    by_id = {o.id: o for o in on_offer}
    refused = {j.key: j for j in materials if j.verdict is Verdict.NOT_NEEDED}
    listed: list[NotAdvised] = []
    seen: set[tuple[str, str | None]] = set()
    for finding in sorted(findings, key=lambda f: f.id):
        for what, why in finding.advise_against:
            product = _product(what)
            if (what.key, product) in seen or (product in by_id and product not in refused):
                continue
            seen.add((what.key, product))
            saved = _unit_saving(by_id[product], system) if product in by_id else None
            listed.append(NotAdvised(what, why, saved, product if product in by_id else None,
                                     finding.sources, what.key))
    named = {n.material_id for n in listed}
    for judgement in refused.values():
        if judgement.key in named:
            continue
        offer = by_id[judgement.key]
        dearer = judgement.params.get("amount")
        saved = (say("actions.saved_total", amount=dearer) if dearer is not None
                 else _unit_saving(offer, system))
        sources = ("cfr-40-503-13",) if offer.most_lb_ac == 0 else ()
        listed.append(NotAdvised(
            say("actions.not_needed", material=Product(offer.id, offer.material.name)),
            judgement.why, saved, offer.id, sources, judgement.reason))
    return tuple(listed)


def _product(message: Message) -> str | None:
    """Id of the material that a message is about."""
    return next((v.id for v in message.params.values() if isinstance(v, Product)), None)


def _unit_saving(offer: Offer, system: str) -> Message | None:
    """What each ton and acre not bought saves; None without a price."""
    if offer.per_lb is None and offer.per_ac is None:
        return None
    ton, acre = (1000.0 * LB_PER_KG, ACRE_PER_HA) if system == "si" else (LB_PER_TON, 1.0)
    return say("actions.saved_unit", si=system == "si",
               per_ton=None if offer.per_lb is None else offer.per_lb * ton,
               per_ac=None if offer.per_ac is None else offer.per_ac * acre)
