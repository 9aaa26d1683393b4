"""Available water by texture and root depth, allowed depletion, crop water use, interval."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from loambrief.agronomy.crops import find_crop
from loambrief.agronomy.possible import NotNegative, Percent, Positive, Share, one_of
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import DataRow, load

WATER = "soil_water/available_water"
CROPS = "soil_water/crop_water"
IN_PER_M = 39.370079
TABLE_USE_MM = 5.0
PER_MM = 0.04
LEAST, MOST = 0.1, 0.8
STAGES = ("initial", "mid", "end")


def crop_row(crop: str) -> DataRow | None:
    """The line of FAO's tables for a crop, or for the crop it is a kind of; None without one."""
    rows = {str(r["crop"]): r for r in load(CROPS)}
    return next((rows[name] for name in find_crop(crop).lineage if name in rows), None)


def _none(crop: str) -> str:
    return f"FAO paper 56 has no line for {find_crop(crop).name} in our table"


@formula(unit="1", source="nrcs-awc-lookup", locator="texture by available water capacity",
         how="seen")
def available_water_capacity(texture: str,
                             organic_matter_pct: Percent | None = None) -> Answer[float | None]:
    """Depth of water that plants can use, per depth of soil without stones.

    Parameters
    ----------
    texture : str
        USDA texture class.
    organic_matter_pct : float or None
        Soil organic matter [%]: classes below 1.5, below 5 and from 5 %. None, not tested: the
        class that holds least, which on fine soils is not the one with the least (our own step).

    Returns
    -------
    float or None
        Middle of the survey's range [1]; ``details`` hold ``low`` and ``high``, the ends over
        two published tables, and ``second``, the other table's value (None without one). None
        for muck and peat.

    Raises
    ------
    UnknownName
        Not a texture class.

    Notes
    -----
    On fine soil the two tables disagree by half; a test of the field's own soil is better than
    either. Sources: nmsu-soil-moisture.
    """
    if texture in ("muck", "peat"):
        return Answer(None, within_range=False,
                      notes=(f"neither table has a value for {texture}",))
    rows = load(WATER).named("texture", texture=texture)
    if organic_matter_pct is None:
        row = min(rows, key=lambda r: (r["low"], r["high"]))
    else:
        row = next(r for r in rows
                   if organic_matter_pct < r["organic_matter_below"] or r is rows[-1])
    other = row["second_in_ft"]
    second = None if other is None else float(other) / 12.0
    ends = [float(row["low"]), float(row["high"]), *([] if second is None else [second])]
    return Answer((row["low"] + row["high"]) / 2.0, source=str(row["source"]),
                  details={"low": min(ends), "high": max(ends), "second": second})


@formula(unit="as given", source="allen-1998-fao56", locator="equation 82", how="seen",
         valid={"capacity": (0.02, 0.30)})
def total_available_water(capacity: Share, root_depth: Positive) -> float:
    """Water between field capacity and wilting point in the root zone.

    Parameters
    ----------
    capacity : float
        Field capacity less wilting point, by volume [1].
    root_depth : float
        Depth of rooting [any length, e.g. in or mm].

    Notes
    -----
    TAW = 1000 (FC - WP) Zr in mm for Zr in m.
    """
    return capacity * root_depth


@formula(unit="in", source="nrcs-awc-lookup", locator="summed over the layers", how="seen",
         valid={"root_depth_in": (3.0, 120.0)})
def root_zone_water_in(texture: str, root_depth_in: Positive, bottoms_in: Sequence[float],
                       organic_matter_pct: Sequence[float]) -> Answer[float | None]:
    """Water that plants can use in a root zone of one texture, layer by layer.

    Parameters
    ----------
    texture : str
        USDA texture class.
    root_depth_in : float
        Depth of rooting [in].
    bottoms_in : sequence of float
        Lower ends of the layers from the surface down [in].
    organic_matter_pct : sequence of float
        Organic matter of each layer [%]. Below the last layer the class that holds least is
        taken.

    Returns
    -------
    float or None
        Water [in]; ``details`` hold ``low`` and ``high`` over two published tables, ``second``
        by the other table alone, and ``layers``: bottom and water of each. None for muck and
        peat.

    Raises
    ------
    ImpossibleInput
        Lists of unequal length, or depths that do not increase.
    UnknownName
        Not a texture class.

    Notes
    -----
    Stones take their share of the volume off; salt makes part of the water hard to take up.
    Sources: nmsu-soil-moisture.
    """
    if len(bottoms_in) != len(organic_matter_pct) or any(
            b <= a for a, b in pairwise([0.0, *bottoms_in])):
        raise ImpossibleInput("layers need a bottom each, from the surface down")
    cuts = [min(b, root_depth_in) for b in bottoms_in]
    matter: list[float | None] = list(organic_matter_pct)
    if not cuts or cuts[-1] < root_depth_in:
        cuts, matter = [*cuts, root_depth_in], [*matter, None]
    layers, ends = [], {"low": 0.0, "high": 0.0, "second": 0.0}
    lacks_second = False
    for top, bottom, percent in zip([0.0, *cuts], cuts, matter, strict=False):
        if bottom <= top:
            continue
        held = available_water_capacity.evaluate(texture=texture, organic_matter_pct=percent)
        if held.value is None:
            return Answer(None, within_range=False, notes=held.notes)
        thick = bottom - top
        layers.append({"bottom_in": bottom,
                       "water_in": total_available_water(held.number, thick)})
        lacks_second = lacks_second or held.details["second"] is None
        for name in ends:
            ends[name] += thick * float(held.details[name] or 0.0)
    return Answer(sum(layer["water_in"] for layer in layers),
                  details={**ends, "second": None if lacks_second else ends["second"],
                           "layers": layers})


@formula(unit="in", source="allen-1998-fao56", locator="table 22", how="seen")
def effective_root_depth_in(crop: str) -> Answer[float | None]:
    """Depth from which a grown crop takes its water, for planning irrigation.

    Parameters
    ----------
    crop : str
        Crop, by any of its names.

    Returns
    -------
    float or None
        Lower end of the published range [in]; ``details`` hold ``high`` [in], for deep soil
        without layers and for crops on rain, and ``line``, what the table calls it. None where
        the table has no such crop.

    Raises
    ------
    UnknownName
        No such crop.

    Notes
    -----
    Most roots lie well above it, and packed, wet or salty layers stop them earlier: dig and look.
    """
    row = crop_row(crop)
    if row is None:
        return Answer(None, notes=(_none(crop),))
    return Answer(row["root_low_m"] * IN_PER_M,
                  details={"high": row["root_high_m"] * IN_PER_M, "line": row["printed_as"]})


@formula(unit="1", source="allen-1998-fao56", locator="table 22 and its footnote", how="seen",
         valid={"daily_use_mm": (1.0, 12.0)})
def allowed_depletion(crop: str, daily_use_mm: NotNegative = TABLE_USE_MM) -> Answer[float | None]:
    """Share of the available water that a crop may use before its growth slows.

    Parameters
    ----------
    crop : str
        Crop, by any of its names.
    daily_use_mm : float
        Water use of the crop [mm/day].

    Returns
    -------
    float or None
        Share [1]; ``details`` hold ``table``, the share at 5 mm/day. None where the table has
        no such crop.

    Raises
    ------
    UnknownName
        No such crop.

    Notes
    -----
    p = table + 0.04 (5 - ETc), not below 0.1 nor above 0.8: the faster the air draws water, the
    sooner leaves run short. The paper allows 5 to 10 % less on fine and more on coarse soil; that
    is not counted (from memory).
    """
    row = crop_row(crop)
    if row is None:
        return Answer(None, notes=(_none(crop),))
    share = row["depletion"] + PER_MM * (TABLE_USE_MM - daily_use_mm)
    return Answer(min(max(share, LEAST), MOST), details={"table": row["depletion"]})


@formula(unit="as given", source="allen-1998-fao56", locator="equation 83", how="seen")
def readily_available_water(total: NotNegative, fraction: Share) -> float:
    """Water that may be used before the next irrigation.

    Parameters
    ----------
    total : float
        Water that plants can use in the root zone [any depth, e.g. in or mm].
    fraction : float
        Share of it that may be used [1].

    Notes
    -----
    RAW = p TAW. Trade calls the share management-allowed depletion.
    """
    return total * fraction


@formula(unit="as given", source="allen-1998-fao56", locator="table 12", how="seen")
def crop_water_use(crop: str, reference_et: NotNegative,
                   stage: str = "mid") -> Answer[float | None]:
    """Water that a well-watered crop uses, from the reference of a weather station.

    Parameters
    ----------
    crop : str
        Crop, by any of its names.
    reference_et : float
        Grass reference evapotranspiration [any depth per time, e.g. in/d or mm/d].
    stage : str
        ``"initial"``, ``"mid"`` (full cover) or ``"end"``.

    Returns
    -------
    float or None
        Crop water use, the middle of the published coefficients; ``details`` hold
        ``coefficient``, ``low`` and ``high``. None where the table has no such crop.

    Raises
    ------
    UnknownName
        No such crop or stage.

    Notes
    -----
    ETc = Kc ET0. Not adjusted for wind and humidity. Stations that report an alfalfa reference
    give higher figures, which must not be used here.
    """
    one_of("stage", stage, STAGES)
    row = crop_row(crop)
    if row is None:
        return Answer(None, notes=(_none(crop),))
    ends = {"initial": ("kc_ini",) * 2, "mid": ("kc_mid_low", "kc_mid_high"),
            "end": ("kc_end",) * 2}[stage]
    low, high = (float(row[name]) for name in ends)
    middle = (low + high) / 2.0
    return Answer(middle * reference_et,
                  details={"coefficient": middle, "low": low * reference_et,
                           "high": high * reference_et})


@formula(unit="days", source="allen-1998-fao56", locator="depletion reaches RAW", how="memory")
def irrigation_interval_days(allowed: NotNegative, daily_use: Positive) -> float:
    """Days without rain until the allowed part of the water is used.

    Parameters
    ----------
    allowed : float
        Water that may be used [any depth].
    daily_use : float
        Water use of the crop [the same depth per day].

    Notes
    -----
    Allowed depletion over daily use. Where only a part of the root zone is wetted (drip), the
    water of the whole root zone does not stand behind it.
    """
    return allowed / daily_use
