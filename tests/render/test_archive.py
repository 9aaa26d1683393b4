"""The file as an archive copy: PDF/A-3 (ISO 19005-3), syntax, the same bytes each time."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import os
import re
import subprocess
import sys
from pathlib import Path

import pikepdf
import pikepdf.pdfa
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import NameOID
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign import signers
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
    """ensures that pikepdf's PDF/A-3b check finds nothing but what it cannot judge.

    It knows level B, no schema descriptions and no forms; so, with the signature field set
    aside, findings may only be about the letter A and the PDF/UA identifier.
    """
    with pikepdf.open(io.BytesIO(advisory)) as pdf, pdfa._without_fields(pdf):
        findings = [str(f) for f in pikepdf.pdfa.check(pdf, "3b").findings]
    assert findings
    for finding in findings:
        assert "(MetadataStream)" in finding
        assert re.search("pdfuaid|pdfaExtension|pdfaSchema|pdfaProperty|conformance", finding)


def test_archive_check_passes_with_plain_metadata(advisory):
    """ensures that with level-B metadata and no form the file passes without any finding."""
    with pikepdf.open(io.BytesIO(advisory)) as pdf:
        pdf.Root.Metadata = pdf.make_stream(
            pdfa.xmp_packet(model(), "lower-bench-2026", full=False).encode(),
            pikepdf.Dictionary(Type=pikepdf.Name.Metadata, Subtype=pikepdf.Name.XML))
        with pdfa._without_fields(pdf):
            assert pikepdf.pdfa.check(pdf, "3b").verdict == "pass"
        assert "/AcroForm" in pdf.Root


def test_signing_keeps_the_file_accessible(advisory, accessibility_faults):
    """ensures that signing the prepared field leaves no accessibility fault and a whole file."""
    signer = _signer()
    source = IncrementalPdfFileWriter(io.BytesIO(advisory))
    signed = signers.sign_pdf(source, signers.PdfSignatureMetadata(field_name="Adviser"),
                              signer=signer, existing_fields_only=True)
    assert signed.getvalue().startswith(advisory)
    assert not accessibility_faults(signed.getvalue())
    (field,) = PdfFileReader(signed).embedded_regular_signatures
    assert field.compute_integrity_info() is None and field.coverage.name == "ENTIRE_FILE"


def _signer():
    """A signer with a key and certificate made for this test."""
    key = rsa.generate_private_key(public_exponent=65537, key_size=2048)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Test adviser")])
    certificate = (
        x509.CertificateBuilder().subject_name(name).issuer_name(name)
        .public_key(key.public_key()).serial_number(1)
        .not_valid_before(dt.datetime(2026, 1, 1)).not_valid_after(dt.datetime(2036, 1, 1))
        .sign(key, hashes.SHA256())
    )
    secret = serialization.BestAvailableEncryption(b"test")
    packed = pkcs12.serialize_key_and_certificates(b"x", key, certificate, None, secret)
    return signers.SimpleSigner.load_pkcs12_data(packed, other_certs=[], passphrase=b"test")


def test_check_refuses_what_is_not_archivable(monkeypatch):
    """ensures that a file with a script is refused, and that issued files are checked."""
    real = pdfa._attach

    def spoil(canvas, settings):
        real(canvas, settings)
        canvas.catalog["OpenAction"] = "<</S/JavaScript/JS(1)>>"

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
