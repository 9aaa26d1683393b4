"""One finished advisory to write letters about."""

import json
from pathlib import Path

import pytest

from loambrief import pipeline
from loambrief.case.load import load_case
from loambrief.mail.compose import Finished, compose

OHIO = Path(__file__).parents[2] / "sample_inputs" / "acid_corn_ohio" / "case.yaml"


@pytest.fixture(scope="session")
def finished():
    """The Ohio sample, finished."""
    loaded = load_case(OHIO)
    made = pipeline.render(pipeline.advise(loaded))
    case = loaded.case
    client = case.client.model_copy(update={"email": "ana@tarrow.example"})
    adviser = case.adviser.model_copy(update={"email": "advice@fieldnotes.example"})
    case = case.model_copy(update={"client": client, "adviser": adviser})
    return Finished(case, json.loads(made.data), f"{made.case_id}.pdf", made.pdf)


@pytest.fixture
def outbox(tmp_path, finished):
    """A folder with two letters."""
    case = finished.case
    other = case.model_copy(update={"client": case.client.model_copy(
        update={"name": "Beech Hollow", "email": "office@beech.example"})})
    for name, one in (("a", finished), ("b", Finished(other, finished.data, "b.pdf", b"%PDF-1.7"))):
        (tmp_path / name).mkdir()
        (tmp_path / name / "letter.eml").write_bytes(compose([one]).content)
    return tmp_path
