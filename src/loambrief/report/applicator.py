"""The sheet for whoever drives the spreader: what, how much, where, and how to stay safe.

One page in big type. No diagnosis and no money: a contractor needs neither.
"""

from loambrief.actions.model import Action, Plan
from loambrief.actions.own_rates import WARNINGS
from loambrief.case.schema import CaseFile
from loambrief.findings.model import say
from loambrief.report import blocks as b
from loambrief.report.page_text import document
from loambrief.report.text import Writer

HAZARDS = ("lime_dust", "spread_wind", "gypsum_dust", "sulfur_dust", "dry_fertilizer",
           "water_setback", "manure", "liquid_room", "biosolids", "compost")
"""Cautions about handling and spreading; what a finding says about the soil stays away."""
INTERACTIONS = ("lime_n", "lime_p", "manure_lime", "sheep_copper", "k_mg", "pure_water",
                "gypsum_water")
"""What two jobs on one area do to each other."""
KEPT_OFF = ("farm.caution_neighbour", "farm.own_below_smallest")
STRIPS = "farm.note_strips"
WHOLE = 0.99
"""Share of the field from which a zone counts as all of it."""
SCALES = (1.6, 1.45, 1.3, 1.15, 1.0)
"""Type sizes to try, largest first."""


def spread_actions(plan: Plan) -> tuple[Action, ...]:
    """First passes of material with a rate that the money covers, in rank order."""
    return tuple(a for a in plan.actions if a.rate is not None and a.pass_number == 1
                 and a.id in plan.budget.chosen)


def applicator_sheet(case: CaseFile, plan: Plan, writer: Writer,
                     scale: float = 1.0) -> b.ReportModel:
    """The sheet as a document of its own, in type of a ``scale`` from 1 to 1.6."""
    write = writer.write
    actions = spread_actions(plan)
    title = write(say("actions.sheet_title", field=case.field.name))
    blocks: list[b.Block] = [b.Heading(1, title, anchor="sheet")]
    if not actions:
        blocks.append(b.Paragraph(write(say("actions.sheet_none")), b.Style.BIG))
    else:
        blocks.append(b.Paragraph(write(say("actions.sheet_valid", date=case.case.date,
                                            until=case.case.valid_until))))
        blocks += [_job(a, plan, writer) for a in actions]
        zones = {a.place.id for a in actions}
        areas = {a.place.id: a.area_ac for a in actions if a.area_ac is not None}
        blocks.append(b.Paragraph(write(say(
            "actions.sheet_map", zones=len(zones), place=actions[0].place,
            part=len(zones) == 1 and sum(areas.values()) < case.field.area.value * WHOLE,
            mapped=case.boundary is not None)), b.Style.BIG))
        if case.field.sensitive_areas:
            blocks.append(b.Paragraph(write(say("actions.sheet_keep_off",
                                                places=list(case.field.sensitive_areas))),
                                      b.Style.BIG))
        blocks.append(b.Callout(
            b.CalloutKind.CAUTION,
            (b.Bullets((*_hazards(actions, writer), write(say("actions.sheet_stop")),
                        write(say("actions.sheet_label")))),),
            write(say("actions.sheet_cautions")),
        ))
    people = [p for p in (case.adviser.name, case.adviser.phone) if p]
    blocks.append(b.Paragraph(write(say("actions.sheet_who", people=people)), b.Style.BIG))
    return document(case, writer, title=title, blocks=tuple(blocks), scale=scale)


def _job(action: Action, plan: Plan, writer: Writer) -> b.Block:
    """One job: material, rate and total large; place, time, what comes first and the
    box for what was spread below."""
    write = writer.write
    assert action.rate is not None  # only rated work is a job of the spreader
    amount = (
        writer.quantity(action.rate, action.rate_unit) if writer.decided == writer.system
        else writer.rate(action.rate, action.rate_unit))
    if action.total is not None:
        total = writer.order(action.total, action.total_unit)
        amount = write(say("actions.sheet_amount", rate=amount, total=total))
    place = writer.place(action.place)
    if action.area_ac:
        area = writer.quantity(action.area_ac, "ac")
        place = f"{place}, {area}" if place else area
    details = [place] if place else []
    if action.window:
        details.append(write(action.window.text))
    details += [write(n) for n in action.notes if n.key == STRIPS]
    before = [writer.short(a.title) for a in plan.actions if a.id in action.depends_on
              and a.id in plan.budget.chosen]
    if before:
        details.append(write(say("actions.sheet_before", titles=before)))
    name = write(say("actions.sheet_order", rank=action.rank, material=action.material_name,
                     passes=action.passes, number=action.pass_number))
    return b.KeepTogether((b.Paragraph((b.Span(name, bold=True), "\n", amount), b.Style.BIG),
                           b.Paragraph("; ".join(details)),
                           b.Paragraph(write(say("actions.sheet_box")))))


def _hazards(actions: tuple[Action, ...], writer: Writer) -> tuple[str, ...]:
    """Cautions about the materials, each once, in the order of the work."""
    wanted = {*(f"actions.caution_{name}" for name in HAZARDS), *WARNINGS, *KEPT_OFF,
              *(f"actions.interaction_{name}" for name in INTERACTIONS)}
    said = [writer.write(c) for a in actions for c in a.cautions if c.key in wanted]
    return tuple(dict.fromkeys(said))
