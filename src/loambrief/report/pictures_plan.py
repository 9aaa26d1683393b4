"""Charts of the plan: what it costs in order of rank, and when each part is done."""

from loambrief.actions.model import Action
from loambrief.charts import ChartSpec
from loambrief.charts.budget import BudgetSpec, CostStep
from loambrief.charts.season import SeasonBar, SeasonMark, SeasonSpec
from loambrief.findings.model import NeedKind
from loambrief.report.context import Context
from loambrief.report.first_actions import spans_of
from loambrief.report.naming import brief, with_place


def budget(context: Context) -> ChartSpec | None:
    plan = context.plan
    priced = [a for a in plan.actions if a.cost_total is not None]
    if not priced:
        return None
    return BudgetSpec(
        title=context.word("chart_budget", spent=context.costs.total, limit=plan.budget.limit,
                           left_out=len(plan.budget.left_out), unpriced=len(plan.budget.unpriced)),
        words=context.chart_words,
        subtitle=context.word("chart_budget_sub"),
        steps=tuple(
            CostStep(a.rank, _action_label(context, a), context.costs.costs[a.id],
                     context.in_budget(a))
            for a in priced
        ),
        note=context.word("chart_budget_note", unpriced=len(plan.actions) - len(priced)),
        budget=plan.budget.limit,
        money=context.writer.money_pattern,
    )


def _action_label(context: Context, action: Action) -> str:
    name = action.material_name if action.rate is not None else None
    return with_place(name or brief(context.writer, action), action.place.label)


LEAST_WINDOWS = 2
"""Like bars tell nothing that a sentence does not."""


def season(context: Context) -> ChartSpec | None:
    together: dict[tuple, list[Action]] = {}
    for a in context.plan.actions:
        if a.window is not None and (a.window.start or a.window.end) and (
                context.in_budget(a) and a.pass_number == 1):
            when = (a.window.start, a.window.end, context.write(a.window.text),
                    a.kind is NeedKind.MEASURE)
            together.setdefault(when, []).append(a)
    bars = tuple(
        SeasonBar(", ".join(spans_of(a.rank for a in group)),
                  "; ".join(dict.fromkeys(_action_label(context, a) for a in group)), *when)
        for when, group in together.items())
    if len({(bar.start, bar.end) for bar in bars}) < LEAST_WINDOWS:
        return None
    dates = context.case.field.dates
    marks = tuple(
        SeasonMark(getattr(dates, name), context.word(f"mark_{name}"))
        for name in ("planting", "next_cut", "harvest")
        if dates is not None and getattr(dates, name) is not None
    )
    return SeasonSpec(
        title=context.word("chart_season"),
        words=context.chart_words,
        bars=bars,
        marks=marks,
        today=context.case.case.date,
    )
