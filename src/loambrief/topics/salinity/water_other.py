"""What irrigation water brings along besides salt, and what in it clogs emitters."""

from loambrief.agronomy.registry import subject
from loambrief.case.schema import CaseFile
from loambrief.case.select import age_days
from loambrief.findings import model as m
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.crop_kinds import feeds_stock
from loambrief.findings.model import say
from loambrief.topics.salinity.formulas_water import water_load_lb_ac
from loambrief.topics.salinity.formulas_water_quality import water_restriction, water_trace_limit
from loambrief.units import EQUIVALENT_MG, plain

FOOT_IN = 12.0
"""Depth of water the loads are told for [in]."""
MOST_NAMED = 3
"""Loads that the title tells; the others stand below it."""
ORDER = ("severe", "slight to moderate", "none")
DRIP = {"iron": "iron", "manganese": "manganese", "dissolved solids": "dissolved_solids",
        "ph": "ph"}
"""What clogs emitters -> field of the water test."""
TRACE = ("copper", "zinc", "selenium", "molybdenum", "manganese")
ACID_PH = 6.0
"""Manganese of the water counts below it only (Colorado's standards)."""
STOCK = "stock"
PLAN = "sf-bay-table-3-6"


def load_finding(case: CaseFile) -> m.Finding | None:
    """What is dissolved in a foot of the water, in lb/ac; a reading only.

    How much of it counts is said where the nutrient is reckoned; None if nothing was measured.
    """
    water = case.water
    if water is None:
        return None
    sulfate, potassium, chloride = (plain(water.sulfate), plain(water.potassium),
                                    plain(water.chloride))
    contents = {  # mg/L
        "nitrogen": plain(water.nitrate_n),
        "sulfur": None if sulfate is None else sulfate * EQUIVALENT_MG["S"],
        "boron": plain(water.boron),
        "potassium": None if potassium is None else potassium * EQUIVALENT_MG["K"],
        "chloride": None if chloride is None else chloride * EQUIVALENT_MG["Cl"],
        **{name: plain(getattr(water, name)) for name in TRACE if name != "manganese"},
    }
    with subject(water.source):
        loads = {name: water_load_lb_ac.evaluate(mg_l=mg_l, water_in=FOOT_IN)
                 for name, mg_l in contents.items() if mg_l is not None}
    if not loads:
        return None
    return m.Finding(
        id="salinity.water.load",
        title=say("salinity.title_water_load", source=water.source,
                  loads={name: load.value for name, load in list(loads.items())[:MOST_NAMED]}),
        status=m.Status.NOTED,
        severity=0,
        confidence=grade_confidence(age_days=age_days(case, water.date)),
        grade=m.Grade.CALCULATED,
        place=m.Place(label=water.source),
        body=(say("salinity.body_water_load"),),
        evidence=tuple(
            m.stated("salinity.for_water_load", load, what=name, load=load.value,
                     mg_l=contents[name])
            for name, load in loads.items()),
        sources=("nist-hb44-2020",),
        results=tuple(loads.values()),
    )


def clogging_finding(case: CaseFile) -> m.Finding | None:
    """Iron, manganese, dissolved solids and pH where the water goes through drip emitters."""
    water = case.water
    if water is None or case.field.irrigation != "drip":
        return None
    values = {name: (None if value is None else float(value)
                     if isinstance(value, float | int) else plain(value))
              for name, key in DRIP.items() for value in (getattr(water, key),)}
    with subject(water.source):
        judged = {name: water_restriction.evaluate(constituent=name, value=value, method="drip")
                  for name, value in values.items() if value is not None}
    if not judged:
        return None
    worst = min((str(r.value) for r in judged.values()), key=ORDER.index)
    named = [n for n, r in judged.items() if r.value == worst] if worst != "none" else []
    return m.Finding(
        id="salinity.water.clogging",
        title=say("salinity.title_clogging", source=water.source, level=worst, what=named),
        status=m.Status.ADEQUATE if worst == "none" else m.Status.WATCH,
        severity=0 if worst == "none" else 1,
        confidence=grade_confidence(age_days=age_days(case, water.date)),
        grade=m.Grade.MEASURED,
        place=m.Place(label=water.source),
        reference=say("salinity.reference_clogging"),
        body=(say("salinity.body_clogging", level=worst, lacking=[
            n for n in ("iron", "manganese") if values[n] is None]),),
        evidence=tuple(
            m.on_side(m.Side.FOR if r.value != "none" else m.Side.CONTEXT, "salinity.for_clogging",
                      r, what=name, value=values[name], unit=r.details["unit"], level=r.value,
                      none_below=r.details["none_below"], severe_above=r.details["severe_above"])
            for name, r in judged.items()),
        sources=("ayers-westcot-1985-fao29",),
        results=tuple(judged.values()),
    )


def trace_finding(case: CaseFile) -> m.Finding | None:
    """Copper, zinc, selenium, molybdenum and manganese against limits for use on the land.

    Manganese is judged where a sample is acid only. None if none of them was measured.
    """
    water = case.water
    if water is None:
        return None
    acid = any((i.ph or 14.0) < ACID_PH for s in case.samples for i in s.increments)
    values = {name: value for name in TRACE if (name != "manganese" or acid)
              and (value := plain(getattr(water, name))) is not None}
    with subject(water.source):
        judged = {name: water_trace_limit.evaluate(element=name, mg_l=value)
                  for name, value in values.items()}
    if not judged:
        return None
    worst = min((str(r.value) for r in judged.values()), key=ORDER.index)
    named = [n for n, r in judged.items() if r.value != "none"]
    eaten = any(judged[n].details["harm"] == STOCK for n in named) and feeds_stock(case)
    needs: tuple[m.Need, ...] = ()
    if eaten:
        needs = (m.Need(kind=m.NeedKind.MEASURE, item="forage trace", unit="",
                        text=say("salinity.need_forage_trace"), area_ac=case.field.area.value,
                        sources=(PLAN,)),)
    return m.Finding(
        id="salinity.water.trace",
        title=say("salinity.title_trace", source=water.source, what=named),
        status={"none": m.Status.ADEQUATE, "severe": m.Status.LIMITING}.get(worst, m.Status.WATCH),
        severity={"none": 0, "severe": 2}.get(worst, 1),
        confidence=grade_confidence(age_days=age_days(case, water.date)),
        grade=m.Grade.MEASURED, place=m.Place(label=water.source),
        body=(say("salinity.body_trace", what=named, eaten=eaten),),
        evidence=tuple(
            m.on_side(m.Side.FOR if r.value != "none" else m.Side.CONTEXT, "salinity.for_trace", r,
                      what=name, value=values[name], level=r.value,
                      continuous=r.details["continuous"], most=r.details["short_term"],
                      stock=r.details["stock"] if case.field.livestock else None)
            for name, r in judged.items()),
        needs=needs, sources=(PLAN,), results=tuple(judged.values()))
