"""Files that are not a filled sheet are refused in words, whatever they are."""

from __future__ import annotations

import io
import warnings

import pikepdf
import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_helpers import fill

from loambrief.case import sheet_read
from loambrief.case.sheet_layout import MAP_FILE
from loambrief.case.sheet_read import read_sheet, read_sheet_bytes
from loambrief.errors import CaseProblems


def refused(raw: bytes) -> str:
    with pytest.raises(CaseProblems) as caught:
        read_sheet_bytes(raw, "sheet.pdf")
    (problem,) = caught.value.problems
    assert problem.code == "CASE069" and problem.file == "sheet.pdf"
    return problem.found


def changed(pdf: bytes, change, **save) -> bytes:
    """The sheet after some change with pikepdf."""
    with pikepdf.open(io.BytesIO(pdf)) as opened, warnings.catch_warnings():
        warnings.simplefilter("ignore", pikepdf.PageCopyWarning)  # boxes without a form, on purpose
        change(opened)
        out = io.BytesIO()
        opened.save(out, **save)
    return out.getvalue()


def _script(opened):
    opened.Root.OpenAction = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="app.alert(1)")


def _script_names(opened):
    action = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="app.alert(1)")
    opened.Root.Names.JavaScript = pikepdf.Dictionary(Names=pikepdf.Array(["a", action]))


def _script_box(opened):
    opened.Root.AcroForm.Fields[0].AA = pikepdf.Dictionary(
        K=pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="1"))


def _xfa(opened):
    opened.Root.AcroForm.XFA = opened.make_stream(b"<xdp/>")


def _no_form(opened):
    del opened.Root.AcroForm


def _no_map(opened):
    del opened.attachments[MAP_FILE]


def _other_map(opened):
    del opened.attachments[MAP_FILE]
    opened.attachments[MAP_FILE] = pikepdf.AttachedFileSpec(opened, b'{"format": 2}')


def _forged_map(opened):
    raw = opened.attachments[MAP_FILE].get_file().read_bytes()
    del opened.attachments[MAP_FILE]
    opened.attachments[MAP_FILE] = pikepdf.AttachedFileSpec(
        opened, raw.replace(b'"psi"', b'"kPa"'))


def _stranger(opened):
    box = opened.make_indirect(pikepdf.Dictionary(
        Type=pikepdf.Name.Annot, Subtype=pikepdf.Name.Widget, FT=pikepdf.Name.Tx, T="salary",
        Rect=pikepdf.Array([0, 0, 9, 9]), V="1"))
    opened.pages[0].obj.Annots.append(box)


def _lost_page(opened):
    del opened.pages[-1]


@pytest.mark.parametrize(("change", "words"), [
    (_script, "scripts"), (_script_names, "scripts"), (_script_box, "script"), (_xfa, "XFA"),
    (_no_form, "without a form"), (_no_map, "without the plan"), (_other_map, "cannot be read"),
    (_forged_map, "changed"), (_stranger, "salary"), (_lost_page, "boxes missing"),
], ids=lambda v: getattr(v, "__name__", None))
def test_what_no_sheet_has(sheet, change, words):
    """ensures that scripts, foreign boxes, lost pages and a changed plan are refused."""
    assert words in refused(changed(sheet.pdf, change))


def test_passwords(sheet):
    """ensures that an encrypted sheet is refused, also with an empty user password."""
    for user in ("", "secret"):
        locked = changed(sheet.pdf, lambda _: None,
                         encryption=pikepdf.Encryption(user=user, owner="owner"))
        assert "password" in refused(locked)


def test_no_pdf_at_all():
    """ensures that text, nothing, and a PDF cut off are refused."""
    assert "not a PDF" in refused(b"date,ph\n2027-04-20,6.1\n")
    assert "not a PDF" in refused(b"")
    refused(b"%PDF-1.7\n%%EOF")
    refused(b"%PDF-1.7\n" + b"\x00\xff" * 500)


def test_somebody_elses_form():
    """ensures that another form is named as such."""
    writer = pypdf.PdfWriter()
    writer.add_blank_page(200, 200)
    writer.root_object[pypdf.generic.NameObject("/AcroForm")] = pypdf.generic.DictionaryObject(
        {pypdf.generic.NameObject("/Fields"): pypdf.generic.ArrayObject()})
    out = io.BytesIO()
    writer.write(out)
    assert "form" in refused(out.getvalue())


def test_too_large(tmp_path, monkeypatch):
    """ensures that a huge file is refused before it is read, and a map that is too long."""
    path = tmp_path / "huge.pdf"
    path.write_bytes(b"%PDF-1.7\n" + b"0" * 5000)
    monkeypatch.setattr(sheet_read, "MAX_BYTES", 4000)
    with pytest.raises(CaseProblems) as caught:
        read_sheet(path)
    assert caught.value.problems[0].code == "CASE002"


@pytest.mark.parametrize(("name", "limit", "words"), [
    ("MAX_MAP", 10, "plan of boxes"), ("MAX_PAGES", 1, "pages"), ("MAX_WIDGETS", 10, "boxes"),
])
def test_limits(sheet, monkeypatch, name, limit, words):
    """ensures that pages, boxes and the plan are counted."""
    monkeypatch.setattr(sheet_read, name, limit)
    assert words in refused(sheet.pdf)


def test_a_box_whose_parents_go_round_in_circles(sheet):
    """ensures that a loop of parents ends."""
    def loop(opened):
        first = opened.Root.AcroForm.Fields[0]
        first.Parent = first

    assert refused(changed(sheet.pdf, loop))


@settings(max_examples=15)
@given(st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), min_size=1, max_size=40))
def test_damaged_bytes(sheet_bytes, damage):
    """ensures that a damaged sheet is either read or refused, and never crashes."""
    raw = bytearray(sheet_bytes)
    for where, byte in damage:
        raw[int(where * (len(raw) - 1))] = byte
    try:
        read_sheet_bytes(bytes(raw), "sheet.pdf")
    except CaseProblems as error:
        assert error.problems


def test_control_characters_do_not_get_through(sheet):
    """ensures that text from a box holds no control or direction characters."""
    got = read_sheet_bytes(fill(sheet.pdf, {"visit/by": "a\u202eb\x07c\u2028d"}), "sheet.pdf")
    assert got.values["visit/by"] == "a b c d"
