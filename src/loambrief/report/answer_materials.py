"""Answers on manure, compost and other organic materials: whether they help, where they go."""

from collections.abc import Sequence

from loambrief.actions.model import Action, Plan
from loambrief.actions.offers import ORGANIC
from loambrief.case.schema import CaseFile
from loambrief.findings.harm import Harm, harm_of
from loambrief.findings.model import JudgedKind, Judgement, Message, Place, Verdict, say
from loambrief.report.answer_parts import MOST_SAID, AnswerText, some_places, verdicts_on
from loambrief.topics.assess import Diagnosis
from loambrief.topics.judge import judged_places

BROUGHT = 0.5
"""Least amount of a nutrient that is said to come with a material [lb/ac]."""


def can_compost_fix(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> AnswerText:
    """Whether organic material on offer helps, why it is left, and what it cannot replace."""
    messages, basis = _materials(case, plan, where=False)
    wanted = [v for v in verdicts_on(plan, "lime") if v.verdict is Verdict.NEEDED]
    if wanted:
        messages.insert(0, say("answers.organic_not_lime", places=some_places(case, wanted)))
        basis += [i for v in wanted for i in v.finding_ids]
    matter = [f for f in diagnosis.findings if f.subject == "carbon_nitrogen.organic_matter"
              and f.value is not None]
    kinds = {m.kind for m in case.materials if m.kind in ORGANIC}
    if matter and kinds <= {"compost"}:
        messages.append(say("answers.organic_matter", rows=[
            {"value": f.value, "place": Place(f.place.id, f.place.label)} for f in matter]))
    if not messages:
        return AnswerText(False, (say("answers.organic_none"),))
    return _settled(case, plan, messages, basis, [f.id for f in matter[:1]], bool(wanted))


def where_may_manure_go(case: CaseFile, diagnosis: Diagnosis, plan: Plan) -> AnswerText:
    """On which zones organic material goes, on which it does not and why, and how far off."""
    messages, basis = _materials(case, plan, where=True)
    if not messages:
        return AnswerText(False, (say("answers.organic_none"),))
    return _settled(case, plan, messages, basis, [], False)


def _settled(case: CaseFile, plan: Plan, messages: list[Message], basis: list[str],
             matter: list[str], lime: bool) -> AnswerText:
    lines = [v for v in plan.verdicts if v.kind is JudgedKind.MATERIAL
             and v.key in _organic(case)]
    told = lime or any(_told(v) for v in lines)
    if lines and not basis:
        basis = [i for v in plan.verdicts if v.kind is not JudgedKind.MATERIAL
                 and v.verdict is not Verdict.NOT_JUDGED for i in v.finding_ids]
    return AnswerText(told, tuple(messages), tuple((*basis, *matter)))


def _materials(case: CaseFile, plan: Plan, where: bool) -> tuple[list[Message], list[str]]:
    """A sentence on each organic material, those in the plan first."""
    organic = _organic(case)
    used = [a for a in plan.actions if a.material_id in organic and a.pass_number == 1]
    messages, basis = [], []
    for name in dict.fromkeys(a.material_id for a in used):
        mine = [a for a in used if a.material_id == name]
        brings = [n for n, most in _brought(mine).items() if most >= BROUGHT]
        messages.append(say(
            "answers.organic_where" if where else "answers.organic_used",
            material=mine[0].material_name, places=some_places(case, mine), brings=brings))
        messages += _kept_off(case, plan, mine)
        basis += [i for a in mine for i in a.finding_ids]
    left = [v for v in plan.verdicts if v.kind is JudgedKind.MATERIAL and v.key in organic
            and v.key not in {a.material_id for a in used}]
    for line in left[:MOST_SAID]:
        messages.append(say("answers.organic_left", material=organic[line.key],
                            judged=_told(line),
                            optional=line.verdict is Verdict.OPTIONAL, why=line.why))
    return messages, basis


def _kept_off(case: CaseFile, plan: Plan, mine: Sequence[Action]) -> list[Message]:
    """Zones that a material in the plan does not go on, those that want no phosphorus first."""
    places = {a.place.id for a in mine}
    if "" in places:
        return []
    others = [zone for zone in judged_places(case) if zone.id not in places]
    unwanted = [z for z in others if all(
        v.verdict in (Verdict.NOT_NEEDED, Verdict.OPTIONAL)
        for v in plan.verdicts if v.key == "P2O5" and v.place.id == z.id)]
    found = [say("answers.organic_off", places=some, phosphorus=some is unwanted)
             for some in (unwanted, [z for z in others if z not in unwanted]) if some]
    near = [c for a in mine for c in a.cautions if harm_of(c) is Harm.WATER
            and c.key in ("actions.caution_near_water", "actions.caution_setback")]
    return found + [say("answers.organic_distance", rank=min(a.rank for a in mine))] * bool(near)


def _organic(case: CaseFile) -> dict[str, str]:
    return {str(m.id): m.name for m in case.materials if m.kind in ORGANIC}


def _told(line: Judgement) -> bool:
    """Whether the evidence speaks on a material, be it only by the limit that it meets."""
    return line.verdict is not Verdict.NOT_JUDGED or line.reason == "material_limited"


def _brought(actions: Sequence[Action]) -> dict[str, float]:
    most: dict[str, float] = {}
    for action in actions:
        for nutrient, pounds in action.supplies.items():
            most[nutrient] = max(most.get(nutrient, 0.0), pounds)
    return most
