"""Workers of these tests come from one server that has everything loaded."""

import pytest
from batch_fakes import fake_work, write_case

from loambrief.batch.pool import DRAWING, Pool
from loambrief.batch.work import Stage, Task


@pytest.fixture(scope="session", autouse=True)
def server(tmp_path_factory):
    """The server that forks workers, started with what any of them needs.

    What it has loaded, no worker imports again: a test starts dozens of them. It lives as long
    as this process, and what later pools would have it load has no effect on it.
    """
    case = write_case(tmp_path_factory.mktemp("server"), "first")
    with Pool(1, fake_work, (*DRAWING, "loambrief.batch.month", "pytest", "distributed")) as pool:
        assert list(pool.run([Task(0, str(case), Stage.MAKE)]))
