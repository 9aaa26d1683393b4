"""Nutrients of a case: phosphorus, potassium, sulfur, micronutrients, removal, calcium on top."""

from collections.abc import Iterable
from dataclasses import replace

from loambrief.agronomy.guides import MINOR, NUTRIENTS, TEST_OF, known_guides
from loambrief.case.quantities import nearest
from loambrief.case.schema import CaseFile, Sample
from loambrief.errors import UnknownName
from loambrief.findings import model as m
from loambrief.findings.model import nutrient as judged
from loambrief.findings.model import say
from loambrief.topics.nutrients import crop as nutrients_crop
from loambrief.topics.nutrients import minor as nutrients_minor
from loambrief.topics.nutrients import pk as nutrients_pk
from loambrief.topics.nutrients import secondary as nutrients_secondary
from loambrief.topics.nutrients import sulfur as nutrients_sulfur
from loambrief.topics.nutrients import toxic as nutrients_toxic
from loambrief.topics.nutrients import water as nutrients_water
from loambrief.topics.nutrients.formulas_engine import ABOVE
from loambrief.topics.nutrients.seed_row import seed_row_finding
from loambrief.topics.nutrients.state import NutrientState, read, tilled, zone
from loambrief.topics.sampling.age import age_params, too_old

MICRO_SUBJECTS = tuple(f"nutrients.{e}" for e in ("micronutrients", *map(str.lower, MINOR)))


def assess(case: CaseFile) -> m.Assessment:
    """Every nutrient finding of a case.

    Rates come only from a soil test by a method the guide was calibrated on; where the guide, the
    method, the CEC or the yield is missing there is no rate and a Missing or an uncertain finding
    says so.
    """
    try:
        state = read(case)
    except UnknownName as error:
        missing = m.lacks("nutrients.missing_crop", crop=case.field.crop, hint=str(error))
        return m.Assessment(missing=(missing,))
    pairs = tilled(case)
    said: list[m.Said] = [*_guide_finding(state)]
    if not pairs:
        said.append(m.lacks("nutrients.missing_tilled"))
    for sample, increment in pairs:
        by_guide = [x for nutrient in NUTRIENTS
                    for x in nutrients_pk.assess_sample(state, sample, increment, nutrient)]
        said += by_guide
        if too_old(case, sample):
            said.append(_outdated(state, sample))
            continue
        phosphorus = next((f for f in by_guide if isinstance(f, m.Finding)
                           and f.id == f"nutrients.p.{sample.id}"), None)
        said.append(nutrients_water.assess_sample(state, sample, increment, phosphorus))
        said += nutrients_secondary.assess_sample(state, sample, increment)
        said += nutrients_sulfur.sulfur(state, sample, increment)
        toxic = dict(nutrients_toxic.toxic_metals(state, sample, increment))
        said += [*toxic.values(), nutrients_toxic.unjudged(state, sample, increment)]
        said += nutrients_minor.micronutrients(
            state, sample, increment, [e for e, f in toxic.items() if f.severity])
    said += [nutrients_crop.surface_calcium(state, sample) for sample in case.samples]
    said += [nutrients_crop.removal(state), seed_row_finding(case)]
    found = m.gathered(said)
    return m.Assessment(tuple(_with_advice_against(state, found.findings)),
                        tuple(_each_once(found.missing)))


def _outdated(state: NutrientState, sample: Sample) -> m.Missing:
    """Nothing is read from a sample that is too old; sulfur stays open like the rest."""
    age = age_params(state.case, sample)
    sulfur = judged("S", zone(sample), m.Verdict.NOT_JUDGED, "sample_too_old", "soil_test",
                    test="S", methods=[], crop=state.crop.name, **age)
    return m.lacks("sampling.missing_too_old", topic="nutrients", judgements=(sulfur,),
                   where=zone(sample), **age)


def _each_once(lacking: Iterable[m.Missing]) -> list[m.Missing]:
    kept: list[m.Missing] = []
    for missing in lacking:
        if missing not in kept:
            kept.append(missing)
    return kept


def _guide_finding(state: NutrientState) -> list[m.Finding]:
    """A finding where the choice of guide itself needs a word from the consultant."""
    if state.unknown_guide:
        here = sorted(g.name for g in known_guides().values() if g.fits_region(*state.places))
        near = nearest(state.unknown_guide, known_guides())
        return [_guide(state, "title_guide_unknown", m.Status.UNCERTAIN,
                       say("nutrients.guide_unknown_body", name=state.unknown_guide,
                           known=here or ([near] if near else [])))]
    if state.guide is None:
        return [_guide(state, "title_guide_choose", m.Status.UNCERTAIN,
                       say("nutrients.guide_choose_body",
                           candidates=[g.name for g in state.candidates],
                           region=state.region_name))]
    if not state.guide_named:
        return [_guide(state, "title_guide_only", m.Status.NOTED,
                       say("nutrients.guide_only_body", guide=state.guide.title,
                           name=state.guide.name), (state.guide.reference,))]
    return []


def _guide(state: NutrientState, title: str, status: m.Status, body: m.Message,
           sources: tuple[str, ...] = ()) -> m.Finding:
    return m.Finding(
        id="nutrients.guide", title=say(f"nutrients.{title}"), status=status,
        severity=0, confidence=m.Confidence.HIGH, grade=m.Grade.CALCULATED, body=(body,),
        sources=sources,
    )


def _is_enough(finding: m.Finding, nutrient: str) -> bool:
    """True if the guide says of this finding's test that nothing should be added."""
    return any(
        r.formula == "nutrient_rate" and r.details.get("nutrient") == nutrient
        and r.details.get("position") == ABOVE and r.value == 0
        for r in finding.results
    ) and finding.status in (m.Status.ADEQUATE, m.Status.EXCESS)


def _with_advice_against(state: NutrientState, found: Iterable[m.Finding]) -> list[m.Finding]:
    """Findings with the "do not buy" pairs; each pair stands once and names all its places."""
    told = list(found)
    for nutrient in NUTRIENTS:
        places = [i for i, f in enumerate(told) if _is_enough(f, nutrient)]
        if not places:
            continue
        rows = [{"where": told[i].place, "value": told[i].value,
                 "limit": _limit(told[i])} for i in places]
        test = TEST_OF[nutrient].lower()
        pair = (say(f"nutrients.against_{test}", rows=rows),
                say("nutrients.against_pk_why", rows=rows, nutrient=nutrient,
                    guide=state.guide.title))  # type: ignore[union-attr]
        told[places[0]] = _adding(told[places[0]], pair)
    micro = [i for i, f in enumerate(told) if f.subject in MICRO_SUBJECTS]
    settled = all(j.verdict is m.Verdict.NOT_NEEDED for i in micro for j in told[i].judgements)
    if micro and settled and not any(told[i].needs for i in micro):
        elements = sorted({str(r.details["nutrient"]) for i in micro for r in told[i].results
                           if r.formula == "micronutrient_class" and r.value is not None})
        if elements:
            pair = (say("nutrients.against_micro"),
                    say("nutrients.against_micro_why", elements=elements))
            told[micro[0]] = _adding(told[micro[0]], pair)
    return told


def _limit(finding: m.Finding) -> float | None:
    rate = next(r for r in finding.results if r.formula == "nutrient_rate")
    value = rate.details.get("limit_ppm", rate.details.get("critical_ppm"))
    return None if value is None else float(value)


def _adding(finding: m.Finding, pair: tuple[m.Message, m.Message]) -> m.Finding:
    return replace(finding, advise_against=(*finding.advise_against, pair))
