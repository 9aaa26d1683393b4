"""A case with the files it names, as bytes: for a trip to where its folder is not.

Taken is what stands under a key ``file`` in the case or in one of its profiles, and the
earlier cases it names with theirs, by the reader's own rules of where such files may lie. A
file that is not there or may not be read is left behind: the reader will miss it and say so.
"""

from __future__ import annotations

import posixpath
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from loambrief.case.history import earlier_file
from loambrief.case.photos import MOST_BYTES as MOST_PHOTO
from loambrief.case.profiles import locate
from loambrief.case.reader import decode, read_bytes, read_text
from loambrief.errors import CaseProblems

MOST_BYTES = 256 * 2**20
"""Of all files of one case; what is over is left behind."""
NOT_READ = ("lab",)
"""Parts whose ``file`` is for the record only."""
HINTS = (b"file", b"history", b".yaml", b".yml", b".toml", b"\\")
"""A case without any of these, in small letters, names no file: keys, endings, escapes."""
TEXTS = (".yaml", ".yml", "")
"""Endings of profiles, which may name a logo."""


@dataclass
class Attached:
    """A case and its files.

    Attributes
    ----------
    root : Path
        Real folder that all of them lie below.
    case : str
        The case file, from there.
    files : dict of str to bytes
        Content by path from there; the case first.
    """

    root: Path
    case: str
    files: dict[str, bytes] = field(default_factory=dict)

    @property
    def size(self) -> int:
        return sum(map(len, self.files.values()))


def attached(path: Path) -> Attached:
    """Read a case and what it names.

    Parameters
    ----------
    path : Path
        Case file.

    Returns
    -------
    Attached

    Raises
    ------
    CaseProblems, OSError
        The case file itself cannot be read.
    """
    home = path.parent.resolve()
    root = home.parent.parent  # earlier cases may lie beside the folder, their profiles above
    found = Attached(root, posixpath.normpath(
        posixpath.join(home.relative_to(root).as_posix(), path.name)))
    _take_case(found, found.case, read_bytes(path), home, earlier=False)
    return found


def missing_elsewhere(raw: bytes, home: Path, other: Path) -> tuple[str, ...]:
    """Files a case names that lie where it stood, and not where it goes to.

    Parameters
    ----------
    raw : bytes
        Content of the case.
    home, other : Path
        Folder it stood in, and the one it goes to.

    Returns
    -------
    tuple of str
        As the case names them, each once.
    """
    data = _data(raw)
    history = data.get("history") if isinstance(data, Mapping) else None
    earlier = [n.strip() for n in history if isinstance(n, str)] if isinstance(
        history, list) else []
    return tuple(name for name in dict.fromkeys([*_named(data), *earlier])
                 if (home / name).is_file() and not (other / name).is_file())


def _take_case(into: Attached, place: str, raw: bytes, home: Path, *, earlier: bool) -> None:
    """Take a case, and what it names from its own folder."""
    into.files[place] = raw
    folder = posixpath.dirname(place)
    data = _data(raw)
    names = list(_named(data))
    for name in names:
        at = _place(folder, name)
        try:
            content = read_bytes(locate(home, name), MOST_PHOTO)
        except (OSError, ValueError, CaseProblems):
            continue
        if at and at not in into.files and into.size + len(content) <= MOST_BYTES:
            into.files[at] = content
            if PurePosixPath(name).suffix.lower() in TEXTS:
                names += _named(_data(content))  # relative to the case, like all its files
    if earlier:
        return
    history = data.get("history") if isinstance(data, Mapping) else None
    for name in history if isinstance(history, list) else ():
        target = earlier_file(home, name.strip()) if isinstance(name, str) else ""
        at = _place(folder, str(name).strip())
        if isinstance(target, Path) and at and at not in into.files:
            try:
                earlier_raw = read_bytes(target)
            except (OSError, CaseProblems):
                continue
            _take_case(into, at, earlier_raw, target.parent, earlier=True)


def _data(raw: bytes) -> object:
    """The plain data of a file; nothing if it names no files or is no YAML."""
    small = raw.lower()
    if not any(hint in small for hint in HINTS):
        return {}
    try:
        return read_text(decode(raw, ""), "")[0].data
    except CaseProblems:
        return {}


def _named(data: object, key: str = "") -> Iterator[str]:
    """Every file named in plain data, but for the earlier cases."""
    if isinstance(data, Mapping):
        for name, value in data.items():
            if isinstance(value, str):
                if (name == "file" and key not in NOT_READ) or name == "guide":
                    yield value.strip()
            else:
                yield from _named(value, str(name))
    elif isinstance(data, list):
        for value in data:
            yield from _named(value, key)


def _place(folder: str, name: str) -> str:
    """Where a named file lies from the root, by its name alone; "" if that is not below it."""
    place = posixpath.normpath(posixpath.join(folder, name))
    return "" if place.startswith(("../", "/")) or place in (".", "..") else place
