"""Phosphorus and potassium: units, soil-test classes and rates by a named guide.

Soil tests are elemental P and K; fertilizer labels and rates are P2O5 and K2O. The two are
never mixed: a formula says which one it takes and gives.
"""

from __future__ import annotations

from collections.abc import Sequence

from loambrief.agronomy import guides
from loambrief.agronomy.crops import Crop, find_crop
from loambrief.agronomy.guides import Guide, Rule
from loambrief.agronomy.possible import NotNegative, Percent, Positive, one_of
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.topics.nutrients.formulas_engine import ABOVE, Rate, evaluate, spread, worst_how
from loambrief.units import K2O_PER_K, P2O5_PER_P, SLICE_DEPTH_IN

LB_P2O5_PER_PPM = 20.0
"""P2O5 that moves the Bray P1 test by 1 ppm in Ohio [lb/ac]."""
LB_K2O_PER_PPM_AT_ZERO_CEC = 4.0
K2O_PER_PPM_PER_MEQ = 0.05
"""K2O that moves the K test by 1 ppm = 4 (1 + 0.05 CEC) [lb/ac]: the Tri-State build-up
term over its four years."""
FORMS = {"P": 1.0, "P2O5": P2O5_PER_P, "K": 1.0, "K2O": K2O_PER_K}
"""Mass of a form that holds one mass of its element."""


@formula(unit="lb/ac", source="psu-agguide-conversions", locator="ppm times 2 for a furrow slice",
         how="seen", valid={"depth_in": (0.5, 12.0)})
def ppm_to_lb_per_acre(ppm: NotNegative, depth_in: Positive) -> float:
    """Soil-test concentration as pounds per acre in the sampled depth.

    Parameters
    ----------
    ppm : float
        Concentration in the soil, dry basis [ppm].
    depth_in : float
        Thickness of the sampled layer [in].

    Notes
    -----
    2,000,000 lb of soil per acre in 6 2/3 in (about 1.32 g/cm3), so 1 ppm over 6 2/3 in is
    2 lb/ac and 0.3 lb/ac per inch. A denser or looser soil differs in proportion.
    """
    return ppm * 2.0 * depth_in / SLICE_DEPTH_IN


@formula(unit="same as amount", source="psu-agguide-conversions", locator="P to P2O5, K to K2O",
         how="convention")
def fertilizer_form(amount: NotNegative, form: str, wanted: str) -> float:
    """Amount of a nutrient in another form: as the element or as the oxide of labels and rates.

    Parameters
    ----------
    amount : float
        As ``form`` [any unit of mass].
    form, wanted : str
        ``P`` or ``P2O5``; ``K`` or ``K2O``.

    Raises
    ------
    UnknownName
        Not a form, or not one of the same nutrient.

    Notes
    -----
    P2O5 = 2.2914 P and K2O = 1.2046 K from atomic weights; trade tables round them to 2.29 or 2.3
    and to 1.2.
    """
    one_of("form of a nutrient", form, FORMS)
    same = tuple(name for name in FORMS if name[0] == form[0])
    one_of(f"form of {form[0]}", wanted, same)
    return amount * FORMS[wanted] / FORMS[form]


@formula(unit="lb/ac", source="flynn-a133", locator="guaranteed analysis", how="convention")
def nutrient_supplied(rate_lb_ac: NotNegative, grade_pct: Percent) -> float:
    """Nutrient that an application of a product brings.

    Parameters
    ----------
    rate_lb_ac : float
        Product as spread [lb/ac].
    grade_pct : float
        Nutrient in the product, as on the label [%].

    Notes
    -----
    Rate x grade / 100. For manure and compost it is the whole content; the share that counts
    in the first year is smaller for nitrogen, near to all for P2O5 and K2O.
    """
    return rate_lb_ac * grade_pct / 100


def _rotation(names: str | Sequence[str] | None) -> tuple[Crop, ...]:
    if not names:
        return ()
    listed = names.split("|") if isinstance(names, str) else names
    return tuple(find_crop(name.strip()) for name in listed if name.strip())


def _rule(guide: Guide, crop: Crop, nutrient: str, method: str | None) -> tuple[Rule | None, str]:
    """The rule and method to use; None with the method where the guide lacks it."""
    one_of("nutrient of a guide", nutrient, guides.TEST_OF)
    rules = guide.rules_for(nutrient, crop)
    if not rules:
        known = {name for r in guide.rules_for(nutrient) for name in r.crops}
        raise UnknownName(f"crop with a {nutrient} rule in guide {guide.name}", crop.name,
                          tuple(sorted(known)))
    if method is None:
        own = [r for r in rules if guides.ANY_CROP not in r.crops] or list(rules)
        if len(own) > 1:
            raise ImpossibleInput(
                f"{guide.name} has several {rules[0].test} tests for {crop.name}; say which: "
                "method = " + ", ".join(guide.methods(nutrient, crop))
            )
        return own[0], own[0].methods[0]
    return guide.rule(nutrient, crop, method), method


def _mismatch(guide: Guide, crop: Crop, nutrient: str, method: str) -> Answer:
    return Answer(
        None,
        source=guide.reference,
        how=guide.how,
        notes=(
            f"guide {guide.name} is calibrated on {', '.join(guide.methods(nutrient, crop))}; "
            f"the test was {method}. No rate: tests are not converted into each other.",
        ),
        details={"nutrient": nutrient, "method": method,
                 "calibrated_on": guide.methods(nutrient, crop)},
        within_range=False,
    )


def _details(rate: Rate, nutrient: str, method: str) -> dict[str, object]:
    raw = {
        "nutrient": nutrient,
        "method": method,
        "class": rate.class_name,
        "position": rate.position,
        "critical_ppm": rate.critical_ppm,
        "limit_ppm": rate.limit_ppm,
        "low": rate.low,
        "high": rate.high,
        "removal_lb_ac": rate.removal,
        "build_lb_ac": rate.build,
        "response_chance_pct": rate.response_chance_pct,
    }
    return {name: value for name, value in raw.items() if value is not None}


@formula(unit="", source="culman-2020-bulletin-974", locator="by the named guide", how="memory")
def soil_test_class(
    guide: str,
    crop: str,
    nutrient: str,
    test_ppm: NotNegative,
    method: str | None = None,
    cec_meq: NotNegative | None = None,
    rotation: str | Sequence[str] | None = None,
) -> Answer:
    """Class of a P or K soil test in a named guide, with its critical level.

    Parameters
    ----------
    guide : str
        Name of a shipped or loaded guide, such as ``tri_state_2020``.
    crop : str
        Crop, by any of its names.
    nutrient : str
        ``P2O5`` for a phosphorus test, ``K2O`` for a potassium test.
    test_ppm : float
        Soil test as elemental P or K, dry basis [ppm].
    method : str or None
        Extraction method; may be left out where the guide has only one for the crop.
    cec_meq : float or None
        Cation exchange capacity [meq/100 g]; needed where the critical level rests on it.
    rotation : str or sequence of str or None
        Other crops of the rotation (text separated by ``|``).

    Returns
    -------
    Answer
        Name of the class [no unit]; None if the guide was not calibrated on that method.
        Details: ``position`` (below, within, above), ``critical_ppm``, ``limit_ppm`` and,
        where published, ``response_chance_pct``.

    Raises
    ------
    UnknownName
        No such guide, crop or nutrient, or the guide has no rule for the crop.
    ImpossibleInput
        The rule needs a CEC or a method that was not given.

    Notes
    -----
    Source and how follow the guide. A test by another method gets no class: nothing is converted.
    Classes printed in whole numbers (11 to 15) hold from their lower bound. Sources: The guide's
    own reference.
    """
    book, plant = guides.find_guide(guide), find_crop(crop)
    rule, used = _rule(book, plant, nutrient, method)
    if rule is None:
        return _mismatch(book, plant, nutrient, used)
    rate = evaluate(book, rule, plant, test_ppm, 0.0, cec_meq, _rotation(rotation))
    details = {
        k: v for k, v in _details(rate, nutrient, used).items()
        if k in ("nutrient", "method", "position", "critical_ppm", "limit_ppm",
                 "response_chance_pct")
    }
    return Answer(rate.class_name, source=rule.reference, locator=rule.locator,
                  how=worst_how(rule), details=details)


@formula(unit="lb/ac", source="culman-2020-bulletin-974", locator="by the named guide",
         how="memory")
def nutrient_rate(
    guide: str,
    crop: str,
    nutrient: str,
    test_ppm: NotNegative,
    yield_: NotNegative | None = None,
    method: str | None = None,
    cec_meq: NotNegative | None = None,
    rotation: str | Sequence[str] | None = None,
    test_error_pct: NotNegative | None = None,
) -> Answer:
    """Rate of P2O5 or K2O that a named guide gives for a soil test and yield goal.

    Parameters
    ----------
    guide : str
        Name of a shipped or loaded guide, such as ``tri_state_2020``.
    crop : str
        Crop, by any of its names.
    nutrient : str
        ``P2O5`` for a phosphorus test, ``K2O`` for a potassium test.
    test_ppm : float
        Soil test as elemental P or K, dry basis [ppm].
    yield : float or None
        Yield goal [the crop's own unit per acre, as in the crop table]; not every guide
        needs it.
    method : str or None
        Extraction method; may be left out where the guide has only one for the crop.
    cec_meq : float or None
        Cation exchange capacity [meq/100 g]; needed where the rule rests on it.
    rotation : str or sequence of str or None
        Other crops of the rotation (text separated by ``|``).
    test_error_pct : float or None
        Relative error of the soil test, one standard deviation [%]; given, the details hold
        the rates at either end.

    Returns
    -------
    Answer
        Rate [lb/ac per year, as P2O5 or K2O]; None where the guide gives no rate or was not
        calibrated on the method (the notes say which). Details: class, position, levels,
        ``low``, ``high``, ``removal_lb_ac``, ``build_lb_ac``, ``cap_lb_ac``,
        ``response_chance_pct``, and ``upper_lb_ac`` = 0 where nothing should be added.

    Raises
    ------
    UnknownName
        No such guide, crop or nutrient, or the guide has no rule for the crop.
    ImpossibleInput
        The rule needs a yield, CEC or method not given.

    Notes
    -----
    Build-up rules: (critical - test) x lb per ppm + yield x removal + extra below the critical
    level; removal + extra up to the limit; above it nothing, or a drawdown that falls to nothing.
    Other kinds: classes, equations, tables (see ``loambrief.agronomy.guides``). The rate is not
    rounded here and never below zero. Nothing is converted from one test into another. Sources: The
    guide's own reference.
    """
    book, plant = guides.find_guide(guide), find_crop(crop)
    rule, used = _rule(book, plant, nutrient, method)
    if rule is None:
        return _mismatch(book, plant, nutrient, used)
    others = _rotation(rotation)

    def at(test: float) -> Rate:
        return evaluate(book, rule, plant, test, yield_, cec_meq, others)

    rate = at(test_ppm) if test_error_pct is None else spread(at, test_ppm, test_error_pct)
    details = _details(rate, nutrient, used)
    if rule.has("cap_lb_per_year"):
        details["cap_lb_ac"] = rule.number("cap_lb_per_year")
    if rate.position == ABOVE and rate.value == 0:
        details["upper_lb_ac"] = 0.0
    return Answer(rate.value, source=rule.reference, locator=rule.locator, how=worst_how(rule),
                  notes=rate.notes, details=details, within_range=rate.within_range)


@formula(unit="ppm", source="mullen-2012-soil-test-change", locator="lb per ppm of soil test",
         how="seen", valid={"cec_meq": (5.0, 30.0)})
def soil_test_change(nutrient: str, lb_ac: float, cec_meq: NotNegative | None = None) -> Answer:
    """How far an amount of P2O5 or K2O, added or removed, moves the soil test.

    Parameters
    ----------
    nutrient : str
        ``P2O5`` or ``K2O``.
    lb_ac : float
        Net amount added, negative if removed [lb/ac, as P2O5 or K2O].
    cec_meq : float or None
        Cation exchange capacity [meq/100 g]; needed for K2O.

    Returns
    -------
    Answer
        Change of the test [ppm of P or K]; a yearly drift over several years, not a promise
        for one.

    Raises
    ------
    UnknownName
        Another nutrient.
    ImpossibleInput
        K2O without a CEC.

    Notes
    -----
    20 lb P2O5 per ppm (Bray P1); 6 to 10 lb K2O per ppm, which 4 (1 + 0.05 CEC) gives at CEC 10 and
    30. Soils rich in clay or lime may take several times as much. Sources: vitosh-1995-e2567.
    """
    if nutrient == "P2O5":
        return Answer(lb_ac / LB_P2O5_PER_PPM)
    if nutrient != "K2O":
        raise UnknownName("nutrient", nutrient, guides.NUTRIENTS)
    if cec_meq is None:
        raise ImpossibleInput("soil_test_change needs cec_meq for K2O")
    per_ppm = LB_K2O_PER_PPM_AT_ZERO_CEC * (1 + K2O_PER_PPM_PER_MEQ * cec_meq)
    return Answer(lb_ac / per_ppm, details={"lb_per_ppm": per_ppm}, how="computed")
