"""What a case says of the seed row (spacing, soil), and so how much fertilizer may lie in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from loambrief.agronomy.crops import Crop
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import Analysis, CaseFile, Sample
from loambrief.case.select import main_increment
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import known_crop, seeded_in_rows
from loambrief.findings.model import say
from loambrief.findings.places import field_place
from loambrief.topics.nutrients.formulas_seed_row import (
    seed_row_product_lb_ac,
    seed_row_salt_limit,
)
from loambrief.units import plain

CAUTION = "nutrients.caution_seed_row"
USUAL_ROW_IN = {"corn": 30.0, "grain sorghum": 30.0, "wheat": 8.0, "sugar beet": 22.0,
                "lentil": 10.0, "field pea": 10.0, "chickpea": 10.0, "soybean": 30.0,
                "sunflower": 30.0}
"""Row spacing [in] that a limit is told for where the case states none (common practice)."""
GRADES = ("n", "p2o5", "k2o")


def _terms(case: CaseFile, crop: Crop, sample: Sample | None) -> dict[str, Any]:
    stated = plain(case.field.row_spacing) if crop == known_crop(case.field.crop) else None
    usual = next((USUAL_ROW_IN[n] for n in crop.lineage if n in USUAL_ROW_IN), None)
    increment = main_increment(sample) if sample is not None else None
    sandy = sample is not None and "sand" in (sample.texture or "")
    return {"crop": crop.name, "row_in": usual if stated is None else stated,
            "soil": "sandy" if sandy else "other",
            "cec": plain(increment.cec) if increment is not None else None}


def seed_row_limit(case: CaseFile, crop: Crop,
                   sample: Sample | None = None) -> tuple[m.Message, Result]:
    """What is said of a crop's seed row, and the limit."""
    terms = _terms(case, crop, sample)
    found = seed_row_salt_limit.evaluate(**terms)
    return say(CAUTION, crop=crop.name, limit=found.value, counts=found.details.get("counts"),
               most=found.details.get("most"), region=found.details.get("region"),
               row=terms["row_in"]), found


def _product(case: CaseFile, crop: Crop, sample: Sample | None,
             percent: Mapping[str, float]) -> Result:
    """Most of a product with the seed.

    Nitrogen alone may be urea, for which no limit here holds: it is asked for as a grade of
    nothing, so that only a crop that stands nothing at all gives a number.
    """
    if not percent["p2o5"] and not percent["k2o"]:
        percent = dict.fromkeys(GRADES, 0.0)
    return seed_row_product_lb_ac.evaluate(
        **{f"{name}_pct": percent[name] for name in GRADES}, **_terms(case, crop, sample))


def seed_row_caution(case: CaseFile, place_id: str, percent: Mapping[str, float],
                     pounds: float, name: str) -> tuple[m.Message, Result] | None:
    """What is said of one product at one rate [lb/ac] beside the seed of the field's crop.

    ``percent`` is its grade by ``n``, ``p2o5`` and ``k2o``, ``name`` stands in the trace. Where
    ``place_id`` is the whole field, the strictest sample stands for it. None where the crop is not
    seeded in rows.
    """
    crop = known_crop(case.field.crop)
    if crop is None or not seeded_in_rows(case, crop):
        return None
    sample = next((s for s in case.samples if s.id == place_id), _strictest(case, crop))
    with subject(place_id or field_place(case), name):
        most = _product(case, crop, sample, percent)
        told, _ = seed_row_limit(case, crop, sample)
    return say(CAUTION, **told.params, product=most.value,
               over=most.value is not None and pounds > most.number), most


def _strictest(case: CaseFile, crop: Crop) -> Sample | None:
    """The sample under which least may lie with the seed; None without samples."""
    def limit(sample: Sample) -> float:
        found = seed_row_salt_limit(**_terms(case, crop, sample))
        return float("inf") if found is None else float(found)

    return min(case.samples, key=limit, default=None)


def seed_row_finding(case: CaseFile) -> m.Finding | None:
    """The limit for fertilizer with the seed, and what it means for each product on offer.

    None where the crop is not seeded in rows, or no fertilizer is on offer.
    """
    crop = known_crop(case.field.crop)
    offered = [(x.name, grade) for x in case.materials
               if x.kind == "fertilizer" and x.analysis is not None
               and any((grade := _percent(x.analysis)).values())]
    if crop is None or not offered or not seeded_in_rows(case, crop):
        return None
    sample = _strictest(case, crop)
    with subject(field_place(case), "seed row"):
        told, limit = seed_row_limit(case, crop, sample)
    products: list[tuple[str, Result]] = []
    for name, percent in offered if limit.value else ():
        with subject(field_place(case), name):
            most = _product(case, crop, sample, percent)
        if most.value is not None:
            products.append((name, most))
    found = tuple(most for _, most in products)
    evidence = m.stated("nutrients.seed_row_products", *found,
                        rows=[{"name": name, "most": most.value} for name, most in products])
    assumed = case.field.row_spacing is None and told.params["row"] is not None
    return m.Finding(
        id="nutrients.seed_row",
        title=say("nutrients.title_seed_row", crop=crop.name, limit=limit.value,
                  counts=limit.details.get("counts")),
        status=m.Status.NOTED, severity=0, confidence=m.Confidence.LOW,
        grade=m.Grade.PRACTICE if limit.value is None else m.Grade.CALCULATED,
        place=field_place(case),
        body=(told, *((say("nutrients.body_seed_row_assumed", row=told.params["row"]),)
                      if assumed and limit.value else ())),
        evidence=(evidence,) if products else (),
        sources=(limit.source,) if limit.value is not None else (),
        results=(limit, *found))


def _percent(analysis: Analysis) -> dict[str, float]:
    return {name: plain(getattr(analysis, name)) or 0.0 for name in GRADES}
