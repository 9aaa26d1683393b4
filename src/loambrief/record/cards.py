"""Cards of the record: what an event is about, for the archive and its index."""

import json
from collections.abc import Iterable, Mapping

from loambrief import __version__
from loambrief.archive.store import Store
from loambrief.case.schema import CaseFile
from loambrief.errors import ArchiveBroken, UnknownName
from loambrief.pipeline import Advice, made_with, tables_digest
from loambrief.record.freeze import Frozen, inputs_digest

MOST_WORDS = 200_000
"""Characters of the searchable text of one record."""


def advisory_card(advice: Advice, data: bytes, files: Iterable[Frozen],
                  more: Mapping[str, object]) -> dict:
    """The card of an issued advisory.

    Parameters
    ----------
    data : bytes
        The advisory as JSON.
    more : mapping
        Further members: reason and kind of a new revision.
    """
    case, content = advice.loaded.case, json.loads(data)
    listed = [file.as_json() for file in files]
    return {
        "client": {k: v for k, v in case.client.model_dump().items() if v is not None},
        "farm": case.farm.name,
        "field": {"name": case.field.name, "id": case.field.id},
        "crop": case.field.crop,
        "case_id": case.case.id,
        "date": case.case.date.isoformat(),
        "valid_until": case.case.valid_until.isoformat() if case.case.valid_until else None,
        "adviser": case.adviser.name,
        "language": case.case.language,
        "inputs": inputs_digest(listed),
        "version": __version__,
        "tables": tables_digest(),
        "made_with": made_with(),
        "actions": [{"rank": a["rank"], "id": a["id"], "title": a["title"],
                     "material": a["material"]} for a in content["actions"]],
        "dues": [{"due": m["due"], "what": m["what"]} for m in content["monitoring"] if m["due"]],
        "files": listed,
        "text": words(case, content),
        **more,
    }


def words(case: CaseFile, content: Mapping) -> str:
    """What a full-text search looks through."""
    parts: list[str | None] = [
        case.client.name, case.client.contact, case.farm.name, case.farm.location,
        case.field.name, case.field.id, case.field.crop, case.case.purpose, *case.notes,
        *(w.species for w in case.weeds), *(w.local_name for w in case.weeds),
        *(m.name for m in case.materials), *(s.lab.report for s in case.samples),
        *(f["title"] for f in content["findings"]),
        *(e["text"] for f in content["findings"] for e in f["evidence"]),
        *(a["title"] for a in content["actions"]), *(a["id"] for a in content["actions"]),
        *(n["what"] for n in content["not_advised"]),
        *(m["what"] for m in content["missing"]),
    ]
    return "\n".join(dict.fromkeys(p for p in parts if p))[:MOST_WORDS]


def record(store: Store, number: str, revision: int | None = None) -> dict:
    """One issued advisory: what the log says of it, and its card.

    Parameters
    ----------
    revision : int or None
        None: the latest.

    Raises
    ------
    UnknownName
        No such number or revision.
    ArchiveBroken
        Its card is erased or damaged.
    """
    rows = store.index.query(
        "SELECT n.number, n.revision, n.status, n.seq, l.time, l.card, l.client, l.erased "
        "FROM numbers n JOIN lines l ON l.seq = n.seq WHERE n.number = ? ORDER BY n.revision",
        (number,))
    if not rows:
        known = [r[0] for r in store.index.query("SELECT DISTINCT number FROM numbers")]
        raise UnknownName("advisory", number, tuple(known))
    if revision is not None:
        rows = [r for r in rows if r[1] == revision] or rows[:0]
        if not rows:
            raise UnknownName("revision of " + number, str(revision))
    found = dict(zip(("number", "revision", "status", "seq", "time", "digest", "client", "erased"),
                     rows[-1], strict=True))
    if found.pop("erased"):
        raise ArchiveBroken(f"{number} revision {found['revision']} was erased")
    card = store.card(found["digest"])
    if card is None:
        raise ArchiveBroken(f"the card of {number} revision {found['revision']} is missing or "
                            "damaged; 'archive check' says more")
    return {**found, "card": card}


def file_of(card: Mapping, role: str) -> Mapping | None:
    """The first file of a role."""
    return next((f for f in card["files"] if f["role"] == role), None)
