"""A consultant's own fertilizer guide: a file, checked like a case.

The structure is that of the shipped guides in ``tables/nutrients/guides``, which serve as
examples; YAML and TOML are both read. ``load_guide`` gives plain data;
``loambrief.agronomy.guides.from_data`` makes a guide of it, and ``with_guides`` makes that
guide known while a case runs.
"""

import hashlib
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from loambrief.case import quantities as q
from loambrief.case.measurements import methods
from loambrief.case.names import crops, fold
from loambrief.case.problems import DataPath, Fault, Problem, in_file_order
from loambrief.case.quantities import nearest, show, which_choice
from loambrief.case.reader import decode, read_bytes, read_text
from loambrief.case.schema import Part
from loambrief.case.source import SourceText
from loambrief.errors import CaseProblems

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
}
ANY_CROP = "*"
How = Literal["seen", "computed", "memory", "convention"]
Ppm = Annotated[float, q.number(0, 1_000_000, "a soil test in ppm")]
Lb = Annotated[float, q.number(0, 10_000, "pounds per acre")]
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


class _RuleEntry(Part):
    nutrient: Literal["P2O5", "K2O", "S", "Mg", "Zn", "B", "Mn", "Cu", "Fe"]
    crops: Annotated[list[q.Name], Field(min_length=1)]
    methods: Annotated[list[q.Name], Field(min_length=1)]
    reference: q.Text | None = None
    locator: q.Text | None = None
    how: How | None = None
    how_of: dict[str, How] | None = None
    cap_lb_per_year: Lb | None = None


class BuildUpRule(_RuleEntry):
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


class ClassesRule(_RuleEntry):
    """One rate per class; ``critical_class`` is the first that needs no response-based rate."""

    kind: Literal["classes"]
    critical_class: q.Name
    classes: Annotated[list[SoilTestClassEntry], Field(min_length=2, max_length=12)]


class EquationRule(_RuleEntry):
    """constant + per_yield Y + per_test T + per_yield_test Y T, nothing from the critical level."""

    kind: Literal["equation"]
    critical_ppm: Ppm
    constant: Coefficient | None = None
    per_yield: Coefficient | None = None
    per_test: Coefficient | None = None
    per_yield_test: Coefficient | None = None


class PointsRule(_RuleEntry):
    """Rates at given soil-test values, straight lines between."""

    kind: Literal["points"]
    critical_ppm: Ppm
    test_ppm: Annotated[list[Ppm], Field(min_length=2, max_length=60)]
    rate_lb: Annotated[list[Lb], Field(min_length=2, max_length=60)]


class CriticalRule(_RuleEntry):
    """A critical level without rates."""

    kind: Literal["critical"]
    critical_ppm: Ppm


GuideRule = Annotated[
    BuildUpRule | ClassesRule | EquationRule | PointsRule | CriticalRule,
    Field(discriminator="kind"),
]


class GuideFile(Part):
    """A whole guide file."""

    source: GuideSource
    guide: GuideAbout
    rule: Annotated[list[GuideRule], Field(min_length=1, max_length=500)]


@dataclass(frozen=True)
class LoadedGuide:
    """A checked guide file.

    Attributes
    ----------
    name : str
        The file's name without ending: what a case calls it.
    data : mapping
        Plain data for ``loambrief.agronomy.guides.from_data``.
    sha256 : str
        Of the file's bytes, in hexadecimal.
    file : str
        As the user named it.
    """

    name: str
    data: Mapping[str, object]
    sha256: str
    file: str


def _plain(guide: GuideFile) -> dict[str, object]:
    return guide.model_dump(exclude_none=True)


def load_guide(path: Path | str) -> LoadedGuide:
    """Read and check a consultant's guide file.

    Parameters
    ----------
    path : Path or str
        YAML or TOML (``.toml``) in UTF-8, at most 1 MiB.

    Raises
    ------
    CaseProblems
        With every problem of the file; a YAML file's with line and column.
    OSError
        The file is not there or may not be read.
    """
    path, file = Path(path), str(path)
    raw = read_bytes(path)
    text = decode(raw, file)
    problems: list[Problem] = []
    if path.suffix.lower() == ".toml":
        source = _toml(text, file)
    else:
        source, problems = read_text(text, file)
    try:
        guide = TypeAdapter(GuideFile).validate_python(source.data)
    except ValidationError as error:
        faults = [_fault(e) for e in error.errors(include_url=False)]
        raise CaseProblems(in_file_order([*problems, *source.problems(faults)])) from None
    problems += source.problems(cross_checks(guide))
    if problems:
        raise CaseProblems(in_file_order(problems))
    return LoadedGuide(path.stem, _plain(guide), hashlib.sha256(raw).hexdigest(), file)


def _toml(text: str, file: str) -> SourceText:
    try:
        return SourceText(file, text, tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        problem = Problem(file, 0, 0, "CASE005", "file", str(error), "well-formed TOML")
        raise CaseProblems((problem,)) from None


def _fault(error: ErrorDetails) -> Fault:
    path = tuple(s for s in error["loc"] if s != "[key]")
    if len(path) > 2 and path[0] == "rule":  # drop the name of the rule kind
        path = (*path[:2], *path[3:])
    found, about, kind = show(error.get("input")), error.get("ctx", {}), error["type"]
    if kind == "missing":
        return Fault("CASE021", path, "nothing", "a value",
                     f"Add the key {str(path[-1])!r} here.", at_key=True)
    if kind == "extra_forbidden":
        return Fault("CASE020", path, f"the unknown key {str(path[-1])!r}", "a known key",
                     "The shipped guides show the keys of each rule kind.", at_key=True)
    if kind in ("literal_error", "union_tag_invalid"):
        wanted = about.get("expected") or about.get("expected_tags", "")
        return Fault("CASE027", path, found, str(wanted))
    if kind == "union_tag_not_found":
        return Fault("CASE021", (*path, "kind"), "nothing", "the kind of the rule", at_key=True)
    return Fault("CASE022", path, about.get("found", found), about.get("wanted", error["msg"]))


def cross_checks(guide: GuideFile) -> Iterator[Fault]:
    """Every contradiction between the values of a guide."""
    for i, rule in enumerate(guide.rule):
        path: DataPath = ("rule", i)
        yield from _names(rule, path)
        yield from _test_alone(rule, path)
        if isinstance(rule, BuildUpRule):
            yield from _build_up(rule, path)
        elif isinstance(rule, ClassesRule):
            yield from _classes(rule, path)
        elif isinstance(rule, PointsRule):
            yield from _points(rule, path)


def _names(rule: _RuleEntry, path: DataPath) -> Iterator[Fault]:
    for j, crop in enumerate(rule.crops):
        row = crops().get(fold(crop))
        if crop == ANY_CROP:
            continue
        if row is None or row["crop"] != crop:
            near = str(row["crop"]) if row is not None else nearest(crop, crops())
            yield Fault("CASE027", (*path, "crops", j), repr(crop), "a crop of the crop table",
                        f"Did you mean {near!r}?" if near else "")
    for j, method in enumerate(rule.methods):
        known = METHODS[rule.nutrient]
        if method not in known:
            yield Fault("CASE027", (*path, "methods", j), repr(method),
                        "one of " + ", ".join(known), which_choice(method, known))


def _test_alone(rule: _RuleEntry, path: DataPath) -> Iterator[Fault]:
    """Sulfur, magnesium and micronutrients are read from the test alone."""
    if rule.nutrient in ("P2O5", "K2O"):
        return
    asks: list[str] = []
    if isinstance(rule, BuildUpRule):
        asks = ["build_up"]
    elif isinstance(rule, EquationRule):
        asks = [k for k in ("per_yield", "per_yield_test") if getattr(rule, k) is not None]
    elif isinstance(rule, ClassesRule):
        asks = [k for k in ("lb_per_unit", "low_lb_per_unit")
                if any(getattr(c, k) is not None for c in rule.classes)]
    if asks:
        yield Fault("CASE026", (*path, "kind"), ", ".join(asks),
                    f"a rule that reads {rule.nutrient} from the soil test alone")


def _build_up(rule: BuildUpRule, path: DataPath) -> Iterator[Fault]:
    for crop in rule.crops:
        if crop not in rule.removal_lb_per_unit:
            yield Fault("CASE021", (*path, "removal_lb_per_unit"), f"no removal of {crop}",
                        "a removal for each crop of the rule")
    if rule.by_cec:
        ends = [b.up_to_meq for b in rule.by_cec]
        if ends[-1] is not None or None in ends[:-1] or any(
            a >= b for a, b in pairwise(ends[:-1])  # type: ignore[operator]
        ):
            yield Fault("CASE026", (*path, "by_cec"), "bands that do not follow each other",
                        "rising up_to_meq, and a last band without it")
        pairs: list[tuple[float | None, float | None]] = [
            (b.critical_ppm, b.limit_ppm) for b in rule.by_cec]
    else:
        if rule.critical_ppm is None:
            yield Fault("CASE021", (*path, "critical_ppm"), "nothing", "critical_ppm or by_cec",
                        at_key=True)
        if (rule.limit_ppm is None) == (rule.limit_above_critical_ppm is None):
            yield Fault("CASE021", (*path, "limit_ppm"), "none or both",
                        "one of limit_ppm and limit_above_critical_ppm", at_key=True)
        pairs = [(rule.critical_ppm, rule.limit_ppm)]
    for critical, limit in pairs:
        if critical is not None and limit is not None and limit < critical:
            yield Fault("CASE026", (*path, "limit_ppm"), f"{limit:g}",
                        f"at least the critical level of {critical:g}")


def _classes(rule: ClassesRule, path: DataPath) -> Iterator[Fault]:
    names = [c.name for c in rule.classes]
    if rule.critical_class not in names:
        yield Fault("CASE027", (*path, "critical_class"), repr(rule.critical_class),
                    "one of the classes: " + ", ".join(names))
    for j, entry in enumerate(rule.classes):
        here = (*path, "classes", j)
        if (entry.from_ppm is None) == (entry.above_ppm is None):
            yield Fault("CASE021", here, "none or both", "one of from_ppm and above_ppm")
        for low, high in (("low_lb", "high_lb"), ("low_lb_per_unit", "high_lb_per_unit")):
            ends = getattr(entry, low), getattr(entry, high)
            if (ends[0] is None) != (ends[1] is None) or (None not in ends and ends[0] > ends[1]):
                yield Fault("CASE026", here, f"{low} {show(ends[0])}, {high} {show(ends[1])}",
                            "both, the low one first")
    lower = [c.lower for c in rule.classes]
    if lower[0] is not None and (lower[0] != 0 or rule.classes[0].from_ppm is None):
        yield Fault("CASE026", (*path, "classes", 0), f"{lower[0]:g}", "a first class from 0 ppm")
    if None not in lower and any(a >= b for a, b in pairwise(lower)):  # type: ignore[operator]
        yield Fault("CASE026", (*path, "classes"), "lower bounds that do not rise",
                    "classes from the lowest test to the highest")
    yield from _falling([c.rate_lb for c in rule.classes if c.rate_lb is not None],
                        (*path, "classes"))


def _points(rule: PointsRule, path: DataPath) -> Iterator[Fault]:
    if len(rule.test_ppm) != len(rule.rate_lb):
        yield Fault("CASE034", (*path, "rate_lb"), f"{len(rule.rate_lb)} entries",
                    f"{len(rule.test_ppm)}, one for each test_ppm")
    if any(a >= b for a, b in pairwise(rule.test_ppm)):
        yield Fault("CASE026", (*path, "test_ppm"), "values that do not rise",
                    "soil tests from low to high")
    yield from _falling(rule.rate_lb, (*path, "rate_lb"))


def _falling(rates: list[float], path: DataPath) -> Iterator[Fault]:
    """A richer soil must not get more fertilizer: most often a slipped digit."""
    for low, high in pairwise(rates):
        if high > low:
            yield Fault("CASE026", path, f"{high:g} lb after {low:g} lb",
                        "rates that do not rise with the soil test", "Is a digit wrong?")
