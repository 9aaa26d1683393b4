"""The sheets for the next visit: what was missing, how to stay safe, and a box for every
reading, in type that can be read outdoors."""

import datetime as dt

from loambrief.actions.model import Followup
from loambrief.case.schema import CaseFile
from loambrief.case.sheet_layout import MAP_FILE, as_bytes, boxes
from loambrief.findings.model import Missing
from loambrief.report import blocks as b
from loambrief.report.fieldsheet_parts import (
    FieldSheet,
    cone,
    life,
    remarks,
    sap,
    soil,
    visit,
    water,
    weeds,
)
from loambrief.report.fieldsheet_plan import VisitPlan
from loambrief.report.page_text import document
from loambrief.report.text import Writer

SCALE = 1.2
"""Type size: nothing on a field sheet is under 10 pt."""
MOST_AGAIN = 6
"""Follow-ups on the first page."""
SAFETY = ("unknown", "sap", "after", "cone", "weather", "chemicals", "alone")
PARTS = {"soil": soil, "life": life, "cone": cone, "sap": sap, "weeds": weeds}
"""Sheets that get a page of their own; water and residue follow the first page."""


def field_sheet(case: CaseFile, missing: tuple[Missing, ...], followups: tuple[Followup, ...],
                plan: VisitPlan, writer: Writer) -> b.ReportModel:
    """The sheets as a document of its own, with the plan of their boxes inside.

    ``case`` is that of the last visit, ``missing`` what its advisory could not say, ``followups``
    what its plan wanted tested again. Raises ValueError unless each box of the layout is on the
    sheets, and no other.
    """
    layout = plan.layout
    sheet = FieldSheet(case, plan, writer, {box.name: box for box in boxes(layout)})
    title = sheet.word("title", field=case.field.name)
    blocks: list[b.Block] = [b.Heading(1, title, anchor="sheet"), *_about(sheet), *visit(sheet),
                             *_missing(sheet, missing), *_again(sheet, followups),
                             b.KeepTogether((_safety(sheet),))]
    if "water" in layout.sections:
        blocks += water(sheet)
    blocks += remarks(sheet)
    for section in layout.sections:
        blocks += PARTS[section](sheet) if section in PARTS else []
    _check(sheet)
    return document(
        case, writer, title=title, blocks=tuple(blocks),
        subject=sheet.word("subject", case=case.case.id),
        number=layout.sheet,
        status=b.DocumentStatus.ISSUED,
        units=writer.system,
        attachments=(b.Attachment(MAP_FILE, as_bytes(layout), "application/json",
                                  b.Relationship.DATA, sheet.word("map")),),
        scale=SCALE,
    )


def _about(sheet: FieldSheet) -> list[b.Block]:
    case, word = sheet.case, sheet.word
    facts = [
        b.Fact(word("fact_field"), case.field.name),
        b.Fact(word("fact_client"), case.client.name),
        b.Fact(word("fact_area"), case.field.area.typed),
        b.Fact(word("fact_crop"), sheet.name(case.field.crop)),
        b.Fact(word("fact_case"), case.case.id),
        b.Fact(word("fact_sheet"), sheet.plan.layout.sheet),
    ]
    return [b.KeyFacts(tuple(facts), columns=3), b.Paragraph(word("how_to_fill"))]


def _missing(sheet: FieldSheet, missing: tuple[Missing, ...]) -> list[b.Block]:
    """What the last advisory lacked, first of all; equal consequences are said once."""
    heading = b.Heading(2, sheet.word("heading_missing"), anchor="missing")
    if not missing:
        return [heading, b.Paragraph(sheet.word("nothing_missing"))]
    grouped: dict[str, list[str]] = {}
    for gap in missing:
        said = grouped.setdefault(sheet.writer.write(gap.consequence), [])
        what = sheet.writer.write(gap.what)
        if what not in said:
            said.append(what)
    items = tuple((b.Span("; ".join(what), bold=True), b.Span(f". {why}"))
                  for why, what in grouped.items())
    return [heading, b.Bullets(items)]


def _again(sheet: FieldSheet, followups: tuple[Followup, ...]) -> list[b.Block]:
    """What the last plan wanted tested again, soonest first."""
    write = sheet.writer.write
    soonest = sorted(followups, key=lambda f: f.due or dt.date.max)[:MOST_AGAIN]
    items = tuple((b.Span(write(f.what), bold=True),
                   b.Span(sheet.word("again", due=f.due, success=write(f.success))))
                  for f in soonest)
    if not items:
        return []
    return [b.Heading(2, sheet.word("heading_again"), anchor="again"), b.Bullets(items)]


def _safety(sheet: FieldSheet) -> b.Block:
    items = tuple(sheet.word(f"safety_{name}") for name in SAFETY)
    return b.Callout(b.CalloutKind.CAUTION, (b.Bullets(items),), sheet.word("heading_safety"))


def _check(sheet: FieldSheet) -> None:
    """Every box of the layout once, none besides."""
    asked = set(sheet.known)
    if sheet.used != asked:
        lost, more = sorted(asked - sheet.used)[:3], sorted(sheet.used - asked)[:3]
        raise ValueError(f"boxes not on the sheet: {lost}; boxes not in the layout: {more}")


