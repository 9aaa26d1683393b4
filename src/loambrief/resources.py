"""What the machine provides: packaged files (the installed package first, then the checkout),
settings files, memory."""

import errno
import gc
import hashlib
import os
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from loambrief.errors import LoambriefError, ResourceMissing

PACKAGE = Path(__file__).resolve().parent
LARGEST_SETTINGS = 100_000
"""Bytes of a settings file."""


def _folder(what: str, inside: str, beside: str, holding: str = "") -> Path:
    """A folder that an installed wheel carries inside the package, and a checkout beside ``src``.

    Raises
    ------
    ResourceMissing
        Neither place has it.
    """
    tried = (PACKAGE / inside, PACKAGE.parents[1] / beside)
    for folder in tried:
        if (folder / holding).is_dir():
            return folder
    raise ResourceMissing(f"{what} not found; looked in " + " and ".join(map(str, tried)))


@cache
def templates_dir() -> Path:
    """Folder of text templates, theme and fonts."""
    return _folder("templates", "_templates", "templates", holding="text")


@cache
def tables_dir() -> Path:
    """Folder of data tables (always inside the package)."""
    return PACKAGE / "tables"


@cache
def published_dir() -> Path:
    """Folder of published answers that the self-test reproduces."""
    return _folder("published answers", "_published", "tests/published")


def digest_of(folder: Path, endings: tuple[str, ...] = ("",)) -> str:
    """SHA-256 over the names and contents of all files below a folder, or of those that end so."""
    digest = hashlib.sha256()
    found = [os.path.join(place, name) for place, _, names in os.walk(folder)
             for name in names if name.endswith(endings)]
    for path in sorted(found, key=lambda path: path.split(os.sep)):
        name = path[len(str(folder)) + 1:].replace(os.sep, "/")
        digest.update(name.encode() + b"\0" + Path(path).read_bytes())
    return digest.hexdigest()


@contextmanager
def uncollected() -> Iterator[None]:
    """Without searching for garbage: what is made inside is many small objects, all in use.

    Of an advisory next to nothing is left that only a search would find, so several in a row
    take no more memory; the search takes a twelfth of the time.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            if not gc.get_freeze_count():  # what is left counts as old, without a search
                gc.freeze()
                gc.unfreeze()
            gc.enable()


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


NO_LINKS = (errno.EPERM, errno.ENOSYS, errno.EOPNOTSUPP)
"""What file systems answer that know no second name of a file."""


def claim(temporary: Path, final: Path) -> None:
    """Give a file its name unless another has it; without links the name is reserved first."""
    try:
        os.link(temporary, final)
        temporary.unlink()
    except OSError as error:
        if error.errno not in NO_LINKS:
            raise
        final.touch(exist_ok=False)
        os.replace(temporary, final)
