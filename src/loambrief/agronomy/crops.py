"""Crops by any of their names, and yields in the unit each crop is traded in.

Shared by all topics: a crop typed in a case is looked up once here, and every other table
uses the name this one gives it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load, parts
from loambrief.tables.names import unaccented
from loambrief.units import MASS_YIELDS

TABLE = "crops/crops"
GROUPS = ("grain", "oilseed", "legume", "alfalfa", "grass forage", "vegetable", "fruit", "fiber",
          "tuber")


@dataclass(frozen=True)
class Crop:
    name: str
    """Name used in every other table."""
    synonyms: tuple[str, ...]
    parent: str | None
    """Crop whose values stand in where a table has none for this one."""
    yield_unit: str
    """Unit the yield is traded in, e.g. ``"bu/ac"``."""
    lb_per_unit: float
    """Weight of one such unit [lb]."""
    other_units: Mapping[str, float]
    """Further units a yield of this crop may carry -> lb per unit."""
    group: str
    """One of :data:`GROUPS`."""
    traits: tuple[str, ...]
    """What else changes the advice, by the words of the table."""
    source: str
    how: str
    """``source``, ``how``: where the weight is from and how it was checked."""

    @property
    def lineage(self) -> tuple[str, ...]:
        """Its own name, then its parent's: the order in which tables are searched."""
        return (self.name, self.parent) if self.parent else (self.name,)


def _fold(name: str) -> str:
    return " ".join(unaccented(name.lower()).replace("-", " ").replace("_", " ").split())


def _units(text: str | None) -> Mapping[str, float]:
    pairs = (pair.split("=") for pair in parts(text))
    return MappingProxyType({unit: float(pounds) for unit, pounds in pairs})


@cache
def crops() -> Mapping[str, Crop]:
    """All crops by name, in table order."""
    found = {}
    for row in load(TABLE):
        found[row["crop"]] = Crop(
            name=row["crop"],
            synonyms=parts(row["synonyms"]) + parts(row["spanish"]),
            parent=row["parent"],
            yield_unit=row["yield_unit"],
            lb_per_unit=row["lb_per_unit"],
            other_units=_units(row["other_units"]),
            group=row["group"],
            traits=parts(row["traits"]),
            source=row["source"],
            how=row["how"],
        )
    return MappingProxyType(found)


@cache
def _index() -> Mapping[str, Crop]:
    index: dict[str, Crop] = {}
    for crop in crops().values():
        index[_fold(crop.name)] = crop
    for crop in crops().values():
        for synonym in crop.synonyms:
            index.setdefault(_fold(synonym), crop)
    return MappingProxyType(index)


def find_crop(name: str) -> Crop:
    """Crop of that name or synonym; case, hyphens and doubled spaces do not matter.

    Raises ``UnknownName`` with the nearest name.
    """
    index = _index()
    key = _fold(name)
    if key not in index:
        raise UnknownName("crop", key, tuple(index))
    return index[key]


def lb_per_yield_unit(crop: Crop, unit: str) -> float:
    """Pounds in one ``unit`` of a crop's yield (per acre; hectares are converted).

    Raises
    ------
    UnknownName
        That unit is not used for that crop (bushels of alfalfa, bales of corn).
    """
    if unit == crop.yield_unit:
        return crop.lb_per_unit
    if unit in crop.other_units:
        return crop.other_units[unit]
    if unit in MASS_YIELDS:
        return MASS_YIELDS[unit]
    known = (crop.yield_unit, *crop.other_units, *MASS_YIELDS)
    raise UnknownName(f"yield unit of {crop.name}", unit, tuple(dict.fromkeys(known)))


def yield_in_crop_unit(crop: Crop, value: float, unit: str) -> float:
    """A yield in one of :data:`loambrief.units.YIELD_UNITS` as one in ``crop.yield_unit``.

    Raises
    ------
    UnknownName
        The unit does not belong to that crop.
    ImpossibleInput
        A negative yield.
    """
    if value < 0:
        raise ImpossibleInput(f"a yield of {value:g} {unit} cannot be")
    return value * lb_per_yield_unit(crop, unit) / crop.lb_per_unit


def first_known(crop: Crop, table: Mapping[str, object] | Iterable[str]) -> str | None:
    """Name under which a table holds this crop: its own, else its parent's, else None."""
    return next((name for name in crop.lineage if name in table), None)
