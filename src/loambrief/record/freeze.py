"""The inputs of an advisory as they were: every file it was made from, byte for byte."""

import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from loambrief.archive.canonical import digest, sha256
from loambrief.archive.store import Store
from loambrief.case.load import LoadedCase, load_bytes
from loambrief.case.problems import DataPath
from loambrief.case.profiles import BESIDE
from loambrief.case.reader import read_bytes
from loambrief.errors import ArchiveBroken, CaseProblems, RecordRefused

MOST_LAB_FILE = 8 * 1024 * 1024
"""Bytes of a lab's file."""


@dataclass(frozen=True)
class Frozen:
    """One file of a record."""

    role: str
    """Case, profile, lab, words, changes, pdf, data, notice..."""
    name: str
    """As the case names it; of a case "case.yaml"."""
    content: bytes
    stored: bool = True
    """False where only the digest is kept."""

    def as_json(self) -> dict:
        return {"role": self.role, "name": self.name, "sha256": sha256(self.content),
                "size": len(self.content), "stored": self.stored}


@dataclass(frozen=True)
class Inputs:
    """A case with everything that belongs to it, read once."""

    loaded: LoadedCase
    raw: bytes
    """Of the case file."""
    folder: Path
    """Where it stood."""
    files: tuple[Frozen, ...]
    unread_labs: Mapping[DataPath, str]
    """Lab files named in the case that are not there, with what was found."""

    @property
    def digest(self) -> str:
        """SHA-256 over role, name and digest of every input."""
        return inputs_digest(file.as_json() for file in self.files)


def inputs_digest(files: Iterable[Mapping]) -> str:
    """What two advisories of the same inputs have in common."""
    return digest(sorted([f["role"], f["name"], f["sha256"]] for f in files
                         if f["role"] in ("case", "profile", "lab", "words")))


def read_inputs(path: Path, lab_files: Sequence[Path] = (),
                words: Iterable[tuple[str, bytes]] = ()) -> Inputs:
    """Read a case and all it names.

    Parameters
    ----------
    path : Path
        Case file.
    lab_files : sequence of Path
        Lab files that are not beside the case, found by their names.
    words : iterable of (str, bytes)
        The adviser's own wording, as files.

    Raises
    ------
    CaseProblems
        The case has problems.
    RecordRefused
        A file changed while it was read.
    """
    raw = read_bytes(path)
    loaded = load_bytes(raw, str(path), folder=path.parent)
    files = [Frozen("case", "case.yaml", raw)]
    for profile in loaded.files:
        if profile.content is not None:  # a photo as printed, a boundary as read
            files.append(Frozen("profile", profile.name, profile.content))
            continue
        content = read_bytes(path.parent / profile.name)
        if sha256(content) != profile.sha256:
            raise RecordRefused(f"{profile.name} changed while it was read; try again")
        files.append(Frozen("profile", profile.name, content))
    found, unread = _lab_files(loaded, path.parent, lab_files)
    files += found
    files += [Frozen("words", name, content) for name, content in words]
    return Inputs(loaded, raw, path.parent, tuple(files), unread)


def _lab_files(loaded: LoadedCase, folder: Path, given: Sequence[Path]) -> tuple[
        list[Frozen], dict[DataPath, str]]:
    found: dict[str, Frozen] = {}
    unread: dict[DataPath, str] = {}
    for i, sample in enumerate(loaded.case.samples):
        lab = sample.lab
        for key, name, wanted in (("file", lab.file, lab.file_sha256), ("pdf", lab.pdf, None)):
            if not name:
                continue
            place: DataPath = ("samples", i, "lab", key)
            plain = PurePosixPath(name.replace("\\", "/")).name
            candidates = [p for p in given if p.name == plain]
            if _inside(folder, name):
                candidates.append(folder / name)
            content = _first(candidates, wanted)
            if content is None:
                unread[place] = f"{name!r}, which is not there" if not any(
                    p.is_file() for p in candidates) else f"{name!r} with another content"
            elif key == "pdf" and not content.startswith(b"%PDF-"):
                unread[place] = f"{name!r}, which is no PDF"
            else:
                found[name] = Frozen("lab", name, content)
    return list(found.values()), unread


def _inside(folder: Path, name: str) -> bool:
    home = folder.resolve()
    try:
        target = (home / name).resolve()
    except (OSError, ValueError):
        return False
    return any(target.is_relative_to(root) for root in (home, home.parent / BESIDE))


def _first(candidates: Sequence[Path], wanted: str | None) -> bytes | None:
    for path in candidates:
        try:
            content = read_bytes(path, MOST_LAB_FILE)
        except (OSError, CaseProblems):
            continue
        if wanted is None or sha256(content) == wanted.lower():
            return content
    return None


@contextmanager
def thawed(store: Store, files: Iterable[Mapping]) -> Iterator[tuple[LoadedCase, Path]]:
    """The frozen case, loaded again from a folder that is gone afterwards.

    Parameters
    ----------
    files : iterable of mapping
        As in the card.

    Raises
    ------
    ArchiveBroken
        A file is missing, tampered with, or its name leads out of the folder.
    """
    with tempfile.TemporaryDirectory(prefix="loambrief-") as top:
        home = Path(top) / "case"
        home.mkdir()
        raw = b""
        for file in files:
            if file["role"] not in ("case", "profile"):
                continue
            content = store.content(file["sha256"])
            if file["role"] == "case":
                raw = content
                continue
            target = (home / file["name"]).resolve()
            if not target.is_relative_to(Path(top).resolve()):
                raise ArchiveBroken(f"{file['name']!r} leads out of the record")
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)
        yield load_bytes(raw, "case.yaml", folder=home), home
