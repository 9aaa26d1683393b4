"""What sodic or alkaline irrigation water needs each season that it is used."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Water
from loambrief.case.select import age_days
from loambrief.findings import model as m
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.model import say
from loambrief.findings.places import field_place, place_of
from loambrief.tables import load
from loambrief.topics.salinity.formulas_water import constant
from loambrief.topics.salinity.formulas_water_amendment import (
    EVERY_SEASON,
    NOTHING,
    calcium_for_water_sar,
    irrigation_water_treatment,
    water_amendment_lb_ac,
)
from loambrief.topics.salinity.formulas_water_quality import NONE
from loambrief.units import LB_PER_TON, plain

ACRE_FOOT_IN = 12.0
MOST_CALCIUM_MEQ_L = 5.0
"""Calcium that gypsum brings into flowing water in practice (note of the calcium formula)."""
VERY_BAD = 2.0
"""Residual carbonate at so many times the limit, or over it with a SAR that seals soil, is
severe: our own step."""


def treatment_finding(case: CaseFile, sar: Result | None, rsc: Result | None) -> m.Finding | None:
    """Calcium or acid for the water, season by season; None where it needs none.

    SAR and residual sodium carbonate as far as the ions of the water were measured.
    """
    water = case.water
    if water is None:
        return None
    ec = plain(water.ec)
    if rsc is None and (sar is None or ec is None):
        return None
    with subject(water.source):
        treated = irrigation_water_treatment.evaluate(
            rsc_meq_l=None if rsc is None else rsc.number,
            sar=None if sar is None else sar.number, ecw_ds_m=ec,
            bicarbonate_meq_l=plain(water.bicarbonate))
    if treated.value == NOTHING:
        return None
    if treated.value != EVERY_SEASON:
        return _watched(case, water, treated, rsc)
    limit = constant("rsc_unsuitable")
    residual = 0.0 if rsc is None else max(rsc.number, 0.0)
    need, lines, results = _need(case, water, treated, residual)
    severe = residual >= limit and (residual >= VERY_BAD * limit
                                    or treated.details["infiltration"] not in (None, NONE))
    known = [r for r in (rsc, sar) if r is not None]
    return m.Finding(
        id="salinity.water.treatment",
        title=say("salinity.title_treatment", rsc=residual if residual >= limit else None,
                  sar=None if sar is None else sar.number, source=_place(water)),
        status=m.Status.LIMITING, severity=3 if severe else 2, confidence=_sure(case, water),
        grade=m.Grade.CALCULATED, value=residual if residual >= limit else None,
        unit="meq/L" if residual >= limit else "", place=_place(water),
        reference=say("salinity.reference_rsc", safe=constant("rsc_marginal"), bad=limit),
        body=(say("salinity.body_treatment", rsc=residual),
              *((say("salinity.body_other_water", most=MOST_CALCIUM_MEQ_L),)
                if treated.details["full_meq_l"] >= MOST_CALCIUM_MEQ_L else ())),
        evidence=(m.stated("salinity.for_treatment", treated, rsc=residual, limit=limit,
                           sar=None if sar is None else sar.number,
                           hazard=treated.details["infiltration"]),
                  *lines),
        needs=(need, _retest(case)),
        sources=("eaton-1950", "salinity-guide-rsc", "ayers-westcot-1985-fao29"),
        results=(*known, treated, *results),
        judgements=tuple(_judgement(p, residual) for p in _places(case)),
    )


def _watched(case: CaseFile, water: Water, treated: Result, rsc: Result | None) -> m.Finding | None:
    """Marginal bicarbonate: test again, nothing to buy; sealing has a finding of its own."""
    if treated.details["rsc_class"] != "marginal" or rsc is None:
        return None
    return m.Finding(
        id="salinity.water.treatment",
        title=say("salinity.title_rsc_watch", rsc=rsc.number, source=water.source),
        status=m.Status.WATCH, severity=1, confidence=_sure(case, water), grade=m.Grade.CALCULATED,
        value=rsc.number, unit="meq/L", place=_place(water),
        reference=say("salinity.reference_rsc", safe=constant("rsc_marginal"),
                      bad=constant("rsc_unsuitable")),
        body=(say("salinity.body_rsc_watch"),),
        needs=(_retest(case),), sources=("eaton-1950", "salinity-guide-rsc"),
        results=(rsc, treated),
    )


def _place(water: Water) -> m.Place:
    return m.Place(label=water.source)


def _places(case: CaseFile) -> tuple[m.Place, ...]:
    return tuple(dict.fromkeys(place_of(s) for s in case.samples)) or (field_place(case),)


def _judgement(place: m.Place, rsc: float) -> m.Judgement:
    return m.amendment("gypsum", place, m.Verdict.NEEDED, "water_needs_calcium", rsc=rsc)


def _sure(case: CaseFile, water: Water) -> m.Confidence:
    return grade_confidence(age_days=age_days(case, water.date))


def target_sar(ec: float) -> float | None:
    """Highest SAR at which water of this salt does not seal soil, by the FAO classes."""
    fine = [float(r["sar_high"]) for r in load("irrigation_water/infiltration")
            if ec > r["none_above_ds_m"]]
    return max(fine, default=None)


def _calcium(water: Water) -> Result | None:
    """Calcium that brings the SAR down to where this water does not seal soil."""
    na, ca, mg, ec = (plain(v) for v in (water.sodium, water.calcium, water.magnesium, water.ec))
    if na is None or ca is None or mg is None or ec is None:
        return None
    target = target_sar(ec)
    if target is None:
        return None
    return calcium_for_water_sar.evaluate(na_meq_l=na, ca_meq_l=ca, mg_meq_l=mg,
                                          target_sar=target)


def _need(case: CaseFile, water: Water, treated: Result,
          residual: float) -> tuple[m.Need, tuple[m.Evidence, ...], tuple[Result, ...]]:
    """Gypsum for the season's water, with acid beside it."""
    season = plain(case.field.seasonal_et)
    water_in = ACRE_FOOT_IN if season is None else season
    with subject(water.source):
        calcium = _calcium(water)
        by_sar = 0.0 if calcium is None else calcium.number
        full = float(treated.details["full_meq_l"])
        best = full if full else by_sar
        low = float(treated.details["least_meq_l"]) if full else by_sar
        amounts = tuple(
            water_amendment_lb_ac.evaluate(meq_l=x, amendment="gypsum", water_in=water_in)
            for x in (best, min(low, best), max(best, by_sar)))
        lines, acid = _acid(treated, full, water_in)
    gypsum = amounts[0]
    known = season is not None and best > 0
    params: dict[str, object] = {
        "meq_l": best, "per_foot": gypsum.details["lb_per_acre_foot"] if best else None,
        "season_in": season, "every_season": True,
        "amount": gypsum.number / LB_PER_TON if known else None}
    ends = [None if not known else a.number / LB_PER_TON for a in amounts]
    need = m.Need(
        kind=m.NeedKind.GYPSUM, item="irrigation water", unit="ton/ac",
        text=say("salinity.need_treatment", low=ends[1], high=ends[2], **params),
        place=_place(water), area_ac=case.field.area.value,
        amount=ends[0], low=ends[1], high=ends[2],
        results=tuple(r for r in (calcium, *amounts, acid) if r is not None),
        sources=("salinity-guide-rsc", "richards-1954-hb60"),
        cautions=(say("salinity.caution_treatment_season"), say("salinity.caution_acid"),
                  say("salinity.caution_gypsum_dust")),
        params=params, printed_span=True,
    )
    return need, lines, need.results


def _acid(treated: Result, full: float,
          water_in: float) -> tuple[tuple[m.Evidence, ...], Result | None]:
    """Acid as another way, up to what may be neutralised."""
    most = treated.details["acid_most_meq_l"]
    wanted = full if most is None else min(full, float(most))
    if wanted <= 0:
        return (), None
    acid = water_amendment_lb_ac.evaluate(meq_l=wanted, amendment="sulfuric acid",
                                          water_in=water_in)
    line = m.stated("salinity.context_acid", acid, meq_l=wanted,
                    per_foot=acid.details["lb_per_acre_foot"])
    return (line,), acid


def _retest(case: CaseFile) -> m.Need:
    return m.Need(kind=m.NeedKind.MEASURE, item="water test", unit="",
                  text=say("salinity.need_water_again"), area_ac=case.field.area.value,
                  sources=("salinity-guide-rsc",))
