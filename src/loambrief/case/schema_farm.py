"""What the farm allows: how long the ground is held, what is ruled out, what can spread it.

None of it changes what the soil needs; all of it changes what is bought, and when.
"""

from typing import Annotated, Self

from pydantic import Field, PrivateAttr

from loambrief.case import quantities as q
from loambrief.case.part import Part
from loambrief.case.schema_materials import MATERIAL_KINDS

PAYERS = ("grower", "owner", "shared")


class Tenure(Part):
    """How long the ground is held, who pays for lime, and how many years are planned."""

    held: Annotated[str, q.choice(("owned", "rented"))]
    until: q.Date | None = None
    """Last day of the lease; rented ground only."""
    lime_paid_by: Annotated[str, q.choice(PAYERS)] | None = None
    grower_share: q.Percent | None = None
    years: Annotated[int, q.count(1, 10, "a number of years")] | None = None


class Excluded(Part):
    """A material, or a kind of it, that the farm does not take, and why."""

    kind: Annotated[str, q.choice(MATERIAL_KINDS)] | None = None
    material: q.Identifier | None = None
    reason: q.Text


class Spreader(Part):
    """A machine, what it spreads, and what it can be set to."""

    name: q.Name
    spreads: list[Annotated[str, q.choice(MATERIAL_KINDS)]] = []
    """Kinds of material; none stated: all."""
    smallest_rate: q.Rate | None = None
    step: q.Rate | None = None
    width: q.Distance | None = None
    per_day: q.Mass | None = None


class Neighbour(Part):
    """Someone beside the field, and how far some materials keep from the line."""

    name: q.Name
    setback: q.Distance
    length: q.Distance
    """Along the line."""
    kinds: Annotated[list[Annotated[str, q.choice(MATERIAL_KINDS)]], Field(min_length=1)]
    zone: q.Identifier | None = None


class Constraints(Part):
    """What rules materials out, or bounds their rates and days."""

    organic: Annotated[str, q.choice(("certified", "in transition"))] | None = None
    excluded: Annotated[list[Excluded], Field(max_length=40)] = []
    spreaders: Annotated[list[Spreader], Field(max_length=12)] = []
    days_available: Annotated[int, q.count(0, 366, "a number of days")] | None = None
    neighbours: Annotated[list[Neighbour], Field(max_length=12)] = []


class TreatedPart(Part):
    """The only part of a zone that is treated, and why."""

    area: q.Area | None = None
    share: q.Percent | None = None
    reason: q.Text


class CheckStrips(Part):
    """Strips that are left untreated on purpose."""

    actions: Annotated[list[q.Name], Field(max_length=40)] = []
    """Ids of actions or materials; none stated: every uncertain action that is spread."""
    count: Annotated[int, q.count(1, 12, "a number of strips")] | None = None
    width: q.Distance | None = None
    length: q.Distance
    where: q.Text | None = None

    _of_program: bool = PrivateAttr(default=False)

    @property
    def of_program(self) -> bool:
        """Names of what the adviser put into the plan are passed over."""
        return self._of_program

    def for_program(self) -> Self:
        """The same strips for a plan without what the adviser put into it."""
        made = self.model_copy()
        made._of_program = True
        return made
