"""What a laboratory may report about a slice of soil: one row of a table for each result.

``tables/case/measurements.csv`` holds the results in the order of the page, and
``tables/case/methods.csv`` how each may have been obtained. Checks, plausibility, intake,
JSON Schema, layering and the results section all read them from here. A new result is a row
there, a field of the schema, and its name in both languages.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from loambrief.errors import TableFault
from loambrief.tables import load
from loambrief.units import DIMENSIONS

MEASUREMENTS = "case/measurements"
METHODS = "case/methods"
SLICE, EXTRACT = "Increment", "SaturationExtract"
"""Classes of the schema that hold results."""
PH = "pH"
"""Quantity of a result that has no unit."""


EXTRACT_KEY = "extract"
"""Key of a slice that holds the results of its saturation extract."""


def field_at(*path: str) -> str:
    """Name of a result by where it stands in a slice: ``extract.calcium``."""
    return ".".join(path)


def path_of(field: str) -> tuple[str, ...]:
    """Where a result stands in a slice, the opposite of :func:`field_at`."""
    return tuple(field.split("."))


@dataclass(frozen=True)
class HeaderSpelling:
    """Spellings of a lab file's header, the form they name, and how often they mean this."""

    form: str
    confidence: float
    words: tuple[str, ...]


@dataclass(frozen=True)
class Measurement:
    """One result of a slice or of its saturation extract."""

    part: str
    field: str
    """``part``, ``field``: class and field of the schema."""
    quantity: str
    """Dimension of :data:`loambrief.units.DIMENSIONS`, or ``"pH"``."""
    method: str
    """Field of the methods that must be stated with it, or empty."""
    usual: tuple[float, float] | None
    """Lowest and highest usual value [house unit of the quantity]."""
    mineral_only: bool
    """The usual range does not hold for muck and peat."""
    additive: bool
    """Amounts of slices add up to that of the whole layer."""
    layer: int
    """Rank among the results that are compared slice by slice; 0 for none of them."""
    steady: bool
    """Seldom differs tenfold between neighbouring slices."""
    ion: str
    """Exchangeable ion that a lab may report as a charge, or empty."""
    headers: tuple[HeaderSpelling, ...]
    meaning: str

    @property
    def unit(self) -> str:
        return PH if self.quantity == PH else DIMENSIONS[self.quantity].house


@cache
def measurements() -> tuple[Measurement, ...]:
    """Every result, in the order of the page."""
    return tuple(_measurement(row) for row in load(MEASUREMENTS))


def _measurement(row: Mapping[str, object]) -> Measurement:
    quantity, method, low, high = (row[k] for k in ("quantity", "method", "low", "high"))
    if quantity != PH and quantity not in DIMENSIONS:
        raise TableFault(f"{MEASUREMENTS} {row['field']}: no quantity {quantity!r}")
    if method is not None and method not in methods():
        raise TableFault(f"{MEASUREMENTS} {row['field']}: no method {method!r}")
    if (low is None) != (high is None):
        raise TableFault(f"{MEASUREMENTS} {row['field']}: half a usual range")
    return Measurement(
        part=str(row["part"]), field=str(row["field"]), quantity=str(quantity),
        method=str(method or ""),
        usual=(low, high) if isinstance(low, float) and isinstance(high, float) else None,
        mineral_only=row["mineral_only"] == "yes", additive=row["additive"] == "yes",
        layer=int(float(str(row["layer"] or 0))), steady=row["steady"] == "yes",
        ion=str(row["ion"] or ""), headers=headers_of(str(row["headers"] or "")),
        meaning=str(row["meaning"]))


def headers_of(cell: str) -> tuple[HeaderSpelling, ...]:
    """``"0.9 = nitrate-n|no3-n ; NO3 0.5 = nitrate"`` as two entries."""
    found = []
    for entry in filter(None, map(str.strip, cell.split(" ; "))):
        about, words = entry.split(" = ")
        *form, confidence = about.split()
        found.append(HeaderSpelling("".join(form), float(confidence), tuple(words.split("|"))))
    return tuple(found)


def of_part(part: str) -> tuple[Measurement, ...]:
    """Results of one class of the schema, in the order of the page."""
    return tuple(m for m in measurements() if m.part == part)


@cache
def layered() -> tuple[Measurement, ...]:
    """Results that are compared slice by slice, in the order shown."""
    return tuple(sorted((m for m in of_part(SLICE) if m.layer), key=lambda m: m.layer))


@cache
def methods() -> Mapping[str, tuple[str, ...]]:
    """Field of the methods -> its choices."""
    return MappingProxyType(
        {str(row["method"]): tuple(str(row["choices"]).split("|")) for row in load(METHODS)})


@cache
def results_by_method() -> Mapping[str, tuple[str, ...]]:
    """Field of the methods -> the results that cannot be read without it."""
    return MappingProxyType({
        method: tuple(m.field for m in of_part(SLICE) if m.method == method)
        for method in methods()})


@cache
def meanings() -> Mapping[tuple[str, str], str]:
    """(part, field) -> meaning, for results and methods."""
    return MappingProxyType(
        {(m.part, m.field): m.meaning for m in measurements()}
        | {("Methods", str(row["method"])): str(row["meaning"]) for row in load(METHODS)})
