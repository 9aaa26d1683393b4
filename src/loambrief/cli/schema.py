"""`loambrief schema`: the JSON Schema of the case file, of a mapping for intake, of a guide."""

import click

from loambrief.cli.shared import show_json


@click.command()
@click.option("--map", "what", flag_value="map", help="That of a mapping for intake --map.")
@click.option("--guide", "what", flag_value="guide", help="That of a guide file of your own.")
def schema(what: str | None) -> None:
    """Print the JSON Schema of the case file, for editors.

    \b
    Examples:
      loambrief schema > case.schema.json
      loambrief schema --map > map.schema.json
      loambrief schema --guide > guide.schema.json
    """
    from loambrief.case.json_schema import case_schema, guide_schema, map_schema

    show_json({"map": map_schema, "guide": guide_schema}.get(what or "", case_schema)())
