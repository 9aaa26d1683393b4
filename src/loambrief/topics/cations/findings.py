"""Exchangeable cations of a case: capacity, saturations, and the few limits with support."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.findings.places import place_of
from loambrief.topics.acidity.state import acid_state
from loambrief.topics.cations.formulas import (
    calcium_magnesium_ratio,
    constant,
    traditional_saturation,
)
from loambrief.topics.cations.limits import (
    calcium_finding,
    enough,
    magnesium_finding,
    tetany_finding,
)
from loambrief.topics.cations.state import CationState, cation_state
from loambrief.topics.sampling.age import sample_confidence

PRACTICE = ("Ca", "Mg", "K", "H")


def assess(case: CaseFile) -> m.Assessment:
    """Findings on exchangeable cations of every sample, and what was not measured."""
    said: list[m.Said] = []
    for sample in case.samples:
        acid, state = acid_state(case, sample), cation_state(sample)
        if state.main is None or not state.any_cation:
            continue
        said += [_capacity(case, state), magnesium_finding(case, acid, state),
                 calcium_finding(case, acid, state), tetany_finding(case, acid, state)]
        if not state.suppressed and state.cec is None and state.unknown:
            said.append(m.lacks("cations.missing_cec", where=state.place,
                                unknown=list(state.unknown)))
    return m.gathered(said)


def _capacity(case: CaseFile, state: CationState) -> m.Finding | None:
    if state.suppressed:
        return _suppressed(case, state)
    return _saturation(case, state)


def _suppressed(case: CaseFile, state: CationState) -> m.Finding:
    """Summed capacity and ratios are not printed for a soil with free lime."""
    sound = state.reliability
    assert sound is not None
    reasons = list(sound.details["reasons"])
    return m.Finding(
        id=f"cations.suppressed.{state.sample.id}",
        title=say("cations.title_suppressed", where=state.place),
        status=m.Status.NOTED, severity=0, confidence=sample_confidence(case, state.sample),
        grade=m.Grade.CALCULATED, place=state.place,
        body=(say("cations.body_suppressed", reasons=reasons,
                  displacement=state.displacement_cec),),
        evidence=(m.stated("cations.for_suppressed", sound, reasons=reasons, ph=state.ph,
                           fizz=state.sample.fizz, carbonate=state.carbonate,
                           limit=constant("calcareous_ph"), bases=state.bases,
                           cec=state.displacement_cec, method=state.sample.methods.cations),),
        advise_against=_against(state),
        sources=("kaesrr-2021-m3-calcium", "acetate-calcareous-1998"),
        results=(sound,), judgements=enough(case, state),
    )


def _saturation(case: CaseFile, state: CationState) -> m.Finding | None:
    """Capacity and shares, described; the trade's ranges beside the evidence against them."""
    if state.cec is None:
        return None
    traditional = _traditional(state)
    outside = [t for t in traditional if t.value != "inside"]
    body = [say("cations.body_shares", shares=_shares(state), cec=state.cec, by=state.cec_by,
                sodium=state.sodium_known)]
    if state.lab_cec is not None and state.cec_by == "sum":
        off = 100.0 * abs(state.lab_cec - state.cec) / state.cec
        body.append(say("cations.body_lab_cec", lab=state.lab_cec, own=state.cec, off=off,
                        usual=constant("cec_lab_error_pct")))
    else:
        off = 0.0
    return m.Finding(
        id=f"cations.saturation.{state.sample.id}",
        title=say("cations.title_saturation", cec=state.cec, where=state.place,
                  shares=_shares(state)),
        status=m.Status.NOTED, severity=0,
        confidence=sample_confidence(case, state.sample, matches=state.method_fits,
                                     agrees=off <= constant("cec_lab_error_pct")),
        grade=m.Grade.CALCULATED, value=state.cec, unit="meq/100g", place=state.place,
        reference=say("cations.reference_none"),
        body=tuple(body),
        evidence=_evidence(state, traditional, outside),
        advise_against=_against(state),
        sources=("clemson-cec", "kopittke-menzies-2007", "chaganti-culman-2017"),
        results=(*state.results, *traditional), judgements=enough(case, state),
    )


def _shares(state: CationState) -> list[dict]:
    return [{"cation": c, "pct": state.shares[c]} for c in ("Ca", "Mg", "K", "Na", "H")
            if c in state.shares]


def _traditional(state: CationState) -> list[Result]:
    with subject(place_of(state.sample, state.main)):
        return [traditional_saturation.evaluate(cation=c, saturation_pct=state.shares[c])
                for c in PRACTICE if c in state.shares]


def _evidence(state: CationState, traditional: list[Result], outside: list[Result]):
    rows = [{"cation": r.inputs["cation"], "pct": r.inputs["saturation_pct"],
             "low": r.details["low"], "high": r.details["high"], "stand": r.value}
            for r in traditional]
    lines = [
        m.stated("cations.for_practice", *traditional, rows=rows, outside=len(outside)),
        m.stated("cations.against_practice"),
        m.stated("cations.context_gaps"),
        m.stated("cations.against_sum"),
    ]
    if state.calcium and state.magnesium:
        with subject(place_of(state.sample, state.main)):
            ratio = calcium_magnesium_ratio.evaluate(ca_ppm=state.calcium,
                                                     mg_ppm=state.magnesium)
        lines.append(m.stated("cations.context_ratio", ratio, ratio=ratio.value,
                              act=ratio.details["magnesium_at_least_calcium"]))
    return tuple(lines)


def _against(state: CationState):
    return ((say("cations.avoid_balancing"), say("cations.why_balancing")),)


def cation_make_up(case: CaseFile) -> tuple[CationState, ...]:
    """Cation make-up of every sample that has one, for the chart."""
    states = (cation_state(sample) for sample in case.samples)
    return tuple(s for s in states if s.cec is not None and not s.suppressed)

