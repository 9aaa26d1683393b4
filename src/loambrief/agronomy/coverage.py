"""Which guide covers which crop, nutrient and test."""

from dataclasses import dataclass

from loambrief.agronomy.crops import crops
from loambrief.agronomy.guides import ANY_CROP, known_guides
from loambrief.tables import load, parts

MICRONUTRIENTS = "nutrients/micronutrients"


@dataclass(frozen=True)
class Covered:
    """One line of the list: a guide answers for this crop, nutrient and test method."""

    guide: str
    """Name of the guide, or of the micronutrient scale."""
    crop: str
    """Name of the crop table, or ``"*"`` for every crop."""
    nutrient: str
    """P2O5, K2O, N, Zn, B, Mn, Cu or Fe."""
    method: str
    """Extraction method of the soil test; of a nitrogen rule what it is read with."""
    gives_rate: bool
    """False where it only says whether to apply."""
    regions: tuple[str, ...]
    """States it was written for; empty for a general scale."""
    how: str
    """How far its values were checked."""


def coverage() -> tuple[Covered, ...]:
    """Everything that is judged by a guide or a micronutrient scale, each once."""
    found = [
        Covered(guide.name, crop, rule.nutrient, method, rule.gives_rates, guide.regions, rule.how)
        for guide in known_guides().values()
        for rule in guide.rules
        for crop in rule.crops
        for method in rule.methods
    ]
    scales: dict[tuple[str, str, str, str], Covered] = {}
    for row in load(MICRONUTRIENTS):
        rated = row["broadcast_low"] is not None
        for crop in parts(row["crops"]):
            key = (row["scale"], crop, row["nutrient"], row["method"])
            regions = () if row["region"] == ANY_CROP else (row["region"],)
            before = scales.get(key)
            scales[key] = Covered(*key, rated or (before is not None and before.gives_rate),
                                  regions, row["how"])
    return tuple(dict.fromkeys([*found, *scales.values()]))


def crops_without_guide() -> tuple[str, ...]:
    """Crops of the crop table that no guide covers for phosphorus nor potassium."""
    names = {c.crop for c in coverage() if c.nutrient in ("P2O5", "K2O")} - {ANY_CROP}
    return tuple(c.name for c in crops().values() if not names & set(c.lineage))
