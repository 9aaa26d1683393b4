"""What saline and sodic soil needs, in the order of work: drain, calcium, leach, measure."""

from typing import Any

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile
from loambrief.case.select import sample_area_ac
from loambrief.findings.model import Evidence, Message, Need, NeedKind, say, stated
from loambrief.topics.salinity.formulas_crops import ece_at_yield_loss
from loambrief.topics.salinity.formulas_gypsum import (
    amendment_for_gypsum,
    gypsum_dissolving_water_in,
    gypsum_requirement_us,
    soil_lime_ton_ac,
)
from loambrief.topics.salinity.formulas_sodicity import constant
from loambrief.topics.salinity.ranges import (
    LEAST_LEACHING_IN,
    Leaching,
    ends_of,
    gypsum_range,
    leaching_range,
    one_error_below,
    wash_range,
)
from loambrief.topics.salinity.state import CropTolerance, SaltState, irrigated
from loambrief.units import FT2_PER_ACRE, LB_PER_FT3_PER_G_CM3, plain

POOR_DRAINAGE = ("somewhat poorly drained", "poorly drained", "unknown")
KEPT_YIELD_LOSS_PCT = 10.0
"""Loss at the ECe that leaching aims for: the 90 % yield value, as FAO 29 uses it."""
ROOT_DEPTH_IN = 48.0
"""Depth that salt should be known to before drains or leaching are judged (our own choice)."""
LB_PER_ACRE_FOOT_AT_1 = FT2_PER_ACRE * LB_PER_FT3_PER_G_CM3
"""Soil of 1 g/cm3, one foot on one acre [lb] (definitions)."""


WATER_TABLE = "water-table"
"""Item of the reading that settles whether water can leave."""


def water_table_in(case: CaseFile) -> float | None:
    """Depth of the water table as read [in]; None where it was not."""
    seen = case.observations
    return None if seen is None else plain(seen.water_table)


def unread(case: CaseFile) -> bool:
    """Drainage is poor or not known, and no water table was read: washing may lift the salt."""
    return case.field.drainage in POOR_DRAINAGE and water_table_in(case) is None


def held_back(case: CaseFile) -> dict[str, object]:
    """What makes work wait for the reading: calcium and water help only where water can leave."""
    return {"first": WATER_TABLE} if unread(case) else {}


def _waits(case: CaseFile) -> tuple[Message, ...]:
    """First caution of held-back work."""
    return (say("salinity.caution_wait_water_table", depth_in=ROOT_DEPTH_IN),) if unread(
        case) else ()


def target_esp(case: CaseFile) -> tuple[float, bool]:
    """ESP to come down to [%], and whether the adviser set it."""
    if case.targets is not None and case.targets.esp is not None and case.targets.esp.plain:
        return case.targets.esp.value, True
    return constant("target_esp"), False


def gypsum_line(case: CaseFile) -> float:
    """ESP from which gypsum is due [%]: the adviser's own target, else where soil is sodic."""
    target, own = target_esp(case)
    return target if own else max(target, constant("sodic_esp"))


def wants_gypsum(case: CaseFile, state: SaltState) -> bool:
    """Sodium is measured above the limit (or above the adviser's own target)."""
    esp = state.esp
    if esp is None or state.main is None:
        return False
    return esp.value > target_esp(case)[0] and esp.value >= gypsum_line(case)


def gypsum_need(case: CaseFile, state: SaltState, share: Result | None) -> Need | None:
    """Pure gypsum for the main slice, or None; amount None without a CEC.

    ``share`` is the range of its ESP.
    """
    if not wants_gypsum(case, state):
        return None
    esp, main = state.exchange, state.layer
    target, own = target_esp(case)
    cec = plain(main.increment.cec)
    base: dict[str, Any] = {
        "kind": NeedKind.GYPSUM,
        "item": "sodium",
        "unit": "ton/ac",
        "place": state.place,
        "area_ac": sample_area_ac(case, state.sample),
        "cautions": (*_waits(case), say("salinity.caution_gypsum_drain"),
                     say("salinity.caution_gypsum_dust")),
        "sources": ("richards-1954-hb60", "ali-2011"),
    }
    low, high = ends_of(share)
    common = {"depth_in": main.increment.thickness_in, "esp": esp.value, "esp_low": low,
              "esp_high": high, "target": target,
              "own_target": own, "depth": main.depth, **held_back(case)}
    if cec is None:
        return Need(text=say("salinity.need_gypsum_unknown", **common), params=common, **base)
    density = plain(main.increment.bulk_density)
    mass = (LB_PER_ACRE_FOOT_AT_1 * density if density is not None else constant("acre_foot_lb"))
    inputs = {"cec_meq": cec, "target_esp_pct": target, "depth_in": main.increment.thickness_in,
              "soil_lb_per_acre_foot": mass}
    best_esp = min(esp.value, 100.0)
    with subject(main.place):
        best = gypsum_requirement_us.evaluate(
            esp_pct=best_esp, efficiency=1.0 / constant("safety_factor"), **inputs)
        span = gypsum_range(state, best, inputs, share, gypsum_line(case))
    params = {**common, "sodium_meq": best.details["sodium_meq"], "cec": cec,
              "density_measured": density is not None,
              "factor": constant("safety_factor")}
    low, high = ends_of(span)
    return Need(
        text=say("salinity.need_gypsum", amount=best.value, low=low, high=high, **params),
        amount=float(best.value), low=low, high=high,
        may_be_none=None if share is None else one_error_below(share) < gypsum_line(case),
        results=(best, *(r for r in (share, span) if r is not None)), params=params, **base,
    )


def sulfur_instead(case: CaseFile, state: SaltState, gypsum: Need) -> Evidence | None:
    """Elemental sulfur as another way, where it is on offer and the soil holds lime."""
    if gypsum.amount is None or not any(m.kind == "elemental sulfur" for m in case.materials):
        return None
    carbonate = plain(state.layer.increment.carbonate)
    with subject(state.layer.place):
        sulfur = amendment_for_gypsum.evaluate(gypsum_ton=gypsum.amount, amendment="sulfur")
        results = [sulfur]
        enough = None
        if carbonate is not None:
            lime = soil_lime_ton_ac.evaluate(carbonate_pct=carbonate,
                                             depth_in=state.layer.increment.thickness_in)
            results.append(lime)
            enough = lime.value > sulfur.details["lime_used_ton"]
    return stated("salinity.context_sulfur", *results, sulfur=sulfur.value, enough=enough)


def leach_need(case: CaseFile, state: SaltState, crop: CropTolerance | None,
               sodic: bool, gypsum: Need | None = None) -> Need | None:
    """Water to pass through the sampled root zone, where salt costs more than a tenth.

    Where gypsum goes on too, the text also says how much water only dissolves it.
    """
    if crop is None or state.root_ece is None or not irrigated(case):
        return None
    depth = state.root_depth_in
    water_ec = plain(case.water.ec) if case.water is not None else None
    with subject(state.place):
        target = ece_at_yield_loss.evaluate(
            loss_pct=KEPT_YIELD_LOSS_PCT, threshold_ds_m=crop.threshold, slope_pct=crop.slope)
        if state.root_ece <= target.value:
            return None
        leaching = Leaching(float(target.value), depth, water_ec or 0.0)
        water = leaching.at(state.root_ece)
        if water.value is not None and water.value < LEAST_LEACHING_IN:
            return None
        span, may_be_none = (None, None) if water.value is None else leaching_range(
            state, leaching)
        dissolving = None
        if gypsum is not None and gypsum.amount:
            dissolving = gypsum_dissolving_water_in.evaluate(gypsum_ton_ac=gypsum.amount)
    cautions = [say("salinity.caution_drain_water",
                    areas=[str(a) for a in case.field.sensitive_areas]),
                say("salinity.caution_leach_nitrate")]
    if water.value is None:
        cautions.insert(0, say("salinity.caution_leach_water", ec=water_ec, target=target.value))
    elif water_ec is not None:
        cautions.append(say("salinity.caution_leach_floor", ec=water_ec))
    if sodic:
        cautions.insert(0, say("salinity.caution_leach_without_calcium"))
    cautions[:0] = _waits(case)
    params: dict[str, object] = {
              "depth_in": depth, "ece": state.root_ece, "target_ece": float(target.value),
              "crop": crop.crop, "removed_pct": water.details.get("removed_pct"),
              "after_gypsum": gypsum is not None,
              "loss_pct": KEPT_YIELD_LOSS_PCT, "water_ec": water_ec,
              **held_back(case),
              "gypsum_ton_ac": None, "dissolve_in": None, "dissolve_low_in": None,
              "dissolve_high_in": None, "solubility": None}
    results = [target, water]
    if dissolving is not None and gypsum is not None:
        params |= _dissolved(gypsum, dissolving)
        results.append(dissolving)
    amount = None if water.value is None else float(water.value)
    low, high = ends_of(span)
    if span is not None:
        results.append(span)
    return Need(
        kind=NeedKind.LEACH, item="salts", unit="in",
        text=say("salinity.need_leach", amount=amount, low=low, high=high, **params),
        place=state.place, area_ac=sample_area_ac(case, state.sample),
        amount=amount, low=low, high=high, may_be_none=may_be_none,
        results=tuple(results),
        sources=("csu-0503", "hoffman-1980", "biggar-nielsen-1962", "aljaloud-1994",
                 *(("crc-gypsum-solubility", "hira-singh-1980") if dissolving else ())),
        cautions=tuple(cautions), params=params,
    )


def _dissolved(gypsum: Need, water: Result) -> dict[str, object]:
    """The water that only dissolves a gypsum."""
    return {"gypsum_ton_ac": gypsum.amount, "dissolve_in": water.number,
            "dissolve_low_in": water.details["low"], "dissolve_high_in": water.details["high"],
            "solubility": water.details["solubility_g_l"]}


def wash_need(case: CaseFile, state: SaltState, gypsum: Need) -> Need | None:
    """Water that dissolves the gypsum and carries the sodium down, where salt alone asks none."""
    if not gypsum.amount or not irrigated(case):
        return None
    with subject(state.place):
        water = gypsum_dissolving_water_in.evaluate(gypsum_ton_ac=gypsum.amount)
        span = wash_range(gypsum, water)
    low, high = ends_of(span)
    params = {**held_back(case), **_dissolved(gypsum, water), "after_gypsum": True}
    return Need(
        kind=NeedKind.LEACH, item="sodium", unit="in",
        text=say("salinity.need_wash", amount=water.number, low=low, high=high,
                 gypsum_ton_ac=gypsum.amount),
        place=state.place, area_ac=sample_area_ac(case, state.sample), amount=water.number,
        low=low, high=high, may_be_none=gypsum.may_be_none,
        results=(water, *((span,) if span is not None else ())),
        sources=("richards-1954-hb60", "crc-gypsum-solubility", "hira-singh-1980"),
        cautions=(*_waits(case),
                  say("salinity.caution_drain_water",
                      areas=[str(a) for a in case.field.sensitive_areas]),
                  say("salinity.caution_leach_nitrate")), params=params)


def drain_need(case: CaseFile, state: SaltState) -> Need | None:
    """An outlet for the water, where the case does not say that the soil drains.

    A water table that was read decides it; where none was, the outlet waits for the reading.
    """
    table = water_table_in(case)
    if case.field.drainage not in POOR_DRAINAGE or (
            table is not None and table >= ROOT_DEPTH_IN):
        return None
    return Need(
        kind=NeedKind.DRAIN, item="outlet", unit="",
        text=say("salinity.need_drain", drainage=case.field.drainage, table_in=table),
        place=state.place, area_ac=sample_area_ac(case, state.sample),
        sources=("ali-2011", "ayers-westcot-1985-fao29"),
        cautions=(say("salinity.caution_drain_rules",
                      areas=[str(a) for a in case.field.sensitive_areas]),),
        params={"evidence": "drainage word", "confidence": "low", **held_back(case)},
    )


def drain_needs(case: CaseFile, state: SaltState) -> tuple[Need, ...]:
    """The outlet, after the reading that it rests on; empty where the soil is said to drain."""
    drain = drain_need(case, state)
    if drain is None:
        return ()
    return (measure_water_table(case, state), drain) if unread(case) else (drain,)


def measure_water_table(case: CaseFile, state: SaltState) -> Need:
    """Depth of the water table and salt of the root zone, before a drain is bought."""
    text = say("salinity.need_water_table", where=state.place, depth_in=ROOT_DEPTH_IN)
    return _measure(case, state, WATER_TABLE, text, "ayers-westcot-1985-fao29")


def measure_paste(case: CaseFile, state: SaltState) -> Need:
    """A saturated-paste extract with its sodium, calcium and magnesium."""
    text = say("salinity.need_paste", where=state.place)
    return _measure(case, state, "paste extract", text, "plosone-2018-e0198290")


def measure_sodium(case: CaseFile, state: SaltState) -> Need:
    """Sodium, calcium and magnesium in the extract, and CEC by displacement."""
    text = say("salinity.need_sodium_test", where=state.place)
    return _measure(case, state, "sodium", text, "richards-1954-hb60")


def _measure(case: CaseFile, state: SaltState, item: str, text: Message, source: str) -> Need:
    return Need(kind=NeedKind.MEASURE, item=item, unit="", text=text, place=state.place,
                area_ac=sample_area_ac(case, state.sample), sources=(source,))
