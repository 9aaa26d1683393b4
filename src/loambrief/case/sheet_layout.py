"""What a field sheet asks for: one plan of its boxes, for the printer and for the intake.

The layout travels inside the sheet. The same function lists the boxes when the sheet is
printed and when it is read back, so a box cannot mean two things. Names of boxes are
``part/row/box``; places and plants are numbered, their names stand in the layout.
"""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from loambrief.case import quantities as q
from loambrief.case.schema import (
    CONES,
    FIZZES,
    LANGUAGES,
    LIFE_TESTS,
    MOISTURES,
    RESIDUES,
    SAP_LINES,
    SURENESS,
    Part,
)

MAP_FILE = "fieldsheet.json"
"""Name of the layout inside the sheet."""
SECTIONS = ("water", "soil", "life", "cone", "sap", "weeds")
"""Parts a sheet may have, in the order they are walked; the visit itself is always asked."""
YES_NO = ("yes", "no")
HOLES, CRUMBS = 5, 16
"""Holes in which worms are counted, and crumbs of the slake kit (nrcs-soil-quality-kit)."""


class Zone(Part):
    """A part of the field that gets its own sample; without an id it is still to be named."""

    id: q.Identifier | None = None
    place: q.Name | None = None
    area: q.Name | None = None
    texture: q.Name | None = None


class Plant(Part):
    """A line for sap readings; without a name it is still to be named."""

    role: Literal["crop", "weed"]
    name: q.Name | None = None


class WeedLine(Part):
    """A line for a weed; without a species it is still to be named."""

    species: q.Name | None = None
    local_name: q.Name | None = None


class About(Part):
    """Whose field it is, as the case had it."""

    client: q.Name
    farm: q.Name
    field: q.Name
    field_id: q.Identifier | None = None
    area: q.Name
    crop: q.Name
    tillage: q.Name
    irrigation: q.Name
    drainage: q.Name


class Layout(Part):
    """One field sheet."""

    format: Literal[1] = 1
    sheet: q.Identifier = "unnamed"
    """Worked out from everything else; printed on each page."""
    version: q.Name
    case_id: q.Identifier
    language: Annotated[str, q.choice(LANGUAGES)] = "en"
    units: Annotated[str, q.choice(("us", "si"))] = "us"
    paper: Annotated[str, q.choice(("letter", "a4"))] = "letter"
    about: About
    sections: Annotated[list[Annotated[str, q.choice(SECTIONS)]], Field(max_length=6)]
    zones: Annotated[list[Zone], Field(max_length=12)]
    slices: Annotated[list[q.Name], Field(max_length=6)]
    """Depths to be sampled, such as "0-2 in"."""
    points: Annotated[int, Field(ge=0, le=40)]
    depths: Annotated[list[float], Field(max_length=12)]
    """Of the cone readings, in ``depth_unit``."""
    depth_unit: Annotated[str, q.choice(("in", "cm"))]
    pressure_unit: Annotated[str, q.choice(("psi", "kPa", "MPa", "bar"))]
    plants: Annotated[list[Plant], Field(max_length=16)]
    replicates: Annotated[int, Field(ge=0, le=8)]
    weeds: Annotated[list[WeedLine], Field(max_length=40)]
    rings: Annotated[int, Field(ge=0, le=6)]
    words: dict[q.Name, q.Name]
    """Printed word -> word of the case, for boxes where a word is written."""

    @property
    def length_unit(self) -> str:
        return "in" if self.units == "us" else "cm"

    @property
    def ring_unit(self) -> str:
        """Depth of water let into the ring, which is timed."""
        return "1 in" if self.units == "us" else "25 mm"


@dataclass(frozen=True)
class SheetBox:
    """One box of a sheet."""

    name: str
    """Name of the form field."""
    kind: str
    """``text``, ``lines``, ``number``, ``quantity``, ``date``, ``time``, ``word`` or ``tick``."""
    unit: str = ""
    """Printed beside the box; what a bare number is in."""
    value: str = ""
    """Of a tick box: what a tick says."""
    longest: int = 40
    """Characters that may be typed."""

    @property
    def path(self) -> tuple[str, ...]:
        """Part of the sheet, row and column (or less), of which its name is made."""
        return tuple(self.name.split("/"))

    @property
    def group(self) -> str:
        """Boxes of one question share it."""
        return self.name.rpartition("=")[0] if self.kind == "tick" else self.name


def ticks(name: str, values: tuple[str, ...]) -> Iterator[SheetBox]:
    """One tick box for each answer; at most one of them may be ticked."""
    for number, value in enumerate(values, start=1):
        yield SheetBox(f"{name}={number}", "tick", value=value, longest=0)


def boxes(layout: Layout) -> tuple[SheetBox, ...]:
    """Every box of a sheet, in reading order, each of its own name."""
    makers = {"soil": _soil, "life": _life, "cone": _cone, "sap": _sap, "weeds": _weeds}
    found = [SheetBox("visit/date", "date", longest=10), SheetBox("visit/by", "text", longest=60),
             SheetBox("visit/weather", "text", longest=80)]
    if "water" in layout.sections:
        found += _water(layout)
    found.append(SheetBox("remarks", "lines", longest=1500))
    for section in SECTIONS:
        if section in layout.sections and section in makers:
            found += makers[section](layout)
    return tuple(found)


def _soil(layout: Layout) -> Iterator[SheetBox]:
    yield SheetBox("soil/lab", "text", longest=80)
    yield SheetBox("soil/pattern", "text", longest=60)
    for row, zone in enumerate(layout.zones, start=1):
        at = f"soil/{row}"
        if zone.id is None:
            yield SheetBox(f"{at}/id", "text", longest=20)
            yield SheetBox(f"{at}/area", "quantity", "ac" if layout.units == "us" else "ha",
                           longest=12)
        if zone.place is None:
            yield SheetBox(f"{at}/place", "text", longest=60)
        yield SheetBox(f"{at}/cores", "number", longest=3)
        for number, depth in enumerate(layout.slices, start=1):
            yield SheetBox(f"{at}/slice{number}=1", "tick", value=depth, longest=0)
        if "life" in layout.sections:
            for number, test in enumerate(LIFE_TESTS, start=1):
                yield SheetBox(f"{at}/sent{number}=1", "tick", value=test, longest=0)
        yield from ticks(f"{at}/residue", RESIDUES)
        yield from ticks(f"{at}/fizz", FIZZES)
        if zone.texture is None:
            yield SheetBox(f"{at}/texture", "word", longest=30)


def _life(layout: Layout) -> Iterator[SheetBox]:
    yield SheetBox("life/side", "quantity", layout.length_unit, longest=8)
    for number in range(1, HOLES + 1):
        yield SheetBox(f"life/worms/{number}", "number", longest=4)
    for number in range(1, CRUMBS + 1):
        yield SheetBox(f"life/slake/{number}", "number", longest=1)


def _cone(layout: Layout) -> Iterator[SheetBox]:
    yield SheetBox("cone/instrument", "text", longest=60)
    yield from ticks("cone/cone", CONES)
    yield from ticks("cone/moisture", MOISTURES)
    yield SheetBox("cone/water", "quantity", "%", longest=8)
    for row in range(1, layout.points + 1):
        yield SheetBox(f"cone/{row}/place", "text", longest=40)
        for number in range(1, len(layout.depths) + 1):
            yield SheetBox(f"cone/{row}/{number}", "number", layout.pressure_unit, longest=8)
        yield SheetBox(f"cone/{row}/stopped", "text", longest=20)


def _sap(layout: Layout) -> Iterator[SheetBox]:
    yield SheetBox("sap/instrument", "text", longest=60)
    yield from ticks("sap/atc", YES_NO)
    yield from ticks("sap/zeroed", YES_NO)
    for row, plant in enumerate(layout.plants, start=1):
        at = f"sap/{row}"
        if plant.name is None:
            yield SheetBox(f"{at}/plant", "text", longest=60)
        yield SheetBox(f"{at}/part", "text", longest=60)
        yield SheetBox(f"{at}/place", "text", longest=40)
        yield SheetBox(f"{at}/temperature", "quantity", "F" if layout.units == "us" else "C",
                       longest=8)
        yield SheetBox(f"{at}/time", "time", longest=5)
        for number in range(1, layout.replicates + 1):
            yield SheetBox(f"{at}/{number}", "number", "Brix", longest=6)
        yield from ticks(f"{at}/line", SAP_LINES)


def _weeds(layout: Layout) -> Iterator[SheetBox]:
    for row, weed in enumerate(layout.weeds, start=1):
        at = f"weeds/{row}"
        if weed.species is None:
            yield SheetBox(f"{at}/species", "text", longest=60)
        yield SheetBox(f"{at}/cover", "quantity", "%", longest=8)
        yield SheetBox(f"{at}/stage", "text", longest=40)
        yield SheetBox(f"{at}/place", "text", longest=40)
        yield from ticks(f"{at}/sure", SURENESS)


def _water(layout: Layout) -> Iterator[SheetBox]:
    yield SheetBox("water/place", "text", longest=60)
    for number in range(1, layout.rings + 1):
        yield SheetBox(f"water/{number}", "number", "min", longest=6)
    yield SheetBox("water/residue", "quantity", "%", longest=8)
    yield SheetBox("water/table", "quantity", layout.length_unit, longest=10)


def identified(layout: Layout) -> Layout:
    """The layout with the id that belongs to its content."""
    return layout.model_copy(update={"sheet": _digest(layout)})


def is_intact(layout: Layout) -> bool:
    """True if the layout is as it was printed."""
    return layout.sheet == _digest(layout)


def _digest(layout: Layout) -> str:
    content = layout.model_dump(exclude={"sheet"})
    text = json.dumps(content, ensure_ascii=False, sort_keys=True)
    return f"FS-{hashlib.sha256(text.encode('utf-8')).hexdigest()[:8].upper()}"


def as_bytes(layout: Layout) -> bytes:
    """The layout as it is put into the sheet."""
    return (layout.model_dump_json(indent=1, exclude_none=True) + "\n").encode("utf-8")
