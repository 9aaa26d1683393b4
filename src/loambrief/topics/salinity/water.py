"""Findings on irrigation water: salt, leaching, sealing of the soil, single ions."""

from typing import Any

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Water
from loambrief.case.select import age_days
from loambrief.findings import model as m
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.model import say
from loambrief.topics.salinity.boron import boron_in_water
from loambrief.topics.salinity.formulas import dissolved_salt_mg_l
from loambrief.topics.salinity.formulas_crops import ece_at_yield_loss, foliar_salt_limit
from loambrief.topics.salinity.formulas_sodicity import sodium_adsorption_ratio
from loambrief.topics.salinity.formulas_water import (
    concentration_factor,
    constant,
    drainage_water_ec,
    ece_from_irrigation_water,
    leaching_requirement,
    salt_load_ton_ac,
    water_with_leaching,
)
from loambrief.topics.salinity.formulas_water_quality import (
    adjusted_sar,
    infiltration_hazard,
    residual_sodium_carbonate,
    water_restriction,
)
from loambrief.topics.salinity.needs import KEPT_YIELD_LOSS_PCT, held_back
from loambrief.topics.salinity.state import CropTolerance, irrigated, leached_for, watering
from loambrief.topics.salinity.treatment import treatment_finding
from loambrief.topics.salinity.water_other import (
    ORDER,
    clogging_finding,
    load_finding,
    trace_finding,
)
from loambrief.units import plain

LEVEL = {"none": (m.Status.ADEQUATE, 0), "slight to moderate": (m.Status.WATCH, 1),
         "severe": (m.Status.LIMITING, 2)}
LEAST_LEACHING = 0.05
"""Lowest leaching fraction of the concentration table."""
MOST_LEACHING = 0.6
"""A share above this is taken for a crop that loses a tenth instead: our own step."""


def water_findings(case: CaseFile) -> list[m.Said]:
    """All findings on the water, and what its test lacks."""
    if not irrigated(case):
        return []
    water = case.water
    if water is None:
        return [m.lacks("salinity.missing_water")]
    said: list[m.Said] = [
        _salt(case), treatment_finding(case, _water_sar(case), _residual(case)), _sealing(case),
        _ions(case), load_finding(case), clogging_finding(case), trace_finding(case)]
    if plain(water.ec) is None:
        said.append(m.lacks("salinity.missing_water_ec"))
    if None in (plain(water.sodium), plain(water.calcium), plain(water.magnesium)):
        said.append(m.lacks("salinity.missing_water_ions"))
    if plain(water.ec) is not None and plain(case.field.seasonal_et) is None:
        said.append(m.lacks("salinity.missing_et"))
    return said


def _water(case: CaseFile) -> Water:
    """The water test, where the caller knows that there is one."""
    assert case.water is not None
    return case.water


def _base(case: CaseFile) -> dict[str, Any]:
    return {
        "confidence": grade_confidence(age_days=age_days(case, _water(case).date)),
        "place": m.Place(label=_water(case).source),
    }


def _salt(case: CaseFile) -> m.Finding | None:
    ec = plain(_water(case).ec)
    if ec is None:
        return None
    crop = leached_for(case)
    with subject(_water(case).source):
        level = water_restriction.evaluate(constituent="ec", value=ec)
        leaching = _leaching(ec, crop)
        fraction, loss = _share(leaching)
        share = (constant("usual_leaching") if fraction is None
                 else max(float(fraction), LEAST_LEACHING))
        factor = concentration_factor.evaluate(leaching_fraction=share)
        long_run = ece_from_irrigation_water.evaluate(ecw_ds_m=ec, leaching_fraction=share)
        salt = dissolved_salt_mg_l.evaluate(ec_ds_m=ec)
        load = salt_load_ton_ac.evaluate(salt_mg_l=float(salt.value), water_in=12.0)
    status, severity = LEVEL[str(level.value)]
    lines = [m.stated("salinity.for_water_ec", level, ec=ec, level=level.value,
                      none_below=level.details["none_below"],
                      severe_above=level.details["severe_above"]),
             m.stated("salinity.context_long_run", factor, long_run, ece=long_run.value,
                      share=share, factor=factor.value),
             m.stated("salinity.context_load", salt, load, load=load.value, salt=salt.value)]
    body, needs, results = [], [], [level, factor, long_run]
    if leaching and crop is not None:
        results += list(leaching.values())
        if fraction is None:
            status, severity = m.Status.LIMITING, 3
            body.append(say("salinity.body_water_too_salty", crop=crop.crop))
        else:
            need, more = _extra_water(case, crop, ec, leaching, fraction, loss)
            needs, results = [need], results + more
            body.append(say("salinity.body_leaching", crop=crop.crop, kept=leaching["kept"].value,
                            full=leaching["full"].value, target=leaching["target"].value))
    return m.Finding(
        id="salinity.water.ec",
        title=say("salinity.title_water_ec", ec=ec, level=level.value, source=_water(case).source),
        status=status, severity=severity, grade=m.Grade.MEASURED, value=ec, unit="dS/m",
        reference=say("salinity.reference_water_ec", none_below=level.details["none_below"],
                      severe_above=level.details["severe_above"]),
        body=tuple(body), evidence=tuple(lines), needs=tuple(needs),
        sources=("ayers-westcot-1985-fao29",), results=tuple(results), **_base(case),
    )


def _leaching(ec: float, crop: CropTolerance | None) -> dict[str, Result]:
    """Leaching requirement for full yield and for nine tenths of it."""
    if crop is None:
        return {}
    target = ece_at_yield_loss.evaluate(loss_pct=KEPT_YIELD_LOSS_PCT,
                                        threshold_ds_m=crop.threshold, slope_pct=crop.slope)
    return {
        "target": target,
        "full": leaching_requirement.evaluate(ecw_ds_m=ec, ece_ds_m=crop.threshold),
        "kept": leaching_requirement.evaluate(ecw_ds_m=ec, ece_ds_m=float(target.value)),
    }


def _share(leaching: dict[str, Result]) -> tuple[float | None, float]:
    """The share to drain and the loss of yield [%] it is for: none, else a tenth."""
    if not leaching:
        return None, 0.0
    full, kept = leaching["full"].value, leaching["kept"].value
    if full is not None and full <= MOST_LEACHING:
        return float(full), 0.0
    return None if kept is None else float(kept), KEPT_YIELD_LOSS_PCT


def drained_share(case: CaseFile) -> float | None:
    """Share of the water put on that must drain to keep salt at bay [1].

    0 where the water or the crop asks for none; None where no share of this water will do, or
    its salt was not tested.
    """
    ec = None if case.water is None else plain(case.water.ec)
    if ec is None:
        return None
    with subject(_water(case).source):
        leaching = _leaching(ec, leached_for(case))
    return _share(leaching)[0] if leaching else None


def _extra_water(case: CaseFile, crop: CropTolerance, ec: float, leaching: dict[str, Result],
                 kept: float, loss: float) -> tuple[m.Need, list[Result]]:
    """Keep the salt moving: the leaching share as a habit, with the season's water if known."""
    full = leaching["full"].value
    et = plain(case.field.seasonal_et)
    results: list[Result] = []
    params: dict[str, object] = {
        "share": kept, "loss_pct": loss, "crop": crop.crop, "et": et, "total": None,
        "extra": None, "drain_ec": None, "full": full}
    with subject(_water(case).source):
        if kept > 0:
            drain = drainage_water_ec.evaluate(ecw_ds_m=ec, leaching_fraction=kept)
            params["drain_ec"] = float(drain.value)
            results.append(drain)
        if et is not None:
            total = water_with_leaching.evaluate(et=et, leaching_fraction=kept)
            params.update(total=float(total.value), extra=float(total.value) - et)
            results.append(total)
    need = m.Need(
        kind=m.NeedKind.MANAGE, item="leaching share", unit="", text=say("salinity.need_share",
                                                                         **params),
        area_ac=case.field.area.value, results=tuple(results),
        sources=("usgs-modelmuse-owhm", "ayers-westcot-1985-fao29"),
        cautions=(say("salinity.caution_drain_water",
                      areas=[str(a) for a in case.field.sensitive_areas]),),
        params={**params, **held_back(case)},
    )
    return need, results


def _water_sar(case: CaseFile) -> Result | None:
    water = _water(case)
    ions = (plain(water.sodium), plain(water.calcium), plain(water.magnesium))
    sodium, calcium, magnesium = ions
    if sodium is None or calcium is None or magnesium is None or calcium + magnesium <= 0:
        return None
    with subject(water.source):
        return sodium_adsorption_ratio.evaluate(na_meq_l=sodium, ca_meq_l=calcium,
                                                mg_meq_l=magnesium)


def _sealing(case: CaseFile) -> m.Finding | None:
    ec, sar = plain(_water(case).ec), _water_sar(case)
    if ec is None or sar is None:
        return None
    with subject(_water(case).source):
        level = infiltration_hazard.evaluate(ecw_ds_m=ec, sar=float(sar.value))
    status, severity = LEVEL[str(level.value)]
    lines = [m.stated("salinity.for_sealing", sar, level, ec=ec, sar=sar.value,
                      none_above=level.details["none_above"],
                      severe_below=level.details["severe_below"])]
    results = [sar, level]
    rsc = _residual(case)
    if rsc is not None:
        side = m.Side.AGAINST if rsc.details["class"] == "safe" else m.Side.FOR
        if status is m.Status.ADEQUATE:
            side = m.Side.CONTEXT
        lines.append(m.on_side(side, "salinity.residual_carbonate", rsc, rsc=rsc.value,
                               name=rsc.details["class"], safe=constant("rsc_marginal"),
                               bad=constant("rsc_unsuitable")))
        results.append(rsc)
    adjusted = _adjusted(case, ec)
    if adjusted is not None:
        with subject(_water(case).source):
            other = infiltration_hazard.evaluate(ecw_ds_m=ec, sar=adjusted.number)
        side = m.Side.CONTEXT
        if other.value != level.value:
            side = m.Side.AGAINST if LEVEL[str(other.value)][1] < severity else m.Side.FOR
        lines.append(m.on_side(side, "salinity.adjusted_sar", adjusted, other,
                               adjusted=adjusted.value, left=adjusted.details["calcium"],
                               level=other.value))
        results += [adjusted, other]
    needs: tuple[m.Need, ...] = ()
    if severity:
        needs = (m.Need(kind=m.NeedKind.MEASURE, item="infiltration", unit="",
                        text=say("salinity.need_infiltration"), area_ac=case.field.area.value,
                        sources=("ayers-westcot-1985-fao29",)),)
    return m.Finding(
        id="salinity.water.infiltration",
        title=say("salinity.title_sealing", level=level.value, source=_water(case).source),
        status=status, severity=severity, grade=m.Grade.CALCULATED, value=float(sar.value),
        unit="SAR", reference=say("salinity.reference_sealing",
                                  none_above=level.details["none_above"],
                                  severe_below=level.details["severe_below"], sar=sar.value),
        body=(say("salinity.body_sealing", level=level.value),), evidence=tuple(lines),
        needs=needs, sources=("ayers-westcot-1985-fao29",), results=tuple(results), **_base(case),
    )


def _adjusted(case: CaseFile, ec: float) -> Result | None:
    """SAR after lime has settled or dissolved, where bicarbonate was tested."""
    water = _water(case)
    ions = (plain(water.sodium), plain(water.calcium), plain(water.magnesium),
            plain(water.bicarbonate))
    sodium, calcium, magnesium, bicarbonate = ions
    if None in ions or not calcium or not bicarbonate:
        return None
    with subject(water.source):
        return adjusted_sar.evaluate(na_meq_l=sodium, ca_meq_l=calcium, mg_meq_l=magnesium,
                                     bicarbonate_meq_l=bicarbonate, ecw_ds_m=ec)


def _residual(case: CaseFile) -> Result | None:
    water = _water(case)
    ions = (plain(water.bicarbonate), plain(water.calcium), plain(water.magnesium))
    if None in ions:
        return None
    carbonate = plain(water.carbonate)
    with subject(water.source):
        return residual_sodium_carbonate.evaluate(
            bicarbonate_meq_l=ions[0], ca_meq_l=ions[1], mg_meq_l=ions[2],
            **({} if carbonate is None else {"carbonate_meq_l": carbonate}))


def _ions(case: CaseFile) -> m.Finding | None:
    """Sodium, chloride, boron and bicarbonate, the worst of them naming the finding."""
    water, method = _water(case), watering(case)
    sar = _water_sar(case)
    sodium = plain(water.sodium) if method == "sprinkler" else sar and float(sar.value)
    values = (("sodium", sodium), ("chloride", plain(water.chloride)),
              ("boron", plain(water.boron)), ("bicarbonate", plain(water.bicarbonate)),
              ("nitrate-n", plain(water.nitrate_n)))
    lines, results, levels = [], [], {}
    with subject(water.source):
        for name, value in values:
            if value is None:
                continue
            level = water_restriction.evaluate(constituent=name, value=value, method=method)
            if level.value is None:
                continue
            levels[name] = str(level.value)
            results.append(level)
            lines.append(m.on_side(m.Side.FOR if level.value != "none" else m.Side.CONTEXT,
                                   "salinity.for_ion", level, ion=name, value=value,
                                   unit=level.details["unit"], level=level.value,
                                   none_below=level.details["none_below"],
                                   severe_above=level.details["severe_above"], method=method))
    if not levels:
        return None
    for own in (_foliar(case, method), boron_in_water(case)):
        if own is not None:
            lines.append(own)
            results += list(own.results)
    worst = min(levels.values(), key=ORDER.index)
    status, severity = LEVEL[worst]
    named = [n for n, level in levels.items() if level == worst] if worst != "none" else []
    return m.Finding(
        id="salinity.water.ions",
        title=say("salinity.title_ions", ions=named, level=worst, source=water.source),
        status=status, severity=severity, grade=m.Grade.MEASURED,
        reference=say("salinity.reference_ions", method=method),
        body=(say("salinity.body_ions", method=method),), evidence=tuple(lines),
        sources=("ayers-westcot-1985-fao29",), results=tuple(results), **_base(case),
    )


def _foliar(case: CaseFile, method: str) -> m.Evidence | None:
    """Leaf injury under sprinklers, where the crop is in the published list."""
    sodium, chloride = plain(_water(case).sodium), plain(_water(case).chloride)
    worst = max((v for v in (sodium, chloride) if v is not None), default=None)
    if method != "sprinkler" or worst is None:
        return None
    crop = case.field.crop
    with subject(_water(case).source, crop):
        limit = foliar_salt_limit.held(crop=crop)
    if limit is None:
        return None
    injured = worst >= float(limit.value)
    return m.on_side(m.Side.FOR if injured else m.Side.AGAINST, "salinity.foliar", limit, crop=crop,
                     value=worst, low=limit.details["low"], high=limit.details["high"],
                     injured=injured)
