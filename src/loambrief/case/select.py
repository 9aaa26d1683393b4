"""Common questions about a case: which slice, how old, how big, which part of it is treated."""

import datetime as dt

from loambrief.case.boundary import boundary_faults, shapes
from loambrief.case.problems import DataPath, Fault
from loambrief.case.schema import CaseFile, Increment, Sample
from loambrief.units import Quantity

SURFACE_MAX_IN = 3.0
"""A slice from the surface counts as a surface layer down to this depth."""
TILLED_MIN_IN = 4.0
SAMPLED_10_CM_IN = 3.93
"""10 cm, as grassland of Ireland is sampled, counts as the 4 in."""
SLACK = 1.005
"""Rounding of typed areas: a part may exceed its whole by 0.5 %."""


def main_increment(sample: Sample, wanted_depth_in: float = 6.67) -> Increment | None:
    """The slice from the surface that stands for the tilled layer (nearest to the wanted depth).

    None if no slice starts at the surface and reaches 4 in.
    """
    slices = [i for i in sample.increments if i.top_in == 0 and i.bottom_in >= SAMPLED_10_CM_IN]
    return min(slices, key=lambda i: abs(i.bottom_in - wanted_depth_in), default=None)


def surface_increment(sample: Sample) -> Increment | None:
    """The shallow slice (0 to at most 3 in), or None."""
    slices = [i for i in sample.increments if i.top_in == 0 and i.bottom_in <= SURFACE_MAX_IN]
    return min(slices, key=lambda i: i.bottom_in, default=None)


def sample_area_ac(case: CaseFile, sample: Sample) -> float:
    """Area the sample stands for [ac]: its own, or the whole field if it is the only one."""
    if sample.area is not None:
        return sample.area.value
    others = sum(s.area.value for s in case.samples if s.area is not None)
    unstated = sum(1 for s in case.samples if s.area is None)
    return max(case.field.area.value - others, 0.0) / max(unstated, 1)


def age_days(case: CaseFile, date: dt.date) -> int:
    """Days between a reading and the date of the advice."""
    return (case.case.date - date).days


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
