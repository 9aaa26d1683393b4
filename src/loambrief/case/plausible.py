"""Warnings: values that can be, but seldom are, and readings that carry less weight.

Every warning names its reason. The adviser confirms a right one in the case itself::

    accept:
      - {code: CASE104, field: "samples[N].increments[0-6 in].phosphorus", reason: "..."}

and the reason is printed in the advisory.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from types import MappingProxyType

from loambrief.case.boundary import boundary_warnings
from loambrief.case.guide_file import LoadedGuide
from loambrief.case.known_names import name_warnings
from loambrief.case.measurements import measurements
from loambrief.case.names import (
    CROPS,
    crops,
    fold,
    nearest_weed,
    usual_yields,
    weeds,
    yield_units,
)
from loambrief.case.plausible_soil import cations_against_ec, limit, soil_warnings
from loambrief.case.problems import DataPath, Fault
from loambrief.case.quantities import did_you_mean
from loambrief.case.schema import CaseFile, NearWater, Part
from loambrief.case.source import single_values
from loambrief.tables import load
from loambrief.units import P2O5_PER_P, PRICE_UNITS, Quantity

USUAL = "case/usual"
STARTER_ID = "rename-me"
"""Name of a case that was not renamed since it was written as a starter."""
ORGANIC_TEXTURES = ("muck", "peat")


@cache
def usual() -> Mapping[tuple[str, str], tuple[float, float, str]]:
    """(part, field) -> lowest and highest usual value and their unit."""
    return MappingProxyType(
        {(r["part"], r["field"]): (r["low"], r["high"], r["unit"]) for r in load(USUAL)}
        | {(m.part, m.field): (*m.usual, m.unit) for m in measurements() if m.usual}
    )


@cache
def mineral_only() -> frozenset[tuple[str, str]]:
    """(part, field) whose usual range does not hold for organic soils."""
    return frozenset((m.part, m.field) for m in measurements() if m.mineral_only)


def warnings(case: CaseFile, data: object, guides: Iterable[LoadedGuide] = ()) -> Iterator[Fault]:
    """Every warning of a valid case in house units.

    ``data`` is the case as it was typed, ``guides`` are its own, read from their files.
    """
    yield from name_warnings(case, guides)
    yield from _ranges(case, (), organic=False)
    for i, sample in enumerate(case.samples):
        yield from soil_warnings(case, sample, ("samples", i))
    yield from _crops(case)
    yield from _weeds(case)
    yield from _yield_goal(case)
    yield from _field_readings(case)
    yield from _traffic(case)
    if case.water:
        yield from cations_against_ec(case.water, case.water.ec, ("water",))
    yield from _grades(case)
    yield from _around(case)
    if case.boundary is not None:
        yield from boundary_warnings(case)
    if case.adviser.credential.expires < case.case.date:
        yield Fault("CASE116", ("adviser", "credential", "expires"),
                    f"{case.adviser.credential.expires.isoformat()}",
                    f"a credential valid on the case date {case.case.date.isoformat()}",
                    "The advisory will show the date as it stands.")
    if not any((case.samples, case.penetrometer, case.infiltration, case.refractometer,
                case.weeds, case.forage, case.tissue, case.water)):
        yield Fault("CASE118", (), "no sample, reading, weed or test", "at least one",
                    "There is nothing to judge; the advisory will say only what to measure.")
    yield from _placeholders(data)


def _ranges(part: Part, path: DataPath, organic: bool) -> Iterator[Fault]:
    """Values outside their usual range, all the way down."""
    organic = organic or getattr(part, "texture", None) in ORGANIC_TEXTURES
    for name in type(part).model_fields:
        value = getattr(part, name)
        here = (*path, name)
        if isinstance(value, Part):
            yield from _ranges(value, here, organic)
        elif isinstance(value, list) and value and isinstance(value[0], Part):
            for i, entry in enumerate(value):
                yield from _ranges(entry, (*here, i), organic)
        else:
            key = (type(part).__name__, name)
            if key in usual() and not (organic and key in mineral_only()):
                for at, one in enumerate(value) if isinstance(value, list) else ((None, value),):
                    place = here if at is None else (*here, at)
                    yield from _range(one, place, *usual()[key])


def _range(value: object, path: DataPath, low: float, high: float, unit: str) -> Iterator[Fault]:
    if isinstance(value, Quantity):
        number, typed = value.value, value.typed
        if not value.plain:
            return
    elif isinstance(value, int | float):
        number, typed = float(value), f"{value:.6g}"
    else:
        return
    if low <= number <= high:
        return
    unit = "" if unit in ("1", "pH") else f" {unit}"
    help = "Is the unit right?"
    for power in (10, 100, 1000):
        if low <= number / power <= high and number > high:
            help = f"A decimal slip? {number / power:.6g}{unit} would be usual."
            break
        if low <= number * power <= high and number < low:
            help = f"A decimal slip? {number * power:.6g}{unit} would be usual."
            break
    yield Fault("CASE104", path, f"{typed}", f"usually {low:.4g} to {high:.4g}{unit}", help)


def _crops(case: CaseFile) -> Iterator[Fault]:
    """A previous crop, or one declared as unlisted, that the table does not have."""
    for name in ("crop", "previous_crop", "following_crop"):
        typed = getattr(case.field, name)
        if typed is None or fold(typed) in crops() or "<" in typed:
            continue
        if name != "previous_crop" and fold(typed) not in map(fold, case.field.unlisted_crops):
            continue  # then it is an error
        known = sorted(row["crop"] for row in load(CROPS))
        help = did_you_mean(fold(typed), crops() if name == "previous_crop" else (),
                            "Known crops: " + ", ".join(known) + ".")
        yield Fault("CASE114", ("field", name), repr(typed), "a crop of the crop table",
                    help if name != "crop" else
                    f"{help} Without it nothing that depends on the crop can be worked out.")


def _weeds(case: CaseFile) -> Iterator[Fault]:
    """Weeds whose name, code and local name, as far as given, stand in no weed table."""
    named: list[tuple[DataPath, tuple[str | None, ...]]] = [
        (("weeds", i, "species"), (weed.species, weed.eppo, weed.local_name))
        for i, weed in enumerate(case.weeds)
    ]
    if case.refractometer:
        named += [
            (("refractometer", "readings", i, "plant"), (reading.plant,))
            for i, reading in enumerate(case.refractometer.readings) if reading.role == "weed"
        ]
    for path, names in named if weeds() else ():
        if any(name and fold(name) in weeds() for name in names):
            continue
        near = nearest_weed(names[0] or "")
        yield Fault("CASE115", path, repr(names[0]), "a weed of the weed table",
                    f"Did you mean {near!r}?" if near else
                    "It is printed as typed; nothing can be read from it.")


def _yield_goal(case: CaseFile) -> Iterator[Fault]:
    goal, row = case.field.yield_goal, crops().get(fold(case.field.crop))
    if goal is None or row is None:
        return
    pounds = yield_units(case.field.crop).get(goal.value.unit)
    if not pounds:  # a unit that is already an error
        return
    low, high = (limit / pounds for limit in usual_yields()[str(row["group"])])
    yield from _range(goal.value, ("field", "yield_goal", "value"), low, high, goal.value.unit)


def _field_readings(case: CaseFile) -> Iterator[Fault]:
    few = limit("fewest_replicates")
    if case.refractometer:
        for i, reading in enumerate(case.refractometer.readings):
            if len(reading.replicates) < few:
                yield Fault("CASE111", ("refractometer", "readings", i, "replicates"),
                            f"{len(reading.replicates)} readings of {reading.plant}",
                            f"at least {few:g}", "Without replicates no spread can be given, so a "
                            "difference between crop and weed cannot be told from chance.")
    if case.penetrometer and case.penetrometer.moisture in ("dry", "slightly moist"):
        yield Fault("CASE112", ("penetrometer", "moisture"), repr(case.penetrometer.moisture),
                    "soil near field capacity", "Dry soil resists the cone more, so the readings "
                    "say less about a dense layer. Read again when the soil is moist.")


_TRAFFIC = re.compile(
    r"\b(headland|end row|wheel|track|traffic|tram|lane|gate|entrance|turn|road"
    r"|huella|rodada|cabecera|tr[aá]nsito|camino|entrada|port[oó]n)", re.IGNORECASE)


def _traffic(case: CaseFile) -> Iterator[Fault]:
    """Lanes, field entrances and end rows are sampled apart (Penn State, Kentucky)."""
    for i, point in enumerate(case.penetrometer.points if case.penetrometer else ()):
        if point.place and _TRAFFIC.search(point.place) and "traffic" not in point.model_fields_set:
            yield Fault("CASE127", ("penetrometer", "points", i, "place"), repr(point.place),
                        "traffic: true or false on this point", "Where wheels run or turn soil is "
                        "denser, so such points are judged apart from the field if the case says "
                        "that they are traffic.")


def _around(case: CaseFile) -> Iterator[Fault]:
    """Water nearer than its setback, harvest sooner than its interval, gallons without weight."""
    zones: list[tuple[DataPath, Sequence[NearWater]]] = [
        (("field", "near_water"), case.field.near_water),
        *((("samples", i, "near_water"), s.near_water) for i, s in enumerate(case.samples))]
    for path, waters in zones:
        for j, water in enumerate(waters):
            if water.setback is not None and water.distance.value < water.setback.value:
                yield Fault("CASE128", (*path, j, "distance"), water.distance.typed,
                            f"at least the setback of {water.setback.typed}",
                            "Nothing may be spread inside the setback; is the distance that to "
                            "the edge of what is spread?")
    harvest = case.field.dates.harvest if case.field.dates else None
    for i, material in enumerate(case.materials):
        days = material.harvest_interval
        if days is not None and harvest is not None and (harvest - case.case.date).days < days:
            yield Fault("CASE129", ("materials", i, "harvest_interval"), f"{days} days",
                        f"at most the {(harvest - case.case.date).days} days to harvest",
                        "Spread from now on it would stand in the way of that harvest.")
        for key in ("price", "freight", "spreading"):
            price = getattr(material, key)
            if price is not None and PRICE_UNITS[price.per][0] == "liquid" and (
                material.lb_per_gal is None and material.analysis is not None
            ):
                yield Fault("CASE130", ("materials", i, key, "per"), repr(price.per),
                            "an analysis in lb/1000gal, or the density",
                            "By weight alone a price per volume cannot be worked out; no cost "
                            "will be given.")


_GRADE = re.compile(r"(?<![\d.])(\d{1,2}(?:\.\d)?)-(\d{1,2}(?:\.\d)?)-(\d{1,2}(?:\.\d)?)(?![\d.])")


def _grades(case: CaseFile) -> Iterator[Fault]:
    """The grade in a product's name (11-52-0) against its analysis."""
    for i, material in enumerate(case.materials):
        match = _GRADE.search(material.name)
        if not match or material.analysis is None:
            continue
        for name, typed in zip(("n", "p2o5", "k2o"), match.groups(), strict=True):
            value, grade = getattr(material.analysis, name), float(typed)
            if value is None or not value.plain or grade == 0:
                continue
            if abs(value.value - grade) <= limit("grade_tolerance") * grade:
                continue
            element = grade / P2O5_PER_P
            help = "Correct the name or the analysis."
            if name == "p2o5" and abs(value.value - element) <= 0.02 * grade:
                help = "That looks like P; the analysis wants P2O5 (P times 2.29)."
            yield Fault("CASE105", ("materials", i, "analysis", name), value.typed,
                        f"{grade:g} % as in the name {material.name[:40]!r}", help)


def _placeholders(data: object) -> Iterator[Fault]:
    for path, value in single_values(data):
        if isinstance(value, str) and (re.search(r"<[^<>]+>", value) or (
                path == ("case", "id") and value == STARTER_ID)):
            yield Fault("CASE119", path, repr(value[:60]), "your own words",
                        "Fill in the placeholder of the starter case.")
