"""Earlier cases: what may be compared, against how much noise, and what is said of it."""

from __future__ import annotations

import math
import statistics
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loambrief import pipeline
from loambrief.agronomy.intervals import t_two_sided
from loambrief.case.load import load_bytes, load_case
from loambrief.errors import CaseProblems, ImpossibleInput
from loambrief.report.blocks import opened
from loambrief.report.blocks import plain as plain_text
from loambrief.topics.acidity.formulas import expected_ph_change
from loambrief.topics.history.done import review
from loambrief.topics.history.findings import ChangeVerdict, all_series
from loambrief.topics.sampling.formulas_error import least_significant_change, soil_test_error

FOLDER = Path(__file__).parents[2] / "sample_inputs" / "history_beans_michigan"


@pytest.fixture(scope="module")
def loaded():
    return load_case(FOLDER / "case.yaml")


@pytest.fixture(scope="module")
def visits(loaded):
    """The three cases of the sample, oldest first."""
    return [*(e.case for e in loaded.earlier), loaded.case]


def series_of(visits, quantity, where="east, sandy rise"):
    found = all_series(visits[-1], visits[:-1])
    return next(s for s in found if s.quantity == quantity
                and where in (s.place.label, s.plant, ""))


def with_sample(case, index=0, **changes):
    samples = list(case.samples)
    samples[index] = samples[index].model_copy(update=changes)
    return case.model_copy(update={"samples": samples})


def with_slice(case, index=0, **changes):
    sample = case.samples[index]
    slices = [sample.increments[0].model_copy(update=changes), *sample.increments[1:]]
    return with_sample(case, index, increments=slices)


def test_repeatability_limit():
    """ensures the critical difference of two results at 95 %: 1.96 x root 2 x s, 2.8 s.

    ISO 5725-6:1994 (from memory, unverified); two Brix readings of SD 0.1 differ from 0.28 on
    (own arithmetic). Without a level it is at the coverage of every range, 90 %: 1.645.
    """
    assert least_significant_change(1, 1, 95) == pytest.approx(2.772, abs=0.001)
    assert least_significant_change(0.1, 0.1, 95) == pytest.approx(0.277, abs=0.001)
    assert least_significant_change(3, 4, 95) == pytest.approx(1.959964 * 5, abs=1e-5)
    assert least_significant_change(3, 4) == pytest.approx(1.644854 * 5, abs=1e-5)
    with pytest.raises(ImpossibleInput):
        least_significant_change(-1, 1)


def test_noise_is_that_of_cores_and_laboratory(visits):
    """ensures that the limit is built from both readings' own cores and the same laboratory.

    pH: one laboratory 0.05 to 0.1, field CV 5 to 15 % (memory); 18 and 20 cores.
    """
    change = series_of(visits, "ph").change
    errors = [math.hypot(0.075, 0.10 * ph / math.sqrt(n)) for ph, n in ((5.5, 18), (6.3, 20))]
    assert change.limit == pytest.approx(1.644854 * math.hypot(*errors), rel=1e-4)
    assert change.difference == pytest.approx(0.8) and change.verdict is ChangeVerdict.MORE


def test_another_laboratory_is_noisier(visits):
    """ensures that results of two laboratories need a larger difference.

    ALP data: 15 to 20 % between laboratories for P and K against 4 to 8 % within one.
    """
    lab = visits[-1].samples[0].lab.model_copy(update={"name": "Another Laboratory"})
    moved = [*visits[:-1], with_sample(visits[-1], lab=lab)]
    for quantity in ("potassium", "phosphorus", "ph"):
        one, other = series_of(visits, quantity), series_of(moved, quantity)
        assert other.change.limit > one.change.limit
        assert soil_test_error.function("potassium", 90, 18, False).value > (
            soil_test_error.function("potassium", 90, 18, True).value)


def test_a_method_change_is_never_crossed(visits):
    """ensures that Bray and Mehlich-3 phosphorus stay apart, however alike the numbers are."""
    series = series_of(visits, "phosphorus")
    assert [r.method for r in series.readings] == ["bray-p1", "mehlich-3-icp", "mehlich-3-icp"]
    assert series.breaks == 1
    pair = series_of(visits[:2], "phosphorus")
    assert pair.change.verdict is ChangeVerdict.UNKNOWN and pair.change.difference is None
    assert pair.change.limit is None and pair.change.reason.key == "history.why_method"
    same = series_of(visits[:2], "ph")
    assert same.change.verdict is ChangeVerdict.WITHIN


def test_the_latest_comparable_reading_is_taken(visits):
    """ensures that a visit by another method in between does not hide an older comparable one."""
    bray = visits[0].samples[0].methods
    middle = with_sample(visits[1], methods=visits[1].samples[0].methods.model_copy(
        update={"phosphorus": "olsen"}))
    present = with_sample(visits[2], methods=visits[2].samples[0].methods.model_copy(
        update={"phosphorus": bray.phosphorus}))
    change = series_of([visits[0], middle, present], "phosphorus").change
    assert change.before.case_id == "mill-corner-2021" and change.verdict is ChangeVerdict.WITHIN


def test_a_list_of_deeds_alone(loaded):
    """ensures that what was done is printed without any earlier case, and nothing is compared."""
    found = review(loaded.case, [])
    assert found.series == () and found.expectations == () and len(found.done) == 5


def test_a_limit_is_no_value(visits):
    """ensures that "<5 ppm" is not subtracted from anything."""
    less = visits[-1].samples[0].increments[0].phosphorus
    case = with_slice(visits[-1], phosphorus=replace(less, censor="<"))
    change = series_of([*visits[:-1], case], "phosphorus").change
    assert change.verdict is ChangeVerdict.UNKNOWN and change.difference is None


def test_unknown_cores_hide_a_change(visits):
    """ensures that without cores a large change cannot be told, a small one is still noise."""
    case = with_sample(visits[-1], cores=None)
    ph = series_of([*visits[:-1], case], "ph").change
    assert ph.verdict is ChangeVerdict.UNKNOWN and ph.reason.key == "history.why_cores"
    assert series_of([*visits[:-1], case], "organic_matter").change.verdict is ChangeVerdict.WITHIN


def test_other_layers_and_zones_do_not_mix(visits):
    """ensures that a reading of another depth or zone starts no comparison."""
    moved = with_slice(visits[-1], depth=(0.0, 4.0, "0-4 in"))
    found = all_series(moved, visits[:-1])
    assert not [s for s in found if s.place.label == "east, sandy rise"]
    renamed = with_sample(visits[-1], id="X", place="new corner")
    assert not [s for s in all_series(renamed, visits[:-1]) if s.place.label == "new corner"]


def test_cone_only_at_field_capacity(visits):
    """ensures that readings in drier soil are never compared (Busscher 1997: no correction)."""
    change = series_of(visits, "resistance", "Mill Corner").change
    assert change.verdict is ChangeVerdict.MORE
    assert change.difference == pytest.approx(-81.67, abs=0.01)
    for moisture in ("moist", "wet"):
        cone = visits[-1].penetrometer.model_copy(update={"moisture": moisture})
        dry = visits[-1].model_copy(update={"penetrometer": cone})
        found = series_of([*visits[:-1], dry], "resistance", "").change
        assert found.verdict is ChangeVerdict.UNKNOWN


def test_cone_limit_is_welchs(visits):
    """ensures that the noise of replicates is Welch's interval (1947), worked out by hand here."""
    change = series_of(visits, "resistance", "").change
    parts = [statistics.variance(r.values) / len(r.values) for r in (change.before, change.after)]
    df = sum(parts) ** 2 / sum(p * p / (len(change.after.values) - 1) for p in parts)
    limit = t_two_sided(90, df) * math.sqrt(sum(parts))
    assert change.limit == pytest.approx(limit, rel=1e-9)
    assert len(change.after.values) == len(change.before.values) == 6


def test_sap_only_at_the_same_hour(visits):
    """ensures that a morning reading is not compared with an afternoon's.

    OSU VegNet 2020: same part, same stage, same time of day.
    """
    assert series_of(visits, "brix", "soybean").change.verdict is ChangeVerdict.WITHIN
    part = visits[-1].refractometer
    for time in (part.readings[0].time.replace(hour=8), None):
        early = part.readings[0].model_copy(update={"time": time})
        case = visits[-1].model_copy(update={
            "refractometer": part.model_copy(update={"readings": [early]})})
        change = series_of([*visits[:-1], case], "brix", "soybean").change
        assert change.verdict is ChangeVerdict.UNKNOWN and change.limit is None


@settings(max_examples=25)
@given(st.floats(3.5, 9), st.floats(3.5, 9), st.integers(5, 40), st.integers(5, 40))
def test_a_change_and_its_reverse_say_the_same(visits, one, other, cores, more):
    """ensures that the verdict does not depend on which reading is the earlier one."""
    def pair(first, second, n, m):
        a = with_sample(with_slice(visits[1], ph=first), cores=n)
        b = with_sample(with_slice(visits[2], ph=second), cores=m)
        return series_of([a, b], "ph").change

    there, back = pair(one, other, cores, more), pair(other, one, more, cores)
    assert there.verdict is back.verdict
    assert there.difference == pytest.approx(-back.difference)
    assert there.limit == pytest.approx(back.limit)


def test_expected_rise_of_ph():
    """ensures that half the requirement is taken to bring half the rise, never over the target."""
    assert expected_ph_change(5.5, 6.5, 1.5, 3.0) == pytest.approx(0.5)
    assert expected_ph_change(5.5, 6.5, 9.0, 3.0) == pytest.approx(1.0)
    assert expected_ph_change(5.5, 6.5, 0.0, 3.0) == 0
    with pytest.raises(ImpossibleInput):
        expected_ph_change(6.6, 6.5, 1.0, 3.0)


def test_lime_and_ph(visits):
    """ensures that both passes count, by their own analysis, against the table's requirement.

    Pine Hollow lime: 92 % CCE x 80 % fine x 96 % dry = 0.7066; 3 ton/ac of it = 2.12 ton/ac;
    the SMP table asks 2.99 ton/ac for pH 5.5 to 6.5 in 7 in: 0.71 of the rise.
    """
    (found,) = review(visits[-1], visits[:-1]).expectations
    assert found.expected == pytest.approx(3 * 0.92 * 0.80 * 0.96 / 2.9909, abs=1e-3)
    assert found.measured == pytest.approx(0.8) and found.verdict == "agrees"
    flat = with_slice(visits[-1], ph=5.5)
    assert review(flat, visits[:-1]).expectations[0].verdict == "less"
    high = with_slice(visits[-1], ph=7.2)
    assert review(high, visits[:-1]).expectations[0].verdict == "more"


@pytest.mark.parametrize(("change", "reason"), [
    ({"analysis": None}, "why_analysis"), ({"where": "west, creek flat"}, "why_need"),
    ({"date": "after"}, "why_after"),
])
def test_lime_that_cannot_be_judged(visits, change, reason):
    """ensures that nothing is expected where quality, zone or date do not allow it."""
    case = visits[-1]
    if change.get("date") == "after":
        change = {"date": case.case.date}
    done = [d.model_copy(update=change) if d.kind == "lime" else d for d in case.done]
    (found, *_) = review(case.model_copy(update={"done": done}), visits[:-1]).expectations
    assert found.verdict == "unknown" and found.reason.key == f"history.{reason}"


def test_lime_that_went_on_still_counts(loaded):
    """ensures that what was done is among the earlier applications, once."""
    applied = [(a.date.year, a.kind) for a in loaded.case.earlier_applications]
    assert applied.count((2024, "lime")) == 2 and (2024, "fertilizer") in applied
    text = loaded.source_text + """
earlier_applications:
  - date: 2024-04-10
    material: "Agricultural lime, Pine Hollow quarry"
    kind: lime
    rate: 2 ton/ac
"""
    again = load_bytes(text.encode(), "c.yaml", folder=FOLDER).case
    assert sum(a.kind == "lime" for a in again.earlier_applications) == 2


def test_files_of_earlier_cases_are_part_of_the_record(loaded):
    """ensures that earlier cases count in the digest and are attached."""
    assert [f.name for f in loaded.files] == ["earlier/2021.yaml", "earlier/2023.yaml"]
    alone = loaded.source_text.replace("  - earlier/2021.yaml\n", "")
    assert load_bytes(alone.encode(), "c", folder=FOLDER).sha256 != loaded.sha256


def broken(text, folder=FOLDER):
    with pytest.raises(CaseProblems) as caught:
        load_bytes(text.encode(), "case.yaml", folder=folder)
    return [(p.code, p.field, p.line) for p in caught.value.problems]


@pytest.mark.parametrize(("old", "new", "code"), [
    ("earlier/2021.yaml", "earlier/2020.yaml", "CASE073"),
    ("earlier/2021.yaml", "../../secret.yaml", "CASE073"),
    ("earlier/2021.yaml", "/etc/hostname", "CASE073"),
    ("earlier/2021.yaml", "case.yaml", "CASE073"),
    ("earlier/2021.yaml", "earlier/2023.yaml", "CASE073"),
    ("id: MC", "id: OTHER", "CASE073"),
    ("    not_done: The price", "    note: The price", "CASE074"),
    ("    not_done: The price", "    cost: 3\n    not_done: The price", "CASE074"),
    ("date: 2024-10-22", "date: 2028-10-22", "CASE047"),
])
def test_what_does_not_belong_is_refused(loaded, old, new, code):
    """ensures that other fields, later cases, lost files and half-filled lines have a line."""
    assert old in loaded.source_text
    found = broken(loaded.source_text.replace(old, new, 1))
    assert {c for c, _, _ in found} == {code} and all(line > 0 for _, _, line in found)


def test_problems_of_an_earlier_case_point_into_it(loaded, tmp_path):
    """ensures that a fault of an earlier case is reported with its own file and line."""
    (tmp_path / "earlier").mkdir()
    for name in ("2021", "2023"):
        text = (FOLDER / "earlier" / f"{name}.yaml").read_text()
        (tmp_path / "earlier" / f"{name}.yaml").write_text(text.replace("ph: 5.6", "ph: 56"))
    with pytest.raises(CaseProblems) as caught:
        load_bytes(loaded.source_text.encode(), "case.yaml", folder=tmp_path)
    (problem,) = caught.value.problems
    assert problem.file.endswith("earlier/2021.yaml") and problem.code == "CASE026"


def test_the_advisory_says_it(loaded):
    """ensures that section, data and Spanish carry the same verdicts, and charts the breaks."""
    import json

    advice = pipeline.advise(loaded)
    report, data = pipeline._paper(advice)
    words = " ".join(_words(opened(report.model.blocks)))
    assert "What changed since" in words and "More than the noise" in words
    assert "The two agree within the noise" in words and "Not done" in words
    history = json.loads(data)["history"]
    assert [c["case_id"] for c in history["cases"]] == ["mill-corner-2021", "mill-corner-2023"]
    verdicts = {(s["quantity"], s["where"]): s["change"]["verdict"] for s in history["series"]}
    assert verdicts["ph", "east, sandy rise"] == "more"
    assert verdicts["phosphorus", "west, creek flat"] == "within"
    assert history["expectations"][0]["verdict"] == "agrees"
    spanish = load_case(FOLDER / "case.yaml", language="es", units="si")
    report, _ = pipeline._paper(pipeline.advise(spanish))
    words = " ".join(_words(opened(report.model.blocks)))
    assert "Qué cambió desde" in words and "0-18 cm" in words and "Más que el ruido" in words


def test_what_was_seen_is_printed_and_no_longer_missing(visits, loaded):
    """ensures that residue cover and water table of a visit are said, and not asked for again."""
    from loambrief.case.schema import Observations
    from loambrief.topics.salinity import findings as salinity

    utah = FOLDER.parent / "saline_alfalfa_utah" / "case.yaml"
    text = utah.read_text().replace("drainage: moderately drained", "drainage: poorly drained")
    plain = load_bytes(text.encode(), "u.yaml", folder=utah.parent)
    keys = {m.what.key for m in salinity.assess(plain.case).missing}
    assert "salinity.missing_water_table" in keys
    seen = Observations.model_validate(
        {"date": "2026-05-14", "residue_cover": "45 %", "water_table": "> 40 in"})
    case = plain.case.model_copy(update={"observations": seen})
    assert "salinity.missing_water_table" not in {
        m.what.key for m in salinity.assess(case).missing}
    ours = replace(loaded, case=loaded.case.model_copy(update={"observations": seen}))
    report, _ = pipeline._paper(pipeline.advise(ours))
    words = " ".join(_words(opened(report.model.blocks))).replace("\u00a0", " ")
    assert "residue covers 45% of the ground; no water table down to 40 in." in words
    summary = report.model.blocks[0]
    assert any("of 12 readings changed" in plain_text(note) for note in summary.notes)


def _words(blocks):
    from loambrief.report.blocks import Bullets, Heading, Paragraph, Table, plain

    for block in blocks:
        if isinstance(block, Heading | Paragraph):
            yield plain(block.text)
        elif isinstance(block, Bullets):
            yield from map(plain, block.items)
        elif isinstance(block, Table):
            yield from (plain(cell) for row in block.rows for cell in row.cells)


def test_a_case_without_history_is_as_before():
    """ensures that nothing is printed or said without earlier cases."""
    case = load_case(FOLDER / "earlier" / "2023.yaml")
    assert pipeline.advise(case).diagnosis.history is None
