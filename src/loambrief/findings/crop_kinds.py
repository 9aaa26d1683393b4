"""What kind of crop a case grows, as far as it changes the advice."""

from loambrief.agronomy.crops import Crop, find_crop
from loambrief.case.schema import CaseFile
from loambrief.errors import UnknownName

FIXES_NITROGEN = ("legume", "alfalfa")
FRESH = ("vegetable", "fruit")
"""Groups that may be eaten raw."""
EATEN = (*FRESH, "tuber")
"""Groups that raw manure keeps an interval to, organic or not."""
EATEN_ORGANIC = ("grain", "legume", "oilseed")
"""Groups that are food too; the organic rule asks the interval of them."""
FORAGE = ("alfalfa", "grass forage")
ROW_SEEDED = ("grain", "oilseed", "fiber", "legume")
"""Groups drilled or planted as seed in rows, where fertilizer may go in with it."""


def known_crop(name: str | None) -> Crop | None:
    """A crop by name; None where it is not stated or not in the crop table."""
    try:
        return find_crop(name) if name else None
    except UnknownName:
        return None


def now_and_next(case: CaseFile) -> tuple[Crop, ...]:
    """Present and following crop, as far as they are stated and known."""
    found = (known_crop(n) for n in (case.field.crop, case.field.following_crop))
    return tuple(crop for crop in found if crop is not None)


def fixes_nitrogen(name: str | None) -> bool:
    """True for a crop known to make its own nitrogen."""
    crop = known_crop(name)
    return crop is not None and crop.group in FIXES_NITROGEN


def standing(case: CaseFile) -> bool:
    """A perennial stand is on the field: nothing is seeded there this season."""
    return case.field.tillage == "perennial"


def stays(case: CaseFile) -> bool:
    """The stand stays after harvest: it is on the field, or the crop is a perennial."""
    crop = known_crop(case.field.crop)
    return standing(case) or (crop is not None and "perennial" in crop.traits)


def cover_fits(case: CaseFile) -> bool:
    """There is room for a cover crop after this harvest: no stand, no autumn-sown cereal.

    The crop after this one decides; where it is not stated, an autumn-sown crop may follow
    itself.
    """
    following = known_crop(case.field.following_crop or case.field.crop)
    return not stays(case) and not (following is not None and "autumn sown" in following.traits)


def many_picks(case: CaseFile) -> bool:
    """The date of harvest is only the first pick."""
    crop = known_crop(case.field.crop)
    return crop is not None and "picked often" in crop.traits


def seeded_in_rows(case: CaseFile, crop: Crop) -> bool:
    """Fertilizer could go in the row beside the seed of this crop."""
    if standing(case) or "set as plants" in crop.traits:
        return False
    return crop.group in ROW_SEEDED or "seeded in rows" in crop.traits


def eaten_fresh(case: CaseFile) -> tuple[str, ...]:
    """Present and following crops that may be eaten raw."""
    return tuple(dict.fromkeys(c.name for c in now_and_next(case) if c.group in FRESH))


def grown_organic(case: CaseFile) -> bool:
    """The rules of organic production bind this ground."""
    return case.constraints is not None and case.constraints.organic is not None


def kept_from_manure(case: CaseFile) -> Crop | None:
    """The crop, where raw manure must keep its days before the harvest; None elsewhere."""
    crop = known_crop(case.field.crop)
    if crop is None or "no food" in crop.traits:
        return None
    groups = (*EATEN, *EATEN_ORGANIC) if grown_organic(case) else EATEN
    return crop if crop.group in groups else None


def kept_stock(case: CaseFile) -> list[str]:
    """Kinds of animals that eat what grows here, each once."""
    herd = case.stock.herd if case.stock is not None else []
    return list(dict.fromkeys((*case.field.livestock, *(group.kind for group in herd))))


def feeds_stock(case: CaseFile) -> bool:
    """The crop, or the one after it, is forage, or stock are kept."""
    return bool(kept_stock(case)) or any(c.group in FORAGE for c in now_and_next(case))
