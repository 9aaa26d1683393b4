"""The problem codes of a case file (``tables/case/codes.csv``). They never change their meaning.

CASE001 to CASE019: the file itself. CASE020 to CASE039: one value. CASE040 to CASE059: values that
do not fit each other. CASE060 to CASE079: lab files, profiles, field sheets and workbooks. CASE101
and up: warnings, where a value is possible but unlikely, or where the advice will be weaker for
it; an adviser can accept a warning with a reason. Two more codes stand only under ``accept``: with
``UNJUDGED`` an adviser issues without a verdict, with ``MEMORY`` on values of a source that were
not checked against the print; :mod:`loambrief.record.completeness` holds them against the advice.
Codes that begin with ``ISSUE-`` are the points of the table ``record/completeness``; some may be
left out under ``accept`` with a reason.
"""

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from loambrief.tables import load

OF_ADVICE = ("UNJUDGED", "MEMORY")
"""Codes of an accepted point that only the advice can have, never the case by itself."""

OF_PLAN = ("CASE131", "CASE132", "CASE133")
"""Warnings that only the finished plan can give."""


def asked_at_issue() -> frozenset[str]:
    """Codes of what an advisory must hold to be issued."""
    return frozenset(str(row["code"]) for row in load("record/completeness"))


@cache
def codes() -> Mapping[str, str]:
    """Code -> meaning, in the order of their numbers."""
    return MappingProxyType({row["code"]: row["meaning"] for row in load("case/codes")})
