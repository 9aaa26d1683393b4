"""Salt and sodium in soil and water: findings, needs in the order of work, what is missing."""

from dataclasses import dataclass

from loambrief.case.schema import CaseFile
from loambrief.findings.crop_kinds import known_crop
from loambrief.findings.model import Assessment, Missing, Place, Said, gathered, lacks
from loambrief.topics.salinity.boron import boron_finding
from loambrief.topics.salinity.formulas import constant as salt_constant
from loambrief.topics.salinity.formulas_sodicity import constant as sodium_constant
from loambrief.topics.salinity.needs import POOR_DRAINAGE, ROOT_DEPTH_IN
from loambrief.topics.salinity.sodium import sodium_finding
from loambrief.topics.salinity.soil import HIGH_PH, salt_findings
from loambrief.topics.salinity.state import SaltState, irrigated, leached_for, salt_state
from loambrief.topics.salinity.water import water_findings


def assess(case: CaseFile) -> Assessment:
    """Findings on salinity and sodicity of every sample and of the irrigation water."""
    said: list[Said] = []
    crop = leached_for(case)
    for sample in case.samples:
        state = salt_state(sample)
        said += [*salt_findings(case, state), sodium_finding(case, state, crop),
                 boron_finding(case, sample), *_missing(case, state)]
    return gathered([*said, *_chloride(case), *water_findings(case)])


def _relevant(case: CaseFile, state: SaltState) -> bool:
    """Salt is worth asking about: irrigated land, or an alkaline sample."""
    return irrigated(case) or _alkaline(state)


def _missing(case: CaseFile, state: SaltState) -> list[Missing]:
    found = []
    has_ec = any(s.increment.ec is not None for s in state.slices)
    if has_ec and state.root_ece is None and not (state.main and state.main.bound):
        found.append(lacks("salinity.missing_texture", where=state.place))
    if not has_ec and _relevant(case, state):
        found.append(lacks("salinity.missing_ec", where=state.place))
    salty = state.root_ece is not None and state.root_ece >= salt_constant("salty_soil_limit")
    deepest = max((s.increment.bottom_in for s in state.slices if s.ece is not None), default=0.0)
    if salty and deepest < ROOT_DEPTH_IN:
        found.append(lacks("salinity.missing_deep_salt", where=state.place, top_in=deepest,
                           bottom_in=ROOT_DEPTH_IN))
    seen = case.observations and case.observations.water_table
    if salty and case.field.drainage in POOR_DRAINAGE and not seen:
        found.append(lacks("salinity.missing_water_table", where=state.place,
                           drainage=case.field.drainage))
    if not state.esps and (salty or (_relevant(case, state) and _alkaline(state))):
        found.append(lacks("salinity.missing_sodium", where=state.place))
    return found


def _chloride(case: CaseFile) -> list[Missing]:
    """No limit of chloride in the soil is held for any crop or rootstock: leaves would tell."""
    read = any(i.chloride is not None or (i.extract and i.extract.chloride is not None)
               for s in case.samples for i in s.increments)
    crop = known_crop(case.field.crop)
    return [lacks("salinity.missing_chloride", crop=case.field.crop,
                  rooted=crop is not None and crop.group == "fruit")] if read else []


def _alkaline(state: SaltState) -> bool:
    return any((s.increment.ph or 0) >= HIGH_PH for s in state.slices)


@dataclass(frozen=True)
class SalinityPlane:
    """What a chart of salt against sodium needs."""

    points: tuple[tuple[Place, float | None, float | None, bool], ...]
    """Tuple of (place, ECe or None, ESP or None, estimated): One per sample; ``estimated`` where
    either axis is not measured directly."""
    ece_limit: float
    esp_limit: float
    """``ece_limit``, ``esp_limit``: class limits [dS/m, %]."""
    crop: str | None
    """Crop whose threshold is drawn."""
    crop_threshold: float | None
    """[dS/m]."""


def plane(case: CaseFile) -> SalinityPlane | None:
    """Points for the salt and sodium chart; None where no sample has both."""
    points = []
    for sample in case.samples:
        state = salt_state(sample)
        esp = state.esp
        if state.root_ece is None and esp is None:
            continue
        points.append((state.place, state.root_ece, esp.value if esp else None,
                       state.converted or (esp is not None and esp.kind != "measured")))
    if not any(ece is not None and sodium is not None for _, ece, sodium, _ in points):
        return None
    crop = leached_for(case)
    return SalinityPlane(tuple(points), sodium_constant("saline_ece"),
                         sodium_constant("sodic_esp"), crop.crop if crop else None,
                         crop.threshold if crop else None)
