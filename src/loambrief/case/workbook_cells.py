"""One value of a case as a cell of a workbook, and a cell as a value again.

A number stays a number, with the decimals that were typed; where a cell cannot say the same, it
holds the text. A number in a column of quantities has the unit that its heading shows.
"""

import datetime as dt
import re
from dataclasses import dataclass
from decimal import Decimal

from openpyxl.utils.escape import unescape

from loambrief.case.fields import Leaf, ValueKind
from loambrief.case.reader import UNWANTED
from loambrief.case.scalars import NotFinite, as_written, resolve
from loambrief.errors import ImpossibleInput
from loambrief.units import split_number

AS_TEXT, AS_DATE = "@", "yyyy-mm-dd"
NOT_READ = "-"
"""In a row of readings: none was taken here."""
EARLIEST = dt.date(1900, 3, 1)
"""Spreadsheets disagree about the days before."""
_PLAIN = re.compile(r"-?(?:0|[1-9][0-9]*)(?:\.([0-9]+))?\Z")
_FORMAT = re.compile(r"#?(?:,##)?0(?:\.(0+))?\Z")
_ESCAPED = re.compile(r"_x(?=[0-9A-Fa-f]{4}_)")
MOST_DIGITS = 12
"""Digits of a number that every spreadsheet keeps."""


@dataclass(frozen=True)
class CellValue:
    """What a cell holds and how it shows it; ``None`` leaves it empty."""

    value: object
    shown_as: str = AS_TEXT


@dataclass(frozen=True)
class NotAValue(Exception):
    """A cell that says nothing a case could hold."""

    found: str
    wanted: str
    help: str = ""


def unit_of(value: object, leaf: Leaf) -> str:
    """The accepted unit that a quantity was typed with, if a number beside it says the same."""
    if leaf.kind is not ValueKind.QUANTITY or not isinstance(value, str):
        return ""
    number, _, unit = value.partition(" ")
    try:
        split = split_number(number)
    except ImpossibleInput:
        return ""
    return unit if unit in leaf.units and not split[2] else ""


def cell_of(value: object, leaf: Leaf, unit: str = "") -> CellValue:
    """The cell that shows a value as the case holds it; None is a reading not taken.

    Quantities in the ``unit`` of the column are written as numbers.
    """
    if value is None:
        return CellValue(NOT_READ)
    if isinstance(value, bool):
        return CellValue(value, "General") if leaf.kind is ValueKind.TRUTH else CellValue(
            str(value).lower())
    text = str(as_written(value))
    if leaf.kind is ValueKind.DATE:
        return _date(text)
    if leaf.kind in (ValueKind.NUMBER, ValueKind.WHOLE) and not isinstance(value, str):
        return _number(text)
    if leaf.kind is ValueKind.QUANTITY and unit and unit_of(value, leaf) == unit:
        return _number(text.partition(" ")[0])
    return CellValue(_safe(text))


def _date(text: str) -> CellValue:
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        return CellValue(_safe(text))
    if day < EARLIEST or day.isoformat() != text:
        return CellValue(_safe(text))
    return CellValue(day, AS_DATE)


def _number(text: str) -> CellValue:
    match = _PLAIN.match(text)
    if match is None or text.startswith("-0") or len(text.strip("-").replace(".", "")
                                                     ) > MOST_DIGITS:
        return CellValue(text)
    decimals = match[1]
    return CellValue(float(text) if decimals else int(text),
                     f"0.{'0' * len(decimals)}" if decimals else "0")


def _safe(text: str) -> str:
    """Text with what a sheet would read as an escape, or cannot hold, escaped."""
    return _ESCAPED.sub("_x005F_x", text).replace("\r", "_x000D_")


def value_of(value: object, shown_as: str, leaf: Leaf, unit: str) -> object:
    """The value that a filled cell stands for, as the reader of YAML would give it.

    Whether it is right is judged with the case. ``value`` is never a formula, ``shown_as`` is the
    cell's number format, ``unit`` as the heading shows it; may be empty.

    Raises
    ------
    NotAValue
        It cannot be read.
    """
    if isinstance(value, bool):
        return value if leaf.kind is ValueKind.TRUTH else str(value).lower()
    if isinstance(value, dt.datetime | dt.date):
        return _day(value, leaf)
    if isinstance(value, dt.time) and leaf.kind is ValueKind.TEXT:
        return value.strftime("%H:%M")
    if isinstance(value, int | float):
        text = _as_shown(value, shown_as)
        if leaf.kind is ValueKind.QUANTITY:
            percent = "%" in shown_as
            if percent and unit and unit not in ("%", "percent"):
                raise NotAValue(f"a percentage in a column of {unit}", f"a number in {unit}")
            unit = "%" if percent and "%" in leaf.units else unit
            return f"{text} {unit}" if unit else resolve(text)
        return resolve(text) if leaf.kind in (ValueKind.NUMBER, ValueKind.WHOLE) else text
    if isinstance(value, str):
        return _text(unescape(value), leaf, unit)
    raise NotAValue(f"a {type(value).__name__}", "a number, a date or text")


def _day(value: dt.datetime | dt.date, leaf: Leaf) -> str:
    day = value.date() if isinstance(value, dt.datetime) else value
    if leaf.kind is not ValueKind.DATE:
        raise NotAValue(f"the date {day.isoformat()}", leaf.meaning,
                        "A spreadsheet turns 0-6 or 3/4 into a date: set the cell's format to "
                        "text and type it again.")
    return day.isoformat()


def _as_shown(value: float, shown_as: str) -> str:
    """A number with at least the decimals that its format shows."""
    number = Decimal(format(value, f".{MOST_DIGITS}g"))
    if "%" in shown_as:
        number *= 100
        shown_as = ""
    match = _FORMAT.match(shown_as)
    wanted = len(match[1]) if match and match[1] else 0
    text = format(number, "f")
    if "." in text:
        text = text.rstrip("0").removesuffix(".")
    short = wanted - len(text.partition(".")[2])
    return text + ("." if "." not in text and short > 0 else "") + "0" * max(short, 0)


def _text(text: str, leaf: Leaf, unit: str) -> object:
    bad = UNWANTED.search(text)
    if bad:
        raise NotAValue(f"character U+{ord(bad[0]):04X}", "plain text",
                        "It is invisible in most programs: type the cell again.")
    tidy = text.strip()
    if leaf.gaps and tidy == NOT_READ:
        return None
    if leaf.kind is ValueKind.QUANTITY:
        return _with_unit(text, unit)
    if leaf.kind in (ValueKind.NUMBER, ValueKind.WHOLE, ValueKind.TRUTH):
        try:
            return resolve(tidy)
        except NotFinite:
            raise NotAValue(repr(tidy[:60]), "a finite number") from None
    return text


def _with_unit(text: str, unit: str) -> object:
    try:
        typed = split_number(text)[2]
    except ImpossibleInput:
        return text
    return f"{text} {unit}" if unit and not typed else text
