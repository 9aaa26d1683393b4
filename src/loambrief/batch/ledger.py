"""What was made from what, so that the next run knows what is unchanged and what is its own.

A file of lines in the output folder: one JSON record for each case, added before its files
are put in place and the last one for a case counts. PlainLines that cannot be read are left out,
so a damaged ledger costs work and never a run. At the end of a run it is written anew, whole.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from loambrief import __version__
from loambrief.batch.figures import Figures
from loambrief.batch.work import CaseStatus, Input, Made
from loambrief.pipeline import tables_digest
from loambrief.resources import PACKAGE, templates_dir

NAME = "ledger.jsonl"
FORMAT = 1
SHAPES_BYTES = ("fonttools", "numpy", "highspy", "reportlab", "pikepdf", "pypdf", "jinja2",
                "pydantic", "pyyaml", "openpyxl")
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

    ``path`` is the case file from the output folder; ``home`` its folder's inputs are named
    from. ``program`` and ``options`` are digest and settings it was made with.
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

    def as_line(self) -> str:
        data = {
            "case": self.case_id, "path": self.path, "client": self.client,
            "folder": self.folder, "status": self.status.value, "program": self.program,
            "options": dict(self.options),
            "digest": self.digest,
            "inputs": [[i.name, i.sha256] for i in self.inputs],
            "files": [[f.name, f.sha256, f.size, f.mtime_ns] for f in self.files],
            "figures": self.figures.as_json() if self.figures else None,
            "problems": list(self.problems), "warnings": list(self.warnings),
        }
        return json.dumps(data, ensure_ascii=False, separators=(",", ":"))

    @classmethod
    def from_data(cls, data: dict) -> LedgerRecord:
        """The record of a line; TypeError, KeyError or ValueError if it is none."""
        figures = data["figures"]
        return cls(
            str(data["case"]), str(data["path"]), str(data["client"]), str(data["folder"]),
            CaseStatus(data["status"]), str(data["program"]), dict(data["options"]),
            str(data["digest"]), tuple(Input(str(n), str(s)) for n, s in data["inputs"]),
            tuple(_written(item) for item in data["files"]),
            Figures.from_json(figures) if figures is not None else None,
            tuple(map(str, data["problems"])), tuple(map(str, data["warnings"])),
        )


def _written(item: list) -> PlacedFile:
    name, sha256, size, mtime_ns = item
    return PlacedFile(str(name), str(sha256), int(size), int(mtime_ns))


@dataclass
class Ledger:
    """The records of an output folder.

    Attributes
    ----------
    file : Path
    records : dict of str to LedgerRecord
        The last record of each case file, by its path from the output folder.
    own : dict of str to set of PlacedFile
        Every file that a batch put there, by its path from the output folder; of documents
        of the whole batch, too.
    damaged : int
        PlainLines that could not be read.
    """

    file: Path
    records: dict[str, LedgerRecord] = field(default_factory=dict)
    own: dict[str, set[PlacedFile]] = field(default_factory=dict)
    documents: dict[str, PlacedFile] = field(default_factory=dict)
    damaged: int = 0

    @classmethod
    def read(cls, file: Path) -> Ledger:
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
                if "format" in data:
                    continue
                if "document" in data:
                    ledger._keep_document(_written(data["document"]))
                else:
                    ledger._keep(LedgerRecord.from_data(data))
            except (ValueError, TypeError, KeyError, AttributeError):
                ledger.damaged += 1
        return ledger

    def add(self, record: LedgerRecord) -> None:
        """Remember a case; on disk before this returns.

        Raises
        ------
        OSError
            It could not be written; the ledger is as it was.
        """
        self._append(record.as_line())
        self._keep(record)

    def add_document(self, written: PlacedFile) -> None:
        """Remember a document of the whole batch, before it is put in place."""
        self._append(self._document_line(written))
        self._keep_document(written)

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
        lines = [json.dumps({"format": FORMAT, "version": __version__})]
        lines += [self.records[key].as_line() for key in sorted(self.records)]
        lines += [self._document_line(self.documents[name]) for name in sorted(self.documents)]
        temporary = self.file.with_name(f"{NAME}.new")
        try:
            with temporary.open("wb") as stream:
                stream.write("\n".join([*lines, ""]).encode("utf-8"))
                stream.flush()
                os.fsync(stream.fileno())
            os.replace(temporary, self.file)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise

    @staticmethod
    def _document_line(w: PlacedFile) -> str:
        return json.dumps({"document": [w.name, w.sha256, w.size, w.mtime_ns]},
                          ensure_ascii=False)

    def _keep(self, record: LedgerRecord) -> None:
        self.records[record.path] = record
        self._own(record.files)

    def _keep_document(self, written: PlacedFile) -> None:
        self.documents[written.name] = written
        self._own((written,))

    def _own(self, files: Iterable[PlacedFile]) -> None:
        for written in files:
            self.own.setdefault(written.name, set()).add(written)

    def _append(self, line: str) -> None:
        with self.file.open("ab") as stream:
            before = stream.tell()
            try:
                stream.write(("\n" * (before > 0) + line + "\n").encode("utf-8"))
                stream.flush()
                os.fsync(stream.fileno())
            except BaseException:
                with contextlib.suppress(OSError):  # half a line is left out when read
                    os.truncate(self.file, before)
                raise


@cache
def program_digest() -> str:
    """SHA-256 over everything besides the case that an advisory's bytes depend on.

    Version and source of the program, tables, templates, typeface, and the versions of the
    libraries that draw and write.
    """
    digest = hashlib.sha256(f"{__version__}\0{tables_digest()}".encode())
    for root, wanted in ((PACKAGE, ("*.py",)), (templates_dir(), ("*",))):
        for pattern in wanted:
            for path in sorted(root.rglob(pattern)):
                if path.is_file() and "__pycache__" not in path.parts:
                    digest.update(path.relative_to(root).as_posix().encode() + b"\0")
                    digest.update(hashlib.sha256(path.read_bytes()).digest())
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


def as_written(made: Made, folder: str, mtime_ns: int) -> PlacedFile:
    """A finished file as it stands in the output folder."""
    return PlacedFile(f"{folder}/{made.name}" if folder else made.name, made.sha256, made.size,
                   mtime_ns)
