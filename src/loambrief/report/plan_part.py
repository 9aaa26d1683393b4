"""The plan on paper: table, cards, budget, what not to buy, follow-up, cautions."""

from __future__ import annotations

from loambrief.actions.model import Action
from loambrief.findings.model import say
from loambrief.report.blocks import (
    Block,
    Bullets,
    Callout,
    CalloutKind,
    Column,
    Figure,
    Heading,
    Paragraph,
    Row,
    RowKind,
    Span,
    Style,
    Table,
    Text,
)
from loambrief.report.context import Context
from loambrief.report.farm_part import days_blocks, strip_blocks, year_blocks
from loambrief.report.links import anchor
from loambrief.report.naming import brief
from loambrief.report.own_part import aside_cautions, differs_section
from loambrief.report.parts import ActionCard
from loambrief.report.plan_money import action_notes, money_blocks, without_range
from loambrief.report.text import nutrient_name
from loambrief.report.verdict_part import verdict_blocks
from loambrief.units import ACRE_PER_HA


def plan_section(context: Context, season: tuple[Figure, ...],
                 money: tuple[Figure, ...]) -> list[Block]:
    """The whole plan: table, calendar, money, each action in full."""
    plan, word = context.plan, context.word
    blocks: list[Block] = [
        Heading(1, word("heading_plan"), anchor="plan", columns=1),
        Paragraph(context.write(plan.rule)),
    ]
    if not plan.actions:
        return [*blocks, Paragraph(word("no_actions")), *differs_section(context),
                *verdict_blocks(context)]
    blocks.append(_table(context))
    blocks += season
    blocks += money_blocks(context)
    blocks += money
    blocks += differs_section(context)
    blocks += year_blocks(context)
    blocks += days_blocks(context)
    blocks += strip_blocks(context)
    blocks += verdict_blocks(context)
    blocks.append(Heading(2, word("heading_actions"), anchor="actions"))
    blocks += [action_card(context, a) for a in plan.actions]
    said = _once(context)
    if said:
        blocks.append(Paragraph(said, Style.NOTE))
    return blocks


def _once(context: Context) -> str:
    """What is true of several actions, said once after all of them."""
    actions = context.plan.actions
    return " ".join(context.write(say(key)) for key, true in (
        ("report.benefit_once", any(a.benefit is not None and a.response_chance_pct is None
                                    for a in actions)),
        ("report.range_once", any(without_range(a) for a in actions)),
        ("actions.range_method", any(a.rate_low is not None for a in actions
                                     if a.rate is not None)),
    ) if true)


def _table(context: Context) -> Table:
    word = context.word
    rows: list[Row | tuple[Text, ...]] = []
    step = None
    for action in context.plan.actions:
        reason = action.rank_reason
        if reason is not None and reason.params["step"] != step:
            step = reason.params["step"]
            rows.append(Row((context.write(say("actions.rank_step", step=step)),), RowKind.GROUP))
        rate = context.amount(action.rate, action.rate_unit) if action.rate is not None else "–"
        total = context.order(action.total, action.total_unit) if action.total else "–"
        rows.append(
            (
                str(action.rank),
                _what(context, action),
                context.place(action.place),
                Span(_place(context, action), small=True),
                rate,
                total,
                context.cost(action),
                word(_state(context, action)),
            )
        )
    costs = context.costs
    rows += [Row(("", word(name), "", "", "", "", context.money(amount), ""), RowKind.TOTAL)
             for name, amount in (("cost_packages", costs.packages), ("cost_saved", -costs.saved),
                                  ("total_covered", costs.total))
             if amount or name == "total_covered"]
    return Table(
        (
            Column(word("column_rank"), "center"),
            Column(word("column_action"), weight=4),
            Column(word("column_where"), weight=2),
            Column(word("column_place")),
            Column(word("column_rate"), "right"),
            Column(word("column_total"), "right"),
            Column(word("column_cost"), "right"),
            Column(word("column_budget")),
        ),
        tuple(rows),
        caption=word("plan_caption"),
        note=_money_note(context),
    )


def _state(context: Context, action: Action) -> str:
    """Whether the money covers an action, a reading still decides it, or it was put off."""
    if action.id in context.plan.budget.deferred:
        return "deferred"
    if action.id in context.plan.budget.undecided:
        return "undecided"
    return "covered" if context.in_budget(action) else "not_covered"


def _what(context: Context, action: Action) -> Text:
    """What to do, and with which material; the rate has a column of its own."""
    head = Span(brief(context, action), link=f"#{anchor('a', action.id)}",
                describe=context.write(action.title))
    if action.material_name and action.rate is not None:
        return (head, Span(f"\n{action.material_name}", small=True))
    return head


def _place(context: Context, action: Action) -> str:
    """Why the action stands where it stands, in a few words."""
    if action.rank_reason is None:
        return ""
    return context.write(say("actions.rank_short", **action.rank_reason.params))


def _money_note(context: Context) -> str:
    dates = sorted({a.price_date for a in context.plan.actions if a.price_date})
    budget = context.plan.budget
    return context.word(
        "money_note",
        limit=budget.limit,
        spent=budget.spent,
        oldest=dates[0] if dates else None,
        unpriced=len([a for a in context.plan.actions if a.cost_total is None]),
    )


def action_card(context: Context, action: Action) -> ActionCard:
    """One action with everything beside it."""
    word = context.word
    rate: Text = word("no_rate")
    if action.rate is not None and (action.own_reason is not None or action.exact_rate is None):
        rate = context.rate(action.rate, action.rate_unit)  # the computed one is in the notes
    elif action.rate is not None and action.exact_rate is not None:
        rate = word("rate_exact", rate=context.rate(action.rate, action.rate_unit),
                    exact=context.amount(action.exact_rate, action.rate_unit))
    elif action.exact_rate is not None and action.need.unit:
        rate = context.rate(action.exact_rate, action.need.unit)
    unit = action.rate_unit or action.need.unit
    span = ""
    if action.rate_low is not None and action.rate_high is not None and unit:
        low, high = (context.amount(v, unit) for v in (action.rate_low, action.rate_high))
        span = word("range", low=low, high=high) if low != high else ""
    buys = action.material_id is not None or action.need.amount is not None
    cost = word("no_price_long") if buys else ""
    if action.cost_total is not None:
        parts = ", ".join(
            f"{word('cost_' + name)} {context.money(amount * _areas(context))}"
            for name, amount in action.cost_parts
        )
        cost = word("cost_detail", total=context.costs.costs[action.id],
                    per_ac=_per_area(context, action),
                    parts=parts if len(action.cost_parts) > 1 else "", date=action.price_date,
                    si=context.system == "si")
    why: list[Text] = [
        (Span(context.write(context.finding(i).title), link=f"#{anchor('f', i)}"),)
        for i in action.finding_ids
    ]
    notes: list[Text] = action_notes(context, action)
    notes += [context.write(m) for m in (*action.limits, *action.notes)]
    if action.supplies:
        notes.append(
            word("supplies", items=[
                f"{context.amount(v, 'lb/ac')} {nutrient_name(k)}"
                for k, v in action.supplies.items() if v >= 0.05
            ])
        )
    if context.interested and action.rate is not None:
        notes.append(word("interest_line", interest=context.case.adviser.interest))
    worked = context.worked(action.results)
    if worked:
        notes.append((Span(word("label_calculations") + " ", small=True, muted=True), *worked))
    names = {a.id: a for a in context.plan.actions}
    waits = [f"{names[d].rank}" for d in action.depends_on if d in names]
    place = context.place(action.place) or context.case.field.name
    if action.area_ac:
        place = word("area_where", area=context.amount(action.area_ac, "ac"), where=place)
    return ActionCard(
        rank=action.rank,
        title=context.write(action.title),
        anchor=anchor("a", action.id),
        source=action.material_name or "",
        rate=rate,
        time=context.write(action.window.text) if action.window else "",
        place=place,
        range=span,
        total=context.order(action.total, action.total_unit) if action.total else "",
        cost=cost,
        why=tuple(why),
        how=tuple(context.write(m) for m in action.how),
        depends=word("waits_for", ranks=waits) if waits else "",
        notes=tuple(notes),
        cautions=tuple(context.write(m) for m in action.cautions),
        tag="" if context.in_budget(action) else word(f"{_state(context, action)}_long"),
    )


def _per_area(context: Context, action: Action) -> str:
    if action.cost_per_ac is None:
        return ""
    unit = {"us": "ac", "si": "ha"}[context.system]
    return f"{context.money(action.cost_per_ac * _areas(context))}/{unit}"


def _areas(context: Context) -> float:
    """Acres in one of the reader's units of area."""
    return ACRE_PER_HA if context.system == "si" else 1.0


def avoid_section(context: Context) -> list[Block]:
    """What not to spend money on."""
    if not context.plan.not_advised:
        return []
    rows: tuple[tuple[Text, ...], ...] = tuple(
        (context.write(n.what),
         (context.write(n.why), " ", context.write(n.saved) if n.saved else "", " ",
          *context.sources.cite(n.sources)))
        for n in context.plan.not_advised
    )
    return [
        Heading(1, context.word("heading_avoid"), anchor="avoid"),
        Table(
            (Column(context.word("column_avoid"), weight=2),
             Column(context.word("column_reason"), weight=4)),
            rows,
            row_headers=True,
        ),
    ]


def followup_section(context: Context) -> list[Block]:
    """Re-tests with their measure of success, and a record of what was done."""
    word = context.word
    blocks: list[Block] = [Heading(1, word("heading_followup"), anchor="follow-up")]
    if context.plan.followups:
        blocks.append(
            Table(
                (Column(word("column_due"), weight=2), Column(word("column_look"), weight=3),
                 Column(word("column_success"), weight=4)),
                tuple(
                    (context.writer.day(f.due) if f.due else word("undated"),
                     context.write(f.what), context.write(f.success))
                    for f in context.plan.followups
                ),
                row_headers=True,
            )
        )
    blocks.append(Callout(CalloutKind.NOTE, (Paragraph(" ".join(
        word(name) for name in ("change_rain", "change_price", "change_crop", "change_test")
    ), Style.SMALL),), word("change_title")))
    if context.plan.actions:
        blocks += [
            Heading(2, word("heading_done"), anchor="done"),
            Paragraph(word("done_intro")),
            Table(
                (Column(word("column_rank"), "center"), Column(word("column_action"), weight=4),
                 Column(word("column_planned"), weight=2), Column(word("column_done"), weight=2),
                 Column(word("column_done_date"), weight=2),
                 Column(word("column_weather"), weight=2)),
                tuple(
                    (str(a.rank), brief(context, a),
                     context.amount(a.rate, a.rate_unit) if a.rate is not None else "–",
                     "", "", "")
                    for a in context.plan.actions if context.in_budget(a)
                ),
                fill_in=True,
            ),
        ]
    return blocks


def cautions_section(context: Context) -> list[Block]:
    """All cautions gathered, each once, with the actions they belong to."""
    word = context.word
    gathered: dict[str, list[int]] = {}
    for action in context.plan.actions:
        for caution in action.cautions:
            gathered.setdefault(context.write(caution), []).append(action.rank)
    items: list[Text] = [
        (text, " ", Span(word("for_actions", ranks=[str(r) for r in dict.fromkeys(ranks)]),
                         small=True, muted=True))
        for text, ranks in gathered.items()
    ]
    for caution, title in aside_cautions(context.plan):
        text = context.write(caution)
        if text not in gathered:
            gathered[text] = []
            items.append((text, " ", Span(word("for_aside", title=title), small=True, muted=True)))
    if context.case.field.sensitive_areas:
        items.append(word("sensitive", places=list(context.case.field.sensitive_areas)))
    items.append(word("caution_law"))
    items.append(word("caution_pesticide"))
    return [
        Heading(1, word("heading_cautions"), anchor="cautions"),
        Callout(CalloutKind.CAUTION, (Bullets(tuple(items)),), word("cautions_title")),
    ]
