"""The answer to what the grower asked, from the findings and verdicts.

The kind of question is a key of the case; its words decide nothing. An answer never names a
cause that was not measured: where nothing judges it, it says what would.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase
from types import MappingProxyType

from loambrief.actions.model import Action, Plan
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
from loambrief.topics.assess import Diagnosis
from loambrief.topics.history.findings import ChangeVerdict, Series
from loambrief.topics.judge import judged_places
from loambrief.topics.weeds.hints import hints
from loambrief.topics.weeds.state import Agreement

ORGANIC = ("compost", "manure", "biosolids")
MOST_SAID = 2
"""Findings or materials that an answer names; the rest stands in the advisory."""
TOPICS_OF = MappingProxyType({
    "is_it_compacted": ("compaction.*",),
    "is_it_salt": ("salinity.*",),
    "is_ph_right": ("acidity.*",),
    "is_test_good": ("sampling.*",),
    "is_stock_at_risk": ("weeds.safety", "weeds.stock*", "forage.*", "*tetany*"),
})
"""Questions about one thing -> ids of the findings that tell of it."""
IN_TURN = (Verdict.NEEDED, Verdict.OPTIONAL, Verdict.NOT_NEEDED, Verdict.NOT_JUDGED)
BASIC = ("P2O5", "K2O", "lime")
"""What a soil test settles; nitrogen is a decision of the season and never holds an answer up."""


@dataclass(frozen=True)
class CaseAnswer:
    """What page 1 says to the question.

    Attributes
    ----------
    asked : str or None
        In the grower's words; None if no question stands in the case.
    key : str or None
        Kind of question.
    answered : bool
        False: the messages say what is missing.
    messages : tuple of Message
        One to three sentences each; empty if nothing was asked.
    basis : tuple of str
        Ids of findings; empty where the adviser answers in their own words.
    """

    asked: str | None
    key: str | None
    answered: bool = False
    messages: tuple[Message, ...] = ()
    basis: tuple[str, ...] = ()


@dataclass(frozen=True)
class _AnswerText:
    answered: bool
    messages: tuple[Message, ...]
    basis: tuple[str, ...] = field(default=())


def answer(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> CaseAnswer:
    """CaseAnswer the question of a case.

    Parameters
    ----------
    case : CaseFile
    diagnosis : Diagnosis
    plan : Plan

    Returns
    -------
    CaseAnswer
        The adviser's own words stand before what the findings say.
    """
    header = case.case
    if header.purpose is None and header.question is None:
        return CaseAnswer(None, None)
    if header.answer is not None:
        return CaseAnswer(header.purpose, header.question, True,
                      (say("answers.own", text=header.answer),))
    by_key = ANSWERS.get(header.question or "other")
    if by_key is not None:
        said = by_key(case, diagnosis, plan)
    elif header.question is not None and header.question in TOPICS_OF:
        said = _of_topic(diagnosis, TOPICS_OF[header.question])
        old = [v for v in plan.unjudged() if v.reason == "sample_too_old"]
        if header.question == "is_test_good" and old:
            said = replace(said, messages=(old[0].why, *said.messages))
    else:
        said = _AnswerText(False, (say("answers.open"),))
    basis = tuple(dict.fromkeys(said.basis))
    return CaseAnswer(header.purpose, header.question, said.answered and bool(basis), said.messages,
                  basis)


def _ids(found: Iterable[Finding]) -> tuple[str, ...]:
    return tuple(f.id for f in found)


def _why_weeds(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> _AnswerText:
    """Which of the conditions that the weeds hint at were measured, and agree."""
    told = tuple(f.id for f in diagnosis.findings if f.id in ("weeds.hints", "weeds.claims"))
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
        messages.append(say("answers.weeds_unexplained"))
    if groups[Agreement.DIFFERS]:
        messages.append(say("answers.weeds_differ", rows=groups[Agreement.DIFFERS]))
    if groups[Agreement.NOT_MEASURED] or groups[Agreement.MIXED]:
        messages.append(say("answers.weeds_open", rows=[
            *groups[Agreement.NOT_MEASURED], *groups[Agreement.MIXED]]))
    if not case.samples and not groups[Agreement.AGREES]:
        return _AnswerText(False, (*messages, say("answers.weeds_untested")))
    return _AnswerText(True, tuple(messages), told)


def _did_lime_work(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> _AnswerText:
    """pH then and now, against the noise of sampling and laboratory."""
    review = diagnosis.history
    series = [s for s in (review.series if review else ())
              if s.quantity == "ph" and s.change is not None]
    known = [s for s in series if s.change and s.change.verdict is not ChangeVerdict.UNKNOWN]
    if not known:
        return _AnswerText(False, (say("answers.lime_unknown"),))
    known.sort(key=lambda s: (_depth(s), -abs((s.change and s.change.difference) or 0.0)))
    places = {s.place.id for s in known}
    shown = [next(s for s in known if s.place.id == p) for p in dict.fromkeys(
        s.place.id for s in known)][:MOST_SAID]
    messages = [say("answers.lime_change", place=Place(s.place.id, s.place.label),
                    before=s.change.before.value, after=s.change.after.value,
                    since=s.change.before.date, limit=s.change.limit,
                    more=s.change.verdict is ChangeVerdict.MORE,
                    rose=(s.change.difference or 0.0) > 0)
                for s in shown if s.change is not None]
    basis = [f.id for f in diagnosis.by_topic("acidity") if f.place.id in places]
    wanted = [v for v in _verdicts(plan, "lime") if v.verdict is Verdict.NEEDED]
    if wanted:
        messages.append(say("answers.lime_more", places=_places(case, wanted)))
    return _AnswerText(True, tuple(messages), tuple(basis))


def _depth(series: Series) -> float:
    """Deepest layers first: a guide reads the whole tilled layer."""
    return -(series.ends_in[1] - series.ends_in[0]) if series.ends_in else 0.0


def _can_compost_fix(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> _AnswerText:
    """What organic materials on offer do here, why others are left, and what they leave open."""
    organic = {m.id: m for m in case.materials if m.kind in ORGANIC}
    used = [a for a in plan.actions if a.material_id in organic]
    lines = [v for v in plan.verdicts if v.kind is JudgedKind.MATERIAL and v.key in organic]
    matter = [f for f in diagnosis.findings if fnmatchcase(f.id, "carbon_nitrogen.organic_matter*")]
    messages = [say("answers.finding", titles=[f.title for f in matter[:1]])] if matter else []
    basis = list(_ids(matter[:1]))
    for name in dict.fromkeys(a.material_id for a in used):
        mine = [a for a in used if a.material_id == name]
        brings = [n for n, most in _brought(mine).items() if most >= 0.5]
        messages.append(say("answers.organic_used", material=mine[0].material_name,
                            places=_places(case, mine), brings=brings))
        basis += [i for a in mine for i in a.finding_ids]
    for line in [v for v in lines if v.verdict is not Verdict.NEEDED
                 and v.key not in {a.material_id for a in used}][:MOST_SAID]:
        messages.append(say("answers.organic_left", material=organic[line.key].name,
                            judged=_told(line), why=line.why))
    wanted = [v for v in _verdicts(plan, "lime") if v.verdict is Verdict.NEEDED]
    if wanted:
        messages.append(say("answers.organic_not_lime", places=_places(case, wanted)))
        basis += [i for v in wanted for i in v.finding_ids]
    settled = bool(wanted or used) or any(_told(v) for v in lines)
    if not messages:
        messages.append(say("answers.organic_none"))
    if lines and not basis:
        basis += [i for v in plan.verdicts if v.kind is not JudgedKind.MATERIAL
                  and v.verdict is not Verdict.NOT_JUDGED for i in v.finding_ids]
    return _AnswerText(settled, tuple(messages), tuple(basis))


def _told(line: Judgement) -> bool:
    """Whether the evidence speaks on a material, be it only by the limit that it meets."""
    return line.verdict is not Verdict.NOT_JUDGED or line.reason == "material_limited"


def _brought(actions: Sequence[Action]) -> dict[str, float]:
    most: dict[str, float] = {}
    for action in actions:
        for nutrient, pounds in action.supplies.items():
            most[nutrient] = max(most.get(nutrient, 0.0), pounds)
    return most


def _lime_or_gypsum(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> _AnswerText:
    """The verdicts on both; gypsum also for its calcium."""
    lime = _verdicts(plan, "lime")
    gypsum = _verdicts(plan, "gypsum") or []
    spread = [a for a in plan.actions if a.kind is NeedKind.GYPSUM]
    if spread:
        gypsum = [v for v in gypsum if v.verdict is Verdict.NEEDED] or [
            v for v in _verdicts(plan, "Ca") if v.verdict is Verdict.NEEDED] or gypsum
    messages = []
    for key, verdicts in (("lime", lime), ("gypsum", gypsum)):
        if not verdicts:
            messages.append(say("answers.amendment_unsaid", item=key))
        for verdict in Verdict:
            here = [v for v in verdicts if v.verdict is verdict]
            if here:
                messages.append(say("answers.amendment", item=key, verdict=verdict.value,
                                    places=_places(case, here), why=_why(diagnosis, here[0])))
    told = [v for v in (*lime, *gypsum) if v.verdict is not Verdict.NOT_JUDGED]
    settled = any(v.verdict is Verdict.NEEDED for v in told) or (
        bool(lime) and bool(gypsum) and len(told) == len([*lime, *gypsum]))
    if not settled and any(v.key == "gypsum" for v in told):
        settled = True
    basis = [i for v in told for i in v.finding_ids]
    basis += [i for a in spread for i in a.finding_ids]
    return _AnswerText(settled, tuple(messages), tuple(basis))


def _why_poor_spot(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> _AnswerText:
    """The gravest measured limits, and what was not judged beside them."""
    worst = diagnosis.worst(MOST_SAID)
    open_ones = _open(plan, BASIC)
    messages = []
    if worst:
        messages.append(say("answers.limits", titles=[f.title for f in worst]))
    if open_ones:
        messages.append(say("answers.not_judged", keys=open_ones))
    if not messages:
        messages.append(say("answers.no_limit"))
    return _AnswerText(bool(worst), tuple(messages), _ids(worst))


def _what_first(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> _AnswerText:
    """The first thing to do that is not optional; without any measurement the tests."""
    open_ones = _open(plan, BASIC)
    if not case.samples:
        return _AnswerText(False, (say("answers.test_first", keys=open_ones or list(BASIC)),))
    decided = [a for a in plan.actions if not a.optional
               and a.finding_ids != ("nutrients.unjudged",)]
    decided.sort(key=lambda a: a.id not in plan.budget.chosen)
    if not decided:
        if open_ones:
            return _AnswerText(False, (say("answers.not_judged", keys=open_ones),))
        return _AnswerText(True, (say("answers.nothing_first"),),
                     tuple(i for v in plan.verdicts if v.kind is not JudgedKind.MATERIAL
                           for i in v.finding_ids))
    first = decided[0]
    messages = [say("answers.first", title=first.title, number=first.rank,
                    waits=first.id not in plan.budget.chosen)]
    if open_ones:
        messages.append(say("answers.not_judged", keys=open_ones))
    return _AnswerText(True, tuple(messages), first.finding_ids)


def _what_is_needed(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> _AnswerText:
    """What must be bought, what may be left out, what is not needed, what stands open."""
    lines = [v for v in plan.verdicts if v.kind is not JudgedKind.MATERIAL
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
        named = [{"key": key, "places": _places(case, [v for v in here if v.key == key])}
                 for key in dict.fromkeys(v.key for v in here)]
        messages.append(say("answers.verdict", verdict=verdict.value, named=named))
    if any(v.params.get("line") is not None for v in lines):
        messages.append(say("answers.at_the_line"))
    elif any(len({v.verdict for v in lines if v.key == key and v.finding_ids
                  and v.kind is JudgedKind.NUTRIENT} - {Verdict.NOT_JUDGED}) > 1
             for key in {v.key for v in lines}):
        messages.append(say("answers.two_sides"))
    settled = all(v.verdict is not Verdict.NOT_JUDGED for v in lines)
    basis = [i for v in lines if v.verdict is not Verdict.NOT_JUDGED for i in v.finding_ids]
    return _AnswerText(settled, tuple(messages), tuple(basis))


def _of_topic(diagnosis: Diagnosis, patterns: Sequence[str]) -> _AnswerText:
    """The gravest findings on what was asked; open where nothing could judge it."""
    found = [f for f in diagnosis.findings if f.grade is not Grade.PRACTICE
             and any(fnmatchcase(f.id, p) for p in patterns)]
    told = sorted((f for f in found if f.status is not Status.UNCERTAIN),
                  key=lambda f: (-f.severity, f.status is Status.NOTED))
    grave = [f for f in told if f.severity >= 1] or told[:1]
    if grave:
        shown = grave[:MOST_SAID]
        return _AnswerText(True, (say("answers.finding", titles=[f.title for f in shown]),),
                     _ids(grave))
    lacking = [m for m in diagnosis.missing if any(p.startswith(f"{m.topic}.") for p in patterns)]
    if found:
        return _AnswerText(False, (say("answers.uncertain", titles=[found[0].title]),))
    if lacking:
        return _AnswerText(False, (say("answers.lacking", what=lacking[0].what),))
    return _AnswerText(False, (say("answers.nothing_measured"),))


def _why(diagnosis: Diagnosis, verdict: Judgement) -> Message:
    """Why a verdict stands; where a finding asks for it, that finding."""
    if verdict.reason == "finding_asks":
        for finding in diagnosis.findings:
            if finding.id in verdict.finding_ids:
                return say("answers.finding", titles=[finding.title])
    return verdict.why


def _verdicts(plan: Plan, key: str) -> list[Judgement]:
    return [v for v in plan.verdicts if v.key == key and v.kind is not JudgedKind.MATERIAL]


def _open(plan: Plan, keys: Sequence[str]) -> list[str]:
    return [k for k in keys
            if any(v.verdict is Verdict.NOT_JUDGED for v in _verdicts(plan, k))]


def _places(case: CaseFile, items: Sequence[Judgement] | Sequence[Action]) -> list:
    """Places of some of the zones; none if it is all of them."""
    every = {p.id for p in judged_places(case)}
    here = list(dict.fromkeys(i.place for i in items))
    return here if {p.id for p in here} < every and len(every) > 1 else []


ANSWERS: Mapping[str, Callable[[CaseFile, Diagnosis, Plan], _AnswerText]] = MappingProxyType({
    "why_weeds": _why_weeds,
    "did_lime_work": _did_lime_work,
    "can_compost_fix": _can_compost_fix,
    "lime_or_gypsum": _lime_or_gypsum,
    "why_poor_spot": _why_poor_spot,
    "what_first": _what_first,
    "what_is_needed": _what_is_needed,
})
"""Kind of question -> what answers it."""
