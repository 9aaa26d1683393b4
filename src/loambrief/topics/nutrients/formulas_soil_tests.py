"""Between soil tests: regional conversions, each by its own name; classes of Mg and Ca.

No conversion is ever applied silently: each is a formula of its own, named after the
region and study it holds for, and the caller asks for it.
"""

from __future__ import annotations

from loambrief.agronomy.possible import NotNegative
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.tables import load

SECONDARY = "nutrients/secondary_classes"
LB_AC_PER_PPM = 2.0
"""Laboratory convention: a furrow slice of 2,000,000 lb."""
M3_PER_BRAY_OHIO = 1.35
M3_K_PER_ACETATE_OHIO = 1.14
BRAY_SLOPE_OHIO, BRAY_INTERCEPT_OHIO = 0.832, -8.08


@formula(unit="ppm", source="culman-2019-anr75", locator="Mehlich-3 P from Bray P1", how="seen")
def mehlich3_p_from_bray_ohio(bray_ppm: NotNegative) -> float:
    """Mehlich-3 (ICP) phosphorus expected for a Bray P1 value, Ohio and Indiana.

    Parameters
    ----------
    bray_ppm : float
        Bray P1 phosphorus [ppm].

    Notes
    -----
    M3 = 1.35 Bray (2019). An older Ohio equation disagrees: 22 ppm M3 is 16 ppm Bray here and
    10 ppm there. Do not use it outside Ohio and Indiana, nor above about pH 7.3, where free
    lime spends the Bray acid.
    """
    return bray_ppm * M3_PER_BRAY_OHIO


@formula(unit="ppm", source="culman-2019-anr75", locator="Mehlich-3 P from Bray P1", how="seen")
def bray_p_from_mehlich3_ohio(mehlich3_ppm: NotNegative) -> float:
    """Bray P1 phosphorus expected for a Mehlich-3 (ICP) value, Ohio and Indiana 2019.

    Parameters
    ----------
    mehlich3_ppm : float
        Mehlich-3 ICP phosphorus [ppm].

    Notes
    -----
    Bray = M3 / 1.35, the 2019 ratio turned round.
    """
    return mehlich3_ppm / M3_PER_BRAY_OHIO


@formula(unit="ppm", source="culman-2019-anr75", locator="Mehlich-3 K from ammonium acetate K",
         how="seen")
def mehlich3_k_from_ammonium_acetate_ohio(acetate_ppm: NotNegative) -> float:
    """Mehlich-3 potassium expected for an ammonium acetate value, Ohio and Indiana.

    Parameters
    ----------
    acetate_ppm : float
        1 N ammonium acetate potassium [ppm].

    Notes
    -----
    M3 = 1.14 acetate. Kansas found no difference (slope 0.97, R2 0.98): the ratio is regional.
    Sources: rutter-2019-kansas-k.
    """
    return acetate_ppm * M3_K_PER_ACETATE_OHIO


@formula(unit="", source="rutgers-relative-levels", locator="macronutrients table", how="seen")
def secondary_nutrient_class(guide: str, nutrient: str, test_ppm: NotNegative) -> Answer:
    """Class of a magnesium or calcium test in the guide that prints such classes.

    Parameters
    ----------
    guide : str
        File name of a guide, e.g. ``"rutgers_mehlich3"``.
    nutrient : str
        ``"Mg"`` or ``"Ca"``.
    test_ppm : float
        Soil test by the guide's own method (Mehlich-3) [ppm].

    Returns
    -------
    str or None
        Name of the class [no unit]; None where the guide prints none. ``details`` hold
        ``test_lb_ac`` and ``optimum_ppm`` (start of the class called high).

    Notes
    -----
    The printed classes are in lb/ac, twice the ppm. They have gaps of one unit between
    classes; here a class runs up to the start of the next. No rate stands beside them.
    """
    rows = load(SECONDARY).where(guide=guide, nutrient=nutrient)
    if not rows:
        return Answer(None, notes=("the guide prints no classes for this nutrient",))
    pounds = LB_AC_PER_PPM * test_ppm
    row = max((r for r in rows if r["from_lb_ac"] <= pounds), key=lambda r: r["from_lb_ac"])
    optimum = next(r["from_lb_ac"] for r in rows if r["class"] == "high")
    return by_row(row, str(row["class"]),
                  details={"test_lb_ac": pounds, "optimum_ppm": optimum / LB_AC_PER_PPM})
