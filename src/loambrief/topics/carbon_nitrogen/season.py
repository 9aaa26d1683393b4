"""Nitrogen for the season: no rate is set, so what would have to be counted is named."""

from __future__ import annotations

from loambrief.case.schema import CaseFile
from loambrief.findings.crop_kinds import fixes_nitrogen, standing
from loambrief.findings.model import Missing, say
from loambrief.units import Quantity

BRINGS_NITROGEN = ("fertilizer", "manure", "compost", "biosolids")


def _positive(quantity: Quantity | None) -> bool:
    return quantity is not None and quantity.value > 0


def nitrogen_carriers(case: CaseFile) -> tuple[str, ...]:
    """Names of the materials on offer that bring nitrogen whatever they are bought for."""
    return tuple(
        m.name for m in case.materials
        if m.kind in BRINGS_NITROGEN and m.analysis is not None
        and any(_positive(q) for q in (m.analysis.n, m.analysis.total_nitrogen,
                                       m.analysis.available_n)))


def season_nitrogen(case: CaseFile) -> list[Missing]:
    """The season's nitrogen rate, where nobody set one and the crop makes none of its own.

    A crop of a standing sod that is not a legume (grass hay) needs nitrogen like any other.
    """
    crop = case.field.crop
    if fixes_nitrogen(crop) or case.nitrogen is not None:
        return []
    previous = case.field.previous_crop
    earlier = tuple(dict.fromkeys(
        a.material for a in case.earlier_applications if a.kind in ("manure", "compost",
                                                                    "biosolids")))
    return [Missing(
        say("carbon_nitrogen.missing_rate", crop=crop),
        say("carbon_nitrogen.missing_rate_means",
            previous=previous if fixes_nitrogen(previous) and not standing(case) else None,
            materials=list(nitrogen_carriers(case)), earlier=list(earlier),
            water=case.field.irrigation != "none"),
        "carbon_nitrogen")]
