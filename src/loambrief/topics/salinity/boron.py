"""Boron in irrigation water and in the soil's extract, against what the crop bears."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Sample
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.findings.places import place_of
from loambrief.topics.salinity.formulas_crops import boron_threshold
from loambrief.topics.sampling.age import sample_confidence
from loambrief.units import plain

SOURCE = "maas-1990-boron"
LEAF = "tissue"
"""Item of the leaf test."""


def crop_limit(crop: str) -> Result | None:
    with subject(crop):
        return boron_threshold.held(crop=crop)


def boron_in_water(case: CaseFile) -> m.Evidence | None:
    """The water's boron beside what the crop of the field bears."""
    value = None if case.water is None else plain(case.water.boron)
    limit = None if value is None else crop_limit(case.field.crop)
    if value is None or limit is None:
        return None
    over = value >= limit.number
    return m.on_side(m.Side.FOR if over else m.Side.AGAINST, "salinity.boron_crop", limit,
                     crop=case.field.crop, value=value, low=limit.value, high=limit.details["high"],
                     over=over, memory=limit.how == "memory")


def boron_finding(case: CaseFile, sample: Sample) -> m.Finding | None:
    """Boron of the saturation extract: the slice that holds most of it speaks."""
    read = [(value, inc) for inc in sample.increments if inc.extract is not None
            and (value := plain(inc.extract.boron)) is not None]
    if not read:
        return None
    value, increment = max(read, key=lambda pair: pair[0])
    place = place_of(sample, increment)
    limit = crop_limit(case.field.crop)
    if limit is None:
        return m.Finding(
            id=f"salinity.boron.{sample.id}",
            title=say("salinity.title_boron_open", crop=case.field.crop, value=value, where=place),
            status=m.Status.UNCERTAIN, severity=0, confidence=sample_confidence(case, sample),
            grade=m.Grade.MEASURED, value=value, unit="mg/L", place=place,
            body=(say("salinity.body_boron_open", crop=case.field.crop),), sources=(SOURCE,))
    low, high = limit.number, float(limit.details["high"])
    severity = (value >= low) + (value > high)
    needs: tuple[m.Need, ...] = ()
    if severity:
        needs = (m.Need(kind=m.NeedKind.MEASURE, item=LEAF, unit="", place=place,
                        text=say("salinity.need_leaf_boron", crop=case.field.crop, where=place),
                        results=(limit,), sources=(SOURCE,)),)
    return m.Finding(
        id=f"salinity.boron.{sample.id}",
        title=say("salinity.title_boron", crop=case.field.crop, value=value, level=severity,
                  where=place),
        status=(m.Status.ADEQUATE, m.Status.WATCH, m.Status.LIMITING)[severity], severity=severity,
        confidence=sample_confidence(case, sample), grade=m.Grade.MEASURED, value=value,
        unit="mg/L", place=place,
        reference=say("salinity.reference_boron", low=low, high=high),
        body=(say("salinity.body_boron", level=severity),),
        evidence=(m.stated("salinity.for_boron", limit, crop=case.field.crop, value=value, low=low,
                           high=high, memory=limit.how == "memory"),),
        needs=needs, sources=(SOURCE,), results=(limit,))
