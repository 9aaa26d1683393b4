"""Whatever is in the file: a valid case or a clear list of problems, never anything else."""

import copy
import time
import unicodedata

import yaml
from case_builders import MINIMAL, PENETROMETER, as_bytes, minimal, sample
from hypothesis import given, settings
from hypothesis import strategies as st

from loambrief.case.codes import codes
from loambrief.case.load import LoadedCase, load_bytes
from loambrief.case.problems import MOST_PRINTED
from loambrief.errors import CaseProblems

UNPRINTABLE = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
FULL = minimal(
    samples=[
        sample({"depth": "0-2 in", "ph": 5.9, "phosphorus": "44 ppm"},
               {"depth": "0-6 in", "ph": 6.1, "buffer_ph": 6.7, "phosphorus": "22 ppm",
                "calcium": "1500 ppm", "magnesium": "200 ppm", "cec": "12 meq/100g"},
               area="9 ac", texture="loam"),
        sample({"ph": 6.4}, id="B2", area="9 ac"),
    ],
    penetrometer=PENETROMETER,
    refractometer={"date": "2026-07-01", "atc": True, "readings": [
        {"plant": "corn", "role": "crop", "replicates": [7, 7.4, 6.8], "time": "10:30"}]},
    weeds=[{"species": "Rumex acetosella", "identification": "certain", "cover": "5 %"}],
    forage=[{"id": "F1", "kind": "grass", "date": "2026-06-01", "nitrate": "500 ppm",
             "nitrate_as": "no3"}],
    materials=[{"id": "lime", "name": "Lime", "kind": "lime", "analysis": {
        "cce": "94 %", "passing": {"8": "98 %", "60": "50 %"}},
        "price": {"amount": 24, "per": "ton", "date": "2026-10-01"}}],
)


def outcome(raw):
    """Loads or collects; asserts that nothing else happens, and soon."""
    started = time.process_time()
    try:
        loaded = load_bytes(raw, "case.yaml")
    except CaseProblems as error:
        loaded = None
        problems = error.problems
        assert problems
        assert any(p.severity == "error" for p in problems)
    else:
        assert isinstance(loaded, LoadedCase)
        problems = loaded.warnings
        assert all(p.severity == "warning" for p in problems)
    assert time.process_time() - started < 5
    assert len(problems) <= MOST_PRINTED + 1
    lines = raw.decode("utf-8-sig", "replace").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for problem in problems:
        assert problem.code in codes()
        assert problem.field and problem.found and problem.wanted
        assert 0 <= problem.line <= len(lines) + 1
        text = str(problem)
        assert not any(unicodedata.category(c) in UNPRINTABLE for c in text.replace("\n", ""))
        assert len(text) < 3000
    return loaded


def places(data, path=()):
    """Every path of nested data."""
    yield path
    entries = data.items() if isinstance(data, dict) else (
        enumerate(data) if isinstance(data, list) else ())
    for key, value in entries:
        yield from places(value, (*path, key))


PLACES = [p for p in places(FULL) if p]
ODD = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**20), 10**20),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=30),
    st.sampled_from(["", "12 ppm", "<0.5 ppm", "0 ac", "1e9 lb/ac", "-5 %", "6-0 in", "0-2 in",
                     "2026-02-30", "2026-10-21", "12 %", "7", "1,2,3 ppm", "٣ ppm", "∞ ppm",
                     "=1+1", "../x", "1e308 ppm", "1e-400 ppm", "5 meq/L"]),
    st.lists(st.integers(-5, 5), max_size=4),
    st.dictionaries(st.sampled_from(["value", "unit", "id", "depth", "x"]),
                    st.one_of(st.integers(), st.text(max_size=5)), max_size=3),
)


def put(data, path, value):
    here = data
    for step in path[:-1]:
        here = here[step]
    here[path[-1]] = value


@settings(max_examples=90, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(PLACES), ODD), min_size=1, max_size=5))
def test_changed_values(changes):
    """ensures that a valid case with odd values in any places loads or lists its problems."""
    data = copy.deepcopy(FULL)
    for path, value in changes:
        try:
            put(data, path, value)
        except (TypeError, KeyError, IndexError):
            continue  # an earlier change removed the place
    outcome(yaml.safe_dump(data, allow_unicode=True).encode("utf-8", "surrogatepass"))


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(PLACES), st.sampled_from(["drop", "double", "rename"]),
       st.text(min_size=1, max_size=12))
def test_changed_structure(path, how, name):
    """ensures that dropped, doubled and renamed parts load or list their problems."""
    data = copy.deepcopy(FULL)
    here = data
    for step in path[:-1]:
        here = here[step]
    value = here[path[-1]]
    if how == "double" and isinstance(here, list):
        here.append(value)
    elif how == "rename" and isinstance(here, dict):
        here[name] = here.pop(path[-1])
    else:
        del here[path[-1]]
    outcome(as_bytes(data))


VALID = yaml.safe_dump(FULL, sort_keys=False).encode()


@settings(max_examples=90, deadline=None)
@given(st.lists(st.tuples(st.integers(0, len(VALID) - 1), st.integers(0, 4),
                          st.binary(max_size=4)), min_size=1, max_size=4))
def test_changed_bytes(edits):
    """ensures that a valid file with bytes replaced loads or lists its problems."""
    raw = VALID
    for start, length, new in edits:
        raw = raw[:start] + new + raw[start + length :]
    outcome(raw)


SIGNS = st.sampled_from([
    *" \n\t:-?[]{},&*!|>'\"%@`#~\\<=", "a", "b: ", "- ", "&x ", "*x", "!!str ", "<<: *x", "\n  ",
    "|\n ", ">-\n ", "---\n", "...\n", "%YAML 1.2\n", "\\u0000", "null", ".nan", "1e999", "é",
    "\u2028", "\r", "\ufeff", "case: ",
])


@settings(max_examples=120, deadline=None)
@given(st.lists(SIGNS, max_size=40).map("".join))
def test_yaml_like_text(text):
    """ensures that any heap of YAML's own signs is a clear list of problems."""
    assert outcome(text.encode()) is None


@settings(max_examples=60, deadline=None)
@given(st.one_of(st.binary(max_size=200), st.text(max_size=100).map(
    lambda t: t.encode("utf-8", "surrogatepass"))))
def test_any_bytes(raw):
    """ensures that arbitrary bytes and text are a clear list of problems."""
    assert outcome(raw) is None


@settings(max_examples=40, deadline=None)
@given(st.floats(0.01, 5000), st.floats(0.5, 30), st.floats(0.5, 30))
def test_pounds_per_acre_round_trip(lb_ac, top, thickness):
    """ensures that lb/ac of a slice is the ppm that weighs as much in that slice.

    Mass balance: ppm times the slice's mass at 2,000,000 lb per 6 2/3 in.
    """
    data = minimal(samples=[sample({"depth": f"{top:.4f}-{top + thickness:.4f} in",
                                    "phosphorus": f"{lb_ac:.6f} lb/ac"})])
    (increment,) = outcome(as_bytes(data)).case.samples[0].increments
    soil_million_lb = 2.0 * increment.thickness_in / (20 / 3)
    assert abs(increment.phosphorus.value * soil_million_lb - lb_ac) < 1e-4 * lb_ac + 1e-6


def test_full_case_is_valid():
    """ensures that the case the changes start from loads."""
    assert outcome(as_bytes(FULL)) is not None
    assert outcome(as_bytes(MINIMAL)) is not None
