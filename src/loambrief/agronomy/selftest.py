"""Published answers, one file per publication, and the check that we reproduce them.

A file ``<reference key>.toml``::

    reference = "moore-2025-em9585"

    [[check]]
    formula = "lime_requirement"
    inputs = {table = "sikora_oregon_2025", buffer_ph = 6.0, target_ph = 5.6, depth_in = 6}
    printed = "1.7"            # as printed: the tolerance is half of its last digit
    unit = "ton/ac"            # must equal the unit we answer in
    where = "table 1"
    how = "seen"               # seen | computed | memory | convention
    # tolerance = 0.02         # only with a reason
    # why = "printed from an unrounded acidity"
    # detail = "half_width"    # compare a named detail instead of the value
    # wrong = "91"             # negative check: a published slip we must NOT reproduce
    # refused = true           # negative check: must raise ImpossibleInput
"""

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from loambrief.agronomy.registry import get
from loambrief.errors import ImpossibleInput, LoambriefError
from loambrief.resources import published_dir

KINDS = {
    "worked": "worked answers, looked up in print",
    "table_row": "rows of our tables, read again in the print they were typed from",
    "computed": "computed independently from published values",
    "memory": "from memory, unverified",
    "convention": "conventions and definitions",
}
"""What an answer that is reproduced says about us, from most to least; words for the terminal."""

LOOKUPS = frozenset({
    "afgc_hay_grade", "autumn_rest_d", "available_water_capacity", "band_limit",
    "biosolids_concentration_limit", "biosolids_cumulative_limit", "biosolids_harvest_days",
    "boron_threshold", "brix_at_20c", "bulk_density_class", "carbon_clay_ratio",
    "carbon_respired_pct", "compaction_rating", "concentration_factor",
    "cover_crop_nitrogen_lb_ac", "cover_end_days_before", "cover_sowing_fit", "crop_removal",
    "crop_salt_threshold", "decay_effect", "expected_infiltration", "foliar_salt_limit",
    "forage_mineral_class", "forage_nitrate_class", "hay_loss_pct", "hay_weed_caution",
    "horse_sugar_caution", "infiltration_hazard", "intake_guidance_pct",
    "irrigation_water_treatment", "legume_credit_lb_ac", "lime_requirement",
    "lime_requirement_uk", "manure_setback_ft", "micronutrient_class", "micronutrient_response",
    "micronutrient_typical_rate", "nitrogen_rate_by_guide", "nitrogen_rate_economic",
    "nitrogen_rate_uk_cereal",
    "nitrogen_rate_uk_potato", "pasture_use_pct", "penetrometer_moisture_check",
    "permeability_class", "ph_suitability", "ph_target", "phosphorus_runoff_level",
    "raw_manure_interval", "residue_carbon_nitrogen", "salinity_class", "sample_age_class",
    "sap_nitrate_class", "secondary_nutrient_class", "seed_row_salt_limit", "sodicity_class",
    "soil_life_reading", "soil_test_class", "stalk_nitrate_class", "stand_height_in",
    "sulfur_rate", "sulfur_response", "sulfur_to_acidify", "summed_cec_reliability",
    "surface_calcium_gypsum", "tissue_class", "toxic_soil_level", "traditional_saturation",
    "usda_hay_grade", "water_restriction", "water_trace_limit", "weed_seed_alive_pct",
})
"""Formulas that find a row, a class or a value between two rows. Where the table they read is of
the print that a check quotes, the check shows that we typed and read it rightly, no more."""


@dataclass(frozen=True)
class Check:
    reference: str
    number: int
    formula: str
    inputs: Mapping[str, object]
    printed: str
    unit: str | None
    where: str
    how: str
    tolerance: float | None = None
    why: str = ""
    detail: str = ""
    wrong: str = ""
    refused: bool = False

    @property
    def label(self) -> str:
        return f"{self.reference} #{self.number} {self.formula}"

    @property
    def allowed(self) -> float:
        """Tolerance: the stated one, else half of the last printed digit."""
        return _half_digit(self.printed) if self.tolerance is None else self.tolerance


@dataclass(frozen=True)
class Outcome:
    check: Check
    passed: bool
    got: object
    message: str
    source: str = ""
    """Reference that the answer rests on."""

    @property
    def kind(self) -> str:
        """One of :data:`KINDS`."""
        check = self.check
        if check.how != "seen":
            return check.how
        same_print = check.refused or self.source == check.reference
        return "table_row" if check.formula in LOOKUPS and same_print else "worked"


def counted(outcomes: Iterable[Outcome]) -> dict[str, dict[str, int]]:
    """How many of each kind passed and failed; every kind is there."""
    counts = {kind: {"passed": 0, "failed": 0} for kind in KINDS}
    for outcome in outcomes:
        counts[outcome.kind]["passed" if outcome.passed else "failed"] += 1
    return counts


def load_checks(folder: Path | None = None) -> Iterator[Check]:
    """Every published answer that is shipped, by file name then order."""
    for path in sorted((folder or published_dir()).glob("*.toml")):
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
        for number, entry in enumerate(raw["check"], 1):
            yield Check(reference=raw["reference"], number=number,
                        **{"printed": "", "unit": None, **entry})


def run_check(check: Check) -> Outcome:
    try:
        result = get(check.formula).evaluate(**check.inputs)
    except ImpossibleInput as error:
        return Outcome(check, check.refused, None, str(error))
    except LoambriefError as error:
        return Outcome(check, False, None, str(error))
    if check.refused:
        return Outcome(check, False, result.value, "should have been refused", result.source)
    got = result.details[check.detail] if check.detail else result.value
    if check.unit is not None and not check.detail and result.unit != check.unit:
        return Outcome(check, False, got, f"unit {result.unit!r}, wanted {check.unit!r}",
                       result.source)
    if check.wrong:
        apart = abs(float(got) - float(check.wrong.replace(",", "")))
        passed = apart > _half_digit(check.wrong)
        return Outcome(check, passed, got, f"published slip {check.wrong}, ours {got}",
                       result.source)
    try:
        wanted = float(check.printed.replace(",", ""))
    except ValueError:
        return Outcome(check, got == check.printed, got, f"wanted {check.printed!r}, got {got!r}",
                       result.source)
    passed = got is not None and abs(float(got) - wanted) <= check.allowed * (1 + 1e-9)
    return Outcome(check, passed, got, f"printed {check.printed} +-{check.allowed:g}, got {got}",
                   result.source)


def _half_digit(printed: str) -> float:
    return 0.5 * 10.0 ** int(Decimal(printed.replace(",", "")).as_tuple().exponent)
