"""The money side of the plan: orders, other ways, the next money, notes of each action."""

from collections.abc import Callable

from loambrief.actions.model import Action, Alternative, Order
from loambrief.findings.model import NeedKind, say
from loambrief.report.blocks import Block, Column, Heading, Paragraph, Span, Table, Text
from loambrief.report.context import Context
from loambrief.report.money import WHOLE_FROM, rounded


def money_blocks(context: Context) -> list[Block]:
    """What to order, what the money does next, and the other ways with their cost."""
    plan = context.plan
    blocks: list[Block] = []
    orders = order_rows(context)
    ways = [_way(context, a) for a in plan.alternatives]
    said = _next(context)
    if not (orders or ways or said):
        return []
    blocks.append(Heading(3, context.write(say("actions.heading_money")), anchor="money"))
    if said:
        blocks.append(Paragraph(said))
    if orders:
        blocks.append(_table(context, "order_caption",
                             ("column_material", "column_spread", "column_order",
                              "column_left"), orders, right=(1, 2, 3)))
    if ways:
        blocks.append(_table(context, "other_caption",
                             ("column_way", "column_cost", "column_note"), ways, right=(1,)))
    return blocks


def _table(context: Context, caption: str, columns: tuple[str, ...],
           rows: list[tuple[Text, ...]], right: tuple[int, ...]) -> Table:
    return Table(
        tuple(Column(context.write(say(f"actions.{c}")), "right" if i in right else "left")
              for i, c in enumerate(columns)),
        tuple(rows), caption=context.write(say(f"actions.{caption}")), row_headers=True,
    )


def _next(context: Context) -> str:
    budget = context.plan.budget
    if budget.limit is None:
        return ""
    if budget.next_use is None or budget.next_money is None:
        partly = budget.left_out or budget.unpriced
        return "" if partly else context.write(say("actions.all_covered"))
    return context.write(say("actions.next_use", money=budget.next_money,
                             rank=context.plan.action(budget.next_use).rank))


def order_rows(context: Context) -> list[tuple[Text, ...]]:
    """One row for each order; what is left over adds up to its share of the total."""
    orders = context.plan.orders
    unit = 1.0 if context.costs.total >= WHOLE_FROM else 0.01
    extras = rounded([o.extra_cost or 0.0 for o in orders], unit)
    return [_order(context, o, extra) for o, extra in zip(orders, extras, strict=True)]


def _order(context: Context, order: Order, extra: float) -> tuple[Text, ...]:
    def amount(pounds: float) -> str:
        return (context.order(pounds, "lb") if order.gallon_lb is None
                else context.order(pounds / order.gallon_lb, "gal"))

    ordered = packages(context, order, order.ordered_lb, amount)
    left = "–"
    if order.ordered_lb - order.needed_lb > 0.5:
        left = amount(order.ordered_lb - order.needed_lb)
        if order.extra_cost is not None:
            left = f"{left}, {context.money(extra)}"
    return (context.write(say("actions.order_season", material=order.material_name,
                              number=order.pass_number)),
            amount(order.needed_lb), ordered, left)


def packages(context: Context, order: Order, pounds: float,
             amount: Callable[[float], str]) -> str:
    """So many pounds of an order in its loads or bags, and what each holds."""
    count = 0 if order.package_lb is None else round(pounds / order.package_lb)
    return context.write(say(
        "actions.order_packages", package=order.package, count=count, amount=amount(pounds),
        each=amount(order.package_lb) if order.package_lb else ""))


def _way(context: Context, way: Alternative) -> tuple[Text, ...]:
    cost = (context.write(say("actions.not_possible")) if way.cost is None
            else context.money(round(way.cost)))
    return context.write(way.name), cost, context.write(way.note)


def without_range(action: Action) -> bool:
    """A rate without a range; that no published error applies is said once for all."""
    return (action.rate is not None and action.rate_low is None
            and action.kind is not NeedKind.MEASURE)


def own_rate_note(context: Context, action: Action) -> str:
    """That the adviser set the rate, why, and what was computed."""
    return context.write(say("actions.own_rate", computed=action.computed_rate,
                             unit=action.rate_unit, reason=action.own_reason))


def benefit_note(context: Context, action: Action) -> tuple[str | Span, ...]:
    """What an action may bring, where a chance of response is published."""
    if action.benefit is None or action.response_chance_pct is None:
        return ()
    chance = [r for r in action.results
              if r.details.get("response_chance_pct") == action.response_chance_pct]
    cited = context.sources.cite((chance[0].source,)) if chance else ()
    return (context.write(action.benefit), " ", *cited)
