"""One phosphorus or potassium test with everything needed to read it."""

from dataclasses import dataclass

from loambrief.agronomy.guides import TEST_OF, Guide, Rule
from loambrief.agronomy.registry import Result
from loambrief.case.schema import Increment, Sample
from loambrief.findings.confidence import MIN_CORES
from loambrief.findings.model import Place
from loambrief.findings.places import place_of
from loambrief.topics.nutrients.formulas import nutrient_supplied
from loambrief.topics.nutrients.formulas_engine import BELOW, WITHIN
from loambrief.topics.nutrients.state import RESULT_FIELD, Cec, NutrientState
from loambrief.topics.sampling.formulas_error import chance_below_critical
from loambrief.topics.sampling.pooled import CompositeError, typical_error
from loambrief.topics.stratification.findings import STRONG_RATIO
from loambrief.topics.stratification.state import layer_state
from loambrief.units import Quantity, plain

CARRIES_NUTRIENTS = ("fertilizer", "manure", "compost")
ANALYSIS_FIELD = {"P2O5": "p2o5", "K2O": "k2o"}


@dataclass(frozen=True)
class Credits:
    """What was spread after the sample was taken, which the test cannot know of."""

    pounds: float = 0.0
    """Nutrient supplied [lb/ac]."""
    materials: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    """``materials``, ``unknown``: materials counted, and materials whose content the case does not
    give."""
    results: tuple[Result, ...] = ()


@dataclass(frozen=True)
class TestReading:
    """One P or K test with what is needed to read it."""

    state: NutrientState
    sample: Sample
    increment: Increment
    nutrient: str
    quantity: Quantity
    method: str
    rule: Rule
    cec: Cec | None
    error: CompositeError | None
    credits: Credits

    @property
    def guide(self) -> Guide:
        """The guide in use; a reading exists only where there is one."""
        assert self.state.guide is not None
        return self.state.guide

    @property
    def test(self) -> str:
        return TEST_OF[self.nutrient]

    @property
    def place(self) -> Place:
        return place_of(self.sample, self.increment)

    @property
    def finding_id(self) -> str:
        return f"nutrients.{self.test.lower()}.{self.sample.id}"


def credits_since(state: NutrientState, sample: Sample, nutrient: str) -> Credits:
    """P2O5 or K2O spread between sampling and the date of the advice."""
    pounds, materials, unknown, results = 0.0, [], [], []
    for entry in state.case.earlier_applications:
        late = sample.date < entry.date <= state.case.case.date
        if not late or entry.kind not in CARRIES_NUTRIENTS:
            continue
        analysis = entry.analysis
        grade = plain(getattr(analysis, ANALYSIS_FIELD[nutrient])) if analysis else None
        if grade is None:
            if entry.kind != "fertilizer" or analysis is None:
                unknown.append(entry.material)
            continue
        if not entry.rate.plain:
            unknown.append(entry.material)
            continue
        result = nutrient_supplied.evaluate(rate_lb_ac=entry.rate.value, grade_pct=grade)
        pounds += float(result.value)
        materials.append(entry.material)
        results.append(result)
    return Credits(pounds, tuple(materials), tuple(unknown), tuple(results))


def spans_level(reading: TestReading, critical: float) -> bool:
    """True if the error of the test reaches across the critical level."""
    if reading.error is None:
        return False
    share = reading.error.pct / 100
    value = reading.quantity.value
    return value * (1 - share) < critical <= value * (1 + share)


@dataclass(frozen=True)
class Turn:
    """A line of the guide that the test is no further from than its own error."""

    line: float
    """Level at which the answer turns [ppm]."""
    chance: Result
    """Chance that the true value lies below it [1]."""
    error_pct: float
    """Error of the test [%]."""


def turning_line(reading: TestReading, rate: Result) -> Turn | None:
    """The critical level or the upper limit, where the test is within its error of it.

    Where the cores were not counted, the error is taken as that of a good composite: it is
    no smaller than that.
    """
    value = reading.quantity.value
    error = reading.error or typical_error(RESULT_FIELD[reading.nutrient], MIN_CORES, value)
    if error is None or not reading.quantity.plain:
        return None
    lines = [float(x) for x in (rate.details.get("critical_ppm"), rate.details.get("limit_ppm"))
             if isinstance(x, int | float)]
    for line in sorted(dict.fromkeys(lines), key=lambda x: abs(x - value)):
        chance = chance_below_critical.evaluate(value=value, critical=line,
                                                error=error.pct / 100.0 * value)
        if chance.details["turns"]:
            return Turn(line, chance, error.pct)
    return None


def may_skip(rate: Result) -> bool:
    """True in the maintenance range of a build-up guide: the rate only replaces the harvest."""
    return (rate.details.get("position") == WITHIN and bool(rate.value)
            and rate.details.get("removal_lb_ac") is not None)


def still_fed(rate: Result) -> bool:
    """True where a guide asks for some though the test is not low, and not as replacement."""
    return (rate.details.get("position") != BELOW and bool(rate.value)
            and rate.details.get("removal_lb_ac") is None)


def skip_reason(reading: TestReading) -> str | None:
    """Why phosphorus is left out this year where it may be skipped: a pile-up, or water close."""
    if reading.nutrient != "P2O5":
        return None
    layers = layer_state(reading.sample)
    layer = layers.layer("phosphorus") if layers is not None else None
    piled = layer is not None and layer.ratio is not None and layer.ratio >= STRONG_RATIO
    near = bool(reading.state.case.field.sensitive_areas)
    if piled:
        return "both" if near else "layer"
    return "water" if near else None
