"""A lab's file to a table of cells: text, with what the spreadsheet knew about each cell.

Delimited text (comma, semicolon, tab, bar) in UTF-8, UTF-16 with mark, or Windows-1252 and
Latin-1; workbooks (.xlsx; .xls and .ods by pandas, with the extra ``sheets``). Formulas stay text
and are never worked out. Size, rows, columns and the unpacked size of a workbook are limited, so
hostile files cost bounded time.
"""

import csv
import datetime as dt
import hashlib
import io
import re
import warnings
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from loambrief.case.problems import Problem, severity, visible
from loambrief.case.reader import UNWANTED, read_bytes
from loambrief.errors import CaseProblems

MAX_LAB_BYTES = 10 * 1024 * 1024
MAX_UNPACKED = 60 * 1024 * 1024
MAX_ROWS = 20_000
MAX_COLUMNS = 256
MAX_CELLS = 250_000
MAX_CELL = 1000
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
ENCODINGS = ("utf-8", "utf-16", "windows-1252", "latin-1")
LOOKED_AT = 400
"""Rows that the delimiter is judged by."""
COMMA_SHARE = 0.6
"""Another delimiter is taken if it orders at least this share of the rows a comma does."""

AS_TABLE = "Ask the laboratory for CSV or .xlsx, or save it as such."
OLD_BOOK = b"\xd0\xcf\x11\xe0"
OPEN_DOCUMENT = b"application/vnd.oasis.opendocument.spreadsheet"
_REPEATED = re.compile(
    rb"number-columns-repeated=\"\d{4,}\"[^>]*[^/>]>|number-rows-repeated=\"\d{4,}\"[^>]*>"
    rb"(?:(?!</table:table-row>).)*(?:office:value|<text:p)", re.DOTALL)
"""A filled cell or row that an open document repeats without end."""
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_IN_BRACKETS = re.compile(r"\[[^\]]*\]")


@dataclass(frozen=True)
class Cell:
    """One cell."""

    text: str
    """Blanks folded; ``""`` if empty."""
    kind: str = "text"
    """``"text"``; from workbooks also ``"number"`` (decimal point, whatever the mapping says),
    ``"date"`` (YYYY-MM-DD), ``"formula"`` and ``"other"``."""


EMPTY = Cell("")


@dataclass(frozen=True)
class LabRow:
    """Cells of one row; ``number`` is its line (text) or row (workbook), from 1."""

    number: int
    cells: tuple[Cell, ...]

    def cell(self, column: int) -> Cell:
        """Cell at a position counted from 0; an empty one beyond the end."""
        return self.cells[column] if column < len(self.cells) else EMPTY

    @property
    def blank(self) -> bool:
        return not any(cell.text for cell in self.cells)


@dataclass(frozen=True)
class LabTable:
    """A lab's file as rows of cells."""

    file: str
    name: str
    """``file``, ``name``: as the user named it, and without its folder."""
    sha256: str
    """Of the file's bytes."""
    rows: tuple[LabRow, ...]
    notes: tuple[str, ...] = ()
    """What had to be decided to read it (encoding, delimiter, sheet)."""
    sheet: str = ""
    sheets: tuple[str, ...] = ()
    """``sheet``, ``sheets``: the sheet that was read, and all of the workbook's."""

    def problem(self, code: str, row: LabRow | None, column: int, field: str, found: str,
                wanted: str, help: str = "") -> Problem:
        """A problem at a cell; ``column`` counts from 0, and without ``row`` it is the file's."""
        return Problem(self.file, row.number if row else 0, column + 1 if row else 0, code,
                       visible(field), found, wanted, "", help, severity(code))


def read_lab_file(path: Path | str, *, sheet: str | None = None, delimiter: str | None = None,
                  encoding: str | None = None) -> LabTable:
    """Read a lab's file of at most 10 MiB.

    ``sheet`` is that of a workbook, its first if None; ``delimiter`` (a key of :data:`DELIMITERS`)
    and ``encoding`` (of :data:`ENCODINGS`) are found out if None.

    Raises
    ------
    CaseProblems
        Not a table this program can read, or beyond a limit.
    """
    path, file = Path(path), str(path)
    raw = read_bytes(path, MAX_LAB_BYTES)
    names: tuple[str, ...] = ()
    if raw.startswith(OLD_BOOK) or OPEN_DOCUMENT in raw[:200]:
        rows, notes, names = _other_workbook(raw, file, sheet)
    elif raw.startswith(b"PK\x03\x04"):
        rows, notes, names = _workbook(raw, file, sheet)
    else:
        for start, what in ((b"%PDF", "a PDF"), (b"{\\rtf", "a word-processor file")):
            if raw.startswith(start):
                raise _unreadable(file, what, "CSV, TSV or .xlsx", AS_TABLE)
        text, notes = _decode(raw, file, encoding)
        rows, chosen = _delimited(text, file, delimiter)
        notes = [*notes, chosen]
    if not any(not row.blank for row in rows):
        raise _unreadable(file, "an empty table", "rows with results")
    return LabTable(file, visible(path.name), hashlib.sha256(raw).hexdigest(), tuple(rows),
                    tuple(notes), sheet or next(iter(names), ""), names)


def _unreadable(file: str, found: str, wanted: str, help: str = "", line: int = 0) -> CaseProblems:
    return CaseProblems((Problem(file, line, 1 if line else 0, "CASE060", "file", found, wanted,
                                 "", help),))


# text ------------------------------------------------------------------------------------


def _decode(raw: bytes, file: str, encoding: str | None) -> tuple[str, list[str]]:
    if encoding is None and raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    wanted = [encoding] if encoding else ["utf-8", "windows-1252", "latin-1"]
    for name in wanted:
        try:
            text = raw.decode({"utf-8": "utf-8-sig", "windows-1252": "cp1252"}.get(name, name))
            break
        except UnicodeError as error:
            at = raw.count(b"\n", 0, getattr(error, "start", 0)) + 1
    else:
        raise _unreadable(file, f"bytes that are not {wanted[0]}", f"{wanted[0]} text",
                          "Take 'encoding' out of the mapping to have it found out.", at)
    bad = _CONTROL.search(text)
    if bad:
        line = text.count("\n", 0, bad.start()) + 1
        help = "Is it UTF-16 without its mark?" if bad[0] == "\0" else ""
        raise _unreadable(file, f"character U+{ord(bad[0]):04X}", "plain text", help, line)
    return text, [] if name == "utf-8" else [f"read as {name}"]


def _records(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=False)
    start = 1
    for record in reader:
        yield start, record
        start = reader.line_num + 1


def _ordered(text: str, delimiter: str) -> int:
    """How many of the first rows have the commonest number of cells (two or more)."""
    sizes: Counter[int] = Counter()
    try:
        for count, (_, record) in enumerate(_records(text, delimiter)):
            if count >= LOOKED_AT:
                break
            if len(record) > 1:
                sizes[len(record)] += 1
    except csv.Error:
        return 0
    return max(sizes.values(), default=0)


def _delimited(text: str, file: str, delimiter: str | None) -> tuple[list[LabRow], str]:
    if delimiter is None:
        order = {name: _ordered(text, sign) for name, sign in DELIMITERS.items()}
        delimiter = next((name for name in ("tab", "semicolon", "bar")
                          if order[name] and order[name] >= COMMA_SHARE * order["comma"]), "comma")
    rows: list[LabRow] = []
    start = cells = 0
    try:
        for start, record in _records(text, DELIMITERS[delimiter]):
            rows.append(_row(file, start, [Cell(_tidy(c)) for c in record]))
            cells += len(rows[-1].cells)
            _limit(file, len(rows), cells)
    except csv.Error as error:
        raise _unreadable(file, f"a row that cannot be split ({error})", "cells and delimiters",
                          "Look for a quote without its partner.", start + 1) from None
    return rows, f"cells separated by {delimiter}"


def _row(file: str, number: int, cells: list[Cell]) -> LabRow:
    while cells and not cells[-1].text:
        cells.pop()
    if len(cells) > MAX_COLUMNS:
        raise _unreadable(file, f"{len(cells)} columns", f"at most {MAX_COLUMNS}", line=number)
    if any(len(cell.text) > MAX_CELL for cell in cells):
        raise _unreadable(file, f"a cell of more than {MAX_CELL} characters", "results",
                          "Look for a quote without its partner.", number)
    return LabRow(number, tuple(cells))


def _limit(file: str, rows: int, cells: int) -> None:
    for count, most, what in ((rows, MAX_ROWS, "rows"), (cells, MAX_CELLS, "cells")):
        if count > most:
            raise _unreadable(file, f"more than {most:,} {what}", f"at most {most:,}",
                              "Cut the file down to the fields of this case.")


# workbooks -------------------------------------------------------------------------------


def _workbook(raw: bytes, file: str, sheet: str | None
              ) -> tuple[list[LabRow], list[str], tuple[str, ...]]:
    import openpyxl  # slow import: only for workbooks

    check_archive(raw, file)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and extensions it does not know
            book = openpyxl.load_workbook(io.BytesIO(raw), read_only=True, data_only=False,
                                          keep_links=False)
            names = tuple(ws.title for ws in book.worksheets)
            if not names:
                raise _unreadable(file, "a workbook without sheets", "a sheet with results")
            note = _chosen(names, sheet, file)
            chosen = book[sheet or names[0]]
            chosen.reset_dimensions()
            rows: list[LabRow] = []
            count = 0
            for number, cells in enumerate(
                chosen.iter_rows(max_row=MAX_ROWS + 1, max_col=MAX_COLUMNS + 1), start=1
            ):
                width = max((i for i, c in enumerate(cells, 1) if c.value is not None), default=0)
                rows.append(_row(file, number, [_cell(c) for c in cells[:width]]))
                count += width
                _limit(file, len(rows), count)
    except CaseProblems:
        raise
    except Exception as error:  # the library raises whatever a damaged part leads to
        raise _unreadable(file, f"a damaged workbook ({type(error).__name__})", "a workbook",
                          "Open it and save it again as .xlsx or CSV.") from None
    return rows, [note], names


def _chosen(names: tuple[str, ...], sheet: str | None, file: str) -> str:
    """A note on the sheet that is read, which must be there."""
    if sheet is not None and sheet not in names:
        raise _unreadable(file, f"no sheet {sheet!r}", "one of " + ", ".join(names))
    others = [n for n in names if n != (sheet or names[0])]
    return f"sheet {sheet or names[0]!r}" + (f"; not read: {', '.join(others)}" if others else "")


def _other_workbook(raw: bytes, file: str, sheet: str | None
                    ) -> tuple[list[LabRow], list[str], tuple[str, ...]]:
    """Cells of an .xls or .ods: values only, as the engine sees no formats and no formulas."""
    import pandas as pd

    what = "an open document" if OPEN_DOCUMENT in raw[:200] else "an old or encrypted workbook"
    if not raw.startswith(OLD_BOOK):
        check_archive(raw, file)
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            content = next((archive.read(n) for n in archive.namelist() if n == "content.xml"), b"")
        if _REPEATED.search(content):
            raise _unreadable(file, f"{what} with a filled cell repeated", "results",
                              AS_TABLE)
    try:
        with pd.ExcelFile(io.BytesIO(raw), engine="calamine") as book:
            names = tuple(str(name) for name in book.sheet_names)
            note = _chosen(names, sheet, file)
            frame = pd.read_excel(book, sheet_name=sheet or names[0], header=None, dtype=object,
                                  nrows=MAX_ROWS + 1, na_filter=False)
    except ImportError:
        raise _unreadable(file, what, "CSV, TSV or .xlsx",
                          f"{AS_TABLE} Or: pip install 'loambrief[sheets]'.") from None
    except (CaseProblems, KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:  # the engine's own panics are no Exception
        raise _unreadable(file, f"{what} ({type(error).__name__})", "a workbook that can be read",
                          AS_TABLE) from None
    _limit(file, len(frame), frame.size)
    rows = [_row(file, number, [_value_cell(v, "") for v in cells])
            for number, cells in enumerate(frame.to_numpy().tolist(), start=1)]
    return rows, [f"{note}; values only: percentages and signs that the sheet's formats show are "
                  "not seen"], names


def check_archive(raw: bytes, file: str) -> None:
    """Refuse archives that unpack to too much, and parts that declare entities."""
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            total = 0
            for info in archive.infolist():
                with archive.open(info) as part:
                    first = True
                    while piece := part.read(1 << 20):
                        total += len(piece)
                        if total > MAX_UNPACKED:
                            raise _unreadable(file, f"more than {MAX_UNPACKED:,} bytes unpacked",
                                              "a workbook of results")
                        if first and b"<!DOCTYPE" in piece[:4096].replace(b"\0", b"").upper():
                            raise _unreadable(file, "a document type declaration", "a workbook")
                        first = False
    except (zipfile.BadZipFile, zipfile.LargeZipFile, OSError, EOFError, NotImplementedError,
            RuntimeError, ValueError, zlib.error) as error:
        raise _unreadable(file, f"a damaged archive ({type(error).__name__})", "a workbook",
                          "Open it and save it again as .xlsx or CSV.") from None


def _cell(cell: Any) -> Cell:
    value = cell.value
    if value is None:
        return EMPTY
    if getattr(cell, "data_type", "") == "f":
        return Cell(visible(str(getattr(value, "text", value)))[:MAX_CELL], "formula")
    return _value_cell(value, str(cell.number_format or ""))


def _value_cell(value: Any, shown_as: str) -> Cell:
    """A cell from its value and the format that the sheet shows it in."""
    if isinstance(value, bool):
        return Cell(str(value).upper(), "other")
    if isinstance(value, int | float):
        return _number(value, shown_as)
    if isinstance(value, dt.datetime | dt.date):
        return Cell(value.isoformat()[:10], "date")
    return Cell(_tidy(str(value)))


def _tidy(text: str) -> str:
    """Text without invisible characters, blanks folded (no-break blanks too)."""
    return " ".join(UNWANTED.sub("", text).split())


def _number(value: float, shown_as: str) -> Cell:
    """A number as the sheet shows it: 0.034 formatted as percent is 3.4 %, and a format
    with a "<" in front makes it a limit."""
    shown_as = _IN_BRACKETS.sub("", shown_as)
    sign = next((s for s in "<>" if s in shown_as), "")
    text = f"{value * 100:.12g} %" if "%" in shown_as else f"{value:.12g}"
    return Cell(sign + text, "number")
