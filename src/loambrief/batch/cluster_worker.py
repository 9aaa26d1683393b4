"""What runs inside a worker of a Dask cluster: a case at a time, each in a process apart.

The worker hands its cases to a :class:`~loambrief.batch.pool.Pool` of one process, so that
time limits hold, a case that takes its process down fails alone, and threads of one worker do
not wait for each other. The process is kept for the next case and ends when it is idle.
"""

from __future__ import annotations

import multiprocessing
import platform
import threading
import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace

from loambrief import __version__
from loambrief.batch.ledger import program_digest
from loambrief.batch.pool import DRAWING, Pool
from loambrief.batch.shared_storage import SharedStorage
from loambrief.batch.work import CaseOutcome, CaseStatus, Task, work
from loambrief.errors import ClusterFault

IDLE = 60.0
"""Seconds after which processes without work end."""
DIFFERENCES = {
    "version": "has Loambrief {there}, this machine {here}",
    "python": "runs Python {there}, this machine {here}",
    "digest": "has other tables, templates, source or libraries ({there:.12}, here {here:.12})",
    "zlib": "compresses with zlib {there}, this machine with {here}",
}


def program() -> dict[str, str]:
    """What has to be the same on every machine for the bytes to be the same."""
    return {"version": __version__, "digest": program_digest(), "zlib": zlib.ZLIB_RUNTIME_VERSION,
            "python": ".".join(platform.python_version_tuple()[:2])}


def refuse_another(worker: str, here: dict[str, str], there: dict[str, str]) -> None:
    """Raise ClusterFault if a worker's program is not the one of the run."""
    for name, words in DIFFERENCES.items():
        if there[name] != here[name]:
            raise ClusterFault(f"worker {worker} {words.format(there=there[name], here=here[name])}"
                               "; it would not make the same bytes: install the same there")


@dataclass(frozen=True)
class CaseMaker:
    """How the cases of a run are made, on whichever worker.

    ``program`` is that of the machine that sends them; ``storage`` is where finished files are
    left (None: they come with the answer); the rest as of
    :class:`~loambrief.batch.pool.Pool`.
    """

    run: str
    program: dict[str, str]
    storage: SharedStorage | None = None
    function: Callable[[Task], CaseOutcome] = work
    preload: tuple[str, ...] = DRAWING

    def __call__(self, task: Task) -> CaseOutcome | None:
        """Make a case in a thread of a worker; None if the run was given up."""
        from distributed import get_worker

        refuse_another(get_worker().address, self.program, program())
        pool = _taken(self)
        try:
            outcome = next(pool.run([task]), None)
        except BaseException:
            pool.close()
            raise
        finally:
            _given_back(pool)
        if self.storage is None or outcome is None or outcome.status is not CaseStatus.DONE:
            return outcome
        try:
            self.storage.put(outcome.number, outcome.content)
        except Exception as error:
            return outcome.failed(f"{outcome.path}: could not be written to {self.storage.url}: "
                                  f"{type(error).__name__}: {error}")
        return replace(outcome, content={})


_lock = threading.Lock()
_idle: list[Pool] = []
_busy: dict[Pool, str] = {}
_ended: set[str] = set()
_timers: list[threading.Timer] = []


def _taken(maker: CaseMaker) -> Pool:
    """A pool of one process: one that waits, or a new one."""
    multiprocessing.current_process().daemon = False  # or it may start no processes
    with _lock:
        pool = next((p for p in _idle if (p.function, p.preload)
                     == (maker.function, maker.preload)), None)
        if pool is None:
            pool = Pool(1, maker.function, maker.preload)
        else:
            _idle.remove(pool)
        _busy[pool] = maker.run
        if maker.run in _ended:
            pool.stop(now=True)
    return pool


def _given_back(pool: Pool) -> None:
    with _lock:
        if _busy.pop(pool) not in _ended:
            _idle.append(pool)
            while _timers:
                _timers.pop().cancel()
            _timers.append(threading.Timer(IDLE, end))
            _timers[0].daemon = True
            _timers[0].start()
            return
    pool.close()


def end(run: str = "") -> None:
    """End the processes that wait for work, and the cases of a run that are being made."""
    with _lock:
        _ended.add(run)
        for pool, own in _busy.items():
            if own == run:
                pool.stop(now=True)
        idle = list(_idle)
        _idle.clear()
    for pool in idle:
        pool.close()
