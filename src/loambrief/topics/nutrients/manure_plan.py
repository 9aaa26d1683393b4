"""How much of a manure on offer may go on: by nitrogen, by phosphorus, by the harvest, over years.

It stands beside the plan and changes nothing in it: the plan keeps the strictest of these limits
anyway (``actions.limits``). What a rate needs and the case does not hold is named as open.
"""

from collections.abc import Sequence
from statistics import median

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Sample
from loambrief.case.schema_materials import Material
from loambrief.case.select import main_increment
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import fixes_nitrogen
from loambrief.findings.model import say
from loambrief.findings.places import field_place, place_of
from loambrief.topics.carbon_nitrogen.formulas_supply import available_nitrogen_lb_ton
from loambrief.topics.carbon_nitrogen.line import LINE, RATE
from loambrief.topics.carbon_nitrogen.materials import share_row
from loambrief.topics.nutrients.crop import removed
from loambrief.topics.nutrients.formulas_manure import (
    GALLONS,
    WATER_LB_PER_GAL,
    liquid_room_gal_ac,
    manure_lb_per_1000_gal,
    manure_lb_per_ton,
    manure_rate_limit,
    phosphorus_years,
)
from loambrief.topics.soil_water.formulas import available_water_capacity
from loambrief.units import LB_PER_TON, plain

MANURE_RATES = "nutrients.manure_rates"
PUMPED = ("liquid", "slurry")
YEARS_AT_ONCE = 5.0
"""Most years of phosphorus removal that may be put on at once (unl-manure-p-rates)."""
BASES = (("nitrogen", "nitrogen", 1.0), ("guide", "guide", 1.0), ("removal", "removal", 1.0),
         ("years", "removal", YEARS_AT_ONCE))
"""Key of a row -> basis and years of the limit."""
LATER = ("second season", "third season")
SPENT = "liquid swine manure"
"""Row of the table of usable nitrogen that leaves next to nothing for later seasons."""
HALF = 50.0
"""Share of the soil's water that is used up, for which the room is told [%]."""
MOST_IN = 0.5
"""Most liquid in one pass [in]: Ohio's limit over tile drains (ohioline-anr21), taken everywhere.

A drier soil has room for more, yet then it has cracks, and they lead to the drains."""


def manure_findings(case: CaseFile, findings: Sequence[m.Finding],
                    told: Sequence[m.Judgement]) -> list[m.Finding]:
    """One finding for each manure on offer whose phosphorus is known.

    ``findings`` and ``told`` are those of every topic: the nitrogen and phosphorus they ask for.
    """
    taken = {n: removed(case, n) for n in ("N", "P2O5")}
    made = [_finding(case, x, findings, told, taken) for x in case.materials
            if x.kind == "manure" and x.analysis is not None and plain(x.analysis.p2o5)]
    return [f for f in made if f is not None]


def _contents(material: Material) -> tuple[dict[str, Result], float | None, tuple[Result, ...]]:
    """P2O5 and K2O of a unit, its usable nitrogen [lb], and what that was found from."""
    analysis = material.analysis
    assert analysis is not None
    pumped = material.form in PUMPED
    density = material.lb_per_gal or WATER_LB_PER_GAL

    def held(percent: float) -> Result:
        if pumped:
            return manure_lb_per_1000_gal.evaluate(analysis_pct=percent, density_lb_gal=density)
        return manure_lb_per_ton.evaluate(analysis_pct=percent)

    with subject(material.name):
        contents = {key: held(value) for key, value in (
            ("P2O5", plain(analysis.p2o5)), ("K2O", plain(analysis.k2o))) if value is not None}
        stated, total = plain(analysis.available_n), plain(analysis.total_nitrogen)
        if stated is not None:
            usable = held(stated)
            return contents, usable.number, (usable,)
        if total is None:
            return contents, None, ()
        share = available_nitrogen_lb_ton.evaluate(material=share_row(material),
                                                   total_nitrogen_pct=total)
    return contents, share.number * _tons(material), (share,)


def _tons(material: Material) -> float:
    """Tons in the unit that a manure is spread in: a ton, or a thousand gallons."""
    if material.form not in PUMPED:
        return 1.0
    return (material.lb_per_gal or WATER_LB_PER_GAL) * GALLONS / LB_PER_TON


def _wanted(zone_id: str, findings: Sequence[m.Finding], told: Sequence[m.Judgement],
            taken: dict[str, Result | None], fixes: bool) -> dict[str, float | None]:
    """Nitrogen and phosphorus that a zone asks for, and what its harvest takes [lb/ac]."""
    def first(*subjects: str) -> float | None:
        return next((f.value for subject in subjects for f in findings
                     if f.subject == subject and f.place.id in (zone_id, "")
                     and f.value is not None), None)

    nitrogen = first(LINE, RATE)
    if nitrogen is None and taken["N"] is not None and not fixes:
        nitrogen = taken["N"].number
    phosphorus = next((n.amount for f in findings for n in f.needs
                       if n.item == "P2O5" and n.place.id in (zone_id, "")), None)
    verdict = next((j.verdict for j in told if j.key == "P2O5"
                    and j.place.id in (zone_id, "")), None)
    if phosphorus is None and verdict is m.Verdict.NOT_NEEDED:
        phosphorus = 0.0
    harvest = taken["P2O5"]
    return {"n_need_lb_ac": nitrogen, "p2o5_need_lb_ac": phosphorus,
            "p2o5_removal_lb_ac": None if harvest is None else harvest.number}


def _finding(case: CaseFile, material: Material, findings: Sequence[m.Finding],
             told: Sequence[m.Judgement], taken: dict[str, Result | None]) -> m.Finding | None:
    contents, usable, results = _contents(material)
    pumped = material.form in PUMPED
    size, unit = (GALLONS, "gal/ac") if pumped else (1.0, "ton/ac")
    evidence: list[m.Evidence] = []
    firsts: dict[str, float] = {}
    years: Result | None = None
    for sample in (s for s in case.samples if s.repeats is None):
        place = place_of(sample)
        wanted = _wanted(sample.id, findings, told, taken, fixes_nitrogen(case.field.crop))
        rows, found = [], []
        with subject(place, material.name):
            for key, basis, span in BASES:
                rate = manure_rate_limit.evaluate(
                    p2o5_lb=contents["P2O5"].number, n_lb=usable,
                    k2o_lb=contents["K2O"].number if "K2O" in contents else None,
                    phosphorus_basis=basis, years=span, **wanted)
                value = None if rate.value is None else rate.number * size
                rows.append({"key": key, "rate": value, "limit": rate.details.get("limit"),
                             "p": rate.details.get("p2o5_lb_ac"),
                             "k": rate.details.get("k2o_lb_ac"), "years": span})
                found.append(rate)
                if value is not None and sample is case.samples[0]:
                    firsts[key] = value
            brings, harvest = found[0].details.get("p2o5_lb_ac"), wanted["p2o5_removal_lb_ac"]
            if years is None and brings is not None and harvest:
                years = phosphorus_years.evaluate(p2o5_lb_ac=brings, removal_lb_ac=harvest)
        evidence.append(m.stated("nutrients.for_manure_rates", *found, where=place, rows=rows,
                                 unit=unit))
        results = (*results, *found)
    if not evidence or not any(r["rate"] is not None for e in evidence
                               for r in e.text.params["rows"]):  # type: ignore[attr-defined]
        return None
    body, more = _body(case, material, usable, pumped, years)
    evidence += [
        m.stated("nutrients.against_manure_rates"),
        m.stated("nutrients.context_manure_years", years=YEARS_AT_ONCE)]
    results = (*contents.values(), *results, *more)
    return m.Finding(
        id=f"{MANURE_RATES}.{material.id}",
        title=say("nutrients.title_manure_rates", material=material.name, unit=unit,
                  nitrogen=firsts.get("nitrogen"), harvest=firsts.get("removal"),
                  guide=firsts.get("guide"),
                  zones=len(evidence) - 2),
        status=m.Status.NOTED, severity=0, confidence=m.Confidence.MEDIUM, grade=m.Grade.CALCULATED,
        place=field_place(case), body=body, evidence=tuple(evidence),
        sources=m.sources_of(results), results=results)


def _body(case: CaseFile, material: Material, usable: float | None, pumped: bool,
          years: Result | None) -> tuple[tuple[m.Message, ...], tuple[Result, ...]]:
    """Years of phosphorus, nitrogen of later seasons, and the room for a liquid."""
    body: list[m.Message] = []
    results: list[Result] = []
    if years is not None:
        body.append(say("nutrients.body_manure_years", years=years.value))
        results.append(years)
    total = plain(material.analysis.total_nitrogen) if material.analysis is not None else None
    if total is not None and share_row(material) != SPENT:
        with subject(material.name):
            later = [available_nitrogen_lb_ton.evaluate(material="manure", period=period,
                                                        total_nitrogen_pct=total)
                     for period in LATER]
        size = _tons(material)
        body.append(say("nutrients.body_manure_later", second=later[0].number * size,
                        third=later[1].number * size, pumped=pumped))
        results += later
    if usable is None:
        body.append(say("nutrients.body_manure_open"))
    if pumped:
        room = [r for s in case.samples if s.repeats is None
                if (r := liquid_room(case, s)) is not None]
        if room:
            body.append(say("nutrients.body_manure_room", most=MOST_IN, rows=[
                {"where": r.subject[0], "half": r.value, "capped": r.details["capped"],
                 "hours": r.details.get("hours")} for r in room]))
            results += room
    return tuple(body), tuple(results)


def liquid_room(case: CaseFile, sample: Sample) -> Result | None:
    """Room for a liquid in the top of a zone with half of its water used up.

    None where the texture is not stated or has no published capacity. The lower end of the
    capacity counts, and soil whose organic matter was not tested is taken to hold the least.
    """
    if sample.texture is None:
        return None
    increment = main_increment(sample)
    matter = plain(increment.organic_matter) if increment is not None else None
    place = place_of(sample)
    rates = case.infiltration.rates if case.infiltration is not None else []
    speed = median(r.value for r in rates) if rates else None
    with subject(place):
        capacity = available_water_capacity.evaluate(texture=sample.texture,
                                                     organic_matter_pct=matter)
        if capacity.value is None:
            return None
        return liquid_room_gal_ac.evaluate(
            capacity=capacity.details["low"], depleted_pct=HALF, infiltration_in_h=speed or None,
            most_in=MOST_IN)
