"""What the national organic standard says of a material, as far as a table can know it."""

from functools import cache

from loambrief.tables import DataRow, load

ORGANIC = "farm/organic"
ASK = "ask"


@cache
def substances() -> tuple[str, ...]:
    """Names of substances that a material of a case can state."""
    return tuple(str(row["substance"]) for row in load(ORGANIC) if row["substance"])


def organic_row(kind: str, substance: str | None) -> DataRow:
    """The standard's answer for a kind of material of the case.

    A substance (of :func:`substances`) that does not belong to the kind counts as not stated. The
    ``status`` is ``allowed``, ``restricted``, ``prohibited`` or ``ask``.
    """
    rows = [row for row in load(ORGANIC) if row["kind"] == kind]
    return next((row for row in rows if row["substance"] == substance),
                next(row for row in rows if row["substance"] is None))


def kinds_of(substance: str) -> tuple[str, ...]:
    """Kinds of material that a substance can be."""
    return tuple(str(row["kind"]) for row in load(ORGANIC) if row["substance"] == substance)
