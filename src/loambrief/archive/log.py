"""The log: one canonical JSON line an event, each naming the digest of the one before.

A line holds sequence number, time, kind of event, advisory number, and digests; no names and
no words of a client. What an event is about stands in its card, a file with random salt, of
which the line holds the digest alone. So a line commits to a card without revealing it, and
the card can be erased while the chain still holds.

``digest`` is the SHA-256 of the line without it, ``prev`` the digest of the line before. A
changed line no longer fits its own digest; a line that is changed together with its digest no
longer fits the next one. Who rewrites the whole log from some line on is found out only by a
head that was noted elsewhere.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from loambrief.archive.canonical import canonical, digest, parse

NAME = "log.jsonl"
FORMAT = 1
START = "0" * 64
"""What the first line names as the digest before it."""
LONGEST = 1024 * 1024
"""Bytes of a line."""
OPS = ("init", "settings", "issue", "supersede", "add", "withdraw", "hold", "release", "redact",
       "erase")
COMMON = ("seq", "time", "op", "prev", "digest", "card")


@dataclass(frozen=True)
class LogLine:
    """One event."""

    seq: int
    """From 1."""
    time: str
    """UTC, "2026-11-02T09:30:00Z"."""
    op: str
    """One of :data:`OPS`."""
    prev: str
    digest: str
    card: str | None = None
    """Digest of the card."""
    public: dict[str, Any] = field(default_factory=dict)
    """Further members: number, revision, client (a random name), erased sequence numbers..."""
    start: int = 0
    end: int = 0
    """``start``, ``end``: bytes of the log it takes; the line end included."""


@dataclass(frozen=True)
class Break:
    """Something that does not agree."""

    kind: str
    """Edited, removed, reordered, unfinished, missing, tampered, stray, link, index, anchor."""
    where: str
    """``log.jsonl:12`` or the file's name."""
    what: str

    def __str__(self) -> str:
        return f"{self.where}: {self.kind}: {self.what}"


def make_line(seq: int, time: str, op: str, prev: str, card: str | None,
              public: dict[str, Any], start: int) -> tuple[LogLine, bytes]:
    """A line and its bytes, the line end included."""
    members = {**public, "seq": seq, "time": time, "op": op, "prev": prev}
    if card is not None:
        members["card"] = card
    own = digest(members)
    raw = canonical({**members, "digest": own}) + b"\n"
    return LogLine(seq, time, op, prev, own, card, dict(public), start, start + len(raw)), raw


def read_line(raw: bytes, start: int) -> LogLine:
    """One line, checked by itself.

    Raises
    ------
    ValueError
        Not canonical, members missing, or its digest is not its own.
    """
    if len(raw) > LONGEST:
        raise ValueError(f"a line of {len(raw)} bytes")
    members = parse(raw)
    own = members.pop("digest", None)
    if own != digest(members):
        raise ValueError("its digest is not that of its content")
    seq, op, card = members.get("seq"), members.get("op"), members.get("card")
    if type(seq) is not int or op not in OPS or not (card is None or is_digest(card)) or not all(
        isinstance(members.get(name), str) for name in ("time", "prev")
    ):
        raise ValueError("members missing or of another kind")
    public = {k: v for k, v in members.items() if k not in COMMON}
    return LogLine(seq, members["time"], op, members["prev"], own, card, public, start,
                start + len(raw) + 1)


def is_digest(value: object) -> bool:
    return isinstance(value, str) and len(value) == 64 and set(value) <= set("0123456789abcdef")


def split(raw: bytes, start: int = 0) -> Iterator[tuple[bytes, int]]:
    """Whole lines without their ends, and where each starts."""
    place = 0
    while (end := raw.find(b"\n", place)) >= 0:
        yield raw[place:end], start + place
        place = end + 1


def whole_size(raw: bytes) -> int:
    """Bytes up to the last line end."""
    return raw.rfind(b"\n") + 1


def follow(raw: bytes, seq: int = 0, prev: str = START, start: int = 0) -> tuple[
        list[LogLine], Break | None]:
    """Lines that follow a known one, up to the first that does not.

    Parameters
    ----------
    raw : bytes
        Of the log, from ``start`` on.
    seq, prev : int, str
        Of the line before.
    start : int
        Where ``raw`` starts in the log.
    """
    lines: list[LogLine] = []
    rest = list(split(raw, start))
    for position, (text, at) in enumerate(rest):
        where = f"{NAME}:{seq + 1}"
        try:
            line = read_line(text, at)
        except ValueError as error:
            return lines, Break("edited", where, str(error))
        if line.seq != seq + 1:
            return lines, _out_of_order(line.seq, seq + 1, rest[position:], where)
        if line.prev != prev:
            what = ("it names another line before it; this line or the one before was replaced"
                    if line.seq > 1 else "the first line names a line before it")
            return lines, Break("edited", where, what)
        lines.append(line)
        seq, prev = line.seq, line.digest
    torn = len(raw) - whole_size(raw)
    if torn:
        return lines, Break("unfinished", f"{NAME}:{seq + 1}", f"{torn} bytes without a line end")
    return lines, None


def _out_of_order(found: int, wanted: int, rest: Iterable[tuple[bytes, int]],
                  where: str) -> Break:
    later = set()
    for text, at in rest:
        try:
            later.add(read_line(text, at).seq)
        except ValueError:
            continue
    if wanted in later or found < wanted:
        return Break("reordered", where, f"line {found} stands where line {wanted} belongs")
    gone = f"line {wanted}" if found == wanted + 1 else f"lines {wanted} to {found - 1}"
    return Break("removed", where, f"{gone} missing")
