"""Where packaged files are: the installed package first, then the checkout."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from loambrief.errors import ResourceMissing

PACKAGE = Path(__file__).resolve().parent


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
