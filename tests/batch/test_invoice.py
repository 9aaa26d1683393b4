"""Invoice lines: work log, laboratory fees, and nothing priced that has no price."""

import csv
import io
from decimal import Decimal
from pathlib import Path

import pytest
from click.testing import CliRunner

from loambrief.batch.invoice import Fees, InvoiceFault, invoice_csv, invoice_lines, read_work
from loambrief.case.load import load_case
from loambrief.cli import main

CASE = Path(__file__).parents[2] / "sample_inputs" / "acid_corn_ohio" / "case.yaml"
LOG = """date,case,kind,quantity,what,price
2026-10-14,tarrow-east-40,visit,1,Sampling,
2026-10-15,tarrow-east-40,hours,2.5,=Evaluation,90
"""
FEES = '[fees]\ncurrency = "USD"\nvisit = 120\nhours = 85\nsoil = 38.5\n'


def rows(content):
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def test_lines_of_a_month(tmp_path):
    """ensures that visits, hours and fees are priced by line, then by table, in the case's money.

    Amounts worked by hand: 1 x 120, 2.5 x 90 (the line's own price), 2 samples x 38.50.
    """
    (tmp_path / "work.csv").write_text(LOG)
    (tmp_path / "s.toml").write_text(FEES)
    out = tmp_path / "lines.csv"
    done = CliRunner().invoke(main, ["invoice", str(CASE), "--work", str(tmp_path / "work.csv"),
                                     "--settings", str(tmp_path / "s.toml"), "-o", str(out)])
    assert done.exit_code == 0 and "3 lines\n" in done.output
    found = rows(out.read_bytes())
    assert [(r["kind"], r["quantity"], r["unit"], r["amount"], r["currency"]) for r in found] == [
        ("laboratory", "2", "sample", "77.00", "USD"), ("visit", "1", "visit", "120.00", "USD"),
        ("hours", "2.5", "h", "225.00", "USD")]
    assert found[2]["what"] == "'=Evaluation"  # no formula for a spreadsheet
    assert {r["case"] for r in found} == {"tarrow-east-40"}


def test_what_has_no_price_is_not_free():
    """ensures that a missing price, or one in other money, leaves the amount empty."""
    case = load_case(CASE).case
    for fees in (Fees(), Fees("EUR", {"soil": Decimal(40)})):
        (line,) = invoice_lines([case], (), fees, {"tarrow-east-40": "IV-2026-0001"})
        assert (line["amount"], line["number"]) == ("", "IV-2026-0001")
        assert rows(invoice_csv([line]))[0]["price"] == ""


@pytest.mark.parametrize("log, said", [
    ("date,case\n", ":1: found 'date,case'"),
    (LOG + "2026-13-01,tarrow-east-40,lunch,x,,-1\n", ":4: date: found '2026-13-01'"),
    (LOG + "2026-13-01,tarrow-east-40,lunch,x,,-1\n", ":4: kind: found 'lunch'"),
    (LOG + "2026-13-01,tarrow-east-40,lunch,x,,-1\n", ":4: quantity: found 'x'"),
    (LOG + "2026-10-01,tarrow-east-40,visit,1,,-1\n", ":4: price: found '-1'"),
    (LOG + "2026-10-01,,visit,,,\n", ":4: case: found nothing"),
])
def test_every_fault_of_a_work_log_names_its_line(tmp_path, log, said):
    """ensures that nothing of a log is passed over."""
    path = tmp_path / "work.csv"
    path.write_text(log)
    with pytest.raises(InvoiceFault) as error:
        read_work(path)
    assert f"{path}{said}" in str(error.value)


def test_work_for_a_case_that_is_not_there(tmp_path):
    """ensures that work on a misspelt case is told, not lost."""
    path = tmp_path / "work.csv"
    path.write_text(LOG.replace("tarrow-east-40,hours", "tarow,hours"))
    with pytest.raises(InvoiceFault, match="tarow"):
        invoice_lines([load_case(CASE).case], read_work(path), Fees(), {})
