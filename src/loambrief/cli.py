"""The command line: reads arguments, prints, and maps errors to exit codes. No science.

Exit codes: 0 done; 1 a case has problems; 2 the command could not run.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import click

from loambrief import __version__
from loambrief.errors import CaseProblems, LoambriefError

CASE = click.Path(path_type=Path)


class Commands(click.Group):
    """Maps our errors to their exit codes, without a trace."""

    def invoke(self, context: click.Context):
        try:
            return super().invoke(context)
        except CaseProblems as error:
            click.echo(str(error), err=True)
            sys.exit(error.exit_code)
        except LoambriefError as error:
            click.echo(f"loambrief: {error}", err=True)
            sys.exit(error.exit_code)
        except OSError as error:
            where = f": {error.filename}" if error.filename else ""
            click.echo(f"loambrief: {error.strerror or error}{where}", err=True)
            sys.exit(2)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="loambrief")
def main() -> None:
    """Field and lab evidence in; a priced, ranked, traceable crop and soil advisory out."""


@main.command()
@click.argument("cases", nargs=-1, required=True, type=CASE, metavar="CASE...")
@click.option("-o", "--output", type=CASE, default=Path("output"), show_default=True,
              help="Folder for <case id>.pdf and <case id>.json.")
@click.option("--together", metavar="NAME",
              help="One document NAME.pdf for several fields of one client.")
@click.option("--units", type=click.Choice(["us", "si"]), help="Instead of the case's own.")
@click.option("--paper", type=click.Choice(["letter", "a4"]), help="Instead of the case's own.")
@click.option("--ics", is_flag=True, help="Also write <case id>.ics: windows and re-tests.")
@click.option("--applicator-sheet", is_flag=True,
              help="Also write <case id>-spreading.pdf for whoever drives the spreader.")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON.")
@click.option("-q", "--quiet", is_flag=True, help="Print only problems.")
def advise(cases: tuple[Path, ...], output: Path, together: str | None, units: str | None,
           paper: str | None, ics: bool, applicator_sheet: bool, as_json: bool,
           quiet: bool) -> None:
    """Make the advisory of each case: a PDF and its data.

    \b
    Examples:
      loambrief advise sample_inputs/acid_corn_ohio/case.yaml -o output
      loambrief advise sample_inputs/acid_corn_ohio/case.yaml --ics --applicator-sheet
      loambrief advise north.yaml south.yaml --together spring-2027
    """
    from loambrief import pipeline

    if together is not None and (not together or Path(together).name != together):
        raise click.UsageError("--together takes a plain name, without a folder")
    advices = _advices(cases, units, paper)
    files: dict[str, bytes] = {}
    for advice in advices:
        made = {} if together else dict(pipeline.render(advice).files())
        if ics:
            made.update(pipeline.calendar_file(advice))
        if applicator_sheet:
            made.update(pipeline.applicator_file(advice))
        doubled = sorted(files.keys() & made.keys())
        if doubled:
            raise LoambriefError(f"two cases would write {doubled[0]}; give them ids of their own")
        files.update(made)
    if together:
        files.update(pipeline.render_together(advices, together))
    written = pipeline.write_files(files, output)
    if as_json:
        ids = [a.loaded.case.case.id for a in advices]
        click.echo(json.dumps({"case_id": ids[0] if len(ids) == 1 else ids,
                               "files": [str(p) for p in written]}))
    elif not quiet:
        for advice in advices:
            _warn(advice.loaded.warnings)
            _warn(pipeline.own_rate_warnings(advice))
            for line in pipeline.summary_lines(advice):
                click.echo(line)
        for path in written:
            click.echo(f"wrote {path}")


def _advices(cases: tuple[Path, ...], units: str | None, paper: str | None) -> list:
    """Advice on every case, or the problems of all of them at once."""
    from loambrief import pipeline
    from loambrief.case.load import load_case

    loaded, problems = [], []
    for path in cases:
        try:
            loaded.append(load_case(path, units=units, paper=paper))
        except CaseProblems as error:
            problems += error.problems
    if problems:
        raise CaseProblems(tuple(problems))
    return [pipeline.advise(one) for one in loaded]


def _warn(warnings) -> None:
    for warning in warnings:
        click.echo(str(warning), err=True)


@main.command()
@click.argument("cases", nargs=-1, required=True, type=CASE)
@click.option("--json", "as_json", is_flag=True, help="Print problems and warnings as JSON.")
@click.option("--strict", is_flag=True, help="Warnings count as problems.")
def check(cases: tuple[Path, ...], as_json: bool, strict: bool) -> None:
    """Read and validate cases; print every problem; write nothing.

    \b
    Example:
      loambrief check sample_inputs/acid_corn_ohio/case.yaml
    """
    from loambrief.case.load import load_case

    found = []
    bad = unread = False
    for path in cases:
        try:
            problems = load_case(path).warnings
            bad = bad or (strict and bool(problems))
        except CaseProblems as error:
            problems, bad = error.problems, True
        except OSError as error:
            click.echo(f"loambrief: {error.strerror or error}: {path}", err=True)
            unread = True
            continue
        found += problems
        if not as_json and not problems:
            click.echo(f"{path}: no problems")
    if as_json:
        click.echo(json.dumps([p.as_json() for p in found], ensure_ascii=False, indent=2))
    else:
        for problem in found:
            click.echo(str(problem))
    sys.exit(2 if unread else 1 if bad else 0)


@main.command()
@click.argument("formula", required=False)
@click.argument("values", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")
def calc(formula: str | None, values: tuple[str, ...], as_json: bool) -> None:
    """Work out one published formula; without arguments, list them all.

    \b
    Examples:
      loambrief calc
      loambrief calc relative_feed_value adf_pct=34 ndf_pct=41
      loambrief calc mean_interval values=8.2,8.6,7.9 level=0.95 --json
    """
    import loambrief.agronomy.topics  # noqa: F401
    from loambrief.agronomy.arguments import parse_values
    from loambrief.agronomy.registry import FORMULAS, get

    if formula is None:
        listing = [FORMULAS[name] for name in sorted(FORMULAS)]
        if as_json:
            click.echo(json.dumps([
                {"formula": f.name, "parameters": list(f.signature.parameters), "unit": f.unit,
                 "source": f.source, "evidence": f.evidence,
                 "summary": (f.__doc__ or "").strip().splitlines()[0]}
                for f in listing
            ], indent=2, ensure_ascii=False))
            return
        for item in listing:
            click.echo(f"{item.name} {' '.join(item.signature.parameters)}  [{item.unit}]")
        return
    found = get(formula)
    result = found.evaluate(**parse_values(values))
    if as_json:
        from loambrief.report.data import plain

        click.echo(json.dumps(plain(result.as_json()), ensure_ascii=False))
        return
    value = "no answer" if result.value is None else (
        f"{result.value:.6g}" if isinstance(result.value, float) else str(result.value))
    click.echo(f"{result.formula} = {value} {result.unit if result.unit != '1' else ''}".rstrip())
    for name, detail in result.details.items():
        shown = f"{detail:.6g}" if isinstance(detail, float) else detail
        click.echo(f"  {name}: {shown}")
    click.echo(f"  source: {result.source}, {result.locator} ({result.how}); {result.evidence}")
    if not result.within_range:
        click.echo("  outside the published range")
    for note in result.notes:
        click.echo(f"  note: {note}")


@main.command()
@click.option("--topic", help="Only one topic, such as acidity.")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def sources(topic: str | None, as_json: bool) -> None:
    """List every table, formula and rule with its source and how it was checked.

    \b
    Examples:
      loambrief sources --topic salinity
      loambrief sources --json
    """
    from loambrief.agronomy.listing import source_rows

    rows = source_rows(topic)
    if as_json:
        click.echo(json.dumps(rows, ensure_ascii=False, indent=2))
        return
    for row in rows:
        click.echo(f"{row['kind']} {row['name']}  [{row['how']}]")
        click.echo(f"  {row['citation']}{', ' + row['locator'] if row['locator'] else ''}")


@main.command()
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def selftest(as_json: bool) -> None:
    """Reproduce the published answers on this machine.

    \b
    Example:
      loambrief selftest
    """
    import loambrief.agronomy.topics  # noqa: F401
    from loambrief.agronomy.selftest import load_checks, run_check

    outcomes = [run_check(check) for check in load_checks()]
    failed = [o for o in outcomes if not o.passed]
    if as_json:
        click.echo(json.dumps({
            "passed": len(outcomes) - len(failed), "failed": len(failed),
            "failures": [{"check": o.check.label, "message": o.message} for o in failed],
        }, ensure_ascii=False))
    else:
        for outcome in failed:
            click.echo(f"FAILED {outcome.check.label} ({outcome.check.where}): {outcome.message}")
        click.echo(f"{len(outcomes) - len(failed)} published answers reproduced, "
                   f"{len(failed)} failed")
    sys.exit(1 if failed else 0)


@main.command()
def schema() -> None:
    """Print the JSON Schema of the case file, for editors.

    \b
    Example:
      loambrief schema > case.schema.json
    """
    from loambrief.case.json_schema import case_schema

    click.echo(json.dumps(case_schema(), indent=2, ensure_ascii=False))


@main.command()
@click.argument("path", type=CASE)
@click.option("--units", type=click.Choice(["us", "si"]), default="us", show_default=True)
@click.option("--crop", default="corn", show_default=True, help="Crop of the field.")
@click.option("--region", default=None, help="State, province or country.")
def new(path: Path, units: str, crop: str, region: str | None) -> None:
    """Write a commented starter case.

    \b
    Example:
      loambrief new my-field/case.yaml --crop alfalfa --units us
    """
    from loambrief.case.starter import starter_case
    from loambrief.pipeline import write_files

    if path.exists():
        raise click.UsageError(f"{path} exists; choose another name")
    text = starter_case(units=units, crop=crop, region=region)
    write_files({path.name: text.encode("utf-8")}, path.parent)
    click.echo(f"wrote {path}")


@main.command()
@click.argument("labfile", type=CASE)
@click.option("--map", "mapping", type=CASE, help="Which column is what; see --guess.")
@click.option("--update", type=CASE, help="Put the samples into this case; its other text stays.")
@click.option("-o", "--output", type=CASE,
              help="Folder to write to  [default: output, or the case itself with --update].")
@click.option("--field", help="Only the rows of this field.")
@click.option("--crop", default="corn", show_default=True, help="Crop of a new case.")
@click.option("--guess", is_flag=True, help="Propose a mapping to complete and confirm.")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON.")
def intake(labfile: Path, mapping: Path | None, update: Path | None, output: Path | None,
           field: str | None, crop: str, guess: bool, as_json: bool) -> None:
    """Take the results of a lab's CSV, TSV or .xlsx file into a case.

    \b
    Examples:
      loambrief intake results.csv --guess -o maps
      loambrief intake results.csv --map maps/results.map.yaml -o cases
      loambrief intake results.csv --map maps/results.map.yaml --update cases/east40.yaml
    """
    if guess == (mapping is not None):
        raise click.UsageError("give either --map MAP, or --guess to have one proposed")
    if guess:
        _guess(labfile, output or Path("output"), as_json)
        return
    from loambrief.case.intake import take_in
    from loambrief.case.intake_case import new_case, updated_case
    from loambrief.case.intake_map import load_map
    from loambrief.case.reader import read_bytes
    from loambrief.pipeline import write_files

    taken = take_in(labfile, load_map(mapping), field)
    if update is not None:
        path = update.resolve() if output is None else output / update.name
        written = updated_case(read_bytes(update), str(update), taken, folder=update.parent)
    else:
        path = (output or Path("output")) / f"{labfile.stem}.yaml"
        _must_be_new(path)
        written = new_case(taken, str(path), crop=crop)
    write_files({path.name: written.content}, path.parent)
    notes = [*taken.notes, *written.notes]
    if as_json:
        click.echo(json.dumps({
            "file": str(path), "samples": [s.id for s in taken.samples],
            "lab_file_sha256": taken.table.sha256, "notes": notes,
            "problems": [p.as_json() for p in written.problems],
        }, ensure_ascii=False, indent=2))
        return
    _warn(written.problems)
    for note in notes:
        click.echo(note)
    click.echo(f"wrote {path}")


def _guess(labfile: Path, folder: Path, as_json: bool) -> None:
    from loambrief.case.intake_guess import guess_map
    from loambrief.pipeline import write_files

    path = folder / f"{labfile.stem}.map.yaml"
    _must_be_new(path)
    guess = guess_map(labfile)
    write_files({path.name: guess.text.encode("utf-8")}, folder)
    if as_json:
        click.echo(json.dumps({
            "file": str(path), "columns": [p.as_json() for p in guess.proposals],
            "not_recognised": list(guess.unknown),
        }, ensure_ascii=False, indent=2))
        return
    for part in guess.proposals:
        unit = f" [{part.unit}]" if part.unit else ""
        click.echo(f"{part.header} -> {part.name}{unit}  confidence {part.confidence:.2f}")
    for header in guess.unknown:
        click.echo(f"{header} -> not recognised")
    click.echo(f'wrote {path}; fill in each "?", check every line, then set confirmed: yes')


def _must_be_new(path: Path) -> None:
    if path.exists():
        raise click.UsageError(f"{path} exists; choose another folder or remove it")


@main.command()
@click.argument("case", type=CASE)
@click.argument("other", type=CASE, required=False)
@click.option("--set", "changes", multiple=True, metavar="PATH=VALUE",
              help="Change the case first, such as budget.amount=5000; may be repeated.")
@click.option("--json", "as_json", is_flag=True, help="Print the differences as JSON.")
def compare(case: Path, other: Path | None, changes: tuple[str, ...], as_json: bool) -> None:
    """What if: two plans side by side, with what differs in findings, rates and money.

    The second plan is another case file, or the first one with --set changes. A path names
    keys and list entries, an entry by its id or its number from 0.

    \b
    Examples:
      loambrief compare sample_inputs/acid_corn_ohio/case.yaml --set budget.amount=3000
      loambrief compare sample_inputs/acid_corn_ohio/case.yaml \\
          --set samples.N.increments.1.ph=6.2 --set materials.litter.price.amount=60
    """
    from loambrief import pipeline

    if (other is None) == (not changes):
        raise click.UsageError("give a second case file or --set changes, one of the two")
    found = pipeline.compare(case, other, changes)
    if as_json:
        click.echo(json.dumps(found.as_json(), ensure_ascii=False, indent=2))
    else:
        click.echo(found.as_text())


if __name__ == "__main__":
    main()
