"""What runs inside a worker of a Dask cluster: a few cases at a time, each in a process apart.

The worker hands its cases to a :class:`~loambrief.batch.pool.Pool` of one process, so that
time limits hold, a case that takes its process down fails alone, and threads of one worker do
not wait for each other. The process is kept for the next chunk and ends when it is idle.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import platform
import shutil
import tempfile
import threading
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from loambrief import __version__
from loambrief.batch import ledger
from loambrief.batch.exchange import Exchange
from loambrief.batch.parcel import Parcel
from loambrief.batch.pool import Pool
from loambrief.batch.work import Outcome, Status

IDLE = 60.0
"""Seconds after which a process without work ends."""


@dataclass(frozen=True)
class Program:
    """What has to be the same on every machine for the bytes to be the same.

    ``digest`` is over source, tables, templates, typeface and the versions of the libraries
    that shape bytes; ``python`` is "3.11", ``zlib`` the version of the compression in use.
    """

    version: str
    digest: str
    python: str
    zlib: str

    def differs(self, other: Program) -> str:
        """What is different about another one, in words; "" if nothing is."""
        if other == self:
            return ""
        if other.version != self.version:
            return f"has Loambrief {other.version}, this machine {self.version}"
        if other.python != self.python:
            return f"runs Python {other.python}, this machine {self.python}"
        if other.digest != self.digest:
            return (f"has Loambrief {self.version}, but other tables, templates, source or "
                    f"libraries ({other.digest[:12]}, here {self.digest[:12]})")
        return f"compresses with zlib {other.zlib}, this machine with {self.zlib}"


def program() -> Program:
    """The program of this process."""
    return Program(__version__, ledger.program_digest(),
                   ".".join(platform.python_version_tuple()[:2]), zlib.ZLIB_RUNTIME_VERSION)


@dataclass(frozen=True)
class Chunk:
    """A few cases for one worker.

    Attributes
    ----------
    run : str
        Name of the run.
    program : Program
        Of the machine that sent it.
    parcels : tuple of Parcel
    function : callable
        Of a parcel, gives an outcome.
    exchange : Exchange or None
        Where finished files are left; None: they come with the answer.
    warm : str
        As of :class:`~loambrief.batch.pool.Pool`.
    """

    run: str
    program: Program
    parcels: tuple[Parcel, ...]
    function: Callable[[Parcel], Outcome]
    exchange: Exchange | None = None
    warm: str = "loambrief.batch.warm"

    @property
    def size(self) -> int:
        return sum(parcel.size for parcel in self.parcels)


@dataclass(frozen=True)
class Answer:
    """What came of a chunk: the outcomes, or why the worker must not be used."""

    worker: str
    outcomes: tuple[Outcome, ...] = ()
    refused: str = ""


def run_chunk(chunk: Chunk) -> Answer:
    """Work off a chunk, in a thread of a worker."""
    from distributed import get_worker

    worker = get_worker()
    differs = chunk.program.differs(program())
    if differs:
        return Answer(worker.address, refused=differs)
    box = tempfile.mkdtemp(prefix="loambrief-", dir=worker.local_directory)
    try:
        parcels = [replace(parcel, box=box) for parcel in chunk.parcels]
        with _process(chunk) as pool:
            done = [_left(outcome, chunk.exchange) for outcome in pool.run(parcels)]
    finally:
        shutil.rmtree(box, ignore_errors=True)
    return Answer(worker.address, tuple(done))


def _left(outcome: Outcome, exchange: Exchange | None) -> Outcome:
    """The outcome with its files left in the shared storage."""
    if exchange is None or outcome.status is not Status.DONE:
        return outcome
    try:
        exchange.put(outcome.number, outcome.content)
    except Exception as error:  # each driver has errors of its own
        return outcome.failed(f"{outcome.path}: could not be written to {exchange.url}: "
                              f"{type(error).__name__}: {error}")
    return replace(outcome, content={})


_lock = threading.Lock()
_free: list[tuple[tuple, Pool]] = []
_busy: dict[Pool, str] = {}
_given_up: set[str] = set()
_timer: threading.Timer | None = None


@contextlib.contextmanager
def _process(chunk: Chunk) -> Iterator[Pool]:
    """A pool of one process: one that waits, or a new one."""
    kind = (chunk.function, chunk.warm)
    multiprocessing.current_process().daemon = False  # or it may start no processes
    with _lock:
        at = next((i for i, (of, _) in enumerate(_free) if of == kind), None)
        pool = _free.pop(at)[1] if at is not None else Pool(1, *kind)
        _busy[pool] = chunk.run
        if chunk.run in _given_up:
            pool.stop(now=True)
    try:
        yield pool
    except BaseException:
        with _lock:
            _busy.pop(pool)
        pool.close()
        raise
    with _lock:
        del _busy[pool]
        given_up = chunk.run in _given_up
        if not given_up:
            _free.append((kind, pool))
            _arm()
    if given_up:
        pool.close()


def _arm() -> None:
    """Count down anew to the end of idle processes; the lock is held."""
    global _timer
    if _timer is not None:
        _timer.cancel()
    _timer = threading.Timer(IDLE, end)
    _timer.daemon = True
    _timer.start()


def give_up(run: str) -> None:
    """Stop the cases of a run that are being made; its further chunks come back empty."""
    with _lock:
        _given_up.add(run)
        for pool, own in _busy.items():
            if own == run:
                pool.stop(now=True)


def end() -> None:
    """End processes that wait for work."""
    global _timer
    with _lock:
        idle = [pool for _, pool in _free]
        _free.clear()
        if _timer is not None:
            _timer.cancel()
            _timer = None
    for pool in idle:
        pool.close()
