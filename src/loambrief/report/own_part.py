"""What the adviser set differently, and why: one table, the program's figure beside each."""

from collections.abc import Mapping

from loambrief.actions.model import Action, Plan, PlanDifference, PlanFigure
from loambrief.findings.model import Message, say
from loambrief.report.blocks import Block, Column, Heading, Paragraph, Row, Span, Style, Table, Text
from loambrief.report.context import Context
from loambrief.report.links import anchor
from loambrief.report.money import money_of
from loambrief.report.text import Writer


def differs_section(context: Context) -> list[Block]:
    """The table, with what both plans cost; nothing where the adviser set nothing."""
    plan = context.plan
    if not plan.differences or plan.program is None:
        return []

    def word(name: str) -> str:
        return context.write(say(f"actions.{name}"))

    theirs = money_of(plan.program)
    rows = [Row((_what(context, d), _side(context.writer, d.own, context.costs.costs),
                 _side(context.writer, d.program, theirs.costs), _why(context.writer, d)))
            for d in plan.differences]
    return [
        Heading(2, word("heading_differs"), anchor="differs"),
        Paragraph(context.write(say("actions.differs_intro", both=True, own=context.costs.total,
                                    program=theirs.total))),
        Table((Column(word("column_differs"), weight=3), Column(word("column_adviser"), weight=3),
               Column(word("column_program"), weight=3),
               Column(word("column_why_differs"), weight=4)),
              tuple(rows), row_headers=True),
    ]


def own_pointer(context: Context) -> list[Text]:
    """One line for page 1 and the plan: how much the adviser set, and where it stands."""
    count = len([d for d in context.plan.differences if d.reasons])
    if not count:
        return []
    return [(context.word("own_pointer", count=count), " ",
             Span(context.word("own_link"), link="#differs"), f" ({context.section('plan')}).")]


def _what(context: Context, difference: PlanDifference) -> Text:
    """The action, linked where it is in the plan, and what was done to it."""
    title = context.writer.short(difference.title)
    place = difference.place.label
    names = changes_named(context.writer, difference)
    listed = {a.id for a in context.plan.actions}
    target = next((f.action_id for f in difference.own if f.action_id in listed), None)
    head = Span(title, link=f"#{anchor('a', target)}" if target else "")
    tail = ", ".join(filter(None, (place if place not in title else "", names)))
    return (head, Span(f"\n{tail}", small=True))


def changes_named(writer: Writer, difference: PlanDifference) -> str:
    """What the adviser did, in words."""
    return ", ".join(writer.write(say("actions.change_name", kind=k)) for k in difference.kinds)


def _side(writer: Writer, figures: tuple[PlanFigure, ...], costs: Mapping[str, float]) -> str:
    if not figures:
        return writer.write(say("actions.differs_none"))
    return "; ".join(writer.write(say(
        "actions.differs_figure", material=f.material, rate=f.rate, unit=f.rate_unit,
        cost=costs.get(f.action_id), rank=f.rank)) for f in figures)


def _why(writer: Writer, difference: PlanDifference) -> str:
    if not difference.reasons:
        return writer.write(say("actions.differs_follows"))
    return " ".join(_sentence(r) for r in difference.reasons)


def _sentence(text: str) -> str:
    return text if text[-1:] in ".?!" else f"{text}."


def own_notes(action: Action) -> list[Message]:
    """What an action's card says of the adviser's part in it."""
    notes = []
    if action.own:
        notes.append(say("actions.note_own", own=action.own, reasons=list(action.reasons)))
    elif set(action.changed) - {"rate"}:
        notes.append(say("actions.note_changed", changes=list(action.changed),
                         reasons=list(action.reasons)))
    if action.deferred is not None:
        notes.append(action.deferred)
    return notes


def aside_blocks(context: Context) -> list[Block]:
    """What the adviser took out of the plan, each with the reason."""
    return [Paragraph((Span(f"{context.writer.short(s.action.title)}"
                            f"{', ' + s.action.place.label if s.action.place.label else ''}. ",
                            bold=True),
                       context.write(say("actions.set_aside_why", reason=s.reason))), Style.SMALL)
            for s in context.plan.set_aside]


def aside_cautions(plan: Plan) -> list[tuple[Message, Message]]:
    """Cautions that stay although the action was set aside, each with that action's title."""
    return [(caution, aside.action.title) for aside in plan.set_aside
            for caution in aside.cautions]


def own_data(plan: Plan, writer: Writer) -> dict | None:
    """Both plans as data: what was set, and the program's own ranks, rates and money."""
    if plan.program is None:
        return None
    program, theirs = plan.program, money_of(plan.program)
    return {
        "differences": [
            {"kinds": list(d.kinds), "action": d.action_id, "title": writer.write(d.title),
             "place": d.place.id, "reasons": list(d.reasons),
             "adviser": [_figure_data(f) for f in d.own],
             "program": [_figure_data(f) for f in d.program]}
            for d in plan.differences
        ],
        "set_aside": [
            {"action": s.action.id, "title": writer.write(s.action.title),
             "place": s.action.place.id, "reason": s.reason,
             "cautions": [writer.write(c) for c in s.cautions]} for s in plan.set_aside
        ],
        "met": [{"kind": need.kind.value, "item": need.item, "place": need.place.id,
                 "by": action.id} for need, action in plan.met],
        "program": {
            "actions": [
                {"id": a.id, "rank": a.rank, "title": writer.write(a.title), "place": a.place.id,
                 "material": a.material_id, "rate": a.rate, "rate_unit": a.rate_unit,
                 "cost_total": a.cost_total, "in_budget": a.id in program.budget.chosen}
                for a in program.actions],
            "spent": program.budget.spent, "printed_total": theirs.total,
            "left_out": list(program.budget.left_out),
        },
    }


def _figure_data(figure: PlanFigure) -> dict:
    return {"id": figure.action_id, "rank": figure.rank, "material": figure.material,
            "rate": figure.rate, "rate_unit": figure.rate_unit, "cost_total": figure.cost}
