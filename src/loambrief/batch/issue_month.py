"""Issue many cases in one go: what passes is numbered, signed, and put into a letter.

One process does it all, so that the key never leaves it and numbers follow the order of the
cases; it holds the archive's lock from the first case to the last. Each case is entered before
its files are written. A run that was broken off is run again: what was issued keeps its number,
its signature and its bytes, and the rest follows.
"""

import contextlib
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from loambrief import pipeline
from loambrief.archive.errors import SignFault
from loambrief.archive.index import fold
from loambrief.archive.sign import Signed
from loambrief.archive.store import Store
from loambrief.batch.case_finder import peek_id, peek_line
from loambrief.batch.folder_names import folder_names
from loambrief.batch.lock import folder_lock
from loambrief.batch.month import stoppable
from loambrief.batch.output_folder import FULL, OutputFolder
from loambrief.batch.progress import Progress
from loambrief.batch.work import CaseOutcome, CaseStatus, no_letter
from loambrief.case.load import load_case
from loambrief.errors import (
    ArchiveBroken,
    ArchiveFault,
    CaseProblems,
    LoambriefError,
    NotOurs,
    RecordRefused,
)
from loambrief.mail.compose import Finished, NoLetter, letters
from loambrief.mail.send import delivered
from loambrief.pipeline import Files
from loambrief.record.freeze import Frozen, read_inputs
from loambrief.record.issue import SHEET, Issued, issue_inputs
from loambrief.record.retention import enter_files
from loambrief.report.letters import Enclosed, facts_of
from loambrief.report.own_words import OwnWords

SIGNED = "-signed.pdf"
Sign = Callable[[bytes], Signed]
"""Signs as the adviser, with a key that this process holds."""


@dataclass(frozen=True)
class IssueRequest:
    """What is to be issued."""

    cases: tuple[Path, ...]
    """In the order in which they are numbered."""
    output: Path
    lab_files: tuple[Path, ...] = ()
    words: OwnWords | None = None
    sheet: bool = False
    flat: bool = False
    """A single case: straight into the output folder, not into one of its client."""
    letters: bool = False
    """Write a letter to each client."""
    sign: Sign | None = None
    """Sign each advisory that has no signature yet."""
    form: Files = Files.TWO
    rate_map: bool = False


@dataclass(frozen=True)
class IssuedCase:
    """What became of one case."""

    path: Path
    status: str
    """``issued``, ``already issued`` or ``not issued``; if the latter, ``problems`` say why."""
    case_id: str = ""
    client: str = ""
    made: Issued | None = None
    files: tuple[Path, ...] = ()
    problems: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    shortfalls: tuple[str, ...] = ()
    """Why a signature did not reach the level that was asked for, or was not made."""


@dataclass
class IssueRun:
    """What a run came to; ``stopped`` says why it could not go on.

    ``told`` are the lines about letters that were said before the first case.
    """

    total: int
    cases: list[IssuedCase] = field(default_factory=list)
    letters: list[Path] = field(default_factory=list)
    no_letter: list[NoLetter] = field(default_factory=list)
    told: frozenset[str] = frozenset()
    stopped: str = ""
    interrupted: bool = False

    def count(self, status: str) -> int:
        return sum(case.status == status for case in self.cases)

    @property
    def good(self) -> bool:
        """Every case is issued, and signed as asked."""
        return len(self.cases) == self.total and all(
            case.made is not None and not case.shortfalls for case in self.cases)


def issue_month(request: IssueRequest, store: Store, progress: Progress | None = None) -> IssueRun:
    """Issue what passes, and say what each of the others lacks.

    Raises
    ------
    FolderBusy
        Another run is at work in the output folder.
    ArchiveFault, ArchiveBroken
        The archive cannot be used; what was entered before stands.
    """
    work = _IssueWork(request, store, progress or Progress())
    with folder_lock(request.output):
        work.folder.open()
        try:
            with stoppable(work.stop, work.progress), store.writing():
                work.run()
            if request.letters and not work.result.stopped:
                work.write_letters()
        except OSError as error:
            work.disk(error)
        finally:
            work.progress.end()
            with contextlib.suppress(OSError):  # the lines written so far stand
                work.folder.close()
    return work.result


class _IssueWork:
    """One run; the locks are held by the caller."""

    def __init__(self, request: IssueRequest, store: Store, progress: Progress):
        self.request, self.store, self.progress = request, store, progress
        self.result = IssueRun(len(request.cases))
        self.folder = OutputFolder(request.output)
        self.finished: dict[str, list[Finished]] = {}

    def stop(self, *, now: bool = False) -> None:
        """After the case in work; with ``now`` at once: what is entered stands."""
        self.result.interrupted = True
        if now:
            raise KeyboardInterrupt

    def run(self) -> None:
        doubles = _doubles(self.request.cases)
        if self.request.letters:
            self.result.told = frozenset(filter(None, map(_unaddressed, self.request.cases)))
            for line in sorted(self.result.told):
                self.progress.say(line)
        self.progress.begin("issue", len(self.request.cases))
        for number, path in enumerate(self.request.cases):
            if self.result.interrupted or self.result.stopped:
                break
            case = self._refused(path, doubles[path]) if path in doubles else self._one(path)
            if case is not None:
                self.result.cases.append(case)
                status = CaseStatus.FAILED if case.made is None else CaseStatus.DONE
                self.progress.step(CaseOutcome(number, str(path), status))
        self.progress.end()

    def _refused(self, path: Path, *problems: str, case_id: str = "",
                 client: str = "") -> IssuedCase:
        return IssuedCase(path, "not issued", case_id, client, problems=problems)

    def _one(self, path: Path) -> IssuedCase | None:
        """A fault of the case is the case's; one of archive or disk ends the run."""
        case_id = client = ""
        try:
            inputs = read_inputs(path, self.request.lab_files,
                                 self.request.words.files if self.request.words else ())
            case = inputs.loaded.case
            case_id, client = case.case.id, case.client.name
            made = issue_inputs(inputs, str(path), self.store, self.request.words,
                                self.request.sheet, self.request.form,
                                self.request.rate_map)
        except CaseProblems as error:
            return self._refused(path, *map(str, error.problems), case_id=case_id, client=client)
        except RecordRefused as error:
            return self._refused(path, f"{path}: {error}", case_id=case_id, client=client)
        except (ArchiveBroken, ArchiveFault):
            raise
        except OSError as error:
            if error.errno in FULL:
                self.disk(error)
                return None
            return self._refused(path, f"{error.filename or path}: {error.strerror or error}")
        except LoambriefError as error:
            return self._refused(path, f"{path}: {error}", case_id=case_id, client=client)
        try:
            files, shortfalls = self._signed(made)
            written = self._write(client, files)
        except NotOurs as error:
            return self._refused(path, f"issued as {made.number}, but {error}", case_id=case_id,
                                 client=client)
        except OSError as error:
            self.disk(error)
            return None
        warnings = () if made.advice is None else tuple(pipeline.own_rate_warnings(made.advice))
        self._keep(client, Enclosed(facts_of(case), _data(made), ""), files)
        return IssuedCase(path, "already issued" if made.again else "issued", case_id, client,
                          made, written, (), warnings, tuple(shortfalls))

    def disk(self, error: OSError) -> None:
        self.result.stopped = f"{error.filename or self.request.output}: {error.strerror or error}"

    def _signed(self, made: Issued) -> tuple[dict[str, bytes], list[str]]:
        """The files to be handed on: a signed advisory beside what was issued.

        The record keeps the signed file, so that the next run takes it from there and nothing
        is signed twice.
        """
        files = dict(made.files)
        main = main_pdf(files)
        name = f"{main.removesuffix('.pdf')}{SIGNED}"
        before = self.store.index.query(
            "SELECT f.sha256 FROM files f JOIN lines l ON l.seq = f.seq WHERE f.role = 'signed' "
            "AND f.name = ? AND l.number = ? AND l.revision = ? AND l.erased = 0 "
            "ORDER BY l.seq", (name, made.number, made.revision))
        for (digest,) in before:
            content = self.store.content(digest)
            if content.startswith(files[main]):
                return {**files, name: content}, []
        if self.request.sign is None:
            return files, []
        try:
            signed = self.request.sign(files[main])
        except SignFault as fault:
            return files, [str(fault)]
        enter_files(self.store, [Frozen("signed", name, signed.content)], number=made.number,
                    revision=made.revision)
        return {**files, name: signed.content}, list(signed.shortfalls)

    def _write(self, client: str, files: Mapping[str, bytes]) -> tuple[Path, ...]:
        """Each file, whole; one that stands with the same bytes is left alone."""
        place = "" if self.request.flat else f"{self._folder_of(client)}/"
        paths = []
        for name, content in files.items():
            target = self.folder.path(f"{place}{name}")
            if not (target.is_file() and target.read_bytes() == content):
                self.folder.put_document(f"{place}{name}", content)
            paths.append(target)
        return tuple(paths)

    def _folder_of(self, client: str) -> str:
        """A client's folder: the archive's order decides who has a plain name, once for all."""
        names: dict[str, str] = {}
        for (name,) in self.store.index.query(
                "SELECT c.name FROM clients c JOIN lines l ON l.client = c.client "
                "GROUP BY c.client ORDER BY min(l.seq)"):
            names = folder_names([name], names)
        return next(folder for name, folder in names.items() if fold(name) == fold(client))

    def _keep(self, client: str, about: Enclosed, files: Mapping[str, bytes]) -> None:
        """What the client's letter will carry: the signed advisory rather than the bare one."""
        main = main_pdf(files)
        signed = f"{main.removesuffix('.pdf')}{SIGNED}"
        first = signed if signed in files else main
        more = {name: content for name, content in files.items()
                if name.endswith(".pdf") and name not in (main, signed)}
        self.finished.setdefault(client, []).append(
            Finished(Enclosed(about.facts, about.data, first), files[first],
                     more=more))

    def write_letters(self) -> None:
        """A letter to each client, with what no letter has brought before."""
        for client, all_of_it in self.finished.items():
            place = "" if self.request.flat else f"{self._folder_of(client)}/"
            home = self.folder.path(place or ".")
            gone, kept = delivered(home, self.request.output)
            fresh = [one for one in all_of_it
                     if hashlib.sha256(one.pdf).hexdigest() not in gone]
            made, refused = letters(fresh)
            self.result.no_letter += refused
            stem = "_letter"
            if self.request.flat:  # one case, in a folder that other clients may share
                stem = f"{all_of_it[0].name.removesuffix('.pdf').removesuffix('-signed')}-letter"
            free = (name for n in range(1, 1000)
                    if (name := f"{stem}{f'-{n}' if n > 1 else ''}.eml") not in kept)
            names = [next(free) for _ in made]
            for name, letter in zip(names, made, strict=True):
                self._letter(f"{place}{name}", letter.content)
            for old in home.glob(f"{stem}*.eml"):  # of a run before, never sent
                if self.folder.ledger.own.get(f"{place}{old.name}") and old.name not in (
                        *kept, *names):
                    old.unlink()

    def _letter(self, name: str, content: bytes) -> None:
        target = self.folder.path(name)
        try:
            if not (target.is_file() and target.read_bytes() == content):
                self.folder.put_document(name, content)
        except NotOurs as error:
            self.result.no_letter.append(NoLetter(name, str(error)))
            return
        self.result.letters.append(target)


def main_pdf(files: Mapping[str, bytes]) -> str:
    """The advisory itself among the files of an issue: the shortest name of a PDF."""
    return min((n for n in files if n.endswith(".pdf") and not n.endswith((SHEET, SIGNED))),
               key=len)


def _data(made: Issued) -> Mapping:
    return json.loads(next(c for n, c in made.files.items() if n.endswith(".json")))


def _unaddressed(path: Path) -> str:
    """Why no letter about a case will be possible; "" too where the case itself has problems."""
    try:
        return no_letter(load_case(path).case)
    except (LoambriefError, OSError):
        return ""


def _doubles(cases: Sequence[Path]) -> dict[Path, str]:
    """Cases that share an id with another one, with the reason; none of them is issued."""
    holders: dict[str, list[Path]] = {}
    for path in cases:
        case_id = peek_id(path).casefold()
        if case_id:
            holders.setdefault(case_id, []).append(path)
    return {path: f"case id {name!r} is that of "
                  + ", ".join(f"{p}:{peek_line(p)}" for p in paths)
                  + "; give each case an id of its own"
            for name, paths in holders.items() if len(paths) > 1 for path in paths}
