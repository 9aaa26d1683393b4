"""A task for a worker that cannot see the case's folder: the files travel along.

They are unpacked into a private folder on the worker and nowhere else, and every name the
reader prints is put back to what the user calls it.
"""

from __future__ import annotations

import contextlib
import os
import posixpath
import shutil
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath

from loambrief.batch.work import Outcome, Stage, Status, Task, made, pack, unpack, work
from loambrief.case.attached import attached
from loambrief.case.load import LoadedCase
from loambrief.errors import CaseProblems


@dataclass(frozen=True)
class Parcel(Task):
    """A task, and what it is worked from.

    Attributes
    ----------
    files : tuple of (str, bytes)
        By path below ``box``; the case first. Empty for a task that carries its checked case.
    root : str
        Folder here that stands for ``box`` there.
    box : str
        Folder on the worker, empty and readable by nobody else.
    """

    files: tuple[tuple[str, bytes], ...] = field(default=(), repr=False)
    root: str = ""
    box: str = ""

    @property
    def size(self) -> int:
        """Bytes that travel, about."""
        return len(self.loaded) + sum(len(content) for _, content in self.files)


def parcel_of(task: Task) -> Parcel | None:
    """The task with its files; None if the case file cannot be read.

    Parameters
    ----------
    task : Task
    """
    own = {name: getattr(task, name) for name in task.__dataclass_fields__}
    if task.loaded:
        return Parcel(**own)
    try:
        found = attached(Path(task.path))
    except (OSError, ValueError, CaseProblems):
        return None
    return Parcel(**own, files=tuple(found.files.items()), root=str(found.root))


def task_of(parcel: Parcel) -> Task:
    """The task without the files, to be worked off where its folder is."""
    return Task(**{name: getattr(parcel, name) for name in Task.__dataclass_fields__})


def work_parcel(parcel: Parcel, function: Callable[[Task], Outcome] = work) -> Outcome:
    """Do what the task of a parcel asks; like :func:`loambrief.batch.work.work`.

    Parameters
    ----------
    parcel : Parcel
        With ``box`` set.
    function : callable
    """
    if not parcel.files:
        return function(parcel)
    blank = Outcome(parcel.number, parcel.path, Status.FAILED)
    try:
        with _unpacked(parcel) as path:
            return _names_back(function(replace(parcel, path=str(path), files=())), parcel, path)
    except (OSError, ValueError) as error:
        return blank.failed(f"{parcel.path}: could not be unpacked on the worker: {error}")


def faulty(parcel: Parcel, outcome: Outcome) -> str:
    """What a worker read or made that is not what it was sent, or sent back; "" if all is well.

    Parameters
    ----------
    parcel : Parcel
    outcome : Outcome
        With content.
    """
    if parcel.files:
        here = {place: made(place, content).sha256 for place, content in parcel.files}
        folder = posixpath.dirname(parcel.files[0][0])
        for item in outcome.inputs:
            place = posixpath.normpath(posixpath.join(folder, item.name))
            if here.get(place) != item.sha256:
                return f"{item.name} reached the worker damaged"
    if outcome.status is Status.DONE:
        came = tuple(made(name, content) for name, content in outcome.content.items())
        if not came or came != outcome.files:
            return "its files came back damaged"
    return ""


def could_be_read_here(parcel: Parcel, outcome: Outcome) -> bool:
    """Whether a case that a worker failed on must be judged again where its folder is."""
    unread = parcel.stage is Stage.CHECK or not outcome.case_id
    return outcome.status is Status.FAILED and bool(parcel.files) and unread


@contextlib.contextmanager
def _unpacked(parcel: Parcel) -> Iterator[Path]:
    """The files in a folder of their own; gives the path of the case."""
    box = Path(tempfile.mkdtemp(dir=parcel.box)).resolve()
    try:
        for place, content in parcel.files:
            target = box / inside(place)
            target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL
                             | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0), 0o600)
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
        yield box / inside(parcel.files[0][0])
    finally:
        shutil.rmtree(box, ignore_errors=True)


def inside(place: str) -> PurePosixPath:
    """A path that leads down only.

    Raises
    ------
    ValueError
        It leads elsewhere.
    """
    path = PurePosixPath(place)
    if not place or path.is_absolute() or ".." in path.parts or "\\" in place or "\0" in place \
            or ":" in path.parts[0]:
        raise ValueError(f"{place!r} leads out of the worker's folder")
    return path


def _names_back(outcome: Outcome, parcel: Parcel, path: Path) -> Outcome:
    """The outcome as if the case had been read where the user has it."""
    place = PurePosixPath(parcel.files[0][0])
    box = path.parents[len(place.parts) - 1]
    folder = Path(parcel.path).parent
    swaps = ((str(path), parcel.path),
             (f"{path.parent.as_posix()}/", "" if folder == Path(".") else f"{folder.as_posix()}/"),
             (f"{box}{os.sep}", f"{parcel.root}{os.sep}"))

    def back(text: str) -> str:
        for there, here in swaps:
            text = text.replace(there, here)
        return text

    return replace(
        outcome, path=parcel.path,
        problems=tuple(map(back, outcome.problems)),
        warnings=tuple(map(back, outcome.warnings)),
        loaded=pack(_case_back(unpack(outcome.loaded), back)) if _is_case(outcome) else
        outcome.loaded)


def _is_case(outcome: Outcome) -> bool:
    return outcome.status is Status.CHECKED and bool(outcome.loaded)


def _case_back(loaded: LoadedCase, back: Callable[[str], str]) -> LoadedCase:
    def at(problem):
        return replace(problem, file=back(problem.file))

    return replace(
        loaded, file=back(loaded.file),
        warnings=tuple(map(at, loaded.warnings)),
        accepted=tuple((at(problem), reason) for problem, reason in loaded.accepted),
        guides=tuple(replace(guide, file=back(guide.file)) for guide in loaded.guides),
        earlier=tuple(_case_back(case, back) for case in loaded.earlier))
