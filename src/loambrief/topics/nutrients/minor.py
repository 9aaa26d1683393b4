"""Sulfur and micronutrients of one sample."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
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
    ANY,
    ELEMENTS,
    INDEX_METHOD,
    manganese_activity_index,
    micronutrient_class,
    micronutrient_response,
    micronutrient_typical_rate,
)
from loambrief.topics.nutrients.leaf import beside_leaf, enough, leaf_class, short
from loambrief.topics.nutrients.state import (
    MINOR_FIELDS,
    NutrientState,
    guide_reads,
    minor_method,
    zone,
)
from loambrief.units import plain

BY_GUIDE = ("S", "Mg", "Ca", "Mo", "Cl")
"""No class scale reads these; a guide's own rule may."""
LEAF = "tissue"
"""Item of the leaf test."""
SCALES_WITH_RATE = ("minnesota boron alfalfa", "pennsylvania boron alfalfa")
BORON_SENSITIVE = ("corn", "sweet corn", "soybean", "dry bean", "snap bean", "wheat", "barley",
                   "oats", "rye", "field pea")
"""Crops hurt by boron left from a crop that needed it (corn: Pennsylvania State; the others
from memory, unverified)."""


@dataclass(frozen=True)
class Micro:
    element: str
    value: float
    unit: str
    method: str
    result: Result
    response: str | None
    results: tuple[Result, ...]
    leaf: Result | None = None
    """What the leaf of the crop says of it."""

    @property
    def status(self) -> str | None:
        return None if self.result.value is None else str(self.result.details["status"])

    @property
    def own_scale(self) -> bool:
        """True if a guide's rule, or a class scale with a rate of its own, reads the crop."""
        if self.result.details.get("by_guide"):
            return True
        return "broadcast_low" in self.result.details or self.result.details.get(
            "scale") in SCALES_WITH_RATE

    @property
    def high_at_home(self) -> bool:
        """A scale made for the place calls it high."""
        return self.status == "high" and bool(self.result.details["local"])

    @property
    def matters(self) -> bool:
        """The crop is known to respond, a rule reads it, or its leaf is short too."""
        return self.response in ("medium", "high") or self.own_scale or short(self.leaf)

    @property
    def settled_by_leaf(self) -> bool:
        """No calibrated rule reads the crop, and its leaf holds enough."""
        return enough(self.leaf) and not self.own_scale


def _micro(state: NutrientState, sample: Sample, increment: Increment,
           element: str) -> Micro | None:
    """The reading of one element; None where it was not measured as a plain number."""
    value = plain(getattr(increment, MINOR_FIELDS[element]))
    method = minor_method(sample, element)
    if value is None or method is None:
        return None
    used, read = method, value
    results: tuple[Result, ...] = ()
    guide = state.guide if state.guide and state.guide.rule(element, state.crop, method) else None
    if element == "Mn" and method == "mehlich-3" and guide is None:
        if increment.ph is None:
            return None
        index = manganese_activity_index.evaluate(manganese_ppm=value, soil_ph=increment.ph)
        used, read, results = INDEX_METHOD, float(index.value), (index,)
    found = micronutrient_class.evaluate(nutrient=element, method=used, test_ppm=read,
                                         crop=state.crop.name, region=state.region or None,
                                         guide=guide.name if guide else None)
    response = micronutrient_response.evaluate(crop=state.crop.name, nutrient=element)
    kept = (*results, found, *((response,) if response.value is not None else ()))
    return Micro(element, read, "index" if used == INDEX_METHOD else "ppm", method, found,
                 None if response.value is None else str(response.value), kept,
                 leaf_class(state, sample, element))


def micronutrients(state: NutrientState, sample: Sample, increment: Increment,
                   told: Collection[str] = ()) -> Iterator[m.Finding | m.Missing]:
    """Zinc, boron, manganese, copper and iron of one sample.

    Of those already ``told`` of as too much, only a class of the place itself is told too.
    """
    place = place_of(sample, increment)
    tested = [e for e in ELEMENTS if getattr(increment, MINOR_FIELDS[e]) is not None]
    tested += [e for e in BY_GUIDE if guide_reads(state, sample, increment, e)]
    if not tested:
        yield m.lacks("nutrients.missing_micronutrients", where=place)
        return
    with subject(place):
        read = [_micro(state, sample, increment, element) for element in tested]
    for element, found in zip(tested, read, strict=True):
        if found is None:
            method = minor_method(sample, element)
            still = judged(element, place, m.Verdict.NOT_JUDGED,
                           "method_not_stated" if method is None else "limit_unsettled", "method",
                           test=element, crop=state.crop.name)
            yield m.lacks("nutrients.missing_micro_one", judgements=(still,), element=element,
                          where=place)
    known = [x for x in read if x is not None and (x.element not in told or x.high_at_home)]
    quiet = [x for x in known if x.status == "adequate"]
    if quiet:
        yield _adequate(state, sample, place, quiet)
    for micro in known:
        if micro.status != "adequate":
            yield _one(state, sample, increment, place, micro)


def _adequate(state: NutrientState, sample: Sample, place: m.Place, quiet: list[Micro]
              ) -> m.Finding:
    local = all(x.result.details["local"] for x in quiet)
    return m.Finding(
        id=f"nutrients.micronutrients.{sample.id}",
        title=say("nutrients.title_micro_adequate", elements=[x.element for x in quiet],
                  where=place),
        status=m.Status.ADEQUATE, severity=0,
        confidence=state.confidence(sample, method_matches=local), grade=m.Grade.CALCULATED,
        place=place,
        body=(say("nutrients.micro_adequate_body", rows=[_row(x) for x in quiet]),),
        evidence=(() if local else (m.Evidence(
            m.Side.AGAINST, _elsewhere([x for x in quiet if not x.result.details["local"]]),
            m.Grade.CALCULATED, m.sources_of(x.result for x in quiet)),)),
        sources=m.sources_of(x.result for x in quiet),
        results=tuple(r for x in quiet for r in x.results),
        judgements=tuple(_micro_judgement(state, place, x, ()) for x in quiet),
    )


def _micro_judgement(state: NutrientState, place: m.Place, micro: Micro,
                     needs: tuple[m.Need, ...]) -> m.Judgement:
    """A class settles a purchase only where its scale was made for the place or for any."""
    details = micro.result.details
    params: dict[str, Any] = {
              "test": micro.element, "crop": state.crop.name, "method": micro.method,
              "value": micro.value, "unit": micro.unit}
    if micro.status is None:
        return judged(micro.element, place, m.Verdict.NOT_JUDGED, "method_without_rule",
                      "leaf_test", guide="", methods=[], **params)
    if needs and needs[-1].amount is None and details.get("by_guide"):
        assert state.guide is not None
        return judged(micro.element, place, m.Verdict.NEEDED, "rate_not_given", "other_guide",
                      guide=state.guide.title, **params)
    if needs:
        return judged(micro.element, place, m.Verdict.NEEDED, "test_low", **params)
    if micro.status in ("low", "marginal") and micro.settled_by_leaf:
        return judged(micro.element, place, m.Verdict.NOT_NEEDED, "leaf_enough", **params)
    at_home = bool(details["local"]) or details["scale_region"] == ANY
    if micro.status in ("adequate", "high"):
        if at_home:
            return judged(micro.element, place, m.Verdict.NOT_NEEDED, f"test_{micro.status}",
                          **params)
        return judged(micro.element, place, m.Verdict.NOT_JUDGED, "rule_from_elsewhere",
                      "leaf_test", **params)
    if micro.response == "low":
        return judged(micro.element, place, m.Verdict.NOT_NEEDED, "crop_seldom_responds", **params)
    return judged(micro.element, place, m.Verdict.NOT_JUDGED, "response_open", "leaf_test",
                  **params)


def _row(micro: Micro) -> dict[str, object]:
    return {"element": micro.element, "value": micro.value, "unit": micro.unit,
            "critical": micro.result.details["critical"]}


def _elsewhere(micros: list[Micro]) -> m.Message:
    """That the classes were made in other states, or for no state in particular."""
    places = sorted({str(x.result.details["scale_region"]) for x in micros} - {ANY})
    return say("nutrients.evidence_scale_region", regions=places)


def _one(state: NutrientState, sample: Sample, increment: Increment, place: m.Place,
         micro: Micro) -> m.Finding:
    status, severity = m.Status.NOTED, 0
    needs: tuple[m.Need, ...] = ()
    if micro.status is None:
        return _no_scale(state, sample, place, micro)
    if micro.status in ("low", "marginal") and micro.settled_by_leaf:
        pass
    elif micro.status == "low" and micro.matters:
        strong = micro.response == "high" or micro.own_scale or short(micro.leaf)
        status, severity = (m.Status.LIMITING, 2) if strong else (m.Status.WATCH, 1)
        need = _micro_need(state, sample, micro)
        needs = (*_leaf(state, sample, need), need)
    elif micro.status == "marginal" and micro.matters:
        status, severity = m.Status.WATCH, 1
        if "broadcast_low" in micro.result.details or short(micro.leaf):
            needs = (_micro_need(state, sample, micro),)
    local = bool(micro.result.details["local"])
    if micro.high_at_home:
        status, severity = m.Status.WATCH, 1
    evidence = [m.Evidence(m.Side.FOR, say("nutrients.evidence_micro", element=micro.element,
                                           value=micro.value, unit=micro.unit, method=micro.method),
                           m.Grade.MEASURED, (micro.result.source,), micro.results)]
    if not local:
        evidence.append(m.Evidence(m.Side.AGAINST, _elsewhere([micro]),
                                   m.Grade.CALCULATED, (micro.result.source,)))
    if micro.response == "low":
        evidence.append(m.stated("nutrients.evidence_low_response", crop=state.crop.name,
                                 element=micro.element))
    if micro.leaf is not None and micro.status in ("low", "marginal"):
        evidence.append(beside_leaf(micro.element, micro.leaf))
    return m.Finding(
        id=f"nutrients.{micro.element.lower()}.{sample.id}",
        title=say(f"nutrients.title_micro_{micro.status}", element=micro.element, where=place),
        status=status, severity=severity,
        confidence=state.confidence(sample, method_matches=local,
                                    agrees=micro.response != "low" and not enough(micro.leaf)),
        grade=m.Grade.CALCULATED, value=micro.value, unit=micro.unit,
        reference=say("nutrients.reference_micro", critical=micro.result.details["critical"],
                      high=micro.result.details["high_above"], unit=micro.unit),
        place=place,
        body=(say(f"nutrients.micro_{micro.status}_body", element=micro.element,
                  crop=state.crop.name, response=micro.response, has_need=bool(needs),
                  by_guide=bool(micro.result.details.get("by_guide")),
                  leaf_short=short(micro.leaf), leaf_enough=micro.settled_by_leaf,
                  ph=increment.ph),),
        evidence=tuple(evidence), needs=needs, sources=(micro.result.source,),
        results=micro.results, judgements=(_micro_judgement(state, place, micro, needs),),
    )


def _no_scale(state: NutrientState, sample: Sample, place: m.Place, micro: Micro) -> m.Finding:
    return m.Finding(
        id=f"nutrients.{micro.element.lower()}.{sample.id}",
        title=say("nutrients.title_micro_no_scale", element=micro.element, where=place),
        status=m.Status.UNCERTAIN, severity=0,
        confidence=state.confidence(sample, method_matches=False), grade=m.Grade.MEASURED,
        value=micro.value, unit=micro.unit, place=place,
        body=(say("nutrients.micro_no_scale_body", element=micro.element, method=micro.method,
                  crop=state.crop.name),),
        judgements=(_micro_judgement(state, place, micro, ()),),
    )


def _micro_need(state: NutrientState, sample: Sample, micro: Micro) -> m.Need:
    """Rate of the class scale itself; else the low end of the typical rate; else none."""
    details = micro.result.details
    low = high = amount = band = None
    params: dict[str, Any] = {}
    results: tuple[Result, ...] = (micro.result,)
    sources: tuple[str, ...] = (micro.result.source,)
    if "broadcast_low" in details:
        amount = low = float(details["broadcast_low"])
        high = float(details["broadcast_high"])
    else:
        typical = micronutrient_typical_rate.evaluate(nutrient=micro.element,
                                                      crop=state.crop.name)
        if typical.value is not None:
            amount = low = float(typical.value)
            high = float(typical.details["high"])
            band = typical.details["band"]
            params = {"placement": typical.details["placement"],
                      **({"first": LEAF} if _confirmed_by_leaf(micro) else {})}
            results, sources = (micro.result, typical), (micro.result.source, typical.source)
    return m.Need(
        kind=m.NeedKind.NUTRIENT, item=micro.element, unit="lb/ac",
        text=say("nutrients.need_micro", element=micro.element, crop=state.crop.name,
                 band_low=details.get("band_low", band), has_rate=amount is not None,
                 typical="broadcast_low" not in details),
        place=zone(sample), area_ac=sample_area_ac(state.case, sample),
        amount=amount, low=low, high=high, cap=high if micro.element == "B" else None,
        results=results, sources=sources,
        cautions=tuple(_micro_cautions(state, micro)), params=params,
        printed_span=True,
    )


def _confirmed_by_leaf(micro: Micro) -> bool:
    """A usual rate is no calibration: a leaf test says first whether it is spread at all."""
    return (micro.element != "B" and "broadcast_low" not in micro.result.details
            and not short(micro.leaf))


def _leaf(state: NutrientState, sample: Sample, need: m.Need) -> tuple[m.Need, ...]:
    """The leaf test that a need waits for."""
    if need.params.get("first") != LEAF:
        return ()
    return (m.Need(kind=m.NeedKind.MEASURE, item=LEAF, unit="", place=zone(sample),
                   area_ac=sample_area_ac(state.case, sample),
                   text=say("nutrients.need_leaf", crop=state.crop.name, element=need.item,
                            where=zone(sample)), results=need.results[:1],
                   sources=need.sources[:1]),)


def _micro_cautions(state: NutrientState, micro: Micro) -> Iterator[m.Message]:
    element = micro.element
    if element == "B":
        yield say("nutrients.caution_boron", seeded=seeded_in_rows(state.case, state.crop))
        following = state.case.field.following_crop
        if following and following.lower() in BORON_SENSITIVE:
            yield say("nutrients.caution_boron_next", crop=following)
    else:
        yield say("nutrients.caution_micro_check", element=element,
                  confirmed=short(micro.leaf))
    if element in ("Cu", "Zn"):
        yield say("nutrients.caution_stays", element=element)
    if element == "Ca":
        yield say("nutrients.caution_calcium")
