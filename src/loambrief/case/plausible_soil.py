"""Warnings about one soil sample: results that do not fit each other, and thin sampling."""

from collections.abc import Iterator
from functools import cache
from itertools import combinations, pairwise

from loambrief.case.measurements import SLICE, of_part
from loambrief.case.normalise import LB_AC_ASSUMED, in_lb_ac
from loambrief.case.problems import DataPath, Fault
from loambrief.case.schema import CaseFile, Increment, Part, Sample
from loambrief.case.select import SURFACE_MAX_IN, sample_area_ac
from loambrief.tables import load
from loambrief.units import EQUIVALENT_MG, SLICE_DEPTH_IN, Quantity, plain

BASES = (("calcium", "Ca"), ("magnesium", "Mg"), ("potassium", "K"), ("sodium", "Na"))
ADDITIVE = tuple(m.field for m in of_part(SLICE) if m.additive)
STEADY = tuple(m.field for m in of_part(SLICE) if m.steady)
DAYS_PER_YEAR = 365.25


@cache
def limit(name: str) -> float:
    """One limit of the entry checks or of the sampling guidance, in the unit its row states."""
    own = name in load("case/checks").column("name")
    return load("case/checks" if own else "sampling/constants").number("value", name=name)


def soil_warnings(case: CaseFile, sample: Sample, path: DataPath) -> Iterator[Fault]:
    """Warnings of one sample; see the codes for what each one means."""
    for i, increment in enumerate(sample.increments):
        here = (*path, "increments", i)
        yield from _buffer(sample, increment, here)
        yield from _cations(sample, increment, here)
        yield from _texture(sample, increment, here)
        yield from _salinity(sample, increment, here)
    yield from _pounds(sample, path)
    yield from _layers(sample, path)
    yield from _neighbours(sample, path)
    yield from _copies(sample, path)
    yield from _gaps(sample, path)
    yield from _sampling(case, sample, path)


def _pounds(sample: Sample, path: DataPath) -> Iterator[Fault]:
    """Results in lb/ac without the laboratory's convention, where the two differ."""
    if sample.lab.lb_ac_means is not None:
        return
    differ = [j for j, _ in in_lb_ac(sample)
              if abs(sample.increments[j].thickness_in / SLICE_DEPTH_IN - 1)
              > limit("lb_ac_depth_tolerance")]
    for j in list(dict.fromkeys(differ))[:1]:
        inc = sample.increments[j]
        share = inc.thickness_in / SLICE_DEPTH_IN
        yield Fault("CASE126", (*path, "lab", "lb_ac_means"), f"lb/ac of {inc.depth[2]}",
                    "the laboratory's convention: two_times_ppm or true_depth",
                    f"Assumed: {LB_AC_ASSUMED}, the pounds in that slice. By two_times_ppm the "
                    f"results in ppm would be {share:.2g} times as high. The lab report or a "
                    "call settles it.", at_key=True)


def _buffer(sample: Sample, increment: Increment, path: DataPath) -> Iterator[Fault]:
    soil, buffer = increment.ph, increment.buffer_ph
    if buffer is None or sample.methods.buffer is None:
        return
    here = (*path, "buffer_ph")
    fresh = load("case/buffers").number("fresh_ph", method=sample.methods.buffer)
    if buffer > fresh + limit("buffer_above_fresh"):
        yield Fault("CASE101", here, f"{buffer:g}",
                    f"at most {fresh:g}, the pH of the {sample.methods.buffer} buffer itself",
                    "Is methods.buffer right, or are soil pH and buffer pH swapped?")
    elif soil is not None and soil >= limit("buffer_needless_ph"):
        yield Fault("CASE101", here, f"{buffer:g} beside soil pH {soil:g}",
                    f"a buffer pH only below soil pH {limit('buffer_needless_ph'):g}",
                    "A soil that is not acid needs no lime test. Is the soil pH right?")
    elif soil is not None and buffer < min(soil, fresh) - limit("buffer_below_soil"):
        yield Fault("CASE101", here, f"{buffer:g} beside soil pH {soil:g}",
                    "a buffer pH near or above the soil pH",
                    "Are soil pH and buffer pH swapped?")


def _cations(sample: Sample, increment: Increment, path: DataPath) -> Iterator[Fault]:
    cec, sodium = plain(increment.cec), plain(increment.exchangeable_sodium)
    if cec is None:
        return
    if sodium is not None and sodium > cec:
        yield Fault("CASE102", (*path, "exchangeable_sodium"), f"{sodium:g} meq/100g",
                    f"at most the exchange capacity of {cec:g} meq/100g", "Is the unit right?")
    amounts = {ion: plain(getattr(increment, name)) for name, ion in BASES}
    if amounts["Ca"] is None or amounts["Mg"] is None:
        return
    bases = sum(ppm / (10 * EQUIVALENT_MG[ion]) for ion, ppm in amounts.items() if ppm is not None)
    ph = increment.ph
    limey = (
        sample.fizz not in (None, "none")
        or (ph is not None and ph >= limit("calcareous_ph"))
        or (plain(increment.carbonate) or 0) > 0
    )
    found = f"{bases:.3g} meq/100g of bases beside a capacity of {cec:g}"
    if bases > limit("bases_over_cec") * cec and not limey:
        yield Fault("CASE102", (*path, "cec"), found, "bases no larger than the capacity",
                    "Check the units of calcium and magnesium, or note fizz if the soil has "
                    "free lime.")
    elif bases < limit("bases_under_cec") * cec and ph is not None and ph >= limit("neutral_ph"):
        yield Fault("CASE102", (*path, "cec"), f"{found}, at soil pH {ph:g}",
                    f"bases of at least {limit('bases_under_cec'):g} of the capacity",
                    "A nearly neutral soil holds mostly bases. Check the units and the capacity.")


def _texture(sample: Sample, increment: Increment, path: DataPath) -> Iterator[Fault]:
    om, stated = plain(increment.organic_matter), increment.organic_matter
    if om is None or stated is None or sample.texture is None:
        return
    organic = sample.texture in ("muck", "peat")
    wanted = ""
    if organic and om < limit("organic_soil_om"):
        wanted = f"at least {limit('organic_soil_om'):g} % in {sample.texture}"
    elif not organic and om > limit("mineral_soil_om"):
        wanted = f"at most {limit('mineral_soil_om'):g} % in a mineral soil"
    elif sample.texture in ("sand", "loamy sand") and om > limit("sand_om"):
        wanted = f"at most {limit('sand_om'):g} % in {sample.texture}"
    if wanted:
        yield Fault("CASE103", (*path, "organic_matter"), stated.typed,
                    f"usually {wanted}", "Check the texture and the organic matter.")


def _salinity(sample: Sample, increment: Increment, path: DataPath) -> Iterator[Fault]:
    ec, method, stated = plain(increment.ec), sample.methods.ec, increment.ec
    if ec is None or stated is None or method is None:
        return
    if method == "saturated-paste":
        if increment.extract is not None:
            yield from cations_against_ec(increment.extract, increment.ec, (*path, "extract"))
        return
    if sample.texture is None:
        yield Fault("CASE113", (*path, "ec"), f"{stated.typed} by {method}, no texture",
                    "a saturation extract, or the texture of the sample",
                    "Crop limits hold for the saturation extract; the conversion needs the "
                    "texture.")
    elif ec >= limit("salinity_matters"):
        yield Fault("CASE113", (*path, "ec"), f"{stated.typed} by {method}",
                    "a saturation extract",
                    "Crop limits hold for the saturation extract; the conversion is rough.")


def cations_against_ec(part: Part, ec: Quantity | None, path: DataPath) -> Iterator[Fault]:
    """Calcium, magnesium and sodium should add up to about ten times the conductivity."""
    ions = [getattr(part, name) for name in ("calcium", "magnesium", "sodium")]
    if ec is None or any(ion is None or not ion.plain for ion in (*ions, ec)):
        return
    total, expected = sum(ion.value for ion in ions), limit("cations_per_ec") * ec.value
    factor = limit("cations_per_ec_factor")
    if not expected / factor <= total <= expected * factor:
        yield Fault("CASE120", path,
                    f"{total:.3g} meq/L of calcium, magnesium and sodium at {ec.value:.3g} dS/m",
                    f"about {expected:.3g} meq/L",
                    "Are the ions in mg/L, or the conductivity in uS/cm?", at_key=True)


def _layers(sample: Sample, path: DataPath) -> Iterator[Fault]:
    """A surface slice that holds more than the whole layer it is part of."""
    for (i, upper), (j, whole) in combinations(enumerate(sample.increments), 2):
        if upper.bottom_in > whole.bottom_in:
            (i, upper), (j, whole) = (j, whole), (i, upper)
        if not (upper.top_in == whole.top_in == 0 and upper.bottom_in < whole.bottom_in):
            continue
        for name in ADDITIVE:
            above, all_of_it = plain(getattr(upper, name)), plain(getattr(whole, name))
            if above is None or all_of_it is None:
                continue
            if above * upper.bottom_in > all_of_it * whole.bottom_in:
                yield Fault(
                    "CASE106", (*path, "increments", i, name),
                    f"{getattr(upper, name).typed} in {upper.depth[2]} beside "
                    f"{getattr(whole, name).typed} in {whole.depth[2]}",
                    f"at most {all_of_it * whole.bottom_in / upper.bottom_in:.3g} "
                    f"{getattr(upper, name).unit}",
                    "The soil below the slice would hold less than nothing. Swapped rows, a "
                    "decimal slip, or cores of uneven depth?",
                )


def _neighbours(sample: Sample, path: DataPath) -> Iterator[Fault]:
    ordered = sorted(enumerate(sample.increments), key=lambda n: (n[1].top_in, n[1].bottom_in))
    for (_, one), (j, other) in pairwise(ordered):
        for name in STEADY:
            a, b = plain(getattr(one, name)), plain(getattr(other, name))
            if not a or not b or max(a, b) < limit("neighbour_ratio") * min(a, b):
                continue
            yield Fault("CASE104", (*path, "increments", j, name), getattr(other, name).typed,
                        f"a value nearer to the {getattr(one, name).typed} of {one.depth[2]}",
                        "A decimal slip in one of the two?")


def _copies(sample: Sample, path: DataPath) -> Iterator[Fault]:
    for (_, one), (j, other) in combinations(enumerate(sample.increments), 2):
        pairs = [(getattr(one, n), getattr(other, n)) for n in (*ADDITIVE, "ph", "buffer_ph")]
        both = [(a, b) for a, b in pairs if a is not None and b is not None]
        alike = sum((a.value == b.value) if isinstance(a, Quantity) else a == b for a, b in both)
        if len(both) == alike >= limit("alike_results"):
            yield Fault("CASE121", (*path, "increments", j, "depth"),
                        f"{alike} results equal to those of {one.depth[2]}",
                        "results of its own", "A row copied twice?")


def _gaps(sample: Sample, path: DataPath) -> Iterator[Fault]:
    ordered = sorted(enumerate(sample.increments), key=lambda n: (n[1].top_in, n[1].bottom_in))
    reached = 0.0
    for i, increment in ordered:
        if increment.top_in > reached + 0.1:
            gap = "the surface" if reached == 0 else f"{reached:.3g} in"
            yield Fault("CASE107", (*path, "increments", i, "depth"), increment.depth[2],
                        f"a slice that starts at {gap}",
                        "Nothing is known about the soil between; it is not guessed.")
        reached = max(reached, increment.bottom_in)


def _sampling(case: CaseFile, sample: Sample, path: DataPath) -> Iterator[Fault]:
    few, large, old = limit("cores_min"), limit("area_max"), limit("oldest_test")
    if sample.cores is not None and sample.cores < few:
        yield Fault("CASE108", (*path, "cores"), f"{sample.cores} cores", f"at least {few:g}",
                    "Few cores make the result depend on where they were taken (Penn State).")
    area = sample_area_ac(case, sample)
    if area > large:
        yield Fault("CASE109", (*path, "area"), f"{area:.4g} ac in one sample",
                    f"at most {large:g} ac",
                    "One sample hides differences in a larger area (Penn State).")
    years = (case.case.date - sample.date).days / DAYS_PER_YEAR
    if years > old:
        yield Fault("CASE110", (*path, "date"), f"a sample {years:.1f} years old",
                    f"at most {old:g} years", "The soil has changed since; test again.")
    if sample.residue == "left on" and any(
        i.top_in == 0 and i.bottom_in <= SURFACE_MAX_IN for i in sample.increments
    ):
        yield Fault("CASE122", (*path, "residue"), "'left on'", "residue brushed off",
                    "Residue in a surface slice adds its own carbon and nutrients.")
