"""What changed in a field since earlier visits, and whether it is more than the noise.

Readings of one quantity, zone and layer make a series. A change of method ends a segment:
nothing is averaged or compared over it. A difference counts only when it is larger than
sampling and laboratory error together can make it; with the cores not known, or a limit in
place of a value, it cannot be told.
"""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise

from loambrief.agronomy.intervals import log_ends, plain_ends
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Increment, Penetrometer, Sample, SapReading
from loambrief.errors import ImpossibleInput
from loambrief.findings.model import Message, Place, say
from loambrief.findings.places import field_place, named_place, place_of
from loambrief.topics.refractometry.formulas import brix_at_20c
from loambrief.topics.sampling.formulas import difference_interval, mean_interval
from loambrief.topics.sampling.formulas_error import least_significant_change, soil_test_error
from loambrief.units import Quantity

QUANTITIES: Mapping[str, tuple[str, str]] = {  # field of a slice -> unit, method it needs
    "ph": ("pH", "ph"), "organic_matter": ("%", "organic_matter"),
    "calcium": ("ppm", "cations"), "phosphorus": ("ppm", "phosphorus"),
    "potassium": ("ppm", "cations"), "ec": ("dS/m", "ec"),
}
RIGHT_MOISTURE = "field capacity"
"""The one moisture at which cone readings of two visits may be compared."""
SAME_HOUR = 90
"""Minutes of the day between two sap readings that may be compared: our choice."""
RATED_IN = 15.0
"""Depth down to which the densest layer is looked for [in]."""


class ChangeVerdict(StrEnum):
    MORE = "more"
    WITHIN = "within"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class PastReading:
    date: dt.date
    value: float
    method: str
    case_id: str
    censor: str | None = None
    error: float | None = None
    """Standard error of sampling and laboratory together; None if it is not known."""
    whole: bool = True
    """False where a part of the error is not known (the cores)."""
    values: tuple[float, ...] = ()
    """Single readings behind the value, where there are several."""
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Change:
    """From one reading to another: how much, against how much noise, and what that says."""

    before: PastReading
    after: PastReading
    verdict: ChangeVerdict
    difference: float | None = None
    limit: float | None = None
    reason: Message | None = None
    results: tuple[Result, ...] = ()


@dataclass(frozen=True)
class Series:
    """Readings of one quantity at one place, oldest first."""

    quantity: str
    place: Place
    unit: str
    readings: tuple[PastReading, ...]
    plant: str = ""
    part: str = ""
    """Plant and its part, of what was read in sap."""
    ends_in: tuple[float, float] | None = None
    """Top and bottom of the layer [in]; None for what has no layer."""
    change: Change | None = None
    """From the reading before to the present case's; None if it holds none."""

    @property
    def breaks(self) -> int:
        """How often the method changed."""
        return sum(a.method != b.method for a, b in pairwise(self.readings))


def all_series(case: CaseFile, earlier: Sequence[CaseFile]) -> tuple[Series, ...]:
    """Every quantity that was read at least twice, soil tests first; earlier cases oldest first."""
    visits = (*earlier, case)
    found = [*_soil(visits), *_cone(visits), *_sap(visits)]
    return tuple(s for s in found if len(s.readings) > 1)


# Soil tests -------------------------------------------------------------------------------


def _soil(visits: Sequence[CaseFile]) -> Iterator[Series]:
    present = visits[-1]
    for sample in present.samples:
        for layer in sample.increments:
            for name, (unit, group) in QUANTITIES.items():
                readings = tuple(_soil_readings(visits, sample, layer, name, group))
                if not readings:
                    continue
                with subject(replace(place_of(sample), depth=layer.depth[:2])):
                    change = _soil_change(readings, present, name)
                yield Series(name, place_of(sample), unit, readings, ends_in=layer.depth[:2],
                             change=change)


def _soil_readings(visits: Sequence[CaseFile], like: Sample, layer: Increment, name: str,
                   group: str) -> Iterator[PastReading]:
    labs: list[str] = []
    for case in visits:
        sample = same_zone(case, like)
        slice_ = sample and _same_layer(sample, layer)
        typed = slice_ and getattr(slice_, name)
        if sample is None or typed is None:
            continue
        value, censor = (typed.value, typed.censor) if isinstance(typed, Quantity) else (
            float(str(typed)), None)
        same = not labs or labs[-1] == sample.lab.name.lower()
        labs.append(sample.lab.name.lower())
        with subject(replace(place_of(like), depth=layer.depth[:2]), sample.date.isoformat()):
            error = soil_test_error.evaluate(test=name, value=value, cores=sample.cores,
                                             same_lab=same)
        low, high = _ends(name, value, error.value) if not censor else (None, None)
        yield PastReading(
            sample.date, value, str(getattr(sample.methods, group) or ""), case.case.id, censor,
            error.value, sample.cores is not None and error.within_range,
            low=low, high=high)


def _ends(name: str, value: float, error: float | None) -> tuple[float | None, float | None]:
    """Ends of the range of a soil test; a pH varies plainly, what cannot be negative by shares."""
    if error is None or value <= 0:
        return None, None
    if QUANTITIES[name][0] == "pH":
        return plain_ends(value, error)
    return log_ends(value, 100.0 * error / value)


def same_zone(case: CaseFile, like: Sample) -> Sample | None:
    """The sample of the same zone: the same id, else the same place."""
    by_id = [s for s in case.samples if s.id.lower() == like.id.lower()]
    by_place = [s for s in case.samples if like.place and s.place
                and s.place.lower() == like.place.lower()]
    return next(iter((*by_id, *by_place)), None)


def _same_layer(sample: Sample, layer: Increment) -> Increment | None:
    for slice_ in sample.increments:
        if abs(slice_.top_in - layer.top_in) < 0.3 and abs(
                slice_.bottom_in - layer.bottom_in) < 0.3:
            return slice_
    return None


def _soil_change(readings: tuple[PastReading, ...], present: CaseFile, name: str) -> Change | None:
    if len(readings) < 2 or readings[-1].case_id != present.case.id:
        return None
    before, after = _pair(readings)
    reason = _not_comparable(before, after)
    if reason is not None:
        return Change(before, after, ChangeVerdict.UNKNOWN, reason=reason)
    difference = after.value - before.value
    if before.error is None or after.error is None:
        return Change(before, after, ChangeVerdict.UNKNOWN, difference,
                      reason=say("history.why_error"))
    limit = least_significant_change.evaluate(first_error=before.error, second_error=after.error)
    verdict, reason = ChangeVerdict.WITHIN, None
    if abs(difference) > limit.value:
        verdict = ChangeVerdict.MORE
        if not (before.whole and after.whole):
            verdict, reason = ChangeVerdict.UNKNOWN, say("history.why_cores")
    return Change(before, after, verdict, difference, limit.value, reason, (limit,))


def _pair(readings: tuple[PastReading, ...]) -> tuple[PastReading, PastReading]:
    """The last reading, and the latest before it that it may be held against; else the one
    just before."""
    *earlier, after = readings
    fitting = [r for r in earlier if _not_comparable(r, after) is None]
    return (fitting or earlier)[-1], after


def _not_comparable(before: PastReading, after: PastReading) -> Message | None:
    if before.method != after.method:
        return say("history.why_method", before=before.method, after=after.method)
    if before.censor or after.censor:
        return say("history.why_limit")
    return None


# Cone and sap -----------------------------------------------------------------------------


def _cone(visits: Sequence[CaseFile]) -> Iterator[Series]:
    cones = [(c, c.penetrometer) for c in visits if c.penetrometer]
    if len(cones) < 2 or cones[-1][0] is not visits[-1]:
        return
    depth = _densest(cones[-1][1])
    if depth is None:
        return
    readings, right = [], []
    for case, cone in cones:
        values = _at_depth(cone, depth)
        if len(values) > 1:
            method = f"{cone.cone}; {cone.moisture}"
            right.append(cone.moisture == RIGHT_MOISTURE)
            readings.append(_of_several(cone.date, values, method, case.case.id))
    reason = None
    if len(readings) > 1 and not all(right[-2:]):
        reason = say("history.why_moisture", right=RIGHT_MOISTURE)
    yield Series("resistance", field_place(visits[-1]), "psi", tuple(readings),
                 ends_in=(depth, depth),
                 change=_several_change(tuple(readings), visits[-1], reason))


def _densest(cone: Penetrometer) -> float | None:
    """Depth of the greatest mean, down to 15 in."""
    means = {}
    for depth in cone.depths:
        values = _at_depth(cone, depth)
        if depth <= RATED_IN and values:
            means[depth] = sum(values) / len(values)
    return max(means, key=lambda d: means[d], default=None)


def _at_depth(cone: Penetrometer, depth: float) -> tuple[float, ...]:
    index = next((i for i, d in enumerate(cone.depths) if abs(d - depth) < 0.5), None)
    if index is None:
        return ()
    points = [p for p in cone.points if not p.traffic] or list(cone.points)
    read = (p.readings[index] for p in points)
    return tuple(float(value) for value in read if value is not None)


def _sap(visits: Sequence[CaseFile]) -> Iterator[Series]:
    present = visits[-1].refractometer
    for wanted in (r for r in (present.readings if present else ()) if r.role == "crop"):
        readings, times = [], []
        for case in visits:
            part = case.refractometer
            for got in part.readings if part else ():
                if _sap_key(case, got) == _sap_key(visits[-1], wanted):
                    assert part is not None
                    values = _corrected(got, part.atc)
                    if len(values) > 1:
                        readings.append(_of_several(part.date, values, got.part or "",
                                                    case.case.id))
                        times.append(got.time)
                    break
        reason = None
        if len(times) > 1 and not _same_hour(*times[-2:]):
            reason = say("history.why_time", minutes=SAME_HOUR)
        yield Series("brix", named_place(visits[-1], wanted.place), "Brix", tuple(readings),
                     plant=wanted.plant, part=wanted.part or "",
                     change=_several_change(tuple(readings), visits[-1], reason))


def _sap_key(case: CaseFile, reading: SapReading) -> tuple[str, str, str]:
    """What two visits know a reading by."""
    return reading.role, reading.plant.casefold(), named_place(case, reading.place).id


def _corrected(reading: SapReading, atc: bool) -> tuple[float, ...]:
    """Replicates at 20 C, where the instrument does not correct and the temperature is known."""
    values = tuple(float(r) for r in reading.replicates)
    if atc or reading.temperature is None:
        return values
    return tuple(float(brix_at_20c(v, reading.temperature.value)) for v in values)


def _same_hour(one: dt.time | None, other: dt.time | None) -> bool:
    if one is None or other is None:
        return False
    return abs(one.hour * 60 + one.minute - other.hour * 60 - other.minute) <= SAME_HOUR


def _of_several(date: dt.date, values: tuple[float, ...], method: str, case_id: str) -> PastReading:
    mean = mean_interval.evaluate(values=list(values))
    low, high = float(mean.details["low"]), float(mean.details["high"])
    return PastReading(date, float(mean.value), method, case_id, values=values,
                   low=max(low, 0.0), high=high)


def _several_change(readings: tuple[PastReading, ...], present: CaseFile,
                    reason: Message | None) -> Change | None:
    if len(readings) < 2 or readings[-1].case_id != present.case.id:
        return None
    before, after = readings[-2:]
    reason = _not_comparable(before, after) or reason
    if reason is not None:
        return Change(before, after, ChangeVerdict.UNKNOWN, reason=reason)
    try:
        found = difference_interval.evaluate(first=after.values, second=before.values)
    except ImpossibleInput:
        return Change(before, after, ChangeVerdict.UNKNOWN, after.value - before.value,
                      reason=say("history.why_error"))
    limit = float(found.details["half_width"])
    verdict = ChangeVerdict.MORE if abs(found.value) > limit else ChangeVerdict.WITHIN
    return Change(before, after, verdict, float(found.value), limit, results=(found,))
