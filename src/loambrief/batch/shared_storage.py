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

NEEDS_EXTRA = "a cluster needs further packages: pip install 'loambrief[cluster]'"


@dataclass(frozen=True)
class SharedStorage:
    """The folder ``run`` in the storage at ``url``, which is gone when the run is over."""

    url: str
    run: str

    def put(self, number: int, content: Mapping[str, bytes]) -> None:
        """Write the files of a case; what a lost worker left is written over."""
        files = self._open()
        for n, data in enumerate(content.values()):
            files[f"{number}-{n}"] = data

    def take(self, number: int, names: tuple[str, ...]) -> dict[str, bytes]:
        """Read the files of a case, and remove them there; KeyError if one is missing."""
        files = self._open()
        return {name: files.pop(f"{number}-{n}") for n, name in enumerate(names)}

    def begin(self) -> None:
        """Leave something for the workers to find; ClusterFault if it cannot be written."""
        try:
            self.put(0, {"probe": self.run.encode()})
        except Exception as error:
            lacking = isinstance(error, ImportError) and error.name == "fsspec"
            raise ClusterFault(NEEDS_EXTRA if lacking else
                               f"{self.url} cannot be written to: {error!r}") from error

    def unseen(self) -> str:
        """Why what :meth:`begin` left is not to be found here; empty if it is."""
        try:
            return "" if self._open()["0-0"] == self.run.encode() else "it holds something else"
        except Exception as error:
            return repr(error)

    def end(self) -> None:
        """Remove the folder; left-overs of a storage that is gone do not matter any more."""
        with contextlib.suppress(Exception):
            files = self._open()
            files.fs.rm(files.root, recursive=True)

    def _open(self) -> Any:
        from fsspec import get_mapper

        return get_mapper(f"{self.url.rstrip('/')}/{self.run}")
