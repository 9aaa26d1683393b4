"""Field types of the case schema: quantities with units, real dates, plain numbers, text."""

import copy
import datetime as dt
import math
import re
from collections.abc import Callable, Collection, Iterable, Mapping
from difflib import get_close_matches
from functools import cache
from typing import Annotated, Any

from pydantic import AfterValidator, PlainValidator
from pydantic_core import PydanticCustomError

from loambrief.case.scalars import as_written
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load
from loambrief.units import DIMENSIONS, YIELD_UNITS, Quantity, parse, split_number, tidy_unit

SHOWN = 60
"""Longest piece of a found value that a message repeats."""
SPELLINGS = "case/unit_spellings"
NUMBER_IN_TEXT = r"[+-]?([0-9][0-9,]*(\.[0-9]+)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?"

SPOKEN = {"solution": "ions in water", "mg_per_litre": "mass in water",
          "neutralizing": "neutralizing value", "brix": "sap", "soil_concentration": "soil tests"}
"""Names of dimensions in messages, where they differ from the program's."""


def fault(
    code: str, found: object, wanted: str, near: str = "", help: str = ""
) -> PydanticCustomError:
    """A validation error by its code: what was found, what is wanted, a near match or help."""
    if near:
        help = f"Did you mean {near!r}?"
    return PydanticCustomError(
        code,
        "found {found}, wanted {wanted}",
        {"found": show(found), "wanted": wanted, "help": help},
    )


def show(value: object) -> str:
    """A value as a message names it: text in quotes, the rest in words."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "a group of keys" if value else "an empty group"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}" if value else "an empty list"
    text = repr(value) if isinstance(value, str) else str(as_written(value))
    return text if len(text) <= SHOWN else text[: SHOWN - 3] + "..."


def nearest(found: object, known: Iterable[str], cutoff: float = 0.6) -> str:
    """The known name nearest to what was typed, or an empty string.

    ``cutoff`` is how alike they must be, from 0 to 1.
    """
    if not isinstance(found, str) or len(found) > 100:
        return ""
    folded = {name.lower(): name for name in known}
    near = get_close_matches(found.strip().lower(), folded, n=1, cutoff=cutoff)
    return folded[near[0]] if near else ""


def did_you_mean(found: object, known: Iterable[str], otherwise: str = "",
                 cutoff: float = 0.6) -> str:
    """Help that names the nearest of the known names."""
    near = nearest(found, known, cutoff)
    return f"Did you mean {near!r}?" if near else otherwise


@cache
def unit_spellings() -> Mapping[str, tuple[str, str]]:
    """Spelling of a unit, folded -> the case's spelling, and the basis it names."""
    return {word: (str(row["unit"]), str(row["basis"] or "")) for row in load(SPELLINGS)
            for word in str(row["spellings"]).split("|")}


def near_unit(typed: str, accepted: Iterable[str]) -> str:
    """The accepted spelling of the unit that was typed; never another unit.

    Only a listed spelling of just that unit, or the same letters in another order or doubled
    (``pmm``), counts: mg/g is not mg/kg, a hectare no acre and a tonne no ton.
    """
    accepted = list(accepted)
    known = unit_spellings().get(" ".join(tidy_unit(typed).lower().split()))
    if known is not None:
        return known[0] if known[0] in accepted else ""
    typed = typed.lower()
    fits = [u for u in accepted if set(u.lower()) == set(typed) and u[0].lower() == typed[0]
            and abs(len(u) - len(typed)) <= 1]
    return fits[0] if len(fits) == 1 else ""


def which_choice(typed: object, values: Collection[str]) -> str:
    """Help for a word that is none of the choices: near ones that mean the same, or nothing.

    Numbers tell methods apart (mehlich-1, mehlich-3; 1:2, 1:5): a choice with other digits is
    never offered, and where several go on from what was typed, the user has to say which.
    """
    if not isinstance(typed, str):
        return ""
    unit = unit_spellings().get(typed.strip().lower())
    if unit is not None:
        return f"Did you mean {unit[0]!r}?" if unit[0] in values else ""
    folded = "-".join(typed.lower().replace("-", " ").split())
    longer = [v for v in values if folded and v.lower().replace(" ", "-").startswith(folded)]
    if len(longer) > 1:
        return f"Which one: {' or '.join(longer)}? The report of the laboratory says it."
    if longer:
        return f"Did you mean {longer[0]!r}?"
    digits = re.findall(r"[0-9]+", typed)
    return did_you_mean(typed, [v for v in values if re.findall(r"[0-9]+", v) == digits],
                        cutoff=0.75)


def comma_help(typed: object) -> str:
    """Help for a number with a decimal comma, or an empty string."""
    match = re.fullmatch(r"\s*([<>]?\s*[+-]?[0-9]+),([0-9]+)(\s*[^0-9,.].*)?", str(typed))
    if not match or not isinstance(typed, str):
        return ""
    return f"Decimals take a point: {match[1]}.{match[2]}{match[3] or ''}".rstrip() + "."


def _as_text(value: object) -> str | None:
    """``"148 ppm"`` or ``{value: 148, unit: ppm}`` as one text; None for anything else."""
    if isinstance(value, str):
        return value
    if isinstance(value, Mapping) and set(value) == {"value", "unit"}:
        parts = [as_written(value["value"]), value["unit"]]
        if all(isinstance(p, str | int | float) and not isinstance(p, bool) for p in parts):
            return f"{parts[0]} {parts[1]}"
    return None


class Reads:
    """How a value of a case is read, how the JSON Schema shows it, and the units it may have.

    Stands in an ``Annotated`` type, so that type checkers see the type itself.
    """

    def __init__(self, read: Callable[[object], object], schema: dict,
                 units: tuple[str, ...] = ()) -> None:
        self.read, self.schema, self.units = read, schema, units

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        return PlainValidator(self.read).__get_pydantic_core_schema__(source, handler)

    def __get_pydantic_json_schema__(self, core: Any, handler: Any) -> dict:
        return copy.deepcopy(self.schema)


def quantity(dimension_name: str, low: float | None = None, high: float | None = None) -> Reads:
    """A quantity of one dimension, optionally bounded in house units."""
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
                raise fault("CASE023", value, f"the number with its unit, one of {units}")
            raise fault("CASE025", value,
                        f'text such as "12 {dimension.house}" or {{value: 12, unit: '
                        f"{dimension.house}}}")
        try:
            got = parse(dimension_name, text)
        except UnknownName as error:
            raise _unit_fault(text, error.name, dimension.accepted) from None
        except ImpossibleInput:
            raise _number_fault(text, dimension_name, units) from None
        if got.unit == dimension.house and (
            (low is not None and got.value < low) or (high is not None and got.value > high)
        ):
            raise fault("CASE026", text, bounds)
        return got

    schema = {
        "anyOf": [
            {"type": "string", "pattern": rf"^\s*[<>]?\s*{NUMBER_IN_TEXT}\s*[^0-9\s].*$"},
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
    return Reads(read, schema, dimension.accepted)


def _unit_fault(text: str, unit: str, accepted: tuple[str, ...]) -> PydanticCustomError:
    wanted = "a unit of " + ", ".join(accepted)
    folded = unit.lower().replace(" ", "")
    others = [
        SPOKEN.get(d.name, d.name.replace("_", " ")) for d in DIMENSIONS.values()
        if folded in {u.lower().replace(" ", "") for u in d.accepted}
    ]
    if others:
        return fault("CASE024", text, wanted,
                     help=f"{unit} is a unit of {' or '.join(others[:3])}.")
    return fault("CASE024", text, wanted, near_unit(unit, accepted))


def _number_fault(text: str, dimension_name: str, units: str) -> PydanticCustomError:
    dimension = DIMENSIONS[dimension_name]
    try:
        _, _, unit = split_number(text)
    except ImpossibleInput:
        return fault("CASE025", text, f'a number with a unit, such as "12 {dimension.house}"',
                     help=comma_help(text))
    if not unit:
        return fault("CASE023", text, f"the number with its unit, one of {units}")
    limits = [
        f"{word} {limit:,.10g} {dimension.house}"
        for word, limit in (("at least", dimension.lowest), ("at most", dimension.highest))
        if limit is not None
    ]
    return fault("CASE026", text, " and ".join(limits))


def _yield(value: object) -> Quantity:
    """A yield keeps its typed unit: the crop table converts it."""
    if isinstance(value, Quantity):
        return value
    text = _as_text(value)
    if text is None:
        raise fault("CASE023", value,
                    "a yield with its unit, one of " + ", ".join(YIELD_UNITS))
    try:
        censor, number, unit = split_number(text)
    except ImpossibleInput:
        raise fault("CASE025", text, 'a yield such as "180 bu/ac"',
                    help=comma_help(text)) from None
    unit = tidy_unit(unit)
    if unit not in YIELD_UNITS or censor:
        raise fault("CASE024", text, "a yield unit of " + ", ".join(YIELD_UNITS),
                    near_unit(unit, YIELD_UNITS))
    if not 0 < number < 1_000_000:
        raise fault("CASE026", text, "a yield above 0 and below 1,000,000")
    return Quantity(number, unit, " ".join(text.split()))


_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z")
_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})\Z")


def _date(value: object) -> dt.date:
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return value
    if not isinstance(value, str) or not _DAY.match(value.strip()):
        raise fault("CASE028", value, "a real date written YYYY-MM-DD")
    try:
        got = dt.date.fromisoformat(value.strip())
    except ValueError:
        raise fault("CASE028", value, "a day that exists, written YYYY-MM-DD") from None
    if not 1900 <= got.year <= 2200:
        raise fault("CASE028", value, "a date between 1900 and 2200")
    return got


def _time(value: object) -> dt.time:
    if isinstance(value, dt.time):
        return value
    match = _CLOCK.match(value.strip()) if isinstance(value, str) else None
    if not match or int(match[1]) > 23 or int(match[2]) > 59:
        raise fault("CASE029", value, 'a time of day written "HH:MM"')
    return dt.time(int(match[1]), int(match[2]))


def number(low: float, high: float, what: str, whole: bool = False) -> Reads:
    """A plain number that has no unit (a pH, a price)."""
    wanted = f"{what} from {low:,.10g} to {high:,.10g}"

    def read(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int if whole else int | float):
            raise fault("CASE030", value, wanted, help=comma_help(value))
        if value < low or value > high:
            raise fault("CASE026", value, wanted)
        if not math.isfinite(value):
            raise fault("CASE030", value, wanted)
        return int(value) if whole else float(value)

    return Reads(read, {"type": "integer" if whole else "number", "description": wanted,
                        "minimum": low, "maximum": high})


def count(low: int, high: int, what: str) -> Reads:
    """A whole number (cores)."""
    return number(low, high, what, whole=True)


def text(longest: int, one_line: bool) -> Reads:
    """Typed text; a number without quotes stays as it was written."""
    wanted = f"text of 1 to {longest} characters"

    def read(value: object) -> str:
        value = as_written(value)
        if not isinstance(value, str):
            raise fault("CASE022", value, wanted)
        value = " ".join(value.split()) if one_line else value.strip()
        if not 1 <= len(value) <= longest:
            raise fault("CASE031", value, wanted)
        return value

    schema = {"type": ["string", "number"], "minLength": 1, "maxLength": longest}
    return Reads(read, schema)


def choice(values: tuple[str, ...]) -> Reads:
    """One word out of a fixed set; capitals do not matter."""
    known = {value.lower(): value for value in values}
    wanted = "one of " + ", ".join(values)

    def read(value: object) -> str:
        if isinstance(value, str):
            folded = " ".join(value.lower().split())
            if folded in known:
                return known[folded]
        raise fault("CASE027", value, wanted, help=which_choice(value, values))

    return Reads(read, {"enum": list(values)})


_IDENTIFIER = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}\Z")
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?\Z")


def as_identifier(name: str) -> str:
    """What an identifier may hold of a name; possibly nothing."""
    return re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-._")[:64]


def _identifier(value: object) -> str:
    """Safe as a file name everywhere: no separators, no leading dot, no device name."""
    value = as_written(value)
    if not isinstance(value, str) or not _IDENTIFIER.match(value):
        raise fault("CASE032", value,
                    "1 to 64 letters, digits, '.', '_' or '-', starting with a letter or digit")
    if _RESERVED.match(value):
        raise fault("CASE032", value, "a name that is not reserved by an operating system")
    return value


def _letters(pattern: str, code: str, wanted: str) -> Reads:
    """Text of one form, letter for letter."""
    def read(value: object) -> str:
        if not isinstance(value, str) or not re.fullmatch(pattern, value):
            raise fault(code, value, wanted)
        return value

    return Reads(read, {"type": "string", "pattern": f"^{pattern}$"})


_RANGE = re.compile(
    r"\s*([0-9]{1,9}(?:\.[0-9]{1,9})?)\s*[-–]\s*([0-9]{1,9}(?:\.[0-9]{1,9})?)\s*([a-z]+)\s*\Z"
)


def _depth_range(value: object) -> tuple[float, float, str]:
    """``"0-6 in"`` as (top, bottom, typed) in inches."""
    if isinstance(value, tuple):
        return value
    wanted = 'a depth range such as "0-6 in" or "0-15 cm"'
    text = value if isinstance(value, str) else ""
    match = _RANGE.match(text.lower())
    dimension = DIMENSIONS["depth"]
    if not match or match[3] not in dimension.factors:
        raise fault("CASE033", value, wanted)
    top, bottom = (float(match[i]) * dimension.factors[match[3]] for i in (1, 2))
    if not top < bottom:
        raise fault("CASE033", value, wanted + ", the shallower end first")
    if dimension.highest is not None and bottom > dimension.highest:
        raise fault("CASE033", value, f"a depth of at most {dimension.highest:g} in")
    return (round(top, 4), round(bottom, 4), " ".join(text.split()))


Yield = Annotated[Quantity, Reads(_yield, {
    "type": "string", "description": "yield with unit: " + ", ".join(YIELD_UNITS),
    "examples": ["180 bu/ac"]}, tuple(YIELD_UNITS))]
Date = Annotated[dt.date, Reads(_date, {"type": "string", "format": "date"})]
TimeOfDay = Annotated[dt.time, Reads(_time, {
    "type": "string", "pattern": "^[0-9]{1,2}:[0-9]{2}$"})]
Text = Annotated[str, text(4000, one_line=False)]
Name = Annotated[str, text(200, one_line=True)]
Identifier = Annotated[str, Reads(_identifier, {
    "type": ["string", "integer"], "pattern": r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$"})]
"""Safe as a file name: no separators, no leading dot."""
Digest = Annotated[str, _letters("[0-9a-f]{64}", "CASE032",
                                 "64 hexadecimal digits of a SHA-256")]
"""SHA-256 of a file, in hexadecimal."""
Currency = Annotated[str, _letters("[A-Z]{3}", "CASE027",
                                   "a currency code of three capitals, such as USD")]
Colour = Annotated[str, _letters("#[0-9A-Fa-f]{6}", "CASE027",
                                 'a colour such as "#225544", in quotes'),
                   AfterValidator(str.upper)]
"""``#RRGGBB``, in capitals."""
DepthRange = Annotated[tuple[float, float, str], Reads(_depth_range, {
    "type": "string", "examples": ["0-6 in"],
    "pattern": r"^\s*[0-9.]+\s*[-–]\s*[0-9.]+\s*(in|cm|mm|ft)\s*$"})]

PH = Annotated[float, number(2.0, 12.0, "a pH")]
Concentration = Annotated[Quantity, quantity("soil_concentration")]
Charge = Annotated[Quantity, quantity("charge")]
Percent = Annotated[Quantity, quantity("percent")]
Content = Annotated[Quantity, quantity("content")]
Conductivity = Annotated[Quantity, quantity("conductivity")]
Solution = Annotated[Quantity, quantity("solution")]
MgPerLitre = Annotated[Quantity, quantity("mg_per_litre")]
Area = Annotated[Quantity, quantity("area", low=0.001)]
Temperature = Annotated[Quantity, quantity("temperature")]
Density = Annotated[Quantity, quantity("density", low=0.05)]
Rate = Annotated[Quantity, quantity("rate")]
WaterDepth = Annotated[Quantity, quantity("water_depth")]
Infiltration = Annotated[Quantity, quantity("infiltration")]
WaterUse = Annotated[Quantity, quantity("water_use")]
PlantDensity = Annotated[Quantity, quantity("plant_density")]
Distance = Annotated[Quantity, quantity("distance")]
Mass = Annotated[Quantity, quantity("mass", low=0.01)]
Depth = Annotated[Quantity, quantity("depth")]
