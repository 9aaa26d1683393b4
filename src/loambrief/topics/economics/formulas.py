"""What a pound of nutrient costs, response curves, and the rate that pays.

Prices are the reader's own; none is built in. A response curve holds for the trials it was
fitted to: it shows how returns shrink, it does not promise a yield.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput

LB_PER_TON = 2000.0
BALBA_BRAY = {"maximum_pct": 0.5834, "soil": 0.03296, "applied": 0.002097}
JACKSON = {"intercept": -11.18, "linear": 67.672, "square": -1.22, "product": -0.98}
BRAY_K_CORN_C1 = 0.0076


def _not_negative(**values: float | None) -> None:
    for name, value in values.items():
        if value is not None and value < 0:
            raise ImpossibleInput(f"{name} cannot be negative (found {value:g})")


def _above_zero(**values: float) -> None:
    for name, value in values.items():
        if value <= 0:
            raise ImpossibleInput(f"{name} must be above zero (found {value:g})")


def _grade(**values: float) -> None:
    _above_zero(**values)
    for name, value in values.items():
        if value > 100:
            raise ImpossibleInput(f"{name} cannot be above 100 % (found {value:g})")


@formula(unit="currency/lb", source="flynn-a133", locator="quick facts", how="seen")
def cost_per_lb_nutrient(price_per_ton: float, grade_pct: float) -> float:
    """Cost of one pound of nutrient in a single-nutrient fertilizer.

    Parameters
    ----------
    price_per_ton : float
        Price of the product [currency per short ton].
    grade_pct : float
        Nutrient in the product, as on the label (N, P2O5, K2O) [%].

    Returns
    -------
    float
        Cost [currency/lb of nutrient].

    Raises
    ------
    ImpossibleInput
        A negative price, or a grade outside 0 to 100 %.

    Notes
    -----
    Price / (2,000 x grade / 100). Freight and spreading are not in it. For a product with
    two nutrients see ``residual_cost_per_lb``.

    References
    ----------
    flynn-a133; rankin-fertmath; nielsen-2001-fertmath.
    """
    _not_negative(price_per_ton=price_per_ton)
    _grade(grade_pct=grade_pct)
    return price_per_ton / (LB_PER_TON * grade_pct / 100)


@formula(unit="currency/lb", source="flynn-a133", locator="quick facts", how="seen")
def residual_cost_per_lb(
    price_per_ton: float, grade_pct: float, other_grade_pct: float, other_price_per_lb: float
) -> Answer:
    """Cost of one pound of a nutrient in a product that also brings another.

    Parameters
    ----------
    price_per_ton : float
        Price of the product [currency per short ton].
    grade_pct : float
        Nutrient in question [%].
    other_grade_pct : float
        The other nutrient [%].
    other_price_per_lb : float
        What the other nutrient is worth from its cheapest single source [currency/lb].

    Returns
    -------
    Answer
        Cost of the nutrient in question [currency/lb]; below zero if the other nutrient alone
        is worth more than the price.

    Raises
    ------
    ImpossibleInput
        A negative price, a grade outside 0 to 100 %, or both together above 100 %.

    Notes
    -----
    (price - other lb x its worth) / lb of the nutrient. It holds only if the other nutrient
    is wanted; if it is not, its worth is zero.

    References
    ----------
    flynn-a133
    """
    _not_negative(price_per_ton=price_per_ton, other_price_per_lb=other_price_per_lb)
    _grade(grade_pct=grade_pct, other_grade_pct=other_grade_pct)
    if grade_pct + other_grade_pct > 100:
        raise ImpossibleInput("two nutrients cannot be more than 100 % of a product")
    credit = LB_PER_TON * other_grade_pct / 100 * other_price_per_lb
    return Answer((price_per_ton - credit) / (LB_PER_TON * grade_pct / 100),
                  details={"credit_per_ton": credit})


@formula(unit="same as the maximum", source="isu-agron354", locator="Mitscherlich and Bray",
         how="seen")
def mitscherlich_bray_yield(
    maximum: float, c: float, rate: float, c1: float = 0.0, soil_test: float = 0.0
) -> float:
    """Yield by the Mitscherlich equation, with Bray's term for what the soil holds.

    Parameters
    ----------
    maximum : float
        Yield when the nutrient is not lacking [any yield unit].
    c : float
        Effect factor of the fertilizer, base 10 [per unit of rate].
    rate : float
        Fertilizer applied [unit of 1/c].
    c1 : float
        Effect factor of the soil test, base 10 [per unit of soil test].
    soil_test : float
        Soil test [unit of 1/c1].

    Returns
    -------
    float
        Yield [same unit as the maximum].

    Raises
    ------
    ImpossibleInput
        A negative value.

    Notes
    -----
    log10(A - y) = log10 A - c1 b - c x, so y = A (1 - 10^-(c1 b + c x)). The curve never
    turns down: it cannot show harm from too much.

    References
    ----------
    isu-agron354
    """
    _not_negative(maximum=maximum, c=c, rate=rate, c1=c1, soil_test=soil_test)
    return maximum * (1.0 - 10.0 ** -(c1 * soil_test + c * rate))


@formula(unit="same as the maximum", source="isu-agron354", locator="Baule units", how="seen")
def baule_yield(maximum: float, baule_units: float) -> float:
    """Yield when a nutrient is supplied in Baule units, each of which halves what is missing.

    Parameters
    ----------
    maximum : float
        Yield when nothing is lacking [any yield unit].
    baule_units : float
        Baule units supplied, soil and fertilizer together [count].

    Returns
    -------
    float
        Yield [same unit as the maximum].

    Raises
    ------
    ImpossibleInput
        A negative value.

    Notes
    -----
    y = A - A (1/2)^n: 50, 75, 87.5 % of the maximum for 1, 2 and 3 units. One unit per acre is
    put at 223 lb N, 45 lb P2O5 and 76 lb K2O (from memory, unverified; not used here).

    References
    ----------
    isu-agron354
    """
    _not_negative(maximum=maximum, baule_units=baule_units)
    return maximum - maximum * 0.5**baule_units


@formula(unit="%", source="bray-1944-k", locator="corn, exchangeable potassium", how="memory")
def potassium_sufficiency_bray(potassium_lb_ac: float) -> float:
    """Share of the full corn yield that exchangeable potassium allows, by Bray.

    Parameters
    ----------
    potassium_lb_ac : float
        Exchangeable potassium in the plough layer [lb/ac].

    Returns
    -------
    float
        Yield as a share of the yield with enough potassium [%].

    Raises
    ------
    ImpossibleInput
        A negative amount.

    Notes
    -----
    100 (1 - 10^(-0.0076 b)). Illinois corn of the 1940s; shows the shape, not a rate.

    References
    ----------
    bray-1944-k
    """
    _not_negative(potassium_lb_ac=potassium_lb_ac)
    return 100.0 * (1.0 - 10.0 ** (-BRAY_K_CORN_C1 * potassium_lb_ac))


@formula(unit="% P", source="balba-bray-1956", locator="equation for wheat grain", how="seen")
def wheat_grain_phosphorus(soil_p_lb_ac: float, p2o5_lb_ac: float) -> float:
    """Phosphorus in wheat grain after Balba and Bray, from soil test and fertilizer.

    Parameters
    ----------
    soil_p_lb_ac : float
        Soil phosphorus by the Bray test [lb/ac].
    p2o5_lb_ac : float
        P2O5 applied [lb/ac].

    Returns
    -------
    float
        Phosphorus in the grain [% P].

    Raises
    ------
    ImpossibleInput
        A negative amount.

    Notes
    -----
    y = 0.5834 (1 - exp(-0.03296 b - 0.002097 x)). Illinois trials of the 1950s.

    References
    ----------
    balba-bray-1956
    """
    _not_negative(soil_p_lb_ac=soil_p_lb_ac, p2o5_lb_ac=p2o5_lb_ac)
    k = BALBA_BRAY
    return k["maximum_pct"] * (1 - math.exp(-k["soil"] * soil_p_lb_ac - k["applied"] * p2o5_lb_ac))


@formula(unit="kg/ha", source="jackson-1997-spring-wheat", locator="response equation", how="seen",
         valid={"p_kg_ha": (0.0, 29.0), "olsen_ppm": (4.0, 37.0)})
def spring_wheat_phosphorus_response(p_kg_ha: float, olsen_ppm: float) -> float:
    """Extra spring wheat grain from phosphorus, central and north central Montana.

    Parameters
    ----------
    p_kg_ha : float
        Phosphorus applied, elemental [kg P/ha].
    olsen_ppm : float
        Olsen soil test [ppm].

    Returns
    -------
    float
        Grain response [kg/ha]; the equation's intercept makes it slightly negative at zero.

    Raises
    ------
    ImpossibleInput
        A negative value.

    Notes
    -----
    Y = -11.18 + 67.672 P - 1.22 P^2 - 0.98 P x ST, R2 0.55. It still shows a gain above the
    critical level of 16 ppm, so the critical level caps any advice drawn from it.

    References
    ----------
    jackson-1997-spring-wheat
    """
    _not_negative(p_kg_ha=p_kg_ha, olsen_ppm=olsen_ppm)
    k = JACKSON
    return (k["intercept"] + k["linear"] * p_kg_ha + k["square"] * p_kg_ha**2
            + k["product"] * p_kg_ha * olsen_ppm)


@formula(unit="kg/ha", source="jackson-1997-spring-wheat", locator="response equation",
         how="computed", valid={"olsen_ppm": (4.0, 16.0)})
def spring_wheat_phosphorus_optimum(olsen_ppm: float, price_ratio: float = 0.0) -> float:
    """Phosphorus rate that pays best on the Montana spring wheat equation.

    Parameters
    ----------
    olsen_ppm : float
        Olsen soil test [ppm].
    price_ratio : float
        Price of 1 kg P over price of 1 kg wheat [no unit].

    Returns
    -------
    float
        Rate [kg P/ha], never below zero.

    Raises
    ------
    ImpossibleInput
        A negative value.

    Notes
    -----
    (67.672 - 0.98 ST - ratio) / 2.44, where the last kilogram just pays. Valid up to the
    critical level of 16 ppm only.

    References
    ----------
    jackson-1997-spring-wheat
    """
    _not_negative(olsen_ppm=olsen_ppm, price_ratio=price_ratio)
    k = JACKSON
    return max((k["linear"] + k["product"] * olsen_ppm - price_ratio) / (-2 * k["square"]), 0.0)


@formula(unit="yield unit/ac", source="fausti-2018-optimum", locator="second order polynomial",
         how="seen")
def quadratic_response(a: float, b: float, c: float, rate: float) -> float:
    """Yield on a fitted quadratic response y = a + b x - c x^2.

    Parameters
    ----------
    a : float
        Yield without the input [yield unit/ac].
    b : float
        First increment [yield unit per unit of input].
    c : float
        Curvature, positive for shrinking returns [yield unit per unit of input squared].
    rate : float
        Input applied [unit/ac].

    Returns
    -------
    float
        Yield [yield unit/ac].

    Raises
    ------
    ImpossibleInput
        A negative rate.

    Notes
    -----
    Beyond b / (2c) the curve turns down; that part is an artefact of the fit more often than
    harm seen in the field.

    References
    ----------
    fausti-2018-optimum
    """
    _not_negative(rate=rate)
    return a + b * rate - c * rate**2


@formula(unit="unit/ac", source="fausti-2018-optimum", locator="economic optimum rate", how="seen")
def quadratic_optimum(b: float, c: float, input_price: float, crop_price: float) -> Answer:
    """Rate at which the last unit of input just pays, on a quadratic response.

    Parameters
    ----------
    b : float
        First increment [yield unit per unit of input].
    c : float
        Curvature, above zero [yield unit per unit of input squared].
    input_price : float
        Price of the input [currency/unit].
    crop_price : float
        Price of the crop [currency/yield unit].

    Returns
    -------
    Answer
        Economic optimum [unit of input per acre], never below zero; detail
        ``yield_maximum_rate`` is b / (2c).

    Raises
    ------
    ImpossibleInput
        Curvature or crop price not above zero, or a negative input price.

    Notes
    -----
    (b - input price / crop price) / (2c). Holds for one input alone and for the trials the
    curve came from.

    References
    ----------
    fausti-2018-optimum
    """
    _above_zero(c=c, crop_price=crop_price)
    _not_negative(input_price=input_price)
    best = (b - input_price / crop_price) / (2 * c)
    return Answer(max(best, 0.0), details={"yield_maximum_rate": b / (2 * c)})


@formula(unit="1", source="isu-agron354", locator="sufficiency, Baule and Bray", how="memory")
def combined_sufficiency(fractions: Sequence[float], rule: str = "product") -> float:
    """Yield share when several nutrients fall short at once.

    Parameters
    ----------
    fractions : sequence of float
        Share of full yield that each nutrient alone allows [0 to 1].
    rule : str
        ``product`` (Baule, Bray: shortages multiply) or ``minimum`` (Liebig: the scarcest
        alone rules).

    Returns
    -------
    float
        Share of full yield [0 to 1].

    Raises
    ------
    ImpossibleInput
        No fraction, one outside 0 to 1, or another rule.

    Notes
    -----
    The two rules differ, and trials support now one, now the other: say which was used.

    References
    ----------
    isu-agron354
    """
    if not fractions or not all(0 <= f <= 1 for f in fractions):
        raise ImpossibleInput("fractions must be a list of numbers between 0 and 1")
    if rule == "product":
        return math.prod(fractions)
    if rule == "minimum":
        return min(fractions)
    raise ImpossibleInput(f"rule must be product or minimum (found {rule!r})")


@formula(unit="yield unit/ac", source="farm-management-textbook", locator="break-even",
         how="convention")
def break_even_yield(cost_per_ac: float, crop_price: float) -> float:
    """Extra yield that pays for a measure.

    Parameters
    ----------
    cost_per_ac : float
        Cost of the measure [currency/ac].
    crop_price : float
        Price of the crop after harvest and drying costs [currency/yield unit].

    Returns
    -------
    float
        Extra yield at which the measure earns nothing and costs nothing [yield unit/ac].

    Raises
    ------
    ImpossibleInput
        A negative cost, or a price not above zero.

    Notes
    -----
    Cost / price. Where no response is published, this is the honest figure to print: what the
    measure would have to bring, not what it will.

    References
    ----------
    farm-management-textbook
    """
    _not_negative(cost_per_ac=cost_per_ac)
    _above_zero(crop_price=crop_price)
    return cost_per_ac / crop_price


@formula(unit="%", source="farm-management-textbook", locator="return on investment",
         how="convention")
def return_on_investment(extra_yield: float, crop_price: float, cost_per_ac: float) -> float:
    """Net gain of a measure as a share of its cost.

    Parameters
    ----------
    extra_yield : float
        Extra yield [yield unit/ac]; may be negative.
    crop_price : float
        Price of the crop [currency/yield unit].
    cost_per_ac : float
        Cost of the measure [currency/ac].

    Returns
    -------
    float
        Return on the money spent [%]; -100 if nothing comes back.

    Raises
    ------
    ImpossibleInput
        A negative price, or a cost not above zero.

    Notes
    -----
    100 (extra yield x price - cost) / cost, over the time the extra yield was counted for.
    For lime or build-up count all years it lasts, or the return is understated.

    References
    ----------
    farm-management-textbook
    """
    _not_negative(crop_price=crop_price)
    _above_zero(cost_per_ac=cost_per_ac)
    return 100.0 * (extra_yield * crop_price - cost_per_ac) / cost_per_ac
