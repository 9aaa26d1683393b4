"""Tests of the store do not wait for the disk, except where that is what they check."""

import os
import tempfile
from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def no_waiting_for_the_disk(request, monkeypatch):
    """A killed process loses nothing that it handed to the system, so syncing only costs time."""
    if "synced" not in request.fixturenames:
        monkeypatch.setattr(os, "fsync", lambda handle: None)


@pytest.fixture
def synced(monkeypatch):
    """Names of what was synced, in order."""
    real, seen = os.fsync, []

    def fsync(handle):
        seen.append(os.path.basename(os.readlink(f"/proc/self/fd/{handle}")))
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    return seen


@pytest.fixture
def tmp_path(tmp_path_factory):
    """A folder in memory where the machine has one: databases sync by themselves."""
    if not os.access("/dev/shm", os.W_OK):
        yield tmp_path_factory.mktemp("archive")
        return
    with tempfile.TemporaryDirectory(prefix="loambrief-", dir="/dev/shm") as folder:
        yield Path(folder)
