"""Parts of a field: zones stated by area, by share or by their shape, and what is treated."""

from loambrief.case.boundary import boundary_faults, shapes
from loambrief.case.problems import DataPath, Fault
from loambrief.case.schema import CaseFile, Sample
from loambrief.case.select import sample_area_ac
from loambrief.units import Quantity

SLACK = 1.005
"""Rounding of typed areas: a part may exceed its whole by 0.5 %."""


def with_areas(case: CaseFile) -> tuple[CaseFile, list[Fault]]:
    """The case with an area for every zone that states a share of the field or has a shape.

    A stated area goes before the shape's, since a shape only draws what was measured.
    """
    faults: list[Fault] = []
    drawn = _drawn(case)
    samples = []
    for i, sample in enumerate(case.samples):
        path: DataPath = ("samples", i)
        if sample.share is not None:
            if sample.area is not None:
                faults.append(Fault("CASE041", (*path, "share"), sample.share.typed,
                                    f"the share or the area, not both ({sample.area.typed})"))
            else:
                sample = _of_area(sample, case.field.area.value * sample.share.value / 100)
        elif sample.area is None and sample.repeats is None and sample.id.lower() in drawn:
            sample = _of_area(sample, drawn[sample.id.lower()])
        samples.append(sample)
    return case.model_copy(update={"samples": samples}), faults


def _of_area(sample: Sample, acres: float) -> Sample:
    return sample.model_copy(update={"area": Quantity(acres, "ac", f"{acres:.4g} ac")})


def _drawn(case: CaseFile) -> dict[str, float]:
    """Acres of each zone that the boundary draws; none where the boundary has faults."""
    if case.boundary is None or any(boundary_faults(case.boundary, [s.id for s in case.samples])):
        return {}
    return {s.sample.lower(): s.area_ac for s in shapes(case.boundary) if s.sample is not None}


def treated_share(case: CaseFile, sample: Sample) -> float:
    """Part of a zone's area that is treated, 0 to 1."""
    if sample.treat is None:
        return 1.0
    if sample.treat.share is not None:
        return min(sample.treat.share.value / 100, 1.0)
    whole = sample_area_ac(case, sample)
    if sample.treat.area is None or whole <= 0:
        return 1.0
    return min(sample.treat.area.value / whole, 1.0)
