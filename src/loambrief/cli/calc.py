"""`loambrief calc`: one published formula on the command line."""

from typing import Any

import click
from click.shell_completion import CompletionItem

from loambrief.cli.shared import show_json


def _formulas(ctx: click.Context, param: click.Parameter, typed: str) -> list[CompletionItem]:
    """Names that begin as typed, each with its description."""
    import loambrief.topics.formulas  # noqa: F401
    from loambrief.agronomy.registry import FORMULAS

    begun = typed.lower().replace("-", "_")
    return [CompletionItem(name, help=FORMULAS[name].summary)
            for name in sorted(FORMULAS) if name.startswith(begun)]


def _parameters(ctx: click.Context, param: click.Parameter, typed: str) -> list[CompletionItem]:
    """Parameters of the formula that are not there yet, with the sign of equality."""
    import loambrief.topics.formulas  # noqa: F401
    from loambrief.agronomy.registry import FORMULAS

    formula = FORMULAS.get(_underscored(ctx.params.get("formula") or ""))
    if formula is None or "=" in typed:
        return []
    given: tuple[Any, ...] = ctx.params.get("values") or ()
    there = {_underscored(str(value).partition("=")[0]) for value in given}
    begun = _underscored(typed)
    return [CompletionItem(f"{name}=", type="nospace") for name in formula.signature.parameters
            if name not in there and name.lower().startswith(begun)]


def _underscored(name: str) -> str:
    return name.strip().lower().replace("-", "_")


@click.command()
@click.argument("formula", required=False, shell_complete=_formulas)
@click.argument("values", nargs=-1, metavar="[NAME=VALUE]...", shell_complete=_parameters)
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")
def calc(formula: str | None, values: tuple[str, ...], as_json: bool) -> None:
    """Work out one published formula; without arguments, list them all.

    Names may be typed with hyphens or underscores.

    \b
    Examples:
      loambrief calc
      loambrief calc relative_feed_value adf_pct=34 ndf_pct=41
      loambrief calc mean_interval values=8.2,8.6,7.9 level=0.95 --json
    """
    import loambrief.topics.formulas  # noqa: F401
    from loambrief.agronomy.arguments import fitted, parse_values
    from loambrief.agronomy.registry import FORMULAS, get
    from loambrief.errors import UnknownName

    if formula is None:
        listing = [FORMULAS[name] for name in sorted(FORMULAS)]
        if as_json:
            show_json([
                {"formula": f.name, "parameters": list(f.signature.parameters), "unit": f.unit,
                 "source": f.source, "evidence": f.evidence,
                 "summary": f.summary}
                for f in listing
            ])
            return
        for item in listing:
            click.echo(f"{item.name} {' '.join(item.signature.parameters)}  [{item.unit}]")
            click.echo(f"    {item.summary}")
        return
    try:
        found = get(_underscored(formula))
    except UnknownName as error:
        raise click.UsageError(f"{error}; 'loambrief calc' alone lists all") from None
    result = found.evaluate(**fitted(found.signature, parse_values(values)))
    if as_json:
        from loambrief.report.data import plain

        show_json(plain(result.as_json()), indent=None)
        return
    value = "no answer" if result.value is None else (
        f"{result.value:.6g}" if isinstance(result.value, float) else str(result.value))
    click.echo(f"{result.formula} = {value} {result.unit if result.unit != '1' else ''}".rstrip())
    for name, detail in result.details.items():
        shown = f"{detail:.6g}" if isinstance(detail, float) else detail
        click.echo(f"  {name}: {shown}")
    click.echo(f"  source: {result.source}, {result.locator} ({result.how}); {result.evidence}")
    if not result.within_range:
        click.echo("  outside the published range")
    for note in result.notes:
        click.echo(f"  note: {note}")
