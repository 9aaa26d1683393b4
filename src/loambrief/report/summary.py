"""Page 1: the answer, what limits the field, what to do first, what not to buy, whom to call."""

import math
from dataclasses import dataclass

from loambrief.case.names import yield_units
from loambrief.findings.confidence import remembered
from loambrief.findings.model import Verdict, bare
from loambrief.report.blocks import Fact, LogoPrint, Span, Text
from loambrief.report.context import Context
from loambrief.report.farm_part import farm_lines
from loambrief.report.first_actions import (
    MOST_ACTIONS,
    action_lines,
    cautions_beside,
    chosen_for_page_one,
    cost_line,
    foot_lines,
    gear_line,
    memory_line,
)
from loambrief.report.history_part import history_line
from loambrief.report.links import telephone
from loambrief.report.own_part import own_pointer
from loambrief.report.page_one import (
    MOST_AVOID,
    MOST_TURNS,
    avoid_lines,
    limit_line,
    nitrogen_line,
    turning_lines,
    turns,
    unjudged_lines,
)
from loambrief.report.parts import Summary
from loambrief.topics.judge import PRIMARY
from loambrief.units import LB_PER_TON

NO_LIMITS = {"nothing": "no_limits_unmeasured", "sap": "no_limits_sap", "leaf": "no_limits_leaf",
             "part": "no_limits_part", "all": "no_limits"}
"""How much is known -> what is said where no limit was found."""
PLANT_ONLY = {"leaf": "tissue", "sap": "refractometry"}
"""How much is known, where only the plant was measured -> topic of what was read."""


MOST_LIMITS = 4
MOST_LINES = 25
"""Lines of all lists together that page 1 holds, actions counted double."""
CAUTION_LINE = 110
"""Characters in a line under an action, places and products not counted."""


@dataclass(frozen=True)
class _Room:
    """How much of each list page 1 shows."""

    limits: int = MOST_LIMITS
    actions: int = MOST_ACTIONS
    avoid: int = MOST_AVOID
    turns: int = MOST_TURNS
    optional: bool = True


ROOMS = (
    _Room(),
    _Room(avoid=2),
    _Room(avoid=2, actions=4),
    _Room(avoid=2, actions=4, limits=3),
    _Room(avoid=2, actions=4, limits=3, optional=False),
    _Room(avoid=1, actions=4, limits=3, optional=False),
    _Room(avoid=1, actions=4, limits=3, turns=0, optional=False),
    _Room(avoid=1, actions=4, limits=2, turns=0, optional=False),
    _Room(avoid=1, actions=3, limits=2, turns=0, optional=False),
)
"""From all that is wanted to what must stay; cautions are never left out for room."""


def summary(context: Context) -> Summary:
    """The summary page of one case."""
    case = context.case
    word = context.word
    room = _room(context)
    worst = context.diagnosis.worst(room.limits)
    shown = chosen_for_page_one(context, room.actions, room.optional)
    actions = action_lines(context, shown)
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
        kicker=_kicker(context),
        facts=tuple(facts),
        message=_message(context, len(worst)),
        limits=tuple(limit_line(context, finding) for finding in worst),
        actions=actions,
        foot=foot_lines(context, shown),
        cost_line=cost_line(context, shown),
        unjudged=unjudged_lines(context),
        avoid=avoid_lines(context, room.avoid),
        contact=tuple(contact),
        valid_until=_valid_until(context),
        notes=_notes(context, memory_line(context, shown, worst), gear_line(context, shown)),
        spare=turning_lines(context, room.turns),
        no_limits=word(NO_LIMITS[_known(context)]),
        no_actions=word("no_actions"),
        logo=logo_print(context),
    )


def _kicker(context: Context) -> Text:
    """Who writes, where the annex is, and which text counts if it is not this one."""
    case, word = context.case, context.word
    parts: list[Span | str] = [
        word("kicker", business=case.adviser.business or case.adviser.name), " · ",
        Span(word("annex_pointer", file=context.annex_file), link="#annex")]
    if context.governing != context.writer.language.split("-")[0]:
        parts += [" · ", Span(word("counts", governing=context.governing), bold=True)]
    return tuple(parts)


def _room(context: Context) -> _Room:
    """The first of ``ROOMS`` whose lists fit on the page, else the last."""
    fixed = _fixed_lines(context)
    return next((r for r in ROOMS if fixed + _lines(context, r) <= MOST_LINES), ROOMS[-1])


def _fixed_lines(context: Context) -> int:
    """Lines of the lists that have the same length in any room."""
    budget = context.plan.budget
    return (
        len(context.answer.messages) + len(unjudged_lines(context))
        + bool(context.diagnosis.history) + bool(context.interested) + len(farm_lines(context))
        + bool(budget.left_out) + 2 * bool(budget.undecided)
    )


def _lines(context: Context, room: _Room) -> int:
    """Lines of the other lists, with cautions of actions by the length of their words."""
    plan, short = context.plan, context.writer.short
    shown = chosen_for_page_one(context, room.actions, room.optional)
    cautions = [sum(len(short(bare(c))) + 1 for c in cautions_beside(a)) for a in shown]
    worst = context.diagnosis.worst(room.limits)
    return (
        len(worst) + 2 * len(shown) + sum(math.ceil(n / CAUTION_LINE) for n in cautions)
        + min(len(plan.not_advised), room.avoid) + 2 * min(len(turns(plan.verdicts)), room.turns)
        + 2 * bool(any(a.from_memory() for a in shown) or any(remembered(f) for f in worst))
        + len(foot_lines(context, shown))
    )


def _notes(context: Context, memory: Text, gear: str) -> tuple[Text, ...]:
    """The last lines of the page."""
    case, word = context.case, context.word
    notes: list[Text] = list(farm_lines(context))
    nitrogen = nitrogen_line(context)
    if nitrogen and not _nitrogen_answered(context):
        notes.append(nitrogen)
    notes += own_pointer(context)
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
    notes.append(word("cautions_pointer", gear=gear))
    return tuple(notes)


def _nitrogen_answered(context: Context) -> bool:
    """Whether the question names nitrogen, so that the answer tells its verdict."""
    return any(m.key == "answers.named" and m.params["item"] == "N"
               for m in context.answer.messages)


def _message(context: Context, limits: int) -> str:
    """The answer to the question, then how many limits stand below."""
    told = [context.write(m) for m in context.answer.messages]
    known = _known(context)
    if known in PLANT_ONLY:
        read = next(f for f in context.diagnosis.findings if f.topic == PLANT_ONLY[known])
        told.append(context.word(f"read_{known}", text=context.writer.told(read.title, True)))
    hay = any(f.topic == "forage" for f in context.diagnosis.worst(limits))
    return " ".join((*told, context.word("message_hay" if hay else "message", limits=limits,
                                         known=known)))


def _known(context: Context) -> str:
    """``nothing`` measured, only the plant (``leaf`` tested or ``sap`` read), ``part`` judged of
    the primary nutrients and lime, or ``all``.

    Nitrogen counts with neither: no soil test judges it.
    """
    case = context.case
    if not case.samples:
        if case.penetrometer is not None or case.water is not None:
            return "part"
        read = {f.topic for f in context.diagnosis.findings}
        return next((k for k, topic in PLANT_ONLY.items() if topic in read), "nothing")
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
