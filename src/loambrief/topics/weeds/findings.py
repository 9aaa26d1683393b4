"""Weeds: a screening sign that is held against measurements and never sets a rate."""

from loambrief.case.schema import CaseFile
from loambrief.findings.model import Assessment, gathered, lacks
from loambrief.topics.weeds.control import control_finding
from loambrief.topics.weeds.hints import hints_finding
from loambrief.topics.weeds.lists import claims_finding, competition_finding, safety_finding
from loambrief.topics.weeds.state import seen_weeds


def assess(case: CaseFile) -> Assessment:
    """Findings on the weeds of a case: hints, control, claims, competition and safety."""
    seen = seen_weeds(case)
    if not seen:
        return Assessment()
    bare = list(dict.fromkeys(s.name for s in seen if s.cover is None))
    return gathered([hints_finding(case, seen), control_finding(case, seen),
                     claims_finding(case, seen), competition_finding(case, seen),
                     safety_finding(case, seen),
                     lacks("weeds.missing_cover", names=bare) if bare else None])
