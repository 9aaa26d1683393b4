"""The worker processes of a Dask cluster, on other machines, in place of our own.

Cases are read and checked here, where their files are; what travels is the checked case, a
bounded number at a time. Dask makes a case again elsewhere when its worker is lost. What
comes back is checked against the digests it came with, and only workers with the very same
program are used.
"""

from __future__ import annotations

import contextlib
import gc
import ipaddress
import logging
import re
import secrets
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING

from loambrief.batch.pool import DRAWING, Pool
from loambrief.batch.shared_storage import NEEDS_EXTRA, SharedStorage
from loambrief.batch.work import CaseOutcome, CaseStatus, Stage, Task, made, work
from loambrief.errors import ClusterFault

if TYPE_CHECKING:
    from distributed import Client, Future

DEEP = 4
"""Cases on the way for each thread of the cluster: one in work, the others waiting."""
MOST_OUT = 256 * 2**20
"""Bytes on the way at a time, beyond one case."""
CONNECT = 15.0
"""Longest wait [s] for the scheduler, and then for its first worker."""
PATIENCE = 120.0
"""Longest time [s] without any worker before the run is given up."""
LOOK = 5.0
"""Seconds between two looks at the workers while nothing comes."""
TICK = 0.02
ADDRESS = re.compile(r"(tcp|tls)://(\[[0-9a-fA-F:.]+\]|[\w.-]+):\d{1,5}")


class Cluster:
    """Workers of a Dask cluster, for :class:`~loambrief.batch.pool.Pool`, which reads here.

    Parameters
    ----------
    address : str
        Of the scheduler: ``tcp://HOST:PORT``, or ``tls://HOST:PORT`` with the certificates
        that Dask's own configuration names.
    shared : str or None
        URL of storage that this machine and all workers share, through which finished files
        come back; None: they come through the cluster.
    function, here : callable
        Of a task, give an outcome: there, and for reading it here.

    Raises
    ------
    ClusterFault
        The extra is not installed, the scheduler cannot be reached, it has no workers, a
        worker has another program, or one cannot see the shared storage.
    """

    def __init__(self, address: str, *, shared: str | None = None, readers: int = 1,
                 function: Callable[[Task], CaseOutcome] = work,
                 here: Callable[[Task], CaseOutcome] = work,
                 preload: tuple[str, ...] = DRAWING, say: Callable[[str], None] = lambda _: None):
        self.address, self.size = address, 0
        self.run_name = f"loambrief-{secrets.token_hex(8)}"
        self.storage = SharedStorage(shared, self.run_name) if shared else None
        self.readers = Pool(readers, here, ())
        self._sent: dict[Future, Task] = {}
        self._read: dict[int, CaseOutcome] = {}
        self._stopped = self._now = False
        self.client = _connect(address)
        try:
            self._greet(function, preload)
        except BaseException:
            self.close()
            raise
        if unprotected(address):
            say("tcp:// is neither encrypted nor proves who is there; use tls:// unless you trust "
                "everyone on that network")

    def __enter__(self) -> Cluster:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def run(self, tasks: Iterable[Task]) -> Iterator[CaseOutcome]:
        """Outcomes as they are ready; raises ClusterFault if the cluster is lost."""
        from distributed import as_completed

        ready = self._ready(tasks)
        landed = as_completed(loop=self.client.loop)
        self._looked = self._had = time.monotonic()
        while True:
            while self._room() and (one := next(ready, None)) is not None:
                if isinstance(one, Task):
                    landed.add(self._submit(one))
                else:
                    yield one
            if not self._sent or self._now:
                return
            arrived = landed.next_batch(block=False)
            for future in arrived:
                outcome = self._outcome(future, self._sent.pop(future))
                if outcome is not None:
                    yield outcome
            if arrived:
                self._looked = self._had = time.monotonic()
            else:
                self._look()

    def stop(self, *, now: bool = False) -> None:
        """Send no more; with ``now``, give up what is on its way, too."""
        self._stopped = True
        self._now = self._now or now
        self.readers.stop(now=now)

    def close(self) -> None:
        """Leave the cluster as it was found."""
        self.readers.close()
        with contextlib.suppress(Exception):  # a cluster that is gone has stopped, too
            if self.client.status == "running":
                self.client.cancel(list(self._sent), force=True)
                self.client.unregister_worker_plugin(self.run_name)
        if self.storage is not None:
            self.storage.end()
        with _quiet():
            self.client.close(timeout=5)

    def _greet(self, function: Callable[[Task], CaseOutcome], preload: tuple[str, ...]) -> None:
        """See that there are workers, and that each is fit to be used."""
        from loambrief.batch.cluster_worker import CaseMaker, introduce, program, refuse_another

        try:
            self.client.wait_for_workers(1, timeout=CONNECT)
        except TimeoutError as error:
            raise ClusterFault(f"the scheduler at {self.address} has no workers") from error
        own = program()
        if self.storage is not None:
            self.storage.begin()
        with self._reachable():
            answers = self.client.run(introduce, self.storage, on_error="return")
        for worker, found in sorted(answers.items()):
            if isinstance(found, BaseException):
                raise ClusterFault(
                    f"worker {worker} has no Loambrief that runs, or one that knows no clusters; "
                    f"install {own} there ({found!r})")
            there, unseen = found
            refuse_another(worker, own, there)
            if self.storage is not None and unseen:
                raise ClusterFault(f"worker {worker} does not see what this machine wrote to "
                                   f"{self.storage.url}: {unseen}")
        with self._reachable():
            self.client.register_plugin(CaseMaker(self.run_name, own, self.storage, function,
                                                  preload))
        self._count()

    def _count(self) -> int:
        with self._reachable():
            threads = self.client.nthreads()
        self.size = sum(threads.values()) or self.size
        return len(threads)

    @contextlib.contextmanager
    def _reachable(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:  # dask's own errors of the line are of this kind
            raise self._lost() from error

    def _lost(self) -> ClusterFault:
        return ClusterFault(f"the scheduler at {self.address} was lost; run the batch again to "
                            "make the rest")

    def _ready(self, tasks: Iterable[Task]) -> Iterator[Task | CaseOutcome]:
        """Checked cases to be sent, and outcomes of those that end here."""
        for checked, some in groupby(tasks, key=lambda task: bool(task.loaded)):
            if checked:
                yield from some
            else:
                yield from self._checked(some)

    def _checked(self, tasks: Iterable[Task]) -> Iterator[Task | CaseOutcome]:
        """Tasks without a checked case: it is read here, as its files are."""
        waiting: dict[int, Task] = {}

        def reading() -> Iterator[Task]:
            for task in tasks:
                waiting[task.number] = task
                yield replace(task, stage=Stage.CHECK)

        for outcome in self.readers.run(reading()):
            task = waiting.pop(outcome.number)
            if outcome.status is not CaseStatus.CHECKED or task.stage is Stage.CHECK:
                yield outcome
            else:
                self._read[task.number] = replace(outcome, loaded=b"")
                yield replace(task, loaded=outcome.loaded)

    def _room(self) -> bool:
        return not self._stopped and len(self._sent) < DEEP * self.size \
            and sum(len(task.loaded) for task in self._sent.values()) <= MOST_OUT

    def _submit(self, task: Task) -> Future:
        from loambrief.batch.cluster_worker import make

        with self._reachable(), _quiet():
            future = self.client.submit(make, self.run_name, task, pure=False,
                                        key=f"{self.run_name}-{task.stage}-{task.number}")
        self._sent[future] = task
        return future

    def _look(self) -> None:
        """While nothing comes: is the cluster still there, has it workers?"""
        time.sleep(TICK)
        if self.client.status != "running":
            raise self._lost()
        now = time.monotonic()
        if now - self._looked < LOOK:
            return
        self._looked = now
        if self._count():
            self._had = now
        elif now - self._had > PATIENCE:
            raise ClusterFault(f"the scheduler at {self.address} has had no workers for "
                               f"{PATIENCE:g} s; run the batch again to make the rest")

    def _outcome(self, future: Future, task: Task) -> CaseOutcome | None:
        """What a future brings, with its files, if they are what was made there."""
        from distributed.scheduler import KilledWorker

        read = self._read.pop(task.number, None)
        if future.status not in ("finished", "error"):
            raise self._lost()
        blank = CaseOutcome(task.number, task.path, CaseStatus.FAILED)
        try:
            outcome = future.result()
            if outcome is None or outcome.status is not CaseStatus.DONE:
                return outcome
            if self.storage is not None:
                names = tuple(file.name for file in outcome.files)
                outcome = replace(outcome, content=self.storage.take(task.number, names))
        except ClusterFault:
            raise
        except KilledWorker:
            return blank.failed(f"{task.path}: the workers that made it were lost, one after "
                                "the other")
        except Exception as error:  # each driver of storage has errors of its own
            return blank.failed(f"{task.path}: the cluster could not make it or hand it over "
                                f"({type(error).__name__}: {error})")
        finally:
            future.release()
        came = tuple(made(name, content) for name, content in outcome.content.items())
        if not came or came != outcome.files:
            return outcome.failed(f"{task.path}: its files came back damaged; run the batch again")
        return replace(outcome, inputs=read.inputs) if read is not None else outcome


def unprotected(address: str) -> bool:
    """Whether what goes to a scheduler leaves this machine without encryption."""
    found = ADDRESS.fullmatch(address)
    if found is None or found[1] == "tls":
        return False
    try:
        return not ipaddress.ip_address(found[2].strip("[]")).is_loopback
    except ValueError:
        return found[2] != "localhost"


def _connect(address: str) -> Client:
    """A client of the scheduler at an address."""
    if not ADDRESS.fullmatch(address):
        raise ClusterFault(f"{address!r} is no address of a scheduler such as "
                           "tcp://10.0.0.5:8786 or tls://10.0.0.5:8786")
    try:
        import distributed
    except ImportError as error:
        raise ClusterFault(NEEDS_EXTRA) from error
    # A client that found no scheduler closes when it is collected, and would wait without end if
    # that happened while the next one starts.
    gc.collect()
    try:
        with _quiet():
            return distributed.Client(address, timeout=CONNECT, set_as_default=False,
                                      name="loambrief")
    except TypeError as error:  # of a line without its certificates
        tls = "distributed.comm.tls"
        raise ClusterFault(f"tls:// needs certificates: set {tls}.ca-file, {tls}.client.cert and "
                           ".key in Dask's configuration") from error
    except (OSError, ValueError) as error:
        raise ClusterFault(f"no scheduler answers at {address} within {CONNECT:g} s "
                           f"({' '.join(str(error).split())[:200]})") from error


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Dask's own log and advice say at length what our message says in a line."""
    import dask

    log = logging.getLogger("distributed")
    before = log.level
    log.setLevel(logging.CRITICAL)
    try:
        with dask.config.set({"distributed.admin.large-graph-warning-threshold": "1GiB"}):
            yield
    finally:
        log.setLevel(before)
