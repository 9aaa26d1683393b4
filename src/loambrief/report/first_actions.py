"""What to do first, on page 1: the actions, their cautions, and one sum of money."""

from collections.abc import Iterable, Sequence
from itertools import pairwise

from loambrief.actions.model import Action
from loambrief.actions.ranking import LIMITS, keeps_stock_safe
from loambrief.actions.windows import EVERY_SEASON
from loambrief.findings.confidence import remembered
from loambrief.findings.harm import SAFETY, Harm, gravest_first, harm_of
from loambrief.findings.model import Finding, Message, NeedKind
from loambrief.numbers import NBSP
from loambrief.report.blocks import Fact, Text
from loambrief.report.context import Context
from loambrief.report.links import anchor
from loambrief.report.naming import brief
from loambrief.report.parts import FirstAction
from loambrief.topics.judge import DECIDES

MOST_ACTIONS = 5
MOST_TESTS = 2
"""Measurements among them that other work waits for."""
MOST_NAMED = 3
"""Actions named that wait for money."""
UNSETTABLE = "farm.limit_unsettable"
"""Limit of what no machine of the farm can spread: a note says it, and nothing is to do."""
SAME_SAMPLES = "actions.note_same_samples"


def chosen_for_page_one(context: Context, most: int = MOST_ACTIONS,
                        optional: bool = True) -> tuple[Action, ...]:
    """The first actions that the money covers, those that may be left out last, if at all.

    What keeps stock safe, measurements that other work waits for and work that has a rate or
    a price go first; then tests that settle a limit, habits to keep, other measurements, what
    may be left out, and last what the adviser decides, which stands among what is not judged
    anyway. Where the money covers no work, what waits for it stands there, since a page without
    it would deny the plan.
    """
    first_passes = [a for a in context.plan.actions if a.pass_number == 1]
    covered = [a for a in first_passes if context.in_budget(a)
               and not (a.optional and any(m.key == UNSETTABLE for m in a.limits))]
    before = {d for a in context.plan.actions
              for d in (a.conditional_on, *a.depends_on, *a.decided_by) if d}
    groups: dict[int, list[Action]] = {}
    for action in covered:
        groups.setdefault(_group(action, before), []).append(action)
    first = min((a.rank for a in groups.get(0, ())), default=0)
    tests = groups.get(1, [])[:MOST_TESTS]
    early = [a for a in groups.get(3, ()) if a.rank < first][: MOST_TESTS - len(tests)]
    waiting = [] if groups.get(0) else [
        a for a in first_passes if not context.in_budget(a)][:MOST_TESTS]
    grave = [a for a in groups.get(3, ()) if a.severity >= LIMITS]
    lists = (tests, early, groups.get(0) or waiting, grave, groups.get(2, ()),
             groups.get(1, ()), groups.get(3, ()), groups.get(4, ()) if optional else (),
             groups.get(5, ()))
    picked = list(dict.fromkeys(a.id for some in lists for a in some))[:most]
    return tuple(sorted((a for a in first_passes if a.id in picked),
                        key=lambda a: (a.optional, a.rank)))


def _group(action: Action, before: set[str]) -> int:
    """0 work and the safety of stock, 1 tests that others wait for, 2 habits, 3 other tests,
    4 what may be left out, 5 what the adviser decides.
    """
    if action.item == DECIDES:
        return 5
    if keeps_stock_safe(action):
        return 0
    if action.optional:
        return 4
    if action.kind is NeedKind.MANAGE:
        return 2
    if action.kind is NeedKind.MEASURE:
        return 1 if action.id in before else 3
    return 0


def cautions_beside(action: Action) -> list[Message]:
    """The cautions of an action that stand on its line of page 1, the gravest first.

    All that keep people, stock, water or the crop from harm; where there is none of them, the
    gravest other one. The usual gear is named once below (:func:`gear_line`).
    """
    ordered = gravest_first(action.cautions)
    return [c for c in ordered if harm_of(c) in SAFETY] or [
        c for c in ordered if harm_of(c) is not Harm.HANDLING][:1]


def action_lines(context: Context, shown: Sequence[Action]) -> tuple[FirstAction, ...]:
    """Lines of the action table.

    A caution that keeps anyone from harm stands on every line that it belongs to; any other
    only where no line above says it.
    """
    said: set[str] = set()
    lines = []
    for action in shown:
        texts = [text for c in cautions_beside(action)
                 if (text := context.writer.short(c)) not in said or harm_of(c) in SAFETY]
        said.update(texts)
        lines.append(_line(context, action, " ".join(dict.fromkeys(texts))))
    return tuple(lines)


def gear_line(context: Context, shown: Sequence[Action]) -> str:
    """What to wear and mind in the work of the page, once for all of its actions."""
    usual = [c for a in shown for c in a.cautions if harm_of(c) is Harm.HANDLING]
    return " ".join(dict.fromkeys(context.writer.short(c) for c in usual))


def _line(context: Context, action: Action, caution: str) -> FirstAction:
    rate = ""
    if action.rate is not None:
        rate = context.amount(action.rate, action.rate_unit)
    elif action.exact_rate is not None and action.need.unit:
        rate = context.amount(action.exact_rate, action.need.unit, 1)
    total = ""
    if action.total is not None:
        total = context.order(action.total, action.total_unit)
    what = brief(context.writer, action)
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
        cost=_cost(context, action),
        when=_when(context, action),
        caution=caution,
        link=f"#{anchor('a', action.id)}",
    )


def _cost(context: Context, action: Action) -> str:
    """The price; or which reading decides the action, or that money or nothing is kept for it."""
    ranks = {a.id: a.rank for a in context.plan.actions}
    if action.id in context.plan.budget.undecided:
        return context.word("cost_open", rank=ranks.get(action.conditional_on or ""))
    if action.id in context.plan.budget.deferred:
        return context.word("deferred_long")
    if not context.in_budget(action):
        return context.word("not_covered_long")
    if any(note.key == SAME_SAMPLES for note in action.notes):
        return context.word("cost_shared")
    return context.cost(action)


def _when(context: Context, action: Action) -> str:
    """Its time, after the readings of the plan that decide whether or how much."""
    text = context.write(action.window.text) if action.window else ""
    before = {i for i in (action.conditional_on, *action.decided_by) if i}
    ranks = [a.rank for a in context.plan.actions if a.id in before]
    return context.word("when_decided", ranks=spans_of(ranks), when=text) if ranks else text


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
    yearly = sum(costs.costs.get(a.id, 0.0) for a in covered if a.item == EVERY_SEASON)
    lines.append((context.word("foot_total", optional=costs.optional, yearly=yearly,
                               needed=costs.total - costs.optional), costs.total))
    return tuple(Fact(label, context.money(amount)) for label, amount in lines)


def cost_line(context: Context, shown: Sequence[Action]) -> Text:
    """The budget, what has no price, what waits for money or for a reading."""
    plan, money = context.plan, context.plan.budget
    left_out = [a for a in plan.actions if a.id in money.left_out]
    waiting = [a for a in left_out if not a.optional and a.pass_number == 1]
    lacking = max(sum(a.cost_total or 0.0 for a in waiting) - (money.remaining or 0.0),
                  money.next_money or 0.0)
    ranks = {a.id: a.rank for a in plan.actions}
    undecided: dict[str, list[Action]] = {}
    for action in plan.actions:
        if action.id in money.undecided and action not in shown:
            undecided.setdefault(action.conditional_on or "", []).append(action)
    return context.word(
        "cost_line",
        limit=money.limit,
        waiting=[_named(context, a) for a in waiting[:MOST_NAMED]],
        more=len(waiting[MOST_NAMED:]),
        lacking=lacking,
        later=len([a for a in left_out if not a.optional and a.pass_number > 1]),
        spare=spans_of([a.rank for a in left_out if a.optional]),
        undecided=[{"rank": ranks.get(reading), "more": len(some[MOST_NAMED:]),
                    "what": [_named(context, a, with_area=False) for a in some[:MOST_NAMED]]}
                   for reading, some in undecided.items()],
        deferred=spans_of([ranks[i] for i in money.deferred]),
        unpriced=len(money.unpriced),
    )


def _named(context: Context, action: Action, with_area: bool = True) -> str:
    """An action that has no line on the page: number, work, place and price."""
    cost = context.costs.costs.get(action.id)
    return context.word("action_named", rank=action.rank, what=brief(context.writer, action),
                        area=_area(context, action) if with_area else "", cost=cost)


def memory_line(context: Context, shown: Iterable[Action], limits: Iterable[Finding]) -> Text:
    """Which limits and rates on the page rest on values not checked against the print."""
    limited = {number: remembered(finding) for number, finding in enumerate(limits, 1)}
    rated = {action.rank: action.from_memory() for action in shown}
    names = dict.fromkeys(n for some in (*limited.values(), *rated.values()) for n in some)
    if not names:
        return ""
    return (context.word("from_memory",
                         limits=spans_of([n for n, some in limited.items() if some]),
                         ranks=spans_of([n for n, some in rated.items() if some])), " ",
            *context.sources.cite(tuple(names)))


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
