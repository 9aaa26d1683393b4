"""What a case says about soil acidity, worked out once for acidity, cations and layers."""

from dataclasses import dataclass

from loambrief.agronomy.intervals import plain_ends
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Increment, Sample
from loambrief.case.select import main_increment, surface_increment
from loambrief.errors import UnknownName
from loambrief.findings.model import Place
from loambrief.findings.places import place_of
from loambrief.topics.acidity.formulas import buffer_ph_error, constant
from loambrief.topics.acidity.formulas_targets import ph_target
from loambrief.topics.sampling.pooled import pooled_error
from loambrief.units import plain

SUBSOIL_TOP_IN = 6.0
"""A slice that starts here or deeper tells the subsoil's pH."""
ORGANIC_OM_PCT = 20.0
"""Organic matter above which Tri-State calls a soil organic (its own definition)."""
ACID_CROP_PH = 5.5
"""A crop with a target at or below this is kept acid whatever follows it: our own step."""
UNTILLED = ("no-till", "strip-till", "perennial")


def region_of(case: CaseFile) -> str | None:
    """State or country of the farm, else of the jurisdiction."""
    if case.farm.region:
        return case.farm.region
    return case.case.jurisdiction.split(",")[0].strip() if case.case.jurisdiction else None


def water_ph(ph: float, method: str | None) -> float:
    """pH as it would read in water; calcium chloride reads lower."""
    return ph + constant("cacl2_offset") if method == "cacl2" else ph


@dataclass(frozen=True)
class PhTarget:
    """pH to lime to and below which to lime, with where they are from."""

    value: float
    trigger: float
    """``value``, ``trigger``: [pH]."""
    crop: str
    upper: float | None = None
    """Upper end of the desirable range [pH], where a source states one."""
    other_value: float | None = None
    """PhTarget if the unmeasured subsoil is not acid [pH]."""
    other_trigger: float | None = None
    own: bool = False
    """The adviser's own target; ``reason`` says why."""
    reason: str = ""
    own_guide: bool = True
    acidify: bool = False
    result: Result | None = None


@dataclass(frozen=True)
class AcidState:
    sample: Sample
    place: Place
    main: Increment | None
    surface: Increment | None
    ph: float | None
    surface_ph: float | None
    subsoil_ph: float | None
    """``ph``, ``surface_ph``, ``subsoil_ph``: pH in water of the tilled layer, of the shallow
    slice, of the subsoil [pH]."""
    organic: bool
    target: PhTarget | None
    ph_error: float = 0.0
    """One standard deviation of the tilled layer's pH, or of the mean of pooled samples where that
    is more [pH]."""
    error_result: Result | None = None

    @property
    def aim(self) -> PhTarget:
        """The target, where the caller knows that there is one."""
        assert self.target is not None
        return self.target

    @property
    def layer(self) -> Increment:
        """The tilled layer, where the caller knows that it was sampled."""
        assert self.main is not None
        return self.main

    @property
    def top(self) -> Increment:
        """The shallow slice, where the caller knows that there is one."""
        assert self.surface is not None
        return self.surface

    @property
    def reading(self) -> float:
        """pH of the tilled layer, where the caller knows that it was measured [pH]."""
        assert self.ph is not None
        return self.ph

    @property
    def ph_low(self) -> float | None:
        """Low end of the range of the tilled layer's pH; None where it was not measured."""
        return None if self.ph is None else plain_ends(self.ph, self.ph_error)[0]

    @property
    def ph_high(self) -> float | None:
        """High end of the same."""
        return None if self.ph is None else plain_ends(self.ph, self.ph_error)[1]

    @property
    def method(self) -> str | None:
        return self.sample.methods.ph

    @property
    def fizzes(self) -> bool:
        return self.sample.fizz not in (None, "none")

    @property
    def carbonate(self) -> float | None:
        return plain(self.main.carbonate) if self.main else None

    @property
    def calcareous(self) -> bool:
        """Free lime was seen or measured."""
        return self.fizzes or bool(self.carbonate)

    @property
    def below_trigger(self) -> bool:
        return self.ph is not None and self.target is not None and self.ph < self.target.trigger

    @property
    def depends_on_subsoil(self) -> bool:
        """Limed over an acid subsoil, not otherwise, and the subsoil was not tested."""
        return self.below_trigger and self.reading >= self.line

    @property
    def line(self) -> float:
        """pH from which no lime is spread as long as the subsoil is not tested."""
        lower = None if self.aim.own or self.subsoil_ph is not None else self.aim.other_trigger
        return self.aim.trigger if lower is None else min(lower, self.aim.trigger)

    @property
    def near_trigger(self) -> bool:
        """pH and trigger are closer than the error of the pH."""
        return (self.ph is not None and self.target is not None
                and abs(self.ph - self.target.trigger) <= self.ph_error)


def untilled(case: CaseFile) -> bool:
    """Lime stays on the surface."""
    return case.field.tillage in UNTILLED


def _subsoil(sample: Sample) -> float | None:
    deep = [i for i in sample.increments if i.top_in >= SUBSOIL_TOP_IN and i.ph is not None]
    return deep[0].ph if deep else None


def _organic(sample: Sample, main: Increment | None) -> bool:
    om = plain(main.organic_matter) if main else None
    return sample.texture in ("muck", "peat") or (om is not None and om > ORGANIC_OM_PCT)


def crop_targets(case: CaseFile, subsoil_ph: float | None, organic: bool) -> tuple[Result, ...]:
    """Published targets of the present and the following crop, those the tables know."""
    found = []
    for name in dict.fromkeys([case.field.crop, case.field.following_crop]):
        if name is None:
            continue
        try:
            found.append(ph_target.evaluate(crop=name, region=region_of(case),
                                            subsoil_ph=subsoil_ph, organic_soil=organic))
        except UnknownName:
            continue
    return tuple(found)


def _target(case: CaseFile, subsoil_ph: float | None, organic: bool) -> PhTarget | None:
    listed = crop_targets(case, subsoil_ph, organic)
    own = case.targets.ph if case.targets is not None else None
    if not listed and own is None:
        return None
    chosen = None
    if listed:
        first, highest = listed[0], max(listed, key=lambda r: r.value)
        chosen = first if first.value <= ACID_CROP_PH and not organic else highest
    if own is not None and case.targets is not None:
        return PhTarget(own, own, chosen.details["crop"] if chosen else case.field.crop,
                      upper=chosen.details["upper"] if chosen else None, own=True,
                      reason=case.targets.reason,
                      acidify=bool(chosen and chosen.details["acidify"]), result=chosen)
    assert chosen is not None
    about = chosen.details
    return PhTarget(chosen.value, about["trigger"], about["crop"], upper=about["upper"],
                  other_value=about.get("other_target"), other_trigger=about.get("other_trigger"),
                  own_guide=about["own_guide"], acidify=about["acidify"], result=chosen)


def acid_state(case: CaseFile, sample: Sample) -> AcidState:
    """Acidity of one sample: readings, target, and how sure the pH is."""
    main, surface = main_increment(sample), surface_increment(sample)
    method = sample.methods.ph
    organic = _organic(sample, main)
    deep = _subsoil(sample)
    subsoil = None if deep is None else water_ph(deep, method)
    ph = water_ph(main.ph, method) if main is not None and main.ph is not None else None
    top = water_ph(surface.ph, method) if surface is not None and surface.ph is not None else None
    place = place_of(sample)
    with subject(place):
        target = _target(case, subsoil, organic)
        error = None
        if ph is not None:
            error = buffer_ph_error.evaluate(soil_ph=ph, cores=sample.cores)
            between = pooled_error(main, "ph", "buffer_ph")
            if between is not None and between.number > error.number:
                error = between
    return AcidState(
        sample=sample, place=place, main=main, surface=surface, ph=ph, surface_ph=top,
        subsoil_ph=subsoil, organic=organic, target=target,
        ph_error=float(error.value) if error else 0.0, error_result=error,
    )
