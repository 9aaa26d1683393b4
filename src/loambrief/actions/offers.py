"""Materials on offer, normalised: what one pound as sold supplies and costs.

Nothing here guesses an analysis: a material without the figure a need asks for cannot
meet that need.
"""

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from loambrief.actions import biosolids
from loambrief.actions.raw_manure import Wait, wait
from loambrief.agronomy.registry import Result
from loambrief.case.schema import CaseFile, Material
from loambrief.case.schema_materials import Price
from loambrief.topics.nutrients.formulas_manure import WATER_LB_PER_GAL
from loambrief.units import LB_PER_TON, PRICE_UNITS

ANALYSIS_NUTRIENTS: Mapping[str, str] = {
    "N": "n",
    "P2O5": "p2o5",
    "K2O": "k2o",
    "Ca": "calcium",
    "Mg": "magnesium",
    "S": "sulfur",
    "Zn": "zinc",
    "B": "boron",
    "Mn": "manganese",
    "Cu": "copper",
    "Fe": "iron",
    "Mo": "molybdenum",
    "Cl": "chloride",
}


BULKY = ("manure", "compost", "biosolids", "gypsum")
PUMPED = ("liquid", "slurry")
ORGANIC = ("manure", "biosolids", "compost")
"""Of these a gallon is taken to weigh what water does; a solution must state its density."""
GAL_PER_YD3 = 201.974
"""Gallons in a cubic yard, in which the case gives a density."""


def lb_per_gal(material: Material) -> float:
    """Pounds in a gallon of a liquid: from its density, else that of water."""
    return material.density / GAL_PER_YD3 if material.density else WATER_LB_PER_GAL


@dataclass(frozen=True)
class Offer:
    """A material with its price per lb and per acre."""

    material: Material
    per_lb: float | None
    """Product and freight [currency per lb as sold]; None if the case gives no price."""
    product_per_lb: float | None
    freight_per_lb: float | None
    """``product_per_lb``, ``freight_per_lb``: its two parts."""
    per_ac: float | None
    """Spreading or service [currency per ac]."""
    per_each: float | None
    price_date: dt.date | None
    most_lb_ac: float | None = None
    """Most of it in one pass [lb/ac as sold]: metals of biosolids."""
    metals: tuple[Result, ...] = ()
    """The yearly rates by metal that this limit is from."""
    committed_lb: float = 0.0
    """Spread in any case by own actions [lb]: the mix shares its loads."""
    wait: Wait | None = None
    """Days that must pass between it and the harvest."""
    content: Mapping[str, float] = field(default_factory=dict)
    """Nutrient -> times its stated content, where it is asked what an error of it would do."""
    days_to_harvest: int | None = None
    """Days left to a harvest that falls inside that interval: it may not be spread."""

    @property
    def id(self) -> str:
        return self.material.id

    @property
    def spread_in(self) -> tuple[str, float]:
        """Unit of its rate, and the pounds in one of it: gallons of what is pumped."""
        if self.material.kind in BULKY:
            if self.material.form in PUMPED:
                return "gal/ac", lb_per_gal(self.material)
            return "ton/ac", LB_PER_TON
        return "lb/ac", 1.0

    @property
    def package_lb(self) -> float | None:
        """Mass of the smallest unit sold [lb]: a whole load, else a bag; None if loose."""
        sold = self.material.load_size or self.material.bag
        return None if sold is None else sold.value

    @property
    def minimum_lb(self) -> float:
        """Least mass that is paid for [lb]."""
        least = self.material.minimum_load
        return 0.0 if least is None else least.value

    def ordered_lb(self, needed_lb: float) -> float:
        """Mass to order for a mass to spread: minimum load, whole loads or bags [lb]."""
        if needed_lb <= 0:
            return 0.0
        wanted = max(needed_lb, self.minimum_lb)
        if self.package_lb is None:
            return wanted
        return math.ceil(wanted / self.package_lb - 1e-6) * self.package_lb

    def fraction(self, nutrient: str) -> float:
        """Mass fraction of a nutrient as sold; 0 where the analysis does not state it."""
        analysis = self.material.analysis
        if analysis is None:
            return 0.0
        got = getattr(analysis, ANALYSIS_NUTRIENTS[nutrient])
        if nutrient == "N" and analysis.available_n is not None:
            got = analysis.available_n
        return got.value / 100 * self.content.get(nutrient, 1.0) if got is not None else 0.0


def _per_lb(price: Price | None, material: Material) -> float | None:
    if price is None:
        return None
    basis, size = PRICE_UNITS[_key(price.per)]
    if price.per == "bag":
        return None if material.bag is None else price.amount / material.bag.value
    pounds: float | None = None  # in one of what the size counts
    if basis == "mass":
        pounds = 1.0
    elif basis == "liquid":
        watery = material.form in PUMPED and material.kind in ORGANIC
        pounds = material.lb_per_gal or (lb_per_gal(material) if watery else None)
    elif basis == "volume":
        pounds = material.density
    return price.amount / (size * pounds) if pounds else None


def _per_ac(price: Price | None) -> float | None:
    if price is None:
        return None
    basis, size = PRICE_UNITS[_key(price.per)]
    return price.amount / size if basis == "area" else None


def _key(per: str) -> str:
    return "L" if per == "l" else per


def offer(material: Material) -> Offer:
    """Normalise one material."""
    product = _per_lb(material.price, material)
    freight = _per_lb(material.freight, material)
    spreading_ac = _per_ac(material.spreading)
    spreading_lb = _per_lb(material.spreading, material)
    if spreading_lb is not None:
        freight = (freight or 0.0) + spreading_lb
    service_ac = _per_ac(material.price)
    each = None
    if material.price is not None and PRICE_UNITS[_key(material.price.per)][0] == "each":
        each = material.price.amount
    return Offer(
        material=material,
        per_lb=None if product is None else product + (freight or 0.0),
        product_per_lb=product,
        freight_per_lb=freight,
        per_ac=spreading_ac if service_ac is None else service_ac + (spreading_ac or 0.0),
        per_each=each,
        price_date=material.price.date if material.price else None,
        most_lb_ac=biosolids.most_lb_ac(material),
        metals=biosolids.rates(material),
    )


def offers(case: CaseFile) -> tuple[Offer, ...]:
    """All materials of a case, in the order given."""
    return tuple(_for_harvest(case, offer(m)) for m in case.materials)


def _for_harvest(case: CaseFile, made: Offer) -> Offer:
    """The interval before the harvest, and the days left where they are too few."""
    waits = wait(case, made.material)
    left = (None if waits is None or waits.harvest is None or not waits.passed(case.case.date)
            else (waits.harvest - case.case.date).days)
    return replace(made, wait=waits, days_to_harvest=left)


def kind_of(all_offers: tuple[Offer, ...], *kinds: str) -> tuple[Offer, ...]:
    return tuple(o for o in all_offers if o.material.kind in kinds)


def service(all_offers: tuple[Offer, ...], does: str) -> Offer | None:
    """The cheapest offer that does a job (spreading, subsoiling, sampling...)."""
    able = [o for o in all_offers if o.material.does == does]
    return min(able, key=lambda o: (math.inf if o.per_ac is None else o.per_ac, o.id),
               default=None)
