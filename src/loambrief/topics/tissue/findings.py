"""Tissue tests of a case: what is short, what is high, and what that can and can't say.

A leaf says what the plant took up, not why; so it prompts a look at the soil and never sets a
rate. Published rates of sprays stand beside it for comparison, after the label.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from loambrief.agronomy.crops import Crop, find_crop
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile
from loambrief.case.schema_tests import TissueTest
from loambrief.errors import UnknownName
from loambrief.findings import model as m
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.crop_kinds import known_crop
from loambrief.findings.model import say
from loambrief.findings.places import named_place
from loambrief.tables import DataRow, load
from loambrief.topics.tissue.formulas import (
    BACKUP,
    HIGH,
    LOW,
    SUFFICIENT,
    TOXIC,
    foliar_row,
    sap_nitrate_class,
    stages_of,
    stalk_nitrate_class,
    tissue_class,
    tissue_ratio,
)
from loambrief.units import plain

FIELDS = {"N": "nitrogen", "P": "phosphorus", "K": "potassium", "Ca": "calcium",
          "Mg": "magnesium", "S": "sulfur", "Fe": "iron", "Mn": "manganese", "Zn": "zinc",
          "B": "boron", "Cu": "copper", "NO3-N": "nitrate_n"}
SOIL_KEY = {"P": "P2O5", "K": "K2O", "NO3-N": "N"}
"""Nutrients whose key in verdicts differs."""
RIVALS = (("P", "Zn"), ("K", "Mg"), ("P", "Fe"))
"""Nutrients of which much of the first is often found with little of the second."""
BALANCED = (10.0, 15.0)
"""Nitrogen to sulfur that the trade calls balanced."""
STALK, SAP = "lower stalk", "petiole sap"
SCHEMES = {"Pennsylvania": "pennsylvania", "Indiana": "indiana"}
LEAF = "tissue"


def assess(case: CaseFile) -> m.Assessment:
    """One finding for each tissue test whose crop, part and stage have published ranges."""
    return m.gathered(_stalk(case, test) or _sap(case, test) or _leaf(case, test)
                      for test in case.tissue)


def _crop(case: CaseFile, test: TissueTest) -> str:
    return test.crop or case.field.crop


def _lacking(case: CaseFile, test: TissueTest) -> m.Missing:
    crop = _crop(case, test)
    try:
        held = [{"part": part, "stage": stage} for part, stage in stages_of(crop)]
    except UnknownName:
        held = []
    return m.lacks("tissue.missing_range", crop=crop, part=test.part, stage=test.stage, held=held)


def _base(test: TissueTest, place: m.Place, title: m.Message, **more) -> m.Finding:
    return m.Finding(id=f"tissue.{test.id}", title=title, place=place, **more)


def _stalk(case: CaseFile, test: TissueTest) -> m.Finding | None:
    value = plain(test.nitrate_n)
    crop = known_crop(_crop(case, test))
    if test.part != STALK or value is None or crop is None or "corn" not in crop.lineage:
        return None
    place = named_place(case, test.place)
    with subject(place):
        named = stalk_nitrate_class.evaluate(
            nitrate_n_ppm=value, scheme=SCHEMES.get(case.farm.region or "", "iowa"))
    name = named.text
    return _base(
        test, place, say("tissue.title_stalk", name=name, value=value, where=place),
        status=m.Status.ADEQUATE if name == "optimal" else m.Status.WATCH,
        severity=0 if name == "optimal" else 1,
        confidence=grade_confidence(enough_replicates=False), grade=m.Grade.MEASURED,
        value=value, unit="ppm", body=(say("tissue.body_stalk", name=name),),
        evidence=(m.stated("tissue.for_stalk", named, value=value, name=name),),
        sources=(named.source,), results=(named,))


def _sap(case: CaseFile, test: TissueTest) -> m.Finding | None:
    value = plain(test.sap_nitrate_n)
    crop = known_crop(_crop(case, test))
    if test.part != SAP or value is None or crop is None:
        return None
    place = named_place(case, test.place)
    with subject(place):
        named = sap_nitrate_class.evaluate(crop=crop.name, stage=test.stage, nitrate_n_mg_l=value)
    if named.value is None:
        return None
    return _base(
        test, place, say("tissue.title_sap", crop=crop.name, name=named.value, value=value,
                         where=place),
        status=m.Status.WATCH if named.value == LOW else m.Status.NOTED,
        severity=1 if named.value == LOW else 0,
        confidence=grade_confidence(method_matches=named.how != "memory",
                                    enough_replicates=False),
        grade=m.Grade.MEASURED, value=value, unit="mg/L",
        body=(say("tissue.body_sap", name=named.value),),
        evidence=(m.stated("tissue.for_sap", named, stage=test.stage, low=named.details["low"],
                           high=named.details["high"], memory=named.how == "memory"),),
        sources=(named.source,), results=(named,))


def _leaf(case: CaseFile, test: TissueTest) -> m.Finding | m.Missing:
    crop = known_crop(_crop(case, test))
    if crop is None:
        return _lacking(case, test)
    place = named_place(case, test.place)
    read: dict[str, Result] = {}
    with subject(place):
        for nutrient, field in FIELDS.items():
            value = plain(getattr(test, field))
            if value is None:
                continue
            result = tissue_class.evaluate(crop=crop.name, part=test.part, stage=test.stage,
                                           nutrient=nutrient, value=value)
            if result.value is not None:
                read[nutrient] = result
    if not read:
        return _lacking(case, test)
    low = [n for n, r in read.items() if r.value == LOW]
    high = [n for n, r in read.items() if r.value in (HIGH, TOXIC)]
    toxic = [n for n, r in read.items() if r.value == TOXIC]
    memory = any(r.how == "memory" for r in read.values())
    sprays = {n: row for n in low if (row := foliar_row(
        crop.name, n, case.farm.region, case.field.irrigation == "drip")) is not None}
    needs = (m.Need(
        kind=m.NeedKind.MEASURE, item=LEAF, unit="", place=place,
        text=say("tissue.need_pair", keys=low, where=place),
        area_ac=case.field.area.value, results=tuple(read[n] for n in low),
        sources=m.sources_of(read[n] for n in low)),) if low else ()
    sources = m.sources_of(read.values())
    return _base(
        test, place, say("tissue.title_leaf", crop=crop.name, part=test.part, stage=test.stage,
                         low=low, high=high, where=place),
        status=m.Status.WATCH if low or toxic else m.Status.ADEQUATE,
        severity=1 if low or toxic else 0,
        confidence=grade_confidence(method_matches=not memory, enough_replicates=False),
        grade=m.Grade.MEASURED, body=tuple(_body(low, high, toxic, sprays)),
        evidence=(*_evidence(test, read), *_sprays(crop.name, sprays),
                  *_backup(crop, test.part, read)), needs=needs, sources=sources,
        results=tuple(read.values()))


def _body(low: Sequence[str], high: Sequence[str], toxic: Sequence[str],
          sprays: Mapping[str, DataRow]) -> Iterator[m.Message]:
    yield say("tissue.body_leaf", low=list(low), toxic=list(toxic))
    for first, second in RIVALS:
        if first in high and second in low:
            yield say("tissue.body_rivals", first=first, second=second)
    if sprays or any(n in low for n in ("B", "Zn", "Mn", "Fe", "Cu")):
        yield say("tissue.body_foliar", rates=bool(sprays))


def _sprays(crop: str, rows: Mapping[str, DataRow]) -> Iterator[m.Evidence]:
    """Published rates of sprays and of drip, for comparison: the label goes first."""
    for nutrient, row in rows.items():
        yield m.Evidence(m.Side.CONTEXT, say(
            "tissue.foliar", crop=crop, nutrient=nutrient, way=row["way"], low=row["low"],
            high=row["high"], unit=row["unit"], material=row["material"], per=row["per"],
            when=row["when"], state=row["state"]), m.Grade.PUBLISHED, (str(row["source"]),))
        if nutrient == "N" and "wheat" in find_crop(crop).lineage:
            yield m.stated("tissue.against_foliar_n")


def _backup(crop: Crop, part: str, read: Mapping[str, Result]) -> Iterator[m.Evidence]:
    """What the soil must lack before a low petiole is answered with nitrogen."""
    if "NO3-N" not in read or read["NO3-N"].value != LOW:
        return
    rows = {r["time"]: r for r in load(BACKUP) if r["crop"] in crop.lineage and r["part"] == part}
    if rows:
        yield m.Evidence(m.Side.AGAINST, say(
            "tissue.petiole_backup", mid=rows["mid"]["soil_n_lb_ac"],
            late=rows["late"]["soil_n_lb_ac"], depth=rows["mid"]["depth_in"]),
            m.Grade.PUBLISHED, (str(rows["mid"]["source"]),))


def _evidence(test: TissueTest, read: dict[str, Result]) -> Iterator[m.Evidence]:
    odd = [n for n, r in read.items() if r.value != SUFFICIENT]
    for nutrient in odd:
        result = read[nutrient]
        yield m.stated("tissue.for_leaf", result, nutrient=nutrient, value=result.inputs["value"],
                       unit="%" if nutrient in ("N", "P", "K", "Ca", "Mg", "S") else "ppm",
                       name=result.value, low=result.details["low"], high=result.details["high"],
                       memory=result.how == "memory")
    rest = [n for n in read if n not in odd]
    if rest:
        yield m.stated("tissue.within", *(read[n] for n in rest), keys=rest)
    nitrogen, sulfur = plain(test.nitrogen), plain(test.sulfur)
    if nitrogen is not None and sulfur:
        ratio = tissue_ratio.evaluate(first=nitrogen, second=sulfur)
        yield m.stated("tissue.practice_ratio", ratio, ratio=ratio.value, low=BALANCED[0],
                       high=BALANCED[1])
        yield m.stated("tissue.against_ratio")


def with_soil(findings: Sequence[m.Finding], told: Sequence[m.Judgement]) -> list[m.Finding]:
    """The findings, with a word in those on leaves whose soil test says something else.

    ``told`` are the verdicts of all topics.
    """
    verdicts = {(j.key, j.place.id): j for j in told}
    return [_held(f, verdicts) if f.topic == "tissue" else f for f in findings]


def _held(finding: m.Finding, verdicts: dict[tuple[str, str], m.Judgement]) -> m.Finding:
    said: list[m.Evidence] = []
    for result in finding.results:
        nutrient = result.inputs.get("nutrient")
        key = SOIL_KEY.get(str(nutrient), str(nutrient))
        soil = verdicts.get((key, finding.place.id))
        if soil is None or nutrient is None or result.value == SUFFICIENT:
            continue
        enough = soil.verdict is m.Verdict.NOT_NEEDED
        if (result.value == LOW and enough) or (
                result.value in (HIGH, TOXIC) and soil.verdict is m.Verdict.NEEDED):
            said.append(m.Evidence(m.Side.AGAINST, say("tissue.disagrees", nutrient=nutrient,
                                                       short=result.value == LOW),
                                   m.Grade.CALCULATED, soil.sources))
    return replace(finding, evidence=(*finding.evidence, *said)) if said else finding
