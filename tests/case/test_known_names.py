"""Guides, lime tables, crops and regions that a case names must exist and fit."""

import json

import pytest
from case_builders import minimal, sample

from loambrief.agronomy.guides import shipped
from loambrief.case.known_names import lime_tables, regions, shipped_guides
from loambrief.case.load import load_case
from loambrief.errors import CaseProblems
from loambrief.topics.acidity.formulas_lime import lime_tables as formula_lime_tables


def test_the_names_are_those_that_the_formulas_know():
    """ensures that check knows exactly the guides and lime tables that advice can rest on."""
    assert set(shipped_guides()) == set(shipped())
    assert set(lime_tables()) == set(formula_lime_tables())
    for guide in shipped().values():
        assert {region.lower() for region in guide.regions} <= set(regions())


def test_every_unknown_name_at_once_with_near_names(problems):
    """ensures that all misspelt names are refused together, each where it stands."""
    case = minimal(guide="tri_state_2002", lime_table="smp_organik")
    case["field"] |= {"crop": "soybaen", "following_crop": "cron"}
    case["farm"]["region"] = "Indana"
    found = {p.field: p for p in problems(case) if p.code == "CASE050"}
    near = {"guide": "tri_state_2020", "lime_table": "smp_organic", "field.crop": "soybean",
            "field.following_crop": "corn", "farm.region": "Indiana"}
    assert set(found) == set(near)
    for field, name in near.items():
        assert f"Did you mean {name!r}?" in found[field].help
        assert found[field].line > 1 and found[field].column > 1


def test_unknown_names_beside_an_invalid_value(problems):
    """ensures that a wrong value elsewhere does not hide a misspelt guide."""
    case = minimal(guide="tri_state_2002")
    case["field"]["area"] = "18 acrs"
    assert {p.code for p in problems(case)} >= {"CASE024", "CASE050"}


@pytest.mark.parametrize(("typed", "country"), [
    ("Ohio", None), ("north-west Ohio", "USA"), ("Coastal Plain of Georgia", "usa"),
    ("Ontario", "Canada"), ("Puglia", "Italy"), ("West Virginia", "United States")])
def test_regions_that_pass(problems, typed, country):
    """ensures that part of a state passes, and any region of a country without a list."""
    case = minimal()
    case["farm"] |= {"region": typed} | ({"country": country} if country else {})
    assert not [p for p in problems(case) if p.field == "farm.region"]


def test_guides_that_have_a_rule_are_named(problems):
    """ensures that a guide without the crop, or without the method, comes with those that fit."""
    olsen = sample({"phosphorus": "8 ppm"}, methods={"phosphorus": "olsen"},
                   increments=[{"depth": "0-6 in", "phosphorus": "8 ppm"}])
    case = minimal(samples=[olsen], guide="tri_state_2020")
    case["field"]["crop"] = "wheat"
    (warning,) = [p for p in problems(case) if p.code == "CASE124"]
    able = {g.name for g in shipped().values() for r in g.rules
            if r.nutrient == "P2O5" and "olsen" in r.methods and {"wheat", "*"} & set(r.crops)}
    assert able and all(name in warning.help for name in able)
    assert "tri_state_2020" not in warning.help


def test_an_own_guide_file_adds_its_name(tmp_path):
    """ensures that a guide file of the case is known, and judged by its own rules."""
    (tmp_path / "house.toml").write_text("""
[source]
title = "House guide"
reference = "own records"
how = "memory"
[guide]
regions = ["Indiana"]
kind = "critical level"
depth_in = 6
[[rule]]
nutrient = "P2O5"
crops = ["corn"]
methods = ["bray-p1"]
kind = "critical"
critical_ppm = 20
""")

    case = minimal(guide="house.toml", samples=[sample({"phosphorus": "8 ppm"})])
    path = tmp_path / "case.yaml"
    path.write_text(json.dumps(case))
    found = [w for w in load_case(path).warnings if w.code == "CASE124"]
    assert [w.field for w in found] == ["guide"]
    case["guide"] = "hous.toml"
    path.write_text(json.dumps(case))
    with pytest.raises(CaseProblems):
        load_case(path)


def test_schema_lists_the_choices(schema):
    """ensures that an editor can offer guides, lime tables, crops and regions."""
    def listed(about):
        return next(o["enum"] for o in about["anyOf"] if "enum" in o)

    assert set(listed(schema["properties"]["guide"])) == set(shipped())
    assert set(listed(schema["properties"]["lime_table"])) == set(formula_lime_tables())
    assert "corn silage" in listed(schema["$defs"]["FieldInfo"]["properties"]["crop"])
    assert "Ohio" in listed(schema["$defs"]["Farm"]["properties"]["region"])


def test_other_tests_are_named_where_no_guide_fits(problems):
    """ensures that a crop whose guides use another test is told which, and which guides."""
    other = sample({"phosphorus": "8 ppm"}, methods={"phosphorus": "morgan"},
                   increments=[{"depth": "0-6 in", "phosphorus": "8 ppm"}])
    case = minimal(samples=[other], guide="tri_state_2020")
    case["field"]["crop"] = "tomato"
    (warning,) = [p for p in problems(case) if p.code == "CASE124"]
    rules = [(g.name, r) for g in shipped().values() for r in g.rules if r.nutrient == "P2O5"
             and {"tomato", "*"} & set(r.crops)]
    assert rules and not any("morgan" in r.methods for _, r in rules)
    for name, rule in rules:
        assert name in warning.help and all(m in warning.help for m in rule.methods)
