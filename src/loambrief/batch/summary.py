"""The cases of a run as a table, for a spreadsheet: ``summary.csv`` and ``summary.xlsx``.

Text from a case may begin like a formula. Such a cell gets an apostrophe in front, as the
OWASP page on CSV injection advises (it names ``=``, ``+``, ``-``, ``@``, tab, carriage return
and line feed, and the full-width forms of the signs); numbers stay numbers. The CSV file is
UTF-8 with a byte-order mark, without which a spreadsheet program takes it for another
encoding, and has the line ends of RFC 4180. Both files are the same bytes for the same cases.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import zipfile
from collections.abc import Callable, Sequence

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Alignment, Font

from loambrief.batch.documents import Entry
from loambrief.batch.figures import Figures
from loambrief.batch.folders import file_stem
from loambrief.numbers import shown

Value = str | int | float | dt.date | None
FORMULA_STARTS = tuple("=+-@\t\r\n＝＋－＠")
EPOCH = dt.datetime(1980, 1, 1)  # the earliest a zip archive can say
MOST_LETTERS = 32_000
"""A cell of a spreadsheet holds 32,767 characters."""
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
_MODIFIED = re.compile(rb"(<dcterms:(created|modified)[^>]*>)[^<]*")


def _date(text: str) -> dt.date | None:
    return dt.date.fromisoformat(text) if text else None


def _next_due(f: Figures) -> Value:
    return min((_date(d.day) for d in f.followups if d.day), default=None)


def _soonest(f: Figures) -> Value:
    return min((_date(t.ends) for t in f.tests), default=None)


COLUMNS: dict[str, Callable[[Figures], Value]] = {
    "client": lambda f: f.client,
    "farm": lambda f: f.farm,
    "region": lambda f: f.region,
    "field": lambda f: f.field,
    "crop": lambda f: f.crop,
    "area": lambda f: round(shown(f.area_ac, "ac", f.units)[0], 4),
    "area_unit": lambda f: shown(f.area_ac, "ac", f.units)[1],
    "case_date": lambda f: _date(f.date),
    "valid_until": lambda f: _date(f.valid_until),
    "limits": lambda f: len(f.limits),
    "worst_limit": lambda f: f.limits[0].title if f.limits else "",
    "first_action": lambda f: f.first_action,
    "actions": lambda f: f.actions,
    "actions_covered": lambda f: f.chosen,
    "currency": lambda f: f.currency,
    "plan_cost": lambda f: round(f.spent, 2),
    "budget": lambda f: f.budget,
    "actions_waiting": lambda f: f.waiting,
    "waiting_cost": lambda f: round(f.waiting_cost, 2),
    "actions_without_price": lambda f: f.unpriced,
    "not_measured": lambda f: f.missing,
    "next_follow_up": _next_due,
    "first_test_old": _soonest,
}
"""Columns that come from the figures of a case, after ``case_id`` and ``status``."""
HEAD = ("case_id", "status", *COLUMNS, "pdf", "warnings", "problems", "case_file")
MONEY = frozenset(("plan_cost", "budget", "waiting_cost"))
MADE, FAILED, LATE = "made", "failed", "timed out"


def summary_rows(entries: Sequence[Entry]) -> list[tuple[Value, ...]]:
    """One row a case, by client, field and id; failed ones last.

    Parameters
    ----------
    entries : sequence of Entry

    Returns
    -------
    list of tuple
        In the order of ``HEAD``. Whether a case was made now or stood from before is not
        told, so that a second run gives the same table.
    """
    return [_row(entry) for entry in sorted(entries, key=_order)]


def _order(entry: Entry) -> tuple:
    f = entry.figures
    if f is None:
        return (1, "", "", "", entry.name)
    return (0, f.client.casefold(), f.field.casefold(), f.case_id, entry.name)


def _row(entry: Entry) -> tuple[Value, ...]:
    f, o = entry.figures, entry.outcome
    if f is None:
        blank: list[Value] = [None] * len(COLUMNS)
        blank[0] = o.client
        status = o.status.value
        return (o.case_id, status, *blank, None, len(o.warnings), reason(o.problems), entry.name)
    pdf = f"{entry.folder}/{file_stem(f.case_id)}.pdf"
    return (f.case_id, MADE, *(column(f) for column in COLUMNS.values()), pdf,
            len(o.warnings), "", entry.name)


def reason(problems: Sequence[str]) -> str:
    """Problems on one line: the first line of each."""
    return "; ".join(p.splitlines()[0] for p in problems if p)


def neutral(text: str) -> str:
    """Text that no spreadsheet takes for a formula, without characters no sheet can hold."""
    text = _CONTROL.sub("", text)[:MOST_LETTERS]
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def summary_csv(rows: Sequence[Sequence[Value]]) -> bytes:
    """The rows as CSV."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(HEAD)
    for row in rows:
        writer.writerow([_plain(value) for value in row])
    return out.getvalue().encode("utf-8-sig")


def _plain(value: Value) -> str | int | float:
    if value is None:
        return ""
    if isinstance(value, str):
        return neutral(value)
    return value.isoformat() if isinstance(value, dt.date) else value


def summary_xlsx(rows: Sequence[Sequence[Value]], entries: Sequence[Entry]) -> bytes:
    """The rows as a workbook, with a sheet of the failures if there are any."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet("summary")
    sheet.freeze_panes = "C2"
    widths = _widths(rows)
    for number, width in enumerate(widths):
        sheet.column_dimensions[_letter(number)].width = width
    sheet.append([_cell(sheet, name, bold=True) for name in HEAD])
    for row in rows:
        sheet.append([_cell(sheet, value, money=name in MONEY)
                      for name, value in zip(HEAD, row, strict=True)])
    sheet.auto_filter.ref = f"A1:{_letter(len(HEAD) - 1)}{len(rows) + 1}"
    bad = [e for e in sorted(entries, key=_order) if not e.outcome.status.good]
    if bad:
        _failures(book, bad)
    out = io.BytesIO()
    book.save(out)
    return timeless(out.getvalue())


def _failures(book: Workbook, bad: Sequence[Entry]) -> None:
    sheet = book.create_sheet("failures")
    sheet.freeze_panes = "A2"
    for letter, width in zip("ABC", (44, 24, 110), strict=True):
        sheet.column_dimensions[letter].width = width
    sheet.append([_cell(sheet, name, bold=True) for name in ("case_file", "status", "problem")])
    for entry in bad:
        for problem in entry.outcome.problems or ("",):
            sheet.append([_cell(sheet, entry.name), _cell(sheet, entry.outcome.status.value),
                          _cell(sheet, problem)])


def _cell(sheet, value: Value, *, bold: bool = False, money: bool = False) -> WriteOnlyCell:
    text = isinstance(value, str)
    cell = WriteOnlyCell(sheet, neutral(value) if text else value)
    if text:
        cell.data_type = "s"  # also where it looks like something else
        cell.alignment = Alignment(vertical="top", wrap_text="\n" in value)
    if bold:
        cell.font = Font(bold=True)
    if isinstance(value, dt.date):
        cell.number_format = "yyyy-mm-dd"
    elif money:
        cell.number_format = "#,##0.00"
    return cell


def _widths(rows: Sequence[Sequence[Value]]) -> list[int]:
    """Column widths by content, none too wide to read."""
    widths = [len(name) + 2 for name in HEAD]
    for row in rows[:200]:
        for number, value in enumerate(row):
            widths[number] = max(widths[number], min(len(str(_plain(value))) + 1, 44))
    return widths


def _letter(number: int) -> str:
    """Name of a column counted from 0."""
    return (chr(64 + number // 26) if number >= 26 else "") + chr(65 + number % 26)


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
