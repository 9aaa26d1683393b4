"""Lime, gypsum and sulfur: the cheapest material for the need, in as many passes as allowed."""

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

from loambrief.actions.gather import NeedFor
from loambrief.actions.materials import (
    action_id,
    base,
    on_surface,
    product_range,
    spread,
    unspread,
)
from loambrief.actions.model import Action
from loambrief.actions.offers import Offer, kind_of
from loambrief.actions.rounding import pass_rates, round_up
from loambrief.actions.windows import EVERY_SEASON, window
from loambrief.agronomy.registry import Result, recording, subject
from loambrief.case.schema import CaseFile
from loambrief.findings.model import Message, NeedKind, say
from loambrief.topics.acidity.formulas import lime_product_rate
from loambrief.topics.acidity.formulas_quality import fineness_factor_pct
from loambrief.units import LB_PER_TON

ASK_DOLOMITIC = "actions.caution_dolomitic"
"""Caution of a lime that ought to bring magnesium and does not."""
MAGNESIUM_LIME_PCT = 6.0
"""A lime with at least this much Mg counts as dolomitic (dolomitic aglime 6-13 % Mg,
typical analysis, from memory, unverified)."""


def lime_quality(offer: Offer) -> Mapping[str, float] | None:
    """Inputs of ``lime_product_rate`` for a lime, or None where its quality is not stated.

    A stated effective value stands for both neutralizing value and fineness; else the
    neutralizing value goes with the fineness factor, or with sieves by the named scheme.
    """
    analysis = offer.material.analysis
    if analysis is None:
        return None
    moisture = analysis.moisture.value if analysis.moisture else 0.0
    if analysis.effective is not None:
        found = (analysis.effective.value, 100.0)
    elif analysis.cce is not None and analysis.fineness is not None:
        found = (analysis.cce.value, analysis.fineness.value)
    elif analysis.cce is not None and analysis.passing and offer.material.fineness_scheme:
        passing = {mesh: share.value for mesh, share in analysis.passing.items()}
        with subject(offer.material.name):
            factor = fineness_factor_pct(offer.material.fineness_scheme, passing)
        found = (analysis.cce.value, float(factor))
    else:
        return None
    if min(found) <= 0 or moisture >= 100:
        return None
    return {"cce_pct": found[0], "fineness_pct": found[1], "moisture_pct": moisture}


def cheapest(usable: list[tuple[Offer, float]], needed_ton: float, passes_ac: float
             ) -> tuple[Offer, float] | None:
    """The offer that does a field's work for the least money, with its product per unit of need.

    Offers without a price come last; ties go by id.

    Parameters
    ----------
    needed_ton : float
        Pure material for all areas and passes [ton].
    passes_ac : float
        Area that is spread, once for each pass [ac].
    """
    def cost(entry: tuple[Offer, float]) -> tuple[float, str]:
        offer, factor = entry
        if offer.per_lb is None:
            return math.inf, offer.id
        order = offer.ordered_lb(needed_ton * factor * LB_PER_TON)
        return order * offer.per_lb + (offer.per_ac or 0.0) * passes_ac, offer.id

    return min(usable, key=cost, default=None)


def passes_of(need_for: NeedFor) -> int:
    """Passes that the single-pass cap asks for."""
    need = need_for.need
    return max(1, math.ceil(need.amount / need.cap - 1e-9)) if need.cap and need.amount else 1


def _field(needs: tuple[NeedFor, ...]) -> tuple[float, float]:
    """Pure material [ton] and spread area [ac] of several needs."""
    known = [n for n in needs if n.need.amount is not None]
    return (sum((n.need.amount or 0.0) * (n.need.area_ac or 1.0) for n in known),
            sum(passes_of(n) * (n.need.area_ac or 1.0) for n in known))


def lime_actions(case: CaseFile, needs: tuple[NeedFor, ...], offers: tuple[Offer, ...],
                 magnesium_at: set[str]) -> tuple[Action, ...]:
    """Lime for every need; a magnesium lime is preferred where magnesium is needed too."""
    limes = []
    for offer in kind_of(offers, "lime"):
        quality = lime_quality(offer)
        if quality is not None:
            with recording():  # only to choose by; the rate is worked out for the one chosen
                factor = lime_product_rate(requirement=1.0, **quality)
            limes.append((offer, float(factor)))
    actions: list[Action] = []
    for wanted in (False, True):
        group = tuple(n for n in needs if (n.need.place.id in magnesium_at) is wanted)
        rich = [entry for entry in limes if 100.0 * entry[0].fraction("Mg") >= MAGNESIUM_LIME_PCT]
        chosen = cheapest(rich if wanted and rich else limes, *_field(group))
        for need_for in group:
            actions += _lime(case, need_for, chosen[0] if chosen else None)
    return tuple(actions)


def with_dolomitic(actions: list[Action], magnesium_at: set[str]) -> list[Action]:
    """Lime where magnesium is short says to be dolomitic, first in its title, unless it is."""
    def asking(action: Action) -> Action:
        title = action.title
        if title.key == "actions.title_lime":
            title = replace(title, params={**title.params, "dolomitic": True})
        return replace(action, title=title,
                       cautions=(say(ASK_DOLOMITIC), *action.cautions))

    return [asking(a) if a.kind is NeedKind.LIME and a.place.id in magnesium_at
            and not _dolomitic(a) else a for a in actions]


def _dolomitic(action: Action) -> bool:
    """The lime that an action spreads holds enough magnesium to count as dolomitic."""
    pounds = (action.rate or 0.0) * LB_PER_TON
    return pounds > 0 and 100.0 * action.supplies.get("Mg", 0.0) / pounds >= MAGNESIUM_LIME_PCT


def _lime(case: CaseFile, need_for: NeedFor, offer: Offer | None) -> tuple[Action, ...]:
    need = need_for.need
    if need.amount is None:
        return (base(case, need_for, "", say("actions.title_lime_unknown", where=need.place)),)
    if offer is None:
        passes = passes_of(need_for)
        return (unspread(case, need_for, say("actions.title_lime_no_product", where=need.place,
                                             amount=need.amount),
                         exact_rate=need.amount / passes, passes=passes),)
    quality = lime_quality(offer)
    assert quality is not None  # only lime of known quality is chosen
    with recording():  # only the scale; the rate of a pass is worked out below
        scale = float(lime_product_rate(requirement=1.0, **quality))

    def exact(amount: float) -> Result:
        with subject(need.place, offer.material.name):
            return lime_product_rate.evaluate(requirement=amount, **quality)

    return _passes(
        case, need_for, offer, scale, "actions.title_lime", {"dolomitic": False},
        lambda passes: say("actions.how_lime", surface=on_surface(case), passes=passes),
        lambda cap, passes: say("actions.limit_pass", cap=cap, passes=passes), exact)


def _passes(case: CaseFile, need_for: NeedFor, offer: Offer, scale: float, title: str,
            more: Mapping[str, object], how: Callable[[int], Message],
            limit: Callable[[float | None, int], Message],
            exact: Callable[[float], Result] | None = None) -> tuple[Action, ...]:
    """One action a pass for a need of pure material.

    Parameters
    ----------
    scale : float
        Product per unit of the pure material.
    title, more : str, mapping
        Key of the title, and what it is given beside the usual.
    how, limit : callable
        What is said of the number of passes, and of the cap that asks for them.
    exact : callable or None
        Works a pass out for the record; else it is the need times ``scale``.
    """
    need = need_for.need
    assert need.amount is not None  # a need without an amount has no product
    cap = need.cap * scale if need.cap else None
    least, most, errors = product_range(need, scale, offer.material)
    rates = pass_rates(need.amount * scale, passes_of(need_for), need.unit, case.case.decided_in,
                       cap, least, most)
    passes = len(rates)
    worked = () if exact is None else (exact(need.amount / passes),)
    per_pass = worked[0].number if worked else need.amount * scale / passes
    low, high = (None if end is None else end / passes for end in (least, most))
    if need.params.get("at_least"):
        rates = (round_up(per_pass, need.unit, case.case.decided_in),) * passes
    return tuple(
        base(
            case, need_for, str(number) if passes > 1 else "",
            say(title, where=need.place, rate=rate, material=offer.material.name, number=number,
                passes=passes, **more),
            kind_of_material=offer.material.kind,
            material_id=offer.id, material_name=offer.material.name, exact_rate=per_pass, cap=cap,
            rate_low=low, rate_high=high, range_printed=need.printed_span,
            pass_number=number, passes=passes,
            window=window(case, need.kind, number, need.item),
            depends_on=(action_id(need_for, str(number - 1)),) if number > 1 else (),
            how=(how(passes),), results=(*need.results, *worked, *errors),
            limits=(limit(cap, passes),) if passes > 1 else (),
            **spread(offer, rate, need.unit, need.area_ac),
        )
        for number, rate in enumerate(rates, 1)
    )


def gypsum_actions(case: CaseFile, needs: tuple[NeedFor, ...],
                   offers: tuple[Offer, ...]) -> tuple[Action, ...]:
    """Gypsum as sold for needs of pure gypsum."""
    usable = []
    for offer in kind_of(offers, "gypsum"):
        analysis = offer.material.analysis
        if analysis and analysis.gypsum and analysis.gypsum.value > 0:
            dry = 1.0 - (analysis.moisture.value / 100 if analysis.moisture else 0.0)
            if dry > 0:
                usable.append((offer, 1.0 / (analysis.gypsum.value / 100 * dry)))
    chosen = cheapest(usable, *_field(needs))
    return tuple(a for n in needs for a in _pure(case, n, chosen, "gypsum"))


def sulfur_actions(case: CaseFile, needs: tuple[NeedFor, ...],
                   offers: tuple[Offer, ...]) -> tuple[Action, ...]:
    """Elemental sulfur as sold for needs of sulfur that lowers the pH [lb/ac of S]."""
    usable = [(o, 1.0 / o.fraction("S")) for o in kind_of(offers, "elemental sulfur")
              if o.fraction("S") > 0]
    tons, area = _field(needs)
    chosen = cheapest(usable, tons / LB_PER_TON, area)
    return tuple(a for n in needs for a in _pure(case, n, chosen, "sulfur"))


def _pure(case: CaseFile, need_for: NeedFor, chosen: tuple[Offer, float] | None,
          name: str) -> tuple[Action, ...]:
    """One action per pass for a need of a pure material, gypsum or sulfur."""
    need = need_for.need
    if need.amount is None or chosen is None:
        return (unspread(case, need_for, need.text if name == "sulfur" else say(
            "actions.title_gypsum_no_product", where=need.place, amount=need.amount)),)
    season = need.item == EVERY_SEASON
    made = _passes(
        case, need_for, *chosen,
        "actions.title_gypsum_season" if season else f"actions.title_{name}", {},
        lambda passes: (say("actions.how_gypsum_season") if season
                        else say(f"actions.how_{name}", passes=passes)),
        lambda cap, passes: say("actions.limit_pass_own", cap=cap, unit=need.unit, passes=passes))
    if not season:
        return made
    return tuple(replace(a, cautions=(  # its cost comes back every season
        say("actions.caution_every_year", cost=a.cost_total), *a.cautions)) for a in made)
