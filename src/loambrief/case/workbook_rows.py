"""A case's data as rows of groups, and rows as a case's data again.

Both ways go through the groups of :mod:`loambrief.case.fields`. What stands in a case and has
no place in a row is named, never dropped.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from loambrief.case.fields import (
    FILE,
    NAME_KEY,
    VALUE_KEY,
    Group,
    Leaf,
    ValueKind,
    group_at,
    groups,
)
from loambrief.case.problems import DataPath, Fault
from loambrief.case.profiles import GUIDE_ENDS
from loambrief.case.quantities import show
from loambrief.case.reader import read_text
from loambrief.case.scalars import as_written
from loambrief.case.source import single_values, value_at
from loambrief.case.validate import known_keys
from loambrief.case.yaml_edit import plain_of
from loambrief.errors import CaseProblems
from loambrief.units import split_number

PIECE = 30_000
"""Most characters of a cell."""
VERSION = "loambrief"


@dataclass(frozen=True)
class BookRow:
    """A form's values, or those of one entry of a table."""

    values: Mapping[tuple[str, ...], object]
    """Path of a leaf -> its value, or the list of its values."""
    of: str = ""
    """The entry of another table that it belongs to, by id or by number."""
    number: int = 1
    """Place among the rows of its table, from 1; with gaps where rows are empty."""


Rows = Mapping[tuple[str, ...], Sequence[BookRow]]
"""Path of a group -> its rows."""


@dataclass
class _Spreading:
    data: Mapping[str, object]
    placed: set[DataPath] = field(default_factory=set)
    faults: list[Fault] = field(default_factory=list)

    def run(self) -> dict[tuple[str, ...], list[BookRow]]:
        made: dict[tuple[str, ...], list[BookRow]] = {}
        for group in groups():
            made[group.path] = [row for at, entry, of, number in self._entries(group)
                                if (row := self._row(group, at, entry, of, number)) is not None]
        return made

    def _entries(self, group: Group) -> Iterator[tuple[DataPath, object, str, int]]:
        """Path and data of each entry, and what it belongs to."""
        if not group.owner:
            yield from self._own(group, self.data, (), group.path, "")
            return
        owner = group_at(group.owner)
        inside = group.path[len(owner.path):]
        for at, entry, _, number in self._entries(owner):
            if isinstance(entry, Mapping):
                name = self._name(owner, entry, number)
                yield from self._own(group, entry, at, inside, name)

    def _own(self, group: Group, data: Mapping, at: DataPath, path: tuple[str, ...],
             of: str) -> Iterator[tuple[DataPath, object, str, int]]:
        found = value_at(data, path)
        here: DataPath = (*at, *path)
        if found is None:
            return
        if not group.table:
            yield here, found, of, 1
        elif group.keyed:
            for number, (key, value) in enumerate(
                    found.items() if isinstance(found, Mapping) else (), 1):
                yield (*here, key), {NAME_KEY: key, VALUE_KEY: value}, of, number
        else:
            if isinstance(found, Mapping) and set(found) == {FILE}:
                yield here, found, of, 1  # materials that are all in one file
            for number, entry in enumerate(found if isinstance(found, list) else (), 1):
                yield (*here, number - 1), entry, of, number

    def _name(self, owner: Group, entry: Mapping, number: int) -> str:
        return str(as_written(entry.get(owner.by, ""))) if owner.by else str(number)

    def _row(self, group: Group, at: DataPath, entry: object, of: str,
             number: int) -> BookRow | None:
        values: dict[tuple[str, ...], object] = {}
        for leaf in group.leaves:
            path = at if group.keyed else (*at, *leaf.path)
            value = self._value(leaf, path, value_at(entry, leaf.path))
            if value is not None:
                values[leaf.path] = value
        return BookRow(values, of, number) if values or group.table else None

    def _value(self, leaf: Leaf, path: DataPath, found: object) -> object:
        if leaf.kind is ValueKind.DATA:
            return self._data(path, found)
        if found is None:
            return None
        if leaf.many:
            if not isinstance(found, list):
                return None
            items = [self._scalar(leaf, (*path, i), item) for i, item in enumerate(found)]
            return items or None
        if path == ("guide",) and isinstance(found, Mapping) and set(found) == {FILE}:
            name = found[FILE]
            if isinstance(name, str) and name.lower().endswith(GUIDE_ENDS):
                self.placed.add((*path, FILE))
                return name
        return self._scalar(leaf, path, found)

    def _scalar(self, leaf: Leaf, path: DataPath, found: object) -> object:
        if isinstance(found, Mapping) and set(found) == {"value", "unit"} and (
                leaf.kind is ValueKind.QUANTITY):
            self.placed |= {(*path, "value"), (*path, "unit")}
            found = f"{as_written(found['value'])} {found['unit']}"
        if isinstance(found, Mapping | list):
            return None
        if found is None and not leaf.gaps:
            return None  # no place for an entry of nothing
        if isinstance(found, str) and len(found) > PIECE:
            return None
        self.placed.add(path)
        if leaf.kind is ValueKind.QUANTITY and not _has_unit(found):
            self.faults.append(Fault("CASE023", path, show(found), "the number with its unit, one "
                                     "of " + ", ".join(leaf.units)))
        return found

    def _data(self, path: DataPath, found: object) -> object:
        if not isinstance(found, Mapping) or FILE in found:
            return None
        self.placed |= {p for p, _ in single_values(found, path)}
        text = dumped(found)
        return [text[i:i + PIECE] for i in range(0, len(text), PIECE)]

    def left(self) -> Iterator[Fault]:
        """What has found no place."""
        self.placed.add((VERSION,))
        for path, value in single_values(self.data):
            if path not in self.placed and (value is not None or isinstance(path[-1], int)):
                yield Fault("CASE077", path, show(value), "a value that a workbook has a place for",
                            "Put the case right first: loambrief check.")


def _has_unit(found: object) -> bool:
    """False for a plain number, which would take the unit of its column."""
    if not isinstance(found, str):
        return found is None or isinstance(found, bool)
    try:
        return bool(split_number(found)[2])
    except ValueError:
        return True


def spread(data: Mapping[str, object]) -> tuple[Rows, list[Fault]]:
    """The rows of every group of a case's data, and what has no place in them.

    Values may be faulty; they keep their text. The faults are unknown keys, groups where a value
    should be, entries that rows of another table cannot name, quantities without a unit.
    """
    spreading = _Spreading(data)
    rows = spreading.run()
    return rows, [*spreading.faults, *_unnamed(rows), *spreading.left()]


def _unnamed(rows: Rows) -> Iterator[Fault]:
    """Entries that have rows elsewhere and no id of their own to be named by."""
    for owner in {group.owner: group_at(group.owner) for group in groups() if group.owner}.values():
        names = [str(as_written(row.values.get((owner.by,), ""))) for row in rows[owner.path]]
        inner = [row.of for group in groups() if group.owner == owner.path
                 for row in rows[group.path]]
        for i, name in enumerate(names if owner.by else ()):
            if name in inner and (not name or names.count(name) > 1):
                yield Fault("CASE042" if name else "CASE021", (*owner.path, i, owner.by),
                            repr(name) if name else "nothing", f"an {owner.by} of its own")


def dumped(data: object) -> str:
    """Data as JSON, its numbers as they were typed."""
    if isinstance(data, Mapping):
        inner = (f"{json.dumps(str(k), ensure_ascii=False)}: {dumped(v)}" for k, v in data.items())
        return "{" + ", ".join(inner) + "}"
    if isinstance(data, list):
        return "[" + ", ".join(map(dumped, data)) + "]"
    if isinstance(data, str):
        return json.dumps(data, ensure_ascii=False)
    return str(plain_of(data))


def undumped(pieces: Sequence[object]) -> object:
    """The data of :func:`dumped`; CaseProblems if it cannot be read any more."""
    source, problems = read_text('{"data": ' + "".join(map(str, pieces)) + "}", "")
    if problems or not isinstance(source.data, dict):
        raise CaseProblems(tuple(problems))
    return source.data["data"]


def gather(rows: Rows) -> tuple[dict[str, object], Mapping[tuple[tuple[str, ...], int], DataPath]]:
    """The data that rows describe, with its version, keys in the order of the schema.

    Each row's ``of`` names an entry that is there. The second is (path of a group, number of its
    row) -> path of the entry in the data.

    Raises
    ------
    CaseProblems
        GeoJSON that cannot be read.
    """
    data: dict[str, object] = {}
    places: dict[tuple[tuple[str, ...], int], DataPath] = {}
    named: dict[tuple[tuple[str, ...], str], tuple[DataPath, dict]] = {}
    for group in groups():
        for row in rows.get(group.path, ()):
            at, inside = ((), data) if not group.owner else named[group.owner, row.of]
            steps = group.path[len(group.owner):]
            if not group.table:
                _fill(group, inside, steps, row)
                places[group.path, row.number] = (*at, *steps)
                continue
            *above, last = steps
            home = _under(inside, above)
            if group.keyed:
                key = str(as_written(row.values.get((NAME_KEY,), "")))
                home.setdefault(last, {})[key] = row.values.get((VALUE_KEY,))
                places[group.path, row.number] = (*at, *steps, key)
                continue
            entries = home.setdefault(last, [])
            place: DataPath = (*at, *steps, len(entries))
            places[group.path, row.number] = place
            if len(group.leaves) == 1 and not group.leaves[0].path:
                entries.append(row.values.get((), None))
                continue
            entry: dict[str, object] = {}
            entries.append(entry)
            _fill(group, entry, (), row)
            name = str(as_written(entry.get(group.by, ""))) if group.by else str(row.number)
            named[group.path, name] = (place, entry)
    return _in_order({VERSION: 1, **data}, ()), places  # type: ignore[return-value]


def _under(data: dict, steps: Sequence[str]) -> dict:
    for step in steps:
        data = data.setdefault(step, {})
    return data


def _fill(group: Group, data: dict, steps: Sequence[str], row: BookRow) -> None:
    for leaf in group.leaves:
        value = row.values.get(leaf.path)
        if value is None:
            continue
        if leaf.kind is ValueKind.DATA:
            assert isinstance(value, list)
            data[steps[0]] = undumped(value)
            continue
        *above, last = (*steps, *leaf.path)
        _under(data, above)[last] = value


def _in_order(data: object, path: DataPath) -> object:
    """Keys in the order of the schema."""
    if isinstance(data, list):
        return [_in_order(value, (*path, i)) for i, value in enumerate(data)]
    if not isinstance(data, dict):
        return data
    order = known_keys(path)
    keys = sorted(data, key=lambda k: order.index(k) if k in order else len(order))
    return {key: _in_order(data[key], (*path, key)) for key in keys}


def settled(data: Mapping[str, object]) -> dict[str, object]:
    """A case's data in the one form that a workbook gives back."""
    return gather(spread(data)[0])[0]


def digests(data: Mapping[str, object]) -> dict[str, str]:
    """Key at the top -> SHA-256 of what stands there, for settled data."""
    return {key: hashlib.sha256(json.dumps(plain_of(value), ensure_ascii=False, sort_keys=True)
                                .encode("utf-8", "surrogatepass")).hexdigest()
            for key, value in data.items()}
