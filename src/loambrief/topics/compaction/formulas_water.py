"""How fast water goes in: ring tests, permeability classes, what a texture leads one to expect."""

from __future__ import annotations

from loambrief.agronomy.possible import NotNegative, Positive
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import UnknownName
from loambrief.tables import load, parts
from loambrief.units import MM_PER_INCH

ORGANIC = ("muck", "peat")


def _textures() -> tuple[str, ...]:
    rows = load("compaction/infiltration_by_soil")
    return tuple(t for r in rows for t in parts(r["textures"]))


@formula(unit="in/h", source="nrcs-soil-quality-kit", locator="infiltration test", how="memory",
         valid={"water_in": (0.5, 2.0), "minutes": (0.1, 600.0)})
def ring_infiltration_rate(minutes: Positive, water_in: Positive = 1) -> float:
    """Infiltration rate from the time a known depth of water takes to go into a ring.

    Parameters
    ----------
    minutes : float
        Time until the surface just glistens [min].
    water_in : float
        Water poured in [in]; 1 in by the usual method.

    Notes
    -----
    60 x depth / minutes. The first inch mostly wets the soil; the second inch in the same ring is
    nearer to a steady rate. One ring is one point, and rings a few steps apart often differ
    twofold. Sources: nrcs-soil-quality-kit (method from memory, unverified; arithmetic).
    """
    return 60.0 * water_in / minutes


@formula(unit="class", source="usepa-1981-land-treatment", locator="permeability classes",
         how="seen", valid={"rate_in_h": (0.0, None)})
def permeability_class(rate_in_h: NotNegative) -> Answer:
    """Permeability class of a steady, saturated rate.

    Parameters
    ----------
    rate_in_h : float
        Rate [in/h].

    Returns
    -------
    str
        ``very slow`` to ``very rapid`` [class]; ``details`` hold the class limits [in/h].

    Notes
    -----
    A rate on a limit belongs to the faster class.
    """
    row = [r for r in load("compaction/permeability_classes") if rate_in_h >= r["low_in_h"]][-1]
    return Answer(row["permeability"],
                  details={"low_in_h": row["low_in_h"], "high_in_h": row["high_in_h"]})


@formula(unit="in/h", source="hillel-1982", locator="steady rates", how="seen")
def expected_infiltration(texture: str) -> Answer:
    """Steady infiltration rate to expect of bare, wetted soil of this texture.

    Parameters
    ----------
    texture : str
        USDA texture class.

    Returns
    -------
    float or None
        Lower end of the published range [in/h]; ``details`` hold ``low_in_h``,
        ``high_in_h`` (None if open) and ``soil``. None for muck and peat.

    Raises
    ------
    UnknownName
        Not a texture class.

    Notes
    -----
    Published in mm/h for five kinds of soil; which texture class goes where is our choice. Good
    structure, roots and worm holes carry far more, a crust far less. Sources: hillel-1982, as
    copied in course notes.
    """
    if texture in ORGANIC:
        return Answer(None, notes=(f"no rate is published for {texture}",), within_range=False)
    for row in load("compaction/infiltration_by_soil"):
        if texture in parts(row["textures"]):
            high = row["high_mm_h"]
            return Answer(
                row["low_mm_h"] / MM_PER_INCH,
                details={"low_in_h": row["low_mm_h"] / MM_PER_INCH,
                         "high_in_h": None if high is None else high / MM_PER_INCH,
                         "soil": row["soil"]},
            )
    raise UnknownName("texture", str(texture), _textures())
