"""Documents about all cases of a run: summary, month cover, bundles, print packs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from loambrief.batch.figures import Figures
from loambrief.batch.store import Store
from loambrief.batch.work import Options, Outcome


@dataclass(frozen=True)
class Wanted:
    """Which documents a run makes.

    Attributes
    ----------
    cover, bundle, print_pack : bool
    month : str
        ``"2026-10"``; "": the month of the latest case.
    """

    cover: bool = True
    bundle: bool = False
    print_pack: bool = False
    month: str = ""


@dataclass(frozen=True)
class Entry:
    """One case as the documents see it: its outcome and its client's folder."""

    outcome: Outcome
    folder: str

    @property
    def figures(self) -> Figures | None:
        """Set where the advisory is there and up to date."""
        return self.outcome.figures if self.outcome.status.good else None


SUMMARY_CSV = "summary.csv"
SUMMARY_XLSX = "summary.xlsx"


def names_of(wanted: Wanted) -> tuple[str, ...]:
    """Names of the documents that can be told before the cases are made."""
    return (SUMMARY_CSV, SUMMARY_XLSX)


def documents(entries: Sequence[Entry], wanted: Wanted, store: Store, options: Options, *,
              short: bool = False) -> Iterator[tuple[str, bytes]]:
    """Name and content of each document, one after the other.

    Parameters
    ----------
    entries : sequence of Entry
    wanted : Wanted
    store : Store
        To read the advisories from.
    options : Options
    short : bool
        The run did not try every case: the summary alone.
    """
    from loambrief.batch.summary import summary_csv, summary_rows, summary_xlsx

    rows = summary_rows(entries)
    yield SUMMARY_CSV, summary_csv(rows)
    yield SUMMARY_XLSX, summary_xlsx(rows, entries)
