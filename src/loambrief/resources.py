"""Where packaged files are (the installed package first, then the checkout); settings files."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from loambrief.errors import LoambriefError, ResourceMissing

PACKAGE = Path(__file__).resolve().parent
LARGEST_SETTINGS = 100_000
"""Bytes of a settings file."""


@cache
def templates_dir() -> Path:
    """Folder of text templates, theme and fonts.

    An installed wheel carries it inside the package; a checkout has it beside ``src``.

    Raises
    ------
    ResourceMissing
        Neither place has it.
    """
    tried = (PACKAGE / "_templates", PACKAGE.parents[1] / "templates")
    for folder in tried:
        if (folder / "text").is_dir():
            return folder
    raise ResourceMissing("templates not found; looked in " + " and ".join(map(str, tried)))


@cache
def tables_dir() -> Path:
    """Folder of data tables (always inside the package)."""
    return PACKAGE / "tables"


@cache
def published_dir() -> Path:
    """Folder of published answers that the self-test reproduces.

    Raises
    ------
    ResourceMissing
        Neither the package nor the checkout has it.
    """
    tried = (PACKAGE / "_published", PACKAGE.parents[1] / "tests" / "published")
    for folder in tried:
        if folder.is_dir():
            return folder
    raise ResourceMissing("published answers not found; looked in " + " and ".join(map(str, tried)))


def settings_table(path: Path, name: str, fault: type[LoambriefError]) -> dict[str, Any]:
    """One table of a TOML settings file; raises ``fault`` if there is none to be read."""
    with path.open("rb") as stream:
        raw = stream.read(LARGEST_SETTINGS + 1)
    if len(raw) > LARGEST_SETTINGS:
        raise fault(f"{path}: larger than {LARGEST_SETTINGS} bytes")
    try:
        table = tomllib.loads(raw.decode("utf-8")).get(name)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise fault(f"{path}: {error}") from None
    if not isinstance(table, dict):
        raise fault(f"{path}: no [{name}] table")
    return table
