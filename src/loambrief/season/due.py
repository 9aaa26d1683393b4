"""What falls due: soil and water tests by their age, and follow-ups that advisories name."""

import datetime as dt

import pandas as pd

from loambrief.findings.confidence import MAX_AGE_DAYS
from loambrief.season.tables import SeasonTables

AHEAD_DAYS = 365
"""How far ahead of the day of the report something counts as falling due."""
SOIL, WATER, FOLLOW_UP = "soil", "water", "follow-up"
DUE = ("field_no", "client", "field", "kind", "due", "taken", "what")


def latest_day(tables: SeasonTables) -> dt.date:
    """The latest day that advisories or their tests bear: the clock is never read."""
    days = [*tables.advisories["date"], *tables.results["taken"]]
    return max(day.date() for day in days if not pd.isna(day))


def due(tables: SeasonTables, on: dt.date) -> pd.DataFrame:
    """Fields whose tests are old on a day or grow old within a year, and follow-ups.

    Soonest first; columns are :data:`DUE`. A field of which no soil test is known has no ``due``
    and no ``taken``. Fields whose only data hold no results at all are left out: of them it is
    not known. Of each follow-up of a field only the latest advisory's counts.
    """
    last = pd.Timestamp(on) + pd.Timedelta(days=AHEAD_DAYS)
    fields = tables.advisories.drop_duplicates("field_no", keep="last")
    names = fields.set_index("field_no")[["client", "field"]]
    tests = tables.results[tables.results["kind"].isin([SOIL, WATER])]
    tests = tests[["field_no", "kind", "label", "taken"]].astype({"kind": object, "label": object})
    tests.loc[tests["kind"] == SOIL, "label"] = ""
    newest = tests.groupby(["field_no", "kind", "label"])["taken"].max().reset_index()
    newest["due"] = newest["taken"] + pd.Timedelta(days=MAX_AGE_DAYS)
    newest = newest.rename(columns={"label": "what"})
    known = tables.advisories.loc[tables.advisories["has_results"], "field_no"].unique()
    without = sorted(set(known) - set(tests.loc[tests["kind"] == SOIL, "field_no"]))
    none = pd.DataFrame({"field_no": without, "kind": SOIL, "what": "", "due": pd.NaT,
                         "taken": pd.NaT})
    checks = tables.checks.merge(fields[["advisory", "field_no"]], on="advisory")
    checks = checks.dropna(subset="due").assign(kind=FOLLOW_UP,
                                                what=checks["what"].astype(object))
    found = [part.reindex(columns=["field_no", "kind", "due", "taken", "what"]).astype(
        {"due": "datetime64[s]", "taken": "datetime64[s]", "field_no": "int64"})
        for part in (none, newest[newest["due"] <= last], checks[checks["due"] <= last])]
    made = pd.concat([part for part in found if len(part)] or found[:1], ignore_index=True)
    made = made.join(names, on="field_no").astype({"client": object, "field": object})
    return made.sort_values(["due", "client", "field", "kind", "what"], na_position="first",
                            kind="stable")[list(DUE)].reset_index(drop=True)
