"""Finds the data of advisories in folders and archives."""

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pydantic_core import from_json

from loambrief.archive import log
from loambrief.archive.queries import find
from loambrief.archive.store import Store
from loambrief.errors import ArchiveBroken, LoambriefError
from loambrief.season.growing import Growing
from loambrief.season.rows import SCHEMAS, OddData, rows_of

MOST_BYTES = 32 * 2**20
"""Size above which a file is no advisory's data."""
PEEK = 400
"""Bytes of a file in which an advisory's data says that it is one."""
MARKS = (b'"schema_version"', b'"case_id"')


@dataclass
class Gathered:
    """What was found."""

    tables: dict[str, Growing] = field(
        default_factory=lambda: {name: Growing(schema) for name, schema in SCHEMAS.items()})
    """By the names of :data:`loambrief.season.rows.SCHEMAS`."""
    count: int = 0
    """Advisories read."""
    damaged: list[str] = field(default_factory=list)
    """Files of advisories that could not be read, with the reason."""
    left: dict[str, int] = field(default_factory=dict)
    """What an archive itself says no longer counts, by its state."""

    def take(self, raw: bytes, source: str,
             known: Mapping[str, str | None] | None = None) -> None:
        """Add the data of one advisory; what cannot be read is noted."""
        try:
            rows = rows_of(from_json(raw), self.count, source, known or {})
        except (OddData, ValueError) as error:
            self.damaged.append(f"{source}: {error}")
            return
        for name, found in rows.items():
            self.tables[name].extend(found)
        self.count += 1


def gather(places: Sequence[Path]) -> Gathered:
    """Read every advisory's data in folders, searched with those below them, or archives.

    Raises
    ------
    LoambriefError
        A place is no folder, or none holds the data of an advisory.
    """
    gone = [f"{place} is not a folder" for place in places if not place.is_dir()]
    if gone:
        raise LoambriefError("; ".join(gone))
    found, seen = Gathered(), set[Path]()
    for place in places:
        if (place / log.NAME).is_file():
            _from_archive(place, found)
            continue
        for path in files_below(place):
            home = path.resolve()
            if home in seen:
                continue
            seen.add(home)
            raw = _data_in(path, found)
            if raw is not None:
                found.take(raw, path.as_posix())
    if not found.count:
        more = "".join(f"\n  {line}" for line in found.damaged[:5])
        more += "".join(f"\n  {count} in the archive, {state}"
                        for state, count in sorted(found.left.items()))
        raise LoambriefError(
            f"no data of an advisory in {', '.join(map(str, places))}; it is the file "
            f"'<case id>.json' that advise, batch and issue write{more}")
    return found


def files_below(folder: Path) -> Iterator[Path]:
    """JSON files below a folder, in the order of their names; hidden folders are left out."""
    for home, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            if name.endswith(".json") and not name.startswith("."):
                yield Path(home, name)


def _data_in(path: Path, found: Gathered) -> bytes | None:
    """Content of a file that says it is an advisory's data; None for any other."""
    try:
        with path.open("rb") as stream:
            head = stream.read(PEEK)
            if not all(mark in head for mark in MARKS):
                return None
            if path.stat().st_size > MOST_BYTES:
                found.damaged.append(f"{path.as_posix()}: larger than {MOST_BYTES} bytes")
                return None
            return head + stream.read()
    except OSError as error:
        found.damaged.append(f"{path.as_posix()}: {error.strerror or error}")
        return None


def _from_archive(place: Path, found: Gathered) -> None:
    """The revisions in force; those that are not are counted by their state."""
    with Store.open(place) as store:
        digests = {(number, revision): digest for number, revision, digest in store.index.query(
            "SELECT n.number, n.revision, f.sha256 FROM numbers n JOIN files f ON f.seq = n.seq "
            "WHERE f.role = 'data'", ())}
        for row in find(store):
            if row.status != "issued":
                found.left[row.status] = found.left.get(row.status, 0) + 1
                continue
            name = f"{place.as_posix()}: {row.number} revision {row.revision}"
            try:
                raw = store.content(digests[row.number, row.revision])
            except (ArchiveBroken, KeyError) as error:
                found.damaged.append(f"{name}: {error if str(error) else 'no data'}")
                continue
            found.take(raw, name, {"client": row.client, "farm": row.farm, "field": row.field,
                                   "crop": row.crop})
