"""The whole way: a case file in, a client PDF and its data out."""

import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy
import pypdf
import pypdfium2
import pytest
import yaml
from pdf_text import page_texts
from sample_reports import short_text

from loambrief import pipeline
from loambrief.report.text import Writer
from loambrief.tables import references

ROOT = Path(__file__).parents[1]
CASES = {p.parent.name: p for p in sorted((ROOT / "sample_inputs").glob("*/case.yaml"))}
MARGIN_PT = 36


@pytest.fixture(scope="module", params=sorted(CASES))
def advisory(request):
    return pipeline.make_advisory(CASES[request.param])


@pytest.fixture(scope="module")
def text(advisory):
    return [" ".join(page.split()) for page in page_texts(advisory.pdf)]


@pytest.fixture(scope="module")
def data(advisory):
    return json.loads(advisory.data)


def test_page_one_lets_a_grower_act(advisory, text, data):
    """ensures that page 1 holds the actions with their money, the adviser and the end date."""
    case = advisory.advice.loaded.case
    first = text[0].replace("\u00a0", " ")
    assert case.field.name in first and case.adviser.name in first
    writer = Writer(currency=case.case.currency)
    covered = [a for a in data["actions"] if a["id"] in data["budget"]["chosen"]]
    priced = [a for a in covered if a["rate"] is not None]
    priced.sort(key=lambda a: (a["optional"], a["rank"]))
    assert priced
    for action in priced[:2]:
        assert action["material"].split(",")[0] in first
        assert writer.money(data["budget"]["printed"]["actions"][action["id"]]) in first
    assert "What not to buy" in first
    assert str(case.case.valid_until.year) in first


def test_every_section_has_a_bookmark(advisory):
    """ensures that the outlines name every main part, and actions with their numbers."""
    first, annex = (" | ".join(str(i.title) for i in _flat(pypdf.PdfReader(
        io.BytesIO(data)).outline)) for data in (advisory.pdf, advisory.annex))
    for part in ("The plan", "Follow-up", "Cautions", "Record and signatures", "| 1. "):
        assert part in first
    for part in ("A1 ", "What the plan rests on", "Sources", "Results"):
        assert part in annex.replace("\u00a0", " ")


def _flat(items):
    for item in items:
        if isinstance(item, list):
            yield from _flat(item)
        else:
            yield item


@pytest.fixture(scope="module")
def annex(advisory):
    return [" ".join(page.split()) for page in page_texts(advisory.annex)]


def test_ink_stays_inside_the_margins(advisory):
    """ensures that no page has content outside its margins."""
    document = pypdfium2.PdfDocument(advisory.pdf)
    for number, page in enumerate(document, 1):
        picture = numpy.asarray(page.render(scale=1.0).to_pil().convert("L"))
        edge = picture.copy()
        edge[MARGIN_PT // 2:-MARGIN_PT // 2, MARGIN_PT:-MARGIN_PT] = 255
        assert (edge > 250).all(), f"page {number} has ink in the margin"
        assert (picture < 200).any(), f"page {number} is empty"


def test_every_number_can_be_traced(data):
    """ensures that findings and actions name recorded calculations and known sources; what the
    adviser sets names the adviser and a reason."""
    known = {c["id"] for c in data["calculations"]}
    for item in (*data["findings"], *data["actions"]):
        assert set(item["calculations"]) <= known, item["id"]
    for calculation in data["calculations"]:
        assert calculation["source"] in references()
    rated = [a for a in data["actions"] if a["rate"] is not None]
    assert rated and all(a["own_reasons"] if a["own"] else a["calculations"] for a in rated)


def test_no_rate_rests_on_weeds_or_sap(data):
    """ensures that weeds and Brix prompt measurements, and weeds work on themselves that needs
    no product: never an amount, a material or a price of the program's."""
    topic = {f["id"]: f["topic"] for f in data["findings"]}
    for action in (a for a in data["actions"] if a["own"] is None):
        behind = {topic[i] for i in action["why"]}
        if behind <= {"weeds", "refractometry"}:
            assert action["kind"] == "measure" or action["id"] == "manage.weeds"
            assert action["rate"] is None and action["material"] is None
            assert action["kind"] == "measure" or action["cost_total"] is None


def test_common_practice_is_labelled(data, annex):
    """ensures that a rule of the trade is called one, beside published evidence."""
    practice = [e for f in data["findings"] for e in f["evidence"]
                if e["grade"] == "common practice"]
    practice += [f for f in data["findings"] if f["evidence_grade"] == "common practice"]
    assert practice
    assert any("common practice" in page for page in annex)


def test_the_output_keeps_its_contract(data):
    """ensures that the data file has the promised parts."""
    assert {"schema_version", "case_id", "generated_for", "inputs_sha256", "tables_sha256",
            "loambrief_version", "findings", "actions", "not_advised", "calculations",
            "missing", "monitoring"} <= set(data)
    for finding in data["findings"]:
        assert {"id", "topic", "title", "value", "unit", "reference", "status", "severity",
                "confidence", "evidence_grade", "sources", "calculations"} <= set(finding)
    for number, action in enumerate(data["actions"], 1):
        assert action["rank"] == number
        assert {"id", "title", "material", "rate", "rate_low", "rate_high", "rate_unit",
                "exact_rate", "area", "total", "total_unit", "cost_per_area", "cost_total",
                "currency", "when", "where", "why", "depends_on", "cautions"} <= set(action)
    assert data["budget"]["spent"] <= data["budget"]["limit"]


def test_no_pesticide_is_recommended(text):
    """ensures that no weed-killer is named in an advisory."""
    whole = " ".join(text).lower()
    for word in ("glyphosate", "atrazine", "2,4-d", "dicamba", "herbicide rate"):
        assert word not in whole


def test_case_and_data_travel_with_the_document(advisory):
    """ensures that the case file and the data are attached, byte for byte."""
    attached = pypdf.PdfReader(io.BytesIO(advisory.pdf)).attachments
    assert attached["case.yaml"][0] == advisory.advice.loaded.source_text.encode()
    assert attached[f"{advisory.case_id}.json"][0] == advisory.data


@pytest.fixture(scope="module", params=[("0", False), ("4711", True)],
                ids=["short", "whole"])
def started_anew(request, tmp_path_factory):
    """A case, the files that a new process elsewhere makes of it, and its exit code: 1 if there
    is more of reportlab in it than an advisory needs."""
    folder = tmp_path_factory.mktemp("elsewhere")
    seed, whole = request.param
    case = folder / "case.yaml"
    case.write_bytes(CASES["acid_corn_ohio"].read_bytes() if whole else short_text().encode())
    environment = dict(os.environ, PYTHONHASHSEED=seed, TZ="Asia/Tokyo", LC_ALL="C",
                       PYTHONPATH=str(ROOT / "src"))
    code = ("import sys; from loambrief.cli import main; "
            "main(['advise', 'case.yaml', '-o', 'out', '-q'], standalone_mode=False); "
            "sys.exit(any(name.startswith('reportlab.platypus') for name in sys.modules))")
    done = subprocess.run([sys.executable, "-c", code], check=False, cwd=folder, env=environment)
    return case, {p.name: p.read_bytes() for p in (folder / "out").iterdir()}, done.returncode


def test_same_case_same_bytes(started_anew):
    """ensures that hash seed, process, time zone and folder leave no trace in the files."""
    case, files, _ = started_anew
    assert files == pipeline.make_advisory(case).files()


def test_advice_loads_no_second_layout_engine(started_anew):
    """ensures that a first advisory does not wait for reportlab's own page layout."""
    assert started_anew[2] == 0


def _changed(tmp_path, change, text):
    raw = yaml.safe_load(text)
    change(raw)
    path = tmp_path / "case.yaml"
    path.write_text(yaml.safe_dump(raw, sort_keys=False, allow_unicode=True), encoding="utf-8")
    return path


def test_markup_in_a_case_is_only_text(tmp_path):
    """ensures that what the case says is printed letter by letter and loads nothing."""

    def change(raw):
        raw["client"]["name"] = "A & B <Farms>"
        raw["notes"] = ['<img src="http://example.invalid/x.png"/> {{ 7 * 7 }} <b>bold</b>']

    made = pipeline.make_advisory(_changed(tmp_path, change, short_text()))
    reader = pypdf.PdfReader(io.BytesIO(made.pdf))
    whole = " ".join(" ".join(page_texts(made.pdf)).split())
    assert "A & B <Farms>" in whole
    assert '<img src="http://example.invalid/x.png"/>' in whole
    assert "{{ 7 * 7 }}" in whole and "<b>bold</b>" in whole
    assert not any(page.images for page in reader.pages)


@pytest.mark.parametrize("keep", ["samples", "penetrometer", "refractometer", "weeds"])
def test_a_case_with_almost_nothing_is_still_honest(tmp_path, keep):
    """ensures that one kind of evidence alone gives a short advisory that names the gaps."""

    def change(raw):
        for part in ("samples", "penetrometer", "infiltration", "refractometer", "weeds",
                     "residue", "forage", "water", "earlier_applications", "materials", "budget"):
            if part != keep:
                raw.pop(part, None)
        if keep == "samples":
            raw["samples"] = raw["samples"][:1]
            raw["samples"][0].pop("area")
            raw["samples"][0]["increments"] = raw["samples"][0]["increments"][1:]

    whole = CASES["acid_corn_ohio"].read_text(encoding="utf-8")
    made = pipeline.make_advisory(_changed(tmp_path, change, whole))
    data = json.loads(made.data)
    assert data["missing"], "nothing is said to be missing"
    if keep != "samples":
        assert all(a["rate"] is None for a in data["actions"])


def test_si_and_a4(tmp_path):
    """ensures that the reader's units and paper can be chosen, and that the rates set in the
    case's own units are converted, not rounded anew."""
    made = pipeline.make_advisory(CASES["acid_corn_ohio"], units="si", paper="a4")
    reader = pypdf.PdfReader(io.BytesIO(made.pdf))
    assert float(reader.pages[0].mediabox.height) == pytest.approx(841.9, abs=0.5)
    first = page_texts(made.pdf, 1)[0].replace("\u00a0", " ")
    assert "17 ha" in first
    assert "11.6 t/ha (185 bu/ac)" in first  # the yield goal, and as typed
    rates = re.findall(r"([\d.]+) t/ha(?! \()", first)
    set_rates = {a.rate for a in made.advice.plan.actions if a.rate_unit == "ton/ac"}
    assert rates and {float(r) for r in rates} <= {round(r * 2.2417, 2) for r in set_rates}


def test_bags_are_ordered_whole(tmp_path):
    """ensures that a bagged product is ordered in whole bags, and the order table says so."""

    def change(raw):
        next(m for m in raw["materials"] if m["id"] == "potash")["bag"] = "50 lb"

    made = pipeline.make_advisory(_changed(tmp_path, change, short_text()))
    orders = {o.material_id: o for o in made.advice.plan.orders}
    assert orders["potash"].ordered_lb % 50 == 0
    assert orders["potash"].ordered_lb >= orders["potash"].needed_lb
    whole = " ".join(" ".join(page_texts(made.pdf)).split()).replace("\u00a0", " ")
    assert f"{orders['potash'].ordered_lb / 50:.0f}" in whole and "50 lb" in whole


def test_page_one_is_one_page(text):
    """ensures that the summary does not run over: page 2 opens the next part."""
    assert "The field in pictures" in text[1][:200] or "The plan" in text[1][:200]
