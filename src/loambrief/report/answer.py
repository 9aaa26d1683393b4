"""The answer to what the grower asked, from the findings and verdicts.

The kind of question is a key of the case; its words decide nothing. An answer never names a
cause that was not measured: where nothing judges it, it says what would.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from loambrief.actions.model import Plan
from loambrief.case.schema import CaseFile
from loambrief.findings.model import (
    Finding,
    Grade,
    JudgedKind,
    Judgement,
    Message,
    NeedKind,
    Place,
    Status,
    Verdict,
    say,
)
from loambrief.report.answer_materials import can_compost_fix, where_may_manure_go
from loambrief.report.answer_parts import (
    BASIC,
    MOST_SAID,
    AnswerText,
    asked_keys,
    causes,
    dealing,
    ids,
    open_keys,
    some_places,
    told,
    verdicts_on,
)
from loambrief.report.naming import brief_message
from loambrief.topics.assess import Diagnosis
from loambrief.topics.history.findings import Change, ChangeVerdict, Series
from loambrief.topics.judge import DECIDES
from loambrief.topics.weeds.hints import hints
from loambrief.topics.weeds.state import Agreement

TOPICS_OF: Mapping[str, Mapping[str, tuple[str, ...]]] = MappingProxyType({
    "is_it_compacted": {"compaction": ()},
    "is_it_salt": {"salinity": ()},
    "is_ph_right": {"acidity": ()},
    "is_test_good": {"sampling": ()},
    "is_stock_at_risk": {"weeds": ("weeds.safety",), "forage": (), "cations": ("cations.tetany",)},
    "is_water_good": {"salinity": ("salinity.water",)},
})
"""Questions about one thing -> topics that tell of it, and their subjects (none: all)."""
BAD, WATCHED = 2, 1
"""How grave the gravest finding on a question is: yes or no turns on it."""
IN_TURN = (Verdict.NEEDED, Verdict.OPTIONAL, Verdict.NOT_NEEDED, Verdict.NOT_JUDGED)


@dataclass(frozen=True)
class CaseAnswer:
    """What page 1 says to the question."""

    asked: str | None
    """In the grower's words; None if no question stands in the case."""
    key: str | None
    """Kind of question."""
    answered: bool = False
    """False: the messages say what is missing."""
    messages: tuple[Message, ...] = ()
    """One to three sentences each; empty if nothing was asked."""
    basis: tuple[str, ...] = ()
    """Ids of findings; empty where the adviser answers in their own words."""


def answer(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> CaseAnswer:
    """Answer the question of a case.

    The adviser's own words stand before what the findings say. What the question names
    (``about``) is answered first, by its verdict.
    """
    header = case.case
    if header.purpose is None and header.question is None:
        return CaseAnswer(None, None)
    if header.answer is not None:
        return CaseAnswer(header.purpose, header.question, True,
                      (say("answers.own", text=header.answer),))
    named, named_basis = _on_named(case, plan)
    left_open = open_keys(plan, asked_keys(case))
    by_key = ANSWERS.get(header.question or "other")
    if by_key is not None:
        said = by_key(case, diagnosis, plan)
    elif header.question is not None and header.question in TOPICS_OF:
        said = _of_topic(case, diagnosis, plan, header.question)
    elif named:
        said = AnswerText(True, ())
    else:
        said = AnswerText(False, (say("answers.open"),))
    basis = tuple(dict.fromkeys((*named_basis, *said.basis)))
    answered = said.answered and bool(basis) and not left_open
    return CaseAnswer(header.purpose, header.question, answered, (*named, *said.messages), basis)


def _on_named(case: CaseFile, plan: Plan) -> tuple[list[Message], list[str]]:
    """The verdict on each nutrient or amendment that the question names."""
    messages, basis = [], []
    for key in asked_keys(case):
        known = verdicts_on(plan, key)
        for verdict in IN_TURN:
            here = [v for v in known if v.verdict is verdict]
            if not here:
                continue
            messages.append(say("answers.named", item=key, verdict=verdict.value,
                                places=some_places(case, here), why=here[0].why,
                                settle=here[0].settle))
            if verdict is not Verdict.NOT_JUDGED:
                basis += [i for v in here for i in v.finding_ids]
        if not known:
            messages.append(say("answers.named_unsaid", item=key))
    return messages, basis


def _why_weeds(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> AnswerText:
    """Which of the conditions that the weeds hint at were measured, and agree."""
    known = tuple(f.id for f in diagnosis.findings if f.id in ("weeds.hints", "weeds.claims"))
    rows = hints(case)
    groups = {
        verdict: [{"label": r.label, "measured": r.measured} for r in rows
                  if r.verdict == verdict.value]
        for verdict in Agreement
    }
    messages = []
    if groups[Agreement.AGREES]:
        messages.append(say("answers.weeds_agree", rows=groups[Agreement.AGREES]))
    elif any(s.increments for s in case.samples):
        messages.append(say("answers.weeds_unexplained", limits=any(
            f.severity >= 2 for f in diagnosis.findings)))
    else:
        messages.append(say("answers.weeds_untested"))
    if groups[Agreement.DIFFERS]:
        messages.append(say("answers.weeds_differ", rows=groups[Agreement.DIFFERS]))
    if groups[Agreement.NOT_MEASURED] or groups[Agreement.MIXED]:
        messages.append(say("answers.weeds_open", rows=[
            *groups[Agreement.NOT_MEASURED], *groups[Agreement.MIXED]]))
    settled = bool(case.samples) or bool(groups[Agreement.AGREES])
    return AnswerText(settled, tuple(messages), known if settled else ())


def _did_lime_work(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> AnswerText:
    """pH then and now, against the noise of sampling and laboratory."""
    review = diagnosis.history
    known = [(s, s.change) for s in (review.series if review else ()) if s.quantity == "ph"
             and s.change is not None and s.change.verdict is not ChangeVerdict.UNKNOWN]
    if not known:
        return AnswerText(False, (say("answers.lime_unknown"),))
    known.sort(key=lambda pair: (_depth(pair[0]), -abs(pair[1].difference or 0.0)))
    first: dict[str, tuple[Series, Change]] = {}
    for series, change in known:
        first.setdefault(series.place.id, (series, change))
    told = [(series.place, change, change.verdict is ChangeVerdict.MORE,
             (change.difference or 0.0) > 0) for series, change in first.values()][:MOST_SAID]
    rises = [more and rose for _, _, more, rose in told]
    messages = [say("answers.lime_verdict", all=all(rises), any=any(rises))]
    messages += [say("answers.lime_change", place=Place(place.id, place.label),
                    before=change.before.value, after=change.after.value,
                    since=change.before.date, limit=change.limit, more=more, rose=rose)
                 for place, change, more, rose in told]
    basis = [f.id for f in diagnosis.by_topic("acidity") if f.place.id in first]
    wanted = [v for v in verdicts_on(plan, "lime") if v.verdict is Verdict.NEEDED]
    if wanted:
        messages.append(say("answers.lime_more", places=some_places(case, wanted)))
    return AnswerText(True, tuple(messages), tuple(basis))


def _depth(series: Series) -> float:
    """Deepest layers first: a guide reads the whole tilled layer."""
    return -(series.ends_in[1] - series.ends_in[0]) if series.ends_in else 0.0


def _lime_or_gypsum(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> AnswerText:
    """Which of the two, then the verdict on each; gypsum also for its calcium."""
    lime = verdicts_on(plan, "lime")
    gypsum = verdicts_on(plan, "gypsum")
    spread = [a for a in plan.actions if a.kind is NeedKind.GYPSUM]
    if spread:
        gypsum = [v for v in gypsum if v.verdict is Verdict.NEEDED] or [
            v for v in verdicts_on(plan, "Ca") if v.verdict is Verdict.NEEDED] or gypsum
    messages = [say("answers.which", lime=_one(lime), gypsum=_one(gypsum))]
    for key, verdicts in (("lime", lime), ("gypsum", gypsum)):
        if not verdicts:
            messages.append(say("answers.amendment_unsaid", item=key))
        for verdict in Verdict:
            here = [v for v in verdicts if v.verdict is verdict]
            if here:
                messages.append(say("answers.amendment", item=key, verdict=verdict.value,
                                    places=some_places(case, here),
                                    why=_why(case, diagnosis, here[0]), settle=here[0].settle))
    judged = [v for v in (*lime, *gypsum) if v.verdict is not Verdict.NOT_JUDGED]
    settled = any(v.verdict is Verdict.NEEDED or v.key == "gypsum" for v in judged) or (
        bool(lime) and bool(gypsum) and len(judged) == len([*lime, *gypsum]))
    if not any(v.verdict is Verdict.NEEDED for v in (*lime, *gypsum)):
        salt = [f for f in diagnosis.worst(MOST_SAID) if f.topic == "salinity"]
        messages += [say("answers.measured_causes", causes=causes(case, salt))] if salt else []
        messages += _deals(plan, salt)
    basis = [i for v in judged for i in v.finding_ids]
    basis += [i for a in spread for i in a.finding_ids]
    return AnswerText(settled, tuple(messages), tuple(basis))


def _one(verdicts: Sequence[Judgement]) -> str:
    """The verdict where it is the same everywhere; empty where places differ or none is known."""
    kinds = {v.verdict.value for v in verdicts}
    return kinds.pop() if len(kinds) == 1 else ""


def _why(case: CaseFile, diagnosis: Diagnosis, verdict: Judgement) -> Message:
    """Why a verdict stands; where a finding asks for it, what that finding says."""
    if verdict.reason == "finding_asks":
        for finding in diagnosis.findings:
            if finding.id in verdict.finding_ids:
                return told(case, finding)
    return verdict.why


def _why_poor_spot(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> AnswerText:
    """The gravest measured causes, and what was not judged beside them."""
    found = [f for f in diagnosis.worst() if f.grade is not Grade.PRACTICE]
    named = causes(case, found)[:MOST_SAID + 1]
    open_ones = open_keys(plan, BASIC)
    messages = [say("answers.measured_causes", causes=named)] if named else [
        say("answers.no_limit")]
    if named:
        messages += _deals(plan, found)
    if open_ones:
        messages.append(say("answers.not_judged", keys=open_ones))
    return AnswerText(bool(named), tuple(messages), ids(found) if named else ())


def _deals(plan: Plan, found: Sequence[Finding]) -> list[Message]:
    """Which actions put right what the answer names."""
    ranks = dealing(plan, found)
    return [say("answers.deals", ranks=ranks)] if ranks else []


def _what_first(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> AnswerText:
    """The first thing to do that is not optional; without any measurement the tests."""
    open_ones = open_keys(plan, BASIC)
    if not case.samples:
        return AnswerText(False, (say("answers.test_first", keys=open_ones or list(BASIC)),))
    decided = [a for a in plan.actions if not a.optional
               and a.finding_ids != ("nutrients.unjudged",)]
    decided.sort(key=lambda a: a.id not in plan.budget.chosen)
    if not decided:
        if open_ones:
            return AnswerText(False, (say("answers.not_judged", keys=open_ones),))
        return AnswerText(True, (say("answers.nothing_first"),),
                    tuple(i for v in plan.verdicts if v.kind is not JudgedKind.MATERIAL
                          for i in v.finding_ids))
    first = decided[0]
    place = first.place if some_places(case, [first]) else None
    messages = [say("answers.first", title=brief_message(first), number=first.rank, place=place,
                    waits=first.id not in plan.budget.chosen)]
    following = [a for a in decided[1:] if a.id in plan.budget.chosen and a.item != DECIDES
                 and a.pass_number == 1][:1]
    messages += [say("answers.then", title=brief_message(a), number=a.rank,
                     place=a.place if some_places(case, [a]) else None) for a in following]
    if open_ones:
        messages.append(say("answers.not_judged", keys=open_ones))
    return AnswerText(True, tuple(messages), first.finding_ids)


def _what_is_needed(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> AnswerText:
    """What must be bought, what may be left out, what is not needed, what stands open."""
    lines = [v for v in plan.verdicts if v.kind is not JudgedKind.MATERIAL
             and v.key not in asked_keys(case)
             and (v.key in BASIC or v.verdict in (Verdict.NEEDED, Verdict.OPTIONAL))]
    messages = []
    for verdict in IN_TURN:
        here = [v for v in lines if v.verdict is verdict]
        if not here:
            continue
        if verdict is Verdict.NOT_JUDGED:
            messages.append(say("answers.not_judged_why",
                                keys=list(dict.fromkeys(v.key for v in here)), why=here[0].why))
            continue
        named = [{"key": key, "places": some_places(case, [v for v in here if v.key == key])}
                 for key in dict.fromkeys(v.key for v in here)]
        messages.append(say("answers.verdict", verdict=verdict.value, named=named))
    near = list(dict.fromkeys(v.key for v in plan.verdicts if v.params.get("line") is not None))
    if near:
        messages.append(say("answers.at_the_line", keys=near))
    elif any(len({v.verdict for v in lines if v.key == key and v.finding_ids
                  and v.kind is JudgedKind.NUTRIENT} - {Verdict.NOT_JUDGED}) > 1
             for key in {v.key for v in lines}):
        messages.append(say("answers.two_sides"))
    settled = all(v.verdict is not Verdict.NOT_JUDGED for v in lines)
    basis = [i for v in lines if v.verdict is not Verdict.NOT_JUDGED for i in v.finding_ids]
    return AnswerText(settled, tuple(messages), tuple(basis))


def _of_topic(case: CaseFile, diagnosis: Diagnosis, plan: Plan, key: str) -> AnswerText:
    """Yes or no by the gravest finding on what was asked; open where nothing could judge it."""
    wanted = TOPICS_OF[key]
    found = [f for f in diagnosis.findings if f.grade is not Grade.PRACTICE
             and f.topic in wanted and f.subject in (wanted[f.topic] or (f.subject,))]
    old = [v for v in plan.unjudged() if v.reason == "sample_too_old"]
    if key == "is_test_good" and old:
        return AnswerText(True, (say("answers.is_test_good", level=BAD),
                           say("answers.as_it_is", text=old[0].why)), ids(found))
    graded = sorted((f for f in found if f.status is not Status.UNCERTAIN),
                  key=lambda f: (-f.severity, f.status is Status.NOTED))
    if graded:
        level = min(graded[0].severity, BAD)
        grave = [f for f in graded if f.severity == graded[0].severity] if level else graded[:1]
        shown = grave[:MOST_SAID] if level == BAD else grave[:1]
        return AnswerText(True, (say(f"answers.{key}", level=level),
                           *(told(case, f) for f in shown),
                           *(_repeats(case) if key == "is_test_good" else ()),
                           *(_deals(plan, grave) if level else ())),
                          ids([f for f in graded if f.severity >= WATCHED] or grave))
    lacking = [m for m in diagnosis.missing if m.topic in wanted]
    if found:
        return AnswerText(False, (say("answers.uncertain", title=found[0].title),))
    if lacking:
        return AnswerText(False, (say("answers.lacking", what=lacking[0].what),))
    return AnswerText(False, (say("answers.nothing_measured"),))


def _repeats(case: CaseFile) -> list[Message]:
    """What was done with further samples of a zone."""
    return [say("answers.repeats", sample=str(s.id), of=str(s.repeats.of), treat=s.repeats.treat)
            for s in case.typed_samples if s.repeats is not None]


ANSWERS: Mapping[str, Callable[[CaseFile, Diagnosis, Plan], AnswerText]] = MappingProxyType({
    "why_weeds": _why_weeds,
    "did_lime_work": _did_lime_work,
    "can_compost_fix": can_compost_fix,
    "where_may_manure_go": where_may_manure_go,
    "lime_or_gypsum": _lime_or_gypsum,
    "why_poor_spot": _why_poor_spot,
    "what_first": _what_first,
    "what_is_needed": _what_is_needed,
})
"""Kind of question -> what answers it."""
