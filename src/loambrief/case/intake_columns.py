"""Where the columns of a mapping stand in a lab's file."""

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field

from loambrief.case.intake_kinds import fold_unit, lab_unit, without_basis
from loambrief.case.intake_map import (
    CHARGE_UNITS,
    MASS_UNITS,
    ColumnPart,
    Given,
    LoadedMap,
    MapFile,
    ResultPart,
)
from loambrief.case.intake_read import LabRow, LabTable
from loambrief.case.problems import DataPath, Fault, Problem
from loambrief.case.quantities import did_you_mean, show
from loambrief.units import DIMENSIONS

HEADER_SEARCH = 200
"""Rows that are searched for the header."""
KNOWN_UNITS = {
    u.lower().replace(" ", "") for name in ("soil_concentration", "charge", "percent",
                                            "conductivity", "solution", "mg_per_litre", "density",
                                            "content")
    for u in DIMENSIONS[name].accepted
} | set(CHARGE_UNITS) | set(MASS_UNITS)
_UNIT_FORMS = (re.compile(r"[(\[]\s*([^()\[\]]{1,20})\s*[)\]]\s*\Z"),
               re.compile(r"[\s,;:_]([^\s,;:_]{1,12})\Z"), re.compile(r"\s(\S+ \S{1,6})\Z"))


def fold_header(text: str) -> str:
    """A header without differences of case, blanks and character forms."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def unit_text(header: str) -> str:
    """The unit a header ends with, as it is written there, or an empty string."""
    for text in (header.strip(), without_basis(header)):
        for form in _UNIT_FORMS:
            match = form.search(text)
            if match and fold_unit(match[1].strip()) in KNOWN_UNITS:
                return match[1].strip()
    return ""


def unit_in(header: str) -> str:
    """The unit a header ends with (``"P (mg/kg)"``, ``"K lbs/ac"``), in the case's spelling."""
    return lab_unit(unit_text(header))[0]


def joined_header(rows: list[LabRow]) -> list[str]:
    """Header of several rows as one text for each column.

    A blank cell above a filled one repeats its left neighbour (a merged group heading).
    """
    width = max((len(r.cells) for r in rows), default=0)
    parts = [""] * width
    for depth, row in enumerate(rows):
        group = ""
        below = rows[depth + 1 :]
        for column in range(width):
            text = row.cell(column).text
            group = text or group
            if not text and any(r.cell(column).text for r in below):
                text = group
            parts[column] = f"{parts[column]} {text}".strip()
    return parts


@dataclass
class Columns:
    """Positions (from 0) of everything a mapping names."""

    header: list[str]
    first_row: int
    id: int = 0
    farm_field: int | None = None
    depth: int | None = None
    top: int | None = None
    bottom: int | None = None
    lab_number: int | None = None
    about: dict[tuple[str | None, int | None], int] = field(default_factory=dict)
    results: list[tuple[ResultPart, int]] = field(default_factory=list)
    beside: dict[tuple[int, str], int] = field(default_factory=dict)
    """(column of a result, "qualifier" or "unit_column") -> column."""
    long: tuple[int, int, int | None] | None = None
    analytes: dict[str, ResultPart] = field(default_factory=dict)
    skip: list[tuple[int, set[str]]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    usable: bool = True

    def name(self, column: int) -> str:
        """Header of a column, for messages."""
        text = self.header[column] if column < len(self.header) else ""
        return text or f"column {column + 1}"

    def results_of(self, row: LabRow) -> Iterator[tuple[ResultPart, int, int | None]]:
        """Result, its column and the column of its unit, for one row."""
        if self.long is None:
            yield from ((result, column, self.beside.get((column, "unit_column")))
                        for result, column in self.results)
            return
        analyte, value, unit = self.long
        result = self.analytes.get(fold_header(row.cell(analyte).text))
        if result is not None:
            yield result, value, unit


class ColumnSearch:
    """Looks for the columns of a mapping in a lab's file."""

    def __init__(self, table: LabTable, loaded: LoadedMap):
        self.table, self.loaded, self.mapping = table, loaded, loaded.mapping
        self.faults: list[Fault] = []
        self.used: set[int] = set()
        rows, first = self._header_rows()
        self.columns = Columns(joined_header(rows), first)
        self.folded = [fold_header(h) for h in self.columns.header]

    def run(self) -> tuple[Columns, list[Problem]]:
        """Positions of the mapped columns, and what is wrong with them (at the mapping's lines)."""
        columns, sample = self.columns, self.mapping.sample
        found = self._find(sample.id, ("sample", "id", "column"))
        columns.usable = found is not None
        columns.id = found or 0
        if sample.field:
            columns.farm_field = self._find(sample.field, ("sample", "field", "column"))
            columns.usable &= columns.farm_field is not None
        if sample.lab_number:
            columns.lab_number = self._find(sample.lab_number, ("sample", "lab_number", "column"))
        self._depths()
        for path, given in self.mapping.givens.items():
            if given.column is not None:
                at = self._find(given, (*path, "column"))
                columns.usable &= at is not None
                columns.about[given.column, given.nth] = at or 0
        for i, skip in enumerate(self.mapping.table.skip):
            at = self._find(skip, ("table", "skip", i, "column"))
            if at is not None:
                columns.skip.append((at, {e.lower() for e in skip.equals}))
        self._results()
        self._unused()
        return columns, self.loaded.source.problems(self.faults)

    def _header_rows(self) -> tuple[list[LabRow], int]:
        """The header's rows and the number of the first row after them."""
        layout = self.mapping.table
        rows = [r for r in self.table.rows if not r.blank]
        if layout.header_row:
            at = next((i for i, r in enumerate(rows) if r.number >= layout.header_row), 0)
        else:
            wanted = {fold_header(n) for n in _names(self.mapping)}
            scores = [len(wanted & {fold_header(h) for h in
                                    joined_header(rows[i : i + layout.header_rows])})
                      for i in range(min(len(rows), HEADER_SEARCH))]
            at = scores.index(max(scores))
        header = rows[at : at + layout.header_rows]
        return header, header[-1].number + 1

    def _find(self, part: ColumnPart | Given, path: DataPath,
              name: str | None = None) -> int | None:
        name = name or part.column or ""
        nth = getattr(part, "nth", None)
        found = [i for i, h in enumerate(self.folded) if h == fold_header(name)]
        if len(found) > 1 and nth is None:
            self.faults.append(Fault("CASE061", path, f"{len(found)} columns {show(name)}",
                                     f"one in {self.table.name}",
                                     "Say which with 'nth', counted from the left."))
        elif len(found) < (nth or 1):
            headers = [h for h in self.columns.header if h]
            listed = ", ".join(map(show, headers))
            self.faults.append(Fault(
                "CASE061", path, show(name) + (f" number {nth}" if nth else ""),
                f"a column of {self.table.name}",
                did_you_mean(name, headers, f"Its columns: {listed[:400]}.")))
        else:
            self.used.add(found[(nth or 1) - 1])
            return found[(nth or 1) - 1]
        return None

    def _depths(self) -> None:
        about, columns = self.mapping.sample.depth, self.columns
        if about is None:
            return
        for name in ("column", "top", "bottom"):
            header = getattr(about, name)
            if header is not None:
                at = self._find(Given(), ("sample", "depth", name), header)
                setattr(columns, "depth" if name == "column" else name, at)
                columns.usable &= at is not None

    def _results(self) -> None:
        long = self.mapping.table.long
        if long:
            places = [self._find(Given(), ("table", "long", n), getattr(long, n))
                      if getattr(long, n) else None
                      for n in ("analyte", "result", "unit", "qualifier")]
            self.columns.usable &= places[0] is not None and places[1] is not None
            self.columns.long = (places[0] or 0, places[1] or 0, places[2])
            if places[1] is not None and places[3] is not None:
                self.columns.beside[places[1], "qualifier"] = places[3]
            self._analytes()
            return
        for i, result in enumerate(self.mapping.results):
            at = self._find(result, ("results", i, "column"))
            if at is None:
                continue
            self.columns.results.append((result, at))
            for key in ("qualifier", "unit_column"):
                if (name := getattr(result, key)) is not None:
                    self._beside(name, at, key, ("results", i, key))
            says = unit_in(self.columns.header[at])
            if says and result.unit and fold_unit(says) != fold_unit(result.unit):
                self.faults.append(Fault("CASE061", ("results", i, "unit"), result.unit,
                                         f"the unit of the header, {says}",
                                         "If the header is wrong, correct it in the lab's file."))

    def _beside(self, name: str, at: int, key: str, path: DataPath) -> None:
        """The next column of that name behind a result, or else the one before it."""
        same = [i for i, h in enumerate(self.folded) if h == fold_header(name) and i != at]
        if not same:
            self._find(Given(), path, name)  # says that it is not there
            return
        place = next((i for i in same if i > at), same[-1])
        self.used.add(place)
        self.columns.beside[at, key] = place

    def _analytes(self) -> None:
        at = self.columns.long[0] if self.columns.long else 0
        there = {fold_header(r.cell(at).text): r.cell(at).text for r in self.table.rows
                 if r.number >= self.columns.first_row and r.cell(at).text}
        for i, result in enumerate(self.mapping.results):
            name = fold_header(result.column)
            if self.columns.usable and name not in there:
                self.faults.append(Fault("CASE061", ("results", i, "column"), show(result.column),
                                         f"an analyte of {self.table.name}",
                                         did_you_mean(result.column, there.values())))
            self.columns.analytes[name] = result
        ignored = {fold_header(n) for n in self.mapping.ignore}
        rest = [text for name, text in there.items()
                if name not in self.columns.analytes and name not in ignored]
        if rest:
            self.columns.notes.append("analytes not used: " + ", ".join(rest[:60]))

    def _unused(self) -> None:
        ignored = {fold_header(n) for n in self.mapping.ignore}
        rest = [h for i, h in enumerate(self.columns.header)
                if h and i not in self.used and fold_header(h) not in ignored]
        if rest:
            self.columns.notes.append("columns not used: " + ", ".join(rest))


def _names(mapping: MapFile) -> Iterator[str]:
    """Every header that a mapping names."""
    sample, long = mapping.sample, mapping.table.long
    yield sample.id.column
    for part in (sample.field, sample.lab_number, *mapping.givens.values()):
        if part is not None and part.column:
            yield part.column
    if sample.depth:
        yield from (n for n in (sample.depth.column, sample.depth.top, sample.depth.bottom) if n)
    if long:
        yield from (n for n in (long.analyte, long.result, long.unit) if n)
    else:
        yield from (r.column for r in mapping.results)
