"""Findings on crop residue: whether its decay gives nitrogen or takes it."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Residue
from loambrief.findings import model as m
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.crop_kinds import fixes_nitrogen, known_crop, seeded_in_rows
from loambrief.findings.model import say
from loambrief.topics.carbon_nitrogen.formulas import (
    carbon_nitrogen_ratio,
    constant,
    nitrogen_pct_from_ratio,
)
from loambrief.topics.carbon_nitrogen.formulas_decay import (
    decay_effect,
    nitrogen_by_rule_of_16,
    nitrogen_tie_up_lb_ac,
    residue_carbon_nitrogen,
)
from loambrief.topics.carbon_nitrogen.materials import usable_nitrogen
from loambrief.units import plain


def residue_ratio(residue: Residue) -> tuple[float, float | None, tuple[Result, ...], bool] | None:
    """C:N, carbon [%] and calculations of a residue, and whether the ratio is the case's own.

    None where nothing in the case or the table tells the ratio.
    """
    carbon, nitrogen = plain(residue.carbon), plain(residue.nitrogen)
    if residue.cn_ratio is not None:
        return residue.cn_ratio, carbon, (), True
    if nitrogen:
        share = constant("plant_carbon") if carbon is None else carbon
        result = carbon_nitrogen_ratio.evaluate(carbon_pct=share, nitrogen_pct=nitrogen)
        return float(result.value), carbon, (result,), True
    held = residue_carbon_nitrogen.held(material=residue.material)
    return None if held is None else (float(held.value), carbon, (held,), False)


def _cautions(case: CaseFile, high: float | None) -> list[m.Message]:
    """Manure and compost that may cover the early shortage; then the seed row, where there is one.
    """
    found = []
    brings = usable_nitrogen(case)
    if brings:
        found.append(say("carbon_nitrogen.caution_count_manure", rows=brings, high=high))
    crop = known_crop(case.field.crop)
    if crop is not None and seeded_in_rows(case, crop):
        found.append(say("carbon_nitrogen.caution_seed_row"))
    return found


def residue_finding(case: CaseFile, residue: Residue, number: int) -> m.Finding | m.Missing:
    """What one residue on the field does to nitrogen, or what is missing to say so."""
    mass = plain(residue.dry_mass)
    with subject(residue.material):
        known = residue_ratio(residue)
        if known is None or mass is None:
            return m.lacks("carbon_nitrogen.missing_residue", material=residue.material)
        ratio, carbon, before, own = known
        effect = decay_effect.evaluate(ratio=ratio)
        balance = nitrogen_tie_up_lb_ac.evaluate(dry_mass_lb_ac=mass, cn_ratio=ratio,
                                                 carbon_pct=carbon)
        content = nitrogen_pct_from_ratio.evaluate(cn_ratio=ratio, carbon_pct=carbon)
        rule = nitrogen_by_rule_of_16.evaluate(
            carbon_lb_ac=float(balance.details["carbon_lb_ac"]))
    name, value = str(effect.value), float(balance.value)
    ties = name == "tie-up"
    low, high = balance.details.get("field_low"), balance.details.get("field_high")
    lines = [
        m.Evidence(m.Side.FOR, say("carbon_nitrogen.for_residue", material=residue.material,
                                   ratio=ratio, nitrogen=content.value, own=own, mass=mass,
                                   supply=balance.details["supply_lb_ac"],
                                   demand=balance.details["demand_lb_ac"]),
                   m.Grade.MEASURED if own else m.Grade.CALCULATED, ("nrcs-2011-cn",),
                   (*before, content, balance)),
        m.on_side(m.Side.FOR if ties else m.Side.CONTEXT, "carbon_nitrogen.for_effect", effect,
                  effect=name, release=effect.details["release_below"],
                  tie=effect.details["tie_up_above"], diet=constant("diet_ratio")),
        m.stated("carbon_nitrogen.practice_residue", rule, rule=rule.value,
                 supply=balance.details["supply_lb_ac"], ratio=constant("practice_ratio")),
    ]
    if value > 0:
        lines.append(m.stated("carbon_nitrogen.against_upper", balance, value=value, low=low,
                              high=high))
    legume = fixes_nitrogen(case.field.crop)
    needs: tuple[m.Need, ...] = ()
    if ties and not legume:
        needs = (m.Need(
            kind=m.NeedKind.MANAGE, item="nitrogen timing", unit="",
            text=say("carbon_nitrogen.need_timing", material=residue.material,
                     crop=case.field.crop), area_ac=case.field.area.value, results=(balance,),
            sources=("nrcs-2011-cn",), params={"field_low": low, "field_high": high},
            cautions=tuple(_cautions(case, high)),
        ),)
    return m.Finding(
        id=f"carbon_nitrogen.residue.{number}",
        title=say("carbon_nitrogen.title_residue", material=residue.material, effect=name,
                  ratio=ratio, value=value, low=low, high=high),
        status=m.Status.WATCH if ties else m.Status.NOTED, severity=1 if ties else 0,
        confidence=grade_confidence(method_matches=own, enough_replicates=not ties),
        grade=m.Grade.CALCULATED, value=ratio, unit="1",
        reference=say("carbon_nitrogen.reference_residue",
                      release=effect.details["release_below"],
                      tie=effect.details["tie_up_above"]),
        body=(say("carbon_nitrogen.body_residue", effect=name, legume=legume,
                  crop=case.field.crop),),
        evidence=tuple(lines), needs=needs, sources=("nrcs-2011-cn", "alberta-nmp"),
        results=(*before, effect, balance),
    )
