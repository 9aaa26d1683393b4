"""Small archives with invented content, and processes that die in the middle of an event."""

from __future__ import annotations

import datetime as dt
import os
import signal
from collections.abc import Callable
from itertools import count
from multiprocessing.connection import Connection
from pathlib import Path

from loambrief.archive.canonical import sha256
from loambrief.archive.store import Store

PEOPLE = ("Odessa Núñez", "Bram Tolliver", "Wil Okafor", "Ines Lachapelle")


def ticking(start: int = 0) -> Callable[[], dt.datetime]:
    """A clock that moves one minute each time it is read."""
    minutes = count(start)
    first = dt.datetime(2027, 3, 1, 8, 0, tzinfo=dt.UTC)
    return lambda: first + dt.timedelta(minutes=next(minutes))


def card_of(person: str, contents: list[bytes], **more: object) -> dict:
    """A card as an issued advisory has one."""
    files = [{"role": "pdf" if i == 0 else "case", "name": f"file-{i}", "sha256": sha256(c),
              "size": len(c), "stored": True} for i, c in enumerate(contents)]
    return {
        "client": {"name": person, "phone": "555-0199"}, "farm": f"{person} farm",
        "field": {"name": "Lower Bench", "id": "LB"}, "crop": "maíz", "case_id": "lower-bench",
        "date": "2027-03-01", "valid_until": "2027-09-30", "inputs": sha256(contents[0]),
        "actions": [{"rank": 1, "id": "acidity.lime", "title": "Lime: 1.5 ton/ac",
                     "material": "Cal agrícola"}],
        "dues": [{"due": "2028-03-01", "what": "Test pH again"}],
        "files": files, "text": f"{person} lime for the lower bench; acedera, señal débil",
        **more,
    }


def issue_one(store: Store, person: str = PEOPLE[0], *, body: bytes = b"", year: int = 2027) -> str:
    """An advisory with made-up content; its number."""
    with store.writing():
        number, series, serial = store.next_number("QF", year)
        contents = [f"%PDF {number} for {person}".encode() + body, b"case of " + person.encode()]
        client = store.client_named(person) or "c" + sha256(person.encode())[:8]
        store.commit("issue", {"number": number, "revision": 1, "series": series,
                               "serial": serial, "client": client},
                     card_of(person, contents), contents)
    return number


def supersede_one(store: Store, number: str, person: str) -> None:
    with store.writing():
        revision = 1 + store.index.query("SELECT max(revision) FROM numbers WHERE number = ?",
                                         (number,))[0][0]
        contents = [f"%PDF {number} r{revision} for {person}".encode(), b"case of "
                    + person.encode()]
        store.commit("supersede", {"number": number, "revision": revision,
                                   "client": store.client_named(person)},
                     card_of(person, contents, reason="new prices"), contents)


def withdraw_one(store: Store, number: str, person: str) -> None:
    with store.writing():
        content = f"notice {number} for {person}".encode()
        client = store.client_named(person)
        store.commit("withdraw", {"number": number, "revision": 1, "client": client},
                     {"reason": "swapped", "client": {"name": person}, "files": [
                         {"role": "notice", "name": "n.pdf", "sha256": sha256(content),
                          "size": len(content), "stored": True}]}, [content])


class Steps:
    """A hook that counts steps, and acts at one of them."""

    def __init__(self, at: int | None = None, act: Callable[[], None] | None = None):
        self.at, self.act, self.seen = at, act, []

    def __call__(self, step: str) -> None:
        self.seen.append(step)
        if self.act is not None and len(self.seen) == self.at:
            self.act()


def die() -> None:
    """End at once, as if the power had gone: no handler, no flush, no tidying."""
    os.kill(os.getpid(), signal.SIGKILL)


def apart(work: Callable[..., None], *given: object) -> int:
    """Do something in a process of its own.

    Returns
    -------
    int
        0 if it ended by itself, 1 if it raised, -9 if it was killed.
    """
    child = os.fork()
    if child == 0:
        try:
            work(*given)
        except BaseException:
            os._exit(1)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def serve_apart(pipe: Connection) -> None:
    """Do what comes through a pipe :func:`apart`, without waiting for the disk, until it ends."""
    os.fsync = lambda handle: None
    while work := pipe.recv():
        pipe.send(apart(*work))


def here(work: Callable[..., None], *given: object) -> int:
    """Do something that nothing kills in this process, for less; 0 or 1 as :func:`apart`."""
    try:
        work(*given)
    except Exception:
        return 1
    return 0


def every_byte(folder: Path) -> bytes:
    """Names and content of everything in a folder, in lower case."""
    parts = []
    for path in sorted(folder.rglob("*")):
        parts.append(path.name.encode())
        if path.is_file():
            parts.append(path.read_bytes())
    return b"\n".join(parts).lower()
