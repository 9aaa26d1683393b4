"""Nitrogen by a published method: where it applies, what it lacks, when it stands aside."""

import pytest

from findings.carbon_cases import case_of
from loambrief.findings.model import Verdict, say
from loambrief.findings.places import field_place
from loambrief.report.text import Writer
from loambrief.tables import load
from loambrief.topics.carbon_nitrogen import findings as carbon_nitrogen
from loambrief.topics.carbon_nitrogen.line import RATE
from loambrief.topics.carbon_nitrogen.methods import SIDEDRESS

PROFILE = {"increments": [
    {"depth": "0-8 in", "organic_matter": "2 %", "nitrate_n": "6 ppm", "ammonium_n": "4 ppm"},
    {"depth": "8-24 in", "nitrate_n": "3 ppm", "ammonium_n": "2 ppm"}]}
GOALS = {"corn": "180 bu/ac", "winter wheat": "60 bu/ac", "canola": "40 bu/ac",
         "spring wheat": "65 bu/ac", "tall fescue": "3 ton/ac", "potato": "300 cwt/ac"}
UREA = {"id": "u", "name": "Urea", "kind": "fertilizer", "analysis": {"n": "46 %"},
        "price": {"amount": 460, "per": "ton", "date": "2026-10-01"}}


def zone(crop, region, *, inputs=None, sample=None, **field):
    return case_of(sample={**PROFILE, **(sample or {})},
                   farm={"region": region}, materials=[UREA],
                   field={"crop": crop, "yield_goal": {"value": GOALS[crop], "basis": "mean"},
                          **field}, **({"nitrogen_inputs": inputs} if inputs else {}))


def rate(case):
    found = [f for f in carbon_nitrogen.assess(case).findings if f.id.startswith(RATE)]
    return found[0].value if found else None


@pytest.mark.parametrize("crop, region, inputs, wanted", [
    ("corn", "Nebraska", None, 35 + 216 - 8 * 4 - 0.14 * 180 * 2),
    ("corn", "South Dakota", None, 180 - 32),
    ("winter wheat", "Oklahoma", None, 120 - 32),
    ("winter wheat", "Kansas", None, 144 - 20 - 32),
    ("canola", "Kansas", None, 100 - 32),
    ("spring wheat", "Washington", {"wheat": "hard red spring"},
     3.6 * 65 - 35 - 32 - (4 * 8 + 2 * 16) / 3),
    ("tall fescue", "Kansas", None, 90),
    ("potato", "Florida", None, 200),
    ("winter wheat", "England", {"soil": "medium", "supply_index": 2}, 190 / 1.12085),
    ("potato", "England", {"variety_group": 3, "season_days": 130, "supply_index": 1},
     180 / 1.12085)])
def test_methods_by_region_and_crop(crop, region, inputs, wanted):
    """ensures that each method gives the sum its print asks for."""
    assert rate(zone(crop, region, inputs=inputs)) == pytest.approx(wanted, rel=1e-3)


@pytest.mark.parametrize("crop, region, goal, wanted, passes", [
    ("bermudagrass", "Georgia", "6 ton/ac", 300, 3),
    ("bermudagrass", "Georgia", "2 ton/ac", None, 0),
    ("bermudagrass", "Georgia", "12 ton/ac", None, 0),
    ("tall fescue", "South Carolina", "3 ton/ac", 180, 2),
    ("orchardgrass", "Georgia", "3 ton/ac", 100, 2), ("flax", "North Dakota", "45 bu/ac", 48, 1)])
def test_hay_is_fed_cut_by_cut_and_flax_is_capped(monkeypatch, crop, region, goal, wanted, passes):
    """ensures that hay of several cuttings never gets its season at once, nor beyond its print.

    Georgia, crop pages 037 and 041: 75 to 100 lb when growth starts and after each harvest, for 4
    to 8 tons; half in early fall. South Carolina, comment 701: three times. North Dakota SF717: 80
    lb at most, here less 32 lb of nitrate.
    """
    monkeypatch.setitem(GOALS, crop, goal)
    case = zone(crop, region, **({} if crop == "flax" else {"tillage": "perennial"}))
    found = [f for f in carbon_nitrogen.assess(case).findings if f.id.startswith(RATE)]
    assert [f.value for f in found] == (
        [] if wanted is None else [pytest.approx(wanted, rel=1e-3)])
    assert [n.params["splits"] for f in found for n in f.needs] == ([passes] if passes else [])


def test_prices_move_the_rate():
    """ensures that the rate with the best return follows the prices of the case."""
    case = zone("corn", "Ohio", previous_crop="soybean",
                inputs={"crop_price": {"amount": 4.0, "per": "bu", "date": "2026-10-01"}})
    assert rate(case) == pytest.approx(167)  # 0.50 over 4.00 is 0.125
    dear = zone("corn", "Ohio", previous_crop="soybean",
                inputs={"crop_price": {"amount": 3.2, "per": "bu", "date": "2026-10-01"}})
    assert rate(dear) < rate(case)


@pytest.mark.parametrize("previous, irrigation, wanted", [
    ("corn", "none", 165), ("soybean", "none", None), ("corn", "center pivot", None)])
def test_minnesota_holds_for_corn_after_corn_without_irrigation(previous, irrigation, wanted):
    """ensures that the one rate held for Minnesota is not stretched to other fields."""
    case = zone("corn", "Minnesota", previous_crop=previous, irrigation=irrigation,
                inputs={"crop_price": {"amount": 4.0, "per": "bu", "date": "2026-10-01"}})
    assert rate(case) == wanted


def test_nitrate_moves_the_rate():
    """ensures that more nitrate in the soil leaves less to apply."""
    rich = {"increments": [{**i, "nitrate_n": "12 ppm"} for i in PROFILE["increments"]]}
    assert rate(zone("corn", "Nebraska", sample=rich)) < rate(zone("corn", "Nebraska"))


def test_sidedress_test_comes_first():
    """ensures that the first foot under growing corn is read as a sidedress test."""
    case = zone("corn", "Iowa", inputs={"wet_spring": True}, dates={"planting": "2026-08-20"},
                sample={"increments": [{"depth": "0-12 in", "nitrate_n": "10 ppm"}]})
    assert rate(case) == pytest.approx(88)


@pytest.mark.parametrize("crop, region, lacks", [
    ("corn", "Ohio", ["previous_crop", "crop_price"]),
    ("spring wheat", "Washington", ["wheat"]),
    ("potato", "Wales", ["supply_index", "variety_group", "season_days"])])
def test_what_a_method_lacks_is_named(crop, region, lacks):
    """ensures that a method without its inputs gives no rate and names them."""
    case = zone(crop, region)
    said = carbon_nitrogen.assess(case)
    told = [j for m in said.missing for j in m.judgements]
    assert rate(case) is None
    assert [j.params["lacks"] for j in told] == [lacks]
    assert all(j.verdict is Verdict.NOT_JUDGED for j in told)


@pytest.mark.parametrize("crop, region", [("corn", "Georgia"), ("potato", "Scotland"),
                                          ("winter wheat", "Kansas City, Missouri")])
def test_no_method_is_borrowed(crop, region):
    """ensures that no rate comes from a method of another region."""
    case = zone(crop, region, inputs={"supply_index": 2, "variety_group": 1, "season_days": 100})
    assert rate(case) is None


def test_own_line_stands_above():
    """ensures that the adviser's own line keeps every method away."""
    case = zone("corn", "Nebraska")
    line = {"set_by": "the adviser", "source": "a trial", "rate": "100 lb/ac",
            "rate_is": "still to apply"}
    data = case.model_copy(update={"nitrogen": case_of(nitrogen=line).nitrogen})
    assert rate(data) is None
    assert any(f.id.startswith("carbon_nitrogen.nitrogen_line")
               for f in carbon_nitrogen.assess(data).findings)


def test_old_nitrate_is_no_nitrate():
    """ensures that a profile older than half a year gives no rate."""
    assert rate(zone("corn", "Nebraska", sample={"date": "2026-03-01"})) is None


def test_inches_have_one_unit_in_spanish():
    """ensures that a depth in a Spanish sentence carries its unit once."""
    text = Writer("es", "us").write(say("carbon_nitrogen.credit_water", amount=18.0, depth=8.0))
    assert "pulg " in text.replace("\u00a0", " ") and "pulgin" not in text


def test_credit_for_a_legume_is_not_doubted_in_a_method():
    """ensures that only the adviser's own rate is asked whether it holds the soybean already."""
    case = zone("corn", "Nebraska", previous_crop="soybean")
    found = next(f for f in carbon_nitrogen.assess(case).findings if f.id.startswith(RATE))
    credits = [e.text for e in found.evidence if e.text.key.endswith("credit_legume")]
    assert credits and not any(t.params["built_in"] for t in credits)


def test_a_field_without_samples_may_have_a_rate():
    """ensures that a method which needs no soil test speaks for the whole field."""
    case = case_of(samples=[], farm={"region": "Kansas"},
                   field={"crop": "tall fescue", "yield_goal": {"value": "3 ton/ac",
                                                                "basis": "mean"}})
    assert rate(case) == pytest.approx(90)
    bare = case_of(samples=[], farm={"region": "Nebraska"},
                   field={"yield_goal": {"value": "180 bu/ac", "basis": "mean"}})
    told = [j for m in carbon_nitrogen.assess(bare).missing for j in m.judgements]
    assert rate(bare) is None and told[0].params["lacks"] == ["organic_matter", "nitrate"]


METHODS = sorted({r["method"] for name in ("nitrogen_methods", "nitrogen_economic")
                  for r in load(f"carbon_nitrogen/{name}")} | set(SIDEDRESS)
                 | {"uk_cereal", "uk_potato"})
LACKS = ("yield_goal", "organic_matter", "nitrate", "ammonium", "wheat", "wet_spring",
         "previous_crop", "nitrogen_price", "crop_price", "supply_index", "soil",
         "variety_group", "season_days", "texture", "guide", "guide_rate")


@pytest.mark.parametrize("language", ["en", "es"])
def test_methods_and_what_they_lack_have_names(language):
    """ensures that no method and no missing input is printed by its key."""
    write = Writer(language, "us").write
    place = field_place(zone("corn", "Nebraska"))
    for method in METHODS:
        text = write(say("carbon_nitrogen.title_rate", method=method, guide=None,
                         rate=100.0, low=None, high=None, where=place))
        assert method not in text and "_" not in text, method
    for key in LACKS:
        text = write(say("verdicts.why_nitrogen_lacks", crop="corn", method="ohio_corn", guide=None,
                         lacks=[key, "soil"]))
        assert "_" not in text and "None" not in text, key
