"""`loambrief check`: every problem of cases, nothing written."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loambrief.cli.shared import PATH, PLACE, QUIET, show_json
from loambrief.errors import CaseProblems, LoambriefError

if TYPE_CHECKING:
    from loambrief.case.problems import Problem


@click.command()
@click.argument("places", nargs=-1, required=True, type=PLACE, metavar="PLACE...")
@click.option("--for-issue", is_flag=True,
              help="Also everything that 'loambrief issue' will ask for.")
@click.option("--lab-file", "lab_files", type=PATH, multiple=True,
              help="With --for-issue: a lab's file that lies elsewhere; may be repeated.")
@click.option("--json", "as_json", is_flag=True, help="Print problems and warnings as JSON.")
@click.option("--strict", is_flag=True, help="Warnings count as problems.")
@QUIET
def check(places: tuple[str, ...], for_issue: bool, lab_files: tuple[Path, ...], as_json: bool,
          strict: bool, quiet: bool) -> None:
    """Read and validate cases; print every problem; write nothing.

    A PLACE is a case file, a folder, a pattern in quotes or a list of them, as for batch. One
    bad case never stops the others; the last line counts them.

    Exit code 0: no problems; 1: a case has problems; 2: a place is not there.

    \b
    Examples:
      loambrief check sample_inputs/acid_corn_ohio/case.yaml
      loambrief check sample_inputs/acid_corn_ohio --for-issue
    """
    from loambrief.batch.case_finder import find_cases

    if lab_files and not for_issue:
        raise click.UsageError("--lab-file goes with --for-issue")
    absent: list[str] = []
    cases = find_cases(places, absent=absent).cases
    found: list[Problem] = []
    unread: list[str] = []
    bad = 0
    for path in cases:
        try:
            problems, wrong = _problems(path, for_issue, lab_files)
        except (OSError, LoambriefError) as error:
            unread.append(f"{path}: {getattr(error, 'strerror', None) or error}")
            bad += 1
            if not as_json:
                click.echo(unread[-1], err=True)
            continue
        bad += wrong or (strict and bool(problems))
        found += problems
        if not as_json:
            for problem in problems:
                click.echo(str(problem))
            if not (quiet or problems):
                click.echo(f"{path}: no problems")
    if as_json:
        show_json([p.as_json() for p in found])
        if absent or unread:
            left = LoambriefError("; ".join([*unread, *absent]))
            left.exit_code = 2 if absent else 1
            raise left
    for said in absent:
        click.echo(f"loambrief: {said}", err=True)
    if not (as_json or quiet) and len(cases) > 1:
        click.echo(_count(len(cases), bad, sum(p.severity == "warning" for p in found)))
    sys.exit(2 if absent else 1 if bad else 0)


def _problems(path: Path, for_issue: bool,
              lab_files: Sequence[Path]) -> tuple[Sequence[Problem], bool]:
    """What is to be said of a case, and whether any of it is more than a warning."""
    try:
        if for_issue:
            from loambrief.record.issue import prepare

            return prepare(path, lab_files).advice.loaded.warnings, False
        from loambrief.case.load import load_case

        loaded = load_case(path)
        if loaded.sets_plan:  # some warnings only a plan can give, for which most is loaded
            from loambrief.pipeline import advise

            loaded = advise(loaded).loaded
        return loaded.warnings, False
    except CaseProblems as error:
        return error.problems, True


def _count(total: int, bad: int, warnings: int) -> str:
    return (f"{total} cases: {total - bad} good, {bad} with problems"
            + (f"; {warnings} warning{'s' * (warnings != 1)}" if warnings else ""))
