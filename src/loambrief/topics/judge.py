"""Verdicts on nutrients and amendments at every place, gathered from all topics.

Nothing is left without a verdict: what no topic judged is *not judged*, because silence
would read as "enough".
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from loambrief.case.schema import CaseFile, Material, Sample
from loambrief.case.select import main_increment
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import fixes_nitrogen
from loambrief.findings.model import say
from loambrief.findings.places import field_place, place_of

ALWAYS = ("N", "P2O5", "K2O", "S")
"""Nutrients that every crop takes up in amounts that are fertilized for."""
ON_OFFER = {"Ca": "calcium", "Mg": "magnesium", "Zn": "zinc", "B": "boron", "Mn": "manganese",
            "Cu": "copper", "Fe": "iron"}
"""Judged where they were measured, where the crop is fed them, or where they are on offer."""
ASKED = {"nitrogen": "N", "phosphorus": "P2O5", "potassium": "K2O", "sulfur": "S",
         **{name: key for key, name in ON_OFFER.items()}, "lime": "lime", "gypsum": "gypsum"}
"""What a question may name -> its key in verdicts."""
AMENDMENTS = {m.NeedKind.LIME: "lime", m.NeedKind.GYPSUM: "gypsum", m.NeedKind.ACIDIFY: "sulfur"}
MATERIAL_OF = {"gypsum": "gypsum", "sulfur": "elemental sulfur"}
ALUMINUM_PH = 5.5
"""Below it exchangeable aluminum is to be expected (Kamprath 1970; from memory, unverified)."""
_WEIGHT = {m.Verdict.NEEDED: 0, m.Verdict.NOT_JUDGED: 1, m.Verdict.OPTIONAL: 2,
           m.Verdict.NOT_NEEDED: 3}


def judgements(case: CaseFile, findings: Sequence[m.Finding],
               missing: Sequence[m.Missing]) -> tuple[m.Judgement, ...]:
    """One verdict for each nutrient or amendment and place.

    By place in the order of the case, then nutrients, then amendments. Where several findings judge
    one thing, a need stands before an open question, and that before "not needed".
    """
    told: dict[tuple[str, str], m.Judgement] = {}
    for judgement in (*_said(findings, missing), *_asked(findings)):
        key = (judgement.key, judgement.place.id)
        before = told.get(key)
        if before is None or _weight(judgement) < _weight(before):
            told[key] = judgement
        elif _weight(judgement) == _weight(before):
            ids = tuple(dict.fromkeys((*before.finding_ids, *judgement.finding_ids)))
            told[key] = replace(before, finding_ids=ids)
    places = judged_places(case)
    for place in places:
        for open_question in _unsaid(case, place):
            if (open_question.key, m.WHOLE_FIELD.id) not in told:
                told.setdefault((open_question.key, place.id), open_question)
    order = {p.id: i for i, p in enumerate(places)}
    keys = (*ALWAYS, *ON_OFFER, *AMENDMENTS.values())
    return tuple(sorted(told.values(), key=lambda j: (
        order.get(j.place.id, len(order)), j.place.id,
        keys.index(j.key) if j.key in keys else len(keys), j.key)))


def _weight(judgement: m.Judgement) -> int:
    return len(_WEIGHT) if judgement.reason == m.TOO_MUCH else _WEIGHT[judgement.verdict]


SETTLED_BY = {"salinity.avoid_gypsum": "gypsum"}
"""Advice against an amendment, by the key of its message, and the amendment it speaks of."""


def only_settled(findings: Sequence[m.Finding], told: Sequence[m.Judgement]) -> list[m.Finding]:
    """Findings without advice against an amendment that something else needs at that place."""
    verdicts = {(j.key, j.place.id): j.verdict for j in told}

    def stands(finding: m.Finding, key: str) -> bool:
        amendment_key = SETTLED_BY.get(key)
        return amendment_key is None or verdicts.get(
            (amendment_key, finding.place.id)) in (None, m.Verdict.NOT_NEEDED)

    return [f if all(stands(f, what.key) for what, _ in f.advise_against)
            else replace(f, advise_against=tuple(
                pair for pair in f.advise_against if stands(f, pair[0].key)))
            for f in findings]


TESTED = {"soil_test", "method_of_guide", "method", "cec", "subsoil_ph"}
"""What settles an open question by measuring; the rest is for the adviser to decide."""
LEGUME = "nitrogen_legume"
"""Why nitrogen stands open under a crop that normally makes its own: no decision is asked."""
PRIMARY = ("N", "P2O5", "K2O", "lime")
SETTLES = "settles"
"""Parameter of a test's need: keys of what stands open until it is made."""
DECIDES = "adviser decides"
"""Item of the need that leaves open questions to the adviser."""


def unjudged(case: CaseFile, told: Sequence[m.Judgement]) -> m.Finding | None:
    """What stands open of the primary nutrients and lime, with the test or decision it wants."""
    asked = {ASKED[name] for name in case.case.about}
    open_ones = [j for j in told if j.verdict is m.Verdict.NOT_JUDGED
                 and (j.key in PRIMARY or (j.key in asked and j.reason == "not_measured"))]
    if not open_ones:
        return None
    needs = []
    by_test = [j for j in open_ones if j.settled_by in TESTED - {"subsoil_ph"}]
    decided = [j for j in open_ones if j.settled_by not in TESTED and j.reason != LEGUME]
    every = judged_places(case)
    for group, kind, item, text in (
            (by_test, m.NeedKind.MEASURE, "soil test", "need_tests"),
            (decided, m.NeedKind.MANAGE, DECIDES, "need_decisions")):
        if not group:
            continue
        places = list(dict.fromkeys(j.place for j in group))
        by = {j.key: {"key": j.key, "methods": list(_methods(j))} for j in group if _methods(j)}
        needs.append(m.Need(
            kind=kind, item=item, unit="",
            text=say(f"verdicts.{text}", keys=list(dict.fromkeys(j.key for j in group)),
                     by=list(by.values()),
                     places=places if 0 < len(places) < len(every) else []),
            area_ac=case.field.area.value,
            params={SETTLES: list(dict.fromkeys(j.key for j in group))}))
    names = list(dict.fromkeys(j.key for j in open_ones))
    return m.Finding(
        id="nutrients.unjudged",
        title=say("verdicts.title_unjudged", keys=names), status=m.Status.UNCERTAIN, severity=1,
        confidence=m.Confidence.HIGH, grade=m.Grade.OBSERVED, place=field_place(case),
        body=(say("verdicts.body_unjudged", keys=names),
              *(say("verdicts.line", keys=[j.key], places=[j.place] if len(every) > 1 else [],
                    why=j.why, settle=j.settle) for j in open_ones)),
        needs=tuple(needs))


def _methods(judgement: m.Judgement) -> Sequence[str]:
    found = judgement.params.get("methods", ())
    return [str(x) for x in found] if isinstance(found, list | tuple) else []


def judged_places(case: CaseFile) -> tuple[m.Place, ...]:
    """Sampled zones; the whole field where nothing was sampled."""
    return tuple(place_of(s) for s in case.samples) or (field_place(case),)


def _said(findings: Iterable[m.Finding], missing: Iterable[m.Missing]) -> Iterator[m.Judgement]:
    for finding in findings:
        for judgement in finding.judgements:
            amounts = [n for n in finding.needs if _key(n) == judgement.key]
            need = amounts[0] if amounts else None
            yield replace(judgement, finding_ids=(finding.id,), sources=finding.sources,
                          amount=judgement.amount if need is None else need.amount,
                          unit=judgement.unit if need is None else need.unit)
    for lack in missing:
        yield from lack.judgements


def _asked(findings: Iterable[m.Finding]) -> Iterator[m.Judgement]:
    """What a need says by itself, where its finding gives no verdict of its own."""
    for finding in findings:
        own = {j.key for j in finding.judgements}
        for need in finding.needs:
            key = _key(need)
            if not key or key in own:
                continue
            kind = (m.JudgedKind.NUTRIENT if need.kind is m.NeedKind.NUTRIENT
                    else m.JudgedKind.AMENDMENT)
            yield m.Judgement(kind, key, need.place,
                              m.Verdict.OPTIONAL if need.optional else m.Verdict.NEEDED,
                              "finding_asks", {"crop": "", "test": key}, "", (finding.id,),
                              finding.sources, need.amount, need.unit)


def _key(need: m.Need) -> str:
    return need.item if need.kind is m.NeedKind.NUTRIENT else AMENDMENTS.get(need.kind, "")


def _unsaid(case: CaseFile, place: m.Place) -> Iterator[m.Judgement]:
    """What stands open at a place where no topic said anything."""
    crop = case.field.crop
    if fixes_nitrogen(crop):
        yield m.nutrient("N", place, m.Verdict.NOT_JUDGED, LEGUME, "nodules", crop=crop)
    else:
        yield m.nutrient("N", place, m.Verdict.NOT_JUDGED, "nitrogen_no_rule", "adviser", crop=crop)
    sample = next((s for s in case.samples if s.id == place.id), None)
    tilled = sample is not None and main_increment(sample) is not None
    for key in ALWAYS[1:]:
        yield m.nutrient(key, place, m.Verdict.NOT_JUDGED,
                         "no_rule" if tilled else "not_measured",
                         "other_guide" if tilled else "soil_test", crop=crop, test=key, methods=[])
    for key, field in ON_OFFER.items():
        if sample is not None and any(getattr(i, field) is not None for i in sample.increments):
            yield m.nutrient(key, place, m.Verdict.NOT_JUDGED, "no_rule", "leaf_test", crop=crop,
                             test=key)
        elif field in case.case.about:
            yield m.nutrient(key, place, m.Verdict.NOT_JUDGED, "not_measured", "soil_test",
                             crop=crop, test=key, methods=[])
        elif any(_brings(x, field) for x in case.materials):
            yield m.nutrient(key, place, m.Verdict.NOT_JUDGED, "not_judged_on_offer", "leaf_test",
                             crop=crop, test=key)
    yield m.amendment("lime", place, m.Verdict.NOT_JUDGED, "not_measured", "soil_test", crop=crop,
                      test="pH", methods=[])
    kinds = {x.kind for x in case.materials}
    for key, kind in MATERIAL_OF.items():
        if kind in kinds:
            if key == "gypsum" and sample is not None and _sour(sample):
                yield m.amendment(key, place, m.Verdict.NOT_JUDGED, "gypsum_below_the_lime",
                                  "subsoil_aluminum", crop=crop, test=key)
                continue
            yield m.amendment(key, place, m.Verdict.NOT_JUDGED, "not_judged_on_offer",
                              "sodium" if key == "gypsum" else "adviser", crop=crop, test=key)


def _sour(sample: Sample) -> bool:
    """So acid that gypsum could only be meant against aluminum, which lies too deep for lime."""
    main = main_increment(sample)
    return main is not None and main.ph is not None and main.ph < ALUMINUM_PH


def _brings(material: Material, field: str) -> bool:
    """A fertilizer on offer holds the nutrient."""
    if material.kind not in ("fertilizer", "other") or material.analysis is None:
        return False
    share = getattr(material.analysis, field)
    return share is not None and share.value > 0
