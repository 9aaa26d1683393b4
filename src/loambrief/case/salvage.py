"""What is left of a case when its faulty values are set aside.

Checks between values should not have to wait until every single value is right. Faulty
values are left out of a copy, as few as will do; what the schema insists on is filled with
a stand-in. The copy serves only to find more faults and is never advised on, and faults
that rest on a value that was set aside are dropped by :meth:`Salvaged.stands`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from pydantic import ValidationError

from loambrief.case.problems import DataPath, Fault
from loambrief.case.schema import CaseFile

ROUNDS = 12
STAND_INS: Mapping[DataPath, object] = {
    ("loambrief",): 1,
    **{(part,): {} for part in ("case", "client", "farm", "field", "adviser")},
    **{(part, "name"): "unknown" for part in ("client", "farm", "field", "adviser")},
    ("case", "id"): "unknown",
    ("case", "date"): "2200-12-31",
    ("field", "area"): "1000000 ac",
    ("field", "crop"): "unknown",
    ("field", "tillage"): "conventional",
    ("field", "irrigation"): "none",
    ("field", "drainage"): "unknown",
    ("adviser", "interest"): "unknown",
    ("adviser", "credential"): {"scheme": "unknown", "number": "0", "expires": "2200-12-31"},
}
_GONE = object()


@dataclass(frozen=True)
class Salvaged:
    """A case without its faulty values."""

    case: CaseFile
    removed: frozenset[DataPath]
    """What was left out or filled, as paths of the file."""
    positions: Mapping[DataPath, DataPath]
    """Path of a list entry in ``case`` -> its path in the file, where they differ."""

    def stands(self, fault: Fault) -> Fault | None:
        """The fault at its path in the file, or None if it rests on what was set aside."""
        here, *needed = (in_file(path, self.positions) for path in (fault.path, *fault.needs))
        for path in (here, *needed):
            if any(path[:end] in self.removed for end in range(1, len(path) + 1)):
                return None
        return replace(fault, path=here, needs=tuple(needed))


def salvage(data: object, error: ValidationError) -> Salvaged | None:
    """Leave out faulty values until the rest is valid; None if that fails."""
    rest = _copy(data)
    removed: set[DataPath] = set()
    positions: dict[DataPath, DataPath] = {}
    for _ in range(ROUNDS):
        for details in error.errors(include_url=False, include_input=False, include_context=False):
            path = in_file(tuple(s for s in details["loc"] if s != "[key]"), positions)
            if not path or not _set_aside(rest, path, details["type"] == "missing", removed):
                return None
        positions = {}
        compact = _compact(rest, (), (), positions)
        try:
            return Salvaged(CaseFile.model_validate(compact), frozenset(removed), positions)
        except ValidationError as next_error:
            error = next_error
    return None


def _copy(data: object) -> object:
    """A copy in which nothing is shared (aliases share in the original)."""
    if isinstance(data, dict):
        return {key: _copy(value) for key, value in data.items()}
    if isinstance(data, list):
        return [_copy(value) for value in data]
    return data


def in_file(path: DataPath, positions: Mapping[DataPath, DataPath]) -> DataPath:
    """The path in the file of a path in a case some of whose list entries are gone."""
    for end in range(len(path), 0, -1):
        if path[:end] in positions:
            return (*positions[path[:end]], *path[end:])
    return path


def _set_aside(data: object, path: DataPath, missing: bool, removed: set[DataPath]) -> bool:
    """Remove or fill one value; False if there is nothing left to remove."""
    holders: list[Any] = [data]
    for step in path[:-1]:
        here = holders[-1]
        try:
            holders.append(here[step])
        except (KeyError, IndexError, TypeError):
            return True  # already gone with what held it
        if holders[-1] is _GONE:
            return True
    holder, step = holders[-1], path[-1]
    removed.add(path)
    if missing:
        if path in STAND_INS:
            holder[step] = _copy(STAND_INS[path])
            return True
        if len(path) < 2:
            return False
        return _set_aside(data, path[:-1], False, removed)
    if isinstance(holder, dict):
        holder.pop(step, None)
        return True
    if isinstance(holder, list) and isinstance(step, int) and isinstance(holder[step], dict):
        holder[step] = _GONE
        return True
    if isinstance(holder, list):  # one bad number makes the whole row unusable
        return _set_aside(data, path[:-1], False, removed)
    return False


def _compact(data: object, path: DataPath, file_path: DataPath,
             positions: dict[DataPath, DataPath]) -> object:
    """The data without its gaps; notes where list entries were in the file."""
    if isinstance(data, dict):
        return {k: _compact(v, (*path, k), (*file_path, k), positions) for k, v in data.items()}
    if not isinstance(data, list):
        return data
    kept: list[object] = []
    for index, value in enumerate(data):
        if value is _GONE:
            continue
        here, there = (*path, len(kept)), (*file_path, index)
        if here != there:
            positions[here] = there
        kept.append(_compact(value, here, there, positions))
    return kept
