"""A consultant's own fertilizer guide: a file, checked like a case.

The structure is that of the shipped guides in ``tables/nutrients/guides``, which serve as
examples; YAML and TOML are both read. ``load_guide`` gives plain data;
``loambrief.agronomy.guides.from_data`` makes a guide of it, and ``with_guides`` makes that
guide known while a case runs.
"""

import hashlib
import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from loambrief.case.guide_schema import (
    ANY_CROP,
    METHODS,
    BuildUpRule,
    ClassesRule,
    EquationRule,
    FlatRule,
    GuideFile,
    GuideRule,
    NitrogenRule,
    PointsRule,
    RuleEntry,
    SupplyClassEntry,
    SupplyRule,
    TestRule,
    YieldGoalRule,
)
from loambrief.case.names import crops, fold
from loambrief.case.problems import DataPath, Fault, Problem, in_file_order
from loambrief.case.quantities import nearest, show, which_choice
from loambrief.case.reader import decode, read_bytes, read_text
from loambrief.case.source import Mark, SourceText, split_lines
from loambrief.case.validate import place_of
from loambrief.errors import CaseProblems


@dataclass(frozen=True)
class LoadedGuide:
    """A checked guide file."""

    name: str
    """The file's name without ending: what a case calls it."""
    data: Mapping[str, object]
    """Plain data for ``loambrief.agronomy.guides.from_data``."""
    sha256: str
    """Of the file's bytes, in hexadecimal."""
    file: str
    """As the user named it."""


_RULE: TypeAdapter[GuideRule] = TypeAdapter(GuideRule)


def load_guide(path: Path | str) -> LoadedGuide:
    """Read and check a consultant's guide file: YAML or TOML (``.toml``) in UTF-8, at most 1 MiB.

    Raises
    ------
    CaseProblems
        With every problem of the file, each with line and column.
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
        faults = [*(_fault(e) for e in error.errors(include_url=False)), *_sound(source.data)]
        raise CaseProblems(in_file_order([*problems, *source.problems(faults)])) from None
    problems += source.problems(cross_checks(dict(enumerate(guide.rule))))
    if problems:
        raise CaseProblems(in_file_order(problems))
    return LoadedGuide(path.stem, guide.model_dump(exclude_none=True),
                       hashlib.sha256(raw).hexdigest(), file)


def _sound(data: object) -> Iterator[Fault]:
    """Contradictions inside the rules that are well formed, beside others that are not."""
    rules: dict[int, GuideRule] = {}
    entries = data.get("rule") if isinstance(data, Mapping) else None
    for i, entry in enumerate(entries if isinstance(entries, list) else ()):
        with suppress(ValidationError):
            rules[i] = _RULE.validate_python(entry)
    yield from cross_checks(rules)


def _toml(text: str, file: str) -> SourceText:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"line (\d+), column (\d+)", str(error))
        line, column = (int(place[1]), int(place[2])) if place else (1, 1)
        problem = Problem(file, line, column, "CASE005", "file", str(error), "well-formed TOML")
        raise CaseProblems((problem,)) from None
    return SourceText(file, text, data, *_toml_marks(text))


def _toml_marks(text: str) -> tuple[dict[DataPath, Mark], dict[DataPath, Mark]]:
    """Places of the tables of a file and of the keys right under them; the library tells none."""
    keys: dict[DataPath, Mark] = {}
    values: dict[DataPath, Mark] = {(): Mark(1, 1)}
    table: DataPath = ()
    rules = 0
    for number, line in enumerate(split_lines(text), 1):
        if head := re.match(r"\s*(\[{1,2})\s*([A-Za-z_]+)\s*\]{1,2}\s*(#|$)", line):
            table = (head[2],) if len(head[1]) == 1 else (head[2], rules)
            rules += len(head[1]) - 1
            values[table] = keys[table] = Mark(number, head.start(1) + 1)
        elif entry := re.match(r"\s*(\w+)\s*=\s*", line):
            keys.setdefault((*table, entry[1]), Mark(number, entry.start(1) + 1))
            values.setdefault((*table, entry[1]), Mark(number, entry.end() + 1))
    return keys, values


def _fault(error: ErrorDetails) -> Fault:
    path = place_of(error)
    if len(path) > 2 and path[0] == "rule":  # drop the name of the rule kind
        path = (*path[:2], *path[3:])
    found, about, kind = show(error.get("input")), error.get("ctx", {}), error["type"]
    if kind == "missing":
        return Fault("CASE021", path, "nothing", "a value",
                     f"Add the key {str(path[-1])!r} here.", at_key=True)
    if kind == "extra_forbidden":
        return Fault("CASE020", path, f"the unknown key {str(path[-1])!r}", "a known key",
                     "`loambrief schema --guide` prints the keys of each rule kind.", at_key=True)
    if kind in ("literal_error", "union_tag_invalid"):
        wanted = about.get("expected") or about.get("expected_tags", "")
        return Fault("CASE027", path, found, str(wanted))
    if kind == "union_tag_not_found":
        return Fault("CASE021", (*path, "kind"), "nothing", "the kind of the rule", at_key=True)
    return Fault("CASE022", path, about.get("found", found), about.get("wanted", error["msg"]))


def cross_checks(rules: Mapping[int, GuideRule]) -> Iterator[Fault]:
    """Every contradiction between the values of rules, given by their place in the file."""
    for i, rule in rules.items():
        path: DataPath = ("rule", i)
        yield from _names(rule, path)
        if isinstance(rule, NitrogenRule):
            yield from _nitrogen(rule, path)
        else:
            yield from _test_alone(rule, path)
        if isinstance(rule, BuildUpRule):
            yield from _build_up(rule, path)
        elif isinstance(rule, ClassesRule):
            yield from _classes(rule, path)
        elif isinstance(rule, PointsRule):
            yield from _points(rule, path)


def _names(rule: RuleEntry, path: DataPath) -> Iterator[Fault]:
    named: list[tuple[DataPath, str]] = [
        ((*path, "crops", j), crop) for j, crop in enumerate(rule.crops) if crop != ANY_CROP]
    if isinstance(rule, NitrogenRule):
        named += [((*path, "previous", j), crop) for j, crop in enumerate(rule.previous or ())]
        named += [((*path, key, crop), crop) for key in ("previous_credit_lb", "previous_debit_lb")
                  for crop in getattr(rule, key) or ()]
    for where, crop in named:
        row = crops().get(fold(crop))
        if row is None or row["crop"] != crop:
            near = str(row["crop"]) if row is not None else nearest(crop, crops())
            yield Fault("CASE027", where, repr(crop), "a crop of the crop table",
                        f"Did you mean {near!r}?" if near else "")
    if not isinstance(rule, TestRule):
        return
    for j, method in enumerate(rule.methods):
        known = METHODS[rule.nutrient]
        if method not in known:
            yield Fault("CASE027", (*path, "methods", j), repr(method),
                        "one of " + ", ".join(known), which_choice(method, known))


def _test_alone(rule: TestRule, path: DataPath) -> Iterator[Fault]:
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


def _nitrogen(rule: NitrogenRule, path: DataPath) -> Iterator[Fault]:
    """Nothing counted twice, and all that is counted with its numbers."""
    off, held = set(rule.takes_off or ()), set(rule.holds or ())
    read: set[str] = set()
    if isinstance(rule, SupplyRule):
        read = {"nitrate_lb": {"nitrate"}, "nitrate_ppm": {"nitrate"}, "index": {
            "nitrate", "previous_crop"}}.get(rule.reads, {rule.reads})
    for credit in sorted(off & (held | read)):
        yield Fault("CASE026", (*path, "takes_off"), credit,
                    "each source of nitrogen once: taken off, read by the table or in the rate")
    depth_used = "nitrate" in off or (isinstance(rule, SupplyRule)
                                      and rule.reads.startswith("nitrate"))
    maps = rule.previous_credit_lb or rule.previous_debit_lb
    for used, given, key in ((depth_used, rule.nitrate_depth_in, "nitrate_depth_in"),
                             ("organic_matter" in off, rule.om_lb_pct, "om_lb_pct"),
                             ("previous_crop" in off, maps, "previous_credit_lb")):
        if used and given is None:
            yield Fault("CASE021", (*path, key), "nothing",
                        f"{key}, for what the rule counts", at_key=True)
        elif given is not None and not used:
            yield Fault("CASE026", (*path, key), "a number that nothing uses",
                        "what it belongs to under takes_off")
    if isinstance(rule, YieldGoalRule):
        if (rule.per_yield_high_lb or rule.per_yield_lb) < rule.per_yield_lb:
            yield Fault("CASE026", (*path, "per_yield_high_lb"), f"{rule.per_yield_high_lb:g}",
                        f"at least per_yield_lb, {rule.per_yield_lb:g}")
    elif isinstance(rule, FlatRule):
        yield from _one_rate(rule, path)
        if rule.rate_lb is None and rule.low_lb is None:
            yield Fault("CASE021", (*path, "rate_lb"), "nothing", "rate_lb, or low_lb and high_lb",
                        at_key=True)
    elif isinstance(rule, SupplyRule):
        yield from _supply(rule, path)


def _supply(rule: SupplyRule, path: DataPath) -> Iterator[Fault]:
    if (rule.yield_at is None) != (rule.per_yield_lb is None):
        yield Fault("CASE021", (*path, "yield_at"), "one of yield_at and per_yield_lb", "both")
    for j, entry in enumerate(rule.classes):
        yield from _one_rate(entry, (*path, "classes", j))
    lower = [c.from_value for c in rule.classes]
    if lower[0] != 0 and rule.reads != "index":
        yield Fault("CASE026", (*path, "classes", 0), f"{lower[0]:g}", "a first class from 0")
    if any(a >= b for a, b in pairwise(lower)):
        yield Fault("CASE026", (*path, "classes"), "lower bounds that do not rise",
                    "classes from the least nitrogen to the most")
    rates = [c.high_lb if c.rate_lb is None else c.rate_lb for c in rule.classes]
    yield from _falling([r for r in rates if r is not None], (*path, "classes"))


def _one_rate(entry: FlatRule | SupplyClassEntry, path: DataPath) -> Iterator[Fault]:
    """One rate, or a low and a high one, never both."""
    low, high = entry.low_lb, entry.high_lb
    if (low is None) != (high is None) or (low is not None and high is not None and low > high):
        yield Fault("CASE026", path, f"low_lb {show(low)}, high_lb {show(high)}",
                    "both, the low one first")
    elif low is not None and entry.rate_lb is not None:
        yield Fault("CASE026", path, "rate_lb beside low_lb and high_lb", "one of the two")


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
