"""How weeds live, and what holds them back without chemicals on this ground.

Tactics come from a table, by life cycle and by weed, and only where the field's tillage has room
for them. What the soil has to do with it is said only where it was measured. No herbicide is
named: that is for the label and the licensed adviser.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.findings.places import field_place
from loambrief.tables import DataRow, load, parts
from loambrief.topics.weeds.formulas_loss import weed_seed_alive_pct
from loambrief.topics.weeds.formulas_names import find_species
from loambrief.topics.weeds.hints import Hinted, prompted
from loambrief.topics.weeds.lists import hazards
from loambrief.topics.weeds.state import Agreement, Seen, one_each
from loambrief.units import CM_PER_INCH

UNTILLED = ("no-till", "strip-till")
APART = ("throws_sap", "carry_off")
"""Harms that make the usual pulling, mowing and cutting dangerous; each has its own action."""
NAMED = 3
"""Weeds that the action names: those that cover most ground."""
SEED_YEARS = (1, 5, 9)
"""First years of the spans for which the share of seed alive is printed."""
TESTED = {Agreement.AGREES: m.Side.FOR, Agreement.DIFFERS: m.Side.AGAINST}
"""A soil condition that was found, or looked for and not found, beside these weeds."""


@dataclass(frozen=True)
class Tactic:
    """One tactic, and the weeds of the case that it is meant for."""

    row: DataRow
    weeds: tuple[Seen, ...]
    every: bool
    """It is for all weeds of the case, and says so in place of their names."""

    @property
    def key(self) -> str:
        return str(self.row["tactic"])

    @property
    def sources(self) -> tuple[str, ...]:
        return parts(self.row["source"], ";")

    @property
    def text(self) -> m.Message:
        names = [] if self.every else [s.name for s in self.weeds]
        return say(f"weeds.tactic_{self.key}", weeds=names, length=self.row["length_in"])


def ground(case: CaseFile) -> str:
    """What tillage leaves room for: ``stand``, ``untilled`` or ``tilled``."""
    if case.field.tillage == "perennial":
        return "stand"
    return "untilled" if case.field.tillage in UNTILLED else "tilled"


def tactics(case: CaseFile, seen: Iterable[Seen]) -> tuple[Tactic, ...]:
    """Tactics for the weeds of a case, the surest first; a weed no table knows is left out."""
    known = [s for s in one_each(seen) if s.accepted]
    salty = {s.accepted for hinted in prompted(case, tuple(known))
             if hinted.key == "salinity" and hinted.check.verdict is Agreement.AGREES
             for s in hinted.weeds}
    here = ground(case)
    found = []
    for row in sorted(load("weeds/tactics"), key=lambda r: float(r["rank"])):
        where = parts(row["ground"])
        weeds = tuple(s for s in known if _meant(row, str(s.accepted))
                      and (not where or here in where
                           or ("salty" in where and s.accepted in salty)))
        if weeds:
            found.append(Tactic(row, weeds, 1 < len(weeds) == len(known)))
    return tuple(found)


def _meant(row: DataRow, species: str) -> bool:
    """The row is for this weed by name, or by its life cycle and kind, and would harm nobody."""
    if species in _harmful(parts(row["spares"])):
        return False
    if row["species"]:
        return species in parts(row["species"])
    plant = find_species(species)
    kinds = parts(row["kinds"])
    return plant["cycle"] in parts(row["cycles"]) and (not kinds or plant["kind"] in kinds)


def _harmful(kinds: Collection[str]) -> set[str]:
    return {name for row in load("weeds/hazards") if row["kind"] in kinds
            for name in parts(row["species"])}


def _apart(case: CaseFile, seen: tuple[Seen, ...]) -> list[m.Need]:
    """What is to be done with weeds that harm whoever pulls, mows or cuts them like others."""
    listed = {str(row["species"]) for row in load("weeds/noxious")}
    needs = []
    for kind, _, names, sources in hazards(seen):
        if kind in APART:
            mine = [s for s in seen if s.name in names]
            needs.append(m.Need(
                m.NeedKind.MANAGE, f"weeds-{kind.replace('_', '-')}", "",
                say(f"weeds.need_{kind}", weeds=names,
                    reported=list(dict.fromkeys(s.name for s in mine if s.accepted in listed))),
                place=field_place(case), area_ac=case.field.area.value, sources=sources,
                cautions=(say(f"weeds.caution_{kind}", weeds=names, roots=any(
                    str(s.accepted).split()[0] == "Cicuta" for s in mine)),)))
    return needs


def control_finding(case: CaseFile, seen: tuple[Seen, ...]) -> m.Finding | None:
    """One finding: how these weeds live, what holds them back here, what the soil adds to it."""
    chosen = tactics(case, seen)
    apart = _apart(case, seen)
    if not chosen and not apart:
        return None
    known = [s for s in one_each(seen) if s.accepted]
    soil = [_soil(hinted) for hinted in prompted(case, seen)]
    evidence = (
        *(m.Evidence(m.Side.FOR, t.text,
                     m.Grade.PRACTICE if t.row["how"] == "memory" else m.Grade.PUBLISHED, t.sources)
          for t in chosen),
        *soil, *_lives(known),
        m.stated("weeds.against_tactics"),
    )
    usual = sorted((s for s in known if s.accepted not in _harmful(APART)),
                   key=lambda s: -(s.cover or 0.0))
    needs = [*apart]
    if usual:
        needs.append(m.Need(
            m.NeedKind.MANAGE, "weeds", "",
            say("weeds.need_control", weeds=[s.name for s in usual[:NAMED]]),
            place=field_place(case), area_ac=case.field.area.value, sources=tuple(
                dict.fromkeys(key for t in chosen[:1] for key in t.sources)),
            cautions=(say("weeds.body_handling"),) if any(
                kind == "handling" for kind, *_ in hazards(seen)) else ()))
    return m.Finding(
        id="weeds.control",
        title=say("weeds.title_control", one=len(known) == 1),
        status=m.Status.WATCH, severity=1, confidence=m.Confidence.LOW, grade=m.Grade.PRACTICE,
        reference=say("weeds.reference_control"), place=field_place(case),
        body=(say("weeds.body_control", ground=ground(case)),
              *([say("weeds.body_unmeasured")] if any(
                  h.check.verdict not in TESTED for h in prompted(case, seen)) else [])),
        evidence=evidence, needs=tuple(needs),
        sources=tuple(dict.fromkeys(key for e in evidence for key in e.sources)),
    )


def _soil(hinted: Hinted) -> m.Evidence:
    """What a measured condition means for holding these weeds back; untested, it is not judged."""
    verdict = hinted.check.verdict
    return m.on_side(TESTED.get(verdict, m.Side.CONTEXT), "weeds.soil_adds", *hinted.check.results,
                     condition=hinted.key, weeds=[s.name for s in hinted.weeds],
                     found=verdict is Agreement.AGREES, tested=verdict in TESTED)


def _lives(known: list[Seen]) -> list[m.Evidence]:
    """Life cycle, life of seed and depth of seedlings: three lines for all weeds together."""
    plants = {s.name: find_species(str(s.accepted)) for s in known}
    cycles: dict[str, list[str]] = {}
    for name, plant in plants.items():
        cycles.setdefault(str(plant["cycle"]), []).append(name)
    lines = [m.Evidence(
        m.Side.CONTEXT,
        say("weeds.context_cycle", cycles=[{"cycle": c, "weeds": w} for c, w in cycles.items()],
            memory=any(p["how"] == "memory" for p in plants.values()),
            years=all(p["years_how"] == "seen" for p in plants.values())),
        m.Grade.OBSERVED, tuple(dict.fromkeys(
            ("weed-names", *(str(p["source"]) for p in plants.values() if p["source"])))))]
    return [*lines, *_seed_life(known), *_depths(known)]


def _seed_life(known: list[Seen]) -> list[m.Evidence]:
    """How long seed lasts: by weed where told, by its group where not; equal lines together."""
    told: dict[tuple[str, bool], list[str]] = {}
    groups: dict[str, list[str]] = {}
    sources: list[str] = []
    own = {str(row["species"]): row for row in load("weeds/seedbank")}
    silent = []
    for item in known:
        row, group = own.get(str(item.accepted)), _group(str(item.accepted))
        if row is not None:
            told.setdefault((str(row["statement"]), row["how"] == "memory"), []).append(item.name)
            sources += parts(row["source"], ";")
        elif group is not None:
            groups.setdefault(str(group["group"]), []).append(item.name)
        else:
            silent.append(item.name)
    lines = []
    if told:
        seeds = [{"weeds": names, "statement": statement, "memory": memory}
                 for (statement, memory), names in told.items()]
        lines.append(m.Evidence(m.Side.CONTEXT, say("weeds.context_seed", seeds=seeds),
                                m.Grade.SCREENING, tuple(dict.fromkeys(sources))))
    if groups:
        results: list[Result] = []
        rows = []
        for kind, names in groups.items():
            with subject(kind):
                left = [weed_seed_alive_pct.evaluate(group=kind, years=y) for y in SEED_YEARS]
            rows.append({"weeds": names, "left": [r.value for r in left]})
            results += left
        lines.append(m.stated("weeds.context_seed_group", *results, rows=rows))
    if silent:
        lines.append(m.stated("weeds.context_seed_none", weeds=silent))
    return lines


def _group(species: str) -> DataRow | None:
    plant = find_species(species)
    return next((row for row in load("weeds/seed_groups")
                 if plant["kind"] in parts(row["kinds"])
                 and plant["cycle"] in parts(row["cycles"])), None)


def _depths(known: list[Seen]) -> list[m.Evidence]:
    """How deep seedlings come from; a weed that no source was found for is named as such."""
    rows = {str(row["species"]): row for row in load("weeds/depth")}
    told: dict[tuple[float | None, float | None, bool], list[str]] = {}
    silent, sources = [], []
    for item in known:
        row = rows.get(str(item.accepted))
        if row is None:
            silent.append(item.name)
            continue
        told.setdefault((row["most_cm"], row["limit_cm"], row["how"] == "memory"),
                        []).append(item.name)
        sources.append(str(row["source"]))
    if not told:
        return []
    found = [{"weeds": names, "memory": memory,
              "most": None if most is None else most / CM_PER_INCH,
              "limit": None if limit is None else limit / CM_PER_INCH}
             for (most, limit, memory), names in told.items()]
    remembered = all(row["memory"] for row in found)
    return [m.Evidence(m.Side.CONTEXT, say("weeds.context_depth", rows=found, silent=silent),
                       m.Grade.PRACTICE if remembered else m.Grade.PUBLISHED,
                       tuple(dict.fromkeys(sources)))]
