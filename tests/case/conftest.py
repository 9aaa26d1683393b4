"""The check that most tests of cases use."""

import pytest
from case_builders import as_bytes

from loambrief.case.json_schema import case_schema
from loambrief.case.load import load_bytes
from loambrief.errors import CaseProblems


@pytest.fixture(scope="session")
def schema():
    """The JSON Schema of a case."""
    return case_schema()


@pytest.fixture
def problems():
    """Problems of bytes or data, as a tuple; empty if it loads."""
    def check(case):
        raw = case if isinstance(case, bytes) else as_bytes(case)
        try:
            return load_bytes(raw, "case.yaml").warnings
        except CaseProblems as error:
            assert error.problems
            return error.problems

    return check
