"""What a cover crop can do to stock that graze it, by the published rows."""

from loambrief.case.schema import CaseFile
from loambrief.case.schema_plan import CoverCrop
from loambrief.findings.crop_kinds import kept_stock
from loambrief.findings.model import Message, say
from loambrief.tables import load, parts
from loambrief.topics.forage.formulas import coefficient


def _grazed(case: CaseFile, plan: CoverCrop) -> bool:
    """Stock may come to it: it is sown for them, or they are kept."""
    return "grazing" in plan.purpose or bool(kept_stock(case))


def may_graze(case: CaseFile, plan: CoverCrop, names: list[str]) -> bool:
    """Grazing it off is a way to end it: stock may come, and nothing in the mix harms them so."""
    return _grazed(case, plan) and not stock_cautions(case, plan, names)[1]


def stock_cautions(case: CaseFile, plan: CoverCrop,
                   names: list[str]) -> tuple[tuple[Message, ...], list[str]]:
    """Cautions for the stock kept, all of them where none are named; what none may graze."""
    if not _grazed(case, plan):
        return (), []
    kept = kept_stock(case)
    rows = [row for row in load("cover_crops/stock_hazards")
            if any(n in names for n in parts(row["species"]))
            and (not kept or any(s in parts(row["stock"]) for s in kept))]
    heights = {"low": coefficient("prussic_height_low"), "high": coefficient("prussic_height_high")}
    said = [say(str(row["caution"]), **heights) for row in rows]
    return ((*said, *([say("forage.caution_vet")] if said else [])),
            [n for n in names for row in rows
             if row["hazard"] == "vetch" and n in parts(row["species"])])
