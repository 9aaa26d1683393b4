"""A verdict on every material on offer, from the verdicts on what it would supply.

A material is advised against only on evidence: everything it is sold for is judged and not
needed, or it crosses a limit. One that does the plan's work for more money is no fault: it may
be taken instead (*optional*), and what that costs is said with the plan's materials.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from loambrief.actions.alternatives import LEAST_SAVING, beaten
from loambrief.actions.constraints import FILLED_BY, Ruling
from loambrief.actions.mix import NutrientPlan
from loambrief.actions.model import Action
from loambrief.actions.offers import ANALYSIS_NUTRIENTS, Offer
from loambrief.findings import model as m

SOLD_FOR = 0.5
"""A nutrient of at least this share of the largest one is what a product is bought for (ours)."""
TESTED_ENOUGH = {"enough_in_soil", "class_enough", "test_adequate", "test_high"}
"""Verdicts that rest on a test of the nutrient itself."""
AMENDMENT_OF = {"lime": "lime", "gypsum": "gypsum", "elemental sulfur": "sulfur"}


def sold_for(offer: Offer) -> tuple[str, ...]:
    """Nutrients and amendments that a material is bought for.

    All that an organic material holds counts; of a mineral one, what makes up at least half
    of its largest share, so that the nitrogen in an ammonium phosphate does not decide.
    """
    kind = offer.material.kind
    if kind in AMENDMENT_OF:
        return (AMENDMENT_OF[kind],)
    shares = {n: offer.fraction(n) for n in ANALYSIS_NUTRIENTS if offer.fraction(n) > 0}
    if kind != "fertilizer" or not shares:
        return tuple(shares)
    most = max(shares.values())
    return tuple(n for n, share in shares.items() if share >= SOLD_FOR * most)


def material_verdicts(offers: Sequence[Offer], judgements: Sequence[m.Judgement],
                      actions: Sequence[Action], fed: NutrientPlan,
                      usable: tuple[Offer, ...],
                      aside: Sequence[Action] = (),
                      barred: Mapping[str, Ruling] = MappingProxyType({})
                      ) -> tuple[m.Judgement, ...]:
    """One verdict for each material and service on offer, by id.

    Parameters
    ----------
    usable : tuple of Offer
        Those that the nutrient mix could choose from.
    aside : sequence of Action
        What the adviser set aside.
    barred : mapping of id to Ruling
        Those that a constraint of the farm rules out.
    """
    return tuple(_material(o, judgements, actions, fed, usable, aside, barred.get(o.id))
                 for o in sorted(offers, key=lambda o: o.id))


def _material(offer: Offer, judgements: Sequence[m.Judgement], actions: Sequence[Action],
              fed: NutrientPlan, usable: tuple[Offer, ...],
              aside: Sequence[Action], barred: Ruling | None) -> m.Judgement:
    def verdict(value: m.Verdict, reason: str, settled_by: str = "",
                **params: object) -> m.Judgement:
        return m.Judgement(m.JudgedKind.MATERIAL, offer.id, m.WHOLE_FIELD, value, reason,
                           {"material": m.Product(offer.id, offer.material.name), **params},
                           settled_by)

    def needed(by: Sequence[Action]) -> m.Verdict:
        return m.Verdict.OPTIONAL if all(a.optional for a in by) else m.Verdict.NEEDED

    used = [a for a in actions if a.material_id == offer.id]
    if used:
        found = needed(used)
        return verdict(found, "material_used" if found is m.Verdict.NEEDED else "material_optional")
    if barred is not None and barred.settled:
        return replace(verdict(m.Verdict.NOT_NEEDED, f"material_{barred.key}",
                               section=barred.section, said=barred.reason),
                       sources=barred.sources)
    if barred is not None:
        return replace(verdict(m.Verdict.NOT_JUDGED, f"material_{barred.key}", "certifier",
                               section=barred.section), sources=barred.sources)
    unused = [a for a in aside if a.material_id == offer.id]
    if unused:
        return verdict(needed(unused), "material_set_aside")
    if offer.most_lb_ac == 0:
        return verdict(m.Verdict.NOT_NEEDED, "material_metals")
    if offer.wait is not None and offer.days_to_harvest is not None:
        return verdict(m.Verdict.NOT_NEEDED, "material_interval", days=offer.days_to_harvest,
                       interval=offer.wait.days, rule=offer.wait.rule, last=offer.wait.last)
    holds = sold_for(offer)
    asked = _asked(judgements, holds)
    if not holds or any(n not in asked for n in holds):
        return verdict(m.Verdict.NOT_JUDGED, "material_no_question", "adviser")
    open_ones = [n for n in holds
                 if m.Verdict.NOT_JUDGED in asked[n] and m.Verdict.NEEDED not in asked[n]]
    enough = {j.key for j in judgements if j.verdict is m.Verdict.NOT_NEEDED}
    unrated = {j.key for j in judgements if j.reason == "rate_not_given"} - enough
    over = sorted({*_over(offer, fed), *fed.shut_out.get(offer.id, ())} - unrated)
    if open_ones and over:
        return verdict(m.Verdict.NOT_JUDGED, "material_limited", "adviser", items=over,
                       open=open_ones, water=fed.near_water)
    if open_ones:
        return verdict(m.Verdict.NOT_JUDGED, "material_open", "adviser", items=open_ones)
    wanted = [n for n in holds if m.Verdict.NEEDED in asked[n] or m.Verdict.OPTIONAL in asked[n]]
    if not wanted and offer.material.kind in AMENDMENT_OF:
        return verdict(m.Verdict.NOT_NEEDED, "material_amendment", items=list(holds),
                       why=_reasons(judgements, holds)[0].why)
    if not wanted:
        reasons = _reasons(judgements, holds)
        if all(j.reason in TESTED_ENOUGH for j in reasons):
            return verdict(m.Verdict.NOT_NEEDED, "material_enough", items=list(holds))
        return verdict(m.Verdict.NOT_NEEDED, "material_needless", items=list(holds),
                       why=[{"key": j.key, "why": j.why} for j in reasons])
    if over:
        return verdict(m.Verdict.NOT_NEEDED, "material_over_limit", items=over,
                       water=fed.near_water)
    if offer.material.kind in AMENDMENT_OF:
        return _amendment(offer, actions, verdict)
    if offer in usable and any(offer.fraction(n) > 0 for z in fed.zones for n in z.wanted()):
        dearer = beaten(offer, fed.zones, usable, fed.mix)
        if dearer is not None and dearer >= LEAST_SAVING:
            return verdict(m.Verdict.OPTIONAL, "material_dearer", amount=dearer)
        if dearer is not None:
            return verdict(m.Verdict.OPTIONAL, "material_as_good")
    if offer.per_lb is None:
        return verdict(m.Verdict.NOT_JUDGED, "material_no_price", "price")
    if all(m.Verdict.NEEDED not in asked[n] for n in wanted):
        return verdict(m.Verdict.OPTIONAL, "material_only_optional", items=wanted)
    return verdict(m.Verdict.NOT_JUDGED, "material_unfit", "adviser", items=wanted)


def _amendment(offer: Offer, actions: Sequence[Action], verdict) -> m.Judgement:
    """An amendment that is asked for, while another material on the list does it."""
    served = any(FILLED_BY.get(a.kind) == offer.material.kind and a.material_id is not None
                 for a in actions)
    if offer.per_lb is None:
        return verdict(m.Verdict.NOT_JUDGED, "material_no_price", "price")
    if served:
        return verdict(m.Verdict.OPTIONAL, "material_not_first", items=list(sold_for(offer)))
    return verdict(m.Verdict.NOT_JUDGED, "material_unfit", "adviser", items=list(sold_for(offer)))


def _reasons(judgements: Sequence[m.Judgement], holds: Sequence[str]) -> list[m.Judgement]:
    """The verdicts that speak against what a material is sold for, each reason once."""
    found = {(j.key, j.reason): j for j in reversed(judgements)
             if j.key in holds and j.verdict is m.Verdict.NOT_NEEDED}
    return [found[key] for key in sorted(found, key=lambda k: (holds.index(k[0]), k[1]))]


def _asked(judgements: Sequence[m.Judgement],
           holds: Sequence[str]) -> Mapping[str, set[m.Verdict]]:
    asked: dict[str, set[m.Verdict]] = {}
    for judgement in judgements:
        if judgement.key in holds:
            asked.setdefault(judgement.key, set()).add(judgement.verdict)
    return asked


def _over(offer: Offer, fed: NutrientPlan) -> list[str]:
    """Nutrients of a material that a zone which needs it must not get any more of."""
    return sorted({n for z in fed.zones if any(offer.fraction(w) > 0 for w in z.wanted())
                   for n, limit in z.upper.items() if offer.fraction(n) > 0 and limit <= 0})
