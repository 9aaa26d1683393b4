"""What a case says of the seed row (spacing, soil), and so how much fertilizer may lie in it."""

from __future__ import annotations

from collections.abc import Mapping

from loambrief.agronomy.crops import Crop
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Sample
from loambrief.case.select import main_increment
from loambrief.findings.crop_kinds import known_crop, seeded_in_rows
from loambrief.findings.model import Message, say
from loambrief.findings.places import place_of
from loambrief.topics.salinity.formulas_seed_row import (
    seed_row_product_lb_ac,
    seed_row_salt_limit,
)
from loambrief.units import plain

CAUTION = "nutrients.caution_seed_row"
USUAL_ROW_IN = {"corn": 30.0, "grain sorghum": 30.0, "wheat": 8.0, "sugar beet": 22.0,
                "lentil": 10.0, "field pea": 10.0, "chickpea": 10.0, "soybean": 30.0,
                "sunflower": 30.0}
"""Row spacing [in] that a limit is told for where the case states none."""


def _terms(case: CaseFile, crop: Crop, sample: Sample | None) -> dict[str, object]:
    stated = plain(case.field.row_spacing) if crop == known_crop(case.field.crop) else None
    usual = next((USUAL_ROW_IN[n] for n in crop.lineage if n in USUAL_ROW_IN), None)
    increment = main_increment(sample) if sample is not None else None
    sandy = sample is not None and "sand" in (sample.texture or "")
    return {"crop": crop.name, "row_in": usual if stated is None else stated,
            "soil": "sandy" if sandy else "other",
            "cec": plain(increment.cec) if increment is not None else None}


def seed_row_limit(case: CaseFile, crop: Crop, sample: Sample | None = None) -> dict[str, object]:
    """Parameters of what is said of a crop's seed row: limit, what it counts, spacing."""
    terms = _terms(case, crop, sample)
    found = seed_row_salt_limit.evaluate(**terms)
    return {"crop": crop.name, "limit": found.value, "counts": found.details.get("counts"),
            "most": found.details.get("most"), "row": terms["row_in"]}


def seed_row_product(case: CaseFile, place_id: str, grade: Mapping[str, float]) -> Result | None:
    """Most of a fertilizer with the seed of the field's crop [lb/ac].

    Parameters
    ----------
    case : CaseFile
    place_id : str
        Id of the zone; where it is the whole field, the first sample stands for it.
    grade : mapping
        Shares of N, P2O5 and K2O [fraction].

    Returns
    -------
    Result or None
        None where the crop is not seeded in rows.
    """
    crop = known_crop(case.field.crop)
    if crop is None or not seeded_in_rows(case, crop):
        return None
    sample = next((s for s in case.samples if s.id == place_id),
                  case.samples[0] if case.samples else None)
    with subject(place_of(sample) if sample is not None else crop.name):
        return seed_row_product_lb_ac.evaluate(
            n_pct=grade["N"] * 100, p2o5_pct=grade["P2O5"] * 100, k2o_pct=grade["K2O"] * 100,
            **_terms(case, crop, sample))


def seed_row_caution(case: CaseFile, place_id: str, grade: Mapping[str, float],
                     pounds: float) -> tuple[Message, Result] | None:
    """What is said of one product at one rate beside the seed; None where no seed is in rows."""
    most = seed_row_product(case, place_id, grade)
    crop = known_crop(case.field.crop)
    if most is None or crop is None:
        return None
    sample = next((s for s in case.samples if s.id == place_id),
                  case.samples[0] if case.samples else None)
    return say(CAUTION, **seed_row_limit(case, crop, sample), product=most.value,
               over=most.value is not None and pounds > float(most.value)), most
