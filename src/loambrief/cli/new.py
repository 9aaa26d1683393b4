"""`loambrief new`: a commented starter case."""

from pathlib import Path

import click

from loambrief.cli.shared import PATH, completing, must_be_new, quoted, show_json, write_new


@click.command()
@click.argument("path", type=PATH, metavar="CASE")
@click.option("--units", type=click.Choice(["us", "si"]),
              help="Unit system of the case.  [default: us]")
@click.option("--crop", shell_complete=completing("crops"),
              help="Crop of the field.  [default: corn]")
@click.option("--region", shell_complete=completing("regions"),
              help="State, province or country.")
@click.option("--paper", type=click.Choice(["letter", "a4"]), help="Paper of the case.")
@click.option("--language", type=click.Choice(["en", "es", "es-US", "es-MX", "es-ES"]),
              help="Language of the case.")
@click.option("--adviser", type=PATH, help="Profile of the adviser, to be put into the case.")
@click.option("--prices", type=PATH,
              help="Price list that cases share: a file with 'materials:', below the case's folder "
                   "or in ../profiles.")
@click.option("--from", "last", type=PATH, help="The last case of the field, to go on from.")
@click.option("--date", help="Date of the case that goes on, YYYY-MM-DD  [default: today].")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON.")
@click.pass_context
def new(ctx: click.Context, path: Path, units: str | None, crop: str | None, region: str | None,
        paper: str | None, language: str | None, adviser: Path | None, prices: Path | None,
        last: Path | None, date: str | None, as_json: bool) -> None:
    """Write a commented starter case, or the next case of a field.

    With --from, people, field, zones and products are kept, the last plan is listed to be
    completed, and everything that has to be measured or asked anew is left open.

    \b
    Examples:
      loambrief new my-field/case.yaml --crop alfalfa --units us
      loambrief new --from sample_inputs/acid_corn_ohio/case.yaml fields/e40-2027.yaml
    """
    if path.suffix.lower() not in (".yaml", ".yml"):
        raise click.UsageError(f"{path}: name the file too; a case ends in .yaml, such as "
                               f"{quoted(path / 'case.yaml')}")
    if last is not None:
        typed = [f"--{name}" for name in ("units", "crop", "region", "paper", "language", "adviser",
                                           "prices")
                 if ctx.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE]
        if typed:
            raise click.UsageError(f"{' and '.join(typed)} without --from, which keeps those of "
                                   "the last case; change them in the new file")
        _go_on(last, path, date, as_json)
        return
    if date is not None:
        raise click.UsageError("--date goes with --from")
    from loambrief.case.starter import starter_case

    must_be_new(path)
    text = starter_case(units=units or "us", crop=crop or "corn", region=region, paper=paper,
                        language=language, adviser=adviser,
                        prices=_shared(prices, path))
    write_new(path, text.encode("utf-8"))
    if as_json:
        show_json({"file": str(path)}, indent=None)
        return
    click.echo(f"wrote {path}; fill in what stands in angle brackets, then: "
               f"loambrief check {quoted(path)}")


def _shared(prices: Path | None, case: Path) -> str | None:
    """The price list as the case names it."""
    import os

    from loambrief.case.profiles import locate

    if prices is None:
        return None
    name = Path(os.path.relpath(prices.resolve(), case.parent.resolve())).as_posix()
    try:
        locate(case.parent, name)
    except ValueError as fault:
        raise click.UsageError(f"--prices {prices}: wanted {fault}") from None
    return name


def _go_on(last: Path, path: Path, date: str | None, as_json: bool) -> None:
    """The next case of a field, and what is still open in it."""
    import datetime as dt

    from loambrief.case.load import load_bytes
    from loambrief.errors import CaseProblems
    from loambrief.pipeline import next_case_text

    must_be_new(path)
    try:
        day = dt.date.fromisoformat(date) if date else None
    except ValueError:
        raise click.UsageError(f"--date {date}: wanted a day such as 2027-04-20") from None
    content = next_case_text(last, path, day).encode("utf-8")
    try:
        still = len(load_bytes(content, str(path), folder=path.parent).warnings)
    except CaseProblems as error:
        still = len(error.problems)
    write_new(path, content)
    if as_json:
        show_json({"file": str(path), "to_fill_in": still}, indent=None)
        return
    click.echo(f"wrote {path}; {still} things to fill in: loambrief check {quoted(path)}")
