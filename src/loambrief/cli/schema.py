"""`loambrief schema`: the JSON Schema of the case file, or of a mapping for intake."""

import click

from loambrief.cli.shared import show_json


@click.command()
@click.option("--map", "mapping", is_flag=True, help="That of a mapping for intake --map.")
def schema(mapping: bool) -> None:
    """Print the JSON Schema of the case file, for editors.

    \b
    Examples:
      loambrief schema > case.schema.json
      loambrief schema --map > map.schema.json
    """
    from loambrief.case.json_schema import case_schema, map_schema

    show_json(map_schema() if mapping else case_schema())
