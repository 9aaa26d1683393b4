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
