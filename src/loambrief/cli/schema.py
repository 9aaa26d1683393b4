"""`loambrief schema`: the JSON Schema of the case file."""

from __future__ import annotations

import click

from loambrief.cli.shared import show_json


@click.command()
def schema() -> None:
    """Print the JSON Schema of the case file, for editors.

    \b
    Example:
      loambrief schema > case.schema.json
    """
    from loambrief.case.json_schema import case_schema

    show_json(case_schema())
