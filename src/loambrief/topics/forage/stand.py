"""How a forage stand is cut, grazed and rested, and what the crop itself can do to stock."""

import datetime as dt

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import kept_stock, known_crop
from loambrief.findings.model import say
from loambrief.findings.places import field_place
from loambrief.tables import DataRow, load, parts
from loambrief.topics.forage.formulas import coefficient
from loambrief.topics.forage.formulas_grazing import autumn_rest_d, hay_stage, stand_height_in
from loambrief.topics.forage.weeds import hay_crop
from loambrief.units import plain

ANNUAL = ("corn silage", "small grain silage")
"""Forage that is no stand: cut once, never rested."""


def stand_finding(case: CaseFile) -> m.Finding | m.Missing | None:
    """Heights and rest of the stand; what crosses them is a reason to act.

    None where the field grows no stand of forage; a Missing where nothing is published for it.
    """
    crop = known_crop(case.field.crop)
    if crop is None or not hay_crop(case) or crop.name in ANNUAL:
        return None
    place = field_place(case)
    with subject(crop.name):
        grazed, cut = (stand_height_in.evaluate(crop=crop.name, use=use)
                       for use in ("grazed", "cut"))
        rest = autumn_rest_d.evaluate(crop=crop.name)
    held = tuple(r for r in (grazed, cut, rest) if r.value is not None)
    if not held:
        return m.lacks("forage.missing_stand", crop=crop.name)
    dates = case.field.dates
    frost = dates.dormancy if dates is not None else None
    start = None if frost is None or rest.value is None else (
        frost - dt.timedelta(days=round(rest.number)))
    next_cut = dates.next_cut if dates is not None else None
    late = (next_cut is not None and start is not None and frost is not None
            and max(start, case.case.date) < next_cut < frost)
    height = plain(case.stock.grazing.height) if case.stock and case.stock.grazing else None
    short = too_short(case)
    stage = hay_stage(crop.name)
    sources = tuple(dict.fromkeys((*(r.source for r in held),
                                   *(str(stage["source"]).split(";") if stage else ()))))
    needs = []
    if late:
        needs.append(m.Need(m.NeedKind.MANAGE, "autumn-rest", "",
                            say("forage.need_autumn_rest", crop=crop.name, frost=frost,
                                start=start if start and start >= case.case.date else None),
                            place=place, sources=sources, results=(rest,)))
    if short:
        over = frost is not None and case.case.date >= frost
        needs.append(m.Need(m.NeedKind.MANAGE, "rest-stand", "",
                            say("forage.need_rest_stand", crop=crop.name, over=over,
                                **grazed.details),
                            place=place, sources=sources, results=(grazed,),
                            cautions=(say("forage.caution_grazing"),)))
    evidence = [m.stated("forage.for_stand", *held, height=height, cut=next_cut)]
    if rest.value is not None and crop.group == "alfalfa":
        evidence.append(m.stated("forage.against_rest"))
    return m.Finding(
        id="forage.stand",
        title=say("forage.title_stand", crop=crop.name, late=late, short=short, cut=next_cut,
                  height=height),
        status=m.Status.WATCH if late or short else m.Status.NOTED,
        severity=1 if late or short else 0,
        confidence=m.Confidence.MEDIUM, grade=m.Grade.OBSERVED, place=place,
        body=(say("forage.body_stand", crop=crop.name, hay_kinds=crop.group == "alfalfa",
                  grazed=_details(grazed), cut=_details(cut)),
              *((say("forage.body_hay_stage", stage=stage["stage"], low=stage["tall_low"],
                     high=stage["tall_high"]),) if stage else ()),
              *((say("forage.body_autumn_rest", low=rest.details["low"], high=rest.value,
                     start=start, frost=frost),) if rest.value is not None else ())),
        evidence=tuple(evidence), needs=tuple(needs), sources=sources, results=held,
    )


def too_short(case: CaseFile) -> bool:
    """The stand is lower than the height at which grazing is to stop."""
    crop = known_crop(case.field.crop)
    height = plain(case.stock.grazing.height) if case.stock and case.stock.grazing else None
    if crop is None or height is None:
        return False
    with subject(crop.name):
        grazed = stand_height_in.evaluate(crop=crop.name, use="grazed")
    return grazed.value is not None and height < grazed.number


def _details(height: Result) -> dict[str, object] | None:
    return None if height.value is None else dict(height.details)


def hazard_finding(case: CaseFile) -> m.Finding | None:
    """What the crop can do to the stock kept here, by the published rows; else None.

    It asks for something where the crop is fed in the way that hurts, grazed or as hay, and where
    the case does not say how it is fed.
    """
    crop, kept = known_crop(case.field.crop), kept_stock(case)
    if crop is None:
        return None
    grazing = case.stock is not None and case.stock.grazing is not None
    hay = case.stock is not None and case.stock.hay is not None
    unsaid = not grazing and not hay
    found: list[tuple[DataRow, list[str], bool]] = []
    for row in load("forage/stock_hazards"):
        hurt = [s for s in kept if s in parts(row["stock"])]
        if row["crop"] in crop.lineage and hurt:
            found.append((row, hurt, unsaid or (grazing and row["grazed"] == "yes")
                          or (hay and row["hay"] == "yes")))
    if not found:
        return None
    place = field_place(case)
    now = [(row, hurt) for row, hurt, fed in found if fed]
    sources = tuple(dict.fromkeys(str(row["source"]) for row, _, _ in found))
    heights = {"low": coefficient("prussic_height_low"), "high": coefficient("prussic_height_high"),
               "lowest": coefficient("fructan_height")}
    needs: tuple[m.Need, ...] = ()
    if now:
        hurt_by: dict[str, list[str]] = {}
        for row, hurt in now:
            hurt_by.setdefault(str(row["hazard"]), []).extend(hurt)
        needs = (m.Need(m.NeedKind.MANAGE, "stock-hazards", "",
                        say("forage.need_hazards", crop=crop.name,
                            stock=list(dict.fromkeys(s for _, hurt in now for s in hurt))),
                        place=place, sources=sources,
                        cautions=(*(say(f"forage.caution_{key}", stock=stock, **heights)
                                    for key, stock in hurt_by.items()),
                                  say("forage.caution_vet"))),)
    return m.Finding(
        id="forage.hazards",
        title=say("forage.title_hazards", crop=crop.name,
                  stock=list(dict.fromkeys(s for _, hurt, _ in found for s in hurt))),
        status=m.Status.WATCH if now else m.Status.NOTED, severity=1 if now else 0,
        confidence=m.Confidence.MEDIUM, grade=m.Grade.OBSERVED, place=place,
        body=tuple(say(f"forage.hazard_{row['hazard']}", stock=hurt, fed=fed,
                       memory=row["how"] == "memory", **heights) for row, hurt, fed in found),
        evidence=(m.Evidence(m.Side.FOR, say("forage.for_hazards", crop=crop.name, stock=kept,
                                             grazing=grazing, hay=hay), m.Grade.OBSERVED, sources),
                  m.stated("forage.against_hazards")),
        needs=needs, sources=sources,
    )
