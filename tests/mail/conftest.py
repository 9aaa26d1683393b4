"""One finished advisory to write letters about."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from loambrief import pipeline
from loambrief.case.load import load_case
from loambrief.mail.compose import Finished, compose
from loambrief.report.letters import Enclosed, facts_of

OHIO = Path(__file__).parents[2] / "sample_inputs" / "acid_corn_ohio" / "case.yaml"


@pytest.fixture(scope="session")
def finished():
    """The Ohio sample, finished."""
    loaded = load_case(OHIO)
    made = pipeline.render(pipeline.advise(loaded))
    facts = replace(facts_of(loaded.case), client_email="ana@tarrow.example",
                    adviser_email="advice@fieldnotes.example")
    return Finished(Enclosed(facts, json.loads(made.data), f"{made.case_id}.pdf"), made.pdf,
                    made.annex)


@pytest.fixture
def outbox(tmp_path, finished):
    """A folder with two letters."""
    facts = replace(finished.facts, client="Beech Hollow", client_email="office@beech.example")
    other = Finished(replace(finished.enclosed, facts=facts, file="b.pdf"), b"%PDF-1.7")
    for name, one in (("a", finished), ("b", other)):
        (tmp_path / name).mkdir()
        (tmp_path / name / "letter.eml").write_bytes(compose([one]).content)
    return tmp_path
