"""The whole report of one case, section by section, in the order it is read.

First what the grower acts on, up to the signatures; then the annex: what it rests on.
"""

import codecs
import hashlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import PurePosixPath

from loambrief.actions.model import Plan
from loambrief.agronomy.registry import Result
from loambrief.case.load import LoadedCase
from loambrief.case.profiles import ProfileFile, digest
from loambrief.report import blocks as b
from loambrief.report.annex import with_annex
from loambrief.report.appendix import record_section
from loambrief.report.chart_text import chart_words
from loambrief.report.combine import FieldReport
from loambrief.report.context import Context
from loambrief.report.page_text import document
from loambrief.report.pictures import pictures
from loambrief.report.plan_part import (
    cautions_section,
    followup_section,
    plan_section,
)
from loambrief.report.summary import logo_print, summary
from loambrief.report.text import Writer
from loambrief.topics.assess import Diagnosis


@dataclass(frozen=True)
class FieldDraft:
    """A field's report before the parts that speak of the finished files: data and annex."""

    context: Context
    model: b.ReportModel
    """Page 1 to the cautions, then the annex; nothing is attached yet."""


def draft_field(loaded: LoadedCase, diagnosis: Diagnosis, plan: Plan,
                calculations: tuple[Result, ...], writer: Writer,
                annex_file: str = "") -> FieldDraft:
    """Everything the renderer prints but the record, whose digests come last.

    ``calculations`` are as recorded while the case ran. ``annex_file`` names the annex as a file of
    its own; it is empty where the annex ends the advisory.
    """
    context = Context(loaded, diagnosis, plan, calculations, writer.marking(), chart_words(writer),
                      annex_file=annex_file)
    case = loaded.case
    drawn = pictures(context)
    first: list[b.Block] = [summary(context)]
    if drawn.overview:
        first.append(b.Heading(1, context.word("heading_pictures"), anchor="pictures"))
        first += drawn.overview
    first += plan_section(context)
    first += cautions_section(context)
    first += followup_section(context)
    blocks = with_annex(context, drawn, first)
    context = replace(context, writer=writer)
    return FieldDraft(context, document(
        case, writer,
        title=context.word("title", client=case.client.name, field=case.field.name),
        blocks=blocks,
        subject=case.case.purpose or "",
        accent=loaded.brand.accent if loaded.brand else "",
        logo=logo_print(context),
    ))


def finish_field(draft: FieldDraft, data: bytes, annex: b.AnnexFile | None = None) -> FieldReport:
    """A draft with its record, and the case and its data (JSON) attached.

    ``annex`` is there where it is a file of its own.
    """
    context, loaded = draft.context, draft.context.loaded
    *first, second = draft.model.blocks
    name = f"{loaded.case.case.id}.json"
    return FieldReport(context, replace(
        draft.model,
        blocks=(*first, *record_section(context, annex), second),
        attachments=(
            b.Attachment("case.yaml", _as_read(
                loaded.source_text, lambda own: digest(own, loaded.files) == loaded.sha256),
                "application/yaml", b.Relationship.SOURCE, context.word("attached_case")),
            *(
                b.Attachment(name, _as_read(file.text, file.sha256.__eq__),
                             "application/yaml", b.Relationship.SOURCE, file.name)
                if file.content is None else
                b.Attachment(name, file.content, _media_type(file),
                             b.Relationship.SOURCE, file.name)
                for name, file in zip(_attached_names(loaded, name), loaded.files, strict=True)
            ),
            b.Attachment(name, data, "application/json",
                         b.Relationship.ALTERNATIVE, context.word("attached_data")),
        ),
    ))


def _as_read(text: str, recorded: Callable[[str], bool]) -> bytes:
    """A file's bytes from its text, with the byte-order mark unless the digest is the recorded
    one without."""
    content = text.encode("utf-8")
    alike = recorded(hashlib.sha256(content).hexdigest())
    return content if alike else codecs.BOM_UTF8 + content


def _media_type(file: ProfileFile) -> str:
    """Of a photo by its first bytes, of a boundary's files by their names."""
    content = file.content or b""
    if content.startswith((b"\x89PNG", b"\xff\xd8")):
        return "image/png" if content.startswith(b"\x89PNG") else "image/jpeg"
    return {".kml": "application/vnd.google-earth.kml+xml", ".zip": "application/zip"}.get(
        PurePosixPath(file.name).suffix.lower(), "application/octet-stream")


def _attached_names(loaded: LoadedCase, data: str) -> list[str]:
    """Each file's path as one name, so that nothing can be unpacked outside a folder; no two
    names are the same, nor that of the case or of the data."""
    taken = {"case.yaml", data}
    names = []
    for file in loaded.files:
        plain = name = file.name.replace("\\", "/").lstrip("./").replace("/", "-")
        number = 2
        while name in taken:
            name, number = f"{number}-{plain}", number + 1
        taken.add(name)
        names.append(name)
    return names
