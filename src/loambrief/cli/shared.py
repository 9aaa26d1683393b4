"""What several commands need: argument types, warnings, files that must be new."""

from __future__ import annotations

import json
import os
import shlex
import sys
from collections.abc import Callable, Collection, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loambrief.cli.terminal import is_utf8

if TYPE_CHECKING:
    from loambrief.archive.store import Store
    from loambrief.mail.compose import NoLetter
    from loambrief.pipeline import Files
    from loambrief.record.issue import Issued
    from loambrief.report.own_words import OwnWords


class TypedPath(click.Path):
    """A path as typed; an empty one, as an unset variable of a shell leaves it, is refused."""

    def convert(self, value, param, ctx):
        if str(value) == "":
            self.fail("the name is empty", param, ctx)
        return super().convert(value, param, ctx)


class OutputPath(TypedPath):
    """A folder to write into, there or not: refused before any work if that cannot be."""

    def convert(self, value, param, ctx):
        path = super().convert(value, param, ctx)
        home = path.absolute()
        while not os.path.lexists(home) and home != home.parent:
            home = home.parent
        if not home.is_dir():
            self.fail(f"{_as_typed(home, path)} is not a folder", param, ctx)
        if not os.access(home, os.W_OK | os.X_OK):
            self.fail(f"no right to write into {_as_typed(home, path)}", param, ctx)
        return path


def _as_typed(home: Path, path: Path) -> Path:
    """A folder above a path, the way the path was typed."""
    here = Path.cwd()
    if path.is_absolute() or here == home or not home.is_relative_to(here):
        return home
    return home.relative_to(here)


class PlaceName(click.ParamType):
    """A file, folder, pattern or list, found later; an empty one is refused as a path is."""

    name = "place"

    def convert(self, value, param, ctx):
        if value == "":
            self.fail("the name is empty", param, ctx)
        return value


def completing(what: str) -> Callable[[click.Context, click.Parameter, str], list[str]]:
    """Completion of a name that stands in the tables: ``crops``, ``regions`` or ``topics``."""

    def names(ctx: click.Context, param: click.Parameter, typed: str) -> list[str]:
        from loambrief.case.known_names import regions
        from loambrief.case.names import crops
        from loambrief.topics.listing import source_rows

        known = {"crops": lambda: (str(row["crop"]) for row in crops().values()),
                 "regions": lambda: regions().values(),
                 "topics": lambda: (row["topic"] for row in source_rows())}[what]()
        return sorted({name for name in known if name.lower().startswith(typed.lower())})

    return names


PLACE = PlaceName()
PATH = TypedPath(path_type=Path)
FOLDER = TypedPath(path_type=Path, exists=True, file_okay=False)
OUTPUT = OutputPath(path_type=Path)
FOLDER.name, OUTPUT.name = "folder", "dir"  # as they stand in messages and help
FILES = click.option("--as", "files_as", type=click.Choice(["one", "two"]), default="two",
                     show_default=True,
                     help="The annex as a second file, or at the end of the one file.")
QUIET = click.option("-q", "--quiet", is_flag=True, help="Print only problems.")
ARCHIVE = click.option("--archive", type=PATH, required=True, metavar="DIR",
                       envvar="LOAMBRIEF_ARCHIVE", show_envvar=True, help="Folder of the archive.")
JSON = click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
SHEET = click.option("--applicator-sheet", is_flag=True,
                     help="Also the sheet for whoever drives the spreader.")
RATE_MAP = click.option("--rate-map", is_flag=True,
                        help="Also -rates.geojson and -rates.zip (shapefiles): rates by zone.")
TEMPLATES = click.option("--templates", type=FOLDER, metavar="DIR",
                         help="Your own wording: <language>/<topic>.j2 with macros that take the "
                              "place of shipped ones.")


def warn(warnings: Iterable[object]) -> None:
    """Print each warning on standard error."""
    for warning in warnings:
        click.echo(str(warning), err=True)


def warn_undrawn(path: Path, jobs: Iterable[str]) -> None:
    """Name what a rate map does not hold."""
    warn(f"{path}: not in the rate map, since no shape of the case shows it: {job}"
         for job in jobs)


def not_told(clients: Iterable[NoLetter], told: Collection[str]) -> Iterator[str]:
    """Who gets no letter, but for those of whom that was said before the work began."""
    for one in clients:
        line = f"no letter to {one.client}: {one.reason}"
        if not any(said.startswith(line) for said in told):
            yield line


def warn_lacking(made: Issued, *, sheet: bool, rate_map: bool, form: Files) -> None:
    """Say what the record of an advisory that was issued before does not hold."""
    from loambrief.record.issue import lacking

    options = {"sheet": "--applicator-sheet", "rate map": "--rate-map"}
    lacks = lacking(made, sheet=sheet, rate_map=rate_map, form=form)
    added = [options[what] for what in lacks if what in options]
    if added:
        warn([f"{made.number} revision {made.revision} was issued without {' and '.join(added)}, "
              f"and its record stays as it is; 'archive supersede {made.number} CASE "
              f"{' '.join(added)}' makes a revision with it"])
    if len(lacks) > len(added):
        warn([f"{made.number} revision {made.revision} was issued with the annex "
              f"{'at the end of the one file' if 'annex apart' in lacks else 'as a second file'}, "
              "and its record stays as it is"])


def own_words(folder: Path | None) -> OwnWords | None:
    """The user's own wording, checked; None without a folder."""
    if folder is None:
        return None
    from loambrief.report.own_words import read_own_words, shipped_macros

    return read_own_words(folder, shipped_macros())


def opened(archive: Path) -> Store:
    """An archive, open."""
    from loambrief.archive.store import Store

    return Store.open(archive)


def quoted(path: Path) -> str:
    """A path that can be pasted into a command."""
    return shlex.quote(str(path))


def must_be_new(path: Path) -> None:
    """Refuse to overwrite."""
    if path.exists():
        raise click.UsageError(f"{path} exists; choose another name or folder, or remove it")


def write_new(path: Path, content: bytes) -> None:
    """Write a file that is not there yet; one that another run was quicker to write stays."""
    from loambrief.pipeline import write_files

    try:
        write_files({path.name: content}, path.parent, new=True)
    except FileExistsError:
        must_be_new(path)
        raise


def show_json(value: object, indent: int | None = 2) -> None:
    """Print for a program: in ASCII where the terminal does not take every sign."""
    click.echo(json.dumps(value, ensure_ascii=not is_utf8(sys.stdout), indent=indent))
