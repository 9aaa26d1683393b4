"""The nitrogen rate of a guide's own rule."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from loambrief.agronomy.crops import Crop, find_crop
from loambrief.agronomy.guides import NITROGEN, Guide, Rule, SoilTestClass, find_guide
from loambrief.agronomy.possible import NotNegative, Percent
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.topics.carbon_nitrogen.formulas_credits import LB_AC_PER_PPM_6IN
from loambrief.topics.carbon_nitrogen.formulas_nitrogen import Span, balance, by_reading, ends_of

CONDITIONS: Mapping[str, str] = MappingProxyType(
    {"previous_crop": "previous", "soil": "soil", "texture": "textures"})
"""What a rule may hold for only, to the key in its file."""


def nitrogen_rule(book: Guide, crop: Crop, *, irrigated: bool, previous: Crop | None,
                  soil: str | None, texture: str | None) -> tuple[Rule | None, str]:
    """The first nitrogen rule of a guide whose conditions hold.

    In place of a rule the key of what must be known first; empty where the guide has none.
    """
    known = {"previous_crop": previous.lineage if previous else (),
             "soil": (soil,) if soil else (), "texture": (texture,) if texture else ()}
    for rule in book.rules_for(NITROGEN, crop):
        if rule.values.get("irrigated") not in (None, irrigated):
            continue
        asked = {key: rule.values[name] for key, name in CONDITIONS.items() if rule.has(name)}
        unknown = next((key for key in asked if not known[key]), "")
        if unknown:
            return None, unknown
        if all(set(known[key]) & set(wanted) for key, wanted in asked.items()):
            return rule, ""
    return None, ""


def counts(rule: Rule, credit: str) -> bool:
    """True if the rule takes a source of nitrogen off."""
    return credit in (rule.values.get("takes_off") or ())


def reads(rule: Rule) -> str:
    """What its table is read with; empty for a rule without a table."""
    return str(rule.values.get("reads") or "")


def by_previous(rule: Rule, previous: Crop | None, name: str) -> float:
    """Credit or debit that the rule prints for the crop before [lb/ac]."""
    printed = rule.values.get(name) or {}
    return next((float(printed[n]) for n in (previous.lineage if previous else ())
                 if n in printed), 0.0)


@formula(unit="lb/ac", source="unl-corn-n-equation", locator="by the named guide", how="seen",
         valid={"organic_matter_pct": (0.0, 12.0), "nitrate_n_lb_ac": (0.0, 400.0)})
def nitrogen_rate_by_guide(
    guide: str, crop: str, yield_goal: NotNegative | None = None,
    nitrate_n_lb_ac: NotNegative | None = None, organic_matter_pct: Percent | None = None,
    supply_index: NotNegative | None = None, previous_crop: str | None = None,
    irrigated: bool = False, soil: str | None = None, texture: str | None = None,
    other_credits_lb_ac: NotNegative = 0.0, test_error_pct: NotNegative | None = None,
) -> Answer[float | None]:
    """Nitrogen to apply by the rule of a named guide, shipped or one's own.

    Parameters
    ----------
    guide : str
        Name of the guide.
    crop : str
        By any name of the crop table.
    yield_goal : float or None
        In the unit the crop is traded in, where the rule asks for it.
    nitrate_n_lb_ac : float or None
        Nitrate nitrogen down to the depth the rule names [lb/ac].
    organic_matter_pct : float or None
        [%]
    supply_index : float or None
        Index of soil nitrogen that the guide uses.
    previous_crop, soil, texture : str or None
        Where the rule depends on them; ``soil`` is a class of the British manual.
    irrigated : bool
    other_credits_lb_ac : float
        Manure, irrigation water and a cover crop, where the rule takes them off [lb/ac].
    test_error_pct : float or None
        Relative error of the nitrate test, one standard deviation [%].

    Returns
    -------
    float or None
        Nitrogen [lb/ac], never below zero nor above the guide's cap; None where its table holds
        no rate. Details as for ``nitrogen_rate_yield_goal`` (``debit_lb_ac`` below zero where the
        crop before leaves nitrogen), with ``cap_lb_ac`` and ``class``.

    Raises
    ------
    UnknownName
        No such guide or crop, or no rule of nitrogen for it.
    ImpossibleInput
        The rule needs a value that is not given.

    Notes
    -----
    Of a printed range the middle is taken. Sources: the guide's own reference.
    """
    book, plant = find_guide(guide), find_crop(crop)
    previous = None if previous_crop is None else find_crop(previous_crop)
    rule, unknown = nitrogen_rule(book, plant, irrigated=irrigated, previous=previous, soil=soil,
                                  texture=texture)
    if unknown:
        raise ImpossibleInput(f"{guide} needs {unknown}")
    if rule is None:
        raise UnknownName(f"crop of {guide} for nitrogen", crop, ())
    how = "memory" if "memory" in rule.how_of.values() else rule.how
    given = {"yield_goal": yield_goal, "nitrate": nitrate_n_lb_ac,
             "organic_matter": organic_matter_pct, "supply_index": supply_index,
             "previous_crop": previous}
    lacking = [key for key in needed(rule) if given[key] is None]
    if lacking:
        raise ImpossibleInput(f"{guide} needs {', '.join(lacking)}")
    share = min(max(organic_matter_pct or 0.0, rule.number("om_least_pct")),
                rule.number("om_most_pct", 100.0)) if counts(rule, "organic_matter") else 0.0
    matter = rule.number("om_lb_pct") * share
    debit = (by_previous(rule, previous, "previous_debit_lb")
             - by_previous(rule, previous, "previous_credit_lb"))
    factor = rule.number("nitrate_share", 1.0) if counts(rule, "nitrate") else 0.0
    cap = rule.number("cap_lb_per_year") if rule.has("cap_lb_per_year") else None
    found = _class(rule, nitrate_n_lb_ac, organic_matter_pct, supply_index)
    if reads(rule) and (found is None or not found.has_rate):
        return Answer(None, source=rule.reference, locator=rule.locator, how=how,
                      notes=("the guide holds no rate for this reading",))

    def at(nitrate: float) -> Span:
        there = _class(rule, nitrate, organic_matter_pct, supply_index)
        need = _need(rule, there if there is not None and there.has_rate else found, yield_goal)
        return balance(need, (matter, matter, matter),
                       debit - factor * nitrate - other_credits_lb_ac, cap)

    span = by_reading(at, nitrate_n_lb_ac or 0.0, test_error_pct)
    details: dict[str, object] = {
        "crop_lb_ac": _need(rule, found, yield_goal)[1], "matter_lb_ac": matter,
        "nitrate_lb_ac": factor * (nitrate_n_lb_ac or 0.0), "debit_lb_ac": debit,
        **ends_of((span[0], span[1], span[2] if cap is None else min(span[2], cap)))}
    if found is not None:
        details["class"] = found.name
    if cap is not None:
        details["cap_lb_ac"] = cap
    return Answer(span[1], source=rule.reference, locator=rule.locator, how=how,
                  details=details)


def needed(rule: Rule) -> tuple[str, ...]:
    """Keys of what a rule must be given, in the words of the nitrogen methods."""
    table = reads(rule)
    asked = {
        "yield_goal": rule.needs_yield,
        "nitrate": counts(rule, "nitrate") or table in ("nitrate_lb", "nitrate_ppm"),
        "organic_matter": counts(rule, "organic_matter") or table == "organic_matter",
        "supply_index": table == "index",
        "previous_crop": counts(rule, "previous_crop"),
    }
    return tuple(key for key, wanted in asked.items() if wanted)


def _class(rule: Rule, nitrate: float | None, matter: float | None,
           index: float | None) -> SoilTestClass | None:
    """Class of the rule's table that holds the reading; None without a table or below it."""
    table = reads(rule)
    if not table:
        return None
    per_ppm = LB_AC_PER_PPM_6IN * rule.number("nitrate_depth_in") / 6.0
    reading = {"nitrate_lb": nitrate, "organic_matter": matter, "index": index,
               "nitrate_ppm": None if nitrate is None or not per_ppm else nitrate / per_ppm}[table]
    held = [c for c in rule.classes if reading is not None and c.holds(reading)]
    return held[-1] if held else None


def _need(rule: Rule, found: SoilTestClass | None, yield_goal: float | None) -> Span:
    """What the crop takes by the rule, before anything is taken off."""
    goal = yield_goal or 0.0
    if rule.kind == "yield_goal":
        low = rule.number("base_lb") + rule.number("per_yield_lb") * goal
        high = rule.number("base_lb") + rule.number(
            "per_yield_high_lb", rule.number("per_yield_lb")) * goal
        return low, (low + high) / 2, high
    if found is not None:
        low, high = _ends(found.rate_lb, found.low_lb, found.high_lb)
    else:
        low, high = _ends(*(rule.values.get(k) for k in ("rate_lb", "low_lb", "high_lb")))
    more = rule.number("per_yield_lb") * max(goal - rule.number("yield_at"), 0.0)
    return low + more, (low + high) / 2 + more, high + more


def _ends(rate: float | None, low: float | None, high: float | None) -> tuple[float, float]:
    """A printed range, or one rate twice."""
    if low is not None and high is not None:
        return float(low), float(high)
    assert rate is not None  # the guide's file was checked
    return float(rate), float(rate)
