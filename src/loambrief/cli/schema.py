"""`loambrief schema`: the JSON Schema of the case file."""

from __future__ import annotations

import json

import click


@click.command()
def schema() -> None:
    """Print the JSON Schema of the case file, for editors.

    \b
    Example:
      loambrief schema > case.schema.json
    """
    from loambrief.case.json_schema import case_schema

    click.echo(json.dumps(case_schema(), indent=2, ensure_ascii=False))
