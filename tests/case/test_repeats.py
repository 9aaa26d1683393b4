"""Two samples of one zone at one depth: pooled, compared or kept apart, never without a word."""

import datetime as dt
import statistics

import pytest
from case_builders import as_bytes, minimal, sample

from loambrief import pipeline
from loambrief.case.load import load_bytes
from loambrief.case.reader import read_text
from loambrief.render.plain import render_plain

PH, P = (6.2, 5.8), (9.0, 15.0)


def two(treat, **keys):
    first = sample({"ph": PH[0], "phosphorus": "9 ppm"}, place="north", cores=15)
    more = sample({"ph": PH[1], "phosphorus": "15 ppm"}, id="B2", place="north", cores=16,
                  repeats={"of": "B1", "treat": treat, **keys})
    return minimal(samples=[first, more])


def test_pooled_values_and_spread():
    """ensures that a pooled result is the mean of both, with n, mean and standard deviation."""
    case = load_bytes(as_bytes(two("pool")), "case.yaml").case
    (pooled,) = case.samples
    (slice_,) = pooled.increments
    assert (pooled.id, pooled.cores) == ("B1", 31)
    assert slice_.ph == pytest.approx(statistics.fmean(PH))
    assert slice_.phosphorus.value == pytest.approx(12.0)
    spread = slice_.spread["phosphorus"]
    assert (spread.n, spread.mean) == (2, pytest.approx(12.0))
    assert spread.sd == pytest.approx(statistics.stdev(P))
    assert [s.id for s in case.typed_samples] == ["B1", "B2"]


def test_compared_sample_is_not_used():
    """ensures that a sample that is only compared changes no value that advice rests on."""
    case = load_bytes(as_bytes(two("compare")), "case.yaml").case
    (used,) = case.samples
    assert used.increments[0].phosphorus.value == 9 and not used.increments[0].spread


def test_kept_apart_needs_its_own_place_and_area(problems):
    """ensures that samples kept apart stay two zones, each with an area and a name."""
    case = two("keep apart", reason="The second lies on the old headland.")
    found = {(p.code, p.field) for p in problems(case)}
    assert {("CASE041", "samples[B1].area"), ("CASE041", "samples[B2].area"),
            ("CASE042", "samples[B2].place")} <= found
    for entry, place, area in zip(case["samples"], ("north", "headland"), ("10 ac", "8 ac"),
                                  strict=True):
        entry |= {"place": place, "area": area}
    assert len(load_bytes(as_bytes(case), "case.yaml").case.samples) == 2


def test_two_samples_without_a_word_are_refused(problems):
    """ensures that the way out is named where two samples stand for one place."""
    case = two("pool")
    del case["samples"][1]["repeats"]
    for entry in case["samples"]:
        entry["area"] = "9 ac"
    (problem,) = [p for p in problems(case) if p.code == "CASE042"]
    assert "repeats: {of: B1, treat: pool}" in problem.help


@pytest.mark.parametrize(("language", "words"), [
    ("en", ("pooled with it", "Standard deviation: 4.24")),
    ("es", ("se promedia con ella", "Desviación estándar: 4.24"))])
def test_both_results_stand_on_the_page(language, words):
    """ensures that the page holds both as typed, the spread, and what was made of them."""
    case = two("pool")
    case["case"]["language"] = language
    advice = pipeline.advise(load_bytes(as_bytes(case), "case.yaml"))
    text = render_plain(pipeline.report_model(advice)).decode()
    for word in (*words, "9 ppm", "15 ppm", "B2"):
        assert word in text


def test_spread_is_the_error_of_a_pooled_rate():
    """ensures that a rate from pooled samples carries the error of their spread."""
    case = two("pool")
    for s in case["samples"]:
        s["increments"][0] |= {"potassium": "150 ppm"}
        s["methods"] = {**s["methods"], "phosphorus": "mehlich-3-icp"}
    case["farm"]["region"] = "Indiana"
    case["guide"] = "tri_state_2020"
    case["field"]["yield_goal"] = {"value": "60 bu/ac", "basis": "records"}
    advice = pipeline.advise(load_bytes(as_bytes(case), "case.yaml"))
    used = {r.formula for f in advice.diagnosis.findings for r in f.results
            if f.topic == "nutrients"}
    assert "repeat_error" in used


def test_convention_of_pounds_per_acre(problems):
    """ensures that lb/ac is read as the laboratory means it, and that a guess is told.

    2 x ppm: the 2,000,000 lb of a furrow slice 6 2/3 in deep, a convention of laboratories.
    """
    def ppm(means, depth):
        lab = {"name": "Lab"} | ({"lb_ac_means": means} if means else {})
        case = minimal(samples=[sample({"depth": depth, "phosphorus": "40 lb/ac"}, lab=lab)])
        loaded = load_bytes(as_bytes(case), "case.yaml")
        told = [p for p in loaded.warnings if p.code == "CASE126"]
        return loaded.case.samples[0].increments[0].phosphorus.value, told

    assert ppm("two_times_ppm", "0-12 in") == (20.0, [])
    value, told = ppm("true_depth", "0-12 in")
    assert (value, told) == (pytest.approx(40 * (20 / 3) / (2 * 12)), [])
    value, (told,) = ppm(None, "0-12 in")
    assert value == pytest.approx(11.11, abs=0.01) and "1.8 times" in told.help
    assert "true_depth" in told.help
    assert ppm(None, "0-6.667 in")[1] == []


def test_the_next_case_asks_for_each_zone_once(tmp_path):
    """ensures that a pooled sample is one zone of the next case, with its water."""
    case = two("pool")
    case["samples"][0]["near_water"] = [{"kind": "ditch", "distance": "50 ft"}]
    (tmp_path / "last.yaml").write_bytes(as_bytes(case))
    text = pipeline.next_case_text(tmp_path / "last.yaml", tmp_path / "next.yaml",
                                   dt.date(2027, 10, 20))
    (zone,) = read_text(text, "next.yaml")[0].data["samples"]
    assert zone["id"] == "B1" and zone["near_water"] == [{"kind": "ditch", "distance": "50 ft"}]
