"""Carbon and nitrogen: ratios and contents, and nitrogen from the soil itself."""

from __future__ import annotations

from loambrief.agronomy.possible import Percent, Positive, PositivePercent
from loambrief.agronomy.registry import Answer, formula
from loambrief.tables import load

CONSTANTS = "carbon_nitrogen/constants"
KG_PER_HA_PER_G_CM2 = 1e5
"""Soil of 1 g/cm3 and 1 cm depth on one hectare [kg/ha] (definition)."""


def constant(name: str, column: str = "value") -> float:
    """A single number of ``carbon_nitrogen/constants`` (or its ``low`` or ``high``)."""
    return load(CONSTANTS).find(name=name)[column]


@formula(unit="%", source="pribyl-2010", locator="conventional factor 1.724", how="memory",
         valid={"organic_matter_pct": (0.0, 20.0)})
def organic_carbon_pct(organic_matter_pct: Percent) -> Answer:
    """Organic carbon from organic matter.

    Parameters
    ----------
    organic_matter_pct : float
        Organic matter of the soil or material, oven-dry basis [%].

    Returns
    -------
    float
        Organic carbon [%] by the conventional factor; ``details`` hold ``low`` (factor 2.0)
        and ``high`` (factor 1.724).

    Notes
    -----
    OC = OM / 1.724 (organic matter taken as 58 % carbon). A review of the evidence puts the
    factor nearer 2.0, so the true carbon is more likely below than above. Both factors from
    memory, unverified.
    """
    return Answer(
        organic_matter_pct / constant("carbon_in_om"),
        details={"low": organic_matter_pct / constant("carbon_in_om", "high"),
                 "high": organic_matter_pct / constant("carbon_in_om", "low")},
    )


@formula(unit="1", source="cornell-cn-ratio", locator="definition", how="convention")
def carbon_nitrogen_ratio(carbon_pct: Percent, nitrogen_pct: PositivePercent) -> float:
    """Carbon to nitrogen ratio by mass.

    Parameters
    ----------
    carbon_pct : float
        Total (plant) or organic (soil) carbon [%].
    nitrogen_pct : float
        Total nitrogen on the same basis [%].

    Notes
    -----
    In soil use organic carbon: carbonate carbon would raise the ratio for nothing.
    """
    return carbon_pct / nitrogen_pct


@formula(unit="%", source="ars-akron-cn", locator="footnote 1: 40 / (C/N)", how="seen",
         valid={"cn_ratio": (5.0, 600.0)})
def nitrogen_pct_from_ratio(cn_ratio: Positive, carbon_pct: Percent | None = None) -> float:
    """Nitrogen content of a residue from its C:N.

    Parameters
    ----------
    cn_ratio : float
        Carbon per nitrogen [1].
    carbon_pct : float or None
        Carbon, dry basis [%]; 40 where not measured.

    Notes
    -----
    N = C / (C:N), with 40 % carbon by convention.
    """
    return (constant("plant_carbon") if carbon_pct is None else carbon_pct) / cn_ratio


@formula(unit="%", source="ars-akron-cn", locator="footnote 2: N x 6.25", how="seen",
         valid={"nitrogen_pct": (0.0, 10.0)})
def crude_protein_pct(nitrogen_pct: Percent) -> float:
    """Crude protein from nitrogen.

    Parameters
    ----------
    nitrogen_pct : float
        Total nitrogen, dry basis [%].

    Notes
    -----
    6.25 x N. It counts nitrate and other nitrogen as protein.
    """
    return nitrogen_pct * constant("protein_per_n")


@formula(unit="kg/ha", source="soilsconnect-q97", locator="about 2 % a year", how="computed",
         valid={"depth_cm": (5.0, 30.0), "cn_ratio": (8.0, 15.0), "turnover_pct": (1.0, 4.0),
                "bulk_density_g_cm3": (0.9, 1.8)})
def nitrogen_mineralised_kg_ha(
    depth_cm: Positive, bulk_density_g_cm3: Positive, carbon_pct: Percent, cn_ratio: Positive,
    turnover_pct: Percent,
) -> Answer:
    """Mineral nitrogen that soil organic matter releases in a year.

    Parameters
    ----------
    depth_cm : float
        Depth of the layer [cm].
    bulk_density_g_cm3 : float
        Bulk density, oven-dry [g/cm3].
    carbon_pct : float
        Organic carbon, oven-dry basis [%].
    cn_ratio : float
        C:N of the soil organic matter [1].
    turnover_pct : float
        Share of the organic nitrogen released in the year [%].

    Returns
    -------
    float
        Nitrogen [kg/ha]; ``details`` hold the organic nitrogen stock.

    Notes
    -----
    Soil mass x carbon / C:N x turnover. The turnover decides: 2 % is a usual figure for dry areas,
    1 to 3 % or more is met. It is a size, not a fertilizer credit: use the credit of the guide in
    force. Sources: soilsconnect-q97 (turnover); ars-akron-cn (C:N of soils).
    """
    soil = depth_cm * bulk_density_g_cm3 * KG_PER_HA_PER_G_CM2
    stock = soil * carbon_pct / 100.0 / cn_ratio
    return Answer(stock * turnover_pct / 100.0, details={"organic_nitrogen_kg_ha": stock})


@formula(unit="1", source="prout-2021", locator="abstract", how="seen",
         valid={"clay_pct": (5.0, 60.0)})
def carbon_clay_ratio(carbon_pct: Percent, clay_pct: PositivePercent) -> Answer:
    """Organic carbon per clay, and the state of structure that goes with it.

    Parameters
    ----------
    carbon_pct : float
        Organic carbon, oven-dry basis [%].
    clay_pct : float
        Clay [%].

    Returns
    -------
    float
        Ratio [1]; ``details`` hold the class of structure.

    Notes
    -----
    Very good from 1/8, good from 1/10, moderate from 1/13, degraded below. Made for England and
    Wales; a German survey found it misleading at high and low clay (poeplau-don-2023). Sources:
    poeplau-don-2023.
    """
    ratio = carbon_pct / clay_pct
    row = next(r for r in load("carbon_nitrogen/carbon_clay") if ratio >= r["least_ratio"])
    return Answer(ratio, details={"structure": row["structure"]})


def clay_range(texture: str) -> tuple[float, float] | None:
    """Least and most clay [%] of a USDA texture class; None for muck and peat."""
    for row in load("carbon_nitrogen/clay"):
        if row["texture"] == texture:
            return row["clay_low_pct"], row["clay_high_pct"]
    return None
