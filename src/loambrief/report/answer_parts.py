"""What answers share: verdicts by key, places, and the causes that findings name."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from loambrief.actions.model import Action, Plan
from loambrief.case.schema import CaseFile
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.topics.judge import ASKED, judged_places

MOST_SAID = 2
"""Findings or materials that an answer names; the rest stands in the advisory."""
BASIC = ("P2O5", "K2O", "lime")
"""What a soil test settles; nitrogen is a decision of the season and never holds an answer up."""
CAUSES = MappingProxyType({
    "acidity.ph": "acid", "acidity.surface": "acid", "acidity.subsoil": "acid",
    "acidity.high": "high_ph", "cations.aluminum": "aluminum", "cations.calcium": "calcium",
    "cations.magnesium": "magnesium", "nutrients.p": "phosphorus", "nutrients.k": "potassium",
    "compaction.resistance": "dense", "compaction.layer": "dense", "salinity.crop": "salt",
    "salinity.ece": "salt", "salinity.sodium": "sodium", "salinity.water": "water",
})
"""Topic and subject of a finding -> the cause it names (macro ``cause_<name>``)."""


@dataclass(frozen=True)
class AnswerText:
    """An answer before it is known to rest on anything."""

    answered: bool
    messages: tuple[m.Message, ...]
    basis: tuple[str, ...] = field(default=())


def ids(found: Iterable[m.Finding]) -> tuple[str, ...]:
    return tuple(f.id for f in found)


def verdicts_on(plan: Plan, key: str) -> list[m.Judgement]:
    """Verdicts on a nutrient or amendment."""
    return [v for v in plan.verdicts if v.key == key and v.kind is not m.JudgedKind.MATERIAL]


def open_keys(plan: Plan, keys: Sequence[str]) -> list[str]:
    """Those of the keys that are not judged somewhere."""
    return [k for k in keys
            if any(v.verdict is m.Verdict.NOT_JUDGED for v in verdicts_on(plan, k))]


def some_places(case: CaseFile,
                items: Sequence[m.Judgement] | Sequence[Action] | Sequence[m.Finding]
                ) -> list[m.Place]:
    """Places of some of the zones; none if it is all of them."""
    every = {p.id for p in judged_places(case)}
    here = list(dict.fromkeys(m.Place(i.place.id, i.place.label) for i in items))
    return here if not {p.id for p in here} >= every and here != [m.WHOLE_FIELD] else []


def asked_keys(case: CaseFile) -> list[str]:
    """Nutrients and amendments that the question names, by their keys in verdicts."""
    return [ASKED[name] for name in case.case.about]


def causes(case: CaseFile, found: Sequence[m.Finding]) -> list[m.Message]:
    """What findings that limit the crop name as causes, each with its places.

    An excess is no cause of a poor crop; one without a word of its own is told by its title.
    """
    named: dict[str, list[m.Finding]] = {}
    for finding in found:
        if finding.status is not m.Status.EXCESS or finding.subject == "acidity.high":
            named.setdefault(CAUSES.get(finding.subject, finding.id), []).append(finding)
    told = []
    for name, some in named.items():
        places = some_places(case, some)
        if name in CAUSES.values():
            told.append(say(f"answers.cause_{name}", places=places))
        else:
            told.append(say("answers.cause_other", title=some[0].title))
    return told


def told(case: CaseFile, finding: m.Finding) -> m.Message:
    """What a finding says, with its place only where the case has more than one."""
    one = len(judged_places(case)) == 1 and finding.place.id in (
        "", *(p.id for p in judged_places(case)))
    return say("answers.told", title=finding.title, bare=one)


def dealing(plan: Plan, found: Sequence[m.Finding]) -> list[int]:
    """Ranks of this season's work that rests on these findings and may not be left out."""
    wanted = set(ids(found))
    return [a.rank for a in plan.actions
            if not a.optional and a.pass_number == 1 and a.kind is not m.NeedKind.MEASURE
            and wanted & set(a.finding_ids)]
