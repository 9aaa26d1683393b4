"""Finding cases: folders, patterns, lists, doubles and what is no case."""

import pytest
from batch_fakes import write_case

from loambrief.batch.case_finder import find_cases, peek_id
from loambrief.errors import LoambriefError


def names(found):
    return [path.name for path in found.cases]


def test_folder_is_searched_in_order(tmp_path):
    """ensures that subfolders count, the order is that of the paths, and both endings do."""
    write_case(tmp_path / "b", "two")
    write_case(tmp_path / "a" / "deep", "one")
    write_case(tmp_path, "zero").rename(tmp_path / "zero.yml")
    assert names(find_cases([tmp_path])) == ["one.yaml", "two.yaml", "zero.yml"]


def test_parts_of_cases_are_left_aside(tmp_path):
    """ensures that profiles, guides, mappings and hidden files are not taken for cases."""
    case = write_case(tmp_path, "case")
    write_case(tmp_path / "profiles", "shared")
    write_case(tmp_path / ".hidden", "secret")
    (tmp_path / "map.yaml").write_text("loambrief_map: 1\ntable: {}\n")
    (tmp_path / "guide.yaml").write_text("name: house\nlevels: []\n")
    (tmp_path / "notes.txt").write_text("loambrief: 1\n")
    found = find_cases([tmp_path])
    assert found.cases == (case,)
    assert [p.name for p in found.left_aside] == ["guide.yaml", "map.yaml"]


def test_broken_cases_are_found(tmp_path):
    """ensures that a case without its first line is reported later, not silently left out."""
    (tmp_path / "old.yaml").write_text("# a case\ncase:\n  id: old\nfield: {\n")
    assert names(find_cases([tmp_path])) == ["old.yaml"]


def test_a_case_counts_once(tmp_path):
    """ensures that a case reached by folder, pattern, name and link is one case."""
    case = write_case(tmp_path / "in", "one")
    (tmp_path / "in" / "link.yaml").symlink_to(case)
    places = [tmp_path / "in", str(tmp_path / "in" / "*.yaml"), case, tmp_path / "in"]
    assert len(find_cases(places).cases) == 1


def test_patterns_and_lists(tmp_path):
    """ensures that patterns expand and lists hold places relative to themselves."""
    for client in ("ash", "birch", "cedar"):
        write_case(tmp_path / client, f"{client}-1")
    (tmp_path / "lists").mkdir()
    (tmp_path / "lists" / "clients.txt").write_text(
        "\ufeff# this month\n../ash\n\n../birch/*.yaml  # by pattern\n", encoding="utf-8")
    assert names(find_cases([tmp_path / "lists" / "clients.txt"])) == ["ash-1.yaml",
                                                                       "birch-1.yaml"]
    assert names(find_cases([str(tmp_path / "**" / "cedar*.yaml")])) == ["cedar-1.yaml"]


def test_output_is_not_searched(tmp_path):
    """ensures that cases attached or copied below the output are not made again."""
    write_case(tmp_path, "one")
    write_case(tmp_path / "out" / "client", "copy")
    for place in (tmp_path, str(tmp_path / "**" / "*.yaml")):
        assert names(find_cases([place], without=tmp_path / "out")) == ["one.yaml"]
    inside = tmp_path / "out" / "client"
    assert names(find_cases([inside], without=tmp_path / "out")) == ["copy.yaml"]
    assert len(find_cases([tmp_path], without=tmp_path).cases) == 2


def test_everything_wrong_is_named_at_once(tmp_path):
    """ensures that all places that lead nowhere are told together, with line numbers."""
    (tmp_path / "list.txt").write_text("gone.yaml\nlist.txt\n")
    with pytest.raises(LoambriefError) as caught:
        find_cases([tmp_path / "missing", str(tmp_path / "*.yaml"), tmp_path / "list.txt"])
    said = str(caught.value)
    assert "missing: no such file" in said and "nothing matches" in said
    assert "list.txt:1: " in said and "names itself" in said


def test_no_case_at_all(tmp_path):
    """ensures that an empty folder is an error, not a month without work."""
    with pytest.raises(LoambriefError, match="no case file"):
        find_cases([tmp_path])


@pytest.mark.parametrize(("text", "wanted"), [
    ("loambrief: 1\ncase:\n  id: east-40\n  date: 2026-10-14\n", "east-40"),
    ("case:  # which\n\n  # first\n  date: 2026-10-14\n  id: 'E.1'\n", "E.1"),
    ("case: {date: 2026-10-14, id: flow-1}\n", "flow-1"),
    ("field:\n  id: F\ncase:\n  id: right\n", "right"),
    ("case:\n  date: 2026-10-14\nfield:\n  id: F\n", ""),
    ("", ""),
])
def test_case_id_at_a_glance(tmp_path, text, wanted):
    """ensures that the id is seen without reading the file properly, and never another's."""
    path = tmp_path / "case.yaml"
    path.write_text(text)
    assert peek_id(path) == wanted


@pytest.mark.parametrize("history", ["history:\n  - earlier/one.yaml\n  # a remark\n"
                                     "  - 'earlier/two.yaml' # the second\n",
                                     "history: [earlier/one.yaml, \"earlier/two.yaml\"]\n",
                                     "history: # three visits\n- earlier/one.yaml\r\n"
                                     "- earlier/two.yaml"])
def test_earlier_cases_are_read_with_theirs(tmp_path, history):
    """ensures that a case kept for its history is not advised again, unless it is named."""
    one, two = (write_case(tmp_path / "earlier", name) for name in ("one", "two"))
    case = write_case(tmp_path, "case")
    case.write_text(case.read_text("utf-8") + "\n" + history, "utf-8")
    found = find_cases([tmp_path])
    assert (found.cases, found.earlier) == ((case,), (one, two))
    assert find_cases([tmp_path, one]).cases == (case, one)
    assert find_cases([tmp_path / "earlier"]).cases == (one, two)


def test_cases_that_name_each_other_are_not_lost(tmp_path):
    """ensures that the reader gets to say what is wrong with them."""
    for name, other in (("one", "two"), ("two", "one")):
        write_case(tmp_path, name).write_text(f"loambrief: 1\nhistory: [{other}.yaml]\n")
    assert names(find_cases([tmp_path])) == ["one.yaml", "two.yaml"]
