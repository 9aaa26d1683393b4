"""A letter to each client with the advisories of a run. Nothing is sent from here."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Sequence

from loambrief.batch.figures import Figures
from loambrief.batch.folder_names import file_stem
from loambrief.batch.output_folder import OutputFolder
from loambrief.batch.request import CaseEntry
from loambrief.mail.compose import Finished, NoLetter, letters
from loambrief.pipeline import annex_name
from loambrief.report.letters import Enclosed, Facts


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
