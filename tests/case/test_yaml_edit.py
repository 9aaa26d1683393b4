"""Updating a case: outside what a lab decides, not one byte changes."""

import difflib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lab_builders import PLAIN, mapping, taken

from loambrief.case.intake_case import updated_case
from loambrief.case.reader import UNWANTED, decode, read_text
from loambrief.case.yaml_edit import Value, emit, plain_of, set_parts, span_end
from loambrief.errors import CaseProblems

SAMPLES = Path(__file__).parents[2] / "sample_inputs"
HEAD = """\
# A case with remarks.   
loambrief: 1
case: {id: t, date: 2026-10-20}   # flow style
client:   {name: "Halloran Bend Farm"}
farm:
    name: Halloran Bend     # four blanks
field: {name: Creek, area: 18 ac, crop: soybean, tillage: no-till,
  irrigation: none, drainage: unknown}
adviser:
  name: R. A.
  credential: {scheme: Board, number: "0001", expires: 2027-12-31}
  interest: None

# before the samples
"""
TAIL = """\

# after the samples
weeds:
- {species: Rumex acetosella, identification: certain}
notes:
  - |
    # not a remark
    second line
"""
BLOCK = """\
samples:     # two zones
  # the western one
  - place: west
    id: A1   # as on the bag
    date: 2026-10-02
    area: 10 ac
    lab:
      name: Old name
      report: X-1
    methods: {ph: cacl2}
    increments:
      # surface
      - depth: 0-2 in
        ph: 5.2          # checked twice
        bulk_density: 1.31 g/cm3
      - depth: 0-6 in
        ph: 5.9
    cores: 15
  - id: C9
    date: 2026-10-01
    area: 3 ac
    lab: {name: Other}
    methods: {ph: cacl2}
    increments: [{depth: 0-6 in, ph: 7}]
"""


@pytest.fixture
def intake(tmp_path):
    return taken(tmp_path, PLAIN, mapping())


def changed_lines(old, new):
    return [line for line in difflib.ndiff(old.splitlines(), new.splitlines())
            if line[0] in "+-"]


def test_everything_outside_the_block_stays(intake):
    """ensures that text before and after the samples, and the adviser's own keys, stay."""
    raw = (HEAD + BLOCK + TAIL).encode()
    new = updated_case(raw, "c.yaml", intake).content.decode()
    assert new.startswith(HEAD + BLOCK[: BLOCK.index("    lab:")])
    assert new.endswith(TAIL)
    for line in ("    cores: 15\n", "      # surface\n", "    lab: {name: Other}\n",
                 "    increments: [{depth: 0-6 in, ph: 7}]\n",
                 "        bulk_density: 1.31 g/cm3\n", "      report: X-1\n"):
        assert line in new
    assert new.index("id: A1") < new.index("id: C9") < new.index("id: B2")


def test_a_key_that_begins_like_samples_is_not_of_them(intake):
    """ensures that a problem outside the samples is told with the update, not instead of it."""
    raw = (HEAD + BLOCK + TAIL + "samples_of_old: 3\n").encode()
    written = updated_case(raw, "c.yaml", intake)
    assert "samples_of_old" in {problem.field for problem in written.problems}
    assert b"id: B2" in written.content


def test_values_after_the_update(intake):
    """ensures that the lab's values are in, the adviser's are kept, and changes are named."""
    written = updated_case((HEAD + BLOCK + TAIL).encode(), "c.yaml", intake)
    data = read_text(decode(written.content, "c"), "c")[0].data
    a1, c9, b2 = data["samples"]
    assert plain_of(a1["increments"][0]) == {
        "depth": "0-2 in", "ph": "5.4", "bulk_density": "1.31 g/cm3", "phosphorus": "<5 ppm",
        "potassium": "182 ppm", "calcium": "1040 ppm"}
    assert a1["methods"]["ph"] == "water 1:1"
    assert a1["lab"]["name"] == "Dunmore Soil Laboratory" and a1["lab"]["report"] == "X-1"
    assert (c9["id"], b2["id"]) == ("C9", "B2")
    notes = " | ".join(written.notes)
    for words in ("A1 0-2 in: ph 5.2, now 5.4", "kept from the case: lab report",
                  "'checked twice' went with its old value", "sample B2: added"):
        assert words in notes
    assert [p.code for p in written.problems if p.severity == "error"] == ["CASE041"]


def test_remarks_inside_an_updated_part_stay_in_their_places(intake):
    """ensures that a remark on its own line keeps its place and goes with no value."""
    block = BLOCK.replace("        bulk", "        # by the core method\n        bulk")
    text = updated_case((HEAD + block + TAIL).encode(), "c.yaml", intake).content.decode()
    assert "      # surface\n      - depth: 0-2 in\n" in text
    assert "        # by the core method\n        bulk_density: 1.31 g/cm3\n" in text


def test_a_second_update_changes_nothing(intake):
    """ensures that the same file put in twice gives the same bytes."""
    once = updated_case((HEAD + BLOCK + TAIL).encode(), "c.yaml", intake).content
    again = updated_case(once, "c.yaml", intake)
    assert again.content == once
    assert "sample A1: nothing to change" in again.notes


@pytest.mark.parametrize("block", ["", "samples:\n", "samples: []\n", "samples: []   # to come\n",
                                   "samples: ~\n", '"samples": []\n'])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_first_samples_of_a_case(block, end, mark, intake):
    """ensures that a case without samples gets them; line ends and byte-order mark stay."""
    raw = mark + (HEAD + block + TAIL).replace("\n", end).encode()
    new = updated_case(raw, "c.yaml", intake).content
    text = new.removeprefix(mark).decode()
    assert new.startswith(mark + b"#") and text.endswith(TAIL.replace("\n", end))
    assert text.count("\n") == text.count(end)
    if "# to come" in block:
        assert f"samples:  # to come{end}" in text
    removed = [line for line in changed_lines(raw.removeprefix(mark).decode(), text)
               if line.startswith("-")]
    assert removed == ([] if block in ("", "samples:\n") else ["- " + block.strip()])


def test_file_without_last_line_end(intake):
    """ensures that a file that ends in the middle of a line is continued on a new one."""
    raw = (HEAD + BLOCK).rstrip("\n").encode()
    data = read_text(updated_case(raw, "c.yaml", intake).content.decode(), "c")[0].data
    assert [s["id"] for s in data["samples"]] == ["A1", "C9", "B2"]


@pytest.mark.parametrize(("block", "field"), [
    ("samples: [{id: A1, date: 2026-10-02}]\n", "samples"),
    ("samples:\n  - {id: A1, date: 2026-10-02, lab: {name: x}}\n", "samples[A1]"),
    ("samples:\n  - id: A1\n    date: 2026-10-02\n    lab: &lab {name: x}\n  - id: Z\n"
     "    lab: *lab\n", "samples"),
])
def test_forms_that_are_not_edited(block, field, intake):
    """ensures that flow style and anchors are refused, not mangled."""
    with pytest.raises(CaseProblems) as caught:
        updated_case((HEAD + block + TAIL).encode(), "c.yaml", intake)
    (problem,) = caught.value.problems
    assert (problem.code, problem.field) == ("CASE066", field)


def test_json_case_is_not_edited(intake):
    """ensures that a case in { } is refused."""
    with pytest.raises(CaseProblems) as caught:
        updated_case(b'{"loambrief": 1}', "c.yaml", intake)
    assert caught.value.problems[0].code == "CASE066"


def test_results_are_not_dropped_without_a_word(intake):
    """ensures that a slice the lab's file lacks, and a result by another method, are refused."""
    block = BLOCK.replace("      - depth: 0-6 in\n        ph: 5.9\n",
                          "      - depth: 0-6 in\n        ph: 5.9\n        sodium: 12 ppm\n"
                          "      - depth: 6-12 in\n        ph: 6.2\n").replace(
        "methods: {ph: cacl2}\n    increments:\n", "methods: {ph: cacl2, cations: morgan}\n"
        "    increments:\n")
    with pytest.raises(CaseProblems) as caught:
        updated_case((HEAD + block + TAIL).encode(), "c.yaml", intake)
    assert [(p.code, p.field) for p in caught.value.problems] == [
        ("CASE068", "samples[A1].methods.cations"),
        ("CASE068", "samples[A1].increments[6-12 in]")]


def test_unreadable_parts_are_refused(intake):
    """ensures that a sample that is itself broken is put right first."""
    block = BLOCK.replace("depth: 0-2 in", "depth: shallow")
    with pytest.raises(CaseProblems) as caught:
        updated_case((HEAD + block + TAIL).encode(), "c.yaml", intake)
    assert [p.code for p in caught.value.problems] == ["CASE068"]


def test_a_blank_result_takes_the_old_one_out_and_says_so(tmp_path):
    """ensures that an old value is not left beside a new report that does not hold it."""
    intake = taken(tmp_path, PLAIN.replace("A1,0-2,5.4", "A1,0-2,"), mapping())
    written = updated_case((HEAD + BLOCK + TAIL).encode(), "c.yaml", intake)
    assert "sample A1 0-2 in: ph 5.2 taken out, blank in the lab's file" in written.notes
    assert b"ph: 5.2" not in written.content


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*/case.yaml")), ids=lambda p: p.parent.name)
def test_shipped_cases_survive_an_added_sample(path):
    """ensures that adding a sample to a shipped case adds lines and removes none."""
    raw = path.read_bytes()
    tree = {"id": Value("ZZ"), "date": Value("2026-01-02"), "area": Value("1 ac"),
            "lab": {"name": Value("L: a #1")}, "increments": [{"depth": Value("0-6 in")}]}
    new, notes = set_parts(raw, "c.yaml", added={"samples": [tree]})
    assert not notes
    lines = changed_lines(raw.decode(), new.decode())
    assert lines and all(line.startswith("+") for line in lines)
    before, after = (read_text(decode(r, "c"), "c")[0].data for r in (raw, new))
    assert plain_of(after["samples"]) == [*plain_of(before["samples"]), plain_of(tree)]


TEXT = st.text(min_size=1, max_size=30).map(lambda t: " ".join(t.split())).filter(
    lambda t: t and not UNWANTED.search(t) and t.isprintable())


@settings(max_examples=30, deadline=None)
@given(st.recursive(TEXT, lambda inner: st.lists(inner, min_size=1, max_size=3)
                    | st.dictionaries(st.from_regex(r"[a-z]{1,6}", fullmatch=True), inner,
                                      min_size=1, max_size=3), max_leaves=8))
def test_what_is_written_is_what_is_read(tree):
    """ensures that any tree of texts reads back unchanged, quotes and all."""
    def values(part):
        if isinstance(part, str):
            return Value(part)
        if isinstance(part, list):
            return [values(p) for p in part]
        return {k: values(v) for k, v in part.items()}

    lines = emit({"top": values(tree)})
    data = read_text("\n".join(lines) + "\n", "t")[0].data
    assert data == {"top": tree}
    assert emit(data) == lines


def test_block_ends():
    """ensures that remarks behind a block are not part of it, and a list may start at its key."""
    lines = ["a:", "- 1", "", "# x", "- 2", "# after", "", "b: 1"]
    assert span_end(lines, 0, 0) == 5
    assert span_end(lines, 1, 0, key=False) == 2
    assert span_end(lines, 7, 0) == 8
