"""Page 1: what limits the field, what to do first, what not to buy, whom to call."""

from __future__ import annotations

import re

from loambrief.actions.model import Action
from loambrief.findings.model import Finding, NeedKind, say
from loambrief.report.blocks import Fact, Text
from loambrief.report.context import Context
from loambrief.report.links import anchor
from loambrief.report.parts import FirstAction, LimitLine, Summary

MOST_LIMITS = 5
MOST_ACTIONS = 5
MOST_AVOID = 3


def summary(context: Context) -> Summary:
    """The summary page of one case."""
    case = context.case
    word = context.word
    worst = context.diagnosis.worst(MOST_LIMITS)
    first = first_actions(context)
    facts = [
        Fact(word("fact_field"),
             f"{case.field.name}, {context.amount(case.field.area.value, 'ac')}"),
        Fact(word("fact_crop"), case.field.crop),
        Fact(word("fact_farm"), case.farm.name),
        Fact(word("fact_date"), context.writer.day(case.case.date)),
        Fact(word("fact_adviser"), f"{case.adviser.name}, {case.adviser.credential.scheme}"),
    ]
    if case.field.yield_goal:
        facts.insert(2, Fact(word("fact_goal"), case.field.yield_goal.value.typed))
    contact: list[Text] = [
        part
        for part in (case.adviser.business or case.adviser.name, case.adviser.phone,
                     case.adviser.email)
        if part
    ]
    notes: list[Text] = []
    if context.diagnosis.missing:
        notes.append(word("missing_pointer", count=len(context.diagnosis.missing)))
    notes.append(word("cautions_pointer"))
    avoid = tuple(
        f"{context.write(n.what)}: {_lower(first_sentence(context.write(n.why)))}"
        for n in context.plan.not_advised[:MOST_AVOID]
    )
    return Summary(
        title=word("title", client=case.client.name, field=case.field.name),
        kicker=word("kicker", business=case.adviser.business or case.adviser.name),
        facts=tuple(facts),
        message=word(
            "message",
            limits=[_short(context.write(f.title)) for f in worst],
            first=first[0].what if first else "",
            purpose=case.case.purpose,
        ),
        limits=tuple(_limit(context, finding) for finding in worst),
        actions=first,
        cost_line=_cost_line(context),
        avoid=avoid,
        contact=tuple(contact),
        valid_until=_valid_until(context),
        notes=tuple(notes),
        no_limits=word("no_limits"),
        no_actions=word("no_actions"),
    )


def _limit(context: Context, finding: Finding) -> LimitLine:
    """The conclusion, then only what its sentence does not say already."""
    text = context.write(finding.title)
    reading = context.reading(finding)
    figure = reading.replace("pH", "").strip(" \u00a0%").split("\u00a0")[0]
    return LimitLine(
        text=text,
        detail=context.word(
            "limit_detail",
            reading="" if figure and figure in text else reading,
            where="" if finding.where in text else finding.where,
            grade=finding.grade.value,
            confidence=finding.confidence.value,
        ),
        link=f"#{anchor('f', finding.id)}",
    )


def _short(text: str) -> str:
    return text.rstrip(".")


_SENTENCE_END = re.compile(r"(?<=[.!?])\s+(?=[A-Z\u00c0-\u00dd])")
_CLAUSE_END = re.compile(r"[:;(]|, after |, where ")


def first_sentence(text: str) -> str:
    """The first sentence; the rest stands in the full part."""
    return _SENTENCE_END.split(text, maxsplit=1)[0]


def first_clause(text: str) -> str:
    """The instruction without what follows a colon, semicolon or bracket."""
    return _CLAUSE_END.split(text, maxsplit=1)[0].rstrip(" .,")


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:] if text[1:2].islower() else text


def chosen_for_page_one(context: Context) -> tuple[Action, ...]:
    """The first actions by rank that the money covers.

    Work that has a rate or a price goes first; of work that is only a habit to keep, the
    highest-ranked stands for the rest; measurements fill what is left.
    """
    covered = [a for a in context.plan.actions if context.in_budget(a) and a.pass_number == 1]
    habits = [a for a in covered if a.kind is NeedKind.MANAGE]
    measures = [a for a in covered if a.kind is NeedKind.MEASURE]
    work = [a for a in covered if a not in habits and a not in measures]
    picked = work[: MOST_ACTIONS - bool(habits)] + habits[:1]
    picked += (measures + habits[1:])[: MOST_ACTIONS - len(picked)]
    return tuple(sorted(picked, key=lambda a: a.rank))


def first_actions(context: Context) -> tuple[FirstAction, ...]:
    """Lines of the action table; a caution that stands above already is not said again."""
    said: set[str] = set()
    lines = []
    for action in chosen_for_page_one(context):
        caution = next((c for c in map(context.write, action.cautions) if c not in said), "")
        said.add(caution)
        lines.append(_line(context, action, first_sentence(caution)))
    return tuple(lines)


def place_of(where: str) -> str:
    """The place a sample stands for, without the sample's id: "N (north)" is "north"."""
    _, sep, place = where.partition(" (")
    return place.removesuffix(")") if sep else where


def _line(context: Context, action: Action, caution: str) -> FirstAction:
    rate = ""
    if action.rate is not None:
        rate = context.amount(action.rate, action.rate_unit)
    elif action.exact_rate is not None and action.need.unit:
        rate = context.amount(action.exact_rate, action.need.unit, 1)
    total = ""
    if action.total is not None:
        total = context.amount(action.total, action.total_unit, 0)
    cost = context.word("no_price")
    if action.cost_total is not None:
        cost = context.money(action.cost_total)
    return FirstAction(
        rank=action.rank,
        what=_brief(context, action),
        material=action.material_name or "",
        rate=rate,
        area=context.word("area_where", area=context.amount(action.area_ac, "ac"),
                          where=place_of(action.where)) if action.area_ac
        else place_of(action.where),
        total=total,
        cost=cost,
        when=context.write(action.window.text) if action.window else "",
        caution=caution,
        link=f"#{anchor('a', action.id)}",
    )


def _brief(context: Context, action: Action) -> str:
    """What to do, without the material and rate that have columns of their own."""
    if action.material_id is None or action.rate is None:
        return first_clause(context.write(action.title))
    if action.kind is NeedKind.NUTRIENT:
        items = [n for n in action.supplies if n in ("P2O5", "K2O", "S", "Mg", "Zn", "B", "Mn",
                                                     "Cu", "Fe")]
        return context.write(say("actions.brief_nutrient", items=items))
    return context.write(say(f"actions.brief_{action.kind.value}", number=action.pass_number,
                             passes=action.passes))


def _cost_line(context: Context) -> str:
    money = context.plan.budget
    return context.word(
        "cost_line",
        spent=money.spent,
        limit=money.limit,
        left_out=len(money.left_out),
        unpriced=len(money.unpriced),
    )


def _valid_until(context: Context) -> str:
    case = context.case
    if case.case.valid_until is None:
        return context.word("valid_open")
    return context.word("valid_until", date=case.case.valid_until)
