"""The next case of a field: nothing old is passed off as new."""

from __future__ import annotations

import datetime as dt
import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from loambrief import pipeline
from loambrief.archive.store import Store
from loambrief.case.load import load_bytes, load_case, with_earlier
from loambrief.case.reader import read_text
from loambrief.cli import main
from loambrief.errors import CaseProblems, ImpossibleInput
from loambrief.record.issue import issue
from loambrief.record.rerender import rerender

ROOT = Path(__file__).parents[2] / "sample_inputs"
OHIO = ROOT / "acid_corn_ohio" / "case.yaml"
BEANS = ROOT / "history_beans_michigan"
DAY = dt.date(2027, 9, 1)
MOMENT = dt.datetime(2026, 10, 9, 8, 0, tzinfo=dt.UTC)


@pytest.fixture(scope="module")
def text():
    return pipeline.next_case_text(OHIO, OHIO.parent / "next.yaml", DAY)


@pytest.fixture(scope="module")
def data(text):
    source, problems = read_text(text, "next.yaml")
    assert not problems
    return source.data


def test_what_stays_is_kept(data):
    """ensures that people, field, zones and products stand as they were typed."""
    old = read_text(OHIO.read_text(), "old")[0].data
    assert data["client"] == old["client"] and data["adviser"] == old["adviser"]
    assert data["field"]["sensitive_areas"] == old["field"]["sensitive_areas"]
    assert [(z["id"], z["area"], z["texture"]) for z in data["samples"]] == [
        (z["id"], z["area"], z["texture"]) for z in old["samples"]]
    assert [m["analysis"] for m in data["materials"] if "analysis" in m] == [
        m["analysis"] for m in old["materials"] if "analysis" in m]
    assert data["history"] == ["case.yaml"] and data["case"]["date"] == "2027-09-01"


def test_nothing_measured_or_priced_is_kept(data, text):
    """ensures that no reading, price, date, budget, note or acceptance of the last visit stays."""
    for key in ("penetrometer", "infiltration", "refractometer", "weeds", "residue", "budget",
                "notes", "accept", "overrides", "water", "forage"):
        assert key not in data, key
    assert set(data["samples"][0]) == {"id", "place", "area", "texture"}
    assert {key for m in data["materials"] for p in ("price", "freight", "spreading")
            for key in m.get(p, {})} == {"per"}
    assert data["field"]["crop"] == "soybean" and data["field"]["previous_crop"] == "corn"
    assert "yield_goal" not in data["field"] and "dates" not in data["field"]
    assert "was 24 on 2026-10-01" in text


def test_everything_open_is_a_problem(text):
    """ensures that the case cannot be advised on before it is filled in, line by line."""
    with pytest.raises(CaseProblems) as caught:
        load_bytes(text.encode(), "next.yaml", folder=OHIO.parent)
    fields = {p.field for p in caught.value.problems}
    assert {"samples[N].date", "samples[N].lab", "samples[S].increments",
            "materials[aglime].price.amount", "materials[aglime].price.date"} <= fields
    lines = [p for p in caught.value.problems if p.code == "CASE074"]
    assert len(lines) >= 8 and all(p.line > 0 for p in lines)


def test_the_plan_becomes_lines_to_complete(data):
    """ensures that each action inside the budget is there with rate, area and money."""
    advice = pipeline.advise(load_case(OHIO))
    lime = next(d for d in data["done"] if d.get("kind") == "lime")
    action = next(a for a in advice.plan.actions if a.id.startswith("lime."))
    assert lime["planned"]["rate"] == f"{action.rate:g} ton/ac"
    assert float(lime["planned"]["cost"]) == pytest.approx(action.cost_total)
    assert lime["date"] is None and lime["analysis"]["cce"] == "94 %"
    bought = [a for a in advice.plan.actions if a.rate and a.id in advice.plan.budget.chosen]
    assert len([d for d in data["done"] if "rate" in d.get("planned", {})]) == len(bought)


def test_the_date_must_be_later():
    """ensures that the next case cannot be older than the last one."""
    with pytest.raises(ImpossibleInput, match="--date"):
        pipeline.next_case_text(OHIO, OHIO.parent / "n.yaml", dt.date(2026, 1, 1))


def test_history_goes_on(tmp_path):
    """ensures that earlier cases of the last case are earlier cases of the next one too."""
    made = pipeline.next_case_text(BEANS / "case.yaml", BEANS / "later" / "next.yaml", DAY)
    data = read_text(made, "n")[0].data
    assert data["history"] == ["../earlier/2021.yaml", "../earlier/2023.yaml", "../case.yaml"]
    assert "crop" not in data["field"]


def test_profiles_are_found_from_the_new_place(tmp_path):
    """ensures that a profile's path is seen from the new case's folder."""
    (tmp_path / "profiles").mkdir()
    (tmp_path / "2026").mkdir()
    text = OHIO.read_text()
    start = text.index("client:\n")
    end = text.index("farm:\n")
    (tmp_path / "profiles" / "pruett.yaml").write_text(
        "\n".join(line[2:] for line in text[start:end].splitlines()[1:]) + "\n")
    old = tmp_path / "2026" / "case.yaml"
    old.write_text(f"{text[:start]}client: {{file: ../profiles/pruett.yaml}}\n\n{text[end:]}")
    made = pipeline.next_case_text(old, tmp_path / "2027" / "deep" / "case.yaml", DAY)
    data = read_text(made, "n")[0].data
    assert data["client"] == {"file": "../../profiles/pruett.yaml"}
    assert data["history"] == ["../../2026/case.yaml"]


def test_cases_of_a_folder(tmp_path):
    """ensures that --history finds the field's earlier cases, and only those."""
    text = (BEANS / "case.yaml").read_text()
    start, end = text.index("# Earlier cases"), text.index("# What became")
    now = tmp_path / "case.yaml"
    now.write_text(text[:start] + text[end:])
    alone = load_case(now)
    assert not alone.earlier
    found = with_earlier(alone, ROOT)
    assert [e.case.case.id for e in found.earlier] == ["mill-corner-2021", "mill-corner-2023"]
    assert found.sha256 != alone.sha256
    assert [f.name for f in found.files] == ["history/mill-corner-2021.yaml",
                                             "history/mill-corner-2023.yaml"]
    with pytest.raises(OSError):
        with_earlier(alone, tmp_path / "nowhere")


def test_the_commands(tmp_path):
    """ensures that new --from writes and says how much is open, and refuses to overwrite."""
    path = tmp_path / "e40.yaml"
    run = CliRunner().invoke
    made = run(main, ["new", "--from", str(OHIO), str(path), "--date", "2027-09-01"])
    assert made.exit_code == 0 and "things to fill in" in made.output, made.output
    assert run(main, ["new", "--from", str(OHIO), str(path)]).exit_code == 2
    assert run(main, ["new", "--from", str(OHIO), str(tmp_path / "x.yaml"), "--date",
                      "soon"]).exit_code == 2
    advised = run(main, ["advise", str(BEANS / "case.yaml"), "--history", str(BEANS), "-o",
                         str(tmp_path), "--json"])
    assert advised.exit_code == 0, advised.output
    data = json.loads((tmp_path / "mill-corner-2026.json").read_text())
    assert len(data["history"]["cases"]) == 2


def test_a_record_with_history_renders_again(tmp_path):
    """ensures that earlier cases in other folders are frozen and give the same bytes again."""
    shutil.copytree(BEANS, tmp_path / "2026")
    (tmp_path / "2023").mkdir()
    shutil.move(tmp_path / "2026" / "earlier" / "2023.yaml", tmp_path / "2023" / "case.yaml")
    case = tmp_path / "2026" / "case.yaml"
    case.write_text(case.read_text().replace("earlier/2023.yaml", "../2023/case.yaml"))
    with Store.create(tmp_path / "records", clock=lambda: MOMENT) as store:
        made = issue(case, store)
        again = rerender(store, made.number)
    assert again.same and len(again.advisory.advice.loaded.earlier) == 2


def test_an_earlier_case_of_the_same_file_name_is_attached(tmp_path):
    """ensures that ../case.yaml and case.yaml can both be in one document."""
    shutil.copytree(BEANS, tmp_path / "field")
    (tmp_path / "field" / "now").mkdir()
    shutil.move(tmp_path / "field" / "case.yaml", tmp_path / "field" / "now" / "case.yaml")
    shutil.move(tmp_path / "field" / "earlier" / "2023.yaml", tmp_path / "field" / "case.yaml")
    now = tmp_path / "field" / "now" / "case.yaml"
    now.write_text(now.read_text().replace("earlier/2023", "../case").replace(
        "- earlier/2021", "- ../earlier/2021"))
    report, _ = pipeline._paper(pipeline.advise(load_case(now)))
    names = [a.name for a in report.model.attachments]
    assert names == ["case.yaml", "earlier-2021.yaml", "2-case.yaml", "mill-corner-2026.json"]


def test_spread_manure_is_carried_on(tmp_path):
    """ensures that manure the last case says was spread stays on record for later seasons."""
    text = (BEANS / "case.yaml").read_text(encoding="utf-8")
    head, _, rest = text.partition("\ndone:\n")
    assert rest, "the sample lists what was done"
    path = tmp_path / "beans" / "case.yaml"
    shutil.copytree(BEANS, path.parent)
    path.write_text(head + "\ndone:\n" + (
        "  - {action: nutrient.P2O5.A, material: Dairy manure, kind: manure, rate: 20 ton/ac, "
        "date: 2026-04-02, analysis: {total_nitrogen: 0.5 %}}\n"
        "  - {action: nutrient.K2O.A, material: Hen manure, kind: manure, not_done: too wet}\n")
        + rest, encoding="utf-8")
    made, problems = read_text(
        pipeline.next_case_text(path, path.parent / "next.yaml", DAY), "next.yaml")
    assert not problems
    kept = made.data["earlier_applications"]
    assert [(a["material"], a["rate"], a["analysis"]) for a in kept if a["kind"] == "manure"] == [
        ("Dairy manure", "20 ton/ac", {"total_nitrogen": "0.5 %"})]
