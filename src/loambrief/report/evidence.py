"""Findings as blocks, topic by topic: the result, photos, what speaks for and against, the sum.

A question that was answered for several zones is one block: a line for each zone, and what
they have in common once.
"""

from collections.abc import Iterable, Mapping, Sequence

from loambrief.agronomy.registry import Result
from loambrief.case.schema import PhotoEntry
from loambrief.findings.model import Finding, Side
from loambrief.report import blocks as b
from loambrief.report.context import Context
from loambrief.report.links import anchor
from loambrief.report.parts import EvidenceLine, FindingBlock, PhotoPrint, Photos
from loambrief.report.terms import capital
from loambrief.report.workings import Workings
from loambrief.topics.assess import TOPICS


def topic_sections(context: Context, charts: Mapping[str, Sequence[b.Figure]],
                   workings: Workings) -> list[b.Block]:
    """Every topic with its result, charts, findings and calculations."""
    blocks: list[b.Block] = [b.Paragraph(context.word("findings_intro"), b.Style.NOTE)]
    for topic in TOPICS:
        found = context.diagnosis.by_topic(topic)
        if not found:
            continue
        blocks.append(context.annex_heading(topic, context.word(f"topic_{topic}"),
                                            f"topic-{topic}"))
        blocks += _results(context, found, charts.get(topic, ()))
        blocks += photos_of(context, topic)
        for group in zoned(found):
            used = [r for f in group for r in f.results]
            blocks.append(finding_block(context, group, workings.take(used)))
        blocks += workings.rest(topic)
    return blocks


def _results(context: Context, found: Sequence[Finding],
             charts: Sequence[b.Figure]) -> list[b.Block]:
    """What was found in a topic, beside its chart."""
    if not charts:
        return []
    word = context.word
    table = b.Table(
        (b.Column(word("column_finding"), weight=5), b.Column(word("column_status"), weight=2)),
        tuple(b.Row((b.Span(context.write(f.title), link=f"#{anchor('f', f.id)}"),
                     word(f"status_{f.status.value}"))) for f in found))
    half = [c for c in charts if c.half]
    if not half:
        return [*charts, table]
    return [b.Beside(tuple(half), (table,)), *(c for c in charts if not c.half)]


def zoned(found: Iterable[Finding]) -> list[list[Finding]]:
    """Findings in order, those that answer one question for different places together.

    They share their id but for the last part, which names the sample.
    """
    groups: dict[str, list[Finding]] = {}
    for finding in found:
        stem, _, last = finding.id.rpartition(".")
        known = groups.setdefault(stem if stem.count(".") and last else finding.id, [])
        if any(f.place.id == finding.place.id for f in known):
            groups[finding.id] = [finding]
        else:
            known.append(finding)
    return [group for group in groups.values() if group]


def finding_block(context: Context, group: Sequence[Finding],
                  workings: Sequence[b.Block] = ()) -> FindingBlock:
    """One question with its answers, its evidence and its calculations beside it.

    ``group`` is one finding, or the same for several places.
    """
    sides: dict[Side, list[EvidenceLine]] = {side: [] for side in Side}
    pieces: dict[tuple, list[tuple[Finding, tuple[str, ...]]]] = {}
    for finding in group:
        for piece in finding.evidence:
            key = (piece.side, piece.grade, piece.kinds, context.write(piece.text))
            pieces.setdefault(key, []).append((finding, piece.sources))
    for (side, grade, kinds, text), holders in pieces.items():
        cited = dict.fromkeys(key for _, keys in holders for key in keys)
        sides[side].append(EvidenceLine(
            text=_of(context, text, [f for f, _ in holders], group),
            grade=context.word("grade_" + grade.value.replace(" ", "_"), kinds=kinds),
            sources=context.sources.cite(cited)))
    said: dict[str, list[Finding]] = {}
    for finding in group:
        for text in map(context.write, finding.body):
            said.setdefault(text, []).append(finding)
    body: list[b.Text] = [_of(context, text, holders, group) for text, holders in said.items()]
    tail = _tail(context, group)
    if tail:
        body.append(tail)
    first, *others = group
    return FindingBlock(
        **_head(context, first),
        body=tuple(body),
        support=tuple(sides[Side.FOR]),
        against=tuple(sides[Side.AGAINST]),
        context=tuple(sides[Side.CONTEXT]),
        blocks=tuple(workings),
        zones=tuple(FindingBlock(**_head(context, finding)) for finding in others),
    )


def _head(context: Context, finding: Finding) -> dict:
    """Title and status of a finding; what it is called and how sure it is, from one place."""
    return {
        "title": context.write(finding.title),
        "mark": finding.status,
        "status": context.word(f"status_{finding.status.value}"),
        "confidence": context.word(f"confidence_{finding.confidence.value}"),
        "grade": context.word("grade_" + finding.grade.value.replace(" ", "_")),
        "anchor": anchor("f", finding.id),
        "reading": context.reading(finding),
        "reference": context.write(finding.reference) if finding.reference else "",
    }


def _of(context: Context, text: str, holders: Sequence[Finding],
        group: Sequence[Finding]) -> b.Text:
    """A text with the places it holds for, where it does not hold for all of them."""
    if len(holders) == len(group):
        return text
    places = context.writer.listed(dict.fromkeys(
        context.place(f.place) or context.case.field.name for f in holders))
    return (b.Span(f"{capital(places)}: ", bold=True), text)


def _tail(context: Context, group: Sequence[Finding]) -> b.Text:
    """Sources and calculations of the findings themselves, as links."""
    cited = context.sources.cite(key for f in group for key in f.sources)
    results: list[Result] = [r for f in group for r in f.results]
    worked = context.worked(results)
    parts: list[str | b.Span] = []
    if cited:
        parts += [b.Span(context.word("label_sources") + " ", small=True, muted=True), *cited]
    if worked:
        if parts:
            parts.append(b.Span("  ", small=True))
        parts += [b.Span(context.word("label_calculations") + " ", small=True, muted=True), *worked]
    return tuple(parts)


def missing_section(context: Context) -> list[b.Block]:
    """What was not measured and what that costs in conclusions."""
    missing = context.diagnosis.missing
    if not missing:
        return []
    return [
        context.annex_heading("missing", context.word("heading_missing"), "missing"),
        b.Paragraph(context.word("missing_intro")),
        b.Table(
            (b.Column(context.word("column_missing"), weight=2),
             b.Column(context.word("column_consequence"), weight=3)),
            tuple((context.write(m.what), context.write(m.consequence)) for m in missing),
            row_headers=True,
        ),
    ]


def photos_of(context: Context, topic: str) -> list[Photos]:
    """Photos that show what was found in a topic, in the order of the case."""
    return _photos(context, [e for e in context.case.photos if e.shows == topic])


def photo_section(context: Context) -> list[b.Block]:
    """Photos of no topic, or of one without a finding; nothing without any."""
    shown = _photos(context, context.loose_photos)
    if not shown:
        return []
    return [context.annex_heading("photos", context.word("heading_photos"), "photos"), *shown]


def _photos(context: Context, wanted: list[PhotoEntry]) -> list[Photos]:
    shown = tuple(
        PhotoPrint(photo.jpeg, photo.width, photo.height,
                   context.word("photo_caption", text=entry.caption, place=entry.place,
                                date=entry.date),
                   entry.alt or entry.caption)
        for entry, photo in zip(context.case.photos, context.loaded.photos, strict=True)
        if any(entry is one for one in wanted))
    return [Photos(shown)] if shown else []
