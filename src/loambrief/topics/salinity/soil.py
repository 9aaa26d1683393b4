"""Findings on salt in the soil: its level, and how far it holds a crop back."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.topics.salinity.formulas import constant as salt_constant
from loambrief.topics.salinity.formulas import salinity_class
from loambrief.topics.salinity.formulas_crops import relative_yield_salinity, tolerant_alternatives
from loambrief.topics.salinity.formulas_sodicity import constant as sodium_constant
from loambrief.topics.salinity.needs import (
    POOR_DRAINAGE,
    drain_needs,
    gypsum_need,
    leach_need,
    measure_paste,
    measure_sodium,
)
from loambrief.topics.salinity.ranges import esp_range
from loambrief.topics.salinity.state import (
    CropTolerance,
    SaltState,
    irrigated,
    tolerance,
)
from loambrief.topics.sampling.age import sample_confidence
from loambrief.units import plain

MINOR_LOSS_PCT, SEVERE_LOSS_PCT = 5.0, 25.0
"""Loss of yield to salt from which a finding is limiting, and severe: our own steps."""
ALTERNATIVE_KEEPS_PCT = 90.0
CRUST = 1.25
"""How much saltier the surface must be than the main slice to speak of salt rising."""
HIGH_PH = 8.5
"""Above this a soil without a sodium test deserves one (classes of Handbook 60)."""


def _grade(state: SaltState) -> m.Grade:
    return m.Grade.CALCULATED if state.converted else m.Grade.MEASURED


def salt_findings(case: CaseFile, state: SaltState) -> tuple[m.Finding, ...]:
    """Salinity level, then each crop that it holds back."""
    if state.root_ece is None:
        bounded = _bounded(case, state)
        return (bounded,) if bounded else ()
    crops = _crops(case)
    most = state.salt if state.root_high is None else state.root_high
    held = tuple(c for c in crops if most > c.threshold)
    level = _level(case, state, crops, held)
    return (level, *(_crop(case, state, c, first=i == 0) for i, c in enumerate(held)))


def _crops(case: CaseFile) -> tuple[CropTolerance, ...]:
    """Present and following crop with a published threshold, each once."""
    names = dict.fromkeys([case.field.crop, case.field.following_crop])
    found = [tolerance(name) for name in names]
    return tuple({t.result.details["crop"]: t for t in found if t is not None}.values())


def _bounded(case: CaseFile, state: SaltState) -> m.Finding | None:
    """The lab gave only a limit for EC: say so, and what it is worth."""
    main = state.main
    if main is None or not main.bound:
        return None
    below = main.bound == "<"
    limit = main.high if below else main.low
    typed = main.increment.ec
    assert limit is not None and typed is not None
    fine = below and limit <= salt_constant("salty_soil_limit")
    salty = not below and limit >= sodium_constant("saline_ece")
    status = m.Status.ADEQUATE if fine else m.Status.LIMITING if salty else m.Status.UNCERTAIN
    return m.Finding(
        id=f"salinity.ece.{state.sample.id}",
        title=say("salinity.title_bound", limit=limit, below=below, where=main.place),
        status=status, severity=2 if salty else 0 if fine else 1,
        confidence=sample_confidence(case, state.sample, matches=not main.converted),
        grade=_grade(state), unit="dS/m", place=main.place,
        reference=say("salinity.reference_classes"),
        body=(say("salinity.body_bound"),),
        evidence=(m.Evidence(m.Side.FOR, say("salinity.for_bound", typed=typed.typed,
                                             depth=main.depth), _grade(state), (), main.results),),
        sources=("cansis-salsym",), results=main.results,
    )


def _level(case: CaseFile, state: SaltState, crops: tuple[CropTolerance, ...],
           held: tuple[CropTolerance, ...]) -> m.Finding:
    with subject(state.place):
        named = salinity_class.evaluate(ece_ds_m=state.root_ece)
    saline = sodium_constant("saline_ece")
    two = salt_constant("salty_soil_limit")
    if state.salt < two:
        status, severity = m.Status.ADEQUATE, 0
    elif state.salt >= saline and not crops:
        status, severity = m.Status.LIMITING, 2
    else:
        status, severity = m.Status.WATCH, 1
    low, most = state.root_low, state.root_high
    assert low is not None and most is not None
    straddles = state.converted and any(
        low <= limit < most
        for limit in (saline, *(c.threshold for c in crops))
    )
    if straddles and status is m.Status.ADEQUATE:
        status = m.Status.UNCERTAIN
    needs: list[m.Need] = []
    if straddles:
        needs.append(measure_paste(case, state))
    if not state.esps and (state.salt >= two or _high_ph(state)):
        needs.append(measure_sodium(case, state))
    return m.Finding(
        id=f"salinity.ece.{state.sample.id}",
        title=say("salinity.title_ece", ece=state.root_ece, low=state.root_low,
                  high=state.root_high, converted=state.converted, name=named.value,
                  depth_in=state.root_depth_in, where=state.place),
        status=status, severity=severity,
        confidence=sample_confidence(case, state.sample, matches=not state.converted),
        grade=_grade(state), value=None if state.converted else state.root_ece, unit="dS/m",
        place=state.place,
        reference=say("salinity.reference_classes"),
        body=_level_body(state, named),
        evidence=_level_evidence(case, state, crops, held),
        needs=tuple(needs),
        advise_against=_salty_materials(case, state),
        sources=("cansis-salsym",) + (("plosone-2018-e0198290",) if state.converted else ()),
        results=(*state.root_results, named),
    )


def _level_body(state: SaltState, named: Result) -> tuple:
    body = [say("salinity.body_class", name=named.value, usda=named.details["usda_words"],
                effect=named.notes[0])]
    typed = state.layer.increment.ec
    if state.converted and typed is not None:
        body.append(say("salinity.body_converted", method=state.sample.methods.ec,
                        ec=typed.value, low=state.root_low,
                        high=state.root_high, equations=state.layer.results[-1].details.get(
                            "equations")))
    body.append(say("salinity.body_depth", depth_in=state.root_depth_in))
    return tuple(body)


def _level_evidence(case, state, crops, held) -> tuple[m.Evidence, ...]:
    lines = []
    for piece in state.slices:
        if piece.ece is not None:
            lines.append(m.Evidence(
                m.Side.FOR, say("salinity.for_slice", depth=piece.depth, ece=piece.ece,
                                converted=piece.converted, low=piece.low, high=piece.high),
                m.Grade.CALCULATED if piece.converted else m.Grade.MEASURED, (), piece.results))
    top = state.surface
    if top is not None and top.ece is not None and state.main is not None and state.layer.ece:
        rising = top.ece >= CRUST * state.layer.ece
        if rising:
            lines.append(m.stated("salinity.context_rising", *top.results, *state.layer.results,
                                  top=top.ece, whole=state.layer.ece, depth=top.depth))
    for crop in crops:
        if crop not in held:
            lines.append(m.stated("salinity.context_crop_fine", crop.result, crop=crop.crop,
                                  threshold=crop.threshold))
    return tuple(lines)


def _high_ph(state: SaltState) -> bool:
    return state.main is not None and (state.layer.increment.ph or 0.0) >= HIGH_PH


def salty_materials(case: CaseFile) -> tuple[str, ...]:
    """Ids of composts and manures on offer that are saltier than the salty-soil limit (1:5)."""
    limit = salt_constant("salty_soil_limit")
    return tuple(
        x.id for x in case.materials
        if x.kind in ("compost", "manure") and x.analysis is not None
        and (plain(x.analysis.ec_1to5) or 0.0) > limit
    )


def _salty_materials(case: CaseFile, state: SaltState) -> tuple:
    if state.root_ece is None or state.salt <= salt_constant("salty_soil_limit"):
        return ()
    ids = salty_materials(case)
    found = [(x, x.analysis.ec_1to5) for x in case.materials
             if x.id in ids and x.analysis is not None]
    return tuple(
        (say("salinity.avoid_salty", material=m.Product(x.id, x.name)),
         say("salinity.avoid_salty_why", ec=ec.value, soil=state.root_ece, where=state.place))
        for x, ec in found if ec is not None
    )


def _crop(case: CaseFile, state: SaltState, crop: CropTolerance, first: bool) -> m.Finding:
    """How far salt holds one crop back, with other crops that stand it."""
    yields: dict[str, Result] = {}
    with subject(state.place, crop.crop):
        for name, ece in (("best", state.root_ece), ("low", state.root_high),
                          ("high", state.root_low)):
            yields[name] = relative_yield_salinity.evaluate(
                ece_ds_m=ece, threshold_ds_m=crop.threshold, slope_pct=crop.slope)
        gypsum = relative_yield_salinity.evaluate(
            ece_ds_m=state.root_ece, threshold_ds_m=crop.threshold, slope_pct=crop.slope,
            gypsiferous_shift_ds_m=salt_constant("gypsiferous_shift"))
    best = float(yields["best"].value)
    loss = 100.0 - best
    if loss <= 0:
        status, severity = m.Status.UNCERTAIN, 1
    elif loss < MINOR_LOSS_PCT:
        status, severity = m.Status.WATCH, 1
    else:
        status, severity = m.Status.LIMITING, 3 if loss >= SEVERE_LOSS_PCT else 2
    needs = []
    leach = leach_need(case, state, crop, state.sodic, gypsum_need(
        case, state, esp_range(state)))
    if leach is not None:
        needs.append(leach)
        needs += drain_needs(case, state)
    if state.converted:
        needs.append(measure_paste(case, state))
    lines = [m.Evidence(m.Side.FOR, say("salinity.for_threshold", crop=crop.crop,
                                        threshold=crop.threshold, slope=crop.slope,
                                        differ=crop.how != "seen"),
                        m.Grade.CALCULATED, (crop.result.source,), (crop.result, yields["best"]))]
    if crop.early_limit is not None and _surface_ece(state) > crop.early_limit:
        lines.append(m.stated("salinity.for_early", crop.result, crop=crop.crop,
                              limit=crop.early_limit, ece=_surface_ece(state)))
    if crop.kind == "forage" and "alfalfa" in str(crop.result.details["crop"]):
        lines.append(m.stated("salinity.against_alfalfa"))
    lines.append(m.stated("salinity.against_gypsum_soil", gypsum, relative=gypsum.value,
                          shift=salt_constant("gypsiferous_shift")))
    lines.append(m.stated("salinity.against_guide"))
    others, results = _alternatives(state, crop) if loss >= MINOR_LOSS_PCT else ((), ())
    if others:
        lines.append(m.stated("salinity.context_alternatives", *results, crops=others,
                              keeps=ALTERNATIVE_KEEPS_PCT))
    body = [say("salinity.body_relative", crop=crop.crop)]
    if leach is None and loss >= MINOR_LOSS_PCT and not irrigated(case):
        body.append(say("salinity.body_rainfed"))
    if leach is not None and case.field.drainage in POOR_DRAINAGE:
        body.append(say("salinity.body_drain_word", drainage=case.field.drainage))
    kind = "crop" if first else "next_crop"
    return m.Finding(
        id=f"salinity.{kind}.{state.sample.id}",
        title=say("salinity.title_crop", crop=crop.crop, relative=best,
                  low=yields["low"].value, high=yields["high"].value,
                  converted=state.converted, where=state.place, ece=state.root_ece),
        status=status, severity=severity,
        confidence=sample_confidence(case, state.sample, matches=not state.converted,
                                     agrees=crop.how == "seen"),  # else publications differ
        grade=m.Grade.CALCULATED, value=best, low=yields["low"].value,
        high=yields["high"].value, unit="%", printed_span=True, place=state.place,
        reference=say("salinity.reference_threshold", crop=crop.crop, threshold=crop.threshold),
        body=tuple(body), evidence=tuple(lines), needs=tuple(needs),
        sources=("maas-grattan-1999",),
        results=(*state.root_results, crop.result, *yields.values()),
    )


def _surface_ece(state: SaltState) -> float:
    """ECe where seed germinates: the shallow slice if there is one, else the main slice."""
    for piece in (state.surface, state.main):
        if piece is not None and piece.ece is not None:
            return piece.ece
    return 0.0


def _alternatives(state: SaltState, crop: CropTolerance) -> tuple[tuple[dict, ...], tuple]:
    rows, results = [], []
    for row in tolerant_alternatives(crop.crop, state.salt, ALTERNATIVE_KEEPS_PCT):
        with subject(state.place, str(row["crop"])):
            kept = relative_yield_salinity.evaluate(
                ece_ds_m=state.root_ece, threshold_ds_m=row["threshold_ds_m"],
                slope_pct=row["slope_pct"])
        rows.append({"crop": row["crop"], "relative": float(kept.value)})
        results.append(kept)
    return tuple(rows), tuple(results)
