"""Manure spread before, where the phosphorus test is already above the guide's limit."""

from dataclasses import dataclass

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import Applied, Sample
from loambrief.case.select import sample_area_ac
from loambrief.findings.crop_kinds import eaten_fresh
from loambrief.findings.model import Evidence, Grade, Message, Need, NeedKind, Side, say, stated
from loambrief.tables import load
from loambrief.topics.nutrients.crop import removed
from loambrief.topics.nutrients.formulas import nutrient_supplied
from loambrief.topics.nutrients.state import NutrientState, zone
from loambrief.units import LB_PER_TON, plain

MANURES = ("manure", "biosolids")
BRINGS_PHOSPHORUS = ("compost", "manure", "biosolids")


@dataclass(frozen=True)
class Stop:
    """What is said of manure on ground that holds too much phosphorus."""

    body: tuple[Message, ...]
    evidence: tuple[Evidence, ...]
    needs: tuple[Need, ...]
    results: tuple[Result, ...]


def manures(state: NutrientState) -> tuple[Applied, ...]:
    """Earlier manure and biosolids of the case."""
    return tuple(a for a in state.case.earlier_applications if a.kind in MANURES)


def _days(name: str) -> int:
    return int(load("nutrients/raw_manure").find(name=name)["value"])


def _offers(state: NutrientState) -> tuple[list[dict[str, object]], tuple[Result, ...]]:
    """P2O5 in one ton of each compost and manure on offer."""
    rows, results = [], []
    for material in state.case.materials:
        grade = plain(material.analysis.p2o5) if material.analysis is not None else None
        if material.kind in BRINGS_PHOSPHORUS and grade:
            with subject(material.name):
                ton = nutrient_supplied.evaluate(rate_lb_ac=LB_PER_TON, grade_pct=grade)
            rows.append({"name": material.name, "pounds": float(ton.value)})
            results.append(ton)
    return rows, tuple(results)


def stop_manure(state: NutrientState, sample: Sample, rate: Result) -> Stop | None:
    """The manure that must stop, and what compost instead would add; None without manure."""
    spread = manures(state)
    if not spread:
        return None
    names = list(dict.fromkeys(a.material for a in spread))
    rows, results = _offers(state)
    taken = removed(state.case, "P2O5")
    body = [say("nutrients.manure_body", rows=[
        {"name": a.material, "date": a.date, "note": a.note,
         "rate": a.rate.value if a.rate.plain else None} for a in spread])]
    evidence = []
    if rows:
        evidence.append(Evidence(
            Side.CONTEXT, say("nutrients.evidence_compost_p", rows=rows, crop=state.crop.name,
                              removed=None if taken is None else taken.value),
            Grade.CALCULATED, () if taken is None else (taken.source,),
            (*results, *((taken,) if taken is not None else ()))))
    evidence.append(stated("nutrients.evidence_manure_nitrogen", materials=names))
    fresh = eaten_fresh(state.case)
    cautions = [say("nutrients.caution_p_index")]
    if fresh:
        cautions.append(say("nutrients.caution_raw_manure", crops=list(fresh),
                            contact=_days("soil_contact_days"), other=_days("no_contact_days")))
    need = Need(
        kind=NeedKind.MANAGE, item="stop-manure", unit="",
        text=say("nutrients.need_stop_manure", materials=names), place=zone(sample),
        area_ac=sample_area_ac(state.case, sample),
        results=(rate,), cautions=tuple(cautions),
        sources=(rate.source, *(("cfr-7-205-203", "cfr-21-112-56") if fresh else ())),
    )
    kept = (*results, *((taken,) if taken is not None else ()))
    return Stop(tuple(body), tuple(evidence), (need,), kept)
