"""What the harvest takes away, and what a shallow calcium test can and cannot say."""

from dataclasses import replace

from loambrief.agronomy.crops import yield_in_crop_unit
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Increment, Sample
from loambrief.case.select import sample_area_ac, surface_increment
from loambrief.errors import ImpossibleInput, LoambriefError
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import known_crop
from loambrief.findings.model import amendment, nutrient, say
from loambrief.findings.places import place_of
from loambrief.tables import DataRow, load
from loambrief.topics.nutrients.formulas import ppm_to_lb_per_acre
from loambrief.topics.nutrients.formulas_micronutrients import (
    CALCIUM,
    calcium_rule,
    other_market_types,
    surface_calcium_gypsum,
)
from loambrief.topics.nutrients.formulas_removal import NUTRIENTS, crop_removal
from loambrief.topics.nutrients.state import NutrientState, zone
from loambrief.units import EQUIVALENT_MG, LB_PER_TON, SLICE_DEPTH_IN, Quantity, plain

SHALLOW_MAX_IN = 4.0
"""Deepest layer that an ordinary sample does not take; deeper rules read the ordinary one."""
SHALLOW_TEST = "shallow calcium test"
SETTLED_SHALLOW = "shallow_calcium"
SETTLED_MARKET = "market_rule"


def removed(case: CaseFile, nutrient: str) -> Result | None:
    """What the harvest takes at the yield goal [lb/ac]; None where that is not known."""
    crop, goal = known_crop(case.field.crop), case.field.yield_goal
    if crop is None or goal is None:
        return None
    try:
        amount = yield_in_crop_unit(crop, goal.value.value, goal.value.unit)
        with subject(crop.name, "yield goal"):
            result = crop_removal.evaluate(crop=crop.name, nutrient=nutrient,
                                           **{"yield": amount})
    except LoambriefError:
        return None
    return result if result.value is not None else None


def removal(state: NutrientState) -> m.Finding | None:
    """Nutrients in the harvest at the yield goal; None without yield or published values."""
    if state.crop_yield is None:
        return None
    with subject(state.crop.name, "yield goal"):
        results = [
            crop_removal.evaluate(crop=state.crop.name, nutrient=n,
                                  **{"yield": state.crop_yield})
            for n in NUTRIENTS
        ]
    known = [r for r in results if r.value is not None]
    if not known:
        return None
    rows = [{"nutrient": r.details["nutrient"], "amount": r.value, "low": r.details["low"],
             "high": r.details["high"]} for r in known]
    evidence = [m.stated("nutrients.evidence_removal", *known,
                         memory=any(r.how == "memory" for r in known))]
    if state.crop.group == "alfalfa":
        evidence.append(m.stated("nutrients.evidence_removal_alfalfa"))
    return m.Finding(
        id="nutrients.removal",
        title=say("nutrients.title_removal", crop=state.crop.name),
        status=m.Status.NOTED, severity=0, confidence=m.Confidence.MEDIUM, grade=m.Grade.CALCULATED,
        body=(say("nutrients.removal_body", crop=state.crop.name, amount=state.crop_yield,
                  unit=state.crop.yield_unit, weight=state.crop.lb_per_unit, rows=rows),),
        evidence=tuple(evidence), sources=m.sources_of(known),
        results=tuple(known),
    )


def _laboratory_lb_ac(quantity: Quantity, increment: Increment) -> Result:
    """Pounds per acre as laboratories report them.

    A value typed in lb/ac comes back as typed; a value in ppm is doubled, which is what the
    laboratories behind the calcium rules do whatever the depth of the core.
    """
    typed = quantity.typed_unit == "lb/ac"
    depth = increment.thickness_in if typed else SLICE_DEPTH_IN
    return ppm_to_lb_per_acre.evaluate(ppm=quantity.value, depth_in=depth)


def surface_calcium(state: NutrientState, sample: Sample) -> m.Finding | None:
    """The published shallow-calcium rule of the crop, or the statement that there is none."""
    region = _calcium_region(state)
    market = state.case.field.market_type
    rule = calcium_rule(state.crop, region, market)
    increment = _shallow(sample, rule)
    if increment is None or plain(increment.calcium) is None:
        stand_in = rule or calcium_rule(state.crop, region)
        return _untested(state, sample, stand_in, rule is not None)
    place = place_of(sample, increment)
    if rule is None:
        return _no_rule(state, sample, increment, place, False)
    if sample.methods.cations != rule["method"]:
        return (_untested(state, sample, rule, True)
                or _no_rule(state, sample, increment, place, True))
    calcium = increment.calcium
    assert calcium is not None
    with subject(place):
        pounds = _laboratory_lb_ac(calcium, increment)
        potassium = (
            _laboratory_lb_ac(increment.potassium, increment)
            if plain(increment.potassium) is not None and increment.potassium is not None
            else None
        )
        try:
            gypsum = surface_calcium_gypsum.evaluate(
                crop=state.crop.name, calcium_lb_ac=pounds.number,
                potassium_lb_ac=None if potassium is None else potassium.number,
                soil_ph=increment.ph, region=region, market_type=market,
            )
        except ImpossibleInput:
            return (_untested(state, sample, rule, True)
                    or _no_rule(state, sample, increment, place, True))
    needed = gypsum.value is not None and gypsum.number > 0
    window = str(gypsum.details["timing"]) if gypsum.details.get("timing") else None
    need = m.Need(
        kind=m.NeedKind.GYPSUM, item="shallow calcium", unit="ton/ac",
        text=say("nutrients.need_calcium", crop=state.crop.name,
                 amount=gypsum.number, high=gypsum.details["high"], timing=window),
        place=zone(sample), area_ac=sample_area_ac(state.case, sample),
        amount=gypsum.number / LB_PER_TON, low=gypsum.number / LB_PER_TON,
        high=_at_most(gypsum) / LB_PER_TON, results=(gypsum,), sources=(gypsum.source,),
        cautions=(*_type_not_stated(state, region), say("nutrients.caution_gypsum_dust")),
        params={"window": window, "at_least": True}, printed_span=True,
    ) if needed else None
    return m.Finding(
        id=f"nutrients.surface_calcium.{sample.id}",
        title=say("nutrients.title_calcium_rule", needed=needed, crop=state.crop.name,
                  where=place),
        status=m.Status.LIMITING if needed else m.Status.ADEQUATE, severity=2 if needed else 0,
        confidence=state.confidence(sample), grade=m.Grade.CALCULATED,
        value=calcium.value, unit="ppm", place=place,
        body=(say("nutrients.calcium_rule_body", needed=needed, crop=state.crop.name,
                  pounds=pounds.value, ratio=gypsum.details.get("ratio"),
                  timing=window, region=gypsum.details["region"],
                  own_region=gypsum.details["own_region"],
                  market=gypsum.details["market_type"]),),
        evidence=(m.stated("nutrients.evidence_mehlich1_lime"),),
        needs=() if need is None else (need,), sources=(gypsum.source,),
        results=tuple(r for r in (pounds, potassium, gypsum) if r is not None),
        judgements=_calcium_judgements(state, sample, gypsum),
    )


def _untested(state: NutrientState, sample: Sample, rule: DataRow | None,
              of_type: bool) -> m.Finding | None:
    """The shallow test that a crop's rule rests on is lacking: calcium and gypsum stay open.

    None where no rule asks for a layer that an ordinary sample does not take. Where the market
    type has no rule (``of_type`` false) that of another stands for the layer and the method.
    """
    if rule is None or float(rule["depth_high_in"]) > SHALLOW_MAX_IN:
        return None
    place = zone(sample)
    market = state.case.field.market_type
    told = {
        "crop": state.crop.name, "test": "Ca", "depth_in": float(rule["depth_high_in"]),
        "methods": [str(rule["method"])], "region": str(rule["region"]),
        "market": rule["market_type"] if market and of_type else None,
        "low": (float(rule["gypsum_lb_ac"])
                if market and of_type and rule["calcium_lb_ac"] is None else None),
        "high": float(rule["gypsum_high_lb_ac"]),
    }
    return m.Finding(
        id=f"nutrients.surface_calcium.{sample.id}",
        title=say("nutrients.title_calcium_untested", **told, where=place),
        status=m.Status.UNCERTAIN, severity=1, confidence=m.Confidence.HIGH, grade=m.Grade.OBSERVED,
        place=place, body=(say("nutrients.calcium_untested_body", **told),),
        needs=(m.Need(kind=m.NeedKind.MEASURE, item=SHALLOW_TEST, unit="", place=place,
                      area_ac=sample_area_ac(state.case, sample),
                      text=say("nutrients.need_calcium_test", **told, where=place),
                      sources=(str(rule["source"]),)),),
        sources=(str(rule["source"]),),
        judgements=tuple(made(key, place, m.Verdict.NOT_JUDGED, "surface_calcium_untested",
                              SETTLED_SHALLOW, **told)
                         for made, key in ((nutrient, "Ca"), (amendment, "gypsum"))),
    )


def _type_not_stated(state: NutrientState, region: str | None) -> tuple[m.Message, ...]:
    """Where the market type is not stated: what the other types of that state would get."""
    others = other_market_types(state.crop, region)
    if state.case.field.market_type is not None or not others:
        return ()
    taken = calcium_rule(state.crop, region)
    assert taken is not None
    most = max(others, key=lambda r: float(r["gypsum_high_lb_ac"]))
    return (say("nutrients.caution_market_type", market=taken["market_type"],
                other=most["market_type"], low=float(most["gypsum_lb_ac"]),
                high=float(most["gypsum_high_lb_ac"]), always=most["calcium_lb_ac"] is None),)


def _calcium_region(state: NutrientState) -> str | None:
    """The region of the calcium table that the case lies in, where it has a rule of its own."""
    regions = dict.fromkeys(str(r["region"]) for r in load(CALCIUM))
    return next((r for r in regions if state.lies_in(r)), None)


def _at_most(gypsum: Result) -> float:
    """Upper end of the rate that the source prints [lb/ac]."""
    high = gypsum.details["high"]
    return high if isinstance(high, float) else gypsum.number


def _calcium_judgements(state: NutrientState, sample: Sample,
                        gypsum: Result) -> tuple[m.Judgement, ...]:
    """Calcium, and the gypsum that brings it; where lime has to come first neither is settled."""
    if gypsum.value is None:
        return ()
    needed = gypsum.number > 0
    verdict = m.Verdict.NEEDED if needed else m.Verdict.NOT_NEEDED
    reason = "surface_calcium_low" if needed else "surface_calcium_enough"
    place = zone(sample)
    found = [nutrient("Ca", place, verdict, reason, crop=state.crop.name)]
    if needed:
        calcium = gypsum.number * EQUIVALENT_MG["Ca"] / EQUIVALENT_MG["gypsum"]
        found[0] = replace(found[0], amount=calcium, unit="lb/ac")
        found.append(amendment("gypsum", place, verdict, reason, crop=state.crop.name))
    return tuple(found)


def _shallow(sample: Sample, rule: DataRow | None) -> Increment | None:
    """The slice a shallow rule asks for; without a rule the surface slice."""
    if rule is None:
        return surface_increment(sample)
    low, high = float(rule["depth_low_in"]), float(rule["depth_high_in"])
    fitting = [i for i in sample.increments if i.top_in == 0 and low <= i.bottom_in <= high]
    return min(fitting, key=lambda i: i.bottom_in, default=None) or surface_increment(sample)


def _no_rule(state: NutrientState, sample: Sample, increment: Increment, place: m.Place,
             other_method: bool) -> m.Finding:
    """No rule reads this layer; where one is held for other market types, gypsum stays open."""
    calcium = plain(increment.calcium)
    market = state.case.field.market_type
    of_others = market is not None and not other_method and calcium_rule(
        state.crop, _calcium_region(state)) is not None
    told = {"crop": state.crop.name, "test": "Ca", "market": market}
    return m.Finding(
        id=f"nutrients.surface_calcium.{sample.id}",
        title=say("nutrients.title_calcium_no_rule", where=place),
        status=m.Status.NOTED, severity=0, confidence=m.Confidence.LOW, grade=m.Grade.PRACTICE,
        value=calcium, unit="ppm", place=place,
        body=(say("nutrients.calcium_no_rule_body", crop=state.crop.name, depth=increment.bottom_in,
                  value=calcium, other_method=other_method),),
        evidence=(
            m.stated("nutrients.evidence_calcium_practice"),
            m.stated("nutrients.evidence_calcium_published"),
        ),
        sources=("harris-2015-peanut-calcium",),
        judgements=tuple(made(key, zone(sample), m.Verdict.NOT_JUDGED, "market_type_no_rule",
                              SETTLED_MARKET, **told)
                         for made, key in ((nutrient, "Ca"), (amendment, "gypsum"))
                         if of_others),
    )
