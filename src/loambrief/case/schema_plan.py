"""What the adviser puts into the plan: own actions, changes of it, nitrogen, a cover crop.

Each entry carries its reason, because the reason is printed.
"""

from typing import Annotated

from pydantic import Field

from loambrief.case import quantities as q
from loambrief.case.part import Part
from loambrief.case.schema_materials import Price

WORKS = ("lime", "acidify", "gypsum", "nutrient", "organic matter", "loosen", "drain", "leach",
         "measure", "manage")
"""What an own action puts right; the values of ``findings.model.NeedKind``."""
CHANGES = ("drop", "defer", "replace", "split", "move")
"""What an adviser does to an action of the plan."""
STANDS = ("good", "fair", "poor")
RATE_IS = ("from all sources", "still to apply")
"""Whether legumes, manure, soil and water are still to be taken off a nitrogen rate."""
WHEATS = ("hard red winter", "hard red spring", "hard white")
UK_SOILS = ("light sand", "shallow", "medium", "deep clay", "deep silty", "organic", "peat")
PURPOSES = ("nitrogen", "hold nitrate", "erosion", "weeds", "compaction", "organic matter",
            "grazing")
"""What a cover crop is for."""
CROP_UNITS = ("bu", "cwt", "ton", "tonne", "lb")


class Period(Part):
    """When something is done: dates, words, or both."""

    start: q.Date | None = None
    end: q.Date | None = None
    when: q.Name | None = None


class OwnAction(Part):
    """Something the adviser adds to the plan: a material at a rate, or work."""

    id: q.Identifier
    what: q.Name
    kind: Annotated[str, q.choice(WORKS)] | None = None
    """What it puts right; a material on offer says it by its own kind."""
    material: q.Name | None = None
    rate: q.Rate | None = None
    where: q.Name | None = None
    area: q.Area | None = None
    cost: Price | None = None
    window: Period | None = None
    rank: Annotated[int, q.count(1, 200, "a place in the order")] | None = None
    with_seed: bool = False
    """The product goes into the row with the seed."""
    optional: bool = False
    how: q.Text | None = None
    cautions: Annotated[list[q.Text], Field(max_length=12)] = []
    reason: q.Text


class SplitPart(Part):
    """One part of a split action: its own zone, rate, area or time."""

    where: q.Name | None = None
    """A zone, for an action on the whole field; its area is taken where none is stated."""
    rate: q.Rate | None = None
    area: q.Area | None = None
    window: Period | None = None


class PlanChange(Part):
    """What the adviser does to an action of the plan, by its id, and why (it is printed)."""

    action: q.Name
    change: Annotated[str, q.choice(CHANGES)]
    until: q.Date | None = None
    condition: q.Text | None = None
    material: q.Name | None = None
    rate: q.Rate | None = None
    parts: Annotated[list[SplitPart], Field(min_length=2, max_length=12)] | None = None
    rank: Annotated[int, q.count(1, 200, "a place in the order")] | None = None
    reason: q.Text


class NitrogenPass(Part):
    """One pass of the nitrogen line, in pounds of nitrogen."""

    nitrogen: q.Rate
    material: q.Name | None = None
    where: q.Name | None = None
    window: Period | None = None
    how: q.Text | None = None
    cost: Price | None = None


class Nitrogen(Part):
    """The nitrogen of the season as the adviser, or a plan made elsewhere, sets it."""

    set_by: q.Name
    source: q.Text
    rate: q.Rate
    rate_is: Annotated[str, q.choice(RATE_IS)]
    """Whether legumes, manure, soil and water are already counted in the rate."""
    stand: Annotated[str, q.choice(STANDS)] | None = None
    """How good the stand of the forage legume before this crop was."""
    irrigation: q.WaterDepth | None = None
    """Water that will be put on in the season, for the nitrate it brings."""
    passes: Annotated[list[NitrogenPass], Field(max_length=12)] = []
    reason: q.Text | None = None
    cautions: Annotated[list[q.Text], Field(max_length=12)] = []


class CropPrice(Part):
    """What the crop is worth when it is sold."""

    amount: Annotated[float, q.number(0.01, 100_000, "a price")]
    per: Annotated[str, q.choice(CROP_UNITS)]
    date: q.Date


class NitrogenInputs(Part):
    """What a published nitrogen method asks for and no other part of the case holds."""

    crop_price: CropPrice | None = None
    stand: Annotated[str, q.choice(STANDS)] | None = None
    """How good the stand of the forage legume before this crop was."""
    irrigation: q.WaterDepth | None = None
    """Water that will be put on in the season, for the nitrate it brings."""
    wet_spring: bool | None = None
    """Rain since April more than a fifth above normal, for the late spring nitrate test."""
    wheat: Annotated[str, q.choice(WHEATS)] | None = None
    soil: Annotated[str, q.choice(UK_SOILS)] | None = None
    """Class of soil of the British manual."""
    supply_index: Annotated[int, q.count(0, 6, "an index of soil nitrogen supply")] | None = None
    variety_group: Annotated[int, q.count(1, 4, "a variety group of potatoes")] | None = None
    season_days: Annotated[int, q.count(30, 199, "days from emergence to death of the tops")] \
        | None = None


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
