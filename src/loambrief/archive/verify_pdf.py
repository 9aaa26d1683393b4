"""Facts about a signed file that the file and the trust anchors alone decide.

Standards behind the facts: ISO 32000-1, 12.8 (signatures, DocMDP, incremental updates); ETSI
EN 319 142-1 (PAdES); RFC 5652 (CMS); RFC 3161 (timestamps); ISO 19005-3 (PDF/A-3). This runs
in a process of its own with limits (``verify_apart``): the file may be hostile.
"""

import datetime as dt
import hashlib
import logging
import re
from collections.abc import Mapping
from io import BytesIO

import pikepdf
from asn1crypto import x509
from pikepdf import Array, Dictionary, Name, Pdf
from pikepdf.pdfa import check
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.fields import enumerate_sig_fields
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature
from pyhanko.sign.validation.status import SignatureCoverageLevel

from loambrief.archive.canonical import sha256
from loambrief.archive.facts import TRUST, Anchors, FactState, Inspection
from loambrief.archive.pdf_parts import attachments, open_pdf, stated_in
from loambrief.archive.verify_signature import Pass, one_signature, timestamps
from loambrief.archive.xmp import read_xmp
from loambrief.report.parts import ADVISER_FIELD, CLIENT_FIELD

for _name in ("pyhanko", "pyhanko_certvalidator"):
    logging.getLogger(_name).addHandler(logging.NullHandler())

GOOD, BAD, UNKNOWN, NONE = FactState
_EVERYTHING = Exception
"""What parsers raise on a hostile file is beyond listing; none of it is more than «malformed»."""


def inspect(data: bytes, anchors: Anchors = (), *, now: dt.datetime,
            archival: bool = True) -> Inspection:
    """Every fact about a file, in this process.

    Parameters
    ----------
    anchors : mapping of str to sequence of bytes, or sequence of bytes
        Trusted certificates, DER, by role (:data:`loambrief.archive.facts.TRUST`); a plain
        sequence is trusted in each.
    now : datetime
        Moment of the check, with time zone.
    archival : bool
        Look at PDF/A too (about 0.02 s a page).

    Returns
    -------
    Inspection
        Whatever the file is; faults are facts, not errors.
    """
    given = anchors if isinstance(anchors, Mapping) else dict.fromkeys(TRUST, anchors)
    seen = Pass(data, {role: [x509.Certificate.load(a) for a in given.get(role, ())]
                       for role in TRUST}, now)
    try:
        reader = open_pdf(data)
        fields = list(enumerate_sig_fields(reader, filled_status=True))
        found = sorted((EmbeddedPdfSignature(reader, f.get_object(), name)
                        for name, _, f in fields), key=lambda s: s.signed_revision)
        files = attachments(reader.root)
    except _EVERYTHING as error:
        seen.say("readable", BAD, f"The file cannot be read as a signed PDF: {_said(error)}.")
        return Inspection(tuple(seen.facts))
    seen.say("readable", GOOD, "The file can be read.")
    stated = stated_in(files)
    seen.stated = stated
    _status(seen, stated)
    _who_signed(seen, found)
    try:
        times = timestamps(seen, reader, found)
        for signature in found:
            if signature.sig_object_type != "/DocTimeStamp":
                one_signature(seen, reader, signature, times)
        _whole(seen, reader, found)
    except _EVERYTHING as error:
        seen.say("readable", BAD, f"The signatures cannot be read: {_said(error)}.")
    if archival:
        _archival(seen)
    _attached(seen, files, stated)
    return Inspection(
        tuple(seen.facts), tuple(seen.signatures),
        {name: content for name, (content, _, _) in files.items()},
        {name: text for name, (_, text, _) in files.items()}, stated, ends_of(data))


def ends_of(data: bytes) -> tuple[int, ...]:
    """Where each revision of a file ends [byte], the end-of-line after ``%%EOF`` included."""
    return tuple(m.end() for m in re.finditer(rb"%%EOF(?:\r\n|\n|\r)?", data))


def _said(error: BaseException) -> str:
    text = " ".join(str(error).split())[:160].rstrip(".")
    return text or type(error).__name__


def _status(seen: Pass, stated: dict) -> None:
    status = stated.get("status")
    if status == "issued":
        number = f"{stated.get('number')}, revision {stated.get('revision')}"
        seen.say("status", GOOD, f"It is an issued advisory, number {number}.")
    elif status is None:
        seen.say("status", BAD, "It holds no data of an advisory of this program.")
    else:
        seen.say("status", BAD, f"It is not an issued advisory: its data say {status!r}.")


def _who_signed(seen: Pass, found: list[EmbeddedPdfSignature]) -> None:
    """Which fields are signed, and whether any of them should not be."""
    names = [s.field_name for s in found if s.sig_object_type != "/DocTimeStamp"]
    strange = [n for n in names if n not in (ADVISER_FIELD, CLIENT_FIELD)]
    if not names:
        seen.say("signed", BAD, "Nobody has signed the file.")
    elif strange:
        seen.say("signed", BAD, f"A signature stands in an unexpected field: {strange[0]!r}.")
    elif names[0] != ADVISER_FIELD:
        seen.say("signed", BAD, "The adviser has not signed first.")
    else:
        both = "adviser and client have" if CLIENT_FIELD in names else "the adviser has"
        seen.say("signed", GOOD, f"{both.capitalize()} signed.")


def _whole(seen: Pass, reader: PdfFileReader, found: list[EmbeddedPdfSignature]) -> None:
    """Whether every byte of the file is under some signature."""
    last = found[-1] if found else None
    if last is None:
        seen.say("whole", NONE, "Without a signature no byte is protected.")
    elif last.evaluate_signature_coverage() == SignatureCoverageLevel.ENTIRE_FILE:
        seen.say("whole", GOOD, "Every byte of the file is under a signature or timestamp.")
    else:
        revisions = reader.xrefs.total_revisions - 1 - last.signed_revision
        changed = any(f.id == "changes" and f.state is BAD for f in seen.facts)
        if revisions and not changed and ends_of(seen.data)[-1:] == (len(seen.data),):
            seen.say("whole", UNKNOWN, "Validation data at the end of the file are under no "
                     "signature.")
        else:
            seen.say("whole", BAD, "Bytes at the end of the file are under no signature.")


def _archival(seen: Pass) -> None:
    try:
        faults = archival_faults(seen.data)
    except Exception as error:  # pikepdf's own and qpdf's errors
        seen.say("archival", BAD, f"It is no archive file: {_said(error)}.")
        return
    if faults:
        seen.say("archival", BAD, f"It is no archive file (PDF/A-3): {faults[0]}"
                 + (f" (and {len(faults) - 1} more)." if len(faults) > 1 else "."))
    else:
        seen.say("archival", GOOD, "It is still an archive file (PDF/A-3, as far as a program "
                 "can tell).")


def _attached(seen: Pass, files: dict, stated: dict) -> None:
    """Whether the attached case is the one whose digest the attached data record."""
    from loambrief.case.profiles import ProfileFile, digest

    if not stated or "case.yaml" not in files:
        seen.say("data", BAD if seen.signatures else NONE, "Case and data are not attached.")
        return
    for name, (content, _, checksum) in files.items():
        if checksum and hashlib.md5(content, usedforsecurity=False).hexdigest() != checksum:
            seen.say("data", BAD, f"The attached file {name} differs from its own checksum.")
            return
    profiles = [ProfileFile(text, sha256(content), "") for name, (content, text, _)
                in files.items() if name not in ("case.yaml", stated["file"])]
    if digest(sha256(files["case.yaml"][0]), profiles) != stated.get("inputs_sha256"):
        seen.say("data", BAD, "The attached case is not the one the attached data were made from.")
        return
    seen.say("data", GOOD, "The attached case is the one the attached data were made from.")


_EXPECTED = re.compile("pdfuaid|pdfaExtension|pdfaSchema|pdfaProperty|conformance")
_PAIRS = (("/Title", "dc:title"), ("/Author", "dc:creator"), ("/Subject", "dc:description"),
          ("/Keywords", "pdf:Keywords"), ("/Creator", "xmp:CreatorTool"),
          ("/Producer", "pdf:Producer"))


def archival_faults(data: bytes) -> list[str]:
    """What keeps a file from being PDF/A-3; empty if nothing is found.

    Raises
    ------
    pikepdf.PdfError, ValueError
        The file cannot be read.
    """
    with pikepdf.open(BytesIO(data)) as pdf:
        faults = _form_faults(pdf) + metadata_faults(pdf)
        _set_fields_aside(pdf)
        for finding in check(pdf, "3b").findings:
            text = str(finding)
            if not ("(MetadataStream)" in text and _EXPECTED.search(text)):
                faults.append(" ".join(text.split())[:200])
    return faults


def _widgets(pdf: Pdf):
    return [(page, item) for page in pdf.pages for item in page.obj.get("/Annots", ())
            if item.get("/Subtype") == "/Widget"]


def _form_faults(pdf: Pdf) -> list[str]:
    """ISO 19005-3, 6.4.1: no XFA, no appearances made by the reader, one per field, no actions."""
    faults = []
    form = pdf.Root.get("/AcroForm", Dictionary())
    if "/XFA" in form or form.get("/NeedAppearances", False):
        faults.append("the form leaves its appearance to the reader")
    for _, item in _widgets(pdf):
        name = str(item.get("/T", "?"))
        flags = int(item.get("/F", 0))
        if not flags & 4 or flags & (1 | 2 | 32):
            faults.append(f"field {name} is not printed or is hidden")
        if "/A" in item or "/AA" in item:
            faults.append(f"field {name} carries an action")
        look = item.get("/AP", Dictionary())
        size = [float(v) for v in item.Rect]
        empty = size[0] == size[2] and size[1] == size[3]
        if (list(look.keys()) != ["/N"] or not isinstance(look.N, pikepdf.Stream)) and not empty:
            faults.append(f"field {name} has not one normal appearance")
    return faults


def _set_fields_aside(pdf: Pdf) -> None:
    """Each field's appearance becomes content of its page; the form goes."""
    for number, (page, item) in enumerate(_widgets(pdf)):
        look = item.get("/AP", Dictionary()).get("/N")
        if isinstance(look, pikepdf.Stream):
            page.add_resource(look, Name.XObject, Name(f"/Field{number}"))
            page.contents_add(pdf.make_stream(b"\nq /Field%d Do Q" % number))
    for page in pdf.pages:
        items = page.obj.get("/Annots")
        if items is not None:
            page.obj.Annots = Array([i for i in items if i.get("/Subtype") != "/Widget"])
    for key in ("/AcroForm", "/Perms", "/DSS", "/Extensions"):
        if key in pdf.Root:
            del pdf.Root[key]


def metadata_faults(pdf: Pdf) -> list[str]:
    """Identifier of PDF/A-3, and the same in XMP and information dictionary (6.6.2, 6.6.3)."""
    stream = pdf.Root.get("/Metadata")
    if not isinstance(stream, pikepdf.Stream):
        return ["no metadata"]
    try:
        found = read_xmp(stream.read_bytes())
    except ValueError as error:
        return [f"metadata cannot be read: {error}"]
    faults = []
    if found.get("pdfaid:part") != "3" or found.get("pdfaid:conformance") not in ("A", "B", "U"):
        faults.append("the metadata do not name PDF/A-3")
    info = pdf.trailer.get("/Info", Dictionary())
    for key, name in _PAIRS:
        stated = str(info[key]) if key in info else ""
        if stated != found.get(name, ""):
            faults.append(f"{key[1:]} differs between the two kinds of metadata")
    return faults
