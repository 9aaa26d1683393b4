"""What every document on a case has in common: its fixed words, and who and what it is about."""

from typing import Any

from loambrief.case.schema import CaseFile
from loambrief.report.blocks import Paper, ReportModel, Words
from loambrief.report.text import Writer


def page_words(writer: Writer) -> Words:
    """The fixed words of the page in the writer's language."""
    return Words(writer.fixed("page"))


def document(case: CaseFile, writer: Writer, **more: Any) -> ReportModel:
    """A document on a case, with its adviser, field, units and paper."""
    settings = {"date": case.case.date, "units": case.case.units, **more}
    return ReportModel(
        case_id=case.case.id, words=page_words(writer), author=case.adviser.name,
        language=writer.language, paper=Paper(case.case.paper),
        running_head=f"{case.client.name}, {case.field.name}", **settings)
