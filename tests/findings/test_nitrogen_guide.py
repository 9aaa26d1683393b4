"""Nitrogen by a guide's own rule: what is taken off, what is lacking, what counts once."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from findings.carbon_cases import case_of
from loambrief.agronomy.guides import from_data, with_guides
from loambrief.findings.model import Side
from loambrief.report.text import Writer
from loambrief.topics.carbon_nitrogen import findings as carbon_nitrogen
from loambrief.topics.carbon_nitrogen.formulas_guide import nitrogen_rate_by_guide
from loambrief.topics.carbon_nitrogen.line import RATE

GOAL = {"nutrient": "N", "crops": ["corn"], "kind": "yield_goal", "per_yield_lb": 1.2,
        "takes_off": ["nitrate", "organic_matter", "previous_crop", "manure", "water"],
        "nitrate_depth_in": 24, "om_lb_pct": 20, "om_most_pct": 5,
        "previous_credit_lb": {"soybean": 40}, "previous_debit_lb": {"winter wheat": 25},
        "cap_lb_per_year": 220}
TABLE = {"nutrient": "N", "crops": ["wheat"], "kind": "supply", "reads": "nitrate_ppm",
         "nitrate_depth_in": 24, "holds": ["previous_crop"], "yield_at": 50, "per_yield_lb": 2,
         "classes": [{"name": "low", "from_value": 0, "low_lb": 90, "high_lb": 110},
                     {"name": "medium", "from_value": 5, "rate_lb": 60},
                     {"name": "high", "from_value": 15, "rate_lb": 0}]}
FLAT = {"nutrient": "N", "crops": ["dry bean"], "kind": "flat", "low_lb": 30, "high_lb": 50}
PROFILE = [{"depth": "0-8 in", "organic_matter": "2 %", "nitrate_n": "6 ppm"},
           {"depth": "8-36 in", "nitrate_n": "3 ppm"}]
GOALS = {"corn": "180 bu/ac", "winter wheat": "60 bu/ac", "dry bean": "20 cwt/ac"}


def book(*rules, name="house", regions=("Indiana",)):
    return from_data(name, {
        "source": {"title": "House guide", "reference": "own trials", "how": "seen"},
        "guide": {"regions": list(regions), "kind": "nitrogen", "depth_in": 8},
        "rule": list(rules)}, own=True)


def field(crop, *, previous="corn", increments=PROFILE, **parts):
    return case_of(sample={"increments": increments}, guide=parts.pop("guide", "house"),
                   farm={"region": parts.pop("region", "Indiana")},
                   field={"crop": crop, "previous_crop": previous,
                          "yield_goal": {"value": GOALS[crop], "basis": "mean"}}, **parts)


def assessed(case, *books):
    with with_guides(*books):
        return carbon_nitrogen.assess(case)


def rate(case, *books):
    return next((f for f in assessed(case, *books).findings if f.id.startswith(RATE)), None)


# own arithmetic: nitrate to 24 in is 6 x 8/3 + 3 x 16/3 = 32 lb; organic matter 2 x 20
@pytest.mark.parametrize("crop, previous, wanted", [
    ("corn", "corn", 216 - 40 - 32), ("corn", "soybean", 216 - 40 - 32 - 40),
    ("corn", "winter wheat", 216 - 40 - 32 + 25), ("dry bean", "corn", 40),
    ("winter wheat", "corn", 100 + 2 * 10)])
def test_each_kind_of_rule(crop, previous, wanted):
    """ensures that a yield goal, a table and a flat rate give the sum that the rule asks for."""
    found = rate(field(crop, previous=previous), book(GOAL, TABLE, FLAT))
    assert found.value == pytest.approx(wanted)
    need = found.needs[0]
    assert need.low < found.value < need.high
    assert crop != "dry bean" or (need.low, need.high) == (30, 50)


def test_the_error_of_the_nitrate_test_is_in_the_range():
    """ensures that fewer cores widen the range of a rate on nitrate, never beyond the cap."""
    wide, narrow = (rate(case_of(sample={"increments": PROFILE, "cores": cores}, guide="house",
                                 field={"previous_crop": "corn", "yield_goal": {
                                     "value": "180 bu/ac", "basis": "mean"}}), book(GOAL))
                    for cores in (4, 40))
    capped = rate(field("corn"), book({**GOAL, "per_yield_lb": 1.4})).needs[0]
    assert capped.amount == pytest.approx(252 - 72) and capped.high <= 220
    capped = rate(field("corn"), book({**GOAL, "per_yield_lb": 1.55})).needs[0]
    assert capped.amount == pytest.approx(207) and capped.high <= 220
    assert (wide.needs[0].low < narrow.needs[0].low < narrow.needs[0].high
            < wide.needs[0].high)


@pytest.mark.parametrize("change, lacks", [
    ({"previous": None}, ["previous_crop"]),
    ({"increments": PROFILE[:1]}, ["nitrate"]),
    ({"increments": [{k: v for k, v in i.items() if k != "organic_matter"} for i in PROFILE]},
     ["organic_matter"])])
@pytest.mark.parametrize("language", ["en", "es"])
def test_what_is_missing_is_named_and_never_nothing(change, lacks, language):
    """ensures that a rule without its inputs gives no rate and says which are lacking."""
    said = assessed(field("corn", **change), book(GOAL))
    told = [j for m in said.missing for j in m.judgements]
    assert not any(f.id.startswith(RATE) for f in said.findings)
    assert [(j.params["lacks"], j.params["guide"]) for j in told] == [(lacks, "House guide")]


def test_a_table_without_a_rate_is_not_judged():
    """ensures that a class for which the guide prints nothing gives no rate."""
    bare = {**TABLE, "classes": [{"name": "low", "from_value": 0},
                                 {"name": "high", "from_value": 15, "rate_lb": 0}]}
    said = assessed(field("winter wheat"), book(bare))
    assert [j.params["lacks"] for m in said.missing for j in m.judgements] == [["guide_rate"]]


def test_the_named_guide_stands_above_the_method_of_the_state():
    """ensures that the adviser's own guide goes before Nebraska's equation, and only where named.
    """
    near = field("corn", region="Nebraska")
    assert rate(near, book(GOAL)).title.params["guide"] == "House guide"
    other = field("corn", region="Nebraska", guide=None)
    assert rate(other, book(GOAL)).title.params["method"] == "nebraska_corn"


def test_two_guides_of_a_place_are_for_the_adviser_to_choose():
    """ensures that no rate is picked where two guides fit and none is named."""
    case = field("winter wheat", guide=None)
    assert rate(case, book(TABLE)).value == pytest.approx(120)
    said = assessed(case, book(TABLE), book(TABLE, name="other"))
    assert [j.params["lacks"] for m in said.missing for j in m.judgements] == [["guide"]]


def test_conditions_choose_the_rule():
    """ensures that irrigation, the crop before and texture choose among the rules of a crop."""
    rules = [{**FLAT, "crops": ["corn"], "low_lb": low, "high_lb": low, **asked} for low, asked in (
        (10, {"irrigated": True}), (20, {"previous": ["soybean"]}), (30, {"textures": ["sand"]}),
        (40, {}))]
    assert rate(field("corn"), book(*rules)).value == 40
    assert rate(field("corn", previous="soybean"), book(*rules)).value == 20
    told = [j for m in assessed(field("corn", previous=None), book(*rules)).missing
            for j in m.judgements]
    assert [j.params["lacks"] for j in told] == [["previous_crop"]]


def test_what_the_rule_holds_is_not_called_uncounted():
    """ensures that a legume is named as uncounted only where the rule neither holds nor takes it.
    """
    after = field("winter wheat", previous="soybean")
    for rule, open_ in ((TABLE, False), ({**TABLE, "holds": []}, True)):
        keys = {m.key: m.params for m in rate(after, book(rule)).body}
        kinds = keys.get("carbon_nitrogen.body_nitrogen_open", {}).get("kinds", ())
        assert ("legume" in kinds) is open_


VETCH = {"material": "hairy vetch", "dry_mass": "4000 lb/ac", "nitrogen": "3.5 %"}


def test_a_killed_cover_crop_counts_only_by_a_rule():
    """ensures that it is taken off where the rule says so, and told as not judged elsewhere."""
    counted = {**GOAL, "takes_off": [*GOAL["takes_off"], "cover_crop"]}
    plain = rate(field("corn", residue=[VETCH]), book(GOAL))
    less = rate(field("corn", residue=[VETCH]), book(counted))
    assert plain.value - less.value == pytest.approx(70)  # 35 lb a ton, PNW 636
    told = {e.text.key: e.side for e in plain.evidence}
    assert told["carbon_nitrogen.cover_unjudged"] is Side.CONTEXT
    bare = {k: v for k, v in VETCH.items() if k != "nitrogen"}
    unknown = rate(field("corn", residue=[bare]), book(counted))
    keys = {e.text.key for e in unknown.evidence}
    assert unknown.value == plain.value and "carbon_nitrogen.cover_unknown" in keys


@given(nitrate=st.floats(0, 400), more=st.floats(0, 200), goal=st.floats(1, 300),
       others=st.floats(0, 500), matter=st.floats(0, 12), error=st.sampled_from([None, 20.0]))
def test_nitrate_never_raises_a_rate_and_none_falls_below_zero(nitrate, more, goal, others, matter,
                                                              error):
    """ensures both, for yield goals and tables, with all credits."""
    with with_guides(book(GOAL, TABLE)):
        for crop, extra in (("corn", {"organic_matter_pct": matter, "previous_crop": "soybean"}),
                            ("wheat", {})):
            less, same = (nitrogen_rate_by_guide.evaluate(
                guide="house", crop=crop, yield_goal=goal, nitrate_n_lb_ac=n,
                other_credits_lb_ac=others, test_error_pct=error, **extra)
                for n in (nitrate + more, nitrate))
            assert 0 <= less.value <= same.value <= (220 if crop == "corn" else 1000)
            assert 0 <= same.details.get("low", 0) <= same.value + 1e-9


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_words_name_the_guide(language):
    """ensures that title and reason name the guide and print no key."""
    write = Writer(language, "us").write
    found = rate(field("winter wheat", residue=[VETCH]), book(TABLE))
    for message in (found.title, *found.body, *(e.text for e in found.evidence)):
        assert "_" not in write(message)
    assert "House guide" in write(found.title)
