"""Findings on sodium in the soil, and the gypsum it calls for."""

from typing import Any

from loambrief.agronomy.registry import subject
from loambrief.case.schema import CaseFile
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.topics.salinity.formulas_sodicity import constant as sodium_constant
from loambrief.topics.salinity.formulas_sodicity import sodicity_class
from loambrief.topics.salinity.needs import (
    POOR_DRAINAGE,
    drain_needs,
    gypsum_need,
    leach_need,
    measure_sodium,
    sulfur_instead,
    target_esp,
    wash_need,
)
from loambrief.topics.salinity.ranges import ends_of, esp_range
from loambrief.topics.salinity.state import CropTolerance, EspEstimate, SaltState
from loambrief.topics.sampling.age import sample_confidence

AGREE_ESP = 5.0
"""Two ways to ESP further apart than this disagree [percentage points]: our own step."""


def sodium_finding(case: CaseFile, state: SaltState, crop: CropTolerance | None
                   ) -> m.Finding | None:
    """Exchangeable sodium, its class, and the gypsum it calls for; None without a sodium test."""
    esp = state.esp
    if esp is None:
        return _bound_finding(case, state)
    target, own = target_esp(case)
    watch = sodium_constant("watch_esp")
    named = None
    if state.root_ece is not None and state.layer.ece is not None:
        with subject(state.place):
            named = sodicity_class.evaluate(ece_ds_m=state.layer.ece, esp_pct=esp.value,
                                            sar=state.layer.sar, ph=state.layer.increment.ph)
    sodic = state.sodic
    over_own = own and esp.value > target
    if sodic:
        status, severity = m.Status.LIMITING, 3
    elif over_own:
        status, severity = m.Status.LIMITING, 2
    elif esp.value >= watch:
        status, severity = m.Status.WATCH, 1
    else:
        status, severity = m.Status.ADEQUATE, 0
    needs: list[m.Need] = []
    lines = [_esp_line(e) for e in state.esps]
    share = esp_range(state)
    low, high = ends_of(share)
    gypsum = gypsum_need(case, state, share)
    if gypsum is not None:
        needs.append(gypsum)
        if gypsum.amount is None:
            needs.append(measure_sodium(case, state))
        needs += drain_needs(case, state)
        leach = leach_need(case, state, crop, sodic, gypsum)
        if leach is None:
            leach = wash_need(case, state, gypsum)
        if leach is not None:
            needs.append(leach)
        sulfur = sulfur_instead(case, state, gypsum)
        if sulfur is not None:
            lines.append(sulfur)
    deeper = [s for s in state.slices
              if s is not state.main and s.increment.top_in > 0 and s.sar is not None
              and s.sar >= sodium_constant("sodic_sar")]
    for piece in deeper:
        lines.append(m.stated("salinity.for_deeper", *piece.results, depth=piece.depth,
                              sar=piece.sar))
    if watch <= esp.value < sodium_constant("sodic_esp"):
        lines.append(m.stated("salinity.context_watch_esp", watch=watch))
    spread = [e.value for e in state.esps if e.kind != "at most"]
    agrees = max(spread) - min(spread) <= AGREE_ESP
    if not agrees:
        lines.append(m.stated("salinity.against_esps", low=min(spread), high=max(spread)))
    body = [say("salinity.body_sodium_class", name=named.value if named else
                ("sodic" if sodic else "neither"), known=named is not None,
                raised=esp.value >= watch)]
    if gypsum is not None:
        body.append(say("salinity.body_order"))
        if case.field.drainage in POOR_DRAINAGE:
            body.append(say("salinity.body_drain_word", drainage=case.field.drainage))
        if leach is not None and leach.params["dissolve_in"] is not None:
            lines.append(m.stated("salinity.context_dissolve", *leach.results[-1:], **leach.params))
        body.append(say("salinity.body_target", target=target, own=own,
                        reason=case.targets.reason if own and case.targets else ""))
        if deeper:
            body.append(say("salinity.body_deeper", depth=state.layer.depth))
    return m.Finding(
        id=f"salinity.sodium.{state.sample.id}",
        title=say("salinity.title_sodium", esp=esp.value, low=low, high=high, kind=esp.kind,
                  name=named.value if named else None, sodic=sodic, where=state.layer.place),
        status=status, severity=severity,
        confidence=sample_confidence(case, state.sample, matches=esp.kind == "measured",
                                     agrees=agrees),
        grade=m.Grade.MEASURED if esp.kind == "measured" else m.Grade.CALCULATED,
        value=esp.value, unit="%", low=low, high=high, place=state.place,
        reference=say("salinity.reference_esp", limit=sodium_constant("sodic_esp"),
                      sar=sodium_constant("sodic_sar")),
        body=tuple(body), evidence=tuple(lines), needs=tuple(needs),
        advise_against=(() if needs or esp.value >= watch
                        else _no_gypsum(case, state, esp.value, bound=False)),
        sources=("richards-1954-hb60",),
        results=(*(r for e in state.esps for r in e.results),
                 *(r for r in (share, named) if r is not None)),
        judgements=() if gypsum is not None else (
            _judgement(state.place, esp.value, esp.value < watch),),
    )


def _judgement(place: m.Place, esp: float, low: bool) -> m.Judgement:
    """Gypsum for sodium: settled where the sodium is low, open where it is watched."""
    params: dict[str, Any] = {"esp": esp, "limit": sodium_constant("sodic_esp")}
    if low:
        return m.amendment("gypsum", place, m.Verdict.NOT_NEEDED, "sodium_low", **params)
    return m.amendment("gypsum", place, m.Verdict.NOT_JUDGED, "sodium_watched", "sodium", **params)


def _esp_line(estimate: EspEstimate) -> m.Evidence:
    grade = m.Grade.MEASURED if estimate.kind == "measured" else m.Grade.CALCULATED
    sar = next((r.value for r in estimate.results if r.formula == "sodium_adsorption_ratio"), None)
    return m.Evidence(m.Side.FOR, say("salinity.for_esp", kind=estimate.kind, esp=estimate.value,
                                      sar=sar, summed=estimate.summed,
                                      loose=not all(r.within_range for r in estimate.results)),
                      grade, (("oklahoma-oac-165-10", "esr-cation-concentration")
                       if estimate.kind == "from SAR" else ("richards-1954-hb60",)),
                      estimate.results)


def _bound_finding(case: CaseFile, state: SaltState) -> m.Finding | None:
    """Only an upper bound on ESP: enough to say that sodium is low."""
    bound = state.esp_bound
    if bound is None:
        return None
    low = bound.value < sodium_constant("watch_esp")
    return m.Finding(
        id=f"salinity.sodium.{state.sample.id}",
        title=say("salinity.title_sodium_bound", esp=bound.value, low=low, where=state.layer.place),
        status=m.Status.ADEQUATE if low else m.Status.UNCERTAIN, severity=0 if low else 1,
        confidence=sample_confidence(case, state.sample),
        grade=m.Grade.CALCULATED, value=bound.value, unit="%", place=state.place,
        reference=say("salinity.reference_esp", limit=sodium_constant("sodic_esp"),
                      sar=sodium_constant("sodic_sar")),
        body=(say("salinity.body_sodium_bound"),),
        evidence=(_esp_line(bound),),
        needs=() if low else (measure_sodium(case, state),),
        advise_against=_no_gypsum(case, state, bound.value, bound=True) if low else (),
        sources=("richards-1954-hb60",), results=bound.results,
        judgements=(_judgement(state.place, bound.value, low),),
    )


def _no_gypsum(case: CaseFile, state: SaltState, esp: float, bound: bool) -> tuple:
    """Gypsum for sodium, where it is on offer and sodium is low."""
    if not any(x.kind == "gypsum" for x in case.materials):
        return ()
    return ((say("salinity.avoid_gypsum", where=state.place),
             say("salinity.avoid_gypsum_why", esp=esp, bound=bound)),)
