"""Tests of the store do not wait for the disk, except where that is what they check."""

import os
from multiprocessing import get_context

import pytest
from store_builders import serve_apart


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


@pytest.fixture(scope="session")
def apart():
    """Does something apart, in a fork of a small process: this one holds all documents of the
    tests, and to fork it by the hundred took most of the time."""
    spawn = get_context("spawn")
    pipe, other = spawn.Pipe()
    process = spawn.Process(target=serve_apart, args=(other,))
    process.start()

    def work_apart(*work):
        pipe.send(work)
        return pipe.recv()

    yield work_apart
    pipe.send(None)
    process.join()
