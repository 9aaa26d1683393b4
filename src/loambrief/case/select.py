"""Common questions about a case: which slice, how big, how old."""

import datetime as dt

from loambrief.case.schema import CaseFile, Increment, Sample

SURFACE_MAX_IN = 3.0
"""A slice from the surface counts as a surface layer down to this depth."""
TILLED_MIN_IN = 4.0
SAMPLED_10_CM_IN = 3.93
"""10 cm, as grassland of Ireland is sampled, counts as the 4 in."""


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
