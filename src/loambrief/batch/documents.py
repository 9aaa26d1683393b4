"""Documents about all cases of a run: summary, month cover, bundles, print packs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from loambrief.batch.figures import Figures
from loambrief.batch.output_folder import OutputFolder
from loambrief.batch.request import CaseEntry, WantedDocuments, reading_order
from loambrief.batch.work import Options
from loambrief.mail.compose import NoLetter

SUMMARY_CSV = "summary.csv"
SUMMARY_XLSX = "summary.xlsx"


def names_of(wanted: WantedDocuments) -> tuple[str, ...]:
    """Names of the documents that can be told before the cases are made."""
    cover = (f"month-{wanted.month}.pdf",) if wanted.cover and wanted.month else ()
    return (SUMMARY_CSV, SUMMARY_XLSX, *cover)


def documents(entries: Sequence[CaseEntry], wanted: WantedDocuments, store: OutputFolder,
              options: Options, *, short: bool = False,
              no_letter: list[NoLetter] | None = None) -> Iterator[tuple[str, bytes]]:
    """Name and content of each document, one after the other.

    Parameters
    ----------
    entries : sequence of CaseEntry
    wanted : WantedDocuments
    store : OutputFolder
        To read the advisories from.
    options : Options
    short : bool
        The run did not try every case: the summary alone.
    no_letter : list of NoLetter or None
        Clients without a letter are added to it.
    """
    from loambrief.batch.bundle import bundles, print_packs
    from loambrief.batch.summary import summary_csv, summary_table, summary_xlsx

    table = summary_table(entries)
    lines = summary_csv(table)
    yield SUMMARY_CSV, lines
    yield SUMMARY_XLSX, summary_xlsx(table, entries)
    figures = [e.figures for e in entries if e.figures is not None]
    if short or not figures:
        return
    good = sorted((e for e in entries if e.figures is not None), key=reading_order)
    if wanted.bundle:
        yield from bundles(good, store, options)
    if wanted.print_pack:
        yield from print_packs(good, store, options)
    if wanted.letters:
        from loambrief.batch.letters import client_letters

        yield from client_letters(good, store, [] if no_letter is None else no_letter)
    if wanted.cover:
        yield _cover(figures, wanted.month, len(entries) - len(figures), lines, options)


def _cover(figures: Sequence[Figures], month: str, failed: int, table: bytes,
           options: Options) -> tuple[str, bytes]:
    from loambrief.batch.cover import Setting, latest_month, month_cover
    from loambrief.render.pdf import render_pdf

    month = month or latest_month(figures)
    setting = Setting.of(figures, **options.overrides())
    return f"month-{month}.pdf", render_pdf(month_cover(figures, month, failed, table, setting))
