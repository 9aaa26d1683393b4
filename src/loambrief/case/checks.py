"""Values that cannot stand side by side: errors between the fields of a case."""

import datetime as dt
from collections.abc import Iterable, Iterator
from itertools import combinations, pairwise

from loambrief.case.boundary import boundary_faults
from loambrief.case.farm_checks import farm_faults
from loambrief.case.guide_file import LoadedGuide
from loambrief.case.known_names import name_faults
from loambrief.case.measurements import methods, results_by_method
from loambrief.case.names import yield_units
from loambrief.case.own_checks import own_faults
from loambrief.case.problems import DataPath, Fault
from loambrief.case.quantities import show
from loambrief.case.repeats import repeat_faults
from loambrief.case.schema import Analysis, CaseFile, Increment, Sample
from loambrief.case.select import SLACK, SURFACE_MAX_IN, TILLED_MIN_IN
from loambrief.case.source import short
from loambrief.case.validate import meaning
from loambrief.units import BY_VOLUME, Quantity, typed_unit

LIQUID_RATES = ("gal/ac", "L/ha", "m3/ha")
WEIGHED = ("n", "p2o5", "k2o", "calcium", "magnesium", "sulfur", "zinc", "boron", "manganese",
           "copper", "iron", "molybdenum", "chloride", "total_nitrogen", "available_n",
           "ammonium_n", "sodium")
"""Contents of a material that a rate multiplies."""
CASE_DATE: DataPath = ("case", "date")


def cross_checks(case: CaseFile, guides: Iterable[LoadedGuide] = ()) -> Iterator[Fault]:
    """Every contradiction between fields of a case, and every name that nobody knows.

    ``guides`` are the case's own, read from their files.
    """
    yield from name_faults(case, guides)
    for i, sample in enumerate(case.samples):
        yield from _methods(sample, ("samples", i))
        yield from _overlaps(sample, ("samples", i))
    yield from repeat_faults(case)
    yield from _areas(case)
    yield from _identifiers(case)
    yield from _places(case)
    yield from _penetrometer(case)
    for i, forage in enumerate(case.forage):
        if forage.nitrate is not None and forage.nitrate_as is None:
            yield Fault("CASE046", ("forage", i, "nitrate_as"), "nothing",
                        "one of no3-n, no3, kno3",
                        "The limits for feeding depend on the form; the lab report names it.",
                        at_key=True, needs=(("forage", i, "nitrate"),))
    yield from _liquids(case)
    yield from _question(case)
    yield from _done(case)
    yield from farm_faults(case)
    yield from own_faults(case)
    yield from _dates(case)
    yield from _yield_unit(case)
    if case.boundary is not None:
        yield from boundary_faults(case.boundary, [s.id for s in case.samples])


def _yield_unit(case: CaseFile) -> Iterator[Fault]:
    goal, crop = case.field.yield_goal, case.field.crop
    if goal is not None and goal.value.unit not in (units := yield_units(crop)):
        yield Fault("CASE048", ("field", "yield_goal", "value"), repr(goal.value.typed),
                    f"a yield of {crop} in {', '.join(units)}", needs=(("field", "crop"),))


def _methods(sample: Sample, path: DataPath) -> Iterator[Fault]:
    for method, results in results_by_method().items():
        if getattr(sample.methods, method) is not None:
            continue
        first = next((r for r in results for inc in sample.increments
                      if getattr(inc, r) is not None), None)
        if first is None:
            continue
        yield Fault("CASE040", (*path, "methods", method), "nothing",
                    f"the method behind {first}: one of {', '.join(methods()[method])}",
                    "Results mean different things by different methods; "
                    f"the lab report names it. Add {method} under methods.", at_key=True)


def _overlaps(sample: Sample, path: DataPath) -> Iterator[Fault]:
    numbered = sorted(enumerate(sample.increments), key=lambda n: (n[1].top_in, n[1].bottom_in))
    for (i, upper), (j, lower) in combinations(numbered, 2):
        if lower.top_in >= upper.bottom_in or _surface_beside_whole(upper, lower):
            continue
        first, second = sorted((i, j))
        yield Fault("CASE043", (*path, "increments", second, "depth"),
                    f"{sample.increments[second].depth[2]} beside "
                    f"{sample.increments[first].depth[2]}",
                    "depths that do not overlap",
                    f"Only a surface slice (to {SURFACE_MAX_IN:g} in) may stand beside the whole "
                    f"layer from 0 to {TILLED_MIN_IN:g} in or deeper; give other cores as a "
                    "sample of their own.")


def _surface_beside_whole(one: Increment, other: Increment) -> bool:
    shallow, deep = sorted((one, other), key=lambda inc: inc.bottom_in)
    return (shallow.top_in == deep.top_in == 0
            and shallow.bottom_in <= SURFACE_MAX_IN and deep.bottom_in >= TILLED_MIN_IN)


def _areas(case: CaseFile) -> Iterator[Fault]:
    field_area: DataPath = ("field", "area")
    zones = [(i, s) for i, s in enumerate(case.samples)
             if s.repeats is None or s.repeats.treat == "keep apart"]
    if len(zones) > 1:
        for i, sample in zones:
            if sample.area is None:
                yield Fault("CASE041", ("samples", i, "area"), "nothing",
                            "the area of each sample where there are several",
                            "Rates and totals are worked out for each sample's area.", at_key=True)
    stated = [(i, s.area) for i, s in enumerate(case.samples) if s.area is not None]
    total = sum(area.value for _, area in stated)
    if stated and total > case.field.area.value * SLACK:
        last = stated[-1][0]
        stands = {i: "area" if case.samples[i].share is None else "share" for i, _ in stated}
        yield Fault("CASE041", ("samples", last, stands[last]),
                    f"{total:.4g} ac in all samples together",
                    f"at most the field's {case.field.area.value:.4g} ac",
                    needs=(field_area, *(("samples", i, key) for i, key in stands.items())))


def _identifiers(case: CaseFile) -> Iterator[Fault]:
    points = case.penetrometer.points if case.penetrometer else ()
    lists: tuple[tuple[DataPath, list[str]], ...] = (
        (("samples",), [s.id for s in case.samples]),
        (("penetrometer", "points"), [p.id for p in points]),
        (("forage",), [f.id for f in case.forage]),
        (("tissue",), [t.id for t in case.tissue]),
        (("materials",), [m.id for m in case.materials]),
    )
    for path, names in lists:
        first: dict[str, int] = {}
        for i, name in enumerate(names):
            known = first.setdefault(name.lower(), i)
            if known != i:
                yield Fault("CASE042", (*path, i, "id"), f"{short(name)!r} a second time",
                            "each id once",
                            f"Entry {known + 1} of {path[-1]} already has it (capitals do not "
                            "count).", needs=((*path, known, "id"),))


def _places(case: CaseFile) -> Iterator[Fault]:
    """Two samples under one place name would be taken for one zone in the report."""
    seen: dict[str, int] = {}
    for i, sample in enumerate(case.samples):
        if sample.repeats is not None and sample.repeats.treat != "keep apart":
            continue
        label = (sample.place or sample.id).strip().lower()
        if label in seen and sample.place:
            yield Fault("CASE042", ("samples", i, "place"),
                        f"{short(sample.place)!r} a second time",
                        "a place of its own for each sample",
                        "Sample names are printed by place; call the zones apart. A further sample "
                        f"of the same zone says so: repeats: {{of: {case.samples[seen[label]].id}, "
                        "treat: pool} (or compare, or keep apart with its reason).")
        seen.setdefault(label, i)


def _penetrometer(case: CaseFile) -> Iterator[Fault]:
    part = case.penetrometer
    if part is None:
        return
    path: DataPath = ("penetrometer",)
    depths = (*path, "depths")
    for i, (upper, lower) in enumerate(pairwise(part.depths), start=1):
        if lower <= upper:
            yield Fault("CASE045", (*depths, i), f"{lower:g} after {upper:g}",
                        "depths that increase")
    for i, point in enumerate(part.points):
        if len(point.readings) != len(part.depths):
            yield Fault("CASE044", (*path, "points", i, "readings"),
                        f"{len(point.readings)} readings",
                        f"{len(part.depths)}, one for each depth",
                        "Write null where no reading was taken.", needs=(depths,))


def _question(case: CaseFile) -> Iterator[Fault]:
    if case.case.question == "other" and case.case.purpose is None:
        yield Fault("CASE021", ("case", "purpose"), "nothing", meaning(("case", "purpose")),
                    "A question of another kind is answered by its words alone.", at_key=True)
    elif case.case.answer is not None and case.case.purpose is None:
        yield Fault("CASE021", ("case", "purpose"), "nothing", meaning(("case", "purpose")),
                    "An answer needs the question it answers.", at_key=True)


def _liquids(case: CaseFile) -> Iterator[Fault]:
    """Gallons of something whose analysis is by weight: the two need a density."""
    parts: list[tuple[DataPath, Analysis | None, Quantity | None]] = [
        *((("earlier_applications", i), a.analysis, a.rate)
          for i, a in enumerate(case.earlier_applications)),
        *((("done", i), d.analysis, d.rate) for i, d in enumerate(case.done)),
        *((("materials", i), m.analysis, None) for i, m in enumerate(case.materials))]
    for path, analysis, rate in parts:
        if analysis is None:
            continue
        by_weight = next((k for k in WEIGHED if (v := getattr(analysis, k)) is not None
                          and typed_unit(v) not in BY_VOLUME), None)
        if analysis.by_volume and by_weight is not None:
            yield Fault("CASE048", (*path, "analysis", by_weight),
                        getattr(analysis, by_weight).typed, "lb/1000gal, as the other nutrients",
                        "Weight and volume cannot be mixed without the density.")
        elif rate is not None and not analysis.by_volume and typed_unit(rate) in LIQUID_RATES:
            yield Fault("CASE048", (*path, "rate"), rate.typed,
                        "lb/ac or ton/ac beside an analysis in percent",
                        "Or give the analysis in lb/1000gal; gallons weigh what the liquid "
                        "weighs.")
        total, ammonium = analysis.total_nitrogen, analysis.ammonium_n
        if total is not None and ammonium is not None and ammonium.value > total.value + 1e-9:
            yield Fault("CASE048", (*path, "analysis", "ammonium_n"), ammonium.typed,
                        f"no more than the total nitrogen, {total.typed}")
    for i, residue in enumerate(case.residue):
        if typed_unit(residue.dry_mass) in LIQUID_RATES:
            yield Fault("CASE048", ("residue", i, "dry_mass"), residue.dry_mass.typed,
                        "a dry mass, such as 3 ton/ac")


def _done(case: CaseFile) -> Iterator[Fault]:
    """An action of the last advisory was done, or it was left out with the reason."""
    for i, entry in enumerate(case.done):
        did = [key for key in ("rate", "area", "date", "cost")
               if getattr(entry, key) is not None]
        if entry.not_done is None and entry.date is None:
            yield Fault("CASE074", ("done", i), f"{show(entry.action)} without a date",
                        "the date it was done, or not_done with the reason",
                        "Fill in what was really put on; leave out nothing that was planned.")
        elif entry.not_done is not None and did:
            yield Fault("CASE074", ("done", i, "not_done"), f"not_done beside {', '.join(did)}",
                        "one or the other")


def _dates(case: CaseFile) -> Iterator[Fault]:
    today = case.case.date
    for path, what, date in _past_dates(case):
        if date is not None and date > today:
            yield Fault("CASE047", path, show(date.isoformat()),
                        f"a date not after the case date {today.isoformat()}",
                        f"The advice cannot rest on {what} from its own future.",
                        needs=(CASE_DATE,))
    valid = case.case.valid_until
    if valid is not None and valid <= today:
        yield Fault("CASE047", ("case", "valid_until"), show(valid.isoformat()),
                    f"a date after the case date {today.isoformat()}", needs=(CASE_DATE,))
    for path, first, then, wanted in _ordered_dates(case):
        if first is not None and then is not None and then < first:
            yield Fault("CASE047", path, show(then.isoformat()), f"{wanted} {first.isoformat()}")


def _past_dates(case: CaseFile) -> Iterator[tuple[DataPath, str, dt.date | None]]:
    for part, what in (("samples", "a sample"), ("forage", "a forage test"),
                       ("tissue", "a tissue test"), ("earlier_applications", "an application"),
                       ("done", "work")):
        for i, entry in enumerate(getattr(case, part)):
            yield (part, i, "date"), what, entry.date
    for i, sample in enumerate(case.samples):
        for name in ("received", "reported"):
            yield ("samples", i, "lab", name), "a lab report", getattr(sample.lab, name)
    for name, what in (("penetrometer", "readings"), ("infiltration", "readings"),
                       ("refractometer", "readings"), ("water", "a water test")):
        part = getattr(case, name)
        if part is not None:
            yield (name, "date"), what, part.date
    for i, material in enumerate(case.materials):
        for name in ("price", "freight", "spreading"):
            price = getattr(material, name)
            if price is not None:
                yield ("materials", i, name, "date"), "a price", price.date


def _ordered_dates(
    case: CaseFile,
) -> Iterable[tuple[DataPath, dt.date | None, dt.date | None, str]]:
    for i, sample in enumerate(case.samples):
        lab: DataPath = ("samples", i, "lab")
        yield (*lab, "received"), sample.date, sample.lab.received, "not before the sampling on"
        yield ((*lab, "reported"), sample.lab.received or sample.date, sample.lab.reported,
               "not before the lab had the sample,")
    dates = case.field.dates
    if dates is not None:
        yield ("field", "dates", "harvest"), dates.planting, dates.harvest, "not before planting on"
