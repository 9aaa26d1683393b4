"""Every printed number can be followed to a calculation, an input, a table or a listed source."""

import ast
import csv
import dataclasses
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import pytest
import source_code
from jinja2 import Environment, nodes

import loambrief
from loambrief import pipeline
from loambrief.agronomy.registry import Result
from loambrief.findings.model import Grade, Message, Side
from loambrief.report.terms import Marking, unmarked
from loambrief.resources import tables_dir, templates_dir
from loambrief.tables import load, references
from loambrief.units import (
    CM_PER_INCH,
    KG_PER_HA_PER_LB_PER_ACRE,
    KPA_PER_PSI,
    LB_PER_TON,
)

ROOT = Path(loambrief.__file__).parent
SAMPLES = Path(__file__).parents[2] / "sample_inputs"
NAMES = ("acid_corn_ohio", "history_beans_michigan", "saline_alfalfa_utah",
         "vegetables_new_jersey")
SMALL = 20
"""Whole numbers up to here are counts of what is listed: actions, points, cores, steps."""
UNITS = (1.0, 100.0, 0.01, LB_PER_TON, KG_PER_HA_PER_LB_PER_ACRE, KPA_PER_PSI / 1000,
         CM_PER_INCH)
"""A number may stand in another unit than where it was worked out."""
DERIVED = {
    "acidity.context_tables.pair": "quotient of the rates of two tables",
    "acidity.context_tables.printed": "rate of a table, in its own unit",
    "acidity.context_tables.spread": "quotient of the highest and lowest rate",
    "actions.note_band.most": "limit of the band by the share in the product",
    "actions.note_last_pound.prices": "dual value of the mix",
    "actions.title_nutrient.rate": "rate of the mix, rounded to the spreader's step",
    "soil_water.body_held.allowed_low": "low end by the allowed share",
    "soil_water.body_held.allowed_high": "high end by the allowed share",
    "carbon_nitrogen.avoid_rise_why.cost": "money: amount by price by area",
    "carbon_nitrogen.avoid_rise_why.phosphate": "amount by the share in the analysis",
    "carbon_nitrogen.reference_plateau.low": "plateau less its scatter",
    "cations.body_lab_cec.off": "difference of two capacities as a share",
    "forage.body_rfq.apart": "difference of two indexes",
    "nutrients.guide_removal_body.removal": "removal less what the guide adds",
    "salinity.need_share.extra": "water in all less what the crop uses",
}
"""Parameters that are one step of arithmetic away from what was calculated or typed."""


def numbers(value):
    """Every number in calculations, in a case, or in the parameters of a message."""
    if isinstance(value, bool) or value is None or isinstance(value, Message | Result):
        return
    if isinstance(value, int | float):
        yield float(value)
    elif isinstance(value, Mapping):
        for inner in value.values():
            yield from numbers(inner)
    elif isinstance(value, list | tuple | set | frozenset):
        for inner in value:
            yield from numbers(inner)
    elif hasattr(type(value), "model_fields"):
        yield from numbers([getattr(value, name) for name in type(value).model_fields])
    elif dataclasses.is_dataclass(value):
        yield from numbers([getattr(value, f.name) for f in dataclasses.fields(value)])


def messages(value):
    """Every message in findings and plan, those inside messages too."""
    if isinstance(value, Message):
        yield value
        yield from messages(list(value.params.values()))
    elif isinstance(value, Mapping):
        yield from messages(list(value.values()))
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from messages(inner)
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        yield from messages([getattr(value, f.name) for f in dataclasses.fields(value)])


def figure(value):
    """Six digits: what a table or a calculation holds and a sentence is given are the same."""
    return float(f"{value:.6g}")


@cache
def tabled():
    found = set()
    for path in tables_dir().rglob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            for cell in (c for row in csv.reader(file) for c in row):
                if re.fullmatch(r"-?\d+(\.\d+)?", cell):
                    found.add(figure(float(cell)))
    return found


@cache
def derived(name):
    """Parameters of a sample's messages that hold a number neither calculated nor typed, and
    whether no table holds it either."""
    advice = pipeline.advise(pipeline.load_case(SAMPLES / name / "case.yaml"))
    known = {figure(x) for r in advice.calculations
             for x in numbers([r.value, r.inputs, r.details])}
    known |= {figure(x) for case in (advice.loaded, *advice.loaded.earlier)
              for x in numbers(case.case)}
    left = {}
    for message in messages([advice.diagnosis.findings, advice.diagnosis.missing, advice.plan]):
        for parameter, value in message.params.items():
            for x in numbers(value):
                counted = x.is_integer() and abs(x) <= SMALL
                spellings = {figure(x * u) for u in UNITS}
                if not counted and not spellings & known:
                    key = f"{message.key}.{parameter}"
                    left[key] = left.get(key, False) or not spellings & tabled()
    return left


@pytest.mark.parametrize("name", NAMES)
def test_numbers_come_from_somewhere(name):
    """ensures that what sentences say was calculated, typed or tabled, or one step from that."""
    assert {key for key, nowhere in derived(name).items() if nowhere} <= set(DERIVED)


def test_no_derivation_is_listed_in_vain():
    """ensures that the list of derived numbers holds only such as occur; one that a table
    happens to hold too stays derived."""
    assert set().union(*map(derived, NAMES)) >= set(DERIVED)


def test_no_calculation_goes_round_the_trace():
    """ensures that only the formula layer calls a formula without recording it."""
    found = []
    for path, told in source_code.nodes().items():
        if path.name.startswith("formulas") or path.parent.name == "agronomy":
            continue
        for node in told:
            if (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
                    and node.func.attr == "function"):
                found.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert found == []


# Numbers in the wording itself -------------------------------------------------------------

NUMBER = re.compile(r"(?<![\w.,])\d+(?:[.,]\d+)*(?!\w)")


def literal_numbers():
    """Message -> the numbers in its English words, also in words chosen by a condition, and those
    written there to be turned into the units of the document."""
    found = {}
    for path in sorted((templates_dir() / "text" / "en").glob("*.j2")):
        environment = Environment(extensions=[Marking])
        tree = environment.parse(unmarked(environment.preprocess(path.read_text("utf-8"))))
        for macro in tree.find_all(nodes.Macro):
            said = [n.data for n in macro.find_all(nodes.TemplateData)]
            said += [n.value for n in macro.find_all(nodes.Const)
                     if isinstance(n.value, str) and " " in n.value]
            said += [f"{n.node.value:g}" for n in macro.find_all(nodes.Filter)
                     if n.name in ("q", "num") and isinstance(n.node, nodes.Const)]
            if listed := NUMBER.findall("\n".join(said)):
                found[f"{path.stem}.{macro.name}"] = listed
    return found


def test_numbers_in_the_wording_are_listed():
    """ensures that each number written into a sentence stands in the table with its basis."""
    listed = {str(r["message"]): str(r["numbers"]).split("|") for r in load("wording/numbers")}
    assert literal_numbers() == listed


def test_a_basis_is_a_source_or_says_that_there_is_none():
    """ensures that a number said to have a source names a known one."""
    for row in load("wording/numbers"):
        assert row["basis"] in ("source", "common practice", "convention", "name"), row
        assert row["basis"] != "source" or row["source"], row
        assert all(key in references() for key in str(row["source"] or "").split(";") if key), row


def test_claims_name_a_message_and_its_source():
    """ensures that evidence of others was read for what it is printed for, or says from memory."""
    told = {path.stem: path.read_text(encoding="utf-8")
            for path in (templates_dir() / "text" / "en").glob("*.j2")}
    pairs = [(row["message"], row["source"]) for row in load("wording/claims")]
    assert len(set(pairs)) == len(pairs)
    for row in load("wording/claims"):
        topic, macro = str(row["message"]).split(".")
        assert f"macro {macro}(" in told[topic], row
        assert row["source"] in references() and row["read"] in ("text", "abstract", "memory")
        assert (row["read"] == "memory") is (row["checked"] is None), row
        if row["read"] == "memory":
            said = told[topic].split(f"macro {macro}(")[1].split("endmacro")[0]
            assert "from memory" in said, row
    shown = {f"refractometry.published_{row['key']}" for row in load("refractometry/evidence")}
    assert len(published_evidence()) > 30
    assert shown | published_evidence() <= {row["message"] for row in load("wording/claims")}


def test_evidence_of_the_table_is_said():
    """ensures that each row of the table has its message and is asked for by name, once."""
    told = {path.stem: path.read_text(encoding="utf-8")
            for path in (templates_dir() / "text" / "en").glob("*.j2")}
    calls = [(ast.unparse(call.func).split(".")[-1], call.args)
             for told in source_code.nodes().values() for call in told
             if isinstance(call, ast.Call)]
    asked = {args[0].value for name, args in calls if name == "stated"}
    asked |= {args[1].value for name, args in calls
              if name == "on_side" and isinstance(args[1], ast.Constant)}
    keys = load("wording/evidence").column("message")
    assert sorted(asked) == sorted(keys)
    for row in load("wording/evidence"):
        topic, macro = str(row["message"]).split(".")
        assert f"macro {macro}(" in told[topic], row
        assert row["side"] in {None, "", *(side.value for side in Side)}, row
        assert row["grade"] in {grade.value for grade in Grade}, row


def published_evidence():
    """Messages of evidence that is graded as the work of others, by their keys in the table and,
    where the grade or the side turns on the case, in the source."""
    found = {row["message"] for row in load("wording/evidence") if row["grade"] == "published"}
    for told in source_code.nodes().values():
        for call in told:
            if (isinstance(call, ast.Call) and len(call.args) > 2
                    and ast.unparse(call.func).split(".")[-1] == "Evidence"
                    and ast.unparse(call.args[2]) in ("Grade.PUBLISHED", "m.Grade.PUBLISHED")):
                found |= {inner.args[0].value for inner in ast.walk(call.args[1])
                          if isinstance(inner, ast.Call) and getattr(inner.func, "id", "") == "say"
                          and isinstance(inner.args[0], ast.Constant)}
    return found
