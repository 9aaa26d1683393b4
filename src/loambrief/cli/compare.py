"""`loambrief compare`: two plans side by side."""

from pathlib import Path

import click

from loambrief.cli.shared import PATH, show_json


@click.command()
@click.argument("case", type=PATH)
@click.argument("other", type=PATH, required=False)
@click.option("--set", "changes", multiple=True, metavar="PATH=VALUE",
              help="Change the case first, such as budget.amount=5000; may be repeated.")
@click.option("--json", "as_json", is_flag=True, help="Print the differences as JSON.")
def compare(case: Path, other: Path | None, changes: tuple[str, ...], as_json: bool) -> None:
    """What if: two plans side by side, with what differs in findings, rates and money.

    The second plan is another case file, or the first one with --set changes. A path names
    keys and list entries, an entry by its id or its number from 0.

    \b
    Examples:
      loambrief compare sample_inputs/acid_corn_ohio/case.yaml --set budget.amount=3000
      loambrief compare sample_inputs/acid_corn_ohio/case.yaml \\
          --set samples.N.increments.1.ph=6.2 --set materials.litter.price.amount=60
    """
    from loambrief import pipeline

    if (other is None) == (not changes):
        raise click.UsageError("give a second case file or --set changes, one of the two")
    found = pipeline.compare(case, other, changes)
    if as_json:
        show_json(found.as_json())
    else:
        click.echo(found.as_text())
