"""Strips left untreated: offered for what is uncertain, counted where the case asks for them.

Four strips side by side with treated ones, each as wide as a pass of the spreader and as long
as the field allows, answer what no argument can (numbers and source in ``farm/strips``).
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from loambrief.actions.equipment import machine
from loambrief.actions.ground import resized
from loambrief.actions.model import Action, CheckStrip, Followup
from loambrief.case.problems import Fault
from loambrief.case.quantities import nearest, show
from loambrief.case.schema import CaseFile
from loambrief.errors import PlanFaults
from loambrief.findings.model import Confidence, NeedKind, say
from loambrief.tables import load
from loambrief.units import FT2_PER_ACRE

TABLE = "farm/strips"
READ_BY = {NeedKind.LIME: "ph", NeedKind.ACIDIFY: "ph", NeedKind.GYPSUM: "sodium",
           NeedKind.NUTRIENT: "yield", NeedKind.LOOSEN: "cone"}
"""What is compared beside the yield."""
MOST_SHARE = 0.25
"""Most of an action's area that strips may take (our own cut)."""


def uncertain(action: Action) -> str:
    """Why an action is worth a check: key of the reason, or empty."""
    if action.kind not in READ_BY or action.pass_number > 1 or not action.area_ac:
        return ""
    if action.rate is None and action.kind is not NeedKind.LOOSEN:
        return ""
    if action.optional:
        return "optional"
    sure = action.confidence is not Confidence.LOW and action.uncertain is None
    return "" if sure else "unsure"


def lay_out(case: CaseFile, actions: list[Action]
            ) -> tuple[list[Action], tuple[CheckStrip, ...]]:
    """Take the strips of the case off the actions they check; the strips in the order of these.

    Raises PlanFaults where the case names an action or material that nothing is spread for.
    """
    named = _named(case, actions)
    strips = []
    for action in actions:
        why = uncertain(action)
        wanted = action.id in named or (case.strips is not None and not case.strips.actions
                                        and bool(why))
        if why or wanted:
            strips.append(_strip(case, action, wanted, why))
    by_action = {s.action_id: s for s in strips if s.laid_out}
    taken = [_less(a, by_action[a.id]) if a.id in by_action else a for a in actions]
    first = {(a.kind, a.item, a.place.id): by_action[a.id] for a in actions if a.id in by_action}
    taken = [_less(a, first[a.kind, a.item, a.place.id]) if a.pass_number > 1
             and (a.kind, a.item, a.place.id) in first else a for a in taken]
    return taken, tuple(strips)


def _named(case: CaseFile, actions: Sequence[Action]) -> set[str]:
    """Ids of the actions whose strips the case asks for by name."""
    found: set[str] = set()
    faults = []
    spread = [a for a in actions if a.kind in READ_BY and a.pass_number == 1 and a.area_ac
              and (a.rate is not None or a.kind is NeedKind.LOOSEN)]
    known = sorted({n for a in spread for n in (a.id, a.material_id) if n})
    for i, name in enumerate(case.strips.actions if case.strips is not None else ()):
        touched = {a.id for a in spread if name in (a.id, a.material_id)}
        if not touched and case.strips is not None and not case.strips.of_program:
            near = nearest(name, known, cutoff=0.5)
            faults.append(Fault("CASE052", ("strips", "actions", i), show(name),
                                "an action that is spread, or its material",
                                (f"Did you mean {near!r}? " if near else "")
                                + (f"There are: {', '.join(known)}." if known
                                   else "There is none.")))
        found |= touched
    if faults:
        raise PlanFaults(tuple(faults))
    return found


def _strip(case: CaseFile, action: Action, wanted: bool, why: str) -> CheckStrip:
    stated, held = case.strips, machine(case, action.material_kind)
    width = stated.width if stated is not None and stated.width is not None else (
        held.width if held is not None else None)
    count = stated.count if stated is not None and stated.count is not None else int(
        load(TABLE).number("value", name="count"))
    length = stated.length.value if stated is not None else None
    area = 0.0
    if wanted and width is not None and length is not None and action.area_ac:
        area = count * width.value * length / FT2_PER_ACRE
    fits = 0 < area <= MOST_SHARE * (action.area_ac or 0.0)
    return CheckStrip(action.id, fits, None if width is None else width.value, length, count,
                      area if fits else 0.0, READ_BY[action.kind],
                      "too_large" if area and not fits else
                      "no_width" if wanted and not area else why or "asked")


def _less(action: Action, strip: CheckStrip) -> Action:
    assert action.area_ac is not None  # only work on an area gets strips
    return replace(resized(action, action.area_ac - strip.area_ac), notes=(*action.notes, say(
        "farm.note_strips", count=strip.count, area=strip.area_ac, width=strip.width_ft,
        length=strip.length_ft)))


def strip_followup(case: CaseFile, strips: Iterable[CheckStrip], chosen: Sequence[str]
                   ) -> tuple[Followup, ...]:
    """One entry for reading all strips that are laid out and paid for."""
    laid = [s for s in strips if s.laid_out and s.action_id in chosen]
    if not laid:
        return ()
    dates = case.field.dates
    due = (dates.harvest or dates.next_cut) if dates is not None else None
    if due is not None and due <= case.case.date:
        due = None
    stated = case.strips
    return (Followup(due, say("farm.follow_strips", count=sum(s.count for s in laid),
                              where=stated.where if stated is not None else None),
                     say("farm.success_strips"), laid[0].action_id),)
