"""Which states, provinces and regions a text names, told word by word.

A name inside the longer name of another state is not named (West Virginia is not Virginia), nor
is a county or town that borrows one (Delaware County, Kansas City).
"""

from collections.abc import Iterable
from functools import cache, lru_cache

from loambrief.tables import load
from loambrief.tables.harmful import plain_name

REGIONS = "case/regions"
ALSO = ("New England", "New South Wales")
"""Longer names that are no state or province of the table, but hold the name of a region."""
BORROWED = frozenset({"county", "city", "parish", "township", "town"})


@cache
def _states() -> frozenset[str]:
    return frozenset(map(plain_name, (*(str(row["region"]) for row in load(REGIONS)), *ALSO)))


def named(places: Iterable[str | None], wanted: Iterable[str]) -> tuple[str, ...]:
    """Those of some regions that the places name.

    Parameters
    ----------
    places : iterable of str or None
        Where a field is, in words; None is passed over.
    wanted : iterable of str
        Names of regions, as printed.
    """
    asked = tuple(dict.fromkeys(wanted))
    found = {name for place in places if place for name in _spans(place, asked)}
    return tuple(name for name in asked if name in found)


@lru_cache(maxsize=1024)  # each guide and method asks about the same field
def _spans(place: str, wanted: tuple[str, ...]) -> list[str]:
    words = plain_name(place).split()

    def stands(name: str) -> list[range]:
        own = plain_name(name).split()
        return [range(at, at + len(own)) for at in range(len(words) - len(own) + 1)
                if own and words[at:at + len(own)] == own
                and not BORROWED & set(words[at + len(own):at + len(own) + 1])]

    states = [span for name in _states() for span in stands(name)]
    return [name for name in wanted
            if any(not any(set(span) < set(state) for state in states) for span in stands(name))]
