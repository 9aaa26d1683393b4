"""What a run of a batch is asked for, and what it comes to, case by case."""

from dataclasses import dataclass, field
from pathlib import Path

from loambrief.batch.figures import Figures
from loambrief.batch.work import CaseOutcome, CaseStatus, Options


@dataclass(frozen=True)
class Request:
    """What a run is asked for.

    ``as_you_go``: make each case as soon as it is read, instead of checking all first;
    ``force``: make everything anew, and replace files that are not the batch's; ``only_failed``:
    only cases that failed when they were last tried; ``time_limit``: seconds a case may take.
    """

    cases: tuple[Path, ...]
    output: Path
    options: Options = field(default_factory=Options)
    as_you_go: bool = False
    force: bool = False
    only_failed: bool = False
    time_limit: float | None = None


@dataclass
class RunResult:
    """What became of a run; cases are known by their place in it.

    ``outcomes`` has no entry for a case that was not tried; ``folders`` are the client folders of
    cases that have files; ``names`` the case files as seen from the output folder; ``seconds`` are
    by stage (``unchanged``, ``check``, ``make``); ``disk`` says why the run could not go on
    writing; ``damaged`` counts lines of the ledger that could not be read; ``told`` are the lines
    about letters that were said before the first case.
    """

    total: int
    outcomes: dict[int, CaseOutcome] = field(default_factory=dict)
    folders: dict[int, str] = field(default_factory=dict)
    names: dict[int, str] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)
    interrupted: bool = False
    disk: str = ""
    damaged: int = 0
    told: frozenset[str] = frozenset()

    def ordered(self) -> list[CaseOutcome]:
        return [self.outcomes[number] for number in sorted(self.outcomes)]

    def count(self, status: CaseStatus) -> int:
        return sum(1 for o in self.outcomes.values() if o.status is status)

    @property
    def failures(self) -> list[CaseOutcome]:
        return [o for o in self.ordered() if not o.status.good]

    @property
    def good(self) -> list[CaseOutcome]:
        return [o for o in self.ordered() if o.status.good]

    @property
    def not_tried(self) -> int:
        return self.total - len(self.outcomes)


@dataclass(frozen=True)
class WantedDocuments:
    """Which documents a run makes; ``month`` ("2026-10") is that of the latest case if left out."""

    cover: bool = True
    bundle: bool = False
    print_pack: bool = False
    letters: bool = False
    month: str = ""
    annexes: bool = False
    """In the print pack too."""


@dataclass(frozen=True)
class CaseEntry:
    """One case as the documents see it: its outcome, its client's folder, its file.

    ``name`` is the case file as seen from the output folder, so that it does not matter from
    where the batch was started.
    """

    outcome: CaseOutcome
    folder: str
    name: str = ""

    @property
    def figures(self) -> Figures | None:
        """Set where the advisory is there and up to date."""
        return self.outcome.figures if self.outcome.status.good else None

    @property
    def made(self) -> Figures:
        """The figures of an entry that is known to have them."""
        assert self.figures is not None
        return self.figures


def reading_order(entry: CaseEntry) -> tuple[str, ...]:
    """By client, farm, field and id."""
    f = entry.made
    return (f.client.casefold(), f.client, f.farm.casefold(), f.field.casefold(), f.case_id)
