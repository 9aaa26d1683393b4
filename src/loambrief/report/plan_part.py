"""The plan in the advisory: actions with their money, cautions once, follow-up, done sheet."""

from collections.abc import Mapping, Sequence

from loambrief.actions.model import Action
from loambrief.findings.model import NeedKind, say
from loambrief.numbers import NBSP
from loambrief.report import blocks as b
from loambrief.report.context import Context
from loambrief.report.farm_part import farm_notes, strip_blocks, year_blocks
from loambrief.report.links import anchor
from loambrief.report.naming import brief
from loambrief.report.own_part import aside_blocks, aside_cautions, own_notes, own_pointer
from loambrief.report.parts import ActionCard
from loambrief.report.plan_money import order_rows, own_rate_note
from loambrief.units import ACRE_PER_HA


def plan_section(context: Context) -> list[b.Block]:
    """Every action with rate, range, dates and money, the total, and the cautions."""
    word = context.word
    blocks: list[b.Block] = [b.Heading(1, word("heading_plan"), anchor="plan")]
    if not context.plan.actions:
        return [*blocks, b.Paragraph(word("no_actions")), *aside_blocks(context)]
    marks = caution_marks(context)
    blocks += [b.Paragraph(line, b.Style.SMALL) for line in own_pointer(context)]
    blocks += [action_card(context, a, marks) for a in context.plan.actions]
    blocks.append(b.Paragraph(_money(context), b.Style.SMALL))
    if any(order.package_lb for order in context.plan.orders):
        blocks.append(b.Paragraph(_to_order(context), b.Style.SMALL))
    return [*blocks, *aside_blocks(context), *year_blocks(context, stated=True),
            *strip_blocks(context)]


def _to_order(context: Context) -> b.Text:
    """What is ordered in whole loads or bags, and for which season."""
    told = "; ".join(f"{name}: {ordered}" for name, _, ordered, _ in order_rows(context))
    return (b.Span(f"{context.write(say('actions.order_caption'))}: ", bold=True), f"{told}.")


def _money(context: Context) -> b.Text:
    """The total with what it holds beside the costs above, and how far the prices hold."""
    word, costs, budget = context.word, context.costs, context.plan.budget
    dates = sorted({a.price_date for a in context.plan.actions if a.price_date})
    total = word("plan_total", total=costs.total, packages=costs.packages, saved=costs.saved)
    note = word(
        "money_note",
        limit=budget.limit,
        spent=budget.spent,
        oldest=dates[0] if dates else None,
        unpriced=len(budget.unpriced),
    )
    return (b.Span(total, bold=True), f" {note}" if note else "")


def caution_marks(context: Context) -> dict[str, str]:
    """Every caution of the plan once, with its number."""
    texts = dict.fromkeys(context.write(c) for a in context.plan.actions for c in a.cautions)
    return {text: f"C{number}" for number, text in enumerate(texts, start=1)}


def state_of(context: Context, action: Action) -> str:
    """Whether the money covers an action, a reading still decides it, or it was put off."""
    if action.id in context.plan.budget.deferred:
        return "deferred"
    if action.id in context.plan.budget.undecided:
        return "undecided"
    return "covered" if context.in_budget(action) else "not_covered"


def action_card(context: Context, action: Action, marks: Mapping[str, str]) -> ActionCard:
    """One action with everything beside it; ``marks`` are the numbers of cautions."""
    word = context.word
    rate: b.Text = ""
    if action.rate is not None:
        rate = context.rate(action.rate, action.rate_unit)
    elif action.exact_rate is not None and action.need.unit:
        rate = context.rate(action.exact_rate, action.need.unit,
                            (action.rate_low, action.rate_high))
    unit = action.rate_unit or action.need.unit
    span = ""
    if action.rate_low is not None and action.rate_high is not None and unit:
        ends = (action.rate_low, action.rate_high)
        low, high = (context.amount(v, unit, within=ends) for v in ends)
        span = word("range", low=low, high=high, none=action.rate_low <= 0
                    ) if low != high else ""
    buys = action.material_id is not None or action.need.amount is not None
    cost = ""
    if action.cost_total is not None:
        parts = ", ".join(
            f"{word('cost_' + name)} {context.money(amount * _areas(context))}"
            for name, amount in action.cost_parts
        )
        cost = word("cost_detail", per_ac=_per_area(context, action),
                    parts=parts if len(action.cost_parts) > 1 else "", date=action.price_date,
                    si=context.system == "si")
    why: list[b.Text] = [_why(context, i) for i in action.finding_ids]
    notes: list[b.Text] = [context.write(m) for m in (*own_notes(action), *farm_notes(action))]
    if action.own_reason is not None:
        notes.append(own_rate_note(context, action))
    if action.uncertain is not None:
        notes.append(context.write(action.uncertain))
    notes += [context.write(m) for m in action.waiting]
    if context.interested and action.rate is not None:
        notes.append(word("interest_line", interest=context.case.adviser.interest))
    names = {a.id: a for a in context.plan.actions}
    waits = [f"{rank}" for rank in sorted(names[d].rank for d in action.depends_on if d in names)]
    place = context.place(action.place) or context.case.field.name
    if action.area_ac:
        place = word("area_where", area=context.amount(action.area_ac, "ac"), where=place)
    title, rest = headed(context.write(action.title))
    return ActionCard(
        rank=action.rank,
        title=title,
        anchor=anchor("a", action.id),
        source=action.material_name or "",
        rate=rate,
        time=context.write(action.window.text) if action.window else "",
        place=place,
        range=span,
        total=context.order(action.total, action.total_unit) if action.total else "",
        money=context.cost(action) if buys or action.cost_total is not None else "",
        cost=cost,
        why=tuple(why),
        how=(*rest, *(context.write(m) for m in action.how)),
        depends=word("waits_for", ranks=waits) if waits else "",
        notes=tuple(notes),
        cautions=_marked([marks[context.write(m)] for m in action.cautions]),
        tag=_tag(context, action),
    )


LONG_HEADING, LEAST_SENTENCE = 20, 5
"""Words from which only the first sentence of a title is a heading, and words that a sentence
has: fewer before a full stop are a name with an initial."""


def headed(title: str) -> tuple[str, tuple[str, ...]]:
    """A title as a heading and what it says beyond the first sentence, where it is long."""
    first, stop, rest = title.partition(". ")
    if not stop or len(title.split()) < LONG_HEADING or len(first.split()) < LEAST_SENTENCE:
        return title, ()
    return first, (rest if rest.endswith((".", ")")) else f"{rest}.",)


def _why(context: Context, finding_id: str) -> b.Text:
    """A finding an action rests on, and the section of the annex that tells of it."""
    finding = context.finding(finding_id)
    return (b.Span(context.write(finding.title), link=f"#{anchor('f', finding_id)}"),
            f" ({context.section(finding.topic)})")


def _marked(numbers: Sequence[str]) -> b.Text:
    """Numbers of cautions, as links to where they stand."""
    links: list[str | b.Span] = []
    for number in dict.fromkeys(numbers):
        links += [", " if links else "", b.Span(number, link="#cautions")]
    return tuple(links)


def _tag(context: Context, action: Action) -> str:
    """That an action is optional, or that the money does not cover it."""
    told = [context.word("optional_tag")] if action.optional else []
    if not context.in_budget(action):
        told.append(context.word(f"{state_of(context, action)}_long"))
    return ", ".join(told)


def _per_area(context: Context, action: Action) -> str:
    if action.cost_per_ac is None:
        return ""
    unit = {"us": "ac", "si": "ha"}[context.system]
    return f"{context.money(action.cost_per_ac * _areas(context))}/{unit}"


def _areas(context: Context) -> float:
    """Acres in one of the reader's units of area."""
    return ACRE_PER_HA if context.system == "si" else 1.0


def followup_section(context: Context) -> list[b.Block]:
    """Re-tests with their measure of success, and a record of what was done."""
    word = context.word
    blocks: list[b.Block] = [b.Heading(1, word("heading_followup"), anchor="follow-up")]
    if context.plan.followups:
        blocks.append(
            b.Table(
                (b.Column(word("column_due"), weight=2), b.Column(word("column_look"), weight=3),
                 b.Column(word("column_success"), weight=4)),
                tuple(
                    (context.writer.day(f.due) if f.due else word("undated"),
                     context.write(f.what), context.write(f.success))
                    for f in context.plan.followups
                ),
                row_headers=True,
            )
        )
    told = " ".join(word(name) for name in ("change_rain", "change_price", "change_crop",
                                            "change_test"))
    title = b.Span(f"{word('change_title')}: ", bold=True)
    blocks.append(b.Paragraph((title, told), b.Style.SMALL))
    work = [a for a in context.plan.actions
            if context.in_budget(a) and a.kind is not NeedKind.MANAGE]
    if work:
        blocks += [
            b.Heading(2, word("heading_done"), anchor="done"),
            b.Paragraph(word("done_intro"), b.Style.SMALL),
            b.Table(
                (b.Column(word("column_rank"), "center"), b.Column(word("column_action"), weight=4),
                 b.Column(word("column_planned"), weight=2),
                 b.Column(word("column_done"), weight=2),
                 b.Column(word("column_done_date"), weight=2),
                 b.Column(word("column_weather"), weight=2)),
                tuple(
                    (str(a.rank), brief(context.writer, a),
                     context.amount(a.rate, a.rate_unit) if a.rate is not None else "–",
                     "", "", "")
                    for a in work
                ),
                fill_in=True,
            ),
        ]
    return blocks


def cautions_section(context: Context) -> list[b.Block]:
    """All cautions, each once under its number, with the actions it belongs to."""
    word = context.word
    marks = caution_marks(context)
    ranks: dict[str, list[int]] = {text: [] for text in marks}
    for action in context.plan.actions:
        for caution in action.cautions:
            ranks[context.write(caution)].append(action.rank)
    items: list[b.Text] = [
        (b.Span(f"{mark}{NBSP}{NBSP}", bold=True), text, " ",
         b.Span(word("for_actions", ranks=[str(r) for r in dict.fromkeys(ranks[text])]),
                small=True, muted=True))
        for text, mark in marks.items()
    ]
    for caution, title in aside_cautions(context.plan):
        text = context.write(caution)
        if text not in marks:
            marks[text] = ""
            aside = b.Span(word("for_aside", title=title), small=True, muted=True)
            items.append((text, " ", aside))
    if context.case.field.sensitive_areas:
        items.append(word("sensitive", places=list(context.case.field.sensitive_areas)))
    items.append(word("caution_law"))
    items.append(word("caution_pesticide"))
    return [
        b.Heading(1, word("heading_cautions"), anchor="cautions"),
        b.Callout(b.CalloutKind.CAUTION, (b.Bullets(tuple(items)),), word("cautions_title")),
    ]
