"""The lists of page 1: limits, first actions with their money, what is not judged or bought."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from loambrief.actions.model import Action, NotAdvised
from loambrief.findings.model import (
    Finding,
    JudgedKind,
    Judgement,
    Message,
    NeedKind,
    Place,
    Verdict,
    bare,
    say,
)
from loambrief.numbers import NBSP
from loambrief.report.blocks import Fact, Text
from loambrief.report.context import Context
from loambrief.report.links import anchor
from loambrief.report.naming import brief
from loambrief.report.parts import FirstAction, LimitLine
from loambrief.report.text import Writer
from loambrief.topics.judge import PRIMARY

MOST_LIMITS = 4
MOST_ACTIONS = 5
FULL = 9
"""Lines of the other lists above which one action and one limit less have room."""
MOST_TESTS = 2
"""Measurements among them that other work waits for."""
MOST_AVOID = 3
MOST_UNJUDGED = 3
MOST_TURNS = 2
"""Lines of a guide named, that a test lies at within its error."""
UNSETTABLE = "farm.limit_unsettable"
"""Limit of what no machine of the farm can spread: a note says it, and nothing is to do."""
SHORT = 110
"""Longest line of the list of what not to buy, in characters without names and places."""


def limit_line(context: Context, finding: Finding) -> LimitLine:
    """The conclusion, then only what its sentence does not say already."""
    writer = context.writer
    return LimitLine(
        text=context.write(finding.title),
        detail=context.word(
            "limit_detail",
            reading="" if writer.tells(finding.title, finding.value) else context.reading(finding),
            where="" if writer.tells(finding.title, finding.place) else finding.place,
            grade=finding.grade.value,
            confidence=finding.confidence.value,
        ),
        link=f"#{anchor('f', finding.id)}",
    )


def turning_lines(context: Context) -> tuple[str, ...]:
    """Tests so near a line of their guide that the answer turns there, by nutrient and line."""
    return tuple(context.write(m) for m in turns(context.plan.verdicts)[:MOST_TURNS])


def turns(verdicts: Sequence[Judgement]) -> tuple[Message, ...]:
    """One message for each nutrient and line that a test lies at within its error."""
    near: dict[tuple[str, float], list[Place]] = {}
    for verdict in verdicts:
        line = verdict.params.get("line")
        if isinstance(line, float):
            near.setdefault((verdict.key, line), []).append(verdict.place)
    return tuple(say("verdicts.turns", keys=[key], line=line, places=places)
                 for (key, line), places in near.items())


# not judged, not to buy ----------------------------------------------------------------


def unjudged_lines(context: Context) -> tuple[str, ...]:
    """What stands open: primary nutrients by reason, all the rest in one line.

    An adviser's reason for issuing without a verdict stands beside it.
    """
    open_ones = context.plan.unjudged()
    groups: dict[tuple[str, str], list[Judgement]] = {}
    for verdict in open_ones:
        if verdict.key in PRIMARY:
            groups.setdefault((verdict.reason, verdict.settled_by), []).append(verdict)
    ordered = sorted(groups.values(), key=lambda g: min(PRIMARY.index(v.key) for v in g))
    rest = [v for v in open_ones if v.key not in PRIMARY]
    room = MOST_UNJUDGED - bool(rest)
    if len(ordered) > room:
        room = MOST_UNJUDGED - 1
    told = [_unjudged(context, group) for group in ordered[:room]]
    rest = [v for group in ordered[room:] for v in group] + rest
    if rest:
        told.append(context.write(say("verdicts.rest",
                                      keys=list(dict.fromkeys(v.key for v in rest)))))
    return tuple(told)


def _unjudged(context: Context, group: Sequence[Judgement]) -> str:
    places = {v.place for v in context.plan.verdicts if v.kind is not JudgedKind.MATERIAL}
    here = list(dict.fromkeys(v.place for v in group))
    reasons = dict.fromkeys(r for v in group for r in accepted_reasons(context, v))
    text = context.write(say(
        "verdicts.line", keys=list(dict.fromkeys(v.key for v in group)),
        places=here if len(here) < len(places) else [], why=group[0].why,
        settle=None if reasons else group[0].settle))
    if reasons:
        text = f"{text} {context.write(say('verdicts.accepted', reasons=list(reasons)))}"
    return text


def accepted_reasons(context: Context, verdict: Judgement) -> list[str]:
    """Why the adviser issues without this verdict."""
    return [a.reason for a in context.case.accept
            if a.code == "UNJUDGED" and verdict.answers_to(a.field)]


def nitrogen_line(context: Context) -> str:
    """Who set nitrogen, where it does not stand among what is not judged."""
    told = [v for v in context.plan.verdicts
            if v.key == "N" and v.kind is JudgedKind.NUTRIENT]
    if not told or any(v.verdict is Verdict.NOT_JUDGED for v in told):
        return ""
    alike: dict[str, list[Judgement]] = {}
    for verdict in told:
        alike.setdefault(context.write(verdict.why), []).append(verdict)
    return " ".join(context.write(say(
        "verdicts.nitrogen", verdict=group[0].verdict.value, why=group[0].why,
        places=[v.place for v in group] if len(alike) > 1 else []))
        for group in alike.values())


def memory_line(context: Context, shown: Iterable[Action]) -> Text:
    """Which rates on the page rest on values that were not checked against the print."""
    found: dict[str, list[int]] = {}
    for action in shown:
        for name in action.from_memory():
            found.setdefault(name, []).append(action.rank)
    if not found:
        return ""
    ranks = sorted({r for rs in found.values() for r in rs})
    return (context.word("from_memory", ranks=spans_of(ranks)), " ",
            *context.sources.cite(tuple(found)))


def avoid_lines(context: Context) -> tuple[str, ...]:
    """What not to buy, as far as the page has room for it."""
    return tuple(_avoid(context, n) for n in context.plan.not_advised[:MOST_AVOID])


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


# actions and their money -----------------------------------------------------------------


def chosen_for_page_one(context: Context, most: int = MOST_ACTIONS) -> tuple[Action, ...]:
    """The first actions that the money covers, those that may be left out last.

    Measurements that other work waits for and work that has a rate or a price go first; of
    work that is only a habit to keep, the highest-ranked stands for the rest; other
    measurements fill what is left. Where the money covers no work, what waits for it stands
    there, since a page without it would deny the plan.
    """
    covered = [a for a in context.plan.actions if context.in_budget(a) and a.pass_number == 1
               and not (a.optional and any(m.key == UNSETTABLE for m in a.limits))]
    habits = [a for a in covered if a.kind is NeedKind.MANAGE]
    measures = [a for a in covered if a.kind is NeedKind.MEASURE]
    spare = [a for a in covered if a.optional and a not in habits and a not in measures]
    work = [a for a in covered if a not in habits and a not in measures and a not in spare]
    before = {d for a in context.plan.actions
              for d in (a.conditional_on, *a.depends_on, *a.decided_by) if d}
    first = min((a.rank for a in work), default=0)
    tests = [a for a in measures if a.id in before or a.rank < first][:MOST_TESTS]
    waiting = [] if work else [a for a in context.plan.actions if not context.in_budget(a)
                               and a.pass_number == 1][:MOST_TESTS]
    room = most - bool(habits) - len(tests)
    picked = tests + (work or waiting)[:room] + habits[:1]
    others = [a for a in (*work[room:], *measures, *habits[1:], *spare) if a not in picked]
    picked += others[: most - len(picked)]
    return tuple(sorted(picked, key=lambda a: (a.optional, a.rank)))


def action_lines(context: Context, shown: Sequence[Action]) -> tuple[FirstAction, ...]:
    """Lines of the action table; a caution that stands above already is not said again."""
    said: set[str] = set()
    lines = []
    for action in shown:
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
    what = brief(context, action)
    if action.own == "action":
        what = context.word("own_action", what=what)
    if action.optional:
        what = context.word("optional_action", what=what)
    return FirstAction(
        rank=action.rank,
        what=what,
        material=(action.material_name or "") if action.rate is not None else "",
        rate=rate,
        area=_area(context, action),
        total=total,
        cost=context.cost(action) if context.in_budget(action)
        else context.word("not_covered_long"),
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


def foot_lines(context: Context, shown: Sequence[Action]) -> tuple[Fact, ...]:
    """What is to be added to the lines above to make the total, then the total."""
    costs = context.costs
    covered = [a for a in context.plan.actions if context.in_budget(a)]
    others = [a for a in covered if a not in shown and a.id in costs.costs]
    rest = sum(costs.costs[a.id] for a in others)
    lines: list[tuple[str, float]] = []
    if others:
        lines.append((context.word("foot_others", ranks=spans_of([a.rank for a in others])),
                      rest))
    if costs.packages:
        lines.append((context.word("foot_packages"), costs.packages))
    if costs.saved:
        lines.append((context.word("foot_saved"), -costs.saved))
    if not covered:
        return ()
    lines.append((context.word("foot_total"), costs.total))
    return tuple(Fact(label, context.money(amount)) for label, amount in lines)


def cost_line(context: Context) -> Text:
    """The budget, what of the money is optional, what has no price, what waits."""
    money = context.plan.budget
    by_id = {a.id: a.rank for a in context.plan.actions}
    spare = {a.id for a in context.plan.actions if a.optional}
    return context.word(
        "cost_line",
        limit=money.limit,
        optional=context.costs.optional,
        left_out=spans_of([by_id[i] for i in money.left_out if i not in spare]),
        spare=spans_of([by_id[i] for i in money.left_out if i in spare]),
        undecided=spans_of([by_id[i] for i in money.undecided]),
        deferred=spans_of([by_id[i] for i in money.deferred]),
        unpriced=spans_of([by_id[i] for i in money.unpriced]),
    )


def spans_of(ranks: Iterable[int]) -> list[str]:
    """Numbers as text, three or more in a row as "4–6"."""
    ordered = sorted(ranks)
    runs: list[list[int]] = [[n] for n in ordered[:1]]
    for before, now in pairwise(ordered):
        if now == before + 1:
            runs[-1].append(now)
        else:
            runs.append([now])
    found: list[str] = []
    for run in runs:
        found += [f"{run[0]}–{run[-1]}"] if len(run) > 2 else [str(n) for n in run]
    return found
