"""The season's tables as files: CSV, a workbook, Parquet.

CSV and the workbook are made as the summary of a month is: no cell is taken for a formula, dates
are ISO dates, the CSV is UTF-8 with a byte-order mark. A workbook holds the tables that a
spreadsheet program opens with ease; the first sheet names those that are only in the other files.
"""

import io
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from functools import partial
from importlib.util import find_spec
from typing import Any

import numpy as np
import pandas as pd
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font

from loambrief.batch.summary import neutral, timeless
from loambrief.errors import LoambriefError

CSV, XLSX, PARQUET = FORMATS = ("csv", "xlsx", "parquet")
MOST_SHEET_ROWS, MOST_CELLS = 20_000, 1_000_000
"""Rows of a table and cells of all tables in the workbook; what is more, the longest tables
first, is only in the other files."""
CHUNK = 50_000
CONTENTS = "contents"


def table_files(tables: Mapping[str, pd.DataFrame], formats: Iterable[str],
                stem: str = "season") -> dict[str, Callable[[], bytes]]:
    """What makes each file, by its name.

    ``tables`` are as :meth:`loambrief.season.tables.SeasonTables.written` gives them, ``formats``
    of :data:`FORMATS`; Parquet needs pyarrow.
    """
    wanted = set(formats)
    if PARQUET in wanted and find_spec("pyarrow") is None:
        raise LoambriefError("Parquet needs pyarrow: pip install 'loambrief[parquet]'")
    made: dict[str, Callable[[], bytes]] = {}
    for name, table in tables.items():
        if CSV in wanted:
            made[f"{stem}-{name}.csv"] = partial(csv_bytes, table)
        if PARQUET in wanted:
            made[f"{stem}-{name}.parquet"] = partial(parquet_bytes, table)
    if XLSX in wanted:
        made[f"{stem}.xlsx"] = partial(workbook_bytes, tables)
    return made


def _plain(table: pd.DataFrame) -> pd.DataFrame:
    """Texts that no spreadsheet takes for formulas; categories are empty where there is none."""
    made: dict[Any, Any] = {}
    for name, column in table.items():
        if isinstance(column.dtype, pd.CategoricalDtype):
            texts = [neutral(str(text)) for text in column.cat.categories]
            made[name] = np.array([*texts, ""], dtype=object)[column.cat.codes.to_numpy()]
        elif pd.api.types.is_numeric_dtype(column) or pd.api.types.is_datetime64_dtype(column):
            made[name] = column
        else:
            made[name] = column.astype(object).map(neutral)
    return pd.DataFrame(made, index=table.index)


def csv_bytes(table: pd.DataFrame) -> bytes:
    """A table as CSV; what is not known is an empty cell."""
    out = io.StringIO()
    for start in range(0, max(len(table), 1), CHUNK):
        _plain(table.iloc[start:start + CHUNK]).to_csv(
            out, index=False, header=start == 0, lineterminator="\r\n", date_format="%Y-%m-%d",
            float_format="%.10g")
    return out.getvalue().encode("utf-8-sig")


def parquet_bytes(table: pd.DataFrame) -> bytes:
    """A table as Parquet: texts are dictionaries, dates are dates."""
    out = io.BytesIO()
    table.to_parquet(out, engine="pyarrow", index=False, compression="zstd")
    return out.getvalue()


def workbook_bytes(tables: Mapping[str, pd.DataFrame]) -> bytes:
    """A workbook of the tables that are not too long for one, with a sheet of contents."""
    kept = _short(tables)
    book = Workbook(write_only=True)
    first = book.create_sheet(CONTENTS)
    first.column_dimensions["A"].width = 16
    first.append(_heads(first, ("table", "rows", "in this workbook")))
    for name, table in tables.items():
        first.append([name, len(table), "yes" if name in kept
                      else "no: too long for a workbook; ask for csv or parquet"])
    for name in kept:
        table = tables[name]
        sheet = book.create_sheet(name)
        sheet.freeze_panes = "A2"
        sheet.append(_heads(sheet, table.columns))
        for row in _plain(table).astype(object).itertuples(index=False, name=None):
            sheet.append([_cell(value) for value in row])
    out = io.BytesIO()
    book.save(out)
    return timeless(out.getvalue())


def _short(tables: Mapping[str, pd.DataFrame]) -> list[str]:
    """Names of the tables that a workbook holds, in their order."""
    left, kept = MOST_CELLS, set()
    for name in sorted(tables, key=lambda name: tables[name].size):
        left -= tables[name].size
        if left >= 0 and len(tables[name]) <= MOST_SHEET_ROWS:
            kept.add(name)
    return [name for name in tables if name in kept]


def _heads(sheet: Any, names: Iterable[str]) -> list[Any]:
    made = []
    for name in names:
        cell = WriteOnlyCell(sheet, value=name)
        cell.font = Font(bold=True)
        made.append(cell)
    return made


def _cell(value: Any) -> object:
    """A value as a sheet holds it; None for what is not known."""
    if value is None or value == "" or (not isinstance(value, str) and pd.isna(value)):
        return None
    if isinstance(value, pd.Timestamp):
        return date(value.year, value.month, value.day)
    return value.item() if isinstance(value, np.generic) else value
