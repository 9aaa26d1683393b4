"""Worker processes that may die, hang or be stopped without taking the run along.

Pebble kills a case that is over its time and tells which process died. Each process has a
Pebble pool of its own: a pipe or a lock torn by a dying process then belongs to it alone,
and it is always known whose case was lost.
"""

import contextlib
import multiprocessing
import os
import signal
import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from importlib import import_module
from multiprocessing.context import BaseContext
from threading import Thread
from typing import Self

from pebble import ProcessExpired, ProcessPool

from loambrief.batch.work import CaseOutcome, CaseStatus, Task, work
from loambrief.errors import LoambriefError

TICK = 0.2
"""Longest wait [s] before a request to stop is looked at."""
STARTING = 120.0
"""Time [s] a new process has to import the program; it does not count for the case."""
MOST_FALSE_STARTS = 5
"""Processes in a row that may end before they are ready."""
TRIES = 2
"""How often a case is started before a dying process counts against it."""
DRAWING = ("loambrief.pipeline", "loambrief.charts.ready", "loambrief.render.pdf")
"""What every process needs loaded before its first case."""
_ONE_THREAD = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")


class Executor(ABC):
    """Something that works off tasks: processes here, or a cluster elsewhere.

    ``size`` is the number of tasks it works on at a time.
    """

    size: int
    _stopped = _now = False

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    @abstractmethod
    def run(self, tasks: Iterable[Task]) -> Iterator[CaseOutcome]:
        """Outcomes as they are ready; tasks are drawn only as there is room for them."""

    def stop(self, *, now: bool = False) -> None:
        """Start no more tasks; with ``now``, give up those that run, too."""
        self._stopped = True
        self._now = self._now or now

    @abstractmethod
    def close(self) -> None:
        """End all workers; a busy one is killed, or left by a cluster."""


@dataclass
class _Try:
    """A case at work: in which process, for which time, since when."""

    task: Task
    process: ProcessPool
    number: int
    since: float = field(default_factory=time.monotonic)


class Pool(Executor):
    """Processes on this machine, started as there is work for them.

    Parameters
    ----------
    workers : int
        At least 1.
    function : callable
        Of a task, gives an outcome; at the top level of a module.
    preload : tuple of str
        Modules that a process imports before its first task.
    """

    def __init__(self, workers: int, function: Callable[[Task], CaseOutcome] = work,
                 preload: tuple[str, ...] = DRAWING):
        if workers < 1:
            raise ValueError(f"{workers} workers; at least 1")
        self.size, self.function, self.preload = workers, function, preload
        self._idle: list[ProcessPool] = []
        self._running: dict[Future, _Try] = {}
        self._again: list[tuple[Task, int]] = []
        self._false_starts = 0

    def run(self, tasks: Iterable[Task]) -> Iterator[CaseOutcome]:
        source = iter(tasks)
        while True:
            self._hand_out(source)
            if not self._running:
                return
            done, _ = wait(self._running, TICK, FIRST_COMPLETED)
            outcomes = [self._settled(future, self._running.pop(future)) for future in done]
            if self._now:
                self._give_up()
            self._look_for_false_starts()
            for outcome in filter(None, outcomes):
                self._hand_out(source)  # keep them going while the outcome is put away
                yield outcome

    def close(self) -> None:
        self._give_up()
        for process in self._idle:
            process.stop()
        for process in self._idle:
            process.join()
        self._idle.clear()

    def _hand_out(self, source: Iterator[Task]) -> None:
        while not self._stopped and len(self._running) < self.size:
            task, tries = self._again.pop() if self._again else (next(source, None), 0)
            if task is None:
                return
            self._start(task, tries + 1)

    def _start(self, task: Task, number: int) -> None:
        process = self._idle.pop() if self._idle else self._new()
        arguments = (self.function, task)
        with _environment(_ONE_THREAD):
            try:
                future = process.schedule(_answer, arguments, timeout=task.time_limit)
            except RuntimeError:  # it died while it was idle
                _leave(process)
                process = self._new()
                future = process.schedule(_answer, arguments, timeout=task.time_limit)
        self._running[future] = _Try(task, process, number)

    def _new(self) -> ProcessPool:
        return ProcessPool(1, initializer=_prepare, initargs=(self.preload,),
                           context=_context(self.preload))

    def _settled(self, future: Future, at: _Try) -> CaseOutcome | None:
        """The outcome of a try; None if the case goes once more."""
        try:
            outcome: CaseOutcome | None = future.result()
        except TimeoutError:
            outcome = _lost(at.task, CaseStatus.TIMED_OUT,
                            f"stopped after {at.task.time_limit:g} s, the time limit of a case")
        except ProcessExpired as error:
            _leave(at.process)
            self._false_starts = 0
            return self._died(at, _how(error.exitcode))
        except BrokenProcessPool:
            self._never_ready(at)
            return None
        self._false_starts = 0
        self._idle.append(at.process)
        return outcome

    def _died(self, at: _Try, how: str) -> CaseOutcome | None:
        """A process is gone: its case is tried once more before it counts as failed."""
        if self._now:
            return None
        if at.number < TRIES and not self._stopped:
            self._again.append((at.task, at.number))
            return None
        return _lost(at.task, CaseStatus.FAILED, f"the worker process ended ({how})"
                     + (f" {at.number} times" if at.number > 1 else "") + " while making it")

    def _never_ready(self, at: _Try) -> None:
        """A process ended before it took its case, which may be no fault of the case."""
        _leave(at.process)
        self._false_starts += 1
        if self._false_starts > MOST_FALSE_STARTS:
            raise LoambriefError("worker processes do not start; 'loambrief advise' on one case "
                                 "may show why")
        self._again.append((at.task, at.number - 1))

    def _look_for_false_starts(self) -> None:
        late = time.monotonic() - STARTING
        for future, at in list(self._running.items()):
            if at.since < late and not future.running() and not future.done():
                del self._running[future]
                self._never_ready(at)

    def _give_up(self) -> None:
        for at in self._running.values():
            at.process.stop()
        for at in self._running.values():
            at.process.join()
        self._running.clear()


def _leave(process: ProcessPool) -> None:
    """Part with a process whose pipe may be torn: nobody waits for its reader."""
    process.stop()
    Thread(target=process.join, daemon=True).start()


def _lost(task: Task, status: CaseStatus, why: str) -> CaseOutcome:
    return CaseOutcome(task.number, task.path, status, problems=(f"{task.path}: {why}",),
                       seconds=task.time_limit or 0.0 if status is CaseStatus.TIMED_OUT else 0.0)


def _how(code: int) -> str:
    if code >= 0:
        return f"exit code {code}"
    try:
        name = signal.Signals(-code).name
    except ValueError:
        name = str(-code)
    return f"signal {name}" + (", perhaps for want of memory" if code == -signal.SIGKILL else "")


def _context(preload: tuple[str, ...]) -> BaseContext:
    """A clean server that has the program loaded and forks workers; else fresh processes."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["loambrief.batch.work", *preload])
    return context


@contextlib.contextmanager
def _environment(values: dict[str, str]) -> Iterator[None]:
    """Workers are as many as cores, so each keeps its arithmetic to one thread."""
    unset = {name: value for name, value in values.items() if name not in os.environ}
    os.environ.update(unset)
    try:
        yield
    finally:
        for name in unset:
            os.environ.pop(name, None)


def _prepare(modules: tuple[str, ...]) -> None:
    for module in modules:
        import_module(module)


def _answer(function: Callable[[Task], CaseOutcome], task: Task) -> CaseOutcome:
    """What a process does with a task. The work catches its own errors; this is a last resort."""
    try:
        return function(task)
    except Exception as error:
        return _lost(task, CaseStatus.FAILED, f"{type(error).__name__}: {error}")
