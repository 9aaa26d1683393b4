"""The season's tidy tables: what counts, each field by its id, each result once."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from loambrief.archive.index import fold
from loambrief.errors import LoambriefError
from loambrief.season.gather import Gathered

IDENTITY = ("client", "farm", "field_id", "field", "crop", "year", "date", "number", "case_id",
            "currency")
"""What each written table tells of the advisory of a row."""
REDACTED, WITHDRAWN, SUPERSEDED, REPEATED = "redacted", "withdrawn", "superseded", "repeated"
SAME_RESULT = ["field_no", "kind", "test", "taken", "quantity", "top_in", "bottom_in"]


@dataclass(frozen=True)
class SeasonTables:
    """One row an advisory, and one a result, finding, action, order, ... of those that count."""

    advisories: pd.DataFrame
    """With ``year``, ``client_no`` and ``field_no``, which know clients and fields whatever they
    were called; names are those of the latest advisory."""
    results: pd.DataFrame
    findings: pd.DataFrame
    actions: pd.DataFrame
    orders: pd.DataFrame
    money: pd.DataFrame
    done: pd.DataFrame
    checks: pd.DataFrame
    """``results``, ``findings``, ``actions``, ``orders``, ``money``, ``done``, ``checks``:
    ``advisory`` joins them; results have ``field_no``, ``client_no`` and ``year`` (of the sample)
    too."""
    left_aside: Mapping[str, int] = field(default_factory=dict)
    """What does not count, by the reason."""
    damaged: tuple[str, ...] = ()

    def about(self, table: pd.DataFrame) -> pd.DataFrame:
        """A table with the columns of its advisories that are not its own."""
        own = [c for c in self.advisories.columns
               if c == "advisory" or c not in table.columns]
        return table.merge(self.advisories[own], on="advisory", how="left")

    def written(self) -> dict[str, pd.DataFrame]:
        """The tables as they are written: who, where and when first, then what."""
        made = {"advisories": self.advisories.drop(columns=["advisory", "client_no", "field_no"])}
        for name in ("results", "findings", "actions", "orders", "money", "done", "checks"):
            table = self.about(getattr(self, name))
            own = [c for c in getattr(self, name).columns
                   if c not in ("advisory", "client_no", "field_no", *IDENTITY)]
            made[name] = table[[*IDENTITY, *own]]
        return made


def season_tables(found: Gathered, client: str | None = None) -> SeasonTables:
    """Tables of what counts; an error if nothing does.

    ``client`` is part of the names of the clients wanted, without regard to case and accents.
    """
    frames = {name: table.frame() for name, table in found.tables.items()}
    every = frames.pop("advisories")
    why = _left_aside(every)
    left = dict(found.left)
    for reason, count in why.value_counts().items():
        left[str(reason)] = left.get(str(reason), 0) + int(count)
    kept = _known_fields(every[why.isna()])
    if client is not None:
        wanted = {name: fold(client) in fold(name) for name in kept["client"].dropna().unique()}
        kept = kept[kept["client"].map(wanted).astype(object).fillna(False).astype(bool)]
    if kept.empty:
        raise LoambriefError(
            "no advisory counts: " + (", ".join(f"{n} {reason}" for reason, n in left.items())
                                      if client is None or every.empty
                                      else f"no client has {client!r} in the name"))
    tables = {name: table[table["advisory"].isin(kept["advisory"])].reset_index(drop=True)
              for name, table in frames.items()}
    tables["results"] = _once(tables["results"], kept)
    return SeasonTables(kept.reset_index(drop=True), **tables, left_aside=left,
                        damaged=tuple(found.damaged))


def _left_aside(every: pd.DataFrame) -> pd.Series:
    """Why an advisory does not count; missing for one that does."""
    why = pd.Series(pd.NA, index=every.index, dtype="string")
    status, number = every["status"].astype("string"), every["number"].astype("string")
    why[status == "redacted"] = REDACTED
    whole = number.isin(number[(status == "withdrawn") & number.notna()])
    why[why.isna() & ((status == "withdrawn") | whole)] = WITHDRAWN
    why[why.isna() & (status == "superseded")] = SUPERSEDED
    open_ones = every[why.isna()]
    numbered = open_ones[open_ones["number"].notna()]
    newest = numbered.groupby("number", observed=True)["revision"].transform("max")
    why[numbered.index[numbered["revision"] < newest]] = SUPERSEDED
    numbered = numbered[numbered["revision"] == newest]
    why[numbered.index[numbered.duplicated(["number"], keep="last")]] = REPEATED
    rest = every[why.isna()].assign(issued=lambda t: t["number"].notna(),
                                    client=lambda t: _folded(t["client"]))
    drafts = rest.sort_values(["issued", "date"], kind="stable").duplicated(
        ["client", "case_id"], keep="last")
    repeated = rest.index[drafts.reindex(rest.index) & ~rest["issued"]]
    why[repeated] = REPEATED
    return why


def _folded(names: pd.Series) -> pd.Series:
    """Names for comparing; each distinct one is folded once."""
    folded = {name: fold(name) for name in names.dropna().unique()}
    return names.map(folded).astype(object).fillna("")


def _known_fields(kept: pd.DataFrame) -> pd.DataFrame:
    """Advisories, oldest first, with numbers for clients and fields, and their latest names."""
    made = kept.sort_values(["date", "client", "case_id", "advisory"], kind="stable").copy()
    made["year"] = made["date"].dt.year.astype("Int64")
    client, name = _folded(made["client"]), _folded(made["field"])
    ids = _folded(made["field_id"])
    by_name = client + "\0" + name
    # a case without an id is of the field of that name, where the client has one with an id
    known = pd.Series(ids.to_numpy(), index=by_name.to_numpy())
    known = known[known != ""]
    known = known[~known.index.duplicated(keep="last")]
    ids = ids.where(ids != "", by_name.map(known).astype(object).fillna(""))
    key = pd.Series(np.where(ids != "", "id\0" + ids, by_name), index=made.index)
    made["field_no"] = key.groupby(key, sort=False).ngroup()
    made["client_no"] = client.groupby(client, sort=False).ngroup()
    for number, columns in (("field_no", ("field", "field_id", "farm")),
                            ("client_no", ("client",))):
        for column in columns:
            texts = made[column].astype(object)
            made[column] = texts.groupby(made[number]).transform("last").astype("category")
    return made


def _once(results: pd.DataFrame, kept: pd.DataFrame) -> pd.DataFrame:
    """Results with field, client and year; one that several advisories repeat stands once."""
    places = kept[["advisory", "field_no", "client_no"]].assign(order=range(len(kept)))
    made = results.merge(places, on="advisory").sort_values("order", kind="stable")
    made = made.drop_duplicates(SAME_RESULT, keep="last").drop(columns="order")
    made["year"] = made["taken"].dt.year.astype("Int64")
    return made.reset_index(drop=True)
