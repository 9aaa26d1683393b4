"""What the weeds hint at, each hint beside the measurement that tests it."""

from dataclasses import dataclass
from typing import NamedTuple

from loambrief.case.schema import CaseFile
from loambrief.case.select import sample_area_ac
from loambrief.findings import model as m
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.model import say
from loambrief.findings.places import field_place, place_of
from loambrief.tables import load
from loambrief.topics.salinity.state import salt_state
from loambrief.topics.weeds.formulas_names import AXES, constant, indicator_values
from loambrief.topics.weeds.state import (
    SYSTEM,
    Agreement,
    Axis,
    HintCheck,
    Seen,
    axis,
    check_acid,
    check_dense,
    check_salt,
    check_wet,
    one_each,
    samples_for,
    seen_weeds,
)

PROMPTS = ("acidity", "wetness", "compaction", "salinity")
OF_AXIS = {("reaction", "low"): "acidity", ("moisture", "high"): "wetness",
           ("salinity", "high"): "salinity"}
"""Leans of an axis that say the same as a prompt."""
RANKED = ("henniges-2021", "schaffers-sykora-2000", "ewald-2003", "loambrief-weed-rule")
SALT_CLASS = 3.0
"""Salinity rank from which a plant counts as a salt plant (mostly coastal or salt ground)."""


class WeedHint(NamedTuple):
    """One row of the weed chart: what is hinted at, by which weeds, and what a test says."""

    label: m.Message
    weeds: tuple[tuple[str, float | None], ...]
    verdict: str
    verdict_text: m.Message
    measured: m.Message


@dataclass(frozen=True)
class Hinted:
    """A condition that some weeds hint at."""

    key: str
    strong: tuple[Seen, ...]
    weak: tuple[Seen, ...]
    check: HintCheck
    sources: tuple[str, ...]

    @property
    def weeds(self) -> tuple[Seen, ...]:
        return self.strong + self.weak

    @property
    def asks(self) -> str:
        """``strong``, ``weak`` or empty: how firmly the weeds ask for the measurement."""
        if (len(self.strong) >= constant("prompt_species")
                or _cover(self.strong) >= constant("prompt_cover")):
            return "strong"
        if self.strong or _cover(self.weak) >= constant("weak_cover"):
            return "weak"
        return ""


def _cover(seen: tuple[Seen, ...]) -> float:
    return sum(s.cover or 0.0 for s in seen)


def _salt_plant(seen: Seen) -> bool:
    row = indicator_values(seen.accepted or "", SYSTEM)
    return row is not None and (row["salinity"] or 0.0) >= SALT_CLASS


def prompted(case: CaseFile, seen: tuple[Seen, ...]) -> tuple[Hinted, ...]:
    """Conditions that single listed plants are a reason to measure."""
    found = []
    known = [s for s in one_each(seen) if s.accepted]
    for key in PROMPTS:
        rows = {row["species"]: row for row in load("weeds/prompts") if row["prompt"] == key}
        strong: list[Seen] = []
        sources: list[str] = []
        weak: list[Seen] = []
        for item in known:
            row = rows.get(item.accepted)
            if row is None and key == "salinity" and _salt_plant(item):
                strong.append(item)
                sources.append("henniges-2021")
            elif row is not None:
                (strong if row["strength"] == "strong" else weak).append(item)
                sources.append(str(row["source"]))
        if strong or weak:
            weeds = (*strong, *weak)
            found.append(Hinted(key, tuple(strong), tuple(weak), _check(case, key, weeds),
                                tuple(dict.fromkeys(sources))))
    return tuple(found)


def _check(case: CaseFile, key: str, weeds: tuple[Seen, ...]) -> HintCheck:
    if key == "wetness":
        return check_wet(case)
    tests = {"acidity": check_acid, "compaction": check_dense, "salinity": check_salt}
    return tests[key](case, weeds)


def _axis_check(case: CaseFile, found: Axis) -> HintCheck:
    if found.name == "reaction":
        return check_acid(case, found.used, acid=found.lean == "low")
    if found.name == "moisture":
        return check_wet(case, wet=found.lean == "high")
    if found.name == "salinity":
        return check_salt(case, found.used)
    return HintCheck(Agreement.NOT_MEASURED, say("weeds.measured_no_test"))


def _leans(found: Axis) -> bool:
    """True if the axis points to something; no salt is no sign of anything."""
    return found.lean != "none" and (found.name, found.lean) != ("salinity", "low")


def hints(case: CaseFile) -> tuple[WeedHint, ...]:
    """Rows of the weed chart: conditions hinted at, weeds with cover, verdict and measurement.

    The texts are messages; ``verdict`` is ``agrees``, ``differs``, ``mixed`` or
    ``not measured``. Empty without weeds that hint at anything.
    """
    seen = seen_weeds(case)
    prompts = prompted(case, seen)
    rows = [_row(f"weeds.label_{h.key}", h.weeds, h.check) for h in prompts]
    shown = {h.key for h in prompts}
    for name in AXES:
        found = axis(name, seen)
        if _leans(found) and OF_AXIS.get((name, found.lean)) not in shown:
            rows.append(_row(f"weeds.label_{name}_{found.lean}", found.used,
                             _axis_check(case, found)))
    return tuple(rows)


def _row(label: str, weeds: tuple[Seen, ...], check: HintCheck) -> WeedHint:
    ordered = sorted(weeds, key=lambda s: -(s.cover or 0.0))
    return WeedHint(say(label), tuple((s.name, s.cover) for s in ordered), check.verdict.value,
                    say("weeds.verdict", verdict=check.verdict.value), check.measured)


def hints_finding(case: CaseFile, seen: tuple[Seen, ...]) -> m.Finding:
    """One finding: axes with enough species, prompts, agreement, and what to measure."""
    axes = [axis(name, seen) for name in AXES]
    prompts = prompted(case, seen)
    evidence, sources = [], list(RANKED)
    for hinted in prompts:
        verdict = hinted.check.verdict
        evidence.append(m.Evidence(
            m.Side.AGAINST if verdict is Agreement.DIFFERS else m.Side.FOR,
            say("weeds.for_prompt", condition=hinted.key, weeds=[s.name for s in hinted.weeds],
                weak=not hinted.strong, verdict=verdict.value, measured=hinted.check.measured),
            m.Grade.SCREENING, hinted.sources, hinted.check.results))
        sources += hinted.sources
    for found in axes:
        if found.enough and found.mean is not None:
            check = _axis_check(case, found) if _leans(found) else None
            evidence.append(m.Evidence(
                m.Side.AGAINST if check and check.verdict is Agreement.DIFFERS else m.Side.CONTEXT,
                say("weeds.context_axis", axis=found.name, lean=found.lean, n=len(found.used),
                    dropped=len(one_each(seen)) - len(found.used),
                    verdict=check.verdict.value if check else None,
                    measured=check.measured if check else None),
                m.Grade.SCREENING, RANKED, (found.mean,)))
    short = [found.name for found in axes if not found.enough]
    if short:
        means = [a.mean for a in axes if a.mean is not None and not a.enough]
        evidence.append(m.stated("weeds.context_few", *means, axes=short,
                                 wanted=constant("minimum_effective_species")))
    evidence.append(m.stated("weeds.against_signs"))
    verdicts = [h.check.verdict for h in prompts]
    unknown = [s.name for s in seen if s.accepted is None]
    unsure = [s.name for s in one_each(seen) if s.weed.identification != "certain"]
    return m.Finding(
        id="weeds.hints",
        title=say("weeds.title_hints", looked_for=[h.key for h in prompts],
                  any_lean=any(_leans(a) for a in axes)),
        status=m.Status.NOTED, severity=0, grade=m.Grade.SCREENING,
        confidence=grade_confidence(
            method_matches=False,
            enough_replicates=any(a.enough for a in axes),
            agrees=not {Agreement.DIFFERS, Agreement.MIXED} & set(verdicts)),
        reference=say("weeds.reference_hints"),
        place=field_place(case),
        body=(say("weeds.body_signs"),
              *([say("weeds.body_unknown", names=unknown)] if unknown else []),
              *([say("weeds.body_unsure", names=unsure, probable=constant("probable"),
                     possible=constant("possible"))] if unsure else []),
              *([say("weeds.body_resample")] if Agreement.DIFFERS in verdicts else [])),
        evidence=tuple(evidence),
        needs=_needs(case, prompts),
        sources=tuple(dict.fromkeys(sources)),
        results=tuple(a.mean for a in axes if a.mean is not None),
    )


def _needs(case: CaseFile, prompts: tuple[Hinted, ...]) -> tuple[m.Need, ...]:
    """Measurements the weeds ask for and the case does not have; never an amount."""
    needs: list[m.Need] = []
    for hinted in prompts:
        if not hinted.asks:
            continue
        names = [s.name for s in hinted.weeds]
        if hinted.key == "salinity":
            needs += _salt_needs(case, hinted, names)
        elif hinted.key == "compaction" and hinted.check.verdict is Agreement.NOT_MEASURED:
            needs.append(_measure("cone", "weeds.need_cone", names, field_place(case),
                                  case.field.area.value, hinted))
        elif hinted.key == "acidity" and hinted.check.verdict is Agreement.NOT_MEASURED:
            needs.append(_measure("soil test", "weeds.need_ph", names, field_place(case),
                                  case.field.area.value, hinted))
    return tuple(needs)


def _salt_needs(case: CaseFile, hinted: Hinted, names: list[str]) -> list[m.Need]:
    if not case.samples:
        return [_measure("paste extract", "weeds.need_salt", names, field_place(case),
                         case.field.area.value, hinted)]
    found = []
    for sample in samples_for(case, hinted.weeds):
        state = salt_state(sample)
        if not any(i.ec is not None for i in sample.increments):
            item, text = "paste extract", "weeds.need_salt"
        elif not state.esps:
            item, text = "sodium", "weeds.need_sodium"
        else:
            continue
        found.append(_measure(item, text, names, place_of(sample), sample_area_ac(case, sample),
                              hinted))
    return found


def _measure(item: str, text: str, names: list[str], place: m.Place, area: float,
             hinted: Hinted) -> m.Need:
    return m.Need(m.NeedKind.MEASURE, item, "",
                  say(text, weeds=names, where=place, weak=hinted.asks == "weak"), place=place,
                  area_ac=area, sources=hinted.sources)
