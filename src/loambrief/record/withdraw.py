"""Withdraw an advisory: a notice to the client, and the mark in the record."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

from loambrief.archive.store import Store
from loambrief.errors import ImpossibleInput, RecordRefused
from loambrief.record.cards import record
from loambrief.record.freeze import Frozen, thawed
from loambrief.record.issue import file_stem
from loambrief.record.supersede import MOST_REASON, check_reason
from loambrief.report.notice_part import withdrawal_notice


@dataclass(frozen=True)
class Withdrawn:
    """A withdrawn advisory and the notice of it."""

    number: str
    revision: int
    files: Mapping[str, bytes] = field(repr=False)
    seq: int = 0
    head: str = ""


def withdraw(number: str, store: Store, *, reason: str, notice: str = "") -> Withdrawn:
    """Withdraw the latest revision of an advisory.

    Parameters
    ----------
    store : Store
        Its clock gives the date of the notice.
    reason : str
        Printed.
    notice : str
        What the client is to do now; printed if given.

    Raises
    ------
    RecordRefused
        It is withdrawn already.
    UnknownName, ArchiveBroken, ImpossibleInput
    """
    from loambrief.render.pdf import render_pdf

    reason = check_reason(reason)
    notice = " ".join(notice.split())
    if len(notice) > MOST_REASON or not notice.isprintable():
        raise ImpossibleInput(f"a notice of at most {MOST_REASON} characters")
    with store.writing():
        found = record(store, number)
        revision, card = found["revision"], found["card"]
        if found["status"] != "issued":
            raise RecordRefused(f"{number} revision {revision} is {found['status']}")
        day = store.clock().astimezone(dt.UTC).date()
        with thawed(store, card["files"]) as (loaded, _):
            model = withdrawal_notice(
                loaded.case, number, revision, issued=dt.date.fromisoformat(card["date"]),
                withdrawn=day, reason=reason, notice=notice)
        name = f"{file_stem(number, revision)}-withdrawn.pdf"
        file = Frozen("notice", name, render_pdf(model))
        line = store.commit(
            "withdraw", {"number": number, "revision": revision, "client": found["client"]},
            {"reason": reason, "notice": notice, "date": day.isoformat(),
             "client": card["client"], "files": [file.as_json()], "text": f"{reason}\n{notice}"},
            [file.content])
        return Withdrawn(number, revision, {name: file.content}, line.seq, line.digest)
