"""What was judged: a verdict for each nutrient, amendment and material, with why."""

from collections.abc import Iterable

from loambrief.findings.model import JudgedKind, Judgement, Message, Product, Verdict, say
from loambrief.report.blocks import Block, Column, Heading, Row, RowKind, Table
from loambrief.report.context import Context
from loambrief.report.page_one import accepted_reasons
from loambrief.report.terms import capital

GROUPS = (JudgedKind.NUTRIENT, JudgedKind.AMENDMENT, JudgedKind.MATERIAL)


def verdict_blocks(context: Context) -> list[Block]:
    """The table of verdicts: what is said alike shares a row, nothing is left out."""
    verdicts = context.plan.verdicts
    if not verdicts:
        return []
    rows: list[Row] = []
    for kind in GROUPS:
        here = [v for v in verdicts if v.kind is kind]
        if here:
            rows.append(Row((_word(context, f"group_{kind.name.lower()}"),), RowKind.GROUP))
            rows += _rows(context, _alike(context, here), kind)
    return [
        Heading(3, _word(context, "heading_table"), anchor="verdicts"),
        Table(
            (Column(_word(context, "column_what"), weight=2),
             Column(_word(context, "column_place"), weight=2),
             Column(_word(context, "column_verdict"), weight=2),
             Column(_word(context, "column_why"), weight=6)),
            tuple(rows), row_headers=True,
        ),
    ]


def _word(context: Context, name: str) -> str:
    return context.write(say(f"verdicts.{name}"))


def _alike(context: Context, verdicts: Iterable[Judgement]) -> list[list[Judgement]]:
    """Verdicts on one thing that say the same of several places, as one."""
    groups: dict[tuple[str, str, str], list[Judgement]] = {}
    for verdict in verdicts:
        groups.setdefault((verdict.key, verdict.verdict.value, _why(context, verdict)),
                          []).append(verdict)
    return list(groups.values())


def _why(context: Context, verdict: Judgement) -> str:
    """Why, what would settle it, and why the adviser issues without it."""
    said = [context.write(verdict.why)]
    if verdict.settle is not None:
        said.append(context.write(say("verdicts.settled_by", settle=verdict.settle)))
    reasons = (accepted_reasons(context, verdict)
               if verdict.verdict is Verdict.NOT_JUDGED else [])
    if reasons:
        said.append(context.write(say("verdicts.accepted", reasons=reasons)))
    if verdict.set_aside:
        said.append(context.write(say("verdicts.set_aside", reasons=list(verdict.set_aside))))
    return " ".join(said)


def _rows(context: Context, groups: list[list[Judgement]], kind: JudgedKind) -> list[Row]:
    """One row for all that has the same places, verdict and reason."""
    named: dict[tuple[str, ...], list[str]] = {}
    for group in groups:
        name, *said = _row(context, group, kind)
        named.setdefault(tuple(said), []).append(name)
    link = "; " if kind is JudgedKind.MATERIAL else ", "
    return [Row((capital(link.join(names)), *said)) for said, names in named.items()]


def _row(context: Context, group: list[Judgement], kind: JudgedKind) -> tuple[str, str, str, str]:
    first = group[0]
    if kind is JudgedKind.MATERIAL:
        material = first.params.get("material")
        name = material.name if isinstance(material, Product) else first.key
    else:
        name = context.write(Message("verdicts.name", {"key": first.key}))
    verdict = context.write(say(f"verdicts.verdict_{first.verdict.name.lower()}"))
    if first.amount is not None and first.verdict is Verdict.NEEDED and len(group) == 1:
        verdict = f"{verdict}: {context.amount(first.amount, first.unit)}"
    places = dict.fromkeys(v.place.label for v in group if v.place.label)
    return (name, context.writer.listed(places), verdict,
            _why(context, first))
