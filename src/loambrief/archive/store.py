"""The archive of issued advisories: one folder, written by one process at a time.

::

    objects/ab/cdef...   files by the SHA-256 of their content; cards among them
    log.jsonl            one line an event (archive.log)
    index.sqlite         what is searched (archive.index)
    pending.json         digests of the objects an unfinished event brings or takes
    lock, tmp/

An event is written in this order: pending, objects, log line, index, pending removed. The
line is what counts: an event without its line has not happened, and the objects it brought
are removed when the archive is opened next; an event with its line has, and what is missing
in the index is taken in then.
"""

from __future__ import annotations

import datetime as dt
import json
import secrets
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from loambrief.archive import index as indexing
from loambrief.archive import log
from loambrief.archive.canonical import canonical, parse, sha256
from loambrief.archive.disk import Disk, Hook, nothing
from loambrief.archive.index import Index, fold
from loambrief.archive.settings import Settings, fill
from loambrief.errors import ArchiveBroken, ArchiveFault, RecordRefused

PENDING = "pending.json"
MOST_OBJECT = 64 * 1024 * 1024
"""Bytes of one stored file."""
MOST_CARD = 4 * 1024 * 1024

Clock = Callable[[], dt.datetime]


def utc_now() -> dt.datetime:
    """The clock of everyday use."""
    return dt.datetime.now(dt.UTC)


@dataclass(frozen=True)
class StoredFile:
    """A stored or remembered file and the event it came with."""

    sha256: str
    name: str
    role: str
    """``sha256``, ``name``, ``role``: ``role`` is pdf, data, case, profile, guide, lab, words,
    notice, signed, redacted..."""
    seq: int
    time: str
    op: str
    line_digest: str
    """``seq``, ``time``, ``op``, ``line_digest``: of the log line."""
    number: str | None
    revision: int | None
    """``number``, ``revision``: of the advisory it belongs to."""
    status: str
    """Of that advisory now: issued, superseded, withdrawn; empty if it belongs to none."""


class Store:
    """An open archive. Use :meth:`create` and :meth:`open`; close it, or use it with ``with``.

    Parameters
    ----------
    clock : callable
        Time of new lines, aware.
    """

    def __init__(self, disk: Disk, clock: Clock):
        self.disk, self.clock = disk, clock
        self.read_only = False
        self.index: Index = None  # type: ignore[assignment]
        self.fault: log.Break | None = None
        self._inside = False

    # -- opening ------------------------------------------------------------------------

    @classmethod
    def create(cls, path: Path | str, settings: Settings | None = None, *, clock: Clock = utc_now,
               hook: Hook = nothing) -> Store:
        """Make an empty archive in a new or empty folder.

        Raises
        ------
        RecordRefused
            There is something in the folder.
        OSError
        """
        root = Path(path)
        disk = Disk(root, hook)
        root.mkdir(parents=True, exist_ok=True, mode=0o700)
        if disk.exists(log.NAME) and disk.size(log.NAME):
            raise RecordRefused(f"{root} is an archive already")
        if any(p.name not in ("lock", "tmp", log.NAME) for p in root.iterdir()):
            raise RecordRefused(f"{root} is not empty")
        root.chmod(0o700)
        with disk.locked():
            if not (disk.exists(log.NAME) and disk.size(log.NAME)):
                chosen = settings or Settings()
                _, raw = log.make_line(1, _stamp(clock()), "init", log.START, None, {
                    "format": log.FORMAT, "settings": chosen.as_json()}, 0)
                disk.append(log.NAME, raw, "log")
        return cls.open(root, clock=clock, hook=hook)

    @classmethod
    def open(cls, path: Path | str, *, clock: Clock = utc_now, hook: Hook = nothing) -> Store:
        """Open an archive; what an interrupted event left is put right first.

        Without the right to write, the index is made in memory and nothing is changed. A log
        that does not agree with the index can be read and checked, but not written.

        Raises
        ------
        ArchiveFault
            No archive there.
        ArchiveBroken
            A link or another thing stands where a file of the archive belongs.
        """
        root = Path(path)
        store = cls(Disk(root, hook), clock)
        if not store.disk.exists(log.NAME):
            raise ArchiveFault(f"{root} is not an archive; 'archive init' makes one")
        store.read_only = not store.disk.writable()
        if store.read_only:
            store._read_whole_log()
        else:
            with store.disk.locked(), store._index_errors("the log and the files are untouched"):
                store._catch_up()
        return store

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        if self.index is not None:
            self.index.close()

    @property
    def settings(self) -> Settings:
        return Settings(**json.loads(self.index.meta()["settings"]))

    @property
    def head(self) -> tuple[int, str]:
        """Sequence number and digest of the last line."""
        meta = self.index.meta()
        return int(meta["seq"]), meta["head"]

    # -- log, index and what an interruption left ----------------------------------------

    def lines(self) -> tuple[list[log.LogLine], log.Break | None]:
        """The whole log, up to the first line that does not fit."""
        return log.follow(self.disk.read(log.NAME))

    def _read_whole_log(self) -> None:
        lines, self.fault = self.lines()
        if self.fault is not None and self.fault.kind == "unfinished":
            self.fault = None
        self.index = Index(None)
        self.index.fill(self.with_cards(lines))

    def with_cards(self, lines: Sequence[log.LogLine]
                   ) -> Iterator[tuple[log.LogLine, Mapping | None]]:
        """Lines with their cards; None where a card is erased or not readable."""
        erased = {seq for line in lines for seq in line.public.get("erases", ())}
        for line in lines:
            yield line, None if line.seq in erased else self.card(line.card)

    def card(self, digest: str | None) -> Mapping | None:
        """A card, or None if it is not there or not what the digest says."""
        if digest is None:
            return None
        try:
            raw = self.disk.read(object_name(digest), MOST_CARD)
            return parse(raw) if sha256(raw) == digest else None
        except (OSError, ValueError, ArchiveBroken):
            return None

    def _catch_up(self) -> None:
        """Under the lock: bring the index up to the log, and finish or undo what was begun."""
        self._open_index()
        meta = self.index.meta()
        size, end = self.disk.size(log.NAME), int(meta["end"])
        self.fault = None
        if size < end:
            self.fault = log.Break("removed", f"{log.NAME}:{int(meta['seq'])}",
                                   "the log ends before the last line that the index has seen")
        elif not self._is_last(meta):
            self.fault = log.Break("edited", f"{log.NAME}:{meta['seq']}",
                                   "not the line that the index has seen")
        if self.fault is not None:
            return
        raw = self.disk.read_range(log.NAME, end, size)
        lines, fault = log.follow(raw, int(meta["seq"]), meta["head"], end)
        for line in lines:
            self.index.take(line, self.card(line.card))
        if fault is not None and fault.kind == "unfinished":
            self.disk.cut(log.NAME, end + log.whole_size(raw), "log")
            fault = None
        self.fault = fault
        if fault is None:
            self._finish()

    def _is_last(self, meta: Mapping[str, str]) -> bool:
        raw = self.disk.read_range(log.NAME, int(meta["start"]), int(meta["end"]))
        try:
            line = log.read_line(raw.rstrip(b"\n"), int(meta["start"]))
        except ValueError:
            return False
        return raw.endswith(b"\n") and line.digest == meta["head"]

    def _open_index(self) -> None:
        """The index; made again from the log if it is missing, damaged or of another version."""
        if self.index is not None:
            return
        path = self.disk.path(indexing.NAME)
        for ending in ("", *indexing.SIDE_FILES):
            if Path(f"{path}{ending}").is_symlink():
                raise ArchiveBroken(f"{path}{ending} is a link")
        try:
            self.index = Index(path, self.disk.hook)
            if self.index.ready() and self.index.query("PRAGMA quick_check") == [("ok",)]:
                return
        except sqlite3.DatabaseError:
            pass
        self._make_index()

    def _make_index(self) -> None:
        if self.index is not None:
            self.index.close()
        self.disk.hook("index:remove")
        indexing.remove_files(self.disk.root)
        raw = self.disk.read(log.NAME)
        lines, fault = log.follow(raw)
        if not lines:
            raise ArchiveBroken(str(fault or f"{self.disk.path(log.NAME)} is empty"))
        self.index = Index(self.disk.path(indexing.NAME), self.disk.hook)
        self.index.fill(self.with_cards(lines))

    def rebuild(self) -> None:
        """Make the index again from the log and the cards.

        Raises
        ------
        ArchiveBroken
            The log itself does not hold.
        """
        self._must_write()
        with self.disk.locked():
            fault = self.lines()[1]
            if fault is not None and fault.kind != "unfinished":
                raise ArchiveBroken(str(fault))
            with self._index_errors("the log and the files are untouched"):
                self._make_index()
                self._catch_up()

    def _finish(self) -> None:
        """Remove the objects that an event left without use, then its note."""
        if self.disk.exists(PENDING):
            note = parse(self.disk.read(PENDING, MOST_CARD))
            for digest in note["objects"]:
                if log.is_digest(digest) and not self.index.uses(digest):
                    self.disk.remove(object_name(digest), "object")
            if note.get("scrub"):
                self.index.scrub()
            self._clear_aside()
            self.disk.remove(PENDING, "pending")
        else:
            self._clear_aside()

    def _clear_aside(self) -> None:
        for name in list(self.disk.names("tmp")):
            self.disk.remove(name, "aside")

    # -- writing ------------------------------------------------------------------------

    def _must_write(self) -> None:
        if self.read_only:
            raise ArchiveFault(f"{self.disk.root} cannot be written")

    @contextmanager
    def writing(self) -> Iterator[Store]:
        """One process's turn to write; may be nested.

        Raises
        ------
        ArchiveFault
            Read-only, or in use by another process for too long.
        ArchiveBroken
            The log does not agree with what was known of it.
        """
        self._must_write()
        if self._inside:
            yield self
            return
        with self.disk.locked():
            with self._index_errors("nothing was entered"):
                self._catch_up()
            if self.fault is not None:
                raise ArchiveBroken(f"{self.disk.root}: {self.fault}; nothing is written until "
                                    "this is settled ('archive check')")
            self._inside = True
            try:
                yield self
            finally:
                self._inside = False

    def next_number(self, prefix: str, year: int) -> tuple[str, str, int]:
        """The next free number with its series and serial; only inside :meth:`writing`."""
        assert self._inside
        settings = self.settings
        prefix = settings.prefix or prefix
        series = fill(settings.pattern, prefix, year, None)
        serial = (self.index.query("SELECT max(serial) FROM numbers WHERE series = ?",
                                   (series,))[0][0] or 0) + 1
        while self.index.query("SELECT 1 FROM numbers WHERE number = ?",
                               (number := fill(settings.pattern, prefix, year, serial),)):
            serial += 1
        return number, series, serial

    def client_named(self, name: str) -> str | None:
        """The random name under which the log knows a client."""
        found = self.index.query("SELECT client FROM clients WHERE fold = ?", (fold(name),))
        return found[0][0] if found else None

    def commit(self, op: str, public: Mapping[str, Any], card: Mapping[str, Any] | None = None,
               contents: Sequence[bytes] = ()) -> log.LogLine:
        """Enter one event, all or nothing.

        Parameters
        ----------
        op : str
            One of :data:`loambrief.archive.log.OPS`.
        public : mapping
            Members of the line; no personal data.
        card : mapping or None
            What the event is about; random salt is added. ``files`` names the contents.
        contents : sequence of bytes
            Files to be stored.

        Raises
        ------
        OSError
            Disk full, no right...; nothing has happened then.
        """
        with self.writing():
            objects = {sha256(content): content for content in contents}
            too_large = max(map(len, objects.values()), default=0)
            if too_large > MOST_OBJECT:
                raise RecordRefused(f"a file of {too_large} bytes; at most {MOST_OBJECT}")
            named = None
            if card is not None:
                raw = canonical({**card, "salt": secrets.token_hex(32)})
                named = sha256(raw)
                objects[named] = raw
            fresh = {d: c for d, c in objects.items() if not self.disk.exists(object_name(d))}
            leaving = self._leaving(public.get("erases", ()))
            note: dict[str, Any] = {"objects": sorted([*fresh, *leaving])}
            if op == "erase":
                note["scrub"] = True
            try:
                self.disk.put(PENDING, canonical(note), "pending")
                for digest, content in sorted(fresh.items()):
                    self.disk.put(object_name(digest), content, "object")
                meta = self.index.meta()
                line, text = log.make_line(int(meta["seq"]) + 1, _stamp(self.clock()), op,
                                           meta["head"], named, dict(public), int(meta["end"]))
                self.disk.append(log.NAME, text, "log")
            except Exception:  # as if nothing had been begun; else the next opening undoes it
                with suppress(OSError, sqlite3.Error):
                    self._finish()
                raise
            with self._index_errors("the event is in the log; the next opening takes it into "
                                    "the index"):
                self.index.take(line, self.card(named))
                self._finish()
            return line

    @contextmanager
    def _index_errors(self, what: str) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise ArchiveFault(f"{self.disk.path(indexing.NAME)}: {error}; {what}") from error

    def _leaving(self, seqs: Sequence[int]) -> set[str]:
        """Objects that the cards of some lines are and name."""
        found: set[str] = set()
        for seq in seqs:
            found |= {d for (d,) in self.index.query(
                "SELECT card FROM lines WHERE seq = ? AND card IS NOT NULL UNION "
                "SELECT sha256 FROM files WHERE seq = ? AND stored = 1", (seq, seq))}
        return found

    # -- reading ------------------------------------------------------------------------

    def content(self, digest: str) -> bytes:
        """A stored file.

        Raises
        ------
        ArchiveBroken
            It is missing or is not what its name says.
        """
        if not log.is_digest(digest):
            raise ArchiveBroken(f"{digest!r} is not a digest")
        name = object_name(digest)
        try:
            raw = self.disk.read(name, MOST_OBJECT)
        except FileNotFoundError:
            raise ArchiveBroken(f"{name}: missing: a file of the record is not there") from None
        if sha256(raw) != digest:
            raise ArchiveBroken(f"{name}: tampered: its content is not what its name says")
        return raw

    def find_digest(self, digest: str) -> StoredFile | None:
        """The latest event that brought a file of this SHA-256, or None."""
        found = self.index.query(
            "SELECT f.sha256, f.name, f.role, l.seq, l.time, l.op, l.digest, l.number, "
            "l.revision, coalesce(n.status, '') FROM files f JOIN lines l ON l.seq = f.seq "
            "LEFT JOIN numbers n ON n.number = l.number AND n.revision = l.revision "
            "WHERE f.sha256 = ? ORDER BY l.seq DESC LIMIT 1", (digest.lower(),))
        return StoredFile(*found[0]) if found else None


def object_name(digest: str) -> str:
    return f"objects/{digest[:2]}/{digest[2:]}"


def _stamp(moment: dt.datetime) -> str:
    return moment.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
