"""The file as an archive copy: PDF/A-3 (ISO 19005-3), syntax, the same bytes each time."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import os
import subprocess
import sys
from pathlib import Path

import pikepdf
import pikepdf.pdfa
import pytest
from render_samples import model

from loambrief.errors import RenderFault
from loambrief.render import pdfa
from loambrief.render.pdf import render_pdf
from loambrief.report.blocks import DocumentStatus

HERE = Path(__file__).parent
ONE = """
import hashlib, sys
sys.path.insert(0, {here!r})
from render_samples import model
from loambrief.render.pdf import render_pdf
print(hashlib.sha256(render_pdf(model(figures=True))).hexdigest())
"""


def test_archive_check_passes(advisory):
    """ensures that the written file passes pikepdf's PDF/A-3b check, metadata apart.

    The checker knows level B and no schema descriptions, so its only findings may be about
    the metadata: the letter A, and the PDF/UA identifier with its description.
    """
    report = pikepdf.pdfa.validate_written(io.BytesIO(advisory), "3b")
    others = [f for f in map(str, report.findings) if "(MetadataStream)" not in f]
    assert not others
    assert all("pdfuaid" in f or "pdfaExtension" in f or "pdfaSchema" in f or "pdfaProperty" in f
               or "conformance" in f for f in map(str, report.findings))


def test_archive_check_passes_with_plain_metadata(advisory):
    """ensures that with level-B metadata the file passes without any finding."""
    with pikepdf.open(io.BytesIO(advisory)) as pdf:
        pdf.Root.Metadata = pdf.make_stream(
            pdfa.xmp_packet(model(), "lower-bench-2026", full=False).encode(),
            pikepdf.Dictionary(Type=pikepdf.Name.Metadata, Subtype=pikepdf.Name.XML))
        assert pikepdf.pdfa.check(pdf, "3b").verdict == "pass"


def test_check_refuses_what_is_not_archivable(monkeypatch):
    """ensures that a file with a script is refused, and that issued files are checked."""
    real = pdfa._attach

    def spoil(pdf, settings):
        real(pdf, settings)
        pdf.pages[0].obj.AA = pikepdf.Dictionary(
            O=pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS=pikepdf.String("1")))

    monkeypatch.setattr(pdfa, "_attach", spoil)
    with pytest.raises(RenderFault, match="not an archive file"):
        render_pdf(model(status=DocumentStatus.ISSUED, number="1"))
    assert render_pdf(model(status=DocumentStatus.DRAFT))


def test_colour_profile(pdf):
    """ensures that there is one output intent, sRGB."""
    (intent,) = pdf.Root.OutputIntents
    assert intent.S == "/GTS_PDFA1"
    assert "sRGB" in str(intent.OutputConditionIdentifier)
    assert len(intent.DestOutputProfile.read_bytes()) > 400


def test_syntax(advisory, tmp_path):
    """ensures that qpdf finds no fault in the file."""
    path = tmp_path / "advisory.pdf"
    path.write_bytes(advisory)
    done = subprocess.run(["qpdf", "--check", str(path)], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def test_same_bytes_in_one_process():
    """ensures that equal models give equal bytes, and another date does not."""
    first, second = render_pdf(model(figures=True)), render_pdf(model(figures=True))
    assert first == second
    assert render_pdf(model(figures=True, date=dt.date(2026, 10, 15))) != first


@pytest.mark.parametrize("seed,zone,locale", [("0", "UTC", "C"), ("1", "Asia/Tokyo", "C.UTF-8"),
                                              ("4711", "America/Denver", "en_US.UTF-8")])
def test_same_bytes_elsewhere(seed, zone, locale, tmp_path):
    """ensures that hash seed, folder, time zone and locale leave no trace in the file."""
    settings = {**os.environ, "PYTHONHASHSEED": seed, "TZ": zone, "LC_ALL": locale,
                "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run([sys.executable, "-c", ONE.format(here=str(HERE))], cwd=tmp_path,
                          env=settings, capture_output=True, text=True, check=True)
    here = hashlib.sha256(render_pdf(model(figures=True))).hexdigest()
    assert done.stdout.strip() == here


def test_no_trace_of_this_machine(advisory):
    """ensures that neither paths nor today's date nor a user name are in the file."""
    with pikepdf.open(io.BytesIO(advisory)) as pdf:
        buffer = io.BytesIO()
        pdf.save(buffer, compress_streams=False, stream_decode_level=pikepdf.StreamDecodeLevel.all,
                 object_stream_mode=pikepdf.ObjectStreamMode.disable)
    text = buffer.getvalue()
    for word in (str(HERE).encode(), b"/tmp", b"/home", f"{dt.date.today():%Y%m%d}".encode()):
        assert word not in text
