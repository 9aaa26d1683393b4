"""What is on offer: analysis, price and product, as a part of the case schema.

Liquid manure is analysed in lb per 1,000 gal, priced by the gallon and spread in gal/ac. Inside
the program a gallon of it weighs :data:`~loambrief.units.NOMINAL_LB_PER_GAL`, in the analysis as
in rate and price, so that the true density is not needed and rates come out right.
"""

from typing import Annotated

from loambrief.case import quantities as q
from loambrief.case.part import Part
from loambrief.tables.organic import substances
from loambrief.units import (
    BY_VOLUME,
    GAL_PER_YD3,
    NOMINAL_LB_PER_GAL,
    PRICE_UNITS,
    Quantity,
    typed_unit,
)

MATERIAL_KINDS = ("lime", "gypsum", "elemental sulfur", "fertilizer", "compost", "manure",
                  "biosolids", "cover crop", "service", "other")
METALS = ("As", "Cd", "Cu", "Pb", "Hg", "Mo", "Ni", "Se", "Zn")


class Analysis(Part):
    """Guaranteed analysis, percent of the material as sold unless said otherwise."""

    n: q.Content | None = None
    p2o5: q.Content | None = None
    k2o: q.Content | None = None
    calcium: q.Content | None = None
    magnesium: q.Content | None = None
    sulfur: q.Content | None = None
    zinc: q.Content | None = None
    boron: q.Content | None = None
    manganese: q.Content | None = None
    copper: q.Content | None = None
    iron: q.Content | None = None
    molybdenum: q.Content | None = None
    chloride: q.Content | None = None
    cce: Annotated[Quantity, q.quantity("neutralizing")] | None = None
    fineness: q.Percent | None = None
    passing: dict[str, q.Percent] | None = None
    effective: Annotated[Quantity, q.quantity("neutralizing")] | None = None
    moisture: q.Percent | None = None
    gypsum: q.Percent | None = None
    carbon: q.Percent | None = None
    total_nitrogen: q.Content | None = None
    available_n: q.Content | None = None
    ammonium_n: q.Content | None = None
    sodium: q.Content | None = None
    ec_1to5: q.Conductivity | None = None
    metals: dict[Annotated[str, q.choice(METALS)], q.Concentration] | None = None
    """Biosolids only: mg per kg of dry matter."""

    @property
    def by_volume(self) -> bool:
        """True if nutrients are stated per volume of liquid (lb per 1,000 gal)."""
        return any(isinstance(v, Quantity) and typed_unit(v) in BY_VOLUME for _, v in self)


class Price(Part):
    """Price per unit, e.g. ``per: ton``."""

    amount: Annotated[float, q.number(0, 1_000_000, "a price")]
    per: Annotated[str, q.choice(tuple(PRICE_UNITS))]
    date: q.Date


class Material(Part):
    """Something on offer: a product or a service (spreading, subsoiling, sampling)."""

    id: q.Identifier
    name: q.Name
    kind: Annotated[str, q.choice(MATERIAL_KINDS)]
    form: Annotated[str, q.choice((
        "granular", "pelleted", "powder", "liquid", "bulk", "slurry"))] | None = None
    does: Annotated[str, q.choice((
        "spreading", "subsoiling", "sampling", "drainage", "seeding", "leaching"))] | None = None
    animal: Annotated[str, q.choice(("beef", "dairy", "poultry", "swine"))] | None = None
    """What the manure is from."""
    pathogens: Annotated[str, q.choice(("class A", "class B"))] | None = None
    """Of biosolids, by 40 CFR 503.32; class B where it is not stated."""
    substance: Annotated[str, q.choice(substances())] | None = None
    """What it is made of, in the words of the organic standard's table."""
    certifier: q.Text | None = None
    """Who approved it for organic ground, and when."""
    analysis: Analysis | None = None
    fineness_scheme: q.Name | None = None
    price: Price | None = None
    freight: Price | None = None
    spreading: Price | None = None
    minimum_load: q.Mass | None = None
    load_size: q.Mass | None = None
    bag: q.Mass | None = None
    supplier: q.Name | None = None
    density: Annotated[float, q.number(1, 5000, "lb per cubic yard")] | None = None
    harvest_interval: Annotated[int, q.count(0, 1000, "days before harvest")] | None = None

    @property
    def lb_per_gal(self) -> float | None:
        """Mass of a gallon [lb]; nominal where the analysis is per volume, so that it cancels."""
        if self.analysis is not None and self.analysis.by_volume:
            return NOMINAL_LB_PER_GAL
        return None if self.density is None else self.density / GAL_PER_YD3
