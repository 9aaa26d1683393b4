"""Places of a case, made here and nowhere else: samples, marked spots, the whole field.

A place is known by its id. What someone typed for it is only a label, to be printed.
"""

import re
import zlib
from collections.abc import Sequence

from loambrief.case.schema import CaseFile, Increment, Sample
from loambrief.case.select import main_increment
from loambrief.findings.model import Place

SPOT = "spot:"
LOT = "lot:"
"""Starts of ids that are no sample's; no id of a case holds a colon."""


def place_of(sample: Sample, increment: Increment | None = None) -> Place:
    """A sample, or one slice of it; the slice that stands for the tilled layer needs no depth."""
    depth = (None if increment is None or increment is main_increment(sample)
             else increment.depth[:2])
    return Place(sample.id, sample.place or sample.id, depth)


def depth_of(increment: Increment) -> Place:
    """Only the depth of a slice, for a sentence that names its place elsewhere."""
    return Place(depth=increment.depth[:2])


def field_place(case: CaseFile) -> Place:
    """The whole field under its name."""
    return Place("", case.field.name)


def lot_place(lot_id: str, label: str) -> Place:
    """A lot of hay: it lies on no area."""
    return Place(LOT + lot_id, label)


def named_place(case: CaseFile, typed: str | None) -> Place:
    """The place that someone named beside a reading, a plant or a deed.

    The sample of that id or place; the whole field for its name or for nothing; else a spot whose
    id is made of its own name (:func:`spot_id`).
    """
    if typed is None:
        return field_place(case)
    wanted = _key(typed)
    for name in (lambda s: s.id, lambda s: s.place or ""):
        for sample in case.samples:
            if _key(name(sample)) == wanted:
                return place_of(sample)
    if wanted == _key(case.field.name):
        return field_place(case)
    return Place(spot_id(typed), typed)


def spot_id(typed: str) -> str:
    """Id of a marked spot, from its name alone: no other spot that comes or goes moves it.

    Letters and digits of the name, joined by hyphens. Where that leaves anything out, four digits
    of a checksum of the whole name follow, so that two names never share an id by their marks.
    """
    key = _key(typed)
    words = re.findall(r"\w+", key)
    tail = "" if " ".join(words) == key else f"-{zlib.crc32(key.encode()) & 0xffff:04x}"
    return f"{SPOT}{'-'.join(words)}{tail}"


def spots_place(case: CaseFile, together: str, typed: Sequence[str]) -> Place:
    """Named spots that are judged together; the whole field if none is named."""
    if len(typed) < 2:
        return named_place(case, typed[0] if typed else None)
    return Place(f"{SPOT}{together}", ", ".join(typed))


def _key(typed: str) -> str:
    return " ".join(typed.casefold().split())
