"""Issue an advisory: complete, numbered, its inputs frozen, entered in the log."""

import datetime as dt
import secrets
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from loambrief import pipeline
from loambrief.archive.settings import initials
from loambrief.archive.store import Store
from loambrief.errors import CaseProblems, RecordRefused
from loambrief.pipeline import ANNEX, Advice, Files
from loambrief.record import completeness
from loambrief.record.cards import advisory_card
from loambrief.record.freeze import Frozen, Inputs, read_inputs
from loambrief.report.blocks import DocumentStatus
from loambrief.report.changes_part import RevisionChanges
from loambrief.report.own_words import OwnWords, with_own_words

SHEET = "-spreading.pdf"
RATES = ("-rates.geojson", "-rates.zip")
CLIENT_BYTES = 8
"""Of the random name a client has in the log."""


@dataclass(frozen=True)
class Issued:
    """An issued advisory."""

    number: str
    revision: int
    files: Mapping[str, bytes] = field(repr=False)
    """To be written: the PDF and its data."""
    again: bool
    """True if it had been issued before and comes from the archive."""
    advice: Advice | None
    """None if it comes from the archive."""
    seq: int
    head: str
    """``seq``, ``head``: of its line in the log."""
    undrawn: tuple[str, ...] = ()
    """Jobs that the rate map does not hold, since no shape of the case shows their zone."""


@dataclass(frozen=True)
class Ready:
    """A case that passed the gate."""

    inputs: Inputs
    advice: Advice
    words: OwnWords | None
    sheet: bool
    form: Files
    rate_map: bool = False


def prepare(path: Path, lab_files: Sequence[Path] = (), words: OwnWords | None = None,
            sheet: bool = False, form: Files = Files.TWO, rate_map: bool = False) -> Ready:
    """Read a case, advise on it, and hold it against the completeness gate.

    Raises
    ------
    CaseProblems
        With everything that is missing, or that is wrong with the case.
    """
    return passed(read_inputs(path, lab_files, words.files if words else ()), str(path), words,
                  sheet, form, rate_map)


def passed(inputs: Inputs, name: str, words: OwnWords | None = None,
           sheet: bool = False, form: Files = Files.TWO, rate_map: bool = False) -> Ready:
    """Advise on inputs that were read, and hold them against the gate; as :func:`prepare`.

    ``name`` is what problems call the case file.
    """
    with with_own_words(words):
        advice = pipeline.advise(inputs.loaded)
    source = completeness.case_source(inputs.raw, name, inputs.folder)
    found = completeness.missing(completeness.IssueCheck(advice, source, inputs.unread_labs))
    if found:
        raise CaseProblems((*inputs.loaded.warnings, *found))
    return Ready(inputs, advice, words, sheet, form, rate_map)


def issue(path: Path, store: Store, *, lab_files: Sequence[Path] = (),
          words: OwnWords | None = None, sheet: bool = False,
          form: Files = Files.TWO, rate_map: bool = False) -> Issued:
    """Issue the advisory of a case.

    Parameters
    ----------
    path : Path
        Case file.
    lab_files : sequence of Path
        Files of the lab that are not beside the case.
    words : OwnWords or None
        The adviser's own wording; it is frozen with the inputs.
    sheet : bool
        With the sheet for whoever drives the spreader.
    form : Files
        The annex apart, or at the end of the one file.
    rate_map : bool
        With rates by zone for the spreader, as GeoJSON and shapefiles.

    Returns
    -------
    Issued
        The same number and bytes if these inputs were issued before.

    Raises
    ------
    CaseProblems
        The case has problems or is not complete.
    RecordRefused
        The case was issued with other inputs, or was superseded or withdrawn.
    """
    inputs = read_inputs(path, lab_files, words.files if words else ())
    return issue_inputs(inputs, str(path), store, words, sheet, form, rate_map)


def issue_inputs(inputs: Inputs, name: str, store: Store, words: OwnWords | None = None,
                 sheet: bool = False, form: Files = Files.TWO,
                 rate_map: bool = False) -> Issued:
    """Issue inputs that were read; as :func:`issue`. ``name`` is what problems call the case."""
    with store.writing(), suppress(RecordRefused):  # what the case lacks is told first
        before = _before(store, inputs)
        if before is not None:  # it passed the gate when it was issued
            return before
    ready = passed(inputs, name, words, sheet, form, rate_map)
    with store.writing():
        before = _before(store, inputs)  # another process may have been quicker
        if before is not None:
            return before
        case = inputs.loaded.case
        number, series, serial = store.next_number(initials(case.adviser.name),
                                                   case.case.date.year)
        public = {"series": series, "serial": serial}
        return enter(store, ready, "issue", number, 1, public=public)


def enter(store: Store, ready: Ready, op: str, number: str, revision: int, *,
          public: Mapping[str, object], changes: RevisionChanges | None = None,
          more: Mapping[str, object] | None = None,
          frozen: Sequence[Frozen] = ()) -> Issued:
    """Render, freeze and log one revision; only while writing."""
    case = ready.inputs.loaded.case
    issued = store.clock().astimezone(dt.UTC).date()
    with with_own_words(ready.words):
        advisory = pipeline.render(ready.advice, status=DocumentStatus.ISSUED, number=number,
                                   revision=revision, changes=changes, issued=issued,
                                   files=ready.form, stem=file_stem(number, revision))
        made = dict(advisory.files(file_stem(number, revision)))
        if ready.sheet:
            (content,) = pipeline.applicator_file(
                ready.advice, status=DocumentStatus.ISSUED, number=number,
                revision=revision).values()
            made[f"{file_stem(number, revision)}{SHEET}"] = content
        undrawn: tuple[str, ...] = ()
        if ready.rate_map:
            maps, undrawn = pipeline.rate_map_files(
                ready.advice, status=DocumentStatus.ISSUED, number=number,
                stem=file_stem(number, revision))
            made.update(maps)
    files = (*ready.inputs.files, *frozen,
             *(Frozen(_role(name), name, content) for name, content in made.items()))
    client = store.client_named(case.client.name) or f"c{secrets.token_hex(CLIENT_BYTES)}"
    line = store.commit(
        op, {**public, "number": number, "revision": revision, "client": client},
        advisory_card(ready.advice, advisory.data, files,
                      {"issued": issued.isoformat(), **(more or {})}),
        [file.content for file in files])
    return Issued(number, revision, made, False, ready.advice, line.seq, line.digest, undrawn)


def _role(name: str) -> str:
    if name.endswith(SHEET):
        return "sheet"
    if name.endswith(RATES):
        return "rates"
    if name.endswith(ANNEX):
        return "annex"
    return "pdf" if name.endswith(".pdf") else "data"


def file_stem(number: str, revision: int) -> str:
    """Name of a record's files without ending; it tells nothing of the client."""
    return f"{number}-r{revision}"


def _before(store: Store, inputs: Inputs) -> Issued | None:
    """The record of the same inputs; a refusal if the case stands in the archive otherwise."""
    case = inputs.loaded.case
    rows = store.index.query(
        "SELECT r.number, r.revision, n.status, r.seq, r.inputs, l.digest FROM records r "
        "JOIN numbers n ON n.seq = r.seq JOIN lines l ON l.seq = r.seq "
        "WHERE r.case_id = ? AND r.client = ? ORDER BY r.seq DESC",
        (case.case.id, store.client_named(case.client.name)))
    for number, revision, status, seq, digest, head in rows:
        if digest == inputs.digest and status == "issued":
            return Issued(number, revision, stored_files(store, seq), True, None, seq, head)
        if digest == inputs.digest:
            raise RecordRefused(f"{case.case.id} was issued as {number} revision {revision}, "
                                f"which is {status}")
    for number, revision, status, *_ in rows:
        if status == "issued":
            raise RecordRefused(
                f"{case.case.id} was issued as {number} revision {revision} from other inputs; "
                f"'archive supersede {number}' makes the next revision, or give the case an id "
                "of its own")
    return None


def lacking(made: Issued, *, sheet: bool, rate_map: bool,
            form: Files | None = None) -> tuple[str, ...]:
    """What is asked for beside an advisory that was issued before, and is not in its record.

    Returns
    -------
    tuple of str
        Of "sheet", "rate map" and "annex apart" or "one file".
    """
    if not made.again:
        return ()
    names = tuple(made.files)
    apart = any(name.endswith(ANNEX) for name in names)
    found = {"sheet": sheet and not any(name.endswith(SHEET) for name in names),
             "rate map": rate_map and not any(name.endswith(RATES) for name in names),
             "annex apart": form is Files.TWO and not apart,
             "one file": form is Files.ONE and apart}
    return tuple(what for what, lacks in found.items() if lacks)


def stored_files(store: Store, seq: int) -> dict[str, bytes]:
    """PDF, annex, data, sheet and rate map of an issued revision, as they were written."""
    rows = store.index.query(
        "SELECT name, sha256 FROM files WHERE seq = ? AND role IN "
        "('pdf', 'annex', 'data', 'sheet', 'rates') ORDER BY role DESC", (seq,))
    return {name: store.content(digest) for name, digest in rows}
