"""The table of a batch: complete, safe in a spreadsheet, the same bytes each time."""

import csv
import datetime as dt
import io
import itertools
import time
import zipfile
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from batch_fakes import figures, work_and_tell
from hypothesis import given
from hypothesis import strategies as st

from loambrief.batch.figures import DueCheck, LabTest, LimitingFactor
from loambrief.batch.pool import Pool
from loambrief.batch.request import CaseEntry
from loambrief.batch.summary import HEAD, neutral, summary_csv, summary_table, summary_xlsx
from loambrief.batch.work import CaseOutcome, CaseStatus, Task


def entry(number, case_id="a", client="Ash Lane Farm", status=CaseStatus.DONE, problems=(),
          **changes):
    outcome = CaseOutcome(number, f"in/{case_id}.yaml", status, case_id, client,
                          figures=figures(case_id, client, **changes), problems=problems)
    return CaseEntry(outcome, "ash-lane-farm", f"../in/{case_id}.yaml")


def by_name(table):
    assert tuple(table) == HEAD
    return table.to_dict("records")


def test_rows_and_order():
    """ensures one row a case: made and unchanged ones alike, by client and field, failed last."""
    rows = by_name(summary_table([
        entry(0, "z", status=CaseStatus.FAILED,
              problems=("in/z.yaml:3:1: CASE020 x\n   3 | x", "b")),
        entry(1, "b", client="Birch"), entry(2, "a", status=CaseStatus.SKIPPED),
        entry(3, "t", status=CaseStatus.TIMED_OUT, problems=("too slow",))]))
    assert [(r["case_id"], r["status"]) for r in rows] == [
        ("a", "made"), ("b", "made"), ("t", "timed out"), ("z", "failed")]
    first, failed = rows[0], rows[3]
    assert first["plan_cost"] == 948.0 and first["waiting_cost"] == 700.0
    assert first["next_follow_up"] == dt.datetime(2027, 10, 14)
    assert first["first_test_old"] == dt.datetime(2029, 9, 21)
    assert first["pdf"] == "ash-lane-farm/a.pdf"
    assert failed["problems"] == "in/z.yaml:3:1: CASE020 x; b" and pd.isna(failed["plan_cost"])


def test_reader_units():
    """ensures that areas stand in the reader's units, named beside them."""
    row = by_name(summary_table([entry(0, units="si", area_ac=100.0)]))[0]
    assert row["area_unit"] == "ha"
    assert row["area"] == pytest.approx(40.4686, abs=1e-4)  # 1 acre = 0.404 686 ha (NIST SP 811)


# OWASP ASVS 5.0, requirement 1.2.10 and OWASP "CSV Injection": signs a cell may not begin with
STARTS = ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx", "\nx", "＝1", "＋1", "－1", "＠x", "\x00=1"]


def test_formulas_are_neutralised():
    """ensures that text from a case can be no formula, in both files."""
    assert all(neutral(text).startswith("'") for text in STARTS)
    rows = summary_table([entry(n, field=text, client=text) for n, text in enumerate(STARTS)])
    read = list(csv.DictReader(io.StringIO(summary_csv(rows).decode("utf-8-sig"), newline="")))
    assert len(read) == len(STARTS)
    assert all(row["field"].startswith("'") and row["client"].startswith("'") for row in read)
    sheet = openpyxl.load_workbook(io.BytesIO(summary_xlsx(rows, [])))["summary"]
    assert sheet.max_row == 1 + len(STARTS)
    for cell in itertools.chain(*sheet.iter_rows(min_row=2)):
        assert cell.data_type != "f"
        assert not str(cell.value or "").startswith(tuple("=+-@"))


@given(st.text())
def test_no_text_starts_a_formula(text):
    """ensures that whatever is typed, no cell starts with a sign of OWASP's list."""
    assert not neutral(text).startswith(tuple("=+-@\t\r\n＝＋－＠\0"))
    if text and text[0].isalnum() and text.isprintable():
        assert neutral(text) == text[:32_000]


def test_numbers_stay_numbers():
    """ensures that amounts below zero and dates are values, not text."""
    rows = summary_table([entry(0, spent=-12.5, budget=None)])
    sheet = openpyxl.load_workbook(io.BytesIO(summary_xlsx(rows, [])))["summary"]
    cells = dict(zip(HEAD, sheet[2], strict=True))
    assert cells["plan_cost"].value == -12.5 and cells["plan_cost"].data_type == "n"
    assert cells["budget"].value is None
    assert cells["case_date"].value == dt.datetime(2026, 10, 14) and cells["case_date"].is_date


def test_csv_is_read_by_everyone():
    """ensures that names beyond ASCII survive a spreadsheet's guess and a plain reader."""
    raw = summary_csv(summary_table([entry(0, client='Núñez "Ñ", 王', field="a\nb, c")]))
    assert raw.startswith(b"\xef\xbb\xbf") and raw.count(b"\r\n") == 2
    table = pd.read_csv(io.BytesIO(raw))
    assert table["case_id"][0] == "a" and table["client"][0] == 'Núñez "Ñ", 王'
    assert table["field"][0] == "a\nb, c"


def test_workbook_is_the_same_tomorrow(monkeypatch):
    """ensures that the clock leaves no trace in the workbook."""
    entries = [entry(0), entry(1, "b", status=CaseStatus.FAILED, problems=("x",))]
    first = summary_xlsx(summary_table(entries), entries)
    monkeypatch.setattr(time, "localtime", lambda *a: time.gmtime(2_000_000_000))
    monkeypatch.setattr(time, "time", lambda: 2_000_000_000.0)
    assert summary_xlsx(summary_table(entries), entries) == first
    with zipfile.ZipFile(io.BytesIO(first)) as archive:
        assert {i.date_time for i in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        core = archive.read("docProps/core.xml").decode()
    assert str(dt.date.today().year) not in core.replace("1980", "")


def test_failures_have_a_sheet_of_their_own():
    """ensures that every problem has a line, with its place in the case file."""
    entries = [entry(0), entry(1, "b", status=CaseStatus.FAILED, problems=("one\n  2 | x", "two"))]
    book = openpyxl.load_workbook(io.BytesIO(summary_xlsx(summary_table(entries), entries)))
    assert [[c.value for c in row] for row in book["failures"].iter_rows(min_row=2)] == [
        ["../in/b.yaml", "failed", "one\n  2 | x"], ["../in/b.yaml", "failed", "two"]]
    good = openpyxl.load_workbook(io.BytesIO(summary_xlsx(summary_table(entries[:1]), entries[:1])))
    assert good.sheetnames == ["summary"]


def test_one_case_needs_no_tables():
    """ensures that a single case, and each worker of a batch, is free of the cost of pandas."""
    case = Path(__file__).parents[2] / "sample_inputs" / "acid_corn_ohio" / "case.yaml"
    with Pool(1, work_and_tell, ("loambrief.batch.month",)) as pool:
        (done,) = pool.run([Task(0, str(case))])
    assert done.status is CaseStatus.DONE and done.warnings == ("False",)


def test_every_column_of_a_case():
    """ensures each figure by number: counts, sums, the worst limit, the first dates."""
    limits = (LimitingFactor("acidity", "acidity.ph", "Too acid", 3),
              LimitingFactor("n", "n.p", "Poor", 1))
    checks = (DueCheck("2027-10-14", "pH", "lime"), DueCheck("", "look", ""),
              DueCheck("2027-03-01", "stand", ""))
    tests = (LabTest("soil", "n", "2026-09-22", "2029-09-21"),
             LabTest("water", "canal", "2025-05-01", "2028-04-30"))
    row = by_name(summary_table([entry(
        0, limits=limits, followups=checks, tests=tests, spent=948.256, waiting_cost=700.004,
        unpriced=4, valid_until="")]))[0]
    dates = ("case_date", "next_follow_up", "first_test_old")
    assert [str(row[name].date()) for name in dates] == ["2026-10-14", "2027-03-01", "2028-04-30"]
    assert pd.isna(row["valid_until"])
    assert {name: row[name] for name in (
        "limits", "worst_limit", "first_action", "actions", "actions_covered", "plan_cost",
        "budget", "actions_waiting", "waiting_cost", "actions_without_price", "not_measured",
        "area", "area_unit", "warnings", "case_file")} == {
        "limits": 2, "worst_limit": "Too acid", "first_action": "Lime: 2 ton/ac", "actions": 3,
        "actions_covered": 2, "plan_cost": 948.26, "budget": 1500.0, "actions_waiting": 1,
        "waiting_cost": 700.0, "actions_without_price": 4, "not_measured": 2, "area": 40.0,
        "area_unit": "ac", "warnings": 0, "case_file": "../in/a.yaml"}


def test_nothing_is_not_zero():
    """ensures that a case without limits counts none, and a failed one counts nothing at all."""
    rows = by_name(summary_table([
        entry(0, limits=(), followups=(), tests=()),
        entry(1, "z", status=CaseStatus.FAILED, problems=("no",))]))
    assert rows[0]["limits"] == 0 and pd.isna(rows[0]["next_follow_up"])
    assert all(pd.isna(rows[1][name]) for name in ("limits", "actions", "plan_cost", "case_date"))
    raw = summary_csv(summary_table([entry(1, "z", status=CaseStatus.FAILED, problems=("no",))]))
    assert raw.decode("utf-8-sig").splitlines()[1] == (
        "z,failed,Ash Lane Farm" + "," * 23 + ",0,no,../in/z.yaml")
