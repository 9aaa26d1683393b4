"""Whether a soil's pH suits a crop: too acid, too alkaline, or beyond what it bears."""

from __future__ import annotations

from loambrief.agronomy.crops import find_crop, first_known
from loambrief.agronomy.possible import SoilPh
from loambrief.agronomy.registry import Answer, formula
from loambrief.tables import load

TOLERANCE = "acidity/ph_tolerance"
TOO_ACID, ACID, SUITS, ALKALINE, TOO_ALKALINE = (
    "below the limit", "below the best range", "within", "above the best range", "above the limit",
)


@formula(unit="class", source="fao-ecocrop", locator="the crop's species", how="seen")
def ph_suitability(crop: str, soil_ph: SoilPh) -> Answer[str | None]:
    """Where a soil's pH lies in what a crop likes and bears.

    Parameters
    ----------
    crop : str
        Crop by any of its names.
    soil_ph : float
        Soil pH in water [pH].

    Returns
    -------
    str or None
        ``"below the limit"``, ``"below the best range"``, ``"within"``, ``"above the best
        range"`` or ``"above the limit"`` [class]; the ends belong to the milder class. None
        where the table has no row for the crop: then pH is not judged upwards. ``details``
        hold ``best_low``, ``best_high``, ``limit_low`` and ``limit_high``.

    Raises
    ------
    UnknownName
        No such crop.
    ImpossibleInput
        Not a pH.

    Notes
    -----
    The lower ends are not a lime guide: a region's own pH target (``ph_target``) decides on lime.
    The upper ends say that a pH cannot be called suitable. Soil with free lime is not acidified by
    sulfur in practice (``sulfur_for_lime``): another crop or variety is the way. Sources:
    msu-blueberry-sulfur; ashs-2019-vaccinium-ph.
    """
    found = find_crop(crop)
    rows = {row["crop"]: row for row in load(TOLERANCE)}
    name = first_known(found, rows)
    if name is None:
        return Answer(None, notes=(f"no published pH range of {found.name} is held",))
    row = rows[name]
    if soil_ph > row["limit_high"]:
        value = TOO_ALKALINE
    elif soil_ph > row["best_high"]:
        value = ALKALINE
    elif soil_ph < row["limit_low"]:
        value = TOO_ACID
    else:
        value = ACID if soil_ph < row["best_low"] else SUITS
    ends = ("best_low", "best_high", "limit_low", "limit_high")
    return Answer(value, source=row["source"].split(";")[0], locator=row["locator"],
                  how=row["how"], details={"crop": name, **{end: row[end] for end in ends}})
