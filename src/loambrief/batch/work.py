"""One case of a batch: a task in, an outcome with the finished files out.

Everything here can be pickled and depends on nothing but the task and the installed program,
so that a worker process and another machine do exactly the same.
"""

import hashlib
import pickle
import time
import traceback
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import lru_cache
from pathlib import Path

from loambrief.batch.figures import Figures, figures_of
from loambrief.batch.folder_names import file_stem
from loambrief.case.load import LoadedCase, load_bytes
from loambrief.case.reader import read_bytes
from loambrief.case.schema import CaseFile
from loambrief.errors import CaseProblems, LoambriefError
from loambrief.report.own_words import OwnWords, with_own_words


class Stage(StrEnum):
    """What is asked of a worker."""

    CHECK = "check"
    MAKE = "make"


class CaseStatus(StrEnum):
    """What became of a case."""

    CHECKED = "checked"
    DONE = "done"
    SKIPPED = "skipped"
    FAILED = "failed"
    TIMED_OUT = "timed out"

    @property
    def good(self) -> bool:
        """Whether the case's files are there and up to date."""
        return self in (CaseStatus.DONE, CaseStatus.SKIPPED)


@dataclass(frozen=True)
class Options:
    """What every case of a run is made with; None: as the case says.

    ``twins`` are the endings of the forms for screens: ``html``, ``txt``; ``words`` the files
    of the user's own wording, checked; ``form`` is "one" or "two": files of an advisory.
    """

    units: str | None = None
    paper: str | None = None
    language: str | None = None
    twins: tuple[str, ...] = ()
    words: tuple[tuple[str, bytes], ...] = field(default=(), repr=False)
    form: str = "two"

    def overrides(self) -> dict[str, str | None]:
        return {"units": self.units, "paper": self.paper, "language": self.language}

    def as_data(self) -> dict[str, str | None]:
        """The options as the ledger remembers them."""
        own = self.own_words()
        return {**self.overrides(), "twins": " ".join(self.twins),
                "words": own.sha256 if own else None, "as": self.form}

    def own_words(self) -> OwnWords | None:
        """The user's own wording, kept ready in each process."""
        return _own_words(self.words) if self.words else None

    @property
    def endings(self) -> tuple[str, ...]:
        """Endings of the files of a case."""
        return ("pdf", *(("annex.pdf",) if self.form == "two" else ()), "json", *self.twins)


@lru_cache(maxsize=2)
def _own_words(files: tuple[tuple[str, bytes], ...]) -> OwnWords:
    return OwnWords(files)


@dataclass(frozen=True)
class Task:
    """One case to check or to make, for whoever runs it.

    ``number`` is its place in the run, from 0; problems name the case as ``path`` does. It is
    given up after ``time_limit`` seconds. ``expected`` is the digest of the inputs when they were
    checked ("" if they were not), ``loaded`` the checked case, packed (empty: read ``path``),
    with what it came from in ``inputs`` where the outcome is to name that.
    """

    number: int
    path: str
    stage: Stage = Stage.MAKE
    options: Options = field(default_factory=Options)
    time_limit: float | None = None
    expected: str = ""
    loaded: bytes = field(default=b"", repr=False)
    inputs: "tuple[Input, ...]" = ()


@dataclass(frozen=True)
class Input:
    """A file a case was put together from: the path from the case's folder, and its SHA-256."""

    name: str
    sha256: str


@dataclass(frozen=True)
class Made:
    """A finished file: name, SHA-256, size [bytes]."""

    name: str
    sha256: str
    size: int


@dataclass(frozen=True)
class CaseOutcome:
    """What became of a task.

    ``case_id`` and ``client`` are empty if the case could not be read so far. ``digest`` is that
    of the case and its profiles, as in the advisory's data; ``content`` the files themselves,
    until they are written; ``loaded``, of a checked case, what the next task takes; ``no_letter``
    why no letter can be written about it.
    """

    number: int
    path: str
    status: CaseStatus
    case_id: str = ""
    client: str = ""
    digest: str = ""
    inputs: tuple[Input, ...] = ()
    files: tuple[Made, ...] = ()
    content: Mapping[str, bytes] = field(default_factory=dict, repr=False)
    loaded: bytes = field(default=b"", repr=False)
    seconds: float = 0.0
    figures: Figures | None = None
    no_letter: str = ""
    problems: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    def failed(self, *problems: str, status: CaseStatus = CaseStatus.FAILED) -> "CaseOutcome":
        """The same case, not made after all."""
        return replace(self, status=status, content={}, loaded=b"", files=(), figures=None,
                       problems=(*self.problems, *problems))


def pack(loaded: LoadedCase) -> bytes:
    """A checked case for the trip to a worker (some 8 KB)."""
    return zlib.compress(pickle.dumps(loaded, protocol=pickle.HIGHEST_PROTOCOL), 1)


def unpack(packed: bytes) -> LoadedCase:
    """The case in :func:`pack`'s bytes, which never leave the run that made them."""
    return pickle.loads(zlib.decompress(packed))


def work(task: Task) -> CaseOutcome:
    """Do what the task asks; faults of the case come back as an outcome, never as an error."""
    started = time.perf_counter()
    blank = CaseOutcome(task.number, task.path, CaseStatus.FAILED)
    try:
        done = check_one(task) if task.stage is Stage.CHECK else make_one(task)
    except CaseProblems as error:
        done = blank.failed(*map(str, error.problems))
    except OSError as error:
        done = blank.failed(f"{error.filename or task.path}: {error.strerror or error}")
    except LoambriefError as error:
        done = blank.failed(f"{task.path}: {error}")
    except Exception as error:  # one bad case never stops the rest
        done = blank.failed(f"{task.path}: {_unforeseen(error)}")
    return replace(done, seconds=time.perf_counter() - started)


def check_one(task: Task) -> CaseOutcome:
    """Read and check a case (CaseProblems, OSError); what it takes to make it is in ``loaded``."""
    loaded, inputs = read_case(task)
    return _outcome(task, CaseStatus.CHECKED, loaded, inputs, loaded=pack(loaded),
                    no_letter=no_letter(loaded.case))


def no_letter(case: CaseFile) -> str:
    """Why no letter about a case is possible; "" if it is."""
    lacking = [whose for whose, email in (("client", case.client.email),
                                          ("adviser", case.adviser.email)) if not email]
    if not lacking:
        return ""
    return (f"no letter to {case.client.name}: the case gives no e-mail address of the "
            + " or the ".join(lacking))


def make_one(task: Task) -> CaseOutcome:
    """The advisory of one case: the very bytes that ``loambrief advise`` writes.

    Raises
    ------
    CaseProblems
    LoambriefError
        The files changed after they were checked.
    OSError
    """
    from loambrief import pipeline

    if task.loaded:
        loaded, inputs = unpack(task.loaded), task.inputs
    else:
        loaded, inputs = read_case(task)
    if task.expected and loaded.sha256 != task.expected:
        raise LoambriefError("the case changed after it was checked; run the batch again")
    with with_own_words(task.options.own_words()):
        advice = pipeline.advise(loaded)
        stem = file_stem(loaded.case.case.id)
        content = dict(pipeline.render(
            advice, twins=task.options.twins, files=pipeline.Files(task.options.form),
            stem=stem).files())
        warnings = (*map(str, loaded.warnings), *pipeline.own_rate_warnings(advice))
        figures = figures_of(advice)
    return _outcome(task, CaseStatus.DONE, loaded, inputs, content=content,
                    files=tuple(made(name, data) for name, data in content.items()),
                    figures=figures, warnings=warnings)


def made(name: str, data: bytes) -> Made:
    """What is remembered of a file."""
    return Made(name, hashlib.sha256(data).hexdigest(), len(data))


def read_case(task: Task) -> tuple[LoadedCase, tuple[Input, ...]]:
    """The case of a task, and the files it came from."""
    path = Path(task.path)
    raw = read_bytes(path)
    options = task.options
    loaded = load_bytes(raw, task.path, folder=path.parent, units=options.units,
                        paper=options.paper, language=options.language)
    own = Input(path.name, hashlib.sha256(raw).hexdigest())
    return loaded, (own, *(Input(f.name, f.on_disk) for f in loaded.files))


def _outcome(task: Task, status: CaseStatus, of: LoadedCase, inputs: tuple[Input, ...],
             **more) -> CaseOutcome:
    return CaseOutcome(task.number, task.path, status, of.case.case.id, of.case.client.name,
                   of.sha256, inputs, **{"warnings": tuple(map(str, of.warnings)), **more})


def _unforeseen(error: Exception) -> str:
    """An error nobody expected, with the place it came from."""
    frames = traceback.extract_tb(error.__traceback__)
    place = f" at {Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else ""
    text = " ".join(str(error).split())[:300]
    return (f"could not be made ({type(error).__name__}: {text}{place}); "
            "'loambrief advise' on this case shows more")
