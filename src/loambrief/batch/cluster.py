"""The worker processes of a Dask cluster, on other machines, in place of our own.

Cases go out in chunks, a bounded number at a time, each with the files it names; the cluster
runs a chunk again elsewhere when its worker is lost. What comes back is checked against the
digests it came with. Only workers with the very same program are used.
"""

from __future__ import annotations

import contextlib
import ipaddress
import logging
import queue
import re
import secrets
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import chain

from loambrief.batch.chunk import Answer, Chunk, end, give_up, program, run_chunk
from loambrief.batch.exchange import NEEDS_EXTRA, Exchange
from loambrief.batch.parcel import (
    Parcel,
    could_be_read_here,
    faulty,
    parcel_of,
    task_of,
    work_parcel,
)
from loambrief.batch.pool import TICK, TRIES, Pool
from loambrief.batch.work import Outcome, Stage, Status, Task, work
from loambrief.errors import ClusterFault

CASES = 4
"""Cases of a chunk."""
DEEP = 2
"""Chunks on the way for each thread of the cluster: one in work, one that waits."""
MOST_BYTES = 8 * 2**20
"""Of one chunk, beyond its first case."""
MOST_OUT = 256 * 2**20
"""Bytes on the way at a time, beyond one chunk."""
CONNECT = 15.0
"""Longest wait [s] for the scheduler, and then for its first worker."""
PATIENCE = 120.0
"""Longest time [s] without any worker before the run is given up."""
LOOK = 5.0
"""Seconds between two looks at the workers while nothing comes."""
ADDRESS = re.compile(r"(tcp|tls)://(\[[0-9a-fA-F:.]+\]|[\w.-]+):\d{1,5}")
NOT_THERE = ("ModuleNotFoundError", "ImportError", "AttributeError")
"""How Dask tells that a worker lacks a module or a part of it."""


@dataclass
class _Flight:
    """A chunk on its way."""

    parcels: dict[int, Parcel]
    tries: int
    size: int


class Cluster:
    """Workers of a Dask cluster.

    Parameters
    ----------
    address : str
        Of the scheduler: ``tcp://HOST:PORT``, or ``tls://HOST:PORT`` with the certificates
        that Dask's own configuration names.
    shared : str or None
        URL of storage that this machine and all workers share, through which finished files
        come back; None: they come through the cluster.
    function : callable
        Of a parcel, gives an outcome; at the top level of a module the workers have.
    here : callable
        Of a task, gives an outcome; for cases that have to be judged on this machine.
    warm : str
        As of :class:`~loambrief.batch.pool.Pool`.
    say : callable
        Takes a line for the user.
    connect : float or None
        Longest wait for the scheduler [s]; :data:`CONNECT` if None.

    Attributes
    ----------
    size : int
        Cases that are made at a time: threads of all workers.

    Raises
    ------
    ClusterFault
        The extra is not installed, the scheduler cannot be reached, it has no workers, a
        worker has another program, or one cannot see the shared storage.
    """

    def __init__(self, address: str, *, shared: str | None = None,
                 function: Callable[[Parcel], Outcome] = work_parcel,
                 here: Callable[[Task], Outcome] = work,
                 warm: str = "loambrief.batch.warm", say: Callable[[str], None] = lambda _: None,
                 connect: float | None = None):
        self.address, self.function, self.here, self.warm = address, function, here, warm
        self.run_name = f"loambrief-{secrets.token_hex(8)}"
        self.exchange = Exchange(shared, self.run_name) if shared else None
        self.program = program()
        self.size = 0
        self._stopped = self._now = self._told = False
        self._flights: dict[object, _Flight] = {}
        self._landed: queue.SimpleQueue = queue.SimpleQueue()
        self._here: Pool | None = None
        self._sent = 0
        connect = CONNECT if connect is None else connect
        self.client = _connect(address, connect)
        try:
            self._greet(connect, say)
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Cluster:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def run(self, tasks: Iterable[Task]) -> Iterator[Outcome]:
        """Outcomes as they are ready; raises ClusterFault if the cluster is lost."""
        source = iter(tasks)
        self._seen = self._had = time.monotonic()
        while True:
            unread = list(self._send(source))
            if not self._flights and not unread:
                return
            yield from chain.from_iterable(map(self._at_home, unread))
            for future in self._arrived():
                yield from self._unpacked(future, self._flights.pop(future))

    def stop(self, *, now: bool = False) -> None:
        """Send no more; with ``now``, give up what is on its way, too."""
        self._stopped = True
        self._now = self._now or now
        if self._here is not None:
            self._here.stop(now=now)

    def close(self) -> None:
        """Leave the cluster as it was found."""
        if self._here is not None:
            self._here.close()
        if self._flights:
            self._give_up()
        with contextlib.suppress(Exception):
            if self.client.status == "running":
                self.client.run(end, on_error="ignore")
        if self.exchange is not None:
            self.exchange.end()
        with _quiet():
            self.client.close(timeout=5)

    # -- before the first case -----------------------------------------------------------

    def _greet(self, wait: float, say: Callable[[str], None]) -> None:
        """See that there are workers, and that each is fit to be used."""
        try:
            self.client.wait_for_workers(1, timeout=wait)
        except TimeoutError as error:
            raise ClusterFault(f"the scheduler at {self.address} has no workers") from error
        for worker, found in self._ask_all(program):
            self._fit(worker, found)
        if self.exchange is not None:
            self.exchange.begin()
            for worker, why in self._ask_all(self.exchange.seen):
                if why:
                    raise ClusterFault(f"worker {worker} does not see what this machine wrote to "
                                       f"{self.exchange.url}: {why}")
        self._count()
        if unprotected(self.address):
            say("tcp:// is neither encrypted nor proves who is there; use tls:// unless you trust "
                "everyone on that network")

    def _ask_all(self, question: Callable[[], object]) -> Iterator[tuple[str, object]]:
        with self._reachable():
            answers = self.client.run(question, on_error="return")
        yield from sorted(answers.items())

    def _fit(self, worker: str, found: object) -> None:
        if isinstance(found, Exception):
            text = f"{type(found).__name__}: {found}"
            if any(sign in text for sign in NOT_THERE):
                raise ClusterFault(f"worker {worker} has no Loambrief, or one that knows no "
                                   f"clusters; install {self.program.version} there ({text})")
            raise ClusterFault(f"worker {worker} cannot run Loambrief: {text}")
        differs = self.program.differs(found)
        if differs:
            raise ClusterFault(_refusal(worker, differs))

    def _count(self) -> int:
        with self._reachable():
            self.size = sum(self.client.nthreads().values()) or self.size
            return len(self.client.nthreads())

    @contextlib.contextmanager
    def _reachable(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:  # dask's own errors of the line are of this kind
            raise self._lost() from error

    def _lost(self) -> ClusterFault:
        return ClusterFault(f"the scheduler at {self.address} was lost; run the batch again to "
                            "make the rest")

    # -- there ---------------------------------------------------------------------------

    def _send(self, source: Iterator[Task]) -> Iterator[Task]:
        """Keep enough chunks on their way; gives the tasks that cannot be sent."""
        while not self._stopped and len(self._flights) < DEEP * self.size \
                and sum(flight.size for flight in self._flights.values()) <= MOST_OUT:
            parcels, size = {}, 0
            cases = CASES if self._sent >= self.size else 1  # the first ones spread out
            for task in source:
                parcel = parcel_of(task)
                if parcel is None:
                    yield task
                    continue
                parcels[parcel.number] = parcel
                size += parcel.size
                if len(parcels) >= cases or size >= MOST_BYTES:
                    break
            if not parcels:
                return
            self._submit(_Flight(parcels, 1, size))

    def _submit(self, flight: _Flight) -> None:
        import dask

        chunk = Chunk(self.run_name, self.program, tuple(flight.parcels.values()), self.function,
                      self.exchange, self.warm)
        self._sent += 1
        with self._reachable(), dask.config.set(
                {"distributed.admin.large-graph-warning-threshold": "1GiB"}):
            future = self.client.submit(run_chunk, chunk, pure=False,
                                        key=f"{self.run_name}-{self._sent}")
        self._flights[future] = flight
        future.add_done_callback(self._landed.put)

    def _arrived(self) -> list:
        """Futures that are done; none after a while, so that the caller can look around."""
        if self._now and not self._told:
            self._give_up()
        done = []
        with contextlib.suppress(queue.Empty):
            done.append(self._landed.get(timeout=TICK))
            while True:
                done.append(self._landed.get_nowait())
        done = [future for future in done if future in self._flights]
        if done:
            self._seen = self._had = time.monotonic()
        elif self._flights:
            self._look()
        return done

    def _look(self) -> None:
        """While nothing comes: is the cluster still there, has it workers?"""
        if self.client.status != "running":
            raise self._lost()
        now = time.monotonic()
        if now - self._seen < LOOK:
            return
        self._seen = now
        if self._count():
            self._had = now
        elif now - self._had > PATIENCE:
            raise ClusterFault(f"the scheduler at {self.address} has had no workers for "
                               f"{PATIENCE:g} s; run the batch again to make the rest")

    def _give_up(self) -> None:
        """Stop what is on its way, here and there."""
        self._told = True
        futures = list(self._flights)
        self._flights.clear()
        if self.client.status != "running":
            return
        with contextlib.suppress(Exception):  # a cluster that is gone has stopped, too
            self.client.cancel(futures, force=True)
            self.client.run(give_up, self.run_name, on_error="ignore")

    # -- back ----------------------------------------------------------------------------

    def _unpacked(self, future, flight: _Flight) -> Iterator[Outcome]:
        """The outcomes a future brings, each task's once."""
        if future.status == "finished":
            yield from self._delivered(future, flight)
        elif future.status == "error":
            yield from self._fell(future.exception(), flight)
        else:
            raise self._lost()

    def _delivered(self, future, flight: _Flight) -> Iterator[Outcome]:
        try:
            answer: Answer = future.result()
        except Exception as error:
            yield from self._fell(error, flight)
            return
        finally:
            future.release()
        if answer.refused:
            raise ClusterFault(_refusal(answer.worker, answer.refused))
        for outcome in answer.outcomes:
            parcel = flight.parcels.pop(outcome.number, None)
            if parcel is not None:
                yield from self._checked(parcel, outcome)
        if not self._now:
            for parcel in flight.parcels.values():
                yield _failed(parcel, f"worker {answer.worker} said nothing of it")

    def _checked(self, parcel: Parcel, outcome: Outcome) -> Iterator[Outcome]:
        """The outcome with its files, if they are what was made of what was sent."""
        if could_be_read_here(parcel, outcome):
            yield from self._judged_here(parcel, outcome)
            return
        if self.exchange is not None and outcome.status is Status.DONE:
            try:
                names = tuple(made.name for made in outcome.files)
                outcome = replace(outcome, content=self.exchange.take(parcel.number, names))
            except Exception as error:  # each driver has errors of its own
                yield outcome.failed(f"{parcel.path}: could not be fetched from "
                                     f"{self.exchange.url}: {type(error).__name__}: {error}")
                return
        wrong = faulty(parcel, outcome)
        yield outcome.failed(f"{parcel.path}: {wrong}; run the batch again") if wrong else outcome

    def _fell(self, error: BaseException, flight: _Flight) -> Iterator[Outcome]:
        """A chunk that could not be worked off: its cases go once more, each alone."""
        from distributed.scheduler import KilledWorker

        if self._now:
            return
        if isinstance(error, KilledWorker):
            why = "the workers that made it were lost, one after the other"
        else:
            why = f"the cluster could not run it ({type(error).__name__}: {error})"
        for parcel in flight.parcels.values():
            if flight.tries < TRIES and not self._stopped:
                self._submit(_Flight({parcel.number: parcel}, flight.tries + 1, parcel.size))
            else:
                yield _failed(parcel, why)

    # -- here ----------------------------------------------------------------------------

    def _at_home(self, task: Task) -> Iterator[Outcome]:
        """Work a task off on this machine, in a process of its own."""
        if self._here is None:
            self._here = Pool(1, self.here, self.warm)
        if not self._stopped:
            yield from self._here.run([task])

    def _judged_here(self, parcel: Parcel, outcome: Outcome) -> Iterator[Outcome]:
        """A case a worker could not read: the reader here has the last word.

        It may name a file that did not travel, and then it is made here as well.
        """
        task = task_of(parcel)
        for judged in self._at_home(replace(task, stage=Stage.CHECK)):
            if judged.status is not Status.CHECKED or parcel.stage is Stage.CHECK:
                yield judged
            elif faulty(parcel, judged):
                yield from self._at_home(task)
            else:
                yield outcome


def _failed(parcel: Parcel, why: str) -> Outcome:
    return Outcome(parcel.number, parcel.path, Status.FAILED, problems=(f"{parcel.path}: {why}",))


def _refusal(worker: str, differs: str) -> str:
    return f"worker {worker} {differs}; it would not make the same bytes: install the same there"


def unprotected(address: str) -> bool:
    """Whether what goes to a scheduler leaves this machine without encryption."""
    found = ADDRESS.fullmatch(address)
    if found is None or found[1] == "tls":
        return False
    try:
        return not ipaddress.ip_address(found[2].strip("[]")).is_loopback
    except ValueError:
        return found[2] != "localhost"


def _connect(address: str, wait: float):
    """A client of the scheduler at an address."""
    if not ADDRESS.fullmatch(address):
        raise ClusterFault(f"{address!r} is no address of a scheduler such as "
                           "tcp://10.0.0.5:8786 or tls://10.0.0.5:8786")
    try:
        import distributed
    except ImportError as error:
        raise ClusterFault(NEEDS_EXTRA) from error
    security = distributed.Security()
    if address.startswith("tls://") and not (
            security.tls_ca_file and security.tls_client_cert and security.tls_client_key):
        raise ClusterFault(
            "tls:// needs certificates: set distributed.comm.tls.ca-file, "
            "distributed.comm.tls.client.cert and .key in Dask's configuration")
    try:
        with _quiet():
            return distributed.Client(address, timeout=wait, set_as_default=False,
                                      security=security, name="loambrief")
    except (OSError, ValueError) as error:
        raise ClusterFault(f"no scheduler answers at {address} within {wait:g} s "
                           f"({' '.join(str(error).split())[:200]})") from error


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Dask's own log says at length what our message says in a line."""
    log = logging.getLogger("distributed")
    before = log.level
    log.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        log.setLevel(before)
