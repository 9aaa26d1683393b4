"""Findings as blocks: the conclusion, its evidence for and against, and its sources."""

from __future__ import annotations

from collections.abc import Mapping

from loambrief.findings.assess import TOPICS
from loambrief.findings.model import Evidence, Finding, Side
from loambrief.report.blocks import Block, Figure, Heading, Paragraph, Span, Style, Table, Text
from loambrief.report.blocks import Column as TableColumn
from loambrief.report.context import Context
from loambrief.report.links import anchor, calculation_links
from loambrief.report.parts import EvidenceLine, FindingBlock, Mark


def findings_section(context: Context, figures: Mapping[str, tuple[Figure, ...]]) -> list[Block]:
    """All findings by topic, the charts of a topic on top of it."""
    blocks: list[Block] = [
        Heading(1, context.word("heading_findings"), anchor="findings", new_page=True),
        Paragraph(context.word("findings_intro"), Style.LEAD),
    ]
    for topic in TOPICS:
        found = context.diagnosis.by_topic(topic)
        drawn = figures.get(topic, ())
        if not found and not drawn:
            continue
        blocks.append(Heading(2, context.word(f"topic_{topic}"), anchor=f"topic-{topic}"))
        blocks += drawn
        blocks += [finding_block(context, f) for f in found]
    return blocks


def finding_block(context: Context, finding: Finding) -> FindingBlock:
    """One finding with its evidence."""
    sides: dict[Side, list[EvidenceLine]] = {side: [] for side in Side}
    for piece in finding.evidence:
        sides[piece.side].append(_line(context, piece))
    body: list[Text] = [context.write(m) for m in finding.body]
    tail = _tail(context, finding)
    if tail:
        body.append(tail)
    reference = context.write(finding.reference) if finding.reference else ""
    return FindingBlock(
        title=context.write(finding.title),
        mark=Mark(finding.status.value),
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


def _line(context: Context, piece: Evidence) -> EvidenceLine:
    return EvidenceLine(
        text=context.write(piece.text),
        grade=context.word("grade_" + piece.grade.value.replace(" ", "_")),
        sources=context.sources.cite(piece.sources),
    )


def _tail(context: Context, finding: Finding) -> Text:
    """Sources and calculations of the finding itself, as links."""
    cited = context.sources.cite(finding.sources)
    worked = calculation_links(finding.results)
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
