"""Page 1: the answer, what limits the field, what to do first, what not to buy, whom to call."""

from __future__ import annotations

from loambrief.case.names import yield_units
from loambrief.findings.model import Verdict
from loambrief.report.answer import answer
from loambrief.report.blocks import Fact, LogoPrint, Span, Text
from loambrief.report.context import Context
from loambrief.report.farm_part import farm_lines
from loambrief.report.history_part import history_line
from loambrief.report.links import telephone
from loambrief.report.page_one import (
    FULL,
    MOST_ACTIONS,
    MOST_LIMITS,
    action_lines,
    avoid_lines,
    chosen_for_page_one,
    cost_line,
    foot_lines,
    limit_line,
    memory_line,
    nitrogen_line,
    turning_lines,
    unjudged_lines,
)
from loambrief.report.parts import Summary
from loambrief.topics.judge import PRIMARY
from loambrief.units import LB_PER_TON

NO_LIMITS = {"nothing": "no_limits_unmeasured", "part": "no_limits_part", "all": "no_limits"}
"""How much is known -> what is said where no limit was found."""


def summary(context: Context) -> Summary:
    """The summary page of one case."""
    case = context.case
    word = context.word
    worst = context.diagnosis.worst(MOST_LIMITS)
    unjudged, avoid = unjudged_lines(context), avoid_lines(context)
    turning = turning_lines(context)
    lines = len(worst) + len(unjudged) + len(avoid)
    full = lines > FULL
    if not full and lines + len(turning) > FULL:
        turning = ()  # an action is worth more here; the verdicts say it too
    worst = context.diagnosis.worst(MOST_LIMITS - full)
    shown = chosen_for_page_one(context, MOST_ACTIONS - full)
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
    return Summary(
        title=word("title", client=case.client.name, field=case.field.name),
        kicker=(word("kicker", business=case.adviser.business or case.adviser.name), " · ",
                Span(word("annex_pointer", file=context.annex_file), link="#annex")),
        facts=tuple(facts),
        message=_message(context, len(worst)),
        limits=tuple(limit_line(context, finding) for finding in worst),
        actions=action_lines(context, shown),
        foot=foot_lines(context, shown),
        cost_line=cost_line(context),
        unjudged=unjudged,
        avoid=avoid,
        contact=tuple(contact),
        valid_until=_valid_until(context),
        notes=_notes(context, memory_line(context, shown)),
        spare=turning,
        no_limits=word(NO_LIMITS[_known(context)]),
        no_actions=word("no_actions"),
        logo=logo_print(context),
    )


def _notes(context: Context, memory: Text) -> tuple[Text, ...]:
    """The last lines of the page."""
    case, word = context.case, context.word
    notes: list[Text] = list(farm_lines(context))
    nitrogen = nitrogen_line(context)
    if nitrogen:
        notes.append(nitrogen)
    if context.diagnosis.missing:
        notes.append((word("missing_pointer", count=len(context.diagnosis.missing)), " ",
                      Span(word("missing_link"), link="#missing"),
                      f" ({context.section('missing')})."))
    look_back = history_line(context)
    if look_back:
        notes.append(look_back)
    if memory:
        notes.append(memory)
    if context.interested:
        notes.append(Span(word("interest_line", interest=case.adviser.interest), bold=True))
    notes.append(word("cautions_pointer"))
    if context.governing != context.writer.language.split("-")[0]:
        notes.append(word("governing", governing=context.governing))
    return tuple(notes)


def _message(context: Context, limits: int) -> str:
    """The answer to the question, then how many limits stand below."""
    said = answer(context.case, context.diagnosis, context.plan)
    told = [context.write(m) for m in said.messages]
    return " ".join((*told, context.word("message", limits=limits, known=_known(context))))


def _known(context: Context) -> str:
    """``nothing`` measured, ``part`` of the primary nutrients and lime judged, or ``all``.

    Nitrogen counts with neither: no soil test judges it.
    """
    case = context.case
    if not case.samples:
        return "nothing" if case.penetrometer is None and case.water is None else "part"
    open_ones = [v for v in context.plan.verdicts
                 if v.key in PRIMARY[1:] and v.verdict is Verdict.NOT_JUDGED]
    return "part" if open_ones else "all"


def logo_print(context: Context) -> LogoPrint | None:
    """The client's or the adviser's logo."""
    brand = context.loaded.brand
    if brand is None or not brand.png:
        return None
    return LogoPrint(brand.png, brand.width, brand.height, brand.alt)


def yield_goal(context: Context) -> str:
    """The yield goal in the reader's units, and as typed where that differs."""
    assert context.case.field.yield_goal is not None  # asked for only where one is stated
    goal = context.case.field.yield_goal.value
    typed = goal.typed
    weight = yield_units(context.case.field.crop).get(goal.unit)
    if context.system != "si" or goal.unit in ("t/ha", "kg/ha") or not weight:
        return typed
    return f"{context.amount(goal.value * weight / LB_PER_TON, 'ton/ac', 1)} ({typed})"


def _valid_until(context: Context) -> str:
    case = context.case
    if case.case.valid_until is None:
        return context.word("valid_open")
    return context.word("valid_until", date=case.case.valid_until)
