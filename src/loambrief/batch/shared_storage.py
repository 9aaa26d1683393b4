"""Storage that this machine and the workers of a cluster share, for finished files on the way.

Any storage that fsspec knows: ``file:///mnt/share``, ``s3://bucket/folder``, ... Each machine
needs its driver and its own credentials, and each driver has errors of its own.
"""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from loambrief.errors import ClusterFault

PROBE = "probe"
NEEDS_EXTRA = "a cluster needs further packages: pip install 'loambrief[cluster]'"


@dataclass(frozen=True)
class SharedStorage:
    """The folder ``run`` in the storage at ``url``, which is gone when the run is over."""

    url: str
    run: str

    def put(self, number: int, content: Mapping[str, bytes]) -> None:
        """Write the files of a case; what a lost worker left is written over."""
        files, root = self._open()
        files.makedirs(root, exist_ok=True)
        files.pipe({f"{root}/{number}-{n}": data for n, data in enumerate(content.values())})

    def take(self, number: int, names: tuple[str, ...]) -> dict[str, bytes]:
        """Read the files of a case, and remove them there."""
        files, root = self._open()
        places = [f"{root}/{number}-{n}" for n in range(len(names))]
        content = {name: files.cat_file(place) for name, place in zip(names, places, strict=True)}
        files.rm(places)
        return content

    def begin(self) -> None:
        """Leave something for the workers to find.

        Raises
        ------
        ClusterFault
            It cannot be written there.
        """
        try:
            self.put(0, {PROBE: self.run.encode()})
        except ClusterFault:
            raise
        except Exception as error:
            raise ClusterFault(f"{self.url} cannot be written to: {_why(error)}") from error

    def seen(self) -> str:
        """Whether what :meth:`begin` left is here; why not, or ""."""
        try:
            files, root = self._open()
            same = files.cat_file(f"{root}/0-0") == self.run.encode()
        except Exception as error:
            return _why(error)
        return "" if same else "it holds something else"

    def end(self) -> None:
        """Remove the folder; left-overs of a storage that is gone do not matter any more."""
        with contextlib.suppress(Exception):
            files, root = self._open()
            files.rm(root, recursive=True)

    def _open(self) -> tuple[Any, str]:
        try:
            from fsspec.core import url_to_fs
        except ImportError as error:
            raise ClusterFault(NEEDS_EXTRA) from error
        try:
            files, root = url_to_fs(self.url)
        except (ImportError, ValueError) as error:
            raise ClusterFault(f"{self.url} is no storage to be used here: {error}") from error
        return files, f"{root.rstrip('/')}/{self.run}"


def _why(error: Exception) -> str:
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
