"""`loambrief check`: every problem of cases, nothing written."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loambrief.cli.shared import PATH, QUIET, show_json
from loambrief.errors import CaseProblems

if TYPE_CHECKING:
    from loambrief.case.problems import Problem


@click.command()
@click.argument("cases", nargs=-1, required=True, type=PATH, metavar="CASE...")
@click.option("--json", "as_json", is_flag=True, help="Print problems and warnings as JSON.")
@click.option("--strict", is_flag=True, help="Warnings count as problems.")
@QUIET
def check(cases: tuple[Path, ...], as_json: bool, strict: bool, quiet: bool) -> None:
    """Read and validate cases; print every problem; write nothing.

    \b
    Example:
      loambrief check sample_inputs/acid_corn_ohio/case.yaml
    """
    from loambrief import pipeline

    found: list[Problem] = []
    bad = unread = False
    for path in cases:
        try:
            problems = pipeline.check(path).warnings
            bad = bad or (strict and bool(problems))
        except CaseProblems as error:
            problems, bad = error.problems, True
        except OSError as error:
            click.echo(f"loambrief: {error.strerror or error}: {path}", err=True)
            unread = True
            continue
        found += problems
        if not (as_json or quiet or problems):
            click.echo(f"{path}: no problems")
    if as_json:
        show_json([p.as_json() for p in found])
    else:
        for problem in found:
            click.echo(str(problem))
    sys.exit(2 if unread else 1 if bad else 0)
