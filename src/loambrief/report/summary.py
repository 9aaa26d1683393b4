"""Page 1: what limits the field, what to do first, what not to buy, whom to call."""

from __future__ import annotations

from loambrief.actions.model import Action, NotAdvised
from loambrief.case.names import yield_units
from loambrief.findings.model import Finding, JudgedKind, Judgement, Message, NeedKind, bare, say
from loambrief.numbers import NBSP
from loambrief.report.blocks import Fact, LogoPrint, Span, Text
from loambrief.report.context import Context
from loambrief.report.history_part import history_line
from loambrief.report.links import anchor, telephone
from loambrief.report.naming import brief
from loambrief.report.parts import FirstAction, LimitLine, Summary
from loambrief.report.text import Writer
from loambrief.topics.judge import PRIMARY
from loambrief.units import LB_PER_TON

MOST_LIMITS = 5
MOST_ACTIONS = 5
FEW_ACTIONS = 3
"""Below so many lines, what may be left out is listed too; else it is only counted."""
MOST_AVOID = 3
MOST_UNJUDGED = 4
WORTH_A_WORD = 0.5
"""Money from which the cost line names what is not listed [currency]."""
SHORT = 110
"""Longest line of the list of what not to buy, in characters without names and places."""


def summary(context: Context) -> Summary:
    """The summary page of one case."""
    case = context.case
    word = context.word
    worst = context.diagnosis.worst(MOST_LIMITS)
    first = first_actions(context)
    facts = [
        Fact(word("fact_field"),
             f"{case.field.name}, {context.amount(case.field.area.value, 'ac')}"),
        Fact(word("fact_crop"), context.crop),
        Fact(word("fact_farm"), case.farm.name),
        Fact(word("fact_date"), context.writer.day(case.case.date)),
        Fact(word("fact_adviser"), f"{case.adviser.name}, {case.adviser.credential.scheme}"),
    ]
    if case.field.yield_goal:
        facts.insert(2, Fact(word("fact_goal"), yield_goal(context)))
    contact: list[Text] = [part for part in (case.adviser.name, case.adviser.business) if part]
    if case.adviser.phone:
        contact.append(telephone(case.adviser.phone))
    if case.adviser.email:
        contact.append(Span(case.adviser.email, link=f"mailto:{case.adviser.email}"))
    notes: list[Text] = []
    if context.diagnosis.missing:
        notes.append((word("missing_pointer", count=len(context.diagnosis.missing)), " ",
                      Span(word("missing_link"), link="#missing")))
    look_back = history_line(context)
    if look_back:
        notes.append(look_back)
    if context.interested:
        notes.append(Span(word("interest_line", interest=case.adviser.interest), bold=True))
    notes.append(word("cautions_pointer"))
    if context.governing != context.writer.language.split("-")[0]:
        notes.append(word("governing", governing=context.governing))
    avoid = tuple(
        _avoid(context, n)
        for n in context.plan.not_advised[:MOST_AVOID]
    )
    return Summary(
        title=word("title", client=case.client.name, field=case.field.name),
        kicker=word("kicker", business=case.adviser.business or case.adviser.name),
        facts=tuple(facts),
        message=word(
            "message",
            limits=len(worst),
            purpose=case.case.purpose,
            missing=not worst,
            measured=bool(case.samples),
            skipped=_skipped(context, first),
        ),
        limits=tuple(_limit(context, finding) for finding in worst),
        actions=first,
        cost_line=_cost_line(context, first),
        unjudged=_unjudged(context),
        avoid=avoid,
        contact=tuple(contact),
        valid_until=_valid_until(context),
        notes=tuple(notes),
        no_limits=word("no_limits"),
        no_actions=word("no_actions"),
        logo=logo_print(context),
    )


def logo_print(context: Context) -> LogoPrint | None:
    """The client's or the adviser's logo."""
    brand = context.loaded.brand
    if brand is None or not brand.png:
        return None
    return LogoPrint(brand.png, brand.width, brand.height, brand.alt)


def yield_goal(context: Context) -> str:
    """The yield goal in the reader's units, and as typed where that differs."""
    goal = context.case.field.yield_goal.value
    typed = goal.typed
    weight = yield_units(context.case.field.crop).get(goal.unit)
    if context.system != "si" or goal.unit in ("t/ha", "kg/ha") or not weight:
        return typed
    return f"{context.amount(goal.value * weight / LB_PER_TON, 'ton/ac', 1)} ({typed})"


def _skipped(context: Context, first: tuple[FirstAction, ...]) -> dict[str, list[str]]:
    """Ranks that page 1 leaves out between its lines: habits and what waits for money."""
    shown = {line.rank for line in first}
    last = max(shown, default=0)
    between = [a for a in context.plan.actions if a.rank < last and a.rank not in shown]
    return {
        "habits": [str(a.rank) for a in between if context.in_budget(a)
                   and a.kind in (NeedKind.MANAGE, NeedKind.MEASURE)],
        "waiting": [str(a.rank) for a in between if a.id in context.plan.budget.left_out],
    }


def _limit(context: Context, finding: Finding) -> LimitLine:
    """The conclusion, then only what its sentence does not say already."""
    text = context.write(finding.title)
    writer = context.writer
    return LimitLine(
        text=text,
        detail=context.word(
            "limit_detail",
            reading="" if writer.tells(finding.title, finding.value) else context.reading(finding),
            where="" if writer.tells(finding.title, finding.place) else finding.place,
            grade=finding.grade.value,
            confidence=finding.confidence.value,
        ),
        link=f"#{anchor('f', finding.id)}",
    )


def _unjudged(context: Context) -> tuple[str, ...]:
    """One line for each reason that leaves something open, primary nutrients first."""
    groups: dict[tuple[str, str], list[Judgement]] = {}
    for verdict in context.plan.unjudged():
        groups.setdefault((verdict.reason, verdict.settled_by), []).append(verdict)
    places = {v.place for v in context.plan.verdicts if v.kind is not JudgedKind.MATERIAL}
    order = sorted(groups.values(), key=lambda g: min(_first(v) for v in g))
    lines = []
    for group in order[:MOST_UNJUDGED]:
        here = list(dict.fromkeys(v.place for v in group))
        lines.append(context.write(say(
            "verdicts.line", keys=list(dict.fromkeys(v.key for v in group)),
            places=here if len(here) < len(places) else [],
            why=group[0].why, settle=group[0].settle)))
    if len(order) > MOST_UNJUDGED:
        rest = [v.key for g in order[MOST_UNJUDGED:] for v in g]
        lines.append(context.write(say("verdicts.rest", keys=list(dict.fromkeys(rest)))))
    return tuple(lines)


def _first(verdict: Judgement) -> int:
    return PRIMARY.index(verdict.key) if verdict.key in PRIMARY else len(PRIMARY)


def _avoid(context: Context, entry: NotAdvised) -> str:
    """What to leave, with its reason where that is short; the rest stands in its own part."""
    def line(writer: Writer, what: Message, why: Message) -> str:
        return f"{writer.write(what)}: {_lower(writer.short(why))}"

    writer = context.writer
    if len(line(writer, bare(entry.what), bare(entry.why))) <= SHORT:
        return line(writer, entry.what, entry.why)
    return f"{writer.short(entry.what)}."


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:] if text[1:2].islower() else text


def chosen_for_page_one(context: Context) -> tuple[Action, ...]:
    """The first actions by rank that the money covers; those that wait where it covers none.

    Work that has a rate or a price goes first, and a reading that decides other work with it;
    of work that is only a habit to keep, the highest-ranked stands for the rest; measurements
    fill what is left, and then what may be left out.
    """
    deciding = {d for a in context.plan.actions
                for d in (a.conditional_on, *a.depends_on, *a.decided_by) if d}
    covered = [a for a in context.plan.actions if context.in_budget(a) and a.pass_number == 1]
    habits = [a for a in covered if a.kind is NeedKind.MANAGE]
    measures = [a for a in covered if a.kind is NeedKind.MEASURE and a.id not in deciding]
    optional = [a for a in covered if a.optional]
    work = [a for a in covered if a not in habits and a not in measures and a not in optional]
    if not covered:
        return context.plan.actions[:MOST_ACTIONS]
    picked = work[: MOST_ACTIONS - bool(habits)] + habits[:1]
    picked += (measures + habits[1:])[: MOST_ACTIONS - len(picked)]
    picked += optional[: max(FEW_ACTIONS - len(picked), 0)]
    return tuple(sorted(picked, key=lambda a: a.rank))


def first_actions(context: Context) -> tuple[FirstAction, ...]:
    """Lines of the action table; a caution that stands above already is not said again."""
    said: set[str] = set()
    lines = []
    for action in chosen_for_page_one(context):
        told = {context.write(c): c for c in action.cautions}
        caution = next((text for text in told if text not in said), "")
        said.add(caution)
        lines.append(_line(context, action,
                           context.writer.short(told[caution]) if caution else ""))
    return tuple(lines)


def _line(context: Context, action: Action, caution: str) -> FirstAction:
    rate = ""
    if action.rate is not None:
        rate = context.amount(action.rate, action.rate_unit)
    elif action.exact_rate is not None and action.need.unit:
        rate = context.amount(action.exact_rate, action.need.unit, 1)
    total = ""
    if action.total is not None:
        total = context.order(action.total, action.total_unit)
    cost = context.word("no_price")
    if action.cost_total is not None:
        cost = context.money(action.cost_total)
        if action.id in context.plan.budget.left_out:
            cost = context.word("waits_for_money", cost=action.cost_total)
    what = brief(context, action)
    return FirstAction(
        rank=action.rank,
        what=context.word("optional_action", what=what) if action.optional else what,
        material=(action.material_name or "") if action.rate is not None else "",
        rate=rate,
        area=_area(context, action),
        total=total,
        cost=cost,
        when=context.write(action.window.text) if action.window else "",
        caution=caution,
        link=f"#{anchor('a', action.id)}",
    )


def _area(context: Context, action: Action) -> str:
    """Area and place; where the money reaches only a part, the part of the whole."""
    if not action.area_ac:
        return action.place.label
    area = context.amount(action.area_ac, "ac")
    if action.share is not None:
        area = context.word("area_part", part=area.rsplit(NBSP, 1)[0],
                            whole=context.amount(action.area_ac / action.share, "ac"))
    return context.word("area_where", area=area, where=action.place.label)


def _cost_line(context: Context, first: tuple[FirstAction, ...]) -> str:
    money = context.plan.budget
    shown = {line.rank for line in first}
    others = [a for a in context.plan.actions
              if context.in_budget(a) and a.rank not in shown and a.cost_total]
    rest = sum(a.cost_total or 0.0 for a in others)
    listed = sum(a.cost_total or 0.0 for a in context.plan.actions
                 if context.in_budget(a) and a.rank in shown)
    spare = money.spent - listed - rest
    return context.word(
        "cost_line",
        spent=money.spent,
        limit=money.limit,
        left_out=len(money.left_out),
        optional=sum(a.optional for a in context.plan.actions if a.id in money.left_out),
        unpriced=len(money.unpriced),
        undecided=len(money.undecided),
        others=len(others),
        skippable=sum(a.optional for a in others),
        rest=rest if rest >= WORTH_A_WORD else 0.0,
        spare=spare if spare >= WORTH_A_WORD else 0.0,
        beside=rest + spare,
    )


def _valid_until(context: Context) -> str:
    case = context.case
    if case.case.valid_until is None:
        return context.word("valid_open")
    return context.word("valid_until", date=case.case.valid_until)
