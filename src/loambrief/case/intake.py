"""Rows of a lab's file to the samples of a case, or every problem they have.

A blank cell is "not measured" and leaves the key out; it never becomes zero. ``<`` and ``>``
stay limits. Rows that hold no result are left out and named in the notes.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from loambrief.case.intake_cells import (
    NotAResult,
    depth_of,
    is_missing,
    mean_of,
    number_text,
    qualified,
    read_date,
    read_depth,
    read_result,
)
from loambrief.case.intake_columns import Columns, ColumnSearch
from loambrief.case.intake_guess import kind_of_file
from loambrief.case.intake_kinds import PART_OF, SOIL, model_of
from loambrief.case.intake_map import Given, LoadedMap, MapFile, ResultPart
from loambrief.case.intake_read import EMPTY, Cell, LabRow, LabTable, read_lab_file
from loambrief.case.measurements import EXTRACT_KEY, field_at, path_of
from loambrief.case.problems import Problem, in_file_order
from loambrief.case.quantities import as_identifier, did_you_mean, show
from loambrief.case.schema import Increment, Methods
from loambrief.case.yaml_edit import Tree, Value
from loambrief.errors import CaseProblems

MOST_SAMPLES = 40
MOST_SLICES = 24
MOST_FAULTS = 300
"""Problems after which the rest of the rows is not looked at."""
WHOLE = (0.0, 0.0, "")
"""Stands for the depth of what has none."""


@dataclass
class Slice:
    """One increment as it will be written: values by field, in the schema's order."""

    depth: tuple[float, float, str]
    row: LabRow
    values: dict[str, Value] = field(default_factory=dict)
    rows: dict[str, LabRow] = field(default_factory=dict)
    repeats: dict[str, list[Value]] = field(default_factory=dict)


@dataclass
class DraftSample:
    """One sample as it will be written."""

    id: str
    row: LabRow
    about: dict[str, Value] = field(default_factory=dict)
    lab: dict[str, Value] = field(default_factory=dict)
    methods: dict[str, Value] = field(default_factory=dict)
    slices: dict[tuple[float, float], Slice] = field(default_factory=dict)


@dataclass(frozen=True)
class Intake:
    """What a lab's file comes to."""

    samples: tuple[DraftSample, ...]
    mapped: frozenset[str]
    """Fields of a slice that the lab's file decides."""
    table: LabTable
    notes: tuple[str, ...]
    """What was left out, renamed or chosen, for the user to read."""
    report: str = SOIL


def take_in(path: Path | str, loaded: LoadedMap, field_name: str | None = None) -> Intake:
    """Read a lab's file by a confirmed mapping.

    ``field_name`` takes only rows of this field, in place of the mapping's ``sample.field.equals``.

    Raises
    ------
    CaseProblems
        With every problem: mapping's first, then the rows' by row and column.
    """
    layout = loaded.mapping.table
    table = read_lab_file(path, sheet=layout.sheet, delimiter=layout.delimiter,
                          encoding=layout.encoding)
    kind = kind_of_file(table) if loaded.mapping.report is None else None
    if kind is not None and kind.name not in ("", SOIL):
        raise CaseProblems((table.problem(
            "CASE060", None, 0, "file", f"a {kind.name} report ({', '.join(kind.why)})",
            "a soil report, as the mapping has no 'report'",
            f"Set report: {kind.name} in the mapping, or report: soil if it is one."),))
    columns, problems = ColumnSearch(table, loaded).run()
    reading = _Reading(table, loaded.mapping, columns, field_name)
    if columns.usable:
        reading.run()
    problems += list(in_file_order(reading.problems)) if reading.problems else []
    if problems:
        raise CaseProblems(tuple(problems))
    return Intake(tuple(reading.samples.values()), frozenset(r.to for r in loaded.mapping.results),
                  table, (*table.notes, *columns.notes, *reading.notes), loaded.mapping.kind)


class _Reading:
    def __init__(self, table: LabTable, mapping: MapFile, columns: Columns,
                 field_name: str | None):
        self.table, self.mapping, self.columns = table, mapping, columns
        self.samples: dict[str, DraftSample] = {}
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.renamed: dict[str, str] = {}
        self.left_out: list[int] = []
        about = mapping.sample.field
        self.wanted_field = field_name or (about.equals if about else None)
        self.fields: dict[str, str] = {}
        self.last: dict[str, object] = {}
        self.one_water = mapping.kind == "water" and about is None
        """A case holds one water: a name chooses it."""

    def run(self) -> None:
        """Take every row in turn, then say what was left out."""
        for row in self._rows():
            self._row(row)
            if len(self.problems) > MOST_FAULTS or len(self.samples) > MOST_SAMPLES or (
                any(len(s.slices) > MOST_SLICES for s in self.samples.values())
            ):
                break
        if len(self.samples) > MOST_SAMPLES:
            self._problem(None, None, "CASE034", f"more than {MOST_SAMPLES} samples",
                          f"at most {MOST_SAMPLES} in a case", "Choose one field with --field.")
        for sample in self.samples.values():
            if len(sample.slices) > MOST_SLICES:
                self._problem(sample.row, self.columns.id, "CASE034",
                              f"more than {MOST_SLICES} slices of {sample.id}",
                              f"at most {MOST_SLICES}")
        self._several_fields()
        self._means()
        if self.left_out:
            self.notes.append("rows without results, left out: " + _ranges(self.left_out))
        self.notes += [f"sample {old!r} is written as {new}" for old, new in self.renamed.items()
                       if old != new]
        if not self.samples and not self.problems:
            known = ", ".join(self.fields.values())
            self._problem(None, None, "CASE065", "no row with a result"
                          + (f" of field {self.wanted_field!r}" if self.wanted_field else ""),
                          "at least one",
                          did_you_mean(self.wanted_field, self.fields.values(),
                                       f"Fields of the file: {known}." if known else ""))

    def _rows(self) -> Iterator[LabRow]:
        end = (self.mapping.table.end_before or "").lower()
        for row in self.table.rows:
            if row.number < self.columns.first_row or row.blank:
                continue
            if end and any(c.text.lower().startswith(end) for c in row.cells):
                return
            if row.cell(self.columns.id).text == self.columns.header[self.columns.id]:
                continue  # a header repeated on the next page
            if any(row.cell(column).text.lower() in words for column, words in self.columns.skip):
                continue
            yield row

    def _problem(self, row: LabRow | None, column: int | None, code: str, found: str, wanted: str,
                 help: str = "") -> None:
        name = "file" if column is None else self.columns.name(column)
        self.problems.append(self.table.problem(code, row, column or 0, name, found, wanted, help))

    def _fault(self, row: LabRow, column: int, error: NotAResult) -> None:
        self._problem(row, column, error.code, error.found, error.wanted, error.help)

    def _row(self, row: LabRow) -> None:
        table = self.mapping.table
        results = [(r, c, u) for r, c, u in self.columns.results_of(row)
                   if not is_missing(row.cell(c), table) or self._qualifier(row, c).text.lower() in
                   {n.lower() for n in table.not_detected}]
        if not results:
            self.left_out.append(row.number)
            return
        if not self._of_wanted_field(row):
            return
        sample = self._sample(row)
        common = self._depth(row) if any(r.depth is None for r, _, _ in results) else None
        common = common if self.mapping.kind == SOIL else WHOLE
        if sample is None:
            return
        taken = set()
        for result, column, unit_column in results:
            depth = result.depth or common
            if depth is None:
                continue  # already reported with the row
            try:
                unit = row.cell(unit_column).text if unit_column is not None else None
                cell = qualified(row.cell(column), self._qualifier(row, column), table)
                value = read_result(cell, result, table, unit)
            except NotAResult as error:
                self._fault(row, column, error)
                continue
            if value is not None:
                taken |= self._put(sample, depth, result, value, row)
        for text, first in sorted(taken):
            self._problem(row, self.columns.id, "CASE064", f"{sample.id} {text}".strip()
                          + " a second time",
                          "each result once", f"It first stands in row {first}. See "
                          "table.duplicates in the mapping.")

    def _qualifier(self, row: LabRow, column: int) -> Cell:
        at = self.columns.beside.get((column, "qualifier"))
        return EMPTY if at is None else row.cell(at)

    def _means(self) -> None:
        """Repeated results by their mean, where the mapping says so."""
        for sample in self.samples.values():
            for part in sample.slices.values():
                for name, values in part.repeats.items():
                    try:
                        part.values[name] = mean_of(values, f"of {sample.id} {name}")
                    except NotAResult as error:
                        self._fault(part.rows[name], self.columns.id, error)
                        continue
                    self.notes.append(f"{sample.id} {part.depth[2]} {name}: "
                                      f"{part.values[name].comment}".replace("  ", " "))

    def _put(self, sample: DraftSample, depth: tuple[float, float, str], result: ResultPart,
             value: Value, row: LabRow) -> set[tuple[str, int]]:
        part = sample.slices.setdefault(depth[:2], Slice(depth, row))
        if self.columns.lab_number is not None:
            text = row.cell(self.columns.lab_number).text
            if text:
                part.values.setdefault("lab_number", Value(text))
        if result.to in part.values:
            if self.mapping.table.duplicates == "mean":
                part.repeats.setdefault(result.to, [part.values[result.to]]).append(value)
                return set()
            policy, first = self.mapping.table.duplicates, part.rows[result.to].number
            if policy == "refuse":
                return {(depth[2], first)}
            self.notes.append(f"row {row.number}: {sample.id} {depth[2]} {result.to} again; the "
                              f"{policy} of rows {first} and {row.number} is kept")
            if policy == "first":
                return set()
        part.values[result.to] = value
        part.rows[result.to] = row
        return set()

    def _of_wanted_field(self, row: LabRow) -> bool:
        column = self.columns.id if self.one_water else self.columns.farm_field
        if column is None:
            return True
        text = self._carried(row, column)
        self.fields.setdefault(text.lower(), text)
        return self.wanted_field is None or text.lower() == self.wanted_field.lower()

    def _several_fields(self) -> None:
        if self.wanted_field is None and len(self.fields) > 1:
            names = ", ".join(show(name) for name in list(self.fields.values())[:10])
            what = "water" if self.one_water else "field"
            self._problem(None, None, "CASE065", f"{len(self.fields)} {what}s: {names}",
                          f"one {what} for a case", "Choose with --field, or sample.field.equals "
                          "in the mapping.")

    def _carried(self, row: LabRow, column: int) -> str:
        """Text of a cell; with ``fill_down`` a blank one repeats the one above."""
        text = row.cell(column).text
        if not text and self.mapping.table.fill_down:
            return str(self.last.get(str(column), ""))
        self.last[str(column)] = text
        return text

    def _sample(self, row: LabRow) -> DraftSample | None:
        typed = self._carried(row, self.columns.id)
        new = as_identifier(typed)
        if not new or row.cell(self.columns.id).kind == "formula":
            self._problem(row, self.columns.id, "CASE065", show(typed) if typed else "nothing",
                          "the sample of these results",
                          "If it stands only in the first row of a sample, set table.fill_down.")
            return None
        other = next((o for o, n in self.renamed.items()
                      if n.lower() == new.lower() and o != typed), None)
        if other is not None:
            self._problem(row, self.columns.id, "CASE042", f"{typed!r} beside {other!r}",
                          "sample names that differ in letters or digits")
            return None
        self.renamed[typed] = new
        sample = self.samples.get(new)
        if sample is None:
            sample = self.samples[new] = DraftSample(new, row)
            sample.lab["file"] = Value(self.table.name[-200:])
            sample.lab["file_sha256"] = Value(self.table.sha256)
            methods = self.mapping.methods
            sample.methods = {m: Value(getattr(methods, m)) for m in Methods.model_fields
                              if getattr(methods, m) is not None}
        for (part, name), given in self.mapping.givens.items():
            into = sample.lab if part == "lab" else sample.about
            self._about(row, sample, into, name, given)
        for name, given in self.mapping.sample.about.items():
            self._about(row, sample, sample.about, name, given)
        return sample

    def _about(self, row: LabRow, sample: DraftSample, into: dict[str, Value], name: str,
               given: Given) -> None:
        if given.value is not None:
            into.setdefault(name, Value(given.value))
            return
        column = self.columns.about[given.column, given.nth]
        text = self._carried(row, column)
        cell = row.cell(column)
        if not text:
            if name in ("date", "name"):
                self._problem(row, column, "CASE065", "nothing", f"the {name} of {sample.id}")
            return
        if name in ("date", "received", "reported") and cell.text:
            try:
                text = read_date(cell, self.mapping.table.dates)
            except NotAResult as error:
                self._fault(row, column, error)
                return
            self.last[str(column)] = text
        if name in into and into[name].text != text:
            self._problem(row, column, "CASE065", f"{show(text)}, after {show(into[name].text)}",
                          f"one {name} for all rows of {sample.id}")
        into.setdefault(name, Value(text[:200]))

    def _depth(self, row: LabRow) -> tuple[float, float, str] | None:
        about = self.mapping.sample.depth
        if about is None or about.value is not None:
            return about.value if about else None
        column = self.columns.depth if self.columns.depth is not None else self.columns.top
        try:
            if self.columns.depth is not None:
                return read_depth(row.cell(self.columns.depth), about.unit)
            ends = [number_text(row.cell(c), self.mapping.table)
                    for c in (self.columns.top, self.columns.bottom) if c is not None]
            return depth_of(ends[0][1], ends[1][1], about.unit or "")
        except NotAResult as error:
            self._problem(row, column, "CASE065", error.found, error.wanted, error.help)
            return None


def in_schema_order(part: Slice) -> dict[str, Tree]:
    """Values of a slice as a tree for writing: extract values under their own key."""
    tree: dict[str, Tree] = {"depth": Value(part.depth[2])}
    extract: dict[str, Tree] = {path[1]: v for n, v in part.values.items()
                                if len(path := path_of(n)) == 2}
    for name in Increment.model_fields:
        if name == EXTRACT_KEY and extract:
            tree[name] = extract
        elif name in part.values:
            tree[name] = part.values[name]
    return tree


def sample_tree(sample: DraftSample) -> dict[str, Tree]:
    """A sample as a tree for writing, slices from the top down and thin ones first."""
    slices = sorted(sample.slices.values(), key=lambda s: s.depth[:2])
    return {
        "id": Value(sample.id), **{k: sample.about[k] for k in ("place", "date")
                                   if k in sample.about},
        "lab": {k: sample.lab[k] for k in ("name", "report", "received", "reported", "file",
                                           "file_sha256") if k in sample.lab},
        "methods": dict(sample.methods),
        "increments": [in_schema_order(s) for s in slices],
    }


def entry_tree(report: str, sample: DraftSample) -> dict[str, Tree]:
    """A forage, a water or a material as a tree for writing."""
    part = sample.slices[WHOLE[:2]]
    results: dict[str, Tree] = {}
    first = PART_OF[report]
    for name in model_of(field_at(first, "*"))[0].model_fields:
        if (value := part.values.get(field_at(first, name))) is not None:
            results[name] = value
    about: dict[str, Tree] = {k: v for k, v in sample.about.items() if k not in ("place", "date")}
    if first == "analysis":
        return {"id": Value(sample.id), "name": about.pop("name", Value(sample.id)),
                "kind": Value(report), **about, "analysis": results}
    name = "id" if report in ("forage", "tissue") else "source"
    return {name: Value(sample.id), **about, "date": sample.about["date"],
            "lab": sample.lab["name"], **results}


def _ranges(numbers: list[int]) -> str:
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][1] + 1:
            parts[-1][1] = number
        else:
            parts.append([number, number])
    return ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in parts[:30])
