"""Findings on soil acidity: what is said, how much lime, and what is kept silent."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from findings.field_cases import case_of, needs_of, sources, texts
from loambrief.agronomy.registry import recording
from loambrief.case.load import load_case
from loambrief.case.measurements import methods as methods_of_tests
from loambrief.errors import UnknownName
from loambrief.findings.model import Confidence, Grade, NeedKind, Place, Status, Verdict
from loambrief.tables import references
from loambrief.topics.acidity import findings as acidity
from loambrief.topics.acidity.formulas import constant
from loambrief.topics.acidity.need import choose_table, lime_share
from loambrief.topics.acidity.state import acid_state

ROOT = Path(__file__).parents[2] / "sample_inputs"
ACID = {"depth": "0-6 in", "ph": 5.4, "buffer_ph": 6.2}
METHODS = {"ph": "water 1:1", "buffer": "smp"}
LIME = {"id": "aglime", "name": "Aglime", "kind": "lime",
        "analysis": {"cce": "90 %", "fineness": "80 %"}}


def acid_case(slice_=None, *, methods=None, sample=None, region="Ohio", farm=None, **parts):
    """A case whose one sample is acid; ``sample`` adds keys to it."""
    keys = {"methods": {**METHODS, **(methods or {})}, "fizz": "none", **(sample or {})}
    if isinstance(slice_, list):
        keys["increments"] = slice_
        slice_ = None
    return case_of(slice_=slice_ if slice_ is not None else
                   (None if "increments" in keys else ACID),
                   sample=keys, farm={"name": "Thornlea", "region": region, **(farm or {})},
                   **parts)


def by_id(case):
    return {f.id: f for f in acidity.assess(case).findings}


def lime_of(case):
    return needs_of(acidity.assess(case), NeedKind.LIME).get("lime")


# --- whether the pH suits ---


@pytest.mark.parametrize(
    ("crop", "ph", "status", "severity", "word"),
    [("potato", 5.8, Status.ADEQUATE, 0, "suits"),
     ("corn", 6.8, Status.ADEQUATE, 0, "suits"),
     ("potato", 8.6, Status.LIMITING, 2, "over the upper limit of potato (8.5) by less than"),
     ("potato", 8.9, Status.LIMITING, 2, "too alkaline for potato"),
     ("apple", 8.6, Status.LIMITING, 2, "too alkaline for apple"),
     ("wheat", 7.8, Status.NOTED, 0, "above what wheat likes best"),
     ("canola", 8.1, Status.NOTED, 0, "Canola needs no lime now")])
def test_ph_suits_only_within_the_published_range(crop, ph, status, severity, word):
    """ensures that pH is judged upwards too (FAO Ecocrop: potato to 8.5, apple to 8.0, wheat best
    to 7.0), and that a crop without a row is not said to suit."""
    case = acid_case({"depth": "0-6 in", "ph": ph}, field={"crop": crop}, region="Colorado",
                     sample={"fizz": "strong", "cores": 20})
    found = [f for i, f in by_id(case).items() if i.startswith(("acidity.ph", "acidity.high"))]
    told = " ".join(t for t in texts(acidity.assess(case)))
    first = next(f for f in found if f.id.startswith("acidity.ph"))
    assert word in told and (first.status, first.severity) == (status, severity)
    if word != "suits":
        assert "suits" not in told
    items = {n.item for f in found for n in f.needs}
    assert ("sodium" in items) == (ph > 8.5)
    assert ("tissue" in items) == (severity > 0)
    lime = next(j for f in found for j in f.judgements if j.key == "lime")
    assert lime.verdict is Verdict.NOT_NEEDED


def test_ph_within_its_error_of_the_limit_is_watched():
    """ensures that pH 8.4 is watched for potatoes, which bear 8.5 (FAO Ecocrop): the error of
    the reading reaches over it."""
    case = acid_case({"depth": "0-6 in", "ph": 8.4}, field={"crop": "potato"}, region="Colorado",
                     sample={"fizz": "strong"})
    found = by_id(case)["acidity.ph.A"]
    assert (found.status, found.severity) == (Status.WATCH, 1)


def test_liming_point_is_not_printed_in_alkaline_soil():
    """ensures that pH 8.6 is not held against a liming point, and the place stands once."""
    case = acid_case({"depth": "0-6 in", "ph": 8.6}, field={"crop": "potato"},
                     sample={"fizz": "strong"}, materials=[LIME])
    told = texts(acidity.assess(case))
    why, = [t for t in told if "wastes money" in t]
    assert "liming point" not in why and "A:" not in why and "free lime" in why


# --- the rate ------------------------------------------------------------------------------


def test_lime_of_an_acid_soil_by_the_smp_table():
    """ensures that SMP 6.2 to 6.5 gives 6.4 ton/ac of ground lime at 8 in, in pure lime 4.6."""
    need = lime_of(acid_case(lime_table="smp", field={"tillage_depth": "8 in"}))
    best = need.results[0]
    assert best.value == pytest.approx(6.4)
    assert need.amount == pytest.approx(6.4 * 5.4 / 7.5)
    assert need.low < need.amount < need.high
    assert need.unit == "ton/ac"


def test_the_need_is_in_pure_lime_whatever_the_table():
    """ensures that need and table agree through the effective share, for every buffer."""
    for buffer, reading, table in (("sikora", 6.2, "sikora_oregon_2025"),
                                   ("adams-evans", 7.6, "adams_evans"),
                                   ("mehlich", 6.2, "mehlich_north_carolina"),
                                   ("woodruff", 6.5, "nebraska_rule")):
        case = acid_case({"depth": "0-6 in", "ph": 5.4, "buffer_ph": reading},
                         methods={"buffer": buffer}, lime_table=table,
                         targets={"ph": 6.5, "reason": "rotation"})
        need = lime_of(case)
        assert need.amount == pytest.approx(
            need.results[0].details["effective_caco3_ton_ac"]), table


@pytest.mark.parametrize("tillage", ["no-till", "strip-till", "perennial"])
def test_unworked_lime_is_reckoned_for_four_inches(tillage):
    """ensures the half-rate rule: 0-4 in of an 8 in table (Tri-State 1995)."""
    surface = lime_of(acid_case(lime_table="smp", field={"tillage": tillage}))
    tilled = lime_of(acid_case(lime_table="smp", field={"tillage_depth": "8 in"}))
    assert surface.amount == pytest.approx(tilled.amount / 2)
    assert surface.params["depth_in"] == 4
    assert any(c.key == "acidity.caution_surface" for c in surface.cautions)
    assert not any(c.key == "acidity.caution_surface" for c in tilled.cautions)


def test_depth_of_tillage_where_it_is_given():
    """ensures that a stated depth of tillage is used, and the table's own depth otherwise."""
    deep = lime_of(acid_case(lime_table="smp", field={"tillage_depth": "10 in"}))
    own = lime_of(acid_case(lime_table="smp"))
    assert deep.amount == pytest.approx(own.amount * 10 / 8)
    assert own.params["depth_by"] == "table"
    shallow = lime_of(acid_case(lime_table="smp", field={"tillage": "reduced"}))
    assert shallow.params["depth_by"] == "shallow" and shallow.params["depth_in"] == 4


def test_the_range_widens_when_cores_are_unknown():
    """ensures that the low and high rates come from the reading's error."""
    many = lime_of(acid_case(lime_table="smp", sample={"cores": 25}))
    unknown = lime_of(acid_case(lime_table="smp", sample={"cores": None}))
    assert unknown.high - unknown.low > many.high - many.low
    assert many.low < many.amount < many.high


def test_one_pass_carries_no_more_than_the_published_cap():
    """ensures that two tons of the poorest lime on offer is the surface cap (Ohio)."""
    poor = {**LIME, "id": "poor", "analysis": {"cce": "80 %", "fineness": "50 %"}}
    need = lime_of(acid_case(lime_table="smp", field={"tillage": "no-till"},
                             materials=[LIME, poor]))
    assert need.cap == pytest.approx(2 * 0.8 * 0.5)
    tilled = lime_of(acid_case(lime_table="smp", materials=[LIME]))
    assert tilled.cap == pytest.approx(4 * 0.9 * 0.8)
    none = lime_of(acid_case(lime_table="smp"))
    assert none.cap == pytest.approx(4 * constant("ground_lime_share"))


def test_lime_share_reads_what_the_label_says():
    """ensures that quality comes from the label only: nothing stated is None, never 100 %."""
    case = acid_case(materials=[
        LIME, {**LIME, "id": "b", "analysis": {"effective": "60 %", "moisture": "10 %"}},
        {**LIME, "id": "c", "fineness_scheme": "iowa",
         "analysis": {"cce": "92 %", "passing": {"4": "100 %", "8": "90 %", "60": "55 %"}}},
        {**LIME, "id": "d", "analysis": {"cce": "90 %"}}, {**LIME, "id": "e", "analysis": None}])
    shares = [lime_share(m.analysis, m.fineness_scheme) for m in case.materials]
    assert shares[:3] == [pytest.approx(0.72), pytest.approx(0.54), pytest.approx(0.644)]
    assert shares[3:] == [None, None]


# --- which table ---------------------------------------------------------------------------


@pytest.mark.parametrize(("region", "buffer", "table", "by"), [
    ("Ohio", "smp", "smp", "region"), ("Iowa", "sikora", "iowa_pm1688_2002", "region"),
    ("Oregon", "sikora", "sikora_oregon_2025", "region"), ("Kansas", "smp", "kansas_mf2586",
                                                           "region"),
    ("Nowhere", "sikora", "smp", "buffer"), ("North Carolina", "mehlich",
                                             "mehlich_north_carolina", "region"),
    ("Nowhere", "moore-sikora", "adams_evans", "buffer"),
])
def test_table_by_region_else_by_buffer(region, buffer, table, by):
    """ensures that the region's own table is used before the buffer's default."""
    case = acid_case(methods={"buffer": buffer}, region=region)
    choice = choose_table(case, acid_state(case, case.samples[0]))
    assert (choice.name, choice.by) == (table, by)


def test_the_case_may_name_its_table():
    """ensures that the adviser's table is used, and a misspelt one is an error."""
    case = acid_case(methods={"buffer": "sikora"}, lime_table="iowa_pm1688_2002")
    assert choose_table(case, acid_state(case, case.samples[0])).by == "case"
    with pytest.raises(UnknownName, match="smp"):
        acidity.assess(acid_case(lime_table="smpp"))
    no_buffer = acid_case({"depth": "0-6 in", "ph": 5.4}, lime_table="smpp",
                          methods={"buffer": None})
    with pytest.raises(UnknownName, match="smp"):
        choose_table(no_buffer, acid_state(no_buffer, no_buffer.samples[0]))


def test_another_buffers_table_gives_no_rate():
    """ensures that a table of another buffer is refused in words, with no amount."""
    case = acid_case(lime_table="adams_evans")
    need = lime_of(case)
    assert need.amount is None
    assert any("cannot stand in for another" in t for t in texts(acidity.assess(case)))


def test_tables_are_shown_as_a_spread_not_a_mean():
    """ensures that the finding names each table's figure and that SMP is about twice Oregon."""
    case = acid_case(methods={"buffer": "sikora"}, lime_table="smp")
    finding = by_id(case)["acidity.ph.A"]
    line = next(e for e in finding.evidence if e.text.key == "acidity.context_tables")
    assert 1.8 < line.text.params["pair"] < 2.4
    assert {row["table"].split(" ")[0] for row in line.text.params["rows"]} == {
        "Oregon", "Iowa", "Kansas"}
    said = " ".join(texts(acidity.assess(case)))
    assert "times Oregon" in said and "not averaged" in said
    assert finding.value == 5.4
    need = lime_of(case)
    amounts = [row["amount"] for row in line.text.params["rows"]]
    assert need.amount not in (sum(amounts) / len(amounts), min(amounts), max(amounts))


def test_borrowed_calibration_lowers_the_confidence():
    """ensures that a Sikora reading on an SMP table is stated and steps down."""
    own = by_id(acid_case(lime_table="smp"))["acidity.ph.A"]
    lent = by_id(acid_case(methods={"buffer": "sikora"}, lime_table="smp"))["acidity.ph.A"]
    assert own.confidence is Confidence.HIGH
    assert lent.confidence is Confidence.MEDIUM
    assert any(e.text.key == "acidity.context_sikora" for e in lent.evidence)


def test_a_table_from_memory_is_called_so():
    """ensures that an unverified table says it was not checked."""
    said = " ".join(texts(acidity.assess(acid_case(lime_table="smp"))))
    assert "not checked against the printed table" in said
    seen = " ".join(texts(acidity.assess(acid_case(methods={"buffer": "sikora"},
                                                   lime_table="sikora_oregon_2025"))))
    assert "not checked against the printed table" not in seen


def test_modified_mehlich_reading_is_not_turned_into_a_rate():
    """ensures that a buffer without a general equation gives no amount and says what is needed."""
    case = acid_case(methods={"buffer": "modified-mehlich"}, region="Pennsylvania")
    said = acidity.assess(case)
    assert needs_of(said, NeedKind.LIME)["lime"].amount is None
    assert any(m.what.key == "acidity.missing_acidity" for m in said.missing)


def test_no_rate_below_the_tables_lowest_target():
    """ensures that potatoes are not limed to pH 6 for want of a column."""
    case = acid_case({"depth": "0-6 in", "ph": 4.7, "buffer_ph": 6.2}, lime_table="smp",
                     field={"crop": "potato"})
    assert lime_of(case).amount is None
    assert any("no column" in t for t in texts(acidity.assess(case)))


# --- whether -------------------------------------------------------------------------------


def test_missing_buffer_gives_no_amount():
    """ensures that soil pH alone sets no lime rate."""
    case = acid_case({"depth": "0-6 in", "ph": 5.4})
    said = acidity.assess(case)
    need = needs_of(said, NeedKind.LIME)["lime"]
    assert need.amount is None and need.cap is None
    assert any(m.what.key == "acidity.missing_buffer" for m in said.missing)


def test_a_soil_at_its_target_gets_no_lime():
    """ensures that nothing is bought, and that it is said so."""
    case = acid_case({"depth": "0-6 in", "ph": 6.7, "buffer_ph": 6.9})
    finding = by_id(case)["acidity.ph.A"]
    assert finding.status is Status.ADEQUATE and finding.severity == 0
    assert not finding.needs
    assert [w.key for w, _ in finding.advise_against] == ["acidity.avoid_lime"]


def test_lime_is_not_advised_against_where_it_is_needed():
    """ensures that the avoided lime names only the samples that are fine."""
    case = acid_case()
    fine = case.samples[0].model_copy(update={
        "id": "B", "increments": [case.samples[0].increments[0].model_copy(
            update={"ph": 6.8, "buffer_ph": 6.9})]})
    case = case.model_copy(update={"samples": [case.samples[0], fine]})
    findings = by_id(case)
    assert not any(w.key == "acidity.avoid_lime"
                   for w, _ in findings["acidity.ph.A"].advise_against)
    pair = findings["acidity.ph.B"].advise_against[0][0]
    assert pair.params["where"] == [Place("B")]


def test_severity_follows_the_gap():
    """ensures that a pH a whole unit below the target is severe, and near the limit is minor."""
    severe = by_id(acid_case({"depth": "0-6 in", "ph": 5.0, "buffer_ph": 6.0}))["acidity.ph.A"]
    assert severe.severity == 3
    limiting = by_id(acid_case({"depth": "0-6 in", "ph": 5.7, "buffer_ph": 6.4}))["acidity.ph.A"]
    assert (limiting.status, limiting.severity) == (Status.LIMITING, 2)
    near = by_id(acid_case([{"depth": "0-6 in", "ph": 6.15, "buffer_ph": 6.6},
                            {"depth": "6-12 in", "ph": 5.5}]))["acidity.ph.A"]
    assert (near.status, near.severity) == (Status.WATCH, 1)


def test_a_decision_that_hangs_on_the_subsoil():
    """ensures that pH 6.1 is limed only over an acid subsoil, and the test is asked for."""
    unknown = acid_case({"depth": "0-6 in", "ph": 6.05, "buffer_ph": 6.6})
    finding = by_id(unknown)["acidity.ph.A"]
    assert (finding.status, finding.severity) == (Status.WATCH, 1)
    assert "subsoil pH" in needs_of(acidity.assess(unknown), NeedKind.MEASURE)
    assert lime_of(unknown) is None
    said = next(b for b in finding.body if b.key == "acidity.body_lime")
    assert said.params["only_if"] and said.params["low"] == 0 < said.params["amount"]
    acid = acid_case([{"depth": "0-6 in", "ph": 6.0, "buffer_ph": 6.6},
                      {"depth": "6-12 in", "ph": 5.2}])
    assert lime_of(acid).low > 0
    alkaline = acid_case([{"depth": "0-6 in", "ph": 6.05, "buffer_ph": 6.6},
                          {"depth": "6-12 in", "ph": 7.0}])
    assert lime_of(alkaline) is None
    assert not acidity.assess(alkaline).missing


def test_the_adviser_may_set_the_target():
    """ensures that the case's own target is used and its reason printed."""
    case = acid_case(targets={"ph": 5.3, "reason": "native blueberries keep low pH"})
    assert lime_of(case) is None
    high = acid_case(targets={"ph": 6.8, "reason": "alfalfa in two years"}, lime_table="smp")
    assert lime_of(high).params["target"] == 6.8
    assert any("alfalfa in two years" in t for t in texts(acidity.assess(high)))


def test_the_most_sensitive_crop_of_the_rotation_rules():
    """ensures that alfalfa after corn raises the target (Penn State: the most sensitive)."""
    corn = lime_of(acid_case(lime_table="smp"))
    alfalfa = lime_of(acid_case(lime_table="smp", field={"following_crop": "alfalfa"}))
    assert corn.params["target"] == 6.5 and alfalfa.params["target"] == 6.8
    assert any(c.key == "acidity.caution_legume" for c in alfalfa.cautions)
    assert not any(c.key == "acidity.caution_legume" for c in corn.cautions)


def test_an_acid_crop_keeps_its_soil_acid_whatever_follows():
    """ensures that potatoes before alfalfa, or blueberries, are not limed for the next crop."""
    soil = {"depth": "0-6 in", "ph": 5.6, "buffer_ph": 6.4}
    assert lime_of(acid_case(soil, field={"crop": "potato", "following_crop": "alfalfa"})) is None
    assert lime_of(acid_case(soil, field={"crop": "blueberry", "following_crop": "corn"})) is None
    later = lime_of(acid_case(soil, lime_table="smp",
                              field={"crop": "alfalfa", "following_crop": "potato"}))
    assert any(c.key == "acidity.caution_potato" for c in later.cautions)


def test_unknown_crop_sets_no_rate():
    """ensures that a crop outside the tables is stated, not guessed."""
    case = acid_case(field={"crop": "moonflower"})
    finding = by_id(case)["acidity.ph.A"]
    assert finding.status is Status.UNCERTAIN and not finding.needs
    assert any("moonflower" in t for t in texts(acidity.assess(case)))


def test_calcium_chloride_ph_is_converted_and_said():
    """ensures that a calcium chloride pH is not read as a water pH.

    0.6 lower by the regression of New South Wales soils: 1.05 x 6.0 - 0.9 = 5.4.
    """
    case = acid_case({"depth": "0-6 in", "ph": 5.8, "buffer_ph": 6.6}, methods={"ph": "cacl2"})
    finding = by_id(case)["acidity.ph.A"]
    assert finding.value == pytest.approx(6.4)
    assert finding.confidence is not Confidence.HIGH
    assert any(e.text.key == "acidity.context_cacl2" for e in finding.evidence)


# --- earlier lime --------------------------------------------------------------------------


def applied(date, **more):
    return {"date": date, "material": "quarry lime", "kind": "lime", "rate": "2 ton/ac", **more}


def test_recent_lime_of_known_quality_is_taken_off():
    """ensures that lime of two months ago still counts for 84 %, and old lime for nothing."""
    plain_ = lime_of(acid_case(lime_table="smp"))
    quality = {"analysis": {"cce": "90 %", "fineness": "80 %"}}
    recent = lime_of(acid_case(lime_table="smp",
                               earlier_applications=[applied("2026-08-01", **quality)]))
    assert plain_.amount - recent.amount == pytest.approx(2 * 0.72 * 0.84, abs=0.01)
    old = lime_of(acid_case(lime_table="smp",
                            earlier_applications=[applied("2019-11-10", **quality)]))
    assert old.amount == plain_.amount


def test_recent_lime_of_unknown_quality_is_only_named():
    """ensures that nothing is taken off for lime whose quality was not recorded."""
    case = acid_case(lime_table="smp", earlier_applications=[applied("2026-08-01")])
    assert lime_of(case).amount == lime_of(acid_case(lime_table="smp")).amount
    assert any("quality is not known" in t for t in texts(acidity.assess(case)))


def test_lime_already_on_may_cover_the_need():
    """ensures that a credit as large as the need leaves none, and says so."""
    case = acid_case(lime_table="smp", earlier_applications=[
        applied("2026-09-30", rate="20 ton/ac", analysis={"cce": "90 %", "fineness": "80 %"})])
    assert lime_of(case) is None
    assert any("was spread before" in t for t in texts(acidity.assess(case)))


# --- surface, aluminum, high pH ------------------------------------------------------------

TOP = {"depth": "0-2 in", "ph": 5.2}


def test_an_acid_surface_over_a_fine_layer():
    """ensures that a shallow acid layer is limed for its own depth where it has a buffer test."""
    layer = {"depth": "0-6 in", "ph": 6.6, "buffer_ph": 6.8}
    bare = acid_case([TOP, layer], field={"tillage": "no-till"}, lime_table="smp")
    finding = by_id(bare)["acidity.surface.A"]
    assert finding.status is Status.LIMITING and finding.severity == 2
    assert "surface buffer" in needs_of(acidity.assess(bare), NeedKind.MEASURE)
    assert lime_of(bare) is None
    tested = acid_case([{**TOP, "buffer_ph": 6.2}, layer], field={"tillage": "no-till"},
                       lime_table="smp")
    need = lime_of(tested)
    assert need.params["depth_in"] == 2
    assert need.amount == pytest.approx(6.4 * 5.4 / 7.5 / 4)
    assert finding.grade is Grade.MEASURED


def test_an_acid_surface_over_an_acid_layer_needs_no_second_lime():
    """ensures that the layer's own lime covers the surface."""
    case = acid_case([TOP, {"depth": "0-6 in", "ph": 5.7, "buffer_ph": 6.4}],
                     field={"tillage": "no-till"})
    found = by_id(case)["acidity.surface.A"]
    assert found.severity == 1 and not found.needs


def test_a_surface_like_the_rest_is_no_finding():
    """ensures that a difference within 0.3 is not called an acid surface."""
    case = acid_case([{"depth": "0-2 in", "ph": 5.3}, ACID])
    assert "acidity.surface.A" not in by_id(case)


def test_aluminum_only_by_potassium_chloride():
    """ensures that Mehlich-3 aluminum is not read as exchangeable (Kansas State: 25 ppm)."""
    slice_ = {"depth": "0-6 in", "ph": 4.9, "buffer_ph": 5.9, "aluminum": "60 ppm",
              "calcium": "300 ppm", "magnesium": "40 ppm", "potassium": "80 ppm"}
    toxic = by_id(acid_case(slice_, methods={"aluminum": "kcl", "cations": "mehlich-3"}))
    found = toxic["acidity.aluminum.A"]
    assert found.severity == 3 and found.value == 60 and found.status is Status.LIMITING
    saturation = found.results[-1]
    assert saturation.formula == "aluminum_saturation" and 20 < saturation.value < 35
    other = acid_case(slice_, methods={"aluminum": "mehlich-3", "cations": "mehlich-3"})
    assert "acidity.aluminum.A" not in by_id(other)
    assert any(m.what.key == "acidity.missing_aluminum" for m in acidity.assess(other).missing)


def test_a_limit_is_not_a_value():
    """ensures that "<5 ppm" of aluminum is not used as 5."""
    slice_ = {"depth": "0-6 in", "ph": 4.9, "buffer_ph": 5.9, "aluminum": "<5 ppm"}
    assert "acidity.aluminum.A" not in by_id(acid_case(slice_, methods={"aluminum": "kcl"}))


@pytest.mark.parametrize("sample", [{"fizz": "strong"}, {"fizz": None}])
def test_calcareous_soil_is_not_acidified(sample):
    """ensures that free lime stops any sulfur rate, and that buying sulfur is advised against."""
    case = acid_case({"depth": "0-6 in", "ph": 8.1}, sample=sample, field={"crop": "blueberry"})
    said = acidity.assess(case)
    assert all(n.amount is None for n in needs_of(said, NeedKind.ACIDIFY).values())
    assert any(w.key == "acidity.avoid_sulfur" for f in said.findings
               for w, _ in f.advise_against)
    assert not needs_of(said, NeedKind.LIME)


def test_sulfur_for_blueberries_starts_low():
    """ensures that half of the lowest published rate goes on first (Michigan 1,540 lb/ac)."""
    case = acid_case({"depth": "0-6 in", "ph": 6.0}, field={"crop": "blueberry"},
                     sample={"texture": "loam"})
    need = needs_of(acidity.assess(case), NeedKind.ACIDIFY)["sulfur"]
    rates = sorted(r.value for r in need.results)
    assert need.amount == pytest.approx(rates[0] / 2)
    assert need.high == pytest.approx(1540)
    assert any(c.key == "acidity.caution_sulfur" for c in need.cautions)


@pytest.mark.parametrize(("ph", "warned"), [(7.2, False), (7.3, True)])
def test_sulfur_is_advised_against_from_the_line_on(ph, warned):
    """ensures that from pH 7.3 itself, the line our table holds, free lime is reckoned with."""
    case = acid_case({"depth": "0-6 in", "ph": ph}, field={"crop": "blueberry"},
                     sample={"fizz": "none"})
    high = by_id(case)["acidity.high.A"]
    keys = {what.key for what, _ in high.advise_against}
    assert ("acidity.avoid_sulfur" in keys) is warned


def test_corn_on_alkaline_soil_is_left_alone():
    """ensures that lowering the pH of a field crop's soil is not advised."""
    case = acid_case({"depth": "0-6 in", "ph": 7.7})
    assert not needs_of(acidity.assess(case), NeedKind.ACIDIFY)
    assert by_id(case)["acidity.high.A"].severity <= 1


def test_a_shallow_sample_alone_sets_nothing():
    """ensures that a 0-3 in sample is not read as the tilled layer."""
    said = acidity.assess(acid_case({"depth": "0-3 in", "ph": 5.0, "buffer_ph": 6.0}))
    assert not said.findings
    assert [m.what.key for m in said.missing] == ["acidity.missing_layer"]


# --- text ----------------------------------------------------------------------------------


def _variants():
    yield acid_case(lime_table="smp")
    yield acid_case([TOP, {"depth": "0-6 in", "ph": 6.6, "buffer_ph": 6.8}],
                    field={"tillage": "no-till"}, lime_table="smp")
    yield acid_case([{**TOP, "buffer_ph": 6.2}, {"depth": "0-6 in", "ph": 6.6, "buffer_ph": 6.8}],
                    field={"tillage": "no-till"}, lime_table="smp")
    yield acid_case({"depth": "0-6 in", "ph": 6.05, "buffer_ph": 6.6})
    yield acid_case({"depth": "0-6 in", "ph": 6.25, "buffer_ph": 6.6})
    yield acid_case({"depth": "0-6 in", "ph": 6.7, "buffer_ph": 6.9})
    yield acid_case({"depth": "0-6 in", "ph": 5.4})
    yield acid_case({"depth": "0-6 in", "buffer_ph": 6.2})
    yield acid_case(lime_table="adams_evans")
    yield acid_case(methods={"buffer": "mehlich"}, field={"following_crop": "alfalfa"})
    yield acid_case(methods={"buffer": "modified-mehlich"}, region="Pennsylvania")
    yield acid_case(methods={"buffer": "woodruff"}, region="Nebraska")
    yield acid_case(methods={"buffer": "adams-evans", "ph": "cacl2"}, region="Georgia")
    yield acid_case(field={"crop": "moonflower"})
    yield acid_case({"depth": "0-6 in", "ph": 4.7, "buffer_ph": 6.2}, field={"crop": "potato"})
    yield acid_case(sample={"texture": "muck", "cores": None}, field={"tillage": "reduced"})
    yield acid_case(lime_table="smp", targets={"ph": 6.8, "reason": "alfalfa next"},
                    earlier_applications=[applied("2026-08-01")])
    yield acid_case(lime_table="smp", field={"tillage": "no-till"}, earlier_applications=[
        applied("2026-08-01", analysis={"cce": "90 %", "fineness": "80 %"})])
    yield acid_case(lime_table="smp", earlier_applications=[
        applied("2026-09-30", rate="20 ton/ac", analysis={"effective": "70 %"})])
    for fizz, crop in (("strong", "blueberry"), ("none", "blueberry"), (None, "corn"),
                       ("none", "alfalfa")):
        yield acid_case({"depth": "0-6 in", "ph": 7.9, "carbonate": "4 %"} if fizz == "strong"
                        else {"depth": "0-6 in", "ph": 7.9}, sample={"fizz": fizz},
                        field={"crop": crop})
    yield acid_case({"depth": "0-6 in", "ph": 6.0}, field={"crop": "blueberry"},
                    sample={"texture": None})
    yield acid_case({"depth": "0-6 in", "ph": 4.9, "buffer_ph": 5.9, "aluminum": "60 ppm",
                     "calcium": "300 ppm", "magnesium": "40 ppm", "potassium": "80 ppm"},
                    methods={"aluminum": "kcl", "cations": "mehlich-3"})
    yield acid_case({"depth": "0-6 in", "ph": 6.0, "aluminum": "4 ppm"},
                    methods={"aluminum": "kcl"})
    yield acid_case({"depth": "0-3 in", "ph": 5.0, "buffer_ph": 6.0})


@pytest.mark.parametrize("case", list(_variants()))
def test_every_message_can_be_written(case):
    """ensures that every sentence renders in both unit systems, from known sources."""
    said = acidity.assess(case)
    us, si = texts(said, "us"), texts(said, "si")
    assert len(us) == len(si)
    for line in us + si:
        assert line and "None" not in line and "{" not in line, line
        assert "  " not in line and not line.endswith(" ."), line
    for line in si:
        assert "ton/ac" not in line and "lb/ac" not in line, line
    assert set(sources(said)) <= set(references())
    ids = [f.id for f in said.findings]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("name", ["acid_corn_ohio", "saline_alfalfa_utah",
                                  "vegetables_new_jersey"])
def test_sample_cases_are_traced(name):
    """ensures that every number of a sample case can be followed to a recorded calculation."""
    case = load_case(ROOT / name / "case.yaml").case
    with recording() as trace:
        said = acidity.assess(case)
    kept = {r.calculation for r in trace.results}
    for finding in said.findings:
        for result in finding.results:
            assert result.calculation in kept
    for need in needs_of(said, NeedKind.LIME).values():
        assert need.amount > 0 and need.results[0].calculation in kept
        assert need.area_ac > 0
    texts(said, "si")


@settings(max_examples=120, deadline=None)
@given(ph=st.floats(3.6, 9.0), buffer_ph=st.one_of(st.none(), st.floats(4.0, 8.0)),
       method=st.sampled_from(methods_of_tests()["buffer"]),
       ph_method=st.sampled_from(["water 1:1", "cacl2"]),
       region=st.sampled_from(["Ohio", "Iowa", "Oregon", "Pennsylvania", "Kansas", "Nowhere"]),
       tillage=st.sampled_from(["no-till", "reduced", "conventional", "perennial"]),
       crop=st.sampled_from(["corn", "alfalfa", "blueberry", "potato", "onion", "moonflower"]),
       fizz=st.sampled_from([None, "none", "strong"]),
       cores=st.one_of(st.none(), st.integers(1, 60)),
       texture=st.sampled_from([None, "sand", "loam", "muck"]))
def test_any_soil_can_be_judged(ph, buffer_ph, method, ph_method, region, tillage, crop, fizz,
                                cores, texture):
    """ensures that no reading breaks the assessment, and that amounts stay sensible."""
    slice_ = {"depth": "0-6 in", "ph": ph}
    if buffer_ph is not None:
        slice_["buffer_ph"] = buffer_ph
    case = acid_case(slice_, methods={"buffer": method, "ph": ph_method}, region=region,
                     field={"tillage": tillage, "crop": crop},
                     sample={"fizz": fizz, "cores": cores, "texture": texture})
    said = acidity.assess(case)
    texts(said, "si")
    limes = needs_of(said, NeedKind.LIME)
    assert not (limes and fizz == "strong")
    for need in limes.values():
        if need.amount is not None:
            assert need.amount > 0 and need.low <= need.amount <= need.high
            assert need.cap > 0 and buffer_ph is not None


def test_a_small_unsure_lime_need_is_only_watched():
    """ensures that under half a ton of lime of low confidence does not limit the crop."""
    case = load_case(ROOT / "vegetables_new_jersey" / "case.yaml").case
    finding = next(f for i, f in by_id(case).items() if i.startswith("acidity.ph"))
    need, = finding.needs
    assert need.amount < 0.5 and finding.confidence is Confidence.LOW
    assert (finding.status, finding.severity) == (Status.WATCH, 1)
    told = texts(acidity.assess(case))
    assert not any("too acid" in t for t in told if t.startswith("Soil is"))
    sure = by_id(acid_case(lime_table="smp"))["acidity.ph.A"]
    assert sure.severity >= 2


def test_bacteria_of_legumes_only_beside_a_legume():
    """ensures that nodules come up where a legume is grown or follows."""
    def told(**field):
        return " ".join(texts(acidity.assess(acid_case(lime_table="smp", field=field))))

    assert "bacteria" not in told() and "bacteria" not in told(crop="tomato")
    assert "feed nitrogen to soybean" in told(following_crop="soybean")


def test_sulfur_by_the_table_of_the_state():
    """ensures that a Michigan blueberry field starts with half of Michigan's own table.

    Sand from pH 5.8 to 4.5: 350 + 0.3/0.5 x (530 - 350) = 458 lb (MSU), half 229 lb.
    """
    case = acid_case({"depth": "0-8 in", "ph": 5.8}, field={"crop": "blueberry"},
                     region="Michigan", sample={"texture": "sand"})
    need = needs_of(acidity.assess(case), NeedKind.ACIDIFY)["sulfur"]
    assert need.amount == pytest.approx(229, abs=1)
    assert any("table of this state" in t for t in texts(acidity.assess(case)))


@pytest.mark.parametrize(("date", "old"), [("2026-09-01", False), ("2015-09-01", True)])
def test_a_sample_past_its_age_gives_no_lime_rate(date, old):
    """ensures that lime is not rated from a sample eleven years old.

    Source: common practice, soil tests are renewed every three to four years.
    """
    need = lime_of(acid_case(sample={"date": date}))
    assert (need is None or need.amount is None) is old
