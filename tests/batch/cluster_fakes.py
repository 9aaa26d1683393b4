"""Stand-ins for the making of an advisory on a cluster; workers import them from here."""

import os
import signal
import time
from dataclasses import replace
from pathlib import Path

import psutil
from batch_fakes import fake_work

from loambrief.batch.work import CaseOutcome, CaseStatus, Stage, Task


def far_work(task: Task) -> CaseOutcome:
    """As :func:`batch_fakes.fake_work`; ``body`` names a file where each try leaves a line.

    ``do: kill worker`` kills the worker of the cluster, not only the process of the case.
    """
    text = Path(task.path).read_text(encoding="utf-8")
    body = next(line.removeprefix("body: ") for line in text.splitlines()
                if line.startswith("body: "))
    if body:
        with open(body, "a", encoding="utf-8") as stream:
            stream.write(f"{task.number} {worker_pid()}\n")
    if "do: kill worker" in text:
        os.kill(worker_pid(), signal.SIGKILL)
        time.sleep(30)
    done = fake_work(task)
    return replace(done, loaded=b"") if task.stage is Stage.CHECK else done


def worker_pid() -> int:
    """The worker of the cluster above the process of a case and the server that forks them."""
    return psutil.Process().parents()[1].pid


def damaging_work(task: Task) -> CaseOutcome:
    """Says it made other bytes than it sends."""
    done = fake_work(task)
    if done.status is CaseStatus.DONE:
        done = replace(done, content={name: data + b"!" for name, data in done.content.items()})
    return done


def pretend(program: str = "") -> None:
    """Make this worker's program another one; without a name, itself again."""
    from loambrief.batch import cluster_worker as module

    if not hasattr(module, "real_program"):
        module.real_program = module.program
    module.program = (lambda: program) if program else module.real_program


def forget() -> None:
    """Behave as a worker without this package's cluster part."""
    import sys

    sys.kept = sys.modules["loambrief.batch.cluster_worker"]
    sys.modules["loambrief.batch.cluster_worker"] = None


def remember() -> None:
    """The opposite of :func:`forget`."""
    import sys

    if hasattr(sys, "kept"):
        sys.modules["loambrief.batch.cluster_worker"] = sys.kept
