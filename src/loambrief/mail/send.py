"""Hand letters to a mail server (RFC 5321), each at most once."""

import hashlib
import json
import os
import smtplib
import ssl
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import getaddresses
from enum import StrEnum
from pathlib import Path

from loambrief.errors import LoambriefError
from loambrief.mail.settings import MailSettings

HIDDEN = ("X-Unsent", "Bcc")


class SendFault(LoambriefError):
    """The mail server cannot be used at all: no connection, no TLS, wrong credentials."""


@dataclass(frozen=True)
class Sending:
    """What became of one letter."""

    file: Path
    to: str
    outcome: str
    detail: str = ""


def find_letters(folder: Path) -> list[Path]:
    """Letters in a folder and below, in order of their path; an error if there is none."""
    found = sorted(p for p in folder.rglob("*.eml") if p.is_file())
    if not found:
        raise LoambriefError(f"{folder}: no letters (*.eml) in it")
    return found


def delivered(*folders: Path) -> tuple[frozenset[str], frozenset[str]]:
    """What letters that were sent, or begun to be sent, have brought.

    SHA-256 of the attachments, and names of the letters in the first folder, the letters' own;
    the log may stand in any of them.
    """
    gone = {sha256 for folder in folders
            for (sha256, _), state in SentLog(folder / NAME, str).states().items()
            if state is not LetterState.FAILED}
    brought: set[str] = set()
    names: set[str] = set()
    for path in sorted(folders[0].glob("*.eml")):
        content = path.read_bytes()
        if hashlib.sha256(content).hexdigest() in gone:
            names.add(path.name)
            message = message_from_bytes(content, policy=SMTP)
            brought |= {hashlib.sha256(part.get_content()).hexdigest()
                        for part in message.iter_attachments()}
    return frozenset(brought), frozenset(names)


def send_letters(folder: Path, settings: MailSettings | None, *, secret: str | None = None,
                 now: Callable[[], str], date: Callable[[], str], again: bool = False,
                 pause: Callable[[float], None] = time.sleep) -> list[Sending]:
    """Send the letters of a folder; without settings, only say what would be sent.

    Parameters
    ----------
    folder : Path
        Searched for ``*.eml``; holds the log ``sent.jsonl``.
    secret : str or None
        Password of ``settings.user``.
    now, date : callable
        Time for the log (ISO 8601) and for the Date header (RFC 5322).
    again : bool
        Also send what is unclear after a broken run. What was sent is never sent again.
    pause : callable
        Waits between attempts [s].

    Raises
    ------
    SendFault
        The server cannot be used; letters not reached stay unsent.
    """
    log = SentLog(folder / NAME, now)
    known = log.states()
    waiting: list[tuple[Path, EmailMessage, str, str]] = []
    done: dict[Path, Sending] = {}
    letters = find_letters(folder)
    for path in letters:
        content = path.read_bytes()
        message = message_from_bytes(content, policy=SMTP)
        to = ", ".join(spec for _, spec in getaddresses([str(message["To"] or "")]))
        sha256 = hashlib.sha256(content).hexdigest()
        state = known.get((sha256, to))
        if not to:
            done[path] = Sending(path, to, "failed", "the letter names no recipient")
        elif state is LetterState.SENT:
            done[path] = Sending(path, to, "already sent")
        elif state is LetterState.STARTED and not again:
            done[path] = Sending(path, to, "unclear",
                                 "an earlier run broke off while sending; ask the client, then "
                                 "use --again")
        elif settings is None:
            done[path] = Sending(path, to, "would send")
        else:
            waiting.append((path, message, to, sha256))
    if waiting and settings is not None:
        with _Session(settings, secret) as session:
            for path, message, to, sha256 in waiting:
                done[path] = _send(session, log, path, message, to, sha256, date, pause)
    return [done[path] for path in letters]


def _send(session: "_Session", log: "SentLog", path: Path, message: EmailMessage, to: str,
          sha256: str, date: Callable[[], str], pause: Callable[[float], None]) -> Sending:
    settings = session.settings
    for header in HIDDEN:
        del message[header]
    del message["Date"]
    message["Date"] = date()
    recipients = [spec for _, spec in getaddresses([str(message["To"])])]
    copies = [settings.copy_to] if settings.copy_to else []
    server = session.server()
    log.note(LetterState.STARTED, sha256, to, path.name)
    for attempt in range(1, settings.attempts + 1):
        try:
            refused = server.send_message(message, to_addrs=recipients + copies)
        except smtplib.SMTPServerDisconnected as error:
            # after the data was handed over nobody knows whether it was taken: stays unclear
            return Sending(path, to, "unclear", f"the server closed the connection: {error}")
        except (smtplib.SMTPResponseException, smtplib.SMTPRecipientsRefused) as error:
            code, text = _answer(error)
            if 400 <= code < 500 and attempt < settings.attempts:
                server.rset()
                pause(settings.pause_s * attempt)
                continue
            log.note(LetterState.FAILED, sha256, to, path.name, f"{code} {text}")
            server.rset()
            return Sending(path, to, "failed", f"{code} {text}")
        missed = [address for address in refused if address not in copies]
        detail = f"refused for {', '.join(missed)}" if missed else ""
        if not detail and refused:
            detail = "the copy was refused"
        log.note(LetterState.SENT, sha256, to, path.name, detail)
        return Sending(path, to, "sent", detail)
    raise AssertionError("every attempt returns or goes on")


def _answer(
        error: smtplib.SMTPResponseException | smtplib.SMTPRecipientsRefused) -> tuple[int, str]:
    text: str | bytes
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, text = next(iter(error.recipients.values()))
    else:
        code, text = error.smtp_code, error.smtp_error
    words = text.decode("utf-8", "replace") if isinstance(text, bytes) else str(text)
    return code, " ".join(words.split())


class _Session:
    """A connection that is opened when a letter needs it, and again after it broke."""

    def __init__(self, settings: MailSettings, secret: str | None):
        self.settings, self._secret = settings, secret
        self._server: smtplib.SMTP | None = None

    def __enter__(self) -> "_Session":
        return self

    def __exit__(self, *_: object) -> None:
        if self._server is not None and self._server.sock is not None:
            try:
                self._server.quit()
            except (OSError, smtplib.SMTPException):
                self._server.close()

    def server(self) -> smtplib.SMTP:
        """A live connection.

        Raises
        ------
        SendFault
            No connection, no TLS, or user and password are not accepted.
        """
        if self._server is not None and self._server.sock is not None:
            return self._server
        settings = self.settings
        where = f"{settings.host}:{settings.port}"
        try:
            context = ssl.create_default_context(cafile=settings.ca_file)
            if settings.security == "tls":
                server: smtplib.SMTP = smtplib.SMTP_SSL(
                    settings.host, settings.port, timeout=settings.timeout_s, context=context)
            else:
                server = smtplib.SMTP(settings.host, settings.port, timeout=settings.timeout_s)
        except (OSError, smtplib.SMTPException) as error:
            raise SendFault(f"{where}: {error}") from error
        try:
            if settings.security == "starttls":
                server.starttls(context=context)
            if settings.user is not None and self._secret is not None:
                server.login(settings.user, self._secret)
        except smtplib.SMTPAuthenticationError as error:
            server.close()
            raise SendFault(f"{where}: the server does not accept user and password "
                            f"({error.smtp_code})") from None
        except (OSError, smtplib.SMTPException) as error:
            server.close()
            raise SendFault(f"{where}: {error}") from error
        self._server = server
        return server


def tally(sendings: Sequence[Sending]) -> str:
    """How many letters came to what: "3 sent, 1 failed"."""
    order = ("sent", "would send", "already sent", "unclear", "failed")
    counts = {name: sum(s.outcome == name for s in sendings) for name in order}
    return ", ".join(f"{count} {name}" for name, count in counts.items() if count)


NAME = "sent.jsonl"


class LetterState(StrEnum):
    STARTED = "started"
    SENT = "sent"
    FAILED = "failed"


class LogFault(LoambriefError):
    """The log of sent letters cannot be read."""


@dataclass
class SentLog:
    """Append-only log in the folder of the letters."""

    path: Path
    now: Callable[[], str]
    """Time of the entry, ISO 8601 with its offset."""

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
