"""Calcium that replaces sodium: gypsum and its equals."""

from __future__ import annotations

from loambrief.agronomy.possible import NotNegative, Percent, Positive, percent
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load
from loambrief.topics.salinity.formulas_sodicity import constant
from loambrief.units import EQUIVALENT_MG, G_PER_LB, LB_PER_TON, M2_PER_ACRE, MM_PER_INCH

AMENDMENTS = "sodicity/amendments"
INCHES_PER_FOOT = 12.0


def _sodium_to_replace(cec_meq: float, esp_pct: float, target_esp_pct: float) -> float:
    percent(esp_pct=esp_pct, target_esp_pct=target_esp_pct)
    if cec_meq <= 0:
        raise ImpossibleInput("cec_meq must be above zero")
    return max(esp_pct - target_esp_pct, 0.0) / 100.0 * cec_meq


def _field_factor(purity_pct: float, efficiency: float) -> float:
    """What the exact amount is multiplied by for purity and for calcium that misses."""
    if not 0 < purity_pct <= 100:
        raise ImpossibleInput("purity_pct must be above 0 and at most 100")
    if not 0 < efficiency <= 1:
        raise ImpossibleInput(
            "efficiency is a fraction above 0 and at most 1; a safety factor F is entered as 1/F "
            "(1.25 is 0.8)"
        )
    return 1.0 / (purity_pct / 100.0) / efficiency


@formula(unit="t/ha", source="richards-1954-hb60", locator="chemical equivalents; form of Oster "
         "et al. (1999)", how="computed",
         valid={"depth_cm": (1.0, 120.0), "bulk_density_g_cm3": (0.9, 1.8)})
def gypsum_requirement(
    cec_meq: float, esp_pct: float, target_esp_pct: float, depth_cm: Positive,
    bulk_density_g_cm3: Positive, purity_pct: float = 100.0, efficiency: float = 1.0,
) -> Answer:
    """Gypsum product that replaces sodium down to a target ESP, metric.

    Parameters
    ----------
    cec_meq : float
        Cation exchange capacity [meq/100 g].
    esp_pct, target_esp_pct : float
        ESP now and wanted [%].
    depth_cm : float
        Depth of soil to be treated [cm].
    bulk_density_g_cm3 : float
        Bulk density of that soil, oven-dry [g/cm3].
    purity_pct : float
        CaSO4.2H2O in the product as spread [%].
    efficiency : float
        Fraction (above 0, at most 1) of the calcium put on that takes sodium's place. The
        exact amount is divided by it.

    Returns
    -------
    float
        Gypsum product [t/ha]; zero where the target is met. ``details`` hold ``sodium_meq``
        and ``exact_t_ha`` (pure gypsum, no loss).

    Notes
    -----
    t/ha = 0.0861 x meq x depth (cm) x density / purity / efficiency: one meq of gypsum is 86.09 mg.
    The same form is written 8.6 F D rho CEC (ESP1 - ESP2) / 100 with D in m and a factor F of 1.1
    to 1.3 for calcium that misses (Oster et al. 1999, from memory); F is 1 / efficiency. A handbook
    example uses 1.25, an efficiency of 0.8. Needs water to carry it down and a drain to carry
    sodium away. Sources: oster-1999; ali-2011 (1.25).
    """
    sodium = _sodium_to_replace(cec_meq, esp_pct, target_esp_pct)
    soil_t_ha = depth_cm * bulk_density_g_cm3 * 100.0
    exact = sodium * EQUIVALENT_MG["gypsum"] * 10.0 * soil_t_ha / 1e6
    return Answer(
        exact * _field_factor(purity_pct, efficiency),
        details={"sodium_meq": sodium, "exact_t_ha": exact},
        notes=() if sodium else ("the target ESP is met; no gypsum is needed for sodium",),
    )


@formula(unit="ton/ac", source="ali-2011", locator="section 8.7.1: 1.7 ton per meq and acre-foot",
         how="seen", valid={"depth_in": (0.5, 48.0), "soil_lb_per_acre_foot": (3e6, 5e6)})
def gypsum_requirement_us(
    cec_meq: float, esp_pct: float, target_esp_pct: float, depth_in: Positive,
    purity_pct: float = 100.0, efficiency: float = 1.0,
    soil_lb_per_acre_foot: Positive = 4_000_000.0,
) -> Answer:
    """Gypsum product that replaces sodium down to a target ESP, in short tons per acre.

    Parameters
    ----------
    cec_meq : float
        Cation exchange capacity [meq/100 g].
    esp_pct, target_esp_pct : float
        ESP now and wanted [%].
    depth_in : float
        Depth of soil to be treated [in].
    purity_pct : float
        CaSO4.2H2O in the product as spread [%].
    efficiency : float
        Fraction (above 0, at most 1) of the calcium put on that takes sodium's place.
    soil_lb_per_acre_foot : float
        Mass of an acre-foot of soil [lb]; 4,000,000 by convention, or 2,719,400 x bulk
        density.

    Returns
    -------
    float
        Gypsum product [ton/ac]. ``details`` hold ``sodium_meq`` and ``exact_ton_ac``.

    Notes
    -----
    One meq/100 g over an acre-foot of 4,000,000 lb takes 1.72 ton of pure gypsum, printed as 1.7.
    Dividing by 50 mg/meq (calcium carbonate) instead of 86 is a slip seen in print. Sources:
    richards-1954-hb60 (replacement table).
    """
    sodium = _sodium_to_replace(cec_meq, esp_pct, target_esp_pct)
    soil_lb = soil_lb_per_acre_foot * depth_in / INCHES_PER_FOOT
    exact = sodium * EQUIVALENT_MG["gypsum"] * 10.0 * soil_lb / 1e6 / LB_PER_TON
    return Answer(
        exact * _field_factor(purity_pct, efficiency),
        details={"sodium_meq": sodium, "exact_ton_ac": exact},
        notes=() if sodium else ("the target ESP is met; no gypsum is needed for sodium",),
    )


@formula(unit="ton", source="richards-1954-hb60", locator="equivalents of 1 ton of gypsum",
         how="computed")
def amendment_for_gypsum(gypsum_ton: NotNegative, amendment: str) -> Answer:
    """Tons of another pure amendment that do the work of pure gypsum.

    Parameters
    ----------
    gypsum_ton : float
        Pure gypsum [ton, or ton/ac].
    amendment : str
        Row of the amendments table, e.g. ``"sulfur"``, ``"sulfuric acid"``.

    Returns
    -------
    float
        Amendment [ton, or ton/ac]. ``details`` hold ``needs_lime`` and, for acid formers,
        ``lime_used_ton``.

    Raises
    ------
    UnknownName
        No such amendment.

    Notes
    -----
    By equivalent masses. Sulfur must first be turned into acid by soil life, which takes a
    season or more in warm moist soil, and the acid works only on free lime.
    """
    row = load(AMENDMENTS).find("amendment", amendment=amendment)
    equivalent = row["formula_mass"] / row["charge"] / (row["active_pct"] / 100.0)
    value = gypsum_ton * equivalent / EQUIVALENT_MG["gypsum"]
    details: dict[str, object] = {"needs_lime": bool(row["needs_lime"])}
    notes: tuple[str, ...] = ()
    if row["needs_lime"]:
        details["lime_used_ton"] = gypsum_ton * EQUIVALENT_MG["CaCO3"] / EQUIVALENT_MG["gypsum"]
        notes = ("works only where the soil holds that much free lime",)
    return Answer(value, details=details, notes=notes)


@formula(unit="ton/ac", source="richards-1954-hb60", locator="definition", how="convention",
         valid={"depth_in": (0.5, 48.0)})
def soil_lime_ton_ac(carbonate_pct: Percent, depth_in: Positive,
                     soil_lb_per_acre_foot: float = 4_000_000.0) -> float:
    """Free lime held by a layer of soil.

    Parameters
    ----------
    carbonate_pct : float
        Calcium carbonate equivalent of the soil [%].
    depth_in : float
        Depth of the layer [in].
    soil_lb_per_acre_foot : float
        Mass of an acre-foot of soil [lb].

    Notes
    -----
    Mass of the layer times its lime content.
    """
    return soil_lb_per_acre_foot * depth_in / INCHES_PER_FOOT * carbonate_pct / 100.0 / LB_PER_TON


@formula(unit="in", source="crc-gypsum-solubility", locator="2.4 to 2.6 g/L near 20 C",
         how="memory", valid={"gypsum_ton_ac": (0.0, 20.0)})
def gypsum_dissolving_water_in(gypsum_ton_ac: NotNegative) -> Answer:
    """Clean water that dissolves a dressing of pure gypsum.

    Parameters
    ----------
    gypsum_ton_ac : float
        Pure gypsum, CaSO4.2H2O [ton/ac].

    Returns
    -------
    float
        Depth of water [in]. ``details`` hold ``low`` and ``high`` by the ends of the
        solubility in use and ``solubility_g_l``.

    Notes
    -----
    Mass per area over solubility: 1 ton/ac is 224 g/m2, so 2.5 g/L takes 90 L/m2 or 3.5 in. The
    solubility is from memory, unverified. Sodic soil takes calcium out of the water as it
    dissolves, so gypsum mixed into it needs less: in a laboratory study about 4 cm of water
    dissolved all fine gypsum, whatever the amount up to the requirement. Coarse grains take more,
    as do waters that already hold calcium and sulfate. Sources: crc-gypsum-solubility (memory);
    hira-singh-1980 (departure in sodic soil).
    """
    grams_m2 = gypsum_ton_ac * LB_PER_TON * G_PER_LB / M2_PER_ACRE

    def depth(grams_per_litre: float) -> float:
        return grams_m2 / grams_per_litre / MM_PER_INCH  # 1 L/m2 is 1 mm

    best = constant("gypsum_solubility")
    return Answer(depth(best), details={
        "low": depth(constant("gypsum_solubility_high")),
        "high": depth(constant("gypsum_solubility_low")), "solubility_g_l": best})
