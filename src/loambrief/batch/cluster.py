"""The workers of a Dask cluster in place of our own; what travels and whom it trusts: MONTH.md."""

import contextlib
import logging
import re
import secrets
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, CancelledError
from dataclasses import replace
from itertools import groupby, starmap

import dask
from distributed import Client, Future, KilledWorker, Security, wait
from distributed.utils import silence_logging_cmgr

from loambrief.batch.cluster_worker import CaseMaker, SharedStorage, make, program, unfit
from loambrief.batch.pool import DRAWING, Executor, Pool
from loambrief.batch.work import CaseOutcome, CaseStatus, Stage, Task, made, work
from loambrief.errors import ClusterFault

DEEP, MOST_OUT = 4, 256 * 2**20
"""On the way at a time: cases for each thread of the cluster, and bytes beyond one case."""
CONNECT, PATIENCE, LOOK = 15.0, 120.0, 1.0
"""Longest wait [s] for the scheduler and its first worker; longest time without any worker
before the run is given up; longest wait until that, and a request to stop, are looked at."""
ADDRESS = re.compile(r"(tcp|tls)://(\[[0-9a-fA-F:.]+\]|[\w.-]+):\d{1,5}")
SAFE_LINE = re.compile(r"tls:|tcp://(localhost|127(\.\d+){3}|\[::1\]):")


class Cluster(Executor):
    """Workers of a Dask cluster that make cases; processes of this machine read them.

    Parameters
    ----------
    address : str
        Of the scheduler, ``tcp://`` or, with the certificates of Dask's settings, ``tls://``.
    shared : str or None
        URL of storage through which finished files come back; None: through the cluster.
    function, here : callable
        Of a task, give an outcome: there, and for reading it here.

    Raises
    ------
    ClusterFault
        The scheduler cannot be reached or is lost, it has no workers, a worker has another
        program, or one cannot see the shared storage.
    """

    def __init__(self, address: str, *, shared: str | None = None, readers: int = 1,
                 function: Callable[[Task], CaseOutcome] = work,
                 here: Callable[[Task], CaseOutcome] = work,
                 preload: tuple[str, ...] = DRAWING, say: Callable[[str], None] = lambda _: None):
        self.address, self.size = address, 0
        self.run_name = f"loambrief-{secrets.token_hex(8)}"
        self.storage = SharedStorage(shared, self.run_name) if shared else None
        self._sent: dict[Future, Task] = {}
        self._had = time.monotonic()
        with contextlib.ExitStack() as ends:
            self.client = _connect(address, ends)
            ends.callback(self._leave)
            with self._reachable():
                self._greet(function, preload)
            self.readers = ends.enter_context(Pool(readers, here, ()))
            self._ends = ends.pop_all()
        if not SAFE_LINE.match(address):
            say("tcp:// is neither encrypted nor proves who is there; use tls:// unless you trust "
                "everyone on that network")

    def run(self, tasks: Iterable[Task]) -> Iterator[CaseOutcome]:
        ready = self._ready(tasks)
        while True:
            while self._room() and (one := next(ready, None)) is not None:
                if isinstance(one, Task):
                    key = f"{self.run_name}-{one.stage}-{one.number}"
                    self._sent[self.client.submit(make, self.run_name, one, key=key)] = one
                else:
                    yield one
            if not self._sent or self._now:
                return
            with self._reachable():
                try:
                    with self.client.as_current():
                        done = wait(list(self._sent), LOOK, FIRST_COMPLETED).done
                    self._had = time.monotonic()
                except TimeoutError:
                    done = set()
                    self._count()
                for future in filter(Future.done, done):  # one lost since then is made anew
                    outcome = self._outcome(future, self._sent.pop(future))
                    if outcome is not None:
                        yield outcome

    def stop(self, *, now: bool = False) -> None:
        super().stop(now=now)
        self.readers.stop(now=now)

    def close(self) -> None:
        self._ends.close()

    def _leave(self) -> None:
        """Leave the cluster as it was found."""
        if self.client.status == "running":
            with contextlib.suppress(Exception):  # a cluster that is gone has stopped, too
                self.client.unregister_worker_plugin(self.run_name)
        if self.storage is not None:
            self.storage.end()
        self.client.close(timeout=5)

    def _greet(self, function: Callable[[Task], CaseOutcome], preload: tuple[str, ...]) -> None:
        """See that there are workers, and that each is fit to be used."""
        try:
            self.client.wait_for_workers(1, timeout=CONNECT)
        except TimeoutError as error:
            raise ClusterFault(f"the scheduler at {self.address} has no workers") from error
        own = program()
        if self.storage is not None:
            self.storage.begin()
        answers = self.client.run(unfit, own, self.storage, on_error="return")
        for worker, why in sorted(answers.items()):
            if isinstance(why, BaseException):
                why = ("has no Loambrief that runs, or one that knows no clusters; install "
                       f"{own} there ({why!r})")
            if why:
                raise ClusterFault(f"worker {worker} {why}")
        self.client.register_plugin(CaseMaker(self.run_name, own, self.storage, function, preload))
        self._count()

    def _count(self) -> None:
        """The threads of all workers are the size of the cluster; without any, wait a while."""
        if self.client.status != "running":
            raise self._lost()
        if threads := self.client.nthreads():
            self.size, self._had = sum(threads.values()), time.monotonic()
        elif time.monotonic() - self._had > PATIENCE:
            raise self._lost(f"has had no workers for {PATIENCE:g} s")

    @contextlib.contextmanager
    def _reachable(self) -> Iterator[None]:
        try:
            yield
        except (CancelledError, OSError) as error:  # Dask's own, of a line or scheduler that went
            raise self._lost() from error

    def _lost(self, how: str = "was lost") -> ClusterFault:
        return ClusterFault(f"the scheduler at {self.address} {how}; run the batch again to make "
                            "the rest")

    def _ready(self, tasks: Iterable[Task]) -> Iterator[Task | CaseOutcome]:
        """Checked cases to be sent, read here if they were not, and outcomes that end here."""
        waiting: dict[int, Task] = {}
        for checked, some in groupby(tasks, key=lambda task: bool(task.loaded)):
            if checked:
                yield from some
                continue
            for outcome in self.readers.run(replace(waiting.setdefault(task.number, task),
                                                    stage=Stage.CHECK) for task in some):
                task = waiting.pop(outcome.number)
                if outcome.status is not CaseStatus.CHECKED or task.stage is Stage.CHECK:
                    yield outcome
                else:
                    yield replace(task, loaded=outcome.loaded, inputs=outcome.inputs)

    def _room(self) -> bool:
        return not self._stopped and len(self._sent) < DEEP * self.size \
            and sum(len(task.loaded) for task in self._sent.values()) <= MOST_OUT

    def _outcome(self, future: Future, task: Task) -> CaseOutcome | None:
        """What a future brings, with its files, if they are what was made there."""
        outcome = CaseOutcome(task.number, task.path, CaseStatus.FAILED)
        why = "its files came back damaged; run the batch again"
        try:
            outcome = future.result()
            if outcome is None or outcome.status is not CaseStatus.DONE:
                return outcome
            if self.storage is not None:
                outcome = self.storage.take(outcome)
            if outcome.files and outcome.files == tuple(starmap(made, outcome.content.items())):
                return outcome
        except (CancelledError, ClusterFault):
            raise
        except KilledWorker:
            why = "the workers that made it were lost, one after the other"
        except Exception as error:  # each driver of storage has errors of its own
            why = f"the cluster could not make it or hand it over ({type(error).__name__}: {error})"
        finally:
            future.release()
        return outcome.failed(f"{task.path}: {why}")


def _connect(address: str, ends: contextlib.ExitStack) -> Client:
    """A client. Dask's log would say at length, until the end, what we say in a line."""
    if not ADDRESS.fullmatch(address):
        raise ClusterFault(f"{address!r} is no address of a scheduler such as "
                           "tcp://10.0.0.5:8786 or tls://10.0.0.5:8786")
    ends.enter_context(silence_logging_cmgr(logging.CRITICAL))
    ends.enter_context(dask.config.set({"distributed.admin.large-graph-warning-threshold": "1GiB"}))
    try:
        keys = (Security().get_connection_args("client").get("ssl_context")
                or dask.config.get("distributed.client.security-loader", None))
        if address.startswith("tls:") and not keys:
            raise ClusterFault("tls:// needs certificates: set distributed.comm.tls.ca-file, "
                               "distributed.comm.tls.client.cert and .key in Dask's configuration")
        return Client(address, timeout=CONNECT, set_as_default=False, name="loambrief")
    except (OSError, TypeError, ValueError) as error:
        raise ClusterFault(f"no scheduler answers at {address} within {CONNECT:g} s "
                           f"({' '.join(str(error).split())[:200]})") from error
