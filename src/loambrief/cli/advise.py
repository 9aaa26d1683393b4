"""`loambrief advise`: the advisory of each case."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import click

from loambrief.cli.shared import (
    FILES,
    FOLDER,
    OUTPUT,
    PATH,
    QUIET,
    RATE_MAP,
    TEMPLATES,
    own_words,
    show_json,
    warn,
    warn_undrawn,
)
from loambrief.errors import CaseProblems, LoambriefError
from loambrief.resources import uncollected

if TYPE_CHECKING:
    from loambrief.pipeline import Advice, Brief


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
@RATE_MAP
@click.option("--html", is_flag=True,
              help="Also write <case id>.html: one file for phones and screen readers.")
@click.option("--text", is_flag=True, help="Also write <case id>.txt: plain text.")
@TEMPLATES
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON.")
@QUIET
@uncollected()
def advise(cases: tuple[Path, ...], output: Path, together: str | None, files_as: str,
           units: str | None, paper: str | None, language: str | None, history: Path | None,
           ics: bool, applicator_sheet: bool, rate_map: bool, html: bool, text: bool,
           templates: Path | None, as_json: bool, quiet: bool) -> None:
    """Make the advisory of each case: a PDF, its technical annex, and its data.

    One bad case never stops the others, but for --together, which wants all of them. Exit code
    1: a case has problems; 2: a file is not there, or cannot be written.

    \b
    Examples:
      loambrief advise sample_inputs/acid_corn_ohio/case.yaml -o output
      loambrief advise sample_inputs/acid_corn_ohio/case.yaml --ics --applicator-sheet
      loambrief advise sample_inputs/acid_corn_ohio/case.yaml --rate-map
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
    done = AdviseRun()
    with with_own_words(words):
        chosen = {"units": units, "paper": paper, "language": language}
        advices = _advices(cases, history, done, chosen)
        if together and done.failed:
            done.finish(as_json, quiet)
        joint: dict[str, bytes] = {}
        for path, advice in advices:
            try:
                made = {} if together else dict(
                    pipeline.render(advice, twins=twins, files=form).files())
                if ics:
                    made.update(pipeline.calendar_file(advice))
                if applicator_sheet:
                    made.update(pipeline.applicator_file(advice))
                if rate_map:
                    maps, undrawn = pipeline.rate_map_files(advice)
                    made.update(maps)
                    warn_undrawn(path, undrawn)
                if together:
                    joint.update(made)
                else:
                    done.written += pipeline.write_files(made, output)
            except LoambriefError as error:
                done.fail(path, error, len(cases))
                continue
            done.advices.append(advice)
        if together:
            joint.update(pipeline.render_together([a for _, a in advices], together, twins,
                                                  form))
            done.written += pipeline.write_files(joint, output)
        done.finish(as_json, quiet)


@dataclass
class AdviseRun:
    """What came of the cases: one that fails is told and never stops the others."""

    advices: list[Advice] = field(default_factory=list)
    written: list[Path] = field(default_factory=list)
    failed: int = 0
    code: int = 0

    def fail(self, path: Path, error: Exception, of: int, count: int = 1) -> None:
        """Tell what is wrong with a case; a single case fails as any command does."""
        if of == 1:
            raise error
        self.failed += count
        if isinstance(error, OSError):
            text = f"{path}: {error.strerror or error}"
            code = 2 if isinstance(error, FileNotFoundError) else 1
        elif isinstance(error, CaseProblems):
            text, code = str(error), 1
        else:
            text, code = f"{path}: {error}", 1
        click.echo(text, err=True)
        self.code = max(self.code, code)

    def finish(self, as_json: bool, quiet: bool) -> None:
        """Tell what was made, and end with the code that follows."""
        from loambrief import pipeline

        if as_json:
            ids = [a.loaded.case.case.id for a in self.advices]
            show_json({"case_id": ids[0] if len(ids) == 1 and not self.failed else ids,
                       "files": [str(p) for p in self.written]}, indent=None)
        elif not quiet:
            for advice in self.advices:
                warn(advice.loaded.warnings)
                warn(pipeline.own_rate_warnings(advice))
            show([pipeline.brief(advice) for advice in self.advices], tuple(self.written),
                 sys.stdout)
            if self.failed:
                click.echo(f"{len(self.advices) + self.failed} cases: {len(self.advices)} made, "
                           f"{self.failed} failed")
        if self.code:
            sys.exit(self.code)


def _advices(cases: tuple[Path, ...], history: Path | None, done: AdviseRun,
             overrides: Mapping[str, str | None]) -> list[tuple[Path, Advice]]:
    """Advice on every case that is right."""
    from loambrief import pipeline
    from loambrief.case.load import load_case, with_earlier

    made = []
    for path in cases:
        try:
            one = load_case(path, **overrides)
            loaded = one if history is None else with_earlier(one, history)
            made.append((path, pipeline.advise(loaded)))
        except (LoambriefError, OSError) as error:
            done.fail(path, error, len(cases))
    holders: dict[str, list[Path]] = {}
    for path, advice in made:
        holders.setdefault(advice.loaded.case.case.id.casefold(), []).append(path)
    for name, paths in holders.items():
        if len(paths) > 1:  # nobody can say which is right
            done.fail(paths[0], LoambriefError(
                f"case id {name!r} is also that of {', '.join(map(str, paths[1:]))}; give each "
                "case an id of its own"), len(cases), count=len(paths))
    return [(path, advice) for path, advice in made
            if len(holders[advice.loaded.case.case.id.casefold()]) == 1]


def show(briefs: Sequence[Brief], written: Sequence[Path], stream: TextIO) -> None:
    """Print briefs and files: laid out on a terminal, plain lines anywhere else.

    Colour follows the stream's terminal, and ``NO_COLOR``; words never depend on it.
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
