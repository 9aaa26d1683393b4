"""Crop and weed names of a case against the shared tables."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from loambrief.tables import load
from loambrief.units import YIELD_UNITS

CROPS = "crops/crops"
MASS_YIELDS = ("lb/ac", "cwt/ac", "ton/ac", "kg/ha", "t/ha")
"""Yield units that are masses, so that they hold for any crop."""


def fold(name: str) -> str:
    """Name without capitals, hyphens and doubled blanks."""
    return " ".join(name.lower().replace("-", " ").replace("_", " ").split())


@cache
def crops() -> Mapping[str, Mapping[str, object]]:
    """Row of the crop table by every folded name and synonym."""
    found: dict[str, Mapping[str, object]] = {fold(row["crop"]): row for row in load(CROPS)}
    for row in load(CROPS):
        for name in (row["synonyms"] or "").split("|"):
            if name:
                found.setdefault(fold(name), row)
    return MappingProxyType(found)


def yield_units(crop: str) -> tuple[str, ...]:
    """Units a yield of a known crop may carry, its own first; all units for an unknown one."""
    row = crops().get(fold(crop))
    if row is None:
        return YIELD_UNITS
    other = (pair.split("=")[0] for pair in (row["other_units"] or "").split("|") if pair)
    return tuple(dict.fromkeys((row["yield_unit"], *other, *MASS_YIELDS)))
