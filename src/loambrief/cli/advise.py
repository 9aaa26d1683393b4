"""`loambrief advise`: the advisory of each case."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import click

from loambrief.cli.shared import (
    FILES,
    FOLDER,
    OUTPUT,
    PATH,
    QUIET,
    TEMPLATES,
    own_words,
    show_json,
    warn,
)
from loambrief.errors import CaseProblems, LoambriefError
from loambrief.resources import uncollected

if TYPE_CHECKING:
    from loambrief.case.load import LoadedCase
    from loambrief.case.problems import Problem
    from loambrief.pipeline import Brief


@click.command()
@click.argument("cases", nargs=-1, required=True, type=PATH, metavar="CASE...")
@click.option("-o", "--output", type=OUTPUT, default=Path("output"), show_default=True,
              help="Folder for <case id>.pdf, <case id>.annex.pdf and <case id>.json.")
@click.option("--together", metavar="NAME",
              help="One document NAME.pdf for several fields of one client.")
@FILES
@click.option("--units", type=click.Choice(["us", "si"]), help="Instead of the case's own.")
@click.option("--paper", type=click.Choice(["letter", "a4"]), help="Instead of the case's own.")
@click.option("--language", type=click.Choice(["en", "es", "es-US", "es-MX", "es-ES"]),
              help="Instead of the case's own.")
@click.option("--history", type=FOLDER, metavar="DIR",
              help="Also compare with the earlier cases of the field in this folder.")
@click.option("--ics", is_flag=True, help="Also write <case id>.ics: windows and re-tests.")
@click.option("--applicator-sheet", is_flag=True,
              help="Also write <case id>-spreading.pdf for whoever drives the spreader.")
@click.option("--html", is_flag=True,
              help="Also write <case id>.html: one file for phones and screen readers.")
@click.option("--text", is_flag=True, help="Also write <case id>.txt: plain text.")
@TEMPLATES
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON.")
@QUIET
@uncollected()
def advise(cases: tuple[Path, ...], output: Path, together: str | None, files_as: str,
           units: str | None, paper: str | None, language: str | None, history: Path | None,
           ics: bool, applicator_sheet: bool, html: bool, text: bool, templates: Path | None,
           as_json: bool, quiet: bool) -> None:
    """Make the advisory of each case: a PDF, its technical annex, and its data.

    \b
    Examples:
      loambrief advise sample_inputs/acid_corn_ohio/case.yaml -o output
      loambrief advise sample_inputs/acid_corn_ohio/case.yaml --ics --applicator-sheet
      loambrief advise sample_inputs/acid_corn_ohio/case.yaml --html --text
      loambrief advise sample_inputs/acid_corn_ohio/case.yaml --as one
      loambrief advise north.yaml south.yaml --together spring-2027
      loambrief advise sample_inputs/acid_corn_ohio/case.yaml --language es --units si
      loambrief advise sample_inputs/history_beans_michigan/case.yaml --history sample_inputs
    """
    from loambrief import pipeline
    from loambrief.report.own_words import with_own_words

    words, form = own_words(templates), pipeline.Files(files_as)
    if together is not None and (not together or Path(together).name != together):
        raise click.UsageError("--together takes a plain name, without a folder")
    twins = [ending for ending, wanted in (("html", html), ("txt", text)) if wanted]
    with with_own_words(words):
        advices = _advices(cases, history, units=units, paper=paper, language=language)
        files: dict[str, bytes] = {}
        for advice in advices:
            made = {} if together else dict(
                pipeline.render(advice, twins=twins, files=form).files())
            if ics:
                made.update(pipeline.calendar_file(advice))
            if applicator_sheet:
                made.update(pipeline.applicator_file(advice))
            doubled = sorted(files.keys() & made.keys())
            if doubled:
                raise LoambriefError(f"two cases would write {doubled[0]}; give them ids of "
                                     "their own")
            files.update(made)
        if together:
            files.update(pipeline.render_together(advices, together, twins, form))
    written = pipeline.write_files(files, output)
    if as_json:
        ids = [a.loaded.case.case.id for a in advices]
        show_json({"case_id": ids[0] if len(ids) == 1 else ids,
                   "files": [str(p) for p in written]}, indent=None)
    elif not quiet:
        with with_own_words(words):
            for advice in advices:
                warn(advice.loaded.warnings)
                warn(pipeline.own_rate_warnings(advice))
            briefs = [pipeline.brief(advice) for advice in advices]
        show(briefs, written, sys.stdout)


def _advices(cases: tuple[Path, ...], history: Path | None, **overrides: str | None) -> list:
    """Advice on every case, or the problems of all of them at once."""
    from loambrief import pipeline
    from loambrief.case.load import load_case, with_earlier

    loaded: list[LoadedCase] = []
    problems: list[Problem] = []
    for path in cases:
        try:
            one = load_case(path, **overrides)
            loaded.append(one if history is None else with_earlier(one, history))
        except CaseProblems as error:
            problems += error.problems
    if problems:
        raise CaseProblems(tuple(problems))
    return [pipeline.advise(one) for one in loaded]


def show(briefs: Sequence[Brief], written: Sequence[Path], stream: TextIO) -> None:
    """Print briefs and files: laid out on a terminal, plain lines anywhere else.

    Parameters
    ----------
    stream : text stream
        Colour follows its terminal, and ``NO_COLOR``; words never depend on it.
    """
    if not stream.isatty():
        for one in briefs:
            stream.write("".join(f"{line}\n" for line in one.lines()))
        stream.write("".join(f"wrote {path}\n" for path in written))
        return
    from rich.console import Console
    from rich.table import Table

    console = Console(file=stream, highlight=False, emoji=False, markup=False)
    for one in briefs:
        console.print()
        console.print(one.title, style="bold")
        table = Table.grid(padding=(0, 1))
        table.add_column(justify="right")
        table.add_column(overflow="fold")
        table.add_column(justify="right", no_wrap=True)
        for rank, what, cost in one.actions:
            table.add_row(f"{rank}.", what, cost)
        console.print(table)
        console.print(one.money)
        if one.warnings:
            word = "warning" if one.warnings == 1 else "warnings"
            console.print(f"{one.warnings} {word} above; accept one in the case, with a reason, "
                          "if it is right", style="italic")
    console.print()
    for path in written:
        console.print(str(path), overflow="fold", soft_wrap=True)
    console.print("Drafts, until they are issued: loambrief issue CASE --archive DIR",
                  style="dim", soft_wrap=True)
