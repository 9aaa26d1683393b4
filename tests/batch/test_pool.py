"""Worker processes that die, hang, raise or are stopped."""

import os
import time
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace

import pytest
from batch_fakes import fake_pool, fake_work, write_case
from pebble import ProcessExpired

from loambrief.batch.pool import MOST_FALSE_STARTS, STARTING, Pool, _how, _Try
from loambrief.batch.work import CaseOutcome, CaseStatus, Stage, Task, work
from loambrief.errors import LoambriefError


def tasks(folder, what, limit=None, stage=Stage.MAKE):
    """A task for each word of ``what``; the limit is that of cases that sleep."""
    return [Task(n, str(write_case(folder, f"case-{n}", do=do)), stage,
                 time_limit=limit if do == "sleep" else None) for n, do in enumerate(what)]


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
    """ensures that a case without end is given up at its limit, its process gone, the rest made.

    The limit doubles until the case has got as far as telling its process.
    """
    told, limit = tmp_path / "case-0.pid", 0.7
    while not told.exists():
        with fake_pool(2) as pool:
            seen = outcomes(pool, tasks(tmp_path, ["sleep", "", ""], limit=limit))
        assert seen[0].status is CaseStatus.TIMED_OUT and f"{limit:g} s" in seen[0].problems[0]
        assert seen[1].status is seen[2].status is CaseStatus.DONE
        limit *= 2
    with pytest.raises(ProcessLookupError):
        os.kill(int(told.read_text()), 0)


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
        for outcome in pool.run(tasks(tmp_path, [""] * 10)):
            got.append(outcome)
            pool.stop()
    assert 1 <= len(got) <= 4 and all(o.status is CaseStatus.DONE for o in got)


def test_stop_now_gives_up_what_runs(tmp_path):
    """ensures that a second request ends a case without end, without an outcome."""
    with fake_pool(2) as pool:
        got = []
        for outcome in pool.run(tasks(tmp_path, ["", "sleep", ""])):
            got.append(outcome.number)
            pool.stop(now=True)
    assert 1 not in got


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


class StillProcess:
    """A process that is only asked to go."""

    stopped = False

    def stop(self):
        self.stopped = True

    def join(self):
        assert self.stopped


@pytest.fixture
def one():
    """A pool without processes, and a first try of a case with a limit of 2.5 s."""
    return Pool(1, fake_work, ()), _Try(Task(4, "in/a.yaml", time_limit=2.5), StillProcess(), 1)


def ended(result):
    future = Future()
    if isinstance(result, Exception):
        future.set_exception(result)
    else:
        future.set_result(result)
    return future


def test_a_process_is_kept_after_its_case(one):
    """ensures that an outcome, or a case over its time, leaves a process for the next case and
    ends the count of false starts."""
    pool, at = one
    done = CaseOutcome(4, "in/a.yaml", CaseStatus.DONE)
    pool._false_starts = 3
    assert pool._settled(ended(done), at) is done
    assert pool._idle == [at.process] and pool._false_starts == 0
    late = pool._settled(ended(TimeoutError()), at)
    assert (late.number, late.status, late.seconds) == (4, CaseStatus.TIMED_OUT, 2.5)
    assert late.problems == ("in/a.yaml: stopped after 2.5 s, the time limit of a case",)
    assert pool._idle == [at.process] * 2 and not at.process.stopped and not pool._again


def test_a_dead_process_is_left_and_its_case_tried_twice(one):
    """ensures that the second death counts, that no case is started again after a request to
    stop, and that nothing is said of one that was given up."""
    pool, at = one
    pool._false_starts = 2
    assert pool._settled(ended(ProcessExpired("", code=-9)), at) is None
    assert at.process.stopped and not pool._idle and pool._false_starts == 0
    assert pool._again == [(at.task, 1)]
    second = pool._settled(ended(ProcessExpired("", code=-9)), replace(at, number=2))
    assert second.problems == ("in/a.yaml: the worker process ended (signal SIGKILL, perhaps for "
                               "want of memory) 2 times while making it",)
    assert (second.status, second.seconds) == (CaseStatus.FAILED, 0.0) and len(pool._again) == 1
    pool.stop()
    stopped = pool._died(at, "exit code 3")
    assert stopped.problems == (
        "in/a.yaml: the worker process ended (exit code 3) while making it",)
    pool.stop(now=True)
    assert pool._died(at, "exit code 3") is None and len(pool._again) == 1


def test_false_starts_are_counted_apart(one):
    """ensures that a process which dies before its case costs the case no try, five times."""
    pool, at = one
    for count in range(1, MOST_FALSE_STARTS + 1):
        assert pool._settled(ended(BrokenProcessPool()), at) is None
        assert pool._again == [(at.task, 0)] * count
    with pytest.raises(LoambriefError, match="do not start"):
        pool._settled(ended(BrokenProcessPool()), at)


@pytest.mark.parametrize(("waited", "running", "late"), [
    (STARTING - 5, False, False), (STARTING + 5, False, True), (STARTING + 5, True, False)])
def test_only_a_process_that_never_starts_is_late(one, waited, running, late):
    """ensures that the time to import the program is bounded, and no case's own time is."""
    pool, at = one
    future = Future()
    if running:
        future.set_running_or_notify_cancel()
    pool._running[future] = replace(at, since=time.monotonic() - waited)
    pool._look_for_false_starts()
    assert (pool._again == [(at.task, 0)]) is late and (not pool._running) is late
    assert at.process.stopped is late
    pool._running.clear()


@pytest.mark.parametrize(("code", "words"), [
    (0, "exit code 0"), (3, "exit code 3"), (-11, "signal SIGSEGV"),
    (-9, "signal SIGKILL, perhaps for want of memory"), (-200, "signal 200")])
def test_how_a_process_ended_is_told(code, words):
    """ensures that the reason is named as the system gives it."""
    assert _how(code) == words


@pytest.mark.parametrize("workers", [0, -1])
def test_no_workers_are_no_pool(workers):
    """ensures that a pool that could never work is refused."""
    with pytest.raises(ValueError, match="at least 1"):
        Pool(workers)
