"""Hay and forage tests: relative feed value, relative forage quality, grades, dangers to stock."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Forage
from loambrief.case.select import age_days
from loambrief.errors import ImpossibleInput
from loambrief.findings import model as m
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.crop_kinds import FORAGE, kept_stock, known_crop
from loambrief.findings.model import say
from loambrief.findings.places import lot_place
from loambrief.tables import load
from loambrief.topics.forage.formulas import (
    coefficient,
    relative_feed_value,
    relative_forage_quality,
)
from loambrief.topics.forage.formulas_grades import afgc_hay_grade, usda_hay_grade
from loambrief.topics.forage.grazing import stock_findings
from loambrief.topics.forage.minerals import (
    calcium_phosphorus_finding,
    mineral_finding,
    tetany_finding,
)
from loambrief.topics.forage.stand import hazard_finding, stand_finding
from loambrief.topics.forage.stock import RUMINANTS, ash_finding, nitrate_finding, sugar_finding
from loambrief.topics.forage.weeds import poisonous_hay, weedy_hay
from loambrief.units import plain

RFQ_PARTS = ("crude_protein", "adf", "ndf", "ether_extract", "ash", "ndfd_48h")


def assess(case: CaseFile) -> m.Assessment:
    """Findings on the forage tests of a case, and what of them is missing."""
    said: list[m.Said] = []
    for test in case.forage:
        sure, place = _confidence(case, test), lot(test)
        quality = _quality(case, test, sure)
        said += ([m.lacks("forage.missing_fibre", name=place)] if quality is None
                 else [quality, _rfq(test, sure)])
        said += [nitrate_finding(case, test, place, sure), sugar_finding(case, test, place, sure),
                 ash_finding(test, place, sure), tetany_finding(case, test, place, sure),
                 calcium_phosphorus_finding(case, test, place, sure),
                 mineral_finding(case, test, place, sure)]
    said += [weedy_hay(case), *poisonous_hay(case), *stock_findings(case), stand_finding(case),
             hazard_finding(case), *_missing(case)]
    return m.gathered(said)


def lot(test: Forage) -> m.Place:
    """The hay of a test, named by its id and the cutting if stated."""
    return lot_place(test.id, f"{test.id} ({test.cutting})" if test.cutting else test.id)


def _confidence(case: CaseFile, test: Forage) -> m.Confidence:
    cores = test.cores or 0
    return grade_confidence(age_days=age_days(case, test.date),
                            enough_replicates=cores >= coefficient("cores_wanted"))


def _feeds_forage(case: CaseFile) -> bool:
    crop = known_crop(case.field.crop)
    return bool(kept_stock(case)) or (crop is not None and crop.group in FORAGE)


def _missing(case: CaseFile) -> list[m.Missing]:
    found = []
    if not case.forage and _feeds_forage(case):
        found.append(m.lacks("forage.missing_test"))
    if any(s in RUMINANTS for s in kept_stock(case)):
        found += [m.lacks("forage.missing_nitrate", name=lot(t))
                  for t in case.forage if t.nitrate is None]
    if case.forage and "horses" in kept_stock(case) and all(t.nsc is None for t in case.forage):
        found.append(m.lacks("forage.missing_nsc"))
    return found


def _feed_value(test: Forage) -> Result | None:
    adf, ndf = plain(test.adf), plain(test.ndf)
    if adf is None or ndf is None:
        return None
    try:
        return relative_feed_value.evaluate(adf_pct=adf, ndf_pct=ndf)
    except ImpossibleInput:
        return None  # more ADF than NDF, or none: reading the case asks about it


def _quality(case: CaseFile, test: Forage, sure: m.Confidence) -> m.Finding | None:
    with subject(lot(test)):
        rfv = _feed_value(test)
        if rfv is None:
            return None
        grade = _grade(test)
        council = afgc_hay_grade.evaluate(rfv=rfv.value)
    error = float(rfv.details["error"])
    value = float(rfv.value)
    dairy = "dairy" in kept_stock(case) and test.kind == "legume"
    goal = coefficient("dairy_rfv")
    status, severity = m.Status.NOTED, 0
    if dairy:
        status = m.Status.ADEQUATE
        if value + error < goal:
            status, severity = m.Status.WATCH, 1
        elif value < goal:
            status = m.Status.UNCERTAIN
    body: list[m.Message] = [say("forage.body_rfv", ddm=rfv.details["ddm_pct"],
                                 dmi=rfv.details["dmi_pct"], error=error)]
    cores = test.cores
    if cores is None or cores < coefficient("cores_wanted"):
        body.append(say("forage.body_cores", cores=cores, wanted=coefficient("cores_wanted")))
    evidence = [
        m.stated("forage.for_fibre", rfv, adf=plain(test.adf), ndf=plain(test.ndf),
                 protein=plain(test.crude_protein)),
    ]
    if grade is not None and grade.value is not None:
        columns = {k: v for k, v in grade.details.items() if k != "agree"}
        evidence.append(m.Evidence(
            m.Side.CONTEXT if grade.details["agree"] else m.Side.AGAINST,
            say("forage.evidence_grade", grade=grade.value, columns=columns,
                agree=grade.details["agree"], grass=test.kind == "grass"),
            m.Grade.CALCULATED, (grade.source, "hayforage-grading"), (grade,)))
    if test.kind != "grass":
        evidence.append(m.Evidence(
            m.Side.CONTEXT, say("forage.context_council", grade=council.value),
            m.Grade.CALCULATED, (council.source, "hayforage-grading"), (council,)))
    evidence += [
        m.stated("forage.against_error", adf=coefficient("adf_error"),
                 ndf=coefficient("ndf_error")),
        m.stated("forage.against_rfv", grass=test.kind == "grass"),
    ]
    results = tuple(r for r in (rfv, grade, council) if r is not None)
    return m.Finding(
        id=f"forage.quality.{test.id}",
        title=say("forage.title_rfv", name=lot(test), rfv=value, error=error,
                  grade=None if grade is None else grade.value, dairy=dairy and severity > 0),
        status=status,
        severity=severity,
        confidence=sure,
        grade=m.Grade.CALCULATED,
        value=value, low=value - error, high=value + error, printed_span=True,
        reference=say("forage.reference_rfv", adf=coefficient("rfv_reference_adf"),
                      ndf=coefficient("rfv_reference_ndf"), goal=goal if dairy else None),
        place=lot(test),
        body=tuple(body),
        evidence=tuple(evidence),
        sources=m.sources_of(results),
        results=results,
    )


def _grade(test: Forage) -> Result | None:
    protein = plain(test.crude_protein)
    if test.kind == "grass" and protein is None:
        return None
    return usda_hay_grade.evaluate(kind=test.kind, cp_pct=protein, adf_pct=plain(test.adf),
                                   ndf_pct=plain(test.ndf))


def _rfq(test: Forage, sure: m.Confidence) -> m.Finding | m.Missing:
    """Relative forage quality, or what keeps it from being worked out."""
    parts = {name: plain(getattr(test, name)) for name in RFQ_PARTS}
    lacking = [name for name, value in parts.items() if value is None]
    if lacking:
        return m.lacks("forage.missing_rfq", name=lot(test), lacking=lacking,
                       thirty="ndfd_48h" in lacking and test.ndfd_30h is not None)
    with subject(lot(test)):
        try:
            rfq = relative_forage_quality.evaluate(
                kind=test.kind, cp_pct=parts["crude_protein"], adf_pct=parts["adf"],
                ndf_pct=parts["ndf"], ee_pct=parts["ether_extract"], ash_pct=parts["ash"],
                ndfd_pct=parts["ndfd_48h"])
        except ImpossibleInput:
            return m.Missing(say("forage.missing_rfq_odd", name=lot(test)),
                             say("forage.missing_rfq_means"), "forage")
        rfv = _feed_value(test)
    value = float(rfq.value)
    error = float(rfq.details["error"])
    suits = [str(r["stock"]) for r in load("forage/rfq_classes")
             if r["rfq_low"] - error <= value <= r["rfq_high"] + error]
    best = max(float(r["rfq_high"]) for r in load("forage/rfq_classes"))
    apart = None if rfv is None else value - float(rfv.value)
    return m.Finding(
        id=f"forage.rfq.{test.id}",
        title=say("forage.title_rfq", name=lot(test), rfq=value, error=error),
        status=m.Status.NOTED,
        severity=0,
        confidence=sure,
        grade=m.Grade.CALCULATED,
        value=value,
        reference=say("forage.reference_rfq", grass=test.kind == "grass"),
        place=lot(test),
        body=(
            say("forage.body_rfq", tdn=rfq.details["tdn_pct"], dmi=rfq.details["dmi_pct"],
                ndfd=parts["ndfd_48h"], average=coefficient("ndfd_average"), apart=apart),
            say("forage.body_suits", suits=suits, above=value > best, memory=True),
        ),
        evidence=(
            m.stated("forage.for_rfq", rfq),
            m.stated("forage.against_rfq", error=error),
        ),
        sources=(rfq.source, "uga-forage-glossary", "moore-undersander-2002",
                 "undersander-rfq-classes"),
        results=(rfq,),
    )
