"""The last advisory's actions: planned against done, and whether the soil answered.

Only where a published formula says what an action should bring is the measured change held
against it: lime and pH, through the lime table that set the rate.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from loambrief.agronomy.registry import Result, recording, subject
from loambrief.case.schema import CaseFile, Done, Sample
from loambrief.errors import ImpossibleInput
from loambrief.findings.model import WHOLE_FIELD, Message, Need, NeedKind, Place, say
from loambrief.findings.places import named_place, place_of
from loambrief.topics.acidity import findings as acidity
from loambrief.topics.acidity.formulas import expected_ph_change
from loambrief.topics.acidity.need import DAYS_PER_MONTH, lime_share
from loambrief.topics.history.findings import Change, ChangeVerdict, Series, all_series, same_zone
from loambrief.units import LB_PER_TON

DEPTH_SLACK_IN = 1.0
"""How far the sampled layer may be from the depth the lime was reckoned for [in]."""
EARLY_MONTHS = 6.0


@dataclass(frozen=True)
class Expectation:
    """What lime should have done to pH, and what was measured."""

    place: Place
    verdict: str
    """``agrees``, ``less``, ``more``, ``unknown``."""
    expected: float | None = None
    measured: float | None = None
    limit: float | None = None
    """``expected``, ``measured``, ``limit``: [pH]."""
    reason: Message | None = None
    early: bool = False
    results: tuple[Result, ...] = ()


@dataclass(frozen=True)
class Review:
    """Everything earlier visits tell about the present one."""

    cases: tuple[CaseFile, ...]
    """Earlier ones, oldest first."""
    series: tuple[Series, ...]
    done: tuple[Done, ...]
    """As the case lists them."""
    expectations: tuple[Expectation, ...]

    @property
    def changed(self) -> tuple[Series, ...]:
        """Series with a change of more than the noise."""
        return tuple(s for s in self.series if s.change and s.change.verdict is ChangeVerdict.MORE)


def review(case: CaseFile, earlier: Sequence[CaseFile]) -> Review | None:
    """Look back at earlier cases, oldest first; None if there is nothing to look back on.

    Run it inside :func:`loambrief.agronomy.registry.recording` to keep the calculations.
    """
    if not earlier and not case.done:
        return None
    series = all_series(case, earlier)
    limed = [d for d in case.done if d.kind == "lime" and d.rate and d.date and not d.not_done]
    expectations = []
    if earlier and limed:
        with recording():  # of the earlier case: it is no part of this advisory
            needs = [n for f in acidity.assess(earlier[-1]).findings for n in f.needs
                     if n.kind is NeedKind.LIME and n.amount]
        zones: dict[Place, list[Done]] = {}
        for deed in limed:
            zones.setdefault(named_place(case, deed.where), []).append(deed)
        expectations = [_expect(case, earlier[-1], place, deeds, needs, series)
                        for place, deeds in zones.items()]
    return Review(tuple(earlier), series, tuple(case.done), tuple(expectations))


def _expect(case: CaseFile, before: CaseFile, place: Place, limed: Sequence[Done],
            needs: list[Need], series: tuple[Series, ...]) -> Expectation:
    """Rise of pH in the zone that was limed, in one pass or in several."""
    here = next((s for s in case.samples if s.id == place.id), None)
    there = named_place(before, limed[0].where) if here is None else _as_sample(before, here)
    need = next((n for n in needs if there is not None and n.place.id == there.id), None)
    if need is None and len(needs) == 1 and place == WHOLE_FIELD:
        need = needs[0]
    if need is None:
        return Expectation(place, "unknown", reason=say("history.why_need"))
    applied = _pure_lime(limed)
    if applied is None:
        return Expectation(place, "unknown", reason=say("history.why_analysis"))
    change = _ph_change(case, before, series, need)
    if change is None or change.difference is None:
        return Expectation(place, "unknown", reason=(change and change.reason)
                           or say("history.why_layer", depth=_number(need, "depth_in")))
    last = max(d.date for d in limed if d.date)
    months = (change.after.date - last).days / DAYS_PER_MONTH
    if months <= 0:
        return Expectation(place, "unknown", reason=say("history.why_after"))
    try:
        with subject(place):
            result = expected_ph_change.evaluate(
                ph_before=_number(need, "ph"), target_ph=_number(need, "target"),
                applied=round(applied, 4), required=float(need.amount or 0.0),
                months=round(months, 1))
    except ImpossibleInput:
        return Expectation(place, "unknown", reason=say("history.why_need"))
    expected, limit = float(result.value), change.limit
    if limit is None:
        return Expectation(place, "unknown", expected, change.difference,
                           reason=change.reason or say("history.why_error"), results=(result,))
    gap = change.difference - expected
    verdict = "agrees" if abs(gap) <= limit else "less" if gap < 0 else "more"
    return Expectation(place, verdict, expected, change.difference, limit,
                       early=months < EARLY_MONTHS, results=(result,))


def _number(need: Need, key: str) -> float:
    """A value that a lime need carries as a number."""
    value = need.params[key]
    assert isinstance(value, int | float)
    return float(value)


def _pure_lime(limed: Sequence[Done]) -> float | None:
    """Pure, fine CaCO3 of all passes [ton/ac]; None if one of them cannot be told."""
    total = 0.0
    for done in limed:
        share = lime_share(done.analysis)
        if share is None or done.rate is None or not done.rate.plain:
            return None
        total += done.rate.value / LB_PER_TON * share
    return total


def _as_sample(case: CaseFile, like: Sample) -> Place | None:
    sample = same_zone(case, like)
    return None if sample is None else place_of(sample)


def _ph_change(case: CaseFile, before: CaseFile, series: tuple[Series, ...],
               need: Need) -> Change | None:
    """Change of pH in the layer the lime was reckoned for."""
    zones = {s.id for s in case.samples
             if (there := _as_sample(before, s)) is not None and there.id == need.place.id}
    depth = _number(need, "depth_in")
    for one in series:
        if one.quantity != "ph" or one.place.id not in zones or not one.ends_in:
            continue
        top, bottom = one.ends_in
        if top == 0 and abs(bottom - depth) <= DEPTH_SLACK_IN:
            return one.change
    return None
