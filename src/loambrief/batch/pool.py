"""Worker processes that may die, hang or be stopped without taking the run along.

Every worker has a pipe of its own and holds one task, so it is always known whose task is
lost when a worker dies, and one that has used up its time can be killed for good. (The
standard library's pool loses every waiting task with one dead worker, and cannot kill.)
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from importlib import import_module
from multiprocessing.connection import Connection, wait
from typing import Protocol

from loambrief.batch.work import Outcome, Status, Task, work
from loambrief.errors import LoambriefError

TICK = 0.2
"""Longest wait [s] before time limits and a request to stop are looked at."""
GRACE = 5.0
"""Time [s] an idle worker has to end by itself."""
STARTING = 120.0
"""Time [s] a new worker has to import the program; it does not count for the case."""
MOST_FALSE_STARTS = 5
"""Workers in a row that may end before they are ready."""
TRIES = 2
"""How often a case is started before a dying worker counts against it."""
_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
_READY = "ready"


class Executor(Protocol):
    """Something that works off tasks: worker processes here, or a cluster elsewhere."""

    size: int
    """Tasks it works on at a time."""

    def run(self, tasks: Iterable[Task]) -> Iterator[Outcome]:
        """Outcomes as they are ready, one for each task that was started."""
        ...

    def stop(self, *, now: bool = False) -> None:
        """Start no more tasks; with ``now``, give up those that run, too."""
        ...

    def close(self) -> None:
        """End all workers."""
        ...


@dataclass
class _Worker:
    process: multiprocessing.process.BaseProcess
    pipe: Connection
    task: Task | None = None
    tries: int = 0
    until: float | None = None
    ready: bool = False


class Pool:
    """Worker processes on this machine.

    Parameters
    ----------
    workers : int
        At least 1. A worker is started when there is work for it.
    function : callable
        Of a task, gives an outcome; at the top level of a module.
    warm : str
        Module with a function ``up`` that a worker calls before its first task; "": none.
    """

    def __init__(self, workers: int, function: Callable[[Task], Outcome] = work,
                 warm: str = "loambrief.batch.warm"):
        if workers < 1:
            raise ValueError(f"{workers} workers; at least 1")
        self.size, self.function, self.warm = workers, function, warm
        self._context = _start_method(warm)
        self._workers: list[_Worker] = []
        self._again: list[tuple[Task, int]] = []
        self._stopped = self._now = False
        self._never_ready = 0

    def __enter__(self) -> Pool:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def run(self, tasks: Iterable[Task]) -> Iterator[Outcome]:
        """Outcomes as they are ready. Tasks are drawn only as workers become free."""
        source = iter(tasks)
        while True:
            self._hand_out(source)
            busy = [w for w in self._workers if w.task is not None]
            if not busy:
                return
            for outcome in self._collect(busy):
                self._hand_out(source)  # keep the workers going while the outcome is put away
                yield outcome

    def stop(self, *, now: bool = False) -> None:
        """Start no more tasks; with ``now``, give up those that run, too."""
        self._stopped = True
        self._now = self._now or now

    def close(self) -> None:
        """End the workers; a busy one is killed."""
        for worker in self._workers:
            if worker.task is None and worker.ready:
                try:
                    worker.pipe.send(None)
                except OSError:
                    continue
            else:
                worker.process.kill()
        limit = time.monotonic() + GRACE
        for worker in self._workers:
            worker.process.join(max(0.0, limit - time.monotonic()))
            self._end(worker)
        self._workers.clear()

    @property
    def pids(self) -> tuple[int, ...]:
        """Process ids of the workers alive."""
        return tuple(w.process.pid or 0 for w in self._workers if w.process.is_alive())

    def _hand_out(self, source: Iterator[Task]) -> None:
        """Give each free worker a task, starting workers as needed."""
        while not self._stopped:
            free = next((w for w in self._workers if w.task is None), None)
            if free is None and len(self._workers) >= self.size:
                return
            if self._again:
                task, tries = self._again.pop()
            else:
                task, tries = next(source, None), 0
            if task is None:
                return
            if free is None:
                free = self._start()
            free.task, free.tries = task, tries + 1
            self._set_limit(free)
            with contextlib.suppress(OSError):  # it died while idle: seen when collecting
                free.pipe.send(task)

    def _start(self) -> _Worker:
        ours, theirs = self._context.Pipe()
        process = self._context.Process(target=_serve,
                                        args=(theirs, self.function, self.warm), daemon=True)
        with _one_thread():
            process.start()
        theirs.close()
        worker = _Worker(process, ours)
        self._workers.append(worker)
        return worker

    def _set_limit(self, worker: _Worker) -> None:
        limit = worker.task.time_limit if worker.task is not None else None
        if not worker.ready:
            limit = STARTING
        worker.until = None if limit is None else time.monotonic() + limit

    def _collect(self, busy: list[_Worker]) -> list[Outcome]:
        """Outcomes that are there now, and those of workers that died or ran out of time."""
        found: list[Outcome] = []
        by_pipe = {w.pipe: w for w in busy}
        for pipe in wait(list(by_pipe), timeout=TICK):
            worker = by_pipe[pipe]
            try:
                answer = worker.pipe.recv()
            except (EOFError, OSError):
                found += self._died(worker)
                continue
            if answer == _READY:
                worker.ready, self._never_ready = True, 0
                self._set_limit(worker)
                continue
            worker.task = worker.until = None
            found.append(answer)
        now = time.monotonic()
        for worker in busy:
            if worker.task is None:
                continue
            if self._now:
                self._drop(worker)
            elif worker.until is not None and now > worker.until:
                task = worker.task
                self._drop(worker)
                found.append(_lost(task, Status.TIMED_OUT, _over(worker, task)))
        return found

    def _died(self, worker: _Worker) -> list[Outcome]:
        """A worker is gone: its task is tried once more, alone, before it counts as failed."""
        task, tries = worker.task, worker.tries
        worker.process.join(GRACE)
        code = worker.process.exitcode
        self._drop(worker)
        if task is None or self._now:
            return []
        if not worker.ready:
            self._never_ready += 1
            if self._never_ready > MOST_FALSE_STARTS:
                raise LoambriefError(f"worker processes do not start ({_how(code)}); "
                                     "'loambrief advise' on one case may show why")
            self._again.append((task, tries - 1))
            return []
        if tries < TRIES and not self._stopped:
            self._again.append((task, tries))
            return []
        return [_lost(task, Status.FAILED, f"the worker process ended ({_how(code)})"
                      + (f" {tries} times" if tries > 1 else "") + " while making it")]

    def _drop(self, worker: _Worker) -> None:
        worker.process.kill()
        worker.process.join(GRACE)
        self._end(worker)
        self._workers.remove(worker)

    @staticmethod
    def _end(worker: _Worker) -> None:
        if worker.process.is_alive():
            worker.process.kill()
            worker.process.join(GRACE)
        worker.pipe.close()
        if not worker.process.is_alive():
            worker.process.close()


def _over(worker: _Worker, task: Task) -> str:
    if not worker.ready:
        return f"the worker process did not start within {STARTING:g} s"
    return f"stopped after {task.time_limit:g} s, the time limit of a case"


def _lost(task: Task, status: Status, why: str) -> Outcome:
    return Outcome(task.number, task.path, status, problems=(f"{task.path}: {why}",),
                   seconds=task.time_limit or 0.0 if status is Status.TIMED_OUT else 0.0)


def _how(code: int | None) -> str:
    if code is not None and code < 0:
        try:
            name = signal.Signals(-code).name
        except ValueError:
            name = str(-code)
        return f"signal {name}" + (", perhaps for want of memory" if -code == 9 else "")
    return f"exit code {code}"


def _start_method(warm: str):
    """A clean server that has the program loaded and forks workers; else fresh processes."""
    if "forkserver" in multiprocessing.get_all_start_methods():
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(["loambrief.batch.work", *filter(None, (warm,))])
        return context
    return multiprocessing.get_context("spawn")


@contextlib.contextmanager
def _one_thread() -> Iterator[None]:
    """Workers are as many as cores, so each keeps its arithmetic to one thread."""
    unset = [name for name in _ONE_THREAD if name not in os.environ]
    os.environ.update(dict.fromkeys(unset, "1"))
    try:
        yield
    finally:
        for name in unset:
            os.environ.pop(name, None)


def _serve(pipe: Connection, function: Callable[[Task], Outcome], warm: str) -> None:
    """A worker's life: task in, outcome out, until there is None or nobody left."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the run, which ends us in order
    if warm:
        import_module(warm).up()
    try:
        pipe.send(_READY)
        while (task := pipe.recv()) is not None:
            try:
                outcome = function(task)
            except Exception as error:  # the work catches its own; this is a last resort
                outcome = _lost(task, Status.FAILED, f"{type(error).__name__}: {error}")
            pipe.send(outcome)
    except (EOFError, BrokenPipeError, ConnectionResetError):
        return
