"""Puts finished files in place: whole, known to the ledger first, and never over another's."""

import errno
import hashlib
import os
import shutil
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path

from loambrief.batch.ledger import NAME as LEDGER
from loambrief.batch.ledger import DocumentSet, Entry, Ledger, LedgerRecord, PlacedFile
from loambrief.batch.lock import HOME
from loambrief.errors import NotOurs

STAGE = "stage"
FULL = frozenset(getattr(errno, name) for name in ("ENOSPC", "EDQUOT", "EROFS", "EIO", "EFBIG")
                 if hasattr(errno, name))
"""Errors of the disk rather than of one file: going on would fail for every case."""


class OutputFolder:
    """The output folder of a batch; ``force`` replaces files that are not (any longer) its own."""

    def __init__(self, output: Path, *, force: bool = False):
        self.output, self.force = output, force
        self.home = output / HOME
        self.stage = self.home / STAGE
        self.ledger = Ledger(self.home / LEDGER)

    def open(self) -> None:
        """Read the ledger and clear away what a killed run left; the lock is held."""
        shutil.rmtree(self.stage, ignore_errors=True)
        self.stage.mkdir(exist_ok=True)
        for left in self.home.glob("*.new"):
            left.unlink(missing_ok=True)
        self.ledger = Ledger.read(self.ledger.file)

    def close(self) -> None:
        """Write the ledger anew and remove the staging folder."""
        shutil.rmtree(self.stage, ignore_errors=True)
        self.ledger.rewrite()

    def path(self, name: str) -> Path:
        return self.output / name

    def refused(self, name: str, sha256: str = "") -> str:
        """Why a file may not be written, or "".

        A file that already has the very bytes (``sha256``) is as good as ours.
        """
        path = self.path(name)
        folder = path.parent
        if folder != self.output and folder.is_symlink() and not \
                folder.resolve().is_relative_to(self.output.resolve()):
            return f"{folder} leads out of the output folder"
        if folder.exists() and not folder.is_dir():
            return f"{folder} is not a folder"
        if not path.exists() and not path.is_symlink():
            return ""
        if not path.is_file() or path.is_symlink():
            return f"{path} is not a plain file"
        if self.force or self.ledger.owns(name, path):
            return ""
        if sha256 and hashlib.sha256(path.read_bytes()).hexdigest() == sha256:
            return ""
        why = "was changed since it was made" if name in self.ledger.own \
            else "was not made by a batch"
        return f"{path} {why}; --force replaces it"

    def put_case(self, record: LedgerRecord, content: Mapping[str, bytes]) -> LedgerRecord:
        """Write the files of a case, all or none; ``content`` is by path from the output folder.

        Raises
        ------
        NotOurs
            A file of that name stands there that is not the batch's.
        OSError
            It could not be written; nothing is left of it.

        The record comes back with its files and their times.
        """
        def entry(files: tuple[PlacedFile, ...]) -> LedgerRecord:
            return replace(record, files=files)

        return entry(self._put(content, entry))

    def put_documents(self, kind: str, parts: str,
                      made: Callable[[], Iterable[tuple[str, bytes]]]) -> list[Path]:
        """Write documents of one kind, unless they stand as made from the same parts.

        Raises as :meth:`put_case`. Gives the files that were written.
        """
        known = self.ledger.sets.get(kind)
        if not self.force and known is not None and known.parts == parts and all(
                self.path(name).is_file() and self.ledger.owns(name, self.path(name))
                for name in known.names):
            return []
        paths, names = [], []
        for name, content in made():
            paths.append(self.put_document(name, content))
            names.append(name)
        self.ledger.add(DocumentSet(kind, parts, tuple(names)))
        return paths

    def put_document(self, name: str, content: bytes) -> Path:
        """Write a document of the whole batch; raises as :meth:`put_case`."""
        self._put({name: content}, lambda files: files[0])
        return self.path(name)

    def _put(self, content: Mapping[str, bytes],
             entry: Callable[[tuple[PlacedFile, ...]], Entry]) -> tuple[PlacedFile, ...]:
        """Write files, once the ledger has an entry of them."""
        staged = self._stage(content)
        files = tuple(written for written, _ in staged)
        try:
            self.ledger.add(entry(files))
            self._place(staged)
        finally:
            for _, temporary in staged:
                temporary.unlink(missing_ok=True)
        return files

    def _stage(self, content: Mapping[str, bytes]) -> list[tuple[PlacedFile, Path]]:
        """The files under names of their own, safely on disk."""
        staged: list[tuple[PlacedFile, Path]] = []
        try:
            for number, (name, data) in enumerate(content.items()):
                sha256 = hashlib.sha256(data).hexdigest()
                why = self.refused(name, sha256)
                if why:
                    raise NotOurs(why)
                temporary = self.stage / f"{number}.part"
                staged.append((PlacedFile(name, sha256, len(data), 0), temporary))
                with temporary.open("wb") as stream:
                    stream.write(data)
                    stream.flush()
                    os.fsync(stream.fileno())
                staged[-1] = (PlacedFile(name, sha256, len(data), temporary.stat().st_mtime_ns),
                              temporary)
        except BaseException:
            for _, temporary in staged:
                temporary.unlink(missing_ok=True)
            raise
        return staged

    def _place(self, staged: list[tuple[PlacedFile, Path]]) -> None:
        """Rename into place; should a later one fail, what is new is taken away again."""
        fresh: list[Path] = []
        try:
            for written, temporary in staged:
                target = self.path(written.name)
                target.parent.mkdir(parents=True, exist_ok=True)
                new = not target.exists()
                os.replace(temporary, target)
                if new:
                    fresh.append(target)
        except BaseException:
            for target in fresh:
                target.unlink(missing_ok=True)
            raise
