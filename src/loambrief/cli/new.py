"""`loambrief new`: a commented starter case."""

from __future__ import annotations

from pathlib import Path

import click

from loambrief.cli.shared import PATH


@click.command()
@click.argument("path", type=PATH)
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
