"""The notice that an advisory is withdrawn."""

import datetime as dt

from loambrief.case.schema import CaseFile
from loambrief.findings.model import say
from loambrief.report import blocks as b
from loambrief.report.links import telephone
from loambrief.report.page_text import document
from loambrief.report.text import Writer


def withdrawal_notice(case: CaseFile, number: str, revision: int, *, issued: dt.date,
                      withdrawn: dt.date, reason: str, notice: str = "") -> b.ReportModel:
    """The notice as a document of one page.

    ``issued`` is the date of the advisory, ``withdrawn`` that of the notice; ``notice`` is what the
    client is to do, in the adviser's words, and may be empty.
    """
    writer = Writer.of(case.case)

    def word(name: str, **params: object) -> str:
        return writer.write(say(f"record.{name}", **params))

    adviser = case.adviser
    contact = [p for p in (adviser.name, adviser.business) if p]
    reach = [telephone(adviser.phone)] if adviser.phone else []
    reach += [adviser.email] if adviser.email else []
    body = (word("notice_stop", number=number, revision=revision), word("notice_done"),
            word("notice_passed"))
    return document(
        case, writer, title=word("notice_title", number=number), date=withdrawn,
        blocks=(
            b.Heading(1, word("notice_title", number=number), anchor="notice"),
            b.KeyFacts((
                b.Fact(word("fact_number"), f"{number}, rev. {revision}"),
                b.Fact(word("fact_issued"), writer.day(issued)),
                b.Fact(word("fact_withdrawn"), writer.day(withdrawn)),
                b.Fact(word("fact_client"), case.client.name),
                b.Fact(word("fact_field"), case.field.name),
                b.Fact(word("fact_adviser"), adviser.name),
            )),
            b.Callout(b.CalloutKind.CAUTION, (b.Bullets(body),), word("notice_caution")),
            b.Heading(2, word("notice_why"), anchor="why"),
            b.Paragraph(reason),
            *((b.Heading(2, word("notice_do"), anchor="do"), b.Paragraph(notice))
              if notice else ()),
            b.Heading(2, word("notice_call"), anchor="call"),
            *(b.Paragraph(line) for line in (*contact, *reach)),
            b.Paragraph(word("notice_kept"), b.Style.NOTE),
        ),
        subject=word("notice_title", number=number),
        number=number,
        revision=f"rev. {revision}",
        status=b.DocumentStatus.ISSUED,
    )
