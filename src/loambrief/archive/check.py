"""Does an archive agree with its own log, down to the last byte?"""

import itertools
import sqlite3
from collections.abc import Iterator
from dataclasses import asdict, dataclass

from loambrief.archive import log
from loambrief.archive.canonical import parse, sha256
from loambrief.archive.index import Index
from loambrief.archive.log import Break, LogLine
from loambrief.archive.store import MOST_CARD, MOST_OBJECT, PENDING, Store, object_name
from loambrief.errors import ArchiveBroken


@dataclass(frozen=True)
class CheckOutcome:
    """Outcome of a check."""

    breaks: tuple[Break, ...]
    """The first one of the log, then of the files in order of their events, then of the index;
    empty if all is well."""
    lines: int
    files: int
    erased: int
    """``lines``, ``files``, ``erased`` (counted): log lines that hold, stored files that are what
    they should be, events that were erased."""
    seq: int
    head: str
    """``seq``, ``head``: of the last line that holds."""
    anchored: int | None = None
    """Line of the head that was to be found again; None if none was given or found."""
    notes: tuple[str, ...] = ()
    """What is not wrong but worth knowing."""

    @property
    def good(self) -> bool:
        return not self.breaks

    @property
    def first(self) -> Break | None:
        return self.breaks[0] if self.breaks else None

    def as_json(self) -> dict:
        return {"good": self.good, **asdict(self)}


def check(store: Store, head: str | None = None) -> CheckOutcome:
    """Check log, files and index.

    Parameters
    ----------
    head : str or None
        A head that was noted earlier; the log must still contain it.
    """
    lines, fault = store.lines()
    breaks: list[Break] = []
    notes: list[str] = []
    if fault is not None and fault.kind == "unfinished" and store.read_only:
        notes.append(f"{fault.where}: {fault.what}; removed when the archive is opened to write")
    elif fault is not None:
        breaks.append(fault)
    elif store.fault is not None:  # the log holds in itself, but the index has seen another
        breaks.append(store.fault)
    for before, after in itertools.pairwise(lines):
        if after.time < before.time:
            notes.append(f"{log.NAME}:{after.seq}: earlier than the line before")
    erased = {seq for line in lines for seq in line.public.get("erases", ())}
    found, used = _files(store, lines, erased)
    breaks += found
    if not store.disk.exists(PENDING):
        breaks += _strays(store, used)
    elif store.read_only:
        notes.append("an event was interrupted; opening the archive to write settles it")
    if fault is None and not store.read_only:
        breaks += _index(store, lines)
    anchored = None
    if head is not None:
        anchored = next((line.seq for line in lines if line.digest == head.strip().lower()), None)
        if anchored is None:
            breaks.append(Break("anchor", log.NAME, f"no line has the digest {head.strip()}"))
    last = lines[-1] if lines else None
    return CheckOutcome(tuple(breaks), len(lines), len(used) - len(found), len(erased),
                  last.seq if last else 0, last.digest if last else log.START, anchored,
                  tuple(notes))


def _files(store: Store, lines: list[LogLine], erased: set[int]) -> tuple[list[Break], set[str]]:
    """Every card and every file it names; each digest is looked at once."""
    breaks: list[Break] = []
    used: set[str] = set()

    def look(digest: str, what: str, most: int) -> bytes | None:
        """Content of an object, if it is what it should be."""
        used.add(digest)
        name = object_name(digest)
        try:
            raw = store.disk.read(name, most)
        except FileNotFoundError:
            breaks.append(Break("missing", name, what))
        except ArchiveBroken as error:
            kind = "link" if "link" in str(error) or "regular" in str(error) else "tampered"
            breaks.append(Break(kind, name, f"{what}: {error}"))
        else:
            if sha256(raw) == digest:
                return raw
            breaks.append(Break("tampered", name, f"{what}: its content is not what its name says"))
        return None

    for line in lines:
        if line.card is None or line.seq in erased or line.card in used:
            continue
        where = f"of line {line.seq}"
        raw = look(line.card, f"the card {where}", MOST_CARD)
        if raw is None:
            continue
        try:
            card = parse(raw)
        except ValueError as error:
            breaks.append(Break("tampered", object_name(line.card), f"the card {where}: {error}"))
            continue
        for file in card.get("files", ()):
            digest = file.get("sha256")
            if file.get("stored", True) and log.is_digest(digest) and digest not in used:
                look(digest, f"{file.get('role')} {where}", MOST_OBJECT)
    return breaks, used


def _strays(store: Store, used: set[str]) -> Iterator[Break]:
    """Files that no event brought."""
    known = {object_name(digest) for digest in used}
    for name in store.disk.names("objects"):
        if name not in known:
            yield Break("stray", name, "no event of the log brought this file")


def _index(store: Store, lines: list[LogLine]) -> Iterator[Break]:
    """The index against one made afresh."""
    fresh = Index(None)
    try:
        fresh.fill(store.with_cards(lines))
        wanted = fresh.dump()
        try:
            found = store.index.dump()
        except sqlite3.DatabaseError as error:
            yield Break("index", "index.sqlite", f"damaged: {error}")
            return
        for table in wanted:
            if wanted[table] != found[table]:
                yield Break("index", "index.sqlite",
                            f"table {table!r} is not what log and cards make it; "
                            "'archive rebuild' makes it again")
                return
    finally:
        fresh.close()
