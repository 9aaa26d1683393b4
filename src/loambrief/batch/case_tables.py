"""Results of many cases as typed tables: what the summary and the cover are worked out from.

``case`` numbers the cases in the order they came and joins the tables; ``farm_no`` numbers
the farms, since two clients may call theirs the same. A date that is not known is NaT, an
amount that is not known NaN: sums leave both out, and nothing turns them into zero.
"""

from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass
from typing import get_type_hints

import pandas as pd

from loambrief.batch.figures import Figures

DAY = "datetime64[s]"
_KINDS = {str: "string", int: "int64", float: "float64", float | None: "float64"}
CASES = {name: _KINDS[kind] for name, kind in get_type_hints(Figures).items()
         if kind in _KINDS} | {
    "date": DAY, "valid_until": DAY}
OF_CASE = ("case_id", "client", "farm_no", "field", "currency")
"""What the other tables tell of the case."""
LIMITS = {"topic": "string", "subject": "string", "title": "string", "severity": "int64",
          "excess": "bool"}
WORK = {"kind": "string", "actions": "int64", "cost": "float64"}
CHECKS = {"day": DAY, "what": "string", "kind": "string"}
TESTS = {"kind": "string", "where": "string", "taken": DAY, "ends": DAY}


@dataclass(frozen=True)
class CaseTables:
    """One row a case; and one a limit, a kind of work, a follow-up, a test of each case."""

    cases: pd.DataFrame
    limits: pd.DataFrame
    work: pd.DataFrame
    checks: pd.DataFrame
    tests: pd.DataFrame

    @classmethod
    def of(cls, figures: Sequence[Figures]) -> "CaseTables":
        cases = _typed(([getattr(f, name) for name in CASES] for f in figures), CASES)
        cases.index.name = "case"
        cases["farm_no"] = cases.groupby(["client", "farm"], sort=False).ngroup()

        def each(rows: Iterable[tuple[int, tuple]], schema: dict[str, str]) -> pd.DataFrame:
            table = _typed(((case, *row) for case, row in rows), {"case": "int64", **schema})
            return table.join(cases[list(OF_CASE)], on="case")

        every = list(enumerate(figures))
        return cls(
            cases,
            each(((n, astuple(item)) for n, f in every for item in f.limits), LIMITS),
            each(((n, item) for n, f in every for item in f.kinds), WORK),
            each(((n, astuple(item)) for n, f in every for item in f.followups), CHECKS),
            each(((n, astuple(item)) for n, f in every for item in f.tests), TESTS),
        )


def _typed(rows: Iterable[Sequence[object]], schema: dict[str, str]) -> pd.DataFrame:
    table = pd.DataFrame([tuple(row) for row in rows], columns=list(schema))
    for name, kind in schema.items():
        if kind == DAY:
            table[name] = pd.to_datetime(table[name].replace("", None), format="%Y-%m-%d")
    return table.astype(schema)
