"""The text in the boxes of a field sheet to parts of a case, or every problem it has.

What is written is kept as it is written; a bare number gets the unit printed beside its
box. An empty box, or one with a dash, is "not measured" and leaves its key out.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Annotated, Any

from pydantic import TypeAdapter, ValidationError

from loambrief.case import quantities as q
from loambrief.case.problems import Problem, in_file_order, visible
from loambrief.case.quantities import show
from loambrief.case.schema import LIFE_TESTS, TEXTURES
from loambrief.case.sheet_layout import CRUMBS, HOLES, SheetBox, boxes
from loambrief.case.sheet_read import Filled
from loambrief.case.yaml_edit import Tree, Value
from loambrief.errors import CaseProblems
from loambrief.tables import load
from loambrief.units import tidy_unit

NOT_MEASURED = frozenset(("-", "–", "—", "/"))
_NUMBER = re.compile(r"(?P<sign>[<>]?)\s*(?P<number>[+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+))"
                     r"\s*(?P<unit>\D.*)?\Z")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}\Z")
WHOLE = ("cores", "worms", "slake")
"""Kinds of boxes that hold a count or a class."""
COVER = "weeds/cover_daubenmire"
_CLASS = re.compile(r"[Dd][1-6]\Z")
MINUTES = 60.0
"""Minutes in an hour: an inch of water in so many minutes is a rate in in/h."""


@dataclass
class Parts:
    """Parts of a case that a sheet holds."""

    samples: list[dict[str, Tree]] = field(default_factory=list)
    """Keys of a sample -> tree; without what was not written."""
    single: dict[str, Tree] = field(default_factory=dict)
    """Top-level key (penetrometer, infiltration, refractometer, observations) -> tree."""
    weeds: list[Tree] = field(default_factory=list)
    notes: list[Tree] = field(default_factory=list)

    @property
    def empty(self) -> bool:
        return not (self.samples or self.single or self.weeds or self.notes)


def read_parts(filled: Filled) -> Parts:
    """Parts of a case from a filled sheet.

    Raises
    ------
    CaseProblems
        Every box that does not hold what it asks for, by page.
    """
    reading = _BoxReading(filled)
    parts = reading.parts()
    if reading.problems:
        raise CaseProblems(in_file_order(reading.problems))
    if parts.empty:
        raise CaseProblems((Problem(filled.file, 0, 0, "CASE069", "file", "a sheet without entries",
                                    "at least one box with something in it"),))
    return parts


@cache
def _adapter(kind: str) -> TypeAdapter:
    types: dict[str, Any] = {
        "date": q.Date, "time": q.TimeOfDay, "id": q.Identifier,
        "texture": Annotated[str, q.choice(TEXTURES)],
        "area": q.Area, "%": q.Percent, "temperature": q.Temperature, "table": q.Depth,
        "cores": Annotated[int, q.count(1, 500, "a number of cores")],
        "cone": Annotated[float, q.number(0, 25_000, "a reading")],
        "sap": Annotated[float, q.number(0, 85, "degrees Brix")],
        "side": q.Depth,
        "worms": Annotated[int, q.count(0, 1000, "a number of earthworms")],
        "slake": Annotated[int, q.count(0, 6, "a class")],
        "minutes": Annotated[float, q.number(0.01, 10_000, "minutes")],
    }
    return TypeAdapter(types[kind])


def _kind(box: SheetBox) -> str:
    """What a box holds, finer than its kind."""
    part, *_, last = ("", *box.path) if len(box.path) == 1 else box.path
    if box.kind in ("date", "time"):
        return box.kind
    if last in ("id", "texture", "area", "temperature", "table", "cores", "side"):
        return last
    if box.kind == "quantity":
        return "%"
    if part == "life":
        return box.path[1]
    return "minutes" if part == "water" else part


class _Unreadable(ValueError):
    def __init__(self, found: str, wanted: str, help: str = ""):
        super().__init__(found, wanted, help)
        self.found, self.wanted, self.help = found, wanted, help


class _BoxReading:
    def __init__(self, filled: Filled):
        self.filled, self.layout = filled, filled.layout
        self.boxes: Mapping[str, SheetBox] = {b.name: b for b in boxes(filled.layout)}
        self.groups: dict[str, list[SheetBox]] = {}
        for box in self.boxes.values():
            self.groups.setdefault(box.group, []).append(box)
        self.problems: list[Problem] = []
        self.date = self.get("visit/date")

    # One box ---------------------------------------------------------------------------

    def get(self, name: str) -> Value | None:
        """What a box or a group of tick boxes says; None if nothing, or if it is wrong."""
        group = self.groups.get(name, [])
        if not group:
            return None
        if group[0].kind == "tick":
            return self._ticked(group)
        text = self.filled.values.get(name, "")
        if not text or text in NOT_MEASURED:
            return None
        try:
            return self._value(group[0], text)
        except _Unreadable as fault:
            self._problem(group[0], fault)
            return None

    def flag(self, name: str) -> Value | None:
        """A yes-or-no question as true or false."""
        said = self.get(name)
        return said and Value("true" if said.text == "yes" else "false", plain=True)

    def _ticked(self, group: list[SheetBox]) -> Value | None:
        said = [box for box in group if box.name in self.filled.values]
        if len(said) > 1:
            names = " and ".join(show(box.value) for box in said)
            self._problem(said[1], _Unreadable(f"{names} ticked", "one of them"))
            return None
        return Value(said[0].value) if said else None

    def _value(self, box: SheetBox, text: str) -> Value:
        if len(text) > box.longest and box.kind in ("text", "lines"):
            raise _Unreadable(f"{len(text)} characters", f"at most {box.longest}")
        if box.kind == "lines":
            return Value(text)
        if box.kind == "word":
            text = self.layout.words.get(text.lower(), text)
            return Value(str(_checked("texture", text)))
        if box.kind in ("number", "quantity"):
            return self._number(box, text)
        if box.kind in ("date", "time") or box.path[-1] == "id":
            _checked(_kind(box), text)
        return Value(text)

    def _number(self, box: SheetBox, text: str) -> Value:
        if _CLASS.match(text) and box.path[-1] == "cover":
            row = load(COVER).find(code=text.upper())
            return Value(f"{row['mid_pct']:g} %", comment=f"cover class {text.upper()}")
        match = _NUMBER.match(text)
        wanted = f"a number{f' in {box.unit}' if box.unit else ''}"
        if not match:
            raise _Unreadable(show(text), wanted)
        number, unit = match["number"], tidy_unit(match["unit"] or "")
        if _THOUSANDS.match(number):
            raise _Unreadable(show(text), wanted, "Is the comma a decimal sign? Write it as a "
                              "point, or the thousands without a sign.")
        number = number.replace(",", ".")
        kind = _kind(box)
        if box.kind == "quantity":
            typed = f"{match['sign']}{number} {unit or box.unit}"
            _checked(kind, typed)
            return Value(typed)
        if match["sign"] or (unit and unit.lower() != box.unit.lower()):
            raise _Unreadable(show(text), wanted, "The whole column is in the printed unit."
                         if unit else "")
        whole = kind in WHOLE
        if whole and not number.lstrip("+").isdigit():
            raise _Unreadable(show(text), "a whole number")
        _checked(kind, int(number) if whole else float(number))
        number = number.lstrip("+")
        return Value(f"0{number}" if number.startswith(".") else number, plain=True)

    def _problem(self, box: SheetBox, fault: _Unreadable) -> None:
        page = self.filled.pages.get(box.name, 0)
        self.problems.append(Problem(
            self.filled.file, 0, 0, "CASE070", f"page {page}, box {box.name}",
            visible(fault.found), fault.wanted, help=fault.help))

    # Parts -----------------------------------------------------------------------------

    def parts(self) -> Parts:
        """Everything the sheet says; every box is read, so that all problems are found."""
        parts = Parts()
        for row in range(1, len(self.layout.zones) + 1):
            sample = self._sample(row)
            if sample:
                parts.samples.append(sample)
        for key, make in (("penetrometer", self._cone), ("infiltration", self._rings),
                          ("refractometer", self._sap), ("observations", self._seen)):
            made = make()
            if made:
                parts.single[key] = made
        parts.weeds = [w for r in range(1, len(self.layout.weeds) + 1) if (w := self._weed(r))]
        remarks = self.get("remarks")
        parts.notes = [Value(" ".join(line.split())) for line in
                       (remarks.text.split("\n") if remarks else ()) if line.strip()]
        return parts

    def _taken(self, at: str, *keys: str, **named: str) -> dict[str, Tree]:
        """Keys with what the boxes of a row say, of the same or another name; no empty ones."""
        wanted = {**{key: key for key in keys}, **named}
        found = {key: self.get(f"{at}/{name}") for key, name in wanted.items()}
        return {key: value for key, value in found.items() if value is not None}

    def _numbered(self, start: str, count: int) -> list[Tree]:
        """What the boxes of one name with numbers from 1 say; no empty ones."""
        return [value for n in range(1, count + 1) if (value := self.get(f"{start}{n}"))]

    def _dated(self, rest: dict[str, Tree]) -> dict[str, Tree]:
        return {"date": self.date, **rest} if rest and self.date else rest

    def _sample(self, row: int) -> dict[str, Tree]:
        zone, at = self.layout.zones[row - 1], f"soil/{row}"
        seen = self._taken(at, "id", "place", "area", "cores", "residue", "fizz", "texture")
        slices = self._numbered(f"{at}/slice", len(self.layout.slices))
        sent = self._numbered(f"{at}/sent", len(LIFE_TESTS))
        if not seen and not slices and not sent:
            return {}
        if zone.id is None and "id" not in seen:
            first = next(box for n in self.filled.values
                         if (box := self.boxes[n]).path[:2] == ("soil", str(row)))
            self._problem(first, _Unreadable(
                "entries of a zone without an id", "a short id, such as Z3",
                f"Write it into box {at}/id."))
        known = {"id": zone.id, "place": zone.place, "area": zone.area, "texture": zone.texture}
        made: dict[str, Tree] = {k: Value(v) for k, v in known.items() if v is not None}
        made |= seen
        made |= self._taken("soil", "pattern") | self._taken("visit", sampler="by")
        if self.date:
            made["date"] = self.date
        lab = self.get("soil/lab")
        if lab:
            made["lab"] = {"name": lab}
        if sent:
            made["sent_for"] = sent
        if slices:
            made["increments"] = [{"depth": depth} for depth in slices]
        return made

    def _cone(self) -> dict[str, Tree]:
        seen = self._taken("cone", "instrument", "cone", "moisture", water_content="water")
        points: list[Tree] = []
        for row in range(1, self.layout.points + 1):
            at = f"cone/{row}"
            readings = [self.get(f"{at}/{n}") for n in range(1, len(self.layout.depths) + 1)]
            place, stop = self.get(f"{at}/place"), self.get(f"{at}/stopped")
            if not any(readings) and not stop:
                continue
            point: dict[str, Tree] = {"id": Value(f"P{row}")}
            if place:
                point["place"] = place
            point["readings"] = [r or Value("null", plain=True) for r in readings]
            if stop:
                point["stopped_by"] = stop
            points.append(point)
        if not points:
            return {}
        layout = self.layout
        return self._dated({
            **seen, "depth_unit": Value(layout.depth_unit),
            "pressure_unit": Value(layout.pressure_unit),
            "depths": [Value(f"{d:g}", plain=True) for d in layout.depths], "points": points})

    def _sap(self) -> dict[str, Tree]:
        readings: list[Tree] = []
        for row, plant in enumerate(self.layout.plants, start=1):
            at = f"sap/{row}"
            replicates = self._numbered(f"{at}/", self.layout.replicates)
            about = self._taken(at, "plant", "part", "place", "temperature", "time", "line")
            if not replicates:
                continue
            name = Value(plant.name) if plant.name else about.pop("plant", None)
            made: dict[str, Tree] = {"plant": name} if name else {}
            made["role"] = Value(plant.role)
            made |= {k: about[k] for k in ("part", "place") if k in about}
            made["replicates"] = replicates
            made |= {k: about[k] for k in ("temperature", "time", "line") if k in about}
            readings.append(made)
        about = self._taken("sap", "instrument")
        for key in ("atc", "zeroed"):
            said = self.flag(f"sap/{key}")
            if said:
                about[key] = said
        about |= self._taken("visit", "weather")
        return self._dated({**about, "readings": readings}) if readings else {}

    def _weed(self, row: int) -> dict[str, Tree]:
        weed, at = self.layout.weeds[row - 1], f"weeds/{row}"
        seen = self._taken(at, "species", "cover", "stage", identification="sure")
        seen |= self._taken(at, "place")
        if not seen:
            return {}
        known = {"species": weed.species, "local_name": weed.local_name}
        return {**{k: Value(v) for k, v in known.items() if v}, **seen}

    def _rings(self) -> dict[str, Tree]:
        rates: list[Tree] = []
        for number in range(1, self.layout.rings + 1):
            minutes = self.get(f"water/{number}")
            if minutes is None:
                continue
            unit, water = ("in/h", 1.0) if self.layout.units == "us" else ("mm/h", 25.0)
            rate = water * MINUTES / float(minutes.text)
            rates.append(Value(f"{rate:.4g} {unit}", comment=f"{self.layout.ring_unit} of water in "
                               f"{minutes.text} min"))
        if not rates:
            return {}
        return self._dated({**self._taken("water", "place"),
                            "method": Value(f"ring, {self.layout.ring_unit} of water timed"),
                            "rates": rates})

    def _seen(self) -> dict[str, Tree]:
        seen = self._taken("water", residue_cover="residue", water_table="table")
        seen |= self._taken("life", hole_side="side")
        for key, name, most in (("earthworms", "worms", HOLES), ("slake", "slake", CRUMBS)):
            if found := self._numbered(f"life/{name}/", most):
                seen[key] = found
        return self._dated(seen)


def _checked(kind: str, value: object) -> object:
    """The value as the case would read it.

    Raises
    ------
    _Unreadable
        It is not one.
    """
    try:
        return _adapter(kind).validate_python(value)
    except ValidationError as error:
        about: Mapping[str, object] = error.errors()[0].get("ctx", {})
        raise _Unreadable(str(about.get("found", show(value))), str(about.get("wanted", "a value")),
                     str(about.get("help", ""))) from None
