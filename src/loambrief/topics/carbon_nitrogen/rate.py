"""The season's nitrogen by a published method, where no adviser set it: amount, time, losses."""

from collections.abc import Iterator
from math import ceil

from loambrief.agronomy.registry import Result
from loambrief.case.schema import CaseFile, Sample
from loambrief.case.select import sample_area_ac
from loambrief.findings import model as m
from loambrief.findings.confidence import ERRORS
from loambrief.findings.crop_kinds import fixes_nitrogen, standing
from loambrief.findings.model import say
from loambrief.findings.places import field_place, place_of
from loambrief.tables import load
from loambrief.topics.carbon_nitrogen.by_guide import has_rule
from loambrief.topics.carbon_nitrogen.credits import (
    SANDY,
    cover_credits,
    killed_covers,
    nitrate_layers,
    uncounted,
)
from loambrief.topics.carbon_nitrogen.fit import MethodFit
from loambrief.topics.carbon_nitrogen.line import RATE
from loambrief.topics.carbon_nitrogen.methods import nitrogen_fit
from loambrief.topics.carbon_nitrogen.residue import residue_ratio
from loambrief.units import plain

LEAST_LB_AC = 10.0
"""A smaller amount is not spread for its own sake (our own cut)."""
TIES_UP = 30.0
"""C:N from which residue ties nitrogen up (Alberta; see ``decay_effect``)."""
LB_AC_PER_CUT = 100.0
"""Most that hay of several cuttings gets at a time (uga-aesl-crop-037: 75 to 100 lb)."""
DOUBTS = "carbon_nitrogen/nitrogen_doubts"
WET = ("somewhat poorly drained", "poorly drained")
BRINGS_NITROGEN = ("fertilizer", "manure", "compost", "biosolids")


def nitrogen_rates(case: CaseFile) -> tuple[list[m.Finding], list[m.Missing]]:
    """A finding for each zone with a rate, and what is missing for the others."""
    # a crop of a standing sod that is not a legume (grass hay) needs nitrogen like any other
    if case.nitrogen is not None or (fixes_nitrogen(case.field.crop) and not has_rule(case)):
        return [], []
    findings: list[m.Finding] = []
    open_ones: list[m.Judgement] = []
    left = False
    zones: list[Sample | None] = list(case.samples) or [None]
    for zone in zones:
        place = field_place(case) if zone is None else place_of(zone)
        fit = nitrogen_fit(case, zone, place)
        if fit is None or fit.amount is None:
            left = True
            if fit is not None:
                open_ones.append(m.nutrient(
                    "N", place, m.Verdict.NOT_JUDGED, "nitrogen_lacks", "nitrogen_inputs",
                    crop=case.field.crop, method=fit.method, lacks=list(fit.lacks),
                    guide=fit.guide.title if fit.guide else None))
            continue
        findings.append(_finding(case, zone, place, fit, fit.amount))
    return findings, [_missing(case, open_ones)] if left else []


def _missing(case: CaseFile, told: list[m.Judgement]) -> m.Missing:
    """The season's rate is not set; ``told`` says why where a published method lacks something."""
    previous = case.field.previous_crop
    offered = [material.name for material in case.materials
               if material.kind in BRINGS_NITROGEN and (about := material.analysis) is not None
               and any(q is not None and q.value > 0
                       for q in (about.n, about.total_nitrogen, about.available_n))]
    earlier = dict.fromkeys(a.material for a in case.earlier_applications
                            if a.kind in ("manure", "compost", "biosolids"))
    return m.lacks("carbon_nitrogen.missing_rate", judgements=tuple(told), crop=case.field.crop,
                   previous=previous if fixes_nitrogen(previous) and not standing(case) else None,
                   materials=offered, earlier=list(earlier),
                   water=case.field.irrigation != "none")


def _finding(case: CaseFile, zone: Sample | None, place: m.Place, fit: MethodFit,
             amount: float) -> m.Finding:
    rate, sandy = fit.results[0], zone is not None and zone.texture in SANDY
    wanted = amount >= LEAST_LB_AC
    asked = {"method": fit.method, "guide": fit.guide.title if fit.guide else None,
             "crop": case.field.crop, "rate": amount, "low": fit.low, "high": fit.high}
    sources = m.sources_of(fit.results)
    splits = _splits(fit, sandy)
    need = m.Need(
        kind=m.NeedKind.NUTRIENT, item="N", unit="lb/ac",
        text=say("carbon_nitrogen.need_rate", amount=amount, where=place), place=place,
        area_ac=case.field.area.value if zone is None else sample_area_ac(case, zone),
        amount=amount, low=fit.low, high=fit.high,
        results=tuple(r for r in fit.results if r.formula not in ERRORS), sources=sources,
        cautions=tuple(_cautions(case, sandy, fit.when != "before")),
        printed_span="test_error_pct" not in rate.inputs,
        params={"when": fit.when, "splits": splits, "growing": fit.when != "before"})
    lacking = list(uncounted(case, {"soil", *fit.holds, *(c.kind for c in fit.credits),
                                    *(("legume",) if _built_in(fit) or _left(rate) else ())}))
    body = [say("carbon_nitrogen.body_rate", when=fit.when, splits=splits,
                sandy=sandy, least=LEAST_LB_AC, wanted=wanted)]
    body += _tie_up(case)
    if lacking:
        body.append(say("carbon_nitrogen.body_nitrogen_open", kinds=lacking))
    return m.Finding(
        id=f"{RATE}.{place.id or 'field'}",
        title=say("carbon_nitrogen.title_rate", where=place, **asked),
        status=m.Status.NOTED, severity=1 if wanted else 0,
        confidence=m.Confidence.LOW if rate.how == "memory" or lacking or not rate.within_range
        else m.Confidence.MEDIUM,
        grade=m.Grade.CALCULATED, value=amount, unit="lb/ac", place=place, body=tuple(body),
        evidence=tuple(_evidence(case, zone, fit, rate)), needs=(need,) if wanted else (),
        sources=sources, results=fit.results,
        judgements=(m.nutrient("N", place, m.Verdict.NEEDED if wanted else m.Verdict.NOT_NEEDED,
                               "nitrogen_method" if wanted else "nitrogen_enough", "", **asked),),
    )


def _built_in(fit: MethodFit) -> bool:
    """The rate was made for the crop before, so that it holds what that leaves."""
    return bool(load(DOUBTS).where(method=fit.method, crop_before="yes"))


def _left(rate: Result) -> float:
    """What the method itself takes off for the crop before [lb/ac]."""
    return max(-float(rate.details.get("debit_lb_ac", 0.0) or 0.0), 0.0)


def _splits(fit: MethodFit, sandy: bool) -> int:
    """Passes it is better put on in: more on sand and for a large amount."""
    if fit.when == "sidedress" or (fit.amount or 0.0) < LEAST_LB_AC:
        return 1
    if fit.when == "cuttings":
        return max(ceil(round(fit.amount or 0.0) / LB_AC_PER_CUT), 2)
    if sandy:
        return 3
    return 2 if (fit.amount or 0.0) >= 100.0 else 1


def _cautions(case: CaseFile, sandy: bool, growing: bool) -> Iterator[m.Message]:
    """How nitrogen is lost here, and what may slow it: the gravest way only."""
    if sandy:
        yield say("carbon_nitrogen.caution_leaching")
    elif case.field.drainage in WET:
        yield say("carbon_nitrogen.caution_denitrified")
    if growing or case.field.tillage in ("no-till", "perennial") or standing(case):
        yield say("carbon_nitrogen.caution_volatile")


def _tie_up(case: CaseFile) -> Iterator[m.Message]:
    """Residue that takes nitrogen first: part of the rate belongs near the row."""
    for residue in case.residue:
        known = residue_ratio(residue)
        if known is not None and known[0] > TIES_UP:
            yield say("carbon_nitrogen.body_rate_tie_up", material=residue.material)


def _evidence(case: CaseFile, zone: Sample | None, fit: MethodFit,
              rate: Result) -> Iterator[m.Evidence]:
    details = rate.details
    yield m.stated("carbon_nitrogen.for_rate", rate, method=fit.method,
                   guide=fit.guide.title if fit.guide else None,
                   own=fit.guide is not None and fit.guide.own, name=details.get("class"),
                   cap=details.get("cap_lb_ac"), memory=rate.how == "memory",
                   yield_goal=rate.inputs.get("yield_goal"), unit=fit.crop.yield_unit,
                   wanted=details.get("crop_lb_ac"), test=rate.inputs.get("nitrate_n_ppm"),
                   line=details.get("critical_ppm"), ratio=rate.inputs.get("price_ratio"))
    for name in ("matter", "nitrate", "debit"):
        pounds = float(details.get(f"{name}_lb_ac", 0.0) or 0.0)
        if pounds > 0:
            yield m.Evidence(m.Side.FOR if name == "debit" else m.Side.AGAINST,
                             say(f"carbon_nitrogen.rate_{name}", amount=pounds,
                                 previous=case.field.previous_crop), m.Grade.CALCULATED,
                             (rate.source,) if rate.source else (), (rate,))
    if left := _left(rate):
        yield m.stated("carbon_nitrogen.credit_legume", rate, crop=case.field.previous_crop,
                       amount=left, low=left, high=left, memory=False, built_in=False)
    for credit in fit.credits:
        yield m.Evidence(m.Side.AGAINST, credit.text, m.Grade.CALCULATED,
                         m.sources_of(credit.results), credit.results)
    if "nitrate_lb_ac" not in details and "nitrate_n_ppm" not in rate.inputs \
            and zone is not None and nitrate_layers(case, zone):
        yield m.stated("carbon_nitrogen.rate_nitrate_unused", method=fit.method,
                       guide=fit.guide.title if fit.guide else None)
    if not any(c.kind == "cover" for c in fit.credits) and "cover" not in fit.holds:
        yield from covers_unjudged(case)
    yield from (m.Evidence(m.Side.AGAINST, say(str(row["message"]), high=fit.high),
                           m.Grade.PUBLISHED, (str(row["source"]),))
                for row in load(DOUBTS).where(method=fit.method) if row["message"])


def covers_unjudged(case: CaseFile) -> Iterator[m.Evidence]:
    """What killed cover crops may give by the rule of another place; the rate does not count it."""
    for credit in cover_credits(case):
        text = say("carbon_nitrogen.cover_unjudged", **credit.text.params)
        yield m.Evidence(m.Side.CONTEXT, text, m.Grade.CALCULATED, (credit.results[0].source,),
                         credit.results)
    for residue in killed_covers(case):
        if plain(residue.nitrogen) is None:
            yield m.stated("carbon_nitrogen.cover_unknown", material=residue.material)
