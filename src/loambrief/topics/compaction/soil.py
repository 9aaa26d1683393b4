"""Bulk density, pores and air of the sampled slices; how fast water goes in."""

from collections.abc import Iterator

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Increment, Sample
from loambrief.case.select import age_days, sample_area_ac
from loambrief.errors import ImpossibleInput
from loambrief.findings import model as m
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.model import say
from loambrief.findings.places import named_place, place_of
from loambrief.topics.compaction.formulas import constant
from loambrief.topics.compaction.formulas_air import (
    ORGANIC,
    air_filled_porosity_pct,
    bulk_density_class,
    porosity_pct,
    water_filled_pore_space_pct,
)
from loambrief.topics.compaction.formulas_water import expected_infiltration, permeability_class
from loambrief.topics.sampling.formulas import mean_interval
from loambrief.units import plain

FEW_RINGS = 3
MORE_RINGS = 8
"""Rings to ask for where a few cannot settle the rate (our own choice)."""
STEP = {"ideal": (m.Status.ADEQUATE, 0), "between ideal and affected": (m.Status.NOTED, 0),
        "may affect roots": (m.Status.WATCH, 1), "restricts roots": (m.Status.LIMITING, 2)}


def density_findings(case: CaseFile) -> Iterator[m.Said]:
    """One finding per slice with a bulk density."""
    for sample in case.samples:
        for increment in sample.increments:
            density = plain(increment.bulk_density)
            if density is None:
                continue
            if sample.texture is None:
                yield m.lacks("compaction.missing_texture", where=place_of(sample, increment))
            elif sample.texture not in ORGANIC:
                yield _density(case, sample, increment, density)


def _density(case: CaseFile, sample: Sample, increment: Increment,
             density: float) -> m.Finding | None:
    place, water = place_of(sample, increment), plain(increment.water_content)
    air: Result | None = None
    filled: Result | None = None
    try:
        with subject(place):
            pores = porosity_pct.evaluate(bulk_density_g_cm3=density)
            judged = bulk_density_class.evaluate(bulk_density_g_cm3=density,
                                                 texture=sample.texture)
            if water is not None:
                air = air_filled_porosity_pct.evaluate(bulk_density_g_cm3=density, water_pct=water)
                filled = water_filled_pore_space_pct.evaluate(bulk_density_g_cm3=density,
                                                              water_pct=water)
    except ImpossibleInput:
        return None  # denser than the particles: reading the case warns about it
    status, severity = STEP[str(judged.value)]
    short_of_air = air is not None and bool(air.details["below_limit"])
    if short_of_air and severity < 2:
        status, severity = m.Status.WATCH, max(severity, 1)
    evidence = [m.stated("compaction.for_density", judged, density=density,
                         line=judged.details["line"], ideal=judged.details["ideal_below"],
                         affects=judged.details["affects_from"],
                         restricts=judged.details["restricts_above"])]
    if judged.details["milder"]:
        evidence.append(m.stated("compaction.against_density", judged,
                                 milder=judged.details["milder"]))
    if air is not None and filled is not None:
        evidence.append(m.Evidence(
            m.Side.FOR if short_of_air else m.Side.CONTEXT,
            say("compaction.evidence_air", air=air.value, filled=filled.value,
                limit=constant("air_limit"), best=constant("wfps_best"), fits=air.within_range),
            m.Grade.CALCULATED, (air.source, filled.source, "cook-knight-2003"), (air, filled)))
    needs: tuple[m.Need, ...] = ()
    if severity:
        needs = (m.Need(m.NeedKind.MANAGE, "structure", "",
                        say("compaction.need_structure", where=place_of(sample)),
                        place=place_of(sample),
                        area_ac=sample_area_ac(case, sample)),)
    return m.Finding(
        id=f"compaction.density.{sample.id}.{increment.top_in:g}-{increment.bottom_in:g}",
        title=say("compaction.title_density", density=density, judged=judged.value,
                  where=place, short_of_air=short_of_air),
        status=status,
        severity=severity,
        confidence=grade_confidence(age_days=age_days(case, sample.date),
                                    enough_replicates=False,
                                    agrees=judged.details["milder"] is None),
        grade=m.Grade.CALCULATED,
        value=density,
        unit="g/cm3",
        reference=say("compaction.reference_density", restricts=judged.details["restricts_above"],
                      texture=sample.texture),
        place=place,
        body=(say("compaction.body_pores", pores=pores.value),),
        evidence=tuple(evidence),
        needs=needs,
        sources=(judged.source,),
        results=tuple(r for r in (judged, pores, air, filled) if r is not None),
    )


def _texture(case: CaseFile, place: m.Place) -> str | None:
    """Texture of the sample at that place, or the one texture of all samples."""
    textures = {s.texture for s in case.samples if s.texture and s.texture not in ORGANIC}
    for sample in case.samples:
        if sample.texture and sample.id == place.id:
            return sample.texture
    return textures.pop() if len(textures) == 1 else None


def infiltration_finding(case: CaseFile) -> m.Finding | None:
    """How fast water went in, beside what the texture leads one to expect."""
    part = case.infiltration
    if part is None:
        return None
    rates = [r.value for r in part.rates if r.plain]
    limits = [r.typed for r in part.rates if not r.plain]
    place = named_place(case, part.place)
    if not rates:
        return m.Finding(
            id="compaction.infiltration",
            title=say("compaction.title_intake_limits", where=place, limits=limits),
            status=m.Status.UNCERTAIN, severity=0, confidence=m.Confidence.LOW,
            grade=m.Grade.MEASURED, place=place, body=(say("compaction.body_intake_limits"),),
        )
    texture = _texture(case, place)
    with subject(place):
        spread = mean_interval.evaluate(values=rates) if len(rates) > 1 else None
        mean = float(spread.value) if spread else rates[0]
        expected = expected_infiltration.evaluate(texture=texture) if texture else None
        judged = permeability_class.evaluate(rate_in_h=mean)
    low = max(float(spread.details["low"]), 0.0) if spread else None
    high = float(spread.details["high"]) if spread else None
    floor = expected.value if expected else None
    # one ring has no interval; several whose interval holds the floor settle nothing either
    unsettled = floor is not None and (
        mean < floor if low is None or high is None else low <= floor <= high)
    status, severity = m.Status.NOTED, 0
    if floor is not None:
        if high is not None and high < floor:
            status, severity = m.Status.LIMITING, 2
        elif unsettled:
            status = m.Status.UNCERTAIN
        else:
            status = m.Status.ADEQUATE
    elif judged.value in ("very slow", "slow"):
        status, severity = m.Status.WATCH, 1
    body = [say("compaction.body_intake", n=len(rates), low=low, high=high, method=part.method)]
    if limits:
        body.append(say("compaction.body_intake_censored", limits=limits))
    evidence = [m.stated("compaction.for_intake", judged, name=judged.value,
                         low=judged.details["low_in_h"], high=judged.details["high_in_h"])]
    if expected is not None and floor is not None:
        evidence.append(m.on_side(m.Side.FOR if severity else m.Side.CONTEXT,
                                  "compaction.evidence_expected", expected, texture=texture,
                                  low=floor, high=expected.details["high_in_h"], below=mean < floor,
                                  unsettled=unsettled))
    evidence.append(m.on_side(m.Side.AGAINST if severity else m.Side.CONTEXT,
                              "compaction.context_rings", n=len(rates)))
    needs: tuple[m.Need, ...] = ()
    if severity:
        needs = (m.Need(m.NeedKind.MANAGE, "surface", "",
                        say("compaction.need_surface", where=place), place=place),)
    elif unsettled:
        needs = (m.Need(m.NeedKind.MEASURE, "rings", "",
                        say("compaction.need_rings", where=place, n=MORE_RINGS), place=place,
                        sources=("nrcs-soil-quality-kit",)),)
    return m.Finding(
        id="compaction.infiltration",
        title=say("compaction.title_intake", rate=mean, name=judged.value, where=place,
                  below=severity == 2, unsettled=unsettled),
        status=status,
        severity=severity,
        confidence=m.Confidence.LOW if unsettled else grade_confidence(
            age_days=age_days(case, part.date), enough_replicates=len(rates) > FEW_RINGS,
            method_matches=texture is not None),
        grade=m.Grade.MEASURED,
        value=mean, low=low, high=high,
        unit="in/h",
        reference=say("compaction.reference_intake", low=floor, texture=texture),
        place=place,
        body=tuple(body),
        evidence=tuple(evidence),
        needs=needs,
        sources=tuple(r.source for r in (judged, expected) if r is not None),
        results=tuple(r for r in (spread, judged, expected) if r is not None),
    )
