"""Settings of an archive: how advisories are numbered, and how long records are kept.

They stand in the log, so that the index can be made again and a change can be seen.
"""

import datetime as dt
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from loambrief.errors import ImpossibleInput

PATTERN = "{prefix}-{year}-{serial:4}"
RETENTION = {"advisory": 7, "notice": 7, "document": 7}
"""Years a record of each class is kept unless told otherwise. Law and contract decide; see
``tables/record/retention.csv`` for examples."""
STARTS = ("validity", "issue")
_PLACE = re.compile(r"\{(prefix|year|serial)(?::([1-9]))?\}")
_PLAIN = re.compile(r"[A-Za-z0-9._-]*\Z")
MOST_YEARS = 100


@dataclass(frozen=True)
class Settings:
    """How an archive numbers and keeps."""

    pattern: str = PATTERN
    """Of advisory numbers: ``{prefix}``, ``{year}`` and ``{serial}`` with its least digits
    (``{serial:4}``), else letters, digits, ``.``, ``_`` and ``-``."""
    prefix: str = ""
    """Empty: the adviser's initials."""
    years: Mapping[str, int] = None  # type: ignore[assignment]
    """Retention of each class [years], 0 to 100."""
    start: str = "validity"
    """What the years count from: "validity" (the day an advisory ends to be valid, its own date if
    it names none) or "issue" (the day it is entered)."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "years", {**RETENTION, **(self.years or {})})
        check_pattern(self.pattern)
        if not _PLAIN.match(self.prefix):
            raise ImpossibleInput(f"prefix {self.prefix!r}: letters, digits, '.', '_' and '-' only")
        for kind, years in self.years.items():
            if kind not in RETENTION:
                raise ImpossibleInput(f"no retention class {kind!r}; {', '.join(RETENTION)}")
            if type(years) is not int or not 0 <= years <= MOST_YEARS:
                raise ImpossibleInput(f"retention of {kind}: {years!r}, wanted 0 to 100 years")
        if self.start not in STARTS:
            raise ImpossibleInput(f"retention counts from {' or '.join(STARTS)}, not "
                                  f"{self.start!r}")

    def as_json(self) -> dict:
        return asdict(self)

    def changed(self, changes: Mapping[str, Any]) -> "Settings":
        """With other values; ``years`` is merged."""
        known = {k: v for k, v in changes.items() if v is not None}
        if "years" in known:
            known["years"] = {**self.years, **known["years"]}
        return replace(self, **known)

    def until(self, kind: str, date: dt.date) -> dt.date:
        """Last day a record is kept.

        Parameters
        ----------
        kind : str
            Class of :data:`RETENTION`.
        date : date
            The day the years count from.
        """
        year = date.year + self.years[kind]
        try:
            return date.replace(year=year)
        except ValueError:  # 29 February
            return dt.date(year, 2, 28)


def check_pattern(pattern: str) -> None:
    """Raise ImpossibleInput unless a pattern makes numbers that differ and can name a file."""
    rest = _PLACE.sub("", pattern)
    if not _PLAIN.match(rest) or len(pattern) > 80 or pattern[:1] in ".-":
        raise ImpossibleInput(f"pattern {pattern!r}: {{prefix}}, {{year}}, {{serial:4}}, letters, "
                              "digits, '.', '_' and '-' only, not starting with '.' or '-'")
    if not any(m[1] == "serial" for m in _PLACE.finditer(pattern)):
        raise ImpossibleInput(f"pattern {pattern!r} has no {{serial}}")


def fill(pattern: str, prefix: str, year: int, serial: int | None) -> str:
    """A number; without a serial the series it belongs to."""
    def value(match: re.Match) -> str:
        if match[1] == "serial":
            return "#" if serial is None else str(serial).zfill(int(match[2] or 1))
        return prefix if match[1] == "prefix" else str(year)

    return _PLACE.sub(value, pattern)


def initials(name: str) -> str:
    """First letters of the words of a name, without accents: "Ilse Varga" -> "IV"."""
    plain = unicodedata.normalize("NFKD", name)
    letters = [word[0].upper() for word in re.findall(r"[A-Za-z]+", "".join(
        c for c in plain if not unicodedata.combining(c)))]
    return "".join(letters[:4]) or "A"
