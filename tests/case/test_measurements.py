"""One row per measurement: every link from the case file to the page follows from the table."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from case_builders import as_bytes, minimal, sample

from loambrief import pipeline
from loambrief.case.intake_guess import recognise
from loambrief.case.intake_map import EXTRACT as MAPPED_EXTRACT
from loambrief.case.intake_map import FIELDS
from loambrief.case.load import load_bytes
from loambrief.case.measurements import (
    EXTRACT,
    PH,
    SLICE,
    layered,
    measurements,
    methods,
    of_part,
    results_by_method,
)
from loambrief.case.schema import Increment, Methods, SaturationExtract
from loambrief.render.plain import render_plain
from loambrief.topics.stratification.state import layer_state
from loambrief.units import DIMENSIONS

ROOT = Path(__file__).parents[2]
LANGUAGES = ("en", "es")
ROWS = [pytest.param(m, id=f"{m.part}.{m.field}") for m in measurements()]
SLICES = [pytest.param(m, id=m.field) for m in of_part(SLICE)]


def number(m):
    """A usual value whose digits no other row has."""
    low, high = m.usual or (5.5, 6.5)
    at = measurements().index(m)
    if m.quantity == PH:
        return round(6.21 + at / 10, 2)
    return float(f"{low + (high - low) * (0.2 + at / 1000):.4g}")


def typed(m, value=None):
    value = number(m) if value is None else value
    return value if m.quantity == PH else f"{value:g} {m.unit}"


def whole_case(language="en"):
    """A case with every measurement there is, each by the first of its methods."""
    slice_ = {m.field: typed(m) for m in of_part(SLICE)}
    extract = {m.field: typed(m) for m in of_part(EXTRACT)}
    case = minimal(samples=[sample({**slice_, "extract": extract}, texture="silt loam",
                                   methods={m: known[0] for m, known in methods().items()})])
    case["case"]["language"] = language
    return case


@pytest.fixture(scope="module", params=LANGUAGES)
def page(request):
    """Plain text of the whole case, with the model's words, in one language."""
    advice = pipeline.advise(load_bytes(as_bytes(whole_case(request.param)), "case.yaml"))
    text = render_plain(pipeline.report_model(advice)).decode()
    return " ".join(text.split()), advice


@pytest.mark.parametrize("m", ROWS)
def test_schema_field(m, schema):
    """ensures that the schema has the row's field, of its quantity, with its meaning."""
    part = {SLICE: Increment, EXTRACT: SaturationExtract}[m.part]
    assert m.field in part.model_fields
    about = schema["$defs"][m.part]["properties"][m.field]
    wanted = "a pH" if m.quantity == PH else (
        "quantity with unit: " + ", ".join(DIMENSIONS[m.quantity].accepted))
    assert any(o.get("description", "").lower().startswith(wanted.lower())
               for o in about["anyOf"])
    assert m.meaning[1:] in about["description"]


def test_no_field_without_a_row():
    """ensures that no result can be typed that the table, and so the page, does not know."""
    assert set(Increment.model_fields) == {
        "depth", "lab_number", "extract", *(m.field for m in of_part(SLICE))}
    assert set(SaturationExtract.model_fields) == {m.field for m in of_part(EXTRACT)}
    assert tuple(Methods.model_fields) == tuple(methods())
    assert all(results_by_method().values()), "a method of no result"


@pytest.mark.parametrize("m", ROWS)
def test_named_and_printed(m, page):
    """ensures that the value stands on the page as typed, with its name and its method."""
    text, advice = page
    language = advice.loaded.case.case.language
    source = (ROOT / "templates/text" / language / "report.j2").read_text()
    macro = f"{'result' if m.part == SLICE else 'extract'}_{m.field}"
    name = re.search(rf"macro {macro}\(p\) %}}(.*?){{%", source)[1]
    name = re.sub(r"\[\[([^|\]]*)(\|[^\]]*)?\]\]", r"\1", name)  # marks of glossary terms
    shown = str(typed(m))
    row = re.search(rf": {re.escape(name)} (.{{1,90}}?)(?<![\d.]){re.escape(shown)}(?!\d)", text)
    assert row, shown
    if m.method and language == "en":
        assert methods()[m.method][0] in row[1]


@pytest.mark.parametrize("m", SLICES)
def test_method_is_asked_for(m, problems):
    """ensures that a result with methods is refused without one, and only then."""
    bare = minimal(samples=[sample({m.field: typed(m)}, methods={})])
    asked = [p.field for p in problems(bare) if p.code == "CASE040"]
    assert asked == ([f"samples[B1].methods.{m.method}"] if m.method else [])


@pytest.mark.parametrize("m", ROWS)
def test_unusual_value_is_questioned(m, problems):
    """ensures that a value far above the usual range (or below it) is questioned."""
    if m.usual is None:
        assert m.field == "buffer_ph"  # judged against the fresh buffer
        return
    low, high = m.usual
    limit = 11.9 if m.quantity == PH else DIMENSIONS[m.quantity].highest
    above = high * (10 if m.quantity != PH else 1.1)
    far = low * 0.9 if limit == high else min(above, limit) if limit else above
    value = {m.field: typed(m, far)}
    case = minimal(samples=[sample(value if m.part == SLICE else {"extract": value})])
    case["samples"][0]["methods"] = {k: v[0] for k, v in methods().items()}
    assert any(p.code == "CASE104" and p.field.endswith(m.field) for p in problems(case))


@pytest.mark.parametrize("m", SLICES)
def test_layers(m, problems):
    """ensures that results that add up are checked against the whole layer, and others not."""
    value = number(m)
    rows = [{"depth": "0-2 in", m.field: typed(m, value * 3.5) if m.quantity != PH else 6.2},
            {m.field: typed(m, value)}]
    case = minimal(samples=[sample(*rows)])
    case["samples"][0]["methods"] = {k: v[0] for k, v in methods().items()}
    found = [p for p in problems(case) if p.code == "CASE106"]
    assert bool(found) == m.additive
    loaded = load_bytes(as_bytes(case), "case.yaml")
    layers = [x.name for state in map(layer_state, loaded.case.samples) for x in state.layers]
    assert layers == ([m.field] if m in layered() else [])


@pytest.mark.parametrize("m", SLICES)
def test_intake(m):
    """ensures that a lab file may hold the result and that its header spellings are found."""
    assert m.field in FIELDS and m.headers
    for header in m.headers:
        for word in header.words:
            if header.confidence >= 0.5:
                assert recognise(word)[:3] == ("result", m.field, header.form), word


def test_extract_can_be_mapped():
    """ensures that ions of the saturation extract can be taken from a lab file too."""
    assert tuple(f"extract.{m.field}" for m in of_part(EXTRACT)) == MAPPED_EXTRACT


def test_a_new_measurement_takes_few_files(tmp_path):
    """ensures that a new result comes from the case to the page, in both languages, with a row
    in the table, a field of the schema and a name in each language: 4 files of at most 7."""
    shutil.copytree(ROOT / "src" / "loambrief", tmp_path / "src" / "loambrief")
    shutil.copytree(ROOT / "templates", tmp_path / "templates")
    touched = {
        "src/loambrief/tables/case/measurements.csv": (
            "Increment,chloride,", "Increment,lithium,soil_concentration,,0.1,40,,yes,,,,"
            "0.9 = lithium|li,lithium\nIncrement,chloride,"),
        "src/loambrief/case/schema.py": (
            "    chloride: q.Concentration", "    lithium: q.Concentration | None = None\n"
            "    chloride: q.Concentration"),
        "templates/text/en/report.j2": (
            "{% macro result_chloride", "{% macro result_lithium(p) %}Lithium, Li{% endmacro %}\n"
            "{% macro result_chloride"),
        "templates/text/es/report.j2": (
            "{% macro result_chloride", "{% macro result_lithium(p) %}Litio, Li{% endmacro %}\n"
            "{% macro result_chloride"),
    }
    assert len(touched) <= 7
    for name, (old, new) in touched.items():
        path = tmp_path / name
        text = path.read_text(encoding="utf-8")
        assert text.count(old) == 1, name
        path.write_text(text.replace(old, new), encoding="utf-8")
    case = minimal(samples=[sample({"lithium": "3.14159 ppm"})])
    (tmp_path / "case.yaml").write_text(json.dumps(case))
    environment = {**os.environ, "PYTHONPATH": str(tmp_path / "src")}
    done = subprocess.run([sys.executable, "-c", """
from pathlib import Path
from loambrief import pipeline
from loambrief.case.load import load_case
from loambrief.cli import main
from loambrief.render.plain import render_plain
for language in ("en", "es"):
    model = pipeline.report_model(pipeline.advise(load_case(Path("case.yaml"), language=language)))
    Path(f"{language}.txt").write_bytes(render_plain(model))
main(["schema"])
"""], cwd=tmp_path, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    for language, name in (("en", "Lithium, Li"), ("es", "Litio, Li")):
        page = " ".join((tmp_path / f"{language}.txt").read_text(encoding="utf-8").split())
        assert re.search(rf"{name}\b.{{1,60}}?3\.14159 ppm", page)
    assert "lithium" in done.stdout
