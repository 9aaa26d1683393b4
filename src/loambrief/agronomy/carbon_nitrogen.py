"""Carbon and nitrogen: ratios, what decay ties up or releases, nitrogen from the soil itself."""

from __future__ import annotations

from collections.abc import Mapping

from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load

CONSTANTS = "carbon_nitrogen/constants"
KG_PER_HA_PER_G_CM2 = 1e5
"""Soil of 1 g/cm3 and 1 cm depth on one hectare [kg/ha] (definition)."""


def constant(name: str, column: str = "value") -> float:
    """A single number of ``carbon_nitrogen/constants`` (or its ``low`` or ``high``)."""
    return load(CONSTANTS).find(name=name)[column]


def _not_negative(**values: float | None) -> None:
    for name, value in values.items():
        if value is not None and value < 0:
            raise ImpossibleInput(f"{name} cannot be negative (found {value:g})")


def _percent(**values: float | None) -> None:
    _not_negative(**values)
    for name, value in values.items():
        if value is not None and value > 100:
            raise ImpossibleInput(f"{name} cannot be above 100 % (found {value:g})")


@formula(unit="%", source="pribyl-2010", locator="conventional factor 1.724", how="memory",
         valid={"organic_matter_pct": (0.0, 20.0)})
def organic_carbon_pct(organic_matter_pct: float) -> Answer:
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

    Raises
    ------
    ImpossibleInput
        A percentage outside 0 to 100.

    Notes
    -----
    OC = OM / 1.724 (organic matter taken as 58 % carbon). A review of the evidence puts the
    factor nearer 2.0, so the true carbon is more likely below than above. Both factors from
    memory, unverified.

    References
    ----------
    pribyl-2010.
    """
    _percent(organic_matter_pct=organic_matter_pct)
    return Answer(
        organic_matter_pct / constant("carbon_in_om"),
        details={"low": organic_matter_pct / constant("carbon_in_om", "high"),
                 "high": organic_matter_pct / constant("carbon_in_om", "low")},
    )


@formula(unit="1", source="cornell-cn-ratio", locator="definition", how="convention")
def carbon_nitrogen_ratio(carbon_pct: float, nitrogen_pct: float) -> float:
    """Carbon to nitrogen ratio by mass.

    Parameters
    ----------
    carbon_pct : float
        Total (plant) or organic (soil) carbon [%].
    nitrogen_pct : float
        Total nitrogen on the same basis [%].

    Returns
    -------
    float
        C:N [1].

    Raises
    ------
    ImpossibleInput
        A percentage outside 0 to 100, or no nitrogen.

    Notes
    -----
    In soil use organic carbon: carbonate carbon would raise the ratio for nothing.

    References
    ----------
    cornell-cn-ratio.
    """
    _percent(carbon_pct=carbon_pct, nitrogen_pct=nitrogen_pct)
    if nitrogen_pct == 0:
        raise ImpossibleInput("nitrogen_pct is zero; no ratio can be formed")
    return carbon_pct / nitrogen_pct


@formula(unit="%", source="cornell-cn-ratio", locator="percent carbon from C/N", how="seen")
def carbon_pct_from_ratio(nitrogen_pct: float, cn_ratio: float) -> float:
    """Carbon content from nitrogen content and C:N.

    Parameters
    ----------
    nitrogen_pct : float
        Total nitrogen, dry basis [%].
    cn_ratio : float
        Carbon per nitrogen [1].

    Returns
    -------
    float
        Carbon [%].

    Raises
    ------
    ImpossibleInput
        A negative number, or a carbon content above 100 %.

    Notes
    -----
    C = N x C:N.

    References
    ----------
    cornell-cn-ratio.
    """
    _percent(nitrogen_pct=nitrogen_pct)
    _not_negative(cn_ratio=cn_ratio)
    carbon = nitrogen_pct * cn_ratio
    if carbon > 100:
        raise ImpossibleInput(f"{nitrogen_pct:g} % N at {cn_ratio:g}:1 would be {carbon:g} % C")
    return carbon


@formula(unit="%", source="ars-akron-cn", locator="footnote 1: 40 / (C/N)", how="seen",
         valid={"cn_ratio": (5.0, 600.0)})
def nitrogen_pct_from_ratio(cn_ratio: float, carbon_pct: float | None = None) -> float:
    """Nitrogen content of a residue from its C:N.

    Parameters
    ----------
    cn_ratio : float
        Carbon per nitrogen [1].
    carbon_pct : float or None
        Carbon, dry basis [%]; 40 where not measured.

    Returns
    -------
    float
        Nitrogen [% of dry matter].

    Raises
    ------
    ImpossibleInput
        A ratio at or below zero, or carbon outside 0 to 100 %.

    Notes
    -----
    N = C / (C:N), with 40 % carbon by convention.

    References
    ----------
    ars-akron-cn.
    """
    _percent(carbon_pct=carbon_pct)
    if cn_ratio <= 0:
        raise ImpossibleInput("cn_ratio must be above zero")
    return (constant("plant_carbon") if carbon_pct is None else carbon_pct) / cn_ratio


@formula(unit="%", source="ars-akron-cn", locator="footnote 2: N x 6.25", how="seen",
         valid={"nitrogen_pct": (0.0, 10.0)})
def crude_protein_pct(nitrogen_pct: float) -> float:
    """Crude protein from nitrogen.

    Parameters
    ----------
    nitrogen_pct : float
        Total nitrogen, dry basis [%].

    Returns
    -------
    float
        Crude protein [% of dry matter].

    Raises
    ------
    ImpossibleInput
        A percentage outside 0 to 100.

    Notes
    -----
    6.25 x N. It counts nitrate and other nitrogen as protein.

    References
    ----------
    ars-akron-cn.
    """
    _percent(nitrogen_pct=nitrogen_pct)
    return nitrogen_pct * constant("protein_per_n")


@formula(unit="%", source="ars-akron-cn", locator="footnote 2, solved for N", how="seen",
         valid={"crude_protein_pct": (0.0, 60.0)})
def nitrogen_pct_from_protein(crude_protein_pct: float) -> float:
    """Nitrogen from crude protein (a hay test).

    Parameters
    ----------
    crude_protein_pct : float
        Crude protein, dry basis [%].

    Returns
    -------
    float
        Nitrogen [% of dry matter].

    Raises
    ------
    ImpossibleInput
        A percentage outside 0 to 100.

    Notes
    -----
    Crude protein / 6.25.

    References
    ----------
    ars-akron-cn.
    """
    _percent(crude_protein_pct=crude_protein_pct)
    return crude_protein_pct / constant("protein_per_n")


@formula(unit="kg/ha", source="soilsconnect-q97", locator="about 2 % a year", how="computed",
         valid={"depth_cm": (5.0, 30.0), "cn_ratio": (8.0, 15.0), "turnover_pct": (1.0, 4.0),
                "bulk_density_g_cm3": (0.9, 1.8)})
def nitrogen_mineralised_kg_ha(
    depth_cm: float, bulk_density_g_cm3: float, carbon_pct: float, cn_ratio: float,
    turnover_pct: float,
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

    Raises
    ------
    ImpossibleInput
        A negative number, a percentage above 100, or a ratio, depth or density of zero.

    Notes
    -----
    Soil mass x carbon / C:N x turnover. The turnover decides: 2 % is a usual figure for dry
    areas, 1 to 3 % or more is met. It is a size, not a fertilizer credit: use the credit of
    the guide in force.

    References
    ----------
    soilsconnect-q97 (turnover); ars-akron-cn (C:N of soils).
    """
    _not_negative(depth_cm=depth_cm, bulk_density_g_cm3=bulk_density_g_cm3)
    _percent(carbon_pct=carbon_pct, turnover_pct=turnover_pct)
    if depth_cm == 0 or bulk_density_g_cm3 == 0 or cn_ratio <= 0:
        raise ImpossibleInput("depth_cm, bulk_density_g_cm3 and cn_ratio must be above zero")
    soil = depth_cm * bulk_density_g_cm3 * KG_PER_HA_PER_G_CM2
    stock = soil * carbon_pct / 100.0 / cn_ratio
    return Answer(stock * turnover_pct / 100.0, details={"organic_nitrogen_kg_ha": stock})


@formula(unit="lb/ac", source="nrcs-2011-cn", locator="microbial diet of 24:1", how="computed",
         valid={"cn_ratio": (5.0, 600.0)})
def nitrogen_tie_up_lb_ac(
    dry_mass_lb_ac: float, cn_ratio: float, carbon_pct: float | None = None
) -> Answer:
    """Nitrogen that decay of a residue takes from the soil, or gives to it.

    Parameters
    ----------
    dry_mass_lb_ac : float
        Dry mass of the residue [lb/ac].
    cn_ratio : float
        Its C:N [1].
    carbon_pct : float or None
        Its carbon, dry basis [%]; 40 where not measured.

    Returns
    -------
    float
        Nitrogen [lb/ac]: positive is tied up, negative is released. ``details`` hold
        ``carbon_lb_ac``, ``supply_lb_ac``, ``demand_lb_ac`` and, where nitrogen is tied up,
        ``field_low`` and ``field_high``, a third to a half of it.

    Raises
    ------
    ImpossibleInput
        A negative mass, a ratio at or below zero, or carbon outside 0 to 100 %.

    Notes
    -----
    Carbon / 24 less carbon / C:N. It assumes that all the carbon is used, so it is an upper
    bound; in the field a third to a half of it shows in the first season (from memory,
    unverified). What is tied up comes back later. A high C:N never means release.

    References
    ----------
    nrcs-2011-cn.
    """
    _not_negative(dry_mass_lb_ac=dry_mass_lb_ac)
    _percent(carbon_pct=carbon_pct)
    if cn_ratio <= 0:
        raise ImpossibleInput("cn_ratio must be above zero")
    share = constant("plant_carbon") if carbon_pct is None else carbon_pct
    carbon = dry_mass_lb_ac * share / 100.0
    demand, supply = carbon / constant("diet_ratio"), carbon / cn_ratio
    deficit = demand - supply
    details = {"carbon_lb_ac": carbon, "supply_lb_ac": supply, "demand_lb_ac": demand}
    if deficit > 0:
        details["field_low"] = deficit * constant("field_share", "low")
        details["field_high"] = deficit * constant("field_share", "high")
    return Answer(deficit, details=details,
                  notes=("upper bound: assumes that all the carbon is used",))


@formula(unit="%", source="nrcs-2011-cn", locator="16 parts energy, 8 parts body", how="computed")
def carbon_respired_pct(diet_ratio: float = 24.0, body_ratio: float = 8.0) -> Answer:
    """Share of the carbon eaten by soil microbes that leaves as carbon dioxide.

    Parameters
    ----------
    diet_ratio : float
        C:N of food that leaves no nitrogen over [1].
    body_ratio : float
        C:N of the microbes [1].

    Returns
    -------
    float
        Share respired [%]; ``details`` hold ``parts_respired`` and ``parts_kept`` per part of
        nitrogen.

    Raises
    ------
    ImpossibleInput
        A ratio at or below zero, or a diet poorer in carbon than the body.

    Notes
    -----
    Of 24 parts of carbon with one of nitrogen, 16 are burned for energy and 8 are built into
    bodies. That is where a "16" stands in print: an energy share, 67 %, not a ratio at which
    anything turns.

    References
    ----------
    nrcs-2011-cn.
    """
    if body_ratio <= 0 or diet_ratio < body_ratio:
        raise ImpossibleInput("diet_ratio must be at least body_ratio, and both above zero")
    gone = diet_ratio - body_ratio
    return Answer(100.0 * gone / diet_ratio,
                  details={"parts_respired": gone, "parts_kept": body_ratio})


@formula(unit="lb/ac", source="practice-carbon-16-nitrogen", locator="rule of the trade",
         how="convention", evidence="common practice")
def nitrogen_by_rule_of_16(carbon_lb_ac: float) -> float:
    """Nitrogen that the trade's rule "carbon is 16 times nitrogen" would put beside carbon.

    Parameters
    ----------
    carbon_lb_ac : float
        Carbon of a residue or soil layer [lb/ac].

    Returns
    -------
    float
        Nitrogen [lb/ac]. Common practice without a source; never a rate to apply.

    Raises
    ------
    ImpossibleInput
        A negative mass.

    Notes
    -----
    C / 16. Published texts set the turning point at 20 to 30, mostly 24; see
    :func:`carbon_respired_pct` for where 16 comes from.

    References
    ----------
    practice-carbon-16-nitrogen.
    """
    _not_negative(carbon_lb_ac=carbon_lb_ac)
    return carbon_lb_ac / constant("practice_ratio")


@formula(unit="1", source="alberta-nmp", locator="p. 167", how="seen")
def carbon_element_ratio(carbon_pct: float, element_pct: float) -> float:
    """Carbon per phosphorus, sulfur or any other element of a residue.

    Parameters
    ----------
    carbon_pct, element_pct : float
        Contents on the same dry basis [%].

    Returns
    -------
    float
        Ratio by mass [1].

    Raises
    ------
    ImpossibleInput
        A percentage outside 0 to 100, or none of the element.

    Notes
    -----
    C:P can also be had as C:N x total N / total P.

    References
    ----------
    alberta-nmp.
    """
    _percent(carbon_pct=carbon_pct, element_pct=element_pct)
    if element_pct == 0:
        raise ImpossibleInput("element_pct is zero; no ratio can be formed")
    return carbon_pct / element_pct


@formula(unit="class", source="alberta-nmp", locator="p. 167", how="seen")
def decay_effect(ratio: float, element: str = "nitrogen", guide: str | None = None) -> Answer:
    """Whether decay releases or ties up a nutrient at a carbon ratio.

    Parameters
    ----------
    ratio : float
        Carbon per nutrient by mass [1].
    element : str
        ``"nitrogen"``, ``"phosphorus"`` or ``"sulfur"``.
    guide : str or None
        ``"alberta"`` (20 and 30) or ``"nrcs"`` (24) for nitrogen; the one with a range if None.

    Returns
    -------
    str
        ``"release"``, ``"about even"`` or ``"tie-up"`` [class]; ``details`` hold the limits.

    Raises
    ------
    ImpossibleInput
        A ratio at or below zero.
    UnknownName
        No limits for that element or guide.

    Notes
    -----
    Nitrogen: release below 20, tie-up above 30; phosphorus 200 and 300; sulfur 200 and 400.
    A text that lets high C:N mineralise nitrogen has it the wrong way round.

    References
    ----------
    alberta-nmp; nrcs-2011-cn; umn-sulfur.
    """
    if ratio <= 0:
        raise ImpossibleInput("ratio must be above zero")
    rows = [r for r in load("carbon_nitrogen/thresholds") if r["element"] == element]
    if not rows:
        known = tuple(dict.fromkeys(load("carbon_nitrogen/thresholds").column("element")))
        raise UnknownName("element", element, known)
    if guide is None:
        row = max(rows, key=lambda r: r["tie_up_above"] - r["release_below"])
    else:
        row = next((r for r in rows if r["guide"] == guide), None)
        if row is None:
            raise UnknownName("guide", guide, tuple(r["guide"] for r in rows))
    name = "about even"
    if ratio < row["release_below"]:
        name = "release"
    elif ratio > row["tie_up_above"]:
        name = "tie-up"
    return Answer(name, source=row["source"], how=row["how"],
                  details={"release_below": row["release_below"],
                           "tie_up_above": row["tie_up_above"]})


def residue_row(material: str) -> Mapping[str, object]:
    """Row of the residue table by name or synonym; the table's own names first.

    Raises
    ------
    UnknownName
        Not in the table.
    """
    key = " ".join(material.lower().split())
    rows = load("carbon_nitrogen/residues").rows
    for row in rows:
        if row["material"] == key:
            return row
    for row in rows:
        if key in (row["synonyms"] or "").split("|"):
            return row
    raise UnknownName("residue", material, tuple(r["material"] for r in rows))


@formula(unit="1", source="nrcs-2011-cn", locator="table 1", how="seen")
def residue_carbon_nitrogen(material: str) -> Answer:
    """Typical C:N of a crop residue or cover.

    Parameters
    ----------
    material : str
        Such as ``"corn stover"``, ``"wheat straw"``, ``"hairy vetch cover"``.

    Returns
    -------
    float
        C:N [1].

    Raises
    ------
    UnknownName
        Not in the table.

    Notes
    -----
    Typical values. Maturity moves them more than the crop does: rye is 26 while leafy and 37
    in flower.

    References
    ----------
    nrcs-2011-cn; ars-akron-cn.
    """
    row = residue_row(material)
    return Answer(row["cn_ratio"], source=row["source"], how=row["how"])


@formula(unit="1", source="prout-2021", locator="abstract", how="seen",
         valid={"clay_pct": (5.0, 60.0)})
def carbon_clay_ratio(carbon_pct: float, clay_pct: float) -> Answer:
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

    Raises
    ------
    ImpossibleInput
        A percentage outside 0 to 100, or no clay.

    Notes
    -----
    Very good from 1/8, good from 1/10, moderate from 1/13, degraded below. Made for England
    and Wales; a German survey found it misleading at high and low clay (poeplau-don-2023).

    References
    ----------
    prout-2021; poeplau-don-2023.
    """
    _percent(carbon_pct=carbon_pct, clay_pct=clay_pct)
    if clay_pct == 0:
        raise ImpossibleInput("clay_pct is zero; no ratio can be formed")
    ratio = carbon_pct / clay_pct
    row = next(r for r in load("carbon_nitrogen/carbon_clay") if ratio >= r["least_ratio"])
    return Answer(ratio, details={"structure": row["structure"]})


def clay_range(texture: str) -> tuple[float, float] | None:
    """Least and most clay [%] of a USDA texture class; None for muck and peat."""
    for row in load("carbon_nitrogen/clay"):
        if row["texture"] == texture:
            return row["clay_low_pct"], row["clay_high_pct"]
    return None
