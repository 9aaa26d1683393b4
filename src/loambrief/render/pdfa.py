"""Tagged pages to a PDF/A-3a file: metadata, colour profile, attachments, archive check.

ISO 19005-3 (PDF/A-3) and ISO 14289-1 (PDF/UA-1). Level A adds tags, language and Unicode for
all text to level B: the tag layer and the fonts provide them. The metadata holds the PDF/UA
identifier with its schema description, as ISO 19005-3, 6.6.2.3 wants it. The check knows level
B, the metadata of that level only, and no forms; so a copy with such metadata and without its
fields is checked. Nothing else differs between what is checked and what is written.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from html import escape
from io import BytesIO
from typing import TYPE_CHECKING

from loambrief import __version__
from loambrief.errors import RenderFault, ResourceMissing
from loambrief.render.compose import clean
from loambrief.render.pdf_file import write_file
from loambrief.render.structure import write_outline, write_tree
from loambrief.render.tags import TaggedCanvas, text_string
from loambrief.report.blocks import ReportModel
from loambrief.resources import templates_dir

if TYPE_CHECKING:
    from pikepdf import Pdf

FLAVOUR = "3b"
SAVING = {"deterministic_id": True, "min_version": "1.7"}


def archive_file(canvas: TaggedCanvas, model: ReportModel, number: str, *,
                 checked: bool) -> bytes:
    """The finished file of tagged pages, with the metadata and attachments of the model.

    ``number`` is that of the advisory as printed. If ``checked``, raises RenderFault unless the
    file passes as PDF/A-3b.
    """
    canvas.catalog["Lang"] = text_string(model.language)
    write_outline(canvas)
    canvas.write_areas()
    write_tree(canvas)
    _attach(canvas, model)
    _colours(canvas)
    packet = xmp_packet(model, number, full=True).encode("utf-8")
    metadata = canvas.reserve_stream(packet, "/Type/Metadata/Subtype/XML", packed=False)
    canvas.catalog["Metadata"] = f"{metadata} 0 R"
    info = canvas.reserve()
    canvas.written[info] = _information(model, number)
    data = write_file(canvas.document, canvas.written, canvas.catalog, info)
    if canvas.boxes:
        data = _dressed(data)
    if checked:
        _check(data, model, number)
    return data


def _dressed(data: bytes) -> bytes:
    """The file with what its boxes to fill in need."""
    import pikepdf
    from pikepdf.pdfa import resolve_save_kwargs

    from loambrief.render.form_appearance import dress_form

    with pikepdf.open(BytesIO(data)) as pdf:
        dress_form(pdf)
        out = BytesIO()
        pdf.save(out, **resolve_save_kwargs(FLAVOUR, **SAVING))
    return out.getvalue()


def _check(data: bytes, model: ReportModel, number: str) -> None:
    """Raise RenderFault unless the file is an archive file."""
    import pikepdf
    from pikepdf import Dictionary, Name
    from pikepdf.pdfa import check

    with pikepdf.open(BytesIO(data)) as pdf:
        packet = xmp_packet(model, number, full=False).encode("utf-8")
        pdf.Root.Metadata = pdf.make_stream(
            packet, Dictionary(Type=Name.Metadata, Subtype=Name.XML))
        with _without_fields(pdf):
            report = check(pdf, FLAVOUR, **SAVING)
    if report.verdict != "pass":
        found = "; ".join(map(str, report.findings[:5]))
        raise RenderFault(f"not an archive file: {found}")


@contextmanager
def _without_fields(pdf: Pdf) -> Iterator[None]:
    """The file as it is without its form: the check cannot judge forms."""
    from pikepdf import Array

    form = pdf.Root.get("/AcroForm")
    kept = {page.index: page.obj.Annots for page in pdf.pages
            if any(item.get("/Subtype") == "/Widget" for item in page.obj.get("/Annots", ()))}
    for index, items in kept.items():
        others = [item for item in items if item.get("/Subtype") != "/Widget"]
        pdf.pages[index].obj.Annots = Array(others)
    if form is not None:
        del pdf.Root.AcroForm
    yield
    for index, items in kept.items():
        pdf.pages[index].obj.Annots = items
    if form is not None:
        pdf.Root.AcroForm = form


def _stamp(day: dt.date) -> str:
    return f"D:{day:%Y%m%d}000000Z"


def _attach(canvas: TaggedCanvas, model: ReportModel) -> None:
    """Attachments as associated files of the document, in the order of the model."""
    stamp = _stamp(model.date)
    listed, names = [], {}
    for item in model.attachments:
        digest = hashlib.md5(item.content, usedforsecurity=False).hexdigest()
        subtype = "".join(c if c.isalnum() or c in "-.+" else f"#{ord(c):02X}" for c in item.mime)
        content = canvas.reserve_stream(item.content, (
            f"/Type/EmbeddedFile/Subtype/{subtype}/Params<</Size {len(item.content)}"
            f"/CheckSum<{digest}>/CreationDate({stamp})/ModDate({stamp})>>"))
        name, spec = text_string(clean(item.name)), canvas.reserve()
        canvas.written[spec] = (
            f"<</Type/Filespec/F{name}/UF{name}/Desc{text_string(clean(item.description))}"
            f"/EF<</F {content} 0 R/UF {content} 0 R>>"
            f"/AFRelationship/{item.relationship.value}>>")
        listed.append(f"{spec} 0 R")
        names[name] = f"{spec} 0 R"
    if listed:
        tree = " ".join(f"{name} {spec}" for name, spec in sorted(names.items()))
        canvas.catalog["AF"] = f"[{' '.join(listed)}]"
        canvas.catalog["Names"] = f"<</EmbeddedFiles<</Names[{tree}]>>>>"


@cache
def _profile() -> bytes:
    """The sRGB colour profile, compressed."""
    path = templates_dir() / "colour" / "sRGB.icc"
    try:
        return zlib.compress(path.read_bytes())
    except FileNotFoundError:
        raise ResourceMissing(f"{path} not found") from None


def _colours(canvas: TaggedCanvas) -> None:
    """The output intent: what the numbers of the colours mean."""
    profile = canvas.reserve_stream(_profile(), "/N 3/Filter/FlateDecode", packed=False)
    canvas.catalog["OutputIntents"] = (
        "[<</Type/OutputIntent/S/GTS_PDFA1/OutputConditionIdentifier(sRGB)/Info(sRGB)"
        f"/DestOutputProfile {profile} 0 R>>]")


def _information(model: ReportModel, number: str) -> str:
    """Information dictionary; the XMP packet says the same."""
    entries = {
        "Title": clean(model.title), "Author": clean(model.author),
        "Subject": clean(model.subject), "Keywords": number,
        "Creator": "Loambrief", "Producer": f"Loambrief {__version__}",
    }
    told = "".join(f"/{key}{text_string(value)}" for key, value in entries.items() if value)
    stamp = _stamp(model.date)
    return f"<<{told}/CreationDate({stamp})/ModDate({stamp})>>"


_UA_NAME = """
 xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/\""""
_UA = "<pdfuaid:part>1</pdfuaid:part>\n"
_UA_MEANING = """<rdf:Description rdf:about=""
 xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"
 xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#"
 xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#">
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
<pdfaSchema:schema>PDF/UA identification</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:name>part</pdfaProperty:name>
<pdfaProperty:valueType>Integer</pdfaProperty:valueType>
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Part of ISO 14289 the file follows</pdfaProperty:description>
</rdf:li></rdf:Seq></pdfaSchema:property>
</rdf:li></rdf:Bag></pdfaExtension:schemas>
</rdf:Description>
"""
"""In a description of its own, where every reader of extension schemas looks."""


def xmp_packet(model: ReportModel, number: str, *, full: bool) -> str:
    """Metadata packet (XML in the wrapper of ISO 16684-1) with the identifiers of PDF/A-3.

    If ``full``, of level A and PDF/UA-1; else of level B alone.
    """
    moment = f"{model.date:%Y-%m-%d}T00:00:00Z"
    title, author, subject = (escape(clean(x), quote=False)
                              for x in (model.title, model.author, model.subject))
    language = escape(model.language)
    creator = f"<dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>"
    about = (f'<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{subject}</rdf:li></rdf:Alt>'
             "</dc:description>")
    return f"""<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about=""
 xmlns:dc="http://purl.org/dc/elements/1.1/"
 xmlns:pdf="http://ns.adobe.com/pdf/1.3/"
 xmlns:xmp="http://ns.adobe.com/xap/1.0/"
 xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/"{_UA_NAME if full else ""}>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
{creator if author else ""}{about if subject else ""}
<dc:language><rdf:Bag><rdf:li>{language}</rdf:li></rdf:Bag></dc:language>
<xmp:CreatorTool>Loambrief</xmp:CreatorTool>
<xmp:CreateDate>{moment}</xmp:CreateDate>
<xmp:ModifyDate>{moment}</xmp:ModifyDate>
<xmp:MetadataDate>{moment}</xmp:MetadataDate>
<pdf:Producer>Loambrief {__version__}</pdf:Producer>
<pdf:Keywords>{escape(number, quote=False)}</pdf:Keywords>
<pdfaid:part>3</pdfaid:part>
<pdfaid:conformance>{"A" if full else "B"}</pdfaid:conformance>
{_UA if full else ""}</rdf:Description>
{_UA_MEANING if full else ""}</rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>"""
