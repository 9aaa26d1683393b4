"""A read case file: its data, and the line and column of every key and value."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from loambrief.case.problems import DataPath, Fault, Problem, severity, visible

LABELS = ("id", "depth", "species", "plant", "material")
"""Keys that name an entry of a list, best first."""
ABOUT = ("action", "nitrogen")
"""Keys of entries that a material does not name: changes of an action, passes of nitrogen."""
LONGEST_LABELLED = 500
"""Entries; a longer list is labelled by position."""
_SAFE = re.compile(r"[\w][\w .,()/+–-]{0,59}\Z")


@dataclass(frozen=True)
class Mark:
    """A place in a file, both counted from 1."""

    line: int
    column: int


@dataclass(frozen=True)
class CellMark(Mark):
    """A place in a workbook: row and column, and the cell as ``sheet!F12``."""

    cell: str


@dataclass(frozen=True)
class SourceText:
    """Plain data of a file with its places."""

    file: str
    """As the user named it."""
    text: str
    """Without byte-order mark."""
    data: object
    """Mappings, lists, text, numbers, true, false and None."""
    keys: Mapping[DataPath, Mark] = field(default_factory=dict)
    values: Mapping[DataPath, Mark] = field(default_factory=dict)
    refused: frozenset[DataPath] = frozenset()
    """Values already reported by the reader; nothing more is said about them."""

    @cached_property
    def lines(self) -> list[str]:
        """Lines as the YAML reader counts them."""
        return split_lines(self.text)

    def mark(self, path: DataPath, at_key: bool = False) -> Mark:
        """Nearest known place of a path: its own, else that of what holds it."""
        for end in range(len(path), 0, -1):
            part = path[:end]
            first, second = self.values, self.keys
            if at_key or end < len(path):
                first, second = second, first
            found = first.get(part) or second.get(part)
            if found:
                return found
        return self.values.get((), Mark(1, 1))

    def label(self, path: DataPath) -> str:
        """A path as people write it: ``samples[N].increments[0-6 in].zinc``."""
        text, here = "", self.data
        for step in path:
            if isinstance(step, int):
                text += f"[{entry_label(here, step)}]"
                here = here[step] if isinstance(here, list) and step < len(here) else None
            else:
                text += ("." if text else "") + short(step)
                here = here.get(step) if isinstance(here, Mapping) else None
        return text or "file"

    def problem(self, fault: Fault) -> Problem:
        """The problem a fault is at its place in this file."""
        place = self.mark(fault.path, fault.at_key)
        return problem_at(self.file, self.lines, place, fault, self.label(fault.path))

    def problems(self, faults: Iterable[Fault]) -> list[Problem]:
        return [self.problem(fault) for fault in faults]


def single_values(data: object, path: DataPath = ()) -> Iterator[tuple[DataPath, object]]:
    """Path and value of everything in plain data that is no mapping and no list."""
    if isinstance(data, Mapping):
        for key, value in data.items():
            yield from single_values(value, (*path, key))
    elif isinstance(data, list):
        for i, value in enumerate(data):
            yield from single_values(value, (*path, i))
    else:
        yield path, data


def value_at(data: Any, path: Iterable[str]) -> Any:
    """What stands at the end of keys; None where one of them is not there."""
    for step in path:
        data = data.get(step) if isinstance(data, Mapping) else None
    return data


def problem_at(file: str, lines: list[str], place: Mark, fault: Fault, label: str) -> Problem:
    """A problem at a known place."""
    line = lines[place.line - 1] if place.line <= len(lines) else ""
    return Problem(file, place.line, place.column, fault.code, label, fault.found, fault.wanted,
                   line, fault.help, severity(fault.code), str(fault.path[0]) if fault.path else "",
                   place.cell if isinstance(place, CellMark) else "")


def split_lines(text: str) -> list[str]:
    """Text cut where the YAML reader sees a line break."""
    return re.split(r"\r\n|\r|\n", text)


def entry_label(entries: object, position: int) -> str:
    """Name of a list entry: its id (depth, species ...) if all have their own, else its number.

    Numbers count from 1.
    """
    if isinstance(entries, list) and len(entries) <= LONGEST_LABELLED:
        for key in LABELS:
            if key == "material" and any(isinstance(e, Mapping) and e.get(a) for e in entries
                                         for a in ABOUT):
                continue
            names = [e.get(key) if isinstance(e, Mapping) else None for e in entries]
            texts = [t for n in names
                     if isinstance(t := getattr(n, "typed", n), str) and _SAFE.match(t)]
            if len({*texts}) == len(entries):
                return " ".join(texts[position].split())
    return str(position + 1)


def short(key: str) -> str:
    """A key fit for a message."""
    text = visible(key)
    return text if 0 < len(text) <= 60 else (text[:57] + "..." if text else "''")
