"""What a rate of a material costs and brings, and the action made of it."""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import replace

from loambrief.actions.gather import NeedFor
from loambrief.actions.model import Action
from loambrief.actions.offers import ANALYSIS_NUTRIENTS, Offer
from loambrief.actions.rounding import spanned
from loambrief.actions.windows import window
from loambrief.agronomy.intervals import log_ends
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Material
from loambrief.findings.model import Message, Need, say
from loambrief.topics.nutrients.seed_row import seed_row_caution
from loambrief.topics.sampling.formulas_error import answer_range, material_error_pct
from loambrief.units import LB_PER_TON

NOTHING: Mapping = {"cost_parts": (), "cost_per_ac": 0.0, "cost_total": 0.0}
"""What a rate of 0 costs: nothing is bought, and nobody drives."""
_NOT_PLAIN = re.compile(r"[^\w]+")
GRADE = ("N", "P2O5", "K2O")
SURFACE_TILLAGE = ("no-till", "strip-till", "perennial")
CAUTIONS: Mapping[str, tuple[str, ...]] = {
    "lime": ("caution_lime_dust", "caution_spread_wind"),
    "gypsum": ("caution_gypsum_dust",),
    "elemental sulfur": ("caution_sulfur_dust",),
    "fertilizer": ("caution_dry_fertilizer", "caution_water_setback"),
    "manure": ("caution_manure", "caution_water_setback"),
    "biosolids": ("caution_biosolids", "caution_water_setback"),
    "compost": ("caution_compost",),
    "cover crop": (),
    "service": (),
    "other": (),
}

DUST = frozenset({"caution_lime_dust", "caution_gypsum_dust", "caution_sulfur_dust"})
DUST_OF_FINDING = frozenset({"acidity.caution_dust", "salinity.caution_gypsum_dust"})
WATER = frozenset({"caution_water_setback"})
WATER_OF_FINDING = frozenset({"nutrients.caution_p_water", "nutrients.caution_p_near_water"})
"""Cautions on one hazard, by the material and by the finding: one of the two is enough."""


def action_id(need_for: NeedFor, suffix: str = "") -> str:
    """Stable id from keys alone: kind, item, place and product or pass, with dots between.

    A dot inside the id of a place becomes two underscores, so that no two places share a name.
    """
    need = need_for.need
    parts = [need.kind.value, need.item, need.place.id.replace(".", "__"), suffix]
    return ".".join(_NOT_PLAIN.sub("-", p.lower()).strip("-") for p in parts if p)


def distinct(actions: list[Action]) -> list[Action]:
    """Number actions that would bear one id, in order of their places."""
    taken: dict[str, list[Action]] = {}
    for action in actions:
        taken.setdefault(action.id, []).append(action)
    named = []
    for name, group in taken.items():
        for number, action in enumerate(sorted(group, key=lambda a: a.place.id), 1):
            named.append(action if number == 1 else replace(action, id=f"{name}.{number}"))
    return named


def base(case: CaseFile, need_for: NeedFor, suffix: str, title: Message, **more) -> Action:
    """An action with all that its need says already.

    One caution a hazard: the material's own on dust, which names what to wear; the
    finding's on water, which names the place.
    """
    need = need_for.need
    kind = more.pop("kind_of_material", None)
    general = CAUTIONS.get(kind, ())
    dusty = not DUST.isdisjoint(general)
    watery = any(c.key in WATER_OF_FINDING for c in need.cautions)
    cautions = tuple(c for c in need.cautions if not (dusty and c.key in DUST_OF_FINDING)) + tuple(
        say(f"actions.{name}") for name in general if not (watery and name in WATER)
    )
    return Action(
        id=action_id(need_for, suffix),
        kind=need.kind,
        item=need.item,
        title=title,
        need=need,
        finding_ids=need_for.finding_ids,
        topics=tuple(dict.fromkeys(f.topic for f in need_for.findings)),
        place=need.place,
        area_ac=need.area_ac,
        severity=need_for.severity,
        confidence=need_for.confidence,
        distance=need_for.distance,
        window=more.pop("window", None) or window(
            case, need.kind, item=need.item, when=str(need.params.get("when", "")),
            splits=int(str(need.params.get("splits", 1)))),
        cautions=cautions,
        material_kind=kind,
        **more,
    )


def unspread(case: CaseFile, need_for: NeedFor, title: Message, suffix: str = "",
             **more) -> Action:
    """An action without a product, with the amount and the range of its need."""
    need = need_for.need
    return base(case, need_for, suffix, title, results=need.results,
                **{"exact_rate": need.amount, "rate_low": need.low, "rate_high": need.high,
                   "range_printed": need.printed_span, **more})


def product_range(need: Need, scale: float, material: Material
                  ) -> tuple[float | None, float | None, tuple[Result, ...]]:
    """Range of a product for a need of its pure form, all passes together [unit of the need].

    From the range of the need and the error of what the material holds; what sources print, to
    choose between, is only turned into product by ``scale``, product per unit of the pure form.
    Beside both ends, what they were worked out from.
    """
    if need.low is None or need.high is None or need.amount is None:
        return None, None, ()
    low, high = need.low * scale, need.high * scale
    if need.printed_span:
        return *spanned(low, high), ()
    exact = need.amount * scale
    with subject(material.name):
        error = material_error_pct.evaluate(kind=material.kind, nutrient="any")
    with subject(need.place, material.name):
        span = answer_range(exact, (low, high), log_ends(exact, error.number))
    return *spanned(span.details["low"], span.details["high"]), (error, span)


def pounds_per(unit: str, offer: Offer) -> float:
    """Pounds in one unit of a rate of a product."""
    own, pounds = offer.spread_in
    return pounds if own == unit else LB_PER_TON if unit == "ton/ac" else 1.0


def priced(offer: Offer, rate: float, unit: str, area_ac: float | None) -> dict:
    """Cost fields of a rate of one product."""
    per_unit = pounds_per(unit, offer)
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
    return {**by_area(per_ac, area_ac, offer.price_date), "cost_parts": tuple(parts)}


def by_area(per_ac: float, area_ac: float | None, date: dt.date | None) -> dict:
    """Cost fields of work that is paid by the acre."""
    return {"cost_parts": (("service", per_ac),), "cost_per_ac": per_ac,
            "cost_total": None if area_ac is None else per_ac * area_ac, "price_date": date}


def spread(offer: Offer, rate: float, unit: str, area_ac: float | None) -> dict:
    """Fields of an action that spreads a product: its rate, what it brings and costs."""
    size = pounds_per(unit, offer)
    return {"rate": rate, "rate_unit": unit, "gallon_lb": size if unit == "gal/ac" else None,
            "supplies": supplies(offer, rate * size),
            **(priced(offer, rate, unit, area_ac) if rate > 0 else NOTHING)}


def supplies(offer: Offer, pounds: float) -> dict[str, float]:
    """lb/ac of each nutrient in so many lb/ac of a product."""
    return {nutrient: offer.fraction(nutrient) * pounds for nutrient in ANALYSIS_NUTRIENTS
            if offer.fraction(nutrient) > 0}


def with_seed(case: CaseFile, place_id: str, offer: Offer,
              pounds: float) -> tuple[Message, Result] | None:
    """What is said of a product beside the seed, and the limit; None where no seed is in rows."""
    return seed_row_caution(case, place_id, {n.lower(): 100 * offer.fraction(n) for n in GRADE},
                            pounds, offer.material.name)


def on_surface(case: CaseFile) -> bool:
    """Nothing is mixed in under this tillage."""
    return case.field.tillage in SURFACE_TILLAGE
