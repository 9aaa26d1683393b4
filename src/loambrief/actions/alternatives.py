"""Other ways: mineral products only, local organic sources only, or nothing at all."""

from loambrief.actions.blend import BlendZone, FieldMix, field_mix, priced
from loambrief.actions.model import Alternative, NotAdvised
from loambrief.actions.offers import ORGANIC, Offer, kind_of
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.units import ACRE_PER_HA, LB_PER_KG, LB_PER_TON

ABOUT = {"nutrients.against_p": "P2O5", "nutrients.against_k": "K2O", "acidity.avoid_lime": "lime",
         "salinity.avoid_gypsum": "gypsum", "acidity.avoid_sulfur": "sulfur"}
"""What a finding's advice not to buy is about, where it is a nutrient or an amendment."""
LEAST_SAVING = 1.0
"""Difference for the field from which a product counts as dearer [currency]."""
MINERAL = ("fertilizer", "gypsum", "elemental sulfur")


def alternatives(zones: tuple[BlendZone, ...], usable: tuple[Offer, ...], mix: FieldMix,
                 findings: tuple[m.Finding, ...]) -> tuple[Alternative, ...]:
    """The plan's nutrient mix beside the other ways, each with its cost for the field.

    Empty where no nutrient is bought. Doing nothing costs no money; what it leaves is said, not
    priced.
    """
    wanted = tuple(z for z in zones if z.wanted())
    if not wanted:
        return ()
    named = {o.id: o.material.name for o in usable}
    found = [Alternative(say("actions.other_plan"), mix.cost,
                         say("actions.other_uses", materials=[named[i] for i in mix.orders]))]
    for name, kinds in (("mineral", MINERAL), ("organic", ORGANIC)):
        some, cost = kind_of(usable, *kinds), None
        if not priced(some):
            note = say("actions.other_none_listed")
        elif isinstance(other := field_mix(wanted, some), FieldMix):
            cost = other.cost
            note = say("actions.other_uses", materials=[named[i] for i in other.orders])
        else:
            note = say("actions.other_impossible", missing=list(other.uncovered),
                       over=list(other.conflicting))
        found.append(Alternative(say(f"actions.other_{name}"), cost, note))
    worst = [f for f in findings if f.severity >= 2 and any(n.amount for n in f.needs)]
    found.append(Alternative(say("actions.other_nothing"), 0.0,
                             say("actions.other_nothing_note", count=len(worst))))
    return tuple(found)


def beaten(offer: Offer, zones: tuple[BlendZone, ...], usable: tuple[Offer, ...],
           mix: FieldMix) -> float | None:
    """How much more the field costs if this product does the work of its rivals [currency]; None
    where it cannot.
    """
    serves = {n for z in zones for n in z.wanted() if offer.fraction(n) > 0}
    rivals = {o.id for o in usable if o.id in mix.orders
              and any(o.fraction(n) > 0 for n in serves)}
    other = field_mix(zones, tuple(o for o in usable if o.id not in rivals))
    if not isinstance(other, FieldMix) or offer.id not in other.orders:
        return None
    return other.cost - mix.cost


def practices(findings: tuple[m.Finding, ...]) -> tuple[m.Judgement, ...]:
    """Verdicts on what findings advise against that is no nutrient, amendment or listed product."""
    found: dict[str, m.Judgement] = {}
    for finding in sorted(findings, key=lambda f: f.id):
        for what, _ in finding.advise_against:
            if what.key not in ABOUT and _product(what) is None:
                found.setdefault(what.key, m.Judgement(
                    m.JudgedKind.PRACTICE, what.key, m.WHOLE_FIELD, m.Verdict.NOT_NEEDED,
                    "finding_against", finding_ids=(finding.id,), sources=finding.sources))
    return tuple(found.values())


def not_advised(findings: tuple[m.Finding, ...], judged: tuple[m.Judgement, ...],
                materials: tuple[m.Judgement, ...], on_offer: tuple[Offer, ...],
                system: str = "us") -> tuple[NotAdvised, ...]:
    """What not to spend money on: the findings' own list, then materials judged not needed.

    Advice about a nutrient or an amendment stands only where that is judged not needed. Savings
    are said per ton and acre, or per tonne and hectare for readers of ``system`` "si".
    """
    by_id = {o.id: o for o in on_offer}
    refused = {j.key: j for j in materials if j.verdict is m.Verdict.NOT_NEEDED}
    settled = {j.key for j in judged if j.verdict is m.Verdict.NOT_NEEDED}
    listed: list[NotAdvised] = []
    seen: set[tuple[str, str | None]] = set()
    for finding in sorted(findings, key=lambda f: f.id):
        for what, why in finding.advise_against:
            product = _product(what)
            if (what.key, product) in seen or (product in by_id and product not in refused):
                continue
            if what.key in ABOUT and ABOUT[what.key] not in settled:
                continue
            seen.add((what.key, product))
            saved = _unit_saving(by_id[product], system) if product in by_id else None
            listed.append(NotAdvised(what, why, saved, product if product in by_id else None,
                                     finding.sources,
                                     ABOUT.get(what.key, "" if product in by_id else what.key)))
    named = {n.material_id for n in listed}
    for judgement in refused.values():
        if judgement.key in named:
            continue
        offer = by_id[judgement.key]
        saved = _unit_saving(offer, system)
        sources = ("cfr-40-503-13",) if offer.most_lb_ac == 0 else ()
        listed.append(NotAdvised(
            say("actions.not_needed", material=m.Product(offer.id, offer.material.name)),
            judgement.why, saved, offer.id, sources))
    return tuple(listed)


def _product(message: m.Message) -> str | None:
    """Id of the material that a message is about."""
    return next((v.id for v in message.params.values() if isinstance(v, m.Product)), None)


def _unit_saving(offer: Offer, system: str) -> m.Message | None:
    """What each ton and acre not bought saves; None without a price."""
    if offer.per_lb is None and offer.per_ac is None:
        return None
    ton, acre = (1000.0 * LB_PER_KG, ACRE_PER_HA) if system == "si" else (LB_PER_TON, 1.0)
    return say("actions.saved_unit", si=system == "si",
               per_ton=None if offer.per_lb is None else offer.per_lb * ton,
               per_ac=None if offer.per_ac is None else offer.per_ac * acre)
