"""Structure of a guide file: what each part and each kind of rule may hold."""

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import Field

from loambrief.case import quantities as q
from loambrief.case.measurements import methods
from loambrief.case.schema import TEXTURES, Part
from loambrief.case.schema_plan import UK_SOILS

METHODS: Mapping[str, tuple[str, ...]] = {
    "P2O5": methods()["phosphorus"],
    "K2O": (*methods()["cations"], "field-moist"),
    "S": methods()["sulfur"],
    "Mg": methods()["cations"],
    "Zn": methods()["zinc"],
    "B": methods()["boron"],
    "Mn": methods()["manganese"],
    "Cu": methods()["copper"],
    "Fe": methods()["iron"],
    "Ca": methods()["cations"],
    "Mo": methods()["molybdenum"],
    "Cl": ("any",),  # a case names no extract of chloride
}
ANY_CROP = "*"
NITROGEN_CREDITS = ("nitrate", "organic_matter", "previous_crop", "manure", "water", "cover_crop")
"""What a nitrogen rule may take off, or may hold already."""
NITROGEN_TIMES = ("before", "topdress", "early spring", "cuttings", "stem extension")
SUPPLY_READINGS = ("nitrate_lb", "nitrate_ppm", "organic_matter", "index")
How = Literal["seen", "computed", "memory", "convention"]
Ppm = Annotated[float, q.number(0, 1_000_000, "a soil test in ppm")]
Lb = Annotated[float, q.number(0, 10_000, "pounds per acre")]
Credit = Annotated[str, q.choice(NITROGEN_CREDITS)]
Coefficient = Annotated[float, q.number(-100_000, 100_000, "a coefficient")]


class GuideSource(Part):
    """Where the guide comes from and how its values were checked."""

    title: q.Name
    reference: q.Text
    locator: q.Text | None = None
    how: How
    notes: q.Text | None = None


class GuideAbout(Part):
    """What the guide as a whole was made for."""

    regions: Annotated[list[q.Name], Field(min_length=1)]
    kind: q.Name
    depth_in: Annotated[float, q.number(1, 48, "a sampling depth in inches")]
    rotation: Literal["highest critical level"] | None = None
    interval_years: Annotated[
        float, q.number(1, 10, "the years until the next sample")] | None = None
    interval_reference: q.Text | None = None
    interval_how: How | None = None


class SoilTestClassEntry(Part):
    """One class: its lower bound and, if the guide gives one, its rate."""

    name: q.Name
    from_ppm: Ppm | None = None
    above_ppm: Ppm | None = None
    rate_lb: Lb | None = None
    low_lb: Lb | None = None
    high_lb: Lb | None = None
    lb_per_unit: Lb | None = None
    low_lb_per_unit: Lb | None = None
    high_lb_per_unit: Lb | None = None
    response_chance_pct: Annotated[float, q.number(0, 100, "a chance in percent")] | None = None

    @property
    def lower(self) -> float | None:
        return self.from_ppm if self.from_ppm is not None else self.above_ppm


class CecBandEntry(Part):
    """Levels for soils up to one cation exchange capacity; the last band has no upper end."""

    up_to_meq: Annotated[float, q.number(0, 300, "a CEC in meq/100 g")] | None = None
    critical_ppm: Ppm
    limit_ppm: Ppm


class RuleEntry(Part):
    """What every rule has."""

    crops: Annotated[list[q.Name], Field(min_length=1)]
    reference: q.Text | None = None
    locator: q.Text | None = None
    how: How | None = None
    how_of: dict[str, How] | None = None
    cap_lb_per_year: Lb | None = None


class TestRule(RuleEntry):
    """A rule that reads one soil test."""

    nutrient: Literal["P2O5", "K2O", "S", "Mg", "Ca", "Zn", "B", "Mn", "Cu", "Fe", "Mo", "Cl"]
    methods: Annotated[list[q.Name], Field(min_length=1)]


class BuildUpRule(TestRule):
    """Build-up below the critical level, removal up to the limit, then nothing or drawdown."""

    kind: Literal["build_up"]
    critical_ppm: Ppm | None = None
    critical_ppm_per_meq: Coefficient | None = None
    limit_ppm: Ppm | None = None
    limit_above_critical_ppm: Ppm | None = None
    by_cec: list[CecBandEntry] | None = None
    build_lb_per_ppm: Lb
    build_lb_per_ppm_per_meq: Lb | None = None
    extra_lb: Lb | None = None
    drawdown_ppm: Annotated[float, q.number(0.1, 10_000, "a span in ppm")] | None = None
    removal_lb_per_unit: dict[str, Lb]


class ClassesRule(TestRule):
    """One rate per class; ``critical_class`` is the first that needs no response-based rate."""

    kind: Literal["classes"]
    critical_class: q.Name
    classes: Annotated[list[SoilTestClassEntry], Field(min_length=2, max_length=12)]


class EquationRule(TestRule):
    """constant + per_yield Y + per_test T + per_yield_test Y T, nothing from the critical level."""

    kind: Literal["equation"]
    critical_ppm: Ppm
    constant: Coefficient | None = None
    per_yield: Coefficient | None = None
    per_test: Coefficient | None = None
    per_yield_test: Coefficient | None = None


class PointsRule(TestRule):
    """Rates at given soil-test values, straight lines between."""

    kind: Literal["points"]
    critical_ppm: Ppm
    test_ppm: Annotated[list[Ppm], Field(min_length=2, max_length=60)]
    rate_lb: Annotated[list[Lb], Field(min_length=2, max_length=60)]


class CriticalRule(TestRule):
    """A critical level without rates."""

    kind: Literal["critical"]
    critical_ppm: Ppm


class NitrogenRule(RuleEntry):
    """What every rule of nitrogen has: where it holds, and what is taken off or already in it."""

    nutrient: Literal["N"]
    when: Annotated[str, q.choice(NITROGEN_TIMES)] | None = None
    previous: Annotated[list[q.Name], Field(min_length=1)] | None = None
    irrigated: bool | None = None
    soil: Annotated[list[Annotated[str, q.choice(UK_SOILS)]], Field(min_length=1)] | None = None
    textures: Annotated[list[Annotated[str, q.choice(TEXTURES)]], Field(min_length=1)] | None = None
    takes_off: list[Credit] | None = None
    holds: list[Credit] | None = None
    previous_credit_lb: dict[str, Lb] | None = None
    previous_debit_lb: dict[str, Lb] | None = None
    nitrate_depth_in: Annotated[float, q.number(1, 72, "a sampling depth in inches")] | None = None
    nitrate_share: Annotated[float, q.number(0, 1, "a share from 0 to 1")] | None = None
    om_lb_pct: Lb | None = None
    om_least_pct: Annotated[float, q.number(0, 100, "a percentage")] | None = None
    om_most_pct: Annotated[float, q.number(0, 100, "a percentage")] | None = None


class YieldGoalRule(NitrogenRule):
    """base + per_yield Y, less what the soil and other sources bring."""

    kind: Literal["yield_goal"]
    base_lb: Coefficient | None = None
    per_yield_lb: Lb
    per_yield_high_lb: Lb | None = None


class SupplyClassEntry(Part):
    """One class of a table of nitrogen supply: its lower bound and its rate."""

    name: q.Name
    from_value: Annotated[float, q.number(0, 10_000, "a reading")]
    rate_lb: Lb | None = None
    low_lb: Lb | None = None
    high_lb: Lb | None = None


class SupplyRule(NitrogenRule):
    """A rate for each class of soil nitrogen; more for a yield above ``yield_at`` if stated."""

    kind: Literal["supply"]
    reads: Annotated[str, q.choice(SUPPLY_READINGS)]
    classes: Annotated[list[SupplyClassEntry], Field(min_length=2, max_length=12)]
    yield_at: Annotated[float, q.number(0, 100_000, "a yield")] | None = None
    per_yield_lb: Lb | None = None


class FlatRule(NitrogenRule):
    """One rate, or a range, for the crop."""

    kind: Literal["flat"]
    rate_lb: Lb | None = None
    low_lb: Lb | None = None
    high_lb: Lb | None = None


GuideRule = Annotated[
    BuildUpRule | ClassesRule | EquationRule | PointsRule | CriticalRule
    | YieldGoalRule | SupplyRule | FlatRule,
    Field(discriminator="kind"),
]


class GuideFile(Part):
    """A whole guide file."""

    source: GuideSource
    guide: GuideAbout
    rule: Annotated[list[GuideRule], Field(min_length=1, max_length=500)]
