"""Hostile files: verify stays within its time and memory, and says what it did not read."""

from __future__ import annotations

import io
import time
import zlib

import pytest
import sign_samples as samples

from loambrief.archive import verify_apart
from loambrief.archive.facts import FactState
from loambrief.archive.pdf_parts import LARGEST_FILE, MOST_REVISIONS, too_much
from loambrief.archive.verify_apart import ReadLimits, inspect_apart
from loambrief.archive.verify_pdf import inspect

TIGHT = ReadLimits(memory=640, seconds=3)


def pdf(*objects: bytes, root: int = 1, trailer: bytes = b"") -> bytes:
    """A small file from the bodies of its objects."""
    out, offsets = io.BytesIO(b""), []
    out.write(b"%PDF-1.7\n")
    for number, body in enumerate(objects, 1):
        offsets.append(out.tell())
        out.write(b"%d 0 obj\n%s\nendobj\n" % (number, body))
    at = out.tell()
    out.write(b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1))
    out.writelines(b"%010d 00000 n \n" % offset for offset in offsets)
    out.write(b"trailer\n<< /Size %d /Root %d 0 R %s>>\nstartxref\n%d\n%%%%EOF\n"
              % (len(objects) + 1, root, trailer, at))
    return out.getvalue()


def stream(content: bytes, entries: bytes = b"") -> bytes:
    return b"<< /Length %d %s>>\nstream\n%s\nendstream" % (len(content), entries, content)


def form(value: bytes) -> bytes:
    return (b"<< /Type /Catalog /AcroForm << /Fields [2 0 R] /SigFlags 3 >> /Pages 3 0 R "
            b"/Names << /EmbeddedFiles << /Names [(a) 4 0 R] >> >> " + value + b">>")


def deep(count: int) -> bytes:
    return pdf(b"<< /Type /Catalog /A " + b"[" * count + b"]" * count + b">>")


def zip_bomb() -> bytes:
    """An attachment of 192 MiB in less than a kilobyte: deflated zeros, deflated again."""
    once = zlib.compressobj(1)
    inner = b"".join(once.compress(bytes(1 << 24)) for _ in range(12)) + once.flush()
    twice = zlib.compress(zlib.compress(inner))
    assert len(twice) < 4096
    return pdf(
        form(b""), b"<< /FT /Sig /T (Adviser) >>", b"<< /Type /Pages /Kids [] /Count 0 >>",
        b"<< /Type /Filespec /UF (case.yaml) /EF << /F 5 0 R >> >>",
        stream(twice, b"/Filter [/FlateDecode /FlateDecode /FlateDecode] "))


def xref_loop() -> bytes:
    """Two cross-reference tables that name each other as the one before."""
    base = pdf(b"<< /Type /Catalog >>")
    start = base.index(b"xref\n")
    return base.replace(b"/Root 1 0 R ", b"/Root 1 0 R /Prev %d " % start)


def many_revisions(count: int) -> bytes:
    base = pdf(b"<< /Type /Catalog >>")
    out, before = io.BytesIO(), base.index(b"xref\n")
    out.write(base)
    for _ in range(count):
        at = out.tell()
        out.write(b"xref\n0 0\ntrailer\n<< /Size 2 /Root 1 0 R /Prev %d >>\nstartxref\n%d\n"
                  b"%%%%EOF\n" % (before, at))
        before = at
    return out.getvalue()


def field_loop() -> bytes:
    """Fields that are each other's children."""
    return pdf(b"<< /Type /Catalog /AcroForm << /Fields [2 0 R] >> >>",
               b"<< /T (a) /Kids [3 0 R] >>", b"<< /T (b) /Parent 2 0 R /Kids [2 0 R] >>")


def names_loop() -> bytes:
    """A tree of attachments that contains itself."""
    return pdf(b"<< /Type /Catalog /AcroForm << /Fields [] >> "
               b"/Names << /EmbeddedFiles 2 0 R >> >>", b"<< /Kids [2 0 R 2 0 R] >>")


def self_reference() -> bytes:
    return pdf(b"<< /Type /Catalog /AcroForm 2 0 R >>", b"2 0 R")


def many_fields() -> bytes:
    """A hundred thousand fields."""
    kids = b"".join(b"2 0 R " for _ in range(100_000))
    return pdf(b"<< /Type /Catalog /AcroForm << /Fields [" + kids + b"] >> >>",
               b"<< /T (a) /FT /Sig >>")


def huge_contents() -> bytes:
    """A signature of sixteen megabytes of nested sets."""
    nested = b"30800000" * (1 << 19)
    return pdf(
        form(b""), b"<< /FT /Sig /T (Adviser) /V 6 0 R >>",
        b"<< /Type /Pages /Kids [] /Count 0 >>", b"<< >>", b"<< >>",
        b"<< /Type /Sig /SubFilter /ETSI.CAdES.detached /ByteRange [0 10 20 30] /Contents <"
        + nested + b"> >>")


APART = {"zip_bomb": zip_bomb, "deep": lambda: deep(200_000), "many_fields": many_fields,
         "huge_contents": huge_contents}
"""Files that could exhaust or crash a process."""
HERE = {f.__name__: f for f in (xref_loop, field_loop, names_loop, self_reference)}
HERE["shallow"] = lambda: deep(900)
HERE["revisions"] = lambda: many_revisions(5000)
"""Files that could keep a parser from ending."""


@pytest.mark.parametrize("name", APART)
def test_bombs_are_bounded(name, apart):
    """ensures that a hostile file is answered within the limits, and is never good."""
    found = inspect_apart(APART[name](), now=samples.NOW, limits=TIGHT)
    (spent,) = apart
    assert 0 < spent < TIGHT.seconds + 2  # a second until it is killed, one for the system
    assert FactState.BAD in {f.state for f in found.facts}


@pytest.mark.parametrize("name", HERE)
def test_loops_end(name):
    """ensures that what names itself does not keep the reader going."""
    begin = time.process_time()
    found = inspect(HERE[name](), now=samples.NOW)
    assert time.process_time() - begin < 20
    assert FactState.BAD in {f.state for f in found.facts}


def test_too_large_or_too_many_is_refused_unread(monkeypatch):
    """ensures that size, revisions and objects are limited before a process is even started."""
    monkeypatch.setattr(verify_apart.subprocess, "run", None)
    for data in (b"%PDF-" + bytes(LARGEST_FILE), many_revisions(MOST_REVISIONS + 1),
                 b"%PDF-" + b"1 0 obj " * 300_001, b"PK\x03\x04"):
        assert too_much(data)
        (fact,) = inspect_apart(data, now=samples.NOW).facts
        assert fact.state is FactState.BAD


def test_limits_hold(signed, monkeypatch):
    """ensures that a process over its memory or time is ended, and the file counts as unread."""
    (fact,) = inspect_apart(signed, now=samples.NOW, limits=ReadLimits(memory=60, seconds=5)).facts
    assert fact.state is FactState.BAD and "60 MiB" in fact.text
    sleeper = "import time; time.sleep(300)"
    real = verify_apart.subprocess.run
    monkeypatch.setattr(verify_apart.subprocess, "run",
                        lambda args, **more: real([args[0], "-c", sleeper], **more))
    (fact,) = inspect_apart(signed, now=samples.NOW, limits=ReadLimits(seconds=1)).facts
    assert fact.state is FactState.BAD and "longer than 5 s" in fact.text  # its own clock's word


def test_the_process_gets_no_secrets(signed, monkeypatch):
    """ensures that the environment of the reading process holds no passphrase."""
    seen = {}
    real = verify_apart.subprocess.run
    monkeypatch.setenv("SIGNING_PASSPHRASE", "kestrel")
    monkeypatch.setattr(verify_apart.subprocess, "run",
                        lambda args, **more: seen.update(more["env"]) or real(args, **more))
    found = inspect_apart(signed, [samples.adviser().der], now=samples.LATER)
    assert "kestrel" not in seen.values() and set(seen) <= set(verify_apart.KEPT)
    assert found.state("readable") is FactState.GOOD


def test_apart_and_here_say_the_same(signed, anchors):
    """ensures that nothing is lost on the way between the two processes."""
    here = inspect(signed, anchors, now=samples.LATER)
    assert inspect_apart(signed, anchors, now=samples.LATER) == here
    assert here.attached["case.yaml"] == samples.CASE
