"""Hay grades as the market reports them, and ash as a sign of soil in the hay."""

from __future__ import annotations

from collections.abc import Callable

from loambrief.agronomy.possible import Percent, Positive, one_of
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load
from loambrief.topics.forage.formulas import (
    KINDS,
    coefficient,
    relative_feed_value,
    stock_kind,
    tdn_from_adf_pct,
)

ALFALFA = "forage/usda_alfalfa_grades"
SMALLEST_SHARE_LEFT = 1e-9


@formula(unit="grade", source="ams-hay-2003", locator="tables 1 and 2", how="seen")
def usda_hay_grade(
    kind: str, cp_pct: Percent | None = None, adf_pct: Percent | None = None,
    ndf_pct: Percent | None = None,
) -> Answer:
    """USDA hay quality designation, column by column.

    Parameters
    ----------
    kind : str
        ``legume`` (alfalfa with not more than 10 % grass) or ``grass``; ``mixed`` hay has
        no table.
    cp_pct : float or None
        Crude protein [% of dry matter]; grass needs it.
    adf_pct, ndf_pct : float or None
        Acid and neutral detergent fibre [% of dry matter]; a legume needs both.

    Returns
    -------
    str or None
        Designation [grade]: of the RFV column for a legume, of protein for grass.
        ``details`` hold the grade of each column and ``agree``. None for mixed hay.

    Raises
    ------
    ImpossibleInput
        Not percentages, or what the kind needs is missing.
    UnknownName
        Not a kind.

    Notes
    -----
    RFV is rounded to a whole number first, as it is reported. A value on a shared end of two ranges
    goes to the better grade. Columns may disagree for one sample, because TDN here comes from ADF
    alone; the grades were made for price reports, and looks and use override them. Sources:
    hayforage-grading.
    """
    one_of("kind of forage", kind, KINDS)
    if kind == "mixed":
        return Answer(None, notes=("the table is for alfalfa with not more than 10 % grass, or "
                                   "for grass",), within_range=False)
    if kind == "grass":
        if cp_pct is None:
            raise ImpossibleInput("usda_hay_grade of grass hay needs cp_pct")
        rows = list(load("forage/usda_grass_grades"))
        grade = next(
            r["grade"] for i, r in enumerate(rows)
            if (cp_pct > r["cp_from"] if i == 0 else cp_pct >= r["cp_from"])
        )
        return Answer(grade, locator="table 2", details={"protein": grade, "agree": True})
    if adf_pct is None or ndf_pct is None:
        raise ImpossibleInput("usda_hay_grade of a legume needs adf_pct and ndf_pct")
    rfv = round(relative_feed_value.function(adf_pct, ndf_pct).value)
    columns = {
        "rfv": _grade("rfv_from", rfv, better=_above),
        "adf": _grade("adf_to", adf_pct, better=_below),
        "ndf": _grade("ndf_to", ndf_pct, better=_below),
        "tdn": _grade("tdn_from", round(tdn_from_adf_pct.function(adf_pct), 1), better=_above),
    }
    if cp_pct is not None:
        columns["protein"] = _grade("cp_from", cp_pct, better=_above)
    return Answer(columns["rfv"], locator="table 1",
                  details={**columns, "agree": len(set(columns.values())) == 1})


def _above(value: float, limit: float) -> bool:
    return value > limit


def _below(value: float, limit: float) -> bool:
    return value < limit


def _grade(column: str, value: float, better: Callable[[float, float], bool]) -> str:
    """First grade whose limit the value keeps; the best grade's own limit is outside it."""
    rows = list(load(ALFALFA))
    for i, row in enumerate(rows):
        limit = row[column]
        if limit is None or better(value, limit) or (i > 0 and value == limit):
            return row["grade"]
    return rows[-1]["grade"]


@formula(unit="grade", source="afgc-hay-grades", locator="quality standards", how="memory",
         valid={"rfv": (30.0, 300.0)})
def afgc_hay_grade(rfv: Positive) -> Answer:
    """Grade of the forage and grassland council by relative feed value.

    Parameters
    ----------
    rfv : float
        Relative feed value [1].

    Notes
    -----
    RFV is rounded to a whole number. This is an older scale than USDA's: Prime begins at 152, where
    USDA says Good. Do not mix the two. Sources: afgc-hay-grades (from memory, unverified, except
    that Prime is over 151: hayforage-grading).
    """
    row = next(r for r in load("forage/afgc_grades") if round(rfv) >= r["rfv_from"])
    grade = row["grade"]
    return Answer(grade if isinstance(grade, str) else f"{grade:g}", how=row["how"])


@formula(unit="%", source="undersander-ash", locator="text", how="seen",
         valid={"ash_pct": (3.0, 30.0)})
def external_ash_pct(kind: str, ash_pct: Percent) -> Answer:
    """Ash in excess of what the plant itself holds: mostly soil.

    Parameters
    ----------
    kind : str
        ``legume``, ``mixed`` (as legume) or ``grass``.
    ash_pct : float
        Ash [% of dry matter].

    Returns
    -------
    float
        External ash [% of dry matter], not below zero; ``details`` hold ``internal_pct``,
        ``over_goal`` and ``tdn_lost_pct``.

    Raises
    ------
    UnknownName
        Not a kind.

    Notes
    -----
    Alfalfa holds about 8 %, grass about 6 % of its own; at most about 3 % more is aimed at. Each
    percent of ash takes the place of carbohydrate and costs 0.98 TDN. Soil can also be seen in high
    iron and aluminium. RFV does not see ash at all. Sources: osu-wayne-2017-ash for the goal;
    weiss-2019-ash.
    """
    internal = coefficient(f"internal_ash_{stock_kind(kind)}")
    external = max(ash_pct - internal, 0.0)
    return Answer(
        external,
        details={"internal_pct": internal,
                 "over_goal": external > coefficient("external_ash_goal") + SMALLEST_SHARE_LEFT,
                 "tdn_lost_pct": external * coefficient("nfc_digestibility")},
    )
