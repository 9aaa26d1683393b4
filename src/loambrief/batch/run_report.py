"""What the terminal, and a program, are told about a finished run."""

from typing import TextIO

from loambrief.batch.month import Month
from loambrief.batch.progress import duration
from loambrief.batch.work import CaseOutcome, CaseStatus

STAGES = {"unchanged": "looking for what is unchanged", "check": "checking", "make": "making",
          "documents": "documents about the batch"}


def headline(month: Month) -> str:
    """One line: how many were made, stood, failed, were not tried."""
    result = month.result
    parts = [f"{result.count(CaseStatus.DONE)} made",
             f"{result.count(CaseStatus.SKIPPED)} unchanged"]
    failed = len(result.failures)
    if failed:
        late = result.count(CaseStatus.TIMED_OUT)
        parts.append(f"{failed} failed" + (f" ({late} over the time limit)" if late else ""))
    if result.not_tried:
        parts.append(f"{result.not_tried} not tried")
    cases = "case" if result.total == 1 else "cases"
    return f"{result.total} {cases}: {', '.join(parts)}"


def warned(month: Month) -> str:
    """One line about the warnings of all cases that were made, or ""."""
    counts = [len(o.warnings) for o in month.result.good if o.warnings]
    if not counts:
        return ""
    word = "warning" if sum(counts) == 1 else "warnings"
    cases = "case" if len(counts) == 1 else "cases"
    return (f"{sum(counts)} {word} in {len(counts)} {cases}, listed by 'loambrief check CASE'; "
            "accept one in the case, with a reason, if it is right")


def stages(month: Month) -> list[str]:
    """A line a stage: seconds, and cases a second where cases are made."""
    made = month.result.count(CaseStatus.DONE)
    lines = []
    for name, seconds in month.result.seconds.items():
        rate = f", {made / seconds:.1f} a second" if name == "make" and made and seconds else ""
        lines.append(f"  {STAGES.get(name, name)}: {duration(seconds)}{rate}")
    return lines


def failure_table(month: Month, stream: TextIO) -> None:
    """The cases that failed and why; a table on a terminal, plain lines elsewhere."""
    failures = month.result.failures
    if not failures:
        return
    groups: dict[tuple[str, ...], list[CaseOutcome]] = {}
    for outcome in failures:  # cases of one id share their problem, which is told once
        groups.setdefault((outcome.status, *outcome.problems), []).append(outcome)
    together = list(groups.values())
    if not stream.isatty():
        for alike in together:
            stream.write("".join(f"{o.status.value}: {o.path}\n" for o in alike))
            for problem in alike[0].problems:
                stream.write("".join(f"  {line}\n" for line in problem.splitlines()))
        return
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(show_lines=True)
    for title in ("case", "", "why"):
        table.add_column(title, overflow="fold")
    for alike in together:
        first = alike[0]
        table.add_row(Text("\n".join(o.path for o in alike)), first.status.value,
                      Text("\n".join(p.splitlines()[0].removeprefix(f"{first.path}:")
                                     for p in first.problems if p)))
    Console(file=stream).print(table)


def as_data(month: Month) -> dict:
    """The run as plain data for ``--json``."""
    result = month.result
    return {
        "total": result.total,
        "made": result.count(CaseStatus.DONE),
        "unchanged": result.count(CaseStatus.SKIPPED),
        "failed": result.count(CaseStatus.FAILED),
        "timed_out": result.count(CaseStatus.TIMED_OUT),
        "not_tried": result.not_tried,
        "interrupted": result.interrupted,
        "stopped_by": result.disk,
        "workers": month.workers,
        "seconds": {name: round(value, 3) for name, value in result.seconds.items()},
        "documents": [str(path) for path in month.documents],
        "cases": [
            {"path": o.path, "case_id": o.case_id, "client": o.client, "status": o.status.value,
             "folder": result.folders.get(o.number, ""), "seconds": round(o.seconds, 3),
             "warnings": list(o.warnings), "problems": list(o.problems)}
            for o in result.ordered()
        ],
    }
