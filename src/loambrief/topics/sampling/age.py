"""Whether a sample of a case is still current, by the interval of its guide."""

from dataclasses import replace

from loambrief.agronomy.guides import known_guides
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Sample
from loambrief.case.select import age_days
from loambrief.findings import model as m
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.model import say
from loambrief.findings.places import place_of
from loambrief.topics.sampling.formulas import CURRENT, TOO_OLD, sample_age_class

DAYS_PER_YEAR = 365.25
OF_SAMPLES = ("salinity", "cations", "stratification", "carbon_nitrogen")
"""Topics that read a soil sample and leave its age to :func:`held_to_no_rate`; acidity and
nutrients say it in their own words."""
AMENDMENTS = {m.NeedKind.LIME: "lime", m.NeedKind.GYPSUM: "gypsum", m.NeedKind.ACIDIFY: "sulfur"}
KEPT = (m.NeedKind.MEASURE, m.NeedKind.MANAGE, m.NeedKind.ORGANIC_MATTER)
"""Needs that rest on no amount of an old test."""


def sample_age(case: CaseFile, sample: Sample) -> Result:
    """Class of the age of a sample at the date of the advice."""
    guide = case.guide if case.guide in known_guides() else None
    years = max(age_days(case, sample.date), 0) / DAYS_PER_YEAR
    with subject(place_of(sample)):
        return sample_age_class.evaluate(age_years=years, guide=guide)


def past_interval(case: CaseFile, sample: Sample) -> bool:
    """Past the interval of its guide: what it says is less sure."""
    return sample_age(case, sample).value != CURRENT


def sample_confidence(case: CaseFile, sample: Sample, *, matches: bool = True,
                      enough: bool = True, agrees: bool = True) -> m.Confidence:
    """Confidence in what one soil sample says, by the written rule (``grade_confidence``)."""
    return grade_confidence(past_interval=past_interval(case, sample), cores=sample.cores,
                            cores_matter=True, method_matches=matches, enough_replicates=enough,
                            agrees=agrees)


def too_old(case: CaseFile, sample: Sample) -> bool:
    """So old that no rate is taken from it."""
    return sample_age(case, sample).value == TOO_OLD


def age_params(case: CaseFile, sample: Sample) -> dict[str, object]:
    """Values that say how old a sample is, and from when on it gives no rate [years]."""
    result = sample_age(case, sample)
    return {"years": age_days(case, sample.date) / DAYS_PER_YEAR,
            "most": result.details["too_old_years"], "own": result.details["own_guide"]}


def too_old_body(case: CaseFile, sample: Sample) -> m.Message:
    return say("sampling.too_old_body", **age_params(case, sample))


def held_to_no_rate(case: CaseFile, finding: m.Finding) -> m.Finding:
    """A finding as it stands, or without rate, rank and verdict where its sample is too old."""
    sample = next((s for s in case.samples if s.id == finding.place.id), None)
    if finding.topic not in OF_SAMPLES or sample is None or not too_old(case, sample):
        return finding
    about = {"methods": [], "years": age_params(case, sample)["years"]}
    judged = {j.key: replace(j, verdict=m.Verdict.NOT_JUDGED, reason="sample_too_old",
                             settled_by="soil_test", amount=None, unit="",
                             params={**j.params, "test": j.key, **about})
              for j in finding.judgements}
    for need in finding.needs:  # what it would have asked for stands open
        key = need.item if need.kind is m.NeedKind.NUTRIENT else AMENDMENTS.get(need.kind, "")
        if key and key not in judged:
            of_kind = m.nutrient if need.kind is m.NeedKind.NUTRIENT else m.amendment
            judged[key] = of_kind(key, need.place, m.Verdict.NOT_JUDGED, "sample_too_old",
                                  "soil_test", test=key, crop=case.field.crop, **about)
    return replace(
        finding,
        status=m.Status.UNCERTAIN if finding.severity else m.Status.NOTED,
        severity=min(finding.severity, 1), confidence=m.Confidence.LOW,
        body=(*finding.body, too_old_body(case, sample)), advise_against=(),
        needs=tuple(n for n in finding.needs if n.kind in KEPT),
        judgements=tuple(judged.values()))
