"""Data of a file against the schema; every validation error as a fault in plain words."""

import re
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from loambrief.case.measurements import meanings
from loambrief.case.problems import MOST_PRINTED, DataPath, Fault
from loambrief.case.quantities import Reads, nearest, show
from loambrief.case.schema import CaseFile, Part
from loambrief.case.source import SourceText, short
from loambrief.tables import load

GLOSSARY = "case/glossary"


def faults_of(error: ValidationError, source: SourceText) -> tuple[list[Fault], int]:
    """All errors as faults in file order, but where the reader has already refused the value.

    The number is how many more there are beyond the most that are printed.
    """
    errors = [e for e in error.errors(include_url=False) if not is_refused(place_of(e), source)]
    errors.sort(key=lambda e: _order(e, source))
    faults = [_fault(e) for e in errors[:MOST_PRINTED]]
    meant = {(*f.path[:-1], _near_key(f.path)) for f in faults if f.code == "CASE020"}
    faults = [f for f in faults if f.code != "CASE021" or f.path not in meant]
    return faults, max(0, len(errors) - MOST_PRINTED)


def is_refused(path: DataPath, source: SourceText) -> bool:
    """True at or below a value the reader has reported."""
    return any(path[:end] in source.refused for end in range(len(path) + 1))


def _order(error: ErrorDetails, source: SourceText) -> tuple[int, int]:
    mark = source.mark(place_of(error))
    return mark.line, mark.column


def place_of(error: ErrorDetails) -> DataPath:
    """Where the value of an error stands."""
    return tuple(step for step in error["loc"] if step != "[key]")


def common_fault(error: ErrorDetails, wanted: str = "a value") -> Fault | None:
    """What is said alike in every kind of file: a wrong value, a missing one, a wrong count."""
    kind, path, about = error["type"], place_of(error), error.get("ctx", {})
    if kind.startswith("CASE"):
        return Fault(kind, path, about["found"], about["wanted"], about["help"])
    if kind == "missing":
        return Fault("CASE021", path, "nothing", wanted, f"Add the key {str(path[-1])!r} here.",
                     at_key=True)
    if kind in ("too_long", "too_short"):
        limit = (f"at least {about['min_length']}" if kind == "too_short" else
                 f"at most {about['max_length']}")
        return Fault("CASE034", path, f"{about['actual_length']} entries", limit)
    return None


def _fault(error: ErrorDetails) -> Fault:
    kind, path, found = error["type"], place_of(error), show(error.get("input"))
    if (common := common_fault(error, meaning(path) or "a value")) is not None:
        return common
    if kind == "extra_forbidden":
        return _unknown_key(path)
    if kind == "literal_error":
        return Fault("CASE027", path, found, error["ctx"]["expected"], meaning(path))
    wanted = {
        "list_type": "a list, each entry after '- ' or all of them in [ ]",
        "bool_type": "true or false",
        "dict_type": "a group of keys",
    }.get(kind, "")
    if kind == "model_type":
        wanted = "a group of keys: " + ", ".join(known_keys(path))
    return Fault("CASE022", path, found, wanted or error["msg"])


def _unknown_key(path: DataPath) -> Fault:
    key, near, homes = str(path[-1]), _near_key(path), homes_of(str(path[-1]))
    hints = [f"Did you mean {near!r}?"] if near else []
    if homes:
        hints.append(f"The key {key!r} belongs under {' or '.join(homes[:3])}.")
    if re.fullmatch(r"[0-9]+( .*)?", key):
        hints = ["A comma in { } ends the value: write the number without it, decimals with a "
                 "point."]
    help = " ".join(hints) or "Keys known here: " + ", ".join(known_keys(path[:-1])) + "."
    return Fault("CASE020", path, f"the unknown key {short(key)!r}", "a known key", help,
                 at_key=True)


def known_keys(path: DataPath, root: type[Part] = CaseFile) -> tuple[str, ...]:
    """Keys of the part at a path."""
    part = part_at(path, root)
    return tuple(part.model_fields) if part else ()


def _near_key(path: DataPath) -> str:
    """The known key that an unknown one resembles, or an empty string."""
    key = str(path[-1])
    return nearest(key, known_keys(path[:-1]), cutoff=0.75 if homes_of(key) else 0.6)


def bare(annotation: Any) -> tuple[Any, Reads | None, int | None]:
    """A type without its wrappers, how it is read, and how long it may be."""
    reads, most = None, None
    while True:
        origin = get_origin(annotation)
        if origin is Annotated:
            annotation, *more = get_args(annotation)
            reads = next((m for m in more if isinstance(m, Reads)), reads)
            most = longest(more, most)
        elif origin is Union or type(annotation).__name__ == "UnionType":
            annotation = next(a for a in get_args(annotation) if a is not type(None))
        else:
            return annotation, reads, most


def longest(metadata: Any, otherwise: int | None = None) -> int | None:
    """Most entries or letters by the annotations of a type."""
    for item in metadata:
        inner = getattr(item, "metadata", None)  # a Field within an Annotated
        if getattr(item, "max_length", None) is not None:
            return item.max_length
        if inner:
            return longest(inner, otherwise)
    return otherwise


def is_part(kind: Any) -> bool:
    """Whether a type is a group of keys."""
    return isinstance(kind, type) and issubclass(kind, Part)


def part_at(path: DataPath, root: type[Part] = CaseFile) -> type[Part] | None:
    """Class of the part at a path of a case, or None if no part belongs there."""
    here: Any = root
    for step in path:
        if isinstance(step, int):
            if get_origin(here) is not list:
                return None
            here = bare(get_args(here)[0])[0]
        elif is_part(here) and step in here.model_fields:
            here = bare(here.model_fields[step].annotation)[0]
        else:
            return None
    return here if is_part(here) else None


def meaning(path: DataPath) -> str:
    """What a key stands for, from the glossary; empty for no known key."""
    part = part_at(path[:-1]) if path else None
    return glossary().get((part.__name__, str(path[-1])), "") if part else ""


@cache
def glossary() -> Mapping[tuple[str, str], str]:
    """(part, field) -> meaning, from the tables of the case format."""
    return MappingProxyType(
        {(str(row["part"]), str(row["field"])): str(row["meaning"]) for row in load(GLOSSARY)}
        | dict(meanings())
    )


@cache
def parts() -> Mapping[str, tuple[type[Part], str]]:
    """Every part of a case by class name, with the path where it first occurs."""
    found: dict[str, tuple[type[Part], str]] = {}

    def walk(part: type[Part], path: str) -> None:
        if part.__name__ in found:
            return
        found[part.__name__] = (part, path)
        for name, info in part.model_fields.items():
            inner, end = bare(info.annotation)[0], ""
            if get_origin(inner) is list:
                inner, end = bare(get_args(inner)[0])[0], "[]"
            if is_part(inner):
                walk(inner, f"{path}.{name}{end}".lstrip("."))

    walk(CaseFile, "")
    return MappingProxyType(found)


def homes_of(key: str) -> tuple[str, ...]:
    """Places of a case where a key is known."""
    return tuple(path or "the top level" for part, path in parts().values()
                 if key in part.model_fields)
