"""The mapping file: which column of a lab's file is which value of a case, and in what unit.

Read like a case (line and column with every problem). Nothing about a result is assumed: the
decimal mark, the unit of every column and the method of every group must be stated, and the
user confirms the whole with ``confirmed: yes``. :data:`EXAMPLE` shows the form.
"""

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, PlainValidator, TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from loambrief.case import measurements
from loambrief.case import quantities as q
from loambrief.case.intake_kinds import (
    BASIS,
    PART_OF,
    REPORTS,
    SOIL,
    fields_of,
    lab_unit,
    model_of,
)
from loambrief.case.intake_read import DELIMITERS, ENCODINGS
from loambrief.case.measurements import (
    EXTRACT_KEY,
    SLICE,
    field_at,
    methods,
    of_part,
    path_of,
    results_by_method,
)
from loambrief.case.problems import DataPath, Fault, in_file_order
from loambrief.case.quantities import did_you_mean, show
from loambrief.case.reader import decode, read_bytes, read_text
from loambrief.case.schema import Methods, Part
from loambrief.case.source import SourceText, short, single_values
from loambrief.case.validate import common_fault, known_keys, place_of
from loambrief.errors import CaseProblems
from loambrief.units import ATOMIC_MASS, EQUIVALENT_MG, K2O_PER_K, P2O5_PER_P

EXAMPLE = """\
loambrief_map: 1
confirmed: yes
table: {decimal: point, thousands: none}
sample:
  id: {column: Sample}
  date: {value: 2026-09-22}
  depth: {column: Depth, unit: in}
lab: {name: {value: Millrace Soil Laboratory}}
methods: {ph: "water 1:1", phosphorus: mehlich-3-icp}
results:
  - {column: pH, to: ph}
  - {column: P ppm, to: phosphorus, unit: ppm}
"""
TO_FILL_IN = "?"
"""Stands where only the user knows the answer; a mapping with it is refused."""
MARKS = {"none": "", "comma": ",", "point": ".", "blank": " ", "apostrophe": "'"}
DATES = {"YYYY-MM-DD": "%Y-%m-%d", "MM/DD/YYYY": "%m/%d/%Y", "DD/MM/YYYY": "%d/%m/%Y",
         "DD.MM.YYYY": "%d.%m.%Y", "MM/DD/YY": "%m/%d/%y", "YYYY/MM/DD": "%Y/%m/%d"}
MISSING = ("-", "--", "–", "—", "n/a", "n.a.")
"""Cells that stand for "not measured" unless the mapping says otherwise; never for zero."""
FIELDS = tuple(m.field for m in of_part(SLICE))
EXTRACT = tuple(field_at(EXTRACT_KEY, m.field) for m in of_part(measurements.EXTRACT))
SOIL_ION = {m.field: m.ion for m in of_part(SLICE) if m.ion}
CHARGE_UNITS = {"meq/100g": 10.0, "cmol/kg": 10.0, "cmolc/kg": 10.0, "cmol(+)/kg": 10.0,
                "mmolc/kg": 1.0}
"""Charge of an exchangeable cation -> meq/kg; times the equivalent mass it is mg/kg."""
MASS_UNITS = {"mg/100g": 10.0, "%": 10_000.0, "g/100g": 10_000.0}
"""Units of labs that a case does not know -> mg/kg."""
_O, _N = ATOMIC_MASS["O"], ATOMIC_MASS["N"]
FORMS: Mapping[str, tuple[str, float]] = {
    "P": ("analysis.p2o5", P2O5_PER_P),
    "K": ("analysis.k2o", K2O_PER_K),
    "P2O5": ("phosphorus", 1 / P2O5_PER_P),
    "K2O": ("potassium", 1 / K2O_PER_K),
    "CaO": ("calcium", 2 * EQUIVALENT_MG["Ca"] / (2 * EQUIVALENT_MG["Ca"] + _O)),
    "MgO": ("magnesium", 2 * EQUIVALENT_MG["Mg"] / (2 * EQUIVALENT_MG["Mg"] + _O)),
    "NO3": ("nitrate_n water.nitrate_n", _N / EQUIVALENT_MG["NO3"]),
    "SO4": ("sulfate_s", EQUIVALENT_MG["S"] / EQUIVALENT_MG["SO4"]),
}
"""What a lab may report instead of what the case holds -> (case fields, factor)."""


ABOUT: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "forage": (("kind", "species", "cutting", "cores", "nitrate_as"), ("kind",)),
    "water": ((), ()),
    "tissue": (("part", "stage", "crop", "method"), ("part", "stage")),
    "manure": (("animal", "form", "name", "supplier"), ()),
    "compost": (("form", "name", "supplier"), ()),
}
"""Kind of report -> keys of what was tested that a mapping may give, and must give."""

_DATE = TypeAdapter(q.Date)


def _confirmed(value: object) -> bool:
    if value is True or (isinstance(value, str) and value.lower() == "yes"):
        return True
    if value is False or (isinstance(value, str) and value.lower() == "no"):
        return False
    raise q.fault("CASE027", value, "yes or no")


class ColumnPart(Part):
    """A column by its header; ``nth`` tells equal headers apart, from 1."""

    column: q.Name
    nth: Annotated[int, q.count(1, 99, "a number of the column")] | None = None


class Given(Part):
    """A value for all rows, or the column it stands in."""

    column: q.Name | None = None
    nth: Annotated[int, q.count(1, 99, "a number of the column")] | None = None
    value: q.Name | None = None


class FieldPart(ColumnPart):
    """Column of the field's name; ``equals`` takes only rows of that field."""

    equals: q.Name | None = None


class DepthPart(Part):
    """One column ("0-6"), two columns, or the same slice for all rows."""

    column: q.Name | None = None
    top: q.Name | None = None
    bottom: q.Name | None = None
    unit: Annotated[str, q.choice(("in", "cm", "mm", "ft"))] | None = None
    value: q.DepthRange | None = None


class SkipPart(ColumnPart):
    """Rows to leave out: those with one of these texts in the column (QC, blank)."""

    equals: Annotated[list[q.Name], Field(min_length=1, max_length=50)]


class LongPart(Part):
    """One row for each result instead of one for each slice."""

    analyte: q.Name
    result: q.Name
    unit: q.Name | None = None
    qualifier: q.Name | None = None


class TablePart(Part):
    """How the file is laid out."""

    decimal: Annotated[str, q.choice(("point", "comma"))]
    thousands: Annotated[str, q.choice(tuple(MARKS))] = "none"
    """``decimal``, ``thousands``: marks of numbers that are text; a workbook's own numbers need
    none."""
    sheet: q.Name | None = None
    delimiter: Annotated[str, q.choice(tuple(DELIMITERS))] | None = None
    encoding: Annotated[str, q.choice(ENCODINGS)] | None = None
    """``sheet``, ``delimiter``, ``encoding``: found out if absent."""
    header_row: Annotated[int, q.count(1, 20_000, "a row number")] | None = None
    header_rows: Annotated[int, q.count(1, 3, "a number of rows")] = 1
    """``header_row``, ``header_rows``: where the header starts (found out if absent) and how many
    rows it has; their texts are joined by a blank."""
    dates: Annotated[str, q.choice(tuple(DATES))] = "YYYY-MM-DD"
    """Order of dates that are text."""
    missing: list[q.Name] = Field(list(MISSING), max_length=20)
    """Cells that stand for "not measured"."""
    not_detected: list[q.Name] = Field([], max_length=20)
    """Cells that stand for "below the detection limit", which the result then has to give."""
    ratings: list[q.Name] = Field([], max_length=20)
    """Words behind a number that only rate it (L, M, H)."""
    end_before: q.Name | None = None
    """The table ends above the first row with a cell that starts with this."""
    duplicates: Annotated[str, q.choice(("refuse", "first", "last", "mean"))] = "refuse"
    """What a repeated result means: refuse it, keep the first or last one, or take the mean (the
    spread is noted)."""
    fill_down: bool = False
    """A blank sample, field, place or date repeats the one above."""
    skip: list[SkipPart] = Field([], max_length=20)
    long: LongPart | None = None


class SamplePart(Part):
    """Where a sample's name, place, date and depth stand; a case's id is made of the name.

    ``about`` holds further keys of what was tested, such as ``kind`` of a forage.
    """

    id: ColumnPart
    field: FieldPart | None = None
    place: Given | None = None
    date: Given
    depth: DepthPart | None = None
    lab_number: ColumnPart | None = None
    about: dict[str, Given] = Field({}, max_length=20)


class LabPart(Part):
    """The laboratory and its report; dates as in ``table.dates``, or written YYYY-MM-DD."""

    name: Given
    report: Given | None = None
    received: Given | None = None
    reported: Given | None = None


class ResultPart(ColumnPart):
    """One column of results (in a long table: one analyte).

    ``form`` says that an oxide or ion is reported instead of the element, ``depth`` that the
    column has a slice of its own. ``cmol/kg`` of a cation means moles of charge. ``qualifier``
    and ``unit_column`` name columns that hold "<" or "U" and the unit apart from the number.
    """

    to: q.Name
    unit: q.Name | None = None
    form: Annotated[str, q.choice(tuple(FORMS))] | None = None
    depth: q.DepthRange | None = None
    qualifier: q.Name | None = None
    unit_column: q.Name | None = None
    detection_limit: Annotated[float, q.number(0, 1_000_000, "a detection limit")] | None = None


class MapFile(Part):
    """A whole mapping; ``report`` is the kind of report, soil if absent."""

    loambrief_map: Literal[1]
    confirmed: Annotated[bool, PlainValidator(_confirmed, json_schema_input_type=bool | str)]
    report: Annotated[str, q.choice(REPORTS)] | None = None
    table: TablePart
    sample: SamplePart
    lab: LabPart
    methods: Methods = Methods()
    results: Annotated[list[ResultPart], Field(min_length=1, max_length=100)]
    ignore: list[q.Name] = Field([], max_length=250)

    @property
    def kind(self) -> str:
        """Kind of report; soil where the mapping does not say."""
        return self.report or SOIL

    @property
    def givens(self) -> dict[tuple[str, str], Given]:
        """What is said of sample and laboratory, by its place."""
        said = {("sample", "date"): self.sample.date, ("sample", "place"): self.sample.place,
                **{("lab", n): getattr(self.lab, n) for n in LabPart.model_fields}}
        return {path: given for path, given in said.items() if given is not None}


@dataclass(frozen=True)
class LoadedMap:
    """A checked mapping with its places, so that what it names can be blamed on a line."""

    mapping: MapFile
    source: SourceText
    sha256: str


def load_map(path: Path | str) -> LoadedMap:
    """Read and check a mapping file: YAML in UTF-8, at most 1 MiB.

    Raises
    ------
    CaseProblems
        With every problem of the file; one that is not confirmed has at least that problem.
    """
    file = str(path)
    raw = read_bytes(Path(path))
    source, problems = read_text(decode(raw, file), file)
    try:
        mapping = MapFile.model_validate(source.data)
    except ValidationError as error:
        faults = [map_fault(e) for e in error.errors(include_url=False)]
        faults = _with_gaps(faults, source)
        raise CaseProblems(in_file_order([*problems, *source.problems(faults)])) from None
    problems += source.problems(_with_gaps([*map_checks(mapping)], source))
    if problems:
        raise CaseProblems(in_file_order(problems))
    return LoadedMap(mapping, source, hashlib.sha256(raw).hexdigest())


def _with_gaps(faults: list[Fault], source: SourceText) -> list[Fault]:
    """The faults, and one for everything that is still to be filled in or confirmed."""
    known = {fault.path for fault in faults}
    gaps = [
        Fault("CASE062", path, "'?'", "what the lab's report says", "It is never guessed.")
        for path, value in single_values(source.data) if value == TO_FILL_IN and path not in known
    ]
    data = source.data
    if isinstance(data, Mapping) and data.get("confirmed") in (False, "no", "No", "NO"):
        gaps.append(Fault("CASE062", ("confirmed",), "no", "yes",
                          "Compare every line with the lab's report, fill in each '?', then set "
                          "confirmed: yes."))
    return [*faults, *gaps]


def map_fault(error: ErrorDetails) -> Fault:
    """A validation error of a mapping in plain words."""
    path = place_of(error)
    kind, found, about = error["type"], show(error.get("input")), error.get("ctx", {})
    if error.get("input") == TO_FILL_IN:
        return Fault("CASE062", path, "'?'", about.get("wanted", "your answer"),
                     "The lab's report or its method list says it; it is never guessed.")
    if (common := common_fault(error)) is not None:
        return common
    if kind == "extra_forbidden":
        known = known_keys(path[:-1], MapFile)
        help = did_you_mean(str(path[-1]), known, "Keys known here: " + ", ".join(known) + ".")
        return Fault("CASE020", path, f"the unknown key {short(str(path[-1]))!r}", "a known key",
                     help, at_key=True)
    wanted = {"list_type": "a list", "bool_type": "true or false",
              "model_type": "a group of keys: " + ", ".join(known_keys(path, MapFile)),
              "literal_error": str(about.get("expected", ""))}
    return Fault("CASE022", path, found, wanted.get(kind, error["msg"]))


# what one value must be ------------------------------------------------------------------


def value_fault(field: str, value: object) -> Fault | None:
    """What a case would refuse this value of a slice with, if it would."""
    model, path = model_of(field)
    *above, last = path_of(path)
    try:
        model.model_validate({above[0]: {last: value}} if above else {last: value})
    except ValidationError as error:
        for about in error.errors(include_url=False):
            if about["type"] != "missing" and about["loc"][: len(above) + 1] == (*above, last):
                return map_fault(about)
    return None


@cache
def _accepts(field: str, unit: str) -> bool:
    return value_fault(field, f"1 {unit}") is None


@cache
def has_unit(field: str) -> bool:
    """False for a pH, which is a plain number."""
    return value_fault(field, 7.0) is not None


def conversion(field: str, unit: str, form: str | None) -> tuple[str, float] | None:
    """Unit to write in the case and the factor to it, or None if there is none.

    ``unit`` is as the lab writes it, ``form`` a key of :data:`FORMS` if the lab reports an oxide
    or an ion.
    """
    part = FORMS[form][1] if form else 1.0
    unit, basis = lab_unit(unit)
    report = next((r for r, first in PART_OF.items() if path_of(field)[0] == first), SOIL)
    if basis and basis != BASIS.get(report, basis):
        return None
    if _accepts(field, unit):
        return unit, part
    folded = unit.lower().replace(" ", "")
    if folded in ("ppm", "mg/kg") and _accepts(field, "lb/ton"):
        return "%", part / MASS_UNITS["%"]  # an analysis of a material
    if not _accepts(field, "lb/ac"):  # not a soil test in mg/kg
        return None
    if folded in MASS_UNITS:
        return "ppm", MASS_UNITS[folded] * part
    if folded in CHARGE_UNITS and field in SOIL_ION and form is None:
        return "ppm", CHARGE_UNITS[folded] * EQUIVALENT_MG[SOIL_ION[field]]
    return None


def map_checks(mapping: MapFile) -> Iterator[Fault]:
    """Every contradiction between the values of a mapping."""
    seen: dict[tuple[str, object], int] = {}
    known = (*FIELDS, *EXTRACT) if mapping.kind == SOIL else fields_of(mapping.kind)
    for i, result in enumerate(mapping.results):
        path: DataPath = ("results", i)
        if result.to not in known:
            yield Fault("CASE027", (*path, "to"), repr(result.to),
                        f"a result of a {mapping.kind} report",
                        did_you_mean(result.to, known, "Known: " + ", ".join(known) + "."))
            continue
        key = (result.to, result.depth and result.depth[:2])
        if key in seen:
            yield Fault("CASE042", (*path, "to"), f"{result.to} a second time",
                        "each result once", f"It first stands in entry {seen[key] + 1}.")
        seen.setdefault(key, i)
        yield from _unit(result, path)
        if mapping.kind == SOIL and mapping.sample.depth is None and result.depth is None:
            yield Fault("CASE021", (*path, "depth"), "nothing", "a depth",
                        "Give sample.depth, or a depth with every result.", at_key=True)
    yield from _methods(mapping)
    yield from _given(mapping)
    yield from _about(mapping)


def _unit(result: ResultPart, path: DataPath) -> Iterator[Fault]:
    if result.unit == TO_FILL_IN:
        yield Fault("CASE062", (*path, "unit"), "'?'", f"the unit of {result.column!r}",
                    "The lab's report says it; it is never guessed.")
        return
    if not has_unit(result.to):
        if result.unit or result.form:
            yield Fault("CASE024", (*path, "unit" if result.unit else "form"),
                        repr(result.unit or result.form), "no unit for a pH")
        return
    if result.form and result.to not in FORMS[result.form][0].split():
        yield Fault("CASE024", (*path, "form"), result.form,
                    f"{' or '.join(FORMS[result.form][0].split())} for that form")
    if result.unit is None:
        yield Fault("CASE023", (*path, "unit"), "nothing", f"the unit of {result.column!r}",
                    "Add the key 'unit' here.", at_key=True)
    elif conversion(result.to, result.unit, result.form) is None:
        fault = value_fault(result.to, f"1 {result.unit}")
        yield Fault("CASE024", (*path, "unit"), repr(result.unit), fault.wanted if fault else "",
                    fault.help if fault else "")


def _about(mapping: MapFile) -> Iterator[Fault]:
    """Keys of what was tested: known ones only, and those a case cannot do without."""
    known, needed = ABOUT.get(mapping.kind, ((), ()))
    for key, given in mapping.sample.about.items():
        path: DataPath = ("sample", "about", key)
        if key not in known:
            yield Fault("CASE020", path, f"the unknown key {key!r}", "a known key",
                        f"Keys known here: {', '.join(known) or 'none'}.", at_key=True)
        elif (given.column is None) == (given.value is None):
            yield Fault("CASE021", path, "none or both", "either column or value")
    needed = (*needed, *(("nitrate_as",) if any(
        r.to == "forage.nitrate" for r in mapping.results) else ()))
    for key in needed:
        if key not in mapping.sample.about:
            yield Fault("CASE021", ("sample", "about", key), "nothing", "a value",
                        f"Add the key {key!r} under sample.about.", at_key=True)


def _methods(mapping: MapFile) -> Iterator[Fault]:
    for method, results in results_by_method().items():
        if getattr(mapping.methods, method) is not None:
            continue
        i = next((i for i, r in enumerate(mapping.results) if r.to in results), None)
        if i is not None:
            yield Fault("CASE040", ("results", i, "to"), f"{mapping.results[i].to}, no method",
                        f"methods.{method}: one of {', '.join(methods()[method])}",
                        "The lab's report names it; it is never guessed.")


def _given(mapping: MapFile) -> Iterator[Fault]:
    for path, given in mapping.givens.items():
        if TO_FILL_IN in (given.value, given.column):
            continue
        if (given.column is None) == (given.value is None):
            yield Fault("CASE021", path, "none or both", "either column or value")
        elif path[-1] in ("date", "received", "reported") and given.value:
            try:
                _DATE.validate_python(given.value)
            except ValidationError as error:
                about = error.errors(include_url=False)[0]["ctx"]
                yield Fault("CASE028", (*path, "value"), about["found"], about["wanted"])
    depth = mapping.sample.depth
    if depth is not None:
        ways = [depth.column is not None, depth.top is not None or depth.bottom is not None,
                depth.value is not None]
        if sum(ways) != 1 or (depth.top is None) != (depth.bottom is None):
            yield Fault("CASE021", ("sample", "depth"), "none or several",
                        "column, or top and bottom, or value")
        elif depth.top is not None and depth.unit is None:
            yield Fault("CASE023", ("sample", "depth", "unit"), "nothing", "the unit of the depths",
                        "Add the key 'unit' here.", at_key=True)
    if mapping.table.decimal == mapping.table.thousands:
        yield Fault("CASE026", ("table", "thousands"), mapping.table.thousands,
                    "another mark than the decimal mark")
