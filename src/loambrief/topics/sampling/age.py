"""What becomes of findings that rest on a soil sample too old to give a rate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from loambrief.agronomy.guides import known_guides
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Sample
from loambrief.case.select import age_days
from loambrief.findings.model import (
    Confidence,
    Finding,
    Judgement,
    NeedKind,
    Status,
    Verdict,
    say,
)
from loambrief.findings.places import place_of
from loambrief.topics.sampling.formulas_age import TOO_OLD, sample_age_class

DAYS_PER_YEAR = 365.25
RATES = (NeedKind.LIME, NeedKind.ACIDIFY, NeedKind.GYPSUM, NeedKind.NUTRIENT, NeedKind.LEACH)
"""What a sample gives a rate of."""
SLOW = ("carbon_nitrogen", "compaction", "weeds", "sampling")
"""Topics that a sample's age does not empty."""


def age_class(case: CaseFile, sample: Sample) -> Result:
    """Class of a sample's age on the day of the advice, by the guide's own interval."""
    years = max(age_days(case, sample.date), 0) / DAYS_PER_YEAR
    guide = case.guide if case.guide in known_guides() else None
    with subject(place_of(sample)):
        return sample_age_class.evaluate(age_years=years, guide=guide)


def without_rates(case: CaseFile, findings: Sequence[Finding]) -> list[Finding]:
    """Findings whose sample is too old, without rates, verdicts or advice against buying.

    The reading stays and is called uncertain; what it was to settle is not judged.
    """
    old = {s.id: (s, r) for s in case.samples
           if (r := age_class(case, s)).value == TOO_OLD}
    return [f if f.place.id not in old or f.topic in SLOW else _weakened(f, *old[f.place.id])
            for f in findings]


def _weakened(finding: Finding, sample: Sample, age: Result) -> Finding:
    if finding.status is Status.NOTED and not finding.judgements and not finding.needs:
        return finding
    years = age.inputs["age_years"]
    told = say("sampling.body_too_old", years=years, most=age.details["too_old_years"])
    return replace(
        finding, status=Status.UNCERTAIN, severity=min(finding.severity, 1),
        confidence=Confidence.LOW, body=(*finding.body, told),
        needs=tuple(n for n in finding.needs if n.kind not in RATES),
        advise_against=(), results=(*finding.results, age),
        sources=tuple(dict.fromkeys((*finding.sources, age.source))),
        judgements=tuple(_open(j, years) for j in finding.judgements))


def _open(judgement: Judgement, years: object) -> Judgement:
    return replace(judgement, verdict=Verdict.NOT_JUDGED, reason="sample_too_old",
                   params={**judgement.params, "years": years, "methods": []},
                   settled_by="soil_test", amount=None, unit="")
