"""Makes any number of cases that differ as a month's cases do: all invented, all valid.

Each starts from one of the sample cases (a no-till corn field, saline alfalfa, a vegetable
block) and gets its own client, field, zones, crop, texture, laboratory, results, readings,
weeds, materials, prices, budget and way of printing. A case that the program would refuse is
drawn again; the same seed gives the same files.
"""

from __future__ import annotations

import copy
import random
import re
from collections.abc import Iterator
from pathlib import Path

import yaml

from loambrief.case.load import load_bytes
from loambrief.errors import CaseProblems

SAMPLES = Path(__file__).parents[2] / "sample_inputs"
KINDS = ("acid_corn_ohio", "saline_alfalfa_utah", "vegetables_new_jersey")
FIRST = ("Alder", "Brook", "Crane", "Dell", "Elm", "Fallow", "Glen", "Heron", "Iris", "Juniper",
         "Kestrel", "Larch", "Mill", "Nettle", "Oak", "Plover", "Quarry", "Rush", "Sedge", "Teal")
SECOND = ("Bend", "Bottom", "Corner", "Creek", "Flat", "Gate", "Hollow", "Hill", "Lane", "Ridge")
KIND_OF_CLIENT = ("Farm", "Grain", "Ranch", "Produce", "Dairy", "& Sons", "Land Company")
LABS = ("Millrace Soil Laboratory", "Basin Rim Laboratory", "Pine Hollow Testing",
        "Dunmore Soil Laboratory", "Copper Bend Analytical")
CROPS = {
    "acid_corn_ohio": (("corn", "185 bu/ac"), ("soybean", "58 bu/ac"), ("wheat", "82 bu/ac"),
                       ("alfalfa", "5 ton/ac")),
    "saline_alfalfa_utah": (("alfalfa", "5.5 ton/ac"), ("barley", "95 bu/ac"),
                            ("wheat", "88 bu/ac")),
    "vegetables_new_jersey": (("tomato", "18 ton/ac"), ("pepper", "14 ton/ac"),
                              ("sweet corn", "7 ton/ac")),
}
TEXTURES = ("sandy loam", "loam", "silt loam", "silty clay loam", "clay loam", "sandy clay loam")
OPTIONAL = ("penetrometer", "infiltration", "refractometer", "weeds", "forage", "water", "residue",
            "earlier_applications", "notes", "budget", "targets")
TRIES = 60
_AMOUNT = re.compile(r"([<>]?)(\d+(?:\.\d+)?)( .*)")


def write_cases(folder: Path, count: int, seed: int = 1) -> list[Path]:
    """Write ``count`` cases into a folder of each client; returns their paths in order."""
    paths = []
    for number, (client, text) in enumerate(cases(count, seed)):
        home = folder / client
        home.mkdir(parents=True, exist_ok=True)
        path = home / f"case-{number:05d}.yaml"
        path.write_text(text, encoding="utf-8")
        paths.append(path)
    return paths


def cases(count: int, seed: int = 1) -> Iterator[tuple[str, str]]:
    """(folder of the client, text) of each case."""
    originals = {kind: _original(kind) for kind in KINDS}
    for number in range(count):
        chance = random.Random(f"{seed}-{number}")
        for _ in range(TRIES):
            data = _vary(originals, number, chance)
            text = yaml.safe_dump(data, sort_keys=False, allow_unicode=True, width=100)
            try:
                load_bytes(text.encode("utf-8"), f"case {number}")
            except CaseProblems:
                continue
            yield re.sub(r"\W+", "-", data["client"]["name"]).strip("-").lower(), text
            break
        else:
            raise RuntimeError(f"no valid case after {TRIES} draws for number {number}")


class _AsTyped(yaml.SafeLoader):
    """Dates stay text, as a case file has them."""


_AsTyped.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in resolvers if not tag.endswith("timestamp")]
    for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def _original(kind: str) -> dict:
    text = (SAMPLES / kind / "case.yaml").read_text(encoding="utf-8")
    return _self_contained(yaml.load(text, Loader=_AsTyped))


def _self_contained(value: object) -> object:
    """Without parts that stand in files of their own."""
    if isinstance(value, dict):
        return {k: _self_contained(v) for k, v in value.items()
                if not (isinstance(v, dict) and "file" in v)}
    if isinstance(value, list):
        return [_self_contained(v) for v in value]
    return value


def _vary(originals: dict[str, dict], number: int, chance: random.Random) -> dict:
    kind = KINDS[number % len(KINDS)] if number < len(KINDS) else chance.choice(KINDS)
    data = copy.deepcopy(originals[kind])
    client = number // 6 + chance.choice((0, 0, 0, 1))
    names = random.Random(f"client-{client}")
    name = f"{names.choice(FIRST)} {names.choice(SECOND)} {names.choice(KIND_OF_CLIENT)} {client}"
    data["case"].update(id=f"bench-{number:05d}",
                        units=chance.choice(("us", "us", "us", "si")),
                        paper=chance.choice(("letter", "letter", "a4")))
    data["client"] = {"name": name, "email": f"client{client}@example.com"}
    data["farm"]["name"] = f"{name} {chance.choice(('home', 'hill', 'river'))}"
    _field(data, kind, number, chance)
    _samples(data, chance)
    _readings(data, chance)
    for part in OPTIONAL:
        if part in data and chance.random() < 0.3:
            del data[part]
    _materials(data, chance)
    if "budget" in data:
        data["budget"]["amount"] = round(chance.uniform(800, 15000), -2)
    data.pop("accept", None)
    return data


def _field(data: dict, kind: str, number: int, chance: random.Random) -> None:
    field = data["field"]
    crop, goal = chance.choice(CROPS[kind])
    amount, unit = goal.split()
    field.update(name=f"{chance.choice(FIRST)} {chance.choice(SECOND)}", id=f"F{number}",
                 crop=crop, area=f"{chance.uniform(6, 140):.0f} ac")
    field["yield_goal"] = {"value": f"{float(amount) * chance.uniform(0.8, 1.2):.3g} {unit}",
                           "basis": "mean of the last five years"}
    field.pop("following_crop", None)
    if chance.random() < 0.3:
        field.pop("sensitive_areas", None)


def _samples(data: dict, chance: random.Random) -> None:
    """One to three zones with texture, laboratory and results of their own."""
    area = float(data["field"]["area"].split()[0])
    zones = chance.choice((1, 1, 2, 2, 3))
    places = chance.sample(("north", "south", "east", "west", "ridge", "low ground"), zones)
    lab = chance.choice(LABS)
    samples = []
    for index, place in enumerate(places):
        sample = copy.deepcopy(chance.choice(data["samples"]))
        sample.update(id=f"Z{index + 1}", place=place, texture=chance.choice(TEXTURES),
                      cores=chance.randint(8, 24))
        sample["lab"].update(name=lab, report=f"R-{chance.randint(1000, 9999)}")
        sample.pop("area", None)
        if zones > 1:
            sample["area"] = f"{int(area / zones)} ac"
        shift, level = chance.uniform(-0.5, 0.5), chance.lognormvariate(0, 0.3)
        bases = chance.lognormvariate(0, 0.2)
        for increment in sample["increments"]:
            _increment(increment, shift, level, bases, chance)
        samples.append(sample)
    data["samples"] = samples


def _increment(increment: dict, shift: float, level: float, bases: float,
               chance: random.Random) -> None:
    """Results of one slice: a zone is richer or poorer as a whole, and each value scatters."""
    for name, value in list(increment.items()):
        if name in ("ph", "buffer_ph"):
            part = 1.0 if name == "ph" else 0.35
            increment[name] = round(value + part * shift, 2)
        elif name == "extract":
            increment[name] = {k: _scaled(v, level * chance.uniform(0.9, 1.1))
                               for k, v in value.items() if k != "saturation"}
        elif name in ("depth", "bulk_density", "water_content", "lab_number"):
            continue
        elif name in ("cec", "calcium", "magnesium", "sodium", "exchangeable_sodium"):
            increment[name] = _scaled(value, bases * chance.uniform(0.95, 1.05))
        else:
            increment[name] = _scaled(value, level * chance.uniform(0.8, 1.25))


def _scaled(text: object, factor: float) -> object:
    """``"21 ppm"`` times a factor."""
    match = _AMOUNT.fullmatch(str(text))
    if not match:
        return text
    return f"{match[1]}{float(match[2]) * factor:.3g}{match[3]}"


def _readings(data: dict, chance: random.Random) -> None:
    cone = data.get("penetrometer")
    if cone:
        factor = chance.uniform(0.6, 1.3)
        points = chance.sample(cone["points"], chance.randint(3, len(cone["points"])))
        for point in points:
            point["readings"] = [v if v is None else round(v * factor * chance.uniform(0.9, 1.1))
                                 for v in point["readings"]]
        cone["points"] = points
    for reading in data.get("refractometer", {}).get("readings", ()):
        reading["replicates"] = [round(v * chance.uniform(0.8, 1.3), 1)
                                 for v in reading["replicates"]]
    if data.get("weeds"):
        data["weeds"] = chance.sample(data["weeds"], chance.randint(1, len(data["weeds"])))
    for test in data.get("forage", ()):
        for name in ("crude_protein", "ash", "nitrate"):
            if name in test:
                test[name] = _scaled(test[name], chance.uniform(0.8, 1.2))


def _materials(data: dict, chance: random.Random) -> None:
    offered = data.get("materials", [])
    kept = sorted(chance.sample(range(len(offered)), chance.randint(max(3, len(offered) - 4),
                                                                      len(offered))))
    data["materials"] = [offered[i] for i in kept]
    for material in data["materials"]:
        for price in ("price", "freight", "spreading"):
            if price in material:
                amount = material[price]["amount"] * chance.uniform(0.75, 1.3)
                material[price]["amount"] = round(amount, 2)
        if chance.random() < 0.1:
            material.pop("price", None)
