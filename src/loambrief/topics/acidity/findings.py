"""Soil acidity of a case: pH against the crop's target, lime, acid surface, aluminum, high pH."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from loambrief.case.schema import CaseFile
from loambrief.case.select import TILLED_MIN_IN, sample_area_ac
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import fixes_nitrogen
from loambrief.findings.model import say
from loambrief.topics.acidity.alkaline import Fit, alkaline_needs, fit, fit_evidence
from loambrief.topics.acidity.evidence import avoided_lime, ph_evidence
from loambrief.topics.acidity.need import LimeNeed, lime_need
from loambrief.topics.acidity.other_means import (
    HIGH_PH,
    aluminum_finding,
    high_ph_finding,
    surface_finding,
)
from loambrief.topics.acidity.state import SUBSOIL_TOP_IN, AcidState, acid_state
from loambrief.topics.sampling.age import age_params, sample_confidence, too_old, too_old_body

SMALL_LIME_TON_AC = 0.5
"""Effective lime below which a need of low confidence is only watched (our own step)."""
SEVERE_GAP = 1.0
"""pH this far below the target is severe: our own step."""
ALUMINUM_PH = 5.5
"""Below this an aluminum test is worth having (Kansas State)."""


def assess(case: CaseFile) -> m.Assessment:
    """Findings on acidity of every sample, and what was not measured.

    Raises ``UnknownName`` if the case names a lime table that does not exist.
    """
    said: list[m.Said] = []
    states = [acid_state(case, sample) for sample in case.samples]
    limed = {s.sample.id: _lime(case, s) for s in states}
    for state in states:
        if too_old(case, state.sample):
            said.append(_outdated(case, state))
            continue
        lime = limed[state.sample.id]
        said += [_ph(case, state, lime),
                 surface_finding(case, state, lime if wants_lime(state) else None),
                 aluminum_finding(case, state), high_ph_finding(case, state),
                 *_missing(state, lime)]
    found = m.gathered(said)
    read = [s for s in states if not too_old(case, s.sample)]
    return replace(found, findings=avoided_lime(found.findings, read, limed))


def _outdated(case: CaseFile, state: AcidState) -> m.Finding:
    """A pH too old to lime by."""
    return m.Finding(
        id=f"acidity.ph.{state.sample.id}",
        title=say("acidity.title_too_old", where=state.place), status=m.Status.UNCERTAIN,
        severity=0, confidence=m.Confidence.LOW, grade=m.Grade.MEASURED,
        value=state.ph, low=state.ph_low, high=state.ph_high, unit="pH",
        place=state.place, body=(too_old_body(case, state.sample),),
        judgements=(m.amendment("lime", state.place, m.Verdict.NOT_JUDGED, "sample_too_old",
                                "soil_test", test="pH", methods=[], crop=case.field.crop,
                                **age_params(case, state.sample)),),
    )


def wants_lime(state: AcidState) -> bool:
    """The tilled layer is below the pH at which its crop is limed, whatever the subsoil."""
    return state.below_trigger and not state.calcareous and not state.depends_on_subsoil


def _lime(case: CaseFile, state: AcidState) -> LimeNeed | None:
    """Lime that is due, or would be if the untested subsoil turns out acid."""
    return lime_need(case, state) if state.below_trigger and not state.calcareous else None


def confidence(case: CaseFile, state: AcidState, lime: LimeNeed | None = None) -> m.Confidence:
    """By the written rule; a Sikora reading on an SMP table counts as another method."""
    exact = state.method in ("water 1:1", "water 1:2")
    agrees = True
    if lime is not None and lime.choice.name is not None:
        exact = exact and not _borrowed(state, lime)
        agrees = lime.choice.by != "buffer"
    own_guide = state.target is None or state.aim.own or state.aim.own_guide
    return sample_confidence(case, state.sample, matches=exact and own_guide, agrees=agrees)


def _borrowed(state: AcidState, lime: LimeNeed) -> bool:
    """A calibration of one buffer read with its imitation."""
    return (state.sample.methods.buffer == "sikora" and lime.best is not None
            and any("SMP calibration" in note for note in lime.rate.notes))


def _small(state: AcidState, lime: LimeNeed | None, sure: m.Confidence) -> bool:
    """A lime need so small and unsure that it is worth watching, not more."""
    amount = lime.need.amount if lime is not None else None
    return amount is not None and amount < SMALL_LIME_TON_AC and sure is m.Confidence.LOW


def _status(state: AcidState, found: Fit, small: bool = False) -> tuple[m.Status, int]:
    if state.calcareous or not state.below_trigger:
        if found.too_alkaline:
            unsure = found.near and not found.far_above_best
            return (m.Status.WATCH, 1) if unsure else (m.Status.LIMITING, 2)
        if found.near:
            return m.Status.WATCH, 1
        if state.near_trigger and not state.calcareous:
            return m.Status.WATCH, 0
        judged = found.suits or state.reading < HIGH_PH
        return m.Status.ADEQUATE if judged else m.Status.NOTED, 0
    assert state.target is not None
    gap = state.aim.value - state.reading
    if state.near_trigger or state.depends_on_subsoil or small:
        return m.Status.WATCH, 1
    return m.Status.LIMITING, 3 if gap >= SEVERE_GAP else 2


def _ph(case: CaseFile, state: AcidState, lime: LimeNeed | None) -> m.Finding | None:
    """pH of the tilled layer against the target of the crop."""
    if state.ph is None or state.target is None:
        return _untargeted(case, state)
    if state.aim.upper is not None and state.ph > state.aim.upper:
        return None
    target = state.aim
    sure = confidence(case, state, lime)
    small = _small(state, lime, sure)
    found = fit(case, state)
    status, severity = _status(state, found, small)
    limed = state.below_trigger and not state.calcareous
    return m.Finding(
        id=f"acidity.ph.{state.sample.id}",
        title=say("acidity.title_ph", ph=state.ph, target=target.value, trigger=target.trigger,
                  crop=target.crop if limed else found.crop, where=state.place, low=limed,
                  near=state.near_trigger, depends=state.depends_on_subsoil, small=small,
                  suits=found.suits, range=found.place, turns=found.near, limit=found.limit,
                  over=found.too_alkaline, best_low=found.best[0], best_high=found.best[1]),
        status=status, severity=severity, confidence=sure,
        grade=m.Grade.MEASURED, value=state.ph, low=state.ph_low, high=state.ph_high,
        unit="pH", place=state.place,
        reference=_reference(state, found, limed),
        body=(*_body(case, state, lime, small),
              *(() if limed else _range_body(case, state, found))),
        evidence=(*ph_evidence(case, state, lime), *(() if limed else fit_evidence(state, found))),
        needs=(*_needs(case, state, lime),
               *(alkaline_needs(case, state) if found.too_alkaline and not limed else ())),
        advise_against=_against(lime),
        sources=_sources(state, lime),
        results=tuple(r for r in (target.result, state.error_result, found.result,
                                  *((lime.best,) if lime and lime.best else ())) if r),
        judgements=(_judgement(state, lime),),
    )


def _reference(state: AcidState, found: Fit, limed: bool) -> m.Message:
    """The line that the pH is held against: upper limit in alkaline soil, else liming point."""
    assert state.target is not None
    if not limed and state.reading >= HIGH_PH:
        if found.limit is None:
            return say("acidity.reference_upper", upper=HIGH_PH, crop=found.crop, over=False)
        return say("acidity.reference_upper", upper=found.limit, crop=found.crop, over=True)
    return say("acidity.reference_target", target=state.aim.value,
               trigger=state.aim.trigger, crop=state.aim.crop)


def _range_body(case: CaseFile, state: AcidState, found: Fit) -> tuple[m.Message, ...]:
    """What a pH outside the crop's range means; nothing where it suits."""
    if found.suits and not found.near:
        return ()
    if found.place is None and state.reading < HIGH_PH:
        return ()
    return (say("acidity.body_range", crop=found.crop, range=found.place, turns=found.near,
                limit=found.limit, calcareous=state.calcareous),)


def _judgement(state: AcidState, lime: LimeNeed | None) -> m.Judgement:
    """Whether lime is due; an acid soil without a usable buffer test needs lime of no rate yet."""
    assert state.target is not None
    params: dict[str, Any] = {
              "ph": state.ph, "target": state.aim.value, "trigger": state.aim.trigger,
              "crop": state.aim.crop}
    if state.calcareous:
        return m.amendment("lime", state.place, m.Verdict.NOT_NEEDED, "free_lime", **params)
    if lime is None:
        return m.amendment("lime", state.place, m.Verdict.NOT_NEEDED, "ph_high_enough", **params)
    if not wants_lime(state):
        return m.amendment("lime", state.place, m.Verdict.NOT_JUDGED, "subsoil_decides",
                           "subsoil_ph", **params)
    if lime.need.amount is None:
        return m.amendment("lime", state.place, m.Verdict.NEEDED, "lime_rate_open", "buffer",
                           **params)
    if lime.need.amount <= 0:
        return m.amendment("lime", state.place, m.Verdict.NOT_NEEDED, "lime_still_works", **params)
    return m.amendment("lime", state.place, m.Verdict.NEEDED, "ph_too_low", **params)


def _needs(case: CaseFile, state: AcidState, lime: LimeNeed | None) -> tuple[m.Need, ...]:
    """The lime; or, where the subsoil decides, its test first and no lime yet."""
    if lime is None or (lime.need.amount is not None and lime.need.amount <= 0):
        return ()
    if wants_lime(state):
        return (lime.need,)
    return (m.Need(
        kind=m.NeedKind.MEASURE, item="subsoil pH", unit="", place=state.place,
        area_ac=sample_area_ac(case, state.sample),
        text=say("acidity.need_subsoil", where=state.place, depth_in=SUBSOIL_TOP_IN),
        sources=("vitosh-1995-e2567", "hoorman-2022-fall-lime"),
    ),)


def _untargeted(case: CaseFile, state: AcidState) -> m.Finding | None:
    """A pH without a crop to hold it against is only stated."""
    if state.ph is None:
        return None
    return m.Finding(
        id=f"acidity.ph.{state.sample.id}",
        title=say("acidity.title_untargeted", ph=state.ph, crop=case.field.crop,
                  where=state.place),
        status=m.Status.UNCERTAIN, severity=0, confidence=confidence(case, state),
        grade=m.Grade.MEASURED, value=state.ph, low=state.ph_low, high=state.ph_high,
        unit="pH", place=state.place,
        body=(say("acidity.body_untargeted", crop=case.field.crop),),
        judgements=(m.amendment("lime", state.place, m.Verdict.NOT_JUDGED, "no_target_for_crop",
                                "own_target", crop=case.field.crop, ph=state.ph),),
        results=tuple(r for r in (state.error_result,) if r),
    )


def _body(case: CaseFile, state: AcidState, lime: LimeNeed | None,
          small: bool) -> tuple[m.Message, ...]:
    target = state.aim
    body = [say("acidity.body_ph", low=state.below_trigger, near=state.near_trigger,
                error=state.ph_error, trigger=target.trigger, calcareous=state.calcareous,
                depends=state.depends_on_subsoil, aluminum=state.reading < ALUMINUM_PH, small=small,
                legume=[n for n in dict.fromkeys((case.field.crop, case.field.following_crop))
                        if fixes_nitrogen(n)])]
    if target.own:
        body.append(say("acidity.body_own_target", target=target.value, reason=target.reason))
    if lime is None:
        return tuple(body)
    need = lime.need
    if need.amount is None:
        body.append(lime.choice.problem or say("acidity.body_no_buffer",
                                               method=state.sample.methods.buffer))
    elif need.amount <= 0:
        body.append(say("acidity.body_nothing_left", credit=need.params["credit"],
                        title=need.params["table"]))
    else:
        body += [say("acidity.body_lime", only_if=state.depends_on_subsoil, **need.params),
                 _choice_text(case, lime)]
        if lime.credit:
            body.append(say("acidity.body_credit", credit=need.params["credit"]))
        if need.cap is not None and need.amount > need.cap:
            body.append(say("acidity.body_split", passes=-(-need.amount // need.cap),
                            surface=lime.depth_by == "surface"))
    return tuple(body)


def _choice_text(case: CaseFile, lime: LimeNeed) -> m.Message:
    return say("acidity.body_table", table=lime.need.params["table"], by=lime.choice.by,
               memory=lime.rate.how == "memory", depth_in=lime.depth_in, depth_by=lime.depth_by,
               basis=lime.rate.details["basis"], own=lime.rate.value,
               flagged=not lime.rate.within_range)


def _against(lime: LimeNeed | None) -> tuple[tuple[m.Message, m.Message], ...]:
    if lime is None:
        return ()
    return ((say("acidity.avoid_gypsum"), say("acidity.why_gypsum")),
            (say("acidity.avoid_liquid_calcium"), say("acidity.why_liquid_calcium")))


def _sources(state: AcidState, lime: LimeNeed | None) -> tuple[str, ...]:
    found = [state.aim.result.source] if state.aim.result else []
    if lime is not None:
        found += [*lime.need.sources, "sabetha-2022-liming"]
    return tuple(dict.fromkeys(found))


def _missing(state: AcidState, lime: LimeNeed | None) -> Iterator[m.Missing]:
    where = state.place
    if state.main is None:
        yield m.lacks("acidity.missing_layer", where=where, depth_in=TILLED_MIN_IN)
    elif state.ph is None:
        yield m.lacks("acidity.missing_ph", where=where)
    if lime is not None and state.layer.buffer_ph is None:
        yield m.lacks("acidity.missing_buffer", where=where)
    elif lime is not None and state.sample.methods.buffer == "modified-mehlich":
        yield m.lacks("acidity.missing_acidity", where=where)
    if lime is not None and state.aim.other_value is not None and state.subsoil_ph is None:
        yield m.lacks("acidity.missing_subsoil", where=where, target=state.aim.value,
                      other=state.aim.other_value, depth_in=SUBSOIL_TOP_IN,
                      depends=state.depends_on_subsoil)
    if state.ph is not None and state.reading < ALUMINUM_PH and (
            state.layer.aluminum is None or state.sample.methods.aluminum != "kcl"):
        yield m.lacks("acidity.missing_aluminum", where=where)
