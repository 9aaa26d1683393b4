"""The nitrogen line: the rate that the adviser set, against what is there already.

It stands above every rate by a published method. This works out what the legume
before, manure spread within the year, nitrate in the soil and in irrigation water bring, takes it
off a rate that is from all sources, and names what could not be counted.
"""

from loambrief.case.schema import CaseFile, Sample
from loambrief.case.schema_plan import Nitrogen
from loambrief.case.select import sample_area_ac
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.findings.places import field_place, place_of
from loambrief.topics.carbon_nitrogen.credits import cover_credits, credits_of, uncounted
from loambrief.topics.carbon_nitrogen.fit import lies_in

FROM_ALL = "from all sources"
COVER_RULE = ("Oregon", "Washington")
"""Where the rule for killed cover crops was made (sullivan-andrews-2012-pnw636)."""
LINE = "carbon_nitrogen.nitrogen_line"
"""Start of the ids of these findings."""
RATE = "carbon_nitrogen.nitrogen_rate"
"""Start of the ids of findings with a rate by a published method."""


def nitrogen_line(case: CaseFile) -> list[m.Finding]:
    """One finding for each sampled zone, or for the field; none where no rate was set."""
    line = case.nitrogen
    if line is None:
        return []
    zones: list[Sample | None] = list(case.samples) or [None]
    return [_finding(case, line, zone) for zone in zones]


def _finding(case: CaseFile, line: Nitrogen, zone: Sample | None) -> m.Finding:
    place = field_place(case) if zone is None else place_of(zone)
    credits = list(credits_of(case, line, zone, place))
    if lies_in(case, *COVER_RULE):
        credits += cover_credits(case)
    counted = sum(c.amount for c in credits)
    whole = line.rate_is == FROM_ALL
    rest = max(line.rate.value - counted, 0.0) if whole else line.rate.value
    needed = rest > 0
    results = tuple(r for c in credits for r in c.results)
    asked = {"set_by": line.set_by, "rate": line.rate.value, "credits": counted, "rest": rest,
             "whole": whole}
    need = m.Need(
        kind=m.NeedKind.NUTRIENT, item="N", unit="lb/ac",
        text=say("carbon_nitrogen.need_nitrogen", amount=rest, where=place), place=place,
        area_ac=case.field.area.value if zone is None else sample_area_ac(case, zone),
        amount=rest, results=results,
        cautions=tuple(say("actions.own_caution", text=text) for text in line.cautions))
    lines = [m.stated("carbon_nitrogen.for_nitrogen", source=line.source, **asked)]
    lines += [m.Evidence(m.Side.AGAINST if whole else m.Side.CONTEXT, c.text, m.Grade.CALCULATED,
                         m.sources_of(c.results), c.results)
              for c in credits]
    body = [say("carbon_nitrogen.body_nitrogen", **asked)]
    if line.reason is not None:
        body.append(say("carbon_nitrogen.body_nitrogen_reason", reason=line.reason))
    open_ones = list(uncounted(case, {c.kind for c in credits}))
    if open_ones:
        body.append(say("carbon_nitrogen.body_nitrogen_open", kinds=open_ones))
    return m.Finding(
        id=f"{LINE}.{place.id or 'field'}",
        title=say("carbon_nitrogen.title_nitrogen", where=place, **asked),
        status=m.Status.NOTED, severity=1 if needed else 0, confidence=m.Confidence.MEDIUM,
        grade=m.Grade.CALCULATED, value=rest, unit="lb/ac", place=place, body=tuple(body),
        evidence=tuple(lines), needs=(need,) if needed else (),
        sources=m.sources_of(results), results=results,
        judgements=(m.nutrient("N", place, m.Verdict.NEEDED if needed else m.Verdict.NOT_NEEDED,
                               "nitrogen_set" if needed else "nitrogen_covered", "", **asked),),
    )
