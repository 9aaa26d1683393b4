"""Limits of the entry checks, from ``tables/case/checks.csv`` and the sampling guidance."""

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from loambrief.errors import UnknownName
from loambrief.tables import load

CHECKS = "case/checks"
BUFFERS = "case/buffers"
SAMPLING = "sampling/constants"


@cache
def _limits() -> Mapping[str, float]:
    return MappingProxyType(
        {row["name"]: row["value"] for table in (SAMPLING, CHECKS) for row in load(table)}
    )


def limit(name: str) -> float:
    """One limit by name, in the unit its row states."""
    try:
        return _limits()[name]
    except KeyError:
        raise UnknownName("entry check", name, tuple(_limits())) from None


@cache
def fresh_buffers() -> Mapping[str, float]:
    """Buffer method -> pH of the buffer before soil is added."""
    return MappingProxyType({row["method"]: row["fresh_ph"] for row in load(BUFFERS)})
