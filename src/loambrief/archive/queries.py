"""Questions to the index: find advisories, tell all about one, say what falls due."""

import datetime as dt
import re
from dataclasses import dataclass, replace

from loambrief.archive.index import fold
from loambrief.archive.store import Store
from loambrief.errors import ImpossibleInput, UnknownName

STATUSES = ("issued", "superseded", "withdrawn", "erased")
_WORD = re.compile(r"[\w]+\*?", re.UNICODE)


@dataclass(frozen=True)
class ListedRevision:
    """One revision of an advisory as it is listed."""

    number: str
    revision: int
    status: str
    entered: str
    client: str | None
    farm: str | None
    field: str | None
    crop: str | None
    date: str | None
    valid_until: str | None
    case_id: str | None
    held: bool


@dataclass(frozen=True)
class Search:
    """What to look for; every given condition must hold."""

    client: str | None = None
    field: str | None = None
    crop: str | None = None
    action: str | None = None
    material: str | None = None
    """``client``, ``field``, ``crop``, ``action``, ``material``: A part of the name, without regard
    to case and accents; ``field`` also by id, and ``action`` also by title."""
    since: dt.date | None = None
    until: dt.date | None = None
    """``since``, ``until``: dates of the advisories."""
    status: str | None = None
    """One of :data:`STATUSES`."""
    text: str | None = None
    """Words that all occur somewhere in the record; ``word*`` for a beginning."""


_ROW = """SELECT n.number, n.revision, n.status, l.time, r.client_name, r.farm, r.field, r.crop,
r.date, r.valid_until, r.case_id,
EXISTS (SELECT 1 FROM holds h WHERE h.target IN ('number ' || n.number, 'client ' || l.client))
FROM numbers n JOIN lines l ON l.seq = n.seq LEFT JOIN records r ON r.seq = n.seq"""


def find(store: Store, wanted: Search | None = None) -> list[ListedRevision]:
    """Advisories that meet every condition, in the order of their numbers' entry.

    Parameters
    ----------
    wanted : Search or None
        None: all.

    Raises
    ------
    ImpossibleInput
        An unknown status, or a text without a word in it.
    """
    wanted = wanted or Search()
    where, values = ["1"], []
    for column, part in (("r.client_fold", wanted.client), ("r.field_fold", wanted.field),
                         ("r.crop_fold", wanted.crop)):
        if part is not None:
            where.append(f"instr({column}, ?)")
            values.append(fold(part))
    for column, part in (("fold", wanted.action), ("material_fold", wanted.material)):
        if part is not None:
            where.append(f"EXISTS (SELECT 1 FROM actions a WHERE a.seq = n.seq AND "
                         f"instr(a.{column}, ?))")
            values.append(fold(part))
    for sign, day in ((">=", wanted.since), ("<=", wanted.until)):
        if day is not None:
            where.append(f"r.date {sign} ?")
            values.append(day.isoformat())
    if wanted.status is not None:
        if wanted.status not in STATUSES:
            raise ImpossibleInput(f"status {wanted.status!r}; one of {', '.join(STATUSES)}")
        where.append("n.status = ?")
        values.append(wanted.status)
    if wanted.text is not None:
        where.append("n.seq IN (SELECT rowid FROM words WHERE words MATCH ?)")
        values.append(match_all(wanted.text))
    rows = store.index.query(f"{_ROW} WHERE {' AND '.join(where)} ORDER BY n.seq", values)
    return [replace(ListedRevision(*row), held=bool(row[-1])) for row in rows]


def match_all(text: str) -> str:
    """A full-text query that finds every word of a text, whatever signs stand between.

    Raises
    ------
    ImpossibleInput
        There is no word in it.
    """
    words = _WORD.findall(text)
    if not words:
        raise ImpossibleInput(f"no word in {text!r}")
    return " AND ".join(f'"{w[:-1]}" *' if w.endswith("*") else f'"{w}"' for w in words)


def history(store: Store, number: str) -> list[dict]:
    """Every event of one advisory, with the files it brought.

    Raises
    ------
    UnknownName
        No such number.
    """
    lines = store.index.query(
        "SELECT seq, time, op, revision, digest, erased FROM lines WHERE number = ? ORDER BY seq",
        (number,))
    if not lines:
        known = tuple(r[0] for r in store.index.query("SELECT DISTINCT number FROM numbers"))
        raise UnknownName("advisory", number, known)
    found = []
    for seq, time, op, revision, digest, erased in lines:
        files = store.index.query("SELECT role, name, sha256, size, stored FROM files WHERE "
                                  "seq = ? ORDER BY rowid", (seq,))
        found.append({
            "seq": seq, "time": time, "op": op, "revision": revision, "digest": digest,
            "erased": bool(erased),
            "files": [dict(zip(("role", "name", "sha256", "size"), f, strict=False),
                           stored=bool(f[4])) for f in files],
        })
    return found


@dataclass(frozen=True)
class DueItem:
    """Something that falls due."""

    kind: str
    """``validity`` (the advisory ends to hold), ``look`` (a re-test or a look at the field) or
    "retention" (the record need not be kept any longer)."""
    due: str
    """Date."""
    number: str
    revision: int
    client: str | None
    field: str | None
    """``number``, ``revision``, ``client``, ``field`` (as listed): Number and revision are empty
    and 0 for documents of no advisory."""
    what: str
    """In words."""
    held: bool
    """A legal hold keeps the record."""


def due(store: Store, on: dt.date, ahead: int = 30) -> list[DueItem]:
    """What has fallen due by a day, and what will within some days.

    Validity and looks are told of advisories that hold (neither superseded nor withdrawn)
    from ``ahead`` days before to ``ahead`` days after the day; retention of every record that
    need not be kept on that day.

    Parameters
    ----------
    ahead : int
        Days, 0 to 3660.

    Returns
    -------
    list of DueItem
        By kind and date.
    """
    if not 0 <= ahead <= 3660:
        raise ImpossibleInput(f"{ahead} days; 0 to 3660")
    first, last = on - dt.timedelta(days=ahead), on + dt.timedelta(days=ahead)
    rows = find(store)
    found: list[DueItem] = []
    for row in rows:
        if row.status == "issued" and row.valid_until and (
                first.isoformat() <= row.valid_until <= last.isoformat()):
            found.append(_due(row, "validity", row.valid_until, "the advisory ends to hold"))
    looks = store.index.query(
        "SELECT n.number, n.revision, d.due, d.what FROM dues d JOIN numbers n ON n.seq = d.seq "
        "WHERE n.status = 'issued' AND d.due BETWEEN ? AND ? ORDER BY d.due, d.rowid",
        (first.isoformat(), last.isoformat()))
    by_number = {(row.number, row.revision): row for row in rows}
    found += [_due(by_number[number, revision], "look", day, what)
              for number, revision, day, what in looks]
    for row in rows:
        until = keep_until(store, row)
        if until is not None and until < on:
            found.append(_due(row, "retention", until.isoformat(), "need not be kept any longer"))
    found += _loose_documents(store, on)
    return sorted(found, key=lambda d: (("validity", "look", "retention").index(d.kind), d.due,
                                        d.number, d.revision))


def keep_until(store: Store, row: ListedRevision) -> dt.date | None:
    """Last day a record is kept by the settings; None once it is erased.

    An advisory is kept as long as it asks for itself, and as long as a notice of withdrawal or
    a document that was added to it does.
    """
    if row.status == "erased" or row.date is None:
        return None
    settings = store.settings
    start = row.entered[:10] if settings.start == "issue" else (row.valid_until or row.date)
    days = [settings.until("advisory", dt.date.fromisoformat(start))]
    for op, time in store.index.query(
            "SELECT op, time FROM lines WHERE number = ? AND erased = 0 AND op IN "
            "('add', 'withdraw')", (row.number,)):
        kind = "notice" if op == "withdraw" else "document"
        days.append(settings.until(kind, dt.date.fromisoformat(time[:10])))
    return max(days)


def _loose_documents(store: Store, on: dt.date) -> list[DueItem]:
    """Documents of no advisory that need not be kept any longer."""
    rows = store.index.query(
        "SELECT l.seq, l.time, c.name, EXISTS (SELECT 1 FROM holds h WHERE h.target = 'client ' "
        "|| l.client) FROM lines l LEFT JOIN clients c ON c.client = l.client "
        "WHERE l.op = 'add' AND l.number IS NULL AND l.erased = 0")
    found = []
    for seq, time, name, held in rows:
        until = store.settings.until("document", dt.date.fromisoformat(time[:10]))
        if until < on:
            found.append(DueItem("retention", until.isoformat(), "", 0, name, None,
                             f"documents of log line {seq} need not be kept any longer",
                             bool(held)))
    return found


def _due(row: ListedRevision, kind: str, day: str, what: str) -> DueItem:
    return DueItem(kind, day, row.number, row.revision, row.client, row.field, what, row.held)


def summary(row: ListedRevision) -> str:
    """One line for the terminal."""
    held = " [held]" if row.held else ""
    who = ", ".join(filter(None, (row.client, row.field, row.crop))) or "erased"
    return f"{row.number} r{row.revision} {row.status}{held}  {row.date or ''}  {who}"
