"""Other programs' word on the finished file: qpdf, Ghostscript, and Apache PDFBox preflight.

PDFBox knows PDF/A-1b only (ISO 19005-1). That level is stricter than PDF/A-3 in all that
concerns fonts, colour, transparency and metadata. So the file must differ from it in nothing
but what the third part allows: attached files, compressed cross-references, and the number of
the part itself. With these three taken back, it must be valid PDF/A-1b.
"""

from __future__ import annotations

import io
import subprocess
from pathlib import Path
from xml.etree import ElementTree as ET

import pikepdf
import pytest
from file_bytes import stream_faults
from render_samples import model
from reportlab.pdfgen.canvas import Canvas
from sample_reports import CASES, advice, pdf

from loambrief import pipeline
from loambrief.render.join import BookPart, join
from loambrief.render.pdf import render_pdf
from loambrief.report.blocks import DocumentStatus, Paper

JARS = ("preflight", "pdfbox2", "fontbox2", "xmpbox", "commons-logging", "javax.activation",
        "jaxb-api")
"""Of Debian's libpdfbox2-java, libactivation-java and libjaxb-api-java."""
GOOD = tuple(f"{name}.pdf" for name in (
    *(name for name in CASES if name != "acid_corn_ohio"), "whole", "pack", "advisory", "annex"))
"""The Ohio sample and every other kind of file are in ``tests/sign/test_every_file.py``."""
LATER_PARTS_ALLOW = {
    "1.2.9": "attached files (ISO 19005-3, 6.8)",
    "1.4.7": "attached files (ISO 19005-3, 6.8)",
    "1.4": "cross-reference streams (PDF 1.5 and later)",
    "7.11.2": "the number of the part",
}
"""Findings of the check for part 1 that part 3 allows."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Samples, one document with every kind of block, and two bad files."""
    home = tmp_path_factory.mktemp("witnesses")
    for name in CASES:
        (home / f"{name}.pdf").write_bytes(pdf(name))
    whole = render_pdf(model(figures=True, paper=Paper.A4, status=DocumentStatus.ISSUED))
    (home / "whole.pdf").write_bytes(whole)
    (home / "pack.pdf").write_bytes(join(whole, [
        BookPart("One", lambda: whole), BookPart("Two", lambda: whole)], right_hand=True))
    made = pipeline.render(advice("vegetables_new_jersey", language="es"))
    (home / "advisory.pdf").write_bytes(made.pdf)
    (home / "annex.pdf").write_bytes(made.annex)
    (home / "annex-part-one.pdf").write_bytes(_as_part_one(made.annex))
    (home / "part-one.pdf").write_bytes(_as_part_one(whole))
    (home / "sample-part-one.pdf").write_bytes(_as_part_one(pdf("acid_corn_ohio")))
    buffer = io.BytesIO()
    canvas = Canvas(buffer, invariant=1)
    canvas.setFillAlpha(0.5)
    canvas.drawString(72, 700, "A font that is not embedded, half transparent")
    canvas.save()
    (home / "bad.pdf").write_bytes(buffer.getvalue())
    (home / "broken.pdf").write_bytes(whole.replace(b"endstream", b"endstraem", 3)[:-200])
    return home


def _as_part_one(data: bytes) -> bytes:
    """A file without what only later parts of PDF/A allow."""
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(data)) as pdf_file:
        for key in ("/Names", "/AF"):
            if key in pdf_file.Root:
                del pdf_file.Root[key]
        packet = pdf_file.Root.Metadata.read_bytes()
        assert packet.count(b"<pdfaid:part>3<") == 1
        pdf_file.Root.Metadata.write(packet.replace(b"<pdfaid:part>3<", b"<pdfaid:part>1<"))
        pdf_file.save(out, object_stream_mode=pikepdf.ObjectStreamMode.disable, static_id=True)
    return out.getvalue()


def test_qpdf(folder):
    """ensures that qpdf finds no fault in any sample, and does find one in a broken file."""
    for name in GOOD:
        done = subprocess.run(["qpdf", "--check", name], cwd=folder, capture_output=True,
                              text=True)
        assert done.returncode == 0 and not done.stderr, done.stderr
        assert "No syntax or stream encoding errors" in done.stdout
    broken = subprocess.run(["qpdf", "--check", "broken.pdf"], cwd=folder, capture_output=True)
    assert broken.returncode != 0


def test_streams_as_they_are(folder):
    """ensures that in the very bytes that a user gets each stream ends with a line, is
    compressed, and is not empty."""
    for name in GOOD:
        assert not stream_faults((folder / name).read_bytes()), name


def _ghostscript(folder, *names):
    return subprocess.run(
        ["gs", "-q", "-dBATCH", "-dNOPAUSE", "-dSAFER", "-sDEVICE=nullpage", "-dPDFSTOPONERROR",
         "-dPDFSTOPONWARNING", *names], cwd=folder, capture_output=True, text=True)


def test_ghostscript(folder):
    """ensures that Ghostscript interprets every page without a word of warning, and that the
    way it is called does stop at a broken file."""
    done = _ghostscript(folder, *GOOD)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    broken = _ghostscript(folder, "broken.pdf")
    assert broken.returncode != 0 or broken.stdout or broken.stderr


@pytest.fixture(scope="module")
def preflight(folder):
    """(valid, codes) of some files, all checked by one run of PDFBox preflight."""
    names = ["whole.pdf", "part-one.pdf", "sample-part-one.pdf", "annex-part-one.pdf", "bad.pdf"]
    listed = folder / "list.txt"
    listed.write_text("".join(f"{folder / name}\n" for name in names), encoding="utf-8")
    java = Path("/usr/share/java")
    missing = [jar for jar in JARS if not (java / f"{jar}.jar").is_file()]
    assert not missing, f"not installed: {missing}; .ci/run names the packages"
    done = subprocess.run(
        ["java", "-Xshare:auto", "-XX:TieredStopAtLevel=1", "-XX:+UseSerialGC", "-cp",
         ":".join(str(java / f"{jar}.jar") for jar in JARS),
         "org.apache.pdfbox.preflight.Validator_A1b", "xml", "group", str(listed)],
        cwd=folder, capture_output=True, text=True)
    report = folder / "list.txt.preflight.xml"
    assert report.is_file(), done.stderr
    found = {}
    for one in ET.parse(report).iter("preflight"):
        found[one.get("name")] = (one.findtext("isValid") == "true",
                                  {code.text for code in one.iter("code")})
    assert sorted(found) == sorted(names)
    return found


def test_preflight_finds_only_what_part_three_allows(preflight):
    """ensures that the finished file breaks PDF/A-1b in nothing that PDF/A-3 does not allow."""
    valid, codes = preflight["whole.pdf"]
    assert not valid and codes == set(LATER_PARTS_ALLOW)


@pytest.mark.parametrize("name", ["part-one.pdf", "sample-part-one.pdf", "annex-part-one.pdf"])
def test_preflight_passes_without_them(preflight, name):
    """ensures that without attachments, compressed cross-references and the 3 in its metadata
    the file is valid PDF/A-1b: fonts, colours, no transparency, metadata."""
    assert preflight[name] == (True, set())


def test_preflight_sees_what_is_wrong(preflight):
    """ensures that the same check refuses a font that is not embedded and transparency."""
    valid, codes = preflight["bad.pdf"]
    assert not valid
    assert any(code.startswith("3.") for code in codes)
    assert any(code.startswith(("4.", "2.")) for code in codes)
