"""One case from file to advisory: the one place that knows all the steps.

read and check → findings → plan → report model → PDF and JSON bytes. Nothing is written
until every byte is made; files appear whole or not at all.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from loambrief import __version__
from loambrief.actions.model import Plan
from loambrief.actions.plan import make_plan
from loambrief.agronomy.registry import Result, recording
from loambrief.case.load import LoadedCase, load_case
from loambrief.findings.assess import Diagnosis, assess
from loambrief.report.build import build_report
from loambrief.report.data import advisory_data, as_bytes
from loambrief.report.text import Writer
from loambrief.resources import tables_dir


@dataclass(frozen=True)
class Advice:
    """What a case comes to, before it is put on paper."""

    loaded: LoadedCase
    diagnosis: Diagnosis
    plan: Plan
    calculations: tuple[Result, ...]


@dataclass(frozen=True)
class Advisory:
    """A finished advisory, as bytes."""

    case_id: str
    pdf: bytes
    data: bytes
    advice: Advice

    def files(self) -> Mapping[str, bytes]:
        return {f"{self.case_id}.pdf": self.pdf, f"{self.case_id}.json": self.data}


@cache
def tables_digest() -> str:
    """SHA-256 over every shipped table, so that a record names the numbers it used."""
    digest = hashlib.sha256()
    root = tables_dir()
    for path in sorted(root.rglob("*")):
        if path.suffix in (".csv", ".toml"):
            digest.update(path.relative_to(root).as_posix().encode())
            digest.update(b"\0")
            digest.update(path.read_bytes())
    return digest.hexdigest()


def advise(loaded: LoadedCase) -> Advice:
    """Findings and plan of a loaded case, every calculation recorded."""
    with recording() as trace:
        diagnosis = assess(loaded.case)
        plan = make_plan(loaded.case, diagnosis.findings)
    return Advice(loaded, diagnosis, plan, tuple(trace.results))


def make_advisory(path: Path, **overrides: str) -> Advisory:
    """Read a case and make its advisory.

    Parameters
    ----------
    path : Path
        Case file.
    **overrides
        ``units``, ``paper`` or ``language`` in place of the case's own.

    Returns
    -------
    Advisory

    Raises
    ------
    CaseProblems
        The case has problems.
    """
    return render(advise(load_case(path, **overrides)))


def render(advice: Advice) -> Advisory:
    """Put advice on paper."""
    from loambrief.render.pdf import render_pdf  # slow import: only when a page is made

    case = advice.loaded.case
    writer = Writer(case.case.language, case.case.units, case.case.currency)
    data = as_bytes(
        advisory_data(
            case,
            advice.diagnosis,
            advice.plan,
            advice.calculations,
            writer,
            inputs_sha256=advice.loaded.sha256,
            tables_sha256=tables_digest(),
            version=__version__,
        )
    )
    model = build_report(advice.loaded, advice.diagnosis, advice.plan, advice.calculations, writer,
                         data)
    return Advisory(case.case.id, render_pdf(model), data, advice)


def write_files(files: Mapping[str, bytes], folder: Path) -> tuple[Path, ...]:
    """Write files whole: each under a temporary name, then renamed into place."""
    folder.mkdir(parents=True, exist_ok=True)
    staged: list[tuple[str, Path]] = []
    try:
        for name, content in files.items():
            handle, temporary = tempfile.mkstemp(prefix=f".{name}.", dir=folder)
            staged.append((temporary, folder / name))
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
            os.chmod(temporary, 0o644)
        for temporary, final in staged:
            os.replace(temporary, final)
    except BaseException:
        for temporary, _ in staged:
            Path(temporary).unlink(missing_ok=True)
        raise
    return tuple(final for _, final in staged)
