"""What the farm changes in the plan: cost by year, what is ruled out, days, check strips."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from loambrief.actions.equipment import uncounted
from loambrief.actions.model import Action, CheckStrip, Plan, WithoutMaterial
from loambrief.actions.offers import offers
from loambrief.actions.strips import TABLE as STRIPS
from loambrief.actions.tenure import TABLE as TENURE
from loambrief.actions.tenure import YearPlan, cost_by_year, seasons_left
from loambrief.case.schema import CaseFile
from loambrief.findings.model import Message, NeedKind, Place, say
from loambrief.report import blocks as b
from loambrief.report.context import Context
from loambrief.report.money import WHOLE_FROM, Money, money_of
from loambrief.report.naming import brief
from loambrief.tables import load
from loambrief.units import ACRE_PER_HA

LEASE_NOTES = ("farm.note_lime_lease", "farm.note_build_lease")


def years_of(case: CaseFile, plan: Plan, costs: Money) -> YearPlan | None:
    """The cost by year from the printed costs, so that the first year's work adds up."""
    return cost_by_year(case, plan, costs.costs, costs.packages - costs.saved, offers(case))


def year_blocks(context: Context, *, stated: bool) -> list[b.Block]:
    """One table: the grower's money by year, and for each unit of area.

    Where the case states a tenure it is part of what is decided, else it stands behind the plan.
    """
    found = years_of(context.case, context.plan, context.costs)
    if found is None or stated is not (context.case.tenure is not None):
        return []
    rows: list[b.Row | tuple[b.Text, ...]] = [
        (_say(context, "year_group", group=line.key),
         *(_money(context, a) for a in line.amounts)) for line in found.lines]
    rows.append(b.Row((_say(context, "year_total"), *(context.money(t) for t in _whole(found))),
                      b.RowKind.TOTAL))
    scale = ACRE_PER_HA if context.system == "si" else 1.0
    rows.append(b.Row((_say(context, "year_per_area"),
                       *(context.money(round(a * scale, 2)) for a in found.per_ac)),
                      b.RowKind.TOTAL))
    if any(found.owner):
        rows.append((_say(context, "year_owner"),
                     *(_money(context, round(o)) for o in found.owner)))
    own = [a for a, held in zip(found.per_ac, found.held, strict=True) if held]
    mean = sum(own) / len(own) * scale if own else None
    return [
        b.Heading(2, _say(context, "heading_years"), anchor="years"),
        b.Table((b.Column(_say(context, "column_group"), weight=3),
                 *(b.Column(_say(context, "column_year", start=start, held=held), "right", weight=2)
                   for start, held in zip(found.starts, found.held, strict=True))),
                tuple(rows), caption=_say(context, "years_caption"), row_headers=True,
                note=_say(context, "years_note", unpriced=len(found.unpriced), mean=mean,
                          lease=not all(found.held),
                          waiting=any(line.key == "waiting" for line in found.lines))),
        *_lime_source(context),
    ]


def _lime_source(context: Context) -> list[b.Block]:
    """Where the years come from over which lime is written off, if they are held against it."""
    if not any(n.key == LEASE_NOTES[0] for a in context.plan.actions for n in a.notes):
        return []
    cited = context.sources.cite((load(TENURE).source.reference,))
    return [b.Paragraph((_say(context, "years_lime"), " ", *cited), b.Style.NOTE)]


def _whole(found: YearPlan) -> list[float]:
    """Totals of the printed lines, so that a column adds up as it stands."""
    return [sum(_printed(line.amounts[n]) for line in found.lines)
            for n in range(len(found.starts))]


def _printed(amount: float) -> float:
    return round(amount) if abs(amount) >= WHOLE_FROM else round(amount, 2)


def _money(context: Context, amount: float) -> str:
    return context.money(_printed(amount)) if amount else "–"


def days_blocks(context: Context) -> list[b.Block]:
    """Days that the spreading takes on the farm's own machines, against those there are."""
    spreading, limits = context.plan.spreading, context.case.constraints
    if limits is None or not (spreading or limits.days_available is not None):
        return []
    done = [a for a in context.plan.actions if context.in_budget(a)]
    rest = uncounted(context.case, done)
    lines = [_say(context, "days_line", machine=s.machine, days=s.days,
                  mass=context.order(s.mass_lb, "lb"),
                  per_day=context.order(s.per_day_lb, "lb")) for s in spreading]
    if spreading:
        lines.append(_say(context, "days_sum", needed=sum(s.days for s in spreading),
                          available=limits.days_available))
    if rest:
        lines.append(_say(context, "days_uncounted", materials=list(rest)))
    return [b.Heading(2, _say(context, "heading_days"), anchor="days"),
            b.Paragraph(" ".join(lines))] if lines else []


def farm_notes(action: Action) -> tuple[Message, ...]:
    """What the farm changes in one action: part, payer, lease, machine, material."""
    return tuple(m for m in (*action.limits, *action.notes) if m.topic == "farm")


def strip_blocks(context: Context) -> list[b.Block]:
    """The short list of check strips, with how to read them."""
    strips = [s for s in context.plan.strips
              if s.laid_out or s.action_id in context.plan.budget.chosen]
    if not strips:
        return []
    table = load(STRIPS)
    cited = context.sources.cite((table.source.reference,))
    return [
        b.Heading(2, _say(context, "heading_strips"), anchor="strips"),
        b.Paragraph((_say(context, "strips_intro",
                          count=int(table.number("value", name="count")),
                          least=table.number("value", name="length_least"),
                          wanted=table.number("value", name="length_wanted")), " ", *cited, " ",
                     _say(context, "strips_read")), b.Style.SMALL),
        b.Bullets(tuple(_strip(context, like) for like in _alike(strips))),
    ]


def _alike(strips: list[CheckStrip]) -> list[list[CheckStrip]]:
    """Strips that are only offered, those of one kind together; a strip laid out by itself."""
    groups: dict[object, list[CheckStrip]] = {}
    for strip in strips:
        key = strip.action_id if strip.laid_out else replace(strip, action_id="")
        groups.setdefault(key, []).append(strip)
    return list(groups.values())


def _strip(context: Context, like: list[CheckStrip]) -> str:
    strip, stated = like[0], context.case.strips
    actions = sorted((context.plan.action(s.action_id) for s in like), key=lambda a: a.rank)
    return _say(context, "strip_line", ranks=[str(a.rank) for a in actions],
                what=brief(context.writer, actions[0]),
                why=strip.why, laid_out=strip.laid_out, count=strip.count, width=strip.width_ft,
                length=strip.length_ft, area=strip.area_ac, read=strip.read_by,
                where=stated.where if stated is not None else None)


# page 1 ------------------------------------------------------------------------------------


def farm_lines(context: Context) -> tuple[str, ...]:
    """What a constraint leaves without material, and what the end of the lease touches."""
    limits = context.case.constraints
    lines = [context.write(m) for m in gap_messages(context)]
    if limits is not None and limits.organic is not None:
        lines.append(_say(context, "organic_line", certified=limits.organic == "certified"))
    tenure, left = context.case.tenure, seasons_left(context.case)
    if tenure is not None and left is not None:
        ranks = [str(a.rank) for a in context.plan.actions
                 if any(n.key in LEASE_NOTES for n in a.notes)]
        lines.append(_say(context, "lease_line", until=tenure.until, seasons=left, ranks=ranks))
    needed = sum(s.days for s in context.plan.spreading)
    if limits is not None and limits.days_available is not None and needed > limits.days_available:
        lines.append(_say(context, "days_sum", needed=needed, available=limits.days_available))
    return tuple(lines)


def gap_messages(context: Context) -> list[Message]:
    """One message for each need and constraint, with its places."""
    grouped: dict[tuple, list[WithoutMaterial]] = {}
    for gap in context.plan.gaps:
        grouped.setdefault((gap.item, gap.key, gap.reason, gap.materials), []).append(gap)
    return [say("farm.gap", what=_what(context, gaps[0]), places=_places(context, gaps),
                ruling=gaps[0].key, reason=gaps[0].reason, materials=list(gaps[0].materials))
            for gaps in grouped.values()]


def _what(context: Context, gap: WithoutMaterial) -> str:
    return _say(context, "gap_what", item=gap.item,
                kind=gap.kind.value if gap.kind is not NeedKind.NUTRIENT else "nutrient")


def _places(context: Context, gaps: Iterable[WithoutMaterial]) -> list[Place]:
    """Places of the gaps; none where the field has only one."""
    return list(dict.fromkeys(g.place for g in gaps)) if len(context.case.samples) > 1 else []


def _say(context: Context, name: str, **params: object) -> str:
    return context.write(say(f"farm.{name}", **params))


# data --------------------------------------------------------------------------------------


def farm_data(case: CaseFile, plan: Plan) -> Mapping[str, object]:
    """Keys of the JSON on tenure, constraints and strips."""
    found = years_of(case, plan, money_of(plan))
    tenure = case.tenure
    return {
        "tenure": None if tenure is None else {
            "held": tenure.held, "until": tenure.until, "lime_paid_by": tenure.lime_paid_by,
            "harvests_left": seasons_left(case)},
        "cost_by_year": None if found is None else {
            "starts": list(found.starts), "held": list(found.held),
            "lines": {line.key: list(line.amounts) for line in found.lines},
            "totals": list(found.totals), "per_ac": list(found.per_ac),
            "owner_pays": list(found.owner), "without_price": list(found.unpriced)},
        "without_material": [
            {"action": g.action_id, "item": g.item, "place": g.place.id, "constraint": g.key,
             "reason": g.reason, "materials": list(g.materials)} for g in plan.gaps],
        "spreading_days": [
            {"machine": s.machine, "mass_lb": s.mass_lb, "days": s.days} for s in plan.spreading],
        "days_available": case.constraints.days_available if case.constraints else None,
        "check_strips": [
            {"action": s.action_id, "laid_out": s.laid_out, "count": s.count,
             "width_ft": s.width_ft, "length_ft": s.length_ft, "area_ac": s.area_ac,
             "compare": s.read_by, "why": s.why} for s in plan.strips],
    }
