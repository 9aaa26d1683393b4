"""`loambrief sources`: every table, formula, guide and crop with its source."""

from collections.abc import Mapping
from typing import Any

import click

from loambrief.cli.shared import completing, show_json


@click.command()
@click.option("--topic", shell_complete=completing("topics"),
              help="Only one topic, such as acidity.")
@click.option("--guides", "what", flag_value="guides",
              help="Fertilizer guides: regions, and which crops and tests each covers.")
@click.option("--lime-tables", "what", flag_value="lime_tables",
              help="Lime tables: regions, buffers and target pH.")
@click.option("--crops", "what", flag_value="crops",
              help="Crops by every name, and the guides that cover each.")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def sources(topic: str | None, what: str | None, as_json: bool) -> None:
    """List tables and formulas with their sources, or what may be named in a case.

    \b
    Examples:
      loambrief sources --topic salinity
      loambrief sources --guides
      loambrief sources --crops --json
    """
    from loambrief.topics import listing

    if what is not None and topic is not None:
        raise click.UsageError("--topic goes with the list of tables and formulas only")
    if what is not None:
        rows = {"guides": listing.guide_rows, "lime_tables": listing.lime_table_rows,
                "crops": listing.crop_rows}[what]()
        if as_json:
            show_json(rows)
        else:
            for row in rows:
                SHOWN[what](row)
            if what == "guides":
                click.echo(f"{len(listing.known_guides())} guides; rules: "
                           + _shares(listing.rules_checked()) + ".")
        return
    rows = listing.source_rows(topic)
    if as_json:
        show_json(rows)
        return
    for row in rows:
        click.echo(f"{row['kind']} {row['name']}  [{row['how']}]")
        click.echo(f"  {row['citation']}{', ' + row['locator'] if row['locator'] else ''}")
    if counts := listing.rows_checked(topic):
        click.echo("Rows of tables: " + _shares(counts) + ".")


def _shares(counts: Mapping[str, int]) -> str:
    """How many were checked in which way, with the share of each."""
    from loambrief.topics.listing import HOW_WORDS

    words = {**HOW_WORDS, "extract": "seen but for the extract"}
    total = sum(counts.values())
    return "; ".join(f"{counts[how]} {told} ({100 * counts[how] / total:.0f}%)"
                     for how, told in words.items() if counts.get(how))


def _guide(row: dict[str, Any]) -> None:
    depth = f", {row['depth_in']:g} in deep" if row["depth_in"] else ""
    regions = ", ".join(row["regions"]) or "any region"
    click.echo(f"{row['kind']} {row['name']}  [{regions}{depth}]")
    for entry in row["covers"]:
        crops = "every crop" if entry["crops"] == ["*"] else ", ".join(
            "every crop" if crop == "*" else crop for crop in entry["crops"])
        only = "" if entry["gives_rate"] else " (class only, no rate)"
        source = (f"by {entry['method'].replace('_', ' ')}" if entry["nutrient"] == "N" else
                  f"from {entry['test']} by {entry['method']}")
        click.echo(f"  {entry['nutrient']} {source}: {crops}{only}")


def _lime_table(row: dict[str, Any]) -> None:
    click.echo(f"lime table {row['name']}  [{', '.join(row['regions']) or 'any region'}]")
    click.echo(f"  {row['title']}")
    click.echo(f"  buffers {', '.join(row['buffers']) or 'none'}; "
               f"target pH {', '.join(row['targets']) or 'as asked'}")


def _crop(row: dict[str, Any]) -> None:
    names = f" ({', '.join(row['synonyms'])})" if row["synonyms"] else ""
    click.echo(f"{row['name']}{names}, {row['yield_unit']}")
    click.echo(f"  guides: {', '.join(row['guides']) or 'only those that hold for every crop'}")


SHOWN = {"guides": _guide, "lime_tables": _lime_table, "crops": _crop}
