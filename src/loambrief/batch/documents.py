"""Documents about all cases of a run: summary, month cover, bundles, print packs."""

import datetime as dt
import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, partial
from itertools import groupby
from typing import TYPE_CHECKING

from loambrief.batch.figures import Figures
from loambrief.batch.folder_names import file_stem
from loambrief.batch.ledger import program_digest
from loambrief.batch.output_folder import OutputFolder
from loambrief.batch.request import CaseEntry, WantedDocuments, reading_order
from loambrief.batch.work import Options
from loambrief.mail.compose import Finished, NoLetter, letters
from loambrief.pipeline import annex_name
from loambrief.report.letters import Enclosed, Facts

if TYPE_CHECKING:
    import pandas as pd

SUMMARY_CSV = "summary.csv"
SUMMARY_XLSX = "summary.xlsx"


def names_of(wanted: WantedDocuments) -> tuple[str, ...]:
    """Names of the documents that can be told before the cases are made."""
    cover = (f"month-{wanted.month}.pdf",) if wanted.cover and wanted.month else ()
    return (SUMMARY_CSV, SUMMARY_XLSX, *cover)


@dataclass(frozen=True)
class DocumentJob:
    """Documents that are made together, and told by ``parts`` from what they are made.

    ``make`` gives name and content of each.
    """

    kind: str
    parts: str
    make: Callable[[], Iterable[tuple[str, bytes]]]


def document_jobs(entries: Sequence[CaseEntry], wanted: WantedDocuments, store: OutputFolder,
                  options: Options, *, short: bool = False,
                  no_letter: list[NoLetter] | None = None) -> Iterator[DocumentJob]:
    """What it takes to make the documents, one kind after the other.

    Parameters
    ----------
    store : OutputFolder
        To read the advisories from.
    short : bool
        The run did not try every case: the summary alone.
    no_letter : list of NoLetter or None
        Clients without a letter are added to it.
    """
    def job(kind: str, of: Sequence[CaseEntry],
            make: Callable[[], Iterable[tuple[str, bytes]]]) -> DocumentJob:
        return DocumentJob(kind, _parts(of, store, options), make)

    @cache
    def table() -> "pd.DataFrame":
        from loambrief.batch.summary import summary_table

        return summary_table(entries)

    yield job("summary", entries, lambda: _summary(entries, table()))
    figures = [e.figures for e in entries if e.figures is not None]
    if short or not figures:
        return
    good = sorted((e for e in entries if e.figures is not None), key=reading_order)
    if wanted.bundle:
        for folder, group in groupby(good, key=lambda e: e.folder):
            own = list(group)
            yield job(f"bundle {folder}", own, partial(_bundles, own, store, options))
    if wanted.print_pack:
        kind = "print pack with annexes" if wanted.annexes else "print pack"
        yield job(kind, good, lambda: _packs(good, store, options, wanted.annexes))
    if wanted.letters:
        refused = [] if no_letter is None else no_letter
        yield job("letters", good, lambda: client_letters(good, store, refused))
    if wanted.cover:
        month = wanted.month or max(f.date for f in figures)[:7]
        yield job(f"cover {month}", entries,
                  lambda: [_cover(entries, figures, month, options, table())])


def _parts(entries: Sequence[CaseEntry], store: OutputFolder, options: Options) -> str:
    """Digest of everything a document about these cases depends on."""
    cases = []
    for entry in sorted(entries, key=lambda e: e.name):
        record = store.ledger.records.get(entry.name)
        o = entry.outcome
        files = [file.sha256 for file in record.files] if record else []  # figures follow them
        cases.append((entry.name, entry.folder, o.case_id, o.client,
                      o.status.good or o.status.value, o.problems, o.warnings, files))
    return hashlib.sha256(repr((program_digest(), options.as_data(), cases)).encode()).hexdigest()


def _summary(entries: Sequence[CaseEntry],
             table: "pd.DataFrame") -> Iterator[tuple[str, bytes]]:
    from loambrief.batch.summary import summary_csv, summary_xlsx

    yield SUMMARY_CSV, summary_csv(table)
    yield SUMMARY_XLSX, summary_xlsx(table, entries)


def _bundles(entries: Sequence[CaseEntry], store: OutputFolder,
             options: Options) -> Iterator[tuple[str, bytes]]:
    from loambrief.batch.bundle import bundles

    return bundles(entries, store, options)


def _packs(entries: Sequence[CaseEntry], store: OutputFolder,
           options: Options, annexes: bool) -> Iterator[tuple[str, bytes]]:
    from loambrief.batch.bundle import print_packs

    return print_packs(entries, store, options, annexes)


def _cover(entries: Sequence[CaseEntry], figures: Sequence[Figures], month: str,
           options: Options, table: "pd.DataFrame") -> tuple[str, bytes]:
    from loambrief.batch.cover import Setting, month_cover
    from loambrief.batch.summary import summary_csv
    from loambrief.render.pdf import render_pdf

    setting = Setting.of(figures, **options.overrides())
    return f"month-{month}.pdf", render_pdf(
        month_cover(figures, month, len(entries) - len(figures), summary_csv(table), setting))


def client_letters(entries: Sequence[CaseEntry], store: OutputFolder,
                   refused: list[NoLetter]) -> Iterator[tuple[str, bytes]]:
    """Name and content of each letter.

    Parameters
    ----------
    entries : sequence of CaseEntry
        With figures.
    store : OutputFolder
        To read the advisories from.
    refused : list of NoLetter
        Clients without a letter are added to it, with the reason.

    Yields
    ------
    (str, bytes)
        ``<client folder>/_letter.eml``; further letters of one client (another language, another
        adviser) are numbered.
    """
    folders: dict[str, list[CaseEntry]] = {}
    for entry in entries:
        folders.setdefault(entry.folder, []).append(entry)
    for folder, own in folders.items():
        made, without = letters([_finished(entry, store) for entry in own])
        refused += without
        for number, letter in enumerate(made, 1):
            name = "_letter" if number == 1 else f"_letter-{number}"
            yield f"{folder}/{name}.eml", letter.content


def _finished(entry: CaseEntry, store: OutputFolder) -> Finished:
    figures = entry.made
    stem = file_stem(figures.case_id)
    data = json.loads(store.path(f"{entry.folder}/{stem}.json").read_bytes())
    pdf = store.path(f"{entry.folder}/{stem}.pdf").read_bytes()
    annex = store.path(f"{entry.folder}/{annex_name(stem)}")
    return Finished(Enclosed(_facts(figures), data, f"{stem}.pdf"), pdf,
                    annex.read_bytes() if annex.is_file() else b"")


def _facts(of: Figures) -> Facts:
    return Facts(of.client, of.contact, of.client_email, of.farm, of.field,
                 dt.date.fromisoformat(of.date), of.language, of.units, of.currency, of.adviser,
                 of.business, of.credential, of.adviser_address, of.adviser_phone,
                 of.adviser_email, of.interest)
