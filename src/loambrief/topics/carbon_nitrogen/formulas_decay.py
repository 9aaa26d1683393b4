"""Decay of residue: what it ties up or releases, and where the trade's 16 comes from."""

from __future__ import annotations

from loambrief.agronomy.possible import NotNegative, Percent, Positive
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import DataRow, load, parts
from loambrief.topics.carbon_nitrogen.formulas import constant


@formula(unit="lb/ac", source="nrcs-2011-cn", locator="microbial diet of 24:1", how="computed",
         valid={"cn_ratio": (5.0, 600.0)})
def nitrogen_tie_up_lb_ac(
    dry_mass_lb_ac: NotNegative, cn_ratio: Positive, carbon_pct: Percent | None = None
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

    Notes
    -----
    Carbon / 24 less carbon / C:N. It assumes that all the carbon is used, so it is an upper
    bound; in the field a third to a half of it shows in the first season (from memory,
    unverified). What is tied up comes back later. A high C:N never means release.
    """
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
    """
    if body_ratio <= 0 or diet_ratio < body_ratio:
        raise ImpossibleInput("diet_ratio must be at least body_ratio, and both above zero")
    gone = diet_ratio - body_ratio
    return Answer(100.0 * gone / diet_ratio,
                  details={"parts_respired": gone, "parts_kept": body_ratio})


@formula(unit="lb/ac", source="practice-carbon-16-nitrogen", locator="rule of the trade",
         how="convention", evidence="common practice")
def nitrogen_by_rule_of_16(carbon_lb_ac: NotNegative) -> float:
    """Nitrogen that the trade's rule "carbon is 16 times nitrogen" would put beside carbon.

    Parameters
    ----------
    carbon_lb_ac : float
        Carbon of a residue or soil layer [lb/ac].

    Notes
    -----
    C / 16. Published texts set the turning point at 20 to 30, mostly 24; see
    :func:`carbon_respired_pct` for where 16 comes from.
    """
    return carbon_lb_ac / constant("practice_ratio")


@formula(unit="class", source="alberta-nmp", locator="p. 167", how="seen")
def decay_effect(ratio: Positive, element: str = "nitrogen", guide: str | None = None) -> Answer:
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
    UnknownName
        No limits for that element or guide.

    Notes
    -----
    Nitrogen: release below 20, tie-up above 30; phosphorus 200 and 300; sulfur 200 and 400. A text
    that lets high C:N mineralise nitrogen has it the wrong way round. Sources: nrcs-2011-cn;
    umn-sulfur.
    """
    rows = load("carbon_nitrogen/thresholds").named("element", element=element)
    if guide is None:
        row = max(rows, key=lambda r: r["tie_up_above"] - r["release_below"])
    else:
        named = [r for r in rows if r["guide"] == guide]
        if not named:
            raise UnknownName("guide", guide, tuple(r["guide"] for r in rows))
        row = named[0]
    name = "about even"
    if ratio < row["release_below"]:
        name = "release"
    elif ratio > row["tie_up_above"]:
        name = "tie-up"
    return by_row(row, name,
                  details={"release_below": row["release_below"],
                           "tie_up_above": row["tie_up_above"]})


def residue_row(material: str) -> DataRow:
    """Row of the residue table by name or synonym, its own names first; else ``UnknownName``."""
    key = " ".join(material.lower().split())
    rows = load("carbon_nitrogen/residues").rows
    for row in rows:
        if row["material"] == key:
            return row
    for row in rows:
        if key in parts(row["synonyms"]):
            return row
    raise UnknownName("residue", material, tuple(r["material"] for r in rows))


@formula(unit="1", source="nrcs-2011-cn", locator="table 1", how="seen")
def residue_carbon_nitrogen(material: str) -> Answer:
    """Typical C:N of a crop residue or cover.

    Parameters
    ----------
    material : str
        Such as ``"corn stover"``, ``"wheat straw"``, ``"hairy vetch cover"``.

    Raises
    ------
    UnknownName
        Not in the table.

    Notes
    -----
    Typical values. Maturity moves them more than the crop does: rye is 26 while leafy and 37 in
    flower. Sources: ars-akron-cn.
    """
    row = residue_row(material)
    return by_row(row, row["cn_ratio"])
