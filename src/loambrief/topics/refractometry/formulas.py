"""Sap refractometer: index and Brix, temperature, replicates, crop beside weed.

Brix of sap is the refractive index of everything dissolved in it, read on a sucrose scale.
Nothing here turns it into a nutrient status, a rate or a forecast of pests: no such relation
is published.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from functools import cache, partial

from loambrief.agronomy.intervals import COVERAGE_PCT, confidence, numbers, welch
from loambrief.agronomy.possible import Positive
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load, named_number
from loambrief.tables.harmful import harmful_row

INDEX_TABLE = "refractometry/sucrose_index"
TEMPERATURE_TABLE = "refractometry/temperature_correction"
FULL_TABLE_BRIX = 30.0
"""Up to here the table has a value for every degree; one more stands at 40."""
LOWEST_INDEX, HIGHEST_INDEX = 1.30, 1.55
"""Liquids outside this are neither water nor plant sap."""
COLDEST_C, HOTTEST_C = -5.0, 60.0
LOWEST_CORRECTED, HIGHEST_CORRECTED = -2.0, 90.0
"""A reading at either end of the scale may leave it when its temperature is corrected."""
constant = partial(named_number, "refractometry/constants")


@cache
def _index_points() -> tuple[tuple[float, ...], tuple[float, ...]]:
    table = load(INDEX_TABLE)
    return table.column("brix"), table.column("index")


def _index(brix: float) -> float:
    """Parabola through both ends of the table cell and the next point; whole at the ends."""
    grid, index = _index_points()
    i = min(max(bisect_right(grid, brix) - 1, 0), len(grid) - 3)
    total = 0.0
    for a in range(i, i + 3):
        weight = 1.0
        for b in range(i, i + 3):
            if a != b:
                weight *= (brix - grid[b]) / (grid[a] - grid[b])
        total += weight * index[a]
    return total


@formula(unit="1", source="icumsa-1974-sucrose", locator="table by mass percent", how="memory",
         valid={"brix": (0.0, FULL_TABLE_BRIX)})
def refractive_index_of_sucrose(brix: float) -> float:
    """Refractive index of a sucrose solution at 20 C and 589 nm.

    Parameters
    ----------
    brix : float
        Sucrose [% by mass].

    Raises
    ------
    ImpossibleInput
        Below 0 or above 40 %, where our table ends.

    Notes
    -----
    Read from a table with a parabola between its points. Its five decimals are from memory; two
    published four-decimal tables agree within 0.0001. From 30 to 40 % only one more point is held,
    and the answer is flagged. Sources: crc-handbook-sucrose and food-control-sucrose-table as
    witnesses.
    """
    grid, _ = _index_points()
    if not 0 <= brix <= grid[-1]:
        raise ImpossibleInput(f"the sucrose table here holds 0 to {grid[-1]:g} % (found {brix:g})")
    return _index(brix)


@formula(unit="Brix", source="icumsa-1974-sucrose", locator="table by mass percent", how="memory")
def brix_from_refractive_index(index: float) -> Answer:
    """Brix of a liquid from its refractive index at 20 C.

    Parameters
    ----------
    index : float
        Refractive index at 20 C and 589 nm [1].

    Returns
    -------
    float or None
        Degrees Brix [% sucrose by mass of the same index]; slightly below zero for a
        reading under that of water. None above 40, where our table ends.

    Raises
    ------
    ImpossibleInput
        An index no watery liquid has.

    Notes
    -----
    Inverse of the sucrose table. An index below 1.33299 (water) means the instrument was
    not zeroed or the liquid was warmer than 20 C; the value is shown and flagged. Readings
    at another temperature are corrected in Brix (``brix_at_20c``), never by adding a
    correction of the index to a Brix value.
    """
    if not LOWEST_INDEX <= index <= HIGHEST_INDEX:
        raise ImpossibleInput(
            f"{index:g} is not the refractive index of water or sap (1.333 to about 1.40)"
        )
    grid, table = _index_points()
    if index > table[-1]:
        return Answer(None, notes=(f"above {grid[-1]:g} Brix, where the table here ends",),
                      within_range=False)
    if index < table[0]:
        step = (table[1] - table[0]) / (grid[1] - grid[0])
        return Answer((index - table[0]) / step,
                      notes=("below pure water: not zeroed, or warmer than 20 C",),
                      within_range=False)
    low, high = grid[0], grid[-1]
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if _index(middle) < index else (low, middle)
    value = (low + high) / 2
    return Answer(value, within_range=value <= FULL_TABLE_BRIX + 1e-9)


@cache
def _corrections() -> tuple[tuple[float, ...], tuple[float, ...], tuple[Mapping, ...]]:
    table = load(TEMPERATURE_TABLE)
    columns = sorted((float(name.split("_")[1]), name) for name in table.source.columns
                     if name.startswith("brix_"))
    rows = tuple({brix: row[name] for brix, name in columns} | {"seen": row["seen_to_brix"]}
                 for row in table)
    return table.column("temperature_c"), tuple(b for b, _ in columns), rows


def _bracket(grid: tuple[float, ...], value: float) -> tuple[int, float]:
    """Cell of a grid and the position in it; outside the grid the last cell is continued."""
    i = min(max(bisect_right(grid, value) - 1, 0), len(grid) - 2)
    return i, (value - grid[i]) / (grid[i + 1] - grid[i])


@formula(unit="Brix", source="gost-brix-temperature", locator="table A.1", how="seen",
         valid={"temperature_c": (10.0, 30.0), "reading": (0.0, 30.0)})
def brix_at_20c(reading: float, temperature_c: float, atc: bool = False) -> Answer:
    """Brix corrected to 20 C.

    Parameters
    ----------
    reading : float
        As read on a scale made for 20 C [Brix].
    temperature_c : float
        Temperature of sap and prism [C].
    atc : bool
        True if the instrument compensates for temperature itself: nothing is corrected.

    Returns
    -------
    float
        Reading at 20 C [Brix]; ``details`` hold ``correction`` (negative below 20 C).

    Raises
    ------
    ImpossibleInput
        A reading below 0 or above 85 Brix, or a temperature no sap has in a field.

    Notes
    -----
    Subtract below 20 C, add above (cold sap bends light more). Between table points on a straight
    line in both directions. Outside 10 to 30 C or above 30 Brix the edge of the table is continued
    and the answer flagged. With compensation a second correction would be wrong by as much again;
    outside its 10 to 30 C the reading is flagged instead. Sources: gost-brix-temperature (10 to 22
    C seen); the rest from memory after aoac-932-14.
    """
    if not 0 <= reading <= 85:
        raise ImpossibleInput(f"a reading is 0 to 85 Brix (found {reading:g})")
    if not COLDEST_C <= temperature_c <= HOTTEST_C:
        raise ImpossibleInput(f"{temperature_c:g} C is not the temperature of sap in a field")
    if atc:
        covered = constant("atc_low") <= temperature_c <= constant("atc_high")
        notes = ["the instrument compensates for temperature: not corrected again"]
        if not covered:
            notes.append("outside the temperatures that compensation usually covers")
        return Answer(reading, source="kuebler-faq-atc", locator="glossary", notes=tuple(notes),
                      details={"correction": 0.0}, within_range=covered)
    size, seen = _correction(min(reading, 30.0), temperature_c)
    correction = size if temperature_c >= constant("scale_temperature") else -size
    return Answer(
        reading + correction,
        how="seen" if seen else "memory",
        notes=() if seen else ("this part of the table is from memory, unverified",),
        details={"correction": correction},
    )


def _correction(reading: float, temperature_c: float) -> tuple[float, bool]:
    temperatures, brixes, rows = _corrections()
    i, across = _bracket(temperatures, temperature_c)
    j, along = _bracket(brixes, reading)
    left, right = brixes[j], brixes[j + 1]
    upper = rows[i][left] + along * (rows[i][right] - rows[i][left])
    lower = rows[i + 1][left] + along * (rows[i + 1][right] - rows[i + 1][left])
    used = [rows[k] for k, weight in ((i, 1 - across), (i + 1, across)) if weight > 0]
    seen = all(r["seen"] is not None and r["seen"] >= (right if along > 0 else left) for r in used)
    return max(upper + across * (lower - upper), 0.0), seen


@formula(unit="class", source="iso-5725-6-1994", locator="critical range", how="computed",
         valid={"instrument_sd": (0.02, 0.5)})
def brix_replicates_agree(readings: Iterable[float | None],
                          instrument_sd: Positive = 0.1) -> Answer:
    """Whether replicates lie as close together as the instrument alone would put them.

    Parameters
    ----------
    readings : sequence of float or None
        Replicates of one plant or one press [Brix].
    instrument_sd : float
        Spread of the instrument on one liquid [Brix].

    Returns
    -------
    str
        ``agree`` or ``differ`` [class]; ``details`` hold ``spread`` and ``limit`` [Brix].

    Notes
    -----
    The widest spread allowed is a factor for the number of readings (2.8 for two) times the
    instrument's standard deviation; above ten readings the factor of ten is used and flagged.
    Readings of different leaves differ for the plant's own reasons too: then "differ" speaks about
    the sample, not the instrument. Sources: iso-5725-6-1994, its factors worked out anew.
    """
    found = _sap(readings, 2)
    factors = {int(r["n"]): r["factor"] for r in load("refractometry/critical_range")}
    most = max(factors)
    limit = factors[min(len(found), most)] * instrument_sd
    spread = max(found) - min(found)
    return Answer("agree" if spread <= limit + 1e-9 else "differ",
                  details={"spread": spread, "limit": limit, "n": len(found)},
                  within_range=len(found) <= most)


def _sap(readings: object, least: int = 1) -> tuple[float, ...]:
    found = numbers(readings, "readings", least)
    if min(found) < LOWEST_CORRECTED or max(found) > HIGHEST_CORRECTED:
        raise ImpossibleInput("readings are 0 to 85 Brix")
    return found


@formula(unit="Brix", source="welch-1947", locator="difference of two means", how="seen",
         evidence="screening sign")
def brix_crop_minus_weed(
    crop_brix: Iterable[float | None], weed_brix: Iterable[float | None],
    level: float = COVERAGE_PCT,
) -> Answer:
    """Difference between crop and weed sap, with its interval.

    Parameters
    ----------
    crop_brix, weed_brix : sequence of float or None
        Replicates, corrected to 20 C [Brix].
    level : float
        Confidence level [% or fraction].

    Returns
    -------
    float
        Mean of the crop minus mean of the weed [Brix]; ``details`` hold ``low``, ``high``,
        ``half_width``, ``df`` (None where a side has one reading), ``clear`` (the interval
        leaves out zero and the difference is one the instrument can show) and both means.

    Notes
    -----
    Welch's interval for unequal spread. Two species differ by nature, plant part and time of day,
    so a clear difference is a fact about these samples, not a diagnosis. Sources: the least
    difference an instrument can show is own arithmetic (0.3 Brix).
    """
    crop, weed = _sap(crop_brix), _sap(weed_brix)
    found = welch(crop, weed, level)
    resolvable = abs(found.value) >= constant("resolvable")
    notes = []
    if found.half_width is None:
        notes.append("no interval: it needs two differing readings of each plant")
    if not resolvable:
        notes.append("smaller than two hand-held readings can tell apart")
    clear = found.half_width is not None and abs(found.value) > found.half_width and resolvable
    return Answer(
        found.value,
        notes=tuple(notes),
        details={
            "low": found.low, "high": found.high, "half_width": found.half_width,
            "df": found.df, "clear": clear, "level": 100 * confidence(level),
            "crop_mean": sum(crop) / len(crop), "weed_mean": sum(weed) / len(weed),
            "n_crop": len(crop), "n_weed": len(weed),
        },
    )


@formula(unit="class", source="burrows-tyrl-2013", locator="entries by genus", how="memory",
         evidence="observed")
def sap_pressing_check(species: str) -> Answer:
    """Whether a plant is listed as one whose sap is not to be pressed by hand.

    Parameters
    ----------
    species : str
        Scientific name, genus, or common name.

    Returns
    -------
    str
        ``do not press`` or ``not listed`` [class]; ``details`` hold ``english`` and ``harm``
        of a listed genus.

    Raises
    ------
    ImpossibleInput
        An empty name.

    Notes
    -----
    The list is short and partly from memory: "not listed" never means safe. Do not press, taste or
    handle without gloves any plant that is not known for certain. Sources: burrows-tyrl-2013 (from
    memory, unverified).
    """
    if not str(species).split():
        raise ImpossibleInput("species: an empty name")
    row = harmful_row(str(species))
    if row is not None:
        return Answer("do not press", details={"english": row["english"], "harm": row["harm"]})
    return Answer("not listed", notes=("not listed never means safe to press or taste",))
