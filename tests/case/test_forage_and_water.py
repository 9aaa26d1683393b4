"""Forage and water tests: every result a report may carry is read, printed, and kept as data."""

import re
from pathlib import Path

import pytest
from case_builders import as_bytes, minimal

from loambrief import pipeline
from loambrief.case.intake_kinds import fields_of
from loambrief.case.load import load_bytes
from loambrief.case.measurements import path_of
from loambrief.case.schema import Forage, Water
from loambrief.findings.model import Status
from loambrief.render.plain import render_plain
from loambrief.report.results_data import measured_data
from loambrief.units import Quantity

TEXT = Path(__file__).parents[2] / "templates" / "text"
PPM = ("copper", "zinc", "manganese", "iron", "molybdenum", "selenium", "nitrate")
WATER_UNITS = {"ec": "dS/m", **dict.fromkeys(
    ("calcium", "magnesium", "sodium", "potassium", "bicarbonate", "carbonate", "sulfate",
     "chloride"), "mg/L"), **dict.fromkeys(
    ("boron", "nitrate_n", "iron", "manganese", "copper", "zinc", "selenium", "molybdenum",
     "dissolved_solids"), "mg/L")}


def names(kind):
    return [path_of(name)[-1] for name in fields_of(kind)]


def typed(kind, field):
    """A value whose digits no other result has."""
    at = names(kind).index(field)
    if field == "ph":
        return 7.43
    if kind == "forage":
        return f"{310 + at} ppm" if field in PPM else f"{20.11 + at / 100:.2f} %"
    return f"{1.01 + at / 100:.2f} {WATER_UNITS[field]}"


@pytest.fixture(scope="module", params=["en", "es"])
def whole(request):
    """A case with every result, its advice and its plain text."""
    case = minimal()
    case["case"]["language"] = request.param
    case["field"]["irrigation"] = "drip"
    case["forage"] = [{"id": "h1", "kind": "grass", "date": "2026-06-02", "nitrate_as": "no3-n",
                       **{f: typed("forage", f) for f in names("forage")}}]
    case["water"] = {"source": "well 2", "date": "2026-05-01",
                     **{f: typed("water", f) for f in names("water")}}
    advice = pipeline.advise(load_bytes(as_bytes(case), "case.yaml"))
    text = " ".join(render_plain(pipeline.report_model(advice)).decode().split())
    return request.param, advice, text.replace("\u00a0", " ")


@pytest.mark.parametrize("kind", ["forage", "water"])
def test_every_result_is_printed_as_typed(whole, kind):
    """ensures that each result stands in the results with its name and its typed value."""
    language, _, text = whole
    source = (TEXT / language / "report.j2").read_text(encoding="utf-8")
    for field in names(kind):
        name = re.search(rf"macro {kind}_{field}\(p\) %}}(.*?){{%", source)[1]
        name = re.sub(r"\[\[([^|\]]*)(\|[^\]]*)?\]\]", r"\1", name)  # marks of glossary terms
        test = {"forage": "h1", "water": "well 2"}[kind]
        assert f": {name} {test}: {typed(kind, field)}" in text, (name, typed(kind, field))


def test_every_result_is_in_the_data(whole):
    """ensures that the data of an advisory holds each result in house units, so that a season
    can count it: sulfate of 96.06 mg/L is 2 meq/L (atomic weights, IUPAC)."""
    _, advice, _ = whole
    found = {t["kind"]: t["layers"][0]["results"] for t in measured_data(advice.loaded.case)}
    assert set(found["forage"]) == set(names("forage"))
    assert set(found["water"]) == set(names("water"))
    sulfate = float(str(typed("water", "sulfate")).split()[0])
    assert found["water"]["sulfate"] == {"value": pytest.approx(sulfate / 48.03, rel=1e-3),
                                         "unit": "meq/L"}


def test_no_result_is_left_out_of_intake():
    """ensures that every result of the schema can be taken in from a report, and none more."""
    for kind, model in (("forage", Forage), ("water", Water)):
        held = {name for name, about in model.model_fields.items()
                if Quantity in getattr(about.annotation, "__args__", ())
                or "Quantity" in str(about.annotation) or name == "ph"}
        assert held == set(names(kind)), kind


def test_what_water_brings_and_what_clogs(whole):
    """ensures that a foot of water with 1 mg/L brings 2.72 lb/ac (1,233,482 L an acre-foot,
    453.6 g a pound: NIST Handbook 44), sulfate as sulfur, and that limits for drip emitters
    are used under drip alone (FAO 29, table 19; from memory, unverified)."""
    _, advice, _ = whole
    found = {f.id: f for f in advice.diagnosis.findings}
    loads = {r.inputs["mg_l"]: r.value for r in found["salinity.water.load"].results}
    boron = float(str(typed("water", "boron")).split()[0])
    assert loads[boron] == pytest.approx(2.7194 * boron, rel=1e-4)
    sulfate = float(str(typed("water", "sulfate")).split()[0])
    assert any(mg_l == pytest.approx(sulfate / 2.9959, rel=1e-3) for mg_l in loads)
    clogging = found["salinity.water.clogging"]
    assert clogging.status is Status.WATCH and not clogging.needs
    assert {str(r.inputs["constituent"]): r.value for r in clogging.results} == {
        "iron": "slight to moderate", "manganese": "slight to moderate",
        "dissolved solids": "none", "ph": "slight to moderate"}
