"""The measured results of a case as data, so that a season can be counted without the case."""

from collections.abc import Iterable, Mapping

from loambrief.case.measurements import EXTRACT, SLICE, of_part
from loambrief.case.part import Part
from loambrief.case.schema import CaseFile, Sample
from loambrief.case.select import main_increment
from loambrief.findings.places import place_of
from loambrief.units import Quantity

EXTRACT_METHOD = "saturation extract"
"""How results of a saturation extract were obtained: their place in the case says it."""


def field_data(case: CaseFile) -> dict[str, object]:
    """What the field is known by, with its crop and its area [ac]."""
    field = case.field
    return {"id": field.id, "name": field.name, "farm": case.farm.name,
            "region": case.farm.region, "crop": field.crop, "area_ac": field.area.value}


def measured_data(case: CaseFile) -> list[dict[str, object]]:
    """Every test of the case with its results, in house units.

    Returns
    -------
    list of dict
        ``kind`` (``soil``, ``forage``, ``tissue``, ``water``), ``id``, ``place``, ``label``,
        ``date``, ``lab``, ``cores``, and ``layers``: each with its ``depth`` [in] (None where
        there is none), for soil whether it stands for the tilled layer (``main``), and its
        ``results`` by name: ``value``, ``unit``, ``censor`` (``<``, ``>``) where the laboratory
        gave only a limit, and ``method`` where one was stated. What was not measured is not
        there.
    """
    found = [_test("soil", s.id, s, _layers(s), s.lab.name, s.cores, place_of(s).id,
                   s.place or s.id) for s in case.samples]
    found += [_test("forage", f.id, f, [_layer(None, _readings(f))], f.lab, f.cores, "",
                    f.cutting or f.id) for f in case.forage]
    found += [_test("tissue", t.id, t, [_layer(None, _readings(t))], t.lab, None, "",
                    t.place or t.id) for t in case.tissue]
    if case.water is not None:
        water = case.water
        found.append(_test("water", water.source, water, [_layer(None, _readings(water))],
                           water.lab, None, "", water.source))
    return found


def _test(kind: str, name: str, test, layers: list[dict], lab: str | None, cores: int | None,
          place: str, label: str) -> dict[str, object]:
    return {"kind": kind, "id": name, "place": place, "label": label,
            "date": test.date.isoformat(), "lab": lab, "cores": cores, "layers": layers}


def _layers(sample: Sample) -> list[dict]:
    made = []
    for slice_ in sample.increments:
        results = {m.field: _result(getattr(slice_, m.field), m.unit,
                                    getattr(sample.methods, m.method) if m.method else None)
                   for m in of_part(SLICE) if getattr(slice_, m.field) is not None}
        if slice_.extract is not None:
            results |= {f"extract.{m.field}": _result(getattr(slice_.extract, m.field), m.unit,
                                                      EXTRACT_METHOD)
                        for m in of_part(EXTRACT) if getattr(slice_.extract, m.field) is not None}
        made.append(_layer(slice_.depth[:2], results) | {"main": slice_ is main_increment(sample)})
    return made


def _layer(depth: Iterable[float] | None, results: Mapping[str, object]) -> dict:
    return {"depth": None if depth is None else [round(end, 4) for end in depth],
            "results": results}


def _readings(part: Part) -> dict[str, object]:
    """Quantities of a forage, tissue or water test."""
    made: dict[str, object] = {}
    for name in type(part).model_fields:
        value = getattr(part, name)
        if isinstance(value, Quantity):
            made[name] = _result(value, value.unit, None)
        elif name == "ph" and value is not None:
            made[name] = _result(value, "pH", None)
    return made


def _result(value: object, unit: str, method: str | None) -> dict[str, object]:
    number = value.value if isinstance(value, Quantity) else float(str(value))
    made: dict[str, object] = {"value": float(f"{number:.10g}"), "unit": unit}
    if isinstance(value, Quantity) and value.censor:
        made["censor"] = value.censor
    if method:
        made["method"] = method
    return made
