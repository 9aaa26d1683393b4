"""Nutrient findings: rates only from a test the guide was made for, and honest gaps."""

import copy
import datetime as dt
import math
import re

import pytest
from scipy import stats

import loambrief.topics.formulas  # noqa: F401  (registers every formula)
from findings.test_minor_rules import told as own_rules
from loambrief.agronomy import guides
from loambrief.agronomy.registry import recording
from loambrief.case.normalise import to_house
from loambrief.case.repeats import treated
from loambrief.case.schema import CaseFile
from loambrief.findings.model import Confidence, Grade, NeedKind, Side, Status, Verdict
from loambrief.report.text import Writer
from loambrief.tables import references
from loambrief.topics.assess import assess
from loambrief.topics.judge import judgements
from loambrief.topics.nutrients import findings as nutrients

LAYER = {"depth": "0-8 in", "ph": 6.4, "organic_matter": "3.2 %", "phosphorus": "12 ppm",
         "potassium": "90 ppm", "calcium": "1400 ppm", "magnesium": "210 ppm",
         "cec": "12 meq/100g"}
METHODS = {"ph": "water 1:1", "buffer": "sikora", "phosphorus": "mehlich-3-icp",
           "cations": "mehlich-3", "organic_matter": "loss on ignition", "cec": "summation"}
BASE = {
    "loambrief": 1,
    "case": {"id": "inv-1", "date": "2026-10-20", "jurisdiction": "Ohio, USA"},
    "client": {"name": "Invented Client"},
    "farm": {"name": "Invented Farm", "region": "Ohio"},
    "field": {"name": "Field A", "area": "30 ac", "crop": "corn", "tillage": "conventional",
              "irrigation": "none", "drainage": "well drained",
              "yield_goal": {"value": "180 bu/ac", "basis": "invented"}},
    "adviser": {"name": "Invented Adviser", "interest": "None.",
                "credential": {"scheme": "board", "number": "0", "expires": "2030-01-01"}},
    "guide": "tri_state_2020",
    "samples": [{"id": "A1", "date": "2026-10-01", "cores": 20, "texture": "silt loam",
                 "lab": {"name": "Invented Lab"}, "methods": METHODS, "increments": [LAYER]}],
}
MICRO_METHODS = {"zinc": "mehlich-3", "boron": "mehlich-3", "manganese": "mehlich-3",
                 "copper": "mehlich-3", "iron": "mehlich-3"}
SURFACE = {"depth": "0-2 in", "calcium": "700 ppm", "phosphorus": "80 ppm"}


PILED = {"layer": {"phosphorus": "24 ppm", "potassium": "140 ppm"},
         "more": ({"depth": "0-2 in", "phosphorus": "46 ppm"},)}
MANURE = {
    "field": {"crop": "tomato", "following_crop": "pepper",
              "yield_goal": {"value": "18 ton/ac", "basis": "invented"}},
    "guide": "rutgers_mehlich3", "farm": {"name": "F", "region": "New Jersey"},
    "case": {"id": "nj", "date": "2026-10-20"},
    "layer": {"phosphorus": "112 ppm", "magnesium": "62 ppm", "calcium": "560 ppm"},
    "earlier_applications": [{"date": "2025-04-02", "material": "poultry manure",
                              "kind": "manure", "rate": "3 ton/ac", "note": "every year"}],
    "materials": [{"id": "c", "name": "Leaf compost", "kind": "compost", "form": "bulk",
                   "analysis": {"p2o5": "0.5 %", "total_nitrogen": "1.2 %"}}]}


COPPER_VINEYARD = {
    "field": {"crop": "grape", "yield_goal": None, "livestock": ["sheep"]}, "guide": None,
    "farm": {"name": "F", "region": "North Carolina"}, "case": {"id": "v", "date": "2026-10-20"},
    "methods": MICRO_METHODS, "layer": {"copper": "66 ppm", "zinc": "0.4 ppm", "ph": 5.6},
    "tissue": [{"id": "t", "part": "petiole", "stage": "veraison", "date": "2026-08-10",
                "copper": "60 ppm"},
               {"id": "u", "part": "petiole", "stage": "full bloom", "date": "2026-06-10",
                "zinc": "20 ppm"}]}


def build(layer=None, methods=None, field=None, sample=None, more=(), **top):
    """A case in house units; None for a value takes it away."""
    data = copy.deepcopy(BASE)
    data.update(copy.deepcopy(top))
    first = data["samples"][0]
    first["increments"] = [*more, {**LAYER, **(layer or {})}]
    first["methods"] = {**METHODS, **(methods or {})}
    first.update(sample or {})
    data["field"].update(field or {})
    data = _without_none(data)
    case, faults = to_house(CaseFile.model_validate(data))
    assert not faults
    return case


def pooled():
    """The case with two samples of its one zone, 10 and 14 ppm of phosphorus, pooled."""
    case = build(layer={"phosphorus": "10 ppm"})
    other = build(layer={"phosphorus": "14 ppm"}, sample={"id": "A2", "repeats": {
        "of": "A1", "treat": "pool"}})
    return treated(case.model_copy(update={"samples": [*case.samples, *other.samples]}))


def _without_none(value):
    if isinstance(value, dict):
        return {k: _without_none(v) for k, v in value.items() if v is not None}
    if isinstance(value, list):
        return [_without_none(v) for v in value]
    return value


def said(case):
    with recording():
        assessment = nutrients.assess(case)
    return assessment, {f.id: f for f in assessment.findings}


def words(message):
    return Writer().write(message).replace("\u00a0", " ")


def gaps(assessment):
    return " ".join(words(m.what) + " " + words(m.consequence) for m in assessment.missing)


def test_rate_of_the_guide_with_its_range():
    """ensures that 180 bu corn at 12 ppm gets (20 - 12) x 5 + 63 = 103 lb (Bulletin 974)."""
    _, found = said(build())
    p = found["nutrients.p.A1"]
    need, = p.needs
    assert (p.status, p.severity, p.value, p.unit) == (Status.LIMITING, 2, 12.0, "ppm")
    assert need.amount == pytest.approx(103)
    assert need.low < need.amount < need.high
    assert (need.kind, need.item, need.unit) == (NeedKind.NUTRIENT, "P2O5", "lb/ac")
    assert need.place.id == "A1" and need.area_ac == 30
    assert p.confidence is Confidence.HIGH
    k = found["nutrients.k.A1"].needs[0]
    assert k.amount == pytest.approx((120 - 90) * (1 + 0.05 * 12) + 180 * 0.20 + 20)


def test_range_is_that_of_the_test_error():
    """ensures that low and high are the rates at both ends of 90 % of a lognormal error (scipy)."""
    _, found = said(build())
    p = found["nutrients.p.A1"]
    error = next(r for r in p.results if r.formula == "soil_test_error").value
    need = p.needs[0]
    test = p.value
    apart = stats.lognorm(math.sqrt(math.log(1 + (error / test) ** 2)), scale=test)
    assert need.high - need.amount == pytest.approx(5 * (test - apart.ppf(0.05)))
    assert need.low == pytest.approx(need.amount - 5 * (apart.ppf(0.95) - test))


def test_number_of_cores_unknown_gives_no_range():
    """ensures that no range is invented where the number of cores is not stated."""
    _, found = said(build(sample={"cores": None}))
    need = found["nutrients.p.A1"].needs[0]
    assert need.low is None and need.high is None
    assert found["nutrients.p.A1"].confidence is Confidence.MEDIUM


def test_other_method_gets_no_rate_and_a_plain_word():
    """ensures that a Bray test with the Mehlich-3 guide gives no need and names both methods."""
    _, found = said(build(methods={"phosphorus": "bray-p1"}))
    p = found["nutrients.p.A1"]
    assert p.status is Status.UNCERTAIN and not p.needs and not p.advise_against
    text = words(p.body[0])
    assert "Mehlich-3" in text and "Bray P1" in text
    assert p.results[0].value is None


def test_guide_left_open_is_never_guessed():
    """ensures that of two fitting guides none is taken, and no rate is given."""
    case = build(farm={"name": "F", "region": "Montana"}, guide=None,
                 case={"id": "m", "date": "2026-10-20"},
                 field={"crop": "alfalfa", "yield_goal": {"value": "5 ton/ac", "basis": "x"}},
                 methods={"phosphorus": "olsen"}, layer={"potassium": None, "depth": "0-6 in"})
    _, found = said(case)
    guide = found["nutrients.guide"]
    assert guide.status is Status.UNCERTAIN
    text = words(guide.body[0])
    assert "montana_eb0161" in text and "montana_alfalfa_1998" in text
    assert found["nutrients.p.A1"].status is Status.UNCERTAIN
    assert not any(f.needs for f in found.values())


def test_only_fitting_guide_is_used_and_said():
    """ensures that one fitting guide is used and the report says that it was not named."""
    _, found = said(build(guide=None))
    assert found["nutrients.guide"].status is Status.NOTED
    assert found["nutrients.p.A1"].needs[0].amount == pytest.approx(103)


def test_a_towns_name_is_not_a_state():
    """ensures that a farm at Kansas City, Missouri, is not given the Kansas guide."""
    _, found = said(build(guide=None, methods={"phosphorus": "bray-p1"},
                          farm={"name": "F", "region": "Missouri",
                                "location": "near Kansas City"},
                          case={"id": "mo", "date": "2026-10-20"}))
    assert found["nutrients.guide"].status is Status.UNCERTAIN
    assert not found["nutrients.p.A1"].needs


@pytest.mark.parametrize("name", ["tristate", "tri_state_2021"])
def test_unknown_guide_is_named(name):
    """ensures that a guide that does not exist stops the rates, not the run."""
    _, found = said(build(guide=name))
    assert found["nutrients.guide"].status is Status.UNCERTAIN
    assert name in words(found["nutrients.guide"].body[0])
    assert not found["nutrients.p.A1"].needs


def test_own_guide_is_used_by_name():
    """ensures that a consultant's own guide gives the rate and is called their own."""
    own = guides.from_data("house", {
        "source": {"title": "House guide", "reference": "own strips", "how": "seen"},
        "guide": {"regions": ["Ohio"], "kind": "class table", "depth_in": 8},
        "rule": [{"nutrient": "P2O5", "crops": ["corn"], "methods": ["mehlich-3-icp"],
                  "kind": "classes", "critical_class": "enough",
                  "classes": [{"name": "short", "from_ppm": 0, "rate_lb": 71},
                              {"name": "enough", "from_ppm": 25, "rate_lb": 0}]}],
    }, own=True)
    with guides.with_guides(own):
        _, found = said(build(guide="house"))
    p = found["nutrients.p.A1"]
    assert p.needs[0].amount == 71
    assert any("adviser's own" in words(e.text) for e in p.evidence)
    assert found["nutrients.k.A1"].status is Status.UNCERTAIN  # the house guide has no K rule


def test_missing_values_are_named_never_zero():
    """ensures that a missing yield, test or CEC gives a Missing and no need."""
    assessment, found = said(build(field={"yield_goal": None}))
    assert "yield goal" in gaps(assessment) and not found["nutrients.p.A1"].needs
    assert "nutrients.removal" not in found
    assessment, found = said(build(layer={"phosphorus": None}))
    assert "phosphorus test" in gaps(assessment) and "nutrients.p.A1" not in found
    assessment, found = said(build(layer={"cec": None, "calcium": None}))
    assert "exchange capacity" in gaps(assessment) and not found["nutrients.k.A1"].needs
    assessment, found = said(build(layer={"organic_matter": None}))
    assert "Organic matter" in gaps(assessment) and "nutrients.sulfur.A1" not in found
    assert "Zinc, boron" in gaps(assessment)


def test_no_sample_of_the_rooting_layer():
    """ensures that a shallow slice alone is never held against a guide for 8 inches."""
    assessment, found = said(build(layer={"depth": "0-2 in"}))
    assert "rooting layer" in gaps(assessment)
    assert not any(f.needs for f in found.values())


def test_unknown_crop_stops_the_topic():
    """ensures that a crop the table does not know gives a Missing and nothing else."""
    assessment, found = said(build(field={"crop": "quinoa", "yield_goal": None}))
    assert not found and "quinoa" in gaps(assessment)


def test_bases_alone_settle_an_open_band():
    """ensures that Ca, Mg and K alone put the soil above CEC 5, and the text says at least."""
    _, found = said(build(layer={"cec": None}, methods={"buffer": None}))
    k = found["nutrients.k.A1"]
    assert k.needs and any("the true figure is higher" in words(e.text) for e in k.evidence)


def test_summed_cec_is_not_used_on_limy_soil():
    """ensures that free lime, which the extract dissolves, keeps a sum from deciding a rate."""
    assessment, found = said(build(layer={"cec": None, "ph": 7.8}))
    assert not found["nutrients.k.A1"].needs and "exchange capacity" in gaps(assessment)


def test_limits_of_the_laboratory_are_not_numbers():
    """ensures that "<5 ppm" gives a range without a rate, ">200 ppm" enough, ">15 ppm" nothing."""
    _, found = said(build(layer={"phosphorus": "<5 ppm"}))
    low = found["nutrients.p.A1"]
    need, = low.needs
    assert low.status is Status.LIMITING and low.value is None
    assert need.amount is None
    assert need.low == pytest.approx((20 - 5) * 5 + 63) and need.high == pytest.approx(163)
    assert "below" in words(low.body[0])
    _, found = said(build(layer={"phosphorus": ">200 ppm"}))
    assert found["nutrients.p.A1"].status is Status.ADEQUATE
    assert not found["nutrients.p.A1"].needs
    _, found = said(build(layer={"phosphorus": ">15 ppm"}))
    assert found["nutrients.p.A1"].status is Status.UNCERTAIN
    assert not found["nutrients.p.A1"].needs
    _, found = said(build(layer={"phosphorus": "<25 ppm"}))
    assert found["nutrients.p.A1"].status is Status.UNCERTAIN


def test_nothing_is_bought_above_the_limit():
    """ensures that 60 ppm P gives no need, an advice against, and a limit for the planner."""
    _, found = said(build(layer={"phosphorus": "60 ppm", "potassium": "250 ppm"}))
    p, k = found["nutrients.p.A1"], found["nutrients.k.A1"]
    assert p.status is Status.ADEQUATE and p.severity == 0 and not p.needs
    what, why = p.advise_against[0]
    assert "Phosphorus fertilizer" in words(what) and "40 ppm" in words(why)
    assert p.results[0].details["upper_lb_ac"] == 0
    assert "Potash" in words(k.advise_against[0][0])


def test_advice_against_names_every_place_once():
    """ensures that two rich samples share one "do not buy" line."""
    data = [dict(BASE["samples"][0], id=i, area="15 ac",
                 increments=[{**LAYER, "phosphorus": "60 ppm"}]) for i in ("A1", "A2")]
    data = {**copy.deepcopy(BASE), "samples": copy.deepcopy(data)}
    case, _ = to_house(CaseFile.model_validate(data))
    assessment, _ = said(case)
    pairs = [pair for f in assessment.findings for pair in f.advise_against
             if pair[0].key == "nutrients.against_p"]
    assert len(pairs) == 1
    assert "A1" in words(pairs[0][0]) and "A2" in words(pairs[0][0])


def test_maintenance_is_minor_and_may_wait():
    """ensures that 30 ppm P asks only for what the harvest takes, at severity 1."""
    _, found = said(build(layer={"phosphorus": "30 ppm"}))
    p = found["nutrients.p.A1"]
    assert (p.status, p.severity) == (Status.ADEQUATE, 1)
    assert p.needs[0].amount == pytest.approx(63)
    assert "skipped" in words(p.body[1])


def test_drawdown_is_not_called_nothing():
    """ensures that the 1995 guide's falling rate above the limit is worded as less, not none."""
    _, found = said(build(guide="tri_state_1995", layer={"phosphorus": "35 ppm"},
                          methods={"phosphorus": "bray-p1", "cations": "ammonium-acetate"}))
    p = found["nutrients.p.A1"]
    assert p.title.name == "title_drawdown"
    assert p.needs[0].amount == pytest.approx(180 * 0.37 / 2)
    assert not p.advise_against


def test_yearly_cap_on_potash():
    """ensures that no more than 300 lb K2O a year is asked for, and the rest is told (E-2567)."""
    _, found = said(build(field={"crop": "alfalfa",
                                 "yield_goal": {"value": "8 ton/ac", "basis": "x"}}))
    need = found["nutrients.k.A1"].needs[0]
    assert need.amount == need.cap == 300
    assert need.low is None and need.high is None  # both ends lie above the cap
    assert any(c.name == "caution_cap" for c in need.cautions)


def test_applied_since_sampling_is_taken_off():
    """ensures that fertilizer spread after the cores were pulled reduces the need."""
    spread = {"date": "2026-10-10", "material": "MAP", "kind": "fertilizer", "rate": "100 lb/ac",
              "analysis": {"n": "11 %", "p2o5": "52 %"}}
    earlier = {**spread, "date": "2026-09-01"}
    _, found = said(build(earlier_applications=[spread, earlier]))
    p = found["nutrients.p.A1"]
    assert p.needs[0].amount == pytest.approx(103 - 52)
    assert any(b.name == "credit_body" for b in p.body)
    assert any(r.formula == "nutrient_supplied" for r in p.results)


def test_unknown_manure_since_sampling_is_said():
    """ensures that manure of unknown content is told rather than counted as nothing."""
    spread = {"date": "2026-10-10", "material": "neighbour's litter", "kind": "manure",
              "rate": "2 ton/ac"}
    _, found = said(build(earlier_applications=[spread]))
    p = found["nutrients.p.A1"]
    assert p.needs[0].amount == pytest.approx(103)
    assert any(e.side is Side.AGAINST and "litter" in words(e.text) for e in p.evidence)


def test_test_at_the_edge_is_not_called_short():
    """ensures that 19 ppm, whose error reaches across 20, is a watch with lower confidence."""
    _, found = said(build(layer={"phosphorus": "19 ppm"}))
    p = found["nutrients.p.A1"]
    assert (p.status, p.severity) == (Status.WATCH, 1)
    assert p.confidence is Confidence.MEDIUM and p.title.name == "title_near"


def test_half_the_level_is_severe():
    """ensures that 8 ppm against 20 counts as severe."""
    _, found = said(build(layer={"phosphorus": "8 ppm"}))
    assert found["nutrients.p.A1"].severity == 3


def test_depth_and_region_of_the_guide_count():
    """ensures that a 6-inch sample or another state lowers confidence and is told."""
    for change in ({"layer": {"depth": "0-6 in"}},
                   {"farm": {"name": "F", "region": "Ontario"},
                    "case": {"id": "o", "date": "2026-10-20"}}):
        _, found = said(build(**change))
        p = found["nutrients.p.A1"]
        assert p.confidence is Confidence.MEDIUM
        assert any(e.text.name in ("evidence_depth", "evidence_region") for e in p.evidence)


def test_old_test_counts_less():
    """ensures that a test of more than three years lowers confidence."""
    _, found = said(build(sample={"date": "2022-10-01"}))
    assert found["nutrients.p.A1"].confidence is Confidence.MEDIUM


def test_unverified_numbers_are_admitted_in_the_evidence():
    """ensures that the reader learns when the guide's numbers came from memory."""
    _, found = said(build())
    assert any("from memory" in words(e.text) for e in found["nutrients.p.A1"].evidence)


def test_benefit_is_quantified_only_where_published():
    """ensures that Iowa's chance of response is printed and Ohio's is not invented."""
    _, ohio = said(build())
    assert "no number is given" in words(ohio["nutrients.p.A1"].body[-1])
    _, iowa = said(build(guide="iowa_2013", layer={"phosphorus": "8 ppm"},
                         methods={"phosphorus": "bray-p1"}))
    assert "80 of 100" in words(iowa["nutrients.p.A1"].body[-1])


def test_phosphorus_beyond_use_near_water():
    """ensures that excess P near water is a finding of its own, held against the state's level."""
    case = build(guide="rutgers_mehlich3", farm={"name": "F", "region": "New Jersey"},
                 case={"id": "nj", "date": "2026-10-20"}, more=(SURFACE,),
                 layer={"phosphorus": "112 ppm", "depth": "0-7 in"},
                 field={"crop": "tomato", "yield_goal": {"value": "18 ton/ac", "basis": "x"},
                        "sensitive_areas": ["brook along the east side"]})
    _, found = said(case)
    water = found["nutrients.p_water.A1"]
    assert (water.status, water.severity) == (Status.EXCESS, 2)
    assert "brook" in words(water.body[0])
    assert any("80 ppm" in words(e.text) for e in water.evidence)
    _, ohio = said(build(layer={"phosphorus": "60 ppm"}))
    assert ohio["nutrients.p_water.A1"].status is Status.WATCH
    assert any(e.text.name == "evidence_runoff" for e in ohio["nutrients.p_water.A1"].evidence)
    _, indiana = said(build(layer={"phosphorus": "60 ppm"},
                            case={"id": "in", "date": "2026-10-20"},
                            farm={"name": "F", "region": "Indiana"}))
    assert any(e.text.name == "evidence_no_level"
               for e in indiana["nutrients.p_water.A1"].evidence)


def test_cautions_go_with_every_rate():
    """ensures that P carries water and seed-row cautions, and perennial crops no seed row."""
    _, found = said(build(field={"sensitive_areas": ["ditch"]}))
    names = [c.name for c in found["nutrients.p.A1"].needs[0].cautions]
    assert names == ["caution_p_near_water", "caution_seed_row", "caution_build_up"]
    told = words(found["nutrients.p.A1"].needs[0].cautions[1])
    assert "8 lb/ac" in told and "boron" in told  # Kansas State: 30 in rows, 8 lb
    _, perennial = said(build(field={"tillage": "perennial"}))
    assert "caution_seed_row" not in [
        c.name for c in perennial["nutrients.k.A1"].needs[0].cautions]
    for case in (build(**MANURE), build(field={"tillage": "perennial"})):
        for message in everything(nutrients.assess(case)):
            assert "seed row" not in words(message), message.key


def test_feed_is_named_only_where_stock_eat():
    """ensures that potash and magnesium in feed come up for forage or stock alone."""
    def told(**field):
        need = said(build(field=field))[1]["nutrients.k.A1"].needs[0]
        return words(need.cautions[0])

    assert "magnesium" not in told() and "magnesium" in told(livestock=["cattle"])


def test_maintenance_is_optional():
    """ensures that within the maintenance range potash may be skipped (Bulletin 974).

    180 bu corn at 140 ppm K: 180 x 0.20 + 20 = 56 lb, of which 36 lb is the harvest.
    """
    _, found = said(build(**PILED))
    k = found["nutrients.k.A1"]
    need, = k.needs
    assert need.optional and k.severity <= 1
    assert need.amount == pytest.approx(56) and need.high == pytest.approx(61.7, abs=0.05)
    told = " ".join(words(b) for b in k.body)
    assert "36 lb/ac of K₂O for the harvest" in told and "flat 20 lb/ac" in told
    below = said(build())[1]["nutrients.k.A1"].needs[0]
    assert not below.optional and below.low > 0


@pytest.mark.parametrize(
    ("more", "field", "skipped"),
    [(PILED["more"], {}, True), ((), {"sensitive_areas": ["ditch"]}, True), ((), {}, False)],
)
def test_phosphorus_is_skipped_near_water_or_where_piled_up(more, field, skipped):
    """ensures that maintenance phosphorus is left out where it would only feed runoff."""
    case = build(layer={"phosphorus": "24 ppm"}, more=more, field=field)
    p = said(case)[1]["nutrients.p.A1"]
    assert (not p.needs) is skipped and p.severity == (0 if skipped else 1)
    assert ("nutrients.skip_body" in {b.key for b in p.body}) is skipped
    low = said(build(layer={"phosphorus": "12 ppm"}, more=more, field=field))[1]
    assert low["nutrients.p.A1"].needs  # short soil is fed all the same


def test_manure_on_rich_ground_is_stopped_by_name():
    """ensures that the manure behind a high P test is named and stopped.

    0.5 % P2O5 is 10 lb a ton; tomato takes 1.8 lb/ton (NRCS handbook table 6-6, from memory),
    32 lb at 18 ton. Days: 7 CFR 205.203 (c)(1).
    """
    _, found = said(build(**MANURE))
    p = found["nutrients.p.A1"]
    assert (p.status, p.severity) == (Status.EXCESS, 2)
    need, = p.needs
    assert (need.kind, need.item) == (NeedKind.MANAGE, "stop-manure")
    assert words(need.text) == (
        "Stop poultry manure here until the phosphorus test has fallen")
    told = " ".join(words(m) for m in (*p.body, *(e.text for e in p.evidence), *need.cautions))
    for piece in ("poultry manure, 3 ton/ac", "every year", "adds 10 lb/ton of P₂O₅",
                  "takes away about 32 lb/ac", "not counted", "120 days", "90 days",
                  "21 CFR 112"):
        assert piece in told, piece
    assert p.advise_against  # still on the list of what not to buy


@pytest.mark.parametrize("change", [{"earlier_applications": []},
                                    {"layer": {"phosphorus": "30 ppm"}}])
def test_no_manure_or_no_excess_stops_nothing(change):
    """ensures that the stop needs both the manure and the test."""
    _, found = said(build(**{**MANURE, **change}))
    assert not [n for n in found["nutrients.p.A1"].needs if n.kind is NeedKind.MANAGE]


def test_raw_manure_days_only_for_crops_eaten_raw():
    """ensures that grain gets no produce rule."""
    _, found = said(build(layer={"phosphorus": "90 ppm"},
                          earlier_applications=MANURE["earlier_applications"]))
    need, = found["nutrients.p.A1"].needs
    assert [c.name for c in need.cautions] == ["caution_p_index"]


@pytest.mark.parametrize(
    ("magnesium", "name", "severity"),
    [("22 ppm", "very low", 2), ("23 ppm", "low", 2), ("41 ppm", "low", 2), ("42 ppm", "medium", 1),
     ("62 ppm", "medium", 1), ("72 ppm", "high", 0), ("148 ppm", "very high", 0)],
)
def test_magnesium_by_the_classes_of_the_guide(magnesium, name, severity):
    """ensures Rutgers' classes: 0-45, 46-83, 84-143, 144-295, over 295 lb/ac (2 x ppm)."""
    change = {"layer": {**MANURE["layer"], "magnesium": magnesium}}
    mg = said(build(**{**MANURE, **change}))[1]["nutrients.mg_class.A1"]
    assert mg.results[0].value == name and mg.severity == severity and not mg.needs
    assert ("dolomitic" in words(mg.body[0])) is (severity > 0)


def test_other_guides_print_no_magnesium_class():
    """ensures that the New Jersey classes stay in New Jersey's guide."""
    assert not [i for i in said(build())[1] if "_class" in i]


def test_sulfur_by_organic_matter():
    """ensures that 1.5 % organic matter asks for 10 to 15 lb S on corn, 3.2 % for none."""
    _, found = said(build(layer={"organic_matter": "1.5 %"}))
    sulfur = found["nutrients.sulfur.A1"]
    need, = sulfur.needs
    assert (need.item, need.low, need.amount, need.high) == ("S", 10, 12.5, 15)
    assert any(e.text.name == "evidence_sulfur_nebraska" for e in sulfur.evidence)
    _, found = said(build())
    assert not found["nutrients.sulfur.A1"].needs


def test_irrigated_limy_soil_is_not_short_of_sulfur():
    """ensures that low organic matter in the irrigated West asks for no sulfur (Colorado)."""
    _, found = said(build(layer={"organic_matter": "1.2 %", "ph": 8.1},
                          field={"irrigation": "center pivot"}))
    sulfur = found["nutrients.sulfur.A1"]
    assert sulfur.status is Status.NOTED and not sulfur.needs


def test_sulfate_test_is_context_only():
    """ensures that a sulfate value changes nothing but is told (North Dakota)."""
    _, with_test = said(build(layer={"sulfate_s": "2 ppm"}, methods={"sulfur": "mehlich-3"}))
    sulfur = with_test["nutrients.sulfur.A1"]
    assert not sulfur.needs
    assert any(e.text.name == "evidence_sulfate" for e in sulfur.evidence)


def test_low_boron_on_tomato():
    """ensures that boron is given at the low end, capped, with the narrow-margin caution."""
    case = build(guide="rutgers_mehlich3", farm={"name": "F", "region": "New Jersey"},
                 case={"id": "nj", "date": "2026-10-20"},
                 layer={"boron": "0.3 ppm", "depth": "0-7 in"}, methods=MICRO_METHODS,
                 field={"crop": "tomato", "following_crop": "corn",
                        "yield_goal": {"value": "18 ton/ac", "basis": "x"}})
    _, found = said(case)
    need, = found["nutrients.b.A1"].needs
    assert (need.amount, need.high, need.cap) == (0.5, 1.0, 1.0)
    assert [c.name for c in need.cautions] == ["caution_boron", "caution_boron_next"]


def test_boron_on_corn_is_not_advised():
    """ensures that low boron under corn, which responds little, creates no need (Minnesota
    discourages boron on corn)."""
    _, found = said(build(layer={"boron": "0.3 ppm"}, methods=MICRO_METHODS))
    boron = found["nutrients.b.A1"]
    assert not boron.needs and boron.status is Status.NOTED


def test_zinc_by_the_minnesota_table():
    """ensures that 0.4 ppm DTPA zinc under corn asks for 10 lb broadcast (Rehm)."""
    _, found = said(build(farm={"name": "F", "region": "Minnesota"},
                          case={"id": "mn", "date": "2026-10-20"}, layer={"zinc": "0.4 ppm"},
                          methods={"zinc": "dtpa"}))
    zinc = found["nutrients.zn.A1"]
    need, = zinc.needs
    assert (zinc.status, need.amount) == (Status.LIMITING, 10)
    assert "2" in words(need.text)  # band rate


def test_high_micronutrient_limits_the_planner():
    """ensures that copper of 25 ppm forbids more copper."""
    case = build(guide="rutgers_mehlich3", farm={"name": "F", "region": "New Jersey"},
                 case={"id": "nj", "date": "2026-10-20"}, layer={"copper": "25 ppm"},
                 methods=MICRO_METHODS)
    _, found = said(case)
    copper = found["nutrients.cu.A1"]
    assert copper.status is Status.WATCH and not copper.needs
    assert any(r.details.get("upper_lb_ac") == 0 for r in copper.results)


def test_mixes_are_advised_against_only_after_tests():
    """ensures that a blend is advised against when tests are fine by a scale made for the
    place (Rutgers, relative levels), and not without tests or by a scale from elsewhere.
    """
    fine = {"layer": {"zinc": "3 ppm", "copper": "2 ppm"}, "methods": MICRO_METHODS}
    home = {"guide": "rutgers_mehlich3", "farm": {"name": "F", "region": "New Jersey"}}

    def against(case):
        _, found = said(case)
        return "nutrients.against_micro" in [
            w.key for f in found.values() for w, _ in f.advise_against]

    assert against(build(**fine, **home))
    assert not against(build(**fine)) and not against(build(**home))


def test_manganese_needs_ph():
    """ensures that a Mehlich-3 manganese test without pH is a gap, not a class."""
    assessment, found = said(build(layer={"manganese": "20 ppm", "ph": None},
                                   methods=MICRO_METHODS))
    assert "nutrients.mn.A1" not in found and "manganese" in gaps(assessment)


def test_micronutrient_limit_value_is_a_gap():
    """ensures that "<0.5 ppm" zinc is not read as 0.5."""
    assessment, found = said(build(layer={"zinc": "<0.5 ppm"}, methods=MICRO_METHODS))
    assert "nutrients.zn.A1" not in found and "zinc" in gaps(assessment)


def test_peanut_pegging_zone():
    """ensures that Ca below 500 lb/ac in 0-3 in asks for half a ton of gypsum (Georgia)."""
    zone = {"depth": "0-3 in", "calcium": "400 lb/ac", "potassium": "80 lb/ac", "ph": 6.2}
    common = {"field": {"crop": "peanut", "yield_goal": {"value": "4000 lb/ac", "basis": "x"}},
              "methods": {"cations": "mehlich-1", "phosphorus": "mehlich-1"}}
    _, found = said(build(more=(zone,), **common))
    calcium = found["nutrients.surface_calcium.A1"]
    need, = calcium.needs
    assert (need.kind, need.amount, need.unit) == (NeedKind.GYPSUM, 0.5, "ton/ac")
    assert calcium.results[0].value == pytest.approx(400)
    _, found = said(build(more=({**zone, "calcium": "600 lb/ac"},), **common))
    assert not found["nutrients.surface_calcium.A1"].needs
    _, found = said(build(more=({**zone, "calcium": "250 ppm"},), **common))  # 500 lb as labs count
    assert not found["nutrients.surface_calcium.A1"].needs
    _, found = said(build(more=(zone,), field=common["field"]))  # Mehlich-3: rule does not hold
    assert {j.verdict for j in found["nutrients.surface_calcium.A1"].judgements} == {
        Verdict.NOT_JUDGED}


@pytest.mark.parametrize("market", ["virginia", "runner", "valencia", None])
def test_peanut_without_a_shallow_test_leaves_calcium_open(market):
    """ensures that a sample of 0-8 in never answers for the pegging zone: calcium and gypsum are
    not judged, the shallow test is asked for and no rate is given. What Georgia advises for
    virginia types whatever the test (2,000 lb/ac, Harris) is told.
    """
    case = build(field={"crop": "peanut", "market_type": market,
                        "yield_goal": {"value": "4000 lb/ac", "basis": "x"}},
                 methods={"cations": "mehlich-1", "phosphorus": "mehlich-1"},
                 layer={"calcium": "900 ppm"}, farm={"name": "F", "region": "Georgia"},
                 case={"id": "g", "date": "2026-10-20"})
    found = said(case)[1]["nutrients.surface_calcium.A1"]
    assert {(j.key, j.verdict, j.settled_by) for j in found.judgements} == {
        (key, Verdict.NOT_JUDGED, "shallow_calcium") for key in ("Ca", "gypsum")}
    assert [n.kind for n in found.needs] == [NeedKind.MEASURE]
    told = " ".join(words(j.why) for j in found.judgements)
    assert ("2,000 lb/ac" in told) == (market == "virginia")
    assert "mehlich-1" in words(found.judgements[0].settle)


def test_peanut_rate_is_the_tables_with_its_window():
    """ensures that South Carolina's virginia range is kept and bloom is the window.

    Georgia runners 1,000 lb (Harris 2015); Alabama runners at 360 lb none (Howe 2013).
    """
    zone = {"depth": "0-3 in", "calcium": "360 lb/ac", "potassium": "90 lb/ac", "ph": 6.3}
    common = {"field": {"crop": "peanut", "yield_goal": {"value": "4000 lb/ac", "basis": "x"}},
              "methods": {"cations": "mehlich-1", "phosphorus": "mehlich-1"}, "more": (zone,)}
    georgia = {"farm": {"name": "F", "region": "Georgia"}, "case": {"id": "g",
                                                                    "date": "2026-10-20"}}
    found = said(build(**common, **georgia))[1]["nutrients.surface_calcium.A1"]
    need, = found.needs
    assert (need.amount, need.low, need.high) == (0.5, 0.5, 0.5)
    assert need.params["window"] == "early bloom" and "at early bloom" in words(need.text)
    assert "1,000 lb/ac" in words(need.text)
    assert {(j.key, j.verdict) for j in found.judgements} == {
        ("Ca", Verdict.NEEDED), ("gypsum", Verdict.NEEDED)}
    told = " ".join(words(m) for m in (need.text, *found.body, *need.cautions)).lower()
    assert "sodi" not in told and "the rule is that of georgia" in told
    carolina = said(build(**common, farm={"name": "F", "region": "South Carolina"},
                          case={"id": "s", "date": "2026-10-20"}))[1]
    need, = carolina["nutrients.surface_calcium.A1"].needs
    assert (need.low, need.high) == (0.5, 0.75)
    alabama = said(build(**common, farm={"name": "F", "region": "Alabama"},
                         case={"id": "a", "date": "2026-10-20"}))[1]
    assert not alabama["nutrients.surface_calcium.A1"].needs
    own = said(build(**common))[1]["nutrients.surface_calcium.A1"]
    assert "is used instead" in words(own.body[0])


def test_peanut_gypsum_goes_by_the_market_type():
    """ensures that the rule of the stated type is taken, and that an unstated one is asked for.

    Georgia: runners 1,000 lb below 500 lb of calcium (harris-2015-peanut-calcium), virginia
    types 2,000 lb whatever the test (harris-peanut-large-seed). No rule is held for spanish.
    """
    def asked(**field):
        zone = {"depth": "0-3 in", "calcium": "600 lb/ac", "potassium": "80 lb/ac", "ph": 6.2}
        if not field:
            zone["calcium"] = "400 lb/ac"
        return said(build(more=(zone,), farm={"name": "F", "region": "Georgia"},
                          case={"id": "g", "date": "2026-10-20"},
                          methods={"cations": "mehlich-1", "phosphorus": "mehlich-1"},
                          field={"crop": "peanut", "yield_goal": {"value": "4000 lb/ac",
                                                                  "basis": "x"}, **field},
                          ))[1]["nutrients.surface_calcium.A1"]

    need, = asked(market_type="virginia").needs
    assert need.amount == 1.0
    assert not asked(market_type="runner").needs
    assert asked(market_type="spanish").grade is Grade.PRACTICE
    need, = asked().needs
    told = need.cautions[0]
    assert (need.amount, told.key) == (0.5, "nutrients.caution_market_type")
    assert (told.params["other"], told.params["high"]) == ("virginia", 2000.0)
    assert "2,000 lb/ac, whatever the test" in words(told)


def test_a_market_type_without_a_rule_leaves_gypsum_to_its_own_rule():
    """ensures that a tested pegging zone of a type without a rule leaves calcium and gypsum open,
    settled by a rule of that type or the adviser, never by a sodium test; and that a type with
    a rule in another state is never read by the rule of another type (harris-peanut-large-seed:
    virginia 2,000 lb/ac whatever the test).
    """
    def judged(market, region):
        zone = {"depth": "0-3 in", "calcium": "600 lb/ac", "potassium": "80 lb/ac", "ph": 6.2}
        case = build(more=(zone,), farm={"name": "F", "region": region},
                     case={"id": "g", "date": "2026-10-20"},
                     methods={"cations": "mehlich-1", "phosphorus": "mehlich-1"},
                     materials=[{"id": "g", "name": "Gypsum", "kind": "gypsum",
                                 "analysis": {"gypsum": "90 %"}}],
                     field={"crop": "peanut", "market_type": market,
                            "yield_goal": {"value": "4000 lb/ac", "basis": "x"}})
        assessment, found = said(case)
        return (found["nutrients.surface_calcium.A1"],
                judgements(case, assessment.findings, assessment.missing))

    found, told = judged("valencia", "Georgia")
    assert {(j.key, j.verdict, j.settled_by) for j in found.judgements} == {
        (key, Verdict.NOT_JUDGED, "market_rule") for key in ("Ca", "gypsum")}
    assert [j.settled_by for j in told if j.key == "gypsum"] == ["market_rule"]
    assert "valencia" in words(found.judgements[0].why)
    elsewhere, _ = judged("virginia", "Alabama")
    need, = elsewhere.needs
    assert need.amount == 1.0 and "is used instead" in words(elsewhere.body[0])


def _of(finding, key):
    return next(j for j in finding.judgements if j.key == key)


def test_one_ppm_does_not_turn_the_verdict():
    """ensures that 170 and 171 ppm K, 40 and 41 ppm P, are alike (Bulletin 974: 170 and 40)."""
    for field, key, at, above in (("potassium", "K2O", 170, 171), ("phosphorus", "P2O5", 40, 41)):
        part = "k" if key == "K2O" else "p"
        for value in (at, above):
            assessment, found = said(build(layer={field: f"{value} ppm"}))
            finding = found[f"nutrients.{part}.A1"]
            assert _of(finding, key).verdict is Verdict.OPTIONAL
            assert any(b.key == "nutrients.turn_body" for b in finding.body)
        assert _of(finding, key).reason == "near_critical_above"
        assert finding.status is Status.WATCH and not finding.needs
        assert finding.confidence is Confidence.MEDIUM
        assert not [1 for f in assessment.findings for what, _ in f.advise_against
                    if what.key == f"nutrients.against_{part}"]
    far = said(build(layer={"potassium": "230 ppm"}))[1]["nutrients.k.A1"]
    assert _of(far, "K2O").verdict is Verdict.NOT_NEEDED


def test_both_sides_of_the_critical_level():
    """ensures that 19.9 ppm P is needed with a doubt and 20 optional (Bulletin 974: 20 ppm)."""
    below = said(build(layer={"phosphorus": "19.9 ppm"}))[1]["nutrients.p.A1"]
    assert _of(below, "P2O5").reason == "near_critical" and below.status is Status.WATCH
    on = said(build(layer={"phosphorus": "20 ppm"}))[1]["nutrients.p.A1"]
    assert _of(on, "P2O5").verdict is Verdict.OPTIONAL and on.status is Status.WATCH
    assert any(b.key == "nutrients.turn_body" for b in on.body)
    assert "the advice changes at" in words(on.needs[0].text)


def test_uncounted_cores_do_not_make_a_test_sure():
    """ensures that a line is softened where the number of cores is unknown too."""
    found = said(build(layer={"potassium": "171 ppm"}, sample={"cores": None}))[1]
    assert _of(found["nutrients.k.A1"], "K2O").reason == "near_critical_above"


def test_pooled_samples_are_named_with_their_spread():
    """ensures that two samples of 10 and 14 ppm read as 12, with the spread said."""
    found = said(pooled())[1]["nutrients.p.A1"]
    assert found.value == pytest.approx(12)
    told = " ".join(words(b) for b in found.body)
    assert "mean of 2 samples" in told and "10 ppm" in told and "14 ppm" in told


def test_runoff_is_a_limit_only_where_water_is_near():
    """ensures that phosphorus above the limit is no fault of a field far from water."""
    high = {"layer": {"phosphorus": "60 ppm"}}
    assert said(build(**high))[1]["nutrients.p_water.A1"].severity == 0
    near = said(build(**high, field={"sensitive_areas": ["ditch"]}))[1]
    assert near["nutrients.p_water.A1"].severity >= 1


def test_no_shallow_calcium_limit_for_field_crops():
    """ensures that calcium in 0-2 in is called a rule of the trade and gives no rate."""
    _, found = said(build(more=(SURFACE,)))
    calcium = found["nutrients.surface_calcium.A1"]
    assert calcium.grade is Grade.PRACTICE and not calcium.needs
    assert "No calibrated limit" in words(calcium.body[0])


def test_removal_is_a_tally_not_a_need():
    """ensures that removal at the yield goal is told with its range and creates no need."""
    _, found = said(build())
    harvest = found["nutrients.removal"]
    assert not harvest.needs
    assert "not a fertilizer rate" in words(harvest.body[0])


def test_metric_yield_gives_the_same_rate():
    """ensures that 11.3 t/ha of corn is read as 180 bu/ac (56 lb bushels)."""
    t_ha = 180 * 56 / 2204.6226 * 2.4710538
    _, found = said(build(field={"yield_goal": {"value": f"{t_ha:.4f} t/ha", "basis": "x"}}))
    assert found["nutrients.p.A1"].needs[0].amount == pytest.approx(103, abs=0.01)


VARIANTS = {
    "plain": {},
    "bray": {"methods": {"phosphorus": "bray-p1"}},
    "no guide": {"guide": None, "farm": {"name": "F"}, "case": {"id": "n", "date": "2026-10-20"}},
    "only guide": {"guide": None},
    "unknown guide": {"guide": "nowhere"},
    "no yield": {"field": {"yield_goal": None}},
    "no cec": {"layer": {"cec": None, "calcium": None}},
    "summed cec": {"layer": {"cec": None, "buffer_ph": 6.6, "sodium": "10 ppm"}},
    "limits": {"layer": {"phosphorus": "<5 ppm", "potassium": ">15 ppm"}},
    "rich": {"layer": {"phosphorus": "60 ppm", "potassium": "300 ppm"}, "more": (SURFACE,)},
    "edge": {"layer": {"phosphorus": "19 ppm", "potassium": "150 ppm"}},
    "iowa": {"guide": "iowa_2013", "methods": {"phosphorus": "olsen"}},
    "critical only": {"guide": "nebraska_critical", "methods": {"cations": "ammonium-acetate"}},
    "class only": {"guide": "rutgers_mehlich3"},
    "drawdown": {"guide": "tri_state_1995", "layer": {"phosphorus": "35 ppm"},
                 "methods": {"phosphorus": "bray-p1", "cations": "ammonium-acetate"}},
    "no shallow test": {"field": {"crop": "peanut", "yield_goal": None}},
    "alfalfa": {"field": {"crop": "alfalfa", "previous_crop": "wheat", "tillage": "perennial",
                          "yield_goal": {"value": "8 ton/ac", "basis": "x"}}},
    "montana": {"guide": "montana_eb0161", "layer": {"phosphorus": "20 ppm"},
                "methods": {"phosphorus": "olsen", "cations": "ammonium-acetate"},
                "field": {"crop": "winter wheat",
                          "yield_goal": {"value": "60 bu/ac", "basis": "x"}}},
    "crop without rule": {"field": {"crop": "onion",
                                    "yield_goal": {"value": "20 ton/ac", "basis": "x"}}},
    "unknown crop": {"field": {"crop": "quinoa", "yield_goal": None}},
    "shallow only": {"layer": {"depth": "0-2 in"}},
    "no tests": {"layer": {"phosphorus": None, "potassium": None, "organic_matter": None}},
    "sulfur": {"layer": {"organic_matter": "1.4 %", "sulfate_s": "<2 ppm"},
               "methods": {"sulfur": "mehlich-3"}},
    "sulfur possible": {"layer": {"organic_matter": "2.6 %"}},
    "sulfur none": {"layer": {"organic_matter": "5 %", "ph": 8.0},
                    "field": {"irrigation": "drip"}},
    "micro low": {"layer": {"zinc": "0.5 ppm", "boron": "0.2 ppm", "copper": "0.2 ppm",
                            "manganese": "2 ppm", "iron": "20 ppm", "ph": 7.6},
                  "methods": MICRO_METHODS},
    "micro high": {"layer": {"zinc": "60 ppm", "copper": "30 ppm", "iron": "150 ppm",
                             "manganese": "80 ppm", "boron": "25 ppm"}, "methods": MICRO_METHODS},
    "micro dtpa": {"layer": {"zinc": "0.7 ppm", "copper": "0.5 ppm", "iron": "3 ppm",
                             "manganese": "0.5 ppm", "boron": "0.5 ppm"},
                   "methods": {**dict.fromkeys(MICRO_METHODS, "dtpa"), "boron": "hot water"}},
    "micro unread": {"layer": {"zinc": "1 ppm"}, "methods": {"zinc": "hcl"}},
    "credits": {"earlier_applications": [
        {"date": "2026-10-10", "material": "MAP", "kind": "fertilizer", "rate": "100 lb/ac",
         "analysis": {"p2o5": "52 %"}},
        {"date": "2026-10-11", "material": "litter", "kind": "manure", "rate": "1 ton/ac"}]},
    "peanut": {"field": {"crop": "peanut", "yield_goal": {"value": "4000 lb/ac", "basis": "x"}},
               "methods": {"cations": "mehlich-1", "phosphorus": "mehlich-1"},
               "more": ({"depth": "0-3 in", "calcium": "400 lb/ac", "potassium": "80 lb/ac"},)},
    "no cores": {"sample": {"cores": None}},
    "rotation": {"field": {"previous_crop": "wheat"}},
    "manure": MANURE,
    "piled up": PILED,
    "micro limit": {"layer": {"zinc": "<0.5 ppm"}, "methods": MICRO_METHODS},
}


SLURRY = {"total_nitrogen": "25 lb/1000gal", "available_n": "12 lb/1000gal",
          "p2o5": "10 lb/1000gal", "k2o": "20 lb/1000gal"}


def everything(assessment):
    for f in assessment.findings:
        yield f.title
        yield from f.body
        yield from (e.text for e in f.evidence)
        yield from ((f.reference,) if f.reference else ())
        for need in f.needs:
            yield need.text
            yield from need.cautions
        for pair in f.advise_against:
            yield from pair
    for m in assessment.missing:
        yield m.what
        yield m.consequence


@pytest.mark.parametrize("name", VARIANTS)
@pytest.mark.parametrize("system", ["us", "si"])
def test_every_message_can_be_written(name, system):
    """ensures that whatever is said has words, in both unit systems, without leftovers."""
    assessment, _ = said(build(**VARIANTS[name]))
    writer = Writer("en", system)
    for message in everything(assessment):
        text = writer.write(message)
        assert text and "None" not in text.replace("None.", "") and "{{" not in text, message.key
        if system == "si":
            assert "lb/ac" not in text or "typed" in text, (message.key, text)


@pytest.mark.parametrize("name", VARIANTS)
def test_findings_are_well_formed(name):
    """ensures unique ids, known sources, honest amounts and a trace for every finding."""
    assessment, found = said(build(**VARIANTS[name]))
    assert len(found) == len(assessment.findings)
    for finding in assessment.findings:
        assert finding.topic == "nutrients" and finding.id.startswith("nutrients.")
        cited = [*finding.sources, *(s for e in finding.evidence for s in e.sources),
                 *(s for n in finding.needs for s in n.sources)]
        assert set(cited) <= set(references()), finding.id
        assert 0 <= finding.severity <= 3
        for need in finding.needs:
            assert need.amount is None or need.amount > 0
            if need.low is not None and need.high is not None:
                assert need.low <= need.high
                assert need.amount is None or need.low <= need.amount <= need.high
            assert need.results or need.kind is NeedKind.MEASURE
            assert all(r.calculation for r in need.results)


def test_every_macro_is_used():
    """ensures that the template holds no words that nothing says."""
    used = set()
    for name in VARIANTS:
        assessment, _ = said(build(**VARIANTS[name]))
        used |= {m.name for m in everything(assessment)
                 if m.topic == "nutrients"}
    for more in ({"field": {"crop": "tomato", "following_crop": "corn", "yield_goal": None,
                            "sensitive_areas": ["brook"]},
                  "guide": "rutgers_mehlich3", "farm": {"name": "F", "region": "New Jersey"},
                  "case": {"id": "nj", "date": "2026-10-20"}, "methods": MICRO_METHODS,
                  "layer": {"boron": "0.3 ppm", "phosphorus": "112 ppm", "zinc": "2 ppm"},
                  "more": (SURFACE,)},
                 {"farm": {"name": "F", "region": "Indiana"}, "layer": {"phosphorus": "60 ppm"},
                  "case": {"id": "in", "date": "2026-10-20"}},
                 {"sample": {"date": dt.date(2019, 10, 1)}},
                 {"layer": {"phosphorus": "30 ppm"}, "field": {"sensitive_areas": ["ditch"]}},
                 {"field": {"sensitive_areas": ["ditch"]}},
                 {"layer": {"zinc": "2 ppm"}, "methods": MICRO_METHODS,
                  "guide": "rutgers_mehlich3", "farm": {"name": "F", "region": "New Jersey"}},
                 {"layer": {"selenium": "1 ppm"}, "methods": {"selenium": "total"}},
                 {"materials": [{"id": "starter", "name": "Starter", "kind": "fertilizer",
                                 "form": "liquid", "analysis": {"n": "10 %", "p2o5": "34 %"}}]},
                 COPPER_VINEYARD):
        assessment, _ = said(build(**more))
        used |= {m.name for m in everything(assessment)
                 if m.topic == "nutrients"}
    used |= {m.name for m in everything(nutrients.assess(pooled()))}
    used |= {c.name for f in own_rules("5 ppm", "5 ppm", "0.05 ppm") for n in f.needs
             for c in n.cautions if c.topic == "nutrients"}
    used |= {m.name for m in everything(nutrients.assess(build(materials=[
        {"id": "map", "name": "MAP", "kind": "fertilizer",
         "analysis": {"n": "11 %", "p2o5": "52 %"}}]))) if m.topic == "nutrients"}
    for analysis in (SLURRY, {"p2o5": SLURRY["p2o5"]}):
        pit = {"id": "pit", "name": "Pit slurry", "kind": "manure", "form": "slurry",
               "animal": "dairy", "analysis": analysis}
        with recording():
            used |= {m.name for m in everything(assess(build(materials=[pit])))
                     if m.topic == "nutrients"}
    source = (nutrients_template()).read_text(encoding="utf-8")
    macros = set(re.findall(r"macro (\w+)\(p\)", source))
    assert macros == used


def nutrients_template():
    from loambrief.resources import templates_dir

    return templates_dir() / "text" / "en" / "nutrients.j2"


def test_sentences_are_short():
    """ensures that growers read short sentences: at most 34 words, 16 on average."""
    lengths = []
    for name in VARIANTS:
        assessment, _ = said(build(**VARIANTS[name]))
        for finding in assessment.findings:
            for message in finding.body:
                for sentence in re.split(r"(?<=[.!?])\s+(?=[A-Z])", words(message)):
                    if finding.id != "nutrients.removal":
                        lengths.append(len(sentence.split()))
    assert max(lengths) <= 34
    assert sum(lengths) / len(lengths) <= 16


def test_weeds_and_sap_change_nothing():
    """ensures that weeds and Brix neither create nor change a nutrient rate."""
    weeds = [{"species": "Rumex acetosella", "cover": "40 %", "identification": "certain"}]
    sap = {"date": "2026-07-01", "atc": True, "readings": [
        {"plant": "corn", "role": "crop", "replicates": [3.0, 3.2, 2.9]}]}
    plain, _ = said(build())
    beside, _ = said(build(weeds=weeds, refractometer=sap))
    assert plain == beside


def test_same_case_same_answer():
    """ensures that the assessment rests on the case alone, not on the clock."""
    first, _ = said(build())
    assert build().case.date == dt.date(2026, 10, 20)
    second, _ = said(build())
    assert first == second


@pytest.mark.parametrize(("date", "old"), [(None, False), ("2015-09-01", True)])
def test_a_sample_past_its_age_gives_no_rate(date, old):
    """ensures that phosphorus and potash are not rated from a sample years past its interval.

    Source: common practice, soil tests are renewed every three to four years.
    """
    layer = {"phosphorus": "8 ppm", "potassium": "60 ppm"}
    assessment, _ = said(build(layer, sample={"date": date} if date else {}))
    rated = {n.item for f in assessment.findings for n in f.needs if n.amount is not None}
    assert (not {"P2O5", "K2O"} & rated) is old
