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
NOT_FOOD = ("sugar beet", "red clover")
"""Crops of those groups that go to a factory or to stock (from memory, unverified)."""
FORAGE = ("alfalfa", "grass forage")
ROW_SEEDED = ("grain", "oilseed", "fiber", "legume")
"""Groups drilled or planted as seed in rows, where fertilizer may go in with it."""
ROW_SEEDED_CROPS = ("corn silage", "sorghum-sudan", "small grain silage", "sweet corn",
                    "snap bean", "sugar beet")
"""Crops of other groups that are sown the same way (from memory, unverified)."""
TRANSPLANTED = ("tomato", "pepper", "cabbage", "broccoli", "cauliflower", "sweet potato",
                "strawberry")
"""Crops usually set as plants, not sown in place (from memory, unverified)."""


PERENNIAL = ("alfalfa", "red clover", "alfalfa-grass", "grass hay", "bermudagrass", "strawberry",
             "blueberry", "grape", "apple", "cherry", "peach", "pear", "almond", "walnut")
"""Crops whose stand stays: nothing is seeded after their harvest (common practice)."""
MANY_PICKS = ("tomato", "pepper", "cucumber", "squash", "broccoli", "snap bean", "muskmelon",
              "watermelon", "strawberry")
"""Crops picked again and again: their date of harvest is the first pick (common practice)."""
AUTUMN_SOWN = ("winter wheat", "rye", "triticale")
"""Crops in the ground over winter, which leave a cover crop no room (common practice)."""


def known_crop(name: str | None) -> Crop | None:
    """A crop by name; None where it is not stated or not in the crop table."""
    try:
        return find_crop(name) if name else None
    except UnknownName:
        return None


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
    return standing(case) or (crop is not None and any(n in PERENNIAL for n in crop.lineage))


def cover_fits(case: CaseFile) -> bool:
    """There is room for a cover crop after this harvest: no stand, no autumn-sown cereal.

    The crop after this one decides; where it is not stated, an autumn-sown crop may follow
    itself.
    """
    following = known_crop(case.field.following_crop or case.field.crop)
    sown = following is not None and any(n in AUTUMN_SOWN for n in following.lineage)
    return not stays(case) and not sown


def many_picks(case: CaseFile) -> bool:
    """The date of harvest is only the first pick."""
    crop = known_crop(case.field.crop)
    return crop is not None and any(n in MANY_PICKS for n in crop.lineage)


def seeded_in_rows(case: CaseFile, crop: Crop) -> bool:
    """Fertilizer could go in the row beside the seed of this crop."""
    if standing(case) or crop.name in TRANSPLANTED:
        return False
    return crop.group in ROW_SEEDED or crop.name in ROW_SEEDED_CROPS


def eaten_fresh(case: CaseFile) -> tuple[str, ...]:
    """Present and following crops that may be eaten raw."""
    crops = (known_crop(n) for n in (case.field.crop, case.field.following_crop))
    return tuple(dict.fromkeys(c.name for c in crops if c is not None and c.group in FRESH))


def grown_organic(case: CaseFile) -> bool:
    """The rules of organic production bind this ground."""
    return case.constraints is not None and case.constraints.organic is not None


def kept_from_manure(case: CaseFile) -> Crop | None:
    """The crop, where raw manure must keep its days before the harvest; None elsewhere."""
    crop = known_crop(case.field.crop)
    if crop is None or crop.name in NOT_FOOD:
        return None
    groups = (*EATEN, *EATEN_ORGANIC) if grown_organic(case) else EATEN
    return crop if crop.group in groups else None


def kept_stock(case: CaseFile) -> list[str]:
    """Kinds of animals that eat what grows here, each once."""
    herd = case.stock.herd if case.stock is not None else []
    return list(dict.fromkeys((*case.field.livestock, *(group.kind for group in herd))))


def feeds_stock(case: CaseFile) -> bool:
    """The crop, or the one after it, is forage, or stock are kept."""
    crops = (known_crop(n) for n in (case.field.crop, case.field.following_crop))
    return bool(kept_stock(case)) or any(c is not None and c.group in FORAGE for c in crops)
