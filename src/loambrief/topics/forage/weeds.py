"""Weeds of a hay field that can hurt the stock it feeds."""

from __future__ import annotations

from loambrief.case.schema import CaseFile, Weed
from loambrief.errors import UnknownName
from loambrief.findings.crop_kinds import FORAGE, known_crop
from loambrief.findings.model import (
    Confidence,
    Evidence,
    Finding,
    Grade,
    Need,
    NeedKind,
    Side,
    Status,
    say,
)
from loambrief.findings.places import spots_place
from loambrief.tables import load
from loambrief.topics.weeds.formulas_names import find_species, split

TOPIC = "forage"
HAZARDS = "weeds/hazards"
HAY_LEGUMES = ("red clover",)
AWNS = "barbed awns"
"""How the hazards table begins the line on plants with awns or bristles."""


def hay_crop(case: CaseFile) -> bool:
    """The field grows forage."""
    crop = known_crop(case.field.crop)
    return crop is not None and (crop.group in FORAGE or crop.name in HAY_LEGUMES)


def _species(weed: Weed) -> str | None:
    try:
        return str(find_species(weed.species)["scientific_name"])
    except UnknownName:
        return None


def _listed(awns: bool) -> dict[str, tuple[str, ...]]:
    """Species that store nitrate, or that carry awns, each with the sources of its row."""
    found: dict[str, tuple[str, ...]] = {}
    for row in load(HAZARDS):
        text = str(row["text"])
        fits = text.startswith(AWNS) if awns else row["kind"] == "nitrate"
        if fits:
            for name in split(row["species"]):
                found[name] = tuple(str(row["source"]).split(";"))
    return found


def weedy_hay(case: CaseFile) -> Finding | None:
    """Hay weeds that store nitrate or carry awns, where stock are kept; else None."""
    if not case.field.livestock or not hay_crop(case):
        return None
    storing, barbed = _listed(awns=False), _listed(awns=True)
    seen = [(w, _species(w)) for w in case.weeds]
    nitrate = [w for w, name in seen if name in storing]
    awns = [w for w, name in seen if name in barbed]
    weeds = [w for w, name in seen if name in storing or name in barbed]
    if not weeds:
        return None
    places = list(dict.fromkeys(w.place for w in weeds if w.place))
    place = spots_place(case, "weedy", places)
    sources = tuple(dict.fromkeys(
        s for _, name in seen for s in (*storing.get(name, ()), *barbed.get(name, ()))))
    sure = all(w.identification == "certain" for w in weeds)

    def names(some: list[Weed]) -> list[str]:
        return [w.local_name or w.species for w in some]

    return Finding(
        id=f"{TOPIC}.weedy_hay", topic=TOPIC,
        title=say("forage.title_weedy", weeds=names(weeds), where=place),
        status=Status.WATCH, severity=2,
        confidence=Confidence.MEDIUM if sure else Confidence.LOW, grade=Grade.OBSERVED,
        place=place,
        body=(say("forage.body_weedy", nitrate=names(nitrate), awns=names(awns)),),
        evidence=(
            Evidence(Side.FOR, say("forage.for_weedy", rows=[
                {"name": w.local_name or w.species, "place": w.place,
                 "cover": w.cover.value if w.cover is not None and w.cover.plain else None}
                for w in weeds]), Grade.OBSERVED, sources),
            Evidence(Side.CONTEXT, say("forage.context_weedy"), Grade.OBSERVED),
        ),
        needs=(Need(NeedKind.MANAGE, "weedy-hay", "",
                    say("forage.need_weedy", where=place, nitrate=names(nitrate),
                        awns=names(awns)),
                    place=place, sources=sources, cautions=(say("forage.caution_vet"),)),),
        sources=sources,
    )
