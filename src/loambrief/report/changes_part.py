"""What changed since the revision before: inputs, findings, rates and money, field by field."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace

from loambrief.findings.model import say
from loambrief.report import blocks as b
from loambrief.report.compare_part import ComparedLine, ComparedSide, Comparison, compare_plans
from loambrief.report.parts import Summary
from loambrief.report.text import Writer

KINDS = ("clerical", "new-data", "changed-conditions", "error")
"""Why an advisory is replaced."""
GROUPS = ("inputs", "findings", "actions", "money")


@dataclass(frozen=True)
class RevisionChanges:
    """A revision and what it changes, as it is frozen with the record."""

    number: str
    revision: int
    replaces: int
    kind: str
    reason: str
    """``kind``, ``reason``: one of :data:`KINDS`, and the adviser's own words."""
    replaced_on: str
    """Date of the revision before."""
    inputs: tuple[tuple[str, str, str], ...]
    findings: tuple[tuple[str, str, str], ...]
    actions: tuple[tuple[str, str, str], ...]
    money: tuple[tuple[str, str, str], ...]
    """``inputs``, ``findings``, ``actions``, ``money``: tuple of (str, str, str): What, before,
    now."""
    newer_program: bool = False
    """True if the revision before was made with another version or other tables; what it said is
    then worked out anew for this comparison."""

    def as_json(self) -> dict:
        return asdict(self)

    @classmethod
    def from_json(cls, data: Mapping) -> "RevisionChanges":
        rows = {name: tuple(tuple(row) for row in data[name]) for name in GROUPS}
        return cls(**{**data, **rows})


def plan_changes(before: ComparedSide, now: ComparedSide
                 ) -> dict[str, tuple[tuple[str, str, str], ...]]:
    """Rows for ``findings``, ``actions`` and ``money``: what differs between two revisions."""
    found: Comparison = compare_plans(before, now)
    write = now.writer.write
    titles = {f.id: write(f.title) for side in (before, now) for f in side.diagnosis.findings}
    actions = {a.id: write(a.title) for side in (before, now) for a in side.plan.actions}
    return {
        "findings": _rows(found.findings, titles),
        "actions": _rows(found.actions, actions),
        "money": _rows(found.money, {}),
    }


def _rows(lines: tuple[ComparedLine, ...],
          names: Mapping[str, str]) -> tuple[tuple[str, str, str], ...]:
    return tuple((names.get(line.what, line.what), line.first, line.second) for line in lines)


def changes_blocks(changes: RevisionChanges, writer: Writer) -> tuple[b.Block, ...]:
    """The page of changes, after page 1."""
    def word(name: str, **params: object) -> str:
        return writer.write(say(f"record.{name}", **params))

    blocks: list[b.Block] = [
        b.PageBreak(),
        b.Heading(1, word("changes_title", revision=changes.revision, before=changes.replaces),
                  anchor="changes"),
        b.Paragraph(word("changes_intro", number=changes.number, revision=changes.revision,
                         before=changes.replaces), b.Style.LEAD),
        b.Paragraph(word("changes_reason", kind=word("kind_" + changes.kind.replace("-", "_")),
                         reason=changes.reason)),
    ]
    for group in GROUPS:
        rows = getattr(changes, group)
        blocks.append(b.Heading(2, word(f"changes_{group}"), anchor=f"changes-{group}"))
        if rows:
            blocks.append(b.Table(
                (b.Column(word("column_what"), weight=3), b.Column(word("column_before"), weight=2),
                 b.Column(word("column_now"), weight=2)),
                rows, row_headers=True))
        else:
            blocks.append(b.Paragraph(word("changes_none")))
    if changes.newer_program:
        blocks.append(b.Paragraph(word("changes_program"), b.Style.NOTE))
    return tuple(blocks)


def with_changes(blocks: tuple[b.Block, ...], issued: dt.date | None,
                 changes: RevisionChanges | None, writer: Writer) -> tuple[b.Block, ...]:
    """A document as it is issued: at its top the date of issue and what it replaces, after
    page 1 the page of changes, to which its first line points.

    Without ``issued`` it is not issued, without ``changes`` a first revision.
    """
    first, *others = blocks
    if not isinstance(first, Summary):
        return blocks
    facts = list(first.facts)
    if issued is not None:
        facts.append(b.Fact(writer.write(say("report.fact_issued")), writer.day(issued)))
    if changes is None:
        return (replace(first, facts=tuple(facts)), *others)
    facts.append(b.Fact(writer.write(say("report.fact_replaces")), writer.write(say(
        "record.replaced_revision", revision=changes.replaces,
        date=dt.date.fromisoformat(changes.replaced_on)))))
    page = changes_blocks(changes, writer)
    heading = next(x for x in page if isinstance(x, b.Heading))
    pointer = b.Span(b.plain(heading.text), bold=True, link=f"#{heading.anchor}")
    kicker = (*b.spans(first.kicker), b.Span(" · "), pointer)
    return (replace(first, facts=tuple(facts), kicker=kicker), *page, *others)
