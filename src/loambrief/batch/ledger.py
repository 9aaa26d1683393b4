"""What was made from what, so that the next run knows what is unchanged and what is its own.

A file of lines in the output folder: one JSON record for each case, added before its files
are put in place and the last one for a case counts. Lines that cannot be read are left out,
so a damaged ledger costs work and never a run. At the end of a run it is written anew, whole.
"""

import contextlib
import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from pydantic import TypeAdapter

from loambrief import __version__
from loambrief.batch.figures import Figures
from loambrief.batch.work import CaseStatus, Input
from loambrief.pipeline import tables_digest
from loambrief.resources import PACKAGE, digest_of, templates_dir

NAME = "ledger.jsonl"
FORMAT = 2
SHAPES_BYTES = ("fonttools", "numpy", "highspy", "reportlab", "pikepdf", "pypdf", "jinja2",
                "pydantic", "pyyaml", "openpyxl", "pandas", "matplotlib", "rl_accel")
"""Libraries whose version may show in the bytes of a document."""


@dataclass(frozen=True)
class PlacedFile:
    """A file in the output folder: path from there, content, and the time it carries [ns]."""

    name: str
    sha256: str
    size: int
    mtime_ns: int


@dataclass(frozen=True)
class LedgerRecord:
    """What the last run that tried a case made of it.

    ``path`` is the case file from the output folder; ``program`` and ``options`` are digest and
    settings it was made with.
    """

    case_id: str
    path: str
    client: str
    folder: str
    status: CaseStatus
    program: str
    options: Mapping[str, str | None]
    digest: str
    inputs: tuple[Input, ...]
    files: tuple[PlacedFile, ...]
    figures: Figures | None
    problems: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class DocumentSet:
    """Documents that were made together, from what, and the names of their files."""

    kind: str
    parts: str
    names: tuple[str, ...]


Entry = LedgerRecord | PlacedFile | DocumentSet
_KINDS: dict[str, type[Entry]] = {"case": LedgerRecord, "document": PlacedFile, "set": DocumentSet}
_ADAPTERS: dict[str, TypeAdapter[Entry]] = {name: TypeAdapter(of) for name, of in _KINDS.items()}


@dataclass
class Ledger:
    """The records of an output folder."""

    file: Path
    records: dict[str, LedgerRecord] = field(default_factory=dict)
    """The last record of each case file, by its path from the output folder."""
    own: dict[str, set[PlacedFile]] = field(default_factory=dict)
    """Every file that a batch put there, by its path from the output folder; of documents of the
    whole batch, too."""
    documents: dict[str, PlacedFile] = field(default_factory=dict)
    sets: dict[str, DocumentSet] = field(default_factory=dict)
    damaged: int = 0
    """Lines that could not be read."""

    @classmethod
    def read(cls, file: Path) -> "Ledger":
        """The ledger of a folder; an empty one if there is none or none that can be read."""
        ledger = cls(file)
        try:
            lines = file.read_bytes().split(b"\n")
        except FileNotFoundError:
            return ledger
        except OSError:
            ledger.damaged = 1
            return ledger
        for line in filter(None, lines):
            try:
                data = json.loads(line.decode("utf-8"))
                kind = next((name for name in _KINDS if name in data), "")
                if kind:
                    ledger._keep(_ADAPTERS[kind].validate_python(data[kind]))
                elif "format" not in data:
                    ledger.damaged += 1
            except (ValueError, TypeError):
                ledger.damaged += 1
        return ledger

    def add(self, entry: Entry) -> None:
        """Remember a case or a document before it is put in place, or a set that stands.

        Raises
        ------
        OSError
            It is not on disk; the ledger is as it was.
        """
        self._append(_line(entry))
        self._keep(entry)

    def owns(self, name: str, path: Path) -> bool:
        """Whether the file at a path is one that a batch put there, unchanged since."""
        known = self.own.get(name)
        if not known:
            return False
        about = path.stat()
        same = [w for w in known if w.size == about.st_size]
        if any(w.mtime_ns == about.st_mtime_ns for w in same):
            return True
        return bool(same) and sha256_of(path) in {w.sha256 for w in same}

    def rewrite(self) -> None:
        """Write the ledger anew with one line a case: to another name, then renamed."""
        lines = [json.dumps({"format": FORMAT, "version": __version__}).encode()]
        tables: tuple[Mapping[str, Entry], ...] = (self.records, self.documents, self.sets)
        lines += [_line(table[name]) for table in tables for name in sorted(table)]
        temporary = self.file.with_name(f"{NAME}.new")
        try:
            with temporary.open("wb") as stream:
                stream.write(b"\n".join([*lines, b""]))
                stream.flush()
                os.fsync(stream.fileno())
            os.replace(temporary, self.file)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise

    def _keep(self, entry: Entry) -> None:
        files: tuple[PlacedFile, ...] = ()
        if isinstance(entry, LedgerRecord):
            self.records[entry.path] = entry
            files = entry.files
        elif isinstance(entry, PlacedFile):
            self.documents[entry.name] = entry
            files = (entry,)
        else:
            self.sets[entry.kind] = entry
        for written in files:
            self.own.setdefault(written.name, set()).add(written)

    def _append(self, line: bytes) -> None:
        with self.file.open("ab") as stream:
            before = stream.tell()
            try:
                stream.write(b"\n" * (before > 0) + line + b"\n")
                stream.flush()
                os.fsync(stream.fileno())
            except BaseException:
                with contextlib.suppress(OSError):  # half a line is left out when read
                    os.truncate(self.file, before)
                raise


def _line(entry: Entry) -> bytes:
    kind = next(name for name, of in _KINDS.items() if isinstance(entry, of))
    return b'{"%s":%s}' % (kind.encode(), _ADAPTERS[kind].dump_json(entry))


@cache
def program_digest() -> str:
    """SHA-256 over everything besides the case that an advisory's bytes depend on.

    Version and source of the program, tables, templates, typeface, and the versions of the
    libraries that draw and write.
    """
    digest = hashlib.sha256(f"{__version__}\0{tables_digest()}".encode())
    digest.update(f"{digest_of(PACKAGE, ('.py',))}\0{digest_of(templates_dir())}\0".encode())
    for name in SHAPES_BYTES:
        try:
            digest.update(f"{name}=={version(name)}\0".encode())
        except PackageNotFoundError:
            continue
    return digest.hexdigest()


def sha256_of(path: Path) -> str:
    """SHA-256 of a file, read in pieces."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def inputs_unchanged(record: LedgerRecord, folder: Path) -> bool:
    """Whether every file a case was made from still has the bytes it had."""
    try:
        return bool(record.inputs) and all(
            sha256_of(folder / item.name) == item.sha256 for item in record.inputs)
    except OSError:
        return False

