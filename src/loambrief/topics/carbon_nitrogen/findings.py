"""Carbon and nitrogen of the soil: level, ratio, and what the soil itself releases.

Residue is judged in ``carbon_residue``, manure and compost in ``carbon_materials``.
"""

from dataclasses import dataclass

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Increment, Sample
from loambrief.case.select import main_increment, sample_area_ac, surface_increment
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import cover_fits, stays
from loambrief.findings.model import say
from loambrief.findings.places import place_of
from loambrief.topics.carbon_nitrogen.formulas import (
    carbon_clay_ratio,
    carbon_nitrogen_ratio,
    clay_range,
    constant,
    nitrogen_mineralised_kg_ha,
    organic_carbon_pct,
)
from loambrief.topics.carbon_nitrogen.formulas_decay import carbon_respired_pct
from loambrief.topics.carbon_nitrogen.formulas_supply import (
    LB_PER_ACRE_INCH_AT_1,
    mineral_nitrogen_by_rule_lb_ac,
    organic_matter_mass_lb_ac,
    residue_for_organic_matter_ton_ac,
    years_to_organic_matter,
)
from loambrief.topics.carbon_nitrogen.line import nitrogen_line
from loambrief.topics.carbon_nitrogen.materials import material_findings, material_ratios
from loambrief.topics.carbon_nitrogen.rate import nitrogen_rates
from loambrief.topics.carbon_nitrogen.residue import residue_finding, residue_ratio
from loambrief.topics.sampling.age import sample_confidence
from loambrief.units import CM_PER_INCH, KG_PER_HA_PER_LB_PER_ACRE, LB_PER_TON, plain

RISE_PCT = 1.0
"""Rise in organic matter that the arithmetic shows [percentage points]."""


@dataclass(frozen=True)
class SoilCarbon:
    """Organic carbon of the main slice with its range."""

    sample: Sample
    increment: Increment
    place: m.Place
    carbon: float
    low: float
    high: float
    matter: float
    measured: bool
    results: tuple[Result, ...]


def soil_carbon(sample: Sample) -> SoilCarbon | None:
    """Organic carbon of a sample's main (or only shallow) slice, or None."""
    increment = main_increment(sample) or surface_increment(sample)
    if increment is None:
        return None
    place = place_of(sample, increment)
    matter, carbon = plain(increment.organic_matter), plain(increment.organic_carbon)
    if carbon is not None:
        factor = constant("carbon_in_om")
        return SoilCarbon(sample, increment, place, carbon, carbon, carbon,
                          carbon * factor if matter is None else matter, True, ())
    if matter is None:
        return None
    with subject(place):
        result = organic_carbon_pct.evaluate(organic_matter_pct=matter)
    return SoilCarbon(sample, increment, place, float(result.value), float(result.details["low"]),
                      float(result.details["high"]), matter, False, (result,))


def assess(case: CaseFile) -> m.Assessment:
    """Findings on organic matter, C:N, residue, and manure or compost on offer."""
    said: list[m.Said] = []
    no_matter, no_nitrogen = [], []
    for sample in case.samples:
        soil = soil_carbon(sample)
        if soil is None:
            no_matter.append(place_of(sample))
            continue
        said.append(_matter(case, soil))
        ratio = _ratio(case, soil)
        if ratio is None:
            no_nitrogen.append(place_of(sample))
        said += [ratio, _mineral(case, soil, ratio)]
    rates, missing = nitrogen_rates(case)
    said += missing
    if no_matter:
        said.append(m.lacks("carbon_nitrogen.missing_matter", places=no_matter))
    if no_nitrogen:
        said.append(m.lacks("carbon_nitrogen.missing_nitrogen", places=no_nitrogen))
    said += [residue_finding(case, residue, number)
             for number, residue in enumerate(case.residue, 1)]
    return m.gathered([*said, *material_findings(case), *nitrogen_line(case), *rates])


def _matter(case: CaseFile, soil: SoilCarbon) -> m.Finding:
    """Organic matter against the little that is published, and how slowly it can be raised."""
    plateau = constant("soc_plateau")
    if soil.high < plateau:
        status, severity = m.Status.WATCH, 1
    elif soil.low >= plateau:
        status, severity = m.Status.ADEQUATE, 0
    else:
        status, severity = m.Status.NOTED, 0
    below, stands = status is m.Status.WATCH, stays(case)
    if stands and below:
        status, severity = m.Status.NOTED, 0
    density = plain(soil.increment.bulk_density)
    layer = {"depth_in": soil.increment.thickness_in, "bulk_density_g_cm3": density}
    with subject(soil.place):
        stock = organic_matter_mass_lb_ac.evaluate(organic_matter_pct=soil.matter, **layer)
        rise = residue_for_organic_matter_ton_ac.evaluate(rise_pct=RISE_PCT, **layer)
        years = _years(case, soil, layer)
    lines = [m.on_side(m.Side.FOR if below else m.Side.CONTEXT, "carbon_nitrogen.published_plateau",
                       *soil.results, plateau=plateau, carbon=soil.carbon,
                       below=soil.high < plateau)]
    lines += _clay_lines(soil)
    if not soil.measured:
        lines.append(m.stated("carbon_nitrogen.context_factor", *soil.results, low=soil.low,
                              high=soil.high))
    body = [say("carbon_nitrogen.body_stock", stock=stock.value / LB_PER_TON,
                depth_in=soil.increment.thickness_in),
            say("carbon_nitrogen.body_slow", low=rise.details["low"], high=rise.value,
                rise=RISE_PCT)]
    if stands:
        body.append(say("carbon_nitrogen.body_standing", crop=case.field.crop))
    elif years is not None:
        body.append(say("carbon_nitrogen.body_years", years=years.value,
                        level=years.details["equilibrium_pct"], rise=RISE_PCT,
                        residue=_residue_mass(case)))
    needs: tuple[m.Need, ...] = ()
    if below and cover_fits(case):
        needs = (m.Need(
            kind=m.NeedKind.ORGANIC_MATTER, item="organic matter", unit="",
            text=say("carbon_nitrogen.need_matter"), place=place_of(soil.sample),
            area_ac=sample_area_ac(case, soil.sample), results=(rise,),
            sources=("noble-2016-om", "oldfield-2019"),
            cautions=(say("carbon_nitrogen.caution_no_promise"),),
            params={"rise_pct": RISE_PCT, "residue_low_ton_ac": rise.details["low"],
                    "residue_high_ton_ac": rise.value},
            optional=True,  # no gain is promised from it, however low the soil lies
        ),)
    return m.Finding(
        id=f"carbon_nitrogen.organic_matter.{soil.sample.id}",
        title=say("carbon_nitrogen.title_matter", matter=soil.matter, carbon=soil.carbon,
                  measured=soil.measured, where=soil.place),
        status=status, severity=severity, confidence=sample_confidence(case, soil.sample),
        grade=m.Grade.MEASURED, value=soil.matter, unit="%", place=place_of(soil.sample),
        reference=say("carbon_nitrogen.reference_plateau", plateau=plateau,
                      low=plateau * constant("carbon_in_om", "low"),
                      high=plateau * constant("carbon_in_om", "high")),
        body=tuple(body), evidence=tuple(lines), needs=needs,
        sources=("oldfield-2019", "noble-2016-om"),
        results=(*soil.results, stock, rise, *((years,) if years else ())),
    )


def _residue_mass(case: CaseFile) -> float | None:
    masses = [plain(r.dry_mass) for r in case.residue]
    known = [x for x in masses if x is not None]
    return sum(known) if known and len(known) == len(masses) else None


def _years(case: CaseFile, soil: SoilCarbon, layer: dict) -> Result | None:
    """Years for the rise with the residue on the field, by the kindest published figures."""
    yearly = _residue_mass(case)
    if yearly is None or soil.matter + RISE_PCT > 100:
        return None
    return years_to_organic_matter.evaluate(
        organic_matter_pct=soil.matter, target_pct=soil.matter + RISE_PCT,
        yearly_residue_lb_ac=yearly, residue_per_lb=constant("residue_per_om", "low"),
        decay_pct=constant("om_decay", "low"), **layer)


def _clay_lines(soil: SoilCarbon) -> list[m.Evidence]:
    """Carbon per clay over the clay range of the texture class, with its critics."""
    texture = soil.sample.texture
    clay = clay_range(texture) if texture else None
    if clay is None:
        return []
    with subject(soil.place):
        ends = [carbon_clay_ratio.evaluate(carbon_pct=soil.carbon, clay_pct=max(c, 1.0))
                for c in clay]
    names = [str(r.details["structure"]) for r in ends]
    source = ("prout-2021",)
    if names[0] != names[1]:
        return [m.Evidence(m.Side.CONTEXT, say("carbon_nitrogen.clay_unclear", texture=texture,
                                               low=clay[0], high=clay[1]),
                           m.Grade.CALCULATED, source, tuple(ends))]
    side = m.Side.FOR if names[0] == "degraded" else m.Side.AGAINST
    return [
        m.Evidence(side, say("carbon_nitrogen.clay_class", texture=texture, name=names[0]),
                   m.Grade.CALCULATED, source, tuple(ends)),
        m.stated("carbon_nitrogen.clay_disputed"),
    ]


def _ratio(case: CaseFile, soil: SoilCarbon) -> m.Finding | None:
    """Soil C:N where total nitrogen was measured, beside the trade's rule of 16."""
    nitrogen = plain(soil.increment.total_nitrogen)
    if not nitrogen:
        return None
    with subject(soil.place):
        ratio = carbon_nitrogen_ratio.evaluate(carbon_pct=soil.carbon, nitrogen_pct=nitrogen)
        split = carbon_respired_pct.evaluate()
    low, high = constant("soil_ratio", "low"), constant("soil_ratio", "high")
    value = float(ratio.value)
    usual = low <= round(value, 1) <= high
    practice = constant("practice_ratio")
    lines = (
        m.Evidence(m.Side.FOR, say("carbon_nitrogen.for_ratio", ratio=value, carbon=soil.carbon,
                                   nitrogen=nitrogen, measured=soil.measured),
                   m.Grade.MEASURED if soil.measured else m.Grade.CALCULATED, (), (ratio,)),
        m.stated("carbon_nitrogen.practice_16", ratio, ratio=value, rule=practice),
        m.stated("carbon_nitrogen.published_16", split, diet=constant("diet_ratio"),
                 burned=split.details["parts_respired"], kept=split.details["parts_kept"],
                 share=split.value, low=low, high=high),
    )
    return m.Finding(
        id=f"carbon_nitrogen.soil_ratio.{soil.sample.id}",
        title=say("carbon_nitrogen.title_ratio", ratio=value, usual=usual, where=soil.place),
        status=m.Status.ADEQUATE if usual else m.Status.NOTED, severity=0,
        confidence=sample_confidence(case, soil.sample, matches=soil.measured),
        grade=m.Grade.MEASURED if soil.measured else m.Grade.CALCULATED,
        value=value, unit="1", place=place_of(soil.sample),
        reference=say("carbon_nitrogen.reference_ratio", low=low, high=high),
        body=(say("carbon_nitrogen.body_ratio", ratio=value, low=low, high=high),),
        evidence=lines, sources=("ars-akron-cn",), results=(*soil.results, ratio),
    )


def _mineral(case: CaseFile, soil: SoilCarbon, ratio: m.Finding | None) -> m.Finding:
    """Nitrogen that the soil's own organic matter may release in a year."""
    measured = ratio is not None
    middle = (float(ratio.value) if ratio is not None and ratio.value is not None
              else constant("soil_ratio"))
    narrow = middle if measured else constant("soil_ratio", "low")
    wide = middle if measured else constant("soil_ratio", "high")
    density = plain(soil.increment.bulk_density)
    if density is None:
        density = (constant("furrow_slice_lb") / constant("furrow_slice_in")
                   / LB_PER_ACRE_INCH_AT_1)
    layer = {"depth_cm": soil.increment.thickness_in * CM_PER_INCH,
             "bulk_density_g_cm3": density}
    with subject(soil.place):
        best, low, high = (
            nitrogen_mineralised_kg_ha.evaluate(
                carbon_pct=carbon, cn_ratio=cn, turnover_pct=constant("turnover", column), **layer)
            for carbon, cn, column in ((soil.carbon, middle, "value"), (soil.low, wide, "low"),
                                       (soil.high, narrow, "high"))
        )
        rule = mineral_nitrogen_by_rule_lb_ac.evaluate(organic_matter_pct=soil.matter)
    pounds, least, most = (float(r.value) / KG_PER_HA_PER_LB_PER_ACRE for r in (best, low, high))
    lines = (
        m.stated("carbon_nitrogen.for_mineral", best, low, high, turnover=constant("turnover"),
                 low=constant("turnover", "low"), high=constant("turnover", "high"), ratio=middle,
                 measured=measured),
        m.stated("carbon_nitrogen.practice_mineral", rule, value=rule.value,
                 low=rule.details["low"], high=rule.details["high"]),
    )
    return m.Finding(
        id=f"carbon_nitrogen.mineral_n.{soil.sample.id}",
        title=say("carbon_nitrogen.title_mineral", value=pounds, low=least, high=most,
                  where=soil.place),
        status=m.Status.NOTED, severity=0,
        confidence=sample_confidence(case, soil.sample, matches=measured,
                                     enough=False),
        grade=m.Grade.CALCULATED, value=pounds, low=least, high=most, printed_span=True,
        unit="lb/ac", place=place_of(soil.sample),
        reference=say("carbon_nitrogen.reference_mineral"),
        body=(say("carbon_nitrogen.body_mineral"),), evidence=lines,
        sources=("soilsconnect-q97",), results=(*soil.results, best, low, high),
    )


@dataclass(frozen=True)
class RatioPoint:
    """One bar of the C:N chart: sample or material, ratio, and where the ratio is from."""

    about: m.Place | str
    ratio: float
    kind: str
    """``soil``, ``residue`` or ``material``."""
    own: bool = True


def ratios(case: CaseFile) -> tuple[RatioPoint, ...]:
    """C:N of soils, residues and materials of a case, in that order, for a chart."""
    points = []
    for sample in case.samples:
        soil = soil_carbon(sample)
        nitrogen = plain(soil.increment.total_nitrogen) if soil else None
        if soil and nitrogen:
            with subject(soil.place):
                points.append(RatioPoint(place_of(sample), carbon_nitrogen_ratio(
                    carbon_pct=soil.carbon, nitrogen_pct=nitrogen), "soil", soil.measured))
    for residue in case.residue:
        with subject(residue.material):
            known = residue_ratio(residue)
        if known is not None:
            points.append(RatioPoint(residue.material, known[0], "residue", known[3]))
    points += [RatioPoint(name, ratio, "material") for name, ratio in material_ratios(case)]
    return tuple(points)


def turning_ratio() -> float:
    """C:N at which decay neither takes nor leaves nitrogen (NRCS, 24)."""
    return constant("diet_ratio")
