"""A cover crop as it is planned: does it serve its purpose, fit the season, and how does it end?

A mix of the case is worked out; where none is named, those that serve the purpose and still have
the days are listed. Nothing here sets a rate of fertilizer, and no pesticide is named.
"""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace

from loambrief.agronomy.crops import Crop
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile
from loambrief.case.schema_plan import CoverCrop
from loambrief.errors import UnknownName
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import known_crop, seeded_in_rows, standing
from loambrief.findings.model import say
from loambrief.findings.places import field_place
from loambrief.tables import DataRow, load, parts
from loambrief.topics.carbon_nitrogen.formulas_decay import decay_effect
from loambrief.topics.cover_crops.formulas import (
    LATE,
    SPECIES,
    cover_end_days_before,
    cover_mix_seed_lb_ac,
    cover_seed_cost,
    cover_sowing_fit,
    cover_species,
    stages,
)
from loambrief.topics.cover_crops.stock import may_graze, stock_cautions
from loambrief.topics.nutrients.seed_row import seed_row_limit
from loambrief.topics.salinity.formulas_crops import crop_salt_threshold
from loambrief.topics.salinity.state import salt_state
from loambrief.units import PRICE_UNITS, plain

LISTED = 6
"""Cover crops that are listed where the case names none."""


@dataclass(frozen=True)
class Sown:
    """One cover crop that is sown, or could be."""

    row: DataRow
    seed: Result
    serves: tuple[str, ...]
    fit: Result | None
    price_per_lb: float | None = None

    @property
    def name(self) -> str:
        return str(self.row["species"])

    @property
    def tender(self) -> bool:
        """A temperature that usually kills it is held."""
        return self.row["kill_low_f"] is not None

    @property
    def memory(self) -> bool:
        return self.row["how"] == "memory"


def assess(case: CaseFile) -> m.Assessment:
    """What is said of the cover crop of a case, and of the crop before the next one."""
    plan, rotation = case.cover_crop, _rotation(case)
    rotations = () if rotation is None else (rotation,)
    if plan is None:
        return m.Assessment(rotations)
    missing, mix = [], []
    for number, entry in enumerate(plan.mix, 1):
        try:
            row = cover_species(entry.species)
        except UnknownName:
            missing.append(m.lacks("cover_crops.missing_species", species=entry.species))
            continue
        price = None
        if entry.price is not None and PRICE_UNITS[entry.price.per][0] == "mass":
            price = entry.price.amount / PRICE_UNITS[entry.price.per][1]
        share = plain(entry.share)
        sown = _sown(case, plan, row, 100.0 if share is None else share, str(number))
        mix.append(replace(sown, price_per_lb=price))
    if _days(case, plan) is None:
        missing.append(m.lacks("cover_crops.missing_dates"))
    findings = [_planned(case, plan, mix)] if mix else [] if plan.mix else [_choice(case, plan)]
    return m.Assessment((*findings, *rotations), tuple(missing))


def _sowing(case: CaseFile, plan: CoverCrop) -> dt.date | None:
    """The day it is sown: as stated, else right after the harvest that lies ahead."""
    if plan.sowing is not None:
        return plan.sowing
    harvest = case.field.dates.harvest if case.field.dates else None
    return harvest if harvest is not None and harvest >= case.case.date else None


def _days(case: CaseFile, plan: CoverCrop) -> int | None:
    sowing = _sowing(case, plan)
    if sowing is None or plan.first_frost is None:
        return None
    return (plan.first_frost - sowing).days


def days_before_frost(case: CaseFile) -> tuple[float, tuple[tuple[str, float], ...]] | None:
    """Days left before the usual frost, and those each cover crop of the mix should have.

    None where the case has no mix of known cover crops, or lacks one of the two dates.
    """
    plan = case.cover_crop
    days = None if plan is None else _days(case, plan)
    if plan is None or days is None:
        return None
    rows = []
    for entry in plan.mix:
        try:
            row = cover_species(entry.species)
        except UnknownName:
            continue
        rows.append((str(row["species"]), float(row["frost_days"])))
    return (float(days), tuple(rows)) if rows else None


def _sown(case: CaseFile, plan: CoverCrop, row: DataRow, share: float, about: str) -> Sown:
    days = _days(case, plan)
    name = str(row["species"])
    with subject(name, about):
        seed = cover_mix_seed_lb_ac.evaluate(species=name, share_pct=share)
        fit = None if days is None else cover_sowing_fit.evaluate(species=name,
                                                                  days_to_frost=days)
    serves = parts(row["purposes"])
    return Sown(row, seed, tuple(p for p in plan.purpose if p in serves), fit)


def _choice(case: CaseFile, plan: CoverCrop) -> m.Finding:
    """Cover crops that serve the purpose and are not too late, those for most purposes first."""
    found = [_sown(case, plan, row, 100.0, "alone") for row in load(SPECIES)]
    found = [s for s in found if s.serves and (s.fit is None or s.fit.value != LATE)]
    found.sort(key=lambda s: (-len(s.serves), s.memory))
    found = found[:LISTED]
    return m.Finding(
        id="cover_crops.choice",
        title=say("cover_crops.title_choice", purpose=plan.purpose, n=len(found)),
        status=m.Status.NOTED, severity=0, confidence=m.Confidence.LOW, grade=m.Grade.PRACTICE,
        reference=say("cover_crops.reference_plan"), place=field_place(case),
        body=(say("cover_crops.body_choice", dated=_days(case, plan) is not None),
              *stock_cautions(case, plan, [s.name for s in found])[0]),
        evidence=(*(_seed_line(s) for s in found), *_winter(found), *_water(case),
                  *_cost(case, [])),
        sources=tuple(dict.fromkeys((*(str(s.row["source"]) for s in found), "cover-memory"))),
        results=tuple(s.seed for s in found))


def _planned(case: CaseFile, plan: CoverCrop, mix: list[Sown]) -> m.Finding:
    """The mix of the case: seed, purpose, season, C:N, salt, how it ends, water and cost."""
    late = [s.name for s in mix if s.fit is not None and s.fit.value == LATE]
    unserved = [p for p in plan.purpose if not any(p in s.serves for s in mix)]
    salt = list(_salt(case, mix))
    evidence = [*(_seed_line(s) for s in mix), *_purpose(plan, mix), *_dates(mix),
                *_winter(mix), *_decay(mix), *salt, *_ending(case, plan, mix),
                *_after(case, mix), *_seed_rows(case, mix),
                *_water(case), *_cost(case, mix)]
    cautions, kept_from = stock_cautions(case, plan, [s.name for s in mix])
    if kept_from:
        evidence.append(m.stated("cover_crops.not_for_grazing", names=kept_from))
    needs: tuple[m.Need, ...] = ()
    left_out = [*late, *(kept_from if "grazing" in plan.purpose else ())]
    if any(s.name not in left_out for s in mix):
        needs = (m.Need(
            m.NeedKind.MANAGE, "cover crop", "",
            say("cover_crops.need_sow", sowing=_sowing(case, plan), rows=[
                {"name": s.name, "seed": s.seed.value} for s in mix if s.name not in left_out]),
            place=field_place(case), area_ac=case.field.area.value, optional=True,
            sources=tuple(dict.fromkeys(str(s.row["source"]) for s in mix)),
            results=tuple(s.seed for s in mix), cautions=cautions),)
    return m.Finding(
        id="cover_crops.mix",
        title=say("cover_crops.title_mix", names=[s.name for s in mix], late=late,
                  salty=[e.text.params["name"] for e in salt if e.side is m.Side.AGAINST],
                  unserved=unserved, undated=_days(case, plan) is None, kept_from=kept_from),
        status=m.Status.WATCH, severity=1, confidence=m.Confidence.LOW, grade=m.Grade.PRACTICE,
        reference=say("cover_crops.reference_plan"), place=field_place(case),
        body=(say("cover_crops.body_mix"), *(() if needs else cautions)),
        evidence=tuple(evidence), needs=needs,
        sources=tuple(dict.fromkeys(key for e in evidence for key in e.sources)),
        results=tuple(s.seed for s in mix))


def _seed_line(sown: Sown) -> m.Evidence:
    row = sown.row
    return m.Evidence(m.Side.CONTEXT, say(
        "cover_crops.seed", name=sown.name, low=sown.seed.details["low"],
        high=sown.seed.details["high"], share=sown.seed.inputs["share_pct"],
        shallow=row["depth_low_in"], deep=row["depth_high_in"], memory=sown.memory),
        m.Grade.PRACTICE if sown.memory else m.Grade.PUBLISHED, (str(row["source"]),), (sown.seed,))


def _winter(mix: list[Sown]) -> Iterator[m.Evidence]:
    """The cold that kills each, graded by itself; where none is held nothing is foretold."""
    groups: dict[tuple[float, float | None, str, bool], list[str]] = {}
    for sown in mix:
        if sown.tender:
            row = sown.row
            groups.setdefault((float(row["kill_low_f"]), row["kill_high_f"],
                               str(row["kill_source"]), row["kill_how"] == "memory"),
                              []).append(sown.name)
    for (low, high, source, memory), names in groups.items():
        yield m.Evidence(m.Side.CONTEXT, say("cover_crops.winter", names=names, low=low, high=high,
                                             memory=memory),
                         m.Grade.PRACTICE if memory else m.Grade.PUBLISHED, (source,))
    if silent := [s.name for s in mix if not s.tender]:
        yield m.stated("cover_crops.winter_unjudged", names=silent)


def _purpose(plan: CoverCrop, mix: list[Sown]) -> Iterator[m.Evidence]:
    for purpose in plan.purpose:
        names = [s.name for s in mix if purpose in s.serves]
        yield m.on_side(m.Side.FOR if names else m.Side.AGAINST, "cover_crops.serves",
                        purpose=purpose, names=names)


def _dates(mix: list[Sown]) -> Iterator[m.Evidence]:
    for sown in mix:
        if sown.fit is not None:
            yield m.on_side(m.Side.AGAINST if sown.fit.value == LATE else m.Side.FOR,
                            "cover_crops.fit", sown.fit, name=sown.name, fit=sown.fit.value,
                            needs=sown.fit.details["needs"], days=sown.fit.inputs["days_to_frost"])


def _decay(mix: list[Sown]) -> Iterator[m.Evidence]:
    """C:N when it is ended, and what that does to nitrogen; not judged where none is published."""
    silent = []
    for sown in mix:
        found, results = [], []
        for stage, ratio in stages(sown.name):
            with subject(sown.name, stage):
                effect = decay_effect.evaluate(ratio=ratio)
            found.append({"stage": stage, "cn": ratio, "effect": effect.value})
            results.append(effect)
        if found:
            yield m.stated("cover_crops.decay", *results, name=sown.name, rows=found)
        else:
            silent.append(sown.name)
    if silent:
        yield m.stated("cover_crops.decay_unknown", names=silent)
    if len(mix) > 1:
        yield m.stated("cover_crops.decay_mix")


def _salt(case: CaseFile, mix: list[Sown]) -> Iterator[m.Evidence]:
    """Measured salt against the published threshold of each cover crop that has one."""
    measured = [(s, p) for s in case.samples if (p := salt_state(s).main) is not None
                and p.ece is not None]
    if not measured:
        return
    worst = max(float(p.ece) for _, p in measured if p.ece is not None)
    for sown in mix:
        if sown.row["salt_crop"] is None:
            continue
        with subject(sown.name):
            limit = crop_salt_threshold.evaluate(crop=str(sown.row["salt_crop"]))
        over = worst > float(limit.value)
        yield m.Evidence(m.Side.AGAINST if over else m.Side.FOR,
                         say("cover_crops.salt", name=sown.name, ece=worst, limit=limit.value,
                             over=over), m.Grade.CALCULATED, (limit.source,),
                         (limit, *(r for _, p in measured for r in p.results)))


def _ending(case: CaseFile, plan: CoverCrop, mix: list[Sown]) -> Iterator[m.Evidence]:
    """How and when it is ended, without pesticides."""
    for row in sorted(load("cover_crops/ending"), key=lambda r: float(r["rank"])):
        groups, names = str(row["groups"] or ""), str(row["species"] or "")
        if row["way"] == "graze" and not may_graze(case, plan, [s.name for s in mix]):
            continue
        fits = [s.name for s in mix if (s.tender or row["kills"] != "tender")
                and (not groups or s.row["group"] in parts(groups))
                and (not names or s.name in parts(names))]
        if fits:
            yield m.Evidence(m.Side.CONTEXT, say(f"cover_crops.end_{row['way']}", names=fits),
                             m.Grade.PRACTICE if row["how"] == "memory" else m.Grade.PUBLISHED,
                             parts(row["source"], ";"))
    irrigated = case.field.irrigation != "none"
    deadline = None
    if plan.zone is not None and not irrigated:
        deadline = cover_end_days_before.evaluate(zone=plan.zone)
    yield m.stated("cover_crops.deadline", *(() if deadline is None else (deadline,)),
                   irrigated=irrigated, zone=plan.zone,
                   days=None if deadline is None else deadline.value)


def _note(row: DataRow, names: list[str], crop: Crop) -> Iterator[m.Evidence]:
    """One note of the table of rotations, where it is of that crop after those before."""
    if names and (crop.group in parts(row["crop_groups"])
                  or any(n in parts(row["crops"]) for n in crop.lineage)):
        yield m.Evidence(m.Side.AGAINST, say(f"cover_crops.follow_{row['note']}", names=names,
                                             crop=crop.name),
                         m.Grade.PRACTICE if row["how"] == "memory" else m.Grade.PUBLISHED,
                         parts(row["source"], ";"))


def _after(case: CaseFile, mix: list[Sown]) -> Iterator[m.Evidence]:
    """What the mix means for the crop that follows; nothing where that crop is not known."""
    crop = known_crop(case.field.following_crop or case.field.crop)
    if crop is None:
        return
    for row in load("cover_crops/rotation"):
        groups = parts(row["groups"])
        yield from _note(row, [
            s.name for s in mix if s.name in parts(row["covers"]) or s.row["group"] in groups
            or ("slow" in groups and s.row["slow_start"] == "yes")], crop)


def _rotation(case: CaseFile) -> m.Finding | None:
    """What the crop before means for the crop after it; None where nothing is held on the two."""
    field = case.field
    pairs = ((field.previous_crop, field.crop), (field.crop, field.following_crop))
    evidence: list[m.Evidence] = []
    named: list[str] = []
    for first, second in pairs[1:] if standing(case) else pairs:
        before, after = known_crop(first), known_crop(second)
        if before is None or after is None or (standing(case) and before == after):
            continue
        for row in load("cover_crops/rotation"):
            if any(n in parts(row["before"]) for n in before.lineage):
                said = list(_note(row, [before.name], after))
                named += [before.name] * len(said)
                evidence += said
    if not evidence:
        return None
    return m.Finding(
        id="cover_crops.rotation",
        title=say("cover_crops.title_rotation", names=list(dict.fromkeys(named))),
        status=m.Status.NOTED, severity=0, confidence=m.Confidence.LOW, grade=m.Grade.SCREENING,
        place=field_place(case), body=(say("cover_crops.body_rotation"),),
        evidence=tuple(evidence),
        sources=tuple(dict.fromkeys(key for e in evidence for key in e.sources)))


def _seed_rows(case: CaseFile, mix: list[Sown]) -> Iterator[m.Evidence]:
    """Fertilizer with the seed of the mix and of the crop after it; unjudged where none is held."""
    silent = []
    following = known_crop(case.field.following_crop)
    named = [(s.name, known_crop(s.name)) for s in mix]
    if following is not None and seeded_in_rows(case, following):
        named.append((following.name, following))
    for name, crop in named:
        if crop is None:
            silent.append(name)
            continue
        with subject(name, "seed row"):
            told, limit = seed_row_limit(case, crop)
        if limit.value is None:
            silent.append(name)
        else:
            yield m.Evidence(m.Side.CONTEXT, told, m.Grade.PUBLISHED, (limit.source,), (limit,))
    if silent:
        yield m.stated("cover_crops.seed_row_unjudged", names=silent)


def _water(case: CaseFile) -> Iterator[m.Evidence]:
    """What it drinks, on rain-fed ground: dry regions lose, humid ones hardly."""
    if case.field.irrigation == "none":
        yield m.stated("cover_crops.water_dry")
        yield m.stated("cover_crops.water_humid")


def _cost(case: CaseFile, mix: list[Sown]) -> Iterator[m.Evidence]:
    """Seed at the prices of the case, else what is usual; other money has no usual price here."""
    prices = [s.price_per_lb for s in mix]
    known = [p for p in prices if p is not None]
    if mix and len(known) == len(mix):
        with subject("mix"):
            cost = cover_seed_cost.evaluate(rates_lb_ac=[s.seed.value for s in mix],
                                            prices_per_lb=known)
        yield m.stated("cover_crops.cost_seed", cost, cost=cost.value)
    elif mix:
        yield m.stated("cover_crops.cost_unknown")
    if case.case.currency == "USD":
        table = load("cover_crops/costs")
        rows = {str(r["item"]): (float(r["low"]), float(r["high"])) for r in table}
        yield m.stated("cover_crops.cost_usual", **rows)
