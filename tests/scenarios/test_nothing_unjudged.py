"""No material is advised against for a nutrient that is short or was not judged, over a grid.

What a guide says of a test is read here from the guide's own file, not by the program: a rule
of the nutrient that names the crop (or its parent, or every crop) and the extract, and the
level below which the test is short.
"""

import csv
import itertools
import re
import tomllib
from dataclasses import replace
from functools import cache

import pytest
import yaml
from hypothesis import settings

from loambrief import pipeline
from loambrief.actions.plan import make_plan
from loambrief.case.load import load_case
from loambrief.case.schema import TEXTURES, CaseFile
from loambrief.findings.model import JudgedKind, Verdict
from loambrief.render.plain import render_plain
from loambrief.report import build
from loambrief.report.blocks import Annex, plain
from loambrief.report.glossary import printed
from loambrief.report.parts import Summary
from loambrief.report.pictures import Pictures
from loambrief.resources import tables_dir
from loambrief.topics.assess import assess

GUIDES = {p.stem: tomllib.loads(p.read_text(encoding="utf-8"))
          for p in sorted((tables_dir() / "nutrients" / "guides").glob("*.toml"))}
with (tables_dir() / "crops" / "crops.csv").open(encoding="utf-8", newline="") as stream:
    PARENTS = {row["crop"]: row["parent"] for row in csv.DictReader(stream)}
CROPS = tuple(PARENTS)
with (tables_dir() / "case" / "methods.csv").open(encoding="utf-8", newline="") as stream:
    METHODS = {row["method"]: tuple(row["choices"].split("|")) for row in csv.DictReader(stream)}
P_METHODS, K_METHODS = METHODS["phosphorus"], METHODS["cations"]
LEVELS = ((4, 60), (22, 150), (120, 420))
"""Phosphorus and potassium [ppm]."""
MATERIALS = {"urea": ("n", 46), "phosphate": ("p2o5", 45), "potash": ("k2o", 60),
             "borate": ("boron", 14)}


def _readers():
    """Guides that together hold every kind of rule for every nutrient and extract."""
    met, kept = set(), []
    for guide, data in GUIDES.items():
        ways = {(r["nutrient"], r["kind"], m) for r in data["rule"]
                if r["nutrient"] in ("P2O5", "K2O") for m in r["methods"]}
        if ways - met:
            kept.append(guide)
            met |= ways
    return tuple(kept)


READERS = _readers()
OTHERS = tuple(guide for guide in GUIDES if guide not in READERS)
"""These read tests as some reader does; they meet the crops they name and one they do not."""
FACTORS = (READERS, CROPS, P_METHODS, K_METHODS, TEXTURES, LEVELS)
EVERYTHING = settings().max_examples > 100
"""The search profile walks the whole grid (hours); the usual one each pair of levels."""
RENDERED = 2
"""Fields for each guide and language of which page 1 is written."""
OF_BUYING = {"en": r"\b(buy|buying|bought)\b", "es": r"\bcompr(a|as|e|en|ar|arlo|arla|ado)\b"}
NAMED = {"en": {"N": "nitrogen", "P2O5": "phosph", "K2O": "potas", "B": "boron", "S": "sulfur"},
         "es": {"N": "nitrógeno", "P2O5": "fósforo", "K2O": "potas", "B": "boro", "S": "azufre"}}


@cache
def covering():
    """Fields in which each level of a factor meets each level of every other one.

    The next pair that is still lacking is taken, and the other factors are filled with the
    levels that bring most lacking pairs with them.
    """
    lacking = {((i, a), (j, b)): None for i, j in itertools.combinations(range(len(FACTORS)), 2)
               for a in range(len(FACTORS[i])) for b in range(len(FACTORS[j]))}
    rows = []
    while lacking:
        row = dict(next(iter(lacking)))
        for k in sorted(set(range(len(FACTORS))) - set(row), key=lambda k: -len(FACTORS[k])):
            row[k] = max(range(len(FACTORS[k])), key=lambda level: sum(
                tuple(sorted(((k, level), other))) in lacking for other in row.items()))
        for pair in itertools.combinations(sorted(row.items()), 2):
            lacking.pop(pair, None)
        rows.append(tuple(FACTORS[k][row[k]] for k in range(len(FACTORS))))
    return tuple(rows)


def walked():
    """The fields of the grid in parts: a guide's share of the covering ones, or all of a crop."""
    if EVERYTHING:
        return [pytest.param([(guide, crop)], itertools.product(*FACTORS[2:]),
                             id=f"{guide}-{crop}") for guide in GUIDES for crop in CROPS]
    return [*(pytest.param([()], [row for row in covering() if row[0] == guide], id=guide)
              for guide in READERS),
            *(pytest.param([()], list(around(guide)), id=guide) for guide in OTHERS)]


def around(guide):
    """The crops of a guide's rules by its own extracts at each level, and a crop it lacks."""
    rules = [r for r in GUIDES[guide]["rule"] if r["nutrient"] in ("P2O5", "K2O")]
    named = {crop for r in rules for crop in r["crops"]} - {"*"}
    stranger = next(c for c in CROPS if not named & {c, PARENTS[c]})
    p_method, k_method = (next((r["methods"][0] for r in rules if r["nutrient"] == n), other)
                          for n, other in (("P2O5", "olsen"), ("K2O", "mehlich-3")))
    for crop in (*sorted(named)[:3], stranger):
        for level in LEVELS:
            yield guide, crop, p_method, k_method, "loam", level


CEC = 12


def rule_of(guide, nutrient, crop, method):
    """The rule of a guide's file that reads this test of this crop, the crop's own one first."""
    for name in (crop, PARENTS[crop], "*"):
        for rule in GUIDES[guide]["rule"]:
            if (name and rule["nutrient"] == nutrient and name in rule["crops"]
                    and method in rule["methods"]):
                return rule
    return None


def critical(rule):
    """Test value [ppm] below which a rule calls the nutrient short, at the grid's CEC."""
    if "classes" in rule:
        chosen = next(c for c in rule["classes"] if c["name"] == rule["critical_class"])
        return chosen.get("from_ppm", chosen.get("above_ppm"))
    if "by_cec" in rule:
        return next(b["critical_ppm"] for b in rule["by_cec"] if b.get("up_to_meq", CEC) >= CEC)
    return rule["critical_ppm"] + rule.get("critical_ppm_per_meq", 0) * CEC


def not_enough(guide, nutrient, crop, method, test_ppm):
    """Whether the guide's file does not call this test enough."""
    rule = rule_of(guide, nutrient, crop, method)
    return rule is None or test_ppm < critical(rule)


def typed(guide, crop, p_method, k_method, texture, level, language="en"):
    """A small field with a test of phosphorus and potassium, nothing known of the rest."""
    p_ppm, k_ppm = level
    day = "2026-10-20"
    price = {"amount": 500, "per": "ton", "date": "2026-10-01"}
    return {
        "loambrief": 1,
        "case": {"id": "grid", "date": day, "valid_until": "2027-06-30", "language": language},
        "client": {"name": "Invented Grower"},
        "farm": {"name": "Invented Farm", "region": "Nowhere"},
        "field": {"name": "Grid", "area": "10 ac", "crop": crop, "tillage": "conventional",
                  "irrigation": "none", "drainage": "well drained",
                  "dates": {"planting": "2027-05-01", "harvest": "2027-10-01"}},
        "adviser": {"name": "Thandeka Orrell", "interest": "None.",
                    "credential": {"scheme": "State board", "number": "0",
                                   "expires": "2029-01-01"}},
        "guide": guide,
        "samples": [{"id": "S", "date": "2026-10-01", "area": "10 ac", "cores": 18,
                     "texture": texture, "lab": {"name": "Invented Soil Laboratory"},
                     "methods": {"ph": "water 1:1", "phosphorus": p_method, "cations": k_method,
                                 "cec": "summation"},
                     "increments": [{"depth": "0-6 in", "ph": 6.6, "cec": f"{CEC} meq/100g",
                                     "phosphorus": f"{p_ppm} ppm",
                                     "potassium": f"{k_ppm} ppm"}]}],
        "materials": [{"id": name, "name": name, "kind": "fertilizer", "form": "granular",
                       "analysis": {key: f"{percent} %"}, "price": price}
                      for name, (key, percent) in MATERIALS.items()],
    }


def field(*levels):
    return CaseFile.model_validate(typed(*levels))


def test_the_grid_is_covered():
    """ensures that all crops, methods, ways of reading and textures meet each other once."""
    rows = covering()
    for i, j in itertools.combinations(range(len(FACTORS)), 2):
        met = {(row[i], row[j]) for row in rows}
        assert met == set(itertools.product(FACTORS[i], FACTORS[j]))
    assert len(rows) < 1500, "the covering sample has grown out of its minute"


@pytest.mark.parametrize(("start", "rows"), walked())
def test_nothing_is_advised_against_unjudged(start, rows):
    """ensures that neither a guide without a rule, nor another extract, nor a need without a
    rate makes a nutrient needless.
    """
    wrong = []
    for row in rows:
        levels = (*start[0], *row)
        guide, crop, p_method, k_method, _, level = levels
        case = field(*levels)
        plan = make_plan(case, assess(case, []).findings)
        against = {n.material_id for n in plan.not_advised}
        kept = {"borate", "urea"}
        if not_enough(guide, "P2O5", crop, p_method, level[0]):
            kept.add("phosphate")
        if not_enough(guide, "K2O", crop, k_method, level[1]):
            kept.add("potash")
        open_ones = {v.key for v in plan.verdicts if v.verdict is Verdict.NOT_JUDGED}
        kept |= {name for name in MATERIALS if brings(name) in open_ones}
        wrong += [(name, *levels) for name in sorted(against & kept)]
        wrong += [(n.key, *levels) for n in plan.not_advised if n.key in open_ones]
    assert not wrong


def brings(material):
    """Key in verdicts of what a material of the grid is sold for."""
    return {"n": "N", "p2o5": "P2O5", "k2o": "K2O", "boron": "B"}[MATERIALS[material][0]]


@pytest.mark.parametrize("language", OF_BUYING)
@pytest.mark.parametrize("guide", READERS)
def test_page_one_sells_nothing_unjudged(guide, language, tmp_path, monkeypatch):
    """ensures that no sentence of page 1 speaks of buying what was not judged."""
    monkeypatch.setattr(build, "pictures", lambda context: Pictures())  # only page 1 is read
    monkeypatch.setattr(build, "with_annex", lambda context, drawn, first: (
        *map(printed, first), Annex("", ())))
    rows = [row for row in covering() if row[0] == guide]
    wrong = []
    for row in rows[:: len(rows) // RENDERED][:RENDERED]:
        path = tmp_path / "case.yaml"
        path.write_text(yaml.safe_dump(typed(*row, language)), encoding="utf-8")
        advice = pipeline.advise(load_case(path))
        model = pipeline.report_model(advice)
        first = model.blocks[0]
        assert isinstance(first, Summary)
        page = " ".join(render_plain(replace(model, blocks=(first,))).decode().split())
        judged = {}
        for v in advice.plan.verdicts:
            if v.kind is JudgedKind.NUTRIENT:
                judged.setdefault(v.key, set()).add(v.verdict)
        names = [NAMED[language][key] for key, told in judged.items()
                 if told == {Verdict.NOT_JUDGED} and key in NAMED[language]]
        assert names, "nothing stands open in this field"
        sentences = re.split(r"(?<=[.:?!]) ", page)
        wrong += [(row, s) for s in sentences if re.search(OF_BUYING[language], s, re.I)
                  and any(re.search(n, s, re.I) for n in names)]
        wrong += [(row, plain(line)) for line in first.avoid
                  if any(re.search(n, plain(line), re.I) for n in names)]
    assert not wrong


@pytest.mark.parametrize("guide", GUIDES)
def test_what_is_enough_is_not_bought(guide):
    """ensures that the grid can tell: far above a guide's level, no phosphate is spread."""
    bought = []
    for rule in GUIDES[guide]["rule"]:
        if rule["nutrient"] != "P2O5" or rule["methods"][0] not in P_METHODS:
            continue
        if rule.get("classes", [{}])[-1].get("rate_lb"):
            continue  # a starter is advised in the highest class too
        crop = next((c for c in rule["crops"] if c in CROPS), "corn")
        if rule_of(guide, "P2O5", crop, rule["methods"][0]) is not rule:
            continue
        case = field(guide, crop, rule["methods"][0], "mehlich-3", "silt loam", (300, 420))
        plan = make_plan(case, assess(case, []).findings)
        bought += [(crop, a.id) for a in plan.actions if a.supplies.get("P2O5")]
    assert not bought
