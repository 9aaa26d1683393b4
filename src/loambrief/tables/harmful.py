"""Plants whose sap is not to be pressed by hand, told from any name somebody may type.

It errs toward refusing: a genus, an English name inside a longer name, and a near miss of either
count. Not to be on the list never means that a plant is safe.
"""

from collections.abc import Iterator
from difflib import SequenceMatcher
from functools import lru_cache

from loambrief.tables import DataRow, load, parts
from loambrief.tables.names import unaccented

NO_PRESS = "refractometry/no_press"
WEED_NAMES = "weeds/species"
NEAR = 0.85
"""How alike a misspelt name must be to count, 0 to 1: our choice."""
LONG_ENOUGH = 6
"""Letters from which a near miss counts; shorter names must be spelled right."""
SURE = 0.9
"""How alike a name must be before a harmful plant is offered as what was meant: our choice."""


def plain_name(name: str) -> str:
    """Name in small letters, without accents, hyphens, dots and apostrophes of any kind."""
    text = unaccented(name.casefold()).replace("\u2019", "").replace("'", "")
    return " ".join("".join(c if c.isalnum() else " " for c in text).split())


def alike(one: str, other: str) -> float:
    """How alike two names are, 0 to 1."""
    return SequenceMatcher(None, plain_name(one), plain_name(other), autojunk=False).ratio()


def _windows(words: list[str], count: int) -> Iterator[str]:
    return (" ".join(words[i:i + count]) for i in range(len(words) - count + 1))


def _hit(wanted: str, words: list[str]) -> bool:
    """True if ``wanted`` stands among the words, misspelt or in the plural too."""
    for found in _windows(words, len(wanted.split())):
        if found in (wanted, wanted + "s"):
            return True
        if len(wanted) >= LONG_ENOUGH and found[0] == wanted[0] and alike(found, wanted) >= NEAR:
            return True
    return False


def _accepted(name: str) -> tuple[str, ...]:
    """Scientific names of a listed weed by any of its names or its code."""
    wanted = plain_name(name)
    for row in load(WEED_NAMES):
        columns = ("scientific_name", "synonyms", "common_name", "spanish", "eppo")
        if wanted in {plain_name(n) for column in columns for n in parts(row[column])}:
            return (str(row["scientific_name"]), *parts(row["synonyms"]))
    return ()


@lru_cache(maxsize=4096)
def harmful_row(name: str) -> DataRow | None:
    """The row of ``refractometry/no_press`` that a plant falls under.

    ``name`` is a scientific name, a genus, a common name ("wild carrot" or "carrot, wild") or, for
    a listed weed, an EPPO code. None where no row fits, which never means safe. Crops of a listed
    genus (tomato, potato) are exempt by their full name.
    """
    rows = tuple(load(NO_PRESS))
    genera = {str(row["genus"]).casefold(): row for row in rows}
    last, comma, first = name.partition(",")
    if comma and not _accepted(name):
        name = f"{first} {last}"
    listed = _accepted(name)
    for scientific in listed:
        row = genera.get(scientific.split()[0].casefold())
        if row is not None:
            return row
    words = plain_name(name).split()
    if listed or not words:
        return None
    typed = " ".join(words)
    fits = [row for row in rows
            if not any(_hit(plain_name(crop), words) for crop in parts(row["exempt"]))]
    for row in fits:
        if _hit(plain_name(str(row["genus"])), words[:1]):
            return row
    found = [(len(plain_name(n)), row) for row in fits
             for n in (str(row["english"]), *parts(row["names"]))
             if _hit(plain_name(n), typed.split())]
    return max(found, key=lambda pair: pair[0])[1] if found else None


def may_be_offered(typed: str, known: str) -> bool:
    """Whether a known name may be offered for an unknown one.

    A harmful plant is offered only for a name that is nearly the same, so that nobody is led from
    a harmless weed to it, nor the other way round.
    """
    return alike(typed, known) >= SURE or harmful_row(known) is None
