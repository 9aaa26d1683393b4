"""Slips of the keyboard: each is named by its true cause, and no hint changes what was meant."""

from pathlib import Path

import pytest
import yaml

from loambrief.case.load import load_bytes
from loambrief.errors import CaseProblems

SOUND = {
    "head": "loambrief: 1\ncase: {id: t-1, date: 2026-10-20}",
    "client": "client: {name: Halloran}", "farm": "farm: {name: Bend}", "field": "field:",
    "fieldname": "  name: Creek", "area": "  area: 18 ac", "crop": "  crop: soybean",
    "yield": "  yield_goal: {value: 50 bu/ac, basis: own}",
    "rest": "  tillage: no-till\n  irrigation: none\n  drainage: tile drained",
    "adviser": "adviser:\n  name: R. Achterberg\n  interest: None.\n"
               "  credential: {scheme: Board, number: IN-0, expires: 2027-12-31}",
    "samples": "samples:\n  - id: B1", "date": "    date: 2026-10-02",
    "lab": "    lab: {name: Dunmore}", "methods": "    methods:", "mph": "      ph: water 1:1",
    "mp": "      phosphorus: mehlich-3-icp", "mc": "      cations: mehlich-3",
    "mec": "      ec: saturated-paste",
    "mrest": "      organic_matter: loss on ignition\n      cec: summation\n      zinc: dtpa",
    "inc": "    increments:", "depth": "      - depth: 0-6 in", "ph": "        ph: 6.2",
    "om": "        organic_matter: 2.1 %", "p": "        phosphorus: 22 ppm",
    "zinc": "        zinc: 1.1 ppm", "cec": "        cec: 12 meq/100g",
    "ec": "        ec: 1.2 dS/m",
    "budget": "budget: {amount: 1690}", "materials": "materials:\n  - id: lime\n    name: Lime\n"
    "    kind: lime", "price": "    price: {amount: 20, per: ton, date: 2026-10-01}",
}
MISTAKES = yaml.safe_load(
    (Path(__file__).parent / "typing_mistakes.yaml").read_text(encoding="utf-8"))


def problems_with(at=None, typed=""):
    text = "\n".join(typed if key == at else line for key, line in SOUND.items()) + "\n"
    try:
        return text, load_bytes(text.encode(), "case.yaml") and ""
    except CaseProblems as error:
        return text, str(error)


def test_without_a_mistake():
    """ensures that the case is sound before anything is mistyped."""
    assert problems_with()[1] == ""
    assert len(MISTAKES) >= 80


@pytest.mark.parametrize("slip", MISTAKES, ids=lambda slip: slip["type"].strip())
def test_mistake(slip):
    """ensures that the message names the cause and its mend, and never another method or unit."""
    text, said = problems_with(slip["at"], slip["type"])
    for words in slip["says"].split("|"):
        assert words in said
    if "not" in slip:
        assert slip["not"] not in said.replace("wanted one of", "")
    first = text.split("\n").index(slip["type"].split("\n")[0]) + 1
    lines = {int(line.split(":")[1]) for line in said.split("\n") if line.startswith("case.yaml:")
             and line.split(":")[1].isdigit()}
    assert any(first - 1 <= line <= first + 2 for line in lines), said
