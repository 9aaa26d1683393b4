"""`loambrief fieldsheet`: the sheets for the next visit."""

from pathlib import Path

import click

from loambrief.cli.shared import OUTPUT, PATH, QUIET, show_json, warn

SECTIONS = ("soil", "life", "cone", "sap", "weeds", "water")


@click.command()
@click.argument("case", type=PATH)
@click.option("-o", "--output", type=OUTPUT, default=Path("output"), show_default=True,
              help="Folder for <case id>-fieldsheet.pdf.")
@click.option("--only", multiple=True, type=click.Choice(SECTIONS),
              help="Only these sheets; may be given several times.")
@click.option("--blank", type=click.IntRange(0, 15), default=3, show_default=True,
              help="Empty lines for weeds that are new.")
@click.option("--units", type=click.Choice(["us", "si"]), help="Instead of the case's own.")
@click.option("--paper", type=click.Choice(["letter", "a4"]), help="Instead of the case's own.")
@click.option("--language", type=click.Choice(["en", "es", "es-US", "es-MX", "es-ES"]),
              help="Instead of the case's own.")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON.")
@QUIET
def fieldsheet(case: Path, output: Path, only: tuple[str, ...], blank: int, units: str | None,
               paper: str | None, language: str | None, as_json: bool, quiet: bool) -> None:
    """Print the sheets for the next visit: boxes to fill in by hand or on a screen.

    What the last advisory could not say comes first. A sheet filled in on a screen goes
    into a case with loambrief intake.

    \b
    Examples:
      loambrief fieldsheet sample_inputs/acid_corn_ohio/case.yaml -o output
      loambrief fieldsheet sample_inputs/acid_corn_ohio/case.yaml --only sap -o output/july
      loambrief intake output/tarrow-east-40-fieldsheet.pdf -o cases
    """
    from loambrief import pipeline
    from loambrief.case.load import load_case

    loaded = load_case(case, units=units, paper=paper, language=language)
    made = pipeline.field_sheet_file(pipeline.advise(loaded), only or SECTIONS, blank)
    written = pipeline.write_files({made.name: made.pdf}, output)
    if as_json:
        show_json({"case_id": loaded.case.case.id, "sheet": made.sheet,
                   "boxes": made.boxes, "files": [str(p) for p in written]}, indent=None)
    if as_json or quiet:
        return
    warn(loaded.warnings)
    click.echo(f"sheet {made.sheet}, {made.boxes} boxes")
    for path in written:
        click.echo(f"wrote {path}")
