"""Days between raw manure or biosolids and the harvest, and the window that is left.

The interval is that of the organic rule, which the usual food-safety guidance takes too
(``raw_manure_interval``), or the material's own where that is longer. It is counted from the
planned harvest, for every manure that is not said to be heat treated. Biosolids keep the days
of their own rule before every crop (``biosolids_harvest_days``). Where the last day has passed
the material is refused; where no harvest date is known, no day of spreading is given.
"""

import datetime as dt
from dataclasses import dataclass

from loambrief.actions.model import Window
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile
from loambrief.case.schema_materials import Material
from loambrief.findings.crop_kinds import grown_organic, kept_from_manure, known_crop
from loambrief.findings.model import Message, say
from loambrief.topics.nutrients.formulas_manure import (
    biosolids_harvest_days,
    raw_manure_interval,
)

HEATED = "heat-treated manure"
"""Substance that holds no live germs; composted manure is a compost."""


@dataclass(frozen=True)
class Wait:
    """Days that must pass before the harvest."""

    days: int
    crop: str
    rule: str
    """Key of what asks for them: ``organic``, ``guidance``, ``biosolids`` or ``own``."""
    harvest: dt.date | None
    last: dt.date | None
    """``harvest``, ``last``: planned harvest, and the last day for spreading; None where no harvest
    is planned."""
    results: tuple[Result, ...] = ()

    def passed(self, today: dt.date) -> bool:
        return self.last is not None and self.last < today


def wait(case: CaseFile, material: Material) -> Wait | None:
    """The interval that binds a material on this field; None where none does."""
    own = material.harvest_interval or 0
    crop = kept_from_manure(case)
    results: tuple[Result, ...] = ()
    days, rule = own, "own"
    if crop is not None and material.kind == "manure" and material.substance != HEATED:
        with subject(material.name, crop.name):
            asked = raw_manure_interval.evaluate(crop=crop.name)
        results = (asked,)
        if asked.number >= own:
            days, rule = round(asked.number), "organic" if grown_organic(case) else "guidance"
    grown = known_crop(case.field.crop)
    if material.kind == "biosolids" and grown is not None:
        with subject(material.name, grown.name):
            asked = biosolids_harvest_days.evaluate(crop=grown.name,
                                                    class_a=material.pathogens == "class A")
        results = (asked,)
        if asked.number > own:
            days, rule = round(asked.number), "biosolids"
    if not days:
        return None
    harvest = case.field.dates.harvest if case.field.dates else None
    if harvest is not None and harvest < case.case.date:
        harvest = None  # past: the next one is not known
    last = None if harvest is None else harvest - dt.timedelta(days=days)
    return Wait(days, case.field.crop, rule, harvest, last, results)


def window(case: CaseFile, usual: Window, waits: Wait) -> Window:
    """The usual window, cut at the last day; without days where the harvest is not known."""
    if waits.last is None:
        return Window(None, None, say("actions.when_raw_undated", days=waits.days))
    end = waits.last if usual.end is None else min(usual.end, waits.last)
    start = usual.start or case.case.date
    start = start if start <= end else case.case.date
    if end == usual.end and start == usual.start:
        return usual
    return Window(start, end, say("actions.when_raw", start=start, end=end, days=waits.days))


def caution(waits: Wait) -> Message:
    """The interval in words, with the last day where one is known."""
    return say("actions.caution_raw_interval", days=waits.days, crop=waits.crop, rule=waits.rule,
               harvest=waits.harvest, last=waits.last)
