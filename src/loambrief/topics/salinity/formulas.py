"""Salt in soil: saturated-paste conductivity by any method, its class, and salt in compost.

Everything hangs on ECe, the electrical conductivity of the saturated-paste extract at 25 C.
Other mixtures are converted with their spread, never with a bare number.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial

from loambrief.agronomy.possible import NotNegative
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import DataRow, load, named_number

EQUATIONS = "salinity/ece_equations"
TEXTURES = "salinity/textures"
constant = partial(named_number, "salinity/constants")


def texture_group(texture: str) -> str | None:
    """``coarse``, ``medium`` or ``fine``; None for muck and peat (no equation)."""
    if texture in ("muck", "peat"):
        return None
    return load(TEXTURES).find("texture", texture=texture)["group"]


def _apply(row: DataRow, ec_ds_m: float) -> float:
    """One equation, never below the EC it starts from."""
    return max(row["slope"] * ec_ds_m + row["intercept_ds_m"], ec_ds_m)


def _converted(ratio: str, ec_ds_m: float, texture: str, spread_groups: tuple[str, ...]) -> Answer:
    group = texture_group(texture)
    if group is None:
        return Answer(None, within_range=False,
                      notes=(f"no published equation for {texture}; ask for a paste extract",))
    rows = load(EQUATIONS).where(ratio=ratio)
    central = next(r for r in rows if r["central"] and r["group"] == group)
    spread = [_apply(r, ec_ds_m) for r in rows if r["group"] in (group, *spread_groups)]
    floored = central["slope"] * ec_ds_m + central["intercept_ds_m"] < ec_ds_m
    notes = [f"equation for {group} soils; {len(spread)} published equations give the range",
             "the equation itself rests on one study of one region"]
    if floored:
        notes.append("the equation falls below the EC itself here; the EC is given instead")
    return Answer(
        _apply(central, ec_ds_m),
        notes=tuple(notes),
        details={"low": min(spread), "high": max(spread), "group": group,
                 "equations": len(spread)},
        within_range=not floored,
    )


@formula(unit="dS/m", source="plosone-2018-e0198290", locator="table 2, 1:1 suspensions",
         how="seen")
def ece_from_1to1(ec_ds_m: NotNegative, texture: str) -> Answer:
    """Saturated-paste conductivity estimated from a 1:1 soil:water mixture.

    Parameters
    ----------
    ec_ds_m : float
        EC of the 1:1 mixture at 25 C [dS/m].
    texture : str
        USDA texture class, e.g. ``"silt loam"``.

    Returns
    -------
    float or None
        ECe [dS/m]; ``details`` hold ``low`` and ``high`` across the published equations.
        None for muck and peat.

    Raises
    ------
    UnknownName
        Not a texture class.

    Notes
    -----
    ECe = a EC + b with a, b by texture. Our departures: answers are never below the EC itself
    (negative constants would give that below about 0.4 dS/m; the result is then flagged), and the
    range of all equations made for that texture or for any soil is given beside the answer. It is
    nearly twofold, so a value near a limit needs a paste extract.
    """
    return _converted("1:1", ec_ds_m, texture, ("any",))


@formula(unit="dS/m", source="plosone-2018-e0198290", locator="table 2, 1:2 extracts", how="seen")
def ece_from_1to2(ec_ds_m: NotNegative, texture: str) -> Answer:
    """Saturated-paste conductivity estimated from a 1:2 soil:water extract.

    Parameters
    ----------
    ec_ds_m : float
        EC of the 1:2 extract at 25 C [dS/m].
    texture : str
        USDA texture class.

    Returns
    -------
    float or None
        ECe [dS/m]; ``details`` hold ``low`` and ``high``. None for muck and peat.

    Raises
    ------
    UnknownName
        Not a texture class.

    Notes
    -----
    One study gives one equation per texture group; no second study was seen. The range is that of
    its three equations, which is what a wrong texture would cost. Floored at the EC itself.
    """
    return _converted("1:2", ec_ds_m, texture, ("coarse", "medium", "fine"))


@formula(unit="dS/m", source="slavich-petterson-1993", locator="abstract", how="seen")
def ece_from_1to5(
    ec_ds_m: NotNegative, texture: str | None = None, saturation_pct: float | None = None
) -> Answer:
    """Saturated-paste conductivity estimated from a 1:5 soil:water extract.

    Parameters
    ----------
    ec_ds_m : float
        EC of the 1:5 extract at 25 C [dS/m].
    texture : str or None
        USDA texture class; used where the saturation water is not known.
    saturation_pct : float or None
        Water in the saturated paste [% of dry soil mass].

    Returns
    -------
    float or None
        ECe [dS/m]; ``details`` hold ``low``, ``high`` and ``factor``. None for muck and peat
        without saturation water.

    Raises
    ------
    ImpossibleInput
        A negative EC, saturation water at or below zero, or neither texture nor saturation.
    UnknownName
        Not a texture class.

    Notes
    -----
    ECe = f EC with f = 2.46 + 3.03 / theta, theta the saturation water in kg/kg. Without it,
    the multipliers used in Australia by texture stand in (from memory, unverified) and their
    range is given. The relation is weak in sands. Floored at the EC itself.
    """
    if saturation_pct is not None:
        if saturation_pct <= 0:
            raise ImpossibleInput("saturation_pct must be above zero")
        factor = constant("slavich_intercept") + constant("slavich_slope") / (saturation_pct / 100)
        value = factor * ec_ds_m
        return Answer(value, details={"low": value, "high": value, "factor": factor})
    if texture is None:
        raise ImpossibleInput("ece_from_1to5 needs texture or saturation_pct")
    if texture_group(texture) is None:
        return Answer(None, notes=(f"no published factor for {texture}",), within_range=False)
    row = load(TEXTURES).find(texture=texture)
    low, high = row["factor_1to5_low"], row["factor_1to5_high"]
    return Answer(
        (low + high) / 2 * ec_ds_m,
        locator="multipliers by texture",
        how="memory",
        notes=("multiplier by texture; the paste's water content would be better",),
        details={"low": low * ec_ds_m, "high": high * ec_ds_m, "factor": (low + high) / 2},
    )


@formula(unit="dS/m", source="maas-grattan-1999", locator="mean ECe of the root zone", how="seen",
         valid={"depth_in": (6.0, None)})
def root_zone_ece(
    ece_ds_m: Iterable[float], thickness_in: Iterable[float], depth_in: float | None = None
) -> Answer:
    """Mean ECe of the sampled root zone, slices weighted by thickness.

    Parameters
    ----------
    ece_ds_m : sequence of float
        ECe of each slice, top first [dS/m].
    thickness_in : sequence of float
        Thickness of each slice [in], same length.
    depth_in : float or None
        Depth the slices reach [in], for the range check.

    Returns
    -------
    float
        Mean ECe [dS/m].

    Raises
    ------
    ImpossibleInput
        No slices, unequal lengths, a negative EC or a thickness of zero.

    Notes
    -----
    The yield equation is meant for the mean of the root zone. A sample that stops at 6 or 12 in
    sees only its upper part. Sources: maas-grattan-1999 (definition of ECe in the yield equation).
    """
    eces, thick = list(ece_ds_m), list(thickness_in)
    if not eces or len(eces) != len(thick):
        raise ImpossibleInput("as many thicknesses as EC values are needed, at least one")
    if min(eces) < 0 or min(thick) <= 0:
        raise ImpossibleInput("EC cannot be negative and a slice cannot have no thickness")
    total = sum(thick)
    return Answer(sum(e * t for e, t in zip(eces, thick, strict=True)) / total,
                  details={"depth_in": total})


@formula(unit="class", source="cansis-salsym", locator="second column", how="seen")
def salinity_class(ece_ds_m: NotNegative) -> Answer:
    """Salinity class of a soil by its ECe.

    Parameters
    ----------
    ece_ds_m : float
        ECe [dS/m].

    Returns
    -------
    str
        Class name [class]; ``details`` hold the limits and the USDA words for the same class.

    Notes
    -----
    Limits 2, 4, 8 and 16 dS/m. The words differ between systems (4 to 8 is "moderately
    saline" in Canada and FAO texts, "slightly saline" in the USDA survey); the number counts.
    A value on a limit goes to the upper class.
    """
    row = next(r for r in load("salinity/classes")
               if r["high_ds_m"] is None or ece_ds_m < r["high_ds_m"])
    return Answer(row["salinity_class"], notes=(row["effect"],),
                  details={"low": row["low_ds_m"], "high": row["high_ds_m"],
                           "usda_words": row["usda_words"]})


@formula(unit="mg/L", source="ayers-westcot-1985-fao29", locator="conversion of EC to salt",
         how="memory", valid={"ec_ds_m": (0.1, 50.0)})
def dissolved_salt_mg_l(ec_ds_m: NotNegative) -> float:
    """Dissolved salt in water or extract from its EC.

    Parameters
    ----------
    ec_ds_m : float
        EC at 25 C [dS/m].

    Notes
    -----
    640 mg/L per dS/m up to 5 dS/m, 800 above; it depends on the salts. From memory,
    unverified. The jump at 5 dS/m is in the source.
    """
    low = ec_ds_m <= constant("tds_break")
    return ec_ds_m * constant("tds_factor_low" if low else "tds_factor_high")
