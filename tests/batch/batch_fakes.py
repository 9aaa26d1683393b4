"""A stand-in for the making of an advisory: fast, and bad on demand.

A case file of these tests is real enough to be found; the line ``do: ...`` says what its
making does: ``raise``, ``sleep`` (longer than any test may take), ``kill`` (the worker dies
each time), ``kill once``, ``wait`` (until the folder holds a file ``go``), or nothing special.
"""

import hashlib
import os
import re
import resource
import signal
import sys
import time
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

from loambrief.batch import run as run_module
from loambrief.batch.case_finder import find_cases
from loambrief.batch.figures import DueCheck, Figures, LabTest, LimitingFactor
from loambrief.batch.month import run_month
from loambrief.batch.pool import Pool
from loambrief.batch.progress import Progress
from loambrief.batch.request import Request, WantedDocuments
from loambrief.batch.work import CaseOutcome, CaseStatus, Input, Stage, Task, made, work

TEXT = "loambrief: 1\ncase:\n  id: {id}\nclient:\n  name: {client}\ndo: {do}\nbody: {body}\n"


def write_case(folder: Path, name: str, *, case_id: str = "", client: str = "Ash Lane Farm",
               do: str = "", body: str = "") -> Path:
    """One case file of the kind above."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.yaml"
    path.write_text(TEXT.format(id=case_id or name, client=client, do=do, body=body),
                    encoding="utf-8")
    return path


def figures(case_id: str, client: str, **changes: object) -> Figures:
    """Plausible figures of a made-up advisory."""
    values = {
        "case_id": case_id, "date": "2026-10-14", "valid_until": "2027-04-30", "client": client,
        "contact": "", "client_email": "", "farm": f"{client} home", "region": "Ohio",
        "field": f"Field {case_id}", "crop": "corn", "area_ac": 40.0, "units": "us",
        "paper": "letter", "language": "en", "currency": "USD", "adviser": "Ilse Varga",
        "business": "Varga Field Notes", "adviser_email": "", "adviser_phone": "",
        "adviser_address": "", "credential": "OH-0000-00", "interest": "None.",
        "limits": (LimitingFactor("acidity", "acidity.ph", "The soil is too acid", 2),),
        "first_action": "Lime: 2 ton/ac", "actions": 3, "chosen": 2,
        "kinds": (("lime", 1, 900.0), ("measure", 1, 48.0)), "spent": 948.0, "budget": 1500.0,
        "waiting": 1, "waiting_cost": 700.0, "unpriced": 0, "missing": 2,
        "followups": (DueCheck("2027-10-14", "Test the pH again", "lime"),),
        "tests": (LabTest("soil", "north", "2026-09-22", "2029-09-21"),),
    }
    return Figures(**{**values, **changes})


def fake_work(task: Task) -> CaseOutcome:
    """Check or make a made-up case."""
    text = Path(task.path).read_text(encoding="utf-8")
    case_id = re.search(r"id: (.*)", text)[1]
    client = re.search(r"name: (.*)", text)[1]
    do = re.search(r"^do: (.*)$", text, re.MULTILINE)[1]
    if do == "bad":
        return CaseOutcome(task.number, task.path, CaseStatus.FAILED,
                           problems=(f"{task.path}:1: wrong",))
    digest = hashlib.sha256(text.encode()).hexdigest()
    inputs = (Input(Path(task.path).name, digest),)
    if task.stage is Stage.CHECK:
        return CaseOutcome(task.number, task.path, CaseStatus.CHECKED, case_id, client, digest,
                           inputs, loaded=text.encode())
    _act(do, Path(task.path))
    content = {f"{case_id}.pdf": f"%PDF {text}".encode() * 40, f"{case_id}.json": text.encode()}
    return CaseOutcome(task.number, task.path, CaseStatus.DONE, case_id, client, digest, inputs,
                   tuple(made(n, d) for n, d in content.items()), content,
                   figures=figures(case_id, client))


def _act(do: str, path: Path) -> None:
    if do == "raise":
        raise RuntimeError("the bottom fell out")
    if do == "sleep":
        path.with_suffix(".pid").write_text(str(os.getpid()))
        time.sleep(900)
    while do == "wait" and not path.with_name("go").exists():
        time.sleep(0.02)
    mark = path.with_suffix(".mark")
    if do == "kill" or (do == "kill once" and not mark.exists()):
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)


def fake_pool(workers: int, function=fake_work) -> Pool:
    """Workers that need no part of the program that draws, only what this module imports."""
    return Pool(workers, function, preload=("loambrief.batch.month",))


def run(cases, output: Path, *, workers: int = 2, program: str = "same",
        progress: Progress | None = None, cover: bool = False, **more):
    """A month's run over made-up cases, by a program of that digest; drawing a cover takes time."""
    request = Request(tuple(cases), output, **more)
    with patch.object(run_module, "program_digest", lambda: program):
        return run_month(request, WantedDocuments(cover=cover), workers=workers,
                         executor=fake_pool, progress=progress)


class Marked(Progress):
    """Leaves a file ``asked`` beside the cases when the run was asked to stop."""

    def __init__(self, cases: Path) -> None:
        self.cases = cases

    def urgent(self, text: str) -> None:
        (self.cases / "asked").touch()


def run_apart(cases: Path, out: Path, told: Path, workers: int, largest: int | None = None) -> None:
    """A run as a terminal starts it, in a process group of its own, for others to interrupt.

    What it says goes to ``told``; it writes no file larger than ``largest`` bytes.
    """
    os.setsid()
    with told.open("w") as stream:
        os.dup2(stream.fileno(), 1)
        os.dup2(stream.fileno(), 2)
    if largest:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (largest, largest))
    done = run(find_cases([str(cases)]).cases, out, workers=workers, progress=Marked(cases))
    print([o.status.value for o in done.result.ordered()])
    sys.exit(130 if done.result.interrupted else 0)


def work_and_tell(task: Task) -> CaseOutcome:
    """The real making of a case; its warning is whether that needed pandas."""
    return replace(work(task), warnings=(str("pandas" in sys.modules),))
