"""What a case says about salt and sodium, worked out once for all salinity findings."""

from dataclasses import dataclass, replace

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Increment, Sample
from loambrief.case.select import main_increment, surface_increment
from loambrief.errors import ImpossibleInput
from loambrief.findings.model import Place
from loambrief.findings.places import depth_of, place_of
from loambrief.topics.salinity.formulas import (
    ece_from_1to1,
    ece_from_1to2,
    ece_from_1to5,
    root_zone_ece,
)
from loambrief.topics.salinity.formulas_crops import crop_salt_threshold
from loambrief.topics.salinity.formulas_sodicity import (
    constant,
    esp_from_sar,
    exchangeable_sodium_meq,
    exchangeable_sodium_pct,
    sodium_adsorption_ratio,
)
from loambrief.topics.sampling.pooled import relative_error
from loambrief.units import EQUIVALENT_MG, plain

PASTE = "saturated-paste"
CALCAREOUS_PH = 7.3
"""From here ammonium acetate and Mehlich-3 take calcium out of lime, so summed bases say
nothing about the exchange capacity (Kansas State 2021, about pH 7.3)."""


@dataclass(frozen=True)
class SliceSalt:
    increment: Increment
    place: Place
    ece: float | None = None
    low: float | None = None
    high: float | None = None
    equations: tuple[float, float] | None = None
    """Ends by the published equations alone, where the EC was converted [dS/m]."""
    converted: bool = False
    bound: str = ""
    """``"<"`` or ``">"`` where the lab gave only a limit; then ``high`` or ``low`` holds it."""
    sar: float | None = None
    results: tuple[Result, ...] = ()

    @property
    def depth(self) -> Place:
        return depth_of(self.increment)


@dataclass(frozen=True)
class EspEstimate:
    """One way to the exchangeable sodium percentage."""

    kind: str
    """``measured``, ``corrected``, ``from SAR`` or ``at most`` (an upper bound)."""
    value: float
    results: tuple[Result, ...]
    summed: bool = False
    """True where the summed bases stand in for a CEC that was not measured."""


@dataclass(frozen=True)
class SaltState:
    sample: Sample
    place: Place
    main: SliceSalt | None
    slices: tuple[SliceSalt, ...]
    root_ece: float | None = None
    root_low: float | None = None
    root_high: float | None = None
    root_equations: tuple[float, float] | None = None
    """Ends of the root zone by the published equations alone [dS/m]."""
    root_depth_in: float = 0.0
    root_results: tuple[Result, ...] = ()
    esps: tuple[EspEstimate, ...] = ()

    @property
    def layer(self) -> SliceSalt:
        """The main slice, where the caller knows that there is one."""
        assert self.main is not None
        return self.main

    @property
    def exchange(self) -> EspEstimate:
        """The ESP in use, where the caller knows that there is one."""
        assert self.esp is not None
        return self.esp

    @property
    def salt(self) -> float:
        """Root-zone ECe, where the caller knows that it was worked out [dS/m]."""
        assert self.root_ece is not None
        return self.root_ece

    @property
    def converted(self) -> bool:
        return bool(self.main and self.main.converted)

    @property
    def esp(self) -> EspEstimate | None:
        """The best estimate that is a value, not only a bound."""
        return next((e for e in self.esps if e.kind != "at most"), None)

    @property
    def esp_bound(self) -> EspEstimate | None:
        return next((e for e in self.esps if e.kind == "at most"), None)

    @property
    def sodic(self) -> bool:
        """True where the best estimate of ESP is at the limit or above."""
        return self.esp is not None and self.esp.value >= constant("sodic_esp")

    @property
    def surface(self) -> SliceSalt | None:
        """The shallow slice, if it is not the main one."""
        top = surface_increment(self.sample)
        return next((s for s in self.slices
                     if s.increment is top and (self.main is None or s is not self.main)), None)


def _convert(ratio: str, ec: float, sample: Sample, increment: Increment) -> Result | None:
    saturation = plain(increment.extract.saturation) if increment.extract else None
    if ratio == "1:5" and saturation is not None:
        return ece_from_1to5.evaluate(ec_ds_m=ec, saturation_pct=saturation)
    if sample.texture is None:
        return None
    way = {"ec_ds_m": ec, "texture": sample.texture}
    if ratio == "1:1":
        result = ece_from_1to1.evaluate(**way)
    elif ratio == "1:2":
        result = ece_from_1to2.evaluate(**way)
    else:
        result = ece_from_1to5.evaluate(**way)
    return result if result.value is not None else None


def _slice(sample: Sample, increment: Increment) -> SliceSalt:
    place = place_of(sample, increment)
    found = SliceSalt(increment, place)
    with subject(place):
        sar, results = _sar(increment)
        method = sample.methods.ec
        if increment.ec is not None and method is not None:
            ec = increment.ec.value
            if method == PASTE:
                low = high = value = ec
            else:
                converted = _convert(method, ec, sample, increment)
                if converted is None:
                    return SliceSalt(increment, place, sar=sar, results=results)
                results = (*results, converted)
                value = float(converted.value)
                low, high = float(converted.details["low"]), float(converted.details["high"])
            equations = None if method == PASTE else (low, high)
            between = relative_error(increment, "ec")
            low, high = low * (1.0 - min(between, 1.0)), high * (1.0 + between)
            censor = increment.ec.censor or ""
            found = SliceSalt(
                increment, place,
                ece=None if censor else value,
                low=None if censor == "<" else low,
                high=None if censor == ">" else high,
                equations=equations,
                converted=method != PASTE, bound=censor, sar=sar, results=results,
            )
        else:
            found = SliceSalt(increment, place, sar=sar, results=results)
    return found


def _sar(increment: Increment) -> tuple[float | None, tuple[Result, ...]]:
    extract = increment.extract
    if extract is None:
        return None, ()
    ions = (plain(extract.sodium), plain(extract.calcium), plain(extract.magnesium))
    sodium, calcium, magnesium = ions
    if sodium is None or calcium is None or magnesium is None or calcium + magnesium <= 0:
        return None, ()
    result = sodium_adsorption_ratio.evaluate(na_meq_l=sodium, ca_meq_l=calcium,
                                              mg_meq_l=magnesium)
    return float(result.value), (result,)


def _esps(sample: Sample, piece: SliceSalt) -> tuple[EspEstimate, ...]:
    """Every way to ESP that the slice allows, best first."""
    inc = piece.increment
    cec, exchangeable = plain(inc.cec), plain(inc.exchangeable_sodium)
    found: list[EspEstimate] = []
    with subject(piece.place):
        if exchangeable is not None and cec is not None:
            found += _estimate("measured", exchangeable, cec)
        sodium_ppm = plain(inc.sodium)
        sodium = None if sodium_ppm is None else sodium_ppm / 10.0 / EQUIVALENT_MG["Na"]
        extract = inc.extract
        dissolved = plain(extract.sodium) if extract else None
        saturation = plain(extract.saturation) if extract else None
        if cec is not None and None not in (sodium, dissolved, saturation):
            net = exchangeable_sodium_meq.evaluate(
                extractable_na_meq=sodium, extract_na_meq_l=dissolved, saturation_pct=saturation)
            found += _estimate("corrected", float(net.value), cec, net)
        if piece.sar is not None:
            esp = esp_from_sar.evaluate(sar=piece.sar)
            found.append(EspEstimate("from SAR", float(esp.value), (*piece.results, esp)))
        if not found and sodium is not None:
            capacity = cec if cec is not None else _least_cec(sample, inc, sodium)
            if capacity:
                found += [replace(e, summed=cec is None)
                          for e in _estimate("at most", sodium, capacity)]
    return tuple(found)


def _estimate(kind: str, sodium: float, cec: float, *before: Result) -> list[EspEstimate]:
    try:
        result = exchangeable_sodium_pct.evaluate(na_meq=sodium, cec_meq=cec)
    except ImpossibleInput:
        return []
    return [EspEstimate(kind, float(result.value), (*before, result))]


def _least_cec(sample: Sample, inc: Increment, sodium_meq: float) -> float | None:
    """Sum of extracted bases: no more than the CEC, unless there is lime in the soil."""
    if inc.ph is None or inc.ph >= CALCAREOUS_PH or sample.fizz not in (None, "none"):
        return None
    bases = [(plain(inc.calcium), "Ca"), (plain(inc.magnesium), "Mg"), (plain(inc.potassium), "K")]
    known = [(value, ion) for value, ion in bases if value is not None]
    if len(known) < len(bases):
        return None
    return sodium_meq + sum(value / 10.0 / EQUIVALENT_MG[ion] for value, ion in known)


def _root_chain(sample: Sample, slices: tuple[SliceSalt, ...]) -> list[SliceSalt]:
    """Slices with an ECe that follow each other from the surface down."""
    with_ece = [s for s in slices if s.ece is not None]
    start = main_increment(sample) or surface_increment(sample)
    chain = [s for s in with_ece if s.increment is start]
    while chain:
        below = next((s for s in with_ece
                      if abs(s.increment.top_in - chain[-1].increment.bottom_in) < 1e-6), None)
        if below is None:
            break
        chain.append(below)
    return chain


def salt_state(sample: Sample) -> SaltState:
    slices = tuple(_slice(sample, inc) for inc in sample.increments)
    wanted = main_increment(sample) or surface_increment(sample)
    main = next((s for s in slices if s.increment is wanted), None)
    chain = _root_chain(sample, slices)
    state = SaltState(sample, place_of(sample), main, slices)
    esps = _esps(sample, main) if main else ()
    if not chain:
        return SaltState(sample, state.place, main, slices, esps=esps)
    thickness = [s.increment.thickness_in for s in chain]
    with subject(state.place):
        mean = root_zone_ece.evaluate(ece_ds_m=[s.ece for s in chain], thickness_in=thickness,
                                      depth_in=sum(thickness))

    def weighted(values: list[float | None]) -> float:
        known = [v for v in values if v is not None]
        return sum(v * t for v, t in zip(known, thickness, strict=True)) / sum(thickness)

    return SaltState(
        sample, state.place, main, slices,
        root_ece=float(mean.value),
        root_low=weighted([s.low for s in chain]), root_high=weighted([s.high for s in chain]),
        root_equations=(
            weighted([s.equations[0] if s.equations else s.ece for s in chain]),
            weighted([s.equations[1] if s.equations else s.ece for s in chain])),
        root_depth_in=sum(thickness),
        root_results=(*(r for s in chain for r in s.results if r.unit == "dS/m"), mean),
        esps=esps,
    )


@dataclass(frozen=True)
class CropTolerance:
    """Threshold and slope of a crop of the case."""

    crop: str
    threshold: float
    slope: float
    kind: str
    early_limit: float | None
    how: str
    result: Result


def tolerance(crop: str | None) -> CropTolerance | None:
    """Tolerance of a crop; None where nothing is published in the table."""
    if crop is None:
        return None
    with subject(crop):
        result = crop_salt_threshold.held(crop=crop)
    if result is None:
        return None
    early = result.details.get("early_limit_ds_m")
    return CropTolerance(crop, float(result.value), float(result.details["slope_pct"]),
                         str(result.details["kind"]), None if early is None else float(early),
                         result.how, result)


def leached_for(case: CaseFile) -> CropTolerance | None:
    """The more sensitive of the crops that the water goes on; None without a published one."""
    known = [t for t in map(tolerance, (case.field.crop, case.field.following_crop))
             if t is not None]
    return min(known, key=lambda t: t.threshold, default=None)


def irrigated(case: CaseFile) -> bool:
    return case.field.irrigation != "none"


def watering(case: CaseFile) -> str:
    """``sprinkler`` or ``surface``, as the water tables call it."""
    return "sprinkler" if case.field.irrigation in ("sprinkler", "center pivot") else "surface"
