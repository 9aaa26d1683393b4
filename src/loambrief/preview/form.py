"""Readings and prices of a case as boxes to fill in, and what was filled in back into its text.

The boxes come from the groups of :mod:`loambrief.case.fields`. What a user typed is judged with
the whole case before anything is written; only lines whose value changed are touched.
"""

import copy
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from loambrief.case.fields import FILE, Group, Leaf, ValueKind, groups
from loambrief.case.problems import DataPath, Problem
from loambrief.case.reader import decode, read_text
from loambrief.case.scalars import as_written
from loambrief.case.schema_materials import Material, Price
from loambrief.case.source import SourceText, entry_label, value_at
from loambrief.case.validate import bare
from loambrief.case.workbook_cells import NotAValue, unit_of, value_of
from loambrief.case.yaml_change import rewritten

READINGS = ("samples", "penetrometer", "infiltration", "refractometer", "weeds", "observations",
            "forage", "tissue", "water")
PRICES = ("materials", "budget")
"""Parts of a case that the form shows; of materials the prices only."""
PRICED = tuple(name for name, info in Material.model_fields.items()
               if bare(info.annotation)[0] is Price)
BETWEEN = "; "
"""Between the values of a list in one box."""
NOT_TAKEN = "-"


@dataclass(frozen=True)
class LiveBox:
    """One value on the form."""

    name: str
    """Its path in the case, steps joined by ``/``."""
    label: str
    leaf: Leaf
    value: str = ""
    unit: str = ""
    """``value``, ``unit``: as the case has it; the unit apart where the case says the number
    first."""
    problems: tuple[str, ...] = ()
    """What is wrong with it."""

    @property
    def long(self) -> bool:
        return "\n" in self.value


@dataclass(frozen=True)
class BoxGroup:
    """Boxes of one entry of a table or of one part; ``new`` where the case has none yet."""

    title: str
    boxes: tuple[LiveBox, ...]
    new: bool = False


@dataclass(frozen=True)
class Section:
    """One group of the form."""

    title: str
    meaning: str
    entries: tuple[BoxGroup, ...]
    note: str = ""


@dataclass(frozen=True)
class FormResult:
    """What came of a filled form."""

    content: bytes | None = None
    """The new text of the case; None if nothing changed or something is wrong."""
    problems: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Name of a box -> what is wrong with it."""
    general: tuple[str, ...] = ()
    """What is wrong elsewhere."""
    notes: tuple[str, ...] = ()
    """Remarks that went with an old value."""


def sections(source: SourceText) -> tuple[Section, ...]:
    """The form of a case as it was read; it may have problems."""
    data = source.data if isinstance(source.data, Mapping) else {}
    made = []
    for group in groups():
        if group.path[:1] and group.path[0] in (*READINGS, *PRICES) and not group.keyed:
            leaves = tuple(leaf for leaf in group.leaves if _shown(group, leaf))
            entries = tuple(_entries(group, leaves, data)) if leaves else ()
            if entries or _elsewhere(group, data):
                made.append(Section(group.title, group.meaning, entries,
                                    _elsewhere(group, data)))
    return tuple(made)


def _shown(group: Group, leaf: Leaf) -> bool:
    return (group.path != ("materials",) or leaf.path[:1] in {(p,) for p in PRICED}) and (
        leaf.kind is not ValueKind.DATA and leaf.path != (FILE,))


def _elsewhere(group: Group, data: Mapping) -> str:
    """Files that hold entries of a table, which the form does not touch."""
    found = data.get(group.path[0]) if len(group.path) == 1 else None
    entries = found if isinstance(found, list) else [found]
    names = [str(e[FILE]) for e in entries if isinstance(e, Mapping) and isinstance(
        e.get(FILE), str)]
    return ", ".join(names)


def _entries(group: Group, leaves: Sequence[Leaf], data: Mapping) -> Iterator[BoxGroup]:
    """The entries that there are, and an empty one to add; none to add to what has only prices."""
    for title, path, found in _holders(group, data):
        if not group.table:
            yield _entry(title or group.title, path, leaves, found, found is None)
            continue
        entries = found if isinstance(found, list) else []
        for i, one in enumerate(entries):
            if isinstance(one, Mapping) and FILE not in one:
                yield _entry(f"{title} {entry_label(entries, i)}".strip(), (*path, i), leaves, one)
        if group.path != ("materials",) and not isinstance(found, Mapping):
            yield _entry(f"{title} new".strip(), (*path, len(entries)), leaves, None, True)


def _holders(group: Group, data: Mapping) -> Iterator[tuple[str, DataPath, Any]]:
    """Where a group stands: once in the case, or in each entry of the table that owns it."""
    if not group.owner:
        yield "", group.path, value_at(data, group.path)
        return
    owners = data.get(group.owner[0])
    for i, owner in enumerate(owners if isinstance(owners, list) else ()):
        yield (f"{entry_label(owners, i)}:", (group.owner[0], i, *group.path[1:]),
               value_at(owner, group.path[1:]))


def _entry(title: str, path: DataPath, leaves: Sequence[Leaf], found: Any,
           new: bool = False) -> BoxGroup:
    boxes = []
    for leaf in leaves:
        name = "/".join(map(str, (*path, *leaf.path)))
        text, unit = _shown_as(leaf, value_at(found, leaf.path))
        boxes.append(LiveBox(name, leaf.label, leaf, text, unit))
    return BoxGroup(title, tuple(boxes), new)


def _shown_as(leaf: Leaf, value: Any) -> tuple[str, str]:
    """Text and unit of a box."""
    if isinstance(value, list):
        return BETWEEN.join(NOT_TAKEN if v is None else _text(v) for v in value), ""
    if isinstance(value, Mapping) and set(value) == {"value", "unit"}:
        value = f"{as_written(value['value'])} {value['unit']}"
    text = "" if value is None or isinstance(value, Mapping) else _text(value)
    unit = unit_of(value, leaf)
    if unit:
        return text.partition(" ")[0], unit
    return text, leaf.units[0] if leaf.units and not text else ""


def _text(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(as_written(value))


Judge = Callable[[bytes], Sequence[Problem]]


def fill(raw: bytes, source: SourceText, posted: Mapping[str, str], judge: Judge) -> FormResult:
    """The case with what was typed into the form.

    ``posted`` is the name of a box -> its text, and ``<name>@unit`` -> its unit. ``judge`` gives
    the problems of a case, errors only.

    Raises
    ------
    CaseProblems
        The case cannot be edited line by line.
    """
    data = source.data if isinstance(source.data, Mapping) else {}
    changes: dict[DataPath, object] = {}
    wrong: dict[str, tuple[str, ...]] = {}
    for box in (b for s in sections(source) for e in s.entries for b in e.boxes):
        typed = posted.get(box.name)
        if typed is None:
            continue
        typed, unit = _plain(typed), posted.get(f"{box.name}@unit", box.unit)
        same = typed == _plain(box.value) and (unit == box.unit or not typed)
        if same:
            continue
        try:
            changes[_path(box.name)] = _value(box.leaf, typed, unit)
        except NotAValue as fault:
            wrong[box.name] = (f"found {fault.found}, wanted {fault.wanted}",)
    if wrong or not changes:
        return FormResult(problems=wrong)
    parts = _changed(data, changes)
    content, notes = rewritten(raw, source.file, parts)
    before = {(p.code, p.field) for p in judge(raw)}
    fresh = [p for p in judge(content) if (p.code, p.field) not in before]
    if fresh:
        return _refused(content, source.file, fresh)
    return FormResult(content, {}, (), notes)


def _plain(text: str) -> str:
    return text.replace("\r\n", "\n").strip()


def _path(name: str) -> DataPath:
    return tuple(int(step) if step.isdigit() else step for step in name.split("/"))


def _value(leaf: Leaf, typed: str, unit: str) -> object:
    """What a box says; None if it is empty."""
    if not typed:
        return None
    if unit and unit not in leaf.units:
        raise NotAValue(repr(unit), "one of " + ", ".join(leaf.units))
    if not leaf.many:
        return value_of(typed, "", leaf, unit)
    between = r"\s*;\s*" if leaf.units else r"\s*;\s*|\s+"
    return [value_of(one, "", leaf, unit) for one in re.split(between, typed.strip("; ")) if one]


def _changed(data: Mapping, changes: Mapping[DataPath, object]) -> dict[str, object]:
    """The parts that change, whole."""
    made = copy.deepcopy(dict(data))
    for path, value in changes.items():
        _put(made, path, value)
    return {str(key): _tidy(made.get(str(key))) for key in dict.fromkeys(p[0] for p in changes)}


def _put(holder: Any, path: DataPath, value: object) -> None:
    step, *rest = path
    if isinstance(step, int):
        while len(holder) <= step:
            holder.append({})
    if not rest:
        if value is None:
            holder.pop(step, None)
        else:
            holder[step] = value
        return
    inner = holder[step] if isinstance(step, int) else holder.get(step)
    if inner is None:
        inner = holder[step] = [] if isinstance(rest[0], int) else {}
    _put(inner, tuple(rest), value)


def _tidy(data: Any) -> Any:
    """Without groups that were emptied; None for nothing."""
    if isinstance(data, Mapping):
        kept = {k: _tidy(v) if isinstance(v, Mapping | list) else v for k, v in data.items()}
        return {k: v for k, v in kept.items() if v is not None or data[k] is None} or None
    if isinstance(data, list):
        kept_list = [_tidy(v) if isinstance(v, Mapping | list) else v for v in data]
        return [v for v, old in zip(kept_list, data, strict=True)
                if v is not None or old is None] or None
    return data


def _refused(content: bytes, file: str, fresh: Sequence[Problem]) -> FormResult:
    """New problems at their boxes."""
    at = places(read_text(decode(content, file), file)[0])
    wrong: dict[str, tuple[str, ...]] = {}
    general = []
    for problem in fresh:
        said = f"found {problem.found}, wanted {problem.wanted}. {problem.help}".strip()
        name = at.get((problem.line, problem.column))
        if name is None:
            general.append(f"{problem.field}: {said}")
        else:
            wrong[name] = (*wrong.get(name, ()), said)
    return FormResult(None, wrong, tuple(general))


def places(source: SourceText) -> Mapping[tuple[int, int], str]:
    """Line and column of a value -> the name that its box would have."""
    return {(mark.line, mark.column): "/".join(map(str, path))
            for marks in (source.keys, source.values) for path, mark in marks.items()}


def with_typed(made: Sequence[Section], posted: Mapping[str, str],
               problems: Mapping[str, tuple[str, ...]]) -> tuple[Section, ...]:
    """The form as a user left it, with what is wrong beside each box."""
    def box(one: LiveBox) -> LiveBox:
        return replace(one, value=posted.get(one.name, one.value),
                       unit=posted.get(f"{one.name}@unit", one.unit),
                       problems=problems.get(one.name, ()))

    return tuple(replace(s, entries=tuple(
        replace(e, boxes=tuple(map(box, e.boxes))) for e in s.entries)) for s in made)
