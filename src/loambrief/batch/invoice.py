"""Lines of an invoice, for the adviser's book-keeping: visits, hours, laboratory fees.

Visits and hours stand in a work log, a CSV file of the adviser's own beside the cases (a case
is frozen when its advisory is issued, and the client reads it)::

    date,case,kind,quantity,what,price
    2026-10-14,tarrow-east-40,visit,1,Sampling and readings,
    2026-10-15,tarrow-east-40,hours,2.5,Evaluation,90

Laboratory fees are counted from the samples of the cases. Prices are those of the line, else of
the table ``[fees]`` of the settings::

    [fees]
    currency = "USD"
    visit = 120          # each; hours = 85 an hour, travel = 0.7 a mile or km, other: each
    soil = 38            # laboratory fee a sample: soil, forage, water
    forage = 42
    water = 30

What has no price stays empty: it is not free. Only a price in the currency of the case counts.
"""

import csv
import datetime as dt
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from pathlib import Path

from loambrief.batch.summary import neutral
from loambrief.case.reader import decode, read_bytes
from loambrief.case.schema import CaseFile
from loambrief.errors import LoambriefError
from loambrief.resources import settings_table
from loambrief.settings import SettingsProblem, located

WORK = {"visit": "visit", "hours": "h", "travel": "", "other": ""}
"""Kinds of a work log and their units; travel is in what the adviser counts."""
FEES = ("soil", "forage", "water")
HEAD = ("date", "case", "kind", "quantity", "what", "price")
COLUMNS = ("client", "farm", "field", "case", "number", "date", "kind", "what", "quantity", "unit",
           "price", "amount", "currency")
CENT = Decimal("0.01")


class InvoiceFault(LoambriefError):
    """The work log has problems; all of them are in the text, with file and line."""

    exit_code = 1


@dataclass(frozen=True)
class Fees:
    """Prices by kind, in one currency."""

    currency: str = ""
    prices: Mapping[str, Decimal] = field(default_factory=dict)


@dataclass(frozen=True)
class Work:
    """A line of the work log."""

    date: dt.date
    case_id: str
    kind: str
    quantity: Decimal
    what: str
    price: Decimal | None


def load_fees(path: Path) -> Fees:
    """The table ``[fees]``.

    Raises
    ------
    SettingsProblem
        Unknown or wrong values: all at once.
    """
    table = settings_table(path, "fees", SettingsProblem)
    faults, prices = [], {}
    for key, value in table.items():
        if key == "currency":
            if not isinstance(value, str) or len(value) != 3 or not value.isupper():
                faults.append(f"currency: found {value!r}, wanted three letters such as USD")
        elif key not in (*WORK, *FEES):
            faults.append(f"{key}: unknown; known: currency, {', '.join((*WORK, *FEES))}")
        elif isinstance(value, bool) or not isinstance(value, int | float) or value < 0:
            faults.append(f"{key}: found {value!r}, wanted a price")
        else:
            prices[key] = Decimal(str(value))
    if prices and "currency" not in table:
        faults.append("currency: missing, wanted beside prices")
    if faults:
        raise SettingsProblem(located(path, "fees", faults))
    return Fees(str(table.get("currency", "")), prices)


def read_work(path: Path) -> tuple[Work, ...]:
    """The work log.

    Raises
    ------
    InvoiceFault
        Every line that is wrong.
    CaseProblems, OSError
        The file cannot be read.
    """
    rows = list(csv.reader(io.StringIO(decode(read_bytes(path), str(path)), newline="")))
    head = [name.strip().lower() for name in rows[0]] if rows else []
    if head != list(HEAD) and head != list(HEAD[:-1]):
        raise InvoiceFault(f"{path}:1: found {','.join(head)!r}, wanted {','.join(HEAD)!r}")
    faults: list[str] = []
    found = []
    for number, row in enumerate(rows[1:], 2):
        cells = dict(zip(head, (cell.strip() for cell in row), strict=False))
        if not any(cells.values()):
            continue
        wrong = list(_row_faults(cells))
        faults += [f"{path}:{number}: {text}" for text in wrong]
        if not wrong:
            price = cells.get("price")
            found.append(Work(dt.date.fromisoformat(cells["date"]), cells["case"], cells["kind"],
                              Decimal(cells["quantity"]), cells.get("what", ""),
                              Decimal(price) if price else None))
    if faults:
        raise InvoiceFault("\n".join(faults))
    return tuple(found)


def _row_faults(cells: Mapping[str, str]) -> Iterator[str]:
    try:
        dt.date.fromisoformat(cells.get("date", ""))
    except ValueError:
        yield f"date: found {cells.get('date', '')!r}, wanted a day such as 2026-10-14"
    if not cells.get("case"):
        yield "case: found nothing, wanted the id of a case"
    if cells.get("kind") not in WORK:
        yield f"kind: found {cells.get('kind', '')!r}, wanted one of {', '.join(WORK)}"
    for key in ("quantity", "price"):
        text = cells.get(key, "")
        try:
            good = Decimal(text).is_finite() and Decimal(text) >= 0 if text else key == "price"
        except InvalidOperation:
            good = False
        if not good:
            yield f"{key}: found {text!r}, wanted a number"


def invoice_lines(cases: Sequence[CaseFile], work: Sequence[Work], fees: Fees,
                  numbers: Mapping[str, str]) -> list[dict[str, str]]:
    """The lines, by client, farm, field and date.

    Parameters
    ----------
    numbers : mapping of str to str
        Advisory number of a case id, where it was issued.

    Raises
    ------
    InvoiceFault
        The work log names a case that is not among them.
    """
    known = {case.case.id: case for case in cases}
    strange = sorted({w.case_id for w in work if w.case_id not in known})
    if strange:
        raise InvoiceFault(f"the work log names no case of this run: {', '.join(strange)}")
    lines = [_line(known[w.case_id], fees, numbers, w.date, w.kind, w.what, w.quantity,
                   WORK[w.kind], w.kind, w.price) for w in work]
    for case in cases:
        soil = {(s.lab.report or "", s.id): s for s in case.samples}
        counts = {"soil": len(soil), "forage": sum(1 for f in case.forage if f.lab),
                  "water": int(case.water is not None and bool(case.water.lab))}
        for kind, count in counts.items():
            if count:
                lines.append(_line(case, fees, numbers, case.case.date, "laboratory",
                                   f"{kind} test", Decimal(count), "sample", kind, None))
    return sorted(lines, key=lambda one: tuple(one[k].casefold() for k in (
        "client", "farm", "field", "case", "date", "kind")))


def _line(case: CaseFile, fees: Fees, numbers: Mapping[str, str], date: dt.date, kind: str,
          what: str, quantity: Decimal, unit: str, fee: str,
          price: Decimal | None) -> dict[str, str]:
    currency = case.case.currency
    if price is None and fees.currency == currency:
        price = fees.prices.get(fee)
    amount = None if price is None else (price * quantity).quantize(CENT)
    values = (case.client.name, case.farm.name, case.field.name, case.case.id,
              numbers.get(case.case.id, ""), date.isoformat(), kind, what,
              f"{quantity.normalize():f}", unit, "" if price is None else f"{price:f}",
              "" if amount is None else f"{amount:f}", currency)
    return dict(zip(COLUMNS, values, strict=True))


def invoice_csv(lines: Sequence[Mapping[str, str]]) -> bytes:
    """The lines as CSV; no cell can be taken for a formula."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({k: neutral(v) for k, v in line.items()} for line in lines)
    return out.getvalue().encode("utf-8-sig")
