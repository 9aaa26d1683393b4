"""Data of a file against the schema; every validation error as a fault in plain words."""

import re
import types
from collections.abc import Mapping
from functools import cache
from typing import Annotated, Union, get_args, get_origin

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from loambrief.case.measurements import meanings
from loambrief.case.problems import MOST_PRINTED, DataPath, Fault
from loambrief.case.quantities import nearest, show
from loambrief.case.schema import CaseFile, Part
from loambrief.case.source import SourceText, short
from loambrief.tables import load

GLOSSARY = "case/glossary"
FAULT_CODES: Mapping[str, str] = {
    "missing_unit": "CASE023",
    "unknown_unit": "CASE024",
    "quantity_form": "CASE025",
    "impossible_value": "CASE026",
    "unknown_choice": "CASE027",
    "not_a_date": "CASE028",
    "not_a_time": "CASE029",
    "not_a_number": "CASE030",
    "not_text": "CASE022",
    "text_length": "CASE031",
    "bad_identifier": "CASE032",
    "depth_range": "CASE033",
}


def validate(data: object) -> CaseFile:
    """The case that plain data describes.

    Raises
    ------
    pydantic.ValidationError
        With every error of the data.
    """
    return CaseFile.model_validate(data)


def faults_of(error: ValidationError, source: SourceText) -> tuple[list[Fault], int]:
    """All errors as faults, except where the reader has already refused the value.

    Returns
    -------
    list of Fault, int
        In file order, and how many more there are beyond the most that are printed.
    """
    errors = [e for e in error.errors(include_url=False) if not is_refused(_path(e), source)]
    errors.sort(key=lambda e: _order(e, source))
    faults = [_fault(e) for e in errors[:MOST_PRINTED]]
    meant = {(*f.path[:-1], _near_key(f.path)) for f in faults if f.code == "CASE020"}
    faults = [f for f in faults if f.code != "CASE021" or f.path not in meant]
    return faults, max(0, len(errors) - MOST_PRINTED)


def is_refused(path: DataPath, source: SourceText) -> bool:
    """True at or below a value the reader has reported."""
    return any(path[:end] in source.refused for end in range(len(path) + 1))


def _order(error: ErrorDetails, source: SourceText) -> tuple[int, int]:
    mark = source.mark(_path(error))
    return mark.line, mark.column


def _path(error: ErrorDetails) -> DataPath:
    return tuple(step for step in error["loc"] if step != "[key]")


def _fault(error: ErrorDetails) -> Fault:
    kind, path, found = error["type"], _path(error), show(error.get("input"))
    about = error.get("ctx", {})
    if kind in FAULT_CODES:
        return Fault(FAULT_CODES[kind], path, about["found"], about["wanted"], about["help"])
    if kind == "extra_forbidden":
        return _unknown_key(path)
    if kind == "missing":
        return Fault("CASE021", path, "nothing", meaning(path) or "a value",
                     f"Add the key {str(path[-1])!r} here.", at_key=True)
    if kind in ("too_long", "too_short"):
        few = kind == "too_short"
        wanted = f"at least {about['min_length']}" if few else f"at most {about['max_length']}"
        return Fault("CASE034", path, f"{about['actual_length']} entries", wanted)
    if kind == "literal_error":
        return Fault("CASE027", path, found, about["expected"], meaning(path))
    wanted = {
        "list_type": "a list, each entry after '- ' or all of them in [ ]",
        "bool_type": "true or false",
        "dict_type": "a group of keys",
    }.get(kind, "")
    if kind == "model_type":
        part = part_at(path)
        wanted = "a group of keys: " + ", ".join(part.model_fields if part else ())
    return Fault("CASE022", path, found, wanted or error["msg"])


def _unknown_key(path: DataPath) -> Fault:
    key, near, homes = str(path[-1]), _near_key(path), homes_of(str(path[-1]))
    hints = [f"Did you mean {near!r}?"] if near else []
    if homes:
        hints.append(f"The key {key!r} belongs under {' or '.join(homes[:3])}.")
    if re.fullmatch(r"[0-9]+( .*)?", key):
        hints = ["A comma in { } ends the value: write the number without it, decimals with a "
                 "point."]
    help = " ".join(hints) or "Keys known here: " + ", ".join(_known_keys(path)) + "."
    return Fault("CASE020", path, f"the unknown key {short(key)!r}", "a known key", help,
                 at_key=True)


def _known_keys(path: DataPath) -> tuple[str, ...]:
    part = part_at(path[:-1])
    return tuple(part.model_fields) if part else ()


def _near_key(path: DataPath) -> str:
    """The known key that an unknown one resembles, or an empty string."""
    key = str(path[-1])
    return nearest(key, _known_keys(path), cutoff=0.75 if homes_of(key) else 0.6)


def _inner(annotation: object) -> object:
    """A type without its wrappers (Annotated, ``| None``)."""
    origin = get_origin(annotation)
    if origin is Annotated:
        return _inner(get_args(annotation)[0])
    if origin in (Union, types.UnionType):
        return _inner(next(a for a in get_args(annotation) if a is not type(None)))
    return annotation


def part_at(path: DataPath) -> type[Part] | None:
    """Class of the part at a path of a case, or None if no part belongs there."""
    here: object = CaseFile
    for step in path:
        if isinstance(step, int):
            if get_origin(here) is not list:
                return None
            here = _inner(get_args(here)[0])
        elif isinstance(here, type) and issubclass(here, Part) and step in here.model_fields:
            here = _inner(here.model_fields[step].annotation)
        else:
            return None
    return here if isinstance(here, type) and issubclass(here, Part) else None


def meaning(path: DataPath) -> str:
    """What a key stands for, from the glossary; empty for no known key."""
    part = part_at(path[:-1]) if path else None
    return glossary().get((part.__name__, str(path[-1])), "") if part else ""


@cache
def glossary() -> Mapping[tuple[str, str], str]:
    """(part, field) -> meaning, from the tables of the case format."""
    return types.MappingProxyType(
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
            inner, end = _inner(info.annotation), ""
            if get_origin(inner) is list:
                inner, end = _inner(get_args(inner)[0]), "[]"
            if isinstance(inner, type) and issubclass(inner, Part):
                walk(inner, f"{path}.{name}{end}".lstrip("."))

    walk(CaseFile, "")
    return types.MappingProxyType(found)


def homes_of(key: str) -> tuple[str, ...]:
    """Places of a case where a key is known."""
    return tuple(path or "the top level" for part, path in parts().values()
                 if key in part.model_fields)
