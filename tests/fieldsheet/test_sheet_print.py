"""The printed sheets: what they ask for, who can read them, who can fill them in."""

from __future__ import annotations

import io
import re

import pdfplumber
import pdfua
import pikepdf
import pikepdf.form
import pytest
from accessible import looked_at
from pdf_text import page_texts
from pikepdf.pdfa import check
from sheet_helpers import CASE, ROOT, fill

from loambrief import pipeline
from loambrief.case.load import load_case
from loambrief.case.sheet_layout import SECTIONS, boxes, is_intact
from loambrief.case.sheet_read import read_sheet_bytes
from loambrief.report.fieldsheet_plan import plan_visit
from loambrief.report.text import Writer
from loambrief.tables import load

SMALLEST = 10.0


@pytest.fixture(scope="module")
def text(sheet):
    """The printed words, page by page."""
    return [" ".join(page.split()) for page in page_texts(sheet.pdf)]


@pytest.fixture(scope="module")
def advice():
    return pipeline.advise(load_case(CASE))


def test_what_was_missing_comes_first(text, advice):
    """ensures that the gaps of the last advisory and the safety box precede all boxes."""
    write = Writer().write
    for gap in advice.diagnosis.missing:
        assert " ".join(write(gap.what).split()) in text[0].replace("\u00a0", " ")
    for again in advice.plan.followups:
        assert " ".join(write(again.what).split()) in text[0].replace("\u00a0", " ")
    for word in ("hogweed", "parsnip", "Spurges", "Nightshades", "gloves", "wash with soap",
                 "buried lines", "thunder", "re-entry", "label"):
        assert word in text[0] + text[1], word


def test_every_box_is_a_field_with_a_name_to_hear(sheet, empty):
    """ensures that each box of the layout is one field, labelled, and in reading order.

    ISO 14289-1, 7.18.1 (a field has a name to be read) and 7.18.3 (tab order follows the
    structure).
    """
    with pikepdf.open(io.BytesIO(sheet.pdf)) as pdf:
        fields = [str(f.T) for f in pdf.Root.AcroForm.Fields]
        assert sorted(fields) == sorted(box.name for box in boxes(empty.layout))
        says = [str(f.TU) for f in pdf.Root.AcroForm.Fields]
        assert all(len(s) > 3 for s in says) and len(set(says)) == len(says)
        assert all(page.obj.Tabs == "/S" for page in pdf.pages)
        assert "/NeedAppearances" not in pdf.Root.AcroForm


def test_two_checkers_find_nothing(sheet, tmp_path):
    """ensures that two independent PDF/UA checkers report no error on the form."""
    path = tmp_path / "sheet.pdf"
    path.write_bytes(sheet.pdf)
    assert [f for o in pdfua.validate(str(path)).outcomes for f in o.findings] == []
    assert looked_at(path).findings == []


def test_it_is_an_archive_file_with_its_fonts(sheet):
    """ensures that the form font is embedded whole for WinAnsi, and that PDF/A holds.

    ISO 19005-3, 6.2.11.4 (fonts embedded), 6.3.3 (appearances). The checker knows no forms,
    so it sees the file without its form.
    """
    with pikepdf.open(io.BytesIO(sheet.pdf)) as pdf:
        font = pdf.Root.AcroForm.DR.Font.LoambriefForm
        assert font.Encoding == "/WinAnsiEncoding" and len(font.Widths) == 224
        assert len(bytes(font.FontDescriptor.FontFile2.read_bytes())) > 10_000
        assert font.Widths[ord("m") - 32] > font.Widths[ord("i") - 32] > 0
        for page in pdf.pages:
            for field in page.obj.get("/Annots", ()):
                assert "/AP" in field and "/N" in field.AP
            if "/Annots" in page.obj:
                page.obj.Annots = pikepdf.Array()
        del pdf.Root.AcroForm
        findings = [str(f) for f in check(pdf, "3b").findings]
    assert not [f for f in findings if not re.search(
        "pdfuaid|pdfaExtension|pdfaSchema|pdfaProperty|conformance", f)], findings


def test_type_is_large_and_boxes_are_wide(sheet):
    """ensures 10 pt or more everywhere, and room to write with cold hands.

    A labelled cell is 12 mm high; the box in it, below the label, at least 6 mm; boxes of the
    cone grid 8 mm.
    """
    with pdfplumber.open(io.BytesIO(sheet.pdf)) as pdf:
        sizes = {round(c["size"], 1) for page in pdf.pages for c in page.chars}
    assert min(sizes) >= SMALLEST
    with pikepdf.open(io.BytesIO(sheet.pdf)) as pdf:
        for field in pdf.Root.AcroForm.Fields:
            x0, y0, x1, y1 = (float(v) for v in field.Rect)
            least = (13.0, 13.0) if field.FT == "/Btn" else (28.0, 17.0)
            assert x1 - x0 >= least[0] - 0.1 and y1 - y0 >= least[1] - 0.1, str(field.T)


def test_boxes_do_not_overlap(sheet):
    """ensures that no field covers another one."""
    with pikepdf.open(io.BytesIO(sheet.pdf)) as pdf:
        for page in pdf.pages:
            placed = [tuple(float(v) for v in a.Rect) for a in page.obj.get("/Annots", ())]
            for i, a in enumerate(placed):
                for b in placed[i + 1:]:
                    assert a[2] <= b[0] + 0.1 or b[2] <= a[0] + 0.1 or (
                        a[3] <= b[1] + 0.1) or b[3] <= a[1] + 0.1, (a, b)


def test_grid_of_the_cone_is_one_page(sheet, empty):
    """ensures that all points by depths stand on one page of the clipboard."""
    pages = {empty.pages[f"cone/{n}/1"] for n in range(1, empty.layout.points + 1)}
    assert len(pages) == 1 and empty.layout.depths == [3, 6, 9, 12, 15, 18]


def test_numbers_of_cores_and_points(advice):
    """ensures that cores and points are what the error asks for, and never under the guides.

    CV 35 % for a mean within 20 % at 95 % takes 15 readings (own arithmetic on Student's t,
    1908); CV 40 % takes 18; 15 cores at least (Oklahoma State SF 1-98), 20 wanted (Franzen
    1997 after Swenson 1984).
    """
    plan = plan_visit(advice.loaded.case, Writer())
    assert plan.point_need.value == 15 and plan.layout.points == 15
    assert plan.core_need.value == 18 and plan.cores == 20
    assert plan.layout.slices == ["0-2 in", "0-6 in"]
    assert [z.id for z in plan.layout.zones] == ["N", "S", None]
    assert plan.large == (True, False, False)


def test_a_case_without_samples_gets_zones_of_a_guide(advice):
    """ensures that 42 ac without samples are walked in three zones of at most 20 ac.

    Penn State Agronomy Guide, table 1.2-2: at most 20 acres for one sample.
    """
    case = advice.loaded.case.model_copy(update={"samples": [], "penetrometer": None})
    plan = plan_visit(case, Writer("en", "si"))
    assert [z.id for z in plan.layout.zones] == ["Z1", "Z2", "Z3", None]
    assert plan.layout.slices == ["0-5 cm", "0-15 cm"]
    assert plan.layout.depths == [7.6, 15.2, 22.9, 30.5, 38.1, 45.7]


def test_harmful_weeds_get_no_sap_line(advice):
    """ensures that no poisonous or burning plant is put down for pressing."""
    weeds = [advice.loaded.case.weeds[0].model_copy(update={"species": s, "local_name": None})
             for s in ("Pastinaca sativa", "Solanum nigrum", "Heracleum mantegazzianum")]
    case = advice.loaded.case.model_copy(update={"weeds": weeds, "refractometer": None})
    plan = plan_visit(case, Writer())
    assert [p.name for p in plan.layout.plants if p.role == "weed"] == [None, None]


def test_moisture_by_feel(text):
    """ensures the classes of the guide, in the five words of a case.

    USDA NRCS, feel and appearance: 0-25, 25-50, 50-75, 75-100 % of available water, then
    field capacity; a weak ball breaks after two or three bounces.
    """
    page = next(p for p in text if "Moisture by feel" in p)
    for share in ("0 to 25%", "25 to 50%", "50 to 75%", "75 to 100%", "more than 100%"):
        assert share in page, share
    assert "two or three bounces" in page


def test_cover_classes():
    """ensures Daubenmire's six classes and mid-points (1959, as reprinted)."""
    rows = [(r["low_pct"], r["high_pct"], r["mid_pct"]) for r in load("weeds/cover_daubenmire")]
    assert rows == [(0, 5, 2.5), (5, 25, 15), (25, 50, 37.5), (50, 75, 62.5), (75, 95, 85),
                    (95, 100, 97.5)]


@pytest.mark.parametrize(("name", "language", "units", "only"), [
    ("saline_alfalfa_utah", "es", "si", SECTIONS),
    ("vegetables_new_jersey", "en", "us", ("cone",)),
])
def test_other_fields_languages_units(name, language, units, only):
    """ensures that sheets of other fields, in Spanish, metric or in part, read back empty."""
    path = ROOT / "sample_inputs" / name / "case.yaml"
    advice = pipeline.advise(load_case(path, units=units, language=language, paper="a4"))
    made = pipeline.field_sheet_file(advice, only, blank=1)
    got = read_sheet_bytes(made.pdf, "s.pdf")
    assert got.values == {} and is_intact(got.layout) and got.layout.sheet == made.sheet
    assert set(got.layout.sections) == set(only)


def test_same_bytes(sheet, advice):
    """ensures that the same case gives the same sheet, byte for byte."""
    assert pipeline.field_sheet_file(advice, SECTIONS).pdf == sheet.pdf


def test_pikepdf_fills_it_in(sheet):
    """ensures that a second library writes values, with pictures in the embedded font."""
    with pikepdf.open(io.BytesIO(sheet.pdf)) as pdf:
        form = pikepdf.form.Form(pdf, pikepdf.form.DefaultAppearanceStreamGenerator)
        form["cone/1/1"].value = "175"
        form["visit/by"].value = "I. Varga"
        form["soil/1/residue=1"].checked = True
        drawn = pdf.Root.AcroForm.Fields[1].AP.N
        assert b"LoambriefForm" in drawn.read_bytes()
        out = io.BytesIO()
        pdf.save(out)
    got = read_sheet_bytes(out.getvalue(), "s.pdf")
    assert got.values == {"cone/1/1": "175", "visit/by": "I. Varga", "soil/1/residue=1": "yes"}


def test_pypdf_fills_it_in(sheet):
    """ensures that accented text and ticks come back as they were written."""
    values = {"remarks": "Suelo húmedo\nañejo", "soil/1/fizz=3": "/Yes", "water/1": "12,5"}
    got = read_sheet_bytes(fill(sheet.pdf, values), "s.pdf")
    assert got.values == {"remarks": "Suelo húmedo\nañejo", "soil/1/fizz=3": "yes",
                          "water/1": "12,5"}
