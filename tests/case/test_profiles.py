"""Shared files of a case: where they may lie, how they are judged, what is recorded."""

import hashlib
import json
import os

import pytest
from case_builders import MINIMAL, as_bytes, minimal
from test_guide_file import YAML as GUIDE

from loambrief.agronomy.guides import find_guide, from_data, with_guides
from loambrief.case.load import load_bytes, load_case
from loambrief.case.profiles import digest
from loambrief.errors import CaseProblems

ADVISER = """\
name: Rosalind Achterberg
credential: {scheme: State board, number: IN-0000, expires: 2027-12-31}
interest: None.
"""
MATERIALS = """\
materials:
  - id: lime
    name: Lime from the list
    kind: lime
    analysis: {cce: 95 %}
  - id: potash
    name: Muriate of potash
    kind: fertilizer
    analysis: {k2o: 60 %}
"""
WEEDS = [{"species": "Rumex acetosella", "identification": "certain"}]


@pytest.fixture
def place(tmp_path):
    """Writes a case under season/field and profiles beside it; gives the case's path."""
    folder = tmp_path / "season" / "field"
    folder.mkdir(parents=True)

    def make(files=(), **parts):
        for name, text in dict(files).items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        path = folder / "case.yaml"
        path.write_bytes(as_bytes(minimal(weeds=WEEDS, **parts)))
        return path

    return make


def problems(path):
    with pytest.raises(CaseProblems) as caught:
        load_case(path)
    return list(caught.value.problems)


def test_parts_from_files_are_the_parts(place):
    """ensures that a case with profiles is the same case as one written out."""
    files = {"../profiles/adviser.yaml": ADVISER, "people/client.yaml": "name: Halloran Bend Farm",
             "../profiles/farm.yaml": "name: Halloran Bend\n"}
    loaded = load_case(place(
        files, adviser={"file": "../profiles/adviser.yaml"},
        client={"file": "people/client.yaml"}, farm={"file": "../profiles/farm.yaml"}))
    assert loaded.case == load_bytes(as_bytes(minimal(weeds=WEEDS)), "c").case
    assert [f.name for f in loaded.files] == ["../profiles/adviser.yaml", "people/client.yaml",
                                              "../profiles/farm.yaml"]
    assert loaded.files[0].text == ADVISER


def test_digest_covers_every_file(place):
    """ensures that the recorded digest changes with any file, and that it can be redone."""
    parts = {"adviser": {"file": "../profiles/a.yaml"}}
    path = place({"../profiles/a.yaml": ADVISER}, **parts)
    first = load_case(path)
    own = hashlib.sha256(path.read_bytes()).hexdigest()
    other = hashlib.sha256(ADVISER.encode()).hexdigest()
    assert first.files[0].sha256 == other
    assert first.sha256 == hashlib.sha256(
        f"{own}  case\n{other}  ../profiles/a.yaml".encode()).hexdigest()
    changed = load_case(place({"../profiles/a.yaml": ADVISER + "phone: 555-0100\n"}, **parts))
    assert changed.sha256 != first.sha256
    assert digest("ab", ()) == "ab"
    assert load_case(place()).sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_problems_point_into_the_profile(place):
    """ensures that a fault of a profile has the profile's name, line and column."""
    text = ADVISER.replace("interest: None.", "interests: None.").replace("2027-12-31", "soon")
    path = place({"../profiles/a.yaml": text}, adviser={"file": "../profiles/a.yaml"},
                 farm={"name": ""})
    found = {(p.code, p.field): p for p in problems(path)}
    assert set(found) == {("CASE020", "adviser.interests"), ("CASE031", "farm.name"),
                          ("CASE028", "adviser.credential.expires")}
    unknown = found["CASE020", "adviser.interests"]
    assert unknown.file.endswith("field/../profiles/a.yaml")
    assert (unknown.line, unknown.column) == (3, 1)
    assert unknown.source_line == "interests: None."
    assert found["CASE028", "adviser.credential.expires"].line == 2
    assert found["CASE031", "farm.name"].file == str(path)


def test_missing_keys_point_at_the_profile(place):
    """ensures that what a profile lacks is asked for there, not in the case."""
    path = place({"a.yaml": "name: R. A.\n"}, adviser={"file": "a.yaml"})
    found = problems(path)
    assert {p.field for p in found} == {"adviser.credential", "adviser.interest"}
    assert all(p.file.endswith("a.yaml") and p.line == 1 for p in found)


def test_warnings_point_at_the_profile(place):
    """ensures that an expired credential is questioned where it stands."""
    path = place({"a.yaml": ADVISER.replace("2027", "2020")}, adviser={"file": "a.yaml"})
    (warning,) = load_case(path).warnings
    assert (warning.code, warning.line) == ("CASE116", 2)
    assert warning.file.endswith("a.yaml")


@pytest.mark.parametrize("entries", [
    [{"file": "m.yaml"}, {"id": "lime", "name": "Own lime", "kind": "lime"}],
    [{"id": "lime", "name": "Own lime", "kind": "lime"}, {"file": "m.yaml"}],
])
def test_own_materials_win(entries, place):
    """ensures that an own entry replaces the file's of the same id, wherever it stands."""
    loaded = load_case(place({"m.yaml": MATERIALS}, materials=entries))
    assert [(m.id, m.name) for m in loaded.case.materials] == [
        ("lime", "Own lime"), ("potash", "Muriate of potash")]


def test_materials_from_one_file(place):
    """ensures that materials may be the file alone."""
    loaded = load_case(place({"m.yaml": MATERIALS}, materials={"file": "m.yaml"}))
    assert [m.id for m in loaded.case.materials] == ["lime", "potash"]


def test_first_of_two_price_lists_wins(place):
    """ensures that of two files the one named first wins by id."""
    other = MATERIALS.replace("from the list", "elsewhere").replace("potash", "sop")
    loaded = load_case(place({"m.yaml": MATERIALS, "n.yaml": other},
                             materials=[{"file": "m.yaml"}, {"file": "n.yaml"}]))
    assert [(m.id, m.name) for m in loaded.case.materials][::2] == [
        ("lime", "Lime from the list"), ("sop", "Muriate of sop")]


def test_material_problems_in_both_places(place):
    """ensures that faults of own and shared materials each point into their file."""
    text = MATERIALS.replace("60 %", "160 %")
    path = place({"m.yaml": text},
                 materials=[{"file": "m.yaml"}, {"id": "x", "name": "X", "kind": "magic"}])
    found = problems(path)
    assert [(p.code, p.field, p.file.rpartition("/")[2]) for p in found] == [
        ("CASE027", "materials[x].kind", "case.yaml"),
        ("CASE026", "materials[potash].analysis.k2o", "m.yaml")]
    assert [p.line for p in found if p.file.endswith("m.yaml")] == [9]


@pytest.mark.parametrize(("text", "code"), [
    (MATERIALS + "extra: 1\n", "CASE020"), ("things: []\n", "CASE022"),
    ("- id: lime\n", "CASE015"), ("materials: 3\n", "CASE022"), ("a: [\n", "CASE005"),
    ("materials:\n  - id: a\n    id: b\n    name: c\n    kind: lime\n", "CASE010"),
])
def test_files_of_another_form(text, code, place):
    """ensures that a price list in another form is refused with a place in it."""
    found = problems(place({"m.yaml": text}, materials=[{"file": "m.yaml"}]))
    assert code in {p.code for p in found}
    assert all(p.file.endswith("m.yaml") for p in found)


@pytest.mark.parametrize("name", [
    "/etc/hostname", "../../outside.yaml", "../other/adviser.yaml", "..\\profiles\\a.yaml",
    "C:/a.yaml", "~/a.yaml", "", 7, "../profiles/../other/adviser.yaml", "a.yaml\n/../../x",
    "x" * 5000, "none.yaml", "../profiles", "link.yaml",
])
def test_places_a_case_may_not_name(name, place, tmp_path):
    """ensures that nothing outside the case's folder and ../profiles is read, links included."""
    for outside in ("outside.yaml", "season/other/adviser.yaml"):
        path = tmp_path / outside
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(ADVISER)
    (tmp_path / "season" / "profiles").mkdir()
    path = place(adviser={"file": name})
    os.symlink(tmp_path / "outside.yaml", path.parent / "link.yaml")
    (problem,) = problems(path)
    assert problem.code in ("CASE067", "CASE001")
    assert problem.file == str(path) or problem.code == "CASE001"


def test_a_profile_names_no_further_files(place):
    """ensures that there are no chains or circles of files."""
    path = place({"a.yaml": "file: b.yaml\n", "b.yaml": ADVISER}, adviser={"file": "a.yaml"})
    assert ("CASE020", "adviser.file") in {(p.code, p.field) for p in problems(path)}


def test_keys_beside_the_file(place):
    """ensures that a part is either written out or in a file."""
    path = place({"a.yaml": ADVISER}, adviser={"file": "a.yaml", "phone": "1"})
    assert [(p.code, p.field) for p in problems(path)] == [("CASE020", "adviser.phone")]


def test_no_files_without_a_folder():
    """ensures that a case in memory reads nothing from the disk."""
    with pytest.raises(CaseProblems) as caught:
        load_bytes(as_bytes(minimal(adviser={"file": "a.yaml"})), "c.yaml")
    assert caught.value.problems[0].code == "CASE067"


def test_files_are_limited(place):
    """ensures that a case cannot name files without end."""
    entries = [{"file": f"m{i}.yaml"} for i in range(30)]
    files = {f"m{i}.yaml": "materials: []\n" for i in range(30)}
    assert {p.code for p in problems(place(files, materials=entries))} == {"CASE067"}


@pytest.mark.parametrize("named", [{"file": "../profiles/house.yaml"}, "../profiles/house.yaml"])
def test_a_guide_by_file_is_used(named, place):
    """ensures that a consultant's guide named as a file gives the rates of the advice."""
    loaded = load_case(place({"../profiles/house.yaml": GUIDE}, guide=named))
    assert loaded.case.guide == "house.yaml" and loaded.files[0].text == GUIDE
    own = from_data(loaded.guides[0].name, loaded.guides[0].data, own=True)
    with with_guides(own):
        assert find_guide(loaded.case.guide).own


def test_guide_faults_point_into_the_guide(place):
    """ensures that a faulty guide stops the case with the guide's own lines."""
    path = place({"house.yaml": GUIDE.replace("how: seen", "how: felt")},
                 guide={"file": "house.yaml"})
    (problem,) = problems(path)
    assert problem.file.endswith("house.yaml") and problem.line == 2


def test_schema_for_editors_knows_files(schema):
    """ensures that an editor accepts what the program accepts."""
    from jsonschema import Draft202012Validator

    case = json.loads(json.dumps({**MINIMAL, "adviser": {"file": "a.yaml"},
                                  "guide": {"file": "g.yaml"}, "materials": [{"file": "m.yaml"}]}))
    validator = Draft202012Validator(schema)
    assert list(validator.iter_errors(case)) == []
    assert list(validator.iter_errors({**case, "farm": {"file": "f.yaml", "x": 1}}))
