"""Sap readings: crop beside weed, the trade's level, the line, and what is known of each.

A screening sign. It may prompt a test; it never sets a rate, and no promise hangs on it.
"""

from loambrief.agronomy.intervals import COVERAGE_PCT
from loambrief.agronomy.registry import subject
from loambrief.case.schema import CaseFile
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.findings.places import field_place
from loambrief.tables import load
from loambrief.tables.harmful import plain_name
from loambrief.topics.refractometry.formulas import brix_crop_minus_weed, constant
from loambrief.topics.refractometry.state import (
    MOST_MINUTES_APART,
    Sap,
    SapState,
    minutes_apart,
    plant_organs,
    sap_state,
)


def assess(case: CaseFile) -> m.Assessment:
    state = sap_state(case)
    if state is None:
        return m.Assessment()
    said: list[m.Said] = [_pair(state, crop, weed) for weed in state.weeds
                          if (crop := state.beside(weed)) is not None]
    said += [_crop(state, crop) for crop in state.crops]
    lined = [s for s in state.all if s.reading.line is not None]
    if lined:
        said.append(_line(state, lined))
    said += [_not_to_press(state, weed) for weed in state.weeds if weed.not_to_press]
    if not state.crops:
        said.append(m.lacks("refractometry.missing_crop"))
    return m.gathered([*said, *(m.lacks("refractometry.missing_temperature", plant=sap.label)
                                for sap in state.all if not sap.comparable)])


def _readings(sap: Sap) -> dict[str, object]:
    return {"plant": sap.label, "mean": sap.mean, "low": sap.low, "high": sap.high,
            "n": len(sap.brix)}


def _conditions(state: SapState, crop: Sap, weed: Sap) -> list[m.Message]:
    """What makes the two readings less alike than they should be."""
    found = []
    apart = minutes_apart(crop.reading.time, weed.reading.time)
    if apart is not None and apart > MOST_MINUTES_APART:
        found.append(say("refractometry.against_time", minutes=apart))
    if _parts_differ(crop.reading.part, weed.reading.part):
        found.append(say("refractometry.against_part", crop=crop.reading.part,
                         weed=weed.reading.part))
    if state.place(crop).id != state.place(weed).id:
        found.append(say("refractometry.against_place"))
    if state.part.zeroed is not True:
        found.append(say("refractometry.against_zero", known=state.part.zeroed is not None))
    return found


def _parts_differ(first: str | None, second: str | None) -> bool:
    """True for two named parts that are not of the same organs, as far as the list knows them."""
    if first is None or second is None or plain_name(first) == plain_name(second):
        return False
    organs, others = plant_organs(first), plant_organs(second)
    return not organs or organs != others


def _pair(state: SapState, crop: Sap, weed: Sap) -> m.Finding:
    with subject(crop.reading.plant, weed.reading.plant):
        difference = brix_crop_minus_weed.evaluate(crop_brix=list(crop.brix),
                                                   weed_brix=list(weed.brix))
    details = difference.details
    comparable = crop.comparable and weed.comparable
    clear = bool(details["clear"]) and comparable
    body: list[m.Message] = [say("refractometry.body_corrected", atc=state.part.atc,
                                 corrected=bool(crop.corrections or weed.corrections),
                                 comparable=comparable)]
    if details["low"] is None:
        body.append(say("refractometry.body_no_interval"))
    if state.part.weather:
        body.append(say("refractometry.body_weather", weather=state.part.weather))
    evidence = [
        m.stated("refractometry.evidence_means", *(crop.results + weed.results),
                 crop=_readings(crop), weed=_readings(weed)),
    ]
    for sap in (crop, weed):
        agreement = sap.agreement
        if agreement is not None and agreement.value == "differ":
            evidence.append(m.stated("refractometry.against_spread", agreement, plant=sap.label,
                                     spread=agreement.details["spread"],
                                     limit=agreement.details["limit"]))
    evidence += [m.Evidence(m.Side.AGAINST, message, m.Grade.OBSERVED,
                            ("bumgarner-kleinhenz-2013",))
                 for message in _conditions(state, crop, weed)]
    evidence.append(m.stated("refractometry.context_species"))
    return m.Finding(
        id=f"refractometry.pair.{crop.number}-{weed.number}",
        title=say("refractometry.title_pair", crop=crop.name, weed=weed.name,
                  crop_mean=crop.mean, weed_mean=weed.mean, difference=difference.value,
                  is_clear=clear),
        status=m.Status.NOTED if comparable else m.Status.UNCERTAIN,
        severity=0,
        confidence=state.confidence(crop, weed),
        grade=m.Grade.SCREENING,
        value=difference.value, low=details["low"], high=details["high"],
        unit="Brix",
        reference=say("refractometry.reference_pair", resolvable=constant("resolvable")),
        place=state.place(weed, crop),
        body=(*body, say("refractometry.body_difference", low=details["low"],
                         high=details["high"], is_clear=clear, coverage=COVERAGE_PCT)),
        evidence=tuple(evidence),
        needs=_needs(state, crop, weed, below=clear and float(difference.value) < 0),
        sources=(difference.source, "practice-brix-10"),
        results=(difference,),
    )


def _needs(state: SapState, crop: Sap, weed: Sap, below: bool) -> tuple[m.Need, ...]:
    """A test at most: sap never carries an amount."""
    place = state.place(crop)
    wanted = int(constant("replicates_wanted"))
    if min(len(crop.brix), len(weed.brix)) < 3 or not (crop.comparable and weed.comparable):
        return (m.Need(m.NeedKind.MEASURE, "sap-again", "",
                       say("refractometry.need_again", where=place, n=wanted,
                           atc=state.part.atc), place=place,
                       sources=("bumgarner-kleinhenz-2013",),
                       cautions=(say("refractometry.caution_press"),)),)
    if below:
        return (m.Need(m.NeedKind.MEASURE, "tissue", "",
                       say("refractometry.need_tissue", crop=crop.reading.plant, where=place),
                       place=place, sources=("bumgarner-kleinhenz-2013",)),)
    return ()


def _published() -> list[m.Evidence]:
    """What was published for and against Brix as a sign of health, in table order."""
    return [
        m.Evidence(m.Side(row["side"]), say(f"refractometry.published_{row['key']}"),
                   m.Grade.PUBLISHED, (str(row["source"]),))
        for row in load("refractometry/evidence")
    ]


def _crop(state: SapState, crop: Sap) -> m.Finding:
    """The trade's level for a healthy plant, beside what was published."""
    level = constant("practice_level")
    return m.Finding(
        id=f"refractometry.level.{crop.number}",
        title=say("refractometry.title_level", level=level, **_readings(crop)),
        status=m.Status.NOTED,
        severity=0,
        confidence=state.confidence(crop),
        grade=m.Grade.PRACTICE,
        value=crop.mean, low=crop.low, high=crop.high,
        unit="Brix",
        reference=say("refractometry.reference_level", level=level),
        place=state.place(crop),
        body=(
            say("refractometry.body_level", level=level, above=crop.mean >= level,
                straddles=crop.low is not None and crop.high is not None
                and crop.low < level < crop.high),
            say("refractometry.body_use"),
        ),
        evidence=tuple(_published()),
        sources=("practice-brix-10",),
        results=crop.results,
    )


def _line(state: SapState, lined: list[Sap]) -> m.Finding:
    """Sharp or diffuse: written down as seen, with what is known about it."""
    extra = constant("diffuse_uncertainty")
    diffuse = [s.label for s in lined if s.reading.line == "diffuse"]
    sharp = [s.label for s in lined if s.reading.line == "sharp"]
    return m.Finding(
        id="refractometry.line",
        title=say("refractometry.title_line", diffuse=diffuse, sharp=sharp),
        status=m.Status.NOTED,
        severity=0,
        confidence=state.confidence(*lined),
        grade=m.Grade.OBSERVED,
        reference=say("refractometry.reference_line"),
        place=field_place(state.case),
        body=(say("refractometry.body_line", any_diffuse=bool(diffuse), extra=extra),),
        evidence=(
            m.stated("refractometry.for_line"),
            m.stated("refractometry.against_line"),
            m.stated("refractometry.context_filter"),
        ),
        sources=("practice-brix-line", "meeten-north-1995"),
    )


def _not_to_press(state: SapState, weed: Sap) -> m.Finding:
    """A weed on the list of plants whose sap hurts was pressed."""
    details = weed.pressing.details  # type: ignore[union-attr]
    return m.Finding(
        id=f"refractometry.press.{weed.number}",
        title=say("refractometry.title_press", plant=weed.name,
                  english=details["english"]),
        status=m.Status.WATCH,
        severity=1,
        confidence=state.confidence(weed),
        grade=m.Grade.OBSERVED,
        reference=say("refractometry.reference_press"),
        place=state.place(weed),
        body=(say("refractometry.body_press", harm=details["harm"]),
              say("refractometry.caution_press")),
        sources=("burrows-tyrl-2013",),
        results=(weed.pressing,),  # type: ignore[arg-type]
    )
