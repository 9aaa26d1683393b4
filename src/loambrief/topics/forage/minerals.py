"""Minerals of a forage that can hurt stock: grass tetany, calcium against phosphorus."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Forage
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import kept_stock
from loambrief.findings.model import say
from loambrief.topics.cations.formulas import constant, grass_tetany_ratio
from loambrief.topics.forage.formulas import coefficient
from loambrief.topics.forage.formulas_safety import (
    ABOVE,
    BELOW_LOW,
    ENOUGH,
    HIGH,
    PERHAPS_SHORT,
    TOO_HIGH,
    calcium_phosphorus_ratio,
    forage_mineral_class,
)
from loambrief.topics.forage.stock import RUMINANTS
from loambrief.units import plain

MINERALS = ("calcium", "phosphorus", "magnesium", "potassium", "sulfur", "sodium", "copper", "zinc",
            "manganese", "iron", "molybdenum", "selenium")
GRAVE = ("copper", "selenium", "sulfur", "molybdenum")
"""Minerals of which too much poisons stock."""
ELSEWHERE = ("potassium",)
"""Minerals that another finding weighs: much potassium is the risk of grass tetany."""
SHEEP_COPPER = ("sheep", "copper")
WITHIN_LIMITS = (ENOUGH, PERHAPS_SHORT)
"""Of the second, dry stock has enough and growing or milking stock perhaps too little."""


def tetany_finding(case: CaseFile, test: Forage, lot: m.Place, sure: m.Confidence
                   ) -> m.Finding | None:
    """Potassium over calcium and magnesium by charge, and magnesium by itself.

    None without all three, or where calcium and magnesium are both zero. It limits nothing where
    no ruminants are kept on the field; it is then noted, since hay may be sold.
    """
    k, ca, mg = plain(test.potassium), plain(test.calcium), plain(test.magnesium)
    if k is None or ca is None or mg is None or ca + mg <= 0:
        return None
    with subject(lot):
        judged = grass_tetany_ratio.evaluate(k_pct=k, ca_pct=ca, mg_pct=mg)
    risk, low = bool(judged.details["risk"]), bool(judged.details["low_magnesium"])
    stock = [s for s in kept_stock(case) if s in RUMINANTS]
    limits = {"ratio": constant("tetany_ratio"), "mg_pct": constant("forage_mg_pct")}
    status, severity = m.Status.ADEQUATE, 0
    needs: tuple[m.Need, ...] = ()
    if risk or low:
        status, severity = (m.Status.WATCH, 2 if risk else 1) if stock else (m.Status.NOTED, 0)
    if severity:
        needs = (m.Need(m.NeedKind.MANAGE, "tetany", "", say("forage.need_tetany", name=lot),
                        place=lot, sources=(judged.source,), results=(judged,),
                        cautions=(say("cations.caution_tetany"),)),)
    return m.Finding(
        id=f"forage.tetany.{test.id}",
        title=say("forage.title_tetany", name=lot, risk=risk, low=low, value=judged.value, mg=mg),
        status=status,
        severity=severity,
        confidence=sure,
        grade=m.Grade.CALCULATED,
        value=float(judged.value),
        unit="1",
        reference=say("forage.reference_tetany", **limits),
        place=lot,
        body=(say("forage.body_tetany", risk=risk, low=low, stock=stock),),
        evidence=(
            m.stated("forage.for_tetany", judged, k=k, ca=ca, mg=mg, value=judged.value),
            m.stated("forage.context_tetany"),
        ),
        needs=needs,
        sources=(judged.source, "osu-2024-tetany"),
        results=(judged,),
    )


def calcium_phosphorus_finding(case: CaseFile, test: Forage, lot: m.Place,
                               sure: m.Confidence) -> m.Finding | None:
    """Calcium to phosphorus against the ratios at which calves throve.

    None without both, or without any phosphorus. The ration decides; a forage alone is only a
    hint, so that nothing follows from it but the reading.
    """
    ca, p = plain(test.calcium), plain(test.phosphorus)
    if ca is None or p is None or p <= 0:
        return None
    with subject(lot):
        judged = calcium_phosphorus_ratio.evaluate(ca_pct=ca, p_pct=p)
    outside = judged.details["class"]
    cattle = any(s in RUMINANTS for s in kept_stock(case))
    odd = outside in (BELOW_LOW, ABOVE)
    return m.Finding(
        id=f"forage.ca_p.{test.id}",
        title=say("forage.title_ca_p", name=lot, value=judged.value, outside=outside),
        status=m.Status.WATCH if odd and cattle else m.Status.NOTED if odd else m.Status.ADEQUATE,
        severity=1 if odd and cattle else 0,
        confidence=sure,
        grade=m.Grade.CALCULATED,
        value=float(judged.value),
        unit="1",
        reference=say("forage.reference_ca_p", low=coefficient("ca_p_low"),
                      high=coefficient("ca_p_high")),
        place=lot,
        body=(say("forage.body_ca_p", outside=outside),),
        evidence=(
            m.stated("forage.for_ca_p", judged, ca=ca, p=p),
            m.stated("forage.context_ca_p"),
        ),
        sources=(judged.source,),
        results=(judged,),
    )


def mineral_finding(case: CaseFile, test: Forage, lot: m.Place, sure: m.Confidence
                    ) -> m.Finding | None:
    """Each mineral against what the stock kept here need and stand; None where no limit is held.

    A forage is not the whole diet: what is short or high asks for the mineral mix to be looked at,
    and never sets one.
    """
    judged: list[tuple[str, str, Result]] = []
    for stock in kept_stock(case):
        for mineral in MINERALS:
            content = plain(getattr(test, mineral))
            if content is not None:
                with subject(lot, stock):
                    told = forage_mineral_class.evaluate(stock=stock, mineral=mineral,
                                                         content=content)
                if told.value is not None:
                    judged.append((stock, mineral, told))
    if not judged:
        return None
    rows = [{"stock": s, "mineral": x, "named": r.value, "content": r.inputs["content"],
             **r.details} for s, x, r in judged if r.value not in WITHIN_LIMITS]
    poison = sorted((r for r in rows if r["mineral"] in GRAVE and r["named"] == TOO_HIGH),
                    key=lambda r: (r["stock"], r["mineral"]) != SHEEP_COPPER)
    sheep = [r for r in rows if (r["stock"], r["mineral"]) == SHEEP_COPPER
             and r["named"] in (HIGH, TOO_HIGH)]
    told_of = poison or sheep or [r for r in rows if r["mineral"] not in ELSEWHERE]
    severity = 3 if poison else 2 if sheep else 1 if told_of else 0
    results = tuple(r for _, _, r in judged)
    sources = m.sources_of(results)
    outside = {row["mineral"] for row in rows}
    perhaps = {x for _, x, r in judged if r.value == PERHAPS_SHORT} - outside
    fine = list(dict.fromkeys(x for _, x, _ in judged if x not in outside | perhaps))
    copper, molybdenum = plain(test.copper), plain(test.molybdenum)
    unheld = [x for x in MINERALS if plain(getattr(test, x)) is not None
              and x not in {mineral for _, mineral, _ in judged}]
    needs: tuple[m.Need, ...] = ()
    if severity:
        needs = (m.Need(m.NeedKind.MANAGE, "forage-minerals", "",
                        say("forage.need_minerals", name=lot, poison=bool(poison),
                            minerals=list(dict.fromkeys(r["mineral"] for r in told_of)),
                            stock=list(dict.fromkeys(r["stock"] for r in told_of))),
                        place=lot, sources=sources, results=results,
                        cautions=(*((say("forage.caution_copper"),) if sheep else ()),
                                  say("forage.caution_minerals"), say("forage.caution_vet"))),)
    return m.Finding(
        id=f"forage.minerals.{test.id}",
        title=say("forage.title_minerals", name=lot, poison=poison,
                  minerals=list(dict.fromkeys(r["mineral"] for r in told_of))),
        status=m.Status.EXCESS if poison else m.Status.WATCH if severity else m.Status.ADEQUATE,
        severity=severity, confidence=sure, grade=m.Grade.MEASURED, place=lot,
        body=(say("forage.body_minerals", fine=fine, unheld=unheld,
                  perhaps=[x for x in MINERALS if x in perhaps]),
              *((say("forage.body_copper", ratio=copper / molybdenum if molybdenum else None,
                     measured=molybdenum is not None, low=coefficient("cu_mo_low"),
                     high=coefficient("cu_mo_high")),)
                if copper is not None and any(s in RUMINANTS for s, _, _ in judged) else ())),
        evidence=(
            m.Evidence(m.Side.FOR, say("forage.for_minerals", rows=rows), m.Grade.MEASURED, sources,
                       results),
            *((m.stated("forage.against_copper", molybdenum=plain(test.molybdenum)),)
              if sheep else ()),
        ),
        needs=needs, sources=sources, results=results,
    )
