"""Metals of biosolids against 40 CFR 503.13: may it be spread, and how much in one year.

Without a test of the regulated metals the material is not used. A metal above its ceiling
(table 1) forbids it. Otherwise the yearly rate of the strictest metal (table 4, appendix A)
caps the pass; that table is written for bagged material, we hold loose material to it too,
which is stricter than the cumulative limits (table 2) for one year's use.
"""

from collections.abc import Iterator

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema_materials import METALS, Material
from loambrief.topics.nutrients.formulas_limits import biosolids_annual_rate
from loambrief.units import LB_PER_TON, T_PER_HA_PER_TON_PER_ACRE

KIND = "biosolids"


def untested(material: Material) -> tuple[str, ...]:
    """Regulated metals that the analysis does not hold as numbers or upper bounds."""
    found = material.analysis.metals if material.analysis and material.analysis.metals else {}
    return tuple(m for m in METALS if m not in found or found[m].censor == ">")


def above_ceiling(material: Material) -> tuple[str, ...]:
    """Metals above the ceiling concentration: the material may not be spread."""
    return tuple(metal for metal, rate in _rates(material) if rate.details["ceiling_passed"])


def most_lb_ac(material: Material) -> float | None:
    """Most of the material in one year [lb/ac as sold]; None for what is no biosolid.

    0 where it may not be spread or was not tested.
    """
    if material.kind != KIND:
        return None
    if untested(material) or above_ceiling(material):
        return 0.0
    rates = [float(rate.value) for _, rate in _rates(material) if rate.value is not None]
    if not rates:
        return None
    analysis = material.analysis
    moisture = analysis.moisture.value if analysis and analysis.moisture else 0.0
    dry_lb_ac = min(rates) / T_PER_HA_PER_TON_PER_ACRE * LB_PER_TON
    return dry_lb_ac / (1.0 - moisture / 100.0) if moisture < 100 else 0.0


def rates(material: Material) -> tuple[Result, ...]:
    """Yearly rate by each metal, as the rule gives it."""
    return tuple(rate for _, rate in _rates(material)) if material.kind == KIND else ()


def _rates(material: Material) -> Iterator[tuple[str, Result]]:
    """Yearly rate by each metal; "<" counts at its bound, which is the stricter reading."""
    found = material.analysis.metals if material.analysis and material.analysis.metals else {}
    for metal in METALS:
        if metal in found and found[metal].value > 0:
            with subject(material.name):
                yield metal, biosolids_annual_rate.evaluate(
                    metal=metal, concentration_mg_kg=found[metal].value)
