"""Weeds by name: accepted names, indicator values, and plants not to be pressed for sap."""

from collections.abc import Mapping
from difflib import get_close_matches
from functools import cache, partial
from types import MappingProxyType

from loambrief.agronomy.possible import one_of
from loambrief.errors import UnknownName
from loambrief.tables import DataRow, load, named_number, parts
from loambrief.tables.harmful import harmful_row, may_be_offered
from loambrief.tables.names import unaccented

SPECIES = "weeds/species"
INDICATORS = "weeds/indicators"
INDIFFERENCE = "weeds/indifference"
AXES = ("reaction", "moisture", "nutrients", "salinity")
constant = partial(named_number, "weeds/constants")


def _fold(name: str) -> str:
    return " ".join(unaccented(name).replace("\u2019", "'").replace("-", " ").split()).casefold()


@cache
def _by_name() -> Mapping[str, DataRow]:
    """Folded name -> row; a scientific name wins over a synonym, that over a common name."""
    found: dict[str, DataRow] = {}
    for column in ("scientific_name", "eppo", "synonyms", "common_name", "spanish"):
        for row in load(SPECIES):
            for name in parts(row[column]):
                found.setdefault(_fold(name), row)
    return MappingProxyType(found)


def find_species(name: str) -> DataRow:
    """The row of ``weeds/species`` for a weed by any of its names.

    Scientific name, synonym, common name, Spanish name or EPPO code; letter case, accents, hyphens
    and the kind of apostrophe do not matter. Raises ``UnknownName`` with the nearest name, a
    harmful plant only for a name that is nearly the same.
    """
    typed = _fold(str(name))
    row = _by_name().get(typed)
    if row is None:
        near = next((known for known in get_close_matches(typed, _by_name(), n=5)
                     if may_be_offered(typed, known)), None)
        raise UnknownName("weed", typed, (near,) if near else ())
    return row


def known_species(name: str | None) -> DataRow | None:
    """The row of a weed by any name; None where it is not stated or no table knows it."""
    try:
        return find_species(name) if name else None
    except UnknownName:
        return None


def common_name(row: DataRow) -> str:
    """The English name that is printed for a row of ``weeds/species``."""
    return parts(row["common_name"])[0]


def indicator_values(species: str, system: str = "plantatt") -> DataRow | None:
    """Indicator values of one weed by its accepted name; None where the system has none.

    The systems are ``"plantatt"`` (Britain and Ireland) and ``"eive"`` (Europe); never mix the two.
    """
    if system not in _systems():
        raise UnknownName("indicator system", system, _systems())
    return _indicators().get((species, system))


@cache
def _systems() -> tuple[str, ...]:
    return tuple(dict.fromkeys(load(INDICATORS).column("system")))


@cache
def _indicators() -> Mapping[tuple[str, str], DataRow]:
    return MappingProxyType({(str(row["species"]), str(row["system"])): row
                             for row in reversed(load(INDICATORS).rows)})


@cache
def _indifference() -> Mapping[str, DataRow]:
    return MappingProxyType({str(row["species"]): row for row in load(INDIFFERENCE)})


def indifferent(species: str, axis: str) -> bool:
    """Whether a weed, by its accepted name, is rated to grow over the whole range of soil reaction.

    Only the axis ``"reaction"`` is held: the source is not open, and single facts are all that is
    used. False also where no rating is known.
    """
    row = _indifference().get(species)
    return row is not None and row.get(axis) == "yes"


def axis_value(species: str, axis: str, system: str = "plantatt") -> float | None:
    """Rank of a weed, by its accepted name, on an axis; None where it says nothing about that axis.

    The axes are ``"reaction"``, ``"moisture"``, ``"nutrients"`` and ``"salinity"``, the systems
    those of :func:`indicator_values`. A plant that is rated indifferent on the axis has no rank, in
    any system: its value near the middle would pull a mean there. On the reaction axis only plants
    whose bond to soil pH was shown count.
    """
    one_of("indicator axis", axis, AXES)
    row = indicator_values(species, system)
    if row is None or indifferent(species, axis):
        return None
    if axis == "reaction":
        judged = indicator_values(species, "plantatt")
        if judged is None or judged["reaction_indicative"] != "yes":
            return None
    return row[axis]


def press_refused(species: str) -> str | None:
    """Why the sap of a weed is not to be pressed by hand, in a few words.

    A name that is not on the list of weeds is judged by its genus and by the English names of
    harmful plants in it. None where the plant is not listed, which never means safe.
    """
    row = harmful_row(species)
    return None if row is None else str(row["harm"])
