"""Data tables: CSV or TOML, each with its source beside it, loaded once and frozen.

A table ``topic/name.csv`` has a sidecar ``topic/name.source.toml``::

    title = "SMP buffer lime requirement"
    reference = "mclean-1982"        # key in references.toml
    locator = "table 12-2"
    how = "memory"                   # seen | computed | memory | convention
    licence = "facts"                # or the licence the data came under
    notes = "..."
    [columns.buffer_ph]
    unit = "pH"
    meaning = "soil-buffer pH"
    sum = 121.8                      # optional: printed or computed column sum

A CSV may carry its own ``how`` and ``source`` columns where rows differ.
"""

import csv
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from types import MappingProxyType
from typing import Any

from loambrief.errors import TableFault, UnknownName
from loambrief.resources import tables_dir

HOW = ("seen", "computed", "memory", "convention")
"""How a value was checked: seen in its published text; computed here from seen values;
from memory, unverified; or a definition."""


DataRow = Mapping[str, Any]
"""One line of a table: a number, a text or None per column, as its source file describes.
Where the kind matters, read single cells by :meth:`DataTable.number` and :meth:`DataTable.text`."""


@dataclass(frozen=True)
class Reference:
    """One publication: what the report's source list prints."""

    key: str
    citation: str
    year: int | None
    url: str = ""
    licence: str = ""
    kind: str = "publication"


@dataclass(frozen=True)
class TableSource:
    """Where a table comes from and how far it was checked."""

    title: str
    reference: str
    locator: str
    how: str
    licence: str
    notes: str
    columns: Mapping[str, DataRow]


@dataclass(frozen=True)
class DataTable:
    """Frozen rows of one data file, with its source."""

    name: str
    source: TableSource
    rows: tuple[DataRow, ...]

    def __iter__(self) -> Iterator[DataRow]:
        return iter(self.rows)

    @cached_property
    def _columns(self) -> dict[str, tuple[Any, ...]]:
        return {}

    @cached_property
    def _found(self) -> dict[tuple[str, ...], dict[tuple[object, ...], tuple[DataRow, ...]]]:
        """Rows by their values in some columns: they are looked up again and again."""
        return {}

    def column(self, name: str) -> tuple[Any, ...]:
        if name not in self._columns:
            self._columns[name] = tuple([row[name] for row in self.rows])
        return self._columns[name]

    def where(self, **wanted: object) -> tuple[DataRow, ...]:
        """Rows whose columns equal ``wanted``, top to bottom; there may be none."""
        names = tuple(wanted)
        if names not in self._found:
            groups: dict[tuple[object, ...], list[DataRow]] = {}
            for row in self.rows:
                groups.setdefault(tuple([row[name] for name in names]), []).append(row)
            self._found[names] = {values: tuple(rows) for values, rows in groups.items()}
        return self._found[names].get(tuple(wanted.values()), ())

    def named(self, called: str, /, **wanted: object) -> tuple[DataRow, ...]:
        """Rows whose columns equal ``wanted``, at least one.

        Raises ``UnknownName`` with the names that there are; ``called`` is what the first column
        names.
        """
        rows = self.where(**wanted)
        if not rows:
            key, value = next(iter(wanted.items()))
            known = tuple(dict.fromkeys(map(str, self.column(key))))
            raise UnknownName(called or f"{self.name} {key}", str(value), known)
        return rows

    def find(self, called: str = "", /, **wanted: object) -> DataRow:
        """The first of :meth:`named`; without ``called`` the message has the column's name."""
        return self.named(called, **wanted)[0]

    def number(self, column: str, **wanted: object) -> float:
        """The number in one column of the first row whose columns equal ``wanted``.

        Raises
        ------
        UnknownName
            No such row.
        TableFault
            The cell is empty or holds text.
        """
        value = self.find(**wanted)[column]
        if not isinstance(value, float):
            raise TableFault(f"table {self.name}: {column} of {wanted} is {value!r}, not a number")
        return value

    def text(self, column: str, **wanted: object) -> str:
        """The text in one column of the first row whose columns equal ``wanted``.

        Raises
        ------
        UnknownName
            No such row.
        TableFault
            The cell is empty or holds a number.
        """
        value = self.find(**wanted)[column]
        if not isinstance(value, str):
            raise TableFault(f"table {self.name}: {column} of {wanted} is {value!r}, not a text")
        return value


def _cell(text: str) -> float | str | None:
    text = text.strip()
    if text == "":
        return None
    try:
        return float(text)
    except ValueError:
        return text


def _source(name: str) -> TableSource:
    path = tables_dir() / f"{name}.source.toml"
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise TableFault(f"table {name}: no source file {path.name}") from None
    missing = [key for key in ("title", "reference", "how", "columns") if key not in raw]
    if missing:
        raise TableFault(f"table {name}: source file lacks {', '.join(missing)}")
    if raw["how"] not in HOW:
        raise TableFault(f"table {name}: how = {raw['how']!r}, wanted one of {HOW}")
    columns = {key: MappingProxyType(dict(value)) for key, value in raw["columns"].items()}
    return TableSource(
        title=raw["title"],
        reference=raw["reference"],
        locator=raw.get("locator", ""),
        how=raw["how"],
        licence=raw.get("licence", "facts"),
        notes=raw.get("notes", ""),
        columns=MappingProxyType(columns),
    )


@cache
def load(name: str) -> DataTable:
    """Read ``tables/<name>.csv`` and its source.

    Parameters
    ----------
    name : str
        Path inside ``tables/`` without ending, e.g. ``"acidity/smp"``.

    Returns
    -------
    DataTable
        Numbers as float, empty cells as None, all else as str. A cell in a column whose
        source says ``type = "text"`` stays text.

    Raises
    ------
    TableFault
        No such file, or its columns are not the ones its source describes.
    """
    path = tables_dir() / f"{name}.csv"
    source = _source(name)
    try:
        with path.open(encoding="utf-8", newline="") as stream:
            reader = csv.DictReader(stream)
            header = tuple(reader.fieldnames or ())
            texts = {c for c, about in source.columns.items() if about.get("type") == "text"}
            rows = []
            for raw in reader:
                if None in raw or None in raw.values():
                    raise TableFault(f"table {name} line {reader.line_num}: wrong number of cells")
                rows.append(
                    MappingProxyType(
                        {k: (v.strip() or None) if k in texts else _cell(v) for k, v in raw.items()}
                    )
                )
    except FileNotFoundError:
        raise TableFault(f"no table {name}") from None
    if set(header) != set(source.columns):
        raise TableFault(
            f"table {name}: columns {sorted(set(header) ^ set(source.columns))} are in only one "
            "of the table and its source file"
        )
    return DataTable(name, source, tuple(rows))


@cache
def load_document(name: str) -> DataRow:
    """Read ``tables/<name>.toml`` (a structured table that is not a grid).

    It must hold a ``[source]`` part with ``title``, ``reference`` and ``how``.

    Raises
    ------
    TableFault
        No such file or no source part.
    """
    path = tables_dir() / f"{name}.toml"
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise TableFault(f"no table {name}") from None
    about = raw.get("source", {})
    if not {"title", "reference", "how"} <= set(about):
        raise TableFault(f"table {name}: [source] needs title, reference and how")
    if about["how"] not in HOW:
        raise TableFault(f"table {name}: how = {about['how']!r}, wanted one of {HOW}")
    return MappingProxyType(raw)


@cache
def _reference_texts() -> Mapping[str, tuple[str, str]]:
    """Each publication's file and its part of that file, not yet read: a case cites a tenth."""
    found: dict[str, tuple[str, str]] = {}
    for path in sorted((tables_dir() / "references").glob("*.toml")):
        for part in f"\n{path.read_text(encoding='utf-8')}".split("\n[")[1:]:
            key = part.partition("]")[0].strip('"')
            if key in found:
                raise TableFault(f"reference {key} stands twice (again in {path.name})")
            found[key] = path.name, f"[{part}"
    return found


@cache
def references() -> Mapping[str, Reference]:
    """All publications, by key: every ``tables/references/*.toml`` merged.

    Raises ``TableFault`` if a key stands in two files or an entry lacks its citation.
    """
    return MappingProxyType({key: reference(key) for key in _reference_texts()})


@cache
def reference(key: str) -> Reference:
    """One publication by its key; ``UnknownName`` if there is none."""
    known = _reference_texts()
    if key not in known:
        raise UnknownName("reference", key, tuple(known))
    name, text = known[key]
    (raw,) = tomllib.loads(text).values()
    if "citation" not in raw:
        raise TableFault(f"reference {key} in {name} lacks its citation")
    return Reference(
        key=key,
        citation=raw["citation"],
        year=raw.get("year"),
        url=raw.get("url", ""),
        licence=raw.get("licence", ""),
        kind=raw.get("kind", "publication"),
    )


def named_number(table: str, name: str) -> float:
    """The number that stands under a name in a table of single numbers."""
    return load(table).find(name=name)["value"]


def parts(cell: object, mark: str = "|") -> tuple[str, ...]:
    """What a cell lists, set apart by a mark; nothing for an empty one."""
    return tuple(part.strip() for part in str(cell or "").split(mark) if part.strip())


def all_tables(folder: str = "") -> tuple[str, ...]:
    """Names of every grid table that is shipped, or of those in a folder, sorted."""
    return _names(folder, [".csv"])


def all_documents(folder: str = "") -> tuple[str, ...]:
    """Names of every structured (TOML) table that is shipped, or in a folder, sorted."""
    return _names(folder, [".toml"])


def _names(folder: str, endings: list[str]) -> tuple[str, ...]:
    root = tables_dir()
    return tuple(sorted(p.relative_to(root).with_suffix("").as_posix()
                        for p in (root / folder).rglob("*")
                        if p.suffixes == endings and p.parent.name != "references"))
