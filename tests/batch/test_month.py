"""A month's run: what is made, what stands, what fails, and what survives being interrupted."""

import errno
import io
import json
import os
import signal
import time
from multiprocessing import get_context
from pathlib import Path

import pytest
from batch_fakes import fake_pool, run, run_apart, write_case

from loambrief.batch import ledger, output_folder
from loambrief.batch.month import Month, run_month
from loambrief.batch.progress import Progress
from loambrief.batch.request import Request, RunResult, WantedDocuments
from loambrief.batch.run_report import failure_table, warned
from loambrief.batch.work import CaseOutcome, CaseStatus, Options, Stage
from loambrief.errors import FolderBusy, NotOurs


def no_address(task):
    """A case of a client without an address; nothing comes of making it."""
    checked = task.stage is Stage.CHECK
    return CaseOutcome(task.number, task.path,
                       CaseStatus.CHECKED if checked else CaseStatus.FAILED, f"c{task.number}",
                       "Ash", no_letter="no letter to Ash: the case gives no e-mail address of the "
                       "client" if checked else "")


def statuses(month):
    return [o.status.value for o in month.result.ordered()]


def files(out):
    """Files of cases in the output, from there."""
    return sorted(p.relative_to(out).as_posix() for p in out.rglob("*")
                  if p.is_file() and p.suffix in (".pdf", ".json") and p.parent != out)


def temporary(out):
    """Anything that is neither an advisory, a document nor the ledger."""
    kept = {".pdf", ".json", ".csv", ".xlsx", ".jsonl"}
    return [p for p in out.rglob("*") if p.is_file() and p.suffix not in kept]


def contents(out):
    return {name: (out / name).read_bytes() for name in files(out)}


def cases(folder, *what, **more):
    return [write_case(folder, f"c{n}", do=do, **more) for n, do in enumerate(what)]


@pytest.fixture
def start(tmp_path):
    """Starts a run in a process group of its own, from the server that has the program loaded."""
    started = []

    def run_it(*workers_and_limit):
        process = get_context("forkserver").Process(target=run_apart, args=(
            tmp_path / "in", tmp_path / "out", tmp_path / "told", *workers_and_limit))
        process.start()
        started.append(process)
        return process

    yield run_it
    for process in started:
        for pid in children(process.pid):
            os.kill(pid, signal.SIGKILL)
        process.join()


def wait_for(found):
    """Wait until something is true; the time limit of all tests ends it."""
    while not found():
        time.sleep(0.02)


def children(pid):
    """Processes in the group of a run."""
    found = []
    for entry in Path("/proc").iterdir():
        try:
            group = int((entry / "stat").read_text().rpartition(")")[2].split()[2])
        except (OSError, ValueError, IndexError):
            continue
        if group == pid and entry.name.isdigit():
            found.append(int(entry.name))
    return found


def test_one_bad_case_never_stops_the_rest(tmp_path):
    """ensures that bad, raising, dying and hanging cases fail alone, each with its reason."""
    todo = cases(tmp_path / "in", "", "bad", "raise", "kill", "sleep", "")
    month = run(todo, tmp_path / "out", time_limit=6.0, cover=True)
    assert statuses(month) == ["done", "failed", "failed", "failed", "timed out", "done"]
    assert files(tmp_path / "out") == [f"ash-lane-farm/c{n}.{end}" for n in (0, 5)
                                       for end in ("json", "pdf")]
    reasons = [o.problems[0] for o in month.result.failures]
    for words, reason in zip(("wrong", "the bottom fell out", "SIGKILL", "time limit"), reasons,
                             strict=True):
        assert words in reason
    assert not temporary(tmp_path / "out")


def test_second_run_makes_only_what_changed(tmp_path):
    """ensures that unchanged cases stand, changed, failed and deleted ones are made."""
    out, todo = tmp_path / "out", cases(tmp_path / "in", "", "", "bad", "")
    run(todo, out)
    before = {name: (out / name).stat().st_mtime_ns for name in files(out)}
    todo[1].write_text(todo[1].read_text().replace("body: ", "body: more"))
    todo[2].write_text(todo[2].read_text().replace("do: bad", "do: "))
    (out / "ash-lane-farm" / "c3.json").unlink()
    assert statuses(run(todo, out)) == ["skipped", "done", "done", "done"]
    assert (out / "ash-lane-farm/c0.pdf").stat().st_mtime_ns == before["ash-lane-farm/c0.pdf"]
    assert statuses(run(todo, out)) == ["skipped"] * 4
    assert statuses(run(todo, out, force=True)) == ["done"] * 4


def test_another_program_or_other_options_make_anew(tmp_path):
    """ensures that a changed version, table, template or option is a change of every case."""
    out, todo = tmp_path / "out", cases(tmp_path / "in", "")
    run(todo, out)
    assert statuses(run(todo, out, options=Options(units="si"))) == ["done"]
    assert statuses(run(todo, out, options=Options(units="si"), program="other")) == ["done"]


def test_inputs_and_output_may_move_together(tmp_path):
    """ensures that a folder copied to another place is still unchanged."""
    todo = cases(tmp_path / "a" / "in", "", "")
    run(todo, tmp_path / "a" / "out")
    (tmp_path / "a").rename(tmp_path / "b")
    moved = [tmp_path / "b" / "in" / case.name for case in todo]
    assert statuses(run(moved, tmp_path / "b" / "out")) == ["skipped"] * 2


def test_only_failed(tmp_path):
    """ensures that only cases that failed are tried, and the summary still has all."""
    out, todo = tmp_path / "out", cases(tmp_path / "in", "", "bad", "")
    run(todo, out)
    todo[0].write_text(todo[0].read_text() + "changed: yes\n")
    todo[1].write_text(todo[1].read_text().replace("do: bad", "do: "))
    assert statuses(run(todo, out, only_failed=True)) == ["skipped", "done", "skipped"]


def test_damaged_ledger_costs_work_not_the_run(tmp_path):
    """ensures that with a spoilt or lost ledger everything is made and nothing is refused."""
    out, todo = tmp_path / "out", cases(tmp_path / "in", "", "")
    run(todo, out)
    for spoil in (b"\x00\xffnot a ledger\n", None):
        kept = out / ".loambrief" / "ledger.jsonl"
        kept.unlink()
        if spoil:
            kept.write_bytes(spoil)
        (out / "summary.csv").unlink()
        (out / "summary.xlsx").unlink()
        month = run(todo, out)
        assert statuses(month) == ["done", "done"]
        assert month.result.damaged == (1 if spoil else 0)


def test_documents_stand_while_nothing_changed(tmp_path):
    """ensures that a rerun writes no document, and one changed or failed case writes them all."""
    out, todo = tmp_path / "out", cases(tmp_path / "in", "", "")
    names = ["summary.csv", "summary.xlsx", "month-2026-10.pdf"]
    assert [p.name for p in run(todo, out, cover=True).documents] == names
    for same in (todo, todo[::-1]):
        assert run(same, out, cover=True).documents == []
    write_case(tmp_path / "in", "c1", body="edited")
    assert [p.name for p in run(todo, out, cover=True).documents] == names
    write_case(tmp_path / "in", "c1", do="bad")
    assert [p.name for p in run(todo, out, cover=True).documents] == names
    assert run(todo[:1], out, cover=True).documents != []


def test_who_gets_no_letter_is_said_before_anything_is_made(tmp_path):
    """ensures that a missing address is told once for each client, ahead of the work."""
    said = []

    class Told(Progress):
        def say(self, text):
            said.append(text)

        def begin(self, stage, total):
            said.append(stage)

    todo = cases(tmp_path / "in", "", "")
    request = Request(tuple(todo), tmp_path / "out")
    run_month(request, WantedDocuments(cover=False, letters=True), workers=1, progress=Told(),
              executor=lambda count: fake_pool(count, no_address))
    line = "no letter to Ash: the case gives no e-mail address of the client"
    assert said == ["check", line, "make"]


@pytest.mark.parametrize("as_you_go", [False, True])
def test_doubled_ids_are_named_before_anything_is_written(tmp_path, as_you_go):
    """ensures that cases of one id fail, each naming the other, whatever the capitals."""
    todo = [write_case(tmp_path / "in", "a", case_id="east-40"),
            write_case(tmp_path / "in", "b", case_id="East-40", client="Birch"),
            write_case(tmp_path / "in", "c")]
    month = run(todo, tmp_path / "out", as_you_go=as_you_go)
    assert statuses(month) == ["failed", "failed", "done"]
    places = f"{tmp_path}/in/a.yaml:3, {tmp_path}/in/b.yaml:3"
    assert month.result.outcomes[0].problems == month.result.outcomes[1].problems == (
        f"case id 'east-40' is that of {places}; give each case an id of its own",)
    told = io.StringIO()
    failure_table(month, told)
    assert told.getvalue().count("give each case an id of its own") == 1
    assert files(tmp_path / "out") == ["ash-lane-farm/c.json", "ash-lane-farm/c.pdf"]


def test_an_id_that_another_case_holds_already(tmp_path):
    """ensures that a new case cannot take the files of one made earlier, in or out of the run."""
    out = tmp_path / "out"
    first = write_case(tmp_path / "in", "a", case_id="east-40")
    run([first], out)
    before = contents(out)
    second = write_case(tmp_path / "in", "b", case_id="east-40", body="other")
    assert statuses(run([first, second], out)) == ["skipped", "failed"]
    month = run([second], out)
    assert statuses(month) == ["failed"] and "still exists" in month.result.failures[0].problems[0]
    assert statuses(run([second], out, as_you_go=True)) == ["failed"]
    assert contents(out) == before


def test_a_renamed_case_keeps_its_files(tmp_path):
    """ensures that a case file may be renamed and edited and still replaces its advisory."""
    out = tmp_path / "out"
    first = write_case(tmp_path / "in", "a", case_id="east-40")
    run([first], out)
    second = write_case(tmp_path / "in", "b", case_id="east-40", body="edited")
    first.unlink()
    assert statuses(run([second], out)) == ["done"]


def test_files_under_an_earlier_name_stay_and_are_named(tmp_path):
    """ensures that a corrected client or id leaves the earlier files, and says so."""
    out = tmp_path / "out"
    case = write_case(tmp_path / "in", "a", client="Prutt")
    run([case], out)
    write_case(tmp_path / "in", "a", client="Pruett")
    month = run([case], out)
    assert statuses(month) == ["done"] and "under another name" in \
        "".join(month.result.outcomes[0].warnings)
    assert files(out) == ["pruett/a.json", "pruett/a.pdf", "prutt/a.json", "prutt/a.pdf"]


def test_files_that_are_not_ours_stand(tmp_path):
    """ensures that a foreign or edited advisory is a named failure, and is replaced by force."""
    out, todo = tmp_path / "out", cases(tmp_path / "in", "", "")
    run(todo[:1], out)
    (out / "ash-lane-farm" / "c0.pdf").write_bytes(b"with my notes")
    (out / "ash-lane-farm" / "c1.pdf").write_bytes(b"somebody's")
    month = run(todo, out)
    assert statuses(month) == ["failed", "failed"]
    assert "changed since" in month.result.outcomes[0].problems[0]
    assert "not made by a batch" in month.result.outcomes[1].problems[0]
    assert (out / "ash-lane-farm" / "c0.pdf").read_bytes() == b"with my notes"
    assert (out / "ash-lane-farm" / "c1.pdf").read_bytes() == b"somebody's"
    assert not (out / "ash-lane-farm" / "c1.json").exists()
    assert statuses(run(todo, out, force=True)) == ["done", "done"]


def test_a_foreign_summary_bars_the_run(tmp_path):
    """ensures that a table of the user's own is not replaced, and nothing is made beside it."""
    out = tmp_path / "out"
    out.mkdir()
    (out / "summary.csv").write_text("mine")
    with pytest.raises(NotOurs, match=r"summary\.csv"):
        run(cases(tmp_path / "in", ""), out)
    assert (out / "summary.csv").read_text() == "mine" and not files(out)


def test_a_failed_case_keeps_its_earlier_advisory(tmp_path):
    """ensures that what was made before is not lost when a later version of a case fails."""
    out, todo = tmp_path / "out", cases(tmp_path / "in", "")
    run(todo, out)
    before = contents(out)
    good = todo[0].read_text()
    todo[0].write_text(good.replace("do: ", "do: raise"))
    assert statuses(run(todo, out)) == ["failed"] and contents(out) == before
    todo[0].write_text(good)
    assert statuses(run(todo, out)) == ["done"] and contents(out) == before


@pytest.mark.parametrize("as_you_go", [False, True])
def test_same_files_for_any_number_of_workers(tmp_path, as_you_go):
    """ensures that workers, order and way of working leave no trace in any file."""
    todo = [write_case(tmp_path / "in", f"c{n}", client=f"Client {n % 3}") for n in range(8)]
    made = []
    for number, (workers, order) in enumerate(((1, todo), (2, todo[::-1]), (2, todo))):
        out = tmp_path / f"out{number}"
        run(order, out, workers=workers, as_you_go=as_you_go, cover=True)
        made.append({p.relative_to(out).as_posix(): p.read_bytes() for p in out.rglob("*")
                     if p.is_file() and ".loambrief" not in p.parts})
    assert made[0] == made[1] == made[2] and len(made[0]) >= 18


def test_full_disk_ends_the_run_with_whole_files(tmp_path, monkeypatch):
    """ensures that the first full disk stops the run, and the next run makes the rest."""
    out, todo = tmp_path / "out", cases(tmp_path / "in", *[""] * 6)
    left, real = 8, os.fsync

    def filling(handle):
        nonlocal left
        left -= 1
        if left < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(handle)

    monkeypatch.setattr(output_folder.os, "fsync", filling)
    month = run(todo, out, cover=True)
    monkeypatch.undo()
    assert "No space" in month.result.disk and month.result.count(CaseStatus.DONE) == 2
    assert len(files(out)) == 4 and not temporary(out) and not month.documents
    month = run(todo, out)
    assert sorted(statuses(month)) == ["done"] * 4 + ["skipped"] * 2
    assert len(files(out)) == 12


def test_a_real_full_disk(tmp_path, start):
    """ensures the same against the kernel's own limit on the size of a file.

    (Where a small file system may not be mounted, a limit on file size gives the nearest
    real failure: the write itself is refused.)
    """
    out, todo = tmp_path / "out", cases(tmp_path / "in", *[""] * 3, body="x" * 5000)
    process = start(1, 60_000)
    process.join()
    said = (tmp_path / "told").read_text()
    assert said.strip() == "['failed']"  # the first failure ends the run
    assert not files(out) and not temporary(out)
    assert statuses(run(todo, out)) == ["done"] * 3


@pytest.mark.parametrize("code", [errno.EROFS, errno.EACCES])
def test_read_only_output_is_told_at_once(tmp_path, monkeypatch, code):
    """ensures that an output nobody may write to ends the run before any case is made."""
    out, todo = tmp_path / "out", cases(tmp_path / "in", "")
    out.mkdir()

    def refuse(self, *args, **kwargs):
        raise OSError(code, os.strerror(code), str(self))

    monkeypatch.setattr(output_folder.Path, "mkdir", refuse)
    with pytest.raises(OSError):
        run(todo, out)
    assert not list(out.iterdir())


def test_output_that_is_a_file(tmp_path):
    """ensures that a file in the place of the output is an error that leaves it alone."""
    (tmp_path / "out").write_text("a file")
    with pytest.raises(OSError):
        run(cases(tmp_path / "in", ""), tmp_path / "out")
    assert (tmp_path / "out").read_text() == "a file"


def test_ctrl_c_finishes_what_runs_and_a_rerun_the_rest(tmp_path, start):
    """ensures that Ctrl-C to the whole group leaves whole files, no process, and a clean rerun."""
    out, todo = tmp_path / "out", cases(tmp_path / "in", "", *["wait"] * 7)
    process = start(2)
    wait_for(lambda: len(files(out)) >= 2)
    os.killpg(process.pid, signal.SIGINT)
    wait_for((tmp_path / "in" / "asked").exists)
    (tmp_path / "in" / "go").touch()
    process.join()
    assert process.exitcode == 130, (tmp_path / "told").read_text()
    made = files(out)
    assert 2 <= len(made) <= 6 and len(made) % 2 == 0 and not temporary(out)
    assert not (out / ".loambrief" / "lock").exists()
    kept = ledger.Ledger.read(out / ".loambrief" / "ledger.jsonl")
    for name in made:
        assert ledger.sha256_of(out / name) in {w.sha256 for w in kept.own[name]}
    wait_for(lambda: not children(process.pid))
    again = run(todo, out)
    assert sorted(set(statuses(again))) == ["done", "skipped"] and len(files(out)) == 16


def test_second_ctrl_c_gives_up_a_long_case(tmp_path, start):
    """ensures that nobody has to wait for a case that hangs."""
    cases(tmp_path / "in", "", "sleep", "sleep")
    process = start(2)
    wait_for(lambda: files(tmp_path / "out"))
    os.killpg(process.pid, signal.SIGINT)
    wait_for((tmp_path / "in" / "asked").exists)
    os.killpg(process.pid, signal.SIGINT)
    process.join()
    assert process.exitcode == 130
    assert not temporary(tmp_path / "out")


def test_a_killed_run_leaves_nothing_that_bars_the_next(tmp_path, start):
    """ensures that after SIGKILL the workers end, the lock is taken over, the rest is made."""
    out, todo = tmp_path / "out", cases(tmp_path / "in", "", *["wait"] * 5)
    process = start(2)
    wait_for(lambda: len(files(out)) >= 2)
    process.kill()
    process.join()
    (tmp_path / "in" / "go").touch()
    assert (out / ".loambrief" / "lock").exists()
    wait_for(lambda: not children(process.pid))
    month = run(todo, out)
    assert set(statuses(month)) <= {"done", "skipped"} and len(files(out)) == 12
    assert not temporary(out)


def test_two_batches_in_one_folder(tmp_path, start):
    """ensures that the second is told who is at work, and the first is not disturbed."""
    todo = cases(tmp_path / "in", "", "wait")
    process = start(1)
    wait_for(lambda: (tmp_path / "out" / ".loambrief" / "lock").exists())
    with pytest.raises(FolderBusy, match=str(process.pid)):
        run(todo, tmp_path / "out")
    (tmp_path / "in" / "go").touch()
    process.join()
    assert process.exitcode == 0
    assert (tmp_path / "told").read_text().strip() == str(["done"] * 2)


def test_warnings_are_spoken_of_once():
    """ensures one line for the warnings of a whole run, and none where there are none."""
    outcomes = {n: CaseOutcome(n, "a.yaml", CaseStatus.DONE, warnings=("w",) * n)
                for n in range(3)}
    month = Month(RunResult(3, outcomes))
    assert warned(month) == ("3 warnings in 2 cases, listed by 'loambrief check CASE'; accept one "
                             "in the case, with a reason, if it is right")
    assert warned(Month(RunResult(1, {0: outcomes[0]}))) == ""
    assert warned(Month(RunResult(1, {0: outcomes[1]}))).startswith("1 warning in 1 case,")


def test_ledger_lines_are_json(tmp_path):
    """ensures that other programs can read what was made from what."""
    run(cases(tmp_path / "in", "", "bad"), tmp_path / "out")
    lines = (tmp_path / "out/.loambrief/ledger.jsonl").read_text(encoding="utf-8").splitlines()
    data = [json.loads(line) for line in lines]
    assert data[0]["format"] == 2
    assert [d["case"]["status"] for d in data if "case" in d] == ["done", "failed"]
