"""Trace elements that have gathered in a soil, against published levels of harm."""

from collections.abc import Iterator, Sequence

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import Increment, Sample
from loambrief.case.select import sample_area_ac
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import feeds_stock, known_crop
from loambrief.findings.model import nutrient as judged
from loambrief.findings.model import say
from loambrief.findings.places import place_of
from loambrief.tables import DataRow
from loambrief.topics.nutrients.formulas_micronutrients import micronutrient_class
from loambrief.topics.nutrients.formulas_toxic import (
    BELOW,
    HARM,
    RULE,
    level_of,
    toxic_rows,
    toxic_soil_level,
)
from loambrief.topics.nutrients.leaf import leaf_class
from loambrief.topics.nutrients.state import NutrientState, zone
from loambrief.topics.tissue.formulas import HIGH, TOXIC
from loambrief.units import plain

FIELDS = {"Cu": "copper", "Zn": "zinc", "B": "boron", "Se": "selenium", "Mo": "molybdenum"}
POISONS_STOCK = ("Se", "Mo")
"""Forage holds enough of these to harm stock while it grows well."""
LEAF, FORAGE_TRACE = "tissue", "forage trace"
"""Items of the tests of leaf and forage."""
STOP = "stop-metal"
"""Item of the habit of adding no more."""
SPRAYED = ("fruit",)
"""Groups where copper sprays leave copper in the soil year by year."""
ACID_PH = 6.0
"""Below it copper and zinc harm at lower levels (nc-heavy-metals: pH under 6.0)."""


def toxic_metals(state: NutrientState, sample: Sample,
                 increment: Increment) -> Iterator[tuple[str, m.Finding]]:
    """Element and finding where a published level is reached.

    Copper under fruit, selenium and molybdenum are told of below their levels too.
    """
    for element, field in FIELDS.items():
        value, method = plain(getattr(increment, field)), getattr(sample.methods, field)
        if value is None or method is None:
            continue
        place = place_of(sample, increment)
        with subject(place):
            read = [toxic_soil_level.evaluate(nutrient=element, method=method, test_ppm=value,
                                              crop=crop, by=level_of(row))
                    for crop, rows in _rows(state, element, method) for row in rows]
        always = _sprayed(state, element) or element in POISONS_STOCK
        if read and (always or any(r.value != BELOW for r in read)):
            yield element, _finding(state, sample, increment, element, value, read)


def unjudged(state: NutrientState, sample: Sample, increment: Increment) -> m.Missing | None:
    """The elements that were measured by a method without a published level of too much."""
    place = place_of(sample, increment)
    open_ = [(element, method) for element, field in FIELDS.items()
             if plain(getattr(increment, field)) is not None
             and not _has_level(state, element, method := getattr(sample.methods, field) or "")]
    if not open_:
        return None
    rows = [{"element": e, "method": x} for e, x in open_]
    stock = any(e in POISONS_STOCK for e, _ in open_) and feeds_stock(state.case)
    return m.lacks("nutrients.missing_toxic", where=place, rows=rows, stock=stock,
                   crop=state.crop.name)


def _has_level(state: NutrientState, element: str, method: str) -> bool:
    """A level of harm, or a class scale that calls a test high."""
    if toxic_rows(element, method, state.crop.name):
        return True
    return element not in POISONS_STOCK and micronutrient_class.evaluate(
        nutrient=element, method=method, test_ppm=0.0, crop=state.crop.name,
        region=state.region or None).details.get("high_above") is not None


def _sprayed(state: NutrientState, element: str) -> bool:
    return element == "Cu" and state.crop.group in SPRAYED


def _rows(state: NutrientState, element: str,
          method: str) -> Iterator[tuple[str, Sequence[DataRow]]]:
    """Levels for the crop, and those that name the crop after it."""
    yield state.crop.name, toxic_rows(element, method, state.crop.name)
    following = known_crop(state.case.field.following_crop)
    if following is not None and following.name != state.crop.name:
        yield following.name, [r for r in toxic_rows(element, method, following.name)
                               if r["crops"] != "*"]


def _reached(read: list[Result]) -> list[Result]:
    return [r for r in read if r.value != BELOW]


def _stops(read: list[Result], leaf: Result | None) -> bool:
    """A rule of fields asks to add no more, or the leaf shows that the plants take it up.

    A trial in pots and a law of elsewhere ask for a leaf test only.
    """
    reached = _reached(read)
    return any(r.details["kind"] == RULE for r in reached) or bool(
        reached and leaf is not None and leaf.value == TOXIC)


def _status(read: list[Result]) -> tuple[m.Status, int]:
    """A rule of the field counts in full, a pot trial or a law as a reason to watch."""
    if any(r.value == HARM and r.details["kind"] == RULE for r in read):
        return m.Status.EXCESS, 2
    return (m.Status.WATCH, 1) if any(r.value != BELOW for r in read) else (m.Status.NOTED, 0)


def _finding(state: NutrientState, sample: Sample, increment: Increment, element: str,
             value: float, read: list[Result]) -> m.Finding:
    place = place_of(sample, increment)
    status, severity = _status(read)
    method = getattr(sample.methods, FIELDS[element])
    sprayed = _sprayed(state, element)
    leaf = None if element in POISONS_STOCK else leaf_class(state, sample, element)
    stops = _stops(read, leaf)
    worst = min(_reached(read) or read, key=lambda r: (float(r.details["toxic"]), r.source))
    return m.Finding(
        id=f"nutrients.toxic_{element.lower()}.{sample.id}",
        title=say("nutrients.title_toxic", element=element, level=severity, stops=stops,
                  stock=element in POISONS_STOCK, where=place),
        status=status, severity=severity,
        confidence=state.confidence(
            sample, method_matches=any(state.lies_in(str(r.details["region"])) for r in read),
            agrees=len({r.value for r in read}) == 1),
        grade=m.Grade.CALCULATED, value=value, unit="ppm", place=place,
        reference=say("nutrients.reference_toxic", watch=worst.details["watch"],
                      toxic=worst.details["toxic"], kind=worst.details["kind"]),
        body=(say("nutrients.toxic_stock_body" if element in POISONS_STOCK
                  else "nutrients.toxic_body", element=element, level=severity, sprayed=sprayed,
                  stops=stops, ph=increment.ph,
                  acid=increment.ph is not None and increment.ph < ACID_PH and element != "B"),),
        evidence=(*_evidence(state, element, value, method, read, leaf),
                  *(_copper_rules() if sprayed else ())),
        needs=tuple(_needs(state, sample, element, severity, leaf, read)),
        advise_against=((say("nutrients.against_metal", element=element, where=place),
                         say("nutrients.against_metal_why", element=element, value=value,
                             watch=worst.details["watch"])),) if stops else (),
        sources=m.sources_of(read), results=tuple(read),
        judgements=tuple(_verdict(state, place, element, value, method, severity, leaf, stops)))


def _verdict(state: NutrientState, place: m.Place, element: str, value: float, method: str,
             severity: int, leaf: Result | None, stops: bool) -> Iterator[m.Judgement]:
    if stops:
        yield judged(element, place, m.Verdict.NOT_NEEDED, "test_high", test=element,
                     crop=state.crop.name, method=method, value=value, unit="ppm")
    elif severity and leaf is None and element not in POISONS_STOCK:
        yield judged(element, place, m.Verdict.NOT_JUDGED, m.TOO_MUCH, "leaf_test", test=element,
                     crop=state.crop.name)


def _evidence(state: NutrientState, element: str, value: float, method: str, read: list[Result],
              leaf: Result | None) -> Iterator[m.Evidence]:
    for one in read:
        reached = one.value != BELOW
        yield m.on_side(
            m.Side.FOR if reached else m.Side.AGAINST, "nutrients.evidence_toxic", one,
            element=element, value=value, method=method, watch=one.details["watch"],
            toxic=one.details["toxic"], region=one.details["region"], kind=one.details["kind"],
            reached=reached,
            following=None if one.inputs["crop"] == state.crop.name else one.inputs["crop"],
            memory=one.how == "memory")
    if leaf is not None:
        high = leaf.value in (HIGH, TOXIC)
        yield m.on_side(m.Side.FOR if high else m.Side.AGAINST, "nutrients.evidence_toxic_leaf",
                        leaf, element=element, high=high, value=leaf.inputs["value"],
                        crop=state.crop.name)


def _copper_rules() -> tuple[m.Evidence, ...]:
    """What publications and rules say of copper that sprays leave."""
    return (m.stated("nutrients.context_copper_eu"),
            m.stated("nutrients.context_copper_sands"))


def _needs(state: NutrientState, sample: Sample, element: str, severity: int,
           leaf: Result | None, read: list[Result]) -> Iterator[m.Need]:
    if not severity:
        return
    reached = tuple(_reached(read))
    sources = m.sources_of(reached)
    area = sample_area_ac(state.case, sample)
    if element in POISONS_STOCK:
        if feeds_stock(state.case):
            yield m.Need(kind=m.NeedKind.MEASURE, item=FORAGE_TRACE, unit="", place=zone(sample),
                         area_ac=area, text=say("salinity.need_forage_trace"),
                         results=reached, sources=sources)
        return
    if leaf is None:
        yield m.Need(kind=m.NeedKind.MEASURE, item=LEAF, unit="", place=zone(sample), area_ac=area,
                     text=say("nutrients.need_leaf_toxic", crop=state.crop.name, element=element,
                              where=zone(sample)), results=reached, sources=sources)
    if not _stops(read, leaf):
        return
    yield m.Need(kind=m.NeedKind.MANAGE, item=f"{STOP}-{element.lower()}", unit="",
                 place=zone(sample), area_ac=area,
                 text=say("nutrients.need_stop_metal", element=element, where=zone(sample)),
                 results=reached, sources=sources,
                 cautions=tuple(_cautions(state, element)))


def _cautions(state: NutrientState, element: str) -> Iterator[m.Message]:
    yield say("nutrients.caution_metal_ph", element=element)
    if "sheep" in state.case.field.livestock and element == "Cu":
        yield say("nutrients.caution_copper_sheep")
    if _sprayed(state, element):
        yield say("nutrients.caution_copper_label")


