"""The JSON Schema against the meta-schema, the shipped cases and the program itself."""

import json
from pathlib import Path

import pytest
from case_builders import MINIMAL, PENETROMETER, as_bytes, minimal, sample
from jsonschema import Draft202012Validator

from loambrief.case.json_schema import DIALECT, case_schema, guide_schema
from loambrief.case.reader import decode, read_text
from loambrief.case.starter import starter_case
from loambrief.case.validate import glossary, parts
from loambrief.tables import all_documents, load_document

ROOT = Path(__file__).parents[2] / "sample_inputs"


def data_of(raw):
    return read_text(decode(raw, "c.yaml"), "c.yaml")[0].data


@pytest.fixture(scope="module")
def errors(schema):
    """Finds where data do not obey the schema."""
    validator = Draft202012Validator(schema)
    return lambda data: [(".".join(map(str, e.absolute_path)), e.validator)
                         for e in validator.iter_errors(data)]


def test_every_shipped_guide_follows_the_schema_of_guides():
    """ensures that the schema printed for one's own guides holds what a guide may hold."""
    schema = guide_schema()
    check = Draft202012Validator(schema)
    for name in all_documents("nutrients/guides"):
        plain = json.loads(json.dumps(load_document(name), default=dict))
        assert not list(check.iter_errors(plain)), name
    assert {"yield_goal", "supply", "flat"} <= {
        str(d["properties"]["kind"]["const"]) for d in schema["$defs"].values()
        if "kind" in d["properties"] and "const" in d["properties"]["kind"]}


def test_schema_is_valid(schema):
    """ensures that the schema obeys JSON Schema 2020-12, is plain data and always the same."""
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == DIALECT == "https://json-schema.org/draft/2020-12/schema"
    assert schema["title"] and schema["description"] and schema["$id"]
    assert json.dumps(schema) == json.dumps(case_schema())


@pytest.mark.parametrize("path", sorted(ROOT.glob("*/case.yaml")), ids=lambda p: p.parent.name)
def test_sample_inputs_obey(path, errors):
    """ensures that every shipped case obeys the schema an editor would use."""
    assert errors(data_of(path.read_bytes())) == []


@pytest.mark.parametrize("case", [
    minimal(), minimal(samples=[sample()]), minimal(penetrometer=PENETROMETER),
    minimal(weeds=None, samples=None, water=None),
])
def test_minimal_cases_obey(case, errors):
    """ensures that a nearly empty case and blank keys obey the schema."""
    assert errors(data_of(as_bytes(case))) == []


@pytest.mark.parametrize("units", ["us", "si"])
def test_starter_obeys(units, errors):
    """ensures that the starter case is accepted by an editor."""
    assert errors(data_of(starter_case(units=units).encode())) == []


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("unknown_key", {("field", "required"), ("field", "additionalProperties"),
                         ("samples", "anyOf")}),
        ("wrong_unit", {("samples", "anyOf")}),
        ("impossible_value", {("samples", "anyOf")}),
    ],
)
def test_broken_samples_are_caught(name, expected, errors):
    """ensures that an editor already marks faults of form (units and dates it cannot know)."""
    got = set(errors(data_of((ROOT / "broken" / f"{name}.yaml").read_bytes())))
    assert got == expected


def test_every_key_is_described(schema):
    """ensures that the glossary covers each key of the schema once, and nothing else."""
    fields = {(part.__name__, name) for part, _ in parts().values() for name in part.model_fields}
    assert set(glossary()) == fields
    for name, node in (("CaseFile", schema), *schema["$defs"].items()):
        assert node["description"], name
        assert node["additionalProperties"] is False
        for field, about in node["properties"].items():
            assert about["description"], f"{name}.{field}"


def test_choices_are_offered(schema, errors):
    """ensures that an editor can offer the choices of a field."""
    field = schema["$defs"]["FieldInfo"]["properties"]["tillage"]
    assert "no-till" in field["enum"]
    wrong = {**MINIMAL, "field": {**MINIMAL["field"], "tillage": "ploughed"}}
    assert errors(wrong) == [("field.tillage", "enum")]
