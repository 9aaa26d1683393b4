"""`loambrief selftest`: the published answers, on this machine."""

from __future__ import annotations

import sys

import click

from loambrief.cli.shared import show_json


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def selftest(as_json: bool) -> None:
    """Reproduce the published answers on this machine.

    \b
    Example:
      loambrief selftest
    """
    import loambrief.topics.formulas  # noqa: F401
    from loambrief.agronomy.selftest import load_checks, run_check

    outcomes = [run_check(check) for check in load_checks()]
    failed = [o for o in outcomes if not o.passed]
    if as_json:
        show_json({
            "passed": len(outcomes) - len(failed), "failed": len(failed),
            "failures": [{"check": o.check.label, "message": o.message} for o in failed],
        }, indent=None)
    else:
        for outcome in failed:
            click.echo(f"FAILED {outcome.check.label} ({outcome.check.where}): {outcome.message}")
        click.echo(f"{len(outcomes) - len(failed)} published answers reproduced, "
                   f"{len(failed)} failed")
    sys.exit(1 if failed else 0)
