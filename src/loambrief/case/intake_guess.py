"""A proposed mapping for a lab's file, for the user to complete and confirm.

Headers are compared with those of ``tables/case/lab_headers.csv`` and ``measurements.csv``.
Only what the file itself says is filled in: a unit stands in the header or in a unit column,
or it is ``"?"``. Methods are always ``"?"``: an extract cannot be told from a number. The
proposal says ``confirmed: no``, and a mapping with that or with any ``"?"`` is refused.
"""

import datetime as dt
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache, lru_cache, partial
from pathlib import Path

from loambrief.case.intake_cells import NotAResult, read_depth
from loambrief.case.intake_columns import fold_header, joined_header, unit_in, unit_text
from loambrief.case.intake_kinds import (
    BASIS,
    REPORTS,
    SOIL,
    Kind,
    basis_in,
    fold,
    fold_unit,
    headers_by_field,
    kind_of,
    lab_unit,
    without_basis,
)
from loambrief.case.intake_map import ABOUT, DATES, TO_FILL_IN, conversion, has_unit
from loambrief.case.intake_read import LabRow, LabTable, read_lab_file
from loambrief.case.measurements import SLICE, methods, of_part, results_by_method
from loambrief.case.problems import Problem
from loambrief.case.scalars import resolve
from loambrief.case.starter import starter_text
from loambrief.errors import CaseProblems
from loambrief.tables import load

HEADERS = "case/lab_headers"
_BARE = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ./_%()+-]*(?<! )\Z")
LEAST = 0.5
"""Confidence below which nothing is proposed."""
PARTIAL = 0.85
"""Confidence is multiplied by this where words of the header had to be set aside."""
LEAST_RECOGNISED = 2
NUTRIENTS = frozenset(m.field for m in of_part(SLICE) if m.quantity == "soil_concentration")
SHARES = ("%", "g/100g", "g/kg", "lb/ton")
"""Units in which no laboratory gives what a soil extract holds."""
BESIDE = {"qualifier": re.compile(r"(.*?)[ -]*\b(qualifier|qual|flag|sign|indicator)\Z"),
          "unit_column": re.compile(r"(.*?)[ -]*\b(units?|uom|unidad|einheit|unite)\Z")}
"""Headers of columns that belong to the result beside them."""
SEARCHED = 100
"""Rows in which the header is looked for."""
ASIDE = re.compile(r"\b(mehlich|m)[ -]?(1|3|iii|i)\b|\bolsen\b|\bbray([ -]?p?[ -]?1)?\b|\bdtpa\b|"
                   r"\b(modified )?morgan\b|\bab-dtpa\b|\bnh4oac\b|\bammonium acetate\b|"
                   r"\bavailable\b|\bextractable\b|\bexchangeable\b|\bicp\b|\bsoil\b|\bloi\b|"
                   r"\bsikora\b|\bsmp\b|\badams[ -]evans\b|\bhot water\b|"
                   r"\bwalkley[ -]black\b|\bppm\b")
"""Words of a header that say how, not what."""


@dataclass(frozen=True)
class Proposal:
    """What one column (or analyte) is taken for."""

    header: str
    role: str
    name: str
    form: str
    unit: str
    """From the file, or ``"?"``; empty where there is none."""
    confidence: float
    """0 to 1."""
    nth: int | None = None
    beside: Mapping[str, str] = field(default_factory=dict)
    """``qualifier`` and ``unit_column`` -> header."""

    def as_json(self) -> dict[str, object]:
        return {"column": self.header, "to": f"{self.role}.{self.name}", "form": self.form or None,
                "unit": self.unit or None, "confidence": round(self.confidence, 2)}


@dataclass(frozen=True)
class Guess:
    """A proposed mapping."""

    text: str
    """The mapping file."""
    proposals: tuple[Proposal, ...]
    unknown: tuple[str, ...]
    """Headers nothing is proposed for."""
    kind: Kind


@dataclass
class _FoundColumns:
    table: LabTable
    header: list[str]
    header_row: int
    header_rows: int
    rows: list[LabRow]
    columns: dict[int, Proposal] = field(default_factory=dict)
    others: list[str] = field(default_factory=list)

    def of(self, role: str, name: str) -> int | None:
        """Column with the highest confidence for a key."""
        fits = [(p.confidence, -c) for c, p in self.columns.items()
                if (p.role, p.name) == (role, name)]
        return -max(fits)[1] if fits else None


@cache
def _words(report: str) -> Mapping[str, tuple[str, str, str, float]]:
    about = {word: (row["role"], row["name"], "", row["confidence"])
             for row in load(HEADERS) for word in row["words"].split("|")}
    results = (headers_by_field(report) if report != SOIL
               else {m.field: m.headers for m in of_part(SLICE)})
    return about | {word: ("result", name, spelling.form, spelling.confidence)
                    for name, spellings in results.items() for spelling in spellings
                    for word in spelling.words}


@lru_cache(2000)
def recognise(header: str, report: str = SOIL,
              unit: str = "") -> tuple[str, str, str, float] | None:
    """(role, name, form, confidence) of a header, or None below :data:`LEAST`.

    ``report`` is the kind of report, ``unit`` that of a column of its own. A nutrient of a soil
    test in percent is a total, or of another kind of report: nothing is proposed for it.
    """
    basis = basis_in(f"{header} {unit}")
    if basis and basis != BASIS.get(report, basis):
        return None
    known = _known(header, report)
    if known and known[0] == "result" and known[1] in NUTRIENTS and report == SOIL and (
            fold_unit(unit or unit_in(header)) in SHARES):
        return None
    return known


def _known(header: str, report: str) -> tuple[str, str, str, float] | None:
    unit = without_basis(fold(unit_text(header)))
    folded = fold(header) if fold(header) in _words(report) else without_basis(fold(header))
    bare = folded[: folded.rfind(unit)] if unit and folded.rfind(unit) > 0 else folded
    bare = re.sub(r"[(\[][^()\[\]]*[)\]]?\s*\Z", "", bare).strip(" ([,;:_-")
    bare = re.sub(r"\s(in|inch|inches|cm|mm|ft)\Z", "", bare)
    for text, share in ((folded, 1.0), (bare, 1.0),
                        (" ".join(ASIDE.sub(" ", bare).split()).strip(" ()[]-_,:"), PARTIAL)):
        known = _words(report).get(text)
        if known and known[3] * share >= LEAST:
            return (*known[:3], known[3] * share)
    return None


def guess_map(path: Path | str, report: str | None = None) -> Guess:
    """Propose a mapping for a lab's file, of several sheets for that with the most known headers.

    ``report`` is the kind of report, taken from the words of the file if None.

    Raises
    ------
    CaseProblems
        Not a table, no row that looks like a header, or a kind of report that is not clear or
        that a case does not hold.
    """
    found = _best_sheet(read_lab_file(path), path)
    table = found.table
    kind = report_of(found)
    report = report or kind.name
    if report not in REPORTS:
        likely = " or ".join(kind.likely) or "no known kind"
        raise CaseProblems((Problem(
            table.file, found.header_row, 1, "CASE060", "file",
            f"a report that may be of {likely}", "a report of " + ", ".join(REPORTS),
            help=f"Its words: {', '.join(kind.why)}. Say which with --kind."),))
    taken: dict[tuple[str, str], int] = {}
    for column, header in enumerate(found.header):
        known = recognise(header, report) if header else None
        if known is None:
            continue
        role, name, form, confidence = known
        beside = _beside(found.header, column) if role == "result" else {}
        unit = unit_in(header) or _cell_unit(found, column, beside)
        if role == "result" and recognise(header, report, unit) is None:
            continue
        unit = _unit(name, unit, form) if role == "result" else ""
        same = [h for h in found.header if fold_header(h) == fold_header(header)]
        nth = 1 + sum(fold_header(h) == fold_header(header) for h in found.header[:column])
        best = taken.get((role, name))
        if best is not None and found.columns[best].confidence >= confidence:
            continue
        if best is not None:
            del found.columns[best]
        taken[role, name] = column
        found.columns[column] = Proposal(header, role, name, form, unit, confidence,
                                         nth if len(same) > 1 else None, beside)
    results = _long_results(found, report) or [
        p for p in found.columns.values() if p.role == "result"]
    about = [p for p in found.columns.values() if p.role not in ("result", "kind")
             and (p.role != "long" or found.of("long", "analyte") is not None)]
    used = {p.header for p in (*results, *about)}
    used |= {header for p in results for header in p.beside.values()}
    unknown = tuple(h for h in found.header if h and h not in used)
    if not results:
        raise _no_header(table, f"no results of a {report} report")
    return Guess(_text(found, report, results, unknown), (*about, *results), unknown,
                 Kind(report, kind.likely, kind.why))


def report_of(found: _FoundColumns) -> Kind:
    """Kind of report by file name, what stands above the header, headers, analytes and matrix."""
    titles = [Path(found.table.name).stem]
    titles += [c.text for r in found.table.rows if r.number < found.header_row for c in r.cells]
    headers = list(found.header)
    columns = {known[:2]: i for i, h in enumerate(found.header)
               if h and (known := recognise(h)) is not None}
    titles += _different(found, columns.get(("kind", "matrix")))
    analyte, unit = columns.get(("long", "analyte")), columns.get(("long", "unit"))
    if analyte is not None:
        headers += list(dict.fromkeys(
            f"{r.cell(analyte).text} {r.cell(unit).text if unit is not None else ''}".strip()
            for r in found.rows))
    beside = [(h, _cell_unit(found, i, _beside(found.header, i)))
              for i, h in enumerate(found.header)]
    headers += [f"{header} {its_unit}" for header, its_unit in beside if its_unit]
    return kind_of(titles, headers)


def kind_of_file(table: LabTable) -> Kind:
    """Kind of report of a table; not clear if it has no header that is known."""
    try:
        return report_of(_header(table))
    except CaseProblems:
        return Kind("", (), ())


def _different(found: _FoundColumns, column: int | None) -> list[str]:
    if column is None:
        return []
    return list(dict.fromkeys(t for r in found.rows if (t := r.cell(column).text)))


def _beside(header: list[str], column: int) -> dict[str, str]:
    """Columns behind a result that hold its qualifier or its unit."""
    found: dict[str, str] = {}
    own = fold(without_basis(header[column]))
    for name in header[column + 1 : column + 3]:
        key = next((k for k, words in BESIDE.items() if (m := words.match(fold(name)))
                    and (not m[1] or own.startswith(m[1].strip(" (:_-")))), None)
        if key is None or key in found:
            break
        found[key] = name
    return found


def _cell_unit(found: _FoundColumns, column: int, beside: Mapping[str, str]) -> str:
    """The unit that the cells beside a result agree on, or an empty string."""
    if "unit_column" not in beside:
        return ""
    units = _different(found, found.header.index(beside["unit_column"], column))
    return lab_unit(units[0])[0] if len(units) == 1 else ""


def _best_sheet(table: LabTable, path: Path | str) -> _FoundColumns:
    """The sheet with the most known headers; the first of equals."""
    if len(table.sheets) < 2:
        return _header(table)
    found = []
    for name in table.sheets:
        try:
            found.append(_header(read_lab_file(path, sheet=name)))
        except CaseProblems:
            continue
    if not found:
        raise _no_header(table)
    best = max(found, key=lambda f: sum(_any(h) for h in f.header))
    best.others = [f.table.sheet for f in found if f is not best]
    return best


def _no_header(table: LabTable, what: str = "no row of known headers") -> CaseProblems:
    return CaseProblems((Problem(table.file, 0, 0, "CASE060", "file", what,
                                 "a row such as Sample, Depth, pH, P",
                                 help="Write the mapping by hand."),))


def _any(header: str) -> bool:
    return any(recognise(header, report) is not None for report in REPORTS)


def _header(table: LabTable) -> _FoundColumns:
    rows = [r for r in table.rows if not r.blank]
    best = (0, 0, 1)
    for i in range(min(len(rows), SEARCHED)):
        for count in (1, 2):
            header = joined_header(rows[i : i + count])
            score = sum(_any(h) for h in header if h)
            score += sum(bool(unit_in(h)) for h in header)
            if score > best[0]:
                best = (score, i, count)
    score, at, count = best
    if score < LEAST_RECOGNISED:
        raise _no_header(table)
    top = rows[at : at + count]
    return _FoundColumns(table, joined_header(top), top[0].number, count, rows[at + count :])


def _unit(name: str, unit: str, form: str) -> str:
    if not has_unit(name):
        return ""
    return unit if unit and conversion(name, unit, form or None) else TO_FILL_IN


def _long_results(found: _FoundColumns, report: str) -> list[Proposal]:
    analyte, result = found.of("long", "analyte"), found.of("long", "result")
    if analyte is None or result is None:
        return []
    unit_column = found.of("long", "unit")
    seen: dict[str, Proposal] = {}
    for row in found.rows:
        text = row.cell(analyte).text
        unit = row.cell(unit_column).text if unit_column is not None else unit_in(text)
        known = recognise(text, report, unit) if text else None
        if known and known[0] == "result" and known[1] not in seen:
            seen[known[1]] = Proposal(text, known[0], known[1], known[2],
                                      _unit(known[1], unit, known[2]), known[3])
    return list(seen.values())


def _marks(texts: Iterable[str]) -> tuple[str, str]:
    """(decimal, thousands) as far as the numbers themselves tell."""
    texts = [re.sub(r"^[<>≤≥=\s]+", "", t) for t in texts]

    def has(pattern: str) -> bool:
        return any(re.fullmatch(pattern, t) for t in texts)

    point, comma = has(r"\d*\.(\d{1,2}|\d{4,})"), has(r"\d*,(\d{1,2}|\d{4,})")
    point |= has(r"\d{1,3}(,\d{3})+\.\d+|0\.\d+")
    comma |= has(r"\d{1,3}(\.\d{3})+,\d+|0,\d+")
    by_comma = has(r"[1-9]\d{0,2}(,\d{3})+(\.\d+)?")
    by_point = has(r"[1-9]\d{0,2}(\.\d{3})+(,\d+)?")
    if point and comma:
        return TO_FILL_IN, TO_FILL_IN
    if point:
        return "point", "comma" if by_comma else "none"
    if comma:
        return "comma", "point" if by_point else "none"
    if by_comma or by_point:
        return TO_FILL_IN, TO_FILL_IN
    return "point", "none"


def _date_form(texts: list[str]) -> str:
    """How dates are written, if only one order with a whole year fits all of them."""
    def fits(form: str) -> bool:
        try:
            return all(dt.datetime.strptime(text, form) for text in texts)
        except ValueError:
            return False

    found = [name for name, form in DATES.items() if "%Y" in form and fits(form)]
    return found[0] if len(found) == 1 or not texts else TO_FILL_IN


# the file --------------------------------------------------------------------------------


def _quoted(text: str) -> str:
    return text if _BARE.match(text) and isinstance(resolve(text), str) else json.dumps(
        text, ensure_ascii=False)


def _column(found: _FoundColumns, role: str, name: str, more: str = "") -> str | None:
    at = found.of(role, name)
    if at is None:
        return None
    part = found.columns[at]
    nth = f", nth: {part.nth}" if part.nth else ""
    return (f"  {name}: {{column: {_quoted(part.header)}{nth}{more}}}"
            f"  # confidence {part.confidence:.2f}")


def _text(found: _FoundColumns, report: str, results: list[Proposal],
          unknown: tuple[str, ...]) -> str:
    value_columns = [c for c, p in found.columns.items()
                     if p.role == "result" or (p.role, p.name) == ("long", "result")]
    decimal, thousands = _marks(
        c.text for r in found.rows for c in map(r.cell, value_columns) if c.kind == "text")
    days = [c for n in (("sample", "date"), ("lab", "received"), ("lab", "reported"))
            if (c := found.of(*n)) is not None]
    dates = _date_form([r.cell(c).text for r in found.rows for c in days
                        if r.cell(c).kind == "text" and re.search(r"\d", r.cell(c).text)])
    long = {n: found.of("long", n) for n in ("analyte", "result", "unit", "qualifier")}
    known, about = ABOUT.get(report, ((), ()))
    if any(p.name == "forage.nitrate" for p in results):
        about = (*about, "nitrate_as")
    return starter_text(
        "map.yaml.j2", _quoted, found=found, table=found.table, report=report, reports=REPORTS,
        decimal=decimal, thousands=thousands, dates=dates if days else "", date_forms=DATES,
        long={n: "" if c is None else found.header[c] for n, c in long.items()},
        column=partial(_column, found), soil=report == SOIL, depth=_depth_line(found),
        about=about, further=[k for k in known if k not in (*about, "nitrate_as")],
        said=_different(found, found.of("long", "method")),
        asked={method: methods()[method] for method, names in results_by_method().items()
               if any(p.name in names for p in results)},
        results=results, unknown=unknown)


def _depth_line(found: _FoundColumns) -> str:
    at = found.of("sample", "depth")
    if at is not None:
        cells = [r.cell(at) for r in found.rows if r.cell(at).text]
        in_header = unit_in_brackets(found.header[at])
        try:
            for cell in cells[:50]:
                read_depth(cell, None)
            return _column(found, "sample", "depth") or ""
        except NotAResult:
            return _column(found, "sample", "depth", f", unit: {_quoted(in_header)}") or ""
    top, bottom = found.of("sample", "top"), found.of("sample", "bottom")
    if top is not None and bottom is not None:
        unit = unit_in_brackets(found.header[top])
        return (f"  depth: {{top: {_quoted(found.header[top])}, bottom: "
                f"{_quoted(found.header[bottom])}, unit: {_quoted(unit)}}}")
    return '  depth: {value: "?"}  # such as 0-6 in'


def unit_in_brackets(header: str) -> str:
    """Length unit a depth header names, or ``"?"``."""
    match = re.search(r"\b(in|cm|mm|ft)\b", header.lower())
    return match[1] if match else TO_FILL_IN
