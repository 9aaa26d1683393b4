"""Phosphorus beyond what the crop can use, and the risk it carries to water."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import Increment, Sample
from loambrief.case.select import surface_increment
from loambrief.findings.model import Finding, Grade, Side, Status, on_side, say, stated
from loambrief.findings.places import place_of
from loambrief.tables import load
from loambrief.topics.nutrients.formulas_engine import ABOVE
from loambrief.topics.nutrients.formulas_limits import phosphorus_runoff_level
from loambrief.topics.nutrients.state import NutrientState, zone
from loambrief.units import plain

RISKY = ("high", "very high")


def _region(state: NutrientState) -> str | None:
    """The state among those with a published level that the case names."""
    regions = dict.fromkeys(str(r["region"]) for r in load("nutrients/phosphorus_runoff"))
    return next((r for r in regions if state.lies_in(r)), None)


def assess_sample(state: NutrientState, sample: Sample, increment: Increment,
                  phosphorus: Finding | None) -> Finding | None:
    """A finding where the test is above the guide's limit or the state's own level."""
    value, method = plain(increment.phosphorus), sample.methods.phosphorus
    if value is None or method is None:
        return None
    region = _region(state)
    level: Result | None = None
    if region is not None:
        with subject(place_of(sample, increment)):
            level = phosphorus_runoff_level.evaluate(region=region, method=method, test_ppm=value)
    rate = next((r for r in phosphorus.results if r.formula == "nutrient_rate"), None) if (
        phosphorus) else None
    above = rate is not None and rate.details.get("position") == ABOVE and rate.value == 0
    risky = level is not None and level.value in RISKY
    if not above and not risky:
        return None
    near_water = bool(state.case.field.sensitive_areas)
    surface = surface_increment(sample)
    top = plain(surface.phosphorus) if surface is not None else None
    evidence = [stated("nutrients.evidence_test", test="P", value=value, censor=None,
                       method=method)]
    if level is not None and level.value is not None:
        evidence.append(on_side(Side.FOR if risky else Side.AGAINST, "nutrients.evidence_runoff",
                                level, region=region, meaning=level.details["meaning"],
                                range=level.details["range"]))
    else:
        evidence.append(stated("nutrients.evidence_no_level", region=state.region_name,
                               method=method))
    if top is not None and surface is not None:
        evidence.append(stated("nutrients.evidence_surface_p", value=top, depth=surface.bottom_in))
    severity = (2 if risky else 1) if near_water else 0  # no limit where nothing can reach water
    return Finding(
        id=f"nutrients.p_water.{sample.id}",
        title=say("nutrients.title_p_water", where=zone(sample)),
        status=Status.EXCESS if risky else Status.WATCH, severity=severity,
        confidence=state.confidence(sample, method_matches=level is not None
                                    and level.value is not None),
        grade=Grade.CALCULATED, value=value, unit="ppm", place=place_of(sample, increment),
        body=(say("nutrients.p_water_body", places=list(state.case.field.sensitive_areas)),),
        evidence=tuple(evidence),
        sources=tuple(dict.fromkeys(
            r.source for r in (level, rate) if r is not None and r.value is not None)),
        results=tuple(r for r in (level,) if r is not None and r.value is not None),
    )
