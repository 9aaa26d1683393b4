"""Earlier cases of the same field: named in a case, or found in a folder.

An earlier case is read and checked like any other; what it names itself (profiles) is read
too, its own history and photos are not. It has to be of the same field and of an earlier
date, or it is a problem of the case that names it.
"""

import hashlib
import posixpath
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

from loambrief.case.problems import Fault, Problem
from loambrief.case.profiles import ProfileFile
from loambrief.case.quantities import show
from loambrief.case.reader import read_bytes
from loambrief.case.schema import Applied, CaseFile
from loambrief.errors import CaseProblems

MOST_FOUND = 400
"""Files of a folder that are looked at."""


@dataclass
class History:
    """Earlier cases as they were read."""

    cases: list = field(default_factory=list)
    """Oldest first."""
    files: list[ProfileFile] = field(default_factory=list)
    """The cases and their profiles, named from the folder of the present case."""
    faults: list[Fault] = field(default_factory=list)
    """Of the case that names them."""
    problems: list[Problem] = field(default_factory=list)
    """Of the earlier cases themselves."""


def read_history(case: CaseFile, folder: Path | None, load: Callable) -> History:
    """The earlier cases that a case names.

    ``load`` reads one: content, name and folder to a loaded case.
    """
    found = History()
    for i, name in enumerate(case.history):
        path = ("history", i)
        target = earlier_file(folder, name)
        if isinstance(target, str):
            found.faults.append(Fault("CASE073", path, show(name), target,
                                      "Earlier cases elsewhere: loambrief advise --history DIR"))
            continue
        assert folder is not None
        try:
            raw = read_bytes(target)
            earlier = load(raw, (folder / name).as_posix(), target.parent)
        except OSError as error:
            found.faults.append(Fault("CASE073", path, show(name), "a file that can be read",
                                      f"{error.strerror or 'It cannot be read'}."))
            continue
        except CaseProblems as error:
            found.problems += error.problems
            continue
        wrong = _misfit(case, earlier.case)
        if wrong:
            found.faults.append(Fault("CASE073", path, *wrong))
            continue
        found.cases.append(earlier)
        found.files += _files(name, raw, earlier.files)
    _no_two(found)
    return found


def earlier_file(folder: Path | None, name: str) -> Path | str:
    """The file a name means, or what is wanted instead."""
    if folder is None:
        return "no file: this case was not read from a folder"
    if "\\" in name or ":" in name or "\0" in name or name.startswith(("/", "~")):
        return "a path such as ../2025/case.yaml, relative to this case"
    home = folder.resolve()
    target = (home / name).resolve()
    if not target.is_relative_to(home.parent):
        return "a file in the folder of this case or in one beside it"
    return target


def _misfit(case: CaseFile, earlier: CaseFile) -> tuple[str, str, str] | None:
    """Why an earlier case cannot be one of this field's: found, wanted, help."""
    if not same_field(case, earlier):
        return (f"field {earlier.field.name} ({earlier.field.id or 'no id'}) of "
                f"{earlier.client.name}", f"field {case.field.name} ({case.field.id or 'no id'})",
                "Fields are told by field.id, or else by their name.")
    if earlier.case.date >= case.case.date:
        return (f"a case of {earlier.case.date.isoformat()}",
                f"one from before {case.case.date.isoformat()}", "")
    return None


def same_field(one: CaseFile, other: CaseFile) -> bool:
    """True for two cases of one field: the same id, or the same name of the same client."""
    if one.field.id and other.field.id:
        return one.field.id.lower() == other.field.id.lower()
    return (one.field.name.lower(), one.client.name.lower()) == (
        other.field.name.lower(), other.client.name.lower())


def _files(name: str, raw: bytes, beside: Iterable[ProfileFile]) -> Iterable[ProfileFile]:
    yield ProfileFile(name, hashlib.sha256(raw).hexdigest(), raw.decode("utf-8-sig"))
    for file in beside:  # photos are not among them
        yield replace(file, name=posixpath.normpath(
            posixpath.join(posixpath.dirname(name), file.name)))


def _no_two(found: History) -> None:
    """Oldest first, no two of one date; each file once."""
    found.cases.sort(key=lambda c: c.case.case.date)
    dates = [c.case.case.date for c in found.cases]
    for i, date in enumerate(dates):
        if date in dates[:i]:
            found.faults.append(Fault("CASE073", ("history",), f"two cases of {date.isoformat()}",
                                      "one earlier case of a date"))
    found.files = list({file.name: file for file in found.files}.values())


def find_history(case: CaseFile, folder: Path, load: Callable) -> History:
    """Earlier cases of a field among the files of a folder and below it.

    Files that are no cases, of other fields or not earlier are passed over. ``load`` is as of
    :func:`read_history`.

    Raises
    ------
    CaseProblems
        Two earlier cases of one date.
    """
    if not folder.is_dir():
        raise NotADirectoryError(20, "Not a folder", str(folder))
    found = History()
    paths = sorted(p for p in folder.rglob("*") if p.suffix.lower() in (".yaml", ".yml"))
    for path in paths[:MOST_FOUND]:
        try:
            raw = read_bytes(path)
            if b"loambrief" not in raw:
                continue
            earlier = load(raw, str(path), path.parent)
        except (OSError, CaseProblems):
            continue
        if _misfit(case, earlier.case) or any(e.sha256 == earlier.sha256
                                                     for e in found.cases):
            continue
        found.cases.append(earlier)
        found.files += _files(f"history/{earlier.case.case.id}.yaml", raw, earlier.files)
    _no_two(found)
    if found.faults:
        fault = found.faults[0]
        raise CaseProblems((Problem(str(folder), 0, 0, fault.code, "--history", fault.found,
                                    fault.wanted),))
    return found


def count_done(case: CaseFile) -> CaseFile:
    """The case with what was spread since the last advisory among its earlier applications.

    Lime, manure and fertilizer that went on still count; entries that the case lists itself
    are not counted twice.
    """
    listed = {(a.date, a.material.lower()) for a in case.earlier_applications}
    more = [
        Applied(date=d.date, material=d.material, kind=d.kind, rate=d.rate, analysis=d.analysis)
        for d in case.done
        if d.date and d.material and d.kind and d.rate and not d.not_done
        and (d.date, d.material.lower()) not in listed
    ]
    if not more:
        return case
    return case.model_copy(update={"earlier_applications": [*case.earlier_applications, *more]})
