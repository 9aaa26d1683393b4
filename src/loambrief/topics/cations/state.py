"""What a sample says about its exchangeable cations, worked out once."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import Increment, Sample
from loambrief.case.select import main_increment
from loambrief.findings.model import Place
from loambrief.findings.places import place_of
from loambrief.topics.acidity.formulas import exchange_acidity
from loambrief.topics.acidity.state import water_ph
from loambrief.topics.cations.formulas import (
    acid_saturation,
    cation_saturation,
    cec_by_summation,
    constant,
    ppm_to_meq,
    summed_cec_reliability,
)
from loambrief.units import plain

FIELDS = {"Ca": "calcium", "Mg": "magnesium", "K": "potassium", "Na": "sodium"}
NEUTRAL_EXTRACTS = ("mehlich-3", "ammonium-acetate", "mehlich-1")
"""Extracts that summed capacities are commonly made from (Mehlich-1 in the Southeast)."""


@dataclass(frozen=True)
class CationState:
    sample: Sample
    place: Place
    main: Increment | None
    amounts: Mapping[str, float] = field(default_factory=dict)
    """Mapping of cation to ppm: Those that are plain numbers."""
    ph: float | None = None
    carbonate: float | None = None
    reliability: Result | None = None
    cec: float | None = None
    """Capacity the shares stand on [meq/100g]; ``cec_by`` is ``sum``, ``displacement`` or
    ``laboratory`` (the lab's own sum, where the acidity could not be worked out here)."""
    cec_by: str = ""
    lab_cec: float | None = None
    displacement_cec: float | None = None
    bases: float | None = None
    shares: Mapping[str, float] = field(default_factory=dict)
    """Mapping of cation to percent: With hydrogen where the acidity is known."""
    results: tuple[Result, ...] = ()
    unknown: tuple[str, ...] = ()
    """What is missing for a capacity."""

    @property
    def any_cation(self) -> bool:
        return any(c in self.amounts for c in ("Ca", "Mg"))

    @property
    def suppressed(self) -> bool:
        return self.reliability is not None and self.reliability.value == "suppressed"

    @property
    def sodium_known(self) -> bool:
        return "Na" in self.amounts

    @property
    def calcium(self) -> float | None:
        return self.amounts.get("Ca")

    @property
    def magnesium(self) -> float | None:
        return self.amounts.get("Mg")

    @property
    def potassium(self) -> float | None:
        return self.amounts.get("K")

    @property
    def method_fits(self) -> bool:
        return self.sample.methods.cations in NEUTRAL_EXTRACTS

    def charge(self, cation: str) -> float | None:
        ppm = self.amounts.get(cation)
        return None if ppm is None else float(ppm_to_meq(ppm, cation))


def cation_state(sample: Sample) -> CationState:
    """Cations of one sample: amounts, reliability, capacity and shares."""
    main = main_increment(sample)
    place = place_of(sample)
    if main is None:
        return CationState(sample, place, None)
    amounts = {c: v for c, name in FIELDS.items() if (v := plain(getattr(main, name))) is not None}
    ph = water_ph(main.ph, sample.methods.ph) if main.ph is not None else None
    carbonate, cec = plain(main.carbonate), plain(main.cec)
    by_displacement = cec if sample.methods.cec == "ammonium acetate" else None
    with subject(place_of(sample, main)):
        bases = sum(float(ppm_to_meq(v, c)) for c, v in amounts.items())
        complete = all(c in amounts for c in ("Ca", "Mg", "K"))
        reliable = summed_cec_reliability.evaluate(
            ph=ph, fizz=sample.fizz, bases_meq=bases if complete else None,
            displacement_cec_meq=by_displacement, carbonate_pct=carbonate)
        known = CationState(sample, place, main, amounts, ph, carbonate, reliable,
                            lab_cec=cec if sample.methods.cec == "summation" else None,
                            displacement_cec=by_displacement, bases=bases if amounts else None)
        if known.suppressed or not known.any_cation:
            return known
        return _with_capacity(known, complete)


def _acidity(state: CationState) -> Result | float | None:
    """Acidity [meq/100g]: from the buffer, or none from pH 7 up; None if unknown."""
    main, method = state.main, state.sample.methods.buffer
    if main is not None and main.buffer_ph is not None and method is not None:
        found = exchange_acidity.evaluate(buffer_method=method, buffer_ph=main.buffer_ph)
        if found.value is not None and found.unit == "meq/100g":
            return found
    if state.ph is not None and state.ph >= constant("no_acidity_ph"):
        return 0.0
    return None


def _with_capacity(state: CationState, complete: bool) -> CationState:
    acidity = _acidity(state)
    unknown = tuple(name for c, name in FIELDS.items() if c != "Na" and c not in state.amounts)
    results: list[Result] = []
    if state.displacement_cec is not None:
        cec, by = state.displacement_cec, "displacement"
    elif complete and acidity is not None:
        amount = acidity if isinstance(acidity, float) else float(acidity.value)
        if isinstance(acidity, Result):
            results.append(acidity)
        summed = cec_by_summation.evaluate(
            ca_ppm=state.amounts["Ca"], mg_ppm=state.amounts["Mg"], k_ppm=state.amounts["K"],
            na_ppm=state.amounts.get("Na"), acidity_meq=amount)
        results.append(summed)
        cec, by = float(summed.value), "sum"
    elif complete and state.lab_cec is not None:
        cec, by = state.lab_cec, "laboratory"
    else:
        lacking = unknown if acidity is not None else (*unknown, "acidity")
        return replace(state, unknown=lacking, results=tuple(results))
    shares: dict[str, float] = {}
    for cation, ppm in state.amounts.items():
        share = cation_saturation.evaluate(ppm=ppm, cation=cation, cec_meq=cec)
        shares[cation] = float(share.value)
        results.append(share)
    left = cec - (state.bases or 0.0)
    if complete and left >= 0 and (by != "sum" or acidity is not None):
        acid = acid_saturation.evaluate(acidity_meq=left, cec_meq=cec)
        shares["H"] = float(acid.value)
        results.append(acid)
    return replace(state, cec=cec, cec_by=by, shares=shares, results=tuple(results))
