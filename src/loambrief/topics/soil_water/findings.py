"""How much water the soil holds for the crop, how much may go, and how often to irrigate."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile
from loambrief.case.select import sample_area_ac
from loambrief.findings import model as m
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.model import say
from loambrief.findings.places import place_of
from loambrief.topics.salinity.formulas_water import water_with_leaching
from loambrief.topics.salinity.state import irrigated
from loambrief.topics.soil_water.state import (
    CropWater,
    ZoneWater,
    asked,
    crop_water,
    leaching,
    zone_water,
)

FAO, SURVEY, SECOND = "allen-1998-fao56", "nrcs-awc-lookup", "nmsu-soil-moisture"
INTERVAL = "irrigation interval"
"""Item of the habit of irrigating before the allowed water is used."""
PARTLY_WET = ("drip",)
"""Ways of watering that wet a part of the root zone: no interval follows from its water."""
FLOODED = ("flood",)


def assess(case: CaseFile) -> m.Assessment:
    """Water held, allowed depletion and interval of every sample of an irrigated field.

    Nothing for fields on rain unless the case gives a rooting depth or a reference ET.
    """
    if not asked(case):
        return m.Assessment()
    crop = crop_water(case)
    if crop is None:
        return m.Assessment(missing=(m.lacks("soil_water.missing_crop", crop=case.field.crop),))
    findings: list[m.Finding] = []
    missing: list[m.Missing] = []
    for sample in case.samples:
        zone = zone_water(sample, crop)
        if zone is None:
            missing.append(m.lacks("soil_water.missing_texture", where=place_of(sample),
                                   texture=sample.texture))
            continue
        findings.append(_held(case, crop, zone))
        if zone.days is not None and irrigated(case):
            findings.append(_interval(case, crop, zone))
    if findings and crop.use is None and irrigated(case):
        missing.append(m.lacks("soil_water.missing_reference"))
    return m.Assessment(tuple(findings), tuple(missing))


def _held(case: CaseFile, crop: CropWater, zone: ZoneWater) -> m.Finding:
    held, share = zone.held, crop.share
    second = held.details["second"]
    lines = [
        m.stated("soil_water.for_texture", held, texture=zone.sample.texture, water=held.value,
                 depth=crop.depth_in),
        m.stated("soil_water.for_share", share, zone.allowed, crop=case.field.crop,
                 share=share.value, table=share.details["table"],
                 use=None if crop.use is None else crop.use.value),
        m.stated("soil_water.context_roots", crop.root, crop=case.field.crop, low=crop.root.value,
                 high=crop.root.details["high"], line=crop.root.details["line"], dug=crop.dug,
                 depth=crop.depth_in),
    ]
    if second is not None:
        lines.append(m.stated("soil_water.against_second", water=second, first=held.value))
    above = () if zone.above is None else (zone.above.held,)
    if zone.above is not None:
        lines.append(m.stated("soil_water.against_dense", *above, top=crop.dense_in,
                              water=zone.above.held.value))
    return m.Finding(
        id=f"soil_water.held.{zone.sample.id}",
        title=say("soil_water.title_held", water=held.value, depth=crop.depth_in,
                  allowed=zone.allowed.value, where=zone.place),
        status=m.Status.NOTED, severity=0,
        confidence=grade_confidence(method_matches=False, agrees=second is None or
                                    abs(float(second) - held.number) < 0.15 * held.number),
        grade=m.Grade.CALCULATED,
        reference=say("soil_water.reference_held", share=share.value),
        place=zone.place,
        body=(say("soil_water.body_held", low=held.details["low"], high=held.details["high"],
                  allowed_low=zone.allowed_ends[0], allowed_high=zone.allowed_ends[1]),),
        evidence=tuple(lines), sources=(SURVEY, FAO),
        results=(held, crop.root, share, zone.allowed, *above))


def _interval(case: CaseFile, crop: CropWater, zone: ZoneWater) -> m.Finding:
    """Days between irrigations at full cover, where the whole root zone is wetted."""
    assert zone.days is not None and zone.days_ends is not None and crop.use is not None
    method = case.field.irrigation
    whole = method not in PARTLY_WET
    drain = leaching(case)
    gross: Result | None = None
    if drain:
        with subject(zone.place):
            gross = water_with_leaching.evaluate(
                et=zone.allowed.number if whole else crop.use.number, leaching_fraction=drain)
    dense = zone.above.days if zone.above is not None and whole else None
    params: dict[str, object] = {
        "crop": case.field.crop, "allowed": zone.allowed.value, "use": crop.use.value,
        "days": zone.days.value, "low": zone.days_ends[0], "high": zone.days_ends[1],
        "drain": drain, "gross": None if gross is None else gross.value,
        "dense": crop.dense_in, "dense_days": None if dense is None else dense.value}
    known = tuple(r for r in (crop.use, zone.allowed, zone.days, gross, dense) if r is not None)
    lines = [m.stated("soil_water.for_use", crop.use, crop=case.field.crop, use=crop.use.value,
                      line=crop.root.details["line"], coefficient=crop.use.details["coefficient"],
                      reference=crop.use.inputs["reference_et"]),
             m.stated("soil_water.against_coefficient")]
    if drain is None:
        lines.append(m.stated("soil_water.against_no_leaching", tested=case.water is not None))
    need = m.Need(
        kind=m.NeedKind.MANAGE, item=INTERVAL, unit="",
        text=say("soil_water.need_interval", where=zone.place, whole=whole, **params),
        place=zone.place, area_ac=sample_area_ac(case, zone.sample), results=known,
        sources=(FAO, SURVEY),
        cautions=(say("soil_water.caution_feel", flooded=method in FLOODED),), params=params)
    return m.Finding(
        id=f"soil_water.interval.{zone.sample.id}",
        title=say("soil_water.title_interval", whole=whole, where=zone.place, **params),
        status=m.Status.NOTED, severity=0,
        confidence=grade_confidence(method_matches=False, agrees=drain is not None),
        grade=m.Grade.CALCULATED, place=zone.place,
        body=(say("soil_water.body_interval", whole=whole, **params),),
        evidence=tuple(lines), needs=(need,), sources=(FAO, SURVEY), results=known)
