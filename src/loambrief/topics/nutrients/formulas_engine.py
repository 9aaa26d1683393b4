"""Turns a guide's rule and a soil test into a class, a critical level and a rate.

Pure arithmetic on a :class:`~loambrief.agronomy.guides.Rule`; the registered formulas of
``nutrients`` wrap it.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

from loambrief.agronomy.crops import Crop
from loambrief.agronomy.guides import ANY_CROP, Guide, Rule, SoilTestClass
from loambrief.agronomy.intervals import combined, log_ends, within_limits
from loambrief.errors import ImpossibleInput

BELOW, WITHIN, ABOVE = "below", "within", "above"


@dataclass(frozen=True)
class Rate:
    """What a rule says about one soil test."""

    value: float | None
    """Rate [lb/ac of P2O5 or K2O]; None where the guide gives none."""
    class_name: str
    position: str
    """``"below"`` the critical level, ``"within"`` (optimum, maintenance) or ``"above"``."""
    critical_ppm: float | None
    limit_ppm: float | None = None
    """``critical_ppm``, ``limit_ppm``: level from which no response is expected; level above which
    nothing is advised."""
    low: float | None = None
    high: float | None = None
    """``low``, ``high``: range printed by the guide itself [lb/ac]."""
    removal: float | None = None
    build: float | None = None
    """``removal``, ``build``: parts of a build-up rate [lb/ac]."""
    response_chance_pct: float | None = None
    within_range: bool = True
    """False where the test lies beyond the guide's table."""
    notes: tuple[str, ...] = ()


def evaluate(
    guide: Guide,
    rule: Rule,
    crop: Crop,
    test_ppm: float,
    crop_yield: float | None,
    cec_meq: float | None,
    rotation: tuple[Crop, ...] = (),
) -> Rate:
    """Apply one rule of a guide.

    Parameters
    ----------
    test_ppm : float
        Soil test, elemental [ppm], by a method of the rule.
    crop_yield : float or None
        Yield goal [the crop's own unit per acre].
    cec_meq : float or None
        Cation exchange capacity [meq/100 g].
    rotation : tuple of Crop
        Crops before and after; used where the guide lets the most demanding crop decide.

    Raises
    ------
    ImpossibleInput
        The rule needs a yield or a CEC that was not given.
    """
    if rule.needs_yield and crop_yield is None:
        raise ImpossibleInput(f"{guide.name} needs the yield goal of {crop.name}")
    if rule.needs_cec and cec_meq is None:
        raise ImpossibleInput(f"{guide.name} needs cec_meq for {rule.nutrient}")
    return _KINDS[rule.kind](guide, rule, crop, test_ppm, crop_yield, cec_meq, rotation)


def levels(rule: Rule, cec_meq: float | None) -> tuple[float, float]:
    """Critical level and upper limit of a build-up rule [ppm].

    Raises ``ImpossibleInput`` if they depend on CEC and none was given.
    """
    if rule.needs_cec and cec_meq is None:
        raise ImpossibleInput(f"the critical level of {rule.test} needs cec_meq")
    for band in rule.by_cec:
        if band.up_to_meq is None or cec_meq <= band.up_to_meq:  # type: ignore[operator]
            return band.critical_ppm, band.limit_ppm
    critical = rule.number("critical_ppm") + rule.number("critical_ppm_per_meq") * (cec_meq or 0.0)
    if rule.has("limit_above_critical_ppm"):
        return critical, critical + rule.number("limit_above_critical_ppm")
    return critical, rule.number("limit_ppm")


def _build_up(guide, rule, crop, test_ppm, crop_yield, cec_meq, rotation) -> Rate:
    critical, limit = levels(rule, cec_meq)
    notes: list[str] = []
    if guide.rotation == "highest critical level":
        for other in rotation:
            theirs = guide.rule(rule.nutrient, other, rule.methods[0])
            if theirs is None or theirs.kind != "build_up":
                continue
            level = levels(theirs, cec_meq)
            if level[0] > critical:
                critical, limit = level
                notes.append(f"critical level set by {other.name} in the rotation")
    per_unit = rule.values["removal_lb_per_unit"][rule.crop_name(crop)]
    removal = per_unit * crop_yield + rule.number("extra_lb")
    per_ppm = rule.number("build_lb_per_ppm") + rule.number("build_lb_per_ppm_per_meq") * (
        cec_meq or 0.0
    )
    build = 0.0
    if test_ppm < critical:
        build = (critical - test_ppm) * per_ppm
        value, name, position = removal + build, "below the critical level", BELOW
    elif test_ppm <= limit:
        value, name, position = removal, "maintenance range", WITHIN
    else:
        span = rule.number("drawdown_ppm")
        left = max(0.0, 1.0 - (test_ppm - limit) / span) if span else 0.0
        value, position = removal * left, ABOVE
        name = "drawdown range" if left > 0 else "above the upper limit"
    return Rate(value, name, position, critical, limit, removal=removal, build=build,
                notes=tuple(notes))


def class_of(classes: tuple[SoilTestClass, ...], test_ppm: float) -> SoilTestClass:
    """The class that holds a test value (classes run upward)."""
    return [c for c in classes if c.holds(test_ppm)][-1]


def _zero(found: SoilTestClass) -> bool:
    return found.rate_lb == 0


def _classes(guide, rule, crop, test_ppm, crop_yield, cec_meq, rotation) -> Rate:
    found = class_of(rule.classes, test_ppm)
    names = [c.name for c in rule.classes]
    critical = rule.classes[names.index(rule.values["critical_class"])]
    unpaid = [c for c in rule.classes if _zero(c)]
    limit = unpaid[0].lower_ppm if unpaid else None
    if names.index(found.name) < names.index(critical.name):
        position = BELOW
    else:
        top = found is rule.classes[-1] and found is not critical
        position = ABOVE if _zero(found) or top else WITHIN
    scale = crop_yield or 0.0
    value: float | None
    if found.rate_lb is not None:
        value, low, high = found.rate_lb, None, None
    elif found.low_lb is not None and found.high_lb is not None:
        low, high = found.low_lb, found.high_lb
        value = (low + high) / 2
    elif found.lb_per_unit is not None:
        value, low, high = found.lb_per_unit * scale, None, None
    elif found.low_lb_per_unit is not None and found.high_lb_per_unit is not None:
        low, high = found.low_lb_per_unit * scale, found.high_lb_per_unit * scale
        value = (low + high) / 2
    else:
        value = low = high = None
    notes = () if value is not None else (f"{guide.name} gives the class but no rate",)
    return Rate(value, found.name, position, critical.lower_ppm, limit, low, high,
                response_chance_pct=found.response_chance_pct, notes=notes)


def _equation(guide, rule, crop, test_ppm, crop_yield, cec_meq, rotation) -> Rate:
    critical = rule.number("critical_ppm")
    if test_ppm >= critical:
        return Rate(0.0, "at or above the critical level", ABOVE, critical, critical)
    scale = crop_yield or 0.0
    raw = (
        rule.number("constant")
        + rule.number("per_yield") * scale
        + rule.number("per_test") * test_ppm
        + rule.number("per_yield_test") * scale * test_ppm
    )
    return Rate(max(raw, 0.0), "below the critical level", BELOW, critical, critical)


def _points(guide, rule, crop, test_ppm, crop_yield, cec_meq, rotation) -> Rate:
    critical = rule.number("critical_ppm")
    if test_ppm > critical:
        return Rate(0.0, "above the critical level", ABOVE, critical, critical,
                    notes=("a small starter rate may still be used",))
    tests, rates = rule.values["test_ppm"], rule.values["rate_lb"]
    inside = tests[0] <= test_ppm <= tests[-1]
    if test_ppm >= tests[-1]:
        value = rates[-1]
    else:
        above = next(i for i, t in enumerate(tests) if t >= test_ppm)
        if above == 0:
            value = rates[0]
        else:
            share = (test_ppm - tests[above - 1]) / (tests[above] - tests[above - 1])
            value = rates[above - 1] + share * (rates[above] - rates[above - 1])
    notes = () if inside else ("the table ends before this test value; its last rate is given",)
    return Rate(float(value), "at or below the critical level", BELOW, critical, critical,
                within_range=inside, notes=notes)


def _critical(guide, rule, crop, test_ppm, crop_yield, cec_meq, rotation) -> Rate:
    critical = rule.number("critical_ppm")
    if test_ppm >= critical:
        return Rate(0.0, "at or above the critical level", ABOVE, critical, critical)
    return Rate(None, "below the critical level", BELOW, critical, critical,
                notes=(f"{guide.name} says whether to apply, not how much",))


_KINDS: dict[str, Callable[..., Rate]] = {
    "build_up": _build_up,
    "classes": _classes,
    "equation": _equation,
    "points": _points,
    "critical": _critical,
}


def spread(rate_at: Callable[[float], Rate], test_ppm: float, error_pct: float) -> Rate:
    """The rate with its range from the error of the soil test and from what the guide leaves open.

    ``error_pct`` is the relative error of the test, one standard deviation.
    """
    centre = rate_at(test_ppm)
    if centre.value is None:
        return centre
    rates = [centre, *(rate_at(test) for test in log_ends(test_ppm, error_pct))]
    by_test = [r.value for r in rates if r.value is not None]
    # a span that the guide prints counts as the widest of the classes that the test reaches
    open_ = [_left_open(r) for r in rates]
    by_guide = (centre.value - max(down for down, _ in open_),
                centre.value + max(up for _, up in open_))
    low, high = combined(centre.value, by_test, by_guide)
    return replace(centre, low=max(low, 0.0), high=high)


def _left_open(rate: Rate) -> tuple[float, float]:
    """How far the guide's own span lets a rate go down and up [lb/ac]."""
    if rate.value is None or rate.low is None or rate.high is None:
        return 0.0, 0.0
    low, high = within_limits(rate.value, rate.low, rate.high)
    return rate.value - low, high - rate.value


def worst_how(rule: Rule) -> str:
    """``memory`` as soon as one value of the rule was not seen in print."""
    grades = {rule.how, *rule.how_of.values()}
    return next((g for g in ("memory", "computed", "seen") if g in grades), rule.how)


def covers(rule: Rule, crop: Crop) -> bool:
    """True if the rule names the crop itself rather than every crop."""
    return rule.crop_name(crop) not in (None, ANY_CROP)
