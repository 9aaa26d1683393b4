"""`loambrief new`: a commented starter case."""

from __future__ import annotations

from pathlib import Path

import click

from loambrief.cli.shared import PATH, must_be_new


@click.command()
@click.argument("path", type=PATH)
@click.option("--units", type=click.Choice(["us", "si"]), default="us", show_default=True,
              help="Unit system of the case.")
@click.option("--crop", default="corn", show_default=True, help="Crop of the field.")
@click.option("--region", default=None, help="State, province or country.")
@click.option("--from", "last", type=PATH, help="The last case of the field, to go on from.")
@click.option("--date", help="Date of the case that goes on, YYYY-MM-DD  [default: today].")
def new(path: Path, units: str, crop: str, region: str | None, last: Path | None,
        date: str | None) -> None:
    """Write a commented starter case, or the next case of a field.

    With --from, people, field, zones and products are kept, the last plan is listed to be
    completed, and everything that has to be measured or asked anew is left open.

    \b
    Examples:
      loambrief new my-field/case.yaml --crop alfalfa --units us
      loambrief new --from sample_inputs/acid_corn_ohio/case.yaml fields/e40-2027.yaml
    """
    if last is not None:
        _go_on(last, path, date)
        return
    if date is not None:
        raise click.UsageError("--date goes with --from")
    from loambrief.case.starter import starter_case
    from loambrief.pipeline import write_files

    if path.exists():
        raise click.UsageError(f"{path} exists; choose another name")
    text = starter_case(units=units, crop=crop, region=region)
    write_files({path.name: text.encode("utf-8")}, path.parent)
    click.echo(f"wrote {path}")


def _go_on(last: Path, path: Path, date: str | None) -> None:
    """The next case of a field, and what is still open in it."""
    import datetime as dt

    from loambrief.case.load import load_bytes
    from loambrief.errors import CaseProblems
    from loambrief.pipeline import next_case_text, write_files

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
    write_files({path.name: content}, path.parent)
    click.echo(f"wrote {path}; {still} things to fill in: loambrief check {path}")
