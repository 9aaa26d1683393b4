"""The look at a file in a process of its own, with limits on memory, time and output.

A PDF from elsewhere may be made to exhaust or crash whoever reads it. The process that reads
it is given no environment but what Python needs, may not write files, and is ended when it
goes over a limit; the file then counts as not readable.
"""

import base64
import datetime as dt
import json
import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import asdict, dataclass

from loambrief.archive.facts import TRUST, Anchors, FactState, FileFact, Inspection, SignatureFound

KEPT = ("PATH", "PYTHONPATH", "LANG", "LC_ALL", "SYSTEMROOT", "TEMP", "TMPDIR", "VIRTUAL_ENV")
"""Environment variables that are handed on."""


PATIENCE = 5
"""Time on the clock for each second of processor time: on a busy machine a good file waits."""


@dataclass(frozen=True)
class ReadLimits:
    """What the process may use."""

    memory: int = 1024
    """Address space [MiB]; not enforced on Windows."""
    seconds: int = 40
    """Processor time [s]; the clock on the wall may run PATIENCE times as long."""


def inspect_apart(data: bytes, anchors: Anchors = (), *, now: dt.datetime,
                  archival: bool = True, limits: ReadLimits | None = None) -> Inspection:
    """:func:`loambrief.archive.verify_pdf.inspect` in a process of its own.

    Parameters
    ----------
    data, anchors, now, archival
        As there.

    Returns
    -------
    Inspection
        With the single fact "not readable" if a limit was reached.
    """
    from loambrief.archive.pdf_parts import too_much

    limits = limits or ReadLimits()
    why = too_much(data)
    if why:
        return _unread(why)
    given = anchors if isinstance(anchors, Mapping) else dict.fromkeys(TRUST, anchors)
    order = json.dumps({
        "anchors": {role: [base64.b64encode(a).decode() for a in certificates]
                    for role, certificates in given.items()},
        "now": now.isoformat(),
        "archival": archival, "memory": limits.memory, "seconds": limits.seconds,
    }).encode()
    environment = {k: os.environ[k] for k in KEPT if k in os.environ}
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "loambrief.archive.verify_apart"],
            input=len(order).to_bytes(8, "big") + order + data, capture_output=True,
            timeout=PATIENCE * limits.seconds, env=environment, check=False)
    except subprocess.TimeoutExpired:
        return _unread(f"reading it takes longer than {PATIENCE * limits.seconds} s")
    try:
        if done.returncode:
            raise ValueError
        return _unpack(json.loads(done.stdout))
    except (ValueError, KeyError, TypeError):
        return _unread(f"reading it takes more than {limits.memory} MiB or {limits.seconds} s, "
                       "or it broke the reader")


def _unread(why: str) -> Inspection:
    return Inspection((FileFact("readable", FactState.BAD, f"The file is not read: {why}."),))


def _pack(found: Inspection) -> dict:
    return asdict(found) | {
        "attached": [[k, base64.b64encode(v).decode()] for k, v in found.attached.items()]}


def _unpack(data: dict) -> Inspection:
    return Inspection(
        tuple(FileFact(**f | {"state": FactState(f["state"])}) for f in data["facts"]),
        tuple(SignatureFound(**s) for s in data["signatures"]),
        {k: base64.b64decode(v) for k, v in data["attached"]},
        data["described"], data["stated"], tuple(data["ends"]))


def _limit(memory: int, seconds: int) -> None:
    """ReadLimits on this process, for good."""
    try:
        import resource
    except ImportError:  # Windows: the parent's clock is what is left
        return
    for name, soft, hard in (("CORE", 0, 0), ("FSIZE", 0, 0),
                             ("AS", memory << 20, memory << 20), ("CPU", seconds, seconds + 1)):
        try:
            resource.setrlimit(getattr(resource, f"RLIMIT_{name}"), (soft, hard))
        except (OSError, ValueError):
            continue  # a system that knows no such limit: the others and the clock are left


def _main() -> None:
    """The other side: one file on standard input, its facts on standard output."""
    size = int.from_bytes(sys.stdin.buffer.read(8), "big")
    order = json.loads(sys.stdin.buffer.read(size))
    data = sys.stdin.buffer.read()
    _limit(order["memory"], order["seconds"])
    from loambrief.archive.verify_pdf import inspect

    found = inspect(data, {role: [base64.b64decode(a) for a in certificates]
                           for role, certificates in order["anchors"].items()},
                    now=dt.datetime.fromisoformat(order["now"]), archival=order["archival"])
    answer = json.dumps(_pack(found)).encode()
    sys.stdout.buffer.write(answer)
    sys.stdout.buffer.flush()
    os._exit(0)  # nothing of what was read is worth tidying up


if __name__ == "__main__":
    _main()
