"""One cell of a lab's file to one value, by the mapping's rules. Nothing is guessed: what cannot
be taken over raises :class:`NotAResult`."""

import datetime as dt
import math
import re

from pydantic import TypeAdapter, ValidationError

from loambrief.case import quantities as q
from loambrief.case.intake_kinds import fold_unit
from loambrief.case.intake_map import (
    DATES,
    MARKS,
    ResultPart,
    TablePart,
    conversion,
    has_unit,
    value_fault,
)
from loambrief.case.intake_read import Cell
from loambrief.case.quantities import show
from loambrief.case.yaml_edit import Value
from loambrief.units import split_number

DEPTH = TypeAdapter(q.DepthRange)
LONGEST_DIGITS = 15
_PLAIN = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)(e[+-]?\d{1,3})?\Z", re.IGNORECASE)
_DEPTH = re.compile(
    r"(?P<top>\d+(?:[.,]\d+)?)\s*(?:-|–|—|to|/)\s*(?P<bottom>\d+(?:[.,]\d+)?)\s*"
    r"(?P<unit>\"|''|″|in\.?|inch|inches|cm|mm|ft)?\Z", re.IGNORECASE)
_INCH = {'"': "in", "''": "in", "″": "in", "in.": "in", "inch": "in", "inches": "in"}
_SIGNS = {"<": "<", ">": ">", "≤": "<", "≥": ">", "<=": "<", ">=": ">"}


class NotAResult(ValueError):
    """A cell that cannot be taken over; carries the words of the problem."""

    def __init__(self, code: str, found: str, wanted: str, help: str = ""):
        super().__init__(code, found, wanted, help)
        self.code, self.found, self.wanted, self.help = code, found, wanted, help


def is_missing(cell: Cell, table: TablePart) -> bool:
    """True for a blank cell and for the mapping's words for "not measured"."""
    return not cell.text or cell.text.lower() in {m.lower() for m in table.missing}


def number_text(cell: Cell, table: TablePart) -> tuple[str, str, str]:
    """Limit sign, number with a decimal point, and what follows it: ``("<", "0.5", "ppm")``.

    Digits stay as the lab gave them; a workbook's own numbers need no marks.

    Raises
    ------
    NotAResult
        A formula, text, or a number by other marks than the mapping's.
    """
    if cell.kind == "formula":
        raise NotAResult("CASE063", f"the formula {show(cell.text)}", "a number",
                         "Formulas are not worked out: save the sheet with values.")
    if cell.kind in ("date", "other"):
        raise NotAResult("CASE063", f"{show(cell.text)}, which the sheet holds as a {cell.kind}",
                         "a number")
    match = re.match(r"(?P<sign><=|>=|[<>≤≥])?\s*(?P<number>[+-]?[\d.,' \u2019]*\d[.,]?"
                     r"(?:[eE][+-]?\d{1,3})?)\s*(?P<rest>.*)\Z", cell.text)
    if match is None:
        raise NotAResult("CASE063", show(cell.text), "a number",
                         "If it stands for 'not measured' or 'not detected', name it under "
                         "table.missing or table.not_detected.")
    number, rest = match["number"], match["rest"].strip()
    if cell.kind != "number":
        number = _point(number, cell.text, table)
    if not _PLAIN.match(number) or abs(float(number)) == float("inf"):
        raise NotAResult("CASE063", show(cell.text), "a finite number")
    if len(re.sub(r"\D", "", number)) > LONGEST_DIGITS:
        raise NotAResult("CASE063", show(cell.text), f"at most {LONGEST_DIGITS} digits")
    if rest and rest.lower() in {r.lower() for r in table.ratings}:
        rest = ""
    return _SIGNS[match["sign"]] if match["sign"] else "", number, rest


def _point(number: str, typed: str, table: TablePart) -> str:
    decimal = MARKS[table.decimal]
    thousands = MARKS[table.thousands]
    whole, mark, fraction = number.partition(decimal)
    if thousands:
        group = re.escape(thousands)
        if thousands == "'":
            group = "['\u2019]"
        if re.fullmatch(rf"[+-]?\d{{1,3}}({group}\d{{3}})+", whole):
            whole = re.sub(group, "", whole)
    if re.fullmatch(r"[+-]?\d*", whole) and re.fullmatch(r"\d*([eE][+-]?\d{1,3})?", fraction):
        return whole + ("." if mark else "") + fraction
    raise NotAResult(
        "CASE063", show(typed),
        f"a number with decimal {table.decimal} and "
        + (f"thousands {table.thousands}" if thousands else "no thousands mark"),
        "See table.decimal and table.thousands in the mapping.")


def qualified(cell: Cell, qualifier: Cell, table: TablePart) -> Cell:
    """A result with the sign that stands in a column of its own.

    ``<`` and ``>`` go in front of the number; one of ``table.not_detected`` makes it a limit (or
    stands for it, where there is no number); one of ``table.ratings`` says nothing. What another
    qualifier means is not guessed.
    """
    sign = qualifier.text.lower()
    if not sign or sign == "=" or sign in {r.lower() for r in table.ratings}:
        return cell
    below = sign in {n.lower() for n in table.not_detected}
    if below and is_missing(cell, table):
        return qualifier
    if is_missing(cell, table):
        return cell
    if below or sign in _SIGNS:
        return Cell(("<" if below else qualifier.text) + cell.text.lstrip("<> "), cell.kind)
    raise NotAResult("CASE063", f"the qualifier {show(qualifier.text)}", "<, > or nothing",
                     "Name it under table.not_detected if it means below the limit, under "
                     "table.ratings if it says nothing about the number.")


def mean_of(values: list[Value], what: str) -> Value:
    """Mean of repeated results of one unit, with their spread as a remark.

    A limit is refused: a mean of it would be made up.
    """
    typed = [v.text for v in values]
    parts = [split_number(text) for text in typed]
    if any(censor for censor, _, _ in parts) or len({unit for _, _, unit in parts}) > 1:
        raise NotAResult("CASE064", " and ".join(typed), f"numbers of one unit for the mean {what}",
                         "A limit has no mean: keep the first or the last, or ask the laboratory.")
    numbers = [n for _, n, _ in parts]
    mean = f"{math.fsum(numbers) / len(numbers):.5g} {parts[0][2]}".strip()
    spread = f"{max(numbers) - min(numbers):.4g} {parts[0][2]}".strip()
    return Value(mean, values[0].plain,
                 f"mean of {len(numbers)}: {', '.join(typed)}; spread {spread}")


def read_result(cell: Cell, result: ResultPart, table: TablePart,
                row_unit: str | None = None) -> Value | None:
    """The value of a result cell, or None if it was not measured.

    ``row_unit`` is the unit named by the row of a long table; it must be the mapping's.
    """
    if is_missing(cell, table):
        return None
    if cell.kind == "text" and cell.text.lower() in {n.lower() for n in table.not_detected}:
        if result.detection_limit is None:
            raise NotAResult("CASE063", show(cell.text), "the limit it lies below",
                             "Add detection_limit to this result in the mapping.")
        sign, number, rest = "<", f"{result.detection_limit:.12g}", ""
    else:
        sign, number, rest = number_text(cell, table)
    _same_unit(rest, result, cell)
    if row_unit is not None:
        _same_unit(row_unit, result, Cell(row_unit))
    if not has_unit(result.to):
        return _number_without_unit(sign, number, result, cell)
    unit, factor = conversion(result.to, result.unit or "", result.form) or ("", 1.0)
    text, comment = f"{sign}{number} {unit}", ""
    if factor != 1.0:
        text = f"{sign}{float(number) * factor:.6g} {unit}"
        comment = " ".join(f"lab: {sign}{number} {result.unit} {result.form or ''}".split())
    fault = value_fault(result.to, text)
    if fault:
        raise NotAResult(fault.code, show(cell.text), fault.wanted, fault.help)
    return Value(text, comment=comment)


def _same_unit(found: str, result: ResultPart, cell: Cell) -> None:
    if found and fold_unit(found) != fold_unit(result.unit or ""):
        wanted = f"a number in {result.unit}" if result.unit else "a number without unit"
        raise NotAResult("CASE063", show(cell.text), wanted,
                         "A rating after the number goes under table.ratings; another unit needs "
                         "its own entry.")


def _number_without_unit(sign: str, number: str, result: ResultPart, cell: Cell) -> Value:
    if sign:
        raise NotAResult("CASE063", show(cell.text), f"a {result.to} as a number",
                         "A case holds no pH that is only a limit.")
    fault = value_fault(result.to, float(number))
    if fault:
        raise NotAResult(fault.code, show(cell.text), fault.wanted, fault.help)
    return Value(number, plain=True)


def read_depth(cell: Cell, unit: str | None) -> tuple[float, float, str]:
    """A slice such as ``0-6``, ``0 to 6 in`` or ``0–15 cm``, as (top, bottom, text).

    ``unit`` is the mapping's, which the cell must not contradict.
    """
    if cell.kind == "date":
        raise NotAResult("CASE065", f"the date {cell.text}", 'a slice such as "0-6"',
                         "The spreadsheet took the depth for a date; format the column as text.")
    match = _DEPTH.match(cell.text)
    if not match or cell.kind == "formula":
        raise NotAResult("CASE065", show(cell.text) if cell.text else "nothing",
                         'a slice such as "0-6 in"')
    own = match["unit"].lower() if match["unit"] else None
    own = _INCH.get(own, own) if own else None
    if own and unit and own != unit:
        raise NotAResult("CASE065", show(cell.text), f"a slice in {unit}",
                         "The mapping's sample.depth.unit says otherwise.")
    if not (own or unit):
        raise NotAResult("CASE065", show(cell.text), "a slice with its unit",
                         "Add sample.depth.unit to the mapping.")
    return depth_of(match["top"], match["bottom"], own or unit or "")


def depth_of(top: str, bottom: str, unit: str) -> tuple[float, float, str]:
    """A checked slice from its two ends."""
    text = f"{_short(top)}-{_short(bottom)} {unit}"
    try:
        return DEPTH.validate_python(text)
    except ValidationError as error:
        about = error.errors(include_url=False)[0]["ctx"]
        raise NotAResult("CASE065", about["found"], about["wanted"]) from None


def _short(number: str) -> str:
    number = number.replace(",", ".")
    return number.rstrip("0").rstrip(".") if "." in number else number


def read_date(cell: Cell, pattern: str) -> str:
    """A date in the mapping's order, as YYYY-MM-DD."""
    text = cell.text
    if cell.kind == "date":
        return text
    try:
        return dt.datetime.strptime(text, DATES[pattern]).date().isoformat()
    except ValueError:
        raise NotAResult("CASE028", show(text) if text else "nothing", f"a date as {pattern}",
                         "table.dates in the mapping says how dates are written.") from None
