"""The command line: what it prints, what it writes, how it ends."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from loambrief.agronomy.guides import known_guides
from loambrief.agronomy.selftest import KINDS
from loambrief.cli import main

SAMPLES = Path(__file__).parents[1] / "sample_inputs"
CASES = sorted(SAMPLES.glob("*/case.yaml"))


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def test_version():
    """ensures that --version names the program and ends with 0."""
    result = run("--version")
    assert result.exit_code == 0 and result.output.startswith("loambrief, version ")


@pytest.mark.parametrize("case", CASES, ids=[c.parent.name for c in CASES])
def test_advise_writes_whole_files(case, tmp_path):
    """ensures that the main job writes a PDF, its annex and its data, and nothing else."""
    result = run("advise", case, "-o", tmp_path, "--json")
    assert result.exit_code == 0, result.output
    names = sorted(p.name for p in tmp_path.iterdir())
    case_id = json.loads(result.stdout)["case_id"]
    assert names == [f"{case_id}.annex.pdf", f"{case_id}.json", f"{case_id}.pdf"]
    assert all((tmp_path / name).read_bytes().startswith(b"%PDF-")
               for name in names if name.endswith(".pdf"))


@pytest.mark.parametrize("case", sorted((SAMPLES / "broken").glob("*.yaml")), ids=lambda p: p.stem)
def test_broken_case_writes_nothing(case, tmp_path):
    """ensures that a faulty case ends with 1, says where, and leaves no file."""
    result = run("advise", case, "-o", tmp_path / "out")
    assert result.exit_code == 1
    assert f"{case}:" in result.stderr
    assert not (tmp_path / "out").exists()


def test_missing_case_file(tmp_path):
    """ensures that a file that is not there ends with 2 and one line, not a trace."""
    result = run("advise", tmp_path / "nowhere.yaml", "-o", tmp_path)
    assert result.exit_code == 2
    assert "nowhere.yaml" in result.stderr and "Traceback" not in result.stderr


def test_calc_answers_in_the_promised_form():
    """ensures that calc --json holds exactly the promised keys.

    RFV 142 for ADF 34, NDF 41: Boman, Utah State University Extension.
    """
    result = run("calc", "relative_feed_value", "adf_pct=34", "ndf_pct=41", "--json")
    answer = json.loads(result.stdout)
    assert {"formula", "value", "unit", "inputs", "source", "evidence", "within_range",
            "notes"} <= set(answer)
    assert answer["value"] == pytest.approx(142, abs=0.5)


def test_calc_lists_and_suggests():
    """ensures that calc lists formulas and helps with a misspelt name."""
    assert "esp_from_sar sar" in run("calc").output
    result = run("calc", "esp_from_sarr", "sar=5")
    assert result.exit_code == 2 and "esp_from_sar" in result.stderr


def test_calc_describes_each_formula_and_takes_hyphens():
    """ensures that the list says what each formula is for, and either spelling of names works."""
    listed = run("calc").output.splitlines()
    assert listed[1::2] and all(line.startswith("    ") and line.strip() for line in listed[1::2])
    typed = run("calc", "relative-feed-value", "adf-pct=34", "ndf_pct=41", "--json")
    assert json.loads(typed.stdout)["formula"] == "relative_feed_value"


def test_calc_completes_names():
    """ensures that Tab offers formulas by either spelling, then the values still lacking."""
    from click.shell_completion import ShellComplete

    complete = ShellComplete(main, {}, "loambrief", "_LOAMBRIEF_COMPLETE").get_completions
    assert [item.value for item in complete(["calc"], "relative-feed")] == ["relative_feed_value"]
    assert complete(["calc"], "relative_feed")[0].help.startswith("Relative feed value")
    lacking = complete(["calc", "relative_feed_value", "adf_pct=34"], "")
    assert [item.value for item in lacking] == ["ndf_pct="]
    assert [i.value for i in complete(["new", "--crop"], "alfalfa-")] == ["alfalfa-grass"]
    assert [i.value for i in complete(["new", "--region"], "Iow")] == ["Iowa"]
    assert [i.value for i in complete(["sources", "--topic"], "salin")] == ["salinity"]


@pytest.mark.parametrize("args, kind, code", [
    (("calc", "esp_from_sarr", "sar=5"), "UsageError", 2),
    (("calc", "relative_feed_value", "adf_pct=-5", "ndf_pct=41"), "ImpossibleInput", 1),
    (("advise", "nowhere.yaml"), "FileNotFoundError", 2),
    (("calc", "--no-such-option"), "NoSuchOption", 2),
])
def test_errors_of_json_are_json(args, kind, code, tmp_path, monkeypatch):
    """ensures that a program which asked for JSON reads the error as JSON too."""
    monkeypatch.chdir(tmp_path)
    result = run(*args, "--json")
    error = json.loads(result.stderr)["error"]
    assert (error["kind"], error["exit_code"], result.exit_code) == (kind, code, code)
    assert error["message"] and not result.stdout


def test_problems_of_a_case_are_json_too(tmp_path):
    """ensures that each problem comes with its place where JSON was asked for."""
    case = tmp_path / "case.yaml"
    case.write_text("loambrief: 1\n", encoding="utf-8")
    result = run("advise", case, "-o", tmp_path / "out", "--json")
    error = json.loads(result.stderr)["error"]
    assert error["kind"] == "CaseProblems" and result.exit_code == 1
    assert all(problem["line"] >= 1 for problem in error["problems"]) and error["problems"]
    checked = run("check", case, tmp_path / "nowhere.yaml", "--json")
    assert json.loads(checked.stderr)["error"]["exit_code"] == checked.exit_code == 2
    assert len(json.loads(checked.stdout)) == len(error["problems"])


def test_calc_refuses_the_impossible():
    """ensures that impossible input is refused with words, exit 1."""
    result = run("calc", "relative_feed_value", "adf_pct=-5", "ndf_pct=41")
    assert result.exit_code == 1 and "Traceback" not in result.stderr


def test_new_then_check_then_refuse_to_overwrite(tmp_path):
    """ensures that a starter case is valid and is never overwritten."""
    path = tmp_path / "field" / "case.yaml"
    assert run("new", path, "--crop", "alfalfa").exit_code == 0
    assert run("check", path).exit_code == 0
    assert run("new", path).exit_code == 2


def test_check_prints_json():
    """ensures that problems come out for programs, with line and column."""
    broken = sorted((SAMPLES / "broken").glob("*.yaml"))
    result = run("check", *broken, "--json")
    problems = json.loads(result.stdout)
    assert result.exit_code == 1
    assert all({"file", "line", "column", "code"} <= set(p) for p in problems)
    assert {Path(p["file"]).name for p in problems} == {p.name for p in broken}


def test_check_goes_on_after_a_missing_file(tmp_path):
    """ensures that one missing file does not hide the problems of the others; exit 2."""
    broken = sorted((SAMPLES / "broken").glob("*.yaml"))[0]
    result = run("check", tmp_path / "nowhere.yaml", broken)
    assert result.exit_code == 2
    assert "nowhere.yaml" in result.stderr and str(broken) in result.stdout


def test_sources_say_how_each_value_was_checked():
    """ensures that the source list is honest about memory."""
    rows = json.loads(run("sources", "--json").stdout)
    assert {row["kind"] for row in rows} == {"formula", "table"}
    assert any(row["how"] == "from memory, unverified" for row in rows)
    assert run("sources", "--topic", "acidty").exit_code == 2


def test_sources_list_what_a_case_may_name():
    """ensures that guides, lime tables and crops can be looked up, in words and as JSON."""
    guides = json.loads(run("sources", "--guides", "--json").stdout)
    tri_state = next(g for g in guides if g["name"] == "tri_state_2020")
    assert {"nutrient": "P2O5", "test": "P", "method": "mehlich-3-icp", "gives_rate": True,
            "crops": ["corn", "corn silage", "soybean", "wheat", "alfalfa"]} in tri_state["covers"]
    listed = run("sources", "--guides").stdout
    assert "N by index: winter wheat" in listed
    rules = sum(len(g.rules) for g in known_guides().values())
    counts = re.findall(r"(\d+) (?:seen|from|computed|a def)", listed.splitlines()[-1])
    assert sum(map(int, counts)) == rules
    assert "sikora_oregon_2025" in run("sources", "--lime-tables").stdout
    crops = json.loads(run("sources", "--crops", "--json").stdout)
    assert "iowa_2013" in next(c for c in crops if c["name"] == "corn")["guides"]
    assert run("sources", "--crops", "--topic", "acidity").exit_code == 2


def test_selftest_passes():
    """ensures that the kept answers are reproduced on this machine, counted by what they show."""
    result = run("selftest", "--json")
    assert result.exit_code == 0
    told = json.loads(result.stdout)
    assert {kind: count["failed"] for kind, count in told["kinds"].items()} == dict.fromkeys(
        KINDS, 0)
    assert sum(count["passed"] for count in told["kinds"].values()) == told["passed"] >= 150
    assert all(count["passed"] for count in told["kinds"].values())


def test_schema_is_json():
    """ensures that the schema prints as JSON."""
    assert json.loads(run("schema").stdout)["type"] == "object"
