"""Findings on forage: quality with its error, nitrate in both forms, horses, soil in the hay."""

from pathlib import Path

import pytest

from findings.field_cases import WRITERS, case_of, needs_of, sources, texts
from loambrief.agronomy.registry import recording
from loambrief.case.load import load_case
from loambrief.findings.model import Confidence, NeedKind, Status
from loambrief.report.text import Writer
from loambrief.tables import references
from loambrief.topics.forage import findings as forage

ROOT = Path(__file__).parents[2] / "sample_inputs"
HAY = {"id": "h1", "kind": "legume", "date": "2026-06-02", "cores": 20, "adf": "34 %",
       "ndf": "41 %", "crude_protein": "20 %", "ether_extract": "2.5 %", "ash": "10 %",
       "ndfd_48h": "45 %"}


def said(*tests, livestock=(), **parts):
    return forage.assess(case_of(forage=list(tests), field={"livestock": list(livestock)}, **parts))


def found(*tests, **more):
    return {f.id: f for f in said(*tests, **more).findings}


def test_feed_value_of_a_published_hay():
    """ensures that ADF 34, NDF 41 gives RFV 142 with an error beside it (Utah State)."""
    finding = found(HAY)["forage.quality.h1"]
    assert round(finding.value) == 142
    assert finding.status is Status.NOTED and finding.severity == 0
    assert "give or take 5" in texts(said(HAY))[0]


@pytest.mark.parametrize(
    ("adf", "ndf", "status", "severity"),
    [("34 %", "41 %", Status.WATCH, 1), ("29 %", "36.4 %", Status.UNCERTAIN, 0),
     ("27 %", "34 %", Status.ADEQUATE, 0)],
)
def test_dairy_hay_is_held_against_its_goal(adf, ndf, status, severity):
    """ensures that the error decides whether hay falls short of RFV 170 (Utah State)."""
    finding = found(HAY | {"adf": adf, "ndf": ndf}, livestock=["dairy"])["forage.quality.h1"]
    assert (finding.status, finding.severity) == (status, severity)


def test_disagreeing_grade_columns_are_shown():
    """ensures that columns of the USDA table that disagree are named one by one."""
    finding = found(HAY)["forage.quality.h1"]
    grade = next(e for e in finding.evidence if e.text.key == "forage.evidence_grade")
    assert grade.side.value == "against"
    assert grade.text.params["columns"] == {
        "rfv": "Fair", "adf": "Fair", "ndf": "Fair", "tdn": "Fair", "protein": "Premium"}


def test_quality_names_its_equations():
    """ensures that RFQ says which reference and equations it uses."""
    assert "legume equations" in " ".join(texts(said(HAY)))
    assert "grass equations" in " ".join(texts(said(HAY | {"kind": "grass"})))


def test_quality_needs_all_its_parts():
    """ensures that a missing part leaves RFQ out and is named; a 30-hour value cannot stand in."""
    test = {k: v for k, v in HAY.items() if k not in ("ndfd_48h", "ash")} | {"ndfd_30h": "40 %"}
    assessment = said(test)
    assert not any(f.id.startswith("forage.rfq") for f in assessment.findings)
    gap = assessment.missing[0].what
    assert gap.params["lacking"] == ["ash", "ndfd_48h"] and gap.params["thirty"]


def test_impossible_fibre_gives_no_value():
    """ensures that more ADF than NDF, or none, gives no feed value instead of a wrong one."""
    for change in ({"adf": "45 %", "ndf": "41 %"}, {"ndf": "0 %"}, {"adf": "<30 %"}):
        assessment = said(HAY | change)
        assert not any(f.id.startswith(("forage.quality", "forage.rfq"))
                       for f in assessment.findings)
        assert "forage.missing_fibre" in {m.what.key for m in assessment.missing}


@pytest.mark.parametrize(
    ("value", "form", "severity"),
    [("900 ppm", "no3-n", 0), ("1200 ppm", "no3-n", 1), ("2500 ppm", "no3-n", 2),
     ("4100 ppm", "no3-n", 3), ("3000 ppm", "no3", 0), ("3000 ppm", "no3-n", 2),
     ("3 g/kg", "no3", 0)],
)
def test_nitrate_by_the_named_table(value, form, severity):
    """ensures that the same number is safe as NO3 and not as NO3-N (Nebraska; Clemson table)."""
    finding = found(HAY | {"nitrate": value, "nitrate_as": form})["forage.nitrate.h1"]
    assert finding.severity == severity
    assert finding.status is (Status.EXCESS if severity else Status.ADEQUATE)
    assert finding.sources[0] == "clemson-forage-nitrate"


def test_both_forms_stand_in_the_title():
    """ensures that the reader sees NO3-N and NO3 whatever the report used."""
    line = next(t for t in texts(said(HAY | {"nitrate": "2000 ppm", "nitrate_as": "no3"}))
                if t.startswith("Nitrate in"))
    assert "452" in line and "NO₃-N" in line and "2,000" in line


def test_high_nitrate_warns_for_stock():
    """ensures that risky hay carries limits, pregnant animals, water and the veterinarian."""
    assessment = said(HAY | {"nitrate": "2500 ppm", "nitrate_as": "no3-n"}, livestock=["cattle"])
    need = needs_of(assessment, NeedKind.MANAGE)["nitrate"]
    assert {c.key for c in need.cautions} == {
        "forage.caution_pregnant", "forage.caution_nitrate", "forage.caution_vet"}
    assert need.cautions[0].params["none"] is True
    assert any("no more than 35%" in t for t in texts(assessment))


def test_nitrate_without_its_form_is_not_judged():
    """ensures that a number without a form is shown both ways and asked about, not guessed."""
    assessment = said(HAY | {"nitrate": "3000 ppm"})
    finding = {f.id: f for f in assessment.findings}["forage.nitrate.h1"]
    assert finding.status is Status.UNCERTAIN and finding.severity == 2
    assert finding.value is None
    assert "nitrate-form" in needs_of(assessment, NeedKind.MEASURE)


@pytest.mark.parametrize(
    ("value", "status"),
    [("<100 ppm", Status.ADEQUATE), ("<1500 ppm", Status.UNCERTAIN), (">900 ppm", Status.UNCERTAIN),
     (">4000 ppm", Status.EXCESS)],
)
def test_nitrate_limits_stay_limits(value, status):
    """ensures that "<" and ">" results are judged as limits."""
    finding = found(HAY | {"nitrate": value, "nitrate_as": "no3-n"})["forage.nitrate.h1"]
    assert finding.status is status


@pytest.mark.parametrize(("nsc", "severity"), [("9.6 %", 0), ("10 %", 1), ("12 %", 2)])
def test_sugar_matters_where_horses_are_kept(nsc, severity):
    """ensures that sugar over the limits is a caution only where the case has horses."""
    with_horses = found(HAY | {"nsc": nsc}, livestock=["horses"])["forage.sugar.h1"]
    without = found(HAY | {"nsc": nsc}, livestock=["cattle"])["forage.sugar.h1"]
    assert (with_horses.severity, without.severity) == (severity, 0)
    if severity:
        assert {c.key for c in with_horses.needs[0].cautions} == {
            "forage.caution_horse", "forage.caution_vet"}


@pytest.mark.parametrize(("kind", "ash", "over"),
                         [("legume", "11 %", False), ("legume", "12.3 %", True),
                          ("grass", "9 %", False), ("grass", "10 %", True)])
def test_soil_shows_as_ash(kind, ash, over):
    """ensures that ash over 11 % (alfalfa) or 9 % (grass) is soil (Wisconsin, Ohio State)."""
    finding = found(HAY | {"kind": kind, "ash": ash})["forage.ash.h1"]
    assert (finding.status is Status.WATCH) is over


def test_few_cores_lower_confidence():
    """ensures that fewer than 20 cores, or none stated, cost confidence."""
    assert found(HAY)["forage.quality.h1"].confidence is Confidence.HIGH
    assert found(HAY | {"cores": 5})["forage.quality.h1"].confidence is Confidence.MEDIUM
    bare = {k: v for k, v in HAY.items() if k != "cores"}
    assert found(bare)["forage.quality.h1"].confidence is Confidence.MEDIUM


def test_gaps_are_named_only_where_they_matter():
    """ensures that a corn field without stock is not asked for a hay test, stock is."""
    assert forage.assess(case_of()).missing == ()
    stock = forage.assess(case_of(field={"livestock": ["sheep"]}))
    assert [m.what.key for m in stock.missing] == ["forage.missing_test"]
    hay = forage.assess(case_of(field={"crop": "alfalfa"}))
    assert [m.what.key for m in hay.missing] == ["forage.missing_test"]
    horses = said(HAY, livestock=["horses"])
    assert "forage.missing_nsc" in {m.what.key for m in horses.missing}


EDGES = [
    (HAY,), (HAY | {"kind": "grass", "adf": "36 %", "ndf": "60 %", "crude_protein": "12 %"},),
    (HAY | {"kind": "mixed", "cutting": "second", "ash": "18 %"},),
    (HAY | {"kind": "grass", "crude_protein": "<5 %"},),
    (HAY | {"adf": "50 %", "ndf": "70 %", "crude_protein": "60 %"},),
    (HAY | {"nitrate": "4500 ppm", "nitrate_as": "no3-n", "nsc": "14 %", "cores": 1},),
    (HAY | {"nitrate": "1100 ppm", "nitrate_as": "no3-n", "nsc": "11 %"},),
    (HAY | {"nitrate": ">3000 ppm", "nitrate_as": "kno3"},), (HAY | {"nitrate": "3000 ppm"},),
    (HAY | {"nitrate": "800 ppm", "nitrate_as": "no3-n", "adf": "22 %", "ndf": "29 %",
            "ndfd_48h": "60 %"},),
    (HAY | {"adf": "45 %", "ndf": "68 %", "crude_protein": "6 %", "ndfd_48h": "25 %"},),
    ({"id": "x", "kind": "legume", "date": "2026-06-02"},),
]


@pytest.mark.parametrize("livestock", [[], ["dairy", "horses"]], ids=["no stock", "stock"])
@pytest.mark.parametrize("tests", EDGES, ids=range(len(EDGES)))
def test_every_message_is_written(tests, livestock):
    """ensures that every message renders in both unit systems, with known sources."""
    assessment = said(*tests, livestock=livestock)
    for system in ("us", "si"):
        lines = texts(assessment, system)
        assert all(line and "None" not in line for line in lines)
    assert set(sources(assessment)) <= set(references())


def test_sample_case():
    """ensures that the demo case is judged, recorded and unique."""
    case = load_case(ROOT / "saline_alfalfa_utah" / "case.yaml").case
    with recording() as trace:
        assessment = forage.assess(case)
    ids = [f.id for f in assessment.findings]
    assert len(ids) == len(set(ids)) == 9
    made = {r.calculation for r in trace.results}
    assert all(r.calculation in made for f in assessment.findings for r in f.results)


KOCHIA = {"species": "Bassia scoparia", "local_name": "kochia", "cover": "14 %",
          "identification": "certain", "place": "lower third"}
BARLEY = {"species": "Hordeum jubatum", "local_name": "foxtail barley", "cover": "9 %",
          "identification": "certain", "place": "lower third"}


def weedy(crop="alfalfa", weeds=(KOCHIA, BARLEY), livestock=("dairy", "horses"), tests=()):
    return forage.assess(case_of(
        forage=list(tests), weeds=list(weeds),
        field={"crop": crop, "tillage": "perennial", "livestock": list(livestock)}))


def test_weedy_hay_is_kept_apart():
    """ensures that nitrate weeds and awns in hay lead to a measure by place and lot.

    Kochia stores nitrate (USDA-ARS Logan); foxtail barley has barbed awns (Burrows and Tyrl
    2013, from memory).
    """
    finding = next(f for f in weedy().findings if f.id == "forage.weedy_hay")
    need, = finding.needs
    assert (need.kind, need.item, finding.severity) == (NeedKind.MANAGE, "weedy-hay", 2)
    words = WRITERS["us"].write(need.text)
    for piece in ("part separately; do not feed it to horses; test each lot for nitrate",
                  ": lower third", "awns"):
        assert piece in words, piece
    assert "each lot for nitrate" in WRITERS["us"].short(need.text)  # the order comes first
    assert set(finding.sources) <= set(references())


@pytest.mark.parametrize("change", [
    {"livestock": ()}, {"crop": "corn"}, {"weeds": ()},
    {"weeds": [{"species": "Elymus repens", "identification": "certain"}]}])
def test_no_stock_no_hay_or_no_such_weed_says_nothing(change):
    """ensures that the warning needs stock, a hay crop and a weed that harms."""
    assert not [f for f in weedy(**change).findings if f.id == "forage.weedy_hay"]


def test_each_danger_asks_for_its_own_check():
    """ensures that kochia alone asks for no look at awns, and the grass alone for no nitrate."""
    def text(weed):
        found = next(f for f in weedy(weeds=[weed]).findings if f.id == "forage.weedy_hay")
        return WRITERS["us"].write(found.needs[0].text)

    assert "awns" not in text(KOCHIA) and "nitrate" not in text(BARLEY)


def test_hay_without_a_nitrate_test_is_named():
    """ensures that one cutting's nitrate does not stand for another's."""
    tested = HAY | {"nitrate": "640 ppm", "nitrate_as": "no3-n"}
    keys = [(m.what.key, getattr(m.what.params.get("name"), "label", None)) for m in weedy(
        tests=[tested, HAY | {"id": "h3"}]).missing]
    assert ("forage.missing_nitrate", "h3") in keys
    assert ("forage.missing_nitrate", "h1") not in keys
    horses = weedy(livestock=["horses"], tests=[HAY]).missing
    assert "forage.missing_nitrate" not in {m.what.key for m in horses}


ALYSSUM = {"species": "Berteroa incana", "local_name": "hoary alyssum", "cover": "9 %",
           "identification": "certain"}


def poison(weeds=(ALYSSUM,), **change):
    found = weedy("orchardgrass", weeds=weeds, **{"livestock": ["horses"], **change})
    return next((f for f in found.findings if f.id == "forage.poisonous_hay"), None)


def test_hoary_alyssum_is_kept_from_horses():
    """ensures that the published caution stands at 9 % cover too, and names a veterinarian.

    Swelling and fever 12 to 24 h after feeding, deaths at 30 to 70 % of the hay, harm from 10 %
    of a bale (Becker, Martin and Murphy, DI-5567; Minnesota).
    """
    finding = poison()
    assert (finding.status, finding.severity) == (Status.LIMITING, 2)
    need, = finding.needs
    words = WRITERS["us"].write(need.text)
    assert "Keep hay with hoary alyssum in it from horses" in words
    assert "veterinarian" in WRITERS["us"].write(need.cautions[0])
    body = WRITERS["us"].write(finding.body[0])
    assert "12 to 24 hours" in body and "may still do harm" in body and "30%" in body
    assert poison([ALYSSUM | {"cover": "40 %"}]).severity == 3
    assert poison([ALYSSUM | {"cover": "12 %"}]).severity == 3
    unsure = poison([ALYSSUM | {"identification": "possible"}])
    assert unsure.confidence.value == "low"


def test_hoary_alyssum_is_no_danger_reported_for_cattle():
    """ensures that the caution is for the stock that was harmed (horses), and for hay alone."""
    assert poison(livestock=["cattle"]) is None
    assert poison(livestock=[]).severity == 1  # the hay may be sold to horse owners
    buttercup = {"species": "Ranunculus repens", "identification": "certain"}
    assert poison([buttercup]) is None  # its poison is lost in drying


def test_a_weed_nobody_knows_is_not_judged_for_stock():
    """ensures that an unknown weed in hay is called not judged, never safe."""
    unknown = {"species": "Ignotus vulgaris", "identification": "probable"}
    def told(livestock):
        return [WRITERS["us"].write(m.consequence) for m in weedy(
            weeds=[unknown], livestock=livestock).missing if m.what.key == "forage.missing_weed"]

    said, = told(["horses"])
    assert "Not judged for stock" in said and "veterinarian" in said
    assert not told([])


GRASS = {"id": "g1", "kind": "grass", "date": "2026-04-20", "potassium": "3.1 %",
         "calcium": "0.40 %", "magnesium": "0.15 %", "phosphorus": "0.30 %"}


@pytest.mark.parametrize(("more", "livestock", "status", "severity"), [
    ({}, ["cattle"], Status.WATCH, 2),
    ({}, [], Status.NOTED, 0),
    ({"potassium": "1.2 %"}, ["sheep"], Status.WATCH, 1),  # magnesium alone
    ({"potassium": "1.2 %", "magnesium": "0.25 %"}, ["cattle"], Status.ADEQUATE, 0),
])
def test_tetany_ratio_of_a_forage(more, livestock, status, severity):
    """ensures that potassium over calcium and magnesium by charge warns above 2.2, and little
    magnesium below 0.2 %, where ruminants eat it (rahman-2022-tetany, osu-2024-tetany)."""
    finding = found(GRASS | more, livestock=livestock)["forage.tetany.g1"]
    k = float(str((GRASS | more)["potassium"]).split()[0])
    mg = float(str((GRASS | more)["magnesium"]).split()[0])
    assert finding.value == pytest.approx((k / 39.098) / (0.40 / 20.04 + mg / 12.15), rel=1e-3)
    assert (finding.status, finding.severity) == (status, severity)
    assert bool(finding.needs) == bool(severity)
    assert all("veterinarian" in str(WRITERS["us"].write(n.text)) for n in finding.needs)


def test_a_mineral_that_was_not_measured_is_not_taken_for_zero():
    """ensures that without magnesium there is no tetany ratio, without phosphorus no Ca:P."""
    bare = {k: v for k, v in GRASS.items() if k not in ("magnesium", "phosphorus")}
    assert not {"forage.tetany.g1", "forage.ca_p.g1"} & set(found(bare, livestock=["cattle"]))


@pytest.mark.parametrize(("ca", "status", "severity"), [
    ("0.29 %", Status.WATCH, 1), ("0.30 %", Status.ADEQUATE, 0), ("2.1 %", Status.ADEQUATE, 0),
    ("2.2 %", Status.WATCH, 1)])
def test_calcium_to_phosphorus_of_a_forage(ca, status, severity):
    """ensures that 1 to 7 is the range at which calves throve, both ends in it (wise-1963), and
    that nothing is advised on it."""
    finding = found(GRASS | {"calcium": ca}, livestock=["cattle"])["forage.ca_p.g1"]
    assert (finding.status, finding.severity, finding.needs) == (status, severity, ())


COWS = {"kind": "cattle", "head": 40, "weight": "1300 lb", "state": "dry"}
EWES = {"kind": "sheep", "head": 60, "weight": "150 lb", "state": "dry"}


@pytest.mark.parametrize(
    ("stock", "copper", "status", "severity"),
    [("sheep", "16 ppm", Status.EXCESS, 3), ("sheep", "12 ppm", Status.WATCH, 2),
     ("sheep", "8 ppm", Status.ADEQUATE, 0), ("cattle", "12 ppm", Status.ADEQUATE, 0),
     ("cattle", "8 ppm", Status.WATCH, 1), ("cattle", "45 ppm", Status.EXCESS, 3)],
)
def test_copper_is_judged_for_the_stock_kept(stock, copper, status, severity):
    """ensures that copper poisons sheep from 15 ppm (Duncan 1997) and cattle from 40 (NASEM)."""
    finding = found(HAY | {"copper": copper}, livestock=[stock])["forage.minerals.h1"]
    assert (finding.status, finding.severity) == (status, severity)


def test_minerals_without_a_limit_are_named_as_not_judged():
    """ensures that copper for horses, which no row holds, is said to be open, never adequate."""
    finding = found(HAY | {"copper": "30 ppm", "selenium": "0.3 ppm"},
                    livestock=["horses"])["forage.minerals.h1"]
    assert finding.body[0].params["unheld"] == ["copper"]
    assert "forage.minerals.h1" not in found(HAY | {"copper": "30 ppm"}, livestock=["horses"])
    assert "forage.minerals.h1" not in found(HAY | {"copper": "30 ppm"})


def test_short_selenium_sets_no_amount():
    """ensures that a shortage asks for a look at the mineral mix and names no rate."""
    need = needs_of(said(HAY | {"selenium": "0.05 ppm"}, livestock=["cattle"]),
                    NeedKind.MANAGE)["forage-minerals"]
    assert need.amount is None and not need.unit
    assert {c.key for c in need.cautions} >= {"forage.caution_minerals", "forage.caution_vet"}


@pytest.mark.parametrize(
    ("area", "status"), [("18 ac", Status.LIMITING), ("45 ac", Status.UNCERTAIN),
                         ("70 ac", Status.ADEQUATE)])
def test_stocking_is_held_against_both_ends(area, status):
    """ensures that land counts as enough only beyond the high end of demand over use.

    40 cows of 1,300 lb at 1.8 to 2.0 % (Texas A&M) eat 936 to 1,040 lb; for 120 days at 50 to 75 %
    of 4,200 lb/ac (Mississippi, Pennsylvania) that is 35.7 to 59.4 ac, by hand.
    """
    plan = {"herd": [COWS], "grazing": {"days": 120, "forage": "4200 lb/ac", "stay": 3,
                                        "area": area}}
    finding = found(stock=plan)["forage.stocking"]
    assert finding.status is status
    assert finding.reference.params["low"] == pytest.approx(936 * 120 / (4200 * 0.75))
    assert finding.reference.params["high"] == pytest.approx(1040 * 120 / (4200 * 0.5))


def test_hay_need_counts_both_losses():
    """ensures the arithmetic of the Iowa example with losses at the feeder and in store."""
    plan = {"herd": [COWS], "hay": {"days": 140, "bales": 100, "bale_weight": "1100 lb",
                                    "dry_matter": "86 %", "feeder": "ring", "store": "inside"}}
    finding = found(stock=plan)["forage.hay_supply"]
    low = 936 * 140 / 0.86 / (1 - 0.061) / (1 - 0.03) / 2000
    high = 1040 * 140 / 0.86 / (1 - 0.205) / (1 - 0.07) / 2000
    assert finding.reference.params["low"] == pytest.approx(low)
    assert finding.reference.params["high"] == pytest.approx(high)
    assert finding.status is Status.LIMITING
    need = finding.needs[0]
    assert need.text.params["low"] == pytest.approx(low - 55)


@pytest.mark.parametrize(
    ("herd", "hay", "lacking"),
    [(COWS, {"days": 140, "store": "inside"}, ["feeder"]),
     (COWS, {"feeder": "ring", "store": "inside"}, ["days"]),
     (COWS, {"days": 140, "feeder": "net", "store": "inside"}, ["feeder_unknown"]),
     (EWES, {"days": 140, "feeder": "ring", "store": "inside"}, ["feeder_unknown"])],
)
def test_a_missing_loss_is_never_none(herd, hay, lacking):
    """ensures that no hay need is worked out where a loss is not known, and what is missing."""
    assessment = said(stock={"herd": [herd], "hay": hay})
    assert "forage.hay_supply" not in {f.id for f in assessment.findings}
    missing = next(m for m in assessment.missing if m.what.key == "forage.missing_hay")
    assert missing.what.params["lacking"] == lacking


def test_stock_without_a_published_intake_are_named():
    """ensures that dairy cows, fed by ration, get no invented intake, and an own one is used."""
    dairy = {"kind": "dairy", "head": 50, "weight": "1400 lb"}
    plan = {"grazing": {"days": 30, "forage": "2000 lb/ac"}}
    assert [m.what.key for m in said(stock={"herd": [dairy], **plan}).missing
            if m.what.key == "forage.missing_intake"]
    told = found(stock={"herd": [dairy | {"intake": "3 %"}], **plan})
    assert told["forage.stocking"].reference.params["low"] == pytest.approx(
        50 * 1400 * 0.03 * 30 / (2000 * 0.35))


@pytest.mark.parametrize(
    ("cut", "items"), [("2027-09-25", {"autumn-rest"}), ("2027-09-01", set())])
def test_autumn_cut_keeps_its_rest(cut, items):
    """ensures that a cut within six weeks of the end of growth is questioned (Kansas State)."""
    dates = {"next_cut": cut, "dormancy": "2027-10-15"}
    assessment = forage.assess(case_of(field={"crop": "alfalfa", "dates": dates}))
    assert set(needs_of(assessment, NeedKind.MANAGE)) == items
    assert "3\u00a0September\u00a02027" in " ".join(texts(assessment))


def test_a_stand_grazed_too_short_is_rested():
    """ensures that orchardgrass below 3 in is rested to 8 to 12 in (University of Georgia)."""
    assessment = forage.assess(case_of(
        field={"crop": "orchardgrass"},
        stock={"herd": [COWS], "grazing": {"height": "2 in"}}))
    need = needs_of(assessment, NeedKind.MANAGE)["rest-stand"]
    assert (need.text.params["start_low"], need.text.params["start_high"]) == (8, 12)


@pytest.mark.parametrize("crop", ["corn", "corn silage"])
def test_no_stand_no_heights(crop):
    """ensures that a crop that is no stand of forage gets no heights."""
    assert "forage.stand" not in {f.id for f in forage.assess(
        case_of(field={"crop": crop})).findings}


@pytest.mark.parametrize(
    ("crop", "kind", "part", "hazard", "asked"),
    [("alfalfa", "cattle", "grazing", "bloat", True), ("alfalfa", "cattle", "hay", "bloat", False),
     ("alfalfa", "horses", "hay", "blister_beetle", True),
     ("tall fescue", "horses", "hay", "endophyte", True),
     ("sorghum-sudan", "sheep", "grazing", "prussic_acid", True),
     ("sorghum-sudan", "sheep", "hay", "prussic_acid", False),
     ("timothy", "horses", "grazing", "fructan", True)],
)
def test_hazards_follow_crop_stock_and_use(crop, kind, part, hazard, asked):
    """ensures that a hazard asks for something only where the crop is fed in the way that hurts."""
    assessment = forage.assess(case_of(
        field={"crop": crop}, stock={"herd": [COWS | {"kind": kind, "state": None}], part: {}}))
    finding = next(f for f in assessment.findings if f.id == "forage.hazards")
    assert f"forage.hazard_{hazard}" in {m.key for m in finding.body}
    assert (f"forage.caution_{hazard}" in {c.key for n in finding.needs for c in n.cautions}
            ) is asked
    assert finding.severity == (1 if finding.needs else 0)


@pytest.mark.parametrize("language", ["en", "es"])
def test_what_is_not_said_is_no_safety(language):
    """ensures that stock kept on a crop whose feeding is not stated get its cautions, each its own:
    cattle on tall fescue those of lame cattle, not those of mares (University of Kentucky)."""
    write = Writer(language, "us").write

    def cautions(crop, *stock):
        assessment = forage.assess(case_of(field={"crop": crop, "livestock": list(stock)}))
        return " ".join(write(c) for f in assessment.findings for n in f.needs
                        for c in n.cautions)

    mares, lame = {"en": ("mares", "lame"), "es": ("yeguas", "cojear")}[language]
    assert mares not in cautions("tall fescue", "cattle")
    assert lame in cautions("tall fescue", "cattle")
    alone = cautions("tall fescue", "horses")
    assert lame not in alone and mares in alone
    assert mares in cautions("tall fescue", "horses", "cattle")
    assert lame in cautions("tall fescue", "horses", "goats")
    assert {"en": "frost", "es": "helada"}[language] in cautions("alfalfa", "cattle")


@pytest.mark.parametrize(("selenium", "status", "severity"), [
    ("0.3 ppm", Status.ADEQUATE, 0), ("3 ppm", Status.WATCH, 1), ("5.5 ppm", Status.EXCESS, 3)])
def test_selenium_for_sheep_is_high_from_2_ppm(selenium, status, severity):
    """ensures that sheep are warned from 2 ppm (1985 table at Oregon State University)."""
    finding = found(HAY | {"selenium": selenium}, livestock=["sheep"])["forage.minerals.h1"]
    assert (finding.status, finding.severity) == (status, severity)


def test_copper_is_never_enough_without_molybdenum():
    """ensures that copper is read beside molybdenum, and what only dry stock has is not "fine"."""
    lone = found(HAY | {"copper": "12 ppm"}, livestock=["cattle"])["forage.minerals.h1"]
    assert lone.body[1].params["measured"] is False
    both = found(HAY | {"copper": "12 ppm", "molybdenum": "6 ppm", "calcium": "0.41 %"},
                 livestock=["cattle"])["forage.minerals.h1"]
    assert both.body[1].params["ratio"] == pytest.approx(2.0)
    assert both.status is Status.WATCH and both.body[0].params["perhaps"] == ["calcium"]
