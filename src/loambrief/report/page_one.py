"""The lists of page 1: limits, what is not judged, what not to buy."""

from collections.abc import Sequence

from loambrief.actions.model import NotAdvised
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.report.context import Context
from loambrief.report.links import anchor
from loambrief.report.parts import LimitLine
from loambrief.report.terms import small, unmarked
from loambrief.report.text import Writer
from loambrief.topics.judge import PRIMARY

MOST_AVOID = 3
MOST_UNJUDGED = 3
MOST_TURNS = 2
"""Lines of a guide named, that a test lies at within its error."""
SHORT = 110
"""Longest line of the list of what not to buy, in characters without names and places."""


def limit_line(context: Context, finding: m.Finding) -> LimitLine:
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


def turning_lines(context: Context, most: int = MOST_TURNS) -> tuple[str, ...]:
    """Tests so near a line of their guide that the answer turns there, by nutrient and line."""
    return tuple(context.write(x) for x in turns(context.plan.verdicts)[:most])


def turns(verdicts: Sequence[m.Judgement]) -> tuple[m.Message, ...]:
    """One message for each nutrient and line that a test lies at within its error."""
    near: dict[tuple[str, float], list[m.Place]] = {}
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
    groups: dict[tuple[str, str, str], list[m.Judgement]] = {}
    for verdict in open_ones:
        if verdict.key in PRIMARY:
            same = (verdict.reason, verdict.settled_by, context.write(verdict.why))
            groups.setdefault(same, []).append(verdict)
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


def _settle(group: Sequence[m.Judgement]) -> m.Message | None:
    """What settles all of a line; methods only where they are the same for all of it."""
    settle = group[0].settle
    methods = [v.params.get("methods") for v in group]
    if settle is not None and any(x != methods[0] for x in methods):
        return m.Message(settle.key, {**settle.params, "methods": []})
    return settle


def _test_in_plan(context: Context, group: Sequence[m.Judgement]) -> m.Message | None:
    """The action that has all of a line tested, where the plan asks for that."""
    if group[0].settled_by != "soil_test":
        return None
    keys = {v.key for v in group}
    return next((say("verdicts.settle_action", rank=a.rank) for a in context.plan.actions
                 if a.kind is m.NeedKind.MEASURE and a.item == "soil test"
                 and keys <= set(_texts(a.need.text.params.get("keys")))), None)


def _texts(value: object) -> list[str]:
    return [str(v) for v in value] if isinstance(value, list | tuple) else []


def _unjudged(context: Context, group: Sequence[m.Judgement]) -> str:
    places = {v.place for v in context.plan.verdicts if v.kind is not m.JudgedKind.MATERIAL}
    here = list(dict.fromkeys(v.place for v in group))
    reasons = dict.fromkeys(r for v in group for r in accepted_reasons(context, v))
    text = context.write(say(
        "verdicts.line", keys=list(dict.fromkeys(v.key for v in group)),
        places=here if len(here) < len(places) else [], why=group[0].why,
        settle=None if reasons else _test_in_plan(context, group) or _settle(group)))
    if reasons:
        text = f"{text} {context.write(say('verdicts.accepted', reasons=list(reasons)))}"
    return text


def accepted_reasons(context: Context, verdict: m.Judgement) -> list[str]:
    """Why the adviser issues without this verdict."""
    return [a.reason for a in context.case.accept
            if a.code == "UNJUDGED" and verdict.answers_to(a.field)]


def nitrogen_line(context: Context) -> str:
    """Who set nitrogen, where it does not stand among what is not judged."""
    told = [v for v in context.plan.verdicts
            if v.key == "N" and v.kind is m.JudgedKind.NUTRIENT]
    if not told or any(v.verdict is m.Verdict.NOT_JUDGED for v in told):
        return ""
    alike: dict[str, list[m.Judgement]] = {}
    for verdict in told:
        alike.setdefault(context.write(verdict.why), []).append(verdict)
    return " ".join(context.write(say(
        "verdicts.nitrogen", verdict=group[0].verdict.value, why=group[0].why,
        places=[v.place for v in group] if len(alike) > 1 else []))
        for group in alike.values())


def avoid_lines(context: Context, most: int = MOST_AVOID) -> tuple[str, ...]:
    """What not to buy, as far as the page has room for it."""
    return tuple(_avoid(context, n) for n in context.plan.not_advised[:most])


def _avoid(context: Context, entry: NotAdvised) -> str:
    """What to leave, with its reason where that is short; the rest stands in its own part."""
    def line(writer: Writer, what: m.Message, why: m.Message) -> str:
        return f"{writer.write(what)}: {small(writer.short(why))}"

    writer = context.writer
    if len(unmarked(line(writer, m.bare(entry.what), m.bare(entry.why)))) <= SHORT:
        return line(writer, entry.what, entry.why)
    return f"{writer.short(entry.what)}."
