"""What was sent when: one JSON line per step, flushed to the disk before the next step.

A letter is first noted as ``started``, then as ``sent``, ``failed`` or ``refused``. One that
is only ``started`` may or may not have arrived (the machine stopped in between); it is not
sent again unless the user says so.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from loambrief.errors import LoambriefError

NAME = "sent.jsonl"


class LetterState(StrEnum):
    STARTED = "started"
    SENT = "sent"
    FAILED = "failed"


class LogFault(LoambriefError):
    """The log of sent letters cannot be read."""


@dataclass
class SentLog:
    """Append-only log in the folder of the letters.

    Parameters
    ----------
    now : callable
        Time of the entry, ISO 8601 with its offset.
    """

    path: Path
    now: Callable[[], str]

    def states(self) -> dict[tuple[str, str], LetterState]:
        """Latest state of each letter (digest, recipient).

        Raises
        ------
        LogFault
            A line is not an entry. A last line that broke off in writing counts as absent:
            what it noted had not been done yet.
        """
        if not self.path.exists():
            return {}
        found: dict[tuple[str, str], LetterState] = {}
        lines = self.path.read_bytes().split(b"\n")
        whole, rest = lines[:-1], lines[-1]
        for number, line in enumerate(whole, 1):
            try:
                entry = json.loads(line)
                found[entry["sha256"], entry["to"]] = LetterState(entry["state"])
            except (ValueError, KeyError, TypeError) as error:
                raise LogFault(f"{self.path}:{number}: not an entry of the log") from error
        if rest:
            with self.path.open("r+b") as stream:
                stream.truncate(self.path.stat().st_size - len(rest))
        return found

    def note(self, state: LetterState, sha256: str, to: str, file: str, detail: str = "") -> None:
        """Write one entry and wait until it is on the disk."""
        entry = {"at": self.now(), "state": state.value, "file": file, "sha256": sha256, "to": to}
        if detail:
            entry["detail"] = detail
        with self.path.open("ab") as stream:
            stream.write(json.dumps(entry, ensure_ascii=False).encode() + b"\n")
            stream.flush()
            os.fsync(stream.fileno())
