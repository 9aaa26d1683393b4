"""Files of one archive: private modes, no links followed, everything synced, faults injectable.

Each step that changes the disk first calls ``hook`` with the step's name. Left out it does
nothing; tests pass one that kills the process or reports a full disk there.
"""

import errno
import fcntl
import os
import secrets
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from loambrief.errors import ArchiveBroken, ArchiveFault

FOLDER_MODE, FILE_MODE = 0o700, 0o600
LOCK = "lock"
WAIT_S = 60.0
"""How long a process waits for another one's turn."""
_NOFOLLOW = os.O_NOFOLLOW | os.O_CLOEXEC

Hook = Callable[[str], None]


def nothing(step: str) -> None:
    """The hook of everyday use."""


class Disk:
    """A folder and what may be done in it; all paths are relative to it.

    Parameters
    ----------
    hook : callable
        Called with the name of each step before it is taken.
    """

    def __init__(self, root: Path, hook: Hook = nothing):
        self.root, self.hook = root, hook

    def path(self, name: str) -> Path:
        return self.root / name

    def exists(self, name: str) -> bool:
        """True for anything of that name, a link included."""
        return os.path.lexists(self.path(name))

    def folder(self, name: str) -> None:
        """Make a folder and what is above it, below the root."""
        place = self.root
        for part in Path(name).parts:
            place = place / part
            try:
                os.mkdir(place, FOLDER_MODE)
            except FileExistsError:
                if not stat.S_ISDIR(os.lstat(place).st_mode):
                    raise ArchiveBroken(f"{place} is not a folder") from None

    def read(self, name: str, most: int | None = None) -> bytes:
        """Content of a regular file.

        Raises
        ------
        ArchiveBroken
            A link, a pipe, a folder, or larger than ``most`` [bytes].
        FileNotFoundError
        """
        with self._opened(name, os.O_RDONLY | os.O_NONBLOCK) as handle:
            size = os.fstat(handle).st_size
            if most is not None and size > most:
                raise ArchiveBroken(f"{self.path(name)}: {size} bytes, at most {most}")
            with os.fdopen(os.dup(handle), "rb") as stream:
                return stream.read()

    def read_range(self, name: str, start: int, end: int) -> bytes:
        with self._opened(name, os.O_RDONLY | os.O_NONBLOCK) as handle:
            return os.pread(handle, max(0, end - start), start)

    def size(self, name: str) -> int:
        with self._opened(name, os.O_RDONLY | os.O_NONBLOCK) as handle:
            return os.fstat(handle).st_size

    @contextmanager
    def _opened(self, name: str, flags: int) -> Iterator[int]:
        path = self.path(name)
        self._no_link_above(name)
        try:
            handle = os.open(path, flags | _NOFOLLOW, FILE_MODE)
        except OSError as error:
            if error.errno in (errno.ELOOP, errno.EISDIR, errno.ENXIO):
                raise ArchiveBroken(f"{path} is not a regular file") from None
            raise
        try:
            if not stat.S_ISREG(os.fstat(handle).st_mode):
                raise ArchiveBroken(f"{path} is not a regular file")
            yield handle
        finally:
            os.close(handle)

    def _no_link_above(self, name: str) -> None:
        while name := os.path.dirname(name):
            if os.path.islink(f"{self.root}/{name}"):
                raise ArchiveBroken(f"{self.path(name)} is a link")

    def put(self, name: str, content: bytes, step: str) -> None:
        """A file, whole or not at all: written aside, synced, renamed into place."""
        aside = f"tmp/{secrets.token_hex(8)}"
        self.folder("tmp")
        self.folder(str(Path(name).parent))
        try:
            self.hook(f"{step}:create")
            flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
            with self._opened(aside, flags) as handle:
                self.hook(f"{step}:write")
                _write(handle, content)
                self.hook(f"{step}:sync")
                os.fsync(handle)
            self.hook(f"{step}:rename")
            os.replace(self.path(aside), self.path(name))
        except Exception:
            self.path(aside).unlink(missing_ok=True)
            raise
        self._sync_folder(self.path(name).parent)

    def append(self, name: str, line: bytes, step: str) -> None:
        """A line at the end of a file; cut off again if it cannot be written whole."""
        with self._opened(name, os.O_WRONLY | os.O_CREAT | os.O_APPEND) as handle:
            before = os.fstat(handle).st_size
            try:
                self.hook(f"{step}:write")
                _write(handle, line)
                self.hook(f"{step}:sync")
                os.fsync(handle)
            except Exception:
                os.ftruncate(handle, before)
                raise

    def cut(self, name: str, size: int, step: str) -> None:
        """Shorten a file."""
        with self._opened(name, os.O_WRONLY) as handle:
            self.hook(f"{step}:cut")
            os.ftruncate(handle, size)
            os.fsync(handle)

    def remove(self, name: str, step: str) -> None:
        """Remove a file if it is there."""
        self.hook(f"{step}:remove")
        path = self.path(name)
        self._no_link_above(name)
        path.unlink(missing_ok=True)
        if path.parent.is_dir():
            self._sync_folder(path.parent)

    def names(self, folder: str) -> Iterator[str]:
        """Every file, link or other thing below a folder, in order of name."""
        top = self.path(folder)
        for base, folders, files in os.walk(top, followlinks=False):
            folders.sort()
            links = [f for f in folders if os.path.islink(os.path.join(base, f))]
            for name in sorted([*files, *links]):
                yield f"{base}/{name}".removeprefix(f"{self.root}/")

    def _sync_folder(self, path: Path) -> None:
        handle = os.open(path, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

    def writable(self) -> bool:
        """True if the lock can be opened for writing (it is made if missing)."""
        try:
            with self._opened(LOCK, os.O_RDWR | os.O_CREAT):
                return True
        except OSError:
            return False

    @contextmanager
    def locked(self, wait: float = WAIT_S) -> Iterator[None]:
        """The right to write, for one process at a time; it ends with the process.

        Raises
        ------
        ArchiveFault
            Another process held it all the time.
        """
        with self._opened(LOCK, os.O_RDWR | os.O_CREAT) as handle:
            end = time.monotonic() + wait
            while True:
                try:
                    fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                    break
                except BlockingIOError:
                    if time.monotonic() >= end:
                        raise ArchiveFault(f"{self.root} is in use by another process") from None
                    time.sleep(0.01)
            yield


def _write(handle: int, content: bytes) -> None:
    view = memoryview(content)
    while view:
        view = view[os.write(handle, view):]
