"""Findings as blocks: the conclusion, its evidence for and against, and its sources.

What several findings of a topic have in common is printed with the first of them; the
others point back to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from loambrief.findings.model import Finding, Message, Side
from loambrief.report.blocks import Block, Heading, Paragraph, Span, Style, Table, Text
from loambrief.report.blocks import Column as TableColumn
from loambrief.report.context import Context
from loambrief.report.links import anchor
from loambrief.report.parts import EvidenceLine, FindingBlock, StatusSign
from loambrief.topics.assess import TOPICS


@dataclass
class Said:
    """Sentences of one topic and the finding each of them was first printed with."""

    first: dict[str, Finding] = field(default_factory=dict)

    def before(self, text: str, finding: Finding) -> Finding | None:
        """The earlier finding that says the same; None if this one is the first."""
        found = self.first.setdefault(text, finding)
        return None if found is finding else found


def findings_section(context: Context, pictured: Mapping[str, str]) -> list[Block]:
    """All findings by topic.

    Parameters
    ----------
    context : Context
    pictured : mapping of str to str
        Topic to the anchor of its chart.
    """
    blocks: list[Block] = [
        Heading(1, context.word("heading_findings"), anchor="findings", columns=2),
        Paragraph(context.word("findings_intro")),
    ]
    for topic in TOPICS:
        found = context.diagnosis.by_topic(topic)
        if not found:
            continue
        blocks.append(Heading(2, context.word(f"topic_{topic}"), anchor=f"topic-{topic}"))
        if topic in pictured:
            blocks.append(Paragraph(Span(context.word("see_picture"), small=True,
                                         link=f"#{pictured[topic]}"), Style.NOTE))
        said = Said()
        blocks += [finding_block(context, f, said) for f in found]
    return blocks


def finding_block(context: Context, finding: Finding, said: Said) -> FindingBlock:
    """One finding with its evidence."""
    sides: dict[Side, list[EvidenceLine]] = {side: [] for side in Side}
    again: dict[str, list[Finding]] = {}

    def fresh(message: Message) -> str:
        text = context.write(message)
        earlier = said.before(text, finding)
        if earlier is None:
            return text
        again.setdefault(earlier.id, []).append(earlier)
        return ""

    body: list[Text] = [text for m in finding.body if (text := fresh(m))]
    for piece in finding.evidence:
        if text := fresh(piece.text):
            sides[piece.side].append(EvidenceLine(
                text=text,
                grade=context.word("grade_" + piece.grade.value.replace(" ", "_")),
                sources=context.sources.cite(piece.sources),
            ))
    for earlier in again.values():
        sides[Side.CONTEXT].append(_as_before(context, earlier))
    tail = _tail(context, finding)
    if tail:
        body.append(tail)
    reference = context.write(finding.reference) if finding.reference else ""
    return FindingBlock(
        title=context.write(finding.title),
        mark=StatusSign(finding.status.value),
        status=context.word(f"status_{finding.status.value}"),
        confidence=context.word(f"confidence_{finding.confidence.value}"),
        grade=context.word("grade_" + finding.grade.value.replace(" ", "_")),
        anchor=anchor("f", finding.id),
        reading=context.reading(finding),
        reference=reference,
        body=tuple(body),
        support=tuple(sides[Side.FOR]),
        against=tuple(sides[Side.AGAINST]),
        context=tuple(sides[Side.CONTEXT]),
    )


def _as_before(context: Context, earlier: list[Finding]) -> EvidenceLine:
    """One line that stands for points already made, with a link to where they were made."""
    first = earlier[0]
    return EvidenceLine((
        context.word("said_before", count=len(earlier)), " ",
        Span(context.place(first.place) or context.write(first.title),
             link=f"#{anchor('f', first.id)}", describe=context.write(first.title)), "."))


def _tail(context: Context, finding: Finding) -> Text:
    """Sources and calculations of the finding itself, as links."""
    cited = context.sources.cite(finding.sources)
    worked = context.worked(finding.results)
    parts: list[str | Span] = []
    if cited:
        parts += [Span(context.word("label_sources") + " ", small=True, muted=True), *cited]
    if worked:
        if parts:
            parts.append(Span("  ", small=True))
        parts += [Span(context.word("label_calculations") + " ", small=True, muted=True), *worked]
    return tuple(parts)


def missing_section(context: Context) -> list[Block]:
    """What was not measured and what that costs in conclusions."""
    missing = context.diagnosis.missing
    if not missing:
        return []
    return [
        Heading(1, context.word("heading_missing"), anchor="missing"),
        Paragraph(context.word("missing_intro")),
        Table(
            (TableColumn(context.word("column_missing"), weight=2),
             TableColumn(context.word("column_consequence"), weight=3)),
            tuple((context.write(m.what), context.write(m.consequence)) for m in missing),
            row_headers=True,
        ),
    ]
