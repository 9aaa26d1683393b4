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
