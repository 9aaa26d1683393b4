"""How far a batch is: a bar on a terminal, a line now and then elsewhere, or nothing."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, TextIO

from loambrief.batch.work import CaseOutcome, CaseStatus

if TYPE_CHECKING:
    from rich.progress import Progress as RichProgress

EVERY = 10.0
"""Seconds between two plain lines."""
STAGES = {"check": "checking", "make": "making", "issue": "issuing"}


class Progress:
    """Told of each case; the base of the others shows nothing."""

    def begin(self, stage: str, total: int) -> None:
        """A stage starts."""

    def step(self, outcome: CaseOutcome) -> None:
        """A case is through the stage."""

    def end(self) -> None:
        """The stage is over; said again, it changes nothing."""

    def say(self, text: str) -> None:
        """A line for the user."""

    def urgent(self, text: str) -> None:
        """A line from a signal handler, which may not wait for a stream in use."""


class PlainLines(Progress):
    """Plain lines, for logs and pipes.

    Parameters
    ----------
    clock : callable
        Seconds; tests set their own.
    """

    def __init__(self, stream: TextIO, clock: Callable[[], float] = time.monotonic):
        self.stream, self.clock = stream, clock
        self.stage, self.total = "", 0

    def begin(self, stage: str, total: int) -> None:
        self.stage, self.total, self.done, self.bad = stage, total, 0, 0
        self.started = self.told = self.clock()

    def step(self, outcome: CaseOutcome) -> None:
        self.done += 1
        self.bad += outcome.status in (CaseStatus.FAILED, CaseStatus.TIMED_OUT)
        if self.clock() - self.told >= EVERY:
            self.told = self.clock()
            self._tell()

    def end(self) -> None:
        if self.total:
            self._tell()
        self.total = 0

    def say(self, text: str) -> None:
        self.stream.write(text + "\n")
        self.stream.flush()

    def urgent(self, text: str) -> None:
        _at_once(self.stream, text)

    def _tell(self) -> None:
        failed = f", {self.bad} failed" if self.bad else ""
        speed, left = pace(self.done, self.total, self.clock() - self.started)
        self.say(f"{STAGES.get(self.stage, self.stage)}: {self.done} of {self.total}{failed}"
                 f"{speed}{left}")


def pace(done: int, total: int, seconds: float) -> tuple[str, str]:
    """Rate and remaining time in words; empty where they cannot be told yet."""
    if not done or seconds <= 0:
        return "", ""
    rate = done / seconds
    left = (total - done) / rate
    return f", {rate:.1f}/s", f", {duration(left)} left" if total > done else ""


def duration(seconds: float) -> str:
    """ "4.2 s", "45 s", "3 min", "2 h 05 min"."""
    if seconds < 10:
        return f"{seconds:.1f} s"
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d} min"


class Bar(Progress):
    """A bar with counts, rate and remaining time on a terminal."""

    def __init__(self, stream: TextIO):
        from rich.console import Console

        self.stream, self.console = stream, Console(file=stream)
        self.bar: RichProgress | None = None

    def begin(self, stage: str, total: int) -> None:
        from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
        from rich.progress import Progress as RichProgress

        self.stage, self.bad = STAGES.get(stage, stage), 0
        if not total:
            return
        bar = RichProgress(
            TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(),
            TextColumn("{task.fields[rate]}"), TimeRemainingColumn(), console=self.console,
        )
        self.task = bar.add_task(self.stage, total=total, rate="")
        self.bar = bar
        bar.start()

    def step(self, outcome: CaseOutcome) -> None:
        if self.bar is None:
            return
        self.bad += outcome.status in (CaseStatus.FAILED, CaseStatus.TIMED_OUT)
        speed = self.bar.tasks[0].speed
        self.bar.update(self.task, advance=1, rate=f"{speed:.1f}/s" if speed else "",
                        description=f"{self.stage} ({self.bad} failed)" if self.bad
                        else self.stage)

    def end(self) -> None:
        if self.bar is not None:
            self.bar.stop()
            self.bar = None

    def say(self, text: str) -> None:
        self.console.print(text, markup=False, highlight=False)

    def urgent(self, text: str) -> None:
        _at_once(self.stream, text)


def _at_once(stream: TextIO, text: str) -> None:
    with contextlib.suppress(OSError, ValueError):
        os.write(stream.fileno(), f"{text}\n".encode())


def progress_for(stream: TextIO, *, quiet: bool) -> Progress:
    """What suits where the words go."""
    if quiet:
        return Progress()
    return Bar(stream) if stream.isatty() else PlainLines(stream)
