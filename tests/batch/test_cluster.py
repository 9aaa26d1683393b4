"""A batch on a real cluster: a scheduler and two workers that are processes of their own.

Where it is not tested that they are, the workers are threads (a case has its process all the same,
from the server of all these tests).
"""

import os
import shutil
import signal
import sys
import time
from collections import Counter
from dataclasses import replace
from itertools import starmap
from pathlib import Path
from unittest import mock

import dask
import pytest
from batch_fakes import fake_work, write_case
from click.testing import CliRunner
from cluster_fakes import damaging_work, far_work, forget, pretend, remember
from distributed import Client, LocalCluster, Security, Status
from fsspec.implementations.memory import MemoryFileSystem

from loambrief import __version__
from loambrief.batch.cluster import DEEP, SAFE_LINE, Cluster
from loambrief.batch.cluster_worker import SharedStorage, program
from loambrief.batch.pool import DRAWING
from loambrief.batch.work import CaseOutcome, CaseStatus, Stage, Task, made, work
from loambrief.cli import main
from loambrief.errors import ClusterFault

SAMPLES = Path(__file__).parents[2] / "sample_inputs"
HERE = {"host": "127.0.0.1", "dashboard_address": "127.0.0.1:0", "threads_per_worker": 1,
        "worker_dashboard_address": None, "scheduler_kwargs": {"dashboard": False},
        "silence_logs": 50, "memory_limit": 0}
pytestmark = [pytest.mark.allow_hosts(["127.0.0.1"])]


@pytest.fixture(autouse=True)
def patient(monkeypatch):
    """On a busy machine a worker may take long to start or to answer."""
    monkeypatch.setattr("loambrief.batch.cluster.CONNECT", 300.0)


@pytest.fixture(scope="module", autouse=True)
def quick():
    """Workers come from the server that forks processes, and do not watch what they do."""
    with dask.config.set({"distributed.worker.multiprocessing-method": "forkserver",
                          "distributed.worker.profile.enabled": False}):
        yield


@pytest.fixture(scope="module")
def scratch(tmp_path_factory):
    """Where workers keep their own files."""
    return tmp_path_factory.mktemp("workers")


@pytest.fixture(scope="module")
def started(scratch):
    """The cluster; a worker that is killed is started again by its nanny.

    What Dask writes into this process's environment for its workers goes with them: it would
    make every program slow that later tests start. So slow they need not be either.
    """
    with (mock.patch.dict(os.environ), dask.config.set(
            {"distributed.nanny.pre-spawn-environ.MALLOC_TRIM_THRESHOLD_": None}),
          LocalCluster(n_workers=2, processes=True, local_directory=str(scratch),
                       **HERE) as cluster):
        yield cluster


@pytest.fixture
def lan(started):
    """The cluster with both workers, also after a test that killed some.

    (A nanny gives up if its worker is killed before it knows that it runs.)
    """
    started.wait_for_workers(2, timeout=300)
    while not all(nanny.process and nanny.process.status is Status.running
                  for nanny in started.workers.values()):
        time.sleep(0.02)
    return started


@pytest.fixture(scope="module")
def near(scratch):
    """A cluster whose two workers are threads of this process."""
    with LocalCluster(n_workers=2, processes=False, protocol="tcp",
                      local_directory=str(scratch), **HERE) as cluster:
        yield cluster


@pytest.fixture
def other(lan):
    """A second client, to look at the workers and to meddle with them."""
    with Client(lan.scheduler_address, set_as_default=False) as client:
        yield client


def far(lan, function=far_work, **more):
    """The cluster as a batch uses it, making stand-ins."""
    return Cluster(lan.scheduler_address, function=function, here=fake_work,
                   preload=(*DRAWING, "loambrief.batch.month"), **more)


def tasks(folder, what, limit=None, log=""):
    """A task for each word of ``what``; the limit is that of cases that sleep."""
    return [Task(n, str(write_case(folder, f"case-{n}", do=do, body=str(log))), Stage.MAKE,
                 time_limit=limit if do == "sleep" else None) for n, do in enumerate(what)]


def boxes(scratch):
    """Folders of cases on the workers."""
    return [path for path in scratch.rglob("loambrief-*") if path.is_dir()]


@pytest.fixture
def four(tmp_path, monkeypatch):
    """Two cases with profiles and earlier cases, a plain one, a broken one; as made here."""
    for name in ("three_fields_indiana", "history_beans_michigan"):
        shutil.copytree(SAMPLES / name, tmp_path / "cases" / name)
    monkeypatch.chdir(tmp_path)
    names = ["three_fields_indiana/mill_piece.yaml", "history_beans_michigan/case.yaml",
             "history_beans_michigan/earlier/2021.yaml", "broken.yaml"]
    shutil.copy(SAMPLES / "broken/wrong_unit.yaml", "cases/broken.yaml")
    Path("month.txt").write_text("".join(f"cases/{name}\n" for name in names))
    return {f"cases/{name}": work(Task(0, f"cases/{name}")) for name in names}


def test_the_bytes_are_those_made_here(lan, four, scratch):
    """ensures that every file and every problem is the same as without a cluster, with files
    that come through the cluster and through shared storage."""
    runs = (("plain", []), ("shared", ["--as-you-go", "--shared", f"file://{Path.cwd()}/share"]))
    for output, more in runs:
        done = CliRunner().invoke(main, ["batch", "month.txt", "-o", output, "--no-cover",
                                         "--cluster", lan.scheduler_address, *more])
        assert done.exit_code == 1, done.output
        for path, outcome in four.items():
            for problem in outcome.problems:
                assert problem.splitlines()[0] in done.output, path
        made = {path.name: path.read_bytes() for path in Path(output).glob("[!.]*/*")}
        assert made == {name: data for o in four.values() for name, data in o.content.items()}
        assert len(made) == 9
    assert not list(Path("share").iterdir())
    assert not boxes(scratch)


def test_faults_stay_with_their_case(near, tmp_path, scratch):
    """ensures that a case that raises, one over its time and one that kills its process fail
    alone, each with its reason, and leave nothing on the workers."""
    what = ["", "raise", "sleep", "kill", "", ""]
    with far(near) as cluster:
        assert cluster.size == 2
        done = {o.number: o for o in cluster.run(tasks(tmp_path, what, limit=1.5))}
    assert [done[n].status for n in range(6)] == [
        CaseStatus.DONE, CaseStatus.FAILED, CaseStatus.TIMED_OUT, CaseStatus.FAILED,
        CaseStatus.DONE, CaseStatus.DONE]
    assert "the bottom fell out" in done[1].problems[0]
    assert "1.5 s, the time limit" in done[2].problems[0]
    assert "SIGKILL" in done[3].problems[0] and "2 times" in done[3].problems[0]
    assert all(o.path == str(tmp_path / f"case-{n}.yaml") for n, o in done.items())
    assert not boxes(scratch)


def test_a_killed_worker_loses_and_doubles_nothing(lan, other, tmp_path):
    """ensures that the cases of a worker killed in mid-run are made again elsewhere, each
    handed over once."""
    log, killed, got = tmp_path / "log", None, []
    with far(lan) as cluster:
        for outcome in cluster.run(tasks(tmp_path / "c", ["", *["wait"] * 11], log=log)):
            got.append(outcome)
            if killed is None:
                while not (waiting := [line.split() for line in log.read_text().splitlines()
                                       if not line.startswith("0 ")]):
                    time.sleep(0.02)
                killed = int(waiting[0][1])
                assert killed in other.run(os.getpid, on_error="ignore").values()
                os.kill(killed, signal.SIGKILL)
                (tmp_path / "c" / "go").touch()
    assert sorted(o.number for o in got) == list(range(12))
    assert all(o.status is CaseStatus.DONE and o.content for o in got)
    tries = Counter(int(line.split()[0]) for line in log.read_text().splitlines())
    assert max(tries.values()) >= 2, "no case was in work on the worker that was killed"


def test_a_case_that_kills_workers_fails_in_the_end(lan, tmp_path, monkeypatch):
    """ensures that a case whose workers are lost again and again is given up, with the reason,
    and the cluster stays of use."""
    monkeypatch.setattr(lan.scheduler, "allowed_failures", 0)
    with far(lan) as cluster:
        done = list(cluster.run(tasks(tmp_path, ["kill worker"])))
        assert [o.status for o in done] == [CaseStatus.FAILED]
        assert "workers that made it were lost" in done[0].problems[0]
        more = tasks(tmp_path, ["", ""])[1:]  # in one run, no two cases have the same number
        assert [o.status for o in cluster.run(more)] == [CaseStatus.DONE]


def test_little_is_on_its_way_at_a_time(near, tmp_path):
    """ensures that tasks are drawn and files read only as the cluster gets on."""
    drawn = []

    def source():
        for task in tasks(tmp_path, [""] * 60):
            drawn.append(task.number)
            yield task

    with far(near) as cluster:
        most = DEEP * cluster.size
        for done, _ in enumerate(cluster.run(source()), 1):
            assert len(drawn) <= done + most + 2
    assert done == 60


def test_stop_finishes_or_gives_up(near, tmp_path, scratch):
    """ensures that a first request lets what is on its way end, a second gives it up."""
    with far(near) as cluster:
        got = []
        for outcome in cluster.run(tasks(tmp_path / "a", [""] * 40)):
            got.append(outcome)
            cluster.stop()
    assert 1 <= len(got) <= (DEEP + 1) * 2
    assert all(o.status is CaseStatus.DONE for o in got)
    with far(near) as cluster:
        for outcome in cluster.run(tasks(tmp_path / "b", ["", "sleep", "sleep"])):
            assert outcome.number == 0
            cluster.stop(now=True)
    while boxes(scratch):  # for ever, if they stay
        time.sleep(0.1)


def test_damage_on_the_way_fails_the_case(near, tmp_path):
    """ensures that files that differ from their digests are not taken, by either way."""
    for shared in (None, f"file://{tmp_path}/share"):
        with far(near, damaging_work, shared=shared) as cluster:
            done = list(cluster.run(tasks(tmp_path, [""])))
        assert [o.status for o in done] == [CaseStatus.FAILED], shared
        assert "came back damaged" in done[0].problems[0] and not done[0].content


def test_another_program_is_refused(lan, other, tmp_path):
    """ensures that a worker with another version, or other tables, is told and not used, be it
    there from the start or later."""
    worker = sorted(other.nthreads())[0]
    own = program()
    wrong = [own.replace(__version__, "0.0.9"), own[:-1] + "x",
             own.replace("(program ", "(program f"), own.replace("Python 3", "Python 2")]
    try:
        for there in wrong:
            other.run(pretend, there, workers=[worker])
            with pytest.raises(ClusterFault, match="would not make the same bytes") as caught:
                far(lan)
            assert f"worker {worker} has {there}, this machine {own};" in str(caught.value)
        other.run(pretend)
        with far(lan) as cluster, pytest.raises(ClusterFault, match=r"0\.0\.8"):
            other.run(pretend, "Loambrief 0.0.8")
            list(cluster.run(tasks(tmp_path, [""] * 4)))
        other.run(forget, workers=[worker])
        with pytest.raises(ClusterFault, match="has no Loambrief"):
            far(lan)
    finally:
        other.run(remember)
        other.run(pretend)


def test_storage_that_workers_do_not_see_is_refused(lan, tmp_path):
    """ensures that storage of this process alone is found out before a case is made."""
    with pytest.raises(ClusterFault, match="does not see what this machine wrote"):
        far(lan, shared="memory://here-only")


def test_no_scheduler_is_said_plainly(tmp_path, monkeypatch):
    """ensures that an address nobody answers at ends the command with one line and code 2,
    and leaves the output folder free."""
    monkeypatch.setattr("loambrief.batch.cluster.CONNECT", 0.5)
    case = write_case(tmp_path, "one")
    for _ in range(2):
        done = CliRunner().invoke(main, ["batch", str(case), "-o", str(tmp_path / "out"),
                                         "--cluster", "tcp://127.0.0.1:9"])
        assert done.exit_code == 2
        assert "no scheduler answers at tcp://127.0.0.1:9" in done.output
        assert "Traceback" not in done.output
    assert not list((tmp_path / "out").glob("*.pdf"))


@pytest.mark.parametrize("address", ["10.0.0.5:8786", "http://a:1", "tcp://", "tcp://a b:1"])
def test_addresses_are_judged(address):
    """ensures that what is no address of a scheduler is refused before anything is tried."""
    with pytest.raises(ClusterFault, match="no address of a scheduler"):
        Cluster(address)


@pytest.mark.parametrize(("address", "open_line"), [
    ("tcp://10.0.0.5:8786", True), ("tcp://farm.example:8786", True), ("tcp://[fe80::1]:1", True),
    ("tcp://127.0.0.1:1", False), ("tcp://localhost:1", False), ("tcp://[::1]:1", False),
    ("tls://10.0.0.5:8786", False)])
def test_an_open_line_is_known(address, open_line):
    """ensures that cases leaving this machine without encryption are noticed."""
    assert (SAFE_LINE.match(address) is None) is open_line


@pytest.mark.parametrize("more", [["--cluster", "tcp://127.0.0.1:9", "--workers", "2"],
                                  ["--shared", "file:///x"]])
def test_options_that_do_not_go_together(tmp_path, more):
    """ensures that options without meaning are refused."""
    done = CliRunner().invoke(main, ["batch", str(tmp_path), "-o", str(tmp_path / "o"), *more])
    assert done.exit_code == 2 and more[0 if len(more) == 2 else 2] in done.output


@pytest.mark.parametrize("library", ["distributed", "fsspec"])
def test_without_the_extra_the_remedy_is_named(monkeypatch, tmp_path, library):
    """ensures that a missing package is told with the command that installs it."""
    monkeypatch.setitem(sys.modules, library, None)
    for part in ("cluster", "cluster_worker"):
        monkeypatch.delitem(sys.modules, f"loambrief.batch.{part}")
    done = CliRunner().invoke(main, ["batch", str(write_case(tmp_path, "one")), "-o",
                                     str(tmp_path / "o"), "--cluster", "tcp://127.0.0.1:9"])
    assert done.exit_code == 2 and "pip install 'loambrief[cluster]'" in done.output


def test_tls_from_dasks_configuration(tmp_path):
    """ensures that tls:// uses the certificates Dask is configured with, and asks for them."""
    keys = Security.temporary()
    files = {}
    for name, content in (("ca-file", keys.tls_ca_file), ("cert", keys.tls_client_cert),
                          ("key", keys.tls_client_key)):
        files[name] = tmp_path / name
        files[name].write_text(content)
    with LocalCluster(n_workers=1, processes=False, protocol="tls", security=keys,
                      local_directory=str(tmp_path / "w"), **HERE) as lan:
        assert lan.scheduler_address.startswith("tls://")
        with pytest.raises(ClusterFault, match="tls:// needs certificates"):
            far(lan)
        with dask.config.set({
            "distributed.comm.tls.ca-file": str(files["ca-file"]),
            "distributed.comm.tls.client.cert": str(files["cert"]),
            "distributed.comm.tls.client.key": str(files["key"]),
        }), far(lan) as cluster:
            done = list(cluster.run(tasks(tmp_path, ["", ""])))
            assert [o.status for o in done] == [CaseStatus.DONE] * 2


@pytest.mark.parametrize("lost", ["workers", "scheduler"])
def test_a_lost_cluster_ends_the_run(tmp_path, monkeypatch, lost):
    """ensures that the run waits neither for a scheduler that is gone, nor for ever for
    workers."""
    for name, value in (("LOOK", 0.2), ("PATIENCE", 1.0)):
        monkeypatch.setattr(f"loambrief.batch.cluster.{name}", value)
    words = {"workers": "has had no workers for 1 s", "scheduler": "was lost"}[lost]
    with (LocalCluster(n_workers=1, processes=False, protocol="tcp",
                       local_directory=str(tmp_path / "w"), **HERE) as lan,
          far(lan) as cluster,
          pytest.raises(ClusterFault, match=f"{words}; run the batch again")):
        for _ in cluster.run(tasks(tmp_path, ["", "sleep", "sleep"], limit=2)):
            if lost == "scheduler":
                lan.close()
            else:
                lan.sync(lan.workers[0].close, executor_wait=False)


def test_files_go_through_shared_storage():
    """ensures that storage of any kind takes files, gives them once, and is left empty."""
    one = SharedStorage("memory://exchange", "run-1")
    one.begin()
    assert one.unseen() == "" and SharedStorage("memory://exchange", "run-2").unseen()
    files = {"a.pdf": b"%PDF", "a.json": b"{}"}
    done = CaseOutcome(7, "a.yaml", CaseStatus.DONE, files=tuple(starmap(made, files.items())))
    one.put(replace(done, content={"a.pdf": b"old", "a.json": b"{}"}))
    assert one.put(replace(done, content=files)) == done
    assert one.take(done).content == files
    with pytest.raises(KeyError):
        one.take(done)
    one.end()
    assert not any("run-1" in name for name in MemoryFileSystem.store)


@pytest.mark.parametrize("url", ["nosuch://bucket/x", "file:///proc/nowhere"])
def test_storage_that_cannot_be_used_is_named(url):
    """ensures that an unknown kind of storage, or one that cannot be written, is refused."""
    with pytest.raises(ClusterFault, match=url):
        SharedStorage(url, "run").begin()
