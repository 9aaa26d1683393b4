"""Sulfur of one sample: the chance of a response, and what the leaf says beside it."""

from collections.abc import Iterator
from typing import Any

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import Increment, Sample
from loambrief.case.select import sample_area_ac
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import seeded_in_rows
from loambrief.findings.model import nutrient as judged
from loambrief.findings.model import say
from loambrief.findings.places import place_of
from loambrief.topics.nutrients.formulas_micronutrients import (
    sulfur_from_organic_matter,
    sulfur_rate,
    sulfur_response,
)
from loambrief.topics.nutrients.leaf import beside_leaf, enough, leaf_class, short
from loambrief.topics.nutrients.state import NutrientState, guide_reads, zone
from loambrief.units import plain

SULFUR_REGION = "Minnesota"
ARID_PH = 7.5
"""From this pH an irrigated western soil seldom lacks sulfur (Colorado State)."""
OPEN = ("possible", "uncertain")
"""Chances that a leaf decides."""


def sulfur(state: NutrientState, sample: Sample,
           increment: Increment) -> Iterator[m.Finding | m.Missing]:
    """Chance of a sulfur response by organic matter and texture, unless the guide reads sulfate."""
    if guide_reads(state, sample, increment, "S"):
        return
    matter = plain(increment.organic_matter)
    place = place_of(sample, increment)
    if matter is None:
        still = judged("S", place, m.Verdict.NOT_JUDGED, "not_measured", "organic_matter")
        yield m.lacks("nutrients.missing_organic_matter", judgements=(still,), where=place)
        return
    with subject(place):
        chance = sulfur_response.evaluate(organic_matter_pct=matter, texture=sample.texture)
        supply = sulfur_from_organic_matter.evaluate(organic_matter_pct=matter)
        rate = sulfur_rate.evaluate(crop=state.crop.name)
    irrigated = state.case.field.irrigation != "none" and (increment.ph or 0.0) >= ARID_PH
    expected = "not expected" if irrigated else str(chance.value)
    local = state.lies_in(SULFUR_REGION)
    disagrees = expected == "likely" and chance.details["nebraska"] == "not expected"
    leaf = leaf_class(state, sample, "S")
    asks = (expected == "likely" and not enough(leaf)) or (expected in OPEN and short(leaf))
    needs: tuple[m.Need, ...] = ()
    if asks and rate.value is not None:
        needs = (m.Need(
            kind=m.NeedKind.NUTRIENT, item="S", unit="lb/ac",
            text=say("nutrients.need_sulfur", crop=state.crop.name), place=zone(sample),
            area_ac=sample_area_ac(state.case, sample), amount=float(rate.value),
            low=float(rate.details["low"]), high=float(rate.details["high"]),
            results=(rate,), sources=(rate.source,), printed_span=True,
            cautions=(say("nutrients.caution_thiosulfate",
                          seeded=seeded_in_rows(state.case, state.crop)),),
        ),)
    watch = expected in ("likely", "possible")
    yield m.Finding(
        id=f"nutrients.sulfur.{sample.id}",
        title=say("nutrients.title_sulfur", expected=expected, where=place),
        status=m.Status.WATCH if watch else m.Status.NOTED, severity=1 if watch else 0,
        confidence=state.confidence(
            sample, method_matches=local,
            agrees=not disagrees and not (expected == "likely" and enough(leaf))),
        grade=m.Grade.CALCULATED, value=matter, unit="%", place=place,
        body=(say("nutrients.sulfur_body", expected=expected, matter=matter,
                  low=supply.details["low"], high=supply.details["high"],
                  has_rate=bool(needs), leaf_short=short(leaf), leaf_enough=enough(leaf)),),
        evidence=(*_sulfur_evidence(increment, chance, irrigated, local, disagrees),
                  *((beside_leaf("S", leaf),) if leaf is not None else ())),
        needs=needs, sources=tuple(dict.fromkeys((chance.source, supply.source))),
        results=(chance, supply, *((rate,) if needs else ())),
        judgements=(_sulfur_judgement(state, place, expected, bool(needs), irrigated or local,
                                      matter, leaf),),
    )


def _sulfur_judgement(state: NutrientState, place: m.Place, expected: str, rated: bool,
                      at_home: bool, matter: float, leaf: Result | None) -> m.Judgement:
    """Organic matter tells the chance of a response; only where the rule was made it settles it."""
    params: dict[str, Any] = {"crop": state.crop.name, "matter": matter, "expected": expected}
    if rated:
        return judged("S", place, m.Verdict.NEEDED,
                      "leaf_short" if short(leaf) else "response_likely", **params)
    if enough(leaf):
        return judged("S", place, m.Verdict.NOT_NEEDED, "leaf_enough", **params)
    if expected == "not expected" and at_home:
        return judged("S", place, m.Verdict.NOT_NEEDED, "response_not_expected", **params)
    return judged("S", place, m.Verdict.NOT_JUDGED,
                  "response_open" if at_home else "rule_from_elsewhere", "leaf_test", **params)


def _sulfur_evidence(increment: Increment, chance: Result, irrigated: bool, local: bool,
                     disagrees: bool) -> Iterator[m.Evidence]:
    yield m.stated("nutrients.evidence_sulfur", chance, local=local)
    if irrigated:
        yield m.stated("nutrients.evidence_sulfur_water")
    if disagrees:
        yield m.stated("nutrients.evidence_sulfur_nebraska")
    if increment.sulfate_s is not None:
        yield m.stated("nutrients.evidence_sulfate", value=increment.sulfate_s.value,
                       censor=increment.sulfate_s.censor)
