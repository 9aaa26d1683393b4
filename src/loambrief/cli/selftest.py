"""`loambrief selftest`: the published answers, on this machine."""

import sys

import click

from loambrief.cli.shared import show_json


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def selftest(as_json: bool) -> None:
    """Reproduce on this machine the answers that are kept beside the formulas.

    They are counted by what they show: an answer worked out in print, a row of a table read
    again, one computed independently, one from memory, a convention.

    \b
    Example:
      loambrief selftest
    """
    import loambrief.topics.formulas  # noqa: F401
    from loambrief.agronomy.selftest import KINDS, counted, load_checks, run_check

    outcomes = [run_check(check) for check in load_checks()]
    failed = [o for o in outcomes if not o.passed]
    kinds = counted(outcomes)
    if as_json:
        show_json({
            "passed": len(outcomes) - len(failed), "failed": len(failed), "kinds": kinds,
            "failures": [{"check": o.check.label, "message": o.message} for o in failed],
        }, indent=None)
    else:
        for outcome in failed:
            click.echo(f"FAILED {outcome.check.label} ({outcome.check.where}): {outcome.message}")
        for kind, words in KINDS.items():
            click.echo(f"{kinds[kind]['passed']:>5} {words}")
        click.echo(f"{len(failed)} of {len(outcomes)} failed")
    sys.exit(1 if failed else 0)
