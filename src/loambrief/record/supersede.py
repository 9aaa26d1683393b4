"""The next revision of an advisory, with the reason and what it changes."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from loambrief import pipeline
from loambrief.archive.canonical import canonical
from loambrief.archive.index import fold
from loambrief.archive.store import Store
from loambrief.case.problems import DataPath
from loambrief.case.source import SourceText
from loambrief.errors import ImpossibleInput, RecordRefused
from loambrief.pipeline import Advice, Files
from loambrief.record import completeness
from loambrief.record.cards import record
from loambrief.record.freeze import Frozen, thawed
from loambrief.record.issue import Issued, Ready, enter, prepare
from loambrief.record.rerender import made_differently
from loambrief.report.changes_part import KINDS, RevisionChanges, plan_changes
from loambrief.report.compare_part import ComparedSide
from loambrief.report.own_words import OwnWords

MOST_REASON = 2000
"""Characters."""
NOTHING = "–"


def check_reason(reason: str) -> str:
    """A reason fit for the record: some words, without control characters."""
    text = " ".join(reason.split())
    if len(text) < 3 or len(text) > MOST_REASON or not text.isprintable():
        raise ImpossibleInput(f"a reason of 3 to {MOST_REASON} characters is wanted")
    return text


def supersede(number: str, path: Path, store: Store, *, reason: str, kind: str = "new-data",
              lab_files: Sequence[Path] = (), words: OwnWords | None = None,
              sheet: bool = False, form: Files = Files.TWO, rate_map: bool = False) -> Issued:
    """Issue the next revision of an advisory from a changed case.

    The same case will do where the revision adds a sheet or a rate map.

    Parameters
    ----------
    path : Path
        The changed case; it passes the same gate.
    reason : str
        Printed.
    kind : str
        One of :data:`loambrief.report.changes_part.KINDS`.
    sheet, form, rate_map
        As in :func:`loambrief.record.issue.issue`.

    Raises
    ------
    RecordRefused
        It is withdrawn or erased, of another client, or nothing changed.
    CaseProblems, UnknownName, ImpossibleInput
    """
    reason = check_reason(reason)
    if kind not in KINDS:
        raise ImpossibleInput(f"kind {kind!r}; one of {', '.join(KINDS)}")
    ready = prepare(path, lab_files, words, sheet, form, rate_map)
    with store.writing():
        found = record(store, number)
        card, before = found["card"], found["revision"]
        case = ready.inputs.loaded.case
        if found["status"] != "issued":
            raise RecordRefused(f"{number} revision {before} is {found['status']}")
        if fold(card["client"]["name"]) != fold(case.client.name):
            raise RecordRefused(f"{number} is for another client")
        if card["inputs"] == ready.inputs.digest and not _adds(card, ready):
            raise RecordRefused(f"{number} revision {before} was issued from the same inputs")
        changes = RevisionChanges(
            number, before + 1, before, kind, reason, card["date"],
            newer_program=bool(made_differently(card)),
            **_differences(store, card, ready.advice, completeness.case_source(
                ready.inputs.raw, str(path), ready.inputs.folder)))
        frozen = Frozen("changes", "changes.json", canonical(changes.as_json()))
        return enter(store, ready, "supersede", number, before + 1, public={},
                     changes=changes, frozen=(frozen,),
                     more={"reason": reason, "reason_kind": kind, "replaces": before})


def _adds(card: Mapping, ready: Ready) -> bool:
    """Whether a sheet or rate map is asked for that the revision before does not have."""
    roles = {file["role"] for file in card["files"]}
    if ready.sheet and "sheet" not in roles:
        return True
    return (ready.rate_map and "rates" not in roles
            and bool(pipeline.rate_map_files(ready.advice)[0]))


def _differences(store: Store, card: Mapping, now: Advice, source: SourceText) -> dict:
    """Inputs, findings, actions and money that differ from the revision before."""
    with thawed(store, card["files"]) as (loaded, home):
        old = pipeline.advise(loaded)
        raw = loaded.source_text.encode("utf-8")
        old_source = completeness.case_source(raw, "case.yaml", home)
    sides = [ComparedSide(name, a.loaded.case, a.diagnosis, a.plan)
             for name, a in (("before", old), ("now", now))]
    return {"inputs": input_changes(old_source, source), **plan_changes(*sides)}


def input_changes(before: SourceText, now: SourceText) -> tuple[tuple[str, str, str], ...]:
    """Every value of a case that is not as before, by the name of its place.

    Parameters
    ----------
    before, now : SourceText
        Entries of lists are matched by their id, depth or species, else by position.

    Returns
    -------
    tuple of (str, str, str)
        Place, value before, value now; a dash where there is none. In the order of the new
        case, what is gone last.
    """
    old, new = _values(before), _values(now)
    names = [*new, *(name for name in old if name not in new)]
    return tuple((name, old.get(name, NOTHING), new.get(name, NOTHING)) for name in names
                 if old.get(name) != new.get(name))


def _values(source: SourceText) -> dict[str, str]:
    found: dict[str, str] = {}

    def walk(value: object, path: DataPath) -> None:
        if isinstance(value, Mapping):
            for key, inner in value.items():
                walk(inner, (*path, key))
        elif isinstance(value, list) and any(isinstance(v, Mapping | list) for v in value):
            for position, inner in enumerate(value):
                walk(inner, (*path, position))
        elif value is not None:
            found[source.label(path)] = _typed(value)

    walk(source.data, ())
    return found


def _typed(value: object) -> str:
    if isinstance(value, list):
        return ", ".join(map(_typed, value))
    if hasattr(value, "typed"):
        return str(value.typed)
    return json.dumps(value) if isinstance(value, bool) else str(value)
