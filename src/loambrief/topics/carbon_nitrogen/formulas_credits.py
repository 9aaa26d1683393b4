"""Nitrogen that is there already: from the legume before, in the soil, in irrigation water."""

from __future__ import annotations

from loambrief.agronomy.crops import find_crop
from loambrief.agronomy.possible import NotNegative, Positive
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import UnknownName
from loambrief.tables import load
from loambrief.units import SLICE_DEPTH_IN, SLICE_LB

CREDITS = "carbon_nitrogen/legume_credits"
ANY = "any"
STANDS = ("good", "fair", "poor")
LB_AC_PER_PPM_6IN = 2.0
"""Convention of laboratories: each ppm in six inches is 2 lb/ac."""
LB_PER_ACRE_INCH_PPM = 0.227
"""Nitrogen in an acre-inch of water for each ppm of nitrate nitrogen [lb]."""


@formula(unit="lb/ac", source="grassini-2017-alfalfa-credit", locator="table 1", how="seen")
def legume_credit_lb_ac(crop: str, stand: str | None = None,
                        sandy: bool = False) -> Answer[float | None]:
    """Nitrogen that a legume leaves for the crop after it.

    Parameters
    ----------
    crop : str
        The legume, by any name of the crop table.
    stand : str or None
        ``"good"``, ``"fair"`` or ``"poor"`` at its end, where the table tells that apart; None:
        the middle row, with the others as the range.
    sandy : bool
        A sandy soil.

    Returns
    -------
    float or None
        Nitrogen [lb/ac]; ``details`` hold ``low`` and ``high``. None for a crop without a
        published credit here.

    Raises
    ------
    UnknownName
        No such crop, or no such stand.

    Notes
    -----
    Made for corn in Nebraska; other states print other credits. Soybean on soils that are
    not sandy from memory, unverified. A rate worked out for corn after soybean holds the credit
    already: it must not be taken off again.
    Sources: npnrd-n-credits (dry bean); unl-n-tool (soybean on sandy soil); shapiro-ec117
    (soybean on other soils); isu-soybean-credit (rates that hold the credit).
    """
    if stand is not None and stand not in STANDS:
        raise UnknownName("stand", stand, STANDS)
    soil = "sandy" if sandy else "other"
    lineage = find_crop(crop).lineage
    rows = [r for r in load(CREDITS) if r["crop"] in lineage and r["soil"] in (soil, ANY)]
    if not rows:
        return Answer(None, notes=("no published credit for this crop is held here",))
    ends = [float(r["credit_lb_ac"]) for r in rows]
    wanted = next((r for r in rows if r["stand"] in (stand or "fair", ANY)), rows[0])
    known = stand is not None or wanted["stand"] == ANY
    value = float(wanted["credit_lb_ac"])
    return by_row(wanted, value,
                  details={"low": value if known else min(ends),
                           "high": value if known else max(ends)},
                  notes=() if known else ("the stand is not stated; a fair one was taken",))


@formula(unit="lb/ac", source="merced-soil-ppm", locator="doubled for each six inches", how="seen",
         valid={"nitrate_n_ppm": (0.0, 200.0), "depth_in": (1.0, 48.0)})
def soil_nitrate_n_lb_ac(nitrate_n_ppm: NotNegative, depth_in: Positive) -> Answer:
    """Nitrate nitrogen in a layer of soil.

    Parameters
    ----------
    nitrate_n_ppm : float
        Nitrate nitrogen [ppm].
    depth_in : float
        Thickness of the layer [in].

    Returns
    -------
    float
        Nitrogen [lb/ac] at 2 lb per ppm in six inches; ``details`` hold ``low``, by the furrow
        slice of 2,000,000 lb in 6 2/3 in.

    Notes
    -----
    What is there on the day of sampling; rain can take it out of reach before the crop does.
    """
    return Answer(LB_AC_PER_PPM_6IN * nitrate_n_ppm * depth_in / 6.0,
                  details={"low": nitrate_n_ppm * SLICE_LB / 1e6 * depth_in / SLICE_DEPTH_IN})


@formula(unit="lb/ac", source="ucanr-n-in-water", locator="conversion factor and example",
         how="seen", valid={"nitrate_n_mg_l": (0.0, 60.0), "water_in": (0.0, 60.0)})
def water_nitrogen_lb_ac(nitrate_n_mg_l: NotNegative, water_in: NotNegative) -> float:
    """Nitrogen that irrigation water brings in a season.

    Parameters
    ----------
    nitrate_n_mg_l : float
        Nitrate nitrogen of the water [mg/L].
    water_in : float
        Water put on, no more than the crop uses [in].

    Notes
    -----
    0.227 lb for each ppm and acre-inch. Water beyond what the crop uses counts for nothing.
    Sources: csu-water-n-credit (0.23).
    """
    return LB_PER_ACRE_INCH_PPM * nitrate_n_mg_l * water_in
