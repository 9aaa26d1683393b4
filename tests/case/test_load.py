"""From file to checked case: conversions, acceptance, overrides, all or nothing."""

import hashlib
import pickle
from pathlib import Path

import pytest
from case_builders import MINIMAL, PENETROMETER, as_bytes, minimal, sample

from loambrief.case.load import LoadedCase, load_bytes, load_case
from loambrief.case.plausible import usual
from loambrief.case.plausible_soil import limit
from loambrief.case.profiles import digest
from loambrief.case.validate import parts
from loambrief.errors import CaseProblems, UnknownName
from loambrief.tables import load as table

SAMPLES = sorted((Path(__file__).parents[2] / "sample_inputs").glob("*/case.yaml"))
WEED = [{"species": "Rumex acetosella", "identification": "certain"}]


def load(case, **overrides):
    return load_bytes(as_bytes(case), "case.yaml", **overrides)


def increment(**results):
    (only,) = load(minimal(samples=[sample(results)])).case.samples[0].increments
    return only


@pytest.mark.parametrize("path", SAMPLES, ids=[p.parent.name for p in SAMPLES])
def test_sample_input_loads(path):
    """ensures that the shipped cases load, and the hash is that of the file and all it names."""
    loaded = load_case(path)
    assert isinstance(loaded, LoadedCase)
    own = hashlib.sha256(path.read_bytes()).hexdigest()
    assert loaded.sha256 == digest(own, loaded.files)
    assert loaded.files or loaded.sha256 == own
    assert loaded.source_text == path.read_text(encoding="utf-8")
    assert all(p.severity == "warning" for p in loaded.warnings)


def test_there_are_sample_inputs():
    """ensures that the loop above is not empty."""
    assert len(SAMPLES) >= 3


def test_minimal_cases_load():
    """ensures that a case with nearly nothing in it is valid."""
    assert [p.code for p in load(minimal()).warnings] == ["CASE118"]
    assert load(minimal(samples=[sample()])).warnings == ()
    assert load(minimal(penetrometer=PENETROMETER)).warnings == ()
    assert load(minimal(weeds=WEED)).warnings == ()
    without = sample(methods=None)
    without["increments"] = [{"depth": "0-6 in", "bulk_density": "1.3 g/cm3"}]
    assert load(minimal(samples=[without])).warnings == ()


def test_blank_keys_are_absent():
    """ensures that a blank line of a template is "not measured" and never zero."""
    case = load(minimal(samples=[sample({"phosphorus": None, "zinc": None})], weeds=None,
                        water=None)).case
    assert case.weeds == []
    assert case.water is None
    assert case.samples[0].increments[0].phosphorus is None


@pytest.mark.parametrize(
    ("typed", "depth", "ppm"),
    [
        # 2,000,000 lb per 6 2/3 in: 2 lb/ac is 1 ppm (the acre furrow slice, a convention)
        ("50 lb/ac", "0-6.6667 in", 25.0),
        # the same slice 6 in deep weighs 1.8 million lb; 8 in, 2.4 million
        ("36 lb/ac", "0-6 in", 20.0),
        ("48 lb/ac", "0-8 in", 20.0),
        # counted from the slice's own thickness, not from its bottom
        ("36 lb/ac", "6-12 in", 20.0),
        ("36 lb/ac", "0-15.24 cm", 20.0),
        ("20 ppm", "0-2 in", 20.0), ("20 mg/kg", "0-2 in", 20.0), ("0.02 g/kg", "0-2 in", 20.0),
    ],
)
def test_soil_test_in_pounds_per_acre(typed, depth, ppm):
    """ensures that lb/ac becomes ppm with the depth of its slice and keeps what was typed."""
    value = increment(depth=depth, phosphorus=typed).phosphorus
    assert value.value == pytest.approx(ppm, rel=1e-4)
    assert value.unit == "ppm"
    assert value.typed == typed
    assert value.plain


def test_censored_result_stays_censored():
    """ensures that a result below the lab's limit is converted as a limit, not a value."""
    case = load(minimal(samples=[sample({"zinc": "<0.9 lb/ac"}, methods={"zinc": "dtpa"})]))
    value = case.case.samples[0].increments[0].zinc
    assert (value.censor, value.unit) == ("<", "ppm")
    assert value.value == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("field", "typed", "meq"),
    [
        # University of California (B. Faber): 200 ppm Ca over 20 is 10 meq/L
        ("calcium", "200 ppm", 10.0),
        # FAO Irrigation and Drainage Paper 29, equivalent weights Mg 12.2, Na 23.0, Cl 35.5,
        # HCO3 61.0 (from memory, unverified)
        ("magnesium", "122 mg/L", 10.0),
        ("sodium", "230 mg/L", 10.0),
        ("chloride", "355 mg/L", 10.0),
        ("bicarbonate", "610 mg/L", 10.0),
        ("sodium", "10 meq/L", 10.0), ("sodium", "10 mmolc/L", 10.0),
    ],
)
def test_ions_of_water(field, typed, meq):
    """ensures that mg/L and ppm of an ion become meq/L by its own equivalent mass."""
    case = load(minimal(water={"source": "well", "date": "2026-07-01", field: typed})).case
    value = getattr(case.water, field)
    assert value.value == pytest.approx(meq, rel=0.005)
    assert (value.unit, value.typed) == ("meq/L", typed)


def test_ions_of_the_saturation_extract():
    """ensures that the extract of a soil is converted like a water."""
    got = increment(extract={"calcium": "100.2 mg/L", "boron": "0.7 ppm"}).extract
    assert got.calcium.value == pytest.approx(5.0, rel=1e-3)
    assert (got.boron.value, got.boron.unit) == (0.7, "mg/L")


def test_penetrometer_in_metric_units():
    """ensures that depths become in and readings psi: 2 MPa is 290 psi (NIST SP 811)."""
    case = load(minimal(penetrometer={
        **PENETROMETER, "depth_unit": "cm", "pressure_unit": "kPa",
        "depths": [7.62, 15.24, 22.86],
        "points": [{"id": "P1", "readings": [690, 2000, None]}]})).case
    part = case.penetrometer
    assert part.depths == pytest.approx([3, 6, 9])
    assert part.points[0].readings[:2] == pytest.approx([100.1, 290.1], abs=0.05)
    assert part.points[0].readings[2] is None
    assert (part.depth_unit, part.pressure_unit) == ("in", "psi")


def test_numbers_typed_where_text_belongs():
    """ensures that an unquoted number stays as it was written where text is wanted."""
    raw = as_bytes(minimal(weeds=WEED)).replace(b'"Halloran Bend"', b"007")
    raw = raw.replace(b'"test-1"', b"2026.10")
    case = load_bytes(raw, "c.yaml").case
    assert case.farm.name == "007"
    assert case.case.id == "2026.10"


def test_formula_text_stays_text():
    """ensures that text a spreadsheet would run is kept as typed and nothing else."""
    name = "=cmd|' /C calc'!A0"
    assert load(minimal(farm={"name": name})).case.farm.name == name


def test_accepted_warning():
    """ensures that an accepted warning leaves the list and keeps its reason."""
    case = minimal(samples=[sample({"phosphorus": "900 ppm"}, cores=9)])
    assert [p.code for p in load(case).warnings] == ["CASE104", "CASE108"]
    field = "samples[B1].increments[0-6 in].phosphorus"
    case["accept"] = [{"code": "CASE104", "field": field, "reason": "Old poultry yard."}]
    loaded = load(case)
    assert [p.code for p in loaded.warnings] == ["CASE108"]
    ((problem, reason),) = loaded.accepted
    assert (problem.code, problem.field, reason) == ("CASE104", field, "Old poultry yard.")


def test_an_error_cannot_be_accepted():
    """ensures that accepting an error's code does not make the case load."""
    case = minimal(samples=[sample({"zinc": "1 ppm"})], accept=[
        {"code": "CASE040", "field": "samples[B1].methods.zinc", "reason": "trust me"}])
    with pytest.raises(CaseProblems) as caught:
        load(case)
    assert [p.code for p in caught.value.problems] == ["CASE040", "CASE117"]


def test_all_problems_at_once_in_file_order():
    """ensures that reader, schema and cross-field faults come together, sorted by place."""
    raw = (
        b"loambrief: 1\ncase: {id: x, date: 2026-10-20, date: 2026-10-21}\n"
        b"client: {nam: A}\nfarm: {name: !t B}\n"
        b"field: {name: F, area: 10 ac, crop: corn, tillage: no-till, irrigation: none,\n"
        b"  drainage: unknown}\n"
        b"samples:\n  - {id: A, date: 2026-10-30, area: 9 ac, lab: {name: L}, methods: {},\n"
        b"     increments: [{depth: 0-6 in, zinc: 1 ppm, ph: sour}]}\n"
        b"  - {id: A, date: 2026-10-01, area: 9 ac, lab: {name: L}, increments: []}\n"
        b"adviser: {name: N, interest: none, credential: {scheme: s, number: 1,\n"
        b"  expires: 2026-13-01}}\n"
    )
    with pytest.raises(CaseProblems) as caught:
        load_bytes(raw, "c.yaml")
    assert [(p.line, p.code) for p in caught.value.problems] == [
        (2, "CASE010"), (3, "CASE020"), (4, "CASE009"),
        (8, "CASE047"), (8, "CASE040"), (9, "CASE030"), (10, "CASE034"), (12, "CASE028"),
    ]


def test_no_knock_on_problems():
    """ensures that a fault is not followed by faults that only it caused."""
    cases = [
        minimal(samples=[sample(area="9 acres?"), sample(id="B2", area="9 ac")]),
        minimal(penetrometer={**PENETROMETER, "depths": [3, "six", 9]}),
        minimal(samples=[sample(methods={"ph": "ph meter"})]),
        minimal(forage=[{"id": "F", "kind": "grass", "date": "2026-06-01",
                         "nitrate": "500 pmm"}]),
        {**minimal(weeds=WEED),
         "case": {"id": "x", "date": "2026-02-30", "valid_until": "2026-03-01"}},
        {**minimal(samples=[sample(area="9 ac")]),
         "field": {**MINIMAL["field"], "area": "18 acress"}},
    ]
    for case in cases:
        with pytest.raises(CaseProblems) as caught:
            load(case)
        assert len(caught.value.problems) == 1, str(caught.value)


def test_overrides():
    """ensures that units, paper and language can be chosen from outside, and only those."""
    case = minimal(weeds=WEED)
    loaded = load(case, units="si", paper="a4", language=None)
    assert (loaded.case.case.units, loaded.case.case.paper) == ("si", "a4")
    assert loaded.case.case.language == "en"
    assert loaded.sha256 == load(case).sha256
    with pytest.raises(UnknownName, match="did you mean 'letter'"):
        load(case, paper="leter")
    with pytest.raises(UnknownName, match="override"):
        load(case, currency="EUR")


def test_loaded_case_survives_a_worker():
    """ensures that a loaded case can be handed to another process."""
    loaded = load(minimal(samples=[sample({"phosphorus": "36 lb/ac"})]))
    assert pickle.loads(pickle.dumps(loaded)) == loaded


def test_loading_is_repeatable():
    """ensures that the same bytes give the same case, warnings and hash."""
    raw = SAMPLES[0].read_bytes()
    assert load_bytes(raw, "a") == load_bytes(raw, "a")


def test_usual_ranges_name_real_fields():
    """ensures that every usual range belongs to a field of the schema and is a range."""
    for (part, field), (low, high, unit) in usual().items():
        assert field in parts()[part][0].model_fields
        assert low < high
        assert unit


def test_published_limits():
    """ensures that limits from publications have the published value.

    Penn State Agronomy Guide: at least 15 to 20 cores, at most 10 to 20 acres. 4R
    certification, western Lake Erie: soil tests at most 3 years old. Skaggs and others 2006:
    EC = 0.1 c. Keys to Soil Taxonomy 2014: 12 and 18 % carbon (times 1.724 as organic
    matter). SMP buffer 7.5 (Sikora), Mehlich 6.6 (Hoskins 2005), Moore-Sikora 8.00 (Clemson),
    Woodruff 7.0 (Sikkim study).
    """
    assert (limit("cores_min"), limit("area_max"), limit("oldest_test")) == (15, 20, 3)
    assert limit("cations_per_ec") == 1 / 0.1
    assert limit("organic_soil_om") == pytest.approx(12 * 1.724, abs=1)
    assert limit("mineral_soil_om") == pytest.approx(18 * 1.724, abs=0.1)
    fresh = {row["method"]: row["fresh_ph"] for row in table("case/buffers")}
    assert (fresh["smp"], fresh["mehlich"]) == (7.5, 6.6)
    assert (fresh["moore-sikora"], fresh["woodruff"]) == (8.0, 7.0)
    with pytest.raises(UnknownName):
        limit("no such limit")


def test_two_zones_of_one_name_are_refused(tmp_path):
    """ensures that two samples cannot be taken for one zone because of their place names."""
    ohio = next(p for p in SAMPLES if p.parent.name == "acid_corn_ohio")
    source = ohio.read_text(encoding="utf-8")
    path = tmp_path / "case.yaml"
    path.write_text(source.replace("place: south", "place: North"),
                    encoding="utf-8")
    with pytest.raises(CaseProblems) as caught:
        load_case(path)
    assert [(p.code, p.field) for p in caught.value.problems if p.severity == "error"] == [
        ("CASE042", "samples[S].place")]
