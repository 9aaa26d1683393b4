"""What several commands need: argument types, warnings, files that must be new."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import click

PATH = click.Path(path_type=Path)


def warn(warnings: Iterable[object]) -> None:
    """Print each warning on standard error."""
    for warning in warnings:
        click.echo(str(warning), err=True)


def must_be_new(path: Path) -> None:
    """Refuse to overwrite.

    Raises
    ------
    click.UsageError
        The path exists.
    """
    if path.exists():
        raise click.UsageError(f"{path} exists; choose another folder or remove it")
