"""Parts of a case kept in files of their own: ``adviser: {file: ../profiles/adviser.yaml}``.

Adviser, client, farm, materials, guide, nitrogen and boundary may stand in files. They are read
like a case (a boundary is GeoJSON, which is YAML as well, or KML or a shapefile: see
``boundary_read``; ``attribute`` beside ``file`` names what holds the sample's id): strictly,
with line and column of every problem, and with a digest for the record. A file is named relative
to the case and lies in the case's folder or below it, or in a folder ``profiles`` beside that
folder; links are followed before that is judged. A profile names no further files. ``guide:
house.yaml`` is the short form of ``guide: {file: house.yaml}``.
"""

import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath

from loambrief.case.guide_file import LoadedGuide, load_guide
from loambrief.case.problems import DataPath, Fault, Problem
from loambrief.case.quantities import show
from loambrief.case.reader import decode, read_bytes, read_text
from loambrief.case.scalars import as_written
from loambrief.case.source import Mark, SourceText, problem_at
from loambrief.errors import CaseProblems

WHOLE_PARTS = ("adviser", "client", "farm", "boundary", "nitrogen")
"""Parts that a profile holds as its own top-level keys."""
SHARED = (*WHOLE_PARTS, "materials", "guide")
BESIDE = "profiles"
"""Name of the folder beside the case's folder that profiles may also lie in."""
MOST_FILES = 20
BOUNDARY_ENDS = (".kml", ".shp", ".zip")
GUIDE_ENDS = (".yaml", ".yml", ".toml")
"""A guide of such a name is a file; a shipped guide's name has no ending."""
_DRIVE = re.compile(r"[A-Za-z]:")


@dataclass(frozen=True)
class ProfileFile:
    """One file a case was put together from."""

    name: str
    """As the case names it."""
    sha256: str
    """Of the bytes that the advisory is made from."""
    text: str
    """For the record; "" for what is no text."""
    content: bytes | None = None
    """A photo as it is printed, a boundary's file as it was read; None for text."""
    file_sha256: str = ""
    """Of the bytes in the file, which for a photo are others; "" where they are the same."""

    @property
    def on_disk(self) -> str:
        """SHA-256 of the file as it was read."""
        return self.file_sha256 or self.sha256


@dataclass(frozen=True)
class FileMark(Mark):
    """A place in a profile."""

    source: SourceText


@dataclass(frozen=True)
class JoinedSource(SourceText):
    """A case whose data comes from several files; problems point into the right one."""

    def problem(self, fault: Fault) -> Problem:
        """The problem a fault is, in the file its value stands in."""
        place = self.mark(fault.path, fault.at_key)
        home: SourceText = place.source if isinstance(place, FileMark) else self
        return problem_at(home.file, home.lines, place, fault, self.label(fault.path))


@dataclass(frozen=True)
class Resolved:
    """A case with its profiles put in."""

    source: SourceText
    """The case's own if it names no file."""
    files: tuple[ProfileFile, ...] = ()
    """In the order they are named."""
    guides: tuple[LoadedGuide, ...] = ()
    """The consultant's own guide, if the case names one by file."""
    problems: tuple[Problem, ...] = ()


def digest(own: str, files: Iterable[ProfileFile]) -> str:
    """SHA-256 over a case and its profiles; the case's own digest if it has none.

    Of the lines ``<sha256>  <name>``, the case first, as a checksum list has them.
    """
    files = tuple(files)
    if not files:
        return own
    lines = [f"{own}  case", *(f"{f.sha256}  {f.name}" for f in files)]
    return hashlib.sha256("\n".join(lines).encode("utf-8")).hexdigest()


def locate(folder: Path | None, name: object) -> Path:
    """A file that a case names, if it may be read from there; links are followed.

    Whether it exists is not asked.

    Raises
    ------
    ValueError
        What is wanted instead.
    """
    if folder is None:
        raise ValueError("no file: this case was not read from a folder")
    if not isinstance(name, str) or not name.strip() or "\\" in name or _DRIVE.match(
        name
    ) or PurePosixPath(name).is_absolute() or name.startswith("~") or "\0" in name:
        raise ValueError("a path such as ../profiles/adviser.yaml")
    home = folder.resolve()
    target = (home / name).resolve()
    if not any(target.is_relative_to(root) for root in (home, home.parent / BESIDE)):
        raise ValueError(f"a file below the case's folder or in ../{BESIDE}")
    return target


def resolve(source: SourceText, folder: Path | None) -> Resolved:
    """Put the files a case names into its data; without a folder no file can be named.

    Problems of the references and of the files' form are found here; the content is judged with
    the case.
    """
    named = list(_named(source.data)) if isinstance(source.data, Mapping) else []
    if not named:
        return Resolved(source)
    joining = _Joining(source, folder)
    for path, value in named:
        joining.take(path, value)
    return joining.result()


def _named(data: Mapping[str, object]) -> Iterable[tuple[DataPath, Mapping[str, object]]]:
    """Path of every reference and its keys."""
    guide = data.get("guide")
    if isinstance(guide, str) and guide.lower().endswith(GUIDE_ENDS):
        yield ("guide",), {"file": guide}
    for part in (*WHOLE_PARTS, "guide", "materials"):
        value = data.get(part)
        if isinstance(value, Mapping) and "file" in value:
            yield (part,), value
    entries = data.get("materials")
    for i, entry in enumerate(entries if isinstance(entries, list) else ()):
        if isinstance(entry, Mapping) and "file" in entry:
            yield ("materials", i), entry


@dataclass
class _Joining:
    source: SourceText
    folder: Path | None
    problems: list[Problem] = field(default_factory=list)
    files: list[ProfileFile] = field(default_factory=list)
    guides: list[LoadedGuide] = field(default_factory=list)
    parts: dict[str, tuple[object, SourceText]] = field(default_factory=dict)
    materials: dict[DataPath, tuple[list, SourceText]] = field(default_factory=dict)
    gone: set[DataPath] = field(default_factory=set)

    def take(self, path: DataPath, value: Mapping[str, object]) -> None:
        """Read the file a reference names."""
        name = as_written(value["file"])
        drawn = path == ("boundary",) and str(name).lower().endswith(BOUNDARY_ENDS)
        more = [k for k in value if k != "file" and not (drawn and k == "attribute")]
        place = (*path, "file")
        if more:
            self._fault((*path, more[0]), "CASE020", f"the key {more[0]!r} beside 'file'",
                        "the file alone", "Write the whole part here, or all of it in the file.",
                        at_key=True)
        try:
            target = self._target(place, name)
            if target is None:
                self.gone.add(path)
                return
            if drawn:
                self._read_boundary(path, str(name), target, value.get("attribute"))
            else:
                self._read(path, str(name), target)
        except CaseProblems as error:
            self.problems += error.problems
            self.gone.add(path)
        except OSError as error:
            self._fault(place, "CASE067", show(name), "a file that can be read",
                        f"{error.strerror or 'It cannot be read'}.")
            self.gone.add(path)

    def _fault(self, path: DataPath, code: str, found: str, wanted: str, help: str = "",
               at_key: bool = False) -> None:
        self.problems.append(self.source.problem(Fault(code, path, found, wanted, help, at_key)))

    def _target(self, path: DataPath, name: object) -> Path | None:
        if self.folder is None:
            self._fault(path, "CASE067", show(name), "the part itself",
                        "This case was not read from a folder, so it can name no files.")
            return None
        if len(self.files) >= MOST_FILES:
            self._fault(path, "CASE067", f"more than {MOST_FILES} files", f"at most {MOST_FILES}")
            return None
        try:
            return locate(self.folder, name)
        except ValueError as fault:
            self._fault(path, "CASE067", show(name), str(fault), "Relative to the case, with '/' "
                        f"between folders, in the case's folder or in ../{BESIDE}.")
            return None

    def _read(self, path: DataPath, name: str, target: Path) -> None:
        assert self.folder is not None
        shown = (self.folder / name).as_posix()
        raw = read_bytes(target)
        text = decode(raw, shown)
        record = ProfileFile(name, hashlib.sha256(raw).hexdigest(), text)
        if path[0] == "guide":
            guide = replace(load_guide(self.folder / name), name=PurePosixPath(name).name)
            self.guides.append(guide)
            self.parts["guide"] = (guide.name, self.source)
            self.files.append(record)
            return
        if path[0] == "boundary":
            text = text.replace("\t", " ")  # white space in JSON, not in YAML
        profile, problems = read_text(text, shown)
        self.problems += problems
        self.files.append(record)
        if path[0] != "materials":
            self.parts[str(path[0])] = (profile.data, profile)
            return
        data = profile.data if isinstance(profile.data, dict) else {}
        for key in data:
            if key != "materials":
                self.problems.append(profile.problem(Fault(
                    "CASE020", (key,), f"the unknown key {key!r}", "materials",
                    "A file of materials holds only the list 'materials'.", at_key=True)))
        entries = data.get("materials")
        if not isinstance(entries, list) and ("materials",) not in profile.refused:
            self.problems.append(profile.problem(Fault(
                "CASE022", ("materials",), show(entries), "a list, each entry after '- '")))
        self.materials[path] = (entries if isinstance(entries, list) else [], profile)

    def _read_boundary(self, path: DataPath, name: str, target: Path, attribute: object) -> None:
        """Each file it consists of may be read only from where a case's files may lie."""
        from loambrief.case.boundary_read import PROPERTY, read_boundary, side_files

        assert self.folder is not None
        sides = [PurePosixPath(name).with_suffix(side.suffix).as_posix()
                 for side in side_files(target)]
        if any(self._target((*path, "file"), side) is None for side in sides):
            self.gone.add(path)
            return
        typed = as_written(attribute)
        if attribute is not None and not (isinstance(typed, str) and typed.strip()):
            self._fault((*path, "attribute"), "CASE022", show(typed), "the name of an attribute")
            typed = None
        source, files = read_boundary(target, str(typed or PROPERTY), self.folder / name)
        self.parts["boundary"] = (source.data, source)
        stem = PurePosixPath(name)
        for side in sides:
            content = files[PurePosixPath(side).suffix.lower()]
            self.files.append(ProfileFile(side if len(sides) > 1 else stem.as_posix(),
                                          hashlib.sha256(content).hexdigest(), "", content))

    def result(self) -> Resolved:
        """The case's data with everything put in, and marks into the files."""
        data = dict(self.source.data) if isinstance(self.source.data, dict) else {}
        keys, values = dict(self.source.keys), dict(self.source.values)
        refused = set(self.source.refused) | {p for p in self.gone if p[0] != "materials"}
        for path in self.gone:
            if path[0] != "materials":
                data.pop(str(path[0]), None)
        for part, (content, profile) in self.parts.items():
            data[part] = content
            if profile is not self.source:
                _mount(keys, values, refused, (part,), profile, ())
        if self.materials or any(p[0] == "materials" for p in self.gone):
            self._materials(data, keys, values, refused)
        joined = JoinedSource(self.source.file, self.source.text, data, keys, values,
                              frozenset(refused))
        return Resolved(joined, tuple(self.files), tuple(self.guides), tuple(self.problems))

    def _materials(self, data: dict, keys: dict, values: dict, refused: set) -> None:
        """Own entries first, then those of the files whose id is not taken."""
        before = data.get("materials")
        own = [(i, e) for i, e in enumerate(before if isinstance(before, list) else [])
               if not (isinstance(e, Mapping) and "file" in e)]
        merged = [e for _, e in own]
        marks = [(("materials", i), self.source) for i, _ in own]
        taken = {_id(e) for e in merged}
        for entries, profile in self.materials.values():
            for i, entry in enumerate(entries):
                if _id(entry) not in taken:
                    merged.append(entry)
                    marks.append((("materials", i), profile))
            taken |= {_id(e) for e in entries}
            taken.discard(None)
        _unmount(keys, values, ("materials",))
        refused -= {p for p in refused if p[:1] == ("materials",) and len(p) > 1}
        for j, (path, profile) in enumerate(marks):
            _mount(keys, values, refused, ("materials", j), profile, path,
                   own=profile is self.source)
        data["materials"] = merged


def _id(entry: object) -> str | None:
    name = as_written(entry.get("id")) if isinstance(entry, Mapping) else None
    return str(name).lower() if name is not None else None


def _unmount(keys: dict, values: dict, at: DataPath) -> None:
    """Take out the marks of everything below a path."""
    for marks in (keys, values):
        for path in [p for p in marks if p[: len(at)] == at and len(p) > len(at)]:
            del marks[path]


def _mount(keys: dict, values: dict, refused: set, at: DataPath, profile: SourceText,
           top: DataPath, own: bool = False) -> None:
    """Marks of a file below a path of the case."""
    _unmount(keys, values, at)
    for marks, into in ((profile.values, values), (profile.keys, keys)):
        for path, mark in marks.items():
            if path[: len(top)] == top:
                place = mark if own else FileMark(mark.line, mark.column, profile)
                into[(*at, *path[len(top):])] = place
    if not own:
        first = profile.mark(top)
        values[at] = keys[at] = FileMark(first.line, first.column, profile)
    refused |= {(*at, *p[len(top):]) for p in profile.refused if p[: len(top)] == top}
