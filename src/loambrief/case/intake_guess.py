"""A proposed mapping for a lab's file, for the user to complete and confirm.

Headers are compared with those of ``tables/case/lab_headers.csv`` and ``measurements.csv``.
Only what the file itself says is filled in: a unit stands in the header or in a unit column,
or it is ``"?"``. Methods are always ``"?"``: an extract cannot be told from a number. The
proposal says ``confirmed: no``, and a mapping with that or with any ``"?"`` is refused.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from loambrief.case.intake_cells import NotAResult, read_depth
from loambrief.case.intake_columns import fold_header, joined_header, unit_in
from loambrief.case.intake_map import DATES, TO_FILL_IN, conversion, has_unit
from loambrief.case.intake_read import LabRow, LabTable, read_lab_file
from loambrief.case.measurements import SLICE, methods, of_part, results_by_method
from loambrief.case.problems import Problem
from loambrief.case.scalars import resolve
from loambrief.errors import CaseProblems
from loambrief.tables import load
from loambrief.units import tidy_unit

HEADERS = "case/lab_headers"
_BARE = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ./_%()+-]*(?<! )\Z")
LEAST = 0.5
"""Confidence below which nothing is proposed."""
PARTIAL = 0.85
"""Confidence is multiplied by this where words of the header had to be set aside."""
LEAST_RECOGNISED = 2
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
    """What one column (or analyte) is taken for.

    Attributes
    ----------
    unit : str
        From the file, or ``"?"``; empty where there is none.
    confidence : float
        0 to 1.
    """

    header: str
    role: str
    name: str
    form: str
    unit: str
    confidence: float
    nth: int | None = None

    def as_json(self) -> dict[str, object]:
        return {"column": self.header, "to": f"{self.role}.{self.name}", "form": self.form or None,
                "unit": self.unit or None, "confidence": round(self.confidence, 2)}


@dataclass(frozen=True)
class Guess:
    """A proposed mapping.

    Attributes
    ----------
    text : str
        The mapping file.
    unknown : tuple of str
        Headers nothing is proposed for.
    """

    text: str
    proposals: tuple[Proposal, ...]
    unknown: tuple[str, ...]


@dataclass
class _FoundColumns:
    table: LabTable
    header: list[str]
    header_row: int
    header_rows: int
    rows: list[LabRow]
    columns: dict[int, Proposal] = field(default_factory=dict)

    def of(self, role: str, name: str) -> int | None:
        """Column with the highest confidence for a key."""
        fits = [(p.confidence, -c) for c, p in self.columns.items()
                if (p.role, p.name) == (role, name)]
        return -max(fits)[1] if fits else None


@cache
def _words() -> Mapping[str, tuple[str, str, str, float]]:
    about = {word: (row["role"], row["name"], "", row["confidence"])
             for row in load(HEADERS) for word in row["words"].split("|")}
    return about | {word: ("result", m.field, header.form, header.confidence)
                    for m in of_part(SLICE) for header in m.headers for word in header.words}


def recognise(header: str) -> tuple[str, str, str, float] | None:
    """(role, name, form, confidence) of a header, or None below :data:`LEAST`."""
    folded = tidy_unit(fold_header(header))
    unit = fold_header(unit_in(header))
    bare = folded[: folded.rfind(unit)] if unit and folded.rfind(unit) > 0 else folded
    bare = re.sub(r"[(\[][^()\[\]]*[)\]]?\s*\Z", "", bare).strip(" ([,;:_-")
    bare = re.sub(r"\s(in|inch|inches|cm|mm|ft)\Z", "", bare)
    for text, share in ((folded, 1.0), (bare, 1.0),
                        (" ".join(ASIDE.sub(" ", bare).split()).strip(" ()[]-_,:"), PARTIAL)):
        known = _words().get(text)
        if known and known[3] * share >= LEAST:
            return (*known[:3], known[3] * share)
    return None


def guess_map(path: Path | str) -> Guess:
    """Propose a mapping for a lab's file.

    Parameters
    ----------
    path : Path or str
        CSV, TSV or workbook.

    Raises
    ------
    CaseProblems
        Not a table, or no row that looks like a header.
    OSError
        The file is not there or may not be read.
    """
    table = read_lab_file(path)
    found = _header(table)
    taken: dict[tuple[str, str], int] = {}
    for column, header in enumerate(found.header):
        known = recognise(header) if header else None
        if known is None:
            continue
        role, name, form, confidence = known
        unit = _unit(name, unit_in(header), form) if role == "result" else ""
        same = [h for h in found.header if fold_header(h) == fold_header(header)]
        nth = 1 + sum(fold_header(h) == fold_header(header) for h in found.header[:column])
        best = taken.get((role, name))
        if best is not None and found.columns[best].confidence >= confidence:
            continue
        if best is not None:
            del found.columns[best]
        taken[role, name] = column
        found.columns[column] = Proposal(header, role, name, form, unit, confidence,
                                         nth if len(same) > 1 else None)
    results = _long_results(found) or [p for p in found.columns.values() if p.role == "result"]
    about = [p for p in found.columns.values() if p.role != "result"]
    used = {p.header for p in (*results, *about)}
    unknown = tuple(h for h in found.header if h and h not in used)
    return Guess(_text(found, results, unknown), (*about, *results), unknown)


def _header(table: LabTable) -> _FoundColumns:
    rows = [r for r in table.rows if not r.blank]
    best = (0, 0, 1)
    for i in range(min(len(rows), SEARCHED)):
        for count in (1, 2):
            header = joined_header(rows[i : i + count])
            score = sum(recognise(h) is not None for h in header if h)
            score += sum(bool(unit_in(h)) for h in header)
            if score > best[0]:
                best = (score, i, count)
    score, at, count = best
    if score < LEAST_RECOGNISED:
        raise CaseProblems((Problem(table.file, 0, 0, "CASE060", "file", "no row of known headers",
                                    "a row such as Sample, Depth, pH, P",
                                    help="Write the mapping by hand."),))
    top = rows[at : at + count]
    return _FoundColumns(table, joined_header(top), top[0].number, count, rows[at + count :])


def _unit(name: str, unit: str, form: str) -> str:
    if not has_unit(name):
        return ""
    return unit if unit and conversion(name, unit, form or None) else TO_FILL_IN


def _long_results(found: _FoundColumns) -> list[Proposal]:
    analyte, result = found.of("long", "analyte"), found.of("long", "result")
    if analyte is None or result is None:
        return []
    unit_column = found.of("long", "unit")
    seen: dict[str, Proposal] = {}
    for row in found.rows:
        text = row.cell(analyte).text
        known = recognise(text) if text else None
        if known and known[0] == "result" and known[1] not in seen:
            unit = row.cell(unit_column).text if unit_column is not None else unit_in(text)
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
    texts = [t for t in texts if t]
    if not texts or all(re.fullmatch(r"\d{4}-\d\d-\d\d", t) for t in texts):
        return "YYYY-MM-DD"
    if all(re.fullmatch(r"\d{1,2}\.\d{1,2}\.\d{4}", t) for t in texts):
        return "DD.MM.YYYY"
    if all(re.fullmatch(r"\d{4}/\d{1,2}/\d{1,2}", t) for t in texts):
        return "YYYY/MM/DD"
    pairs = [re.fullmatch(r"(\d{1,2})/(\d{1,2})/(\d{4})", t) for t in texts]
    if all(pairs):
        if any(int(p[1]) > 12 for p in pairs if p):
            return "DD/MM/YYYY"
        if any(int(p[2]) > 12 for p in pairs if p):
            return "MM/DD/YYYY"
    return TO_FILL_IN


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


def _text(found: _FoundColumns, results: list[Proposal], unknown: tuple[str, ...]) -> str:
    value_columns = [c for c, p in found.columns.items()
                     if p.role == "result" or (p.role, p.name) == ("long", "result")]
    decimal, thousands = _marks(
        c.text for r in found.rows for c in map(r.cell, value_columns) if c.kind == "text")
    lines = [
        f"# Proposed for {found.table.name}. Compare every line with the lab's report.",
        '# Replace each "?": the unit and the method are printed on the report or in the lab\'s',
        "# list of methods; they are never guessed. Then set confirmed: yes.",
        "loambrief_map: 1",
        "confirmed: no",
        "",
        "table:",
        f"  decimal: {_quoted(decimal)}  # point or comma",
        f"  thousands: {_quoted(thousands)}  # none, comma, point, blank or apostrophe",
        f"  header_row: {found.header_row}",
        f"  header_rows: {found.header_rows}",
    ]
    days = [c for n in (("sample", "date"), ("lab", "received"), ("lab", "reported"))
            if (c := found.of(*n)) is not None]
    if days:
        form = _date_form([r.cell(c).text for r in found.rows for c in days
                           if r.cell(c).kind == "text" and re.search(r"\d", r.cell(c).text)])
        lines.append(f"  dates: {_quoted(form)}  # one of {', '.join(DATES)}")
    long = {n: found.of("long", n) for n in ("analyte", "result", "unit")}
    if long["analyte"] is not None and long["result"] is not None:
        inner = ", ".join(f"{n}: {_quoted(found.header[c])}" for n, c in long.items()
                          if c is not None)
        lines.append(f"  long: {{{inner}}}")
    lines += ["", "sample:", _column(found, "sample", "id") or '  id: {column: "?"}']
    lines += [text for name in ("field", "place", "lab_number")
              if (text := _column(found, "sample", name))]
    lines.append(_column(found, "sample", "date") or '  date: {value: "?"}  # YYYY-MM-DD')
    lines.append(_depth_line(found))
    lines += ["", "lab:", '  name: {value: "?"}']
    lines += [text for name in ("report", "received", "reported")
              if (text := _column(found, "lab", name))]
    lines += ["", "methods:", *(_method_lines(results) or ["  {}"]), "", "results:"]
    for part in results:
        keys = [f"column: {_quoted(part.header)}"]
        keys += [f"nth: {part.nth}"] if part.nth else []
        keys += [f"to: {part.name}"]
        keys += [f"unit: {_quoted(part.unit)}"] if part.unit else []
        keys += [f"form: {part.form}"] if part.form else []
        lines.append(f"  - {{{', '.join(keys)}}}  # confidence {part.confidence:.2f}")
    if unknown:
        lines += ["", "# Columns nothing is proposed for; map them above, or list them here to be "
                  "left out.", "# ignore:", *(f"#   - {_quoted(h)}" for h in unknown)]
    return "\n".join(lines) + "\n"


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


def _method_lines(results: list[Proposal]) -> list[str]:
    lines = []
    for method, names in results_by_method().items():
        if any(p.name in names for p in results):
            lines.append(f'  {method}: "?"  # {", ".join(methods()[method])}')
    return lines
