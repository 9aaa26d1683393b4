"""Whether a signed file is still PDF/A-3 (ISO 19005-3), as far as a program can tell.

The check of pikepdf knows level B without forms and the metadata of that level. So the form
is set aside, each field's appearance is put on its page as a form XObject in its stead (so
its fonts, colours and transparency are judged like any other content), and what is said of
the metadata stream is set against our own reading of it. What ISO 19005-3, 6.4 asks of forms
and of signature fields is checked here.
"""

from __future__ import annotations

import re
from io import BytesIO

import pikepdf
from pikepdf import Array, Dictionary, Name, Pdf
from pikepdf.pdfa import check

from loambrief.archive.xmp import read_xmp

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
