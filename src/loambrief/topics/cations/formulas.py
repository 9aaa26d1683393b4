"""Exchangeable cations: charge, exchange capacity, saturations, and what they do not say."""

from __future__ import annotations

from functools import partial

from loambrief.agronomy.possible import NotNegative, Positive, not_negative, one_of
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load, named_number
from loambrief.units import EQUIVALENT_MG

CATIONS = ("Ca", "Mg", "K", "Na", "H", "Al", "NH4")
DIVISORS = ("exact", "clemson", "trade")
LIMEY_FIZZ = ("very slight", "slight", "strong", "violent")
constant = partial(named_number, "cations/constants")


def divisor(cation: str, divisors: str = "exact") -> float:
    """ppm that make 1 meq/100 g, exact or as a source rounds it."""
    one_of("cation", cation, CATIONS)
    one_of("set of divisors", divisors, DIVISORS)
    if divisors == "exact":
        return 10.0 * EQUIVALENT_MG[cation]
    return load("cations/divisors").find(cation=cation)[divisors]


@formula(unit="meq/100g", source="iupac-2007-weights", locator="atomic mass / charge",
         how="computed")
def ppm_to_meq(ppm: NotNegative, cation: str, divisors: str = "exact") -> Answer:
    """Charge of an extracted cation from its concentration.

    Parameters
    ----------
    ppm : float
        Concentration in soil [ppm].
    cation : str
        ``Ca``, ``Mg``, ``K``, ``Na``, ``H``, ``Al`` or ``NH4``.
    divisors : str
        ``exact`` (atomic weights), ``clemson`` (200, 120, 391, 230) or ``trade``
        (200, 120, 390, 230).

    Returns
    -------
    float
        Charge [meq/100g, the same as cmol(+)/kg]. ``details`` hold the ``divisor`` used.

    Raises
    ------
    UnknownName
        No such cation or set of divisors.

    Notes
    -----
    ppm / (10 x atomic mass / charge): Ca 200.4, Mg 121.5, K 391, Na 230, H 10, Al 90. Each cation
    has its own divisor; swapped divisors are a slip seen in print. Sources: clemson-cec (rounded).
    """
    by = divisor(cation, divisors)
    return Answer(ppm / by, details={"divisor": by})


@formula(unit="ppm", source="iupac-2007-weights", locator="atomic mass / charge", how="computed")
def meq_to_ppm(meq: NotNegative, cation: str, divisors: str = "exact") -> Answer:
    """Concentration of a cation from its charge.

    Parameters
    ----------
    meq : float
        Charge [meq/100 g].
    cation : str
        As ``ppm_to_meq``.
    divisors : str
        As ``ppm_to_meq``.

    Returns
    -------
    float
        Concentration [ppm].

    Raises
    ------
    UnknownName
        No such cation or set of divisors.

    Notes
    -----
    The inverse of ``ppm_to_meq``. Sources: soil-course-sheets.
    """
    by = divisor(cation, divisors)
    return Answer(meq * by, details={"divisor": by})


@formula(unit="meq/100g", source="clemson-cec", locator="sum of five", how="seen",
         valid={"acidity_meq": (0.0, 40.0)})
def cec_by_summation(
    ca_ppm: float, mg_ppm: float, k_ppm: float, na_ppm: float | None, acidity_meq: float,
    divisors: str = "exact",
) -> Answer:
    """Cation exchange capacity as the sum of extracted bases and exchangeable acidity.

    Parameters
    ----------
    ca_ppm, mg_ppm, k_ppm : float
        Extracted calcium, magnesium, potassium [ppm].
    na_ppm : float or None
        Extracted sodium [ppm]; None if not measured, which the answer says.
    acidity_meq : float
        Exchangeable acidity from the buffer [meq/100 g].
    divisors : str
        Set of divisors, see ``ppm_to_meq``.

    Returns
    -------
    float
        CEC [meq/100g]. ``details`` hold each cation and ``bases_meq``.

    Raises
    ------
    ImpossibleInput
        A negative number, or nothing but zeros.
    UnknownName
        No such set of divisors.

    Notes
    -----
    Ca/200 + Mg/121.5 + K/391 + Na/230 + acidity. Between laboratories a summed CEC is poorly
    reproduced and biased. With free lime, salt or gypsum in the soil it is too high: ask
    ``summed_cec_reliability`` first. Sources: culman-2019-anr81; miller-2015-alp.
    """
    amounts = {"Ca": ca_ppm, "Mg": mg_ppm, "K": k_ppm, "Na": na_ppm}
    not_negative(acidity_meq=acidity_meq, **{f"{c}_ppm": v for c, v in amounts.items()})
    charges = {c: (v or 0.0) / divisor(c, divisors) for c, v in amounts.items()}
    bases = sum(charges.values())
    total = bases + acidity_meq
    if total <= 0:
        raise ImpossibleInput("no cations and no acidity: there is no capacity to state")
    return Answer(
        total,
        details={**{f"{c.lower()}_meq": v for c, v in charges.items()}, "bases_meq": bases,
                 "h_meq": acidity_meq, "divisors": divisors},
        notes=() if na_ppm is not None else ("sodium was not measured and is not in the sum",),
    )


@formula(unit="%", source="clemson-cec", locator="percent of the CEC", how="seen")
def cation_saturation(
    ppm: NotNegative, cation: str, cec_meq: Positive, divisors: str = "exact"
) -> Answer:
    """Share of the exchange capacity held by one cation.

    Parameters
    ----------
    ppm : float
        Extracted cation [ppm].
    cation : str
        As ``ppm_to_meq``.
    cec_meq : float
        Cation exchange capacity [meq/100 g].
    divisors : str
        Set of divisors.

    Returns
    -------
    float
        Saturation [%]; flagged where it passes 100 %, which means dissolved salt or lime.

    Raises
    ------
    UnknownName
        No such cation or set.

    Notes
    -----
    100 x charge of the cation / CEC. A description of the soil, not a target. Sources:
    sare-building-soils.
    """
    charge = ppm / divisor(cation, divisors)
    value = 100.0 * charge / cec_meq
    return Answer(value, details={"charge_meq": charge}, within_range=value <= 100.0)


@formula(unit="%", source="clemson-cec", locator="percent base saturation", how="seen")
def base_saturation(
    ca_meq: NotNegative, mg_meq: NotNegative, k_meq: NotNegative, na_meq: NotNegative,
    cec_meq: Positive,
) -> Answer:
    """Share of the exchange capacity held by the four bases.

    Parameters
    ----------
    ca_meq, mg_meq, k_meq, na_meq : float
        Exchangeable calcium, magnesium, potassium, sodium [meq/100 g].
    cec_meq : float
        Cation exchange capacity [meq/100 g].

    Returns
    -------
    float
        Base saturation [%].

    Notes
    -----
    100 (Ca + Mg + K + Na) / CEC. Aluminum and hydrogen are acid cations: counting aluminum as a
    base is a slip seen in print (91 instead of 74 %). Above 100 % the extract held dissolved salt
    or lime; the answer is flagged. Sources: loynachan-agron354-ph.
    """
    value = 100.0 * (ca_meq + mg_meq + k_meq + na_meq) / cec_meq
    return Answer(value, details={"bases_meq": ca_meq + mg_meq + k_meq + na_meq},
                  within_range=value <= 100.0)


@formula(unit="%", source="loynachan-agron354-ph", locator="acid cations of the CEC", how="seen")
def acid_saturation(acidity_meq: NotNegative, cec_meq: Positive) -> float:
    """Share of the exchange capacity held by hydrogen and aluminum.

    Parameters
    ----------
    acidity_meq : float
        Exchangeable acidity [meq/100 g].
    cec_meq : float
        Cation exchange capacity [meq/100 g].

    Raises
    ------
    ImpossibleInput
        A negative acidity, no capacity, or more acidity than capacity.

    Notes
    -----
    100 x acidity / CEC. Reported as hydrogen, though part of it is aluminum. It follows pH and
    the buffer; it is no extra measurement.
    """
    if acidity_meq > cec_meq * (1 + 1e-9):
        raise ImpossibleInput(f"more acidity ({acidity_meq:g}) than CEC ({cec_meq:g})")
    return 100.0 * acidity_meq / cec_meq


@formula(unit="meq/100g", source="kamprath-1970", locator="effective CEC", how="convention")
def effective_cec(
    ca_meq: NotNegative, mg_meq: NotNegative, k_meq: NotNegative, na_meq: NotNegative,
    al_meq: NotNegative, h_meq: NotNegative = 0.0,
) -> float:
    """Exchange capacity at the soil's own pH: bases and KCl-exchangeable acidity.

    Parameters
    ----------
    ca_meq, mg_meq, k_meq, na_meq : float
        Exchangeable bases [meq/100 g].
    al_meq : float
        Aluminum taken out by 1 N KCl [meq/100 g].
    h_meq : float
        Hydrogen taken out by 1 N KCl, where reported apart [meq/100 g].

    Raises
    ------
    ImpossibleInput
        A negative number, or nothing but zeros.

    Notes
    -----
    Sum of the six. Lower than a CEC at pH 7 in acid soil; the two are not mixed.
    """
    total = ca_meq + mg_meq + k_meq + na_meq + al_meq + h_meq
    if total <= 0:
        raise ImpossibleInput("no cations: there is no capacity to state")
    return total


@formula(unit="class", source="kaesrr-2021-m3-calcium", locator="pH 7.3; with free lime",
         how="seen")
def summed_cec_reliability(
    ph: NotNegative | None = None, fizz: str | None = None, bases_meq: NotNegative | None = None,
    displacement_cec_meq: NotNegative | None = None, carbonate_pct: NotNegative | None = None,
) -> Answer:
    """Whether a summed CEC and its saturations may be printed for this soil.

    Parameters
    ----------
    ph : float or None
        Soil pH [pH].
    fizz : str or None
        Reaction with acid: ``none`` to ``violent``.
    bases_meq : float or None
        Sum of extracted bases [meq/100 g].
    displacement_cec_meq : float or None
        CEC by displacement (ammonium acetate) [meq/100 g].
    carbonate_pct : float or None
        Calcium carbonate in the soil [%].

    Returns
    -------
    str
        ``"usable"``, ``"suppressed"`` or ``"unknown"`` [class]; the notes say why.

    Notes
    -----
    Suppressed from pH 7.3, with any fizz, above 0.5 % carbonate, or where the bases pass the CEC by
    displacement. Unknown where neither pH nor fizz nor carbonate was given. Sources:
    acetate-calcareous-1998.
    """
    reasons = []
    if ph is not None and ph >= constant("calcareous_ph"):
        reasons.append("high pH")
    if fizz in LIMEY_FIZZ:
        reasons.append("fizz")
    if carbonate_pct is not None and carbonate_pct > constant("carbonate_limit_pct"):
        reasons.append("carbonate")
    if (bases_meq is not None and displacement_cec_meq is not None
            and bases_meq > displacement_cec_meq):
        reasons.append("bases above capacity")
    if reasons:
        return Answer("suppressed", notes=tuple(reasons), details={"reasons": tuple(reasons)})
    if ph is None and fizz is None and carbonate_pct is None:
        return Answer("unknown", notes=("neither pH nor fizz nor carbonate was given",),
                      details={"reasons": ()})
    return Answer("usable", details={"reasons": ()})


@formula(unit="class", source="practice-cation-ranges", locator="by the named scheme",
         how="convention", evidence="common practice")
def traditional_saturation(cation: str, saturation_pct: NotNegative,
                           scheme: str = "trade") -> Answer:
    """Where a saturation stands against a range quoted in the trade.

    Parameters
    ----------
    cation : str
        ``Ca``, ``Mg``, ``K``, ``Na`` or ``H``.
    saturation_pct : float
        Share of the CEC [%].
    scheme : str
        ``trade``, ``bear`` or ``graham``.

    Returns
    -------
    str
        ``"below"``, ``"inside"`` or ``"above"`` [class]. ``details`` hold ``low`` and ``high``.

    Raises
    ------
    UnknownName
        The scheme has no range for that cation.

    Notes
    -----
    Common practice without calibration. Reviews find no effect of these ratios on yield within the
    ranges found in soils; no rate follows from this answer. Sources: bear-1945; graham-1959;
    kopittke-menzies-2007; chaganti-culman-2017.
    """
    rows = load("cations/traditional_ranges").named("scheme of saturations", scheme=scheme)
    found = [r for r in rows if r["cation"] == cation]
    if not found:
        raise UnknownName(f"cation in {scheme}", str(cation), tuple(r["cation"] for r in rows))
    row = found[0]
    word = "inside"
    if saturation_pct < row["low"]:
        word = "below"
    elif saturation_pct > row["high"]:
        word = "above"
    return by_row(row, word, details={"low": row["low"], "high": row["high"]})


@formula(unit="1", source="rahman-2022-tetany", locator="K/(Ca + Mg)", how="seen")
def grass_tetany_ratio(k_pct: NotNegative, ca_pct: NotNegative, mg_pct: NotNegative) -> Answer:
    """Grass-tetany ratio of a forage: potassium over calcium and magnesium, by charge.

    Parameters
    ----------
    k_pct, ca_pct, mg_pct : float
        Potassium, calcium and magnesium in the forage [% of dry matter].

    Returns
    -------
    float
        Ratio of charges [1]. ``details`` hold ``risk`` (above 2.2) and ``low_magnesium``
        (below 0.2 %).

    Raises
    ------
    ImpossibleInput
        A negative share, or neither calcium nor magnesium.

    Notes
    -----
    (K/39.1) / (Ca/20.04 + Mg/12.15), the shares turned into charge. Forage above 2.2 is a risk for
    grass tetany; for stock in milk forage should hold at least 0.2 % magnesium. Sources:
    osu-2024-tetany.
    """
    below = ca_pct / EQUIVALENT_MG["Ca"] + mg_pct / EQUIVALENT_MG["Mg"]
    if below <= 0:
        raise ImpossibleInput("calcium and magnesium are both zero; no ratio can be formed")
    value = k_pct / EQUIVALENT_MG["K"] / below
    return Answer(value, details={"risk": value > constant("tetany_ratio"),
                                  "low_magnesium": mg_pct < constant("forage_mg_pct")})


@formula(unit="1", source="schulte-kelling-a2986", locator="calcium to magnesium ratio",
         how="seen", valid={"ca_ppm": (0.0, None)})
def calcium_magnesium_ratio(ca_ppm: NotNegative, mg_ppm: Positive) -> Answer:
    """Calcium to magnesium ratio of a soil, by charge.

    Parameters
    ----------
    ca_ppm, mg_ppm : float
        Extracted calcium and magnesium [ppm].

    Returns
    -------
    float
        Ratio of charges [1]. ``details`` hold ``magnesium_at_least_calcium``.

    Notes
    -----
    (Ca/200.4) / (Mg/121.5). Ratios from 2 to 8 made no difference to alfalfa; Michigan State acts
    only where magnesium equals or passes calcium by charge. Sources: msu-ca-mg-ratios.
    """
    ratio = (ca_ppm / EQUIVALENT_MG["Ca"]) / (mg_ppm / EQUIVALENT_MG["Mg"])
    return Answer(ratio, details={"magnesium_at_least_calcium": ratio <= 1.0})
