"""Tests of soil life and structure: each beside what others call low and high.

They tell how a soil compares with others of its kind, or with itself in later years. They say
nothing of what to buy, and no rate follows from them.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.findings.places import field_place, place_of
from loambrief.tables import reference
from loambrief.topics.soil_life.formulas import (
    earthworms_per_m2,
    schemes,
    slake_class,
    soil_life_reading,
    stable_aggregates_suitable_pct,
)
from loambrief.units import CM_PER_INCH, plain

LAB = {"respiration": "ppm", "active_carbon": "ppm", "aggregate_stability": "%"}
"""Results of a laboratory, and the unit each is held in."""
DOUBTS = {"respiration": ("wade-2018-mineralizable", "wisc-soil-health-labs"),
          "active_carbon": ("margenot-2024-permanganate", "culman-2012-poxc"),
          "aggregate_stability": ("wisc-soil-health-labs",),
          "earthworms": ("gwct-earthworms",), "slake": ("nrcs-soil-quality-kit",)}
"""What speaks against reading much out of each test."""
SIEVED = "wet sieving"


@dataclass(frozen=True)
class Tested:
    """One indicator at one place."""

    indicator: str
    value: float
    unit: str
    method: str | None
    place: m.Place
    name: str
    results: tuple[Result, ...] = ()
    organic_matter: float | None = None


def assess(case: CaseFile) -> m.Assessment:
    """One finding for each test of soil life or structure that the case holds."""
    said: list[m.Said] = [_finding(test) for test in (*_laboratory(case), *_dug(case))]
    seen = case.observations
    if seen is not None and seen.earthworms and seen.hole_side is None:
        said.append(m.lacks("soil_life.missing_hole"))
    return m.gathered([*said, *_awaited(case)])


def _awaited(case: CaseFile) -> Iterator[m.Missing]:
    """Tests that a sample was sent for and whose result is not in the case."""
    for sample in case.samples:
        for indicator in sample.sent_for:
            if all(getattr(i, indicator) is None for i in sample.increments):
                yield m.lacks("soil_life.missing_result", indicator=indicator,
                              where=place_of(sample))


def _laboratory(case: CaseFile) -> Iterator[Tested]:
    for sample in case.samples:
        for increment in sample.increments:
            for indicator, unit in LAB.items():
                value = plain(getattr(increment, indicator))
                if value is not None:
                    yield Tested(indicator, value, unit,
                                 getattr(sample.methods, indicator, None),
                                 place_of(sample, increment),
                                 f"{sample.id}.{increment.top_in:g}-{increment.bottom_in:g}",
                                 organic_matter=plain(increment.organic_matter))


def _dug(case: CaseFile) -> Iterator[Tested]:
    seen = case.observations
    if seen is None:
        return
    place = field_place(case)
    side = plain(seen.hole_side)
    if seen.earthworms and side is not None:
        with subject(place):
            found = earthworms_per_m2.evaluate(counts=[float(c) for c in seen.earthworms],
                                               side_cm=side * CM_PER_INCH)
        yield Tested("earthworms", float(found.value), "/m2", None, place, "field", (found,))
    if seen.slake:
        with subject(place):
            rated = slake_class.evaluate(ratings=[float(r) for r in seen.slake])
        yield Tested("slake", float(rated.value), "class", None, place, "field", (rated,))


def _finding(test: Tested) -> m.Finding:
    with subject(test.place):
        read = {name: soil_life_reading.evaluate(scheme=name, value=test.value)
                for name in schemes(test.indicator, test.method)}
    classes = sorted({str(r.value) for r in read.values()})
    evidence = [m.Evidence(m.Side.FOR, say(
        "soil_life.reading", scheme=name, name=r.value, low=r.details["low"],
        high=r.details["high"], unit=test.unit, memory=r.how == "memory"),
        m.Grade.PRACTICE if reference(r.source).kind == "common practice" else m.Grade.SCREENING,
        (r.source,), (r,)) for name, r in read.items()]
    if test.method == SIEVED and test.organic_matter is not None:
        with subject(test.place):
            suits = stable_aggregates_suitable_pct.evaluate(
                organic_matter_pct=test.organic_matter)
        evidence.append(m.stated("soil_life.sieved", suits, suitable=suits.value,
                                 matter=test.organic_matter, below=test.value < float(suits.value)))
        classes = [*classes, "low" if test.value < float(suits.value) else "good"]
    evidence.append(m.Evidence(m.Side.AGAINST, say(f"soil_life.doubt_{test.indicator}"),
                               m.Grade.SCREENING, DOUBTS[test.indicator]))
    return m.Finding(
        id=f"soil_life.{test.indicator}.{test.name}",
        title=say("soil_life.title", indicator=test.indicator, value=test.value, unit=test.unit,
                  classes=classes, where=test.place),
        status=m.Status.NOTED, severity=0, confidence=m.Confidence.LOW,
        grade=m.Grade.MEASURED, value=test.value, unit="" if test.unit == "class" else test.unit,
        reference=say("soil_life.reference"), place=test.place,
        body=(say(f"soil_life.can_{test.indicator}"), say("soil_life.cannot"),
              *([] if classes else [say("soil_life.body_unjudged")])),
        evidence=tuple(evidence),
        sources=tuple(dict.fromkeys(key for e in evidence for key in e.sources)),
        results=(*test.results, *read.values()))

