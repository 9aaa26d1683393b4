"""Specs: what counts as data, medians, words and text alternatives."""

from __future__ import annotations

import math

import pytest
from chart_samples import EVERYDAY, HOSTILE, WORDS, penetration

from loambrief.charts import ChartSpec
from loambrief.charts.budget import BudgetSpec, CostStep
from loambrief.charts.cations import CationBar, Share
from loambrief.charts.layers import Slab
from loambrief.charts.penetration import Profile
from loambrief.charts.salinity import SalinityPoint
from loambrief.charts.season import SeasonBar
from loambrief.report.chart_text import chart_words, describe
from loambrief.report.text import Writer

WRITE = Writer().write


@pytest.mark.parametrize("name", EVERYDAY)
def test_empty_has_no_data(name):
    """ensures that a spec without rows is refused, whatever its kind."""
    spec = EVERYDAY[name]()
    fields = {"profiles": ()} if name == "penetration" else {spec.split: ()}
    assert spec.has_data()
    assert not EVERYDAY[name](**fields).has_data()


@pytest.mark.parametrize(("name", "fields"), [
    ("penetration", {"profiles": (Profile("P1", (None, math.nan)),)}),
    ("layers", {"measures": (EVERYDAY["layers"]().measures[0].__class__(
        "pH", "", (Slab(0, 2, None),)),)}),
    ("cations", {"bars": (CationBar("rule", (Share("Ca", 68),), reference=True),
                          CationBar("N", (Share("Ca", None),)))}),
    ("salinity", {"points": (SalinityPoint("A", None, None),)}),
    ("budget", {"steps": (CostStep(1, "Lime", None),)}),
    ("season", {"bars": (SeasonBar("1", "Lime", None, None, "soon"),)}),
])
def test_missing_is_not_data(name, fields):
    """ensures that rows with nothing measured, priced or dated do not make a chart."""
    assert not EVERYDAY[name](**fields).has_data()


def test_unknown_kind():
    """ensures that something else is refused by name."""
    other = ChartSpec(title="t", words=WORDS)
    with pytest.raises(TypeError, match="ChartSpec"):
        other.has_data()
    with pytest.raises(TypeError, match="ChartSpec"):
        describe(other, WRITE)


def test_medians():
    """ensures that medians leave missing readings out and are None where there are none."""
    spec = penetration(depths=(3.0, 6.0, 9.0), profiles=(
        Profile("a", (100.0, 300.0)), Profile("b", (200.0, None)), Profile("c", (160.0, 200.0))))
    assert spec.medians == (160.0, 250.0, None)


def test_specs_can_be_kept():
    """ensures that specs are hashable values: equal inputs, equal specs."""
    for make in EVERYDAY.values():
        assert make() == make() and hash(make()) == hash(make())


def test_words_are_complete():
    """ensures that every word of the charts exists and the months are twelve short names."""
    words = chart_words(Writer())
    assert len(words.months) == 12 and all(1 < len(m) <= 4 for m in words.months)
    assert all(getattr(words, name) for name in words.__dataclass_fields__)


@pytest.mark.parametrize("name", EVERYDAY)
def test_alternative_states_numbers(name):
    """ensures that the text alternative holds the finding and ends as a sentence."""
    spec = EVERYDAY[name]()
    text = describe(spec, WRITE)
    assert text.startswith(spec.title)
    assert text.endswith((".", ")"))
    assert "None" not in text and "nan" not in text


@pytest.mark.parametrize(("name", "expected"), [
    ("penetration", ["median 342, from 280 to 420; 6 of 8 over 300", "field capacity",
                     "trade rule of thumb, no source"]),
    ("layers", ["0–2\u00a0in: 930\u00a0ppm; 2–6", "1,305\u00a0ppm (calculated)"]),
    ("sap", ["mean 7.0 (6.6 to 7.4)", "8.2, 7.6, 8.4, 7.9 and 8.0"]),
    ("cations", ["Ca 44, Mg 10, K 2.3, Na 0.5 and H 43"]),
    ("salinity", ["C: ECe 9.8, SAR 17.", "SAR not measured", "SAR 8 (estimated)",
                  "Line at ECe 2\u00a0dS/m: "]),
    ("sufficiency", ["0.6 times the critical level (0.45 to 0.8)"]),
    ("weeds", ["sheep sorrel 6% and corn spurry 2%", "cover not estimated"]),
    ("budget", ["$1,428, adds up to $6,642", "no price", "not covered by the budget"]),
    ("carbon_nitrogen", ["47:1", "not measured", "24:1"]),
    ("season", ["20\u00a0October\u00a02026 to 1\u00a0December\u00a02026", "no date set"]),
    ("trend", ["17\u00a0ppm (14 to 20) by Mehlich-3 (ICP)"]),
    ("compare", ["Creek strip not measured", "Old orchard 55\u00a0ppm"]),
])
def test_alternative_content(name, expected):
    """ensures that the numbers of the chart are in its text alternative."""
    text = describe(EVERYDAY[name](), WRITE)
    for part in expected:
        assert part in text


@pytest.mark.parametrize("name", HOSTILE)
def test_alternative_of_hostile_data(name):
    """ensures that missing and extreme values are put into words without fault."""
    for spec in HOSTILE[name]():
        assert describe(spec, WRITE)


def test_budget_alternative_goes_on():
    """ensures that a second part of a budget chart adds to the first."""
    spec = EVERYDAY["budget"]()
    part = BudgetSpec(title="t", words=WORDS, steps=spec.steps[1:2], budget=None, already=3384.0)
    assert "$5,214" in describe(part, WRITE)
