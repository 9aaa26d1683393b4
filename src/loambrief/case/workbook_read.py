"""A workbook that :mod:`loambrief.case.workbook_write` made, read back to a case's data.

Every cell is known by the hidden keys, never by its heading. What is wrong with a cell is said
with its sheet and cell; the case as a whole is judged as every case is, its places being cells.
"""

import hashlib
import io
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

from loambrief.case import workbook_write as w
from loambrief.case.fields import Group, Leaf, group_at, groups
from loambrief.case.intake_read import MAX_CELLS, MAX_LAB_BYTES, check_archive
from loambrief.case.problems import DataPath, Problem, in_file_order, severity, visible
from loambrief.case.quantities import did_you_mean, show
from loambrief.case.reader import read_bytes
from loambrief.case.source import CellMark, Mark, SourceText
from loambrief.case.workbook_cells import NotAValue, value_of
from loambrief.case.workbook_rows import BookRow, gather
from loambrief.errors import CaseProblems

MOST_LISTED = 1_000_000
"""Bytes of a workbook's list of sheets."""
ROW: DataPath = ("",)
"""Place of a row as a whole."""
REBUILT = "Make a new one: loambrief workbook CASE"


@dataclass(frozen=True)
class FilledBook:
    """A workbook as it was filled in."""

    source: SourceText
    """The case's data; its marks are cells, those of empty ones among them."""
    base: Mapping[str, str]
    """Key at the top of the case -> digest of what the case held when the workbook was made."""
    sha256: str
    """Of the file."""
    filled: int
    """Cells with a value."""


def is_workbook(path: Path) -> bool:
    """True for a workbook of this program, by the names of its sheets."""
    try:
        with zipfile.ZipFile(path) as archive, archive.open("xl/workbook.xml") as listed:
            text = listed.read(MOST_LISTED)
    except (OSError, KeyError, zipfile.BadZipFile, zlib.error, ValueError, RuntimeError,
            NotImplementedError, EOFError):
        return False
    return all(f'name="{name}"'.encode() in text for name in (w.ABOUT, w.LISTS, "general"))


def read_workbook(path: Path) -> FilledBook:
    """Read a filled workbook.

    Raises
    ------
    CaseProblems
        No workbook of this program, or cells that cannot be read: all of them.
    """
    raw, file = read_bytes(path, MAX_LAB_BYTES), str(path)
    check_archive(raw, file)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and extensions it does not know
            book = load_workbook(io.BytesIO(raw), read_only=True, keep_links=False)
            cells = {sheet.title: _cells(sheet, file) for sheet in book.worksheets}
    except CaseProblems:
        raise
    except Exception as error:  # the library raises whatever a damaged part leads to
        raise _refused(file, f"a damaged workbook ({type(error).__name__})") from None
    return _BookReading(file, cells).result(hashlib.sha256(raw).hexdigest())


def _refused(file: str, found: str) -> CaseProblems:
    return CaseProblems((Problem(file, 0, 0, "CASE078", "file", found,
                                 "a workbook that loambrief made", "", REBUILT),))


def _cells(sheet: Any, file: str) -> dict[tuple[int, int], Any]:
    """Filled cells by row and column."""
    sheet.reset_dimensions()
    found = {}
    for row in sheet.iter_rows():
        for cell in row:
            if cell.value is not None and not (isinstance(cell.value, str)
                                               and not cell.value.strip()):
                found[cell.row, cell.column] = cell
                if len(found) > MAX_CELLS:
                    raise _refused(file, f"more than {MAX_CELLS:,} cells")
    return found


@dataclass
class _BookSheet:
    """The cells of a group's sheet, and what they say."""

    title: str
    group: Group
    cells: Mapping[tuple[int, int], Any]

    def mark(self, row: int, column: int) -> CellMark:
        return CellMark(row, column, f"{self.title}!{get_column_letter(column)}{row}")


@dataclass
class _BookReading:
    file: str
    cells: Mapping[str, Mapping[tuple[int, int], Any]]
    problems: list[Problem] = field(default_factory=list)
    sheets: dict[tuple[str, ...], _BookSheet] = field(default_factory=dict)
    rows: dict[tuple[str, ...], list[BookRow]] = field(default_factory=dict)
    marks: dict[tuple[tuple[str, ...], int], dict[DataPath, CellMark]] = field(
        default_factory=dict)
    filled: int = 0

    def result(self, sha256: str) -> FilledBook:
        hidden = self.cells.get(w.LISTS, {})
        if (1, 1) not in hidden or hidden[1, 1].value != w.FORMAT:
            raise _refused(self.file, "no keys of a case")
        base = {}
        row = 2
        while (row, 1) in hidden and (row, 2) in hidden:
            base[str(hidden[row, 1].value)] = str(hidden[row, 2].value)
            row += 1
        self._sort_sheets()
        for group in groups():
            if group.path in self.sheets:
                (self._table if group.table else self._form)(self.sheets[group.path])
        data: dict[str, object] = {}
        places: Mapping[tuple[tuple[str, ...], int], DataPath] = {}
        try:
            data, places = gather(self.rows)
        except CaseProblems:
            sheet = self.sheets["boundary",]
            self._problem(sheet.mark(w.FORM_FIRST + 2, w.VALUES), "boundary",
                          "text that is no GeoJSON", "the text as it was, or a file instead")
        if self.problems:
            raise CaseProblems(in_file_order(self.problems))
        source = SourceText(self.file, "", data, {}, self._values(places))
        return FilledBook(source, base, sha256, self.filled)

    def _problem(self, mark: CellMark, field: str, found: str, wanted: str, help: str = "",
                 code: str = "CASE079") -> None:
        self.problems.append(Problem(self.file, mark.line, mark.column, code, visible(field),
                                     found, wanted, "", help, severity(code), cell=mark.cell))

    def _sort_sheets(self) -> None:
        """Which sheet is which group; each once, none missing, none of another kind."""
        for title, cells in self.cells.items():
            if title in (w.ABOUT, w.LISTS):
                continue
            key = str(cells[1, 1].value) if (1, 1) in cells else ""
            path = tuple(key.partition("|")[0].split(".")) if key.partition("|")[0] else ()
            try:
                group = group_at(path)
                known = bool(key or title == group.title) and path not in self.sheets
            except KeyError:
                known = False
            if known:
                self.sheets[path] = _BookSheet(title, group, cells)
            elif cells:
                self.problems.append(Problem(
                    self.file, 1, 1, "CASE078", visible(title), "a sheet that is no part of a case",
                    "the sheets that the workbook came with", "", REBUILT, cell=f"{title}!A1"))
        missing = [g.title for g in groups() if g.path not in self.sheets]
        if missing:
            self.problems.append(Problem(
                self.file, 0, 0, "CASE078", "file", "no sheet " + ", ".join(missing),
                "every sheet that the workbook came with", "", REBUILT))

    # forms and tables -----------------------------------------------------------------------

    def _form(self, sheet: _BookSheet) -> None:
        keys = {cell.value: row for (row, column), cell in sheet.cells.items()
                if column == w.KEYS and row >= w.FORM_FIRST}
        found = {key: (row, w.VALUES) for key, row in keys.items()}
        units = {key: sheet.cells.get((row, w.FORM_UNITS)) for key, row in keys.items()}
        self._stray(sheet, set(keys.values()), {w.VALUES, w.FORM_UNITS},
                    {w.KEYS, w.LABELS, w.MEANINGS}, w.FORM_FIRST)
        values = self._entry(sheet, found, units, 1)
        if values:
            self.rows[sheet.group.path] = [BookRow(values)]

    def _table(self, sheet: _BookSheet) -> None:
        group = sheet.group
        keys = {cell.value: column for (row, column), cell in sheet.cells.items()
                if row == 1 and column > 1}
        units = {key: sheet.cells.get((w.UNITS, column)) for key, column in keys.items()}
        columns = set(keys.values())
        last = max((row for row, column in sheet.cells if row >= w.FIRST), default=0)
        self._stray(sheet, set(range(w.FIRST, last + 1)), columns, {1}, w.FIRST)
        made = []
        for row in range(w.FIRST, last + 1):
            filled = any((row, column) in sheet.cells for column in columns)
            if not filled and not (group.owner and (row, 1) in sheet.cells):
                continue
            number = row - w.FIRST + 1
            values = self._entry(sheet, {k: (row, c) for k, c in keys.items()}, units, number)
            of = self._owner(sheet, row) if group.owner else ""
            if of is not None:
                made.append(BookRow(values, of, number))
                self.marks[group.path, number][ROW] = sheet.mark(row, 1 if group.owner else 2)
        self._same_names(sheet, made)
        self.rows[group.path] = made

    def _same_names(self, sheet: _BookSheet, rows: Sequence[BookRow]) -> None:
        """Two keys of one group, which a case could hold only once."""
        if not sheet.group.keyed:
            return
        seen = set()
        for row in rows:
            name = row.of, row.values.get(("name",))
            mark = self.marks[sheet.group.path, row.number]["name",]
            if name[1] is None:
                self._problem(mark, sheet.title, "nothing", "a name for the value beside it")
            elif name in seen:
                self._problem(mark, sheet.title, f"{show(name[1])} a second time", "each once")
            seen.add(name)

    def _owner(self, sheet: _BookSheet, row: int) -> str | None:
        """Name of the entry a row belongs to; None if there is none of that name."""
        owner = group_at(sheet.group.owner)
        rows = self.rows.get(owner.path, [])
        names = [str(r.values.get((owner.by,), "")) if owner.by else str(r.number) for r in rows]
        cell = sheet.cells.get((row, 1))
        typed = "" if cell is None else str(cell.value).strip()
        if isinstance(getattr(cell, "value", None), float) and typed.endswith(".0"):
            typed = typed[:-2]
        if typed in names and names.count(typed) == 1:
            self.filled += 1
            return typed
        wanted = f"one {owner.by or 'number'} of the sheet {owner.title!r}"
        if names:
            wanted += ": " + ", ".join(sorted({n for n in names if n})[:12])
        self._problem(sheet.mark(row, 1), f"{sheet.title} row {row}",
                      repr(typed) + (", which stands there twice" if typed in names else "")
                      if typed else "nothing", wanted, did_you_mean(typed, names))
        return None

    def _stray(self, sheet: _BookSheet, rows: set[int], columns: set[int], beside: set[int],
               first: int) -> None:
        """Values where nothing reads them."""
        for (row, column), cell in sheet.cells.items():
            if row >= first and not (row in rows and column in columns | beside):
                self._problem(sheet.mark(row, column), sheet.title, show(cell.value),
                              "an empty cell: nothing is read from here")

    def _entry(self, sheet: _BookSheet, where: Mapping[str, tuple[int, int]],
               units: Mapping[str, Any], number: int) -> dict[tuple[str, ...], object]:
        """Values of a form or row, the places of all its cells noted."""
        places = self.marks.setdefault((sheet.group.path, number), {})
        values: dict[tuple[str, ...], object] = {}
        known = set()
        for leaf in sheet.group.leaves:
            key = leaf.key
            known |= {k for k in where if k == key or k.startswith(f"{key}#")}
            if not leaf.many:
                if key in where:
                    places[leaf.path] = sheet.mark(*where[key])
                    value = self._value(sheet, leaf, where[key], units.get(key))
                    if value is not None:
                        values[leaf.path] = value
                continue
            items = list(self._list(sheet, leaf, where, units, places))
            if items:
                values[leaf.path] = items
        for key in where.keys() - known:
            self._problem(sheet.mark(*where[key]), sheet.title, f"the unknown key {show(key)}",
                          "a key of this part", REBUILT, "CASE078")
        return values

    def _list(self, sheet: _BookSheet, leaf: Leaf, where: Mapping[str, tuple[int, int]],
              units: Mapping[str, Any], places: dict[DataPath, CellMark]) -> Iterator[object]:
        """Values of a list, one cell each; an empty one in between is a reading not taken."""
        keys = [f"{leaf.key}#{i}" for i in range(1, len(where) + 1)]
        keys = [key for key in keys if key in where]
        if keys:
            places[leaf.path] = sheet.mark(*where[keys[0]])
        filled = [i for i, key in enumerate(keys) if where[key] in sheet.cells]
        index = 0
        for i, key in enumerate(keys[:max(filled, default=-1) + 1]):
            if i in filled or leaf.gaps:
                places[(*leaf.path, index)] = sheet.mark(*where[key])
                index += 1
                yield self._value(sheet, leaf, where[key], units.get(key))

    def _value(self, sheet: _BookSheet, leaf: Leaf, place: tuple[int, int], unit: Any) -> object:
        cell = sheet.cells.get(place)
        if cell is None:
            return None
        self.filled += 1
        mark, label = sheet.mark(*place), f"{sheet.title} {leaf.label}".strip()
        if cell.data_type in ("f", "e"):
            what = "a formula" if cell.data_type == "f" else "the error"
            self._problem(mark, label, f"{what} {show(str(cell.value))}", "the value itself",
                          "Copy the cell and paste it as a value." if what == "a formula" else "")
            return None
        try:
            return value_of(cell.value, str(cell.number_format or ""), leaf,
                            "" if unit is None else str(unit.value).strip())
        except NotAValue as fault:
            self._problem(mark, label, fault.found, fault.wanted, fault.help)
            return None

    # places ---------------------------------------------------------------------------------

    def _values(self, places: Mapping[tuple[tuple[str, ...], int], DataPath]
                ) -> dict[DataPath, Mark]:
        """Path of a value, or of one that is missing -> its cell."""
        found: dict[DataPath, Mark] = {(): CellMark(1, 1, f"{w.ABOUT}!A1")}
        for group in groups():
            if group.path and not group.owner:
                found[group.path] = self.sheets[group.path].mark(
                    *((w.FIRST, 2) if group.table else (w.FORM_FIRST, w.VALUES)))
        for (path, number), marks in self.marks.items():
            group = group_at(path)
            at = places.get((path, number), None if group.table else path)
            if at is None:
                continue
            for inner, mark in marks.items():
                if inner == ROW or group.keyed:
                    found[at] = mark
                else:
                    for end in range(1, len(inner) + 1):
                        found.setdefault((*at, *inner[:end]), mark)
        return found
