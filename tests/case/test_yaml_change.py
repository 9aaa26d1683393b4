"""New values in a case's text: the data that was meant, and no line more than it takes."""

from __future__ import annotations

import copy
from pathlib import Path

import pytest

from loambrief.case.reader import read_text
from loambrief.case.yaml_change import rewritten
from loambrief.case.yaml_edit import plain_of
from loambrief.errors import CaseProblems

SAMPLES = Path(__file__).parents[2] / "sample_inputs"
TEXT = """# the case
one:
  a: 1 ppm  # first
  b: {c: 2, d: [3, 4]}  # in braces
two:
  - id: x  # of x
    note: old
    blank:
  - {id: y, note: z}
three: [5, 6]
"""


def places(data, path=()):
    """Every value that is no group."""
    entries = data.items() if isinstance(data, dict) else (
        enumerate(data) if isinstance(data, list) else ())
    for key, value in entries:
        yield from places(value, (*path, key))
    if not isinstance(data, dict | list):
        yield path


def with_value(data, path, value):
    """A copy with one value changed, or taken out where it is None."""
    made = copy.deepcopy(data)
    holder = made
    for step in path[:-1]:
        holder = holder[step]
    if value is None:
        del holder[path[-1]]
    else:
        holder[path[-1]] = value
    return made


def edited(text, **parts):
    return rewritten(text.encode(), "case.yaml", parts)[0].decode()


@pytest.mark.parametrize("name", ["acid_corn_ohio/case.yaml", "lab_file/visit.yaml"])
def test_each_value_of_a_sample_can_change_alone(name):
    """ensures that a change of any value gives just that data and touches two lines at most, its
    own and that of the braces it stands in, every remark elsewhere staying."""
    text = (SAMPLES / name).read_text(encoding="utf-8")
    data = read_text(text, name)[0].data
    for path in list(places(data))[::13]:
        wanted = with_value(data, path, "another value")
        new = edited(text, **{path[0]: wanted[path[0]]})
        assert plain_of(read_text(new, name)[0].data) == plain_of(wanted), path
        gone = [line for line in text.splitlines() if line not in new.splitlines()]
        assert len(gone) <= 2, path


def test_lines_of_each_kind_of_edit():
    """ensures that values in lines, in braces, behind dashes, new keys, keys taken out and longer
    lists give these very texts."""
    data = read_text(TEXT, "case.yaml")[0].data
    one, two = data["one"], data["two"]
    assert edited(TEXT, one=with_value(one, ("a",), "2 ppm")) == TEXT.replace("1 ppm", "2 ppm")
    assert edited(TEXT, one=with_value(one, ("a",), None)) == TEXT.replace(
        "  a: 1 ppm  # first\n", "")
    assert edited(TEXT, one={**one, "e": "new"}) == TEXT.replace("two:", "  e: new\ntwo:")
    assert edited(TEXT, two=with_value(two, (0, "id"), "w")) == TEXT.replace("id: x", "id: w")
    assert edited(TEXT, two=with_value(two, (0, "note"), None)) == TEXT.replace(
        "    note: old\n", "")
    assert edited(TEXT, two=[*two, {"id": "q"}]) == TEXT.replace("three:", "  - id: q\nthree:")
    assert edited(TEXT, three=None) == TEXT.replace("three: [5, 6]\n", "")
    assert edited(TEXT, three=[5, 6]) == TEXT
    in_braces = edited(TEXT, one=with_value(one, ("b", "d", 0), 9))
    assert "# first" in in_braces and "a: 1 ppm" in in_braces and "blank:" in in_braces
    assert edited(TEXT, two=[{"id": "x", "note": "old"}, two[1]]) == TEXT  # a blank key stays


def test_what_cannot_be_edited_is_refused():
    """ensures that a case in braces, and one whose anchor an edit would break, are refused."""
    with pytest.raises(CaseProblems, match="CASE066"):
        edited("{one: 1, two: 2}\n", one=2)
    with pytest.raises(CaseProblems, match="CASE066"):
        edited("one: &a x\ntwo: *a\n", one="y")
