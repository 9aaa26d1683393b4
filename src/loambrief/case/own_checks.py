"""Own actions, changes of the plan and the nitrogen line: do they fit the case and each other.

What only the finished plan can tell (an id, a limit of a zone) is checked there; see
``actions.changes`` and ``actions.held``.
"""

from collections.abc import Iterator, Mapping

from loambrief.case.problems import DataPath, Fault
from loambrief.case.quantities import did_you_mean, show
from loambrief.case.schema import CaseFile, Material, Sample
from loambrief.case.schema_plan import Nitrogen, NitrogenPass, OwnAction, Period, PlanChange
from loambrief.case.select import SLACK
from loambrief.units import typed_unit

KEYS_OF: Mapping[str, tuple[str, ...]] = {
    "drop": (), "defer": ("until", "condition"), "replace": ("material", "rate"),
    "split": ("parts",), "move": ("rank",)}
"""What a change needs one of; it may have no key of another one."""
KIND_OF = {"lime": "lime", "gypsum": "gypsum", "elemental sulfur": "acidify",
           "fertilizer": "nutrient", "manure": "nutrient", "compost": "nutrient",
           "biosolids": "nutrient", "cover crop": "organic matter"}
"""What a material puts right, by its kind."""
WORK_OF = {"subsoiling": "loosen", "drainage": "drain", "leaching": "leach",
           "sampling": "measure", "seeding": "organic matter"}
"""What a service puts right, by what it does."""
SPREAD = tuple(k for k in KIND_OF if k != "cover crop")
NITROGEN_UNITS = ("gal/ac", "L/ha", "m3/ha")
"""Units of a rate that say nothing about pounds of nitrogen."""


def zone_named(case: CaseFile, typed: str | None) -> Sample | None:
    """The sample whose id or place was typed; None for the whole field."""
    if typed is None:
        return None
    wanted = _fold(typed)
    for name in (lambda s: s.id, lambda s: s.place or ""):
        for sample in case.samples:
            if _fold(name(sample)) == wanted:
                return sample
    return None


def work_of(entry: OwnAction, material: Material | None) -> str | None:
    """What an own action puts right: as stated, else as its material says."""
    if entry.kind is not None or material is None:
        return entry.kind
    return KIND_OF.get(material.kind) or WORK_OF.get(material.does or "")


def own_faults(case: CaseFile) -> Iterator[Fault]:
    """Every contradiction of the adviser's own entries with the case or in themselves."""
    seen: dict[str, int] = {}
    for i, entry in enumerate(case.own_actions):
        known = seen.setdefault(entry.id.lower(), i)
        if known != i:
            yield Fault("CASE042", ("own_actions", i, "id"), f"{show(entry.id)} a second time",
                        "each id once", needs=(("own_actions", known, "id"),))
        yield from _action(case, entry, ("own_actions", i))
    for i, change in enumerate(case.plan_changes):
        yield from _change(case, change, ("plan_changes", i))
    if case.nitrogen is not None:
        yield from _nitrogen(case, case.nitrogen, ("nitrogen",))


def _action(case: CaseFile, entry: OwnAction, path: DataPath) -> Iterator[Fault]:
    yield from _work(case, entry, path)
    material = next((m for m in case.materials if m.id == entry.material), None)
    if entry.rate is not None and entry.material is None:
        yield Fault("CASE053", (*path, "rate"), f"{entry.rate.typed} of nothing",
                    "the material it is a rate of",
                    "Put the material on the list under materials, with its analysis.")
    if material is not None and entry.rate is None and material.kind in SPREAD:
        yield Fault("CASE053", (*path, "rate"), "nothing", f"the rate of {material.id}",
                    "Add the key 'rate' here.", at_key=True)
    if entry.with_seed and (material is None or material.kind != "fertilizer"):
        yield Fault("CASE053", (*path, "with_seed"), "no fertilizer with the seed",
                    "the id of a fertilizer on offer as its material", at_key=True)
    if (material is not None or entry.material is None) and work_of(entry, material) is None:
        yield Fault("CASE053", (*path, "kind"), "nothing", "what it puts right",
                    "Its material does not say it. Add the key 'kind' here.", at_key=True)
    zone = zone_named(case, entry.where)
    whole = case.field.area if zone is None or zone.area is None else zone.area
    if entry.area is not None and entry.area.value > whole.value * SLACK:
        yield Fault("CASE053", (*path, "area"), entry.area.typed,
                    f"at most the {whole.value:.4g} ac of its place")


def _change(case: CaseFile, change: PlanChange, path: DataPath) -> Iterator[Fault]:
    wanted = KEYS_OF[change.change]
    given = [k for keys in KEYS_OF.values() for k in keys if getattr(change, k) is not None]
    if wanted and not set(wanted) & set(given):
        yield Fault("CASE053", (*path, "change"), f"{change.change} without {' or '.join(wanted)}",
                    f"{' or '.join(wanted)} beside it")
    for key in given:
        if key not in wanted:
            yield Fault("CASE053", (*path, key), f"{key} beside change: {change.change}",
                        f"only {', '.join(('reason', *wanted))} beside it",
                        "A further change of the same action is an entry of its own.", at_key=True)
    yield from _material(case, change.material, (*path, "material"))
    if change.until is not None and change.until <= case.case.date:
        yield Fault("CASE047", (*path, "until"), change.until.isoformat(),
                    f"a date after the case date {case.case.date.isoformat()}",
                    needs=(("case", "date"),))
    for i, part in enumerate(change.parts or ()):
        yield from _period(part.window, (*path, "parts", i, "window"))
        yield from _where(case, part.where, (*path, "parts", i, "where"))
    for key in ("where", "rate", "area"):
        stated = [p for p in change.parts or () if getattr(p, key) is not None]
        if stated and len(stated) < len(change.parts or ()):
            yield Fault("CASE053", (*path, "parts"), f"{key} of {len(stated)} parts only",
                        f"the {key} of each part, or of none")


def _nitrogen(case: CaseFile, line: Nitrogen, path: DataPath) -> Iterator[Fault]:
    yield from _pounds(line.rate, (*path, "rate"))
    for i, one in enumerate(line.passes):
        here: DataPath = (*path, "passes", i)
        yield from _pounds(one.nitrogen, (*here, "nitrogen"))
        yield from _work(case, one, here)
        material = next((m for m in case.materials if m.id == one.material), None)
        if material is not None and not _holds_nitrogen(material):
            yield Fault("CASE053", (*here, "material"), f"{material.id} without nitrogen",
                        "a material whose analysis states n or available_n")


def _work(case: CaseFile, entry: OwnAction | NitrogenPass, path: DataPath) -> Iterator[Fault]:
    """What an action and a pass have alike: product, place, time and cost."""
    yield from _material(case, entry.material, (*path, "material"))
    yield from _where(case, entry.where, (*path, "where"))
    yield from _period(entry.window, (*path, "window"))
    if entry.cost is not None and entry.cost.per not in ("ac", "ha", "each"):
        yield Fault("CASE053", (*path, "cost", "per"), show(entry.cost.per),
                    "ac, ha or each (for all of it)")


def _holds_nitrogen(material: Material) -> bool:
    analysis = material.analysis
    if analysis is None:
        return False
    return any(v is not None and v.value > 0 for v in (analysis.available_n, analysis.n))


def _pounds(rate, path: DataPath) -> Iterator[Fault]:
    if typed_unit(rate) in NITROGEN_UNITS:
        yield Fault("CASE053", path, rate.typed, "pounds of nitrogen: lb/ac or kg/ha")


def _material(case: CaseFile, typed: str | None, path: DataPath) -> Iterator[Fault]:
    known = [m.id for m in case.materials]
    if typed is not None and typed not in known:
        yield Fault("CASE052", path, show(typed), "the id of a material on offer",
                    _near(typed, known))


def _where(case: CaseFile, typed: str | None, path: DataPath) -> Iterator[Fault]:
    if typed is None or _fold(typed) == _fold(case.field.name):
        return
    if zone_named(case, typed) is None:
        known = [s.id for s in case.samples]
        yield Fault("CASE052", path, show(typed), "the id of a sample, or nothing for the field",
                    _near(typed, [*known, *(s.place for s in case.samples if s.place)]))


def _period(window: Period | None, path: DataPath) -> Iterator[Fault]:
    if window is None:
        return
    if window.start is None and window.end is None and window.when is None:
        yield Fault("CASE053", path, "an empty group", "start, end or when")
    if window.start is not None and window.end is not None and window.end < window.start:
        yield Fault("CASE047", (*path, "end"), window.end.isoformat(),
                    f"not before {window.start.isoformat()}")


def _near(typed: str, known: list[str]) -> str:
    there = f"Known: {', '.join(known)}." if known else "There is none in this case."
    return f"{did_you_mean(typed, known)} {there}".strip()


def _fold(typed: str) -> str:
    return " ".join(typed.casefold().split())
