"""Irrigation water: how much must drain, how far salt gathers, how deep to leach."""

from __future__ import annotations

from functools import partial

from loambrief.agronomy.intervals import on_lines
from loambrief.agronomy.possible import NotNegative, Positive, Share
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load, named_number
from loambrief.units import KG_PER_LB, LB_PER_TON

constant = partial(named_number, "irrigation_water/constants")


@formula(unit="1", source="usgs-modelmuse-owhm", locator="leaching requirement", how="seen",
         valid={"ecw_ds_m": (0.1, 10.0)})
def leaching_requirement(ecw_ds_m: NotNegative, ece_ds_m: Positive) -> Answer:
    """Share of the irrigation water that must drain to hold the soil at a tolerable ECe.

    Parameters
    ----------
    ecw_ds_m : float
        EC of the irrigation water [dS/m].
    ece_ds_m : float
        Mean root-zone ECe the crop can bear [dS/m].

    Returns
    -------
    float or None
        Leaching requirement, a fraction [1]. None where no leaching can hold that ECe with
        this water (five times ECe is not above ECw, or the fraction would reach 1).

    Notes
    -----
    LR = ECw / (5 ECe - ECw), for ordinary surface and sprinkler irrigation. A printed version with
    ECe on top is a slip. Rain and winter drainage lower what irrigation has to do. Sources:
    ayers-westcot-1985-fao29.
    """
    below = constant("ece_per_ecw") * ece_ds_m - ecw_ds_m
    if below <= 0 or ecw_ds_m / below >= 1:
        return Answer(None, notes=("this water is too salty to hold that ECe by leaching",),
                      within_range=False)
    return Answer(ecw_ds_m / below)


@formula(unit="as et", source="usgs-modelmuse-owhm", locator="applied water", how="seen",
         valid={"leaching_fraction": (0.0, 0.6)})
def water_with_leaching(et: NotNegative, leaching_fraction: float) -> float:
    """Water to be put on so that crop use and leaching are both met.

    Parameters
    ----------
    et : float
        Water the crop uses over the season [any depth unit, e.g. mm or in].
    leaching_fraction : float
        Share of the water put on that drains below the roots [1].

    Raises
    ------
    ImpossibleInput
        Negative water use, or a fraction outside 0 to below 1.

    Notes
    -----
    AW = ET / (1 - LR). Losses of the system itself come on top; useful rain comes off. Sources:
    ayers-westcot-1985-fao29.
    """
    if not 0 <= leaching_fraction < 1:
        raise ImpossibleInput("leaching_fraction must be from 0 to below 1")
    return et / (1.0 - leaching_fraction)


@formula(unit="dS/m", source="ayers-westcot-1985-fao29", locator="equation for ECdw; example 1",
         how="memory", valid={"leaching_fraction": (0.05, 1.0)})
def drainage_water_ec(ecw_ds_m: NotNegative, leaching_fraction: Share) -> float:
    """EC of the water that drains below the root zone at a steady state.

    Parameters
    ----------
    ecw_ds_m : float
        EC of the irrigation water [dS/m].
    leaching_fraction : float
        Share of the water put on that drains [1].

    Notes
    -----
    ECdw = ECw / LF: all the salt leaves in less water. Neglects salt that dissolves from or
    settles in the soil.
    """
    return ecw_ds_m / leaching_fraction


@formula(unit="1", source="ayers-westcot-1985-fao29", locator="table 3", how="computed",
         valid={"leaching_fraction": (0.05, 0.80)})
def concentration_factor(leaching_fraction: Share) -> Answer:
    """How far the mean root zone is saltier than the irrigation water.

    Parameters
    ----------
    leaching_fraction : float
        Share of the water put on that drains [1].

    Notes
    -----
    For crop water use of 40-30-20-10 % down the root zone at a steady state, worked out anew.
    """
    table = load("irrigation_water/concentration")
    points = zip(table.column("leaching_fraction"), table.column("factor"), strict=True)
    return Answer(on_lines(leaching_fraction, tuple(points)))


@formula(unit="dS/m", source="ayers-westcot-1985-fao29", locator="table 3", how="computed",
         valid={"leaching_fraction": (0.05, 0.80)})
def ece_from_irrigation_water(ecw_ds_m: NotNegative, leaching_fraction: float) -> float:
    """Mean root-zone ECe that a water leads to in the long run.

    Parameters
    ----------
    ecw_ds_m : float
        EC of the irrigation water [dS/m].
    leaching_fraction : float
        Share of the water put on that drains [1].

    Notes
    -----
    ECw times :func:`concentration_factor`. Many years of the same water and management.
    """
    return ecw_ds_m * concentration_factor(leaching_fraction)


@formula(unit="in", source="csu-0503", locator="field rule for leaching", how="memory",
         valid={"soil_depth_in": (6.0, 48.0)})
def reclamation_leaching_in(ece_ds_m: NotNegative, target_ece_ds_m: Positive,
                            soil_depth_in: Positive,
                            ecw_ds_m: NotNegative = 0.0) -> Answer[float | None]:
    """Water to pass through a salty layer to bring it down to a wanted ECe.

    Parameters
    ----------
    ece_ds_m : float
        ECe now [dS/m].
    target_ece_ds_m : float
        ECe wanted [dS/m].
    soil_depth_in : float
        Depth of soil to be cleaned [in].
    ecw_ds_m : float
        EC of the leaching water [dS/m]; 0 for rain.

    Returns
    -------
    float or None
        Water that must drain through the layer [in], by the field rule (half of the salt with
        half the soil's depth of water, 80 % with its depth, 90 % with twice its depth).
        ``details`` hold ``low`` and ``high``: the smallest and largest of the rule and of the
        ponding equation with k 0.1 (intermittent) and 0.3 (continuous), and
        ``removed_pct``, the share of the salt above the water's own. None where the water is
        as salty as the target: no depth of it will do.

    Notes
    -----
    Straight lines between the steps of the rule; above 90 % removal, proportional to C0/C like the
    ponding equation (C/C0)(d water / d soil) = k. Concentrations count from the water's own
    upwards, (C - Cw)/(C0 - Cw), since leaching cannot take the soil below its water. Rule and k
    values are from memory, unverified; field work seen in print agrees in size (aljaloud-1994,
    biggar-nielsen-1962). Zero where the target is met. Sources: hoffman-1980; aljaloud-1994;
    biggar-nielsen-1962.
    """
    if ece_ds_m <= target_ece_ds_m:
        return Answer(0.0, details={"low": 0.0, "high": 0.0, "removed_pct": 0.0},
                      notes=("the target is met; no leaching is needed",))
    if ecw_ds_m >= target_ece_ds_m:
        return Answer(None, within_range=False,
                      notes=("this water is as salty as the target; leaching cannot reach it",))
    turn = (ece_ds_m - ecw_ds_m) / (target_ece_ds_m - ecw_ds_m)
    removed = 100.0 * (1 - 1 / turn)
    points = [(0.0, 0.0)] + [(r["removed_pct"], r["water_per_depth"])
                             for r in load("irrigation_water/reclamation")]
    ratio = (on_lines(removed, points) if removed <= points[-1][0]
             else points[-1][1] * (100 - points[-1][0]) / (100 - removed))
    candidates = [ratio, constant("intermittent") * turn, constant("ponding") * turn]
    return Answer(
        ratio * soil_depth_in,
        details={"low": min(candidates) * soil_depth_in, "high": max(candidates) * soil_depth_in,
                 "removed_pct": removed},
    )


@formula(unit="lb/ac", source="nist-hb44-2020", locator="definition of the acre-foot",
         how="computed", valid={"water_in": (0.0, 120.0)})
def water_load_lb_ac(mg_l: NotNegative, water_in: NotNegative) -> float:
    """What irrigation water brings to a field of one thing dissolved in it.

    Parameters
    ----------
    mg_l : float
        Its concentration in the water [mg/L].
    water_in : float
        Depth of water put on [in].

    Notes
    -----
    One acre-foot is 1,233,482 L; a pound 453.59237 g: 0.2266 lb for each mg/L and acre-inch, which
    extension sheets round to 0.23. Sources: csu-water-n-credit (0.23).
    """
    return mg_l * constant("litres_per_acre_foot") * water_in / 12.0 / 453592.37


@formula(unit="ton/ac", source="nist-hb44-2020", locator="definition of the acre-foot",
         how="computed", valid={"water_in": (0.0, 120.0)})
def salt_load_ton_ac(salt_mg_l: NotNegative, water_in: NotNegative) -> float:
    """Salt that irrigation water brings to a field.

    Parameters
    ----------
    salt_mg_l : float
        Dissolved salt in the water [mg/L].
    water_in : float
        Depth of water put on [in].

    Notes
    -----
    One acre-foot is 1,233,482 L; a short ton 907.185 kg.
    """
    litres = constant("litres_per_acre_foot") * water_in / 12.0
    return salt_mg_l * litres / 1e6 / (LB_PER_TON * KG_PER_LB)
