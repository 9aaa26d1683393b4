"""One client's whole file, to be handed over: every document with a list, always the same bytes."""

import json
import zipfile
from collections.abc import Mapping
from io import BytesIO

from loambrief.archive.canonical import sha256
from loambrief.archive.store import Store
from loambrief.record.rerender import marked_files
from loambrief.record.retention import scope_of
from loambrief.report.blocks import DocumentStatus

MARKS = {"withdrawn": DocumentStatus.WITHDRAWN, "superseded": DocumentStatus.SUPERSEDED}
HOLDS = frozenset({"pdf", "annex", "data", "sheet", "rates", "signed"})
"""Roles of files that speak as if an advisory held."""
_EPOCH = (1980, 1, 1, 0, 0, 0)


def export_client(store: Store, client: str) -> dict[str, bytes]:
    """Everything the archive holds of a client, by path.

    An advisory that no longer holds is exported twice: marked on each page and in its data as
    what it is, and, under ``original/``, as it was issued and signed, byte for byte.

    Parameters
    ----------
    client : str
        Name.

    Returns
    -------
    dict of str to bytes
        With ``manifest.json`` first: every event and file with its digest, and the head of
        the log.
    """
    scope = scope_of(store, client=client)
    files: dict[str, bytes] = {}
    events = [_event(store, seq, files) for (seq,) in store.index.query(
        "SELECT seq FROM lines WHERE client = ? AND erased = 0 ORDER BY seq", (scope.client,))]
    seq, head = store.head
    name = store.index.query("SELECT name FROM clients WHERE client = ?", (scope.client,))
    manifest = {
        "client": name[0][0] if name else "", "log": {"seq": seq, "head": head}, "events": events,
        "files": [{"path": path, "sha256": sha256(content), "size": len(content)}
                  for path, content in sorted(files.items())],
    }
    text = json.dumps(manifest, ensure_ascii=False, indent=2, sort_keys=True) + "\n"
    return {"manifest.json": text.encode("utf-8"), **dict(sorted(files.items()))}


def _event(store: Store, seq: int, files: dict[str, bytes]) -> dict:
    """One event for the list; its files are put among ``files``."""
    line = store.index.query(
        "SELECT l.time, l.op, l.number, l.revision, l.digest, l.card, n.status FROM lines l "
        "LEFT JOIN numbers n ON n.number = l.number AND n.revision = l.revision "
        "WHERE l.seq = ?", (seq,))[0]
    time, op, number, revision, digest, named, status = line
    card: Mapping = store.card(named) or {}
    folder = f"{number}-r{revision}" if number else "documents"
    listed = []
    for position, file in enumerate(card.get("files", ())):
        if not file.get("stored", True):
            continue
        content = store.content(file["sha256"])
        name = safe_name(file["name"])
        part = "inputs/" if file["role"] in ("case", "profile", "lab", "words", "changes") else ""
        mark = MARKS.get(status)
        if mark is not None and file["role"] == "pdf" and op in ("issue", "supersede"):
            for told, again in marked_files(store, number, revision, mark).items():
                files[f"{folder}/{told}"] = again
        if mark is not None and file["role"] in HOLDS:
            part = "original/"
        path = f"{folder}/{part}{name}"
        if path in files and files[path] != content:
            path = f"{folder}/{part}{seq}-{position}-{name}"
        files[path] = content
        listed.append({"path": path, "role": file["role"], "sha256": file["sha256"],
                       "named": file["name"]})
    event = {"seq": seq, "time": time, "what": op, "number": number, "revision": revision,
             "status": status, "digest": digest, "files": listed}
    for key in ("reason", "reason_kind", "notice", "note", "replaces"):
        if card.get(key):
            event[key] = card[key]
    return event


def safe_name(name: str) -> str:
    """A name of the record as one part of a path: it cannot lead out of a folder."""
    flat = name.replace("\\", "/").replace("..", "").strip("/").replace("/", "-").lstrip(".-")
    kept = "".join(c if c.isprintable() and c not in '<>:"|?*' else "_" for c in flat)
    return kept or "file"


def zipped(files: Mapping[str, bytes]) -> bytes:
    """A ZIP file of these, the same bytes whenever it is made."""
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for path, content in files.items():
            entry = zipfile.ZipInfo(path, _EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o600 << 16
            entry.create_system = 3
            target.writestr(entry, content)
    return out.getvalue()
