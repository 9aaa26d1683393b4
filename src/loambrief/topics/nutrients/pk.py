"""Phosphorus and potassium of one sample, held against the chosen guide."""

from collections.abc import Iterator

from loambrief.agronomy.guides import TEST_OF, Rule
from loambrief.agronomy.intervals import log_ends
from loambrief.agronomy.registry import Result, recording, subject
from loambrief.case.schema import Increment, Sample
from loambrief.case.select import sample_area_ac
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import feeds_stock, seeded_in_rows
from loambrief.findings.model import nutrient as judged
from loambrief.findings.model import say
from loambrief.findings.places import place_of
from loambrief.topics.nutrients import pk_words as words
from loambrief.topics.nutrients.formulas import nutrient_rate
from loambrief.topics.nutrients.formulas_engine import ABOVE, BELOW
from loambrief.topics.nutrients.manure import stop_manure
from loambrief.topics.nutrients.reading import (
    TestReading,
    Turn,
    credits_since,
    may_skip,
    skip_reason,
    spans_level,
    still_fed,
    turning_line,
)
from loambrief.topics.nutrients.seed_row import seed_row_limit
from loambrief.topics.nutrients.state import (
    METHOD_FIELD,
    RESULT_FIELD,
    Cec,
    NutrientState,
    cec_of,
    zone,
)
from loambrief.topics.sampling.age import age_params, too_old, too_old_body
from loambrief.topics.sampling.pooled import composite_error
from loambrief.units import Quantity

OPEN_CHANCE = 1.0 / 3.0
"""Chance of lying below the line from which a test above it leaves the choice open (our own
step); with less it is not needed, at lower confidence."""
SEVERE_SHARE = 0.5
"""A test below half the critical level counts as severe (our own cut, stated in the text)."""


def _rate(reading: TestReading, test_ppm: float) -> Result:
    """The guide's answer for a test value, with the range from the error of the test."""
    error = reading.error
    return nutrient_rate.evaluate(
        guide=reading.guide.name,
        crop=reading.state.crop.name,
        nutrient=reading.nutrient,
        test_ppm=test_ppm,
        method=reading.method,
        cec_meq=reading.cec.value if reading.cec else None,
        rotation="|".join(reading.state.rotation) or None,
        test_error_pct=error.pct if error else None,
        **{"yield": reading.state.crop_yield if reading.rule.needs_yield else None},
    )


def assess_sample(
    state: NutrientState, sample: Sample, increment: Increment, nutrient: str
) -> Iterator[m.Finding | m.Missing]:
    """What one sample says of phosphorus or potassium.

    At most one finding, and a Missing for each thing that keeps a rate from being given.
    """
    test = TEST_OF[nutrient]
    quantity = getattr(increment, RESULT_FIELD[nutrient])
    method = getattr(sample.methods, METHOD_FIELD[nutrient])
    place = place_of(sample, increment)

    def open_question(reason: str, settled_by: str, **params: object) -> m.Judgement:
        return judged(nutrient, place, m.Verdict.NOT_JUDGED, reason, settled_by, test=test,
                      crop=state.crop.name, guide=state.guide.title if state.guide else "",
                      **params)

    if quantity is None or method is None:
        reason = ("not_measured", "soil_test") if quantity is None else ("method_not_stated",
                                                                         "method")
        yield m.lacks("nutrients.missing_test",
                      judgements=(open_question(*reason, methods=_calibrated(state, nutrient)),),
                      test=test, where=place, nutrient=nutrient)
        return
    if state.guide is None:
        yield _unread(state, sample, place, test, quantity, say("nutrients.no_guide_body"),
                      open_question("no_guide", "guide"))
        return
    if not state.guide.rules_for(nutrient, state.crop):
        yield _unread(state, sample, place, test, quantity,
                      say("nutrients.no_crop_body", guide=state.guide.title, crop=state.crop.name),
                      open_question("no_rule_for_crop", "other_guide"))
        return
    rule = state.guide.rule(nutrient, state.crop, method)
    if rule is None:
        yield _mismatch(state, sample, place, nutrient, quantity, method)
        return
    if too_old(state.case, sample):
        yield _unread(state, sample, place, test, quantity, too_old_body(state.case, sample),
                      open_question("sample_too_old", "soil_test", methods=[method],
                                    **age_params(state.case, sample)),
                      (_after_test(state, sample, nutrient),))
        return
    with subject(place):
        cec = cec_of(sample, increment) if rule.needs_cec else None
    if rule.needs_cec and not _usable(rule, cec):
        yield m.lacks("nutrients.missing_cec", where=place, nutrient=nutrient,
                      guide=state.guide.title)
        yield _unread(state, sample, place, test, quantity, say("nutrients.no_cec_body"),
                      open_question("cec_missing", "cec"))
        return
    if rule.needs_yield and state.crop_yield is None:
        yield m.lacks("nutrients.missing_yield", nutrient=nutrient)
        yield _unread(state, sample, place, test, quantity, say("nutrients.no_yield_body"),
                      open_question("yield_missing", "yield_goal"))
        return
    with subject(place):
        reading = TestReading(
            state, sample, increment, nutrient, quantity, method, rule, cec,
            composite_error(RESULT_FIELD[nutrient], sample, increment, quantity.value)
            if quantity.plain else None,
            credits_since(state, sample, nutrient),
        )
        if quantity.plain:
            yield _read(reading)
        else:
            yield _read_limit(reading)


def _usable(rule: Rule, cec: Cec | None) -> bool:
    """True if the CEC settles the rule: a full value, or a bound beyond the last band."""
    if cec is None:
        return False
    if cec.kind != "at least":
        return True
    ends = [b.up_to_meq for b in rule.by_cec if b.up_to_meq is not None]
    return bool(rule.by_cec) and cec.value > max(ends, default=0.0)


def _unread(state: NutrientState, sample: Sample, place: m.Place, test: str, quantity: Quantity,
            why: m.Message, judgement: m.Judgement, needs: tuple[m.Need, ...] = ()) -> m.Finding:
    """A test that cannot be read: no class, no rate, and the reason."""
    return m.Finding(
        id=f"nutrients.{test.lower()}.{sample.id}",
        title=say("nutrients.title_unread", test=test, where=place),
        status=m.Status.UNCERTAIN, severity=0,
        confidence=state.confidence(sample), grade=m.Grade.MEASURED,
        value=quantity.value if quantity.plain else None, unit="ppm", place=place, body=(why,),
        needs=needs, judgements=(judgement,),
    )


def _after_test(state: NutrientState, sample: Sample, nutrient: str) -> m.Need:
    """Feeding that only a new sample can decide."""
    return m.Need(
        kind=m.NeedKind.NUTRIENT, item=nutrient, unit="lb/ac",
        text=say("nutrients.need_after_test", nutrient=nutrient), place=zone(sample),
        area_ac=sample_area_ac(state.case, sample), params={"first": "soil-sample"},
    )


def _calibrated(state: NutrientState, nutrient: str) -> list[str]:
    """Methods that the guide in use reads for the crop."""
    return list(state.guide.methods(nutrient, state.crop)) if state.guide else []


def _mismatch(state: NutrientState, sample: Sample, place: m.Place, nutrient: str,
              quantity: Quantity, method: str) -> m.Finding:
    guide = state.guide
    assert guide is not None
    calibrated = guide.methods(nutrient, state.crop)
    results: tuple[Result, ...] = ()
    if quantity.plain:
        with subject(place):
            results = (nutrient_rate.evaluate(
                guide=guide.name, crop=state.crop.name, nutrient=nutrient,
                test_ppm=quantity.value, method=method),)
    test = TEST_OF[nutrient]
    return m.Finding(
        id=f"nutrients.{test.lower()}.{sample.id}",
        title=say("nutrients.title_mismatch", test=test, where=place),
        status=m.Status.UNCERTAIN, severity=0,
        confidence=state.confidence(sample, method_matches=False), grade=m.Grade.MEASURED,
        value=quantity.value if quantity.plain else None, unit="ppm", place=place,
        body=(say("nutrients.mismatch_body", guide=guide.title, method=method,
                  calibrated=list(calibrated)),),
        sources=(guide.reference,), results=results,
        judgements=(judged(nutrient, place, m.Verdict.NOT_JUDGED, "method_without_rule",
                           "method_of_guide", test=test, guide=guide.title, method=method,
                           methods=list(calibrated), crop=state.crop.name),),
    )


def _read(reading: TestReading) -> m.Finding:
    rate = _rate(reading, reading.quantity.value)
    position = str(rate.details["position"])
    critical = float(rate.details["critical_ppm"])
    spans = spans_level(reading, critical)
    severity = _severity(position, reading.quantity.value, critical, rate.value, spans)
    needs = _need(reading, rate, severity)
    if may_skip(rate) and not needs:
        severity = 0  # nothing to do this year
    return _finding(reading, (rate,), position, severity, critical, spans, needs)


def _read_limit(reading: TestReading) -> m.Finding:
    """A value given only as "<" or ">": read where both ends of it lead to one answer."""
    limit = reading.quantity.value
    ends = [_rate(reading, limit)]
    if reading.quantity.censor == "<":
        ends.append(_rate(reading, 0.0))
    positions = {str(r.details["position"]) for r in ends}
    rates = [r.value for r in ends]
    critical = float(ends[0].details["critical_ppm"])
    # ">" is settled only when the limit itself already lies above everything
    settled = positions == {ABOVE} if reading.quantity.censor == ">" else len(positions) == 1
    if not settled:
        return _unread(reading.state, reading.sample, reading.place, reading.test,
                       reading.quantity, say("nutrients.limit_body", limit=limit,
                                             censor=reading.quantity.censor, critical=critical),
                       judged(reading.nutrient, reading.place, m.Verdict.NOT_JUDGED,
                              "limit_unsettled", "soil_test", test=reading.test,
                              guide=reading.guide.title, crop=reading.state.crop.name,
                              methods=[reading.method]))
    position = positions.pop()
    needs: tuple[m.Need, ...] = ()
    known = [float(r) for r in rates if r is not None]
    if position != ABOVE and known and max(known) > 0:
        needs = (_bare_need(reading, tuple(ends), low=min(known), high=max(known)),)
    return _finding(reading, tuple(ends), position, 2 if position == BELOW else 0, critical,
                    False, needs)


def _severity(position: str, test: float, critical: float, rate: object, spans: bool) -> int:
    if position == BELOW:
        if spans:
            return 1
        return 3 if test < SEVERE_SHARE * critical else 2
    return 1 if isinstance(rate, float) and rate > 0 else 0


def _need(reading: TestReading, rate: Result, severity: int) -> tuple[m.Need, ...]:
    if rate.value is None:
        return (_bare_need(reading, (rate,)),) if severity >= 2 else ()
    credit = reading.credits.pounds
    amount = float(rate.value) - credit
    optional = may_skip(rate)
    if amount <= 0 or (optional and skip_reason(reading) is not None):
        return ()
    turn = turning_line(reading, rate)
    cap = rate.details.get("cap_lb_ac")
    cautions = list(_cautions(reading))
    if cap is not None and amount > float(cap):
        cautions.insert(0, say("nutrients.caution_cap", nutrient=reading.nutrient, amount=amount,
                               cap=float(cap)))
        amount = float(cap)
    build = rate.details.get("build_lb_ac")
    if isinstance(build, int | float) and build > 0:
        cautions.append(say("nutrients.caution_build_up", nutrient=reading.nutrient,
                            build=min(float(build), amount)))
    low, high = (_bounded(rate.details.get(end), credit, cap) for end in ("low", "high"))
    if low == high:
        low = high = None
    return (
        m.Need(
            kind=m.NeedKind.NUTRIENT, item=reading.nutrient, unit="lb/ac",
            text=say("nutrients.need_pk", nutrient=reading.nutrient, crop=reading.state.crop.name,
                     below=rate.details["position"] == BELOW, optional=optional,
                     fed=still_fed(rate), line=None if turn is None else turn.line),
            place=zone(reading.sample), area_ac=sample_area_ac(reading.state.case, reading.sample),
            amount=amount, low=low, high=high, cap=None if cap is None else float(cap),
            results=(rate, *reading.credits.results), sources=(rate.source,),
            cautions=tuple(cautions), optional=optional, printed_span=reading.error is None,
            may_be_none=_may_be_none(reading, credit),
        ),
    )


def _may_be_none(reading: TestReading, credit: float) -> bool | None:
    """Whether the guide asks for no more than was spread, one standard error above the test."""
    if reading.error is None:
        return None
    with recording():  # only whether, not how much
        above = _rate(reading, reading.quantity.value * (1.0 + reading.error.pct / 100.0))
    return above.value is not None and float(above.value) <= credit


def _bounded(value: object, credit: float, cap: object) -> float | None:
    """An end of the range, less what was spread since, within the yearly cap."""
    if value is None:
        return None
    left = max(float(value) - credit, 0.0)  # type: ignore[arg-type]
    return left if cap is None else min(left, float(cap))  # type: ignore[arg-type]


def _bare_need(reading: TestReading, results: tuple[Result, ...], low: float | None = None,
               high: float | None = None) -> m.Need:
    """A shortage whose rate the guide does not give, or gives only as a range."""
    return m.Need(
        kind=m.NeedKind.NUTRIENT, item=reading.nutrient, unit="lb/ac",
        text=say("nutrients.need_no_rate", nutrient=reading.nutrient, test=reading.test,
                 guide=reading.guide.title, low=low, high=high),
        place=zone(reading.sample), area_ac=sample_area_ac(reading.state.case, reading.sample),
        low=low, high=high, results=results, sources=(results[0].source,), printed_span=True,
        cautions=tuple(_cautions(reading, rated=False)),
    )


def _cautions(reading: TestReading, rated: bool = True) -> Iterator[m.Message]:
    case = reading.state.case
    if reading.nutrient == "P2O5":
        water = list(case.field.sensitive_areas)
        yield say("nutrients.caution_p_near_water", places=water) if water else say(
            "nutrients.caution_p_water")
    else:
        yield say("nutrients.caution_k_forage" if feeds_stock(case)
                  else "nutrients.caution_k_rate", rated=rated)
    if seeded_in_rows(case, reading.state.crop):
        yield seed_row_limit(case, reading.state.crop, reading.sample)[0]


def _finding(reading: TestReading, rates: tuple[Result, ...], position: str, severity: int,
             critical: float, spans: bool, needs: tuple[m.Need, ...]) -> m.Finding:
    state, guide = reading.state, reading.guide
    rate = rates[0]
    below = m.Status.WATCH if spans else m.Status.LIMITING
    status = below if position == BELOW else m.Status.ADEQUATE
    stop = None
    if reading.nutrient == "P2O5" and position == ABOVE and rate.value == 0:
        stop = stop_manure(state, reading.sample, rate)
    if stop is not None:
        status, severity, needs = m.Status.EXCESS, 2, (*needs, *stop.needs)
    turn = turning_line(reading, rate) if stop is None else None
    if turn is not None and position != BELOW:
        status = m.Status.WATCH
    fits = state.depth_fits(reading.increment) and state.in_region
    ends = ((None, None) if reading.error is None or not reading.quantity.plain
            else log_ends(reading.quantity.value, reading.error.pct))
    results = (
        *rates,
        *((reading.error.result,) if reading.error else ()),
        *(reading.cec.results if reading.cec else ()),
        *reading.credits.results,
        *(stop.results if stop is not None else ()),
        *((turn.chance,) if turn is not None else ()),
    )
    title = "title_excess" if stop is not None else words.title(position, spans, rate, needs,
                                                                turns=turn is not None)
    return m.Finding(
        id=reading.finding_id,
        title=say(f"nutrients.{title}", test=reading.test,
                  where=reading.place, crop=state.crop.name,
                  line=None if turn is None else turn.line),
        status=status, severity=severity,
        confidence=state.confidence(reading.sample, method_matches=fits,
                                    agrees=not spans and turn is None),
        grade=m.Grade.CALCULATED,
        value=reading.quantity.value if reading.quantity.plain else None, unit="ppm",
        low=ends[0], high=ends[1],
        reference=say("nutrients.reference_levels", critical=critical,
                      limit=rate.details.get("limit_ppm"), guide=guide.title),
        place=reading.place,
        body=(*words.body(reading, rate, position, severity, needs),
              *(() if turn is None else (words.turn_body(reading, turn),)),
              *words.pooled(reading),
              *(stop.body if stop is not None else ())),
        evidence=(*words.evidence(reading, rate, critical, spans),
                  *(stop.evidence if stop is not None else ())),
        needs=needs, sources=(rate.source,), results=results,
        judgements=(_judgement(reading, rates, position, needs, turn),),
    )


def _judgement(reading: TestReading, rates: tuple[Result, ...], position: str,
               needs: tuple[m.Need, ...], turn: Turn | None) -> m.Judgement:
    """What the reading comes to for its nutrient."""
    feeding = [n for n in needs if n.kind is m.NeedKind.NUTRIENT and n.item == reading.nutrient]
    if feeding and feeding[0].optional:
        verdict, reason = m.Verdict.OPTIONAL, "maintenance"
    elif feeding:
        verdict = m.Verdict.NEEDED
        reason = ("rate_not_given" if feeding[0].amount is None
                  else "near_critical" if turn is not None
                  else "rate_above" if still_fed(rates[0]) else "below_critical")
    elif any(may_skip(r) for r in rates) and reading.credits.pounds <= 0:
        verdict, reason = m.Verdict.OPTIONAL, "maintenance_left_out"
    elif any(r.value for r in rates):
        verdict, reason = m.Verdict.NOT_NEEDED, "supplied_since"
    elif position == BELOW:
        verdict, reason = m.Verdict.NEEDED, "rate_not_given"
    elif turn is not None and turn.chance.number >= OPEN_CHANCE:
        verdict, reason = m.Verdict.OPTIONAL, "near_critical_above"
    else:
        verdict, reason = m.Verdict.NOT_NEEDED, "enough_in_soil"
    return judged(reading.nutrient, reading.place, verdict, reason,
                  "other_guide" if reason == "rate_not_given" else "", test=reading.test,
                  guide=reading.guide.title, crop=reading.state.crop.name,
                  value=reading.quantity.value,
                  line=None if turn is None else turn.line,
                  critical=rates[0].details["critical_ppm"],
                  limit=rates[0].details.get("limit_ppm"))
