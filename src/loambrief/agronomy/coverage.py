"""Which guide covers which crop, nutrient and test, and why something is not judged."""

from dataclasses import dataclass
from enum import StrEnum

from loambrief.agronomy.crops import Crop, crops
from loambrief.agronomy.guides import ANY_CROP, Guide, known_guides
from loambrief.tables import load

MICRONUTRIENTS = "nutrients/micronutrients"


class Gap(StrEnum):
    """Why a nutrient is not judged; the value is a stable key."""

    NO_RULE_FOR_NUTRIENT = "no_rule_for_nutrient"
    NO_RULE_FOR_CROP = "no_rule_for_crop"
    METHOD_WITHOUT_RULE = "method_without_rule"
    NO_RATE_IN_GUIDE = "no_rate_in_guide"


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
        for crop in str(row["crops"]).split("|"):
            key = (row["scale"], crop, row["nutrient"], row["method"])
            regions = () if row["region"] == ANY_CROP else (row["region"],)
            before = scales.get(key)
            scales[key] = Covered(*key, rated or (before is not None and before.gives_rate),
                                  regions, row["how"])
    return tuple(dict.fromkeys([*found, *scales.values()]))


def covering(nutrient: str, crop: Crop | None = None,
             method: str | None = None) -> tuple[str, ...]:
    """Names of the guides and scales that answer for a nutrient, a crop and a method.

    Parameters
    ----------
    nutrient : str
        N, P2O5, K2O, S, Zn, ...
    crop : Crop or None
        Any crop where None.
    method : str or None
        Any method where None.
    """
    names = (ANY_CROP, *crop.lineage) if crop is not None else ()
    return tuple(dict.fromkeys(
        c.guide for c in coverage()
        if c.nutrient == nutrient and (crop is None or c.crop in names)
        and (method is None or c.method == method)
    ))


def methods_judged(nutrient: str, crop: Crop) -> tuple[str, ...]:
    """Test methods by which a nutrient is judged for a crop anywhere, in table order."""
    names = (ANY_CROP, *crop.lineage)
    return tuple(dict.fromkeys(
        c.method for c in coverage() if c.nutrient == nutrient and c.crop in names))


def gap(nutrient: str, crop: Crop, method: str | None, guide: Guide | None = None) -> Gap | None:
    """Why a guide, or for a micronutrient the scales, do not judge a soil test.

    Parameters
    ----------
    nutrient : str
        N, P2O5, K2O, Zn, B, Mn, Cu, Fe, ...
    method : str or None
        Method of the test; None where none is known.
    guide : Guide or None
        The chosen guide for P2O5 and K2O; None asks all that is held.

    Returns
    -------
    Gap or None
        None where it is judged and a rate is given.
    """
    here = [c for c in coverage() if c.nutrient == nutrient
            and (guide is None or c.guide == guide.name)]
    if not here:
        return Gap.NO_RULE_FOR_NUTRIENT
    here = [c for c in here if c.crop in (ANY_CROP, *crop.lineage)]
    if not here:
        return Gap.NO_RULE_FOR_CROP
    here = [c for c in here if c.method == method]
    if not here:
        return Gap.METHOD_WITHOUT_RULE
    return None if any(c.gives_rate for c in here) else Gap.NO_RATE_IN_GUIDE


def crops_without_guide() -> tuple[str, ...]:
    """Crops of the crop table that no guide covers for phosphorus nor potassium."""
    names = {c.crop for c in coverage() if c.nutrient in ("P2O5", "K2O")} - {ANY_CROP}
    return tuple(c.name for c in crops().values() if not names & set(c.lineage))
