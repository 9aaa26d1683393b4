"""What the leaf of the crop says beside its soil test."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import Sample
from loambrief.findings.crop_kinds import known_crop
from loambrief.findings.model import Evidence, Side, on_side
from loambrief.findings.places import named_place
from loambrief.topics.nutrients.state import NutrientState
from loambrief.topics.tissue.findings import FIELDS
from loambrief.topics.tissue.formulas import LOW, tissue_class
from loambrief.units import plain


def leaf_class(state: NutrientState, sample: Sample, element: str) -> Result | None:
    """The newest leaf test of the field's crop, at this sample or of the whole field.

    None where none was made, or where no published range fits its part and stage.
    """
    found: Result | None = None
    for test in sorted(state.case.tissue, key=lambda t: t.date):
        value = plain(getattr(test, FIELDS[element]))
        crop = known_crop(test.crop or state.case.field.crop)
        place = named_place(state.case, test.place)
        if (value is None or crop is None or place.id not in ("", sample.id)
                or crop.name not in state.crop.lineage):
            continue
        with subject(place):
            found = tissue_class.held(crop=crop.name, part=test.part, stage=test.stage,
                                      nutrient=element, value=value) or found
    return found


def beside_leaf(element: str, leaf: Result) -> Evidence:
    """The leaf as evidence on a soil test that is short."""
    return on_side(Side.FOR if short(leaf) else Side.AGAINST, "nutrients.evidence_leaf", leaf,
                   element=element, value=leaf.inputs["value"],
                   unit="%" if element in ("S", "Mg") else "ppm", low=leaf.details["low"],
                   high=leaf.details["high"], short=short(leaf))


def short(leaf: Result | None) -> bool:
    return leaf is not None and leaf.value == LOW


def enough(leaf: Result | None) -> bool:
    return leaf is not None and leaf.value != LOW
