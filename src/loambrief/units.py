"""Units: one table of dimensions, and quantities as typed by people.

Every quantity in a case is text with a unit (``"148 ppm"``, ``"<0.5 mg/kg"``). It is
converted once, here, to the house unit of its dimension and keeps what was typed for the
report. Inside the program numbers are floats in house units.

Factors are exact or the customary rounding of the National Institute of Standards and
Technology, Special Publication 811 (2008), Appendix B (from memory, unverified, except
those that follow from definitions).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from loambrief.errors import ImpossibleInput, UnknownName

KG_PER_LB = 0.45359237
G_PER_LB = 1000.0 * KG_PER_LB
LB_PER_KG = 1 / KG_PER_LB
LB_PER_TON = 2000.0
"""Pounds in a short ton."""
HA_PER_ACRE, FT2_PER_ACRE = 0.40468564224, 43_560.0
M2_PER_ACRE = 4046.8564224
KFT2_PER_ACRE = FT2_PER_ACRE / 1000.0
"""Thousands of square feet in an acre."""
ACRE_PER_HA = 1 / HA_PER_ACRE
KG_PER_HA_PER_LB_PER_ACRE = KG_PER_LB / HA_PER_ACRE  # 1.12085
T_PER_HA_PER_TON_PER_ACRE = KG_PER_HA_PER_LB_PER_ACRE * 2.0  # 2.24170 Mg/ha per short ton/ac
CM_PER_INCH, M_PER_FT = 2.54, 0.3048
MM_PER_INCH = 10.0 * CM_PER_INCH
KPA_PER_PSI = 6.894757
SLICE_LB = 2_000_000.0
"""Conventional mass of an acre furrow slice 6 2/3 in deep, lb."""
SLICE_DEPTH_IN = 20.0 / 3.0
IN3_PER_GAL = 231.0
GAL_PER_YD3 = 46656.0 / IN3_PER_GAL
"""A cubic yard in US gallons (definitions, as all above)."""
LB_PER_FT3_PER_G_CM3 = 62.42796
"""A cubic foot of what has 1 g/cm3."""
LITRE_PER_GAL = 3.785411784
NOMINAL_LB_PER_GAL = LITRE_PER_GAL * LB_PER_KG
"""Mass that stands for a gallon of liquid manure inside the program: 1 kg/L, whatever the true
density. Analysis per volume and rate in gallons use the same figure, so that it cancels."""
BY_VOLUME = ("lb/1000gal", "kg/m3")
"""Units of an analysis per volume of liquid."""

ATOMIC_MASS: Mapping[str, float] = MappingProxyType({"K": 39.0983, "N": 14.0067, "O": 15.9994})
"""Standard atomic weights [g/mol] (iupac-2007-weights)."""
P2O5_PER_P = 141.9445 / (2 * 30.97376)  # 2.2914
K2O_PER_K = 94.196 / (2 * ATOMIC_MASS["K"])  # 1.2046

EQUIVALENT_MG: Mapping[str, float] = MappingProxyType(
    {  # mg per meq = atomic or formula mass / charge
        "Ca": 40.078 / 2,
        "Mg": 24.305 / 2,
        "K": ATOMIC_MASS["K"],
        "Na": 22.98977,
        "H": 1.00794,
        "Al": 26.98154 / 3,
        "NH4": 18.0385,
        "CaCO3": 100.0869 / 2,
        "gypsum": 172.171 / 2,
        "S": 32.065 / 2,
        "Cl": 35.453,
        "HCO3": 61.0168,
        "CO3": 60.0089 / 2,
        "SO4": 96.0626 / 2,
        "NO3": 62.0049,
    }
)
"""Equivalent masses from the IUPAC standard atomic weights (2007 abridged), mg/meq."""


@dataclass(frozen=True)
class Dimension:
    """A kind of quantity: its house unit and the factor from each accepted unit to it."""

    name: str
    house: str
    factors: Mapping[str, float]
    lowest: float | None = 0.0
    highest: float | None = None
    offsets: Mapping[str, float] = field(default_factory=dict)
    contextual: tuple[str, ...] = ()
    """Units understood only with more context (lb/ac of a soil test needs the depth)."""

    @property
    def accepted(self) -> tuple[str, ...]:
        return tuple(self.factors) + self.contextual


def _dimension(name, house, factors, **more) -> Dimension:
    return Dimension(name, house, MappingProxyType({house: 1.0, **factors}), **more)


_KG_HA = 1 / KG_PER_HA_PER_LB_PER_ACRE
_T_HA = 1 / T_PER_HA_PER_TON_PER_ACRE

DIMENSIONS: Mapping[str, Dimension] = MappingProxyType(
    {
        d.name: d
        for d in (
            _dimension(
                "soil_concentration",
                "ppm",
                {"mg/kg": 1.0, "ug/g": 1.0, "g/kg": 1000.0},
                contextual=("lb/ac",),
                highest=1_000_000.0,
            ),
            _dimension("charge", "meq/100g", {"cmol/kg": 1.0, "cmolc/kg": 1.0, "mmol/kg": 0.1,
                                              "cmol(+)/kg": 1.0, "meq/100 g": 1.0}, highest=300.0),
            _dimension("percent", "%", {"percent": 1.0, "g/kg": 0.1, "g/100g": 1.0}, highest=100.0),
            _dimension("content", "%", {"percent": 1.0, "g/kg": 0.1, "g/100g": 1.0, "lb/ton": 0.05,
                                        "kg/t": 0.1, "kg/m3": 0.1,
                                        "lb/1000gal": 0.1 / NOMINAL_LB_PER_GAL}, highest=100.0),
            _dimension("neutralizing", "%", {"percent": 1.0}, highest=250.0),
            _dimension("conductivity", "dS/m", {"mmho/cm": 1.0, "mS/cm": 1.0, "uS/cm": 0.001,
                                                "mS/m": 0.01}, highest=300.0),
            _dimension("solution", "meq/L", {"mmolc/L": 1.0}, contextual=("mg/L", "ppm"),
                       highest=5000.0),
            _dimension("mg_per_litre", "mg/L", {"ppm": 1.0}, highest=1_000_000.0),
            _dimension("pressure", "psi", {"kPa": 1 / KPA_PER_PSI, "MPa": 1000 / KPA_PER_PSI,
                                           "bar": 100 / KPA_PER_PSI}, highest=3000.0),
            _dimension("depth", "in", {"cm": 1 / CM_PER_INCH, "mm": 0.1 / CM_PER_INCH, "ft": 12.0},
                       highest=240.0),
            _dimension("area", "ac", {"acre": 1.0, "acres": 1.0, "ha": ACRE_PER_HA,
                                      "ft2": 1 / FT2_PER_ACRE, "m2": ACRE_PER_HA / 10000.0},
                       highest=1_000_000.0),
            _dimension("temperature", "C", {"F": 5 / 9}, lowest=-60.0, highest=100.0,
                       offsets=MappingProxyType({"F": -32.0})),
            _dimension("brix", "Brix", {"Bx": 1.0, "°Bx": 1.0, "%": 1.0}, highest=85.0),
            _dimension("density", "g/cm3", {"Mg/m3": 1.0, "kg/m3": 0.001, "t/m3": 1.0},
                       highest=3.0),
            _dimension("rate", "lb/ac", {"kg/ha": _KG_HA, "ton/ac": LB_PER_TON,
                                         "t/ha": LB_PER_TON * _T_HA,
                                         "Mg/ha": LB_PER_TON * _T_HA, "oz/ac": 1 / 16.0,
                                         "lb/1000ft2": KFT2_PER_ACRE, "gal/ac": NOMINAL_LB_PER_GAL,
                                         "L/ha": _KG_HA, "m3/ha": 1000.0 * _KG_HA},
                       highest=10_000_000.0),
            _dimension("water_depth", "in", {"mm": 0.1 / CM_PER_INCH, "cm": 1 / CM_PER_INCH,
                                             "ft": 12.0}, highest=1000.0),
            _dimension("infiltration", "in/h", {"mm/h": 0.1 / CM_PER_INCH, "cm/h": 1 / CM_PER_INCH},
                       highest=200.0),
            _dimension("water_use", "in/d", {"mm/d": 0.1 / CM_PER_INCH,
                                               "in/day": 1.0, "mm/day": 0.1 / CM_PER_INCH},
                       highest=2.0),
            _dimension("plant_density", "/m2", {"plants/m2": 1.0, "/ft2": 10.7639,
                                                "plants/ft2": 10.7639}, highest=100_000.0),
            _dimension("mass", "lb", {"kg": LB_PER_KG, "ton": LB_PER_TON, "t": 1000.0 * LB_PER_KG,
                                      "cwt": 100.0, "gal": NOMINAL_LB_PER_GAL, "L": LB_PER_KG,
                                      "m3": 1000.0 * LB_PER_KG}, highest=100_000_000.0),
            _dimension("distance", "ft", {"m": 100 / CM_PER_INCH / 12, "yd": 3.0, "in": 1 / 12},
                       highest=100_000.0),
            _dimension("length", "in", {"cm": 1 / CM_PER_INCH, "mm": 0.1 / CM_PER_INCH,
                                        "ft": 12.0, "m": 100 / CM_PER_INCH}, highest=100_000.0),
        )
    }
)

YIELD_UNITS = ("bu/ac", "ton/ac", "t/ha", "kg/ha", "lb/ac", "cwt/ac", "bale/ac", "box/ac")
"""Units a yield goal may carry; the crop table turns mass into the crop's own unit."""

MASS_YIELDS: Mapping[str, float] = MappingProxyType(
    {"lb/ac": 1.0, "cwt/ac": 100.0, "ton/ac": LB_PER_TON, "kg/ha": _KG_HA, "t/ha": 1000 * _KG_HA})
"""Yield units that are masses, so that they hold for any crop, in lb/ac (definitions)."""

PRICE_UNITS: Mapping[str, tuple[str, float]] = MappingProxyType(
    {  # typed -> (basis, units of the basis per typed unit)
        "ton": ("mass", LB_PER_TON),
        "t": ("mass", 1000.0 * LB_PER_KG),
        "lb": ("mass", 1.0),
        "kg": ("mass", LB_PER_KG),
        "cwt": ("mass", 100.0),
        "yd3": ("volume", 1.0),
        "m3": ("volume", 1.307951),
        "ac": ("area", 1.0),
        "ha": ("area", ACRE_PER_HA),
        "gal": ("liquid", 1.0),
        "1000gal": ("liquid", 1000.0),
        "L": ("liquid", 1 / LITRE_PER_GAL),
        "each": ("each", 1.0),
        "bag": ("each", 1.0),
    }
)

_NUMBER = re.compile(
    r"^\s*(?P<censor>[<>])?\s*(?P<number>[+-]?(?:[1-9]\d{0,2}(?:,\d{3})+|\d*)(?:\.\d+)?(?:[eE][+-]?\d{1,3})?)"
    r"\s*(?P<unit>[^\d\s,.].*?)?\s*$"
)
_SPELLINGS = {"µ": "u", "μ": "u", "²": "2", "³": "3", "º": "°"}


@dataclass(frozen=True)
class Quantity:
    """A number in the house unit of its dimension, with what was typed."""

    value: float
    """In ``unit``. Where ``censor`` is ``"<"`` or ``">"`` it is the limit, not the value."""
    unit: str
    """House unit (or a contextual unit still waiting for its context)."""
    typed: str
    """As written in the case, for the report and the record."""
    censor: str | None = None
    """``"<"`` below the lab's limit, ``">"`` above its range, None for a plain value."""

    @property
    def plain(self) -> bool:
        """True if the value is a number rather than a limit."""
        return self.censor is None

    @property
    def typed_unit(self) -> str:
        """The unit as typed, without blanks and capitals; empty where none was typed."""
        try:
            return split_number(self.typed)[2].lower().replace(" ", "")
        except ImpossibleInput:
            return ""

    def scaled(self, factor: float, unit: str) -> Quantity:
        """Same typed text, value times ``factor`` in ``unit``."""
        return replace(self, value=self.value * factor, unit=unit)


def plain(quantity: Quantity | None) -> float | None:
    """The number of a quantity; None where there is none, or only a limit."""
    return quantity.value if quantity is not None and quantity.plain else None


def typed_unit(quantity: Quantity) -> str:
    """The unit as it was typed, without blanks and in one spelling."""
    return tidy_unit(split_number(quantity.typed)[2]).replace(" ", "")


def tidy_unit(text: str) -> str:
    """Fold spellings that differ only in character choice (µ, superscripts)."""
    for bad, good in _SPELLINGS.items():
        text = text.replace(bad, good)
    return text.strip()


def split_number(text: str) -> tuple[str | None, float, str]:
    """Split ``"<0.5 ppm"`` into censor sign, number and unit text.

    Raises
    ------
    ImpossibleInput
        No finite number in front.
    """
    match = _NUMBER.match(tidy_unit(text))
    if not match or not match["number"] or match["number"] in "+-.":
        raise ImpossibleInput(f"{text!r} does not start with a number")
    number = float(match["number"].replace(",", ""))
    if not math.isfinite(number):
        raise ImpossibleInput(f"{text!r} is not a finite number")
    return match["censor"], number, (match["unit"] or "").strip()


def find_unit(dimension: Dimension, unit: str) -> str:
    """Accepted spelling of ``unit`` in ``dimension``.

    Raises
    ------
    UnknownName
        Not a unit of that dimension.
    """
    unit = tidy_unit(unit)
    if unit in dimension.accepted:
        return unit
    folded = {name.lower().replace(" ", ""): name for name in dimension.accepted}
    key = unit.lower().replace(" ", "")
    if key in folded:
        return folded[key]
    raise UnknownName("unit", unit, dimension.accepted)


def to_house(dimension: Dimension, value: float, unit: str) -> tuple[float, str]:
    """Convert to the house unit; a contextual unit comes back unchanged."""
    if unit in dimension.contextual:
        return value, unit
    value = (value + dimension.offsets.get(unit, 0.0)) * dimension.factors[unit]
    return value, dimension.house


def parse(dimension_name: str, text: str) -> Quantity:
    """Read a quantity such as ``"148 ppm"``, ``"<0.5 mg/kg"`` or ``"1,250 lb/ac"``, in house units.

    Raises
    ------
    ImpossibleInput
        No number, no unit, or a value outside what the dimension can be.
    UnknownName
        The unit does not belong to the dimension.
    """
    dimension = DIMENSIONS[dimension_name]
    censor, number, unit_text = split_number(text)
    if not unit_text:
        wanted = ", ".join(dimension.accepted)
        raise ImpossibleInput(f"{text!r} has no unit; wanted one of {wanted}")
    unit = find_unit(dimension, unit_text)
    value, house = to_house(dimension, number, unit)
    if dimension.lowest is not None and value < dimension.lowest:
        raise ImpossibleInput(f"{text!r} is below {dimension.lowest:g} {dimension.house}")
    if dimension.highest is not None and house == dimension.house and value > dimension.highest:
        raise ImpossibleInput(f"{text!r} is above {dimension.highest:g} {dimension.house}")
    return Quantity(value=value, unit=house, typed=" ".join(text.split()), censor=censor)


def lb_ac_to_ppm(lb_ac: float, depth_in: float) -> float:
    """Soil-test lb/ac to ppm at the 2,000,000 lb per 6 2/3 in convention."""
    return lb_ac * SLICE_DEPTH_IN / (2.0 * depth_in)
