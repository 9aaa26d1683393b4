"""What a pound of nutrient costs, response curves, and the rate that pays.

Prices are the reader's own; none is built in. A response curve holds for the trials it was
fitted to: it shows how returns shrink, it does not promise a yield.
"""

from __future__ import annotations

from loambrief.agronomy.possible import NotNegative, Positive, percent
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.units import LB_PER_TON


@formula(unit="currency/lb", source="flynn-a133", locator="quick facts", how="seen")
def cost_per_lb_nutrient(price_per_ton: NotNegative, grade_pct: Positive) -> float:
    """Cost of one pound of nutrient in a single-nutrient fertilizer.

    Parameters
    ----------
    price_per_ton : float
        Price of the product [currency per short ton].
    grade_pct : float
        Nutrient in the product, as on the label (N, P2O5, K2O) [%].

    Raises
    ------
    ImpossibleInput
        A negative price, or a grade outside 0 to 100 %.

    Notes
    -----
    Price / (2,000 x grade / 100). Freight and spreading are not in it. For a product with two
    nutrients see ``residual_cost_per_lb``. Sources: rankin-fertmath; nielsen-2001-fertmath.
    """
    percent(grade_pct=grade_pct)
    return price_per_ton / (LB_PER_TON * grade_pct / 100)


@formula(unit="currency/lb", source="flynn-a133", locator="quick facts", how="seen")
def residual_cost_per_lb(
    price_per_ton: NotNegative, grade_pct: Positive, other_grade_pct: Positive,
    other_price_per_lb: NotNegative,
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
    """
    percent(grade_pct=grade_pct, other_grade_pct=other_grade_pct)
    if grade_pct + other_grade_pct > 100:
        raise ImpossibleInput("two nutrients cannot be more than 100 % of a product")
    credit = LB_PER_TON * other_grade_pct / 100 * other_price_per_lb
    return Answer((price_per_ton - credit) / (LB_PER_TON * grade_pct / 100),
                  details={"credit_per_ton": credit})


@formula(unit="yield unit/ac", source="fausti-2018-optimum", locator="second order polynomial",
         how="seen")
def quadratic_response(a: float, b: float, c: float, rate: NotNegative) -> float:
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

    Notes
    -----
    Beyond b / (2c) the curve turns down; that part is an artefact of the fit more often than
    harm seen in the field.
    """
    return a + b * rate - c * rate**2


@formula(unit="unit/ac", source="fausti-2018-optimum", locator="economic optimum rate", how="seen")
def quadratic_optimum(b: float, c: Positive, input_price: NotNegative,
                      crop_price: Positive) -> Answer:
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

    Notes
    -----
    (b - input price / crop price) / (2c). Holds for one input alone and for the trials the
    curve came from.
    """
    best = (b - input_price / crop_price) / (2 * c)
    return Answer(max(best, 0.0), details={"yield_maximum_rate": b / (2 * c)})


@formula(unit="yield unit/ac", source="farm-management-textbook", locator="break-even",
         how="convention")
def break_even_yield(cost_per_ac: NotNegative, crop_price: Positive) -> float:
    """Extra yield that pays for a measure.

    Parameters
    ----------
    cost_per_ac : float
        Cost of the measure [currency/ac].
    crop_price : float
        Price of the crop after harvest and drying costs [currency/yield unit].

    Notes
    -----
    Cost / price. Where no response is published, this is the honest figure to print: what the
    measure would have to bring, not what it will.
    """
    return cost_per_ac / crop_price


@formula(unit="%", source="farm-management-textbook", locator="return on investment",
         how="convention")
def return_on_investment(extra_yield: float, crop_price: NotNegative,
                         cost_per_ac: Positive) -> float:
    """Net gain of a measure as a share of its cost.

    Parameters
    ----------
    extra_yield : float
        Extra yield [yield unit/ac]; may be negative.
    crop_price : float
        Price of the crop [currency/yield unit].
    cost_per_ac : float
        Cost of the measure [currency/ac].

    Notes
    -----
    100 (extra yield x price - cost) / cost, over the time the extra yield was counted for.
    For lime or build-up count all years it lasts, or the return is understated.
    """
    return 100.0 * (extra_yield * crop_price - cost_per_ac) / cost_per_ac
