"""Refractometer readings of a case at 20 C, each with its spread."""

import datetime as dt
from dataclasses import dataclass

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Refractometer, SapReading
from loambrief.case.select import age_days
from loambrief.errors import ImpossibleInput
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.model import Confidence, Place
from loambrief.findings.places import named_place
from loambrief.tables import load, parts
from loambrief.tables.harmful import plain_name
from loambrief.topics.refractometry.formulas import (
    brix_at_20c,
    brix_replicates_agree,
    constant,
    sap_pressing_check,
)
from loambrief.topics.sampling.formulas import mean_interval
from loambrief.topics.weeds.formulas_names import known_species

MOST_MINUTES_APART = 60
"""Readings further apart than this are not of the same time of day (our choice; Brix rises
by several points between morning and evening)."""


def plant_organs(part: str) -> frozenset[str]:
    """Organs that a typed part of a plant names, word by word."""
    words = set(plain_name(part).split())
    return frozenset(row["organ"] for row in load("refractometry/plant_parts")
                     if words & set(parts(row["words"])))


@dataclass(frozen=True)
class Sap:
    """One plant's replicates."""

    number: int
    """Place in the case, from 1."""
    reading: SapReading
    brix: tuple[float, ...]
    """Replicates at 20 C, in the order typed; as read where they could not be corrected."""
    comparable: bool
    """False if the instrument does not compensate and the temperature is not known."""
    corrections: tuple[Result, ...]
    interval: Result | None
    agreement: Result | None
    pressing: Result | None
    local_name: str | None = None

    @property
    def name(self) -> str:
        """The plant as people there call it, where the weed list of the case tells."""
        return self.local_name or self.reading.plant

    @property
    def label(self) -> str:
        part = f", {self.reading.part}" if self.reading.part else ""
        return f"{self.name}{part}"

    @property
    def mean(self) -> float:
        return sum(self.brix) / len(self.brix)

    @property
    def low(self) -> float | None:
        return None if self.interval is None else max(float(self.interval.details["low"]), 0.0)

    @property
    def high(self) -> float | None:
        return None if self.interval is None else float(self.interval.details["high"])

    @property
    def enough(self) -> bool:
        return len(self.brix) >= constant("replicates_wanted")

    @property
    def not_to_press(self) -> bool:
        return self.pressing is not None and self.pressing.value == "do not press"

    @property
    def results(self) -> tuple[Result, ...]:
        more = (self.interval, self.agreement)
        return self.corrections + tuple(r for r in more if r is not None)


@dataclass(frozen=True)
class SapState:
    case: CaseFile
    part: Refractometer
    crops: tuple[Sap, ...]
    weeds: tuple[Sap, ...]

    @property
    def all(self) -> tuple[Sap, ...]:
        return tuple(sorted(self.crops + self.weeds, key=lambda s: s.number))

    def place(self, *saps: Sap) -> Place:
        """Where the first of them that tells was read; the field if none does."""
        typed = next((s.reading.place for s in saps if s.reading.place), None)
        return named_place(self.case, typed)

    def beside(self, weed: Sap) -> Sap | None:
        """The crop reading nearest to a weed: same place, then same part, then the first."""
        if not self.crops:
            return None
        return min(self.crops, key=lambda c: (self.place(c).id != self.place(weed).id,
                                              c.reading.part != weed.reading.part, c.number))

    def confidence(self, *saps: Sap) -> Confidence:
        """Never high: sap Brix is a screening sign whatever its replicates."""
        found = grade_confidence(
            age_days=age_days(self.case, self.part.date),
            method_matches=all(s.comparable for s in saps) and self.part.zeroed is not False,
            enough_replicates=all(s.enough for s in saps),
        )
        return Confidence.MEDIUM if found is Confidence.HIGH else found


def minutes_apart(first: dt.time | None, second: dt.time | None) -> float | None:
    """Minutes between two times of one day; None if either is not stated."""
    if first is None or second is None:
        return None
    return abs((first.hour - second.hour) * 60 + first.minute - second.minute)


def sap_state(case: CaseFile) -> SapState | None:
    """Readings of a case; None where there is no refractometer."""
    part = case.refractometer
    if part is None:
        return None
    saps = [_sap(part, n, reading, _local_name(case, reading))
            for n, reading in enumerate(part.readings, 1)]
    return SapState(case, part, tuple(s for s in saps if s.reading.role == "crop"),
                    tuple(s for s in saps if s.reading.role == "weed"))


def _scientific(name: str) -> str:
    row = known_species(name)
    return name.casefold().strip() if row is None else str(row["scientific_name"])


def _local_name(case: CaseFile, reading: SapReading) -> str | None:
    """Local name of a weed reading whose species stands in the weed list of the case."""
    if reading.role != "weed":
        return None
    plant = _scientific(reading.plant)
    return next((w.local_name for w in case.weeds
                 if w.local_name and _scientific(w.species) == plant), None)


def _sap(part: Refractometer, number: int, reading: SapReading,
         local_name: str | None = None) -> Sap:
    at = reading.temperature
    celsius = at.value if at is not None and at.plain else None
    corrections: list[Result] = []
    comparable = True
    with subject(reading.plant, f"reading {number}"):
        if celsius is not None:
            try:
                corrections = [
                    brix_at_20c.evaluate(reading=v, temperature_c=celsius, atc=part.atc)
                    for v in reading.replicates
                ]
            except ImpossibleInput:
                corrections = []
        if not corrections:
            comparable = part.atc
        values = [r.value for r in corrections] or list(reading.replicates)
        several = len(values) > 1
        return Sap(
            number=number,
            reading=reading,
            brix=tuple(float(v) for v in values),
            comparable=comparable,
            corrections=tuple(corrections),
            interval=mean_interval.evaluate(values=values) if several else None,
            agreement=brix_replicates_agree.evaluate(readings=values) if several else None,
            pressing=sap_pressing_check.evaluate(species=reading.plant)
            if reading.role == "weed" else None,
            local_name=local_name,
        )
