"""An archive with one issued advisory, with a revision of it, and a redacted copy, made once."""

import re
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest
from record_builders import NUMBER, SAMPLE, case_file, clock, copied, drawn_case, unprinted

from loambrief.archive.store import Store
from loambrief.record import redact
from loambrief.record.issue import issue
from loambrief.record.supersede import supersede

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


@pytest.fixture(scope="session")
def second(first, tmp_path_factory):
    """The archive with a second revision; not to be changed."""
    top = tmp_path_factory.mktemp("second")
    path = case_file(top / "case", budget="  amount: 4000\n", north_ph="        ph: 5.5",
                     purpose="  purpose: Second look after the lab's correction.\n")
    with Store.open(copied(first[0], top / "records"), clock=clock(5)) as store:
        made = supersede(NUMBER, path, store, reason="The lab corrected a pH.", kind="new-data")
    return top / "records", made, path


@pytest.fixture
def replaced(second, tmp_path):
    with Store.open(copied(second[0], tmp_path / "replaced"), clock=clock(6)) as store:
        yield store


@pytest.fixture
def advisories_unprinted():
    """See :func:`record_builders.unprinted`."""
    with unprinted():
        yield


class Copied(NamedTuple):
    """A redacted copy and the archive it came from; not to be changed."""

    folder: Path
    shown: redact.Preview
    copy: redact.Redacted
    lines: int
    """Of the log before the copy was made."""


@pytest.fixture(scope="session")
def redacted(tmp_path_factory):
    """Of a case that names people, landmarks and numbers in many places, issued with all that is
    kept beside an advisory."""
    top = tmp_path_factory.mktemp("redacted")
    path = drawn_case(top / "case", SAMPLE, goal=(
        "  yield_goal:\n    value: 185 bu/ac\n    basis: told on 419-555-0142, near 555-0190\n"))
    text = re.sub(r"(?m)^    place: north.*$", "    place: Gallows Knoll", path.read_text())
    path.write_text(re.sub(r"(?m)^  sensitive_areas:\n(    - .*\n)+", "  sensitive_areas:\n"
                           "    - Well of the Hobday house at Ferry Lane\n", text))
    with Store.create(top / "records", clock=clock()) as store:
        with unprinted():
            issue(path, store, sheet=True, rate_map=True)
        shown, lines = redact.preview(NUMBER, store), store.head[0]
        copy = redact.redact(NUMBER, store, words=["Deller quarry", "kesh  ridge"])
    return Copied(top / "records", shown, copy, lines)
