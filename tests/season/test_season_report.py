"""The season on paper, and the command that makes it."""

import json
import re

import pytest
from click.testing import CliRunner
from pdf_text import page_texts
from season_fakes import action, advisory, soil, write

from loambrief.cli import main
from loambrief.report.blocks import Callout, Figure, Table, plain
from loambrief.season.due import latest_day
from loambrief.season.gather import gather
from loambrief.season.report import season_report, setting_of
from loambrief.season.tables import season_tables

ASH = [advisory(f"a-{year}", "Ash", generated_for=f"{year}-10-01", tests=tests, monitoring=[])
       for year, tests in (
           (2021, [soil("2021-09-01", ph=5.0, phosphorus=9, organic_matter=2.1),
                   soil("2021-09-01", "S", ph=5.2)]),
           (2023, [soil("2023-09-01", ph=6.6, phosphorus="<5")]),
           (2024, []))]
DONE = {"action": "Lime", "kind": "lime", "material": None, "where": None, "date": "2023-04-01",
        "planned_rate": "1.5 ton/ac", "planned_cost": 100.0, "rate": "1.2 ton/ac", "cost": 90.0,
        "not_done": None}
ASH[1]["history"] = {"done": [DONE, {**DONE, "cost": None, "not_done": "too wet"}]}
BIRCH = advisory("b", "Birch", generated_for="2024-10-01", tests=[soil("2024-09-10", ph=7.1)])
BIRCH["budget"] |= {"currency": "CAD"}


def model(folder, *made, **setting):
    tables = season_tables(gather([write(folder, *made)]))
    return season_report(tables, setting_of(tables, **setting), latest_day(tables))


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    return model(tmp_path_factory.mktemp("season"), *ASH, BIRCH)


def charts(model):
    return [b.spec for b in model.blocks if isinstance(b, Figure)]


def tables(model):
    return {plain(b.caption): [[spaced(plain(c)) for c in row.cells] for row in b.rows]
            for b in model.blocks if isinstance(b, Table)}


def spaced(text):
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def said(model):
    return spaced(repr(model.blocks).replace("\\xa0", " "))


def test_distribution_by_client_and_year(report):
    """ensures that every year has its row, also one without a sample, then every client's; and
    that the title is the finding (own rule)."""
    spec = next(s for s in charts(report) if s.title.startswith("Soil pH"))
    assert spaced(spec.title) == "Soil pH in 2024: median 7.1, 1 sample"
    assert [(r.label, r.count, r.summary and r.summary[2]) for r in spec.rows] == [
        ("All clients, 2021", 2, 5.1), ("All clients, 2022", 0, None),
        ("All clients, 2023", 1, 6.6), ("All clients, 2024", 1, 7.1),
        ("Ash, 2021", 2, 5.1), ("Ash, 2023", 1, 6.6), ("Birch, 2024", 1, 7.1)]
    assert "All clients, 2022: not measured." in spec.alt


def test_limits_of_the_laboratory_are_told(report):
    """ensures that a value below a limit is counted as such (own rule)."""
    spec = next(s for s in charts(report) if s.title.startswith("Phosphorus"))
    assert "1 value is a limit of the laboratory" in spec.note
    assert spaced(spec.title) == "Phosphorus in 2023: median <5 ppm, 1 sample"
    assert "median <5, middle half <5 to <5" in spec.alt and "median 9," in spec.alt


def test_money_of_two_currencies_is_never_added(report):
    """ensures that each currency has its own chart and tables (own rule)."""
    found = tables(report)
    assert found["Planned cost by kind of work and year, USD"] == [
        ["liming", "$100", "$100", "$100", "$300"], ["Total", "$100", "$100", "$100", "$300"]]
    assert found["Planned cost by kind of work and year, CAD"] == [
        ["liming", "CA$100"], ["Total", "CA$100"]]
    assert "Planned cost by client and year, USD" not in found  # of one client it says nothing


def test_what_was_done_is_counted(report):
    """ensures that work which was not done is told apart, with planned and spent money."""
    rows = tables(report)["Actions of earlier plans, as the next advisory lists them"]
    assert rows == [["2023", "2", "1", "1", "$200", "$90"]]


def test_trends_with_their_noise(report):
    """ensures that a rise beyond the noise counts, one over a limit does not, and that the
    chance of a false alarm is printed (own rule)."""
    rows = tables(report)["Zones that rose or fell by more than the noise"]
    assert [r[0].split("\n")[0] for r in rows] == ["Soil pH", "Phosphorus"]
    assert [r[1:6] for r in rows] == [["1", "1", "0", "0", "0"], ["1", "0", "0", "0", "1"]]
    assert "would pass the limit by chance alone" in said(report)
    (spec,) = (s for s in charts(report) if "more than the noise" in s.title)
    assert [(p.value, p.low < p.value < p.high) for p in spec.panels[0].points] == [
        (5.0, True), (6.6, True)]


def test_attached_numbers(report):
    """ensures that the numbers behind charts and tables travel with the document."""
    names = [a.name for a in report.attachments]
    assert names == ["season-distributions.csv", "season-changes.csv", "season-due.csv"]
    text = report.attachments[0].content.decode("utf-8-sig")
    assert "ph,water 1:1,pH,*,2021,2,0,,5,5.05,5.1,5.15,5.2" in text.splitlines()


def test_many_of_everything(tmp_path):
    """ensures that more years, clients and rows than a page holds are summed up, not dropped."""
    made = [advisory(f"{n}-{year}", f"Client {n:02d}", generated_for=f"{year}-10-01",
                     tests=[soil(f"{year}-09-01", f"Z{n}", ph=5 + n / 10)])
            for n in range(12) for year in range(2018, 2025)]
    report = model(tmp_path, *made)
    rows = tables(report)["Planned cost by kind of work and year, USD"]
    assert rows[-1] == ["Total", "$3,600", "$1,200", "$1,200", "$1,200", "$1,200", "$8,400"]
    spec = next(s for s in charts(report) if s.title.startswith("Soil pH"))
    assert len(spec.rows) == 7 + 14 and "70 more groups are" in spec.note


def test_nothing_to_show(tmp_path):
    """ensures that a season without tests, actions and money says so in each part."""
    empty = advisory(tests=[], actions=[], monitoring=[], findings=[])
    empty["budget"] |= {"printed": {"total": 0.0, "actions": {}}, "chosen": []}
    text = said(model(tmp_path, empty))
    for words in ("No advisory contains a soil test", "No advisory contains an action",
                  "what was done of an earlier plan", "No plan has a price",
                  "No zone was sampled twice", "soil test: none is known"):
        assert words in text, words


def test_a_kind_of_work_of_a_later_version_is_printed_as_it_stands(tmp_path):
    """ensures that a kind of work this version does not know is counted under its own name."""
    odd = advisory(actions=[action("x", "rewilding", 5.0)])
    odd["budget"] |= {"chosen": ["x"], "printed": {"total": 5.0, "actions": {"x": 5.0}}}
    assert ["rewilding", "$5"] in tables(model(tmp_path, odd))[
        "Planned cost by kind of work and year, USD"]


def test_the_same_data_in_any_order_gives_the_same_report(tmp_path):
    """ensures that names of files and folders do not matter (own rule)."""
    one = model(tmp_path / "a", *ASH, BIRCH)
    other = model(tmp_path / "b", BIRCH, *reversed(ASH))
    assert one == other


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """The command over a folder in Spanish and SI, with a file that is damaged."""
    home = tmp_path_factory.mktemp("command")
    write(home / "in", *ASH, BIRCH)
    (home / "in" / "torn.json").write_text('{"schema_version": 1, "case_id": ', encoding="utf-8")
    done = CliRunner().invoke(main, ["season", str(home / "in"), "-o", str(home / "out"),
                                     "--language", "es", "--units", "si", "--paper", "a4"],
                              catch_exceptions=False)
    return home, done


def test_the_command_writes_report_and_tables(run):
    """ensures that the PDF is Spanish, on A4, in SI units and archivable (the check of the file
    is made when it is written), and that what could not be read is named."""
    home, done = run
    assert done.exit_code == 0 and "not read: " in done.stderr and "torn.json" in done.stderr
    names = {p.name for p in (home / "out").iterdir()}
    assert {"season.pdf", "season.xlsx", "season-results.csv", "season-money.csv"} <= names
    pages = page_texts((home / "out" / "season.pdf").read_bytes())
    text = spaced(" ".join(pages))
    assert "La temporada en cifras, 2021 a 2024" in text and "1 archivo no se pudo leer" in text
    assert "32.4 ha" in text and re.search(r"P[aá]gina 1 de", text)


def test_nothing_is_replaced_unasked(run):
    """ensures that a second run without --force writes nothing, and that --json counts."""
    home, _ = run
    before = {p.name: p.stat().st_mtime_ns for p in (home / "out").iterdir()}
    again = CliRunner().invoke(main, ["season", str(home / "in"), "-o", str(home / "out")])
    assert again.exit_code == 2 and "exists" in again.stderr
    assert before == {p.name: p.stat().st_mtime_ns for p in (home / "out").iterdir()}
    other = CliRunner().invoke(main, ["season", str(home / "in"), "-o", str(home / "csv"), "--json",
                                      "--format", "csv", "--client", "birch"])
    counts = json.loads(other.stdout)
    assert counts["advisories"] == counts["clients"] == 1 and len(counts["not_readable"]) == 1
    assert counts["rows"]["results"] == 1 and not (home / "csv" / "season.xlsx").exists()


def test_no_such_client_and_no_data(tmp_path, run):
    """ensures that an empty folder and a name nobody bears are refused in one line."""
    home, _ = run
    for place, more in ((tmp_path, []), (home / "in", ["--client", "nobody"])):
        done = CliRunner().invoke(main, ["season", str(place), "-o", str(tmp_path / "x"), *more])
        assert done.exit_code == 2 and not (tmp_path / "x").exists()
        assert done.stderr.startswith("loambrief: no ")


def test_callout_names_what_is_left_aside(tmp_path):
    """ensures that the reader is told what does not count."""
    report = model(tmp_path, advisory(), advisory("r", status="redacted"))
    (callout,) = (b for b in report.blocks if isinstance(b, Callout))
    assert plain(callout.blocks[0].text) == "Left aside: 1 redacted."
