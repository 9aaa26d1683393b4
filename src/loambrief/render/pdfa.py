"""Tagged pages to a PDF/A-3a file: metadata, colour profile, attachments, archive check.

ISO 19005-3 (PDF/A-3) and ISO 14289-1 (PDF/UA-1). The check knows level B and the metadata
of that level only, and no forms. So the file is checked with such metadata and without its
signature field; then the field comes back, and the metadata is replaced by the full packet:
level A (which adds tags, language and Unicode for all text: the tag layer and the fonts
provide them) and the PDF/UA identifier with its schema description, as ISO 19005-3, 6.6.2.3
wants it. Nothing else differs between what is checked and what is written.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from xml.sax.saxutils import escape

import pikepdf
from pikepdf import Array, AttachedFileSpec, Dictionary, Name, Pdf, String
from pikepdf.pdfa import check, prepare, resolve_save_kwargs

from loambrief import __version__
from loambrief.errors import RenderFault
from loambrief.render.compose import clean
from loambrief.render.form_file import dress_form
from loambrief.report.blocks import ReportModel

FLAVOUR = "3b"
SAVING = {"deterministic_id": True, "min_version": "1.7"}


def archive_file(pages: bytes, model: ReportModel, number: str, *, checked: bool) -> bytes:
    """The finished file.

    Parameters
    ----------
    pages : bytes
        Tagged PDF from ``page.build_pages``.
    model : ReportModel
        For metadata and attachments.
    number : str
        Advisory number as printed.
    checked : bool
        Check the file against PDF/A-3b before it is written.

    Returns
    -------
    bytes

    Raises
    ------
    RenderFault
        The file does not pass the archive check.
    """
    with pikepdf.open(BytesIO(pages)) as pdf:
        _attach(pdf, model)
        prepare(pdf, FLAVOUR)
        if checked:
            _describe(pdf, model, number, full=False)
            with _without_fields(pdf):
                report = check(pdf, FLAVOUR, **SAVING)
            if report.verdict != "pass":
                found = "; ".join(map(str, report.findings[:5]))
                raise RenderFault(f"not an archive file: {found}")
        _describe(pdf, model, number, full=True)
        _give_appearance(pdf)
        dress_form(pdf)
        out = BytesIO()
        pdf.save(out, **resolve_save_kwargs(FLAVOUR, **SAVING))
    return out.getvalue()


def _widgets(pdf: Pdf) -> list:
    """Pages with their fields' areas, as (page, annotation)."""
    return [(page, item) for page in pdf.pages for item in page.obj.get("/Annots", ())
            if item.get("/Subtype") == "/Widget"]


@contextmanager
def _without_fields(pdf: Pdf) -> Iterator[None]:
    """The file as it is without its form: the check cannot judge forms."""
    form = pdf.Root.get("/AcroForm")
    kept = {page.index: page.obj.Annots for page, _ in _widgets(pdf)}
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


def _give_appearance(pdf: Pdf) -> None:
    """An empty appearance for each field, as ISO 19005-3, 6.3.3 wants one."""
    for _, item in _widgets(pdf):
        x0, y0, x1, y1 = (float(v) for v in item.Rect)
        empty = pdf.make_stream(b"", Dictionary(
            Type=Name.XObject, Subtype=Name.Form, Resources=Dictionary(),
            BBox=Array([0, 0, round(x1 - x0, 2), round(y1 - y0, 2)])))
        item.AP = Dictionary(N=empty)


def _stamp(day: dt.date) -> str:
    return f"D:{day:%Y%m%d}000000Z"


def _attach(pdf: Pdf, model: ReportModel) -> None:
    """Attachments as associated files of the document, in the order of the model."""
    listed = []
    for item in model.attachments:
        spec = AttachedFileSpec(
            pdf,
            item.content,
            filename=clean(item.name),
            description=clean(item.description),
            mime_type=item.mime,
            relationship=Name(f"/{item.relationship.value}"),
            creation_date=_stamp(model.date),
            mod_date=_stamp(model.date),
        )
        pdf.attachments[clean(item.name)] = spec
        listed.append(spec.obj)
    if listed:
        pdf.Root.AF = Array(listed)


def _describe(pdf: Pdf, model: ReportModel, number: str, *, full: bool) -> None:
    """Information dictionary and XMP, saying the same."""
    stamp = _stamp(model.date)
    info = pdf.docinfo
    for key in list(info.keys()):
        del info[key]
    entries = {
        "/Title": clean(model.title), "/Author": clean(model.author),
        "/Subject": clean(model.subject), "/Keywords": number,
        "/Creator": "Loambrief", "/Producer": f"Loambrief {__version__}",
    }
    for key, value in entries.items():
        if value:
            info[key] = String(value)
    info["/CreationDate"] = info["/ModDate"] = String(stamp)
    packet = xmp_packet(model, number, full=full).encode("utf-8")
    pdf.Root.Metadata = pdf.make_stream(packet, Dictionary(Type=Name.Metadata, Subtype=Name.XML))


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
    """Metadata packet with the identifiers of PDF/A-3 and, if full, PDF/UA-1.

    Parameters
    ----------
    model : ReportModel
    number : str
    full : bool
        Level A and PDF/UA; else level B alone.

    Returns
    -------
    str
        XML in the packet wrapper of ISO 16684-1.
    """
    moment = f"{model.date:%Y-%m-%d}T00:00:00Z"
    title, author, subject = (escape(clean(x)) for x in (model.title, model.author, model.subject))
    language = escape(model.language, {'"': "&quot;"})
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
<pdf:Keywords>{escape(number)}</pdf:Keywords>
<pdfaid:part>3</pdfaid:part>
<pdfaid:conformance>{"A" if full else "B"}</pdfaid:conformance>
{_UA if full else ""}</rdf:Description>
{_UA_MEANING if full else ""}</rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>"""
