"""The strip along water that gets no manure: taken off area, order and cost where it is known.

Manure, biosolids and compost keep the distance of the case, else of the state, else of the
federal rule. Where the case states how far the water lies from what is spread and how long it
runs beside it, the strip is taken off; a zone that lies all inside it gets none. Where the
length is not stated nothing can be taken off: the caution says how much each hundred feet takes
and that area, order and cost still hold it.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from loambrief.actions.limits import waters
from loambrief.actions.model import Action
from loambrief.actions.offers import ORGANIC, Offer
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, NearWater
from loambrief.case.schema_farm import Neighbour
from loambrief.case.schema_materials import Material
from loambrief.findings.model import Message, say
from loambrief.topics.nutrients.formulas_manure import (
    STRIP_FT,
    manure_setback_ft,
    setback_strip_ac,
)
from loambrief.units import FT2_PER_ACRE

OWN_SETBACK = ("well", "sinkhole", "tile inlet")
RUN_FT = 100.0
"""Length of water that an unstated strip is told by."""
LEAST_AC = 0.01
"""Less than this of a zone is none."""


@dataclass(frozen=True)
class Setback:
    """One water beside a zone."""

    water: NearWater
    feet: float
    """Distance from it that gets nothing [ft]."""
    own: bool
    """True if the case sets that distance."""
    strip_ac: float | None
    """Part of the zone inside it [ac]; None where the length of the water is not stated."""
    each_ac: float
    """What each hundred feet of its length takes off [ac]."""
    results: tuple[Result, ...]

    @property
    def inside(self) -> bool:
        """The area that is spread reaches into the setback."""
        return self.each_ac > 0


def setbacks(case: CaseFile, zone_id: str) -> tuple[Setback, ...]:
    """Every water that the case states beside a zone."""
    return tuple(_setback(case, water) for water in waters(case, zone_id))


def _setback(case: CaseFile, water: NearWater) -> Setback:
    results: list[Result] = []
    with subject(water.kind):
        if water.setback is not None:
            feet = water.setback.value
        else:
            rule = manure_setback_ft.evaluate(
                feature=water.kind if water.kind in OWN_SETBACK else "surface water",
                region=case.farm.region, strip_ft=water.strip.value if water.strip else 0.0)
            feet = rule.number
            results.append(rule)
        where = {"setback_ft": feet, "distance_ft": water.distance.value}
        each = setback_strip_ac.evaluate(**where, length_ft=RUN_FT)
        strip = None
        if water.length is not None:
            strip = setback_strip_ac.evaluate(**where, length_ft=water.length.value)
    results.append(each if strip is None else strip)
    return Setback(water, feet, water.setback is not None,
                   None if strip is None else strip.number, each.number, tuple(results))


def kept_off(case: CaseFile, zone_id: str, area_ac: float | None,
             material: Material) -> tuple[float | None, tuple[Setback, ...]]:
    """Area that a material is spread on [ac], and the strips that were taken off it."""
    if material.kind not in ORGANIC or area_ac is None:
        return area_ac, ()
    known = tuple(s for s in setbacks(case, zone_id) if s.strip_ac)
    return max(area_ac - sum(s.strip_ac or 0.0 for s in known), 0.0), known


def neighbours(case: CaseFile) -> list[tuple[Neighbour, str | None]]:
    """Neighbours, each with the zone that its strip lies in where that is known."""
    beside = case.constraints.neighbours if case.constraints is not None else ()
    only = case.samples[0].id if len(case.samples) == 1 else None
    return [(n, n.zone or only) for n in beside]


def strip_ac(neighbour: Neighbour) -> float:
    """The strip along a neighbour [ac]."""
    return neighbour.setback.value * neighbour.length.value / FT2_PER_ACRE


def barred(case: CaseFile, zone_id: str, area_ac: float,
           offers: Iterable[Offer]) -> frozenset[str]:
    """Materials that no part of a zone may get, for water or for a neighbour."""
    def left(material: Material) -> float:
        return (kept_off(case, zone_id, area_ac, material)[0] or 0.0) - sum(
            strip_ac(n) for n, zone in neighbours(case)
            if material.kind in n.kinds and (zone or "").lower() == zone_id.lower())

    return frozenset(o.id for o in offers if left(o.material) < LEAST_AC)


def limit_of(setback: Setback, area_ac: float | None) -> Message:
    """What a strip took off an area."""
    return say("actions.limit_setback", kind=setback.water.kind, feet=setback.feet,
               off=setback.strip_ac, area=area_ac)


def cautions(case: CaseFile, action: Action) -> list[Message]:
    """The distance to each water, and what is still to be taken off for it."""
    if action.material_kind not in ORGANIC:
        return []
    told = [say("actions.caution_near_water", kind=s.water.kind, distance=s.water.distance.value,
                feet=s.feet, inside=s.inside, own=s.own, off=s.strip_ac, each=s.each_ac,
                run=RUN_FT)
            for s in setbacks(case, action.place.id)]
    if told or not case.field.sensitive_areas:
        return told
    bare, strip = (manure_setback_ft.evaluate(feature="surface water", region=case.farm.region,
                                              strip_ft=width) for width in (0.0, STRIP_FT))
    each = setback_strip_ac.evaluate(setback_ft=bare.number, distance_ft=0.0, length_ft=RUN_FT)
    return [say("actions.caution_setback", feet=bare.number, strip=strip.number,
                each=each.number, run=RUN_FT, places=list(case.field.sensitive_areas))]
