"""`loambrief plan`: the actions of a case with their ids, and the verdicts, to be changed."""

from pathlib import Path

import click

from loambrief.cli.shared import PATH, show_json, warn


@click.command()
@click.argument("case", type=PATH)
@click.option("--json", "as_json", is_flag=True, help="Print ids, verdicts and why as JSON.")
def plan(case: Path, as_json: bool) -> None:
    """Print the ids of a plan with rate, cost and why, and every verdict; write nothing.

    It comes as YAML: everything but the last part is remarks, and that part, plan_changes, is
    ready to be pasted into the case, shortened and completed. Each change is printed in the
    advisory with its reason, beside what the program gave.

    \b
    Examples:
      loambrief plan sample_inputs/acid_corn_ohio/case.yaml
      loambrief plan sample_inputs/acid_corn_ohio/case.yaml --json
    """
    from loambrief import pipeline
    from loambrief.case.load import load_case
    from loambrief.report.plan_list import ListedPlan
    from loambrief.report.text import Writer

    advice = pipeline.advise(load_case(case))
    listed = ListedPlan(advice.plan, Writer.of(advice.loaded.case.case), advice.loaded.warnings)
    warn(listed.warnings)
    if as_json:
        show_json(listed.as_json())
    else:
        click.echo(listed.as_yaml(), nl=False)
