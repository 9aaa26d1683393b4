"""The notice that an advisory is withdrawn."""

import datetime as dt

from loambrief.case.schema import CaseFile
from loambrief.findings.model import say
from loambrief.report.blocks import (
    Bullets,
    Callout,
    CalloutKind,
    DocumentStatus,
    Fact,
    Heading,
    KeyFacts,
    Paper,
    Paragraph,
    ReportModel,
    Style,
)
from loambrief.report.links import telephone
from loambrief.report.page_text import page_words
from loambrief.report.text import Writer


def withdrawal_notice(case: CaseFile, number: str, revision: int, *, issued: dt.date,
                      withdrawn: dt.date, reason: str, notice: str = "") -> ReportModel:
    """The notice as a document of one page.

    Parameters
    ----------
    case : CaseFile
        Of the advisory that is withdrawn.
    issued, withdrawn : date
        Of the advisory, and of the notice.
    reason : str
        Why.
    notice : str
        What the client is to do, in the adviser's words; may be empty.
    """
    writer = Writer.of(case.case)

    def word(name: str, **params: object) -> str:
        return writer.write(say(f"record.{name}", **params))

    adviser = case.adviser
    contact = [p for p in (adviser.name, adviser.business) if p]
    reach = [telephone(adviser.phone)] if adviser.phone else []
    reach += [adviser.email] if adviser.email else []
    body = tuple(filter(None, (
        word("notice_stop", number=number, revision=revision),
        word("notice_done"),
        word("notice_passed"),
    )))
    return ReportModel(
        title=word("notice_title", number=number),
        case_id=case.case.id,
        date=withdrawn,
        words=page_words(writer),
        blocks=(
            Heading(1, word("notice_title", number=number), anchor="notice"),
            KeyFacts((
                Fact(word("fact_number"), f"{number}, rev. {revision}"),
                Fact(word("fact_issued"), writer.day(issued)),
                Fact(word("fact_withdrawn"), writer.day(withdrawn)),
                Fact(word("fact_client"), case.client.name),
                Fact(word("fact_field"), case.field.name),
                Fact(word("fact_adviser"), adviser.name),
            )),
            Callout(CalloutKind.CAUTION, (Bullets(body),), word("notice_caution")),
            Heading(2, word("notice_why"), anchor="why"),
            Paragraph(reason),
            *((Heading(2, word("notice_do"), anchor="do"), Paragraph(notice)) if notice else ()),
            Heading(2, word("notice_call"), anchor="call"),
            *(Paragraph(line) for line in (*contact, *reach)),
            Paragraph(word("notice_kept"), Style.NOTE),
        ),
        author=adviser.name,
        subject=word("notice_title", number=number),
        number=number,
        revision=f"rev. {revision}",
        status=DocumentStatus.ISSUED,
        language=writer.language,
        paper=Paper(case.case.paper),
        running_head=f"{case.client.name}, {case.field.name}",
        units=case.case.units,
    )
