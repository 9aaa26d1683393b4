"""Weeds of a hay field that can hurt the stock it feeds."""

from collections.abc import Iterator

from loambrief.agronomy.registry import subject
from loambrief.case.schema import CaseFile, Weed
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import FORAGE, kept_stock, known_crop
from loambrief.findings.model import say
from loambrief.findings.places import spots_place
from loambrief.tables import load, parts
from loambrief.topics.forage.formulas_safety import (
    BELOW,
    DEATHS,
    LOST_IN_DRYING,
    NO_SHARE,
    NOT_THIS_STOCK,
    SICKNESS,
    hay_caution,
    hay_weed_caution,
)
from loambrief.topics.weeds.formulas_names import known_species

HAZARDS = "weeds/hazards"
HAY_LEGUMES = ("red clover",)


def hay_crop(case: CaseFile) -> bool:
    crop = known_crop(case.field.crop)
    return crop is not None and (crop.group in FORAGE or crop.name in HAY_LEGUMES)


def _species(weed: Weed) -> str | None:
    row = known_species(weed.species)
    return None if row is None else str(row["scientific_name"])


def _listed(awns: bool) -> dict[str, tuple[str, ...]]:
    """Species that store nitrate, or that carry awns, each with the sources of its row."""
    found: dict[str, tuple[str, ...]] = {}
    for row in load(HAZARDS):
        if row["hay"] == ("awns" if awns else "nitrate"):
            for name in parts(row["species"]):
                found[name] = parts(row["source"], ";")
    return found


def weedy_hay(case: CaseFile) -> m.Finding | None:
    """Hay weeds that store nitrate or carry awns, where stock are kept; else None."""
    if not kept_stock(case) or not hay_crop(case):
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
        s for _, name in seen if name is not None
        for s in (*storing.get(name, ()), *barbed.get(name, ()))))
    sure = all(w.identification == "certain" for w in weeds)

    def names(some: list[Weed]) -> list[str]:
        return [w.local_name or w.species for w in some]

    return m.Finding(
        id="forage.weedy_hay",
        title=say("forage.title_weedy", weeds=names(weeds), where=place),
        status=m.Status.WATCH, severity=2,
        confidence=m.Confidence.MEDIUM if sure else m.Confidence.LOW, grade=m.Grade.OBSERVED,
        place=place,
        body=(say("forage.body_weedy", nitrate=names(nitrate), awns=names(awns)),),
        evidence=(
            m.Evidence(m.Side.FOR, say("forage.for_weedy", rows=[
                {"name": w.local_name or w.species, "place": w.place,
                 "cover": w.cover.value if w.cover is not None and w.cover.plain else None}
                for w in weeds]), m.Grade.OBSERVED, sources),
            m.stated("forage.context_weedy"),
        ),
        needs=(m.Need(m.NeedKind.MANAGE, "weedy-hay", "",
                      say("forage.need_weedy", where=place, nitrate=names(nitrate),
                          awns=names(awns)),
                      place=place, sources=sources, cautions=(say("forage.caution_vet"),)),),
        sources=sources,
    )


SHARES = (DEATHS, SICKNESS, BELOW)
"""Classes of the caution that rest on a published share."""
OWN_SIGNS = {"Berteroa incana": "alyssum"}
"""Species whose signs in stock have a sentence of their own."""


def poisonous_hay(case: CaseFile) -> Iterator[m.Said]:
    """Weeds that poison the stock that eats the hay, and weeds that nobody here can judge.

    By the published caution of each weed; a share below the reported one is no all-clear. Weeds the
    program does not know are missing where stock are kept.
    """
    if not hay_crop(case):
        return
    awned = {**_listed(awns=False), **_listed(awns=True)}
    stock: list[str | None] = [*kept_stock(case)] or [None]
    rows, results, worst = [], [], 0
    weeds, kinds = [], []
    for weed in case.weeds:
        name = _species(weed)
        row = None if name is None else hay_caution(name)
        if name is None or row is None or name in awned:
            continue
        cover = weed.cover.value if weed.cover is not None and weed.cover.plain else None
        with subject(weed.local_name or weed.species):
            told = [hay_weed_caution.evaluate(species=name, share_pct=cover, stock=kind)
                    for kind in stock]
        harmed = [(kind, r) for kind, r in zip(stock, told, strict=True)
                  if r.value not in (NOT_THIS_STOCK, LOST_IN_DRYING, None)]
        results += told
        if not harmed:
            continue
        weeds.append(weed)
        kinds += [kind if kind is not None else str(row["stock"]) for kind, _ in harmed]
        classes = {str(r.value) for _, r in harmed}
        worst = max(worst, 3 if classes & {DEATHS, SICKNESS} else 2)
        rows.append({"name": weed.local_name or weed.species, "share": cover,
                     "place": weed.place, "class": next(c for c in (*SHARES, NO_SHARE)
                                                        if c in classes),
                     "sick": row["sick_from_pct"], "deaths": row["deaths_from_pct"],
                     "signs": OWN_SIGNS.get(name), "sources": str(row["source"]).split(";")})
    yield from _unjudged_weeds(case)
    if not rows:
        return
    places = list(dict.fromkeys(w.place for w in weeds if w.place))
    place = spots_place(case, "poisonous", places)
    stock_hit = list(dict.fromkeys(kinds))
    sure = all(w.identification == "certain" for w in weeds)
    names = [str(r["name"]) for r in rows]
    sources = tuple(dict.fromkeys(s for r in rows for s in r["sources"]))
    yield m.Finding(
        id="forage.poisonous_hay",
        title=say("forage.title_poison", weeds=names, stock=stock_hit, where=place),
        status=m.Status.LIMITING, severity=worst if kept_stock(case) else 1,
        confidence=m.Confidence.MEDIUM if sure else m.Confidence.LOW, grade=m.Grade.OBSERVED,
        place=place,
        body=(say("forage.body_poison", rows=rows, sure=sure),),
        evidence=(m.Evidence(m.Side.FOR, say("forage.for_weedy", rows=[
            {"name": r["name"], "place": r["place"], "cover": r["share"]} for r in rows]),
            m.Grade.OBSERVED, sources, tuple(results)),
            m.stated("forage.context_poison")),
        needs=(m.Need(m.NeedKind.MANAGE, "poisonous-hay", "",
                      say("forage.need_poison", weeds=names, stock=stock_hit, where=place),
                      place=place, sources=sources, results=tuple(results),
                      cautions=(say("forage.caution_poison", stock=stock_hit),)),),
        sources=sources, results=tuple(results),
    )


def _unjudged_weeds(case: CaseFile) -> tuple[m.Missing, ...]:
    """Weeds that the lists do not know, where stock eat the hay."""
    unknown = [w.local_name or w.species for w in case.weeds if _species(w) is None]
    if not unknown or not kept_stock(case):
        return ()
    return (m.lacks("forage.missing_weed", weeds=list(dict.fromkeys(unknown)),
                    stock=kept_stock(case)),)
