"""A case as a workbook: a sheet for each part, to be filled in without YAML and read back.

Headings, units, drop-downs and notes come from the groups of :mod:`loambrief.case.fields`. What
is to be filled in is unlocked, the rest is protected (without a password). A hidden first row, in
forms a hidden first column, holds the keys of the case; the hidden sheet of lists holds what the
drop-downs offer, and what the case held when the workbook was made.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from openpyxl import Workbook
from openpyxl.cell.cell import Cell
from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.workbook.protection import WorkbookProtection
from openpyxl.worksheet.datavalidation import DataValidation
from pydantic import TypeAdapter, ValidationError

from loambrief.case.fields import Group, Leaf, ValueKind, group_at, groups
from loambrief.case.problems import in_file_order
from loambrief.case.quantities import Identifier
from loambrief.case.source import SourceText
from loambrief.case.workbook_cells import AS_DATE, AS_TEXT, NOT_READ, cell_of, unit_of
from loambrief.case.workbook_rows import BookRow, digests, gather, spread
from loambrief.errors import CaseProblems

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

FORMAT = "loambrief workbook 1"
"""First cell of the sheet of lists."""
LISTS, ABOUT = "lists", "how to"
OWNER, NUMBER = "@of", "@number"
"""Keys of the first column of a table: the entry that a row belongs to, or its own number."""
UNITS, HEAD, MEANING, FIRST = 4, 3, 5, 6
"""Rows of a table: units below the headings, meanings below the units, then the entries."""
FORM_FIRST = 4
KEYS, LABELS, VALUES, FORM_UNITS, MEANINGS = 1, 2, 3, 4, 5
"""Columns of a form."""
SPARE_ROWS, SPARE_ITEMS, LEAST_ITEMS = 12, 2, 4
LONGEST_PROMPT = 250
EPOCH = dt.datetime(1980, 1, 1)  # the earliest a zip archive can say
_MODIFIED = re.compile(rb"(<dcterms:(created|modified)[^>]*>)[^<]*")
_INK, _MUTED, _SOFT, _RULE = "FF1F2A24", "FF55615A", "FFEAF0EB", "FFB9C4BC"


@dataclass(frozen=True)
class BookFile:
    """A workbook as bytes."""

    content: bytes
    sheets: tuple[str, ...]
    filled: int
    """Cells that hold a value of the case."""
    case_id: str = ""
    """Fit for a file's name; empty where the case has none yet."""


@dataclass
class _Lists:
    """The hidden sheet: a column for each set of words that a drop-down offers."""

    sheet: Worksheet
    columns: dict[tuple[str, ...], str] = field(default_factory=dict)

    def of(self, words: tuple[str, ...]) -> str:
        """The range that holds these words."""
        if words not in self.columns:
            column = len(self.columns) + 3
            for row, word in enumerate(words, 1):
                _text(_at(self.sheet, row, column), word)
            letter = get_column_letter(column)
            self.columns[words] = f"{LISTS}!${letter}$1:${letter}${len(words)}"
        return self.columns[words]


class _Styles:
    """Styles by name, each made when it is first used."""

    def __init__(self, book: Workbook) -> None:
        self.book = book
        self.made: set[str] = set()
        line = Side("thin", _RULE)
        self.box = Border(line, line, line, line)
        bold = Font(bold=True, color=_INK)
        self.head = self._named("heading", font=bold, fill=PatternFill("solid", _SOFT),
                                alignment=Alignment(vertical="top", wrap_text=True))
        self.bold = self._named("strong", font=bold)
        self.title = self._named("title of a sheet", font=Font(bold=True, size=14, color=_INK))
        self.quiet = self._named("meaning", font=Font(size=9, color=_MUTED))
        self.note = self._named("meaning of a column", font=Font(size=9, color=_MUTED),
                                alignment=Alignment(vertical="top", wrap_text=True))

    def _named(self, name: str, **look: Any) -> str:
        self.book.add_named_style(NamedStyle(name, **look))
        return name

    def value(self, shown_as: str, wrapped: bool = False) -> str:
        """The style of a cell to fill in, by its number format."""
        name = f"value {shown_as}{' wrapped' if wrapped else ''}"
        if name not in self.made:
            self.made.add(name)
            self._named(name, border=self.box, protection=Protection(locked=False),
                        number_format=shown_as,
                        alignment=Alignment(vertical="top", wrap_text=wrapped))
        return name


def workbook_of(source: SourceText) -> BookFile:
    """The workbook of a case, which may lack what is still to be filled in.

    Raises
    ------
    CaseProblems
        The case holds what no cell can: unknown keys, quantities without a unit, text of more
        than 30,000 letters.
    """
    data = source.data if isinstance(source.data, Mapping) else {}
    rows, faults = spread(data)
    if faults:
        raise CaseProblems(in_file_order(source.problems(faults)))
    made = _Writing(rows, digests(gather(rows)[0])).book()
    return replace(made, case_id=_case_id(data))


def _case_id(data: Mapping[str, object]) -> str:
    header = data.get("case")
    found = header.get("id") if isinstance(header, Mapping) else None
    try:
        return TypeAdapter(Identifier).validate_python(found)
    except ValidationError:
        return ""


class _Writing:
    def __init__(self, rows: Mapping[tuple[str, ...], Sequence[BookRow]],
                 base: Mapping[str, str]) -> None:
        self.rows, self.base = rows, base
        self.out = Workbook()
        self.styles = _Styles(self.out)
        self.filled = 0

    def book(self) -> BookFile:
        about = self.out.active
        assert about is not None
        about.title = ABOUT
        self.lists = _Lists(self.out.create_sheet(LISTS))
        for group in groups():
            sheet = self.out.create_sheet(group.title)
            _text(_at(sheet, 1, 1), ".".join(group.path))
            _text(_at(sheet, 2, 2), group.title, self.styles.title)
            _text(_at(sheet, 2, 5), group.meaning, self.styles.quiet)
            (self._table if group.table else self._form)(sheet, group)
            sheet.protection.sheet = True
            sheet.protection.formatColumns = sheet.protection.formatRows = False
            sheet.protection.formatCells = False
        self._about(about)
        self._base()
        self.out.security = WorkbookProtection(lockStructure=True)
        self.out.properties.creator = "Loambrief"
        raw = io.BytesIO()
        self.out.save(raw)
        return BookFile(timeless(raw.getvalue()), tuple(self.out.sheetnames), self.filled)

    def _base(self) -> None:
        hidden = self.lists.sheet
        _text(_at(hidden, 1, 1), FORMAT)
        for row, (key, digest) in enumerate(self.base.items(), 2):
            _text(_at(hidden, row, 1), key)
            _text(_at(hidden, row, 2), digest)
        hidden.sheet_state = "hidden"
        hidden.protection.sheet = True

    def _about(self, sheet: Worksheet) -> None:
        lines = (
            "This workbook is one case of Loambrief: one sheet for each part.",
            "White cells are to be filled in. Leave empty what was not measured: it is never "
            "taken for zero.",
            "A number has the unit below its heading; choose another unit there, or type one "
            "behind a single number: 12 mg/kg. Below the laboratory's limit: <0.5.",
            f"A reading that was not taken, in a row of readings: empty, at its end {NOT_READ}.",
            "* is wanted as soon as its part has any value. Values, no formulas.",
            "Then: loambrief intake FILE.xlsx --update CASE.yaml",
        )
        _text(_at(sheet, 1, 1), "How to fill in", self.styles.title)
        for row, line in enumerate(lines, 2):
            _text(_at(sheet, row, 1), line)
        start = len(lines) + 3
        for column, word in enumerate(("sheet", "holds", "entries"), 1):
            _text(_at(sheet, start, column), word, self.styles.bold)
        for row, group in enumerate(groups(), start + 1):
            cell = _at(sheet, row, 1)
            _text(cell, group.title)
            cell.hyperlink = f"#{quote_sheetname(group.title)}!B2"
            cell.style = "Hyperlink"
            _text(_at(sheet, row, 2), group.meaning)
            _at(sheet, row, 3).value = len(self.rows[group.path]) or None
        sheet.column_dimensions["A"].width, sheet.column_dimensions["B"].width = 30, 90
        sheet.protection.sheet = True

    # forms ----------------------------------------------------------------------------------

    def _form(self, sheet: Worksheet, group: Group) -> None:
        values = next((row.values for row in self.rows[group.path]), {})
        for column, word in ((LABELS, "what"), (VALUES, "value"), (FORM_UNITS, "unit"),
                             (MEANINGS, "meaning")):
            self._head(_at(sheet, HEAD, column), word)
        row = FORM_FIRST
        for leaf in group.leaves:
            found = values.get(leaf.path)
            unit = self._unit([found], leaf)
            for key, label, item in _items(leaf, found, _wanted(leaf, [found])):
                _text(_at(sheet, row, KEYS), key)
                self._head(_at(sheet, row, LABELS), label)
                cell = _at(sheet, row, VALUES)
                self._value(cell, leaf, item, unit)
                self._choices(sheet, leaf, cell.coordinate)
                if leaf.units:
                    self._unit_cell(sheet, _at(sheet, row, FORM_UNITS), leaf, unit)
                _text(_at(sheet, row, MEANINGS), leaf.meaning, self.styles.quiet)
                row += 1
        for column, width in ((LABELS, 30), (VALUES, 44), (FORM_UNITS, 14), (MEANINGS, 90)):
            sheet.column_dimensions[get_column_letter(column)].width = width
        sheet.column_dimensions[get_column_letter(KEYS)].hidden = True
        sheet.freeze_panes = _at(sheet, FORM_FIRST, VALUES)

    # tables ---------------------------------------------------------------------------------

    def _table(self, sheet: Worksheet, group: Group) -> None:
        rows = self.rows[group.path]
        count = len(rows) + SPARE_ROWS
        if group.most is not None and not group.owner:
            count = max(len(rows), min(count, group.most))
        self._first_column(sheet, group, rows, count)
        column = 2
        for leaf in group.leaves:
            found = [row.values.get(leaf.path) for row in rows]
            unit = self._unit(found, leaf)
            for i, (key, label, _) in enumerate(_items(leaf, None, _wanted(leaf, found))):
                letter = get_column_letter(column)
                _text(_at(sheet, 1, column), key)
                self._head(_at(sheet, HEAD, column), label)
                if leaf.units:
                    self._unit_cell(sheet, _at(sheet, UNITS, column), leaf, unit)
                _text(_at(sheet, MEANING, column), leaf.meaning, self.styles.note)
                for j in range(count):
                    item = found[j] if j < len(found) else None
                    self._value(_at(sheet, FIRST + j, column), leaf, _item(leaf, item, i), unit)
                self._choices(sheet, leaf, f"{letter}{FIRST}:{letter}{FIRST + count - 1}")
                sheet.column_dimensions[letter].width = _width(leaf, label)
                column += 1
        sheet.row_dimensions[1].hidden = True
        sheet.row_dimensions[MEANING].height = 60
        sheet.freeze_panes = _at(sheet, FIRST, 3 if len(group.leaves) > 3 else 2)

    def _first_column(self, sheet: Worksheet, group: Group, rows: Sequence[BookRow],
                      count: int) -> None:
        """The entry of another table that each row belongs to, or the row's own number."""
        owner = group_at(group.owner) if group.owner else None
        _at(sheet, 1, 1).value = f"{'.'.join(group.path)}|{OWNER if owner else NUMBER}"
        by = (owner.by or "number") if owner else ""
        self._head(_at(sheet, HEAD, 1), f"{owner.title}: {by} *" if owner else "number")
        sheet.column_dimensions["A"].width = 18 if owner else 8
        for j in range(count):
            cell = _at(sheet, FIRST + j, 1)
            if owner is None:
                cell.value, cell.style = j + 1, self.styles.quiet
                continue
            cell.style = self.styles.value(AS_TEXT)
            if j < len(rows):
                self.filled += 1
                _text(cell, rows[j].of)
        if owner is not None:
            letter = get_column_letter(2 + [leaf.path for leaf in owner.leaves].index((owner.by,))
                                       if owner.by else 1)
            last = FIRST + len(self.rows[owner.path]) + SPARE_ROWS - 1
            offered = DataValidation(
                "list", f"{quote_sheetname(owner.title)}!${letter}${FIRST}:${letter}${last}",
                allow_blank=True, showErrorMessage=False)
            offered.add(f"A{FIRST}:A{FIRST + count - 1}")
            sheet.add_data_validation(offered)

    # cells ----------------------------------------------------------------------------------

    def _head(self, cell: Cell, word: str) -> None:
        _text(cell, word, self.styles.head)

    def _unit(self, found: Sequence[object], leaf: Leaf) -> str:
        """The unit of a column: the one that most of its values were typed with."""
        items = [v for one in found for v in (one if isinstance(one, list) else [one])]
        units = Counter(filter(None, (unit_of(item, leaf) for item in items)))
        return units.most_common(1)[0][0] if units else next(iter(leaf.units), "")

    def _unit_cell(self, sheet: Worksheet, cell: Cell, leaf: Leaf, unit: str) -> None:
        _text(cell, unit, self.styles.value(AS_TEXT))
        choice = DataValidation("list", self.lists.of(leaf.units), allow_blank=True)
        choice.add(cell.coordinate)
        sheet.add_data_validation(choice)

    def _value(self, cell: Cell, leaf: Leaf, value: object, unit: str) -> None:
        if value is NOTHING:
            cell.style = self.styles.value(EMPTY_AS.get(leaf.kind, AS_TEXT))
            return
        made = cell_of(value, leaf, unit)
        self.filled += 1
        if isinstance(made.value, str):
            _text(cell, made.value, self.styles.value(made.shown_as, "\n" in made.value))
        else:
            cell.value = made.value  # type: ignore[assignment]
            cell.style = self.styles.value(made.shown_as)

    def _choices(self, sheet: Worksheet, leaf: Leaf, where: str) -> None:
        """The drop-down of a value, and what is said when its cell is chosen."""
        words = leaf.choices or leaf.suggested
        if leaf.kind is ValueKind.TRUTH:
            words = ("TRUE", "FALSE")
        rule = DataValidation(
            "list" if words else None, self.lists.of(words) if words else None,
            allow_blank=True, showErrorMessage=bool(words and not leaf.suggested),
            errorTitle="One of the list", error="Choose a word of the list.",
            showInputMessage=True, promptTitle=leaf.label[:31] or None,
            prompt=_prompt(leaf))
        rule.add(where)
        sheet.add_data_validation(rule)


EMPTY_AS = {ValueKind.DATE: AS_DATE, ValueKind.NUMBER: "General", ValueKind.WHOLE: "0",
            ValueKind.QUANTITY: "General", ValueKind.TRUTH: "General"}
"""Number format of an empty cell; text elsewhere, so that 0-6 stays what was typed."""
NOTHING = object()
"""Stands for a cell that is left empty."""


def _at(sheet: Worksheet, row: int, column: int) -> Cell:
    cell = sheet.cell(row, column)
    assert isinstance(cell, Cell)  # nothing is merged
    return cell


def _text(cell: Cell, text: str, style: str = "") -> None:
    """Text that no spreadsheet takes for a formula or an error."""
    cell.value = text
    cell.data_type = "s"
    if style:
        cell.style = style


def _wanted(leaf: Leaf, found: Sequence[object]) -> int:
    """Cells for a value: one, or some more than the longest list has."""
    if not leaf.many:
        return 1
    longest = max((len(one) for one in found if isinstance(one, list)), default=0)
    return max(longest, min(max(longest + SPARE_ITEMS, LEAST_ITEMS), leaf.most or 1_000_000))


def _items(leaf: Leaf, found: object, count: int) -> Iterator[tuple[str, str, object]]:
    """Key, heading and value of each cell."""
    star = " *" if leaf.required else ""
    for i in range(count):
        key, label = leaf.key, leaf.label
        if leaf.many:
            key, label = f"{key}#{i + 1}", f"{label} {i + 1}".strip()
        yield key, label + star, _item(leaf, found, i)


def _item(leaf: Leaf, found: object, i: int) -> object:
    if leaf.many:
        return found[i] if isinstance(found, list) and i < len(found) else NOTHING
    return NOTHING if found is None else found


def _prompt(leaf: Leaf) -> str:
    parts = [leaf.meaning]
    if leaf.low is not None or leaf.high is not None:
        parts.append(" ".join(f"{word} {limit:,.10g}" for word, limit in (
            ("from", leaf.low), ("to", leaf.high)) if limit is not None))
    if leaf.kind is ValueKind.DATE:
        parts.append("a date: YYYY-MM-DD")
    return "; ".join(parts)[:LONGEST_PROMPT]


def _width(leaf: Leaf, label: str) -> float:
    if leaf.kind in EMPTY_AS:
        return max(12.0, min(len(label) * 0.9, 18.0))
    return 22.0


def timeless(workbook: bytes) -> bytes:
    """The workbook without the time it was written."""
    out = io.BytesIO()
    stamp = EPOCH.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    with zipfile.ZipFile(io.BytesIO(workbook)) as old, \
            zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in sorted(old.namelist()):
            data = old.read(name)
            if name == "docProps/core.xml":
                data = _MODIFIED.sub(rb"\g<1>" + stamp, data)
            entry = zipfile.ZipInfo(name, date_time=EPOCH.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            new.writestr(entry, data)
    return out.getvalue()
