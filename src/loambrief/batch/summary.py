"""The cases of a run as a table, for a spreadsheet: ``summary.csv`` and ``summary.xlsx``.

Text from a case may begin like a formula. Such a cell gets an apostrophe in front, as the
OWASP page on CSV injection advises (it names ``=``, ``+``, ``-``, ``@``, tab, carriage return
and line feed, and the full-width forms of the signs); numbers stay numbers. The CSV file is
UTF-8 with a byte-order mark, without which a spreadsheet program takes it for another
encoding, and has the line ends of RFC 4180. Both files are the same bytes for the same cases.
"""

import datetime as dt
import io
import re
from collections.abc import Sequence

import pandas as pd
from openpyxl.styles import Alignment, Border, Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from loambrief.batch.case_tables import CaseTables
from loambrief.batch.folder_names import file_stem
from loambrief.batch.request import CaseEntry
from loambrief.case.workbook_write import timeless
from loambrief.numbers import shown

FORMULA_STARTS = tuple("=+-@\t\r\n＝＋－＠")
MOST_LETTERS = 32_000
"""A cell of a spreadsheet holds 32,767 characters."""
MADE = "made"
HEAD = (
    "case_id", "status", "client", "farm", "region", "field", "crop", "area", "area_unit",
    "case_date", "valid_until", "limits", "worst_limit", "first_action", "actions",
    "actions_covered", "currency", "plan_cost", "budget", "actions_waiting", "waiting_cost",
    "actions_without_price", "not_measured", "next_follow_up", "first_test_old", "pdf", "warnings",
    "problems", "case_file",
)
COLUMN = {"date": "case_date", "chosen": "actions_covered", "spent": "plan_cost",
          "waiting": "actions_waiting", "unpriced": "actions_without_price",
          "missing": "not_measured"}
"""Columns that bear another name than the figure they show."""
MONEY = frozenset(("plan_cost", "budget", "waiting_cost"))
WIDEST, FAILURE_WIDTHS = 44, (44, 24, 110)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")


def summary_table(entries: Sequence[CaseEntry]) -> pd.DataFrame:
    """One row a case, by client, field and id; failed ones last.

    Whether a case was made now or stood from before is not told, so that a second run gives
    the same table. The columns are ``HEAD``.
    """
    ordered = sorted(entries, key=_order)
    good = [(e, e.figures) for e in ordered if e.figures is not None]
    tables = CaseTables.of([figures for _, figures in good])
    made = tables.cases.rename(columns=COLUMN)
    areas = [shown(f.area_ac, "ac", f.units) for _, f in good]
    limits = tables.limits.groupby("case")["title"]
    made = made.assign(
        status=MADE, area=[round(area, 4) for area, _ in areas], area_unit=[u for _, u in areas],
        limits=limits.size().reindex(made.index, fill_value=0), worst_limit=limits.first(),
        next_follow_up=tables.checks.groupby("case")["day"].min(),
        first_test_old=tables.tests.groupby("case")["ends"].min(),
        pdf=[f"{e.folder}/{file_stem(f.case_id)}.pdf" for e, f in good], problems="",
    ).round({"plan_cost": 2, "waiting_cost": 2})
    counts = made.select_dtypes("int64").columns
    bad = ordered[len(good):]
    failed = pd.DataFrame({
        "case_id": [e.outcome.case_id for e in bad], "client": [e.outcome.client for e in bad],
        "status": [e.outcome.status.value for e in bad],
        "problems": [reason(e.outcome.problems) for e in bad]}, dtype="string")
    table = pd.concat([made, failed], ignore_index=True) if bad else made
    return table.astype(dict.fromkeys(counts, "Int64")).assign(
        warnings=[len(e.outcome.warnings) for e in ordered],
        case_file=[e.name for e in ordered]).reindex(columns=list(HEAD))


def _order(entry: CaseEntry) -> tuple:
    f = entry.figures
    if f is None:
        return (1, "", "", "", entry.name)
    return (0, f.client.casefold(), f.field.casefold(), f.case_id, entry.name)


def reason(problems: Sequence[str]) -> str:
    """Problems on one line: the first line of each."""
    return "; ".join(p.splitlines()[0] for p in problems if p)


def neutral(text: object) -> object:
    """Text that no spreadsheet takes for a formula, without characters no sheet can hold."""
    if not isinstance(text, str):
        return text
    text = _CONTROL.sub("", text)[:MOST_LETTERS]
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def summary_csv(table: pd.DataFrame) -> bytes:
    """The table of :func:`summary_table` as CSV."""
    return table.map(neutral).to_csv(index=False, lineterminator="\r\n",
                                     date_format="%Y-%m-%d").encode("utf-8-sig")


def summary_xlsx(table: pd.DataFrame, entries: Sequence[CaseEntry]) -> bytes:
    """The table as a workbook, with a sheet of the failures if there are any."""
    failures = pd.DataFrame(
        [(e.name, e.outcome.status.value, problem) for e in sorted(entries, key=_order)
         if not e.outcome.status.good for problem in e.outcome.problems or ("",)],
        columns=["case_file", "status", "problem"])
    widths = [max(len(name) + 2, min(longest + 1, WIDEST)) for name, longest in zip(
        HEAD, table[:200].map(lambda value: len(str(value))).max().fillna(0), strict=True)]
    out = io.BytesIO()
    with pd.ExcelWriter(out, engine="openpyxl") as book:
        _sheet(book, "summary", table, widths, (1, 2))
        book.sheets["summary"].auto_filter.ref = book.sheets["summary"].dimensions
        if len(failures):
            _sheet(book, "failures", failures, FAILURE_WIDTHS, (1, 0))
    return timeless(out.getvalue())


def _sheet(book: pd.ExcelWriter, name: str, table: pd.DataFrame, widths: Sequence[int],
           freeze: tuple[int, int]) -> None:
    table.map(neutral).to_excel(book, sheet_name=name, index=False, freeze_panes=freeze)
    sheet: Worksheet = book.sheets[name]
    for number, (column, width) in enumerate(zip(sheet.iter_cols(), widths, strict=True), 1):
        head, *cells = column
        head.font, head.border, head.alignment = Font(bold=True), Border(), Alignment("left")
        sheet.column_dimensions[get_column_letter(number)].width = width
        for cell in cells:
            if cell.value == "":
                cell.value = None
            elif isinstance(cell.value, str):
                cell.data_type = "s"  # also where it looks like something else
                cell.alignment = Alignment(vertical="top", wrap_text="\n" in cell.value)
            elif isinstance(cell.value, dt.date):
                cell.number_format = "yyyy-mm-dd"
            elif head.value in MONEY:
                cell.number_format = "#,##0.00"
