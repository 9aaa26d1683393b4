"""Problems of a case file: where, what was found, what is wanted, and how to put it right.

Printed as::

    case.yaml:14:20: CASE024 samples[N].increments[0-6 in].zinc: found ..., wanted ...
       14 |         zinc: 1.6 pppm
          |               ^
          = help: Did you mean 'ppm'?

:func:`loambrief.case.codes.codes` lists the codes.
"""

import unicodedata
from dataclasses import asdict, dataclass
from dataclasses import field as field_of

WIDEST_LINE = 100
"""Characters of a source line that are printed."""
PLACEHOLDER = "CASE119"
"""The one warning that nobody can stand by."""
MOST_PRINTED = 100
"""Problems of one file that are kept; beyond that a last one says how many more there are."""

LINE_BREAKS = "\u2028\u2029"

DataPath = tuple[str | int, ...]


@dataclass(frozen=True)
class Fault:
    """Something wrong at a place of the data, before the place in the file is known."""

    code: str
    path: DataPath
    """Keys and positions from the top of the case."""
    found: str
    wanted: str
    help: str = ""
    at_key: bool = False
    """Point at the key rather than at its value."""
    needs: tuple[DataPath, ...] = ()
    """Other values the judgement rests on."""


@dataclass(frozen=True)
class Problem:
    """One problem, ready to print."""

    file: str
    """As the user named it."""
    line: int
    column: int
    """``line``, ``column``: counted from 1; 0 where the problem is the file itself."""
    code: str
    """Key of :func:`~loambrief.case.codes.codes`."""
    field: str
    """Such as ``samples[N].increments[0-6 in].zinc``; ``file`` for the file itself."""
    found: str
    wanted: str
    source_line: str = ""
    """The line as it stands in the file, without its line break."""
    help: str = ""
    severity: str = "error"
    """``"error"`` or ``"warning"``."""
    part: str = field_of(default="", compare=False)
    """Key at the top of the case that it is in, or empty."""
    cell: str = ""
    """In a workbook: the sheet and the cell, ``samples!C6``."""

    def __str__(self) -> str:
        return "\n".join([self.headline(), *self._excerpt(), *self._notes()])

    def headline(self) -> str:
        """The one-line form."""
        place = visible(self.file)
        if self.cell:
            place += f":{self.cell}"
        elif self.line:
            place += f":{self.line}:{self.column}"
        return f"{place}: {self.code} {self.field}: found {self.found}, wanted {self.wanted}"

    def _excerpt(self) -> list[str]:
        if not self.line or not self.source_line.strip():
            return []
        start = max(0, self.column - 1 - WIDEST_LINE // 2)
        piece = self.source_line[start : start + WIDEST_LINE]
        lead = "..." if start else ""
        tail = "..." if start + WIDEST_LINE < len(self.source_line) else ""
        shown = lead + visible(piece.replace("\t", " ")) + tail
        caret = len(lead) + len(visible(piece[: self.column - 1 - start].replace("\t", " ")))
        return [f"{self.line:>6} | {shown}", f"       | {' ' * caret}^"]

    def _notes(self) -> list[str]:
        notes = [f"       = help: {self.help}"] if self.help else []
        if self.severity == "warning" and self.code != PLACEHOLDER:
            notes.append(
                "       = warning only; if it is right, add to the case:\n"
                f'         accept: [{{code: {self.code}, field: "{self.field}", reason: "..."}}]'
            )
        return notes

    def as_json(self) -> dict[str, object]:
        """Plain data with the same names as the attributes."""
        return {name: value for name, value in asdict(self).items()
                if name != "part" and (name != "cell" or value)}

    @property
    def sheet(self) -> str:
        """The sheet of a workbook that it is in, or empty."""
        return self.cell.rpartition("!")[0]


def visible(text: str) -> str:
    """Text with every unprintable character spelled out, safe for a terminal."""
    return "".join(
        c.encode("unicode_escape").decode("ascii")
        if unicodedata.category(c)[0] == "C" or c in LINE_BREAKS else c
        for c in text
    )


def in_file_order(problems: list[Problem], more: int = 0) -> tuple[Problem, ...]:
    """Sorted by file and place; each once; cut at :data:`MOST_PRINTED` with a closing count.

    ``more`` is how many further problems were counted but not worded.
    """
    unique = list(dict.fromkeys(problems))
    files = list(dict.fromkeys(p.file for p in unique))
    sheets = list(dict.fromkeys(p.sheet for p in unique))
    unique.sort(key=lambda p: (files.index(p.file), sheets.index(p.sheet), p.line, p.column,
                               p.code, p.field))
    kept = unique[:MOST_PRINTED]
    more += len(unique) - len(kept)
    if not more:
        return tuple(kept)
    return (*kept, Problem(kept[-1].file, 0, 0, "CASE019", "file", f"{more} more problems",
                           "none", help="Put the printed ones right and check again."))


def severity(code: str) -> str:
    """``"warning"`` for codes that leave the case usable, else ``"error"``."""
    return "warning" if code >= "CASE100" else "error"
