"""`loambrief preview`: a live page of a case in the browser of this machine."""

from pathlib import Path

import click

from loambrief.cli.shared import PATH


@click.command()
@click.argument("case", type=PATH)
@click.option("--port", type=click.IntRange(0, 65535), default=0,
              help="Of 127.0.0.1.  [default: a free one]")
@click.option("--open", "open_it", is_flag=True, help="Open the page in your browser.")
@click.option("--units", type=click.Choice(["us", "si"]), help="Instead of the case's own.")
@click.option("--language", type=click.Choice(["en", "es", "es-US", "es-MX", "es-ES"]),
              help="Instead of the case's own.")
def preview(case: Path, port: int, open_it: bool, units: str | None,
            language: str | None) -> None:
    """Show a case as a live page: the advisory with all problems beside it, new at each save.

    A form takes readings and prices and writes them into the case; its remarks and order stay.
    The page is for this machine only: it needs the address that is printed, and loads nothing
    from elsewhere. Ctrl-C ends it.

    \b
    Examples:
      loambrief preview my-field/case.yaml
      loambrief preview my-field/case.yaml --open --units si
    """
    from loambrief.errors import LoambriefError

    try:
        from loambrief.preview.serve import serve
    except ImportError as error:
        if error.name is None or error.name.partition(".")[0] not in NEEDED:
            raise
        raise LoambriefError(
            "preview needs more libraries: pip install 'loambrief[preview]'") from error
    from loambrief.case.reader import read_bytes
    from loambrief.preview.live import Live

    read_bytes(case)  # a file that is not there is refused as everywhere

    def started(address: str) -> None:
        click.echo(f"{case}: {address}")
        click.echo("Ctrl-C ends it.")
        if open_it:
            click.launch(address)

    serve(Live(case, units, language), port, started)


NEEDED = ("starlette", "uvicorn", "watchfiles")
