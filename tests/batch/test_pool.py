"""Worker processes that die, hang, raise or are stopped."""

import os
import time

import pytest
from batch_fakes import fake_pool, fake_work, write_case

from loambrief.batch.pool import Pool
from loambrief.batch.work import CaseStatus, Stage, Task, work
from loambrief.errors import LoambriefError


def tasks(folder, what, limit=None, stage=Stage.MAKE):
    """A task for each word of ``what``."""
    return [Task(n, str(write_case(folder, f"case-{n}", do=do)), stage, time_limit=limit)
            for n, do in enumerate(what)]


def outcomes(pool, todo):
    return {o.number: o for o in pool.run(todo)}


def wrong_work(task):
    """Raises where the real one never would."""
    raise ValueError("not meant to be")


def big_work(task):
    """An answer larger than a pipe holds."""
    done = fake_work(task)
    return type(done)(done.number, done.path, done.status, content={"x": b"x" * 3_000_000})


@pytest.mark.parametrize("workers", [1, 2])
def test_all_tasks_are_done(tmp_path, workers):
    """ensures that every task has one outcome, with its content."""
    with fake_pool(workers) as pool:
        done = outcomes(pool, tasks(tmp_path, [""] * 7))
    assert sorted(done) == list(range(7))
    assert all(o.status is CaseStatus.DONE and o.content for o in done.values())


def test_a_killed_worker_costs_nothing_the_first_time(tmp_path):
    """ensures that the case of a worker that died is tried again, and only that one."""
    with fake_pool(2) as pool:
        done = outcomes(pool, tasks(tmp_path, ["", "kill once", "", ""]))
    assert [done[n].status for n in range(4)] == [CaseStatus.DONE] * 4


def test_a_case_that_kills_workers_fails_alone(tmp_path):
    """ensures that a worker dying twice on a case fails that case, with the reason."""
    with fake_pool(1) as pool:
        done = outcomes(pool, tasks(tmp_path, ["", "kill", ""]))
    assert [done[n].status for n in range(3)] == [
        CaseStatus.DONE, CaseStatus.FAILED, CaseStatus.DONE]
    assert "SIGKILL" in done[1].problems[0] and "2 times" in done[1].problems[0]


def test_a_case_over_its_time_is_really_stopped(tmp_path):
    """ensures that a 60 s case is given up at its limit, its process gone, the rest made."""
    started = time.monotonic()
    with fake_pool(2) as pool:
        seen = outcomes(pool, tasks(tmp_path, ["sleep", "", ""], limit=0.7))
    assert time.monotonic() - started < 15
    assert seen[0].status is CaseStatus.TIMED_OUT and "0.7 s" in seen[0].problems[0]
    assert seen[1].status is seen[2].status is CaseStatus.DONE
    with pytest.raises(ProcessLookupError):
        os.kill(int((tmp_path / "case-0.pid").read_text()), 0)


def test_an_unforeseen_error_is_an_outcome(tmp_path):
    """ensures that even an error the work does not catch fails one case, with its name."""
    with fake_pool(1, wrong_work) as pool:
        done = outcomes(pool, tasks(tmp_path, ["", ""]))
    assert all(o.status is CaseStatus.FAILED for o in done.values())
    assert "ValueError: not meant to be" in done[0].problems[0]


def test_large_answers_come_through(tmp_path):
    """ensures that answers larger than a pipe's buffer arrive whole."""
    with fake_pool(2, big_work) as pool:
        done = outcomes(pool, tasks(tmp_path, [""] * 3))
    assert all(len(o.content["x"]) == 3_000_000 for o in done.values())


def test_tasks_are_drawn_as_needed(tmp_path):
    """ensures that memory does not grow with the number of cases that wait."""
    drawn = []

    def source():
        for task in tasks(tmp_path, [""] * 12):
            drawn.append(task.number)
            yield task

    with fake_pool(2) as pool:
        for done, _ in enumerate(pool.run(source()), 1):
            assert len(drawn) <= done + 2 * 2


def test_stop_finishes_what_runs(tmp_path):
    """ensures that nothing new is started, and what runs is handed over."""
    with fake_pool(2) as pool:
        got = []
        for outcome in pool.run(tasks(tmp_path, ["slow"] * 10)):
            got.append(outcome)
            pool.stop()
    assert 1 <= len(got) <= 4 and all(o.status is CaseStatus.DONE for o in got)


def test_stop_now_gives_up_what_runs(tmp_path):
    """ensures that a second request ends a long case at once, without an outcome."""
    started = time.monotonic()
    with fake_pool(2) as pool:
        got = []
        for outcome in pool.run(tasks(tmp_path, ["", "sleep", ""])):
            got.append(outcome.number)
            pool.stop(now=True)
    assert time.monotonic() - started < 15 and 1 not in got


def test_workers_that_never_start_end_the_run(tmp_path):
    """ensures that a broken installation is told once, not once for each of a thousand cases."""
    with Pool(2, fake_work, preload=("no_such_module",)) as pool, \
            pytest.raises(LoambriefError, match="do not start"):
        outcomes(pool, tasks(tmp_path, [""] * 40))


def test_the_real_work_names_every_fault(tmp_path):
    """ensures that problems, missing files and bugs come back as outcomes, not as errors."""
    bad = tmp_path / "bad.yaml"
    bad.write_text("loambrief: 1\ncase: {id: bad}\n")
    for path, words in ((bad, "CASE021"), (tmp_path / "none.yaml", "No such file")):
        outcome = work(Task(0, str(path), Stage.CHECK))
        assert outcome.status is CaseStatus.FAILED
        assert any(words in p for p in outcome.problems), outcome.problems
    outcome = work(Task(0, "x", Stage.MAKE, loaded=b"not a case"))
    assert outcome.status is CaseStatus.FAILED and "could not be made" in outcome.problems[0]
