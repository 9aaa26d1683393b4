"""A case's text with new values, whatever they are: only lines whose value changes are touched,
and the remarks in them stay.

The smallest keys that differ are edited. Where one stands in ``{ }`` or ``[ ]``, or behind a
dash, the next larger one is taken, up to a whole part.
"""

import copy
from collections.abc import Iterator, Mapping
from typing import Any

from loambrief.case.problems import DataPath
from loambrief.case.reader import read_sound, read_text
from loambrief.case.source import SourceText
from loambrief.case.validate import known_keys
from loambrief.case.yaml_edit import BOM, LineEdits, plain_of, refused
from loambrief.errors import CaseProblems

GONE = object()
"""Stands for a key that is to be taken out."""


def rewritten(raw: bytes, file: str, parts: Mapping[str, object]) -> tuple[bytes, tuple[str, ...]]:
    """A case with new values in some of its parts, and remarks that were lost with an old value.

    All other text stays as it is. ``parts`` says for a key at the top level all that is to stand
    there, as data; None takes it out. A key that stands there without a value stays.

    Raises
    ------
    CaseProblems
        Not well-formed, or written in a way that cannot be edited line by line.
    """
    source = read_sound(raw, file)
    data = source.data if isinstance(source.data, dict) else {}
    wanted = [edit for key, value in parts.items()
              for edit in _differences(data.get(key), GONE if value is None else value, (key,))]
    if _flow(source, ()):
        raise refused(source, (), "a case written in { }")
    meant = copy.deepcopy(data)
    for path, value in wanted:
        _set(meant, path, value)
    edits = LineEdits.of(source, remarks=True)
    for path in _lifted(source, wanted):
        value = _value(meant, path)
        if value is GONE:
            edits.remove(path)
        else:
            edits.set_key(path[:-1], str(path[-1]), value, _order(source, path))
    new = edits.text()
    try:
        again, problems = read_text(new, file)
    except CaseProblems:
        raise refused(source, wanted[0][0], "a form that the edit would break") from None
    if problems or plain_of(again.data) != plain_of(meant):
        raise refused(source, wanted[0][0], "a form that the edit would change elsewhere")
    start = BOM if raw.startswith(BOM) else b""
    return start + new.encode("utf-8"), tuple(edits.notes)


def _differences(old: Any, new: Any, path: DataPath) -> Iterator[tuple[DataPath, Any]]:
    """The smallest edits that turn old data into new."""
    if new is GONE:
        if old is not None:
            yield path, GONE
    elif _same(old, new):
        return
    elif isinstance(old, dict) and isinstance(new, Mapping) and old:
        for key in [*old, *(k for k in new if k not in old)]:
            yield from _differences(old.get(key), new.get(key, GONE), (*path, key))
    elif (isinstance(old, list) and isinstance(new, list) and len(old) == len(new)
          and all(isinstance(entry, dict) for entry in (*old, *new))):
        for i, (one, other) in enumerate(zip(old, new, strict=True)):
            yield from _differences(one, other, (*path, i))
    else:
        yield path, new


def _same(old: Any, new: Any) -> bool:
    """Equal as text; a quantity in two keys says the same as one in a line."""
    if isinstance(old, dict) and set(old) == {"value", "unit"} and isinstance(new, str):
        return f"{plain_of(old['value'])} {plain_of(old['unit'])}" == new
    return plain_of(old) == plain_of(new)


def _set(data: Any, path: DataPath, value: Any) -> None:
    for step in path[:-1]:
        data = data[step]
    if value is GONE:
        del data[path[-1]]
    else:
        data[path[-1]] = value


def _value(data: Any, path: DataPath) -> Any:
    for step in path:
        if isinstance(step, str) and (not isinstance(data, Mapping) or step not in data):
            return GONE
        data = data[step]
    return data


def _lifted(source: SourceText, wanted: list[tuple[DataPath, Any]]) -> list[DataPath]:
    """Paths that can be edited: in block style, and behind no dash if they are taken out."""
    found: list[DataPath] = []
    for path, value in wanted:
        flow = next((path[:end] for end in range(1, len(path)) if _flow(source, path[:end])), path)
        while not isinstance(flow[-1], str) or (flow != path and _flow(source, flow[:-1])) or (
                value is GONE and len(flow) > 1 and _behind_dash(source, flow)):
            flow = flow[:-1]
        found.append(flow)
    return [path for path in dict.fromkeys(found)
            if not any(path[:end] in found for end in range(1, len(path)))]


def _flow(source: SourceText, path: DataPath) -> bool:
    """In braces or brackets, or an alias or anchor: not to be edited from inside."""
    mark = source.values.get(path)
    return mark is not None and source.lines[mark.line - 1][mark.column - 1:][:1] in tuple("{[*&")


def _behind_dash(source: SourceText, path: DataPath) -> bool:
    """The first key of an entry: its line begins with the dash of the whole entry."""
    mark = source.keys.get(path)
    return mark is not None and "-" in source.lines[mark.line - 1][:mark.column - 1]


def _order(source: SourceText, path: DataPath) -> list[str]:
    """Keys of the mapping that holds a path, as they are to follow each other."""
    there = [str(p[-1]) for p in source.keys if p[:-1] == path[:-1]]
    known = known_keys(path[:-1])
    return [*known, *(key for key in (*there, str(path[-1])) if key not in known)]
