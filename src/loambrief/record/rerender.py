"""Make an issued advisory again from its frozen inputs, and compare it byte for byte."""

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass

from loambrief import __version__, pipeline
from loambrief.archive.canonical import sha256
from loambrief.archive.store import Store
from loambrief.pipeline import Advisory, Files
from loambrief.record.cards import file_of, record
from loambrief.record.freeze import thawed
from loambrief.record.issue import SHEET, file_stem
from loambrief.report.blocks import DocumentStatus
from loambrief.report.changes_part import RevisionChanges
from loambrief.report.own_words import OwnWords, with_own_words


@dataclass(frozen=True)
class Rerendered:
    """A stored advisory beside the one that its inputs give now."""

    number: str
    revision: int
    same_pdf: bool
    same_data: bool
    same_annex: bool
    """``same_pdf``, ``same_annex``, ``same_data``: byte for byte; an annex at the end of the PDF
    counts with it."""
    differences: tuple[str, ...]
    """What the two were made with, where that differs: program, tables, libraries."""
    advisory: Advisory
    """As made now."""

    @property
    def same(self) -> bool:
        return self.same_pdf and self.same_data and self.same_annex

    def as_json(self) -> dict:
        return {"number": self.number, "revision": self.revision, "same": self.same,
                "same_pdf": self.same_pdf, "same_annex": self.same_annex,
                "same_data": self.same_data,
                "differences": list(self.differences)}


def frozen_words(store: Store, card: Mapping) -> OwnWords | None:
    """The wording an advisory was made with, if it was the adviser's own."""
    files = tuple((f["name"], store.content(f["sha256"])) for f in card["files"]
                  if f["role"] == "words")
    return OwnWords(files) if files else None


def frozen_changes(store: Store, card: Mapping) -> RevisionChanges | None:
    """What a revision changed, if it replaced another."""
    file = file_of(card, "changes")
    return RevisionChanges.from_json(json.loads(store.content(file["sha256"]))) if file else None


def render_again(store: Store, number: str, revision: int | None = None, *,
                 status: DocumentStatus = DocumentStatus.ISSUED) -> Advisory:
    """The advisory from its frozen inputs, with any status.

    Raises
    ------
    UnknownName, ArchiveBroken
        See :func:`loambrief.record.cards.record`.
    CaseProblems
        This version of the program does not take the frozen case any more.
    """
    found = record(store, number, revision)
    card = found["card"]
    day = card.get("issued")  # not in records made before it was kept
    with thawed(store, card["files"]) as (loaded, _), with_own_words(frozen_words(store, card)):
        advice = pipeline.advise(loaded)
        return pipeline.render(advice, status=status, number=number, revision=found["revision"],
                               changes=frozen_changes(store, card),
                               issued=dt.date.fromisoformat(day) if day else None,
                               files=form_of(card),
                               stem=marked_stem(number, found["revision"], status))


def marked_files(store: Store, number: str, revision: int,
                 status: DocumentStatus) -> dict[str, bytes]:
    """Everything of a revision that no longer holds, marked so: spreading sheet and rate map too.

    The names say the status as well.
    """
    stem = marked_stem(number, revision, status)
    card = record(store, number, revision)["card"]
    again = render_again(store, number, revision, status=status)
    made = dict(again.files(stem))
    with with_own_words(frozen_words(store, card)):
        if file_of(card, "sheet"):
            (made[f"{stem}{SHEET}"],) = pipeline.applicator_file(
                again.advice, status=status, number=number, revision=revision).values()
        if file_of(card, "rates"):
            made.update(pipeline.rate_map_files(again.advice, status=status, number=number,
                                                stem=stem)[0])
    return made


def form_of(card: Mapping) -> Files:
    """In how many files an advisory was issued."""
    return Files.TWO if file_of(card, "annex") else Files.ONE


def marked_stem(number: str, revision: int, status: DocumentStatus) -> str:
    """Name of a revision's files without ending; what no longer holds says so in it."""
    stem = file_stem(number, revision)
    return stem if status is DocumentStatus.ISSUED else f"{stem}-{status.value}"


def rerender(store: Store, number: str, revision: int | None = None) -> Rerendered:
    """Make an issued advisory again and compare.

    Parameters
    ----------
    revision : int or None
        None: the latest.
    """
    found = record(store, number, revision)
    card = found["card"]
    again = render_again(store, number, found["revision"])
    stored = {role: (file_of(card, role) or {}).get("sha256") for role in ("pdf", "annex", "data")}
    return Rerendered(number, found["revision"], sha256(again.pdf) == stored["pdf"],
                      sha256(again.data) == stored["data"],
                      stored["annex"] in (None, sha256(again.annex)),
                      made_differently(card), again)


def made_differently(card: Mapping) -> tuple[str, ...]:
    """Where the program of now is not the one a record was made with."""
    found = []
    if card["version"] != __version__:
        found.append(f"loambrief {card['version']}, now {__version__}")
    if card["tables"] != pipeline.tables_digest():
        found.append(f"tables {card['tables'][:12]}, now {pipeline.tables_digest()[:12]}")
    now = pipeline.made_with()
    for name, version in card["made_with"].items():
        if name in now and now[name] != version:
            found.append(f"{name} {version}, now {now[name]}")
    return tuple(found)
