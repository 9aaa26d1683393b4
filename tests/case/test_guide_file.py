"""A consultant's own guide file is read strictly and every fault has its place."""

import json
from pathlib import Path

import pytest

from loambrief.agronomy import guides
from loambrief.case.guide_file import load_guide
from loambrief.errors import CaseProblems
from loambrief.resources import tables_dir
from loambrief.topics.nutrients.formulas import nutrient_rate

SHIPPED = sorted((tables_dir() / guides.FOLDER).glob("*.toml"))
YAML = """\
# A guide of our own; everything in it is invented.
source: {title: House guide, reference: "own strip trials 2020 to 2025", how: seen}
guide: {regions: [Ohio], kind: class table, depth_in: 6}
rule:
  - nutrient: P2O5
    crops: [corn, soybean]
    methods: [mehlich-3-icp]
    kind: classes
    critical_class: enough
    classes:
      - {name: short, from_ppm: 0, low_lb: 50, high_lb: 70}
      - {name: enough, from_ppm: 22, lb_per_unit: 0.3}
      - {name: plenty, above_ppm: 45, rate_lb: 0}
  - nutrient: K2O
    crops: [corn]
    methods: [mehlich-3]
    kind: build_up
    critical_ppm: 115
    limit_ppm: 160
    build_lb_per_ppm: 2
    extra_lb: 10
    removal_lb_per_unit: {corn: 0.2}
"""


def write(tmp_path, text=YAML, name="house.yaml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def problems(path):
    with pytest.raises(CaseProblems) as caught:
        load_guide(path)
    return caught.value.problems


@pytest.mark.parametrize("path", SHIPPED, ids=[p.stem for p in SHIPPED])
def test_shipped_guides_are_good_examples(path):
    """ensures that every shipped guide passes the check of own guides and means the same."""
    loaded = load_guide(path)
    assert guides.from_data(loaded.name, loaded.data) == guides.shipped()[path.stem]


def test_own_yaml_guide_gives_rates(tmp_path):
    """ensures that a YAML guide is read, named after its file, and used in a calculation."""
    loaded = load_guide(write(tmp_path))
    assert loaded.name == "house" and len(loaded.sha256) == 64
    with guides.with_guides(guides.from_data(loaded.name, loaded.data, own=True)):
        p = nutrient_rate.evaluate(guide="house", crop="corn", nutrient="P2O5", test_ppm=30.0,
                                   **{"yield": 200.0})
        k = nutrient_rate.evaluate(guide="house", crop="corn", nutrient="K2O", test_ppm=100.0,
                                   **{"yield": 200.0})
    assert p.value == pytest.approx(60)
    assert k.value == pytest.approx(15 * 2 + 40 + 10)
    assert "own strip trials" in p.locator


def test_minor_elements_are_read_from_the_test_alone(tmp_path):
    """ensures that a zinc rule by yield is refused at its place, and one by class is taken."""
    rule = """\
  - nutrient: Zn
    crops: [corn]
    methods: [dtpa]
    kind: classes
    critical_class: enough
    classes: [{name: short, from_ppm: 0, rate_lb: 5}, {name: enough, from_ppm: 0.8}]
"""
    assert load_guide(write(tmp_path, YAML + rule)).data["rule"][-1]["nutrient"] == "Zn"
    (problem,) = problems(write(tmp_path, YAML + rule.replace("rate_lb", "lb_per_unit")))
    assert problem.code == "CASE026" and problem.wanted == (
        "a rule that reads Zn from the soil test alone")


@pytest.mark.parametrize(("term", "refused"), [("per_test", False), ("per_yield", True),
                                               ("per_yield_test", True)])
def test_an_equation_of_a_minor_element_knows_no_yield(tmp_path, term, refused):
    """ensures that a zinc equation may rest on the test, and not on the yield."""
    rule = ("  - {nutrient: Zn, crops: [corn], methods: [dtpa], kind: equation, critical_ppm: 1,"
            f" constant: 5, {term}: -2}}\n")
    path = write(tmp_path, YAML + rule)
    if refused:
        assert [p.code for p in problems(path)] == ["CASE026"]
    else:
        assert load_guide(path).data["rule"][-1][term] == -2


@pytest.mark.parametrize(("old", "new", "code", "line", "hint"), [
    ("mehlich-3-icp]", "mehlich-3-ipc]", "CASE027", 7, "mehlich-3-icp"),
    ("crops: [corn, soybean]", "crops: [cron, soybean]", "CASE027", 6, "corn"),
    ("crops: [corn, soybean]", "crops: [maize, soybean]", "CASE027", 6, "corn"),
    ("critical_class: enough", "critical_class: fine", "CASE027", 9, ""),
    ("kind: classes", "kind: class", "CASE027", 5, ""),
    ("    kind: classes\n", "", "CASE021", 5, ""),
    ("from_ppm: 22, ", "", "CASE021", 12, ""),
    ("from_ppm: 22", "from_ppm: 50", "CASE026", 11, ""),
    ("from_ppm: 0,", "from_ppm: 3,", "CASE026", 11, ""),
    ("low_lb: 50", "low_lb: 90", "CASE026", 11, ""),
    ("low_lb: 50, ", "", "CASE026", 11, ""),
    ("limit_ppm: 160", "limit_ppm: 90", "CASE026", 19, ""),
    ("    limit_ppm: 160\n", "", "CASE021", 14, ""),
    ("    critical_ppm: 115\n", "", "CASE021", 14, ""),
    ("    crops: [corn]\n", "", "CASE021", 14, "Add the key 'crops'"),
    ("{corn: 0.2}", "{soybean: 0.8}", "CASE021", 22, ""),
    ("extra_lb: 10", "extra_pounds: 10", "CASE020", 21, ""),
    ("extra_lb: 10", "extra_lb: ten", "CASE022", 21, ""),
    ("build_lb_per_ppm: 2", "build_lb_per_ppm: -2", "CASE022", 20, ""),
    ("how: seen", "how: heard", "CASE027", 2, ""),
    ("depth_in: 6", "depth_in: 0", "CASE022", 3, ""),
    ("nutrient: K2O", "nutrient: K", "CASE027", 14, ""),
])
def test_fault_is_found_at_its_line(tmp_path, old, new, code, line, hint):
    """ensures that each kind of fault is reported with its code, line and, if near, the name."""
    assert old in YAML
    found = problems(write(tmp_path, YAML.replace(old, new, 1)))
    matching = [p for p in found if p.code == code and p.line == line]
    assert matching, [(p.code, p.line, p.headline()) for p in found]
    assert hint in matching[0].help


def test_all_faults_at_once(tmp_path):
    """ensures that two faults in one file are both told."""
    text = YAML.replace("how: seen", "how: heard").replace("extra_lb", "extra_pounds")
    assert {p.code for p in problems(write(tmp_path, text))} == {"CASE020", "CASE027"}


def test_bands_of_cec_must_follow_each_other(tmp_path):
    """ensures that CEC bands rise and end with an open one."""
    bands = ("    by_cec:\n      - {up_to_meq: 10, critical_ppm: 110, limit_ppm: 140}\n"
             "      - {up_to_meq: 5, critical_ppm: 100, limit_ppm: 130}\n")
    text = YAML.replace("    critical_ppm: 115\n    limit_ppm: 160\n", bands)
    assert [p.code for p in problems(write(tmp_path, text))] == ["CASE026"]


def test_points_need_a_rate_each(tmp_path):
    """ensures that a table with a rate missing, or tests out of order, is refused."""
    data = {"source": {"title": "T", "reference": "r", "how": "seen"},
            "guide": {"regions": ["Ohio"], "kind": "table", "depth_in": 6},
            "rule": [{"nutrient": "P2O5", "crops": ["*"], "methods": ["olsen"], "kind": "points",
                      "critical_ppm": 16, "test_ppm": [0, 8, 4], "rate_lb": [40, 30]}]}
    path = write(tmp_path, json.dumps(data))
    assert sorted(p.code for p in problems(path)) == ["CASE026", "CASE034"]


def test_rising_rates_are_a_slipped_digit(tmp_path):
    """ensures that a richer soil that would get more fertilizer is refused."""
    text = YAML.replace("low_lb: 50, high_lb: 70", "rate_lb: 5").replace("lb_per_unit: 0.3",
                                                                        "rate_lb: 40")
    assert [p.help for p in problems(write(tmp_path, text))] == ["Is a digit wrong?"]


def test_broken_toml_is_a_problem_not_a_crash(tmp_path):
    """ensures that TOML that cannot be read is told in the same form."""
    found = problems(write(tmp_path, "[source\n", "house.toml"))
    assert [p.code for p in found] == ["CASE005"]


def test_empty_file_is_refused(tmp_path):
    """ensures that an empty file is told as such."""
    assert problems(write(tmp_path, ""))


def test_missing_file_is_the_systems_error(tmp_path):
    """ensures that a file that is not there raises the operating system's error."""
    with pytest.raises(FileNotFoundError):
        load_guide(Path(tmp_path / "none.yaml"))


@pytest.mark.parametrize(("key", "by_yield"), [("rate_lb", False), ("low_lb", False),
                                               ("lb_per_unit", True), ("low_lb_per_unit", True)])
def test_a_class_knows_what_its_rate_needs(key, by_yield):
    """ensures that each way to give a rate counts as one, and those by yield ask for it."""
    made = guides.SoilTestClass("low", 0.0, **{key: 0.0})
    assert made.has_rate and made.needs_yield is by_yield
    assert not guides.SoilTestClass("low", 0.0).has_rate
