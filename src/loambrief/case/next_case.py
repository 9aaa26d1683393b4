"""The next case of a field, pre-filled from the last one.

What stays true is kept: people, field, zones, products. What has to be found out anew is
left out, so that "loambrief check" asks for it: measurements, prices, the price dates, the
budget. The last plan becomes ``done:``, each line to be completed with what really happened.
"""

import datetime as dt
import json
import os
import posixpath
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from loambrief.case.load import LoadedCase
from loambrief.case.names import PERENNIAL, crops, fold
from loambrief.case.quantities import as_identifier
from loambrief.case.reader import read_text
from loambrief.case.schema import Analysis, CaseFile, FieldInfo
from loambrief.case.yaml_edit import Tree, Value, emit
from loambrief.errors import ImpossibleInput
from loambrief.units import Quantity

KEPT_HEADER = ("valid_until", "purpose")
"""Keys of the case that belong to the visit, and are left out."""
PRICES = ("price", "freight", "spreading")
LASTING = ("manure", "biosolids")
"""Kinds that feed crops beyond the first season; what the last case did with them is kept."""


@dataclass(frozen=True)
class PlannedLine:
    """One action of the last plan, as the next case lists it.

    Amounts are texts as in a case ("2 ton/ac"); None where there is none.
    """

    action: str
    material: str | None = None
    material_id: str | None = None
    kind: str | None = None
    where: str | None = None
    rate: str | None = None
    area: str | None = None
    cost: float | None = None


def next_case(last: LoadedCase, plan: Sequence[PlannedLine], path: Path,
              date: dt.date | None = None) -> str:
    """Text of the next case: YAML, with a remark at everything to be filled in.

    Parameters
    ----------
    plan : sequence of PlannedLine
        What the last advisory asked for.
    path : Path
        Where the new case will stand; paths in it are relative to its folder.
    date : datetime.date or None
        Date of the new case; today if None. It must be after the last case's.
    """
    date = date or dt.date.today()
    if date <= last.case.case.date:
        raise ImpossibleInput(f"the next case is of {date}, not after {last.case.case.date}; "
                              "give its date with --date")
    source, _ = read_text(last.source_text, last.file)
    data: Mapping = source.data if isinstance(source.data, dict) else {}
    old = Path(last.file).parent
    tree: dict[str, Tree] = {"loambrief": Value("1", plain=True),
                             "case": _header(last.case, data["case"], date)}
    for part in ("client", "farm"):
        tree[part] = _moved(data[part], old, path.parent)
    tree["field"] = _field(last.case, data["field"])
    tree["adviser"] = _moved(data["adviser"], old, path.parent)
    for key in ("boundary", "guide", "lime_table", "targets"):
        if key in data:
            tree[key] = _moved(data[key], old, path.parent)
    earlier = [*(data.get("history") or []), Path(last.file).name]
    tree["history"] = [Value(_path(str(name), old, path.parent)) for name in earlier]
    tree["done"] = [_done(line, last.case) for line in plan]
    tree["samples"] = [_zone(s) for s in data.get("samples") or [] if not _repeats(s)]
    if "materials" in data:
        tree["materials"] = _materials(data["materials"], old, path.parent)
    tenure = last.case.tenure
    if tenure is not None and (tenure.until is None or tenure.until > date):
        tree["tenure"] = data["tenure"]
    if data.get("constraints"):
        tree["constraints"] = data["constraints"]
    spread = [*(data.get("earlier_applications") or []), *_spread(last.case)]
    if spread:
        tree["earlier_applications"] = spread
    return _text(tree, last)


def _spread(case: CaseFile) -> list[Tree]:
    """Manure that the last case says was spread: it gives nitrogen for years to come."""
    return [{"date": Value(d.date.isoformat()), "material": Value(d.material),
             "kind": Value(d.kind), "rate": Value(d.rate.typed),
             **({"analysis": _contents(d.analysis)} if d.analysis is not None else {})}
            for d in case.done
            if d.kind in LASTING and d.date and d.material and d.rate and not d.not_done]


def _header(case: CaseFile, data: Mapping, date: dt.date) -> Tree:
    name = as_identifier(case.field.id or case.field.name).lower() or "field"
    kept = {k: v for k, v in data.items() if k not in KEPT_HEADER}
    return {**kept, "id": Value(f"{name}-{date:%Y-%m}"[:64]), "date": Value(date.isoformat())}


def _field(case: CaseFile, data: Mapping) -> Tree:
    """The field without what hangs on the season; the crop that was to follow."""
    gone = ("previous_crop", "following_crop", "yield_goal", "dates", "stage", "seasonal_et",
            "reference_et", "root_depth")
    kept: dict[str, Tree] = {k: v for k, v in data.items() if k not in gone}
    row = crops().get(fold(case.field.crop))
    if case.field.following_crop:
        kept["crop"] = Value(case.field.following_crop, comment="was to follow; is it there?")
    elif row is None or row["group"] not in PERENNIAL:
        kept.pop("crop", None)
    kept["previous_crop"] = Value(case.field.crop)
    return {k: kept[k] for k in FieldInfo.model_fields if k in kept}


def _moved(data: Any, old: Path, new: Path) -> Tree:
    """A part as it is; the file it names, seen from the new folder."""
    if isinstance(data, Mapping) and "file" in data:
        return {"file": Value(_path(str(data["file"]), old, new))}
    if isinstance(data, str) and data.lower().endswith((".yaml", ".yml", ".toml")):
        return Value(_path(data, old, new))
    return data


def _path(name: str, old: Path, new: Path) -> str:
    moved = os.path.relpath((old / name).resolve(), new.resolve())
    return posixpath.normpath(moved.replace(os.sep, "/"))


def _done(line: PlannedLine, case: CaseFile) -> Tree:
    """A line to be completed: the date, or why it was not done."""
    made: dict[str, Tree] = {"action": Value(line.action)}
    for key in ("material", "kind", "where"):
        value = getattr(line, key)
        if value:
            made[key] = Value(value)
    planned: dict[str, Tree] = {k: Value(getattr(line, k)) for k in ("rate", "area")
                                if getattr(line, k)}
    if line.cost is not None:
        planned["cost"] = Value(f"{line.cost:g}", plain=True)
    if planned:
        made["planned"] = planned
    made["date"] = Value("null", plain=True,
                         comment="fill in date, rate, area and cost, or not_done: <why>")
    material = next((m for m in case.materials if m.id == line.material_id), None)
    if material is not None and material.analysis is not None and line.rate:
        made["analysis"] = _contents(material.analysis)
    return made


def _contents(analysis: Analysis) -> Tree:
    found: dict[str, Tree] = {}
    for name in Analysis.model_fields:
        value = getattr(analysis, name)
        if isinstance(value, Quantity):
            found[name] = Value(value.typed)
        elif value and name in ("passing", "metals"):
            found[name] = {key: Value(q.typed) for key, q in value.items()}
    return found


def _repeats(sample: object) -> bool:
    """A further sample of a zone that has its own entry already."""
    told = sample.get("repeats") if isinstance(sample, Mapping) else None
    return isinstance(told, Mapping) and told.get("treat") != "keep apart"


def _zone(sample: object) -> Tree:
    """What a zone is (name, place, area, texture, slope, water); the rest is taken anew."""
    return {k: v for k, v in (sample.items() if isinstance(sample, Mapping) else ())
            if k in ("id", "place", "area", "share", "texture", "slope", "near_water")}


def _materials(data: object, old: Path, new: Path) -> Tree:
    if isinstance(data, Mapping):
        return _moved(data, old, new)
    made: list[Tree] = []
    for entry in data if isinstance(data, list) else []:
        if "file" in entry:
            made.append(_moved(entry, old, new))
            continue
        made.append({**entry, **{key: _asked(entry[key]) for key in PRICES
                                           if isinstance(entry.get(key), Mapping)}})
    return made


def _asked(price: Mapping) -> Tree:
    """A price to be asked for again: its unit stays."""
    was = f"was {price.get('amount')} on {price.get('date')}; ask again"
    return {"per": Value(str(price.get("per")), comment=was)}


def _text(tree: Mapping[str, Tree], last: LoadedCase) -> str:
    head = [
        f"# Next case of {json.dumps(last.case.field.name, ensure_ascii=False)[1:-1]}, after "
        f"{last.case.case.id} of {last.case.case.date}.",
        "# Kept: people, field, zones, products. To be filled in anew: crop and yield goal,",
        "# samples, readings, prices with their dates, and what became of the last plan.",
        '# "loambrief check" lists all of it; "loambrief intake" takes lab files and field sheets.',
    ]
    remarks = {
        "history": "# Earlier cases of this field, for trends.",
        "done": "# The last plan. Say of each line when it was done and how much went on, or why "
                "it\n# was not done. Nothing here is taken as done until it has a date.",
        "samples": "# Zones of the last visit: fill in date, cores, lab, methods and slices.",
        "materials": "# Products of the last visit: ask for the prices again, with their dates.",
    }
    lines: list[str | None] = list(head)
    for key, value in tree.items():
        if isinstance(value, dict | list) and not value:
            continue
        lines += ["" if key != "loambrief" else None, remarks.get(key), *emit({key: value})]
    return "\n".join(line for line in lines if line is not None) + "\n"
