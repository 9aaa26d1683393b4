"""One batch at a time in a folder."""

import json
import os
import socket
import subprocess
import sys

import pytest

from loambrief.batch.lock import _began, _boot, folder_lock
from loambrief.errors import FolderBusy


def leave_lock(folder, **changes):
    """A lock as a run leaves it that ended without a word."""
    home = folder / ".loambrief"
    home.mkdir(parents=True)
    who = {"host": socket.gethostname(), "boot": _boot(), "pid": os.getpid(),
           "began": _began(os.getpid()), **changes}
    (home / "lock").write_text(json.dumps(who))
    return home / "lock"


def dead_pid():
    """Number of a process that has just ended."""
    child = subprocess.Popen([sys.executable, "-c", ""])
    child.wait()
    return child.pid


def test_second_run_is_refused(tmp_path):
    """ensures that a folder in use says who uses it, and is free afterwards."""
    with folder_lock(tmp_path), pytest.raises(FolderBusy, match=str(os.getpid())), \
            folder_lock(tmp_path):
        raise AssertionError("two runs in one folder")
    with folder_lock(tmp_path):
        assert (tmp_path / ".loambrief" / "lock").exists()
    assert not (tmp_path / ".loambrief" / "lock").exists()


@pytest.mark.parametrize("changes", [
    {"boot": "another-start-of-this-machine"},
    {"began": "1"},
], ids=["restarted", "number used again"])
def test_left_over_lock_is_taken(tmp_path, changes):
    """ensures that a lock whose process is surely gone does not bar the folder."""
    leave_lock(tmp_path, **changes)
    with folder_lock(tmp_path):
        pass


def test_lock_of_a_dead_process_is_taken(tmp_path):
    """ensures that a killed run does not bar the folder."""
    leave_lock(tmp_path, pid=dead_pid())
    with folder_lock(tmp_path):
        pass


def test_other_machines_are_not_judged(tmp_path):
    """ensures that a lock from elsewhere stands, even if its number is unused here."""
    lock = leave_lock(tmp_path, host="another-machine", pid=dead_pid())
    with pytest.raises(FolderBusy, match="remove"), folder_lock(tmp_path):
        raise AssertionError("took another machine's lock")
    assert lock.exists()


def test_damaged_lock_is_not_ignored(tmp_path):
    """ensures that a lock nobody can read is named, with what to do."""
    leave_lock(tmp_path).write_text("{")
    with pytest.raises(FolderBusy, match="remove"), folder_lock(tmp_path):
        raise AssertionError("ignored a lock")
