"""Whether a pH suits the crop upwards, and what follows where it does not."""

from dataclasses import dataclass

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile
from loambrief.case.select import sample_area_ac
from loambrief.errors import UnknownName
from loambrief.findings.model import Evidence, Need, NeedKind, Side, on_side, say, stated
from loambrief.topics.acidity.formulas_targets import SUITS, TOO_ALKALINE, ph_suitability
from loambrief.topics.acidity.state import AcidState

FAR_ABOVE_PH = 1.0
"""A pH at the upper limit of a crop is a fault where the best range ends so far below that
limit, whatever the error of the reading: our own step."""
SODIUM_PH = 8.5
"""Above this a soil without a sodium test deserves one (classes of Handbook 60)."""


@dataclass(frozen=True)
class Fit:
    """Where the pH lies in what the present crop likes and bears."""

    crop: str
    """As the case names it."""
    result: Result | None
    """None where the crop is not in the crop list; its value is None where no range is held."""
    limit: float | None = None
    """Highest pH that the crop bears [pH]."""
    near: bool = False
    """PH and that limit are closer than the error of the pH."""

    @property
    def suits(self) -> bool:
        return self.result is not None and self.result.value == SUITS

    @property
    def too_alkaline(self) -> bool:
        return self.result is not None and self.result.value == TOO_ALKALINE

    @property
    def best(self) -> tuple[float | None, float | None]:
        """Ends of the range that the crop likes best [pH]."""
        about = {} if self.result is None else self.result.details
        low, high = about.get("best_low"), about.get("best_high")
        return (low if isinstance(low, float) else None, high if isinstance(high, float) else None)

    @property
    def far_above_best(self) -> bool:
        high = self.best[1]
        return high is not None and self.limit is not None and self.limit - high >= FAR_ABOVE_PH

    @property
    def place(self) -> str | None:
        """Class of the pH; None where nothing published judges it."""
        return None if self.result is None or self.result.value is None else str(self.result.value)


def fit(case: CaseFile, state: AcidState) -> Fit:
    """Hold the pH of the tilled layer against the range of the present crop."""
    crop = case.field.crop
    assert state.ph is not None
    try:
        with subject(state.place, crop):
            result = ph_suitability.evaluate(crop=crop, soil_ph=state.ph)
    except UnknownName:
        return Fit(crop, None)
    limit = result.details.get("limit_high")
    if not isinstance(limit, float):
        return Fit(crop, result)
    return Fit(crop, result, limit, abs(state.ph - limit) <= state.ph_error)


def fit_evidence(state: AcidState, found: Fit) -> tuple[Evidence, ...]:
    """The published range, or that none is held where the pH is high."""
    if found.result is None or found.place is None:
        return (stated("acidity.against_no_range", crop=found.crop),)
    about = found.result.details
    side = Side.FOR if found.suits or found.too_alkaline else Side.CONTEXT
    return (on_side(side, "acidity.for_range", found.result, crop=found.crop, low=about["best_low"],
                    high=about["best_high"], limit_low=about["limit_low"],
                    limit_high=about["limit_high"]),)


def alkaline_needs(case: CaseFile, state: AcidState) -> tuple[Need, ...]:
    """What to test in a soil too alkaline for its crop: leaves, and sodium above pH 8.5."""
    area = sample_area_ac(case, state.sample)
    needs = [Need(kind=NeedKind.MEASURE, item="tissue", unit="", place=state.place, area_ac=area,
                  text=say("acidity.need_leaf", crop=case.field.crop, where=state.place),
                  sources=("fao-ecocrop",))]
    if wants_sodium(state):
        needs.append(Need(kind=NeedKind.MEASURE, item="sodium", unit="", place=state.place,
                          area_ac=area, text=say("acidity.need_sodium", where=state.place,
                                                 limit=SODIUM_PH),
                          sources=("richards-1954-hb60",)))
    return tuple(needs)


def wants_sodium(state: AcidState) -> bool:
    """pH speaks of sodium, and no test of it was made."""
    if state.ph is None or state.main is None or state.ph <= SODIUM_PH:
        return False
    extract = state.main.extract
    return (state.main.sodium is None and state.main.exchangeable_sodium is None
            and (extract is None or extract.sodium is None))
