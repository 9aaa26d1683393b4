"""Whether a sample of a case is still current, by the interval of its guide."""

from __future__ import annotations

from loambrief.agronomy.guides import known_guides
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Sample
from loambrief.case.select import age_days
from loambrief.findings.model import Message, say
from loambrief.findings.places import place_of
from loambrief.topics.sampling.formulas import CURRENT, TOO_OLD, sample_age_class

DAYS_PER_YEAR = 365.25


def sample_age(case: CaseFile, sample: Sample) -> Result:
    """Class of the age of a sample at the date of the advice."""
    guide = case.guide if case.guide in known_guides() else None
    years = max(age_days(case, sample.date), 0) / DAYS_PER_YEAR
    with subject(place_of(sample)):
        return sample_age_class.evaluate(age_years=years, guide=guide)


def past_interval(case: CaseFile, sample: Sample) -> bool:
    """Past the interval of its guide: what it says is less sure."""
    return sample_age(case, sample).value != CURRENT


def too_old(case: CaseFile, sample: Sample) -> bool:
    """So old that no rate is taken from it."""
    return sample_age(case, sample).value == TOO_OLD


def age_params(case: CaseFile, sample: Sample) -> dict[str, object]:
    """Values that say how old a sample is, and from when on it gives no rate [years]."""
    result = sample_age(case, sample)
    return {"years": age_days(case, sample.date) / DAYS_PER_YEAR,
            "most": result.details["too_old_years"], "own": result.details["own_guide"]}


def too_old_body(case: CaseFile, sample: Sample) -> Message:
    return say("sampling.too_old_body", **age_params(case, sample))
