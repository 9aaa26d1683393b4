"""The season's nitrogen where nothing sets it: what would have to be counted is named."""

from collections.abc import Sequence

from loambrief.case.schema import CaseFile
from loambrief.findings.crop_kinds import fixes_nitrogen, standing
from loambrief.findings.model import Judgement, Missing, lacks
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


def needs_nitrogen(case: CaseFile) -> bool:
    """Nobody set a rate, and the crop makes none of its own.

    A crop of a standing sod that is not a legume (grass hay) needs nitrogen like any other.
    """
    return case.nitrogen is None and not fixes_nitrogen(case.field.crop)


def missing_rate(case: CaseFile, told: Sequence[Judgement] = ()) -> Missing:
    """The season's rate is not set; ``told`` says why where a published method lacks something."""
    previous = case.field.previous_crop
    earlier = tuple(dict.fromkeys(
        a.material for a in case.earlier_applications if a.kind in ("manure", "compost",
                                                                    "biosolids")))
    return lacks("carbon_nitrogen.missing_rate", judgements=tuple(told), crop=case.field.crop,
                 previous=previous if fixes_nitrogen(previous) and not standing(case) else None,
                 materials=list(nitrogen_carriers(case)), earlier=list(earlier),
                 water=case.field.irrigation != "none")
