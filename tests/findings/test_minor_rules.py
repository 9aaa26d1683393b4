"""A guide's own rules for calcium, molybdenum and chloride."""

import pytest

from findings.carbon_cases import case_of
from loambrief.agronomy.guides import from_data, with_guides
from loambrief.findings.model import Verdict
from loambrief.report.text import Writer
from loambrief.topics.assess import assess
from loambrief.topics.nutrients import findings as nutrients

LOW_RATE = {"kind": "classes", "critical_class": "enough", "classes": [
    {"name": "short", "from_ppm": 0, "rate_lb": 20}, {"name": "enough", "from_ppm": 8,
                                                      "rate_lb": 0}]}
RULES = [{"nutrient": "Ca", "methods": ["mehlich-3"], **LOW_RATE},
         {"nutrient": "Cl", "methods": ["any"], **LOW_RATE},
         {"nutrient": "Mo", "methods": ["ab-dtpa"], "kind": "critical", "critical_ppm": 0.1}]
BOOK = from_data("house", {
    "source": {"title": "House guide", "reference": "own trials", "how": "seen"},
    "guide": {"regions": ["Indiana"], "kind": "classes", "depth_in": 8},
    "rule": [{"crops": ["corn"], **rule} for rule in RULES]}, own=True)


def told(calcium, chloride, molybdenum):
    case = case_of({"depth": "0-8 in", "calcium": calcium, "chloride": chloride,
                    "molybdenum": molybdenum}, guide="house", farm={"region": "Indiana"},
                   sample={"methods": {"cations": "mehlich-3", "molybdenum": "ab-dtpa"}})
    with with_guides(BOOK):
        return nutrients.assess(case).findings


@pytest.mark.parametrize("language", ["en", "es"])
def test_own_rules_of_every_nutrient_of_the_test_are_used(language):
    """ensures that short, enough and no rate are told apart for each, in words of its own."""
    short = {j.key: (j.verdict, f.needs) for f in told("5 ppm", "5 ppm", "0.05 ppm")
             for j in f.judgements if j.key in ("Ca", "Cl", "Mo")}
    assert {k: v for k, (v, _) in short.items()} == dict.fromkeys(("Ca", "Cl", "Mo"),
                                                                  Verdict.NEEDED)
    assert [short[k][1][-1].amount for k in ("Ca", "Cl", "Mo")] == [20, 20, None]
    enough = {j.key: j.verdict for f in told("9 ppm", "9 ppm", "0.2 ppm") for j in f.judgements}
    assert {enough[k] for k in ("Ca", "Cl", "Mo")} == {Verdict.NOT_NEEDED}
    write = Writer(language, "us").write
    for finding in told("5 ppm", "5 ppm", "0.05 ppm"):
        if any(j.key in ("Ca", "Cl", "Mo") for j in finding.judgements):
            words = " ".join(write(m) for m in (finding.title, *(e.text for e in finding.evidence),
                                                *finding.needs[-1].cautions))
            assert " any" not in words and "_" not in words


@pytest.mark.parametrize("ph, limits", [(6.4, ["nutrients"]), (5.2, ["cations", "nutrients"])])
def test_a_guides_magnesium_goes_before_the_general_limit(ph, limits):
    """ensures that one rate stands for one lack: Georgia's 25 lb (crop page 041), not twice it.

    Where lime is due the same page asks for dolomitic lime, so that wish stays.
    """
    case = case_of({"depth": "0-6 in", "magnesium": "12 ppm", "potassium": "40 ppm", "ph": ph},
                   farm={"region": "Georgia Coastal Plain"}, guide="georgia_coastal_plain",
                   field={"crop": "bermudagrass", "tillage": "perennial"},
                   sample={"methods": {"cations": "mehlich-1", "ph": "water 1:1"}})
    found = [(f.topic, n.amount) for f in assess(case).findings for n in f.needs
             if n.item == "Mg"]
    assert [topic for topic, _ in found] == limits
    assert ("nutrients", 25) in found
