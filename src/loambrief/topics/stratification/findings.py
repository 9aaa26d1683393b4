"""Layers of a case: the thin surface sample beside the tilled layer, and what it changes."""

from loambrief.case.schema import CaseFile, Sample
from loambrief.case.select import main_increment, sample_area_ac, surface_increment
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.findings.places import depth_of, place_of
from loambrief.topics.acidity.state import untilled
from loambrief.topics.sampling.age import sample_confidence
from loambrief.topics.stratification.formulas import figure
from loambrief.topics.stratification.state import Layer, LayerState, layer_state

STRONG_RATIO = 2.0
"""Top this many times richer than the soil below is called layered: our own step."""
PH_GAP = 0.3
"""pH difference that is called layered: our own step."""


def assess(case: CaseFile) -> m.Assessment:
    """Findings on layers of every sample that was split by depth, and what was not measured."""
    said: list[m.Said] = []
    for sample in case.samples:
        state = layer_state(sample)
        if state is None:
            said += _missing(case, sample)
            continue
        if state.impossible:
            said.append(_impossible(case, state))
        said.append(_layers(case, state))
    return m.gathered(said)


def _confidence(case: CaseFile, state: LayerState) -> m.Confidence:
    return sample_confidence(case, state.sample, matches=state.sample.residue != "left on",
                             agrees=not state.impossible)


def _impossible(case: CaseFile, state: LayerState) -> m.Finding:
    """A slice that holds more than the layer it is part of."""
    rows = [_row(x) for x in state.impossible]
    return m.Finding(
        id=f"stratification.impossible.{state.sample.id}",
        title=say("stratification.title_impossible", where=state.place,
                  names=[x.name for x in state.impossible]),
        status=m.Status.UNCERTAIN, severity=1, confidence=m.Confidence.LOW,
        grade=m.Grade.CALCULATED, place=state.place,
        body=(say("stratification.body_impossible", rows=rows, top=depth_of(state.surface),
                  whole=depth_of(state.whole)),),
        evidence=(m.stated("stratification.for_impossible", rows=rows, top=depth_of(state.surface),
                           whole=depth_of(state.whole),
                           share=state.surface.bottom_in / state.whole.bottom_in),),
        needs=(m.Need(kind=m.NeedKind.MEASURE, item="layers again", unit="", place=state.place,
                      area_ac=sample_area_ac(case, state.sample),
                      text=say("stratification.need_again", where=state.place,
                               top=depth_of(state.surface), whole=depth_of(state.whole)),
                      sources=("layer-mass-balance",)),),
        sources=("layer-mass-balance",),
    )


def _row(layer: Layer) -> dict:
    return {"name": layer.name, "unit": layer.unit, "top": layer.top, "whole": layer.whole,
            "below": layer.below, "by": layer.below_by, "ratio": layer.ratio}


def _ph_gap(state: LayerState) -> float | None:
    if state.surface_ph is None or state.whole_ph is None:
        return None
    return state.whole_ph - state.surface_ph


def _layers(case: CaseFile, state: LayerState) -> m.Finding | None:
    """What differs between the surface and the soil below, and what that changes."""
    known = [x for x in state.layers if not x.impossible and not x.limit]
    limited = [x for x in state.layers if x.limit]
    gap = _ph_gap(state)
    if not known and gap is None and not limited:
        return None
    strong = [x for x in known if x.ratio is not None and x.ratio >= STRONG_RATIO]
    acid_top = gap is not None and gap >= PH_GAP
    marked = bool(strong) or (gap is not None and abs(gap) >= PH_GAP)
    top = depth_of(state.surface)
    return m.Finding(
        id=f"stratification.layers.{state.sample.id}",
        title=say("stratification.title_layers", marked=marked, where=state.place, top=top,
                  names=[x.name for x in strong], acid=acid_top),
        status=m.Status.WATCH if marked else m.Status.NOTED, severity=1 if marked else 0,
        confidence=_confidence(case, state), grade=m.Grade.CALCULATED,
        value=max((x.ratio for x in strong if x.ratio is not None), default=None), unit="1",
        place=state.place,
        reference=say("stratification.reference", ratio=STRONG_RATIO),
        body=_body(case, state, known, strong, acid_top),
        evidence=_evidence(case, state, known, gap, limited),
        sources=("layer-mass-balance", "osu-em9014-strat", "surface-practice"),
        results=state.results,
    )


def _body(case: CaseFile, state: LayerState, known: list[Layer], strong: list[Layer],
          acid_top: bool) -> tuple[m.Message, ...]:
    names = {x.name for x in strong}
    balanced = [x.name for x in known if x.below_by == "balance"]
    body = [say("stratification.body_layers", balanced=balanced, top=depth_of(state.surface))]
    if acid_top:
        body.append(say("stratification.body_acid", untilled=untilled(case)))
    if "phosphorus" in names:
        body.append(say("stratification.body_phosphorus", untilled=untilled(case),
                        runoff_in=figure("runoff_depth")))
    if names & {"phosphorus", "potassium"}:
        body.append(say("stratification.body_uptake"))
    body.append(say("stratification.body_rates", whole=depth_of(state.whole),
                    top=depth_of(state.surface)))
    return tuple(body)


def _evidence(case: CaseFile, state: LayerState, known: list[Layer], gap: float | None,
              limited: list[Layer]) -> tuple[m.Evidence, ...]:
    lines = []
    for by, grade in (("measured", m.Grade.MEASURED), ("balance", m.Grade.CALCULATED)):
        group = [x for x in known if x.below_by == by]
        if group:
            lines.append(m.Evidence(
                m.Side.FOR, say("stratification.for_layers", rows=[_row(x) for x in group], by=by,
                                depth=depth_of(state.surface), whole_depth=depth_of(state.whole)),
                grade, ("layer-mass-balance",), tuple(r for x in group for r in x.results)))
    if gap is not None:
        lines.append(m.stated("stratification.for_ph", top=state.surface_ph, whole=state.whole_ph,
                              depth=depth_of(state.surface), whole_depth=depth_of(state.whole)))
    if limited:
        lines.append(m.stated("stratification.context_limit", names=[x.name for x in limited]))
    if untilled(case):
        lines.append(m.stated("stratification.for_trials", depth_in=figure("surface_enrichment"),
                              broadcast_in=figure("broadcast_depth")))
    lines.append(m.stated("stratification.against_limits"))
    if case.field.tillage == "no-till":
        lines.append(m.stated("stratification.context_striptill", low=figure("striptill_corn_low"),
                              high=figure("striptill_corn_high")))
    if state.sample.residue in (None, "left on"):
        lines.append(m.stated("stratification.against_residue",
                              left=state.sample.residue == "left on"))
    return tuple(lines)


def _missing(case: CaseFile, sample: Sample) -> list[m.Missing]:
    """A split by depth is worth having where nothing mixes the soil."""
    place = place_of(sample)
    if surface_increment(sample) is not None and main_increment(sample) is None:
        return [m.lacks("stratification.missing_whole", where=place)]
    if untilled(case) and surface_increment(sample) is None and sample.increments:
        return [m.lacks("stratification.missing_surface", where=place)]
    return []
