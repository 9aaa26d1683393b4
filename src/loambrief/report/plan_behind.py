"""What stands behind the plan, in the annex: order, limits, money, verdicts, calculations."""

from dataclasses import replace

from loambrief.actions.model import Action
from loambrief.agronomy.intervals import COVERAGE_PCT
from loambrief.findings.model import NeedKind, say
from loambrief.report import blocks as b
from loambrief.report.context import Context
from loambrief.report.farm_part import days_blocks, farm_notes, year_blocks
from loambrief.report.naming import brief
from loambrief.report.own_part import differs_section
from loambrief.report.pictures import Pictures
from loambrief.report.plan_money import benefit_note, money_blocks, without_range
from loambrief.report.text import nutrient_name
from loambrief.report.verdict_part import verdict_blocks
from loambrief.report.workings import Workings


def plan_behind(context: Context, drawn: Pictures, workings: Workings) -> list[b.Block]:
    """Why the plan is as it is; what the topics left of the workings is printed here."""
    plan = context.plan
    if not context.section("plan"):
        return []
    heading = context.annex_heading("plan", context.word("heading_behind"), "behind")
    blocks: list[b.Block] = [heading]
    if plan.actions:
        blocks += [b.Paragraph(context.write(plan.rule)), *drawn.season, _reasons(context)]
        said = said_once(context)
        if said:
            blocks.append(b.Paragraph(said, b.Style.NOTE))
        blocks += money_blocks(context)
        blocks += drawn.money
    blocks += [replace(block, level=3) if isinstance(block, b.Heading) else block for block in (
        *differs_section(context), *year_blocks(context, stated=False), *days_blocks(context))]
    blocks += verdict_blocks(context)
    blocks += _avoid(context)
    used = [r for action in plan.actions for r in action.results]
    left = [*workings.take(used), *workings.rest("")]
    if left:
        blocks += [b.Heading(3, context.word("heading_calculations"), anchor="calculations"), *left]
    return blocks


def _reasons(context: Context) -> b.Table:
    """Why each action stands where it stands, and what bound its rate."""
    word = context.word
    return b.Table(
        (b.Column(word("column_rank"), "center", weight=0.6),
         b.Column(word("column_action"), weight=4), b.Column(word("column_place"), weight=3),
         b.Column(word("column_bound"), weight=7)),
        tuple((str(a.rank), brief(context.writer, a), _place(context, a), _notes(context, a))
              for a in context.plan.actions))


def _place(context: Context, action: Action) -> str:
    """Why the action stands where it stands, in a few words."""
    if action.rank_reason is None:
        return ""
    params = dict(action.rank_reason.params)
    gravest = max(map(context.finding, action.finding_ids), key=lambda f: f.severity, default=None)
    if gravest is not None:  # what page 1 and the finding itself say
        params["confidence"] = gravest.confidence.value
    return (f"{context.write(say('actions.rank_step', step=params['step']))}: "
            f"{context.write(say('actions.rank_short', **params))}")


def _notes(context: Context, action: Action) -> b.Text:
    """What bound the rate, what rounding did, what it supplies, and its calculations."""
    told: list = [context.write(m) for m in (*action.limits, *action.notes)
                  if m not in farm_notes(action)]
    if action.supplies:
        told.append(context.word("supplies", items=[
            f"{context.amount(v, 'lb/ac')} {nutrient_name(k)}"
            for k, v in action.supplies.items() if v >= 0.05]))
    pieces: list = [" ".join(told)] if told else []
    benefit = benefit_note(context, action)
    if benefit:
        pieces += [" " if pieces else "", *benefit]
    worked = context.worked(action.results)
    if worked:
        pieces += [" " if pieces else "", context.word("label_calculations"), " ", *worked]
    return tuple(pieces) if pieces else "–"


def said_once(context: Context) -> str:
    """What is true of several actions, said once after all of them."""
    actions = context.plan.actions
    cores = {sample.id: sample.cores for sample in context.case.samples}
    uncounted = [a for a in actions if a.rate_low is None and a.need.amount is not None
                 and (a.kind in (NeedKind.GYPSUM, NeedKind.LEACH) or a.need.item in ("P2O5", "K2O"))
                 and cores.get(a.place.id, 0) is None]
    return " ".join(context.write(say(key, **more)) for key, true, more in (
        ("report.benefit_once", any(a.benefit is not None and a.response_chance_pct is None
                                    for a in actions), {}),
        ("report.range_cores", bool(uncounted), {
            "places": [p for p in dict.fromkeys(context.place(a.place) or
                                                context.case.field.name for a in uncounted)]}),
        ("report.range_once", any(without_range(a) for a in actions if a not in uncounted), {}),
        ("actions.range_method", any(a.rate_low is not None for a in actions
                                     if a.rate is not None), {"coverage": COVERAGE_PCT}),
    ) if true)


def _avoid(context: Context) -> list[b.Block]:
    """What not to spend money on."""
    if not context.plan.not_advised:
        return []
    rows: tuple[tuple[b.Text, ...], ...] = tuple(
        (context.write(n.what),
         (context.write(n.why), " ", context.write(n.saved) if n.saved else "", " ",
          *context.sources.cite(n.sources)))
        for n in context.plan.not_advised
    )
    return [
        b.Heading(3, context.word("heading_avoid"), anchor="avoid"),
        b.Table(
            (b.Column(context.word("column_avoid"), weight=2),
             b.Column(context.word("column_reason"), weight=4)),
            rows,
            row_headers=True,
        ),
    ]
