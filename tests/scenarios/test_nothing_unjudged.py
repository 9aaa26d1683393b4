"""No material is advised against for a nutrient that is short or was not judged, over a grid.

What a guide says of a test is read here from the guide's own file, not by the program: a rule
of the nutrient that names the crop (or its parent, or every crop) and the extract, and the
level below which the test is short.
"""

import csv
import itertools
import random
import tomllib

import pytest

from loambrief.actions.plan import make_plan
from loambrief.case.schema import CaseFile
from loambrief.resources import tables_dir
from loambrief.topics.assess import assess

GUIDES = {p.stem: tomllib.loads(p.read_text(encoding="utf-8"))
          for p in sorted((tables_dir() / "nutrients" / "guides").glob("*.toml"))}
with (tables_dir() / "crops" / "crops.csv").open(encoding="utf-8", newline="") as stream:
    PARENTS = {row["crop"]: row["parent"] for row in csv.DictReader(stream)}
CROPS = ("corn", "corn silage", "soybean", "winter wheat", "alfalfa", "canola", "lentil", "cotton",
         "peanut", "rice", "potato", "tomato", "lettuce", "apple", "grape", "grass hay",
         "grain sorghum", "sugar beet", "barley", "blueberry")
FIX_NITROGEN = ("soybean", "alfalfa", "lentil", "peanut")
P_METHODS = ("mehlich-3-icp", "mehlich-3-colorimetric", "bray-p1", "olsen", "mehlich-1",
             "modified-morgan")
K_METHODS = ("mehlich-3", "ammonium-acetate", "mehlich-1", "modified-morgan")
TEXTURES = ("sand", "sandy loam", "silt loam", "clay loam", "clay")
LEVELS = ((4, 60), (22, 150), (120, 420))
MATERIALS = {"urea": ("n", 46), "phosphate": ("p2o5", 45), "potash": ("k2o", 60),
             "borate": ("boron", 14)}
EACH_GUIDE = 14
"""Fields that are drawn for each guide."""


def drawn(guide):
    """Some fields of the whole grid, always the same ones."""
    grid = list(itertools.product(CROPS, P_METHODS, K_METHODS, TEXTURES, LEVELS))
    return random.Random(f"unjudged {guide}").sample(grid, EACH_GUIDE)


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


def field(guide, crop, p_method, k_method, texture, level):
    """A small field with a test of phosphorus and potassium, nothing known of the rest."""
    p_ppm, k_ppm = level
    day = "2026-10-20"
    price = {"amount": 500, "per": "ton", "date": "2026-10-01"}
    return CaseFile.model_validate({
        "loambrief": 1,
        "case": {"id": "grid", "date": day, "valid_until": "2027-06-30"},
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
    })


@pytest.mark.parametrize("guide", GUIDES)
def test_nothing_is_advised_against_unjudged(guide):
    """ensures that neither a guide without a rule, nor another extract, nor a need without a
    rate makes a nutrient needless.
    """
    wrong = []
    for crop, p_method, k_method, texture, level in drawn(guide):
        case = field(guide, crop, p_method, k_method, texture, level)
        plan = make_plan(case, assess(case, []).findings)
        against = {n.material_id for n in plan.not_advised}
        kept = {"borate"} | ({"urea"} if crop not in FIX_NITROGEN else set())
        if not_enough(guide, "P2O5", crop, p_method, level[0]):
            kept.add("phosphate")
        if not_enough(guide, "K2O", crop, k_method, level[1]):
            kept.add("potash")
        wrong += [(name, crop, p_method, k_method, texture, level)
                  for name in sorted(against & kept)]
    assert not wrong


@pytest.mark.parametrize("guide", GUIDES)
def test_what_is_enough_is_not_bought(guide):
    """ensures that the grid can tell: far above a guide's level, no phosphate is spread."""
    bought = []
    for rule in GUIDES[guide]["rule"]:
        if rule["nutrient"] != "P2O5" or rule["methods"][0] not in P_METHODS:
            continue
        crop = next((c for c in rule["crops"] if c in CROPS), "corn")
        if rule_of(guide, "P2O5", crop, rule["methods"][0]) is not rule:
            continue
        case = field(guide, crop, rule["methods"][0], "mehlich-3", "silt loam", (300, 420))
        plan = make_plan(case, assess(case, []).findings)
        bought += [(crop, a.id) for a in plan.actions if a.supplies.get("P2O5")]
    assert not bought
