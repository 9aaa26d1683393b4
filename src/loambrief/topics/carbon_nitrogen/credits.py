"""What brings nitrogen already: the legume before, manure, nitrate in soil and water."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import Applied, CaseFile, Increment, Residue, Sample
from loambrief.case.schema_plan import Nitrogen, NitrogenInputs
from loambrief.case.select import age_days
from loambrief.findings.crop_kinds import fixes_nitrogen, known_crop, standing
from loambrief.findings.model import Message, Place, say
from loambrief.tables import load, parts
from loambrief.topics.carbon_nitrogen.formulas_credits import (
    legume_credit_lb_ac,
    soil_nitrate_n_lb_ac,
    water_nitrogen_lb_ac,
)
from loambrief.topics.carbon_nitrogen.formulas_supply import (
    available_nitrogen_lb_ton,
    cover_crop_nitrogen_lb_ac,
    organic_nitrogen_release_lb_ac,
)
from loambrief.units import LB_PER_TON, plain

SANDY = ("sand", "loamy sand", "sandy loam")
BUILT_IN = ("soybean",)
"""Legumes whose credit rates made for the rotation hold already (isu-soybean-credit)."""
MANURES = ("manure", "compost", "biosolids")
SEASON_DAYS = 365
"""Manure spread longer ago than this is in its second season (our own cut)."""
SEASONS = ("first season", "second season", "third season")
LATER = ("manure", "biosolids")
"""Kinds with a published release in later seasons; compost has none by the season."""
NITRATE_DAYS = 180
"""A nitrate test older than this is not counted: nitrate moves with rain (our own cut)."""


@dataclass(frozen=True)
class Credit:
    """Nitrogen that is there already [lb/ac]; ``kind``: legume, manure, soil, water or cover."""

    kind: str
    amount: float
    text: Message
    results: tuple[Result, ...]


def credits_of(case: CaseFile, said: Nitrogen | NitrogenInputs, zone: Sample | None,
               place: Place) -> Iterator[Credit]:
    """What is there already, each with its sentence."""
    legume = _legume(case, said, zone)
    if legume is not None and legume.value:
        yield Credit("legume", float(legume.value), say(
            "carbon_nitrogen.credit_legume", crop=case.field.previous_crop, amount=legume.value,
            low=legume.details["low"], high=legume.details["high"],
            memory=legume.how == "memory",
            built_in=isinstance(said, Nitrogen) and crop_before(case) in BUILT_IN), (legume,))
    for applied, season in _seasons(case):
        amount, results, other = _manure(applied, season)
        if amount:
            yield Credit("manure", amount, say(
                "carbon_nitrogen.credit_manure", material=applied.material, date=applied.date,
                amount=amount, stated=not results, season=season, other=other), results)
    with subject(place):
        soil = tuple(soil_nitrate_n_lb_ac.evaluate(nitrate_n_ppm=i.nitrate_n.value,
                                                   depth_in=i.thickness_in)
                     for i in (nitrate_layers(case, zone) if zone is not None else [])
                     if i.nitrate_n is not None)
    if soil:
        layers = nitrate_layers(case, zone) if zone is not None else []
        yield Credit("soil", sum(float(r.value) for r in soil), say(
            "carbon_nitrogen.credit_soil", amount=sum(float(r.value) for r in soil),
            depth=layers[-1].bottom_in), soil)
    if case.water is not None and said.irrigation is not None:
        nitrate = plain(case.water.nitrate_n)
        if nitrate:
            most = plain(case.field.seasonal_et)
            depth = said.irrigation.value if most is None else min(said.irrigation.value, most)
            with subject("irrigation water"):
                water = water_nitrogen_lb_ac.evaluate(nitrate_n_mg_l=nitrate, water_in=depth)
            yield Credit("water", float(water.value), say(
                "carbon_nitrogen.credit_water", amount=water.value, depth=depth), (water,))


@cache
def _cover_names() -> frozenset[str]:
    return frozenset(name.casefold() for row in load("cover_crops/species")
                     for name in (str(row["species"]), *parts(row["also"])) if name)


def killed_covers(case: CaseFile) -> list[Residue]:
    """Residue on the field that is a cover crop by its name."""
    return [r for r in case.residue if r.material.casefold() in _cover_names()]


def cover_credits(case: CaseFile) -> Iterator[Credit]:
    """What killed cover crops of known mass and nitrogen give this season, by the one rule held."""
    for residue in killed_covers(case):
        mass, nitrogen = plain(residue.dry_mass), plain(residue.nitrogen)
        if mass is None or nitrogen is None:
            continue
        with subject(residue.material):
            found = cover_crop_nitrogen_lb_ac.evaluate(dry_mass_ton_ac=mass / LB_PER_TON,
                                                       nitrogen_pct=nitrogen)
        yield Credit("cover", found.number, say(
            "carbon_nitrogen.credit_cover", material=residue.material, amount=found.number,
            nitrogen=nitrogen), (found,))


def crop_before(case: CaseFile) -> str:
    crop = known_crop(case.field.previous_crop)
    return "" if crop is None else crop.name


def _legume(case: CaseFile, said: Nitrogen | NitrogenInputs,
            zone: Sample | None) -> Result | None:
    previous = known_crop(case.field.previous_crop)
    if previous is None or not fixes_nitrogen(previous.name) or standing(case):
        return None
    with subject(previous.name):
        return legume_credit_lb_ac.evaluate(
            crop=previous.name, stand=said.stand,
            sandy=zone is not None and zone.texture in SANDY)


def spread(case: CaseFile) -> list[Applied]:
    return [a for a in case.earlier_applications if a.kind in MANURES
            and age_days(case, a.date) <= SEASON_DAYS]


def _seasons(case: CaseFile) -> Iterator[tuple[Applied, int]]:
    """Manure and compost spread before that still gives nitrogen, and in which season."""
    for applied in case.earlier_applications:
        season = max(age_days(case, applied.date) - 1, 0) // SEASON_DAYS
        if applied.kind in (MANURES if season == 0 else LATER) and season < len(SEASONS):
            yield applied, season


def _manure(applied: Applied,
            season: int) -> tuple[float | None, tuple[Result, ...], float | None]:
    """Nitrogen of one application that a crop can use in a season [lb/ac].

    With it the results, and what the other published way gives. Where ammonium is known a later
    season goes by the organic part, else by the share of the total.
    """
    analysis = applied.analysis
    if analysis is None or not applied.rate.plain:
        return None, (), None
    stated, total = plain(analysis.available_n), plain(analysis.total_nitrogen)
    if season == 0 and stated is not None:
        return applied.rate.value * stated / 100.0, (), None
    if total is None:
        return None, (), None
    ammonium = plain(analysis.ammonium_n)
    with subject(applied.material):
        share = available_nitrogen_lb_ton.evaluate(
            material="compost" if applied.kind == "compost" else "manure",
            total_nitrogen_pct=total, period=SEASONS[season])
        by_total = applied.rate.value / LB_PER_TON * float(share.value)
        if season == 0 or ammonium is None:
            return by_total, (share,), None
        released = organic_nitrogen_release_lb_ac.evaluate(
            organic_n_lb_ac=applied.rate.value * (total - ammonium) / 100.0,
            season=SEASONS[season])
    return released.number, (released, share), by_total


def nitrate_layers(case: CaseFile, zone: Sample) -> list[Increment]:
    """Layers with a nitrate test, from the top down, none of them counted twice."""
    if age_days(case, zone.date) > NITRATE_DAYS:
        return []
    layers: list[Increment] = []
    tested = [i for i in zone.increments if i.nitrate_n is not None and i.nitrate_n.plain]
    for increment in sorted(tested, key=lambda i: (i.top_in, -i.bottom_in)):
        if not layers or increment.top_in >= layers[-1].bottom_in:
            layers.append(increment)
    return layers


def uncounted(case: CaseFile, counted: set[str]) -> Iterator[str]:
    """What may bring nitrogen and could not be counted."""
    if "legume" not in counted and fixes_nitrogen(case.field.previous_crop) \
            and not standing(case):
        yield "legume"
    if "manure" not in counted and any(True for _ in _seasons(case)):
        yield "manure"
    if "cover" not in counted and killed_covers(case):
        yield "cover"
    if "soil" not in counted:
        yield "soil"
    if "water" not in counted and case.field.irrigation != "none":
        yield "water"
