"""Error of a composite soil sample: field, laboratory, and both together."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import partial
from statistics import NormalDist, fmean, stdev

from loambrief.agronomy.intervals import COVERAGE_PCT, combined, confidence
from loambrief.agronomy.possible import NotNegative
from loambrief.agronomy.registry import Answer, Result, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load, named_number

TABLE = "sampling/variation"
constant = partial(named_number, "sampling/constants")


@formula(unit="%", source="own-arithmetic", locator="CV over square root of cores",
         how="convention", valid={"cv_pct": (0.0, 200.0), "cores": (2.0, 100.0)})
def composite_error_pct(cv_pct: float, cores: float) -> float:
    """Standard error of a composite sample from the spread between cores.

    Parameters
    ----------
    cv_pct : float
        Coefficient of variation between single cores [% of the mean].
    cores : int
        Cores mixed into the sample [1].

    Raises
    ------
    ImpossibleInput
        A negative CV or less than one core.

    Notes
    -----
    CV / square root of cores, for cores taken at random all over the area. Cores bunched together
    share their neighbourhood and count for less. Twice this is roughly the 95 % interval. Sources:
    warrick-1998-variation for CVs within fields.
    """
    if cv_pct < 0 or cores < 1:
        raise ImpossibleInput("cv_pct cannot be negative and cores is at least 1")
    return cv_pct / math.sqrt(cores)


@formula(unit="as the test", source="own-arithmetic",
         locator="standard deviation over square root of samples", how="convention")
def repeat_error(values: Sequence[float]) -> Answer:
    """Standard error of the mean of several samples of one zone.

    Parameters
    ----------
    values : sequence of float
        Results by one method, each of its own composite sample [any one unit].

    Returns
    -------
    float
        Standard error of the mean [unit of the values]; ``details`` hold ``n``, ``mean`` and
        ``sd`` (n - 1 in the denominator).

    Raises
    ------
    ImpossibleInput
        Fewer than two values.

    Notes
    -----
    sd / root(n): field and laboratory error together, as they came out. From two or three
    samples sd itself is uncertain, so a typical error that is larger should be kept.
    """
    if len(values) < 2:
        raise ImpossibleInput("a spread needs two values")
    sd = stdev(values)
    return Answer(sd / math.sqrt(len(values)),
                  details={"n": len(values), "mean": fmean(values), "sd": sd})


@formula(unit="%", source="own-arithmetic", locator="root of summed squares", how="convention")
def combined_error_pct(field_pct: NotNegative, lab_pct: NotNegative) -> float:
    """Error of a result from field sampling and laboratory together.

    Parameters
    ----------
    field_pct : float
        Standard error of the composite [% of the mean].
    lab_pct : float
        Standard deviation of the laboratory [% of the value].

    Notes
    -----
    Square root of the sum of squares: the two are independent. The larger one rules, and it
    is nearly always the field.
    """
    return math.hypot(field_pct, lab_pct)


@formula(unit="as given", source="iso-5725-6-1994",
         locator="critical difference of two results, 1.96 x root of the summed variances",
         how="memory", valid={"level": (0.5, 99.9)})
def least_significant_change(first_error: NotNegative, second_error: NotNegative,
                             level: float = COVERAGE_PCT) -> Answer:
    """Smallest difference of two results that is more than their noise.

    Parameters
    ----------
    first_error, second_error : float
        Standard error of each result, sampling and laboratory together [any one unit].
    level : float
        Confidence level [% or fraction].

    Returns
    -------
    float
        Difference that chance alone reaches in only 5 of 100 cases at 95 % [same unit];
        ``details`` hold ``z``, the normal deviate.

    Notes
    -----
    z x root(e1 squared + e2 squared). With equal errors and 95 % it is 2.77 times one of them,
    the repeatability limit (2.8 s). It holds for two results by one method; a change of
    extractant, buffer or dilution is no noise, and no limit covers it.
    """
    z = NormalDist().inv_cdf(0.5 + confidence(level) / 2)
    return Answer(z * math.hypot(first_error, second_error), details={"z": z})


@formula(unit="as the test", source="miller-2015-alp", locator="spread between laboratories",
         how="memory", valid={"cores": (2.0, 100.0)})
def soil_test_error(
    test: str, value: float, cores: float | None = None, same_lab: bool = True
) -> Answer:
    """One standard error of a soil test result, as far as it is known.

    Parameters
    ----------
    test : str
        ``ph``, ``buffer_ph``, ``phosphorus``, ``potassium``, ``calcium``, ``magnesium``,
        ``organic_matter``, ``nitrate_n``, ``ec``, ``cec``, ``sodium`` or
        ``micronutrients``.
    value : float
        The result [unit of the test].
    cores : int or None
        Cores in the composite [1]; None: not known, the field part is left out.
    same_lab : bool
        True for results of one laboratory beside each other, False for two laboratories.

    Returns
    -------
    float or None
        Standard error [unit of the test], from the middle of each usual range; None if
        neither part is known. ``details`` hold ``low``, ``high``, ``field``, ``lab`` and
        ``parts`` (which of field and lab are in it).

    Raises
    ------
    ImpossibleInput
        A negative result or less than one core.
    UnknownName
        Not a test of the table.

    Notes
    -----
    Laboratory spread and the field's CV over the square root of cores, added as squares. Where one
    part has no published figure the answer holds the other alone, is flagged and is too small. The
    table's figures are typical ones, mostly from memory; the laboratory's own report is better. An
    open upper end is taken at its lower one. Sources: Table ``sampling/variation``.
    """
    row = load(TABLE).find("soil test", test=test)
    if value < 0 or (cores is not None and cores < 1):
        raise ImpossibleInput("value cannot be negative and cores is at least 1")
    which = "same_lab" if same_lab else "between_lab"
    lab = _span(row[f"{which}_low"], row[f"{which}_high"],
                1.0 if row["unit"] == "pH" else value / 100.0)
    field = None if cores is None else _span(row["field_cv_low"], row["field_cv_high"],
                                             value / 100.0 / math.sqrt(cores))
    parts = {name: span for name, span in (("field", field), ("lab", lab)) if span is not None}
    if not parts:
        return Answer(None, notes=("no figure is known for this test",), within_range=False)
    low, middle, high = (math.hypot(*(span[k] for span in parts.values())) for k in range(3))
    missing = [name for name in ("field", "lab") if name not in parts]
    return Answer(
        middle,
        notes=tuple(f"the {name} part is not known: the true error is larger" for name in missing),
        details={"low": low, "high": high, "field": field and field[1], "lab": lab and lab[1],
                 "parts": list(parts)},
        within_range=not missing,
    )


@formula(unit="as given", source="own-arithmetic", locator="root of summed squares",
         how="convention")
def range_of_errors(value: float, less: Sequence[float], more: Sequence[float],
                    least: float | None = None) -> Answer[float]:
    """The range of an answer that rests on several independent errors.

    Parameters
    ----------
    value : float
        The answer with every input at its reading [any one unit].
    less, more : sequence of float
        For each error, how far the answer falls and rises between the ends of the error's own
        range, all else at its reading [same unit].
    least : float or None
        Below which the answer cannot fall [same unit].

    Returns
    -------
    float
        The answer itself [same unit]; ``details`` hold ``low``, ``high`` and ``coverage_pct``.

    Notes
    -----
    Root of the summed squares, each way for itself. The ends lie where the errors' own do, at 90 %
    (``loambrief.agronomy.intervals``). Good while the answer bends little between them.
    """
    low, high = combined(value, *((value - d, value + u)
                                  for d, u in zip(less, more, strict=True)))
    return Answer(value, details={"low": low if least is None else max(low, least), "high": high,
                                  "coverage_pct": COVERAGE_PCT})


def answer_range(value: float, *alone: Iterable[float], least: float | None = 0.0) -> Result:
    """The same from the answers at the ends of each error [unit of the answer]."""
    ends = [(value, *answers) for answers in alone]
    return range_of_errors.evaluate(
        value=value, less=[value - min(e) for e in ends], more=[max(e) - value for e in ends],
        least=least)


@formula(unit="%", source="davis-2002-manure", locator="by the kind of material", how="computed")
def material_error_pct(kind: str, nutrient: str) -> Answer[float]:
    """Standard error of what a material is said to hold.

    Parameters
    ----------
    kind : str
        Kind of material, as in a case (``"manure"``, ``"fertilizer"``, ``"lime"``).
    nutrient : str
        ``P2O5``, ``K2O``, ``Zn``...; a kind without a row for it has one for any.

    Returns
    -------
    float
        [% of the content]. ``details`` hold ``sampling`` (None for a guarantee) and ``lab``.

    Raises
    ------
    UnknownName
        A kind of material without a row.

    Notes
    -----
    Square root of the sum of squares of sampling, CV / root(parts mixed), and laboratory; of a
    guarantee what it may fall short by before it counts as deficient. Sources: Table
    ``sampling/material_variation``.
    """
    table = load("sampling/material_variation")
    rows = {row["nutrient"]: row for row in table.named("material with a known spread", kind=kind)}
    row = rows.get(nutrient) or rows["any"]
    sampling = (None if row["sampling_cv_pct"] is None
                else composite_error_pct(row["sampling_cv_pct"], row["parts"]))
    return Answer(math.hypot(float(sampling or 0.0), row["lab_cv_pct"]), source=row["source"],
                  locator=row["locator"], how=row["how"],
                  details={"sampling": sampling, "lab": row["lab_cv_pct"]})


@formula(unit="1", source="own-arithmetic", locator="normal error about the result",
         how="convention")
def chance_below_critical(value: float, critical: float, error: NotNegative) -> Answer[float]:
    """How likely the true value lies below the level at which the advice turns.

    Parameters
    ----------
    value : float
        Result of the test [unit of the test].
    critical : float
        Level at which the advice turns [same unit].
    error : float
        Standard error of the result [same unit], as from ``soil_test_error``.

    Returns
    -------
    float
        Chance, 0 to 1 [1]: 0.5 on the line. ``details`` hold ``z`` and ``turns``: true where
        the other side has a chance of at least 1 in 6, that is within one error of the line.

    Notes
    -----
    The normal distribution at (critical - value) / error; without an error 0, 0.5 or 1. The error
    of a test is rarely normal far out, so a very small chance is only a small one. It speaks of the
    test alone, not of whether the crop responds. Sources: Statistics convention; normal-table.
    """
    apart = critical - value
    if error == 0:
        return Answer(0.5 if apart == 0 else float(apart > 0),
                      details={"z": None, "turns": apart == 0})
    z = apart / error
    return Answer(NormalDist().cdf(z), details={"z": z, "turns": abs(z) <= 1.0})


def _span(low: float | None, high: float | None, scale: float) -> tuple[float, float, float] | None:
    """Low, middle and high end of a range in the unit of the result."""
    if low is None:
        return None
    top = low if high is None else high
    return low * scale, (low + top) / 2 * scale, top * scale
