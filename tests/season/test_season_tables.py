"""The season's tables: what counts, what is one field, what is missing, what is odd."""

import io
import json
import math
import time

import pandas as pd
import pytest
from openpyxl import load_workbook
from season_fakes import advisory, issued, soil, write

from loambrief.archive.canonical import sha256
from loambrief.archive.store import Store
from loambrief.errors import LoambriefError
from loambrief.season import files
from loambrief.season.change import changes, summaries
from loambrief.season.due import due, latest_day
from loambrief.season.gather import gather
from loambrief.season.spread import distributions, tilled
from loambrief.season.tables import season_tables


def tables(folder, *made, client=None):
    return season_tables(gather([write(folder, *made)]), client)


def visits(*tests, **more):
    """One field, a visit for each test."""
    return [advisory(f"a-{n}", generated_for=f"{2020 + n}-10-01", tests=[test], **more)
            for n, test in enumerate(tests)]


def test_a_revision_counts_once_and_issued_before_draft(tmp_path):
    """ensures that of a number only the latest revision counts, that a draft of an issued case
    does not, nor what was withdrawn or redacted, and that all of this is told (own rule)."""
    found = tables(
        tmp_path, issued("IV-1", 1), issued("IV-1", 2), advisory(), issued("IV-2", case_id="b"),
        issued("IV-2", case_id="b"), issued("IV-3", case_id="c", status="withdrawn"),
        issued("IV-3", case_id="c"), issued("IV-1", 2, status="redacted", case_id="r"),
        advisory("d"), advisory("d", generated_for="2026-01-01"))
    kept = found.advisories[["case_id", "number", "revision"]].astype(object)
    assert sorted(map(tuple, kept.where(kept.notna(), None).to_numpy()), key=str) == [
        ("a-2025", "IV-1", 2), ("b", "IV-2", 1), ("d", None, 0)]
    assert found.advisories.loc[found.advisories["case_id"] == "d", "year"].item() == 2026
    assert found.left_aside == {"superseded": 1, "repeated": 3, "withdrawn": 2, "redacted": 1}


def test_two_clients_may_use_one_case_id(tmp_path):
    """ensures that a case id tells drafts apart only together with the client (own rule)."""
    found = tables(tmp_path, advisory("x", "Ash"), advisory("x", "Birch"))
    assert found.advisories["client_no"].nunique() == len(found.advisories) == 2


def test_a_field_is_known_by_its_id(tmp_path):
    """ensures that a field keeps its history when it is renamed, when its client is spelt
    otherwise, and when a case leaves the id out (own rule, as in the history of a case)."""
    def field(name, field_id):
        return {"id": field_id, "name": name, "farm": "F", "region": "Ohio", "crop": "corn",
                "area_ac": 40.0}

    found = tables(
        tmp_path,
        advisory("1", "Ash", generated_for="2023-10-01", field=field("Old name", "H1")),
        advisory("2", "ASH", generated_for="2024-10-01", field=field("New name", "h1")),
        advisory("3", "Ash", generated_for="2025-10-01", field=field("new name", None)),
        advisory("4", "Birch", generated_for="2025-10-01", field=field("New name", None)))
    ash = found.advisories[found.advisories["client_no"] == 0]
    assert list(ash["case_id"]) == ["1", "2", "3"] and ash["field_no"].nunique() == 1
    assert set(ash["field"]) == {"new name"} and set(ash["client"]) == {"Ash"}
    assert found.advisories["field_no"].nunique() == 2


def test_a_result_that_two_advisories_repeat_counts_once(tmp_path):
    """ensures that an old sample named again next year is no second sample (own rule)."""
    found = tables(tmp_path, *visits(soil(ph=5.1), soil(ph=5.2)))
    assert list(found.results["value"]) == [5.2]


def test_data_of_old_versions_counts_without_results(tmp_path):
    """ensures that data before results, parties and printed sums were stored is read for what
    it says, and that nothing is made up (own rule)."""
    old = advisory("old")
    for key in ("tests", "field", "parties", "printed", "valid_until"):
        del old[key]
    del old["budget"]["printed"]
    old["findings"][0]["place"] = {"id": "", "label": "Far piece", "depth": None}
    found = tables(tmp_path, old, advisory("new"))
    row = found.advisories.set_index("case_id").loc["old"]
    assert row["field"] == "Far piece" and not row["has_results"]
    assert pd.isna(row["client"]) and math.isnan(row["area_ac"]) and math.isnan(row["plan_cost"])
    assert set(found.results["advisory"]) == {1} and set(found.findings["advisory"]) == {0, 1}


@pytest.mark.parametrize(("spoil", "said"), [
    (lambda d: d.update(schema_version=2), "schema_version is 2"),
    (lambda d: d.update(findings="none"), "TypeError"),
    (lambda d: d.pop("budget"), "KeyError"),
    (lambda d: d["tests"][0]["layers"][0]["results"]["ph"].update(value="5.1"), "no number"),
])
def test_odd_data_is_named_and_never_half_counted(tmp_path, spoil, said):
    """ensures that a file which is not what it should be is named and nothing of it counts."""
    bad = advisory("bad")
    spoil(bad)
    found = tables(tmp_path, advisory("good"), bad)
    assert list(found.advisories["case_id"]) == ["good"] and len(found.actions) == 2
    assert len(found.damaged) == 1 and said in found.damaged[0] and "1-bad.json" in found.damaged[0]


def test_other_files_are_no_advisories(tmp_path):
    """ensures that other JSON is passed over, a torn advisory is named, and a folder without
    any is refused with what is wanted (own rule)."""
    (tmp_path / "x.json").write_text('{"a": 1}', encoding="utf-8")
    with pytest.raises(LoambriefError, match=r"no data of an advisory in .*<case id>\.json"):
        gather([tmp_path])
    whole = write(tmp_path, advisory()) / "0-a-2025.json"
    (tmp_path / "torn.json").write_bytes(whole.read_bytes()[:900])
    found = gather([tmp_path, tmp_path])
    assert found.count == 1 and len(found.damaged) == 1 and "torn.json" in found.damaged[0]
    with pytest.raises(LoambriefError, match="is not a folder"):
        gather([tmp_path / "nowhere"])


def test_an_archive_gives_what_is_in_force(tmp_path):
    """ensures that of an archive the revisions in force are read, that withdrawn ones are
    counted, and that what old data does not say is taken from the record (own rule)."""
    old = issued("QF-1", case_id="old")
    del old["parties"], old["field"]
    with Store.create(tmp_path / "records") as store:
        for number, data in enumerate((old, issued("QF-2", case_id="two")), 1):
            content = json.dumps(data).encode()
            listed = {"role": "data", "name": "d.json", "sha256": sha256(content),
                      "size": len(content), "stored": True}
            with store.writing():
                store.commit("issue", {"number": f"QF-{number}", "revision": 1, "series": "QF",
                                       "serial": number, "client": "c1"},
                             {"client": {"name": "Ash"}, "farm": "Home farm", "crop": "corn",
                              "field": {"name": "Lower Bench", "id": "LB"}, "case_id": "old",
                              "date": "2025-10-14", "valid_until": None, "inputs": "0" * 64,
                              "actions": [], "dues": [], "files": [listed], "text": ""},
                             [content])
        with store.writing():
            store.commit("withdraw", {"number": "QF-2", "revision": 1, "client": "c1"},
                         {"reason": "swapped", "client": {"name": "Ash"}, "files": []}, [])
    found = season_tables(gather([tmp_path / "records"]))
    row = found.advisories.iloc[0]
    assert len(found.advisories) == 1 and found.left_aside == {"withdrawn": 1}
    assert (row["client"], row["farm"], row["field"]) == ("Ash", "Home farm", "Lower Bench")


def test_parts_of_the_plan_add_up_to_its_printed_total(tmp_path):
    """ensures that money by kind, with whole loads and what ordering together saves, adds up to
    what the advisory prints (own rule)."""
    budget = advisory()["budget"]
    budget["printed"] |= {"total": 115.0, "whole_packages": 20.0, "saved_together": 5.0}
    found = tables(tmp_path, advisory(budget=budget))
    money = found.money.set_index("kind")
    assert money.loc[money["state"] == "covered", "cost"].sum() == found.advisories[
        "plan_cost"].item() == 115.0
    assert math.isnan(money.loc["measure", "cost"]) and money.loc["measure", "without_price"] == 1


def test_quarters_are_those_of_the_textbook(tmp_path):
    """ensures that quarters are interpolated between ordered values: 7, 15, 36, 39, 40, 41 have
    20.25, 37.5 and 39.75 (the numbers of a worked example for this definition, as numpy's and
    R's default gives them; from memory, unverified)."""
    tests = [soil(f"2025-09-0{n}", f"Z{n}", phosphorus=p)
             for n, p in enumerate((7, 15, 36, 39, 40, 41), 1)]
    found = tables(tmp_path, advisory(tests=tests))
    row = distributions(tilled(found.results), ["year"]).iloc[0]
    assert (row["samples"], row["lowest"], row["lower_quarter"], row["median"],
            row["upper_quarter"], row["highest"]) == (6, 7, 20.25, 37.5, 39.75, 41)


def test_methods_are_never_pooled(tmp_path):
    """ensures that results of two methods stand in two rows (own rule)."""
    found = tables(tmp_path, *visits(soil("2021-09-01", ph=5.0),
                                     soil("2022-09-01", method="CaCl2", ph=4.5)))
    rows = distributions(tilled(found.results), ["year"])
    assert list(rows["method"]) == ["CaCl2", "water 1:1"] and set(rows["samples"]) == {1}
    (change,) = changes(found.results).to_dict("records")
    assert (change["verdict"], change["reason"]) == ("unknown", "method")


def test_a_change_is_held_against_its_noise(tmp_path):
    """ensures that the noise is z times the root of the summed squares of both errors (ISO
    5725-6, critical difference; from memory, unverified), z being 1.645 for the 90 % of every
    range (normal table), reckoned here anew from the table of variation: pH within a lab 0.075,
    cores 10 % over root 20."""
    found = tables(tmp_path, *visits(soil("2021-09-01", ph=5.0), soil("2022-09-01", ph=5.4),
                                     soil("2023-09-01", ph=6.4)))
    (change,) = changes(found.results).to_dict("records")
    errors = [math.hypot(0.10 * ph / math.sqrt(20), 0.075) for ph in (5.0, 6.4)]
    assert change["noise"] == pytest.approx(1.644854 * math.hypot(*errors), rel=1e-5)
    assert (change["first"], change["last"], change["verdict"]) == (5.0, 6.4, "more")
    (summary,) = summaries(changes(found.results))
    assert (summary.zones, summary.risen, summary.fallen, summary.told) == (1, 1, 0, 1)
    assert summary.mean is None  # of one zone there is no spread


@pytest.mark.parametrize(("first", "last", "verdict", "reason"), [
    (soil("2021-09-01", ph=5.0), soil("2022-09-01", ph=5.1), "within", ""),
    (soil("2021-09-01", phosphorus=9), soil("2022-09-01", phosphorus="<5"), "unknown", "limit"),
    (soil("2021-09-01", cores=None, ph=5.0), soil("2022-09-01", ph=7.4), "unknown", "cores"),
])
def test_what_cannot_be_told_is_not_told(tmp_path, first, last, verdict, reason):
    """ensures that a change within the noise, over a limit or of unknown cores counts as no
    change of its own (own rule, as in the history of a case)."""
    found = changes(tables(tmp_path, *visits(first, last)).results)
    (change,) = found.to_dict("records")
    assert (change["verdict"], change["reason"]) == (verdict, reason)


def test_the_mean_change_has_its_interval(tmp_path):
    """ensures that the mean of changes 0.2, 0.4 and 0.9 is 0.5 with 2.920 x 0.3606 / root 3 to
    either side (Student's t for 2 degrees of freedom and 90 %: 2.920, handbook table)."""
    tests = [soil(f"{year}-09-01", zone, ph=round(5.0 + rise * (year == 2022), 1))
             for zone, rise in (("A", 0.2), ("B", 0.4), ("C", 0.9)) for year in (2021, 2022)]
    (summary,) = summaries(changes(tables(tmp_path, advisory(tests=tests)).results))
    assert summary.mean == pytest.approx(0.5)
    assert summary.half_width == pytest.approx(2.920 * 0.36056 / math.sqrt(3), rel=1e-3)


def test_dues_come_from_age_and_from_follow_ups(tmp_path):
    """ensures that an old test, a field without any soil test and the follow-ups of its latest
    advisory fall due, and nothing of a field of which results are not known (common practice:
    three years)."""
    unknown = advisory("u", field={"id": None, "name": "Dark", "farm": "", "region": "",
                                   "crop": "", "area_ac": None}, monitoring=[])
    del unknown["tests"]
    found = tables(tmp_path, advisory("old", tests=[soil("2022-09-01")]),
                   advisory("new", "Birch", tests=[], monitoring=[]), unknown)
    rows = due(found, latest_day(found)).astype(object)
    assert [(r["client"], r["kind"], r["due"] if pd.isna(r["due"]) else str(r["due"].date()))
            for r in rows.to_dict("records")] == [
        ("Birch", "soil", pd.NaT), ("Ash", "soil", "2025-08-31"),
        ("Ash", "follow-up", "2026-10-14")]


def test_one_client_alone(tmp_path):
    """ensures that a part of the name is enough, whatever case and accents it is typed with."""
    found = tables(tmp_path, advisory("1", "Peña Hermanos"), advisory("2", "Birch"), client="pena")
    assert set(found.advisories["case_id"]) == {"1"} and set(found.results["advisory"]) == {0}


def test_no_cell_is_a_formula(tmp_path):
    """ensures that names which begin like a formula stay text in CSV and workbook (OWASP, CSV
    injection)."""
    written = tables(tmp_path, advisory(client="=cmd|' /C calc'!A0", field="@x")).written()
    text = files.csv_bytes(written["actions"]).decode("utf-8-sig")
    assert text.splitlines()[1].startswith("'=cmd|' /C calc'!A0,")
    book = load_workbook(io.BytesIO(files.workbook_bytes(written)))
    assert book["actions"]["A2"].value == "'=cmd|' /C calc'!A0"
    assert {c.data_type for row in book["actions"].iter_rows() for c in row} <= {"s", "n", "d", "b"}


def test_files_hold_the_same_numbers(tmp_path, monkeypatch):
    """ensures that CSV and workbook agree, are the same bytes each time, and that a table too
    long for a workbook is named on its first sheet (own rule)."""
    written = tables(tmp_path, *visits(soil("2021-09-01", ph=5.0, phosphorus="<5"),
                                       soil("2022-09-01", ph=5.4))).written()
    rows = pd.read_csv(io.BytesIO(files.csv_bytes(written["results"])))
    assert list(rows["value"]) == [5.0, 5.0, 5.4] and list(rows["censor"].dropna()) == ["<"]
    assert files.workbook_bytes(written) == files.workbook_bytes(written)
    sheet = pd.read_excel(io.BytesIO(files.workbook_bytes(written)), sheet_name="results",
                          engine="openpyxl")
    assert list(sheet["value"]) == list(rows["value"]) and list(sheet["year"]) == [2021, 2021, 2022]
    monkeypatch.setattr(files, "MOST_SHEET_ROWS", 2)
    book = load_workbook(io.BytesIO(files.workbook_bytes(written)))
    said = {row[0]: row[2] for row in book["contents"].iter_rows(values_only=True)}
    assert "results" not in book.sheetnames and "too long" in said["results"]
    assert said["advisories"] == "yes" and "advisories" in book.sheetnames


def test_parquet_is_an_extra(tmp_path, monkeypatch):
    """ensures that what is missing for Parquet is named before anything is made."""
    monkeypatch.setattr(files, "find_spec", lambda name: None)
    with pytest.raises(LoambriefError, match=r"loambrief\[parquet\]"):
        files.table_files({}, ["parquet"])


def test_the_data_of_an_advisory_holds_its_results():
    """ensures that the JSON of a sample states field, tests, layers, methods and limits as
    they stand in its case."""
    import sample_reports

    from loambrief.report.results_data import field_data, measured_data

    case = sample_reports.advice("acid_corn_ohio").loaded.case
    made = json.loads(json.dumps({"field": field_data(case), "tests": measured_data(case)}))
    assert made["field"]["id"] == "E40" and made["field"]["area_ac"] == 42.0
    north = made["tests"][0]
    assert (north["kind"], north["id"], north["cores"]) == ("soil", "N", 18)
    first = north["layers"][0]
    assert first["depth"] == [0, 2] and not first["main"]
    assert first["results"]["ph"] == {"value": 5.1, "unit": "pH", "method": "water 1:1"}
    assert [layer["depth"] for layer in north["layers"] if layer["main"]] == [[0, 6]]
    water = measured_data(sample_reports.advice("saline_alfalfa_utah").loaded.case)[-1]
    assert water["kind"] == "water" and water["layers"][0]["results"]["ec"]["unit"] == "dS/m"


def test_parquet_holds_the_tables(tmp_path):
    """ensures that every table comes back from Parquet as it was, days as days."""
    written = tables(tmp_path, *visits(soil(ph=5.1, phosphorus="<5"), soil(ph=5.2))).written()
    for name, table in written.items():
        back = pd.read_parquet(io.BytesIO(files.parquet_bytes(table)), engine="pyarrow")
        assert list(back.columns) == list(table.columns), name
        assert files.csv_bytes(back) == files.csv_bytes(table), name
    assert str(back["due"].dtype).startswith("datetime64")


def test_ten_thousand_advisories_fit_a_minute_and_a_gigabyte(tmp_path):
    """ensures that reading an advisory takes a fraction of its 6 ms (with room for neighbours,
    as in test_speed) and its rows a fraction of its 100 kB."""
    import sample_reports

    (raw,) = (a.content for a in sample_reports.report("acid_corn_ohio").attachments
              if a.name == "tarrow-east-40.json")
    count = 80
    for number in range(count):
        (tmp_path / f"{number}.json").write_bytes(
            raw.replace(b'"tarrow-east-40"', f'"case-{number}"'.encode()))
    started = time.process_time()
    found = gather([tmp_path])
    spent = time.process_time() - started
    assert found.count == count and spent <= 2.25 * 0.004 * count, spent
    made = season_tables(found).written()
    assert len(made["results"]) > 0 and len(made["findings"]) > count * 20
    size = sum(int(table.memory_usage(deep=True, index=False).sum()) for table in made.values())
    assert size <= 40_000 * count, size
