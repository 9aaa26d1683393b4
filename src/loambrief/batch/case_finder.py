"""Which case files a batch is about: folders, patterns, single files, lists of those."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from glob import has_magic, iglob
from pathlib import Path

from loambrief.case.history import earlier_file
from loambrief.case.reader import MAX_BYTES
from loambrief.errors import LoambriefError

CASE_ENDS = (".yaml", ".yml")
LIST_ENDS = (".txt", ".list")
LEFT_ASIDE = ("profiles", "guides", "maps")
"""Folders below a named folder that hold parts of cases, not cases."""
PEEK_BYTES = 65_536
_IS_CASE = re.compile(r"^(loambrief|case)\s*:", re.MULTILINE)
_CASE_ID = re.compile(
    r"^case\s*:[ \t]*(?:\{[^}\n]*?\bid"
    r"|(?:#[^\n]*)?\n(?:[ \t]+[^\n]*\n|[ \t]*\n|#[^\n]*\n)*?[ \t]+id)"
    r"\s*:\s*[\"']?([A-Za-z0-9][A-Za-z0-9._-]*)",
    re.MULTILINE,
)

_HISTORY = re.compile(
    r"^history[ \t]*:[ \t]*(?:\[(?P<flow>[^\]]*)\]"
    r"|(?:#[^\n]*)?\n(?P<lines>(?:[ \t]*(?:-[ \t][^\n]*|#[^\n]*)?\n)*))",
    re.MULTILINE,
)


@dataclass(frozen=True)
class Found:
    """The cases of a run."""

    cases: tuple[Path, ...]
    """As the user reached them, each file once, in order of their paths."""
    left_aside: tuple[Path, ...] = ()
    """YAML files in the folders that are no cases: profiles, guides, mappings of labs."""
    earlier: tuple[Path, ...] = ()
    """Cases in the folders that another case found there names under ``history:``: they are read
    with it, and not advised again."""


def find_cases(places: Iterable[str | Path], *, without: Path | None = None,
               absent: list[str] | None = None) -> Found:
    """Every case the places name.

    Parameters
    ----------
    places : iterable of str or Path
        A folder is searched with its subfolders; a pattern (``*``, ``?``, ``[]``, ``**``) is
        expanded; a ``.txt`` or ``.list`` file holds one place a line, relative to itself, with
        ``#`` before a remark; any other file is taken for a case.
    without : Path or None
        The output: a folder below a place that is not searched.
    absent : list of str or None
        Takes what is wrong with places that do not exist, in place of an error.

    Raises
    ------
    LoambriefError
        A place that does not exist, or no case at all.
    """
    cases: dict[Path, Path] = {}
    aside: dict[Path, Path] = {}
    named: set[Path] = set()
    gone: list[str] = [] if absent is None else absent
    for place in places:
        barred = _barred(str(place), without)
        for path, sure in _reached(str(place), gone, ()):
            home = path.resolve()
            if barred is not None and not sure and home.is_relative_to(barred):
                continue
            if sure:
                named.add(home)
            into = cases if sure or is_case(path) else aside
            if home not in into or path.as_posix() < into[home].as_posix():
                into[home] = path
    if gone and absent is None:
        raise LoambriefError("; ".join(gone))
    kept = _kept(cases) - named
    earlier = {home: path for home, path in cases.items() if home in kept}
    if len(earlier) == len(cases):  # they name each other: the reader will say what is wrong
        earlier = {}
    found = _in_order(path for home, path in cases.items() if home not in earlier)
    if not found and not (absent and gone):
        raise LoambriefError("no case file found; a case is YAML and starts with 'loambrief: 1'")
    rest = (path for home, path in aside.items() if home not in cases)
    return Found(found, _in_order(rest), _in_order(earlier.values()))


def _in_order(paths: Iterable[Path]) -> tuple[Path, ...]:
    return tuple(sorted(paths, key=lambda p: p.as_posix()))


def _kept(cases: Iterable[Path]) -> set[Path]:
    """Real paths of the earlier cases that cases name."""
    kept = {earlier_file(case.parent, name) for case in cases for name in peek_history(case)}
    return {home for home in kept if isinstance(home, Path)}


def _barred(place: str, output: Path | None) -> Path | None:
    """The output, where it lies below the place; a place inside the output is meant."""
    if output is None:
        return None
    root = Path(place)
    while has_magic(str(root)):
        root = root.parent
    home = output.resolve()
    above = root.resolve()
    return home if home != above and home.is_relative_to(above) else None


def _reached(place: str, gone: list[str], through: tuple[Path, ...]) -> Iterator[tuple[Path, bool]]:
    """(file, named as a case by the user) of one place."""
    path = Path(place)
    if path.is_dir():
        yield from ((file, False) for file in _below(path))
    elif path.is_file():
        if path.suffix.lower() in LIST_ENDS:
            yield from _listed(path, gone, through)
        else:
            yield path, True
    elif has_magic(place):
        hits = sorted(iglob(place, recursive=True))
        if not hits:
            gone.append(f"{place}: nothing matches this pattern")
        for hit in map(Path, hits):
            if hit.is_dir():
                yield from ((file, False) for file in _below(hit))
            elif hit.suffix.lower() in CASE_ENDS and not _hidden(hit):
                yield hit, False
    else:
        gone.append(f"{place}: no such file or folder")


def _below(folder: Path) -> Iterator[Path]:
    """YAML files of a folder and its subfolders, links to folders not followed."""
    for entry in sorted(folder.iterdir()):
        if _hidden(entry):
            continue
        if entry.is_dir():
            if not entry.is_symlink() and entry.name.lower() not in LEFT_ASIDE:
                yield from _below(entry)
        elif entry.suffix.lower() in CASE_ENDS:
            yield entry


def _hidden(path: Path) -> bool:
    return path.name.startswith(".")


def _listed(file: Path, gone: list[str], through: tuple[Path, ...]) -> Iterator[tuple[Path, bool]]:
    """The places of a list file."""
    home = file.resolve()
    if home in through:
        gone.append(f"{file}: this list names itself")
        return
    try:
        text = file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        gone.append(f"{file}: a list of cases is UTF-8 text")
        return
    for number, line in enumerate(text.splitlines(), 1):
        place = line.split(" #")[0].strip()
        if not place or place.startswith("#"):
            continue
        missing: list[str] = []
        yield from _reached(str(file.parent / place), missing, (*through, home))
        gone += [f"{file}:{number}: {said}" for said in missing]


def is_case(path: Path) -> bool:
    """Whether a YAML file looks like a case, also a broken one; unreadable ones count."""
    text = _start(path)
    return text is None or _IS_CASE.search(text) is not None


def peek_id(path: Path) -> str:
    """The case id as far as it can be seen without reading the file properly, else ""."""
    match = _CASE_ID.search(_start(path) or "")
    return match[1] if match else ""


def peek_line(path: Path) -> int:
    """Line of the case id as far as :func:`peek_id` sees it; 1 if it does not."""
    text = _start(path) or ""
    match = _CASE_ID.search(text)
    return text.count("\n", 0, match.start(1)) + 1 if match else 1


def peek_history(path: Path) -> list[str]:
    """Names of earlier cases as far as they can be seen without reading the file properly."""
    text = (_start(path, MAX_BYTES) or "").replace("\r\n", "\n") + "\n"
    match = _HISTORY.search(text)
    if match is None:
        return []
    if match["flow"] is not None:
        entries = match["flow"].split(",")
    else:
        entries = [line.strip().removeprefix("-") for line in match["lines"].splitlines()
                   if line.lstrip().startswith("-")]
    names = (re.split(r"\s#", entry)[0].strip().strip("\"'") for entry in entries)
    return [name for name in names if name]


def _start(path: Path, most: int = PEEK_BYTES) -> str | None:
    """First part of a file as text; None if it cannot be read at all."""
    try:
        with path.open("rb") as stream:
            return stream.read(most).decode("utf-8-sig", errors="replace")
    except OSError:
        return None
