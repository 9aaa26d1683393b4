"""A cover crop that is planned, as a part of the case schema."""

from typing import Annotated

from pydantic import Field

from loambrief.case import quantities as q
from loambrief.case.part import Part
from loambrief.case.schema_materials import Price

PURPOSES = ("nitrogen", "hold nitrate", "erosion", "weeds", "compaction", "organic matter",
            "grazing")


class CoverSpecies(Part):
    """One cover crop of the mix."""

    species: q.Name
    share: q.Percent | None = None
    """Of the rate it is drilled at alone; all of it where none is stated."""
    price: Price | None = None


class CoverCrop(Part):
    """What a cover crop is for, when frost comes, and the mix that is thought of."""

    purpose: Annotated[list[Annotated[str, q.choice(PURPOSES)]], Field(min_length=1, max_length=4)]
    sowing: q.Date | None = None
    first_frost: q.Date | None = None
    zone: Annotated[int, q.count(1, 4, "a zone")] | None = None
    mix: Annotated[list[CoverSpecies], Field(max_length=10)] = []
