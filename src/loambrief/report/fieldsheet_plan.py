"""What the next visit has to bring: how many cores, points and readings, and where.

Numbers of cores and points follow from the spread that is usual in a field and the error
that is wanted, and are never under what the sampling guides ask for.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from loambrief import __version__, numbers
from loambrief.agronomy.registry import Result
from loambrief.case.schema import TEXTURES, CaseFile
from loambrief.case.select import TILLED_MIN_IN, sample_area_ac
from loambrief.case.sheet_layout import SECTIONS, About, Layout, Plant, WeedLine, Zone, identified
from loambrief.findings.model import Place, say
from loambrief.report.text import Writer
from loambrief.tables import load, named_number
from loambrief.tables.harmful import harmful_row
from loambrief.topics.sampling.formulas import samples_needed_iterated
from loambrief.topics.sampling.formulas_error import constant
from loambrief.units import CM_PER_INCH

MOST_ZONES, MOST_WEEDS, MOST_PLANTS = 8, 20, 8
CORE_TEST = "phosphorus"
setting = partial(named_number, "sampling/fieldsheet")


@dataclass(frozen=True)
class VisitPlan:
    """A layout and the numbers behind it."""

    layout: Layout
    cores: int
    """Cores for each composite sample."""
    core_need: Result
    point_need: Result
    """``core_need``, ``point_need``: of ``samples_needed_iterated``."""
    large: tuple[bool, ...]
    """For each zone: one sample stands for more than guides advise."""
    slices: tuple[Place, ...]
    """Depths of the layout's slices."""


def plan_visit(case: CaseFile, writer: Writer, *, sections: Sequence[str] = SECTIONS,
               blank: int = 3) -> VisitPlan:
    """What the sheets of the next visit ask for, from the case of the last one.

    Parameters
    ----------
    sections : sequence of str
        Of :data:`~loambrief.case.sheet_layout.SECTIONS`.
    blank : int
        Empty lines for weeds that were not there; half as many for sap.
    """
    si = writer.system == "si"
    spread = load("sampling/variation").find(test=CORE_TEST)["field_cv_low"]
    wanted = setting("error_wanted")
    core_need = samples_needed_iterated.evaluate(cv_pct=float(spread), error_pct=wanted)
    point_need = samples_needed_iterated.evaluate(cv_pct=setting("cone_cv"), error_pct=wanted)
    zones, large = _zones(case, writer)
    slices = _slices(case, si)
    unit, pressure = ("cm", "kPa") if si else ("in", "psi")
    layout = Layout(
        version=__version__, case_id=case.case.id, about=_about(case),
        language=writer.language, units=writer.system, paper=case.case.paper,
        sections=[s for s in SECTIONS if s in sections], depth_unit=unit, pressure_unit=pressure,
        zones=zones, slices=list(slices.values()),
        points=int(max(constant("cores_min"), point_need.value)),
        depths=_depths(case, si),
        plants=_plants(case, blank), replicates=int(setting("sap_replicates")),
        weeds=[*(WeedLine(species=w.species, local_name=w.local_name)
                 for w in case.weeds[:MOST_WEEDS]), *(WeedLine() for _ in range(blank))],
        rings=int(setting("rings")),
        words={writer.write(say("fieldsheet.word", name=t)).lower(): t for t in TEXTURES},
    )
    cores = max(int(constant("cores_wanted")), int(core_need.value))
    return VisitPlan(identified(layout), cores, core_need, point_need, (*large, False),
                     tuple(Place(depth=ends) for ends in slices))


def _about(case: CaseFile) -> About:
    field = case.field
    return About(client=case.client.name, farm=case.farm.name, field=field.name,
                 field_id=field.id, area=field.area.typed, crop=field.crop,
                 tillage=field.tillage, irrigation=field.irrigation, drainage=field.drainage)


def _zones(case: CaseFile, writer: Writer) -> tuple[list[Zone], list[bool]]:
    """The zones of the last samples, or as many as the guides ask for; one empty one."""
    most = constant("area_max")
    if case.samples:
        known = case.samples[:MOST_ZONES]
        zones = [Zone(id=s.id, place=s.place, area=s.area.typed if s.area else None,
                      texture=s.texture) for s in known]
        large = [sample_area_ac(case, s) > most for s in known]
    else:
        count = min(MOST_ZONES, max(1, math.ceil(case.field.area.value / most)))
        part = writer.quantity(case.field.area.value / count, "ac")
        area = case.field.area.typed if count == 1 else part.replace(numbers.NBSP, " ")
        zones = [Zone(id=f"Z{n}", area=area) for n in range(1, count + 1)]
        large = [False] * count
    return [*zones, Zone()], large


def _slices(case: CaseFile, si: bool) -> dict[tuple[float, float], str]:
    """Depths [in] and as typed: of the last samples, so that results can be compared; else as
    guides ask."""
    found = {(i.top_in, i.bottom_in): i.depth[2] for s in case.samples for i in s.increments}
    if not any(top == 0 and bottom >= TILLED_MIN_IN for top, bottom in found) and (
            case.field.tillage != "perennial" or not found):
        deep = constant("pasture_high" if case.field.tillage == "perennial" else "no_till_main")
        found[0.0, deep] = _depth(deep, si)
    surface = constant("no_till_surface")
    if case.field.tillage == "no-till" and not any(
            top == 0 and bottom < TILLED_MIN_IN for top, bottom in found):
        found[0.0, surface] = _depth(surface, si)
    return {ends: found[ends] for ends in sorted(found)[:6]}


def _depth(bottom_in: float, si: bool) -> str:
    return f"0-{round(bottom_in * CM_PER_INCH):g} cm" if si else f"0-{bottom_in:g} in"


def _depths(case: CaseFile, si: bool) -> list[float]:
    """Depths of the last cone readings, else every three inches down to 18."""
    if case.penetrometer and len(case.penetrometer.depths) <= 9:
        inches = list(case.penetrometer.depths)
    else:
        step, end = setting("cone_step"), setting("cone_deepest")
        inches = [step * n for n in range(1, int(end / step) + 1)]
    return [round(d * CM_PER_INCH, 1) if si else round(d, 2) for d in inches]


def _plants(case: CaseFile, blank: int) -> list[Plant]:
    """Pairs of the crop and a weed: the one that was pressed last time, then lines to be named."""
    weeds = [w.species for w in case.weeds
             if harmful_row(w.species) is None and harmful_row(w.local_name or w.species) is None]
    pressed = [r.plant for r in case.refractometer.readings if r.role == "weed"] if (
        case.refractometer) else []
    known = [name for name in dict.fromkeys([*pressed, *weeds]) if harmful_row(name) is None]
    pairs = [known[0] if known else None, *[None] * max(1, blank // 2)]
    plants = [Plant(role=role, name=case.field.crop if role == "crop" else name)
              for name in pairs for role in ("crop", "weed")]
    return plants[:MOST_PLANTS]
