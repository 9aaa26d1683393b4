"""What a case file may hold. Strict: unknown keys are refused, nothing is coerced.

Pydantic models in the order a consultant fills them in. Values are in house units (ppm,
meq/100g, dS/m, psi, in, ac); each :class:`~loambrief.units.Quantity` keeps what was typed.
Anything optional that is absent is None and stays None: missing is never zero.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from loambrief.case import quantities as q
from loambrief.units import PRICE_UNITS

PHOSPHORUS_METHODS = ("mehlich-3-icp", "mehlich-3-colorimetric", "bray-p1", "olsen", "mehlich-1",
                      "morgan", "modified-morgan", "ab-dtpa")
CATION_METHODS = ("mehlich-3", "ammonium-acetate", "mehlich-1", "morgan", "modified-morgan",
                  "ab-dtpa")
BUFFER_METHODS = ("smp", "sikora", "mehlich", "modified-mehlich", "adams-evans", "moore-sikora",
                  "woodruff")
EC_METHODS = ("saturated-paste", "1:1", "1:2", "1:5")
TEXTURES = ("sand", "loamy sand", "sandy loam", "fine sandy loam", "loam", "silt loam", "silt",
            "sandy clay loam", "clay loam", "silty clay loam", "sandy clay", "silty clay", "clay",
            "muck", "peat")
METALS = ("As", "Cd", "Cu", "Pb", "Hg", "Mo", "Ni", "Se", "Zn")
LANGUAGES = ("en", "es", "es-US", "es-MX", "es-ES")
"""Language tags of an advisory: the language, and the country whose numbers and dates it has."""
MOISTURES = ("dry", "slightly moist", "moist", "field capacity", "wet")
RESIDUES = ("brushed off", "left on", "none present")
FIZZES = ("none", "very slight", "slight", "strong", "violent")
CONES = ("large 20.27 mm", "small 12.83 mm", "other")
SAP_LINES = ("sharp", "diffuse")
SURENESS = ("certain", "probable", "possible")


class Part(BaseModel):
    """Base of all parts of a case: frozen, strict, no unknown keys.

    A key with nothing after it counts as absent, so a blank line of a template is "not
    measured", never zero.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    @model_validator(mode="before")
    @classmethod
    def _blank_is_absent(cls, data: object) -> object:
        if not isinstance(data, Mapping):
            return data
        return {k: v for k, v in data.items() if v is not None or k not in cls.model_fields}


class Header(Part):
    """Which advisory this is and how it is printed."""

    id: q.Identifier
    date: q.Date
    valid_until: q.Date | None = None
    units: q.choice(("us", "si")) = "us"
    paper: q.choice(("letter", "a4")) = "letter"
    language: q.choice(LANGUAGES) = "en"
    governing_language: q.choice(("en", "es")) | None = None
    currency: q.Currency = "USD"
    jurisdiction: q.Name | None = None
    purpose: q.Text | None = None


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


class FieldInfo(Part):
    name: q.Name
    id: q.Identifier | None = None
    area: q.Area
    crop: q.Name
    previous_crop: q.Name | None = None
    following_crop: q.Name | None = None
    stage: q.Name | None = None
    yield_goal: YieldGoal | None = None
    tillage: q.choice(("no-till", "strip-till", "reduced", "conventional", "perennial",
                       "raised bed"))
    tillage_depth: q.Depth | None = None
    irrigation: q.choice(("none", "sprinkler", "center pivot", "drip", "furrow", "flood"))
    seasonal_et: q.WaterDepth | None = None
    drainage: q.choice(("well drained", "moderately drained", "somewhat poorly drained",
                       "poorly drained", "tile drained", "unknown"))
    slope: q.Percent | None = None
    livestock: list[q.choice(("cattle", "dairy", "sheep", "goats", "horses", "hogs",
                              "poultry"))] = []
    sensitive_areas: list[q.Text] = []
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
    file: q.Name | None = None
    file_sha256: q.Digest | None = None


class Methods(Part):
    """How each group of results was obtained; required as soon as the group has a value."""

    ph: q.choice(("water 1:1", "water 1:2", "saturated paste", "cacl2")) | None = None
    buffer: q.choice(BUFFER_METHODS) | None = None
    phosphorus: q.choice(PHOSPHORUS_METHODS) | None = None
    cations: q.choice(CATION_METHODS) | None = None
    sulfur: q.choice(("mehlich-3", "monocalcium phosphate", "ammonium acetate")) | None = None
    zinc: q.choice(("dtpa", "mehlich-3", "hcl", "mehlich-1")) | None = None
    copper: q.choice(("dtpa", "mehlich-3", "hcl", "mehlich-1")) | None = None
    manganese: q.choice(("dtpa", "mehlich-3", "mehlich-1")) | None = None
    iron: q.choice(("dtpa", "mehlich-3")) | None = None
    boron: q.choice(("hot water", "mehlich-3")) | None = None
    organic_matter: q.choice(("loss on ignition", "walkley-black", "dry combustion")) | None = None
    ec: q.choice(EC_METHODS) | None = None
    cec: q.choice(("summation", "ammonium acetate", "effective")) | None = None
    aluminum: q.choice(("kcl", "mehlich-3")) | None = None


class SaturationExtract(Part):
    """Soluble ions in the saturation extract."""

    calcium: q.Solution | None = None
    magnesium: q.Solution | None = None
    sodium: q.Solution | None = None
    chloride: q.Solution | None = None
    boron: q.MgPerLitre | None = None
    saturation: q.quantity("percent", low=10) | None = None


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
    chloride: q.Concentration | None = None
    ec: q.Conductivity | None = None
    cec: q.Charge | None = None
    exchangeable_sodium: q.Charge | None = None
    extract: SaturationExtract | None = None
    carbonate: q.Percent | None = None
    bulk_density: q.Density | None = None
    water_content: q.Percent | None = None

    @property
    def top_in(self) -> float:
        return self.depth[0]

    @property
    def bottom_in(self) -> float:
        return self.depth[1]

    @property
    def thickness_in(self) -> float:
        return self.depth[1] - self.depth[0]


class Sample(Part):
    """One composite sample: a zone of the field, with one or more depth increments."""

    id: q.Identifier
    place: q.Name | None = None
    date: q.Date
    area: q.Area | None = None
    cores: q.count(1, 500, "a number of cores") | None = None
    sampler: q.Name | None = None
    pattern: q.Name | None = None
    residue: q.choice(RESIDUES) | None = None
    fizz: q.choice(FIZZES) | None = None
    texture: q.choice(TEXTURES) | None = None
    lab: Laboratory
    methods: Methods = Methods()
    increments: Annotated[list[Increment], Field(min_length=1, max_length=24)]


class PenetrometerPoint(Part):
    id: q.Identifier
    place: q.Name | None = None
    readings: Annotated[list[q.number(0, 25_000, "a reading") | None],
                        Field(min_length=1, max_length=60)]
    stopped_by: q.Name | None = None
    traffic: bool = False
    """Read where wheels run, turn or come in: judged apart from the field."""


class Penetrometer(Part):
    """Cone penetrometer: points by depths. Null where no reading was taken."""

    date: q.Date
    instrument: q.Name | None = None
    cone: q.choice(CONES)
    moisture: q.choice(MOISTURES)
    water_content: q.Percent | None = None
    depth_unit: q.choice(("in", "cm")) = "in"
    pressure_unit: q.choice(("psi", "kPa", "MPa", "bar")) = "psi"
    depths: Annotated[list[q.number(0, 200, "a depth")], Field(min_length=1, max_length=60)]
    points: Annotated[list[PenetrometerPoint], Field(min_length=1, max_length=500)]
    notes: q.Text | None = None


class SapReading(Part):
    """Refractometer replicates of one plant (the crop, or a weed beside it)."""

    plant: q.Name
    role: q.choice(("crop", "weed"))
    part: q.Name | None = None
    place: q.Name | None = None
    replicates: Annotated[list[q.number(0, 85, "degrees Brix")], Field(min_length=1, max_length=50)]
    temperature: q.Temperature | None = None
    time: q.TimeOfDay | None = None
    line: q.choice(SAP_LINES) | None = None


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
    identification: q.choice(SURENESS)
    place: q.Name | None = None


class Forage(Part):
    """One forage test, dry-matter basis."""

    id: q.Identifier
    kind: q.choice(("legume", "grass", "mixed"))
    species: q.Name | None = None
    cutting: q.Name | None = None
    date: q.Date
    lab: q.Name | None = None
    cores: q.count(1, 500, "a number of cores") | None = None
    adf: q.Percent | None = None
    ndf: q.Percent | None = None
    crude_protein: q.Percent | None = None
    ether_extract: q.Percent | None = None
    ash: q.Percent | None = None
    ndfd_48h: q.Percent | None = None
    ndfd_30h: q.Percent | None = None
    nsc: q.Percent | None = None
    nitrate: q.Concentration | None = None
    nitrate_as: q.choice(("no3-n", "no3", "kno3")) | None = None


class Water(Part):
    """Irrigation water test."""

    source: q.Name
    date: q.Date
    lab: q.Name | None = None
    ec: q.Conductivity | None = None
    ph: q.PH | None = None
    calcium: q.Solution | None = None
    magnesium: q.Solution | None = None
    sodium: q.Solution | None = None
    bicarbonate: q.Solution | None = None
    chloride: q.Solution | None = None
    boron: q.MgPerLitre | None = None
    nitrate_n: q.MgPerLitre | None = None


class Analysis(Part):
    """Guaranteed analysis, percent of the material as sold unless said otherwise."""

    n: q.Percent | None = None
    p2o5: q.Percent | None = None
    k2o: q.Percent | None = None
    calcium: q.Percent | None = None
    magnesium: q.Percent | None = None
    sulfur: q.Percent | None = None
    zinc: q.Percent | None = None
    boron: q.Percent | None = None
    manganese: q.Percent | None = None
    copper: q.Percent | None = None
    iron: q.Percent | None = None
    cce: q.quantity("neutralizing") | None = None
    fineness: q.Percent | None = None
    passing: dict[str, q.Percent] | None = None
    effective: q.quantity("neutralizing") | None = None
    moisture: q.Percent | None = None
    gypsum: q.Percent | None = None
    carbon: q.Percent | None = None
    total_nitrogen: q.Percent | None = None
    available_n: q.Percent | None = None
    sodium: q.Percent | None = None
    ec_1to5: q.Conductivity | None = None
    metals: dict[q.choice(METALS), q.Concentration] | None = None
    """Biosolids only: mg per kg of dry matter."""


class Price(Part):
    """Price per unit, e.g. ``per: ton``."""

    amount: q.number(0, 1_000_000, "a price")
    per: q.choice(tuple(PRICE_UNITS))
    date: q.Date


MATERIAL_KINDS = ("lime", "gypsum", "elemental sulfur", "fertilizer", "compost", "manure",
                  "biosolids", "cover crop", "service", "other")


class Material(Part):
    """Something on offer: a product or a service (spreading, subsoiling, sampling)."""

    id: q.Identifier
    name: q.Name
    kind: q.choice(MATERIAL_KINDS)
    form: q.choice(("granular", "pelleted", "powder", "liquid", "bulk", "slurry")) | None = None
    does: q.choice(("spreading", "subsoiling", "sampling", "drainage", "seeding",
                    "leaching")) | None = None
    animal: q.choice(("beef", "dairy", "poultry", "swine")) | None = None
    """What the manure is from."""
    analysis: Analysis | None = None
    fineness_scheme: q.Name | None = None
    price: Price | None = None
    freight: Price | None = None
    spreading: Price | None = None
    minimum_load: q.Mass | None = None
    load_size: q.Mass | None = None
    bag: q.Mass | None = None
    supplier: q.Name | None = None
    density: q.number(1, 5000, "lb per cubic yard") | None = None


class Budget(Part):
    amount: q.number(0, 1_000_000_000, "an amount")
    per: q.choice(("field", "ac", "ha")) = "field"
    note: q.Text | None = None


class Applied(Part):
    """An earlier application that may still count."""

    date: q.Date
    material: q.Name
    kind: q.choice(MATERIAL_KINDS)
    rate: q.Rate
    analysis: Analysis | None = None
    note: q.Text | None = None


class Residue(Part):
    """Crop residue or cover now on the field."""

    material: q.Name
    dry_mass: q.Rate
    carbon: q.Percent | None = None
    nitrogen: q.Percent | None = None
    cn_ratio: q.number(1, 2000, "a ratio") | None = None


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


class Targets(Part):
    """A consultant's own target, with the reason it is used instead of the table's."""

    ph: q.PH | None = None
    esp: q.Percent | None = None
    reason: q.Text


class Planned(Part):
    """What the last advisory asked for; amounts as they were printed then."""

    rate: q.Rate | None = None
    area: q.Area | None = None
    cost: q.number(0, 1_000_000_000, "an amount") | None = None


class Done(Part):
    """What became of an action of the last advisory: done so, or not done and why."""

    action: q.Name
    material: q.Name | None = None
    kind: q.choice(MATERIAL_KINDS) | None = None
    where: q.Name | None = None
    planned: Planned | None = None
    rate: q.Rate | None = None
    area: q.Area | None = None
    date: q.Date | None = None
    cost: q.number(0, 1_000_000_000, "an amount") | None = None
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
    """A photo that is printed with its caption."""

    file: q.Name
    caption: q.Text
    alt: q.Text | None = None
    place: q.Name | None = None
    date: q.Date | None = None


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
    water: Water | None = None
    residue: list[Residue] = []
    materials: Annotated[list[Material], Field(max_length=200)] = []
    budget: Budget | None = None
    history: Annotated[list[q.Name], Field(max_length=20)] = []
    done: Annotated[list[Done], Field(max_length=100)] = []
    earlier_applications: Annotated[list[Applied], Field(max_length=100)] = []
    overrides: Annotated[list[Override], Field(max_length=100)] = []
    notes: list[q.Text] = []
    photos: Annotated[list[PhotoEntry], Field(max_length=12)] = []
    accept: Annotated[list[Accepted], Field(max_length=200)] = []
