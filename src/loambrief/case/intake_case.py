"""Samples from a lab's file into a case: a new one from the starter, or one that exists.

In an existing case only the keys a lab decides are replaced (lab, methods, increments, date);
what the adviser typed (area, cores, texture, place, residue) stays. Results the lab's file does
not hold are never dropped without a word.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from loambrief.case.intake import Intake, entry_tree, sample_tree
from loambrief.case.intake_cells import DEPTH
from loambrief.case.intake_kinds import SOIL
from loambrief.case.load import load_bytes
from loambrief.case.measurements import EXTRACT_KEY, field_at, path_of, results_by_method
from loambrief.case.problems import Fault, Problem, in_file_order
from loambrief.case.reader import read_sound
from loambrief.case.source import SourceText
from loambrief.case.starter import starter_case
from loambrief.case.yaml_edit import SAMPLES, Tree, emit, plain_of, set_parts
from loambrief.errors import CaseProblems

_EXAMPLE = re.compile(r"(?m)^# samples:\n(?:# .*\n)+")
ADVISERS_OWN = ("CASE041", "CASE047")
"""Areas and the date of the advice: no lab file holds them, so they may still be open."""


@dataclass(frozen=True)
class Written:
    """A case ready to be written."""

    content: bytes
    notes: tuple[str, ...]
    """What changed, for the user to read."""
    problems: tuple[Problem, ...]
    """What is still open or doubtful in the case; no result of the lab is among it."""


def new_case(intake: Intake, file: str, **starter: str | None) -> Written:
    """A starter case that holds the samples; ``starter`` is as of :func:`starter_case`.

    Raises
    ------
    CaseProblems
        The samples do not make a case.
    """
    text = starter_case(**starter)  # type: ignore[arg-type]
    if intake.report != SOIL:
        return updated_case(text.encode("utf-8"), file, intake)
    trees: list[Tree] = [sample_tree(s) for s in intake.samples]
    block = "\n".join(emit({"samples": trees})) + "\n"
    made, found = _EXAMPLE.subn(lambda _: block, text, count=1)
    if not found:
        content, _ = set_parts(text.encode("utf-8"), file, added={SAMPLES: trees})
    else:
        content = made.encode("utf-8")
    return Written(content, (), still_open(content, file, part=SAMPLES))


def updated_case(raw: bytes, file: str, intake: Intake, folder: Path | None = None) -> Written:
    """An existing case with the samples put in; the rest of its text is untouched.

    Raises
    ------
    CaseProblems
        The case cannot be edited, or holds results that the lab's file would drop.
    """
    source = read_sound(raw, file)
    if intake.report != SOIL:
        return _with_entries(raw, file, source, intake, folder)
    merging = _Merging(source, intake)
    changed, added = merging.run()
    if merging.faults:
        raise CaseProblems(in_file_order(source.problems(merging.faults)))
    content, lost = set_parts(raw, file, changed=changed, added={SAMPLES: added})
    return Written(content, (*merging.notes, *lost), still_open(content, file, folder, SAMPLES))


def _with_entries(raw: bytes, file: str, source: SourceText, intake: Intake,
                  folder: Path | None) -> Written:
    """Forages, the water or materials put in; an entry that is there already is never changed."""
    part = intake.report if intake.report in ("forage", "water", "tissue") else "materials"
    trees = [entry_tree(intake.report, s) for s in intake.samples]
    old = entries_by_id(source, part)
    watered = part == "water" and isinstance(source.data, dict) and source.data.get(part)
    there = [t for t in trees if watered or str(plain_of(t.get("id"))).lower() in old]
    if there:
        names = ", ".join(str(plain_of(t.get("id", t.get("source")))) for t in there)
        fault = Fault("CASE068", (part,), f"a case that has {part} already, and {names}",
                      "each entry once", "Take the old entry out of the case, or give the new one "
                      "another name in the lab's file.")
        raise CaseProblems((source.problem(fault),))
    content, lost = (set_parts(raw, file, parts={part: trees[0]}) if part == "water"
                     else set_parts(raw, file, added={part: trees}))
    added = tuple(f"{part} {s.id}: added" for s in intake.samples)
    return Written(content, (*added, *lost), still_open(content, file, folder, part))


def entries_by_id(source: SourceText, part: str) -> dict[str, tuple[int, Mapping]]:
    """Entries of a list of a case by their id in small letters, with the place in the list."""
    entries = source.data.get(part) if isinstance(source.data, dict) else None
    known: dict[str, tuple[int, Mapping]] = {}
    for i, entry in enumerate(entries if isinstance(entries, list) else []):
        if isinstance(entry, Mapping) and "id" in entry:
            known.setdefault(str(plain_of(entry["id"])).lower(), (i, entry))
    return known


def still_open(content: bytes, file: str, folder: Path | None = None,
               part: str | None = None) -> tuple[Problem, ...]:
    """Problems and warnings of a case; an error in the part that came in is raised."""
    try:
        return load_bytes(content, file, folder=folder).warnings
    except CaseProblems as error:
        bad = [p for p in error.problems if part and p.severity == "error" and p.part == part
               and p.code not in ADVISERS_OWN]
        if bad:
            raise CaseProblems(tuple(bad)) from None
        return error.problems


class _Merging:
    def __init__(self, source: SourceText, intake: Intake):
        self.source, self.intake = source, intake
        self.faults: list[Fault] = []
        self.notes: list[str] = []

    def run(self) -> tuple[dict[int, dict[str, Tree]], list[Tree]]:
        """Keys to replace by position of the sample, and samples to add."""
        known = entries_by_id(self.source, SAMPLES)
        changed: dict[int, dict[str, Tree]] = {}
        added: list[Tree] = []
        for sample in self.intake.samples:
            new = sample_tree(sample)
            if sample.id.lower() in known:
                i, old = known[sample.id.lower()]
                keys = self._merge(i, old, new)
                if keys:
                    changed[i] = keys
                    self.notes.append(f"sample {sample.id}: replaced {', '.join(keys)}")
                else:
                    self.notes.append(f"sample {sample.id}: nothing to change")
            else:
                added.append(new)
                self.notes.append(f"sample {sample.id}: added")
        return changed, added

    def _merge(self, i: int, old: Mapping, new: dict[str, Tree]) -> dict[str, Tree]:
        wanted: dict[str, Tree] = {k: v for k, v in new.items() if k == "date"
                                   or (k == "place" and "place" not in old)}
        for key in ("lab", "methods"):
            before, fresh = old.get(key), new[key]
            assert isinstance(fresh, dict)
            if not isinstance(before, Mapping | None):
                self._not_usable(i, key)
                continue
            wanted[key] = {**(before or {}), **fresh}
            kept = [k for k in before or {} if key == "lab" and k not in fresh]
            if kept:
                self.notes.append(f"sample {plain_of(old['id'])}: kept from the case: lab "
                                  + ", ".join(kept))
        wanted["increments"] = self._increments(i, old, new)
        return {k: t for k, t in wanted.items()
                if t and plain_of(t) != plain_of(old.get(k))}

    def _not_usable(self, i: int, key: str) -> None:
        self.faults.append(Fault("CASE068", ("samples", i, key), "a part that cannot be read",
                                 "a sound part", "Put the case right first: loambrief check."))

    def _increments(self, i: int, old: Mapping, new: dict[str, Tree]) -> Tree:
        before = old.get("increments")
        if before is None:
            return new["increments"]
        slices: dict[tuple[float, float] | None, dict[str, object]] = {}
        for part in before if isinstance(before, list) else [None]:
            depth = _depth(part)
            if depth is None:
                self._not_usable(i, "increments")
                return new["increments"]
            slices[depth] = _flat(part)
        fresh = {_depth(plain_of(t)): _flat(t) for t in new["increments"]}  # type: ignore[union-attr]
        for j, depth in enumerate(slices):
            if depth not in fresh:
                self.faults.append(Fault(
                    "CASE068", ("samples", i, "increments", j),
                    f"{plain_of(slices[depth]['depth'])}, which {self.intake.table.name} does not "
                    "hold", "the same slices in both",
                    "Take the slice out of the case, or give one of the samples another id."))
        merged: dict[object, Mapping[str, object]] = {}
        for depth in [*slices, *(d for d in fresh if d not in slices)]:
            if depth in fresh:
                merged[depth] = self._slice(i, old, slices.get(depth, {}), fresh[depth], new)
        return [_tree(flat) for flat in merged.values()]

    def _slice(self, i: int, old: Mapping, before: Mapping[str, object],
               fresh: Mapping[str, object], new: Mapping[str, Tree]) -> dict[str, object]:
        decided = {"depth", *self.intake.mapped}
        kept = {k: v for k, v in before.items() if k not in decided and k not in fresh}
        name = f"sample {plain_of(old['id'])} {plain_of(fresh['depth'])}"
        for key in (k for k in before if k in decided and k != "depth"):
            was = plain_of(before[key])
            now = plain_of(fresh[key]) if key in fresh else None
            if now is None:
                self.notes.append(f"{name}: {key} {was} taken out, blank in the lab's file")
            elif now != was:
                self.notes.append(f"{name}: {key} {was}, now {now}")
        for method, results in results_by_method().items():
            then = plain_of((old.get("methods") or {}).get(method))
            now = plain_of(new["methods"].get(method))  # type: ignore[union-attr]
            hurt = [k for k in kept if k in results]
            if hurt and now != "null" and then != "null" and then != now:
                self.faults.append(Fault(
                    "CASE068", ("samples", i, "methods", method), f"{then} for {', '.join(hurt)}",
                    f"the lab's {now}, or no such result",
                    "Take the old result out of the case, or map it."))
        same = {k: fresh.get(k, v) for k, v in before.items() if k in fresh or k in kept}
        if before:
            same["depth"] = before["depth"]
        return {**same, **{k: v for k, v in fresh.items() if k not in same}}


def _depth(part: object) -> tuple[float, float] | None:
    try:
        return DEPTH.validate_python(str(part["depth"]))[:2]  # type: ignore[index]
    except (TypeError, KeyError, ValueError):
        return None


def _flat(part: object) -> dict[str, object]:
    """Values of a slice by field; those of the extract as :func:`measurements.path_of` says."""
    assert isinstance(part, Mapping)
    flat: dict[str, object] = {}
    for key, value in part.items():
        if key == EXTRACT_KEY and isinstance(value, Mapping):
            flat |= {field_at(key, k): v for k, v in value.items()}
        else:
            flat[key] = value
    return flat


def _tree(flat: Mapping[str, object]) -> Tree:
    tree: dict[str, Tree] = {}
    for key, value in flat.items():
        *above, last = path_of(key)
        inner = tree.setdefault(above[0], {}) if above else tree
        assert isinstance(inner, dict)
        inner[last] = value
    return tree
