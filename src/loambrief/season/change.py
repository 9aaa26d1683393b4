"""Changes of soil tests in the same zone and layer, held against their noise."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import pandas as pd

from loambrief.agronomy.intervals import Z
from loambrief.topics.history.findings import QUANTITIES, ChangeVerdict
from loambrief.topics.sampling.formulas import mean_interval
from loambrief.topics.sampling.formulas_error import least_significant_change, soil_test_error

ZONE = ["field_no", "place", "quantity", "top_in", "bottom_in"]
CHANGES = ("field_no", "place", "label", "quantity", "method", "unit", "top_in", "bottom_in",
           "first_day", "last_day", "first", "last", "change", "noise", "verdict", "reason")
METHOD, LIMIT, CORES, ERROR = "method", "limit", "cores", "error"
"""Why a change cannot be told from noise."""


@lru_cache(maxsize=100_000)
def _error(quantity: str, value: float, cores: int | None,
           same_lab: bool) -> tuple[float | None, bool]:
    """Standard error of a result, and whether all of its parts are known."""
    found = soil_test_error.evaluate(test=quantity, value=value, cores=cores, same_lab=same_lab)
    return found.value, cores is not None and found.within_range


@lru_cache(maxsize=100_000)
def _limit(first: float, second: float) -> float:
    return float(least_significant_change.evaluate(first_error=first, second_error=second).value)


def changes(results: pd.DataFrame) -> pd.DataFrame:
    """From the first reading of a zone and layer to the last by the same method.

    One row for each zone, layer and quantity that was read at least twice; the columns are
    :data:`CHANGES`. ``noise`` is the least significant change; ``verdict`` is that of
    :class:`~loambrief.topics.history.findings.ChangeVerdict`; ``reason`` says why a change cannot
    be told (another method, a limit in place of a value, cores or error not known).
    """
    soil = _zoned(results)
    several = soil[soil.groupby(ZONE)["taken"].transform("nunique") > 1]
    several = several.sort_values([*ZONE, "taken"], kind="stable")
    rows = list(_rows(several))
    return pd.DataFrame(rows, columns=list(CHANGES))


def _zoned(results: pd.DataFrame) -> pd.DataFrame:
    """Soil results with what zones and layers are compared by: depths in whole inches."""
    soil = results[(results["kind"] == "soil") & results["quantity"].isin(list(QUANTITIES))]
    return soil.assign(place=soil["place"].astype(object).fillna(""),
                       quantity=soil["quantity"].astype(object),
                       method=soil["method"].astype(object).fillna(""),
                       top_in=soil["top_in"].round(0), bottom_in=soil["bottom_in"].round(0))


@dataclass(frozen=True)
class ZoneReading:
    """One reading of a series; ``low`` and ``high`` bound it where its error is known."""

    taken: pd.Timestamp
    value: float
    censor: str | None
    method: str
    lab: str | None
    cores: int | None
    label: str | None
    unit: str
    low: float | None = None
    high: float | None = None


FIELDS = ["taken", "value", "censor", "method", "lab", "cores", "label", "unit"]


def readings_of(results: pd.DataFrame, change: pd.Series) -> tuple[ZoneReading, ...]:
    """Every reading of the zone, layer and quantity of a change, oldest first."""
    own = results[results["field_no"] == change["field_no"]]
    own = _zoned(own)
    for name in ZONE[1:]:
        own = own[own[name] == change[name]]
    made = []
    for row in own.sort_values("taken", kind="stable")[FIELDS].astype(object).to_numpy():
        reading = _reading(row)
        error, _ = _error(str(change["quantity"]), reading.value, reading.cores, True)
        if error is not None and reading.censor is None:
            half = Z * error
            reading = replace(reading, low=max(reading.value - half, 0.0),
                              high=reading.value + half)
        made.append(reading)
    return tuple(made)


def _reading(row: Sequence[Any]) -> ZoneReading:
    """A row of :data:`FIELDS`; what is not known is None."""
    known: list[Any] = [None if pd.isna(cell) else cell for cell in row]
    taken, value, censor, method, lab, cores, label, unit = known
    return ZoneReading(taken, value, censor, method, lab, None if cores is None else int(cores),
                   label, unit)


def _rows(several: pd.DataFrame) -> Iterator[tuple]:
    values = several[[*ZONE, *FIELDS]].astype(object).to_numpy()
    start = 0
    count = len(values)
    while start < count:
        zone = tuple(values[start][:5])
        end = start
        while end < count and tuple(values[end][:5]) == zone:
            end += 1
        yield _change(zone, [_reading(row[5:]) for row in values[start:end]])
        start = end


def _change(zone: tuple, readings: list[ZoneReading]) -> tuple:
    field_no, place, quantity, top, bottom = zone
    last = readings[-1]
    alike = [r for r in readings[:-1] if r.method == last.method]
    first = next((r for r in alike if r.censor is None), (alike or readings)[0])
    head = (field_no, place, last.label, quantity, last.method, last.unit, top, bottom,
            first.taken, last.taken, first.value, last.value)
    unknown = ChangeVerdict.UNKNOWN.value
    if not alike:
        return (*head, None, None, unknown, METHOD)
    if first.censor or last.censor:
        return (*head, None, None, unknown, LIMIT)
    change = last.value - first.value
    same_lab = str(first.lab).casefold() == str(last.lab).casefold()
    errors = [_error(quantity, r.value, r.cores, same)
              for r, same in ((first, True), (last, same_lab))]
    (one, whole), (other, both) = errors
    if one is None or other is None:
        return (*head, change, None, unknown, ERROR)
    noise = _limit(one, other)
    if abs(change) <= noise:
        return (*head, change, noise, ChangeVerdict.WITHIN.value, "")
    if not (whole and both):
        return (*head, change, noise, unknown, CORES)
    return (*head, change, noise, ChangeVerdict.MORE.value, "")


@dataclass(frozen=True)
class ChangeSummary:
    """Changes of one quantity by one method over all zones."""

    quantity: str
    method: str
    unit: str
    zones: int
    risen: int
    fallen: int
    within: int
    unknown: int
    mean: float | None
    half_width: float | None
    """``mean``, ``half_width``: mean change and half of its range over zones [unit]; None for fewer
    than three."""

    @property
    def told(self) -> int:
        return self.risen + self.fallen + self.within


def summaries(found: pd.DataFrame) -> tuple[ChangeSummary, ...]:
    """How many zones rose or fell by more than the noise, quantity by quantity."""
    made = []
    for (quantity, method, unit), rows in found.groupby(["quantity", "method", "unit"]):
        more = rows[rows["verdict"] == ChangeVerdict.MORE.value]["change"].astype(float)
        known = rows["change"].dropna().astype(float)
        mean = mean_interval.evaluate(values=known.tolist()) if len(known) > 2 else None
        made.append(ChangeSummary(
            str(quantity), str(method), str(unit), len(rows), int((more > 0).sum()),
            int((more < 0).sum()), int((rows["verdict"] == ChangeVerdict.WITHIN.value).sum()),
            int((rows["verdict"] == ChangeVerdict.UNKNOWN.value).sum()),
            None if mean is None else float(mean.value),
            None if mean is None else float(mean.details["half_width"])))
    order = list(QUANTITIES)
    return tuple(sorted(made, key=lambda s: (order.index(s.quantity), -s.zones, s.method)))
