"""Crops and salt: thresholds, yield response, tolerant crops and leaf limits."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from loambrief.agronomy.crops import find_crop, first_known
from loambrief.agronomy.possible import NotNegative, Percent, Positive
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import UnknownName
from loambrief.tables import DataRow, load, parts

TOLERANCE = "salinity/crop_tolerance"


@formula(unit="%", source="maas-grattan-1999", locator="FAO 61 annex 1, equation 1", how="seen")
def relative_yield_salinity(
    ece_ds_m: NotNegative, threshold_ds_m: NotNegative, slope_pct: NotNegative,
    gypsiferous_shift_ds_m: NotNegative = 0.0,
) -> Answer:
    """Yield on a salty soil as a share of the yield without salt.

    Parameters
    ----------
    ece_ds_m : float
        Mean root-zone ECe [dS/m].
    threshold_ds_m : float
        ECe up to which the crop loses nothing [dS/m].
    slope_pct : float
        Yield lost per dS/m above the threshold [%].
    gypsiferous_shift_ds_m : float
        2 where the soil holds gypsum: plants stand that much more [dS/m]; 0 otherwise.

    Notes
    -----
    Yr = 100 - b (ECe - a), 100 below the threshold, 0 at the least. It compares crops under salt
    alone; it does not forecast a yield. Woody crops: only for rootstocks that do not take up sodium
    or chloride fast. Sources: maas-grattan-1999, equation 1; maas-1990-ussl, note c (gypsum).
    """
    over = ece_ds_m - threshold_ds_m - gypsiferous_shift_ds_m
    return Answer(min(100.0, max(0.0, 100.0 - slope_pct * max(over, 0.0))))


@formula(unit="dS/m", source="maas-grattan-1999", locator="FAO 61 annex 1, equation 1", how="seen",
         valid={"loss_pct": (0.0, 100.0)})
def ece_at_yield_loss(loss_pct: Percent, threshold_ds_m: NotNegative,
                      slope_pct: Positive) -> float:
    """ECe at which a crop loses a stated share of its yield.

    Parameters
    ----------
    loss_pct : float
        Yield lost to salt [%].
    threshold_ds_m : float
        ECe up to which nothing is lost [dS/m].
    slope_pct : float
        Yield lost per dS/m above the threshold [%].

    Notes
    -----
    The yield equation solved for ECe: a + loss / b.
    """
    return threshold_ds_m + loss_pct / slope_pct


@cache
def _tolerance_names() -> Mapping[str, str]:
    names = {}
    for row in load(TOLERANCE):
        names[row["crop"].lower()] = row["crop"]
        for synonym in parts(row["synonyms"]):
            if synonym:
                names.setdefault(synonym.lower(), row["crop"])
    return names


def tolerance_row(crop: str) -> DataRow:
    """Row of the tolerance table for a crop by any name; ``UnknownName`` without a threshold."""
    names = _tolerance_names()
    key = " ".join(crop.lower().split())
    if key not in names:
        try:
            found = first_known(find_crop(crop), tuple(names.values()))
        except UnknownName:
            found = None
        if found is None:
            raise UnknownName("crop with a salt threshold", crop, tuple(sorted(names)))
        key = found.lower()
    return load(TOLERANCE).find(crop=names[key])


@formula(unit="dS/m", source="maas-1990-ussl", locator="threshold by crop", how="seen")
def crop_salt_threshold(crop: str) -> Answer:
    """Highest root-zone ECe at which a crop loses no yield.

    Parameters
    ----------
    crop : str
        Crop by any of its usual names.

    Returns
    -------
    float
        Threshold [dS/m]; ``details`` hold ``slope_pct``, ``rating``, ``kind`` and, where there
        is one, ``early_limit_ds_m`` for germination and seedlings.

    Raises
    ------
    UnknownName
        No threshold for that crop in the table.

    Notes
    -----
    A guide to relative tolerance: variety, climate and soil move it. For canola and rye
    publications differ widely (notes of the table). Sources: maas-1990-ussl; allen-1998-fao56;
    plosone-2018-e0198290; osman-2014-salt; rapeseed-salt-2012.
    """
    row = tolerance_row(crop)
    details = {"crop": row["crop"], "slope_pct": row["slope_pct"], "rating": row["rating"],
               "kind": row["kind"]}
    if row["early_limit_ds_m"] is not None:
        details["early_limit_ds_m"] = row["early_limit_ds_m"]
    return by_row(row, row["threshold_ds_m"], notes=(row["note"],) if row["note"] else (),
                  details=details)


def tolerant_alternatives(crop: str, ece_ds_m: float, least_pct: float = 90.0,
                          most: int = 4) -> tuple[DataRow, ...]:
    """Crops of the same kind that keep more of their yield at an ECe, best first.

    Parameters
    ----------
    crop : str
        The crop that suffers; its kind (forage, grain, vegetable...) sets the choice.
    ece_ds_m : float
        Mean root-zone ECe [dS/m].
    least_pct : float
        Relative yield an alternative must keep [%].
    most : int
        Longest list.

    Notes
    -----
    Ordered by yield kept in steps of 5 %, then by threshold (closest to the crop replaced first).
    Flooded rice is left out.
    """
    own = tolerance_row(crop)
    kinds = {own["kind"]}
    if own["kind"] in ("grain", "oilseed", "legume", "fiber", "root"):
        kinds = {"grain", "oilseed", "legume", "fiber", "root"}

    def kept(row: DataRow) -> float:
        return 100 - row["slope_pct"] * max(ece_ds_m - row["threshold_ds_m"], 0)

    fit = [
        row for row in load(TOLERANCE)
        if row["kind"] in kinds and row["crop"] != own["crop"] and row["crop"] != "rice"
        and row["threshold_ds_m"] > own["threshold_ds_m"] and kept(row) >= least_pct
    ]
    fit.sort(key=lambda r: (-round(kept(r) / 5), r["threshold_ds_m"], r["crop"]))
    return tuple(fit[:most])


@formula(unit="meq/L", source="ayers-westcot-1985-fao29", locator="table 18", how="memory")
def foliar_salt_limit(crop: str) -> Answer:
    """Sodium or chloride in sprinkled water from which a crop's leaves are injured.

    Parameters
    ----------
    crop : str
        Crop by any of its usual names.

    Returns
    -------
    float or None
        Lowest concentration of the crop's group [meq/L]; ``details`` hold ``low`` and ``high``
        (None above the list). None for a crop that is not in the list.

    Raises
    ------
    UnknownName
        Not a crop at all.

    Notes
    -----
    Injury starts somewhere in the group's range; weather decides. From memory, unverified. Sources:
    ayers-westcot-1985-fao29, table 18.
    """
    table = load("salinity/foliar_tolerance")
    names = table.column("crop")
    found = crop if crop in names else first_known(find_crop(crop), names)
    if found is None:
        return Answer(None, notes=(f"{crop} is not in the published list",), within_range=False)
    row = table.find(crop=found)
    return Answer(row["low_meq_l"], details={"low": row["low_meq_l"], "high": row["high_meq_l"]})


@formula(unit="mg/L", source="maas-1990-boron", locator="threshold by crop", how="memory")
def boron_threshold(crop: str) -> Answer[float | None]:
    """Boron in soil water above which a crop begins to be hurt.

    Parameters
    ----------
    crop : str
        Crop by any of its usual names.

    Returns
    -------
    float or None
        Low end of the threshold [mg/L]; ``details`` hold ``high``. None where the crop is not in
        the list.

    Raises
    ------
    UnknownName
        Not a crop at all.

    Notes
    -----
    Water in the soil holds at least as much boron as the water put on, and more where little
    drains: so irrigation water at the threshold is already over it in the soil.
    """
    lineage = find_crop(crop).lineage
    row = next((r for r in load("salinity/boron_tolerance") if r["crop"] in lineage), None)
    if row is None:
        return Answer(None, notes=(f"{crop} is not in the list",))
    return Answer(row["low_mg_l"], how=str(row["how"]), details={"high": row["high_mg_l"]})
