"""Units that need their surroundings: after this, a case holds house units only.

A soil test in lb/ac becomes ppm by the laboratory's convention (2 x ppm, or by the depth of
its slice); ions of a water or extract in
mg/L or ppm become meq/L by their equivalent mass; penetrometer depths and readings become
in and psi. What was typed stays with each quantity.
"""

import math
from collections.abc import Mapping

from loambrief.case.problems import DataPath, Fault
from loambrief.case.schema import CaseFile, Increment, Part, Penetrometer, Sample
from loambrief.case.select import with_areas
from loambrief.units import CM_PER_INCH, DIMENSIONS, EQUIVALENT_MG, Quantity, lb_ac_to_ppm

ION: Mapping[str, str] = {
    "calcium": "Ca",
    "magnesium": "Mg",
    "sodium": "Na",
    "chloride": "Cl",
    "bicarbonate": "HCO3",
    "carbonate": "CO3",
    "sulfate": "SO4",
    "potassium": "K",
}
"""Field of a solution -> ion in :data:`loambrief.units.EQUIVALENT_MG`."""
LB_AC = "lb/ac"
LB_AC_ASSUMED = "true_depth"
"""What lb/ac is taken to mean where the laboratory's convention is not stated; warned about."""
PPM_TO_LB_AC = 2.0
"""Convention of many laboratories: lb/ac is 2 x ppm whatever the depth."""
PRESSURE = DIMENSIONS["pressure"]
SOIL = DIMENSIONS["soil_concentration"]
SOLUTION = DIMENSIONS["solution"]


def to_house(case: CaseFile) -> tuple[CaseFile, list[Fault]]:
    """The case with every contextual unit converted.

    The faults are units that have no meaning where they stand (lb/ac of a hay test), and values
    that are impossible once converted.
    """
    faults: list[Fault] = []
    samples = [
        sample.model_copy(update={"increments": [
            _increment(inc, ("samples", i, "increments", j), faults,
                       sample.lab.lb_ac_means or LB_AC_ASSUMED)
            for j, inc in enumerate(sample.increments)
        ]})
        for i, sample in enumerate(case.samples)
    ]
    changes: dict[str, object] = {"samples": samples}
    if case.water:
        changes["water"] = _solution(case.water, ("water",), faults)
    if case.penetrometer:
        changes["penetrometer"] = _penetrometer(case.penetrometer, faults)
    for part, tests, what in (("forage", case.forage, "hay"), ("tissue", case.tissue, "tissue")):
        faults += [Fault("CASE048", (part, i, name), repr(value.typed),
                         "ppm, mg/kg or g/kg of dry matter",
                         f"A {what} test has no depth that could turn lb/ac into ppm.")
                   for i, test in enumerate(tests) for name, value in test
                   if isinstance(value, Quantity) and value.unit == LB_AC]
    case, shared = with_areas(case.model_copy(update=changes))
    return case, [*faults, *shared]


def in_lb_ac(sample: Sample) -> list[tuple[int, str]]:
    """Slice and field of every result that was typed in lb/ac."""
    return [(j, name) for j, inc in enumerate(sample.increments) for name in Increment.model_fields
            if isinstance(value := getattr(inc, name), Quantity)
            and LB_AC in value.typed.lower().replace(" ", "")]


def _increment(increment: Increment, path: DataPath, faults: list[Fault],
               lb_ac_means: str) -> Increment:
    changes: dict[str, object] = {}
    for name in Increment.model_fields:
        value = getattr(increment, name)
        if isinstance(value, Quantity) and value.unit == "lb/ac":
            ppm = (value.value / PPM_TO_LB_AC if lb_ac_means == "two_times_ppm"
                   else lb_ac_to_ppm(value.value, increment.thickness_in))
            changes[name] = _checked(Quantity(ppm, SOIL.house, value.typed, value.censor),
                                     SOIL.highest, (*path, name), faults)
    if increment.extract:
        changes["extract"] = _solution(increment.extract, (*path, "extract"), faults)
    return increment.model_copy(update=changes) if changes else increment


def _solution(part: Part, path: DataPath, faults: list[Fault]) -> Part:
    changes = {}
    for name, ion in ION.items():
        value = getattr(part, name, None)
        if isinstance(value, Quantity) and value.unit in SOLUTION.contextual:
            house = value.scaled(1 / EQUIVALENT_MG[ion], SOLUTION.house)
            changes[name] = _checked(house, SOLUTION.highest, (*path, name), faults)
    return part.model_copy(update=changes) if changes else part


def _checked(value: Quantity, highest: float | None, path: DataPath,
             faults: list[Fault]) -> Quantity:
    if highest is not None and value.value > highest:
        faults.append(Fault("CASE026", path, f"{value.typed!r} ({value.value:.4g} {value.unit})",
                            f"at most {highest:.10g} {value.unit}"))
    return value


def _penetrometer(part: Penetrometer, faults: list[Fault]) -> Penetrometer:
    depth = 1 / CM_PER_INCH if part.depth_unit == "cm" else 1.0
    pressure, highest = PRESSURE.factors[part.pressure_unit], PRESSURE.highest or math.inf
    points = []
    for i, point in enumerate(part.points):
        readings = [None if r is None else r * pressure for r in point.readings]
        for j, reading in enumerate(readings):
            if reading is not None and reading > highest:
                faults.append(Fault(
                    "CASE026", ("penetrometer", "points", i, "readings", j),
                    f"{point.readings[j]:g} {part.pressure_unit}",
                    f"at most {highest / pressure:.4g} {part.pressure_unit}",
                    "Is pressure_unit right?",
                    needs=(("penetrometer", "pressure_unit"),),
                ))
        points.append(point.model_copy(update={"readings": readings}))
    return part.model_copy(update={
        "depths": [d * depth for d in part.depths], "depth_unit": "in",
        "points": points, "pressure_unit": "psi",
    })
