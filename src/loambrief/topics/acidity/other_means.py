"""Acid surface, exchangeable aluminum, and pH above what the crop wants."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile
from loambrief.case.select import age_days, sample_area_ac
from loambrief.findings import model as m
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.model import say
from loambrief.findings.places import depth_of, place_of
from loambrief.topics.acidity.alkaline import alkaline_needs, fit, fit_evidence
from loambrief.topics.acidity.formulas import constant
from loambrief.topics.acidity.formulas_targets import (
    aluminum_saturation,
    sulfur_for_lime,
    sulfur_to_acidify,
)
from loambrief.topics.acidity.need import LimeNeed, lime_need
from loambrief.topics.acidity.state import AcidState, region_of, untilled
from loambrief.topics.cations.formulas import effective_cec, ppm_to_meq
from loambrief.units import plain

SURFACE_GAP = 0.3
"""Surface this much more acid than the tilled layer is called an acid surface: our own step."""
HIGH_PH = 7.3
"""From here pH is called high (free lime, micronutrients): the Kansas limit for Mehlich-3."""
SULFUR_TABLES = ("michigan_blueberry", "purdue_per_unit", "handbook_to_6_5")


OWN_TABLE = {"Michigan": "michigan_blueberry", "Indiana": "purdue_per_unit"}
"""The sulfur table of a state that has one."""


def _confidence(case: CaseFile, state: AcidState, matches: bool = True) -> m.Confidence:
    return grade_confidence(age_days=age_days(case, state.sample.date), cores=state.sample.cores,
                            cores_matter=True, method_matches=matches)


def surface_finding(case: CaseFile, state: AcidState, lime: LimeNeed | None) -> m.Finding | None:
    """A shallow slice more acid than the layer it is part of."""
    if state.surface_ph is None or state.ph is None or state.target is None:
        return None
    gap, trigger = state.ph - state.surface_ph, state.aim.trigger
    if gap < SURFACE_GAP or state.surface_ph >= trigger or state.calcareous:
        return None
    only_surface = lime is None
    needs: tuple[m.Need, ...] = ()
    own = None
    if only_surface and state.top.buffer_ph is not None:
        own = lime_need(case, state, state.top, state.surface_ph, state.top.bottom_in)
        if own.need.amount is None or own.need.amount > 0:
            needs = (own.need,)
    elif only_surface:
        needs = (_buffer_test(case, state),)
    depth = depth_of(state.top)
    return m.Finding(
        id=f"acidity.surface.{state.sample.id}",
        title=say("acidity.title_surface", surface=state.surface_ph, whole=state.ph,
                  depth=depth, where=state.place),
        status=m.Status.LIMITING if only_surface else m.Status.WATCH,
        severity=2 if only_surface and trigger - state.surface_ph >= SURFACE_GAP else 1,
        confidence=_confidence(case, state, state.method in ("water 1:1", "water 1:2")),
        grade=m.Grade.MEASURED, value=state.surface_ph, unit="pH", place=state.place,
        reference=say("acidity.reference_target", target=state.aim.value, trigger=trigger,
                      crop=state.aim.crop),
        body=(say("acidity.body_surface", depth=depth, gap=gap, only=only_surface,
                  untilled=untilled(case),
                  amount=own.need.amount if own else None,
                  buffer=state.top.buffer_ph),),
        evidence=(
            m.stated("acidity.for_surface", surface=state.surface_ph, depth=depth, whole=state.ph,
                     whole_depth=depth_of(state.layer)),
            m.stated("acidity.for_surface_trials"),
            m.stated("acidity.against_surface"),
        ),
        needs=needs,
        sources=("osu-em9014-strat", "surface-practice"),
        results=(own.best,) if own is not None and own.best is not None else (),
    )


def _buffer_test(case: CaseFile, state: AcidState) -> m.Need:
    return m.Need(
        kind=m.NeedKind.MEASURE, item="surface buffer", unit="",
        text=say("acidity.need_surface_buffer", where=state.place,
                 depth=depth_of(state.top)),
        place=state.place, area_ac=sample_area_ac(case, state.sample),
        sources=("surface-practice",),
    )


def _bases(state: AcidState) -> dict[str, Result] | None:
    """Charges of the bases; None unless calcium, magnesium and potassium are numbers."""
    values = {"Ca": plain(state.layer.calcium), "Mg": plain(state.layer.magnesium),
              "K": plain(state.layer.potassium), "Na": plain(state.layer.sodium)}
    if any(values[c] is None for c in ("Ca", "Mg", "K")):
        return None
    return {c: ppm_to_meq.evaluate(ppm=v, cation=c) for c, v in values.items() if v is not None}


def aluminum_finding(case: CaseFile, state: AcidState) -> m.Finding | None:
    """Aluminum by potassium chloride; Mehlich-3 aluminum says nothing about toxicity."""
    if state.main is None or state.layer.aluminum is None or state.ph is None:
        return None
    al = plain(state.layer.aluminum)
    if state.sample.methods.aluminum != "kcl" or al is None:
        return None
    limit, below = constant("al_toxic_ppm"), constant("al_toxic_ph")
    toxic = al > limit and state.ph < below
    with subject(place_of(state.sample, state.main)):
        bases = _bases(state)
        share: Result | None = None
        results: tuple[Result, ...] = ()
        if bases is not None:
            charge = ppm_to_meq.evaluate(ppm=al, cation="Al")
            ecec = effective_cec.evaluate(
                ca_meq=bases["Ca"].value, mg_meq=bases["Mg"].value, k_meq=bases["K"].value,
                na_meq=bases["Na"].value if "Na" in bases else 0.0, al_meq=charge.value)
            share = aluminum_saturation.evaluate(al_meq=charge.value, ecec_meq=ecec.value)
            results = (*bases.values(), charge, ecec, share)
    sensitive = share is not None and share.value > constant("al_sensitive_pct")
    tolerant = share is not None and share.value > constant("al_tolerant_pct")
    harmful = toxic or tolerant
    status = m.Status.LIMITING if harmful else m.Status.WATCH if sensitive else m.Status.ADEQUATE
    return m.Finding(
        id=f"acidity.aluminum.{state.sample.id}",
        title=say("acidity.title_aluminum", al=al, share=share.value if share else None,
                  toxic=harmful, where=state.place),
        status=status, severity=3 if harmful else 1 if sensitive else 0,
        confidence=_confidence(case, state), grade=m.Grade.MEASURED,
        value=al, unit="ppm", place=state.place,
        reference=say("acidity.reference_aluminum", limit=limit, below=below),
        body=(say("acidity.body_aluminum", toxic=toxic,
                  share=share.value if share else None, sodium=bool(bases and "Na" in bases),
                  sensitive=constant("al_sensitive_pct"), tolerant=constant("al_tolerant_pct")),),
        evidence=(
            m.stated("acidity.for_aluminum", *results, al=al, ph=state.ph, limit=limit,
                     below=below),
            m.stated("acidity.context_aluminum"),
        ),
        sources=("ruizdiaz-wheat-lime", "aluminum-tolerance-classes"), results=results,
    )


def _wants_acid(state: AcidState) -> bool:
    target = state.target
    return (target is not None and target.acidify and target.upper is not None
            and state.reading > target.upper)


def high_ph_finding(case: CaseFile, state: AcidState) -> m.Finding | None:
    """pH above the crop's range, or high enough that free lime is likely."""
    if state.ph is None:
        return None
    over = (state.target is not None and state.aim.upper is not None
            and state.ph > state.aim.upper)
    if not over and state.ph < HIGH_PH:
        return None
    limey = state.calcareous or state.ph >= HIGH_PH
    acidify = _wants_acid(state)
    results, needs, evidence = _acidify(case, state) if acidify else ((), (), ())
    if limey and state.carbonate:
        with subject(place_of(state.sample, state.main)):
            used = sulfur_for_lime.evaluate(carbonate_pct=state.carbonate,
                                            depth_in=state.layer.thickness_in)
        evidence += (m.stated("acidity.for_sulfur_used", used, sulfur=used.value,
                              carbonate=state.carbonate, depth=depth_of(state.layer)),)
        results += (used,)
    crop = state.aim.crop if state.target else case.field.crop
    found = fit(case, state)
    stops = (over or state.target is None) and found.too_alkaline
    if over or state.target is None:
        evidence += fit_evidence(state, found)
        results += (found.result,) if found.result is not None else ()
    if stops and not acidify:
        needs += alkaline_needs(case, state)
    return m.Finding(
        id=f"acidity.high.{state.sample.id}",
        title=say("acidity.title_high", ph=state.ph, where=state.place, crop=crop,
                  over=over or stops, calcareous=state.calcareous),
        status=m.Status.EXCESS if over or stops else m.Status.NOTED,
        severity=2 if acidify or stops else 1 if over else 0,
        confidence=_confidence(case, state, state.method in ("water 1:1", "water 1:2",
                                                             "saturated paste")),
        grade=m.Grade.MEASURED, value=state.ph, low=state.ph_low, high=state.ph_high,
        unit="pH", place=state.place,
        reference=say("acidity.reference_upper", upper=state.aim.upper if over else HIGH_PH,
                      crop=crop, over=over),
        body=(say("acidity.body_high", calcareous=state.calcareous, acidify=acidify,
                  rated=bool(needs and needs[0].amount), fizz=state.sample.fizz),),
        evidence=(m.stated("acidity.for_high", ph=state.layer.ph, depth=depth_of(state.layer),
                           fizz=state.sample.fizz, carbonate=state.carbonate),
                  *evidence),
        needs=needs,
        advise_against=((say("acidity.avoid_sulfur", where=state.place),
                         say("acidity.why_sulfur", calcareous=state.calcareous)),)
        if limey else (),
        sources=("rhs-acidifying",), results=results,
        judgements=_judgements(state, crop, over),
    )


def _acidify(case: CaseFile, state: AcidState):
    """Sulfur by every table that covers the step; the span between them is kept."""
    target = state.aim.value
    found: list[Result] = []
    if state.sample.texture is not None:
        with subject(place_of(state.sample, state.main)):
            for table in SULFUR_TABLES:
                found.append(sulfur_to_acidify.evaluate(
                    table=table, soil_ph=state.ph, target_ph=target,
                    texture=state.sample.texture, fizz=state.sample.fizz,
                    carbonate_pct=state.carbonate))
    rated = [r for r in found if r.value]
    amounts = sorted(float(r.value) for r in rated)
    own = next((float(r.value) for r in rated
                if r.inputs["table"] == OWN_TABLE.get(region_of(case) or "")), None)
    first = own if own is not None else amounts[0] if amounts else None
    half = None if first is None else first / 2.0
    need = m.Need(
        kind=m.NeedKind.ACIDIFY, item="sulfur", unit="lb/ac", place=state.place,
        area_ac=sample_area_ac(case, state.sample),
        text=say("acidity.need_acidify", target=target, amount=half,
                 low=amounts[0] if amounts else None, high=amounts[-1] if amounts else None,
                 own=own is not None, calcareous=state.calcareous, texture=state.sample.texture),
        amount=half, low=half, high=amounts[-1] if amounts else None, results=tuple(rated),
        sources=m.sources_of(rated),
        cautions=(say("acidity.caution_sulfur"), say("acidity.caution_sulfur_slow")),
        params={"first_half": half is not None}, printed_span=True,
    )
    evidence = (m.Evidence(m.Side.AGAINST, say("acidity.against_sulfur_span", low=amounts[0],
                                               high=amounts[-1], count=len(amounts)),
                           m.Grade.CALCULATED, need.sources, tuple(rated)),) if amounts else ()
    return tuple(found), ((need,) if not state.calcareous else ()), evidence


def _judgements(state: AcidState, crop: str, over: bool) -> tuple[m.Judgement, ...]:
    """No lime above the crop's range; no sulfur where free lime would use it up."""
    reason = "free_lime" if state.calcareous else "ph_high_enough"
    lime = m.amendment("lime", state.place, m.Verdict.NOT_NEEDED, reason, ph=state.ph, crop=crop)
    sulfur = m.amendment("sulfur", state.place, m.Verdict.NOT_NEEDED, "free_lime", ph=state.ph,
                         crop=crop)
    return (*((lime,) if over else ()), *((sulfur,) if state.calcareous else ()))
