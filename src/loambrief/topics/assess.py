"""All topics on one case, in a fixed order."""

from collections.abc import Sequence
from dataclasses import dataclass

from loambrief.case.schema import CaseFile
from loambrief.findings.confidence import of_advice
from loambrief.findings.model import Confidence, Finding, Judgement, Missing, NeedKind, beyond
from loambrief.topics.acidity import findings as acidity
from loambrief.topics.carbon_nitrogen import findings as carbon_nitrogen
from loambrief.topics.cations import findings as cations
from loambrief.topics.compaction import findings as compaction
from loambrief.topics.cover_crops import findings as cover_crops
from loambrief.topics.forage import findings as forage
from loambrief.topics.history.done import Review, review
from loambrief.topics.judge import judgements, only_settled, unjudged
from loambrief.topics.nutrients import findings as nutrients
from loambrief.topics.nutrients.manure_plan import manure_findings
from loambrief.topics.refractometry import findings as refractometry
from loambrief.topics.salinity import findings as salinity
from loambrief.topics.sampling import findings as sampling
from loambrief.topics.sampling.age import held_to_no_rate
from loambrief.topics.soil_life import findings as soil_life
from loambrief.topics.soil_water import findings as soil_water
from loambrief.topics.stratification import findings as stratification
from loambrief.topics.tissue import findings as tissue
from loambrief.topics.weeds import findings as weeds

TOPICS = {
    "compaction": compaction,
    "salinity": salinity,
    "soil_water": soil_water,
    "acidity": acidity,
    "cations": cations,
    "stratification": stratification,
    "nutrients": nutrients,
    "carbon_nitrogen": carbon_nitrogen,
    "soil_life": soil_life,
    "cover_crops": cover_crops,
    "tissue": tissue,
    "refractometry": refractometry,
    "forage": forage,
    "weeds": weeds,
    "sampling": sampling,
}
"""Topic order in the advisory: water and air first, screening signs late."""

PLAN_ORDER = ("forage", *(t for t in TOPICS if t != "forage"))
"""What keeps stock safe, then water and air, acidity and sodium, nutrients: the plan's steps."""
_SURE = {Confidence.HIGH: 0, Confidence.MEDIUM: 1, Confidence.LOW: 2}


@dataclass(frozen=True)
class Diagnosis:
    """Everything the topics said."""

    findings: tuple[Finding, ...]
    missing: tuple[Missing, ...]
    history: Review | None = None
    """Against earlier cases of the field; None without any."""
    judgements: tuple[Judgement, ...] = ()
    """One verdict for each nutrient or amendment and place."""

    def by_topic(self, topic: str) -> tuple[Finding, ...]:
        return tuple(f for f in self.findings if f.topic == topic)

    def worst(self, count: int = 5) -> tuple[Finding, ...]:
        """The findings that limit the field most, in the order that the plan puts them right.

        Chosen are the severe, then what work puts right before what waits for a test, then
        what the plan does first, then the far-off and the sure ones; they stand by the steps
        of the plan, the most severe of a step first.
        """
        limiting = [f for f in self.findings if f.severity >= 2]

        def tested_first(finding: Finding) -> bool:
            return bool(finding.needs) and all(
                n.kind is NeedKind.MEASURE for n in finding.needs)

        def place(finding: Finding) -> tuple:
            return (PLAN_ORDER.index(finding.topic), -finding.severity, tested_first(finding),
                    -round(beyond(finding), 2), _SURE[finding.confidence], finding.id)

        limiting.sort(key=lambda f: (-f.severity, tested_first(f), *place(f)))
        return tuple(sorted(limiting[:count], key=place))


def assess(case: CaseFile, earlier: Sequence[CaseFile] = ()) -> Diagnosis:
    """Run every topic on a case, and look back on earlier cases of the field.

    Findings come in topic order, then as the topic gives them; ids are unique. Run it
    inside :func:`loambrief.agronomy.registry.recording` to keep the calculations.
    """
    findings: list[Finding] = []
    missing: list[Missing] = []
    for module in TOPICS.values():
        said = module.assess(case)
        findings += said.findings
        missing += said.missing
    findings = [of_advice(held_to_no_rate(case, f)) for f in _guide_first(findings)]
    ids = [f.id for f in findings]
    doubled = sorted({i for i in ids if ids.count(i) > 1})
    if doubled:
        raise ValueError(f"finding ids are not unique: {', '.join(doubled)}")
    told = judgements(case, findings, missing)
    findings = tissue.with_soil(only_settled(findings, told), told)
    findings += manure_findings(case, findings, told)
    open_ones = unjudged(case, told)
    findings += [open_ones] if open_ones is not None else []
    return Diagnosis(tuple(findings), tuple(missing), review(case, earlier), told)


def _guide_first(findings: Sequence[Finding]) -> list[Finding]:
    """Leave out the general limit of magnesium where a guide's own rule judges the place.

    Dolomitic lime stays: the guides ask for it too where lime is due.
    """
    by_guide = {j.place.id for f in findings if f.topic == "nutrients"
                for j in f.judgements if j.key == "Mg"}
    return [f for f in findings
            if f.topic != "cations" or f.place.id not in by_guide
            or not any(n.item == "Mg" and n.amount is not None
                       and not n.params.get("take_dolomitic") for n in f.needs)]
