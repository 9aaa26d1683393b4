"""A label is only printed: another one for the same thing changes nothing else."""

import copy
import json
import re
from functools import cache
from pathlib import Path

import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from loambrief import pipeline
from loambrief.case.load import load_bytes
from loambrief.findings.places import spot_id
from loambrief.render.plain import render_plain

SAMPLES = Path(__file__).parents[2] / "sample_inputs"
CASES = ("acid_corn_ohio", "saline_alfalfa_utah", "vegetables_new_jersey")
MARK = "Qxzv"
"""A label that stands nowhere else in a report."""
LABELS = ("x", "N", "phosphorus", "gypsum", "lime", "Feed (hay) cut2", "a: b; c, where d",
          "0-6 in", "lot 3-7 in", "Dr. No. Then left", "north 2", "5", "C:N")
PLACES = ("place", "where")


@cache
def data_of(name):
    """A sample case as plain data."""
    return yaml.safe_load((SAMPLES / name / "case.yaml").read_text(encoding="utf-8"))


def renamed(node, keys, old, new):
    """The data with one label for another wherever it is the label of such a thing."""
    if isinstance(node, dict):
        return {k: new if k in keys and v == old else renamed(v, keys, old, new)
                for k, v in node.items()}
    if isinstance(node, list):
        return [renamed(v, keys, old, new) for v in node]
    return node


def printed(name, data):
    """Data and page text of a case, without what hangs on its bytes or on line lengths."""
    text = yaml.safe_dump(data, allow_unicode=True, sort_keys=False)
    loaded = load_bytes(text.encode(), "case.yaml", folder=SAMPLES / name)
    report, made = pipeline._paper(pipeline.advise(loaded))
    page = render_plain(report.model).decode("utf-8")
    page = re.sub(r"^\s*\| ", " ", page, flags=re.MULTILINE)
    page = re.sub(r"[.=-]{4,}|[0-9a-f]{64}", " ", page)
    tree = json.loads(made)
    del tree["inputs_sha256"]
    return tree, " ".join(page.split()).casefold()


def things(name):
    """What of a case has a label: (keys that hold it, label)."""
    data = data_of(name)
    places = [s["place"] for s in data["samples"] if "place" in s]
    places += [p["place"] for p in data.get("penetrometer", {}).get("points", ()) if "place" in p]
    places += [w["place"] for w in data.get("weeds", ()) if "place" in w]
    return [(PLACES, label) for label in dict.fromkeys(places)] + [
        (("name",), m["name"]) for m in data.get("materials", ())]


@cache
def marked(name, keys, old):
    """What is printed where the label is one that can be found again."""
    return printed(name, renamed(copy.deepcopy(data_of(name)), keys, old, MARK))


def put(node, new):
    if isinstance(node, dict):
        return {k: put(v, new) for k, v in node.items()}
    if isinstance(node, list):
        return [put(v, new) for v in node]
    if not isinstance(node, str):
        return node  # the id of a marked spot is made of its name, and of nothing else
    for there in (spot_id, lambda name: spot_id(name).replace(":", "-")):  # in ids of actions
        node = node.replace(there(MARK), there(new))
    return node.replace(MARK, new).casefold()


def same(name, keys, old, new):
    data, page = printed(name, renamed(copy.deepcopy(data_of(name)), keys, old, new))
    expected, said = marked(name, keys, old)
    assert put(data, new) == put(expected, new)
    assert page == said.replace(MARK.casefold(), new.casefold())


@settings(max_examples=6, derandomize=True, deadline=None)
@given(data=st.data())
def test_another_label_changes_only_itself(data):
    """ensures that places and materials are known by id: data and pages stay as they are."""
    name = data.draw(st.sampled_from(CASES))
    keys, old = data.draw(st.sampled_from(things(name)))
    taken = {label.casefold() for _, label in things(name)}
    new = data.draw(st.sampled_from([x for x in LABELS if x.casefold() not in taken] + [old]))
    same(name, keys, old, new)


def by_ids(first, second):
    """The Ohio case with samples that have an id and no other name."""
    data = copy.deepcopy(data_of("acid_corn_ohio"))
    for sample, name in zip(data["samples"], (first, second), strict=True):
        for entry in data["accept"]:
            entry["field"] = entry["field"].replace(f"samples[{sample['id']}]", f"samples[{name}]")
            if entry["code"] == "UNJUDGED":  # amendment.lime.S
                kind, _, place = entry["field"].rpartition(".")
                if place == sample["id"] and "." in kind:
                    entry["field"] = f"{kind}.{name}"
        del sample["place"]
        sample["id"] = name
    return data


def test_ids_of_one_letter_lose_no_zone():
    """ensures that zones N and S stand in every chart as zones of longer names do."""
    expected, said = printed("acid_corn_ohio", by_ids(f"{MARK}a", f"{MARK}b"))
    data, page = printed("acid_corn_ohio", by_ids("N", "S"))
    assert "phosphorus, s: " in page and "phosphorus, n: " in page
    assert page == said.replace(f"{MARK}a".casefold(), "n").replace(f"{MARK}b".casefold(), "s")
    assert len(data["actions"]) == len(expected["actions"])
    assert [a["place"]["id"] for a in data["actions"]] == [
        a["place"]["id"].replace(f"{MARK}a", "N").replace(f"{MARK}b", "S")
        for a in expected["actions"]]


def test_a_name_that_begins_as_another_keeps_its_own_chart():
    """ensures that north and north 2 do not get each other's findings or chart titles."""
    same("acid_corn_ohio", PLACES, "south", "north 2")
