"""`loambrief season`: tables and a report over the advisories of clients, fields and years."""

import datetime as dt
from pathlib import Path

import click

from loambrief.cli.shared import FOLDER, OUTPUT, QUIET, must_be_new, show_json, warn

DAY = click.DateTime(formats=["%Y-%m-%d"])


@click.command()
@click.argument("places", nargs=-1, required=True, type=FOLDER, metavar="PLACE...")
@click.option("-o", "--output", type=OUTPUT, required=True,
              help="Folder for season.pdf, season.xlsx and season-<table>.csv.")
@click.option("--format", "formats", type=click.Choice(["csv", "xlsx", "parquet"]),
              multiple=True, default=("csv", "xlsx"), show_default=True,
              help="Of the tables; may be given several times. Parquet: an extra.")
@click.option("--client", metavar="NAME", help="Only clients with this in their name.")
@click.option("--on", type=DAY, metavar="YYYY-MM-DD",
              help="Day by which tests are overdue; the latest day in the data if left out.")
@click.option("--units", type=click.Choice(["us", "si"]), help="Instead of the advisories' own.")
@click.option("--paper", type=click.Choice(["letter", "a4"]),
              help="Instead of the advisories' own.")
@click.option("--language", type=click.Choice(["en", "es", "es-US", "es-MX", "es-ES"]),
              help="Instead of the advisories' own.")
@click.option("--force", is_flag=True, help="Replace files of an earlier run.")
@QUIET
@click.option("--json", "as_json", is_flag=True, help="Print what was counted as JSON.")
def season(places: tuple[Path, ...], output: Path, formats: tuple[str, ...], client: str | None,
           on: dt.datetime | None, units: str | None, paper: str | None, language: str | None,
           force: bool, quiet: bool, as_json: bool) -> None:
    """Count a season: tidy tables, and a PDF of what tests show, work, money, dues and trends.

    Reads only the data of advisories, '<case id>.json', in folders and in archives. Each
    advisory counts once: its latest revision, issued before draft; withdrawn, superseded and
    redacted ones are left aside, and counted.

    \b
    Examples:
      loambrief season output/2026-10 -o output/season
      loambrief season output/2026-10 --client ravenel --language es -o output/season-es
      loambrief season output/2026-10 records --format parquet -o output/both
    """
    from loambrief.pipeline import write_files
    from loambrief.render.pdf import render_pdf
    from loambrief.season.due import latest_day
    from loambrief.season.files import table_files
    from loambrief.season.gather import gather
    from loambrief.season.report import season_report, setting_of
    from loambrief.season.tables import season_tables

    found = gather(places)
    tables = season_tables(found, client)
    del found  # its columns are copied into the tables
    written = tables.written()
    makers = table_files(written, formats)
    names = ["season.pdf", *makers]
    if not force:
        for name in names:
            must_be_new(output / name)
    setting = setting_of(tables, language=language, units=units, paper=paper)
    report = season_report(tables, setting, on.date() if on else latest_day(tables))
    paths = write_files({"season.pdf": lambda: render_pdf(report), **makers}, output,
                        new=not force)
    counts = {"advisories": len(tables.advisories),
              "clients": int(tables.advisories["client_no"].nunique()),
              "fields": int(tables.advisories["field_no"].nunique()),
              "rows": {name: len(table) for name, table in written.items()},
              "left_aside": dict(tables.left_aside), "not_readable": list(tables.damaged),
              "files": [str(path) for path in paths]}
    if as_json:
        show_json(counts)
        return
    warn(f"not read: {line}" for line in tables.damaged)
    if quiet:
        return
    click.echo(f"{counts['advisories']} advisories, {counts['clients']} clients, "
               f"{counts['fields']} fields")
    if tables.left_aside:
        click.echo("left aside: " + ", ".join(
            f"{count} {reason}" for reason, count in sorted(tables.left_aside.items())))
    for path in paths:
        click.echo(f"wrote {path}")
