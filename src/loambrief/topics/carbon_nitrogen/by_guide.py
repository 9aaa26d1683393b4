"""Nitrogen by a guide's own rule: the guide the case names, or the one made for its place."""

from dataclasses import replace

from loambrief.agronomy.crops import Crop
from loambrief.agronomy.guides import ANY_CROP, NITROGEN, Guide, Rule, known_guides
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Increment, Sample
from loambrief.case.select import main_increment, surface_increment
from loambrief.findings.crop_kinds import fixes_nitrogen, known_crop
from loambrief.findings.model import Place
from loambrief.topics.carbon_nitrogen.credits import (
    Credit,
    cover_credits,
    credits_of,
    nitrate_layers,
)
from loambrief.topics.carbon_nitrogen.fit import (
    MethodFit,
    inputs_of,
    lies_in,
    nitrate_error,
    rated,
    yield_goal,
)
from loambrief.topics.carbon_nitrogen.formulas_credits import soil_nitrate_n_lb_ac
from loambrief.topics.carbon_nitrogen.formulas_guide import (
    counts,
    needed,
    nitrogen_rate_by_guide,
    nitrogen_rule,
    reads,
)
from loambrief.units import plain

GUIDE = "guide"
"""Key of the method: a rule of a guide."""
KINDS = {"previous_crop": "legume", "manure": "manure", "water": "water", "cover_crop": "cover",
         "nitrate": "soil"}
"""What a rule names, to the kind of a credit."""


def named_guide_rate(case: CaseFile, zone: Sample | None, place: Place,
                     crop: Crop) -> MethodFit | None:
    """By the guide that the case names; None where it has no rule of nitrogen that holds here."""
    book = known_guides().get(case.guide or "")
    return None if book is None else _rate(case, zone, place, crop, book)


def fitting_guide_rate(case: CaseFile, zone: Sample | None, place: Place,
                       crop: Crop) -> MethodFit | None:
    """By the guide made for the place; which one, the adviser says where several are."""
    fits = [fit for book in known_guides().values()
            if book.name != case.guide and lies_in(case, *book.regions)
            and (fit := _rate(case, zone, place, crop, book)) is not None]
    if len(fits) > 1:
        return MethodFit(GUIDE, crop, "before", lacks=("guide",), guide=fits[0].guide)
    return fits[0] if fits else None


def has_rule(case: CaseFile) -> bool:
    """True if the named guide, or one made for the place, names the crop in a nitrogen rule."""
    crop = known_crop(case.field.crop)
    return crop is not None and any(
        rule.crop_name(crop) not in (None, ANY_CROP)
        for book in known_guides().values()
        if book.name == case.guide or lies_in(case, *book.regions)
        for rule in book.rules_for(NITROGEN, crop))


def _rate(case: CaseFile, zone: Sample | None, place: Place, crop: Crop,
          book: Guide) -> MethodFit | None:
    inputs, previous = inputs_of(case), known_crop(case.field.previous_crop)
    asked: dict[str, object] = {
        "irrigated": case.field.irrigation != "none",
        "soil": inputs.soil, "texture": None if zone is None else zone.texture}
    rule, unknown = nitrogen_rule(book, crop, previous=previous, **asked)  # type: ignore[arg-type]
    if rule is not None and fixes_nitrogen(crop.name) and rule.crop_name(crop) == ANY_CROP:
        return None
    fit = MethodFit(GUIDE, crop, "before", guide=book)
    if unknown:
        return replace(fit, lacks=(unknown,))
    if rule is None:
        return None
    fit = replace(fit, when=str(rule.values.get("when") or "before"), holds=_holds(rule))
    slice_ = None if zone is None else main_increment(zone) or surface_increment(zone)
    layers = _to_depth(case, zone, rule.number("nitrate_depth_in"))
    given: dict[str, object] = {
        "yield_goal": yield_goal(case, crop), "supply_index": inputs.supply_index,
        "organic_matter": None if slice_ is None else plain(slice_.organic_matter),
        "nitrate": layers or None, "previous_crop": previous}
    wanted = needed(rule)
    lacks = tuple(key for key in wanted if given[key] is None)
    if lacks:
        return replace(fit, lacks=lacks)
    others = _credits(case, zone, place, rule)
    more: dict[str, object] = {}
    results: tuple[Result, ...] = tuple(r for c in others for r in c.results)
    with subject(place):
        if "nitrate" in wanted:
            soil = tuple(soil_nitrate_n_lb_ac.evaluate(nitrate_n_ppm=i.nitrate_n.value,
                                                       depth_in=thick)
                         for i, thick in layers if i.nitrate_n is not None)
            error, by = nitrate_error(zone, [i for i, _ in layers])
            more = {"nitrate_n_lb_ac": sum(r.number for r in soil), "test_error_pct": error}
            results = (*soil, *by, *results)
        for key, name in (("yield_goal", "yield_goal"), ("supply_index", "supply_index"),
                          ("organic_matter", "organic_matter_pct")):
            if key in wanted:
                more[name] = given[key]
        if previous is not None:
            more["previous_crop"] = previous.name
        rate = nitrogen_rate_by_guide.evaluate(
            guide=book.name, crop=crop.name, other_credits_lb_ac=sum(c.amount for c in others),
            **{k: v for k, v in asked.items() if v not in (None, False)}, **more)
    if rate.value is None:
        return replace(fit, lacks=("guide_rate",))
    return rated(fit, rate, *results, credits=others)


def _holds(rule: Rule) -> tuple[str, ...]:
    """Kinds of credit that need no mention: in the rate, taken off by the rule, or read by it."""
    named = {*(rule.values.get("holds") or ())}
    if counts(rule, "previous_crop"):
        named.add("previous_crop")
    if reads(rule) == "index":
        named |= {"previous_crop"}
    return tuple(KINDS[n] for n in sorted(named) if n in KINDS)


def _credits(case: CaseFile, zone: Sample | None, place: Place, rule: Rule) -> tuple[Credit, ...]:
    """What the rule takes off besides nitrate, organic matter and the crop before."""
    kinds = {KINDS[name] for name in ("manure", "water") if counts(rule, name)}
    found = [c for c in credits_of(case, inputs_of(case), zone, place) if c.kind in kinds]
    if counts(rule, "cover_crop"):
        found += cover_credits(case)
    return tuple(found)


def _to_depth(case: CaseFile, zone: Sample | None,
              depth_in: float) -> list[tuple[Increment, float]]:
    """Layers with nitrate and how much of each lies above a depth; none unless they reach it."""
    if zone is None or not depth_in:
        return []
    reached, found = 0.0, []
    for layer in nitrate_layers(case, zone):
        if layer.top_in > reached or layer.top_in >= depth_in:
            break
        found.append((layer, min(layer.bottom_in, depth_in) - layer.top_in))
        reached = layer.bottom_in
    return found if reached >= depth_in else []
