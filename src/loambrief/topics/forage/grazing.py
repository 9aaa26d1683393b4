"""Whether the pasture and the hay carry the stock of a case.

What a figure is missing for is named, never filled in: a loss without a published figure leaves the
hay need out, since none would count it as zero. Ranges span what publications give.
"""

from dataclasses import dataclass

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile
from loambrief.case.schema_stock import Grazing, HaySupply, Herd, Stock
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.findings.places import field_place
from loambrief.topics.forage.formulas import coefficient
from loambrief.topics.forage.formulas_grazing import (
    acres_to_graze,
    animal_units,
    daily_forage_lb,
    hay_loss_pct,
    hay_needed_ton,
    hay_on_hand_ton,
    intake_guidance_pct,
    pasture_use_pct,
)
from loambrief.topics.forage.stand import too_short
from loambrief.units import plain

ENOUGH, CLOSE, SHORT = "enough", "close", "short"
LEVELS = {ENOUGH: (m.Status.ADEQUATE, 0), CLOSE: (m.Status.UNCERTAIN, 1),
          SHORT: (m.Status.LIMITING, 2)}
TRIED = {"cattle": "cattle", "dairy": "cattle", "horses": "horses"}
"""Stock -> the stock of the trials with feeders that stand for them."""


@dataclass(frozen=True)
class Demand:
    """What the herd eats in a day [lb of dry matter], and its animal units."""

    low: float
    high: float
    units: float
    by_units: float
    results: tuple[Result, ...]


def stock_findings(case: CaseFile) -> list[m.Said]:
    """Findings on grazing and hay, and what they lack; nothing without a herd."""
    stock = case.stock
    if stock is None or (stock.grazing is None and stock.hay is None):
        return []
    demand = _demand(stock)
    if isinstance(demand, m.Missing):
        return [demand]
    return [_grazing(case, stock.grazing, demand) if stock.grazing is not None else None,
            _hay(case, stock, stock.hay, demand) if stock.hay is not None else None]


def _demand(stock: Stock) -> Demand | m.Missing:
    results: list[Result] = []
    low = high = units = by_units = 0.0
    unknown = []
    for group in stock.herd:
        with subject(group.kind, group.state or ""):
            spans = _intake(group, results)
            if spans is None:
                unknown.append(group.kind)
                continue
            counted = {"head": group.head, "weight_lb": group.weight.value}
            ends = [daily_forage_lb.evaluate(**counted, intake_pct=p) for p in spans]
            whole = animal_units.evaluate(**counted)
        results += [*ends, whole]
        low, high = low + ends[0].number, high + ends[-1].number
        units += whole.number
        by_units += float(whole.details["daily_lb"])
    if unknown:
        return m.lacks("forage.missing_intake", stock=list(dict.fromkeys(unknown)))
    return Demand(low, high, units, by_units, tuple(results))


def _intake(group: Herd, results: list[Result]) -> tuple[float, float] | None:
    own = plain(group.intake)
    if own is not None:
        return own, own
    told = intake_guidance_pct.evaluate(stock=group.kind, state=group.state)
    if told.value is None:
        return None
    results.append(told)
    return float(told.details["low"]), float(told.details["high"])


def _level(has: float, low: float, high: float) -> str:
    return ENOUGH if has >= high else SHORT if has < low else CLOSE


def _grazing(case: CaseFile, plan: Grazing, demand: Demand) -> m.Finding | m.Missing:
    forage = plain(plan.forage)
    lacking = [name for name, value in (("days", plan.days), ("forage", forage or None))
               if value is None]
    if lacking or plan.days is None or not forage:
        return m.lacks("forage.missing_grazing", lacking=lacking)
    area = plan.area.value if plan.area is not None else case.field.area.value
    place = field_place(case)
    with subject(place):
        use = pasture_use_pct.evaluate(stay_d=plan.stay)
        least, most = (acres_to_graze.evaluate(
            daily_lb=daily, days=plan.days, forage_lb_ac=forage, use_pct=use.details[end],
            area_ac=area) for daily, end in ((demand.low, "high"), (demand.high, "low")))
    step = _level(area, least.number, most.number)
    status, severity = LEVELS[step]
    results = (*demand.results, use, least, most)
    sources = m.sources_of(results)
    lasts = {"lasts_low": most.details["lasts_d"], "lasts_high": least.details["lasts_d"],
             "days": plan.days}
    needs: tuple[m.Need, ...] = ()
    if step == SHORT and not too_short(case):
        needs = (m.Need(m.NeedKind.MANAGE, "stocking", "",
                        say("forage.need_stocking", where=place, herd_low=most.details["herd_pct"],
                            herd_high=least.details["herd_pct"], **lasts),
                        place=place, area_ac=area, results=(least, most), sources=sources,
                        cautions=(say("forage.caution_grazing"),)),)
    return m.Finding(
        id="forage.stocking",
        title=say("forage.title_stocking", step=step, days=plan.days, low=least.value,
                  high=most.value, area=area),
        status=status, severity=severity, confidence=m.Confidence.MEDIUM, grade=m.Grade.CALCULATED,
        value=area, unit="ac",
        reference=say("forage.reference_stocking", low=least.value, high=most.value),
        place=place,
        body=(say("forage.body_stocking", daily_low=demand.low, daily_high=demand.high,
                  units=demand.units, use_low=use.details["low"], use_high=use.details["high"],
                  stay=plan.stay, **lasts),),
        evidence=(
            m.stated("forage.for_stocking", least, most, forage=forage, basis=plan.basis),
            m.stated("forage.against_units", units=demand.units, daily=demand.by_units),
            m.stated("forage.context_use"),
        ),
        needs=needs, sources=sources, results=results,
    )


def _tried(stock: Stock) -> str:
    """The stock of the feeder trials that stand for a herd; ``any`` where none do."""
    kinds = {TRIED.get(group.kind, "any") for group in stock.herd}
    return kinds.pop() if len(kinds) == 1 else "any"


def _losses(stock: Stock, plan: HaySupply) -> tuple[Result, Result] | list[str]:
    """Losses at the feeder and in store, or what is missing for them."""
    found = {}
    for loss, method in (("feeding", plan.feeder), ("storage", plan.store)):
        if method is not None:
            told = hay_loss_pct.evaluate(loss=loss, method=method, stock=_tried(stock))
            if told.value is not None:
                found[loss] = told
    if len(found) == 2:
        return found["feeding"], found["storage"]
    return [f"{name}_unknown" if stated else name for name, loss, stated in (
        ("feeder", "feeding", plan.feeder), ("store", "storage", plan.store)) if loss not in found]


def _hay(case: CaseFile, stock: Stock, plan: HaySupply, demand: Demand) -> m.Finding | m.Missing:
    losses = _losses(stock, plan)
    lacking = [*(["days"] if plan.days is None else []),
               *(losses if isinstance(losses, list) else [])]
    if plan.days is None or isinstance(losses, list):
        return m.lacks("forage.missing_hay", lacking=lacking)
    feeding, storage = losses
    dry = plain(plan.dry_matter)
    matter = ((dry, dry) if dry else
              (coefficient("hay_dm_high"), coefficient("hay_dm_low")))
    place = field_place(case)
    with subject(place):
        held = None
        if plan.bales is not None and plan.bale_weight is not None:
            held = hay_on_hand_ton.evaluate(bales=plan.bales, bale_lb=plan.bale_weight.value)
        least, most = (hay_needed_ton.evaluate(
            daily_lb=daily, days=plan.days, dry_matter_pct=dm,
            feeding_loss_pct=feeding.details[end], storage_loss_pct=storage.details[end],
            on_hand_ton=None if held is None else held.number)
            for daily, dm, end in ((demand.low, matter[0], "low"),
                                   (demand.high, matter[1], "high")))
    step = "" if held is None else _level(held.number, least.number, most.number)
    status, severity = LEVELS.get(step, (m.Status.NOTED, 0))
    results = (*demand.results, feeding, storage, least, most, *((held,) if held else ()))
    sources = m.sources_of(results)
    evidence = [m.stated("forage.for_hay", *((held,) if held else ()), bales=plan.bales,
                         weight=plain(plan.bale_weight), dry=dry, low=matter[1], high=matter[0])]
    better, tons = _cone(stock, plan, demand, matter, storage)
    if tons is not None and tons.number < most.number:
        results += (better, tons)
        evidence.append(m.Evidence(m.Side.CONTEXT, say("forage.context_cone", tons=tons.value,
                                                       loss=better.details["high"],
                                                       most=most.value),
                                   m.Grade.CALCULATED, (better.source,), (tons,)))
    evidence.append(m.stated("forage.against_hay"))
    needs: tuple[m.Need, ...] = ()
    if step == SHORT:
        needs = (m.Need(m.NeedKind.MANAGE, "hay-supply", "",
                        say("forage.need_hay", low=least.details["short_ton"],
                            high=most.details["short_ton"], days=plan.days),
                        place=place, results=(least, most), sources=sources,
                        cautions=(say("forage.caution_vet"),)),)
    return m.Finding(
        id="forage.hay_supply",
        title=say("forage.title_hay", step=step, days=plan.days, low=least.value, high=most.value,
                  held=None if held is None else held.value),
        status=status, severity=severity, confidence=m.Confidence.MEDIUM, grade=m.Grade.CALCULATED,
        value=most.number if held is None else held.number, unit="ton",
        reference=say("forage.reference_hay", low=least.value, high=most.value), place=place,
        body=(say("forage.body_hay", daily_low=demand.low, daily_high=demand.high,
                  feed_low=feeding.details["low"], feed_high=feeding.details["high"],
                  store_low=storage.details["low"], store_high=storage.details["high"]),),
        evidence=tuple(evidence), needs=needs, sources=sources, results=results,
    )


def _cone(stock: Stock, plan: HaySupply, demand: Demand, matter: tuple[float, float],
          storage: Result) -> tuple[Result, Result | None]:
    """The upper need if a cone feeder were used; None where it is, or was not tried."""
    cone = hay_loss_pct.evaluate(loss="feeding", method="cone", stock=_tried(stock))
    if plan.feeder == "cone" or cone.value is None or plan.days is None:
        return cone, None
    return cone, hay_needed_ton.evaluate(
        daily_lb=demand.high, days=plan.days, dry_matter_pct=matter[1],
        feeding_loss_pct=cone.details["high"], storage_loss_pct=storage.details["high"])
