"""Keep and let go: other documents, legal holds, and the erasure of a client."""

import datetime as dt
import re
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from loambrief.archive.canonical import sha256
from loambrief.archive.disk import Disk
from loambrief.archive.log import LogLine
from loambrief.archive.queries import find, keep_until
from loambrief.archive.store import MOST_OBJECT, Store
from loambrief.errors import ImpossibleInput, RecordRefused, UnknownName
from loambrief.record.cards import record
from loambrief.record.freeze import Frozen
from loambrief.record.issue import CLIENT_BYTES
from loambrief.record.supersede import check_reason

ROLES = ("signed", "acknowledgement", "delivery", "lab", "photo", "other")
CAUSES = ("request", "retention", "mistake")
_NAME = re.compile(r"[\w][\w .,()+@-]{0,119}\Z")


@dataclass(frozen=True)
class Scope:
    """What a hold or an erasure is about: a client, or one advisory with all its revisions."""

    client: str | None = None
    number: str | None = None


def scope_of(store: Store, *, client: str | None = None, number: str | None = None) -> Scope:
    """The client or advisory that a user named.

    Raises
    ------
    UnknownName
        The archive has none of that name.
    ImpossibleInput
        Both or neither was given.
    """
    if (client is None) == (number is None):
        raise ImpossibleInput("a client or a number is wanted, one of the two")
    if client is not None:
        found = store.client_named(client)
        if found is None:
            known = tuple(r[0] for r in store.index.query("SELECT name FROM clients"))
            raise UnknownName("client", client, known)
        return Scope(client=found)
    if not store.index.query("SELECT 1 FROM numbers WHERE number = ?", (number,)):
        known = tuple(r[0] for r in store.index.query("SELECT DISTINCT number FROM numbers"))
        raise UnknownName("advisory", str(number), known)
    return Scope(number=number)


def plain_name(name: str) -> str:
    """A file's name fit for the record: one part, no leading dot, no control characters.

    Raises
    ------
    ImpossibleInput
        It could lead out of a folder or hide.
    """
    if not _NAME.match(name) or name in (".", ".."):
        raise ImpossibleInput(f"file name {name!r}: letters, digits, spaces and . , ( ) + @ - _")
    return name


def add(store: Store, paths: Sequence[Path], *, role: str = "other", number: str | None = None,
        revision: int | None = None, client: str | None = None, note: str = "") -> LogLine:
    """Put further files into the record: a signed copy, a letter, a lab's report.

    Parameters
    ----------
    paths : sequence of Path
        Regular files; links are not followed.
    role : str
        One of :data:`ROLES`.
    number, revision : str, int or None
        The advisory they belong to; no revision: the latest.
    client : str or None
        Name of the client, where they belong to no advisory.

    Raises
    ------
    RecordRefused
        A file is in the record already.
    UnknownName, ImpossibleInput, OSError
    """
    if role not in ROLES:
        raise ImpossibleInput(f"role {role!r}; one of {', '.join(ROLES)}")
    files = [Frozen(role, plain_name(path.name), Disk(path.parent).read(path.name, MOST_OBJECT))
             for path in paths]
    return enter_files(store, files, number=number, revision=revision, client=client, note=note)


def enter_files(store: Store, files: Sequence[Frozen], *, number: str | None = None,
                revision: int | None = None, client: str | None = None,
                note: str = "") -> LogLine:
    """Put files that were read, or just made, into the record; as :func:`add`."""
    if (number is None) == (client is None):
        raise ImpossibleInput("the files belong to a number or to a client, one of the two")
    if not files:
        raise ImpossibleInput("no file")
    with store.writing():
        public: dict[str, object] = {}
        if number is not None:
            found = record(store, number, revision)
            public = {"number": number, "revision": found["revision"], "client": found["client"]}
            who = found["card"]["client"]
        else:
            who = {"name": " ".join(str(client).split())}
            if not who["name"]:
                raise ImpossibleInput("a client without a name")
            public["client"] = (store.client_named(who["name"])
                                or f"c{secrets.token_hex(CLIENT_BYTES)}")
        for file in files:
            there = store.find_digest(sha256(file.content))
            if there is not None and (there.number, there.role) == (number, file.role):
                raise RecordRefused(f"{file.name} is in the record already (line {there.seq})")
        card = {"client": who, "note": note, "files": [f.as_json() for f in files],
                "text": "\n".join([note, *(f.name for f in files)])}
        return store.commit("add", public, card, [f.content for f in files])


def hold(store: Store, scope: Scope, reason: str) -> LogLine:
    """A legal hold: nothing of the scope is erased until it is released."""
    with store.writing():
        if _holds(store, scope, exact=True):
            raise RecordRefused("it is held already")
        return store.commit("hold", _public(scope), {"reason": check_reason(reason)})


def release(store: Store, scope: Scope, reason: str) -> LogLine:
    """End a legal hold."""
    with store.writing():
        if not _holds(store, scope, exact=True):
            raise RecordRefused("it is not held")
        return store.commit("release", _public(scope), {"reason": check_reason(reason)})


def _public(scope: Scope) -> dict[str, str]:
    return {"number": scope.number} if scope.number else {"client": str(scope.client)}


def _holds(store: Store, scope: Scope, *, exact: bool = False) -> list[str]:
    """Holds on the scope; with those on its parts and on what it is part of."""
    targets = {f"number {scope.number}" if scope.number else f"client {scope.client}"}
    if not exact:
        column, value = ("number", scope.number) if scope.number else ("client", scope.client)
        for number, client in store.index.query(
                f"SELECT DISTINCT number, client FROM lines WHERE {column} = ?", (value,)):
            targets |= {f"number {number}", f"client {client}"}
    held = {row[0] for row in store.index.query("SELECT target FROM holds")}
    return sorted(targets & held)


@dataclass(frozen=True)
class Erased:
    """What an erasure took and what it had to leave."""

    line: LogLine
    records: int
    """Events whose cards and files are gone."""
    left: tuple[str, ...]
    """Files of other clients that hold one of the erased names still, by name of the object: a
    lab's file shared by several clients, say. They need a look."""


def erase(store: Store, scope: Scope, *, cause: str = "request", reason: str = "") -> Erased:
    """Erase a client, or one advisory: cards, files and index rows go, the chain stays.

    Copies outside the archive (backups, mail, the client's own) are not touched.

    Parameters
    ----------
    cause : str
        One of :data:`CAUSES`.
    reason : str
        Why records go that are to be kept still; stays in the record, so no names in it.

    Raises
    ------
    RecordRefused
        A legal hold, nothing is left to erase, retention is not over by the archive's clock
        and is named as the cause or no reason is given, or the reason names the client.
    """
    if cause not in CAUSES:
        raise ImpossibleInput(f"cause {cause!r}; one of {', '.join(CAUSES)}")
    with store.writing():
        held = _holds(store, scope)
        if held:
            raise RecordRefused(f"a legal hold keeps it ({held[0].split()[0]}); release it first")
        seqs = _events(store, scope)
        if not seqs:
            raise RecordRefused("nothing is left to erase")
        kept = to_be_kept(store, scope)
        if kept and cause == "retention":
            raise RecordRefused(f"{kept[0]} by the settings")
        if kept and not reason.strip():
            raise RecordRefused(f"{'; '.join(kept)} by the settings: law or contract may want it; "
                                "erasing it all the same needs a reason (--reason)")
        names = set(_names(store, seqs))
        if any(name.decode("utf-8").casefold() in reason.casefold() for name in names):
            raise RecordRefused("the reason stays in the record: no names in it")
        card = {"reason": check_reason(reason)} if reason.strip() else None
        line = store.commit("erase", {**_public(scope), "erases": seqs, "cause": cause}, card)
        # a client with other records still may well be named
        known = scope.number and any(store.client_named(name.decode("utf-8")) for name in names)
        still = () if known else tuple(_mentions(store, names))
        return Erased(line, len(seqs), still)


def _events(store: Store, scope: Scope) -> list[int]:
    """Lines whose cards tell of the scope; of a client also those on its advisories alone."""
    about, value = "number = ?", scope.number
    if scope.client:
        about, value = ("(client = ?1 OR number IN (SELECT number FROM lines WHERE client = ?1))",
                        scope.client)
    return [row[0] for row in store.index.query(
        "SELECT seq FROM lines WHERE erased = 0 AND card IS NOT NULL AND op != 'erase' "
        f"AND {about} ORDER BY seq", (value,))]


def to_be_kept(store: Store, scope: Scope) -> list[str]:
    """What of the scope is to be kept still, and until when."""
    today = store.clock().astimezone(dt.UTC).date()
    numbers = {row[0] for row in store.index.query(
        "SELECT number FROM lines WHERE client = ? AND number IS NOT NULL", (scope.client,))}
    numbers |= {scope.number} if scope.number else set()
    kept = []
    for row in find(store):
        until = keep_until(store, row)
        if row.number in numbers and until is not None and until >= today:
            kept.append(f"{row.number} revision {row.revision} is to be kept until {until}")
    return kept


def _names(store: Store, seqs: Iterable[int]) -> Iterable[bytes]:
    for seq in seqs:
        row = store.index.query("SELECT card FROM lines WHERE seq = ?", (seq,))
        card = store.card(row[0][0]) or {}
        who = card.get("client") or {}
        for key in ("name", "contact", "email", "phone"):
            if who.get(key) and len(who[key]) >= 4:
                yield who[key].encode("utf-8")


def _mentions(store: Store, names: set[bytes]) -> Iterable[str]:
    for name in store.disk.names("objects"):
        content = store.disk.read(name, MOST_OBJECT).lower()
        if any(n.lower() in content for n in names):
            yield name
