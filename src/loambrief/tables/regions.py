"""Which states, provinces and regions a text names, told word by word.

A name inside the longer name of another state is not named (West Virginia is not Virginia), nor
is a county or town that borrows one (Delaware County, Kansas City).
"""

from collections.abc import Iterable
from functools import lru_cache

from loambrief.tables import load
from loambrief.tables.harmful import plain_name

REGIONS = "case/regions"
ALSO = ("New England", "New South Wales")
"""Longer names that are no state or province of the table, but hold the name of a region."""
BORROWED = frozenset({"county", "city", "parish", "township", "town"})


@lru_cache(maxsize=4096)
def _words(name: str) -> tuple[str, ...]:
    return tuple(plain_name(name).split())


@lru_cache(maxsize=256)  # each guide and method asks about the same field
def _states_in(place: str) -> list[set[int]]:
    """Where in a text the words of each state stand."""
    names = {_words(str(name)) for name in (*load(REGIONS).column("region"), *ALSO)}
    return [set(span) for name in names for span in _stands(_words(place), name)]


def _stands(words: tuple[str, ...], name: tuple[str, ...]) -> list[range]:
    size = len(name)
    return [range(at, at + size) for at in range(len(words) - size + 1)
            if name and words[at:at + size] == name
            and not BORROWED & {*words[at + size:at + size + 1]}]


def named(places: Iterable[str | None], wanted: Iterable[str]) -> tuple[str, ...]:
    """Those of some regions, by the names as printed, that are named where a field is."""
    asked = tuple(dict.fromkeys(wanted))
    found = {name for place in places if place for name in _spans(place, asked)}
    return tuple(name for name in asked if name in found)


@lru_cache(maxsize=1024)
def _spans(place: str, wanted: tuple[str, ...]) -> list[str]:
    return [name for name in wanted if any(
        not any(set(span) < state for state in _states_in(place))
        for span in _stands(_words(place), _words(name)))]
