"""The intake command: what it writes, what it refuses, and that nothing is half-written."""

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from lab_builders import PLAIN, mapping, write
from sample_reports import short_text

from loambrief.case import workbook_write
from loambrief.case.load import load_case
from loambrief.cli import main

SAMPLE = Path(__file__).parents[2] / "sample_inputs" / "lab_file"


def run(*arguments):
    return CliRunner().invoke(main, ["intake", *map(str, arguments)])


@pytest.fixture
def visit(tmp_path):
    return Path(shutil.copytree(SAMPLE, tmp_path / "visit"))


def test_shipped_lab_file(visit):
    """ensures that the sample's commands work: guess, then the mapping, then the update."""
    case = visit / "visit.yaml"
    result = run(visit / "results.csv", "--guess", "-o", visit / "maps")
    assert result.exit_code == 0 and (visit / "maps" / "results.map.yaml").exists()
    said = [line for line in result.stdout.splitlines() if " -> " in line]
    assert any(line.endswith(" -> potassium [mg/kg]  confidence 0.90") for line in said)
    assert any(" -> ph  confidence " in line for line in said)
    refused = run(visit / "results.csv", "--map", visit / "maps" / "results.map.yaml",
                  "--update", case)
    assert refused.exit_code == 1 and "CASE062 confirmed" in refused.stderr
    assert case.read_bytes() == (SAMPLE / "visit.yaml").read_bytes()
    result = run(visit / "results.csv", "--map", visit / "map.yaml", "--update", case, "--json")
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["samples"] == ["W-1", "E-1"]
    loaded = load_case(case)
    west, east = loaded.case.samples
    assert west.area.value == 10 and west.texture == "silt loam"
    assert (east.increments[0].zinc.value, east.increments[0].zinc.censor) == (0.5, "<")
    assert west.increments[0].calcium.value == 1040
    assert west.increments[0].cec is None
    assert loaded.case.adviser.name == "Rosalind Achterberg"
    assert [m.id for m in loaded.case.materials] == ["ag-lime", "map", "potash"]
    assert loaded.case.materials[0].price.amount == 19


def test_new_case(tmp_path):
    """ensures that without --update a starter case holds the samples, and is not overwritten."""
    lab, map_file = write(tmp_path, PLAIN, mapping())
    result = run(lab, "--map", map_file, "-o", tmp_path / "out", "--crop", "soybean")
    assert result.exit_code == 0, result.output
    made = tmp_path / "out" / "results.yaml"
    assert "  - id: A1\n" in made.read_text() and 'crop: "soybean"' in made.read_text()
    assert "samples[A1].area" in result.stderr  # only the adviser knows the areas
    again = run(lab, "--map", map_file, "-o", tmp_path / "out")
    assert again.exit_code == 2 and "exists" in again.stderr


def test_update_elsewhere(visit):
    """ensures that -o leaves the case itself untouched."""
    result = run(visit / "results.csv", "--map", visit / "map.yaml", "--update",
                 visit / "visit.yaml", "-o", visit / "out")
    assert result.exit_code == 0, result.output
    assert (visit / "visit.yaml").read_bytes() == (SAMPLE / "visit.yaml").read_bytes()
    assert b"file_sha256" in (visit / "out" / "visit.yaml").read_bytes()


def test_problems_write_nothing(tmp_path):
    """ensures that one bad cell stops the whole and leaves no file."""
    lab, map_file = write(tmp_path, PLAIN.replace("5.4", "acid"), mapping())
    result = run(lab, "--map", map_file, "-o", tmp_path / "out")
    assert result.exit_code == 1
    assert f"{lab}:2:3: CASE063 pH: found 'acid', wanted a number" in result.stderr
    assert not (tmp_path / "out").exists()


def test_missing_file(tmp_path):
    """ensures that a file that is not there ends with 2, without a trace."""
    result = run(tmp_path / "none.csv", "--guess", "-o", tmp_path)
    assert result.exit_code == 2 and "Traceback" not in result.output


def test_map_or_guess(tmp_path):
    """ensures that exactly one of --map and --guess is given."""
    lab, map_file = write(tmp_path, PLAIN, mapping())
    assert run(lab).exit_code == 2
    assert run(lab, "--map", map_file, "--guess").exit_code == 2


def test_workbook_and_back(tmp_path, monkeypatch):
    """ensures that a case goes into a workbook and back by the two commands, that a workbook is
    never replaced, and that a starter case may be filled in so too."""
    monkeypatch.setattr(workbook_write, "SPARE_ROWS", 1)  # the others only take time
    case = tmp_path / "east.yaml"
    case.write_text(short_text(), encoding="utf-8")
    before = case.read_bytes()
    make = ["workbook", str(case), "-o", str(tmp_path), "--json"]
    made = CliRunner().invoke(main, make)
    assert made.exit_code == 0, made.output
    book = Path(json.loads(made.stdout)["files"][0])
    assert book.name == "tarrow-east-40.xlsx"
    assert CliRunner().invoke(main, make).exit_code == 2
    taken = run(book, "--update", case)
    assert taken.exit_code == 0 and "nothing to change" in taken.output, taken.output
    assert case.read_bytes() == before
    assert run(book, "--update", case, "--crop", "corn").exit_code == 2
    starter = tmp_path / "new.yaml"
    assert CliRunner().invoke(main, ["new", str(starter)]).exit_code == 0
    made = CliRunner().invoke(main, ["workbook", str(starter), "-o", str(tmp_path), "--json"])
    assert made.exit_code == 0, made.output
    left = run(json.loads(made.stdout)["files"][0], "--update", starter)
    assert ".xlsx:" in left.output
