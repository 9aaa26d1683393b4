"""What kind of crop a case grows, as far as it changes the advice."""

from __future__ import annotations

from loambrief.agronomy.crops import Crop, find_crop
from loambrief.case.schema import CaseFile
from loambrief.errors import UnknownName

FIXES_NITROGEN = ("legume", "alfalfa")
FRESH = ("vegetable", "fruit")
"""Groups that may be eaten raw."""
FORAGE = ("alfalfa", "grass forage")
ROW_SEEDED = ("grain", "oilseed", "fiber", "legume")
"""Groups drilled or planted as seed in rows, where fertilizer may go in with it."""
ROW_SEEDED_CROPS = ("corn silage", "sorghum-sudan", "small grain silage", "sweet corn",
                    "snap bean", "sugar beet")
"""Crops of other groups that are sown the same way (from memory, unverified)."""
TRANSPLANTED = ("tomato", "pepper", "cabbage", "broccoli", "cauliflower", "sweet potato",
                "strawberry")
"""Crops usually set as plants, not sown in place (from memory, unverified)."""

AUTUMN_SOWN = ("winter wheat", "rye", "triticale")
"""Crops in the ground over winter by their nature (from memory, unverified)."""
SOWN_ANEW = ("corn silage", "sorghum-sudan", "small grain silage", "muskmelon", "watermelon")
"""Annual crops of the perennial groups."""
PERENNIAL_GROUPS = ("alfalfa", "fruit", "grass forage")
PERENNIALS = ("red clover",)
"""Perennial crops of the other groups."""


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


def stays(crop: Crop) -> bool:
    """A stand of it stays on the field for years."""
    return crop.name in PERENNIALS or (crop.group in PERENNIAL_GROUPS
                                       and crop.name not in SOWN_ANEW)


def room_for_cover(case: CaseFile) -> bool:
    """Bare ground is to be expected after the harvest: no stand, no crop sown in autumn."""
    if standing(case):
        return False
    crop = known_crop(case.field.crop)
    after = known_crop(case.field.following_crop) or crop
    if crop is None or after is None:
        return True
    return not stays(crop) and not stays(after) and not set(after.lineage) & set(AUTUMN_SOWN)


def standing(case: CaseFile) -> bool:
    """A perennial stand is on the field: nothing is seeded there this season."""
    return case.field.tillage == "perennial"


def seeded_in_rows(case: CaseFile, crop: Crop) -> bool:
    """Fertilizer could go in the row beside the seed of this crop."""
    if standing(case) or crop.name in TRANSPLANTED:
        return False
    return crop.group in ROW_SEEDED or crop.name in ROW_SEEDED_CROPS


def eaten_fresh(case: CaseFile) -> tuple[str, ...]:
    """Present and following crops that may be eaten raw."""
    crops = (known_crop(n) for n in (case.field.crop, case.field.following_crop))
    return tuple(dict.fromkeys(c.name for c in crops if c is not None and c.group in FRESH))


def feeds_stock(case: CaseFile) -> bool:
    """The crop, or the one after it, is forage, or stock are kept."""
    crops = (known_crop(n) for n in (case.field.crop, case.field.following_crop))
    return bool(case.field.livestock) or any(c is not None and c.group in FORAGE for c in crops)
