"""What a harvest takes away, in pounds per acre."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from loambrief.agronomy.crops import Crop, find_crop, lb_per_yield_unit
from loambrief.agronomy.possible import NotNegative, Percent, one_of
from loambrief.agronomy.registry import Answer, formula
from loambrief.tables import DataRow, load
from loambrief.units import LB_PER_TON

TABLE = "nutrients/removal"
COLUMNS: Mapping[str, str] = MappingProxyType(
    {"N": "n", "P2O5": "p2o5", "K2O": "k2o", "Ca": "ca", "Mg": "mg", "S": "s"}
)
NUTRIENTS = tuple(COLUMNS)
STOVER_K2O_LB_PER_BU = 1.1
"""K2O in all stover per bushel of corn grain [lb/bu]."""


def _rows(crop: Crop, column: str, source: str | None) -> list[DataRow]:
    for name in crop.lineage:
        found = [
            row for row in load(TABLE)
            if row["crop"] == name and row[f"{column}_low"] is not None
            and (source is None or row["source"] == source)
        ]
        if found:
            return sorted(found, key=lambda row: row["rank"])
    return []


@formula(unit="lb/ac", source="ontario-2025-removal", locator="by the row's own source",
         how="memory")
def crop_removal(crop: str, yield_: NotNegative, nutrient: str,
                 source: str | None = None) -> Answer:
    """Nutrient in the harvested part of a crop at a given yield.

    Parameters
    ----------
    crop : str
        Crop, by any of its names.
    yield : float
        Yield [the crop's own unit per acre, as in the crop table].
    nutrient : str
        N, P2O5, K2O, Ca, Mg or S. P and K are counted as oxides, the others as elements.
    source : str or None
        Key of one publication; None takes the first that has the value.

    Returns
    -------
    Answer
        Nutrient removed [lb/ac], the middle of the published range; details ``low`` and
        ``high`` give its ends, ``lb_per_unit`` the middle per yield unit. None where no
        publication in the table has that value.

    Raises
    ------
    UnknownName
        No such crop or nutrient.

    Notes
    -----
    Yield x nutrient per unit of yield, at the moisture the crop is sold at. Straw, stover and tops
    stay in the field unless the row says otherwise. Bushel values are turned into the crop's own
    unit by weight. Removal is not a fertilizer rate: on calcareous or potassium rich soils
    replacing it may hold the test too low or be needless. Sources: The row's own source.
    """
    one_of("nutrient of a removal table", nutrient, COLUMNS)
    plant, column = find_crop(crop), COLUMNS[nutrient]
    rows = _rows(plant, column, source)
    if not rows:
        return Answer(None, notes=(f"no {nutrient} removal of {plant.name} in the table",))
    row = rows[0]
    scale = plant.lb_per_unit / lb_per_yield_unit(plant, str(row["unit"]))
    low, high = (float(row[f"{column}_{end}"]) * scale for end in ("low", "high"))
    middle = (low + high) / 2
    return Answer(
        middle * yield_,
        source=str(row["source"]),
        locator=f"{row['crop']}, {row['part']}",
        how=str(row["how"]),
        details={
            "nutrient": nutrient,
            "low": low * yield_,
            "high": high * yield_,
            "lb_per_unit": middle,
            "yield_unit": plant.yield_unit,
            "other_sources": tuple(str(r["source"]) for r in rows[1:]),
        },
    )


@formula(unit="lb/ac", source="murrell-2008-pnt", locator="text on stover", how="seen",
         valid={"grain_yield_bu_ac": (0.0, 300.0)})
def stover_potassium_removal(grain_yield_bu_ac: NotNegative, baled_pct: Percent) -> float:
    """K2O taken away with corn stover.

    Parameters
    ----------
    grain_yield_bu_ac : float
        Corn grain yield [bu/ac].
    baled_pct : float
        Share of the stover that leaves the field [%].

    Notes
    -----
    1.1 lb K2O per bushel of grain in all stover, times the share baled. Rain on stover in
    the field washes much of it back.
    """
    return grain_yield_bu_ac * STOVER_K2O_LB_PER_BU * baled_pct / 100


@formula(unit="lb/ac", source="cornell-nrcca-ca0659", locator="PO 59", how="seen")
def removal_from_analysis(yield_ton_ac: NotNegative, dry_matter_pct: Percent,
                          nutrient_pct: Percent) -> float:
    """Nutrient removed, from the forage or silage test of the crop itself.

    Parameters
    ----------
    yield_ton_ac : float
        Yield as harvested [short ton/ac].
    dry_matter_pct : float
        Dry matter of the harvested crop [%].
    nutrient_pct : float
        Nutrient in the dry matter, in the form the answer is wanted in (P2O5 or P) [%].

    Notes
    -----
    Yield x 2,000 x dry matter x concentration. Better than any table where the crop was
    tested. A laboratory that reports P must be multiplied by 2.29 first for P2O5.
    """
    return yield_ton_ac * LB_PER_TON * dry_matter_pct / 100 * nutrient_pct / 100
