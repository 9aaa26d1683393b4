"""Calcium, magnesium and grass tetany: the limits on cations that have a published source."""

from typing import Any

from loambrief.case.schema import CaseFile
from loambrief.case.select import sample_area_ac
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import kept_stock, now_and_next
from loambrief.findings.model import nutrient, say
from loambrief.tables import load, parts
from loambrief.topics.acidity.findings import wants_lime
from loambrief.topics.acidity.state import AcidState, region_of
from loambrief.topics.cations.formulas import constant
from loambrief.topics.cations.state import CationState
from loambrief.topics.sampling.age import sample_confidence

GRAZERS = ("cattle", "dairy", "sheep", "goats")
"""Ruminants; grass tetany is theirs."""
FORAGE_GROUPS = ("grass forage", "alfalfa", "legume")


def limits(nutrient: str, unit: str, region: str | None) -> dict[str, dict]:
    """Published limits of a cation by class (``low``, ``dolomitic``); the region's first."""
    found: dict[str, dict] = {}
    for row in load("cations/limits"):
        if row["nutrient"] != nutrient or row["unit"] != unit:
            continue
        places = {r.lower() for r in parts(row["regions"]) if r}
        if places and (region or "").lower() not in places:
            continue
        if row["class"] not in found or places:
            found[row["class"]] = dict(row)
    return found


def magnesium_finding(case: CaseFile, acid: AcidState, state: CationState) -> m.Finding | None:
    """Magnesium against the limits that have support; dolomitic lime where lime is due."""
    mg = state.magnesium
    if mg is None:
        return None
    region = region_of(case)
    known = limits("Mg", "ppm", region)
    low, dolomitic = known["low"], known.get("dolomitic", known["low"])
    share = limits("Mg", "%", region).get("low")
    by_share = bool(share and "Mg" in state.shares and state.shares["Mg"] < share["limit"])
    limit = dolomitic["limit"] if mg >= low["limit"] else low["limit"]
    is_low = mg < low["limit"] or by_share
    liming = wants_lime(acid)
    if not is_low and mg >= dolomitic["limit"]:
        return None
    row = low if is_low else dolomitic
    if share is not None and by_share and mg >= low["limit"]:
        row = share
    return m.Finding(
        id=f"cations.magnesium.{state.sample.id}",
        title=say("cations.title_magnesium", mg=mg, low=is_low, where=state.place),
        status=m.Status.LIMITING if is_low else m.Status.WATCH,
        severity=2 if is_low else 1,
        confidence=sample_confidence(case, state.sample, matches=state.method_fits),
        grade=m.Grade.MEASURED, value=mg, unit="ppm", place=state.place,
        reference=say("cations.reference_magnesium", limit=row["limit"], unit=row["unit"]),
        body=(say("cations.body_magnesium", low=is_low, liming=liming, limit=limit),),
        evidence=(m.Evidence(m.Side.FOR, say("cations.for_magnesium", mg=mg, limit=row["limit"],
                                             unit=row["unit"], share=state.shares.get("Mg"),
                                             method=state.sample.methods.cations),
                             m.Grade.MEASURED, (row["source"],)),
                  m.stated("cations.against_magnesium")),
        needs=_magnesium_need(case, state, is_low, liming),
        sources=(row["source"],),
    )


def _magnesium_need(case: CaseFile, state: CationState, is_low: bool,
                    liming: bool) -> tuple[m.Need, ...]:
    """An amount only where magnesium is low; otherwise the wish for dolomitic lime."""
    if not is_low and not liming:
        return ()
    base: dict[str, Any] = {
            "kind": m.NeedKind.NUTRIENT, "item": "Mg", "unit": "lb/ac", "place": state.place,
            "area_ac": sample_area_ac(case, state.sample)}
    if not is_low:
        return (m.Need(text=say("cations.need_dolomitic", where=state.place),
                       sources=("labarge-2014-enp",), **base),)
    least, most = constant("magnesium_low_lb_ac"), constant("magnesium_high_lb_ac")
    return (m.Need(text=say("cations.need_magnesium", low=least, high=most, liming=liming),
                   amount=least, low=least, high=most, printed_span=True,
                   sources=("vitosh-1994-e486",),
                   cautions=() if liming else (say("cations.caution_magnesium"),),
                   params={"take_dolomitic": liming}, **base),)


def enough(case: CaseFile, state: CationState) -> tuple[m.Judgement, ...]:
    """Verdicts on calcium and magnesium at or above the published limits."""
    region, found = region_of(case), []
    low = limits("Mg", "ppm", region)
    share = limits("Mg", "%", region).get("low")
    short = share is not None and "Mg" in state.shares and state.shares["Mg"] < share["limit"]
    for key, value, limit in (
            ("Ca", state.calcium, limits("Ca", "ppm", region)["low"]["limit"]),
            ("Mg", state.magnesium, low.get("dolomitic", low["low"])["limit"])):
        if value is not None and value >= limit and not (key == "Mg" and short):
            found.append(nutrient(key, state.place, m.Verdict.NOT_NEEDED, "test_adequate",
                                  crop=case.field.crop))
    return tuple(found)


def calcium_finding(case: CaseFile, acid: AcidState, state: CationState) -> m.Finding | None:
    """Calcium that is low by itself, or outweighed by magnesium."""
    ca = state.calcium
    if ca is None:
        return None
    row = limits("Ca", "ppm", region_of(case))["low"]
    mg_charge, ca_charge = state.charge("Mg"), state.charge("Ca")
    outweighed = (mg_charge is not None and ca_charge is not None and mg_charge >= ca_charge
                  and not state.suppressed)
    is_low = ca < row["limit"]
    if not is_low and not outweighed:
        return None
    liming = wants_lime(acid)
    needs: tuple[m.Need, ...] = ()
    if not liming:
        needs = (m.Need(kind=m.NeedKind.MANAGE, item="calcium", unit="", place=state.place,
                        area_ac=sample_area_ac(case, state.sample),
                        text=say("cations.need_calcium", ph=acid.ph),
                        sources=("msu-ca-mg-ratios",)),)
    return m.Finding(
        id=f"cations.calcium.{state.sample.id}",
        title=say("cations.title_calcium", ca=ca, low=is_low, where=state.place),
        status=m.Status.LIMITING if is_low else m.Status.WATCH, severity=2 if is_low else 1,
        confidence=sample_confidence(case, state.sample, matches=state.method_fits),
        grade=m.Grade.MEASURED, value=ca, unit="ppm", place=state.place,
        reference=say("cations.reference_calcium", limit=row["limit"]),
        body=(say("cations.body_calcium", low=is_low, liming=liming, outweighed=outweighed),),
        evidence=(m.stated("cations.for_calcium", ca=ca, limit=row["limit"], ca_charge=ca_charge,
                           mg_charge=mg_charge),),
        needs=needs, sources=("msu-ca-mg-ratios",),
        judgements=(nutrient("Ca", state.place, m.Verdict.NEEDED, "calcium_low", "soil_test",
                             crop=case.field.crop, liming=liming, methods=[]),) if is_low else (),
    )


def _forage(case: CaseFile) -> str | None:
    """Present or following crop that stock may graze or be fed, or None."""
    return next((crop.name for crop in now_and_next(case)
                 if crop.group in FORAGE_GROUPS and crop.name != "soybean"), None)


def tetany_finding(case: CaseFile, acid: AcidState, state: CationState) -> m.Finding | None:
    """Potassium against magnesium where ruminants eat the crop."""
    stock = [s for s in kept_stock(case) if s in GRAZERS]
    crop = _forage(case)
    k, mg = state.charge("K"), state.charge("Mg")
    if not stock or crop is None or k is None or mg is None:
        return None
    low = limits("Mg", "ppm", region_of(case))
    assert state.magnesium is not None
    scarce = state.magnesium < low.get("dolomitic", low["low"])["limit"]
    if k <= mg and not scarce:
        return None
    return m.Finding(
        id=f"cations.tetany.{state.sample.id}",
        title=say("cations.title_tetany", crop=crop, where=state.place),
        status=m.Status.WATCH, severity=2 if k > mg and scarce else 1,
        confidence=sample_confidence(case, state.sample, matches=state.method_fits),
        grade=m.Grade.CALCULATED, value=k / mg if mg else None, unit="1", place=state.place,
        reference=say("cations.reference_tetany", ratio=constant("tetany_ratio")),
        body=(say("cations.body_tetany", stock=stock, scarce=scarce, exceeds=k > mg),),
        evidence=(
            m.stated("cations.for_tetany", k=k, mg=mg, mg_ppm=state.magnesium),
            m.stated("cations.against_tetany", ratio=constant("tetany_ratio"),
                     mg_pct=constant("forage_mg_pct")),
        ),
        needs=(m.Need(kind=m.NeedKind.MEASURE, item="forage minerals", unit="", place=state.place,
                      area_ac=sample_area_ac(case, state.sample),
                      text=say("cations.need_forage_minerals", crop=crop),
                      sources=("rahman-2022-tetany",),
                      cautions=(say("cations.caution_tetany"),)),),
        sources=("rahman-2022-tetany", "osu-2024-tetany", "osu-2020-tri-state-ca-mg"),
    )
