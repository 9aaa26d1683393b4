"""The stock that live on a field's forage: the herd, the grazing and the hay that is planned."""

from typing import Annotated

from pydantic import Field

from loambrief.case import quantities as q
from loambrief.case.part import Part

GRAZERS = ("cattle", "dairy", "sheep", "goats", "horses")
FEEDERS = ("cone", "ring", "sheeted ring", "trailer", "cradle", "net", "no feeder")
STORES = ("inside", "outside covered on stone", "outside covered on ground",
          "outside uncovered on stone")


class Herd(Part):
    """Animals of one kind and state that are fed from this field."""

    kind: Annotated[str, q.choice(GRAZERS)]
    head: Annotated[int, q.count(1, 100_000, "a number of animals")]
    weight: q.Mass
    state: Annotated[str, q.choice(("dry", "in milk"))] | None = None
    intake: q.Percent | None = None
    """Dry matter a day, of live weight; the published figure where not stated."""


class Grazing(Part):
    """A planned grazing period and what there is to graze."""

    days: Annotated[int, q.count(1, 366, "days")] | None = None
    forage: q.Rate | None = None
    """Dry matter to be grazed in those days: standing above the height left, and regrown."""
    basis: q.Text | None = None
    area: q.Area | None = None
    stay: Annotated[int, q.count(1, 366, "days")] | None = None
    """Days on one piece; continuous where not stated."""
    height: q.Depth | None = None


class HaySupply(Part):
    """Hay that is needed and at hand."""

    days: Annotated[int, q.count(1, 366, "days")] | None = None
    bales: Annotated[int, q.count(0, 1_000_000, "a number of bales")] | None = None
    bale_weight: q.Mass | None = None
    dry_matter: q.Percent | None = None
    feeder: Annotated[str, q.choice(FEEDERS)] | None = None
    store: Annotated[str, q.choice(STORES)] | None = None


class Stock(Part):
    """What eats the forage, and how it is fed."""

    herd: Annotated[list[Herd], Field(min_length=1, max_length=20)]
    grazing: Grazing | None = None
    hay: HaySupply | None = None
