"""A batch from end to end: what is unchanged, check the rest, make it, put it away.

Cases are worked on side by side and put away as they come; only this process writes. A fault
of a case is that case's; a fault of the disk ends the run, with whole files only.
"""

import os
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from loambrief.batch.case_finder import peek_id, peek_line
from loambrief.batch.folder_names import file_stem, folder_names
from loambrief.batch.ledger import LedgerRecord, inputs_unchanged, program_digest
from loambrief.batch.output_folder import FULL, OutputFolder
from loambrief.batch.pool import Executor
from loambrief.batch.progress import Progress
from loambrief.batch.request import Request, RunResult
from loambrief.batch.work import CaseOutcome, CaseStatus, Stage, Task
from loambrief.errors import NotOurs

MOST_KEPT = 256 * 2**20
"""Bytes of checked cases kept between checking and making; beyond, cases are read again."""


class Batch:
    """One run over one output folder, whose lock is held.

    Parameters
    ----------
    store : OutputFolder
        Opened.
    letters : bool
        Say before anything is made for whom no letter will be possible.
    """

    def __init__(self, request: Request, executor: Executor, store: OutputFolder,
                 progress: Progress | None = None, *, letters: bool = False):
        self.request, self.executor, self.store = request, executor, store
        self.progress = progress or Progress()
        self.letters = letters
        self.options = request.options.as_data()
        self._keys = [self._key(path) for path in request.cases]
        self.result = RunResult(len(request.cases), damaged=store.ledger.damaged,
                             names=dict(enumerate(self._keys)))
        self._folders = {r.client: r.folder for r in store.ledger.records.values() if r.folder}
        own = set(self._keys)
        self._elsewhere = {(r.folder, r.case_id.casefold()): key
                           for key, r in store.ledger.records.items()
                           if r.status.good and key not in own}
        self._ids: dict[str, int] = {}
        self._kept = 0

    def run(self) -> RunResult:
        """Everything up to the files of the cases."""
        with self._timed("unchanged"):
            todo = [n for n in range(self.result.total) if not self._settled(n)]
            # ids of unchanged cases are taken; two of one id were never both made
            self._ids = {o.case_id.casefold(): n for n, o in self.result.outcomes.items()
                         if o.case_id}
        checked: dict[int, CaseOutcome] = {}
        if self.request.as_you_go:
            self._refuse_doubles({n: peek_id(self.request.cases[n]) for n in todo})
            todo = [n for n in todo if n not in self.result.outcomes]
        else:
            with self._timed("check"):
                checked = self._check(todo)
            todo = sorted(checked)
        with self._timed("make"):
            self._make(todo, checked)
        return self.result

    def stop(self, *, now: bool = False) -> None:
        """Finish what runs, start nothing more; with ``now``, give up what runs."""
        self.result.interrupted = True
        self.executor.stop(now=now)

    # -- what is unchanged -------------------------------------------------------------

    def _key(self, path: Path) -> str:
        """The case file as seen from the output folder, so that both may move together."""
        home = Path(os.path.abspath(path))
        try:
            return Path(os.path.relpath(home, os.path.abspath(self.request.output))).as_posix()
        except ValueError:  # another drive
            return home.as_posix()

    def _settled(self, number: int) -> bool:
        """Whether a case needs no work; its outcome is then known."""
        record = self.store.ledger.records.get(self._keys[number])
        if self.request.only_failed and (record is None or record.status.good):
            if record is not None:
                self._skip(number, record)
            return True
        if self.request.force or record is None or not record.status.good:
            return False
        if record.program != program_digest() or record.options != self.options:
            return False
        if not inputs_unchanged(record, self.request.cases[number].parent):
            return False
        if not all(self.store.path(w.name).is_file() for w in record.files):
            return False
        self._skip(number, record)
        return True

    def _skip(self, number: int, record: LedgerRecord) -> None:
        """Not made again: its files stand, unless somebody changed them."""
        outcome = CaseOutcome(number, str(self.request.cases[number]), CaseStatus.SKIPPED,
                          record.case_id, record.client, record.digest, record.inputs,
                          figures=record.figures, warnings=record.warnings)
        changed = [why for w in record.files if (why := self.store.refused(w.name))]
        gone = [w.name for w in record.files if not self.store.path(w.name).exists()]
        if changed or gone:
            missing = [f"{self.store.path(name)} is gone; run without --only-failed"
                       for name in gone]
            self._note(outcome.failed(*changed, *missing))
            return
        self.result.folders[number] = record.folder
        self._note(outcome)

    # -- checking ----------------------------------------------------------------------

    def _tasks(self, numbers: Iterable[int], stage: Stage,
               checked: dict[int, CaseOutcome]) -> Iterator[Task]:
        for number in numbers:
            known = checked.get(number)
            yield Task(number, str(self.request.cases[number]), stage, self.request.options,
                       self.request.time_limit, known.digest if known else "",
                       known.loaded if known else b"")

    def _check(self, todo: list[int]) -> dict[int, CaseOutcome]:
        """All cases read and checked; what is wrong with any is known before one is made."""
        checked: dict[int, CaseOutcome] = {}
        self.progress.begin("check", len(todo))
        for outcome in self.executor.run(self._tasks(todo, Stage.CHECK, {})):
            self.progress.step(outcome)
            if outcome.status is CaseStatus.CHECKED:
                self._kept += len(outcome.loaded)
                keep = self._kept <= MOST_KEPT
                checked[outcome.number] = outcome if keep else replace(outcome, loaded=b"")
            else:
                self._put_failure(outcome)
        self.progress.end()
        if self.letters:
            self.result.told = frozenset(o.no_letter for o in checked.values() if o.no_letter)
            for line in sorted(self.result.told):
                self.progress.say(line)
        self._refuse_doubles({n: o.case_id for n, o in checked.items()})
        checked = {n: o for n, o in checked.items() if n not in self.result.outcomes}
        self._folders = folder_names((o.client for o in checked.values()), self._folders)
        for number, outcome in list(checked.items()):
            folder = self._folders[outcome.client]
            stem = f"{folder}/{file_stem(outcome.case_id)}"
            names = [f"{stem}.{ending}" for ending in self.request.options.endings]
            refused = [why for name in names if (why := self.store.refused(name))]
            taken = self._other_owner(outcome, folder)
            if taken:
                self._put_failure(outcome.failed(taken))
                del checked[number]
            elif refused and any(name in self.store.ledger.own for name in names):
                # (without a ledger, a file may be what would be made: decided when it is)
                self._put_failure(outcome.failed(*refused))
                del checked[number]
        return checked

    def _refuse_doubles(self, ids: dict[int, str]) -> None:
        """Cases that share an id: none of them is made, since nobody can say which is right."""
        holders: dict[str, list[int]] = {}
        for number, case_id in ids.items():
            if case_id:
                holders.setdefault(case_id.casefold(), []).append(number)
        for name, numbers in holders.items():
            standing = self._ids.get(name)
            everyone = sorted({*numbers, *([standing] if standing is not None else [])})
            if len(everyone) < 2:
                continue
            places = ", ".join(f"{p}:{peek_line(p)}" for p in (
                self.request.cases[n] for n in everyone))
            why = f"case id {name!r} is that of {places}; give each case an id of its own"
            for number in numbers:
                self._put_failure(CaseOutcome(number, str(self.request.cases[number]),
                                              CaseStatus.FAILED, ids[number], problems=(why,)))

    def _other_owner(self, outcome: CaseOutcome, folder: str) -> str:
        """Why files of this id belong to a case that is not in this run, or ""."""
        if self.request.force:
            return ""
        key = self._elsewhere.get((folder, outcome.case_id.casefold()))
        if key is None or not (self.request.output / key).exists():
            return ""
        return (f"{outcome.path}: case id {outcome.case_id!r} was made from {key} before, "
                "which still exists; --force replaces it")

    # -- making ------------------------------------------------------------------------

    def _make(self, todo: list[int], checked: dict[int, CaseOutcome]) -> None:
        self.progress.begin("make", len(todo))
        for outcome in self.executor.run(self._tasks(todo, Stage.MAKE, checked)):
            before = checked.pop(outcome.number, None)
            if before is not None:
                outcome = replace(outcome, case_id=before.case_id, client=before.client,
                                  digest=before.digest, inputs=before.inputs)
            self.progress.step(self._put_away(outcome))
        self.progress.end()

    def _put_away(self, outcome: CaseOutcome) -> CaseOutcome:
        """Write what was made, or note what was not."""
        if outcome.status is not CaseStatus.DONE:
            return self._put_failure(outcome)
        if self.result.disk:
            return outcome
        owner = self._ids.setdefault(outcome.case_id.casefold(), outcome.number)
        if owner != outcome.number:
            return self._put_failure(outcome.failed(
                f"{outcome.path}: case id {outcome.case_id!r} is also the id of "
                f"{self.request.cases[owner]}; give each case an id of its own"))
        if outcome.client not in self._folders:
            self._folders = folder_names([outcome.client], self._folders)
        folder = self._folders[outcome.client]
        if self.request.as_you_go and (taken := self._other_owner(outcome, folder)):
            return self._put_failure(outcome.failed(taken))
        stem = file_stem(outcome.case_id)
        content = {f"{folder}/{stem}{name.removeprefix(outcome.case_id)}": data
                   for name, data in outcome.content.items()}
        outcome = replace(outcome, warnings=(*outcome.warnings, *self._left(outcome, content)))
        try:
            self.store.put_case(self._record(outcome, folder), content)
        except NotOurs as error:
            return self._put_failure(outcome.failed(str(error)))
        except OSError as error:
            return self._no_disk(outcome, error)
        self.result.folders[outcome.number] = folder
        return self._note(replace(outcome, content={}, loaded=b""))

    def _left(self, outcome: CaseOutcome, content: Iterable[str]) -> list[str]:
        """Files this case had under another id or client: they stay, and are named."""
        earlier = self.store.ledger.records.get(self._keys[outcome.number])
        if earlier is None or (earlier.case_id, earlier.client) == (outcome.case_id,
                                                                    outcome.client):
            return []
        return [f"{self.store.path(w.name)} was made from this case under another name and stays"
                for w in earlier.files if w.name not in content
                and self.store.path(w.name).exists()]

    def _no_disk(self, outcome: CaseOutcome, error: OSError) -> CaseOutcome:
        """A file could not be written; where the disk itself is at fault, the run ends."""
        why = f"{error.filename or self.request.output}: {error.strerror or error}"
        if error.errno in FULL:
            self.result.disk = why
            self.executor.stop()
        return self._note(outcome.failed(why))

    def _put_failure(self, outcome: CaseOutcome) -> CaseOutcome:
        """Note a failure, here and in the ledger; files of an earlier run stay as they are."""
        outcome = replace(outcome, content={}, loaded=b"", figures=None, files=())
        earlier = self.store.ledger.records.get(self._keys[outcome.number])
        record = self._record(outcome, earlier.folder if earlier else "")
        try:
            self.store.ledger.add(replace(record, files=earlier.files if earlier else ()))
        except OSError as error:
            return self._no_disk(outcome, error)
        return self._note(outcome)

    def _record(self, outcome: CaseOutcome, folder: str) -> LedgerRecord:
        return LedgerRecord(outcome.case_id, self._keys[outcome.number], outcome.client, folder,
                      outcome.status, program_digest(), self.options, outcome.digest,
                      outcome.inputs, (), outcome.figures, outcome.problems, outcome.warnings)

    def _note(self, outcome: CaseOutcome) -> CaseOutcome:
        self.result.outcomes[outcome.number] = outcome
        return outcome

    @contextmanager
    def _timed(self, stage: str) -> Iterator[None]:
        started = time.perf_counter()
        try:
            yield
        finally:
            self.result.seconds[stage] = time.perf_counter() - started
