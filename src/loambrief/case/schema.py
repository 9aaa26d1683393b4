"""What a case file may hold. Strict: unknown keys are refused, nothing is coerced.

Pydantic models in the order a consultant fills them in. Values are in house units (ppm,
meq/100g, dS/m, psi, in, ac); each :class:`~loambrief.units.Quantity` keeps what was typed.
Anything optional that is absent is None and stays None: missing is never zero.
"""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Literal, Self

from pydantic import Field, PrivateAttr

from loambrief.case import quantities as q
from loambrief.case.measurements import methods
from loambrief.case.part import Part
from loambrief.case.schema_farm import CheckStrips, Constraints, Tenure, TreatedPart
from loambrief.case.schema_materials import MATERIAL_KINDS, Analysis, Material
from loambrief.case.schema_plan import CoverCrop, Nitrogen, NitrogenInputs, OwnAction, PlanChange
from loambrief.case.schema_stock import Stock
from loambrief.case.schema_tests import Forage, TissueTest, Water
from loambrief.units import Quantity

TEXTURES = ("sand", "loamy sand", "sandy loam", "fine sandy loam", "loam", "silt loam", "silt",
            "sandy clay loam", "clay loam", "silty clay loam", "sandy clay", "silty clay", "clay",
            "muck", "peat")
LANGUAGES = ("en", "es", "es-US", "es-MX", "es-ES")
"""Language tags of an advisory: the language, and the country whose numbers and dates it has."""
MOISTURES = ("dry", "slightly moist", "moist", "field capacity", "wet")
RESIDUES = ("brushed off", "left on", "none present")
FIZZES = ("none", "very slight", "slight", "strong", "violent")
LIFE_TESTS = ("active_carbon", "respiration", "aggregate_stability")
"""Tests of soil life that a sample can be sent for; the keys of their results."""
CONES = ("large 20.27 mm", "small 12.83 mm", "other")
LB_AC = ("two_times_ppm", "true_depth")
QUESTIONS = ("why_weeds", "did_lime_work", "can_compost_fix", "lime_or_gypsum", "why_poor_spot",
             "what_first", "what_is_needed", "is_it_compacted", "is_it_salt", "is_ph_right",
             "is_test_good", "is_stock_at_risk", "is_water_good", "where_may_manure_go", "other")
ABOUT = ("nitrogen", "phosphorus", "potassium", "sulfur", "calcium", "magnesium", "zinc", "boron",
         "manganese", "copper", "iron", "lime", "gypsum")
"""Nutrients and amendments that a question may name."""
SHOWN = ("compaction", "salinity", "soil_water", "acidity", "cations", "stratification",
         "nutrients", "carbon_nitrogen", "soil_life", "cover_crops", "tissue", "refractometry",
         "forage", "weeds", "sampling")
"""Topics whose findings a photo may show."""
WATERS = ("stream", "ditch", "pond", "lake", "wetland", "spring", "sinkhole", "well",
          "tile inlet")
RUNOFF_CLASSES = ("low", "medium", "high", "very high")
MARKET_TYPES = ("runner", "large-seeded runner", "virginia", "spanish", "valencia")
SAP_LINES = ("sharp", "diffuse")
SURENESS = ("certain", "probable", "possible")


class Header(Part):
    """Which advisory this is and how it is printed."""

    id: q.Identifier
    date: q.Date
    valid_until: q.Date | None = None
    units: Annotated[str, q.choice(("us", "si"))] = "us"
    paper: Annotated[str, q.choice(("letter", "a4"))] = "letter"
    language: Annotated[str, q.choice(LANGUAGES)] = "en"
    governing_language: Annotated[str, q.choice(("en", "es"))] | None = None
    currency: q.Currency = "USD"
    jurisdiction: q.Name | None = None
    purpose: q.Text | None = None
    question: Annotated[str, q.choice(QUESTIONS)] | None = None
    about: list[Annotated[str, q.choice(ABOUT)]] = Field(default_factory=list, max_length=4)
    answer: q.Text | None = None

    _decided_in: str = PrivateAttr(default="")

    @property
    def decided_in(self) -> str:
        """Units in which rates and orders are rounded: the case's own, whatever it is printed in.

        So every edition of a case asks for the same amounts.
        """
        return self._decided_in or self.units

    def printed_as(self, changes: Mapping[str, Any]) -> Self:
        """The header of an edition in other units, on other paper or in another language.

        In another language the text in the case's own language counts, unless the case says
        which one does.
        """
        own = self.language.split("-")[0]
        made = self.model_copy(update=dict(changes))
        made._decided_in = self.decided_in
        if self.governing_language is None and made.language.split("-")[0] != own:
            made = made.model_copy(update={"governing_language": own})
        return made


class Logo(Part):
    file: q.Name
    alt: q.Name


class Brand(Part):
    """How the pages show a business."""

    logo: Logo | None = None
    accent: q.Colour | None = None


class Contact(Part):
    name: q.Name
    contact: q.Name | None = None
    address: q.Text | None = None
    phone: q.Name | None = None
    email: q.Name | None = None
    brand: Brand | None = None


class Farm(Part):
    name: q.Name
    location: q.Name | None = None
    region: q.Name | None = None
    country: q.Name | None = None


class YieldGoal(Part):
    value: q.Yield
    basis: q.Text


class Planting(Part):
    """Dates of the next crop that windows hang on."""

    planting: q.Date | None = None
    harvest: q.Date | None = None
    next_cut: q.Date | None = None
    dormancy: q.Date | None = None


class NearWater(Part):
    """Open water, a well or another way to water beside a zone."""

    kind: Annotated[str, q.choice(WATERS)]
    distance: q.Distance
    setback: q.Distance | None = None
    length: q.Distance | None = None
    strip: q.Distance | None = None


class RunoffIndex(Part):
    """Result of the state's phosphorus index for a zone, worked out elsewhere."""

    risk: Annotated[str, q.choice(RUNOFF_CLASSES)]
    value: Annotated[float, q.number(0, 1000, "an index")] | None = None
    tool: q.Name | None = None


class FieldInfo(Part):
    name: q.Name
    id: q.Identifier | None = None
    area: q.Area
    crop: q.Name
    previous_crop: q.Name | None = None
    following_crop: q.Name | None = None
    market_type: Annotated[str, q.choice(MARKET_TYPES)] | None = None
    unlisted_crops: list[q.Name] = []
    stage: q.Name | None = None
    yield_goal: YieldGoal | None = None
    tillage: Annotated[str, q.choice((
        "no-till", "strip-till", "reduced", "conventional", "perennial", "raised bed"))]
    tillage_depth: q.Depth | None = None
    irrigation: Annotated[str, q.choice((
        "none", "sprinkler", "center pivot", "drip", "furrow", "flood"))]
    seasonal_et: q.WaterDepth | None = None
    reference_et: q.WaterUse | None = None
    root_depth: q.Depth | None = None
    row_spacing: Annotated[Quantity, q.quantity("depth", low=1.0)] | None = None
    """Between two rows of seed; the limit for fertilizer with the seed depends on it."""
    drainage: Annotated[str, q.choice((
        "well drained", "moderately drained", "somewhat poorly drained", "poorly drained",
        "tile drained", "unknown"))]
    slope: q.Percent | None = None
    livestock: list[Annotated[str, q.choice(("cattle", "dairy", "sheep", "goats", "horses", "hogs",
                              "poultry"))]] = []
    sensitive_areas: list[q.Text] = []
    near_water: Annotated[list[NearWater], Field(max_length=12)] = []
    p_index: RunoffIndex | None = None
    dates: Planting | None = None
    soil_map_unit: q.Name | None = None


class Credential(Part):
    scheme: q.Name
    number: q.Name
    expires: q.Date


class Adviser(Part):
    name: q.Name
    business: q.Name | None = None
    credential: Credential
    address: q.Text | None = None
    phone: q.Name | None = None
    email: q.Name | None = None
    interest: q.Text
    brand: Brand | None = None


class Laboratory(Part):
    name: q.Name
    report: q.Name | None = None
    received: q.Date | None = None
    reported: q.Date | None = None
    lb_ac_means: Annotated[str, q.choice(LB_AC)] | None = None
    file: q.Name | None = None
    file_sha256: q.Digest | None = None
    pdf: q.Name | None = None
    """The laboratory's own report, kept in the record when the advisory is issued."""


class Methods(Part):
    """How each group of results was obtained; required as soon as the group has a value."""

    ph: Annotated[str, q.choice(methods()["ph"])] | None = None
    buffer: Annotated[str, q.choice(methods()["buffer"])] | None = None
    phosphorus: Annotated[str, q.choice(methods()["phosphorus"])] | None = None
    cations: Annotated[str, q.choice(methods()["cations"])] | None = None
    sulfur: Annotated[str, q.choice(methods()["sulfur"])] | None = None
    zinc: Annotated[str, q.choice(methods()["zinc"])] | None = None
    copper: Annotated[str, q.choice(methods()["copper"])] | None = None
    manganese: Annotated[str, q.choice(methods()["manganese"])] | None = None
    iron: Annotated[str, q.choice(methods()["iron"])] | None = None
    boron: Annotated[str, q.choice(methods()["boron"])] | None = None
    organic_matter: Annotated[str, q.choice(methods()["organic_matter"])] | None = None
    ec: Annotated[str, q.choice(methods()["ec"])] | None = None
    cec: Annotated[str, q.choice(methods()["cec"])] | None = None
    aluminum: Annotated[str, q.choice(methods()["aluminum"])] | None = None
    respiration: Annotated[str, q.choice(methods()["respiration"])] | None = None
    aggregate_stability: Annotated[str, q.choice(methods()["aggregate_stability"])] | None = None
    selenium: Annotated[str, q.choice(methods()["selenium"])] | None = None
    molybdenum: Annotated[str, q.choice(methods()["molybdenum"])] | None = None


class SaturationExtract(Part):
    """Soluble ions in the saturation extract."""

    calcium: q.Solution | None = None
    magnesium: q.Solution | None = None
    sodium: q.Solution | None = None
    chloride: q.Solution | None = None
    boron: q.MgPerLitre | None = None
    saturation: Annotated[Quantity, q.quantity("percent", low=10)] | None = None


class Increment(Part):
    """One depth slice of a sample, exactly as the lab reported it."""

    depth: q.DepthRange
    lab_number: q.Name | None = None
    ph: q.PH | None = None
    buffer_ph: q.PH | None = None
    organic_matter: q.Percent | None = None
    organic_carbon: q.Percent | None = None
    total_nitrogen: q.Percent | None = None
    nitrate_n: q.Concentration | None = None
    ammonium_n: q.Concentration | None = None
    phosphorus: q.Concentration | None = None
    potassium: q.Concentration | None = None
    calcium: q.Concentration | None = None
    magnesium: q.Concentration | None = None
    sodium: q.Concentration | None = None
    sulfate_s: q.Concentration | None = None
    zinc: q.Concentration | None = None
    copper: q.Concentration | None = None
    manganese: q.Concentration | None = None
    iron: q.Concentration | None = None
    boron: q.Concentration | None = None
    aluminum: q.Concentration | None = None
    selenium: q.Concentration | None = None
    molybdenum: q.Concentration | None = None
    chloride: q.Concentration | None = None
    ec: q.Conductivity | None = None
    cec: q.Charge | None = None
    exchangeable_sodium: q.Charge | None = None
    extract: SaturationExtract | None = None
    carbonate: q.Percent | None = None
    bulk_density: q.Density | None = None
    active_carbon: q.Concentration | None = None
    respiration: q.Concentration | None = None
    aggregate_stability: q.Percent | None = None
    water_content: q.Percent | None = None

    _spread: Mapping[str, object] = PrivateAttr(default_factory=dict)

    @property
    def spread(self) -> Mapping[str, Any]:
        """Field -> :class:`~loambrief.case.repeats.Spread`, for results of pooled samples."""
        return self._spread

    def with_spread(self, spread: Mapping[str, object]) -> Self:
        made = self.model_copy()
        made._spread = spread
        return made

    @property
    def top_in(self) -> float:
        return self.depth[0]

    @property
    def bottom_in(self) -> float:
        return self.depth[1]

    @property
    def thickness_in(self) -> float:
        return self.depth[1] - self.depth[0]


class Repeat(Part):
    """A further sample of a zone, and what is made of it."""

    of: q.Identifier
    treat: Annotated[str, q.choice(("pool", "compare", "keep apart"))]
    reason: q.Text | None = None


class Sample(Part):
    """One composite sample: a zone of the field, with one or more depth increments."""

    id: q.Identifier
    place: q.Name | None = None
    date: q.Date
    area: q.Area | None = None
    share: q.Percent | None = None
    """Of the field, in place of the area."""
    treat: TreatedPart | None = None
    cores: Annotated[int, q.count(1, 500, "a number of cores")] | None = None
    sampler: q.Name | None = None
    pattern: q.Name | None = None
    residue: Annotated[str, q.choice(RESIDUES)] | None = None
    fizz: Annotated[str, q.choice(FIZZES)] | None = None
    texture: Annotated[str, q.choice(TEXTURES)] | None = None
    repeats: Repeat | None = None
    slope: q.Percent | None = None
    near_water: Annotated[list[NearWater], Field(max_length=12)] = []
    p_index: RunoffIndex | None = None
    lab: Laboratory
    methods: Methods = Methods()
    sent_for: Annotated[list[Annotated[str, q.choice(LIFE_TESTS)]], Field(max_length=3)] = []
    """Tests of soil life that were asked of the laboratory beside the usual ones."""
    increments: Annotated[list[Increment], Field(min_length=1, max_length=24)]


class PenetrometerPoint(Part):
    id: q.Identifier
    place: q.Name | None = None
    readings: Annotated[list[Annotated[float, q.number(0, 25_000, "a reading")] | None],
                        Field(min_length=1, max_length=60)]
    stopped_by: q.Name | None = None
    traffic: bool = False
    """Read where wheels run, turn or come in: judged apart from the field."""


class Penetrometer(Part):
    """Cone penetrometer: points by depths. Null where no reading was taken."""

    date: q.Date
    instrument: q.Name | None = None
    cone: Annotated[str, q.choice(CONES)]
    moisture: Annotated[str, q.choice(MOISTURES)]
    water_content: q.Percent | None = None
    depth_unit: Annotated[str, q.choice(("in", "cm"))] = "in"
    pressure_unit: Annotated[str, q.choice(("psi", "kPa", "MPa", "bar"))] = "psi"
    depths: Annotated[list[Annotated[float, q.number(0, 200, "a depth")]],
                      Field(min_length=1, max_length=60)]
    points: Annotated[list[PenetrometerPoint], Field(min_length=1, max_length=500)]
    notes: q.Text | None = None


class SapReading(Part):
    """Refractometer replicates of one plant (the crop, or a weed beside it)."""

    plant: q.Name
    role: Annotated[str, q.choice(("crop", "weed"))]
    part: q.Name | None = None
    place: q.Name | None = None
    replicates: Annotated[list[Annotated[float, q.number(0, 85, "degrees Brix")]],
                          Field(min_length=1, max_length=50)]
    temperature: q.Temperature | None = None
    time: q.TimeOfDay | None = None
    line: Annotated[str, q.choice(SAP_LINES)] | None = None


class Refractometer(Part):
    date: q.Date
    instrument: q.Name | None = None
    atc: bool
    zeroed: bool | None = None
    weather: q.Name | None = None
    readings: Annotated[list[SapReading], Field(min_length=1, max_length=40)]


class Weed(Part):
    species: q.Name
    local_name: q.Name | None = None
    eppo: q.Name | None = None
    cover: q.Percent | None = None
    density: q.PlantDensity | None = None
    stage: q.Name | None = None
    identification: Annotated[str, q.choice(SURENESS)]
    place: q.Name | None = None


class Budget(Part):
    amount: Annotated[float, q.number(0, 1_000_000_000, "an amount")]
    per: Annotated[str, q.choice(("field", "ac", "ha"))] = "field"
    note: q.Text | None = None


class Applied(Part):
    """An earlier application that may still count."""

    date: q.Date
    material: q.Name
    kind: Annotated[str, q.choice(MATERIAL_KINDS)]
    rate: q.Rate
    analysis: Analysis | None = None
    note: q.Text | None = None


class Residue(Part):
    """Crop residue or cover now on the field."""

    material: q.Name
    dry_mass: q.Rate
    carbon: q.Percent | None = None
    nitrogen: q.Percent | None = None
    cn_ratio: Annotated[float, q.number(1, 2000, "a ratio")] | None = None


class Infiltration(Part):
    date: q.Date
    place: q.Name | None = None
    method: q.Name | None = None
    rates: Annotated[list[q.Infiltration], Field(min_length=1, max_length=50)]


class Observations(Part):
    """What was seen or dug up at the visit, without instrument or laboratory."""

    date: q.Date
    residue_cover: q.Percent | None = None
    water_table: q.Depth | None = None
    earthworms: Annotated[list[Annotated[int, q.count(0, 1000, "a number of earthworms")]],
                          Field(max_length=50)] = []
    hole_side: q.Depth | None = None
    """Of the square hole in which earthworms were counted."""
    slake: Annotated[list[Annotated[int, q.count(0, 6, "a class")]], Field(max_length=64)] = []


class Targets(Part):
    """A consultant's own target, with the reason it is used instead of the table's."""

    ph: q.PH | None = None
    esp: q.Percent | None = None
    reason: q.Text


class Planned(Part):
    """What the last advisory asked for; amounts as they were printed then."""

    rate: q.Rate | None = None
    area: q.Area | None = None
    cost: Annotated[float, q.number(0, 1_000_000_000, "an amount")] | None = None


class Done(Part):
    """What became of an action of the last advisory: done so, or not done and why."""

    action: q.Name
    material: q.Name | None = None
    kind: Annotated[str, q.choice(MATERIAL_KINDS)] | None = None
    where: q.Name | None = None
    planned: Planned | None = None
    rate: q.Rate | None = None
    area: q.Area | None = None
    date: q.Date | None = None
    cost: Annotated[float, q.number(0, 1_000_000_000, "an amount")] | None = None
    analysis: Analysis | None = None
    not_done: q.Text | None = None
    note: q.Text | None = None


class Accepted(Part):
    """A warning the adviser has looked at and stands by, with the reason (it is printed)."""

    code: q.Name
    field: q.Name
    reason: q.Text


class Override(Part):
    """The adviser's own rate for an action or a material; both rates are printed."""

    action: q.Name
    rate: q.Rate
    reason: q.Text


class PhotoEntry(Part):
    """A photo that is printed with its caption, beside the topic that it ``shows``."""

    file: q.Name
    caption: q.Text
    alt: q.Text | None = None
    place: q.Name | None = None
    date: q.Date | None = None
    shows: Annotated[str, q.choice(SHOWN)] | None = None


OWN_ENTRIES = ("overrides", "own_actions", "plan_changes")
"""Parts of a case in which the adviser sets something of the plan; ``nitrogen`` is another."""


class CaseFile(Part):
    """A whole case."""

    loambrief: Literal[1]
    case: Header
    client: Contact
    farm: Farm
    field: FieldInfo
    adviser: Adviser
    boundary: dict[str, object] | None = None
    """GeoJSON; see :mod:`loambrief.case.boundary`."""
    guide: q.Name | None = None
    lime_table: q.Name | None = None
    targets: Targets | None = None
    samples: Annotated[list[Sample], Field(max_length=40)] = []
    penetrometer: Penetrometer | None = None
    infiltration: Infiltration | None = None
    refractometer: Refractometer | None = None
    weeds: Annotated[list[Weed], Field(max_length=60)] = []
    observations: Observations | None = None
    forage: Annotated[list[Forage], Field(max_length=40)] = []
    stock: Stock | None = None
    tissue: Annotated[list[TissueTest], Field(max_length=40)] = []
    water: Water | None = None
    residue: list[Residue] = []
    cover_crop: CoverCrop | None = None
    materials: Annotated[list[Material], Field(max_length=200)] = []
    budget: Budget | None = None
    tenure: Tenure | None = None
    constraints: Constraints | None = None
    strips: CheckStrips | None = None
    history: Annotated[list[q.Name], Field(max_length=20)] = []
    done: Annotated[list[Done], Field(max_length=100)] = []
    earlier_applications: Annotated[list[Applied], Field(max_length=100)] = []
    overrides: Annotated[list[Override], Field(max_length=100)] = []
    nitrogen: Nitrogen | None = None
    nitrogen_inputs: NitrogenInputs | None = None
    own_actions: Annotated[list[OwnAction], Field(max_length=60)] = []
    plan_changes: Annotated[list[PlanChange], Field(max_length=200)] = []
    notes: list[q.Text] = []
    photos: Annotated[list[PhotoEntry], Field(max_length=12)] = []
    accept: Annotated[list[Accepted], Field(max_length=200)] = []

    _typed_samples: tuple[Sample, ...] = PrivateAttr(default=())

    @property
    def has_own(self) -> bool:
        """Whether the adviser set anything of the plan."""
        return self.nitrogen is not None or any(getattr(self, name) for name in OWN_ENTRIES)

    @property
    def typed_samples(self) -> Sequence[Sample]:
        """Every sample as the laboratory reported it, also those pooled or only compared."""
        return self._typed_samples or self.samples

    def with_typed(self, samples: tuple[Sample, ...]) -> Self:
        made = self.model_copy()
        made._typed_samples = samples
        return made
