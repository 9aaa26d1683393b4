"""A filled field sheet into a case: a new one, or one that exists.

Nothing that stands in a case is overwritten. Keys that are not there are put in; a part or
a sample that is there with other values is a problem, and the case stays as it is.
"""

import datetime as dt
import re
from collections.abc import Mapping
from pathlib import Path

from loambrief.case.intake_case import Written, entries_by_id, still_open
from loambrief.case.problems import Fault, in_file_order
from loambrief.case.quantities import as_identifier
from loambrief.case.reader import read_sound
from loambrief.case.schema import Sample
from loambrief.case.sheet_layout import Layout
from loambrief.case.sheet_read import Filled
from loambrief.case.sheet_values import Parts, read_parts
from loambrief.case.source import SourceText
from loambrief.case.starter import starter_case
from loambrief.case.yaml_edit import SAMPLES, Tree, Value, plain_of, set_parts
from loambrief.errors import CaseProblems

NEW_CASE = "Make the case of this visit first: loambrief new --from OLD.yaml NEW.yaml"


def new_from_sheet(filled: Filled, file: str) -> Written:
    """A starter case with what a sheet says about field and visit.

    Raises
    ------
    CaseProblems
        A box does not hold what it asks for.
    """
    parts, layout = read_parts(filled), filled.layout
    date = filled.values.get("visit/date")
    day = dt.date.fromisoformat(date) if date else None
    text = starter_case(units=layout.units, crop="corn", date=day)
    for key in (*parts.single, *(k for k, v in (("samples", parts.samples),
                                                ("weeds", parts.weeds),
                                                ("notes", parts.notes)) if v)):
        text = re.sub(rf"(?m)^# {key}:\n(?:# .*\n)+", "", text)
    about = layout.about
    inside: dict[str, Mapping[str, Tree]] = {
        "case": {"id": Value(case_name(layout, date))} | (
            {} if layout.language == "en" else {"language": Value(layout.language)}) | {
            "paper": Value(layout.paper)},
        "client": {"name": Value(about.client)},
        "farm": {"name": Value(about.farm)},
        "field": {"name": Value(about.field)} | (
            {"id": Value(about.field_id)} if about.field_id else {}) | {
            "area": Value(about.area), "crop": Value(about.crop),
            "tillage": Value(about.tillage), "irrigation": Value(about.irrigation),
            "drainage": Value(about.drainage)},
    }
    content, _ = set_parts(text.encode("utf-8"), file, parts=parts.single, inside=inside, added={
        "samples": [_ordered(s) for s in parts.samples], "weeds": parts.weeds,
        "notes": parts.notes})
    return Written(content, _said(filled), still_open(content, file))


def case_name(layout: Layout, date: str | None) -> str:
    """Id of a new case: the field and the year and month of the visit."""
    name = as_identifier(layout.about.field_id or layout.about.field).lower()
    return f"{name or 'field'}-{date[:7] if date else 'visit'}"[:64]


def updated_from_sheet(raw: bytes, file: str, filled: Filled,
                       folder: Path | None = None) -> Written:
    """An existing case with what a sheet says put in; the rest of its text is untouched.

    Raises
    ------
    CaseProblems
        A box does not hold what it asks for, the case is of another field, or it already
        says something else.
    """
    parts = read_parts(filled)
    source = read_sound(raw, file)
    merging = _SheetMerging(source, filled.layout, parts)
    changed, added, single = merging.run()
    if merging.faults:
        raise CaseProblems(in_file_order(source.problems(merging.faults)))
    content, lost = set_parts(raw, file, changed=changed, added=added, parts=single)
    return Written(content, (*_said(filled), *merging.notes, *lost),
                   still_open(content, file, folder))


def _said(filled: Filled) -> tuple[str, ...]:
    return (f"sheet {filled.layout.sheet} of case {filled.layout.case_id}: "
            f"{len(filled.values)} boxes filled, {len(filled.pages) - len(filled.values)} empty",)


def _ordered(sample: Mapping[str, Tree]) -> dict[str, Tree]:
    return {key: sample[key] for key in Sample.model_fields if key in sample}


class _SheetMerging:
    def __init__(self, source: SourceText, layout: Layout, parts: Parts):
        self.source, self.layout, self.parts = source, layout, parts
        self.data: Mapping = source.data if isinstance(source.data, dict) else {}
        self.faults: list[Fault] = []
        self.notes: list[str] = []

    def run(self) -> tuple[dict, dict, dict]:
        """Keys of samples to put in, entries to add, parts to put in."""
        self._same_field()
        changed, samples = self._samples()
        single = {}
        for key, tree in self.parts.single.items():
            old = self.data.get(key)
            if old is None:
                single[key] = tree
                self.notes.append(f"{key}: put in")
            elif plain_of(old) == plain_of(tree):
                self.notes.append(f"{key}: nothing to change")
            else:
                day = plain_of(old.get("date")) if isinstance(old, Mapping) else "another kind"
                self._there((key,), f"{key} of {day}")
        return changed, {"samples": samples, "weeds": self._new(
            "weeds", self.parts.weeds), "notes": self._new("notes", self.parts.notes)}, single

    def _there(self, path: tuple, found: str) -> None:
        self.faults.append(Fault("CASE071", path, f"{found} already in the case",
                                 "a case without it, or with the same values", NEW_CASE))

    def _same_field(self) -> None:
        about = self.data.get("field")
        case = self.data.get("case")
        about = about if isinstance(about, Mapping) else {}
        case_id = plain_of(case.get("id")) if isinstance(case, Mapping) else None
        mine = self.layout.about
        same = case_id == self.layout.case_id or (
            plain_of(about.get("id")) == mine.field_id if mine.field_id and "id" in about
            else str(plain_of(about.get("name"))).lower() == mine.field.lower())
        if not same:
            self.faults.append(Fault(
                "CASE071", ("field", "name"), f"field {plain_of(about.get('name'))}",
                f"field {mine.field} ({self.layout.case_id}), as the sheet says",
                "Is this the right case for the sheet?"))

    def _samples(self) -> tuple[dict[int, dict[str, Tree]], list[Tree]]:
        known = entries_by_id(self.source, SAMPLES)
        changed: dict[int, dict[str, Tree]] = {}
        added: list[Tree] = []
        for sample in self.parts.samples:
            name = str(plain_of(sample["id"]))
            place = known.get(name.lower())
            if place is None:
                added.append(_ordered(sample))
                self.notes.append(f"sample {name}: added")
                continue
            position, old = place
            keys = {k: v for k, v in sample.items() if old.get(k) is None}
            for key, value in sample.items():
                if key in keys or key == "id" or _agrees(key, old[key], value):
                    continue
                if key in ("date", "cores", "residue", "increments", "lab", "fizz", "sent_for"):
                    self._there(("samples", position, key), f"{key} of sample {name}")
                else:
                    self.notes.append(f"sample {name}: kept from the case: {key}")
            if keys:
                changed[position] = keys
                self.notes.append(f"sample {name}: put in {', '.join(keys)}")
        return changed, added

    def _new(self, key: str, entries: list[Tree]) -> list[Tree]:
        """Entries that are not in the case's list yet."""
        there = self.data.get(key)
        old = [plain_of(e) for e in (there if isinstance(there, list) else [])]
        fresh = []
        for entry in entries:
            meant = plain_of(entry)
            if meant in old:
                continue
            twin = next((i for i, e in enumerate(old) if isinstance(e, Mapping) and isinstance(
                meant, Mapping) and all(e.get(k) == meant.get(k) for k in ("species", "place"))),
                None)
            if twin is not None:
                self._there((key, twin), f"{meant['species']} with other entries")
            else:
                fresh.append(entry)
        if fresh:
            self.notes.append(f"{key}: {len(fresh)} added")
        return fresh


def _agrees(key: str, old: object, new: Tree) -> bool:
    """True if what the sheet says stands in the case already."""
    before, meant = plain_of(old), plain_of(new)
    if key == "increments" and isinstance(before, list):
        depths = [e.get("depth") for e in before if isinstance(e, Mapping)]
        return all(e["depth"] in depths for e in meant)
    if key == "lab" and isinstance(before, Mapping):
        return before.get("name") == meant["name"]
    return before == meant or str(before).replace(" ", "") == str(meant).replace(" ", "")
