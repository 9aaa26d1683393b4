"""The adviser's own actions and nitrogen passes, made like computed ones, and what they cover.

They are fixed: the mix buys only what is left of each need after them, counts their product into
its loads, and keeps every limit with them. Work that an own action does is not planned again.
Ids are ``own.<id of the entry>`` and ``nutrient.n.<zone>.pass-<number>``.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from loambrief.actions.gather import NeedFor
from loambrief.actions.lime import lime_quality
from loambrief.actions.materials import CAUTIONS, action_id, by_area, spread, supplies, with_seed
from loambrief.actions.model import Action, Window
from loambrief.actions.offers import Offer
from loambrief.actions.orders import needed_lb
from loambrief.actions.rounding import round_rate
from loambrief.actions.windows import window
from loambrief.agronomy.registry import recording
from loambrief.case.own_checks import work_of, zone_named
from loambrief.case.schema import CaseFile
from loambrief.case.schema_materials import Price
from loambrief.case.schema_plan import NitrogenPass, OwnAction, Period
from loambrief.case.select import sample_area_ac
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.findings.places import field_place, place_of
from loambrief.topics.acidity.formulas import lime_product_rate
from loambrief.topics.carbon_nitrogen.line import LINE
from loambrief.units import ACRE_PER_HA, LB_PER_TON

SEVERITY = 2
"""Own actions rank among what limits the crop: the adviser holds them to be needed."""
REPLACES = (m.NeedKind.LOOSEN, m.NeedKind.DRAIN, m.NeedKind.ORGANIC_MATTER)
"""Work that is done once: where the adviser does it, the program does not plan it again."""
WHOLE = 0.99
"""Share of an area from which own work stands for all of it."""


def own_actions(case: CaseFile, offers: Mapping[str, Offer],
                findings: Sequence[m.Finding] = ()) -> list[Action]:
    """Own actions and nitrogen passes of a case, in its order.

    The passes point to the findings on the nitrogen line.
    """
    made = [_own(case, entry, n, offers) for n, entry in enumerate(case.own_actions)]
    if case.nitrogen is None:
        return made
    lines = tuple(f for f in findings if f.subject == LINE)
    for number, entry in enumerate(case.nitrogen.passes, 1):
        made.append(_nitrogen(case, entry, number, offers, lines))
    return made


def spread_by(offer: Offer) -> tuple[str, float]:
    """Unit of a rate of a product and the pounds in one of it; lime goes by the ton."""
    return ("ton/ac", LB_PER_TON) if offer.material.kind == "lime" else offer.spread_in


def main_nutrient(offer: Offer | None) -> str:
    """The nutrient that a product holds most of."""
    if offer is None:
        return ""
    held = supplies(offer, 1.0)
    return max(held, key=lambda n: (held[n], n), default="")


def placed(case: CaseFile, typed: str | None) -> tuple[m.Place, float]:
    """A zone that was named, or the whole field, and its area [ac]."""
    zone = zone_named(case, typed)
    if zone is None:
        return field_place(case), case.field.area.value
    return place_of(zone), sample_area_ac(case, zone)


def own_window(case: CaseFile, stated: Period | None, kind: m.NeedKind, item: str) -> Window:
    """The stated time; the usual one of such work where none is stated."""
    if stated is None:
        return window(case, kind, item=item)
    return Window(stated.start, stated.end, say(
        "actions.own_when", start=stated.start, end=stated.end, when=stated.when))


def _own(case: CaseFile, entry: OwnAction, number: int, offers: Mapping[str, Offer]) -> Action:
    offer = offers.get(entry.material) if entry.material is not None else None
    kind = m.NeedKind(work_of(entry, offer.material if offer else None) or m.NeedKind.MANAGE.value)
    place, whole = placed(case, entry.where)
    area = whole if entry.area is None else entry.area.value
    rate, unit, fields = None, None, {}
    if offer is not None and entry.rate is not None:
        unit, size = spread_by(offer)
        rate = entry.rate.value / size
        fields = spread(offer, rate, unit, area)
    elif offer is not None and offer.per_ac is not None:
        fields = by_area(offer.per_ac, area, offer.price_date)
    elif offer is not None and offer.per_each is not None:
        fields = {"cost_total": offer.per_each, "cost_parts": (("each", offer.per_each),),
                  "price_date": offer.price_date}
    fields.update(_stated_cost(entry.cost, area))
    beside = None
    if entry.with_seed and offer is not None and entry.rate is not None:
        beside = with_seed(case, place.id, offer, entry.rate.value)
        fields["results"] = (beside[1],) if beside else ()
    material = offer.material if offer is not None else None
    item = main_nutrient(offer) if kind is m.NeedKind.NUTRIENT else kind.value
    title = say("actions.own_title", what=entry.what, rate=rate, unit=unit,
                material=material.name if material else None)
    need = m.Need(kind=kind, item=item or kind.value, unit=unit or "", text=title, place=place,
                  area_ac=area, amount=rate, optional=entry.optional, params={"whole_ac": whole},
                  cautions=(beside[0],) if beside else ())
    return _made(case, need, f"own.{entry.id.lower()}", title, entry.window,
                 own="action", entry=number, material=offer, reasons=(entry.reason,),
                 cautions=entry.cautions, how=entry.how, stated_rank=entry.rank, **fields)


def _nitrogen(case: CaseFile, entry: NitrogenPass, number: int, offers: Mapping[str, Offer],
              lines: tuple[m.Finding, ...]) -> Action:
    line = case.nitrogen
    assert line is not None  # a pass stands in the line
    offer = offers.get(entry.material) if entry.material is not None else None
    place, area = placed(case, entry.where)
    pounds = entry.nitrogen.value
    fields: dict = {"exact_rate": pounds, "supplies": {"N": pounds}}
    rate = unit = None
    if offer is not None and offer.fraction("N") > 0:
        unit, size = spread_by(offer)
        exact = pounds / offer.fraction("N") / size
        rate = round_rate(exact, unit, case.case.decided_in)
        fields = {"exact_rate": exact, **spread(offer, rate, unit, area)}
    fields.update(_stated_cost(entry.cost, area))
    title = say("actions.title_nitrogen", pounds=pounds, rate=rate, unit=unit, number=number,
                passes=len(line.passes), material=offer.material.name if offer else None)
    need = m.Need(kind=m.NeedKind.NUTRIENT, item="N", unit="lb/ac", text=title, place=place,
                  area_ac=area, amount=pounds,
                  cautions=tuple(say("actions.own_caution", text=t) for t in line.cautions))
    here = tuple(f for f in lines if m.WHOLE_FIELD.id in (place.id, f.place.id)
                 or f.place.id == place.id)
    name = action_id(NeedFor(need, ()), f"pass-{number}")
    return _made(case, need, name, title, entry.window, own="nitrogen", entry=number - 1,
                 material=offer,
                 reasons=(line.source,), cautions=(), how=entry.how,
                 finding_ids=tuple(f.id for f in here), topics=("carbon_nitrogen",), **fields)


def _made(case: CaseFile, need: m.Need, name: str, title: m.Message, stated: Period | None, *,
          material: Offer | None, cautions: Sequence[str], how: str | None, **more) -> Action:
    kind = None if material is None else material.material.kind
    return Action(
        id=name, kind=need.kind, item=need.item, title=title, need=need,
        finding_ids=more.pop("finding_ids", ()), place=need.place, area_ac=need.area_ac,
        severity=SEVERITY, confidence=m.Confidence.MEDIUM,
        material_id=None if material is None else material.id,
        material_name=None if material is None else material.material.name,
        material_kind=kind, window=own_window(case, stated, need.kind, need.item),
        how=() if how is None else (say("actions.own_how", text=how),),
        cautions=(*(say("actions.own_caution", text=text) for text in cautions), *need.cautions,
                  *(say(f"actions.{n}") for n in CAUTIONS.get(kind or "", ()))),
        **more)


def _stated_cost(cost: Price | None, area: float) -> dict:
    """Cost fields of a price that the entry itself states; ``each`` is for all of it."""
    if cost is None:
        return {}
    if cost.per == "each":
        return {"cost_parts": (("each", cost.amount),), "cost_total": cost.amount,
                "cost_per_ac": cost.amount / area if area else None, "price_date": cost.date}
    return by_area(cost.amount / (ACRE_PER_HA if cost.per == "ha" else 1.0), area, cost.date)


# what they cover ---------------------------------------------------------------------------


def committed(offers: Sequence[Offer], own: Sequence[Action]) -> tuple[Offer, ...]:
    """The offers, with what own actions spread of each counted into its loads."""
    pounds: dict[str, float] = {}
    for action in own:
        if action.material_id is not None:
            pounds[action.material_id] = pounds.get(action.material_id, 0.0) + needed_lb(action)
    return tuple(replace(o, committed_lb=pounds[o.id]) if pounds.get(o.id) else o
                 for o in offers)


def brought(own: Sequence[Action], place: m.Place, area_ac: float | None) -> dict[str, float]:
    """What own actions bring to a place, over all of its area [lb/ac of each nutrient]."""
    found: dict[str, float] = {}
    for action in own:
        share = covers(action, place, area_ac)
        for nutrient, pounds in action.supplies.items():
            if share:
                found[nutrient] = found.get(nutrient, 0.0) + pounds * share
    return found


def covers(action: Action, place: m.Place, area_ac: float | None) -> float:
    """Share of a place that an own action reaches."""
    if action.place.id not in (place.id, m.WHOLE_FIELD.id):
        if place.id != m.WHOLE_FIELD.id or not area_ac:
            return 0.0
        return min((action.area_ac or 0.0) / area_ac, 1.0)
    if action.place.id == place.id and area_ac and action.area_ac is not None:
        return min(action.area_ac / area_ac, 1.0)
    whole = action.need.params.get("whole_ac")
    return 1.0 if not isinstance(whole, float) else min((action.area_ac or whole) / whole, 1.0)


def counted(needs: tuple[NeedFor, ...], own: Sequence[Action],
            offers: Mapping[str, Offer]) -> tuple[tuple[NeedFor, ...], tuple[NeedFor, ...]]:
    """Needs less what own actions bring, and the needs that they do away with.

    With nitrogen passes the rest of the nitrogen is not bought by itself: the adviser said how
    it is put on, and :mod:`loambrief.actions.held` says what does not add up.
    """
    if not own:
        return needs, ()
    left: list[NeedFor] = []
    gone: list[NeedFor] = []
    by_passes = any(a.own == "nitrogen" for a in own)
    for need_for in needs:
        need = need_for.need
        if need.item == "N" and need.kind is m.NeedKind.NUTRIENT and by_passes:
            continue
        have = sum(_does(a, need, offers) * covers(a, need.place, need.area_ac) for a in own)
        rest = less(need_for, have)
        if rest is None:
            gone.append(need_for)
        else:
            left.append(rest)
    return tuple(left), tuple(gone)


def _does(action: Action, need: m.Need, offers: Mapping[str, Offer]) -> float:
    """How much of a need an own action meets where it is spread, in the need's unit."""
    if need.kind is m.NeedKind.NUTRIENT:
        return float(action.supplies.get(need.item, 0.0))
    if need.kind is not action.kind:
        return 0.0
    if need.kind in REPLACES:
        return 1.0
    offer = offers.get(action.material_id or "")
    if offer is None or action.rate is None:
        return 0.0
    pounds = needed_lb(replace(action, area_ac=1.0))
    pure = pure_share(need.kind, offer)
    return 0.0 if pure is None else pounds * pure / (
        LB_PER_TON if need.unit == "ton/ac" else 1.0)


def pure_share(kind: m.NeedKind, offer: Offer) -> float | None:
    """What the need asks for in one pound of a product: pure lime, pure gypsum or sulfur."""
    analysis = offer.material.analysis
    if kind is m.NeedKind.LIME:
        quality = lime_quality(offer)
        if quality is None:
            return None
        with recording():
            factor = lime_product_rate(requirement=1.0, **quality)
        return 1.0 / float(factor) if factor else None
    if kind is m.NeedKind.GYPSUM and analysis is not None and analysis.gypsum is not None:
        dry = 1.0 - (analysis.moisture.value / 100 if analysis.moisture else 0.0)
        return analysis.gypsum.value / 100 * dry
    return offer.fraction("S") if kind is m.NeedKind.ACIDIFY else None


def less(need_for: NeedFor, have: float) -> NeedFor | None:
    """The need less what is there; None if that covers it."""
    need = need_for.need
    if have <= 0:
        return need_for
    if need.kind in REPLACES:
        return None if have >= WHOLE else need_for
    if need.amount is None:
        return need_for
    if have >= need.amount * (1 - 1e-9):
        return None
    low, high = (None if value is None else max(value - have, 0.0)
                 for value in (need.low, need.high))
    return NeedFor(replace(need, amount=need.amount - have, low=low, high=high),
                   need_for.findings)


def met_by(gone: Sequence[NeedFor], own: Sequence[Action]) -> Iterator[tuple[m.Need, Action]]:
    """Each need that is done away with, and the own action that does most of it."""
    for need_for in gone:
        need = need_for.need
        doing = [a for a in own if covers(a, need.place, need.area_ac) > 0
                 and (a.kind is need.kind or need.item in a.supplies)]
        if doing:
            yield need, max(doing, key=lambda a: (a.supplies.get(need.item, 0.0), a.id))
