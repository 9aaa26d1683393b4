"""A month of N made-up cases, measured: rate, stages, memory of each worker, linearity.

    python tests/benchmarks/month.py --cases 1000 --workers 2

Prints a table and the figures for 10,000 cases worked out from it. ``--check`` ends with
exit code 1 where a goal is missed: at least 5 advisories a second with 2 processes, memory of
a worker growing by less than 5 % from case 100 to the last (for shorter runs: from the first
third), time within 10 % of proportional to the number of cases.

With ``--cluster`` the workers are those of a Dask cluster on this machine, and the memory is
that of this process, which holds the scheduler and the client.
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import sys
import tempfile
import time
from pathlib import Path

import psutil
from made_up_cases import write_cases

from loambrief.batch.cluster import Cluster
from loambrief.batch.month import run_month
from loambrief.batch.pool import Executor, Pool
from loambrief.batch.progress import Progress, duration
from loambrief.batch.request import Request, WantedDocuments
from loambrief.batch.work import CaseStatus, Task, read_case

PER_SECOND, GROWTH, LINEAR = 5.0, 0.05, 0.10
SETTLED = 100
"""Case from which memory is compared: by then every table and template has been used."""
STAGED = 12
"""Cases whose stages are timed one by one in this process."""
FAR = 10_000


class Meter(Progress):
    """Notes time and memory as the cases come in."""

    def __init__(self) -> None:
        self.pids = lambda: (os.getpid(),)
        self.stage = ""
        self.marks: list[tuple[int, float, dict[int, float]]] = []

    def begin(self, stage: str, total: int) -> None:
        self.stage, self.done, self.total = stage, 0, total
        self.started = time.perf_counter()

    def step(self, outcome) -> None:
        self.done += 1
        if self.stage == "make":
            memory = {pid: resident_mb(pid) for pid in self.pids()}
            self.marks.append((self.done, time.perf_counter() - self.started, memory))

    def memory_at(self, case: int) -> float:
        """Memory of a worker, mean of the workers and of the 15 cases around one [MB]."""
        near = [m for n, _, m in self.marks if abs(n - case) <= 7]
        return statistics.mean(v for m in near for v in m.values())

    def seconds_at(self, case: int) -> float:
        return self.marks[case - 1][1]


def resident_mb(pid: int) -> float:
    """Memory of a process in main store [MB]; 0 once it is gone."""
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
    except (OSError, IndexError):
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def stage_times(paths: list[Path]) -> dict[str, float]:
    """Mean time of each step of one advisory in a warm process [s]."""
    from loambrief import pipeline
    from loambrief.render.pdf import render_pdf

    times: dict[str, list[float]] = {}

    def timed(name: str, work):
        started = time.perf_counter()
        result = work()
        times.setdefault(name, []).append(time.perf_counter() - started)
        return result

    def one(path: Path) -> None:
        task = Task(0, str(path))
        loaded, _ = timed("read and check", lambda: read_case(task))
        advice = timed("conclusions and plan", lambda: pipeline.advise(loaded))
        report, _ = timed("report and data", lambda: pipeline._paper(advice))
        timed("pages and charts", lambda: render_pdf(report.model))

    one(paths[0])
    one(paths[1])
    times.clear()
    for path in paths[:STAGED]:
        one(path)
    return {name: statistics.mean(values) for name, values in times.items()}


def measure(count: int, workers: int, seed: int, folder: Path,
            address: str = "") -> tuple[Meter, object, float]:
    """Make the cases and run the batch over them; with an address, on that cluster."""
    started = time.perf_counter()
    paths = write_cases(folder / "cases", count, seed)
    writing = time.perf_counter() - started
    meter = Meter()

    def pool(size: int) -> Executor:
        if address:
            return Cluster(address)
        meter.pids = lambda: [child.pid for child in psutil.Process().children(recursive=True)]
        return Pool(size)

    request = Request(tuple(paths), folder / "out", time_limit=60.0)
    month = run_month(request, WantedDocuments(), workers=workers, progress=meter, executor=pool)
    return meter, month, writing


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=30)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cluster", action="store_true", help="on a Dask cluster of this machine")
    parser.add_argument("--folder", type=Path, help="kept; else a temporary one")
    parser.add_argument("--check", action="store_true", help="exit code 1 if a goal is missed")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = given.folder or Path(temporary)
        if not given.cluster:
            return report(given, folder)
        from distributed import LocalCluster

        with LocalCluster(n_workers=given.workers, threads_per_worker=1, host="127.0.0.1",
                          dashboard_address="127.0.0.1:0", worker_dashboard_address=None,
                          local_directory=str(folder / "workers")) as lan:
            return report(given, folder, lan.scheduler_address)


def report(given: argparse.Namespace, folder: Path, address: str = "") -> int:
    count = given.cases
    meter, month, writing = measure(count, given.workers, given.seed, folder, address)
    result = month.result
    made = result.count(CaseStatus.DONE)
    print(f"{count} cases, {given.workers} workers, seed {given.seed}: {made} made, "
          f"{len(result.failures)} failed (made up in {duration(writing)})")
    for outcome in result.failures[:5]:
        print("  ", outcome.problems[0] if outcome.problems else outcome.status)
    if not made:
        return 1

    print("\nstage of one advisory, warm, one process        mean")
    stages = stage_times([Path(o.path) for o in result.good[:STAGED]])
    for name, seconds in stages.items():
        print(f"  {name:<42} {seconds * 1000:6.0f} ms  {seconds / sum(stages.values()):4.0%}")
    print(f"  {'all':<42} {sum(stages.values()) * 1000:6.0f} ms")

    print("\nstage of the batch                           seconds")
    for name, seconds in result.seconds.items():
        print(f"  {name:<42} {seconds:8.1f}")
    total = sum(result.seconds.values())
    making = result.seconds["make"]
    print(f"  {'all':<42} {total:8.1f}")
    rate, whole = made / making, made / total
    print(f"\nrate: {rate:.2f} advisories a second while making, {whole:.2f} over the whole run")

    settled = SETTLED if count > 2 * SETTLED else max(count // 3, 8)
    first, last = meter.memory_at(settled), meter.memory_at(made - 7)
    growth = last / first - 1
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    whose = "client and scheduler" if address else "a worker"
    print(f"memory of {whose}: {first:.0f} MB at case {settled}, {last:.0f} MB at the end "
          f"({growth:+.1%}); this process at most {own:.0f} MB")

    start, half = min(settled, made // 4), made // 2
    base = meter.seconds_at(start)
    early = (meter.seconds_at(half) - base) / (half - start)
    late = (meter.seconds_at(made) - meter.seconds_at(half)) / (made - half)
    bend = late / early - 1
    print(f"time for a case: {early * 1000:.0f} ms in the first half, {late * 1000:.0f} ms in the "
          f"second ({bend:+.1%})")
    print(f"worked out for {FAR:,} cases: {duration(FAR / whole)} with {given.workers} workers, "
          f"{duration(FAR / whole * given.workers / 8)} with 8")
    goals = {f"at least {PER_SECOND:g} advisories a second": whole >= PER_SECOND,
             f"memory growth under {GROWTH:.0%}": growth < GROWTH,
             f"time linear within {LINEAR:.0%}": abs(bend) <= LINEAR,
             "no case failed": not result.failures}
    for goal, reached in goals.items():
        print(f"  {'reached' if reached else 'MISSED '}  {goal}")
    return 0 if all(goals.values()) or not given.check else 1


if __name__ == "__main__":
    sys.exit(main())
