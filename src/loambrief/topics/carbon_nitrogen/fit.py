"""What every nitrogen method shares: its answer, and what it reads of a case."""

from dataclasses import dataclass, replace

from loambrief.agronomy.crops import Crop, yield_in_crop_unit
from loambrief.agronomy.guides import Guide
from loambrief.agronomy.registry import Result
from loambrief.case.schema import CaseFile, Increment, Sample
from loambrief.case.schema_plan import NitrogenInputs
from loambrief.tables import DataRow
from loambrief.tables.regions import named
from loambrief.topics.carbon_nitrogen.credits import Credit, nitrate_layers
from loambrief.topics.carbon_nitrogen.formulas_credits import LB_AC_PER_PPM_6IN
from loambrief.topics.sampling.pooled import composite_error

FOOT_IN = 12.0


@dataclass(frozen=True)
class MethodFit:
    """A method for a zone: its rate, or what it lacks."""

    method: str
    crop: Crop
    when: str
    """Before, topdress, early spring, cuttings, stem extension or sidedress."""
    amount: float | None = None
    low: float | None = None
    high: float | None = None
    """``amount``, ``low``, ``high``: nitrogen still to apply [lb/ac]; None where something
    lacks."""
    results: tuple[Result, ...] = ()
    """The one that gave the rate first."""
    credits: tuple[Credit, ...] = ()
    """What was taken off besides what the method itself counts."""
    lacks: tuple[str, ...] = ()
    """Keys of what is missing."""
    guide: Guide | None = None
    """The guide whose rule it is."""
    holds: tuple[str, ...] = ()
    """Kinds of credit that the rate holds already, or that its reading tells of."""


def places_named(case: CaseFile) -> tuple[str | None, ...]:
    return (case.farm.region, case.farm.country, case.case.jurisdiction)


def lies_in(case: CaseFile, *regions: str) -> bool:
    """One of some regions is named as where the field is; Scotland has manuals of its own."""
    places = places_named(case)
    if "Scotland" not in regions and named(places, ("Scotland",)):
        return False
    return bool(named(places, regions))


def inputs_of(case: CaseFile) -> NitrogenInputs:
    return case.nitrogen_inputs or NitrogenInputs()


def yield_goal(case: CaseFile, crop: Crop) -> float | None:
    goal = case.field.yield_goal
    if goal is None or not goal.value.plain:
        return None
    return yield_in_crop_unit(crop, goal.value.value, goal.value.unit)


def profile(case: CaseFile, zone: Sample | None, row: DataRow) -> list[Increment] | None:
    """Layers with nitrate from the surface down to the depth that a method asks for."""
    if row["depth_in"] is None:
        return []
    if zone is None:
        return None
    layers, reached = nitrate_layers(case, zone), 0.0
    for layer in layers:
        if layer.top_in > reached:
            return None
        reached = layer.bottom_in
    return layers if reached >= row["depth_in"] else None


def ammonium(zone: Sample | None) -> float | None:
    """Ammonium nitrogen of the first foot [lb/ac], by 2 lb per ppm in six inches."""
    if zone is None:
        return None
    found, reached = 0.0, 0.0
    for layer in sorted(zone.increments, key=lambda i: (i.top_in, -i.bottom_in)):
        if layer.ammonium_n is None or not layer.ammonium_n.plain or layer.top_in != reached:
            continue
        found += LB_AC_PER_PPM_6IN * layer.ammonium_n.value * layer.thickness_in / 6.0
        reached = layer.bottom_in
    return found if reached >= FOOT_IN else None


def rated(fit: MethodFit, rate: Result, *before: Result,
           credits: tuple[Credit, ...] = ()) -> MethodFit:
    low, high = rate.details.get("low"), rate.details.get("high")
    if low == high:
        low = high = None
    return replace(fit, amount=rate.number, results=(rate, *before), credits=credits,
                   low=None if low is None else float(low),
                   high=None if high is None else float(high))


def less(fit: MethodFit, credits: float) -> MethodFit:
    """A rate with what other sources bring taken off."""
    def off(value: float | None) -> float | None:
        return None if value is None else max(value - credits, 0.0)

    return replace(fit, amount=off(fit.amount), low=off(fit.low), high=off(fit.high))


def nitrate_error(zone: Sample | None, layers: list[Increment]) -> tuple[float | None,
                                                                         tuple[Result, ...]]:
    """Relative error of a nitrate profile [%], by that of its top layer, with its result."""
    if zone is None or not layers or layers[0].nitrate_n is None:
        return None, ()
    error = composite_error("nitrate_n", zone, layers[0], layers[0].nitrate_n.value)
    return (None, ()) if error is None else (error.pct, (error.result,))
