"""Pores, air and bulk density.

Shares of volume are in percent of the whole soil; water contents by mass are in percent of
oven-dry soil.
"""

from __future__ import annotations

from loambrief.agronomy.possible import NotNegative, Positive, positive
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import DataRow, load, parts
from loambrief.topics.compaction.formulas import constant

ORGANIC = ("muck", "peat")
DENSITY_CLASSES = ("ideal", "between ideal and affected", "may affect roots", "restricts roots")

PARTICLE_DENSITY = constant("particle_density")
"""Density of mineral soil particles [g/cm3]."""


def _solid(bulk_density_g_cm3: float, particle_density_g_cm3: float) -> None:
    positive(bulk_density_g_cm3=bulk_density_g_cm3, particle_density_g_cm3=particle_density_g_cm3)
    if bulk_density_g_cm3 > particle_density_g_cm3:
        raise ImpossibleInput(
            f"bulk density {bulk_density_g_cm3:g} is above particle density "
            f"{particle_density_g_cm3:g}: there would be no pores"
        )


@formula(unit="%", source="ucdavis-ssc100-ps1", locator="problem 6", how="seen",
         valid={"bulk_density_g_cm3": (0.1, 2.1), "particle_density_g_cm3": (2.4, 2.9)})
def porosity_pct(
    bulk_density_g_cm3: float, particle_density_g_cm3: float = PARTICLE_DENSITY
) -> float:
    """Total pore space of soil.

    Parameters
    ----------
    bulk_density_g_cm3 : float
        Oven-dry mass over whole volume [g/cm3].
    particle_density_g_cm3 : float
        Density of the solids [g/cm3]; 2.65 for mineral soil.

    Notes
    -----
    100 (1 - bulk density / particle density). Organic soils have lighter particles; the
    default does not hold for muck and peat.
    """
    _solid(bulk_density_g_cm3, particle_density_g_cm3)
    return 100.0 * (1.0 - bulk_density_g_cm3 / particle_density_g_cm3)


@formula(unit="g/cm3", source="ucdavis-ssc100-ps1", locator="problems 1 and 2", how="seen",
         valid={"water_pct": (0.0, 60.0)})
def bulk_density_g_cm3(mass_g: Positive, volume_cm3: Positive,
                       water_pct: NotNegative = 0) -> Answer:
    """Bulk density of a core or clod, from its mass moist or dry.

    Parameters
    ----------
    mass_g : float
        Mass as weighed [g].
    volume_cm3 : float
        Volume in the field [cm3].
    water_pct : float
        Water in it [% of oven-dry mass]; 0 if it was dried.

    Returns
    -------
    float
        Oven-dry mass over volume [g/cm3]; ``details`` hold ``dry_mass_g``.

    Notes
    -----
    Dry mass = mass / (1 + water / 100). Subtracting the percentage instead is a common
    slip; the published problem set prints one such step beside the right answer.
    """
    dry = mass_g / (1.0 + water_pct / 100.0)
    return Answer(dry / volume_cm3, details={"dry_mass_g": dry})


@formula(unit="g/cm3", source="ucdavis-ssc100-ps1", locator="problem 9", how="seen")
def particle_density_g_cm3(bulk_density_g_cm3: Positive, porosity_pct: float) -> float:
    """Density of the solids from bulk density and pore space.

    Parameters
    ----------
    bulk_density_g_cm3 : float
        Bulk density [g/cm3].
    porosity_pct : float
        Pores [% of volume], e.g. from the water of a saturated core.

    Raises
    ------
    ImpossibleInput
        A density at or below zero, or pores outside 0 to 100 %.

    Notes
    -----
    Bulk density / (1 - porosity / 100).
    """
    if not 0 <= porosity_pct < 100:
        raise ImpossibleInput(f"porosity_pct is 0 to 100 (found {porosity_pct:g})")
    return bulk_density_g_cm3 / (1.0 - porosity_pct / 100.0)


def _water(bulk_density: float, water_pct: float) -> float:
    if water_pct < 0:
        raise ImpossibleInput(f"water_pct cannot be negative (found {water_pct:g})")
    return water_pct * bulk_density


@formula(unit="%", source="grable-siemer-1968", locator="limit of 10 %", how="memory",
         valid={"bulk_density_g_cm3": (0.1, 2.1), "water_pct": (0.0, 150.0)})
def air_filled_porosity_pct(
    bulk_density_g_cm3: float, water_pct: float, particle_density_g_cm3: float = PARTICLE_DENSITY
) -> Answer:
    """Pores that hold air.

    Parameters
    ----------
    bulk_density_g_cm3 : float
        Bulk density [g/cm3].
    water_pct : float
        Water [% of oven-dry mass] when the core was taken.
    particle_density_g_cm3 : float
        Density of the solids [g/cm3].

    Returns
    -------
    float
        Air [% of volume]; ``details`` hold ``porosity_pct``, ``water_volume_pct`` and
        ``below_limit``. A value below zero is shown as zero and flagged.

    Notes
    -----
    Porosity minus water by volume. Below 10 % roots may run short of oxygen: a warning line, not a
    proof, for no single figure holds for all soils (cook-knight-2003). Water beyond the pore space
    means a wrong density or water content, or soil that swells. Sources: grable-siemer-1968 for the
    limit (from memory); cook-knight-2003.
    """
    _solid(bulk_density_g_cm3, particle_density_g_cm3)
    pores = 100.0 * (1.0 - bulk_density_g_cm3 / particle_density_g_cm3)
    water = _water(bulk_density_g_cm3, water_pct)
    air = pores - water
    fits = air >= 0
    return Answer(
        max(air, 0.0),
        notes=() if fits else ("more water than pores: check density and water content",),
        details={"porosity_pct": pores, "water_volume_pct": water,
                 "below_limit": air < constant("air_limit")},
        within_range=fits,
    )


@formula(unit="%", source="linn-doran-1984", locator="abstract", how="seen",
         valid={"bulk_density_g_cm3": (0.1, 2.1), "water_pct": (0.0, 150.0)})
def water_filled_pore_space_pct(
    bulk_density_g_cm3: float, water_pct: float, particle_density_g_cm3: float = PARTICLE_DENSITY
) -> Answer:
    """Share of the pores that is full of water.

    Parameters
    ----------
    bulk_density_g_cm3 : float
        Bulk density [g/cm3].
    water_pct : float
        Water [% of oven-dry mass].
    particle_density_g_cm3 : float
        Density of the solids [g/cm3].

    Raises
    ------
    ImpossibleInput
        A density at or below zero, no pores, or a negative water content.

    Notes
    -----
    Water by volume / porosity. Microbes that need air worked fastest at 60 %; above it
    denitrification sets in.
    """
    _solid(bulk_density_g_cm3, particle_density_g_cm3)
    pores = 100.0 * (1.0 - bulk_density_g_cm3 / particle_density_g_cm3)
    if pores == 0:
        raise ImpossibleInput("no pores to fill: bulk density equals particle density")
    share = 100.0 * _water(bulk_density_g_cm3, water_pct) / pores
    fits = share <= 100.0
    return Answer(min(share, 100.0),
                  notes=() if fits else ("more water than pores: check density and water content",),
                  within_range=fits)


@formula(unit="class", source="nrcs-bulk-density-mn", locator="table by texture", how="seen",
         valid={"bulk_density_g_cm3": (0.5, 2.1)})
def bulk_density_class(bulk_density_g_cm3: Positive, texture: str) -> Answer:
    """What a bulk density means for roots in soil of this texture.

    Parameters
    ----------
    bulk_density_g_cm3 : float
        Bulk density [g/cm3].
    texture : str
        USDA texture class.

    Returns
    -------
    str or None
        ``ideal``, ``between ideal and affected``, ``may affect roots`` or ``restricts
        roots`` [class]; ``details`` hold the limits used and ``milder`` where a second
        printed line says otherwise. None for muck and peat.

    Raises
    ------
    UnknownName
        Not a texture class.

    Notes
    -----
    Loam, silt loam and clay loam stand in two printed lines that overlap; the stricter one
    is answered and the other named. The step "between" is ours: the source gives three
    limits and leaves the room between the first two without a name.
    """
    if texture in ORGANIC:
        return Answer(None, notes=(f"no limits are published for {texture}",), within_range=False)
    rows = [r for r in load("compaction/bulk_density") if texture in parts(r["textures"])]
    if not rows:
        raise UnknownName("texture", str(texture), _textures())
    judged = sorted(rows, key=lambda r: _density_step(r, bulk_density_g_cm3))
    strict, mild = judged[-1], judged[0]
    found = DENSITY_CLASSES[_density_step(strict, bulk_density_g_cm3)]
    milder = DENSITY_CLASSES[_density_step(mild, bulk_density_g_cm3)]
    notes = (f"the line for {mild['line']} would say: {milder}",) if milder != found else ()
    return Answer(
        found,
        notes=notes,
        details={"line": strict["line"], "ideal_below": strict["ideal_below"],
                 "affects_from": strict["affects_from"],
                 "restricts_above": strict["restricts_above"],
                 "milder": milder if milder != found else None},
    )


def _textures() -> tuple[str, ...]:
    rows = load("compaction/bulk_density")
    return tuple(dict.fromkeys(t for r in rows for t in parts(r["textures"])))


def _density_step(row: DataRow, density: float) -> int:
    if density > row["restricts_above"]:
        return 3
    if density >= row["affects_from"]:
        return 2
    return 0 if density < row["ideal_below"] else 1
