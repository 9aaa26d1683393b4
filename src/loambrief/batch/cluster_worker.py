"""What runs inside a worker of a Dask cluster: a case at a time, each in a process apart."""

import multiprocessing
import sys
import zlib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace

from distributed import Worker, WorkerPlugin, get_worker
from fsspec import FSMap, get_mapper
from tornado.ioloop import PeriodicCallback

from loambrief import __version__
from loambrief.batch.ledger import program_digest
from loambrief.batch.pool import Pool
from loambrief.batch.work import CaseOutcome, Task
from loambrief.errors import ClusterFault

IDLE = 60.0
"""Seconds between two looks for processes without work, which then end."""


@dataclass(frozen=True)
class SharedStorage:
    """The folder ``run`` in the storage at ``url``, which is gone when the run is over.

    Any storage that fsspec knows and that this machine and the workers share (``file:///share``,
    ``s3://bucket/folder``), each with errors of its own; each machine needs its own credentials.
    """

    url: str
    run: str

    @property
    def files(self) -> FSMap:
        return get_mapper(f"{self.url.rstrip('/')}/{self.run}")

    def put(self, outcome: CaseOutcome) -> CaseOutcome:
        """The outcome without its files, now here; what a lost worker left is written over."""
        for n, data in enumerate(outcome.content.values()):
            self.files[f"{outcome.number}-{n}"] = data
        return replace(outcome, content={})

    def take(self, outcome: CaseOutcome) -> CaseOutcome:
        """The outcome with its files, which are removed here; KeyError if one is missing."""
        return replace(outcome, content={file.name: self.files.pop(f"{outcome.number}-{n}")
                                         for n, file in enumerate(outcome.files)})

    def begin(self) -> None:
        """Leave something for the workers to find; ClusterFault if it cannot be written."""
        try:
            self.files["probe"] = b"probe"
        except Exception as error:
            raise ClusterFault(f"{self.url} cannot be written to: {error!r}") from error

    def unseen(self) -> str:
        """Why what :meth:`begin` left is not to be found here; empty if it is."""
        try:
            self.files["probe"]
        except Exception as error:
            return f"does not see what this machine wrote to {self.url}: {error!r}"
        return ""

    def end(self) -> None:
        """Remove the folder; left-overs of a storage that is gone do not matter any more."""
        with suppress(Exception):
            self.files.fs.rm(self.files.root, recursive=True)


def program() -> str:
    """What has to be the same on every machine for the bytes to be the same."""
    return (f"Loambrief {__version__} (program {program_digest():.16}), Python "
            f"{sys.version_info[0]}.{sys.version_info[1]}, zlib {zlib.ZLIB_RUNTIME_VERSION}")


def unfit(own: str, storage: SharedStorage | None = None) -> str:
    """Why this machine is of no use to a run whose program is ``own``; empty if it is."""
    if (there := program()) != own:
        return (f"has {there}, this machine {own}; it would not make the same bytes: install the "
                "same there")
    return storage.unseen() if storage else ""


def make(run: str, task: Task) -> CaseOutcome | None:
    """Make a case of a run in a thread of a worker; None if the run was given up."""
    worker = get_worker()
    maker = worker.plugins.get(run)
    if not isinstance(maker, CaseMaker):  # it went with the run
        return None
    if why := unfit(maker.program):
        raise ClusterFault(f"worker {worker.address} {why}")
    outcome = maker.made(task)
    return maker.storage.put(outcome) if maker.storage and outcome else outcome


@dataclass(eq=False)
class CaseMaker(WorkerPlugin):
    """How a worker makes the cases of a run; gone from it when the run is over.

    Each thread has a :class:`~loambrief.batch.pool.Pool` of one process, which is kept for the
    next case and ends when it is idle. ``program`` is that of the machine that sends the cases;
    ``storage`` is where finished files are left (None: they come with the answer).
    """

    name: str
    program: str
    storage: SharedStorage | None
    function: Callable[[Task], CaseOutcome]
    preload: tuple[str, ...]

    def setup(self, worker: Worker) -> None:
        self.idle: list[Pool] = []
        self.busy: set[Pool] = set()
        self.sweep = PeriodicCallback(self.end_idle, IDLE * 1000)
        self.sweep.start()

    def teardown(self, worker: Worker) -> None:
        self.sweep.stop()
        for pool in self.busy.copy():
            pool.stop(now=True)
        self.end_idle()

    def end_idle(self) -> None:
        """End the processes that wait for work."""
        while self.idle:
            with suppress(IndexError):  # a thread took it
                self.idle.pop().close()

    def made(self, task: Task) -> CaseOutcome | None:
        multiprocessing.current_process().daemon = False  # or it may start no processes
        try:
            pool = self.idle.pop()
        except IndexError:
            pool = Pool(1, self.function, self.preload)
        self.busy.add(pool)
        try:
            return next(pool.run([task]), None)
        finally:
            self.busy.discard(pool)
            self.idle.append(pool)
            if not self.sweep.is_running():  # the run is over
                self.end_idle()
