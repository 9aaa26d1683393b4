"""`loambrief doctor`: whether this installation is whole."""

import sys
from dataclasses import asdict

import click

from loambrief.cli.shared import show_json


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def doctor(as_json: bool) -> None:
    """Check Python, libraries, wording, typeface, tables, a test page and kept answers.

    Exit code 0: whole; 1: something is wrong.

    \b
    Examples:
      loambrief doctor
      loambrief doctor --json
    """
    from loambrief.doctor import examine

    facts = []
    for fact in examine():
        facts.append(fact)
        if not as_json:
            word = {True: "good", False: "WRONG", None: "note"}[fact.good]
            click.echo(f"{word:<6}{fact.name}: {fact.found}")
            if fact.help:
                click.echo(f"      {fact.help}")
    if as_json:
        show_json([asdict(fact) for fact in facts])
    sys.exit(1 if any(fact.good is False for fact in facts) else 0)
