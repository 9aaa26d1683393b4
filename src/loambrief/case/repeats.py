"""Two or more samples of one zone: pooled with their spread, only compared, or kept apart.

Every sample but the first of a zone says so (``repeats: {of: N, treat: pool}``). Nothing is
averaged that was not asked for, and never results by different methods or beyond a limit.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from statistics import fmean, stdev

from loambrief.case.measurements import EXTRACT, SLICE, of_part
from loambrief.case.problems import DataPath, Fault
from loambrief.case.quantities import did_you_mean, show
from loambrief.case.schema import CaseFile, Increment, Sample, SaturationExtract
from loambrief.units import Quantity

FIRSTS = "the id of another sample, itself the first of its zone"


@dataclass(frozen=True)
class Spread:
    """Results of one measurement in several samples of a zone, in house units."""

    values: tuple[float, ...]
    """Two or more, the first sample's in front."""

    @property
    def n(self) -> int:
        return len(self.values)

    @property
    def mean(self) -> float:
        return fmean(self.values)

    @property
    def sd(self) -> float:
        """Standard deviation between the samples (n - 1 in the denominator)."""
        return stdev(self.values)


def repeats_of(case: CaseFile, first: Sample, *treatments: str) -> list[Sample]:
    """Samples that repeat another, in the order of the case."""
    return [s for s in case.typed_samples if s.repeats is not None
            and s.repeats.of.lower() == first.id.lower() and s.repeats.treat in treatments]


def repeat_faults(case: CaseFile) -> Iterator[Fault]:
    """Repeats of nothing, and repeats that cannot be treated as they say."""
    first = {s.id.lower(): s for s in case.samples if s.repeats is None}
    for i, sample in enumerate(case.samples):
        told, path = sample.repeats, ("samples", i, "repeats")
        if told is None:
            continue
        base = first.get(told.of.lower())
        if base is None:
            yield Fault("CASE051", (*path, "of"), show(told.of), FIRSTS,
                        did_you_mean(told.of, [s.id for s in first.values()]))
        elif told.treat == "keep apart":
            if told.reason is None:
                yield Fault("CASE051", (*path, "reason"), "nothing",
                            "why two samples of one zone are kept apart",
                            "The reason is printed.", at_key=True)
        else:
            if sample.area is not None:
                yield Fault("CASE051", ("samples", i, "area"), sample.area.typed,
                            f"no area, for the zone's stands with sample {base.id}")
            if told.treat == "pool":
                yield from _poolable(base, sample, ("samples", i))


def _poolable(base: Sample, sample: Sample, path: DataPath) -> Iterator[Fault]:
    slices = {inc.depth[:2]: inc for inc in base.increments}
    help = "Or write treat: compare, and the first sample alone is used."
    for j, inc in enumerate(sample.increments):
        here = (*path, "increments", j)
        other = slices.get(inc.depth[:2])
        if other is None:
            yield Fault("CASE051", (*here, "depth"), inc.depth[2],
                        f"a depth of sample {base.id}: "
                        + ", ".join(i.depth[2] for i in base.increments), help)
            continue
        for m in of_part(SLICE):
            a, b = getattr(other, m.field), getattr(inc, m.field)
            if a is None or b is None:
                continue
            ways = [getattr(s.methods, m.method) for s in (base, sample)] if m.method else []
            if len(set(ways)) > 1 and None not in ways:
                yield Fault("CASE051", (*here, m.field), f"{m.field} by {ways[1]}",
                            f"the method of sample {base.id}, {ways[0]}",
                            f"Results by two methods have no mean. {help}")
            if any(isinstance(v, Quantity) and not v.plain for v in (a, b)):
                yield Fault("CASE051", (*here, m.field), f"{a.typed} and {b.typed}",
                            "two numbers", f"A limit has no mean. {help}")


def treated(case: CaseFile) -> CaseFile:
    """The case with one sample for each zone or part of it: what advice is worked out from.

    Samples that are pooled become one under the first's id, with the mean of each result
    (the arithmetic mean also of pH) and the spread in :attr:`Increment.spread`. Cores add up.
    What was typed stays in :attr:`CaseFile.typed_samples`.
    """
    if all(sample.repeats is None for sample in case.samples):
        return case
    samples = []
    for sample in case.samples:
        if sample.repeats is not None and sample.repeats.treat != "keep apart":
            continue
        others = repeats_of(case, sample, "pool")
        samples.append(_pooled([sample, *others]) if others else sample)
    return case.model_copy(update={"samples": samples}).with_typed(tuple(case.samples))


def _pooled(samples: list[Sample]) -> Sample:
    first = samples[0]
    increments = []
    for inc in first.increments:
        same = [i for s in samples for i in s.increments if i.depth[:2] == inc.depth[:2]]
        spread = spread_of(same)
        changes: dict[str, object] = {}
        for m in of_part(SLICE):
            got = [v for i in same if (v := getattr(i, m.field)) is not None]
            if got:
                changes[m.field] = _mean(got)
        extracts = [i.extract for i in same if i.extract is not None]
        if extracts:
            changes["extract"] = _mean_part(extracts)
        increments.append(inc.model_copy(update=changes).with_spread(spread))
    cores = [s.cores for s in samples]
    methods: dict[str, object] = {}
    for s in reversed(samples):
        methods |= {k: v for k, v in s.methods if v is not None}
    return first.model_copy(update={
        "increments": increments, "cores": None if None in cores else sum(filter(None, cores)),
        "date": min(s.date for s in samples),
        "methods": first.methods.model_copy(update=methods)})


def _mean_part(parts: list[SaturationExtract]) -> SaturationExtract:
    return parts[0].model_copy(update={
        m.field: _mean(got) for m in of_part(EXTRACT)
        if (got := [v for p in parts if (v := getattr(p, m.field)) is not None])})


def _mean(values: list[object]) -> object:
    if len(values) == 1:
        return values[0]
    numbers = [v.value if isinstance(v, Quantity) else float(str(v)) for v in values]
    mean = fmean(numbers)
    if not isinstance(values[0], Quantity):
        return mean
    unit = values[0].unit
    return Quantity(mean, unit, f"{mean:.4g} {unit}")


def spread_of(increments: Iterable[Increment]) -> Mapping[str, Spread]:
    """Field -> spread, for every result that two or more slices of one depth have as numbers."""
    found: dict[str, Spread] = {}
    slices = list(increments)
    for m in of_part(SLICE):
        got = [v for i in slices if (v := getattr(i, m.field)) is not None]
        numbers = [v.value if isinstance(v, Quantity) else float(v) for v in got
                   if not isinstance(v, Quantity) or v.plain]
        if len(numbers) > 1:
            found[m.field] = Spread(tuple(numbers))
    return found
