"""Tables that grow by a row at a time and stay small: each text is kept once."""

from array import array
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pandas as pd

TEXT, DAY, NUMBER, COUNT, FLAG = "text", "day", "number", "count", "flag"
Schema = Mapping[str, str]
"""Column -> its kind."""


class _Texts:
    """A column of texts: their codes, -1 where there is none."""

    def __init__(self) -> None:
        self.codes = array("i")
        self.known: dict[str, int] = {}

    def append(self, value: str | None) -> None:
        self.codes.append(-1 if value is None or value == ""
                          else self.known.setdefault(value, len(self.known)))

    def made(self) -> pd.Categorical:
        """The categories in the order of the alphabet, whatever came first."""
        ordered = sorted(self.known)
        place = np.full(len(ordered) + 1, -1, dtype="int32")
        for rank, text in enumerate(ordered):
            place[self.known[text]] = rank
        return pd.Categorical.from_codes(  # code -1 takes the last place, which is -1
            place[_view(self.codes)], categories=pd.Index(ordered, dtype=object))


def _view(numbers: array) -> np.ndarray:
    return np.asarray(numbers, dtype=numbers.typecode)


class Growing:
    """A table of one schema: column -> its kind.

    Rows hold texts, days as ISO text, numbers (None: not known), counts and flags.
    """

    def __init__(self, schema: Schema):
        self.schema = schema
        self._columns: list[_Texts | array] = [
            _Texts() if kind in (TEXT, DAY) else array({NUMBER: "d", COUNT: "q", FLAG: "b"}[kind])
            for kind in schema.values()]
        self._adders = [column.append for column in self._columns]

    def extend(self, rows: Iterable[Sequence]) -> None:
        """Add rows; each has a value for every column, of the column's kind."""
        for row in rows:
            for add, value in zip(self._adders, row, strict=True):
                add(value)

    def frame(self) -> pd.DataFrame:
        """The table: categories, dates (NaT where not known), floats (NaN), integers, booleans."""
        made: dict[str, object] = {}
        for (name, kind), column in zip(self.schema.items(), self._columns, strict=True):
            if isinstance(column, _Texts):
                made[name] = _days(column) if kind == DAY else column.made()
            else:
                found = pd.Series(_view(column))
                made[name] = found.astype(bool) if kind == FLAG else found
        return pd.DataFrame(made)


def _days(column: _Texts) -> pd.Series:
    days = pd.to_datetime(pd.Series(list(column.known), dtype=object), errors="coerce",
                          format="%Y-%m-%d").astype("datetime64[s]")
    codes = _view(column.codes)
    return days.reindex(codes).reset_index(drop=True).astype("datetime64[s]")
