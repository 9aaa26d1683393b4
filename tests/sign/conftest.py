"""Signed once, looked at by many tests."""

from __future__ import annotations

import datetime as dt
import pickle
import subprocess
import sys
import threading
from functools import cache
from http.server import ThreadingHTTPServer
from types import SimpleNamespace

import pytest
import sign_samples as samples
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.serialization import pkcs12

from loambrief.archive import verify_apart, verify_pdf
from loambrief.archive.sign import Role, sign

LOADED = """
import io, os, pickle, sys
from types import SimpleNamespace
from loambrief.archive import verify_apart, verify_pdf
while True:
    sent = pickle.load(sys.stdin.buffer)
    out, into = os.pipe()
    child = os.fork()
    if not child:
        sys.stdin = SimpleNamespace(buffer=io.BytesIO(sent))
        sys.stdout = os.fdopen(into, "w")
        verify_apart._main()
    os.close(into)
    with os.fdopen(out, "rb") as stream:
        answer = stream.read()
    _, status, used = os.wait4(child, 0)
    pickle.dump((status, answer, used.ru_utime + used.ru_stime), sys.stdout.buffer)
    sys.stdout.buffer.flush()
"""
"""A small process that has the reader loaded and reads each file in a fork of itself."""


@pytest.fixture(scope="session", autouse=True)
def archival_judged_once():
    """Whether the same bytes are an archive file is found out once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(verify_pdf, "archival_faults", cache(verify_pdf.archival_faults))
        yield


@pytest.fixture(scope="session", autouse=True)
def keys_judged_once():
    """A key is loaded once: for each signature it would be loaded, and its primes tried, anew."""
    with pytest.MonkeyPatch.context() as patch:
        for place, name in ((serialization, "load_der_private_key"),
                            (pkcs12, "load_key_and_certificates")):
            patch.setattr(place, name, cache(getattr(place, name)))
        yield


@pytest.fixture(scope="session")
def keys_folder(tmp_path_factory):
    return tmp_path_factory.mktemp("keys")


@pytest.fixture(scope="session")
def issued():
    """A small issued advisory, unsigned."""
    return samples.small()


@pytest.fixture(scope="session")
def signed(issued, keys_folder):
    """The same, signed by the adviser (B-B)."""
    signer = samples.opened(samples.adviser(), keys_folder)
    return sign(issued, signer, Role.ADVISER, now=samples.NOW).content


@pytest.fixture(scope="session")
def both(signed, keys_folder):
    """The same, signed by adviser and client."""
    signer = samples.opened(samples.client(), keys_folder)
    later = samples.NOW + dt.timedelta(days=1)
    return sign(signed, signer, Role.CLIENT, now=later).content


@pytest.fixture(scope="session")
def anchors():
    """Certificates of adviser, client and authority."""
    return [h.der for h in (samples.adviser(), samples.client(), samples.authority())]


@pytest.fixture
def look(anchors):
    """States of all facts of a file, by name; with (name, field) for those of a signature."""
    from loambrief.archive.facts import bottom_line
    from loambrief.archive.verify_pdf import inspect

    def run(data, *, archival=False, now=samples.LATER, trust=None):
        found = inspect(data, anchors if trust is None else trust, now=now, archival=archival)
        facts = {(f.id, f.about) if f.about else f.id: f for f in found.facts}
        facts["bottom"], facts["sentence"] = bottom_line(found.facts)
        facts["found"] = found
        return facts

    return run


@pytest.fixture
def in_process(monkeypatch):
    """Commands look at files in this process: faster, and the other way has tests of its own."""
    from loambrief.archive.verify_pdf import inspect

    def here(data, anchors=(), *, limits=None, **more):
        return inspect(data, anchors, **more)

    monkeypatch.setattr("loambrief.archive.verify_apart.inspect_apart", here)
    monkeypatch.setattr("loambrief.record.verify.inspect_apart", here)


@pytest.fixture(scope="session")
def loaded():
    with subprocess.Popen([sys.executable, "-P", "-c", LOADED], stdin=subprocess.PIPE,
                          stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as process:
        yield process
        process.kill()


@pytest.fixture
def apart(loaded, monkeypatch):
    """Processes that read a file are forked, not started (which has tests of its own).

    A list of the processor time that each took [s].
    """
    spent = []

    def run(args, *, input, **more):
        pickle.dump(input, loaded.stdin)
        loaded.stdin.flush()
        status, answer, seconds = pickle.load(loaded.stdout)
        spent.append(seconds)
        return subprocess.CompletedProcess(args, status, answer)

    monkeypatch.setattr(verify_apart, "subprocess", SimpleNamespace(
        run=run, TimeoutExpired=subprocess.TimeoutExpired))
    return spent


@pytest.fixture
def stamp_server():
    """A timestamp server on the loopback interface; its handler's class is returned too."""
    handler = type("Handler", (samples.StampHandler,), {
        "stamper": samples.stamp_authority().stamper()})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02},
                              daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/", handler
    server.shutdown()
    server.server_close()
    thread.join()
