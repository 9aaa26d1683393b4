"""Own entries against the limits that computed rates keep, and against what is usual.

Above a legal limit, a published most, or what manure may bring near water an entry is refused;
outside what is usual here it is a warning that the adviser can stand by with a reason.
"""

from collections.abc import Iterator, Mapping, Sequence

from loambrief.actions.gather import amounts, gather
from loambrief.actions.limits import Limit, zone_limits
from loambrief.actions.materials import on_surface, with_seed
from loambrief.actions.model import Action, Plan
from loambrief.actions.offers import ORGANIC, Offer, offers
from loambrief.actions.orders import needed_lb
from loambrief.actions.own import brought, covers, placed
from loambrief.actions.ranking import keeps_stock_safe
from loambrief.agronomy.registry import recording
from loambrief.case.own_checks import zone_named
from loambrief.case.problems import DataPath, Fault
from loambrief.case.schema import CaseFile
from loambrief.errors import UnknownName
from loambrief.findings.model import Finding, JudgedKind, NeedKind, Place
from loambrief.topics.acidity.formulas import lime_passes
from loambrief.topics.carbon_nitrogen.line import LINE
from loambrief.topics.judge import judged_places
from loambrief.topics.nutrients.crop import removed
from loambrief.topics.nutrients.formulas_micronutrients import micronutrient_typical_rate
from loambrief.units import LB_PER_TON

MICRO = ("B", "Cu", "Mn", "Zn")
NEAR_WATER = ("class", "index", "left_out_water", "guide_rate_water", "unknown_water")
SUM_LB_AC, SUM_SHARE = 10.0, 0.1
"""How far the passes of a nitrogen line may miss it: our own cut, the larger of the two."""
LARGE = 1.5
"""Nitrogen from all sources above this many times what the harvest takes is questioned (ours)."""
SLACK = 0.5
"""Pounds per acre that no spreader tells apart."""
OWN_CHANGES = {"rate", "replace"}


def held(case: CaseFile, plan: Plan, findings: Sequence[Finding]) -> Iterator[Fault]:
    """What own entries of a plan cross, by their place in the case.

    ``CASE054`` where an entry is refused; ``CASE131`` to ``CASE133`` for warnings.
    """
    by_id = {o.id: o for o in offers(case)}
    touched = [a for a in plan.actions if a.own or OWN_CHANGES & set(a.changed)]
    seen: set[tuple[DataPath, str]] = set()
    with recording():
        for fault in (*_materials(case, plan, touched, by_id),
                      *_nutrients(case, plan, touched, findings),
                      *_micronutrients(case, touched), *_lime(case, touched),
                      *_seed_rows(case, by_id)):
            if (fault.path, fault.wanted) not in seen:
                seen.add((fault.path, fault.wanted))
                yield fault
        yield from _line(case, plan, findings)
    for i, change in enumerate(case.plan_changes):
        safe = [s.action.id for s in plan.set_aside if keeps_stock_safe(s.action)
                and s.action.answers_to(change.action)]
        if safe and change.change == "drop":
            yield Fault("CASE133", ("plan_changes", i, "action"), safe[0],
                        "the work that keeps stock safe in the plan",
                        "Its cautions stay. Say in the reason who takes care of it.")


def entry_of(case: CaseFile, action: Action) -> DataPath:
    """Where the entry stands that an action has its rate from."""
    if action.entry is not None:
        if action.own == "nitrogen":
            return ("nitrogen", "passes", action.entry, "nitrogen")
        stated = case.own_actions[action.entry]
        return ("own_actions", action.entry, "rate" if stated.rate is not None else "material")
    for i, change in enumerate(case.plan_changes):
        if change.change == "replace" and action.answers_to(change.action):
            return ("plan_changes", i, "rate" if change.rate is not None else "material")
    for i, entry in enumerate(case.overrides):
        if entry.action in (action.id, action.split_from, action.material_id):
            return ("overrides", i, "rate")
    return ("own_actions",)


def _materials(case: CaseFile, plan: Plan, touched: Sequence[Action],
               by_id: Mapping[str, Offer]) -> Iterator[Fault]:
    """Metals of biosolids in a year, and the interval before a harvest."""
    for action in touched:
        offer = by_id.get(action.material_id or "")
        if offer is None or not action.rate:
            continue
        if offer.days_to_harvest is not None:
            yield Fault("CASE054", entry_of(case, action),
                        f"{offer.id} {offer.days_to_harvest} days before the harvest",
                        f"{offer.material.harvest_interval} days between the two",
                        "The interval is that of the material. Rule it out or move the harvest.")
        if offer.most_lb_ac is None:
            continue
        there = sum(needed_lb(a) / (a.area_ac or 1.0) for a in plan.actions
                    if a.material_id == offer.id and a.place.id == action.place.id)
        if there > offer.most_lb_ac + SLACK:
            yield Fault("CASE054", entry_of(case, action),
                        f"{there / LB_PER_TON:.4g} ton/ac of {offer.id} in a year",
                        f"at most {offer.most_lb_ac / LB_PER_TON:.4g} ton/ac",
                        "Its metals set this limit (40 CFR 503.13)."
                        if offer.most_lb_ac else
                        "Its regulated metals were not all tested, or one is above the ceiling "
                        "(40 CFR 503.13).")


def _nutrients(case: CaseFile, plan: Plan, touched: Sequence[Action],
               findings: Sequence[Finding]) -> Iterator[Fault]:
    """The limits that the mix keeps in each zone, from all that goes on there."""
    needs = amounts(gather(tuple(findings)), NeedKind.NUTRIENT)
    places = judged_places(case)
    zones = {p.id: tuple(n for n in needs if n.need.place.id == p.id) for p in places}
    judged = tuple(v for v in plan.verdicts if v.kind is JudgedKind.NUTRIENT)
    limits = zone_limits(case, zones, tuple(findings), judged)
    now = [a for a in plan.actions if a.deferred is None and a.pass_number == 1]
    for place in places:
        area = placed(case, place.id or None)[1]
        there = brought(now, place, area)
        for nutrient, limit in sorted(limits[place.id].items()):
            if there.get(nutrient, 0.0) <= limit.amount + SLACK:
                continue
            for action in touched:
                if covers(action, place, area) and action.supplies.get(nutrient, 0.0) > SLACK \
                        and action.own != "nitrogen":
                    yield _over(case, action, nutrient, there[nutrient], limit, place)


def _over(case: CaseFile, action: Action, nutrient: str, there: float, limit: Limit,
          place: Place) -> Fault:
    organic = action.material_kind in ORGANIC
    near = limit.reason in NEAR_WATER
    refused = (organic and (near or limit.reason == "excess")) or limit.reason == "cap" or (
        limit.reason == "excess" and nutrient in MICRO)
    where = f" at {place.id}" if place.id else ""
    return Fault("CASE054" if refused else "CASE131", entry_of(case, action),
                 f"{there:.4g} lb/ac of {nutrient}{where} from all sources",
                 f"at most {limit.amount:.4g} lb/ac ({WHY[limit.reason]})",
                 "Lower the rate, or take a material with less of it." if refused else "")


WHY = {"excess": "the test is above the limit", "not_needed": "the test calls for none",
       "left_out": "phosphorus is left out", "left_out_water": "phosphorus is left out near water",
       "guide_rate": "the rate of the guide",
       "guide_rate_water": "the rate of the guide, near water",
       "harvest": "what the harvest takes", "class": "the class of the phosphorus test",
       "index": "the phosphorus index", "unknown": "no rate is known",
       "unknown_water": "no rate is known, near water", "cap": "the most in one year",
       "nitrogen": "what the harvest takes", "nitrogen_line": "the nitrogen line"}


def _micronutrients(case: CaseFile, touched: Sequence[Action]) -> Iterator[Fault]:
    """Boron, copper, manganese and zinc above the highest published rate: they can poison soil."""
    for action in touched:
        for nutrient in MICRO:
            held_lb = action.supplies.get(nutrient, 0.0)
            if not held_lb or action.material_kind in ORGANIC:
                continue
            try:
                usual = micronutrient_typical_rate.evaluate(nutrient=nutrient,
                                                            crop=case.field.crop)
            except UnknownName:
                continue
            most = usual.details.get("high")
            if most is not None and held_lb > float(most) * (1 + 1e-6):
                yield Fault("CASE054", entry_of(case, action),
                            f"{held_lb:.4g} lb/ac of {nutrient}",
                            f"at most {float(most):.4g} lb/ac",
                            f"The highest published rate for {case.field.crop} "
                            f"({usual.source}); more can harm the crop for years.")


def _lime(case: CaseFile, touched: Sequence[Action]) -> Iterator[Fault]:
    """More lime in one pass than is published for this tillage."""
    for action in touched:
        if action.kind is not NeedKind.LIME or not action.rate:
            continue
        most = action.cap
        if most is None:
            passes = lime_passes.evaluate(
                product_ton_ac=action.rate, region=case.farm.region,
                placement="surface" if on_surface(case) else "tilled")
            most = float(passes.details["cap_ton_ac"])
        if action.rate > most * (1 + 1e-6):
            yield Fault("CASE131", entry_of(case, action),
                        f"{action.rate:.4g} ton/ac of lime in one pass",
                        f"at most {most:.4g} ton/ac in one pass here",
                        "Split it over seasons, or say why one pass will do.")


def _seed_rows(case: CaseFile, by_id: Mapping[str, Offer]) -> Iterator[Fault]:
    """More with the seed than is published for the crop, its row spacing and the soil."""
    for i, entry in enumerate(case.own_actions):
        offer = by_id.get(entry.material or "")
        if not entry.with_seed or offer is None or entry.rate is None:
            continue
        zone = zone_named(case, entry.where)
        found = with_seed(case, "" if zone is None else zone.id, offer, entry.rate.value)
        if found is None:
            yield Fault("CASE131", ("own_actions", i, "with_seed"), "fertilizer with the seed",
                        f"a crop that is seeded in rows, which {case.field.crop} is not")
        elif found[1].value is None:
            yield Fault("CASE131", ("own_actions", i, "with_seed"), "fertilizer with the seed",
                        f"a published limit for it and {case.field.crop}, which is not held",
                        "Nitrogen alone may be urea, which is never put with the seed.")
        elif entry.rate.value > found[1].number + SLACK:
            yield Fault("CASE131", ("own_actions", i, "rate"),
                        f"{entry.rate.value:.4g} lb/ac of {offer.id} with the seed",
                        f"at most {found[1].number:.4g} lb/ac ({found[1].source})",
                        "Put it beside and below the seed, or lower the rate.")


def _line(case: CaseFile, plan: Plan, findings: Sequence[Finding]) -> Iterator[Fault]:
    """Whether the passes, and what else brings nitrogen, come to what the line leaves to apply."""
    line = case.nitrogen
    if line is None:
        return
    now = [a for a in plan.actions if a.deferred is None and a.pass_number == 1]
    for finding in (f for f in findings if f.subject == LINE):
        rest = float(finding.value or 0.0)
        area = placed(case, finding.place.id or None)[1]
        there = brought(now, finding.place, area).get("N", 0.0)
        where = f" at {finding.place.id}" if finding.place.id else ""
        if abs(there - rest) > max(SUM_LB_AC, SUM_SHARE * rest):
            yield Fault("CASE132", ("nitrogen", "rate"),
                        f"{there:.4g} lb/ac of nitrogen in the plan{where}",
                        f"{rest:.4g} lb/ac, which the line leaves to apply",
                        "Counted are the passes and what other materials bring; the legume before, "
                        "manure, soil and water are taken off a rate from all sources.")
            break
    yield from _large(case)


def _large(case: CaseFile) -> Iterator[Fault]:
    line, taken = case.nitrogen, removed(case, "N")
    if line is not None and taken is not None and line.rate.value > LARGE * float(taken.value):
        yield Fault("CASE131", ("nitrogen", "rate"), line.rate.typed,
                    f"at most {LARGE:g} times the {float(taken.value):.4g} lb/ac of nitrogen that "
                    "the harvest takes")
