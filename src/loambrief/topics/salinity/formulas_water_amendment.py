"""What makes sodic or alkaline irrigation water usable: calcium or acid, by the acre-foot."""

from __future__ import annotations

from loambrief.agronomy.possible import NotNegative, Positive, PositivePercent
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load
from loambrief.topics.salinity.formulas_water import constant
from loambrief.topics.salinity.formulas_water_quality import SEVERE, SLIGHT, infiltration_hazard
from loambrief.units import G_PER_LB

AMENDMENTS = "sodicity/amendments"
UNDISSOLVED = ("calcium carbonate",)
"""Amendments that do not dissolve in such water and cannot treat it."""
INCHES_PER_FOOT = 12.0
NOTHING, WATCH, EVERY_SEASON = "none", "watch", "every season"


@formula(unit="class", source="salinity-guide-rsc", locator="bicarbonate hazard", how="seen")
def irrigation_water_treatment(
    rsc_meq_l: float | None = None, sar: NotNegative | None = None,
    ecw_ds_m: NotNegative | None = None, bicarbonate_meq_l: NotNegative | None = None,
) -> Answer[str]:
    """Whether water must be amended each season that it is used.

    Parameters
    ----------
    rsc_meq_l : float or None
        Residual sodium carbonate [meq/L]; may be negative.
    sar : float or None
        SAR of the water [(meq/L)^0.5]; judged together with ``ecw_ds_m``.
    ecw_ds_m : float or None
        EC of the water [dS/m].
    bicarbonate_meq_l : float or None
        Carbonate and bicarbonate together [meq/L], for the most that acid may neutralise.

    Returns
    -------
    str
        ``"none"``, ``"watch"`` or ``"every season"`` [class]. ``details`` hold ``rsc_class``
        and ``infiltration`` (None where not measured), ``least_meq_l`` (down to the limit of
        2.5) and ``full_meq_l`` (all of it) to be treated for RSC, and ``acid_most_meq_l``.

    Raises
    ------
    ImpossibleInput
        Neither RSC nor SAR with EC given, or a negative number.

    Notes
    -----
    RSC below 1.25 is safe, to 2.5 marginal, from 2.5 on not suitable without treatment. Water goes
    on every year, so one dose of gypsum on the soil does not settle it. In field trials, gypsum
    against the RSC above 2.8 meq/L kept yields at RSC 12 but not at 16. Acid is reckoned to
    neutralise at most 90 % of the bicarbonate: more makes the water corrosive. Sources: eaton-1950;
    ayers-westcot-1985-fao29, table 1; haryana-2005-gypsum; bohn-westerman-1971.
    """
    if rsc_meq_l is None and (sar is None or ecw_ds_m is None):
        raise ImpossibleInput("irrigation_water_treatment needs rsc_meq_l, or sar and ecw_ds_m")
    worst, rsc_class, hazard = 0, None, None
    limit = constant("rsc_unsuitable")
    if rsc_meq_l is not None:
        worst = (rsc_meq_l >= constant("rsc_marginal")) + (rsc_meq_l >= limit)
        rsc_class = ("safe", "marginal", "not suitable")[worst]
    if sar is not None and ecw_ds_m is not None:
        hazard = infiltration_hazard(ecw_ds_m, sar)
        worst = max(worst, {SLIGHT: 1, SEVERE: 2}.get(str(hazard), 0))
    rsc = max(rsc_meq_l or 0.0, 0.0)
    return Answer(
        (NOTHING, WATCH, EVERY_SEASON)[worst],
        details={
            "rsc_class": rsc_class, "infiltration": hazard,
            "least_meq_l": max(rsc - limit, 0.0), "full_meq_l": rsc,
            "acid_most_meq_l": None if bicarbonate_meq_l is None
            else constant("acid_share") * bicarbonate_meq_l,
        },
    )


@formula(unit="meq/L", source="richards-1954-hb60", locator="definition of SAR", how="computed",
         valid={"target_sar": (1.0, 40.0)})
def calcium_for_water_sar(na_meq_l: NotNegative, ca_meq_l: NotNegative, mg_meq_l: NotNegative,
                          target_sar: Positive) -> Answer[float]:
    """Calcium to dissolve in water to bring its SAR down.

    Parameters
    ----------
    na_meq_l, ca_meq_l, mg_meq_l : float
        Sodium, calcium and magnesium of the water [meq/L].
    target_sar : float
        SAR wanted [(meq/L)^0.5].

    Returns
    -------
    float
        Calcium [meq/L]; zero where the SAR is met. ``details`` hold ``sar``, now.

    Notes
    -----
    The definition solved for calcium: 2 (Na / SAR)^2 - (Ca + Mg). Pure gypsum dissolves to about 30
    meq/L, in flowing water far less; more than about 5 meq/L calls for other means. Calcium that
    bicarbonate would settle out again is not counted: treat the RSC as well. Sources:
    crc-gypsum-solubility.
    """
    held = ca_meq_l + mg_meq_l
    sar = na_meq_l / (held / 2.0) ** 0.5 if held else None
    return Answer(max(2.0 * (na_meq_l / target_sar) ** 2 - held, 0.0), details={"sar": sar})


@formula(unit="lb/ac", source="own-arithmetic", locator="equivalent mass times an acre-foot",
         how="computed", valid={"meq_l": (0.0, 15.0), "water_in": (0.0, 120.0)})
def water_amendment_lb_ac(meq_l: NotNegative, amendment: str = "gypsum",
                          water_in: NotNegative = 12.0,
                          purity_pct: PositivePercent = 100.0) -> Answer[float]:
    """Amendment that treats a season's irrigation water.

    Parameters
    ----------
    meq_l : float
        Calcium to add, or bicarbonate to neutralise [meq/L].
    amendment : str
        Row of the amendments table: ``"gypsum"``, ``"sulfuric acid"``, ``"sulfur"``, ...
    water_in : float
        Water put on in the season [in]; 12 is one acre-foot.
    purity_pct : float
        Share of the material that is the pure amendment [%].

    Returns
    -------
    float
        Material [lb/ac per season]. ``details`` hold ``lb_per_acre_foot`` and ``acid``: true
        for a material that neutralises bicarbonate rather than bringing calcium.

    Raises
    ------
    ImpossibleInput
        A negative number, a purity outside 0 to 100 %, or a material that does not dissolve
        in such water.
    UnknownName
        No such amendment.

    Notes
    -----
    One meq/L in an acre-foot (1,233,482 L) is 234 lb of pure gypsum, 133 lb of pure sulfuric acid
    or 43.6 lb of sulfur burnt to acid. Handling strong acid is for trained people with the right
    gear; acid is poured into water, never water into acid. Sources: nist-hb44-2020 (the acre-foot);
    richards-1954-hb60 (amendments).
    """
    row = load(AMENDMENTS).find("amendment", amendment=amendment)
    if amendment in UNDISSOLVED:
        raise ImpossibleInput(f"{amendment} does not dissolve in such water and cannot treat it")
    equivalent_mg = row["formula_mass"] / row["charge"] / (row["active_pct"] / 100.0)
    grams = meq_l * equivalent_mg / 1000.0 * constant("litres_per_acre_foot")
    per_foot = grams / G_PER_LB / (purity_pct / 100.0)
    return Answer(per_foot * water_in / INCHES_PER_FOOT,
                  details={"lb_per_acre_foot": per_foot, "acid": bool(row["needs_lime"])})
