"""One batch at a time in an output folder."""

import contextlib
import json
import os
import socket
from collections.abc import Iterator
from pathlib import Path

from loambrief.errors import FolderBusy

HOME = ".loambrief"
"""What a batch keeps for itself in an output folder."""
NAME = "lock"


@contextlib.contextmanager
def folder_lock(output: Path) -> Iterator[None]:
    """Hold the lock of an output folder.

    A lock whose process is gone is taken over, if it was made on this machine; one from
    another machine is not judged.

    Parameters
    ----------
    output : Path
        The lock stands in its folder ``.loambrief``, which is made if need be.

    Raises
    ------
    FolderBusy
        Another batch is at work.
    OSError
        The folder cannot be written to.
    """
    home = output / HOME
    home.mkdir(parents=True, exist_ok=True)
    file, own = home / NAME, _identity(os.getpid())
    with _one_at_the_door(home):
        other = _holder(file)
        if other is not None and not _gone(other):
            raise FolderBusy(
                f"another batch is at work in {output} (process {other.get('pid')} on "
                f"{other.get('host')}); if it is not, remove {file}")
        temporary = file.with_name(f"{NAME}.new")
        try:
            temporary.write_text(json.dumps(own), encoding="utf-8")
            os.replace(temporary, file)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise
    try:
        yield
    finally:
        if _holder(file) == own:
            file.unlink(missing_ok=True)


@contextlib.contextmanager
def _one_at_the_door(folder: Path) -> Iterator[None]:
    """Two runs that find a left-over lock at the same moment take turns judging it."""
    try:
        import fcntl
    except ImportError:
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # a file system without such locks
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _holder(file: Path) -> dict | None:
    """Who holds the lock; a damaged lock is held by nobody we can name."""
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError):
        data = None
    return data if isinstance(data, dict) else {"pid": "unknown", "host": "an unknown machine"}


def _identity(pid: int) -> dict:
    """A process told apart from all others: host, its start, number, and when it began."""
    return {"host": socket.gethostname(), "boot": _boot(), "pid": pid, "began": _began(pid)}


def _boot() -> str:
    """Names the time since this machine started, where the system tells it."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except OSError:
        return ""


def _began(pid: int) -> str:
    """Start of a process in clock ticks, so that a number used again is not taken for it."""
    try:
        text = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return ""
    return text.rpartition(")")[2].split()[19]


def _gone(other: dict) -> bool:
    """Whether the process that holds the lock surely no longer runs."""
    pid = other.get("pid")
    if other.get("host") != socket.gethostname() or not isinstance(pid, int) or pid <= 0:
        return False
    if other.get("boot") != _boot():
        return True
    if not _alive(pid):
        return True
    began = _began(pid)
    return bool(began) and other.get("began") != began


def _alive(pid: int) -> bool:
    if os.name == "nt":
        return True  # not to be asked without harm there: the lock is left to the user
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
