"""The month's work under one lock: the cases, then the documents about all of them."""

import contextlib
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from loambrief.batch.documents import document_jobs, names_of
from loambrief.batch.lock import folder_lock
from loambrief.batch.output_folder import OutputFolder
from loambrief.batch.pool import Executor, Pool
from loambrief.batch.progress import Progress
from loambrief.batch.request import CaseEntry, Request, RunResult, WantedDocuments
from loambrief.batch.run import Batch
from loambrief.errors import NotOurs
from loambrief.mail.compose import NoLetter
from loambrief.report.own_words import with_own_words


@dataclass
class Month:
    """What a month's run came to.

    ``documents`` are the files that were written: those made from the same parts before stand and
    are not among them. ``no_letter`` names clients for whom no letter could be made.
    """

    result: RunResult
    documents: list[Path] = field(default_factory=list)
    no_letter: list[NoLetter] = field(default_factory=list)
    workers: int = 1


def cores() -> int:
    """Cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def run_month(
    request: Request,
    wanted: WantedDocuments | None = None,
    *,
    workers: int | None = None,
    progress: Progress | None = None,
    executor: Callable[[int], Executor] = Pool,
) -> Month:
    """Make a month's advisories and the documents about them.

    Parameters
    ----------
    wanted : WantedDocuments or None
        Which documents; None: the summary and the cover.
    workers : int or None
        All cores if None.
    executor : callable
        Of the number of workers, gives what works off the tasks.

    Raises
    ------
    FolderBusy
        Another batch is at work in the output folder.
    NotOurs
        A file that no batch made stands where a document of the batch would.
    OSError
        The output folder cannot be written to.
    """
    wanted, progress = wanted or WantedDocuments(), progress or Progress()
    count = min(workers or cores(), max(len(request.cases), 1))
    with folder_lock(request.output):
        store = OutputFolder(request.output, force=request.force)
        store.open()
        try:
            for name in names_of(wanted):
                why = store.refused(name)
                if why:
                    raise NotOurs(why)
            pool = executor(count)
            try:
                batch = Batch(request, pool, store, progress, letters=wanted.letters)
                with stoppable(batch.stop, progress):
                    result = batch.run()
            finally:
                progress.end()  # also after an error, so that the terminal is itself again
                pool.close()
            month = Month(result, workers=pool.size)
            if not result.disk:
                with with_own_words(request.options.own_words()):
                    _documents(month, request, wanted, store, progress)
        finally:
            with contextlib.suppress(OSError):  # the lines written so far stand
                store.close()
    return month


def _documents(month: Month, request: Request, wanted: WantedDocuments, store: OutputFolder,
               progress: Progress) -> None:
    """Write the documents; one that cannot be written ends the run like a full disk."""
    result = month.result
    started = time.perf_counter()
    entries = [CaseEntry(o, result.folders.get(o.number, ""), result.names[o.number])
               for o in result.ordered()]
    try:
        for job in document_jobs(entries, wanted, store, request.options,
                                 short=result.interrupted or bool(result.not_tried),
                                 no_letter=month.no_letter):
            month.documents += store.put_documents(job.kind, job.parts, job.make)
        if month.no_letter:
            store.ledger.sets.pop("letters", None)  # who gets none is told at each run
    except NotOurs as error:
        result.disk = str(error)
    except OSError as error:
        result.disk = f"{error.filename or request.output}: {error.strerror or error}"
    result.seconds["documents"] = time.perf_counter() - started


@contextlib.contextmanager
def stoppable(stop: Callable[..., None], progress: Progress) -> Iterator[None]:
    """Ctrl-C and a request to end: the first finishes what runs, the second gives it up.

    ``stop`` takes ``now``. A handler only sets a mark, so that no file is left between two states.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    asked = 0

    def ask(number: int, frame: object) -> None:
        nonlocal asked
        asked += 1
        stop(now=asked > 1)
        if asked == 1:
            progress.urgent("stopping: the cases in work are finished first; once more: at once")

    before = {name: signal.signal(name, ask) for name in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(name, handler)
