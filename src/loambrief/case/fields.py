"""What a case may hold, laid out for tables and forms: every value with its kind, units, choices.

Read off the schema, so that a new field of a part is in the workbook and in the form at once.
A part is a form, a list of parts a table; a table inside a table or a group of free keys is a
table of its own, whose rows name the entry they belong to.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache
from typing import Any, Literal, get_args, get_origin

from pydantic.fields import FieldInfo

from loambrief.case.json_schema import named_choices
from loambrief.case.part import Part
from loambrief.case.profiles import WHOLE_PARTS
from loambrief.case.quantities import Reads
from loambrief.case.schema import CaseFile
from loambrief.case.validate import bare, glossary, is_part, longest

FILE, ATTRIBUTE = "file", "attribute"
NAME_KEY, VALUE_KEY = "name", "value"
"""Columns of a group of free keys."""
OWN_FILE = "file that holds this part, in place of all other lines"


class ValueKind(StrEnum):
    """What a value is, as a cell or a box of a form shows it."""

    TEXT = "text"
    CHOICE = "choice"
    NUMBER = "number"
    WHOLE = "whole"
    TRUTH = "truth"
    DATE = "date"
    QUANTITY = "quantity"
    DATA = "data"


@dataclass(frozen=True)
class Leaf:
    """One value of a part."""

    path: tuple[str, ...]
    """Keys below the part or the entry; empty where the entry itself is the value."""
    kind: ValueKind
    meaning: str
    units: tuple[str, ...] = ()
    """Accepted ones, the usual one first."""
    choices: tuple[str, ...] = ()
    """The only words that may stand there."""
    suggested: tuple[str, ...] = ()
    """Names out of the tables; others may stand there too."""
    low: float | None = None
    high: float | None = None
    """``low``, ``high``: bounds of a plain number."""
    many: bool = False
    """A list of such values."""
    most: int | None = None
    """Longest list."""
    gaps: bool = False
    """Entries of the list may be missing, as a reading that was not taken is."""
    required: bool = False
    """Wanted as soon as its part has any value."""

    @property
    def key(self) -> str:
        """The keys in one word: ``lab.received``; ``@value`` where the entry is the value."""
        return ".".join(self.path) or "@value"

    @property
    def label(self) -> str:
        """The keys as people read them: ``lab: received``."""
        return ": ".join(self.path).replace("_", " ")


@dataclass(frozen=True)
class Group:
    """A part or a list of parts: a form, or a table with a row for each entry."""

    path: tuple[str, ...]
    """Keys from the top of the case; a list of entries counts as one step."""
    meaning: str
    leaves: tuple[Leaf, ...]
    table: bool = False
    """A list: one row for each entry."""
    keyed: bool = False
    """A group of free keys: a row for each, with its name and its value."""
    owner: tuple[str, ...] = ()
    """Path of the table whose entries these rows belong to; empty where there is none."""
    by: str = ""
    """Key by which a row of another table names an entry of this one; empty: its number."""
    most: int | None = None
    """Most entries."""

    @property
    def title(self) -> str:
        """Short name, unlike that of every other group."""
        words = (self.path[0], self.path[-1]) if len(self.path) > 1 else self.path[:1]
        return " ".join(words).replace("_", " ") or "general"


@cache
def groups() -> tuple[Group, ...]:
    """Every group of a case, in the order of the schema; those without an own part first."""
    found: list[Group] = []
    top = [_leaf(CaseFile, name, info) for name, info in CaseFile.model_fields.items()
           if _scalar(info) and get_origin(info.annotation) is not Literal]
    found.append(Group((), "what stands at the top of the case", tuple(top)))
    for name, info in CaseFile.model_fields.items():
        found += _groups_of(CaseFile, name, info, (name,), ())
    return tuple(found)


def group_at(path: tuple[str, ...]) -> Group:
    """The group of a path."""
    return _by_path()[path]


@cache
def _by_path() -> Mapping[tuple[str, ...], Group]:
    return {group.path: group for group in groups()}


def _type(info: FieldInfo) -> tuple[Any, Reads | None, int | None]:
    kind, reads, most = bare(info.annotation)
    reads = next((m for m in info.metadata if isinstance(m, Reads)), reads)
    return kind, reads, longest(info.metadata, most)


def _scalar(info: FieldInfo) -> bool:
    kind = _type(info)[0]
    return get_origin(kind) not in (list, dict) and not is_part(kind)


def _groups_of(part: type[Part], name: str, info: FieldInfo, path: tuple[str, ...],
               owner: tuple[str, ...]) -> Iterator[Group]:
    """The group of a field and the groups inside it; none for a plain value."""
    kind, _, most = _type(info)
    meaning = glossary()[part.__name__, name]
    if is_part(kind):
        leaves, inner = _walk(kind, path, owner, ())
        if path[0] in WHOLE_PARTS and len(path) == 1:
            leaves = [Leaf((FILE,), ValueKind.TEXT, OWN_FILE), *leaves]
        yield Group(path, meaning, tuple(leaves))
        yield from inner
    elif get_origin(kind) is list:
        yield from _table(kind, path, owner, meaning, most)
    elif get_origin(kind) is dict and path == ("boundary",):
        yield Group(path, meaning, (
            Leaf((FILE,), ValueKind.TEXT, OWN_FILE),
            Leaf((ATTRIBUTE,), ValueKind.TEXT, "attribute of the file that holds a sample's id"),
            Leaf((), ValueKind.DATA, "GeoJSON as the case holds it", many=True)))


def _table(kind: Any, path: tuple[str, ...], owner: tuple[str, ...], meaning: str,
           most: int | None) -> Iterator[Group]:
    entry, reads, _ = bare(get_args(kind)[0])
    if not is_part(entry):
        yield Group(path, meaning, (_value((), entry, reads, meaning),), table=True, most=most,
                    owner=owner)
        return
    leaves, inner = _walk(entry, path, path, ())
    if path == ("materials",):
        leaves = [Leaf((FILE,), ValueKind.TEXT, "file with a list of materials, in place of a row"),
                  *leaves]
    by = "id" if "id" in entry.model_fields else ""
    yield Group(path, meaning, tuple(leaves), table=True, owner=owner, by=by, most=most)
    yield from inner


def _walk(part: type[Part], at: tuple[str, ...], owner: tuple[str, ...],
          below: tuple[str, ...]) -> tuple[list[Leaf], list[Group]]:
    """Values of a part, those of its inner parts among them, and the tables inside it."""
    leaves: list[Leaf] = []
    inner: list[Group] = []
    for name, info in part.model_fields.items():
        kind, _, most = _type(info)
        path = (*below, name)
        if is_part(kind):
            more, tables = _walk(kind, at, owner, path)
            leaves += more
            inner += tables
        elif get_origin(kind) is dict:
            inner.append(_free_keys(part, name, kind, (*at, *path), owner))
        elif get_origin(kind) is list and is_part(bare(get_args(kind)[0])[0]):
            inner += _table(kind, (*at, *path), owner, glossary()[part.__name__, name], most)
        else:
            leaves.append(_leaf(part, name, info, path))
    return leaves, inner


def _free_keys(part: type[Part], name: str, kind: Any, path: tuple[str, ...],
               owner: tuple[str, ...]) -> Group:
    key, value = (bare(a) for a in get_args(kind))
    meaning = glossary()[part.__name__, name]
    return Group(path, meaning, (
        replace(_value((NAME_KEY,), key[0], key[1], "which one"), required=True),
        replace(_value((VALUE_KEY,), value[0], value[1], meaning), required=True),
    ), table=True, keyed=True, owner=owner)


def _leaf(part: type[Part], name: str, info: FieldInfo, path: tuple[str, ...] = ()) -> Leaf:
    kind, reads, most = _type(info)
    many, gaps = get_origin(kind) is list, False
    if many:
        item = get_args(kind)[0]
        gaps = type(None) in get_args(item)
        kind, reads, _ = bare(item)
    made = _value(path or (name,), kind, reads, glossary()[part.__name__, name])
    names = named_choices().get((part.__name__, name), ())
    return replace(made, many=many, most=most if many else None, gaps=gaps,
                   suggested=names, required=info.is_required())


def _value(path: tuple[str, ...], kind: Any, reads: Reads | None, meaning: str) -> Leaf:
    if kind is bool:
        return Leaf(path, ValueKind.TRUTH, meaning)
    if reads is None:
        return Leaf(path, ValueKind.TEXT, meaning)
    schema = reads.schema
    if reads.units:
        return Leaf(path, ValueKind.QUANTITY, meaning, units=reads.units)
    if "enum" in schema:
        return Leaf(path, ValueKind.CHOICE, meaning, choices=tuple(schema["enum"]))
    if schema.get("type") in ("number", "integer"):
        whole = schema["type"] == "integer"
        return Leaf(path, ValueKind.WHOLE if whole else ValueKind.NUMBER, meaning,
                    low=schema.get("minimum"), high=schema.get("maximum"))
    day = schema.get("format") == "date"
    return Leaf(path, ValueKind.DATE if day else ValueKind.TEXT, meaning)
