"""What manure, compost, cover crops and residue bring: usable nitrogen, and organic matter.

Organic matter arithmetic is here to show how slow it is, not to set a rate.
"""

from __future__ import annotations

import math

from loambrief.agronomy.possible import NotNegative, Percent, PositivePercent
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load
from loambrief.topics.carbon_nitrogen.formulas import constant
from loambrief.units import FT2_PER_ACRE, LB_PER_FT3_PER_G_CM3, LB_PER_TON

SHARES = "carbon_nitrogen/available_nitrogen"
WET_MANURE_PCT = 18.0
"""Dry matter below which more is released in the first season (cornell-css412-manure) [%]."""
COVER_N_CAP_LB_AC = 100.0
"""Most usable nitrogen from a legume cover (PNW 636, highlights)."""
COVER_TIE_UP_LB_AC = 50.0
"""Most nitrogen a cereal cover ties up (PNW 636, highlights)."""


@formula(unit="lb/ac", source="sullivan-andrews-2012-pnw636", locator="highlights", how="seen",
         valid={"nitrogen_pct": (1.5, 3.5)})
def cover_crop_nitrogen_lb_ac(dry_mass_ton_ac: NotNegative, nitrogen_pct: Percent) -> Answer:
    """Nitrogen that a killed cover crop makes available to the next crop.

    Parameters
    ----------
    dry_mass_ton_ac : float
        Dry matter above ground [ton/ac].
    nitrogen_pct : float
        Its total nitrogen [% of dry matter].

    Returns
    -------
    float
        Usable nitrogen [lb/ac], at most 100. ``details`` hold ``lb_ton`` and, below 1.5 % N,
        ``tie_up_lb_ac``, the most a cereal was seen to tie up.

    Notes
    -----
    A straight line from nothing at 1.5 % N to 35 lb per ton at 3.5 %; flat outside. Most of
    it comes within 4 to 6 weeks. Made in western Oregon and Washington.
    """
    low, high = load("carbon_nitrogen/cover_crop").rows
    span = high["nitrogen_pct"] - low["nitrogen_pct"]
    share = min(max((nitrogen_pct - low["nitrogen_pct"]) / span, 0.0), 1.0)
    per_ton = low["available_lb_ton"] + share * (high["available_lb_ton"] - low["available_lb_ton"])
    details: dict[str, object] = {"lb_ton": per_ton}
    if nitrogen_pct < low["nitrogen_pct"]:
        details["tie_up_lb_ac"] = COVER_TIE_UP_LB_AC
    value = per_ton * dry_mass_ton_ac
    return Answer(min(value, COVER_N_CAP_LB_AC), details=details,
                  notes=("held at the published most of 100 lb/ac",)
                  if value > COVER_N_CAP_LB_AC else ())


@formula(unit="lb/ton", source="unl-manure-n", locator="shares of total nitrogen", how="seen")
def available_nitrogen_lb_ton(material: str, total_nitrogen_pct: Percent,
                              period: str = "first season") -> Answer:
    """Nitrogen a crop can use from one ton of manure or compost as spread.

    Parameters
    ----------
    material : str
        ``"compost"``, ``"feedlot manure"``, ``"poultry litter"``, ``"beef manure"``,
        ``"dairy manure"``, ``"liquid swine manure"`` or ``"manure"``.
    total_nitrogen_pct : float
        Total nitrogen of the material as spread [%].
    period : str
        ``"first season"``, ``"second season"``, ``"third season"``, ``"three years"`` or
        ``"three to four years"``.

    Returns
    -------
    float
        Middle of the published share times the nitrogen [lb/ton]; ``details`` hold ``low`` and
        ``high``.

    Raises
    ------
    UnknownName
        No share for that material and period.

    Notes
    -----
    Compost: 5 to 10 % in the first season; beef and dairy manure 30 to 50 %; the shares of other
    manures in it are from memory, unverified. All need the manure worked in soon. A stated
    available nitrogen or a local table is better. Sources: hartz-compost; isu-pmr1003;
    huyser-manure-value; horrocks-2016.
    """
    rows = load(SHARES).where(period=period)
    row = next((r for r in rows if r["material"] == material), None)
    if row is None:
        raise UnknownName(f"material with a share for {period}", material,
                          tuple(r["material"] for r in rows))
    pounds = LB_PER_TON * total_nitrogen_pct / 100.0
    low, high = pounds * row["low_pct"] / 100.0, pounds * row["high_pct"] / 100.0
    return by_row(row, (low + high) / 2.0,
                  details={"low": low, "high": high, "total_lb_ton": pounds})


@formula(unit="lb/ac", source="cornell-css412-manure", locator="table of release rates", how="seen")
def organic_nitrogen_release_lb_ac(organic_n_lb_ac: NotNegative, season: str,
                                   animal: str | None = None,
                                   solids_pct: Percent | None = None) -> float:
    """Nitrogen that the organic part of a manure releases in one season.

    Parameters
    ----------
    organic_n_lb_ac : float
        Organic nitrogen that was spread: total less ammonium [lb/ac].
    season : str
        ``"first season"``, ``"second season"`` or ``"third season"``.
    animal : str or None
        ``"poultry"`` or ``"horses"``, which differ in the first season; None for others.
    solids_pct : float or None
        Dry matter of the manure [%]; from 18 % on less is released in the first season. The
        lower share is taken where it is not known.

    Raises
    ------
    UnknownName
        No such season.

    Notes
    -----
    Averages of New York; soil, weather and bedding shift them. The ammonium part is another
    matter: it counts in the first season, as far as it was worked in.
    """
    rows = load("carbon_nitrogen/organic_release").named("season after spreading", season=season)
    solids = "below 18" if solids_pct is not None and solids_pct < WET_MANURE_PCT else "18 or more"
    row = next(r for kind in (animal, "any") for r in rows
               if r["animal"] == kind and r["solids"] in (solids, "any"))
    return organic_n_lb_ac * float(row["share_pct"]) / 100.0


@formula(unit="lb/ac", source="noble-2016-om", locator="1 % of 2,000,000 lb", how="seen",
         valid={"depth_in": (1.0, 12.0), "organic_matter_pct": (0.0, 15.0)})
def organic_matter_mass_lb_ac(organic_matter_pct: Percent, depth_in: float,
                              bulk_density_g_cm3: float | None = None) -> float:
    """Mass of organic matter in a soil layer.

    Parameters
    ----------
    organic_matter_pct : float
        Organic matter, oven-dry basis [%].
    depth_in : float
        Depth of the layer [in].
    bulk_density_g_cm3 : float or None
        Bulk density [g/cm3]; the furrow slice of 2,000,000 lb per 6 2/3 in where not measured.

    Notes
    -----
    Layer mass times the share; one per cent of a furrow slice is 20,000 lb.
    """
    return _layer_lb_ac(depth_in, bulk_density_g_cm3) * organic_matter_pct / 100.0


LB_PER_ACRE_INCH_AT_1 = FT2_PER_ACRE / 12.0 * LB_PER_FT3_PER_G_CM3
"""Soil of 1 g/cm3, one inch on one acre [lb] (definitions; 62.43 lb/ft3 is 1 g/cm3)."""


def _layer_lb_ac(depth_in: float, bulk_density_g_cm3: float | None) -> float:
    if depth_in <= 0 or (bulk_density_g_cm3 is not None and bulk_density_g_cm3 <= 0):
        raise ImpossibleInput("depth_in and bulk_density_g_cm3 must be above zero")
    if bulk_density_g_cm3 is None:
        return constant("furrow_slice_lb") * depth_in / constant("furrow_slice_in")
    return LB_PER_ACRE_INCH_AT_1 * depth_in * bulk_density_g_cm3


@formula(unit="ton/ac", source="noble-2016-om", locator="10 lb of residue per lb", how="seen",
         valid={"rise_pct": (0.0, 3.0)})
def residue_for_organic_matter_ton_ac(rise_pct: NotNegative, depth_in: float = 20.0 / 3.0,
                                      bulk_density_g_cm3: float | None = None) -> Answer:
    """Residue that would have to be added for a rise in soil organic matter, decay left out.

    Parameters
    ----------
    rise_pct : float
        Rise wanted, in percentage points [%].
    depth_in : float
        Depth over which it is wanted [in].
    bulk_density_g_cm3 : float or None
        Bulk density [g/cm3]; furrow-slice convention where not measured.

    Returns
    -------
    float
        Residue, dry [ton/ac] at 10 lb per lb that lasts; ``details`` hold ``low`` (5 lb) and
        ``organic_matter_lb_ac``.

    Notes
    -----
    One per cent of a furrow slice is 20,000 lb; at 10 lb of residue per lb that is 100 ton/ac. A
    second source uses 5 to 7. Decay of what is already there comes on top; see
    :func:`years_to_organic_matter`. Sources: notill-13297 (5 to 7).
    """
    wanted = _layer_lb_ac(depth_in, bulk_density_g_cm3) * rise_pct / 100.0
    return Answer(wanted * constant("residue_per_om", "high") / LB_PER_TON,
                  details={"low": wanted * constant("residue_per_om", "low") / LB_PER_TON,
                           "organic_matter_lb_ac": wanted})


@formula(unit="ton/ac", source="nrcs-2011-cn", locator="share of carbon kept", how="computed",
         valid={"rise_pct": (0.0, 3.0)})
def compost_for_organic_matter_ton_ac(
    rise_pct: NotNegative, carbon_pct: PositivePercent, depth_in: float = 20.0 / 3.0,
    bulk_density_g_cm3: float | None = None,
) -> Answer:
    """Compost as spread that would have to be added for a rise in soil organic matter.

    Parameters
    ----------
    rise_pct : float
        Rise wanted, in percentage points [%].
    carbon_pct : float
        Carbon of the compost as spread, water counted [%].
    depth_in : float
        Depth over which it is wanted [in].
    bulk_density_g_cm3 : float or None
        Bulk density of the soil [g/cm3].

    Returns
    -------
    float
        Compost [ton/ac] if all of its organic matter lasted, which is the least;
        ``details`` hold ``high``, if a third lasted.

    Notes
    -----
    Organic matter of the compost taken as 1.724 x carbon. All of it lasting is optimistic; a third
    is what stays of fresh food in the microbial diet (8 of 24 parts), which is harsh on finished
    compost. The truth lies between. Rates of this size bring far more phosphorus and salt than a
    crop can use. Sources: noble-2016-om (soil mass).
    """
    wanted = _layer_lb_ac(depth_in, bulk_density_g_cm3) * rise_pct / 100.0
    matter = min(carbon_pct / 100.0 * constant("carbon_in_om"), 1.0)
    least = wanted / matter / LB_PER_TON
    return Answer(least, details={"low": least, "high": least / constant("compost_kept_low"),
                                  "organic_matter_lb_ac": wanted})


@formula(unit="years", source="noble-2016-om", locator="decay and residue per lb", how="computed",
         valid={"yearly_residue_lb_ac": (0.0, 20000.0), "decay_pct": (1.0, 10.0)})
def years_to_organic_matter(
    organic_matter_pct: NotNegative, target_pct: NotNegative, yearly_residue_lb_ac: NotNegative,
    residue_per_lb: float = 10.0, decay_pct: float = 5.0, depth_in: float = 20.0 / 3.0,
    bulk_density_g_cm3: float | None = None,
) -> Answer:
    """Years of a yearly residue input until soil organic matter reaches a target.

    Parameters
    ----------
    organic_matter_pct, target_pct : float
        Organic matter now and wanted [%].
    yearly_residue_lb_ac : float
        Dry residue and roots left each year [lb/ac].
    residue_per_lb : float
        Residue per lb of organic matter that lasts [lb/lb].
    decay_pct : float
        Soil organic matter lost each year [%].
    depth_in : float
        Depth of the layer [in].
    bulk_density_g_cm3 : float or None
        Bulk density [g/cm3].

    Returns
    -------
    float or None
        Years [years]. None where the input can never reach the target: decay then takes as
        much as is added before it is reached. ``details`` hold ``equilibrium_pct``.

    Raises
    ------
    ImpossibleInput
        A negative number, a percentage above 100, or no decay, depth or residue factor.

    Notes
    -----
    Each year S becomes S (1 - k) + input / factor; solved for the number of years. One pool, so too
    simple: young organic matter goes faster and old slower. It shows the size of the task. Sources:
    notill-13297.
    """
    if max(organic_matter_pct, target_pct) > 100 or not 0 < decay_pct < 100 or residue_per_lb <= 0:
        raise ImpossibleInput("percentages must be at most 100; decay and factor above zero")
    layer = _layer_lb_ac(depth_in, bulk_density_g_cm3)
    yearly = yearly_residue_lb_ac / residue_per_lb / layer * 100.0
    keep = 1.0 - decay_pct / 100.0
    end = yearly / (1.0 - keep)
    details = {"equilibrium_pct": end}
    if target_pct <= organic_matter_pct:
        return Answer(0.0, details=details, notes=("the target is met",))
    if end <= target_pct:
        return Answer(None, details=details,
                      notes=("this input never reaches the target: decay takes as much",))
    years = math.log((end - target_pct) / (end - organic_matter_pct)) / math.log(keep)
    return Answer(years, details=details)


@formula(unit="lb/ac", source="practice-om-nitrogen", locator="rule of the trade", how="memory",
         evidence="common practice", valid={"organic_matter_pct": (0.5, 6.0)})
def mineral_nitrogen_by_rule_lb_ac(organic_matter_pct: Percent) -> Answer:
    """Mineral nitrogen of a season by the rule "so many pounds per 1 % organic matter".

    Parameters
    ----------
    organic_matter_pct : float
        Organic matter of the top 6 to 7 in [%].

    Returns
    -------
    float
        Nitrogen [lb/ac] at 15 lb per 1 %; ``details`` hold ``low`` (10), ``high`` (20) and
        ``top`` (40, warm moist soil).

    Notes
    -----
    Common practice. Not to be added to a guide that already counts soil organic matter.
    """
    return Answer(organic_matter_pct * constant("om_n_rule"),
                  details={"low": organic_matter_pct * constant("om_n_rule", "low"),
                           "high": organic_matter_pct * constant("om_n_rule", "high"),
                           "top": organic_matter_pct * constant("om_n_rule_top")})
