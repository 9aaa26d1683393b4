"""`loambrief sources`: every table, formula and rule with its source."""

from __future__ import annotations

import click

from loambrief.cli.shared import show_json


@click.command()
@click.option("--topic", help="Only one topic, such as acidity.")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def sources(topic: str | None, as_json: bool) -> None:
    """List every table, formula and rule with its source and how it was checked.

    \b
    Examples:
      loambrief sources --topic salinity
      loambrief sources --json
    """
    from loambrief.topics.listing import source_rows

    rows = source_rows(topic)
    if as_json:
        show_json(rows)
        return
    for row in rows:
        click.echo(f"{row['kind']} {row['name']}  [{row['how']}]")
        click.echo(f"  {row['citation']}{', ' + row['locator'] if row['locator'] else ''}")
