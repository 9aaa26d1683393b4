"""Fertilizer guides as data: which soil test, method, crop and region each was calibrated for.

A guide is a TOML file in ``tables/nutrients/guides``, or a consultant's own file of the same
structure (validated by ``loambrief.case.guide_file``). A guide answers only for the test
method it names: nothing here converts one test into another.

Rule kinds
----------
``build_up``   build-up below the critical level, removal up to the limit, then drawdown or
               nothing
``classes``    one rate, or a range, per soil-test class
``equation``   constant + per_yield Y + per_test T + per_yield_test Y T, never below zero
``points``     a rate at given soil-test values, straight lines between them
``critical``   the level above which nothing is advised; no rate below it

For nitrogen, read by ``nitrogen_rate_by_guide``, with what is taken off it (``takes_off``) and what
it holds already (``holds``), so that nothing counts twice:

``yield_goal`` base + per_yield Y
``supply``     a rate for each class of soil nitrogen (nitrate, organic matter or an index)
``flat``       one rate, or a range
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import cache
from pathlib import PurePosixPath
from types import MappingProxyType

from loambrief.agronomy.crops import Crop
from loambrief.errors import TableFault, UnknownName
from loambrief.tables import DataRow, all_documents, load_document
from loambrief.tables.regions import named

FOLDER = "nutrients/guides"
KINDS = ("build_up", "classes", "equation", "points", "critical")
NITROGEN = "N"
NITROGEN_KINDS = ("yield_goal", "supply", "flat")
NUTRIENTS = ("P2O5", "K2O")
"""What every guide is asked for."""
MINOR = ("S", "Mg", "Ca", "Zn", "B", "Mn", "Cu", "Fe", "Mo", "Cl")
"""What a guide may hold rules for besides: its rule goes before the class scales."""
TEST_OF: Mapping[str, str] = MappingProxyType(
    {"P2O5": "P", "K2O": "K", **{element: element for element in MINOR}})
ANY_CROP = "*"
OWN_REFERENCE = "consultant-guide"
"""Reference key of a consultant's own guide; its citation goes into the locator."""


@dataclass(frozen=True)
class SoilTestClass:
    """One class of a class table.

    ``lower_ppm`` bounds it from below, inclusive unless ``open_below``. The rate is fixed
    [lb/ac], per unit of yield [lb], or not given at all (all None).
    """

    name: str
    lower_ppm: float
    open_below: bool = False
    rate_lb: float | None = None
    low_lb: float | None = None
    high_lb: float | None = None
    lb_per_unit: float | None = None
    low_lb_per_unit: float | None = None
    high_lb_per_unit: float | None = None
    response_chance_pct: float | None = None

    def holds(self, test_ppm: float) -> bool:
        """True if the test lies at or above this class's lower bound."""
        return test_ppm > self.lower_ppm if self.open_below else test_ppm >= self.lower_ppm

    @property
    def has_rate(self) -> bool:
        return any(
            v is not None
            for v in (self.rate_lb, self.low_lb, self.lb_per_unit, self.low_lb_per_unit)
        )

    @property
    def needs_yield(self) -> bool:
        return self.lb_per_unit is not None or self.low_lb_per_unit is not None


@dataclass(frozen=True)
class CecBand:
    """Critical level and limit for soils up to one CEC (None: all higher)."""

    up_to_meq: float | None
    critical_ppm: float
    limit_ppm: float


@dataclass(frozen=True)
class Rule:
    """How one guide turns one soil test into one rate for some crops."""

    nutrient: str
    """A key of :data:`TEST_OF` (the test of P2O5 and K2O is elemental P and K)."""
    crops: tuple[str, ...]
    """Names of the crop table, or ``("*",)`` for every crop."""
    methods: tuple[str, ...]
    """Extraction methods the rule was calibrated for; of a nitrogen rule what it reads."""
    kind: str
    """One of :data:`KINDS`."""
    values: DataRow
    """The kind's own numbers."""
    classes: tuple[SoilTestClass, ...]
    by_cec: tuple[CecBand, ...]
    reference: str
    locator: str
    how: str
    """``reference``, ``locator``, ``how``: where the rule is from and how its values were
    checked."""
    how_of: Mapping[str, str] = field(default_factory=dict)

    @property
    def test(self) -> str:
        return TEST_OF.get(self.nutrient, self.nutrient)

    def number(self, name: str, default: float = 0.0) -> float:
        """One of the kind's own numbers, or ``default`` where the file does not give it."""
        value = self.values.get(name)
        return default if value is None else float(value)

    def has(self, name: str) -> bool:
        return self.values.get(name) is not None

    def crop_name(self, crop: Crop) -> str | None:
        """Name under which the rule covers a crop, or None."""
        own = next((name for name in crop.lineage if name in self.crops), None)
        return own or (ANY_CROP if ANY_CROP in self.crops else None)

    @property
    def needs_cec(self) -> bool:
        return bool(self.by_cec) or self.has("critical_ppm_per_meq") or self.has(
            "build_lb_per_ppm_per_meq"
        )

    @property
    def needs_yield(self) -> bool:
        if self.kind == "build_up":
            return True
        if self.nutrient == NITROGEN:
            return self.has("per_yield_lb")
        if self.kind == "equation":
            return self.has("per_yield") or self.has("per_yield_test")
        return any(c.needs_yield for c in self.classes)

    @property
    def gives_rates(self) -> bool:
        """False for a rule that only says whether to apply."""
        return self.kind != "critical" and (
            self.kind != "classes" or all(c.has_rate for c in self.classes)
        )


@dataclass(frozen=True)
class Guide:
    name: str
    """As given in a case (``guide: tri_state_2020``)."""
    title: str
    reference: str
    how: str
    notes: str
    regions: tuple[str, ...]
    """States or regions it was written for."""
    kind: str
    """Its approach, in a few words."""
    depth_in: float
    """Sampling depth it was calibrated on, from the surface [in]."""
    rules: tuple[Rule, ...]
    rotation: str = ""
    """``"highest critical level"`` if the most demanding crop of the rotation sets it."""
    own: bool = False
    """True for a consultant's own guide."""
    interval_years: float | None = None
    """Longest time until the next sample [years]; None where the guide states none."""
    interval_reference: str = ""
    interval_how: str = ""
    """``interval_reference``, ``interval_how``: where that is from and how it was checked."""

    def rules_for(self, nutrient: str, crop: Crop | None = None) -> tuple[Rule, ...]:
        """Rules of one nutrient, those for the crop itself before those for every crop."""
        found = [r for r in self.rules if r.nutrient == nutrient]
        if crop is None:
            return tuple(found)
        named = [(r, r.crop_name(crop)) for r in found]
        own = [r for r, name in named if name not in (None, ANY_CROP)]
        return tuple(own + [r for r, name in named if name == ANY_CROP])

    def methods(self, nutrient: str, crop: Crop | None = None) -> tuple[str, ...]:
        """Test methods it was calibrated for, in the order of its rules."""
        rules = self.rules_for(nutrient, crop)
        return tuple(dict.fromkeys(m for r in rules for m in r.methods))

    def rule(self, nutrient: str, crop: Crop, method: str) -> Rule | None:
        """The rule for a crop and method; None if the guide has none."""
        return next((r for r in self.rules_for(nutrient, crop) if method in r.methods), None)

    def fits_region(self, *places: str | None) -> bool:
        """True if one of its regions is named in one of the places."""
        return bool(named(places, self.regions))


_RULE_OWN = {"nutrient", "crops", "methods", "kind", "classes", "by_cec", "reference", "locator",
             "how", "how_of"}


def _class(raw: DataRow) -> SoilTestClass:
    numbers = {k: float(raw[k]) for k in (
        "rate_lb", "low_lb", "high_lb", "lb_per_unit", "low_lb_per_unit", "high_lb_per_unit",
        "response_chance_pct") if raw.get(k) is not None}
    above = raw.get("above_ppm")
    lower = above if above is not None else raw.get("from_value", raw.get("from_ppm"))
    return SoilTestClass(str(raw["name"]), float(lower), above is not None, **numbers)


def _bands(raw: Sequence[DataRow]) -> tuple[CecBand, ...]:
    return tuple(
        CecBand(
            None if b.get("up_to_meq") is None else float(b["up_to_meq"]),
            float(b["critical_ppm"]),
            float(b["limit_ppm"]),
        )
        for b in raw
    )


def _locator(source: DataRow, rule: DataRow, own: bool) -> str:
    """Place in the publication; for a consultant's guide its own citation stands in front."""
    place = str(rule.get("locator") or source.get("locator") or "")
    if not own:
        return place
    cited = str(rule.get("reference") or source["reference"])
    return f"{cited}, {place}" if place else cited


def from_data(name: str, data: DataRow, own: bool = False) -> Guide:
    """A guide out of plain data (a shipped file, or a consultant's own after validation).

    ``data`` has the parts ``source``, ``guide`` and ``rule`` of the shipped files. Raises
    ``TableFault`` if a part or a needed value is missing or a kind of rule does not exist.
    """
    try:
        source, about = data["source"], data["guide"]
        reference = source["reference"]
        rules = []
        for raw in data["rule"]:
            kind, nutrient = raw["kind"], raw["nutrient"]
            nitrogen = nutrient == NITROGEN
            if kind not in (NITROGEN_KINDS if nitrogen else KINDS) or not (
                    nitrogen or nutrient in TEST_OF):
                raise TableFault(f"guide {name}: kind {kind!r}, nutrient {nutrient!r}")
            rules.append(
                Rule(
                    nutrient=nutrient,
                    crops=tuple(raw["crops"]),
                    methods=(str(raw.get("reads", "yield_goal" if "per_yield_lb" in raw else
                                         "flat")),) if nitrogen else tuple(raw["methods"]),
                    kind=kind,
                    values=MappingProxyType(
                        {k: v for k, v in raw.items() if k not in _RULE_OWN and v is not None}
                    ),
                    classes=tuple(_class(c) for c in raw.get("classes") or ()),
                    by_cec=_bands(raw.get("by_cec") or ()),
                    reference=OWN_REFERENCE if own else raw.get("reference") or reference,
                    locator=_locator(source, raw, own),
                    how=raw.get("how") or source["how"],
                    how_of=MappingProxyType(dict(raw.get("how_of") or {})),
                )
            )
        return Guide(
            name=name,
            title=source["title"],
            reference=OWN_REFERENCE if own else reference,
            how=source["how"],
            notes=source.get("notes") or "",
            regions=tuple(about["regions"]),
            kind=about["kind"],
            depth_in=float(about["depth_in"]),
            rotation=about.get("rotation") or "",
            rules=tuple(rules),
            own=own,
            interval_years=(None if about.get("interval_years") is None
                            else float(about["interval_years"])),
            interval_reference=(OWN_REFERENCE if own
                                else about.get("interval_reference") or reference),
            interval_how=about.get("interval_how") or source["how"],
        )
    except (KeyError, TypeError, ValueError) as error:
        raise TableFault(f"guide {name}: {error!r}") from error


@cache
def shipped() -> Mapping[str, Guide]:
    """Guides that come with the package, by name."""
    return MappingProxyType(
        {
            (name := PurePosixPath(document).name): from_data(name, load_document(document))
            for document in all_documents(FOLDER)
        }
    )


_OWN: ContextVar[Mapping[str, Guide]] = ContextVar(
    "loambrief_own_guides", default=MappingProxyType({})
)


@contextmanager
def with_guides(*guides: Guide) -> Iterator[None]:
    """Make a consultant's own guides known inside the block."""
    token = _OWN.set({**_OWN.get(), **{g.name: g for g in guides}})
    try:
        yield
    finally:
        _OWN.reset(token)


def known_guides() -> Mapping[str, Guide]:
    """All guides known now: the shipped ones, then the consultant's own."""
    return MappingProxyType({**shipped(), **_OWN.get()})


def find_guide(name: str) -> Guide:
    """A guide by name; ``UnknownName`` if it is neither shipped nor loaded."""
    guide = _OWN.get().get(name) or shipped().get(name)
    if guide is None:
        raise UnknownName("guide", name, tuple(known_guides()))
    return guide


def fitting_guides(
    crop: Crop, methods: Mapping[str, str | None], places: Sequence[str | None]
) -> tuple[Guide, ...]:
    """Guides that fit a region, a crop and the laboratory's methods.

    ``methods`` holds the method of each nutrient (``"P2O5"``, ``"K2O"``) that was tested, and a
    guide fits that has a rule for every one of them. One: it may be used; more or none: the
    consultant chooses.
    """
    made = {n: m for n, m in methods.items() if m}
    return tuple(
        g
        for g in known_guides().values()
        if made
        and g.fits_region(*places)
        and all(g.rule(nutrient, crop, method) for nutrient, method in made.items())
    )
