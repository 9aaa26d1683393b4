"""Minerals of a forage that can hurt stock: grass tetany, calcium against phosphorus."""

from __future__ import annotations

from loambrief.agronomy.registry import subject
from loambrief.case.schema import CaseFile, Forage
from loambrief.findings.model import (
    Confidence,
    Evidence,
    Finding,
    Grade,
    Need,
    NeedKind,
    Place,
    Side,
    Status,
    say,
)
from loambrief.topics.cations.formulas import constant, grass_tetany_ratio
from loambrief.topics.forage.formulas import coefficient
from loambrief.topics.forage.formulas_safety import ABOVE, BELOW_LOW, calcium_phosphorus_ratio
from loambrief.topics.forage.stock import RUMINANTS
from loambrief.units import plain

TOPIC = "forage"


def tetany_finding(case: CaseFile, test: Forage, lot: Place, sure: Confidence) -> Finding | None:
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
    stock = [s for s in case.field.livestock if s in RUMINANTS]
    limits = {"ratio": constant("tetany_ratio"), "mg_pct": constant("forage_mg_pct")}
    status, severity = Status.ADEQUATE, 0
    needs: tuple[Need, ...] = ()
    if risk or low:
        status, severity = (Status.WATCH, 2 if risk else 1) if stock else (Status.NOTED, 0)
    if severity:
        needs = (Need(NeedKind.MANAGE, "tetany", "", say("forage.need_tetany", name=lot),
                      place=lot, sources=(judged.source,), results=(judged,),
                      cautions=(say("cations.caution_tetany"),)),)
    return Finding(
        id=f"{TOPIC}.tetany.{test.id}",
        topic=TOPIC,
        title=say("forage.title_tetany", name=lot, risk=risk, low=low, value=judged.value, mg=mg),
        status=status,
        severity=severity,
        confidence=sure,
        grade=Grade.CALCULATED,
        value=float(judged.value),
        unit="1",
        reference=say("forage.reference_tetany", **limits),
        place=lot,
        body=(say("forage.body_tetany", risk=risk, low=low, stock=stock),),
        evidence=(
            Evidence(Side.FOR, say("forage.for_tetany", k=k, ca=ca, mg=mg, value=judged.value),
                     Grade.CALCULATED, (judged.source,), (judged,)),
            Evidence(Side.CONTEXT, say("forage.context_tetany"), Grade.PUBLISHED,
                     ("osu-2024-tetany",)),
        ),
        needs=needs,
        sources=(judged.source, "osu-2024-tetany"),
        results=(judged,),
    )


def calcium_phosphorus_finding(case: CaseFile, test: Forage, lot: Place,
                               sure: Confidence) -> Finding | None:
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
    cattle = any(s in RUMINANTS for s in case.field.livestock)
    odd = outside in (BELOW_LOW, ABOVE)
    return Finding(
        id=f"{TOPIC}.ca_p.{test.id}",
        topic=TOPIC,
        title=say("forage.title_ca_p", name=lot, value=judged.value, outside=outside),
        status=Status.WATCH if odd and cattle else Status.NOTED if odd else Status.ADEQUATE,
        severity=1 if odd and cattle else 0,
        confidence=sure,
        grade=Grade.CALCULATED,
        value=float(judged.value),
        unit="1",
        reference=say("forage.reference_ca_p", low=coefficient("ca_p_low"),
                      high=coefficient("ca_p_high")),
        place=lot,
        body=(say("forage.body_ca_p", outside=outside),),
        evidence=(
            Evidence(Side.FOR, say("forage.for_ca_p", ca=ca, p=p), Grade.MEASURED,
                     (judged.source,), (judged,)),
            Evidence(Side.CONTEXT, say("forage.context_ca_p"), Grade.PUBLISHED, ("wise-1963",)),
        ),
        sources=(judged.source,),
        results=(judged,),
    )
