"""Soil acidity: what a buffer reading means, how sure it is, and lime as sold.

The lime tables are in :mod:`loambrief.topics.acidity.formulas_lime`, sieve factors in
:mod:`loambrief.topics.acidity.formulas_quality`, pH targets, aluminum and acidifying in
:mod:`loambrief.topics.acidity.formulas_targets`.
"""

from __future__ import annotations

import math
from functools import partial

from loambrief.agronomy.possible import NotNegative, Percent, SoilPh, one_of
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load, named_number

BUFFERS = "acidity/buffer_acidity"
UNCALIBRATED = ("modified-mehlich",)
"""Buffers for which only regressions of single laboratories exist."""
constant = partial(named_number, "acidity/constants")


@formula(unit="meq/100g", source="clemson-cec", locator="by buffer method", how="seen")
def exchange_acidity(buffer_method: str, buffer_ph: SoilPh) -> Answer:
    """Exchangeable acidity from the pH of a soil and buffer mix.

    Parameters
    ----------
    buffer_method : str
        ``adams-evans``, ``moore-sikora``, ``mehlich``, ``smp``, ``sikora``, ``woodruff`` or
        ``modified-mehlich``. Required: the same reading means something else in each.
    buffer_ph : float
        pH of the mix [pH].

    Returns
    -------
    float
        Acidity [meq/100g, or meq/100cm3 for Mehlich]; zero above the buffer's start. None for
        ``modified-mehlich``, for which no general equation is published.

    Raises
    ------
    UnknownName
        Not a buffer method.

    Notes
    -----
    Adams-Evans 8 (8.00 - B), Mehlich 4 (6.6 - B) per 100 cm3, SMP and Sikora 12 (7.0 - B), Woodruff
    10 (7.0 - B). The Sikora buffer was made to read as SMP does. The SMP form is a North Central
    convention; the Woodruff form is from memory and reads soils high in aluminum too low. Sources:
    ncdacs-lime-factor; cropfile-base-saturation; woodruff-1948; brown-cisco-1984.
    """
    table = load(BUFFERS)
    known = (*table.column("method"), *UNCALIBRATED)
    one_of("buffer method", buffer_method, known)
    if buffer_method in UNCALIBRATED:
        return Answer(
            None, source="hoskins-2005-mehlich", locator="site regressions only", how="seen",
            notes=("no general equation is published for this buffer; use the acidity that the "
                   "laboratory reports",),
        )
    row = table.find(method=buffer_method)
    value = max(row["slope"] * (row["start_ph"] - buffer_ph), 0.0)
    return by_row(row, value, unit=row["unit"], details={"buffer_method": buffer_method},
                  within_range=row["low_ph"] <= buffer_ph <= row["high_ph"],
                  notes=("per 100 cm3 of soil, not per 100 g",)
                  if row["unit"] == "meq/100cm3" else ())


@formula(unit="pH", source="lab-precision-typical", locator="laboratory and field error combined",
         how="computed", valid={"cores": (1.0, 500.0)})
def buffer_ph_error(soil_ph: SoilPh, cores: int | None = None) -> Answer:
    """Uncertainty of a buffer pH that stands for a field, as one standard deviation.

    Parameters
    ----------
    soil_ph : float
        pH of the soil [pH].
    cores : int or None
        Cores in the composite sample [count]; None if not stated.

    Returns
    -------
    float
        Uncertainty [pH].

    Raises
    ------
    ImpossibleInput
        Fewer than one core, or not a pH.

    Notes
    -----
    sqrt(laboratory^2 + field^2): 0.05 for one laboratory (from memory), and the field's variation
    of pH (7.1 % of pH on one surveyed farm) divided by the root of the number of cores, on the
    working assumption that buffer pH varies within a field as soil pH does. Without a number of
    cores: 0.15, the control limit of one laboratory for its check soil. Sources: ramzan-2017;
    uga-aesl-adams-evans-qc.
    """
    if cores is None:
        return Answer(constant("check_soil_limit"), source="uga-aesl-adams-evans-qc", how="seen",
                      locator="check soil limit",
                      notes=("number of cores not stated: a laboratory's control limit stands in",))
    if cores < 1:
        raise ImpossibleInput(f"cores must be at least 1 (found {cores:g})")
    laboratory = constant("lab_buffer_error")
    field = constant("field_ph_cv") / 100.0 * soil_ph / math.sqrt(cores)
    return Answer(math.hypot(laboratory, field), details={"laboratory": laboratory, "field": field})


@formula(unit="%", source="unl-lime-turf-2008", locator="step 3: purity times fineness", how="seen",
         valid={"cce_pct": (0.0, 180.0)})
def effective_lime_pct(cce_pct: NotNegative, fineness_pct: Percent) -> float:
    """Share of a lime that counts: neutralizing value times fineness.

    Parameters
    ----------
    cce_pct : float
        Calcium carbonate equivalent [%]; up to 178 for burnt lime.
    fineness_pct : float
        Fineness factor, the share that reacts in the scheme's time [%].

    Raises
    ------
    ImpossibleInput
        A negative number, fineness above 100 %, or a CCE above 250 %.

    Notes
    -----
    CCE x fineness / 100. Names differ by law (ECCE, ECC, ENV, RNV); the fineness factor differs
    too, see ``fineness_factor_pct``. Moisture is not in this figure. Sources: unl-lime-turf-2008
    (80 % x 75 % = 60 %).
    """
    if cce_pct > 250:
        raise ImpossibleInput(f"cce_pct cannot be above 250 % (found {cce_pct:g})")
    return cce_pct * fineness_pct / 100.0


@formula(unit="same as requirement", source="clemson-byproduct-lime",
         locator="amount divided by CCE; fineness and moisture as Ohio and Minnesota count them",
         how="seen", valid={"cce_pct": (40.0, 180.0)})
def lime_product_rate(
    requirement: NotNegative, cce_pct: float, fineness_pct: float, moisture_pct: NotNegative = 0.0
) -> Answer:
    """Lime as sold that does the work of pure, fine calcium carbonate.

    Parameters
    ----------
    requirement : float
        Lime needed, as 100 % effective CaCO3 [ton/ac, or any mass per area]. Convert a rate
        given in ordinary ground limestone first (``effective_caco3`` of lime_requirement).
    cce_pct : float
        Calcium carbonate equivalent of the dry material [%].
    fineness_pct : float
        Fineness factor [%]; 100 where the supplier's figure already counts fineness.
    moisture_pct : float
        Water in the material as spread [%]; 0 where the analysis is of the material as sold.

    Returns
    -------
    float
        Material as spread [unit of ``requirement``].

    Raises
    ------
    ImpossibleInput
        A negative number, a quality of zero, moisture of 100 % or more.

    Notes
    -----
    requirement / (CCE/100 x fineness/100 x (1 - moisture/100)). Sources: oda-lime-label (dry
    matter).
    """
    effective = effective_lime_pct.function(cce_pct, fineness_pct) / 100.0
    dry = 1.0 - moisture_pct / 100.0
    if effective <= 0 or dry <= 0:
        raise ImpossibleInput("a lime without neutralizing value, fines or dry matter has no rate")
    share = effective * dry
    return Answer(requirement / share, details={"effective_pct_as_spread": 100.0 * share})


@formula(unit="pH", source="own-arithmetic", locator="share of the requirement x wanted rise",
         how="convention", valid={"applied": (0.0, 20.0), "months": (6.0, 60.0)})
def expected_ph_change(
    ph_before: float, target_ph: float, applied: NotNegative, required: NotNegative,
    months: float = 12.0,
) -> Answer:
    """Rise of pH that the lime put on should have brought, by the table that set the rate.

    Parameters
    ----------
    ph_before : float
        Soil pH in water before liming [pH].
    target_ph : float
        pH the requirement was worked out for [pH].
    applied : float
        Lime put on, as pure, fine calcium carbonate [ton/ac].
    required : float
        Requirement of the table for that rise, same lime [ton/ac].
    months : float
        From spreading to the new sample [months].

    Returns
    -------
    float
        Rise [pH], at most to the target; ``details`` hold ``share``, applied over required.

    Raises
    ------
    ImpossibleInput
        No requirement, a target at or below the pH, or a negative amount.

    Notes
    -----
    A lime table says how much lime brings the soil from its pH to the target in the depth it was
    made for. Half of it is taken to bring half of the rise, which is nearly so in the range of the
    tables. Lime not mixed in works far less deep; coarse lime takes two to three years. Under six
    months the answer is flagged. Sources: Arithmetic on the lime table.
    """
    if required == 0 or target_ph <= ph_before:
        raise ImpossibleInput("there was no requirement to compare with")
    share = applied / required
    return Answer((target_ph - ph_before) * min(share, 1.0), details={"share": share})


@formula(unit="ton/ac", source="ncdacs-lime-factor", locator="residual credit", how="memory",
         valid={"months": (0.0, 24.0)})
def lime_credit(applied: NotNegative, months: float, organic_soil: bool = False) -> Answer:
    """Part of an earlier lime application that may still be taken off a new rate.

    Parameters
    ----------
    applied : float
        Lime put on before [ton/ac].
    months : float
        Months between that application and the soil sample [months]; negative where the lime
        went on after sampling, which leaves all of it to count.
    organic_soil : bool
        Organic or mineral-organic soil.

    Returns
    -------
    float
        Lime still to count [ton/ac].

    Notes
    -----
    applied x (1 - 0.08 x months), 0.16 on organic soils, not below zero. The source states
    8 and 16 % per month; that this is the rate at which the credit runs down is our reading,
    from memory.
    """
    monthly = constant("credit_month_organic" if organic_soil else "credit_month_mineral") / 100.0
    share = min(max(1.0 - monthly * months, 0.0), 1.0)
    return Answer(applied * share, details={"share": share},
                  within_range=months >= 0,
                  notes=() if months >= 0 else ("the lime went on after the sample was taken",))


@formula(unit="lb/ac", source="sawyer-iowa-lime", locator="lime to offset nitrogen", how="seen",
         valid={"n_lb_ac": (0.0, 400.0)})
def lime_from_nitrogen(n_lb_ac: NotNegative, nitrogen_source: str) -> Answer:
    """Ordinary aglime that a nitrogen dressing uses up.

    Parameters
    ----------
    n_lb_ac : float
        Nitrogen [lb/ac].
    nitrogen_source : str
        Row of the nitrogen table, e.g. ``"urea"``, ``"ammonium sulfate"``.

    Returns
    -------
    float
        Ordinary aglime [lb/ac]; None where the source gives no figure. ``details`` hold
        ``caco3_lb_ac`` by the Alabama table (negative: the material raises pH).

    Raises
    ------
    UnknownName
        Not in the table.

    Notes
    -----
    4 or 7 lb per lb of N (Iowa State). The Alabama figures are about half: they count pure CaCO3
    and the customary half of the acid of nitrification. Sources: aces-anr174.
    """
    row = load("acidity/nitrogen_acidity").find("nitrogen source", nitrogen_source=nitrogen_source)
    details: dict[str, object] = {}
    if row["caco3_per_100lb"] is not None and row["n_pct"] is not None:
        details["caco3_lb_ac"] = n_lb_ac * row["caco3_per_100lb"] / row["n_pct"]
    if row["aglime_per_lb_n"] is None:
        return Answer(None, details=details, notes=("no figure in aglime; see caco3_lb_ac",))
    return Answer(n_lb_ac * row["aglime_per_lb_n"], details=details)


@formula(unit="passes", source="msu-lime-antacids", locator="most in one pass, by placement",
         how="seen")
def lime_passes(product_ton_ac: NotNegative, placement: str, region: str | None = None) -> Answer:
    """Number of passes that a lime rate is split over.

    Parameters
    ----------
    product_ton_ac : float
        Lime as spread [ton/ac].
    placement : str
        ``"surface"`` (not worked in) or ``"tilled"``.
    region : str or None
        State, to use its own cap where one is published.

    Returns
    -------
    float
        Passes [passes]. ``details`` hold ``per_pass_ton_ac``, ``cap_ton_ac`` and, where
        stated, ``wait_years``.

    Raises
    ------
    UnknownName
        Another placement.

    Notes
    -----
    Passes = rate / cap, rounded up. Surface 2 ton/ac (Ohio, Oregon, Missouri; two to three years
    between passes in Missouri), tilled 4 ton/ac (Michigan; Pennsylvania works half under and half
    in above that). Sources: miller-mu-lime; hoorman-notill-lime; anderson-2013-em9057;
    psu-forages-liming.
    """
    rows = load("acidity/single_pass").named("placement", placement=placement)
    own = [r for r in rows if region and r["region"].lower() == region.lower()]
    row = min(own or rows, key=lambda r: r["cap_ton_ac"])
    passes = max(math.ceil(product_ton_ac / row["cap_ton_ac"] - 1e-9), 1)
    details = {"per_pass_ton_ac": product_ton_ac / passes, "cap_ton_ac": row["cap_ton_ac"]}
    for name in ("per_year_ton_ac", "wait_years"):
        if row[name] is not None:
            details[name] = row[name]
    return by_row(row, passes, details=details)
