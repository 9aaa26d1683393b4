"""Findings on manure and compost on offer: usable nitrogen, and what organic matter costs."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import Analysis, CaseFile, Material
from loambrief.case.select import main_increment
from loambrief.findings import model as m
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.model import say
from loambrief.topics.carbon_nitrogen.formulas import carbon_nitrogen_ratio, constant
from loambrief.topics.carbon_nitrogen.formulas_decay import decay_effect
from loambrief.topics.carbon_nitrogen.formulas_supply import (
    available_nitrogen_lb_ton,
    compost_for_organic_matter_ton_ac,
)
from loambrief.units import LB_PER_TON, plain

RISE_PCT = 1.0
ROWS = {"beef": "beef manure", "dairy": "dairy manure", "poultry": "poultry litter",
        "swine": "liquid swine manure"}
"""Animal -> row of the table of usable nitrogen."""


def _offers(case: CaseFile) -> list[Material]:
    return [x for x in case.materials if x.kind in ("manure", "compost") and x.analysis]


def material_ratios(case: CaseFile) -> list[tuple[str, float]]:
    """Name and C:N of each manure or compost whose analysis gives both carbon and nitrogen."""
    found = []
    for material in _offers(case):
        ratio = _ratio(material)
        if ratio is not None:
            found.append((material.name, float(ratio.value)))
    return found


def _analysis(material: Material) -> Analysis:
    """The analysis of a material that is only judged where it has one."""
    assert material.analysis is not None
    return material.analysis


def _ratio(material: Material) -> Result | None:
    carbon, nitrogen = plain(_analysis(material).carbon), plain(_analysis(material).total_nitrogen)
    if carbon is None or not nitrogen:
        return None
    with subject(material.name):
        return carbon_nitrogen_ratio.evaluate(carbon_pct=carbon, nitrogen_pct=nitrogen)


def usable_nitrogen(case: CaseFile) -> list[dict[str, object]]:
    """Each manure or compost on offer with the nitrogen a crop can use in the first season.

    ``name`` and ``usable`` [lb per ton as sold]; those without a nitrogen analysis are left out.
    """
    found = []
    for material in _offers(case):
        total = plain(_analysis(material).total_nitrogen)
        if total is not None:
            found.append({"name": material.name, "usable": _nitrogen(material, total, [], [])[0]})
    return found


def share_row(material: Material) -> str:
    """Row of the table of usable nitrogen for a material's kind and animal."""
    if material.kind == "compost":
        return "compost"
    if material.animal == "swine" and material.form not in ("liquid", "slurry"):
        return "manure"
    return ROWS.get(material.animal or "", "manure")


def _layer(case: CaseFile) -> dict[str, float | None]:
    """Depth and density of the first sample's tilled layer, for the organic matter arithmetic."""
    for sample in case.samples:
        slice_ = main_increment(sample)
        if slice_ is not None:
            return {"depth_in": slice_.thickness_in,
                    "bulk_density_g_cm3": plain(slice_.bulk_density)}
    return {"depth_in": constant("furrow_slice_in"), "bulk_density_g_cm3": None}


def material_findings(case: CaseFile) -> list[m.Finding]:
    """One finding per manure or compost that has a nitrogen or carbon analysis."""
    found = []
    for material in _offers(case):
        finding = _finding(case, material)
        if finding is not None:
            found.append(finding)
    return found


def _finding(case: CaseFile, material: Material) -> m.Finding | None:
    analysis = _analysis(material)
    total, carbon = plain(analysis.total_nitrogen), plain(analysis.carbon)
    if total is None and carbon is None:
        return None
    lines: list[m.Evidence] = []
    results: list[Result] = []
    usable = low = high = None
    if total is not None:
        usable, low, high = _nitrogen(material, total, lines, results)
        lines += _later(material, total) if material.kind == "compost" else ()
    ratio = _ratio(material)
    effect = None
    if ratio is not None:
        with subject(material.name):
            effect = decay_effect.evaluate(ratio=float(ratio.value))
        results += [ratio, effect]
        lines.append(m.stated("carbon_nitrogen.material_ratio", ratio, effect, ratio=ratio.value,
                              effect=effect.value, compost=material.kind == "compost"))
    avoid: tuple[tuple[m.Message, m.Message], ...] = ()
    rise = None
    if carbon:
        rise, avoid = _rise(case, material, carbon)
        results.append(rise)
        lines.append(m.stated("carbon_nitrogen.material_rise", rise, low=rise.details["low"],
                              high=rise.details["high"], rise=RISE_PCT, material=material.name))
    ties = effect is not None and effect.value == "tie-up"
    return m.Finding(
        id=f"carbon_nitrogen.material.{material.id}",
        title=say("carbon_nitrogen.title_material", material=material.name, usable=usable,
                  low=low, high=high, ties=ties),
        status=m.Status.WATCH if ties else m.Status.NOTED, severity=1 if ties else 0,
        confidence=grade_confidence(method_matches=plain(analysis.available_n) is not None),
        grade=m.Grade.CALCULATED, value=usable, unit="lb/ton" if usable is not None else "",
        reference=say("carbon_nitrogen.reference_material"),
        body=(say("carbon_nitrogen.body_material", kind=material.kind),),
        evidence=tuple(lines), advise_against=avoid, sources=("unl-manure-n",),
        results=tuple(results),
    )


def _later(material: Material, total: float) -> tuple[m.Evidence]:
    """What compost gives over years together: no publication that we hold parts them by season."""
    with subject(material.name):
        found = tuple(available_nitrogen_lb_ton.evaluate(
            material="compost", total_nitrogen_pct=total, period=period)
            for period in ("three years", "three to four years"))
    return (m.stated("carbon_nitrogen.compost_later", *found, three=found[0].value,
                     low=found[1].details["low"], high=found[1].details["high"]),)


def _nitrogen(material: Material, total: float, lines: list[m.Evidence],
              results: list[Result]) -> tuple[float, float | None, float | None]:
    """Usable nitrogen per ton: as stated in the case, else by the published share."""
    row = share_row(material)
    with subject(material.name):
        share = available_nitrogen_lb_ton.evaluate(material=row, total_nitrogen_pct=total)
    results.append(share)
    low, high = float(share.details["low"]), float(share.details["high"])
    stated = plain(_analysis(material).available_n)
    pounds = None if stated is None else stated / 100.0 * LB_PER_TON
    side = m.Side.FOR
    if pounds is not None:
        lines.append(m.stated("carbon_nitrogen.material_stated", value=pounds))
        side = m.Side.CONTEXT if low <= pounds <= high else m.Side.AGAINST
    lines.append(m.on_side(side, "carbon_nitrogen.material_share", share, low=low, high=high,
                           row=row, total=share.details["total_lb_ton"],
                           memory=share.how == "memory"))
    return (float(share.value), low, high) if pounds is None else (pounds, None, None)


def _rise(case: CaseFile, material: Material, carbon: float) -> tuple[Result, tuple]:
    """What one more per cent of organic matter would take of this material."""
    with subject(material.name):
        rise = compost_for_organic_matter_ton_ac.evaluate(rise_pct=RISE_PCT, carbon_pct=carbon,
                                                          **_layer(case))
    low, high = float(rise.details["low"]), float(rise.details["high"])
    phosphate = plain(_analysis(material).p2o5)
    price = material.price
    cost = None
    if price is not None and price.per == "ton":
        cost = round(price.amount * low * case.field.area.value, -2)
    return rise, ((
        say("carbon_nitrogen.avoid_rise", material=m.Product(material.id, material.name),
            rise=RISE_PCT),
        say("carbon_nitrogen.avoid_rise_why", low=low, high=high, cost=cost,
            phosphate=None if phosphate is None else round(phosphate / 100 * LB_PER_TON * low, -1)),
    ),)
