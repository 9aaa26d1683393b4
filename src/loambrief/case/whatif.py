"""A case with a few values changed, for "what if": the file itself is never touched."""

import json
import re
from collections.abc import Iterable
from pathlib import Path

from loambrief.case.load import LoadedCase, load_bytes
from loambrief.case.reader import decode, read_bytes, read_text
from loambrief.case.scalars import NotFinite, as_written, resolve
from loambrief.case.source import LABELS
from loambrief.errors import CaseProblems, ImpossibleInput, UnknownName

_STEP = re.compile(r"\[(?P<index>[^\]]+)\]|(?P<name>[^.\[\]]+)")


def load_changed(path: Path, changes: Iterable[str]) -> LoadedCase:
    """Read a case and set values in it; its digest is that of the changed text.

    Parameters
    ----------
    changes : iterable of str
        ``"path=value"``, such as ``"budget.amount=5000"``,
        ``"samples.N.increments.0.ph=5.4"`` or ``"materials[map].price.amount=900"``. A list
        entry is named by its id (or species, plant, material) or its number from 0. The value
        is read as in a case file; nothing after the sign removes the key.

    Raises
    ------
    CaseProblems
        The file, or the case with the changes, has problems.
    ImpossibleInput
        A change is not of the form path=value, or goes through a plain value.
    UnknownName
        A list has no such entry.
    """
    source, problems = read_text(decode(read_bytes(path), str(path)), str(path))
    if problems:
        raise CaseProblems(tuple(problems))
    data = json.loads(json.dumps(source.data, ensure_ascii=False, default=str))
    for change in changes:
        set_value(data, change)
    text = json.dumps(data, ensure_ascii=False, indent=1)
    return load_bytes(text.encode("utf-8"), f"{path} with changes", folder=path.parent)


def set_value(data: dict, change: str) -> None:
    """Apply one ``path=value`` to the plain data of a case, in place."""
    place, sign, typed = change.partition("=")
    steps = [m["index"] or m["name"] for m in _STEP.finditer(place.strip())]
    if not sign or not steps:
        raise ImpossibleInput(f"{change!r} is not of the form path=value")
    try:
        value = resolve(typed.strip())
    except NotFinite as error:
        raise ImpossibleInput(f"{change!r}: {error}") from None
    target: object = data
    for position, step in enumerate(steps[:-1]):
        target = _into(target, step, steps[position + 1], change)
    last = steps[-1]
    if isinstance(target, list):
        target[_entry(target, last)] = value
    elif isinstance(target, dict):
        if value is None:
            target.pop(last, None)
        else:
            target[last] = value
    else:
        raise ImpossibleInput(f"{change!r} goes through a plain value")


def _into(target: object, step: str, following: str, change: str) -> object:
    if isinstance(target, list):
        return target[_entry(target, step)]
    if isinstance(target, dict):
        if target.get(step) is None:
            if following.isdigit():
                raise UnknownName("list in the case", step, tuple(target))
            target[step] = {}
        return target[step]
    raise ImpossibleInput(f"{change!r} goes through a plain value")


def _entry(entries: list, step: str) -> int:
    """Position of a list entry by label, else by number from 0."""
    names = []
    for key in LABELS:
        for position, entry in enumerate(entries):
            if isinstance(entry, dict) and key in entry:
                name = str(as_written(entry[key]))
                names.append(name)
                if name == step:
                    return position
    if step.isdigit() and int(step) < len(entries):
        return int(step)
    raise UnknownName("list entry", step, tuple(names) or tuple(map(str, range(len(entries)))))
