"""What several commands need: argument types, warnings, files that must be new."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from pathlib import Path

import click

from loambrief.cli.terminal import is_utf8

PATH = click.Path(path_type=Path)
ARCHIVE = click.option("--archive", type=PATH, required=True, envvar="LOAMBRIEF_ARCHIVE",
                       show_envvar=True, help="Folder of the archive.")
SHEET = click.option("--applicator-sheet", is_flag=True,
                     help="Also the sheet for whoever drives the spreader.")
TEMPLATES = click.option("--templates", type=PATH, metavar="DIR",
                         help="Your own wording: <language>/<topic>.j2 with macros that take the "
                              "place of shipped ones.")


def warn(warnings: Iterable[object]) -> None:
    """Print each warning on standard error."""
    for warning in warnings:
        click.echo(str(warning), err=True)


def own_words(folder: Path | None):
    """The user's own wording, checked; None without a folder."""
    if folder is None:
        return None
    from loambrief.report.own_words import read_own_words, shipped_macros

    return read_own_words(folder, shipped_macros())


def must_be_new(path: Path) -> None:
    """Refuse to overwrite.

    Raises
    ------
    click.UsageError
        The path exists.
    """
    if path.exists():
        raise click.UsageError(f"{path} exists; choose another folder or remove it")


def show_json(value: object, indent: int | None = 2) -> None:
    """Print for a program: in ASCII where the terminal does not take every sign."""
    click.echo(json.dumps(value, ensure_ascii=not is_utf8(sys.stdout), indent=indent))
