"""Crop and weed names of a case against the shared tables."""

from collections.abc import Mapping
from difflib import get_close_matches
from functools import cache
from types import MappingProxyType

from loambrief.tables import all_tables, load
from loambrief.tables.harmful import may_be_offered
from loambrief.tables.names import fold
from loambrief.units import MASS_YIELDS, YIELD_UNITS

CROPS = "crops/crops"
WEEDS = "weeds"
WEED_NAMES = ("species", "scientific_name", "accepted", "synonym", "synonyms", "common_name",
              "common_names", "local_name", "eppo", "spanish")
"""Columns of the weed tables that hold names or codes, several of them separated by |."""
PERENNIAL = ("alfalfa", "grass forage", "fruit")
"""Crop groups that are there again the year after."""
USUAL_YIELD = "case/usual_yield"


@cache
def crops() -> Mapping[str, Mapping[str, object]]:
    """Row of the crop table by every folded name and synonym."""
    found: dict[str, Mapping[str, object]] = {fold(row["crop"]): row for row in load(CROPS)}
    for row in load(CROPS):
        for name in f"{row['synonyms'] or ''}|{row['spanish'] or ''}".split("|"):
            if name:
                found.setdefault(fold(name), row)
    return MappingProxyType(found)


def yield_units(crop: str) -> Mapping[str, float]:
    """Units a yield of a known crop may carry, its own first, each in lb/ac.

    For an unknown crop every yield unit; those that are not masses weigh 0.
    """
    row = crops().get(fold(crop))
    if row is None:
        return {unit: MASS_YIELDS.get(unit, 0.0) for unit in YIELD_UNITS}
    pairs = (pair.split("=") for pair in str(row["other_units"] or "").split("|") if pair)
    own = {str(row["yield_unit"]): float(str(row["lb_per_unit"])),
           **{u: float(lb) for u, lb in pairs}}
    return own | {unit: lb for unit, lb in MASS_YIELDS.items() if unit not in own}


@cache
def usual_yields() -> Mapping[str, tuple[float, float]]:
    """Crop group -> lowest and highest usual yield goal [lb/ac]."""
    return MappingProxyType({row["group"]: (row["low"], row["high"]) for row in load(USUAL_YIELD)})


@cache
def weeds() -> Mapping[str, str]:
    """Folded name -> name as printed, from every table under ``tables/weeds``."""
    found: dict[str, str] = {}
    for table in all_tables(WEEDS):
        rows = load(table)
        for column in WEED_NAMES:
            if column in rows.source.columns:
                for cell in rows.column(column):
                    for name in str(cell or "").split("|"):
                        if name.strip():
                            found.setdefault(fold(name), name.strip())
    return MappingProxyType(found)


def nearest_weed(typed: str) -> str:
    """The weed that was most likely meant, as printed, or an empty string.

    A harmful plant is offered only for a name that is nearly the same.
    """
    wanted = fold(typed)
    if len(wanted) > 100:
        return ""
    near = get_close_matches(wanted, weeds(), n=5, cutoff=0.75)
    return next((weeds()[name] for name in near if may_be_offered(wanted, name)), "")
