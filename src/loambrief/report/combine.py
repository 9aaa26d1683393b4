"""One document for several fields of one client: a cover table, then each field's advisory."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from loambrief.actions.model import Plan
from loambrief.case.schema import CaseFile
from loambrief.errors import LoambriefError
from loambrief.report import blocks as b
from loambrief.report.client_part import client_blocks
from loambrief.report.context import Context
from loambrief.report.links import prefixed
from loambrief.report.naming import brief
from loambrief.report.parts import SignOff


@dataclass(frozen=True)
class FieldReport:
    """One field's report with what the cover says about it."""

    context: Context
    model: b.ReportModel

    @property
    def case(self) -> CaseFile:
        return self.context.case

    @property
    def plan(self) -> Plan:
        return self.context.plan


def combine(reports: Sequence[FieldReport], name: str) -> b.ReportModel:
    """One report model for several fields of one client.

    Parameters
    ----------
    name : str
        Identifier of the document, printed where a single advisory prints its case id.

    Raises
    ------
    LoambriefError
        A case twice, or cases that differ in client, adviser, language, units, paper or currency.
    """
    first = reports[0]
    _same(reports)
    blocks: list[b.Block] = _cover(reports, first.context)
    attachments: list[b.Attachment] = []
    for number, report in enumerate(reports, 1):
        blocks.append(b.PageBreak())
        own = report.model.blocks if number == 1 else _unsigned(report.model.blocks)
        blocks += [prefixed(block, f"f{number}-") for block in own]
        attachments += [
            replace(a, name=a.name if a.name == f"{report.case.case.id}.json"
                    else f"{report.case.case.id}-{a.name}")
            for a in report.model.attachments
        ]
    word = first.context.word
    return replace(
        first.model,
        title=word("client_title", client=first.case.client.name, count=len(reports)),
        case_id=name,
        date=max(r.case.case.date for r in reports),
        blocks=tuple(blocks),
        subject="",
        running_head=first.case.client.name,
        attachments=tuple(attachments),
    )


def _unsigned(blocks: tuple[b.Block, ...]) -> list[b.Block]:
    """Blocks without signature fields: the ones of the first field sign the whole document."""
    return [replace(x, field="", client_field="") if isinstance(x, SignOff) else x
            for x in blocks]


def _same(reports: Sequence[FieldReport]) -> None:
    ids = [r.case.case.id for r in reports]
    doubled = sorted({i for i in ids if ids.count(i) > 1})
    if doubled:
        raise LoambriefError(f"case id {', '.join(doubled)} stands twice")
    for what, of in (
        ("client", lambda r: r.case.client.name),
        ("language", lambda r: r.case.case.language),
        ("units", lambda r: r.case.case.units),
        ("paper", lambda r: r.case.case.paper),
        ("currency", lambda r: r.case.case.currency),
        ("adviser", lambda r: r.case.adviser.name),
    ):
        found = sorted({of(r) for r in reports})
        if len(found) > 1:
            raise LoambriefError(f"one document takes one {what}; found {', '.join(found)}")


def _cover(reports: Sequence[FieldReport], context: Context) -> list[b.Block]:
    """Title, one row a field, and the sum of what the plans spend."""
    word = context.word
    rows: list[b.Row | tuple] = []
    for number, report in enumerate(reports, 1):
        field = report.case.field
        chosen = [a for a in report.plan.actions if report.context.in_budget(a)]
        worst = report.context.diagnosis.worst(1)
        rows.append((
            b.Span(field.name, link=f"#f{number}-summary"),
            report.context.amount(field.area.value, "ac"),
            report.context.crop,
            context.write(worst[0].title) if worst else word("no_limits"),
            brief(report.context.writer, chosen[0]) if chosen else "–",
            context.money(report.context.costs.total),
        ))
    spent = sum(r.context.costs.total for r in reports)
    total = (word("client_total"), "", "", "", "", context.money(spent))
    rows.append(b.Row(total, b.RowKind.TOTAL))
    return [
        b.Heading(1, word("client_title", client=context.case.client.name, count=len(reports)),
                  anchor="client"),
        b.Paragraph(word("client_intro"), b.Style.LEAD),
        b.Table(
            (
                b.Column(word("fact_field"), weight=2),
                b.Column(word("column_area"), "right", weight=1),
                b.Column(word("fact_crop"), weight=1),
                b.Column(word("column_limit"), weight=4),
                b.Column(word("column_first"), weight=3),
                b.Column(word("column_cost"), "right", weight=1),
            ),
            tuple(rows),
            row_headers=True,
        ),
        *client_blocks([r.context for r in reports]),
    ]
