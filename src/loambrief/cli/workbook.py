"""`loambrief workbook`: a case as a workbook, to be filled in without YAML."""

from pathlib import Path

import click

from loambrief.cli.shared import OUTPUT, PATH, QUIET, must_be_new, show_json


@click.command()
@click.argument("case", type=PATH)
@click.option("-o", "--output", type=OUTPUT, default=Path("output"), show_default=True,
              help="Folder for <case id>.xlsx.")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON.")
@QUIET
def workbook(case: Path, output: Path, as_json: bool, quiet: bool) -> None:
    """Write a case as a workbook (XLSX): a sheet for each part, with units and drop-downs.

    The case may lack what is still to be filled in. A filled workbook goes back into the case
    with loambrief intake; a workbook is never replaced.

    \b
    Examples:
      loambrief workbook sample_inputs/acid_corn_ohio/case.yaml -o output
      loambrief intake output/tarrow-east-40.xlsx --update sample_inputs/acid_corn_ohio/case.yaml
    """
    from loambrief import pipeline
    from loambrief.case.reader import read_bytes, read_sound
    from loambrief.case.workbook_write import workbook_of

    made = workbook_of(read_sound(read_bytes(case), str(case)))
    path = output / f"{made.case_id or case.stem}.xlsx"
    must_be_new(path)
    written = pipeline.write_files({path.name: made.content}, output)
    if as_json:
        show_json({"sheets": list(made.sheets), "cells_filled": made.filled,
                   "files": [str(p) for p in written]}, indent=None)
    if as_json or quiet:
        return
    click.echo(f"{len(made.sheets)} sheets, {made.filled} cells filled")
    for path in written:
        click.echo(f"wrote {path}")
