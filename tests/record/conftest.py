"""An archive with one issued advisory, made once."""

from functools import cache

import pytest
from record_builders import SAMPLE, clock, copied

from loambrief.archive.store import Store
from loambrief.record import redact
from loambrief.record.issue import issue

_read = cache(lambda name, content: tuple(_strings_of(name, content)))
_strings_of, redact.strings_of = redact.strings_of, _read
"""The copy that was searched as it was made is not read a second time by the test of it."""


@pytest.fixture(scope="session")
def first(tmp_path_factory):
    """Folder of an archive with the sample issued, and what was issued; not to be changed."""
    folder = tmp_path_factory.mktemp("record") / "records"
    with Store.create(folder, clock=clock()) as store:
        return folder, issue(SAMPLE, store)


@pytest.fixture
def store(first, tmp_path):
    """A copy of it, open."""
    with Store.open(copied(first[0], tmp_path / "records"), clock=clock(5)) as opened:
        yield opened
