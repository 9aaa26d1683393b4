"""Field types of the case schema: quantities with units, real dates, plain numbers."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from typing import Annotated

from pydantic import PlainValidator, StringConstraints, WithJsonSchema
from pydantic_core import PydanticCustomError

from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.units import DIMENSIONS, YIELD_UNITS, Quantity, parse, split_number, tidy_unit


def fault(code: str, found: object, wanted: str) -> PydanticCustomError:
    """A validation error that carries what was found and what is wanted."""
    return PydanticCustomError(
        code, "found {found}, wanted {wanted}", {"found": _show(found), "wanted": wanted}
    )


def _show(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _as_text(value: object) -> str | None:
    """``"148 ppm"`` or ``{value: 148, unit: ppm}`` as one text; None for a bare number."""
    if isinstance(value, str):
        return value
    if isinstance(value, Mapping) and set(value) == {"value", "unit"}:
        return f"{value['value']} {value['unit']}"
    return None


def quantity(dimension_name: str, low: float | None = None, high: float | None = None):
    """Annotated type of a quantity of one dimension, optionally bounded in house units."""
    dimension = DIMENSIONS[dimension_name]
    units = ", ".join(dimension.accepted)
    bounds = " and ".join(
        part
        for part in (
            f"at least {low:g} {dimension.house}" if low is not None else "",
            f"at most {high:g} {dimension.house}" if high is not None else "",
        )
        if part
    )

    def read(value: object) -> Quantity:
        if isinstance(value, Quantity):
            return value
        text = _as_text(value)
        if text is None:
            if isinstance(value, int | float) and not isinstance(value, bool):
                raise fault("missing_unit", value, f"the number with its unit, one of {units}")
            raise fault("quantity_form", value,
                        f'text such as "12 {dimension.house}" or {{value: 12, unit: '
                        f"{dimension.house}}}")
        try:
            got = parse(dimension_name, text)
        except UnknownName as error:
            raise fault("unknown_unit", text, f"a unit of {units}{_near(error)}") from None
        except ImpossibleInput:
            raise _number_fault(text, dimension_name, units) from None
        if got.unit == dimension.house and (
            (low is not None and got.value < low) or (high is not None and got.value > high)
        ):
            raise fault("impossible_value", text, bounds)
        return got

    schema = {
        "anyOf": [
            {"type": "string", "pattern": r"^\s*[<>]?\s*[+-]?[0-9.,]+([eE][+-]?[0-9]+)?\s*\S.*$"},
            {
                "type": "object",
                "properties": {"value": {"type": ["number", "string"]},
                               "unit": {"type": "string"}},
                "required": ["value", "unit"],
                "additionalProperties": False,
            },
        ],
        "description": f"quantity with unit: {units}",
        "examples": [f"12 {dimension.house}"],
    }
    return Annotated[Quantity, PlainValidator(read), WithJsonSchema(schema)]


def _near(error: UnknownName) -> str:
    text = str(error)
    return "; " + text.split("; ", 1)[1] if "did you mean" in text else ""


def _number_fault(text: str, dimension_name: str, units: str) -> PydanticCustomError:
    dimension = DIMENSIONS[dimension_name]
    try:
        _, _, unit = split_number(text)
    except ImpossibleInput:
        return fault("quantity_form", text, f'a number with a unit, such as "12 {dimension.house}"')
    if not unit:
        return fault("missing_unit", text, f"the number with its unit, one of {units}")
    low = f"{dimension.lowest:g}" if dimension.lowest is not None else "any"
    high = f"{dimension.highest:g}" if dimension.highest is not None else "any"
    return fault("impossible_value", text, f"between {low} and {high} {dimension.house}")


def _yield(value: object) -> Quantity:
    """A yield keeps its typed unit: the crop table converts it."""
    if isinstance(value, Quantity):
        return value
    text = _as_text(value)
    if text is None:
        raise fault("missing_unit", value, "a yield with its unit, one of " + ", ".join(YIELD_UNITS))
    try:
        censor, number, unit = split_number(text)
    except ImpossibleInput:
        raise fault("quantity_form", text, 'a yield such as "180 bu/ac"') from None
    unit = tidy_unit(unit)
    if unit not in YIELD_UNITS or censor:
        raise fault("unknown_unit", text, "a yield unit of " + ", ".join(YIELD_UNITS))
    if not 0 < number < 1_000_000:
        raise fault("impossible_value", text, "a yield above 0")
    return Quantity(number, unit, " ".join(text.split()))


def _date(value: object) -> dt.date:
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return value
    if isinstance(value, str):
        try:
            got = dt.date.fromisoformat(value.strip())
        except ValueError:
            raise fault("not_a_date", value, "a real date written YYYY-MM-DD") from None
        if not 1900 <= got.year <= 2200:
            raise fault("not_a_date", value, "a date between 1900 and 2200")
        return got
    raise fault("not_a_date", value, "a real date written YYYY-MM-DD")


def _time(value: object) -> dt.time:
    if isinstance(value, dt.time):
        return value
    if isinstance(value, str):
        try:
            return dt.time.fromisoformat(value.strip().zfill(5))
        except ValueError:
            pass
    raise fault("not_a_time", value, 'a time of day written "HH:MM"')


def number(low: float | None = None, high: float | None = None, what: str = "a number"):
    """Annotated type of a plain number that has no unit (a pH, a count)."""
    parts = [what]
    if low is not None and high is not None:
        parts.append(f"from {low:g} to {high:g}")
    elif low is not None:
        parts.append(f"of at least {low:g}")
    wanted = " ".join(parts)

    def read(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise fault("not_a_number", value, wanted)
        if not math.isfinite(value):
            raise fault("not_a_number", value, wanted)
        if (low is not None and value < low) or (high is not None and value > high):
            raise fault("impossible_value", value, wanted)
        return float(value)

    schema: dict = {"type": "number", "description": wanted}
    if low is not None:
        schema["minimum"] = low
    if high is not None:
        schema["maximum"] = high
    return Annotated[float, PlainValidator(read), WithJsonSchema(schema)]


Yield = Annotated[
    Quantity,
    PlainValidator(_yield),
    WithJsonSchema({"type": "string", "description": "yield with unit: " + ", ".join(YIELD_UNITS),
                    "examples": ["180 bu/ac"]}),
]
Date = Annotated[dt.date, PlainValidator(_date),
                 WithJsonSchema({"type": "string", "format": "date"})]
TimeOfDay = Annotated[dt.time, PlainValidator(_time),
                      WithJsonSchema({"type": "string", "pattern": "^[0-9]{1,2}:[0-9]{2}$"})]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=4000)]
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
Identifier = Annotated[
    str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")
]
"""Safe as a file name: no separators, no leading dot."""

PH = number(2.0, 12.0, "a pH")
Concentration = quantity("soil_concentration")
Charge = quantity("charge")
Percent = quantity("percent")
Conductivity = quantity("conductivity")
Solution = quantity("solution")
MgPerLitre = quantity("mg_per_litre")
Pressure = quantity("pressure")
Area = quantity("area", low=0.001)
Temperature = quantity("temperature")
Density = quantity("density", low=0.05)
Rate = quantity("rate")
WaterDepth = quantity("water_depth")
Infiltration = quantity("infiltration")
PlantDensity = quantity("plant_density")
Length = quantity("length")
Depth = quantity("depth")
