"""Compost recipes: moisture and C:N of a mix, and how much of each material to take."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loambrief.agronomy.possible import NotNegative
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import DataRow, load

KEYS = ("name", "mass", "moisture_pct", "carbon_pct", "nitrogen_pct", "cn_ratio")
WATER = {"name": "water", "moisture_pct": 100.0, "carbon_pct": 0.0, "nitrogen_pct": 0.0}
MOST_CARBON_PCT = 120.0
"""Carbon let through. Above 100 % cannot be, but handbook means of nitrogen and of C:N come
from different samples, and their product may pass 100 (sawdust: 0.24 % at 442:1)."""


def _number(material: DataRow, key: str, least: float = 0.0,
            most: float = 100.0) -> float:
    try:
        value = float(material[key])
    except KeyError:
        raise ImpossibleInput(f"a material lacks {key}") from None
    except (TypeError, ValueError):
        raise ImpossibleInput(f"{key} must be a number (found {material[key]!r})") from None
    if not least <= value <= most:
        raise ImpossibleInput(f"{key} must be from {least:g} to {most:g} (found {value:g})")
    return value


def _material(raw: object, with_mass: bool) -> dict[str, float]:
    """Mass, moisture and the carbon and nitrogen of the dry matter, checked."""
    if not isinstance(raw, Mapping):
        raise ImpossibleInput("each material is a mapping with mass, moisture_pct, carbon_pct "
                              "(or cn_ratio) and nitrogen_pct")
    unknown = sorted(set(raw) - set(KEYS))
    if unknown:
        raise UnknownName("key of a material", str(unknown[0]), KEYS)
    nitrogen = _number(raw, "nitrogen_pct")
    if "carbon_pct" in raw:
        carbon = _number(raw, "carbon_pct", 0.0, MOST_CARBON_PCT)
    else:
        carbon = nitrogen * _number(raw, "cn_ratio", 0.0, 2000.0)
        if carbon > MOST_CARBON_PCT:
            raise ImpossibleInput(f"nitrogen_pct and cn_ratio give {carbon:g} % carbon")
    moisture = _number(raw, "moisture_pct")
    dry = 1.0 - moisture / 100.0
    found = {"moisture": moisture, "carbon": carbon / 100.0 * dry,
             "nitrogen": nitrogen / 100.0 * dry, "carbon_pct": carbon}
    if with_mass:
        found["mass"] = _number(raw, "mass", 0.0, 1e12)
    return found


def _listed(materials: object) -> list:
    if isinstance(materials, Mapping):
        return [materials]
    if not isinstance(materials, Sequence) or isinstance(materials, str) or not materials:
        raise ImpossibleInput("materials must be a list of mappings, at least one")
    return list(materials)


def _possible(*parts: dict[str, float]) -> bool:
    """False where a material's stated carbon passes 100 %: the answer is then flagged."""
    return all(part["carbon_pct"] <= 100.0 for part in parts)


def _mix(parts: list[dict[str, float]]) -> tuple[float, float, float, float]:
    """Mass, moisture share, carbon and nitrogen of a mix."""
    mass = sum(p["mass"] for p in parts)
    water = sum(p["mass"] * p["moisture"] / 100.0 for p in parts)
    carbon = sum(p["mass"] * p["carbon"] for p in parts)
    nitrogen = sum(p["mass"] * p["nitrogen"] for p in parts)
    return mass, water, carbon, nitrogen


def compost_notes(ratio: float, moisture_pct: float) -> tuple[str, ...]:
    """What the published targets say of a mix, in words."""
    notes = []
    for name, value, words in (("cn_ratio", ratio, "C:N"), ("moisture_pct", moisture_pct,
                                                            "moisture")):
        row = load("carbon_nitrogen/compost_targets").find(property=name)
        value = round(value, 1)
        if row["ideal_low"] <= value <= row["ideal_high"]:
            state = "in the ideal range"
        elif row["acceptable_low"] <= value <= row["acceptable_high"]:
            state = "acceptable, outside the ideal range"
        else:
            state = "outside the acceptable range"
        notes.append(f"{words} {value:.0f}: {state} ({row['acceptable_low']:g} to "
                     f"{row['acceptable_high']:g}, ideal {row['ideal_low']:g} to "
                     f"{row['ideal_high']:g})")
    return tuple(notes)


@formula(unit="as mass", source="cornell-moisture", locator="two materials", how="seen")
def mix_mass_for_moisture(mass: NotNegative, moisture_pct: float, added_moisture_pct: float,
                          target_pct: float) -> float:
    """Mass of a second material that brings a mix to a wanted moisture.

    Parameters
    ----------
    mass : float
        First material as it is, moist [any mass unit].
    moisture_pct : float
        Its moisture [% of the moist mass].
    added_moisture_pct : float
        Moisture of the second material [%].
    target_pct : float
        Moisture wanted [%].

    Raises
    ------
    ImpossibleInput
        A percentage outside 0 to 100, a negative mass, or a target that does not lie between
        the two moistures (no mix can reach it).

    Notes
    -----
    Q2 = Q1 (M - m1) / (m2 - M).
    """
    for name, value in (("moisture_pct", moisture_pct), ("added_moisture_pct", added_moisture_pct),
                        ("target_pct", target_pct)):
        if not 0 <= value <= 100:
            raise ImpossibleInput(f"{name} must be from 0 to 100 (found {value:g})")
    if moisture_pct == target_pct:
        return 0.0
    if (target_pct - moisture_pct) * (added_moisture_pct - target_pct) <= 0:
        raise ImpossibleInput(
            f"{target_pct:g} % does not lie between {moisture_pct:g} and {added_moisture_pct:g} %: "
            "no mix of the two reaches it"
        )
    return mass * (target_pct - moisture_pct) / (added_moisture_pct - target_pct)


@formula(unit="1", source="cornell-cn-ratio", locator="C/N of a mix", how="computed")
def blend_carbon_nitrogen(materials: list) -> Answer:
    """C:N and moisture of a mix of moist materials.

    Parameters
    ----------
    materials : list of mapping
        Each with ``mass`` (moist, any one unit), ``moisture_pct`` (of the moist mass),
        ``carbon_pct`` and ``nitrogen_pct`` (of dry matter); ``cn_ratio`` may stand in for
        ``carbon_pct``; ``name`` is optional.

    Returns
    -------
    float
        C:N of the mix [1]; ``details`` hold ``mass``, ``moisture_pct``, ``carbon_mass`` and
        ``nitrogen_mass``.

    Raises
    ------
    ImpossibleInput
        Not a list of mappings, a missing or impossible number, no mass or no nitrogen at all.
    UnknownName
        A key that is none of these.

    Notes
    -----
    R = sum Q C (1 - m) / sum Q N (1 - m). Ratios themselves must not be averaged by mass. A
    material whose nitrogen and C:N multiply to more than 100 % carbon (handbook means do) is let
    through up to 120 % and flagged. The notes hold the published targets for a starting compost.
    Sources: rynk-1992-nraes54; cooperband-2002 (targets).
    """
    parts = [_material(raw, with_mass=True) for raw in _listed(materials)]
    mass, water, carbon, nitrogen = _mix(parts)
    if mass <= 0 or nitrogen <= 0:
        raise ImpossibleInput("the mix holds no mass or no nitrogen")
    ratio, moisture = carbon / nitrogen, 100.0 * water / mass
    return Answer(ratio, notes=compost_notes(ratio, moisture), within_range=_possible(*parts),
                  details={"mass": mass, "moisture_pct": moisture, "carbon_mass": carbon,
                           "nitrogen_mass": nitrogen})


@formula(unit="as mass", source="cornell-simultaneous", locator="two unknown masses", how="seen")
def compost_recipe(materials: list, target_ratio: float, target_moisture_pct: float) -> Answer:
    """Masses of two further materials that bring a mix to a wanted C:N and moisture at once.

    Parameters
    ----------
    materials : list of mapping
        Two or three, as for :func:`blend_carbon_nitrogen`; only the first needs ``mass``. With
        two, water is the third.
    target_ratio : float
        C:N wanted [1].
    target_moisture_pct : float
        Moisture wanted [% of the moist mass].

    Returns
    -------
    float
        Mass of the second material [same unit as the first]; ``details`` hold ``second``,
        ``third`` and the ``total``.

    Raises
    ------
    ImpossibleInput
        Not two or three materials, an impossible number, or targets that no mix of them
        reaches (a mass would come out negative).
    UnknownName
        A key that is not one of a material's.

    Notes
    -----
    Two linear equations, carbon balance and water balance, for two unknown masses. Water
    changes the moisture and not the C:N; it cannot make a wet mix drier.
    """
    raw = _listed(materials)
    if len(raw) == 2:
        raw = [*raw, WATER]
    if len(raw) != 3:
        raise ImpossibleInput("compost_recipe takes two or three materials")
    if target_ratio <= 0 or not 0 < target_moisture_pct < 100:
        raise ImpossibleInput("target_ratio must be above 0 and target_moisture_pct from 0 to 100")
    first = _material(raw[0], with_mass=True)
    second, third = (_material({k: v for k, v in m.items() if k != "mass"}, with_mass=False)
                     for m in raw[1:])

    def surplus(part: dict[str, float]) -> tuple[float, float]:
        return (part["carbon"] - target_ratio * part["nitrogen"],
                part["moisture"] - target_moisture_pct)

    (c1, w1), (c2, w2), (c3, w3) = surplus(first), surplus(second), surplus(third)
    determinant = c2 * w3 - c3 * w2
    if determinant == 0:
        raise ImpossibleInput("the second and third material cannot set both targets apart")
    mass = first["mass"]
    q2 = mass * (-c1 * w3 + c3 * w1) / determinant
    q3 = mass * (-c2 * w1 + c1 * w2) / determinant
    if min(q2, q3) < -1e-9 * max(mass, 1.0):
        raise ImpossibleInput("no mix of these materials reaches both targets")
    q2, q3 = max(q2, 0.0), max(q3, 0.0)
    return Answer(q2, within_range=_possible(first, second, third),
                  details={"second": q2, "third": q3, "total": mass + q2 + q3})
