"""Single actions out of needs: which product, how much, at what cost."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from loambrief.actions.blend import Blend, least_cost
from loambrief.actions.gather import NeedFor
from loambrief.actions.model import Action
from loambrief.actions.offers import Offer, kind_of, service
from loambrief.actions.rounding import round_rate
from loambrief.actions.windows import window
from loambrief.agronomy.acidity import lime_product_rate
from loambrief.agronomy.registry import subject
from loambrief.case.schema import CaseFile
from loambrief.findings.model import Message, NeedKind, say

LB_PER_TON = 2000.0
MAGNESIUM_LIME_PCT = 6.0
"""A lime with at least this much Mg counts as dolomitic (dolomitic aglime 6-13 % Mg,
typical analysis, from memory, unverified)."""

LABORATORY_TESTS = ("paste extract", "sodium", "soil test", "buffer ph", "surface slice")
"""Measurements that the sampling service on the price list covers."""

CAUTIONS: Mapping[str, tuple[str, ...]] = {
    "lime": ("caution_lime_dust", "caution_spread_wind"),
    "gypsum": ("caution_gypsum_dust",),
    "elemental sulfur": ("caution_sulfur_dust",),
    "fertilizer": ("caution_dry_fertilizer", "caution_water_setback"),
    "manure": ("caution_manure", "caution_water_setback"),
    "compost": ("caution_compost",),
    "cover crop": (),
    "service": (),
    "other": (),
}


def _id(need_for: NeedFor, suffix: str = "") -> str:
    need = need_for.need
    parts = [need.kind.value.replace(" ", "-"), need.item, need.where.split(" ")[0], suffix]
    return ".".join(p.lower().replace(" ", "-") for p in parts if p)


def _base(case: CaseFile, need_for: NeedFor, suffix: str, title: Message, **more) -> Action:
    need = need_for.need
    kind = more.pop("kind_of_material", None)
    cautions = need.cautions + tuple(say(f"actions.{name}") for name in CAUTIONS.get(kind, ()))
    return Action(
        id=_id(need_for, suffix),
        kind=need.kind,
        item=need.item,
        title=title,
        need=need,
        finding_ids=need_for.finding_ids,
        topics=tuple(dict.fromkeys(f.topic for f in need_for.findings)),
        where=need.where,
        area_ac=need.area_ac,
        severity=need_for.severity,
        confidence=need_for.confidence,
        window=more.pop("window", None) or window(case, need.kind),
        cautions=cautions,
        material_kind=kind,
        **more,
    )


def _priced(offer: Offer, rate: float, unit: str, area_ac: float | None) -> dict:
    """Cost fields of a rate of one product."""
    per_unit = LB_PER_TON if unit == "ton/ac" else 1.0
    parts: list[tuple[str, float]] = []
    if offer.product_per_lb is not None:
        parts.append(("product", offer.product_per_lb * per_unit * rate))
    if offer.freight_per_lb is not None:
        parts.append(("freight", offer.freight_per_lb * per_unit * rate))
    if offer.per_ac is not None:
        parts.append(("spreading", offer.per_ac))
    if offer.product_per_lb is None:
        return {"cost_parts": tuple(parts), "price_date": offer.price_date}
    per_ac = sum(amount for _, amount in parts)
    return {
        "cost_parts": tuple(parts),
        "cost_per_ac": per_ac,
        "cost_total": None if area_ac is None else per_ac * area_ac,
        "price_date": offer.price_date,
    }


def lime_actions(case: CaseFile, need_for: NeedFor, offers: tuple[Offer, ...],
                 magnesium_wanted: bool) -> tuple[Action, ...]:
    """Cheapest lime for the need, split over passes where one pass may not carry it."""
    need = need_for.need
    if need.amount is None:
        return (_base(case, need_for, "", say("actions.title_lime_unknown", where=need.where)),)
    candidates = []
    for offer in kind_of(offers, "lime"):
        analysis = offer.material.analysis
        if analysis is None or analysis.cce is None or analysis.fineness is None:
            continue
        mg = analysis.magnesium.value if analysis.magnesium else 0.0
        moisture = analysis.moisture.value if analysis.moisture else 0.0
        factor = lime_product_rate.function(
            requirement=1.0, cce_pct=analysis.cce.value, fineness_pct=analysis.fineness.value,
            moisture_pct=moisture,
        )
        factor = factor.value if hasattr(factor, "value") else factor
        cost = math.inf
        if offer.per_lb is not None:
            cost = need.amount * factor * LB_PER_TON * offer.per_lb + (offer.per_ac or 0.0)
        unwanted = magnesium_wanted and mg < MAGNESIUM_LIME_PCT
        candidates.append((unwanted, cost, offer.id, offer, moisture))
    passes = max(1, math.ceil(need.amount / need.cap - 1e-9)) if need.cap else 1
    per_pass = need.amount / passes
    if not candidates:
        return (_base(case, need_for, "", say("actions.title_lime_no_product", where=need.where,
                                              amount=need.amount),
                      exact_rate=per_pass, passes=passes, results=need.results),)
    _, _, _, offer, moisture = min(candidates)
    analysis = offer.material.analysis
    actions = []
    for number in range(1, passes + 1):
        with subject(f"{need.where}: {offer.material.name}"):
            inputs = {"cce_pct": analysis.cce.value, "fineness_pct": analysis.fineness.value,
                      "moisture_pct": moisture}
            exact = lime_product_rate.evaluate(requirement=per_pass, **inputs)
            scale = exact.value / per_pass
        cap = need.cap * scale if need.cap else None
        rate = round_rate(exact.value, "ton/ac", case.case.units, cap)
        first = _id(need_for, "1" if passes > 1 else "")
        actions.append(
            _base(
                case, need_for, str(number) if passes > 1 else "",
                say("actions.title_lime", where=need.where, rate=rate,
                    material=offer.material.name, number=number, passes=passes),
                kind_of_material="lime",
                material_id=offer.id, material_name=offer.material.name,
                rate=rate, exact_rate=exact.value, rate_unit="ton/ac",
                rate_low=None if need.low is None else need.low / passes * scale,
                rate_high=None if need.high is None else need.high / passes * scale,
                pass_number=number, passes=passes,
                window=window(case, need.kind, number),
                depends_on=(first,) if number > 1 else (),
                how=(say("actions.how_lime", surface=case.field.tillage in
                         ("no-till", "strip-till", "perennial"), passes=passes),),
                supplies=_supplies(offer, rate * LB_PER_TON),
                results=(*need.results, exact),
                limits=(say("actions.limit_pass", cap=cap, passes=passes),) if passes > 1 else (),
                **_priced(offer, rate, "ton/ac", need.area_ac),
            )
        )
    return tuple(actions)


def gypsum_action(case: CaseFile, need_for: NeedFor, offers: tuple[Offer, ...]) -> Action:
    """Gypsum as sold for a need of pure gypsum."""
    need = need_for.need
    usable = [o for o in kind_of(offers, "gypsum")
              if o.material.analysis and o.material.analysis.gypsum]
    if need.amount is None or not usable:
        return _base(case, need_for, "", say("actions.title_gypsum_no_product", where=need.where,
                                             amount=need.amount),
                     exact_rate=need.amount, results=need.results)

    def scale_of(offer: Offer) -> float:
        analysis = offer.material.analysis
        dry = 1.0 - (analysis.moisture.value / 100 if analysis.moisture else 0.0)
        return 1.0 / (analysis.gypsum.value / 100 * dry)

    def cost_of(offer: Offer) -> float:
        if offer.per_lb is None:
            return math.inf
        return need.amount * scale_of(offer) * LB_PER_TON * offer.per_lb + (offer.per_ac or 0.0)

    offer = min(usable, key=lambda o: (cost_of(o), o.id))
    scale = scale_of(offer)
    cap = need.cap * scale if need.cap else None
    passes = max(1, math.ceil(need.amount / need.cap - 1e-9)) if need.cap else 1
    exact = need.amount * scale / passes
    rate = round_rate(exact, "ton/ac", case.case.units, cap)
    return _base(
        case, need_for, "",
        say("actions.title_gypsum", where=need.where, rate=rate, material=offer.material.name,
            passes=passes),
        kind_of_material="gypsum", material_id=offer.id, material_name=offer.material.name,
        rate=rate, exact_rate=exact, rate_unit="ton/ac", passes=passes,
        rate_low=None if need.low is None else need.low * scale / passes,
        rate_high=None if need.high is None else need.high * scale / passes,
        how=(say("actions.how_gypsum", passes=passes),),
        supplies=_supplies(offer, rate * LB_PER_TON),
        results=need.results,
        **_priced(offer, rate, "ton/ac", need.area_ac),
    )


def nutrient_actions(case: CaseFile, zone: tuple[NeedFor, ...], offers: tuple[Offer, ...],
                     upper: Mapping[str, float]) -> tuple[Action, ...]:
    """One action per product of the least-cost mix for one zone."""
    amounts = {n.need.item: n.need.amount for n in zone if n.need.amount is not None}
    usable = kind_of(offers, "fertilizer", "manure", "compost", "gypsum", "elemental sulfur")
    blend = least_cost(amounts, usable, upper)
    uncovered: tuple[str, ...] = ()
    if not isinstance(blend, Blend):
        uncovered = blend.uncovered or tuple(amounts)
        blend = least_cost({k: v for k, v in amounts.items() if k not in uncovered}, usable, upper)
    actions: list[Action] = []
    by_item = {n.need.item: n for n in zone}
    if isinstance(blend, Blend):
        for offer_id, pounds in sorted(blend.amounts.items(), key=lambda kv: (-kv[1], kv[0])):
            offer = next(o for o in usable if o.id == offer_id)
            met = [item for item in amounts if offer.fraction(item) > 0 and item not in uncovered]
            lead = by_item[max(met, key=lambda item: pounds * offer.fraction(item))]
            actions.append(_nutrient_action(case, lead, tuple(by_item[i] for i in met), offer,
                                            pounds, blend))
    for item in uncovered:
        need_for = by_item[item]
        actions.append(
            _base(case, need_for, "", say("actions.title_nutrient_no_product", item=item,
                                          amount=need_for.need.amount, where=need_for.need.where),
                  exact_rate=need_for.need.amount, results=need_for.need.results)
        )
    for need_for in zone:
        if need_for.need.amount is None:
            actions.append(_base(case, need_for, "", need_for.need.text,
                                 results=need_for.need.results))
    return tuple(actions)


def _nutrient_action(case, lead: NeedFor, met: tuple[NeedFor, ...], offer: Offer, pounds: float,
                     blend: Blend) -> Action:
    need = lead.need
    bulky = offer.material.kind in ("manure", "compost", "gypsum")
    unit = "ton/ac" if bulky else "lb/ac"
    exact = pounds / LB_PER_TON if bulky else pounds
    caps = [n.need.cap / offer.fraction(n.need.item) for n in met if n.need.cap]
    cap = min(caps) / (LB_PER_TON if bulky else 1.0) if caps else None
    rate = round_rate(exact, unit, case.case.units, cap)
    low = high = None
    if need.low is not None and need.high is not None and need.amount:
        low, high = exact * need.low / need.amount, exact * need.high / need.amount
    merged = NeedFor(need, tuple({f.id: f for n in met for f in n.findings}.values()))
    action = _base(
        case, merged, offer.id,
        say("actions.title_nutrient", where=need.where, rate=rate, unit=unit,
            material=offer.material.name, items=[n.need.item for n in met]),
        kind_of_material=offer.material.kind, material_id=offer.id,
        material_name=offer.material.name, rate=rate, exact_rate=exact, rate_unit=unit,
        rate_low=low, rate_high=high,
        how=(say("actions.how_nutrient", kind=offer.material.kind,
                 surface=case.field.tillage in ("no-till", "strip-till", "perennial")),),
        supplies=_supplies(offer, rate * (LB_PER_TON if bulky else 1.0)),
        results=tuple({r.calculation or id(r): r for n in met for r in n.need.results}.values()),
        limits=tuple(say("actions.limit_upper", item=item) for item in blend.binding),
        **_priced(offer, rate, unit, need.area_ac),
    )
    extra = tuple(c for n in met if n is not lead for c in n.need.cautions
                  if c.key not in {k.key for k in action.cautions})
    return replace(action, cautions=action.cautions + extra)


def _supplies(offer: Offer, pounds: float) -> dict[str, float]:
    found = {}
    for nutrient in ("N", "P2O5", "K2O", "Ca", "Mg", "S", "Zn", "B", "Mn", "Cu", "Fe"):
        fraction = offer.fraction(nutrient)
        if fraction > 0:
            found[nutrient] = fraction * pounds
    return found


def service_action(case: CaseFile, need_for: NeedFor, offers: tuple[Offer, ...]) -> Action:
    """Work rather than product: drainage, loosening, leaching, measuring, managing."""
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
    return _base(
        case, need_for, "", need.text,
        kind_of_material=offer.material.kind if offer else None,
        material_id=offer.id if offer else None,
        material_name=offer.material.name if offer else None,
        exact_rate=need.amount, rate_low=need.low, rate_high=need.high,
        results=need.results, **money,
    )
