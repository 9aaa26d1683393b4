"""What is said of a phosphorus or potassium test: title, body and evidence for and against."""

from collections.abc import Iterator

from loambrief.agronomy.intervals import COVERAGE_PCT
from loambrief.agronomy.registry import Result
from loambrief.findings.model import Evidence, Grade, Message, Need, Side, say, stated
from loambrief.topics.nutrients.formulas_engine import ABOVE, BELOW, covers
from loambrief.topics.nutrients.reading import TestReading, Turn, may_skip, skip_reason, still_fed
from loambrief.topics.nutrients.state import RESULT_FIELD


def title(position: str, spans: bool, rate: Result, needs: tuple[Need, ...] = (),
          turns: bool = False) -> str:
    if position == BELOW:
        return "title_near" if spans else "title_low"
    if still_fed(rate):
        return "title_fed"
    if position == ABOVE and rate.value:
        return "title_drawdown"
    if position != ABOVE and (needs or not may_skip(rate)):
        return "title_enough"
    if turns:
        return "title_at_line"
    return "title_high" if position == ABOVE else "title_skip"


def body(reading: TestReading, rate: Result, position: str, severity: int,
          needs: tuple[Need, ...]) -> Iterator[Message]:
    details = rate.details
    yield say("nutrients.level_body", test=reading.test, value=reading.quantity.value,
              censor=reading.quantity.censor, position=position,
              critical=details["critical_ppm"], limit=details.get("limit_ppm"),
              severe=severity == 3, fed=still_fed(rate))
    if rate.value is not None and needs and needs[0].amount is not None:
        yield say("nutrients.rate_body", nutrient=reading.nutrient, amount=float(rate.value),
                  low=details.get("low"), high=details.get("high"),
                  removal=details.get("removal_lb_ac"), build=details.get("build_lb_ac"),
                  position=position, coverage=COVERAGE_PCT,
                  error=reading.error.pct if reading.error else None,
                  optional=may_skip(rate))
    elif may_skip(rate) and skip_reason(reading) is not None:
        yield say("nutrients.skip_body", nutrient=reading.nutrient, why=skip_reason(reading),
                  rate=float(rate.value),
                  places=list(reading.state.case.field.sensitive_areas))
    elif position == BELOW and rate.value is None:
        yield say("nutrients.no_rate_body", nutrient=reading.nutrient,
                  guide=reading.guide.title)
    if reading.credits.pounds:
        yield say("nutrients.credit_body", nutrient=reading.nutrient,
                  pounds=reading.credits.pounds, materials=list(reading.credits.materials),
                  left=needs[0].amount if needs and needs[0].amount is not None else 0.0)
    removal = details.get("removal_lb_ac")
    if removal is not None:
        extra = reading.rule.values.get("extra_lb", 0.0)
        yield say("nutrients.guide_removal_body", nutrient=reading.nutrient, extra=extra,
                  removal=float(removal) - float(extra))
    chance = details.get("response_chance_pct")
    if position == BELOW or chance is not None:
        yield say("nutrients.benefit_body", chance=chance, test=reading.test)


def turn_body(reading: TestReading, turn: Turn) -> Message:
    """That the answer turns at the line, and how likely the soil lies below it."""
    return say("nutrients.turn_body", line=turn.line, value=reading.quantity.value,
               error=turn.error_pct, below=100.0 * turn.chance.number)


def pooled(reading: TestReading) -> Iterator[Message]:
    """That the value is the mean of several samples, and how far apart they are."""
    spread = reading.increment.spread.get(RESULT_FIELD[reading.nutrient])
    if spread is not None:
        yield say("nutrients.pooled_body", n=spread.n, low=min(spread.values),
                  high=max(spread.values), mean=spread.mean)


def evidence(reading: TestReading, rate: Result, critical: float,
             spans: bool) -> Iterator[Evidence]:
    state, guide = reading.state, reading.guide
    yield stated("nutrients.evidence_test", test=reading.test, value=reading.quantity.value,
                 censor=reading.quantity.censor, method=reading.method)
    yield stated("nutrients.evidence_guide", rate, guide=guide.title, kind=guide.kind,
                 named=state.guide_named, memory=rate.how == "memory", own=guide.own)
    if "critical level set by" in " ".join(rate.notes):
        yield Evidence(Side.CONTEXT, say("nutrients.evidence_rotation",
                                         crops=list(state.rotation)), Grade.CALCULATED,
                       (rate.source,))
    if not covers(reading.rule, state.crop):
        yield Evidence(Side.AGAINST, say("nutrients.evidence_any_crop", crop=state.crop.name),
                       Grade.CALCULATED, (rate.source,))
    if not rate.within_range:
        yield Evidence(Side.AGAINST, say("nutrients.evidence_beyond"), Grade.CALCULATED,
                       (rate.source,))
    if not state.depth_fits(reading.increment):
        yield Evidence(Side.AGAINST, say("nutrients.evidence_depth", depth=guide.depth_in,
                                         taken=reading.increment.bottom_in), Grade.MEASURED,
                       (rate.source,))
    if not state.in_region:
        yield Evidence(Side.AGAINST, say("nutrients.evidence_region", regions=list(guide.regions),
                                         region=state.region_name), Grade.CALCULATED,
                       (rate.source,))
    if spans and reading.error is not None:
        yield stated("nutrients.evidence_spans", reading.error.result, critical=critical,
                     error=reading.error.pct)
    if reading.credits.unknown:
        yield stated("nutrients.evidence_unknown_credit", materials=list(reading.credits.unknown),
                     nutrient=reading.nutrient)
    if reading.cec is not None and reading.cec.kind != "laboratory":
        yield stated("nutrients.evidence_cec", *reading.cec.results, cec=reading.cec.value,
                     kind=reading.cec.kind)
