"""Letters as Internet messages (RFC 5322, MIME), the same bytes for the same advisories.

A letter carries no date: sending adds it. Its Message-ID and its boundaries come from its
content, so that a letter made twice is one letter.
"""

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP

from loambrief.errors import LoambriefError
from loambrief.pipeline import annex_name
from loambrief.report.letters import Enclosed, Facts, letter_text

MOST_BYTES = 20_000_000
"""Larger letters are refused by many mail servers."""
_CONTROL = re.compile(r"[\x00-\x1f\x7f\u2028\u2029]+")


@dataclass(frozen=True)
class Finished:
    """A finished advisory to be sent: what the letter says, and the PDFs it carries.

    ``annex`` is empty where it ends the first; ``more`` are further documents, by name.
    """

    enclosed: Enclosed
    pdf: bytes
    annex: bytes = b""
    more: Mapping[str, bytes] = field(default_factory=dict)

    def files(self) -> dict[str, bytes]:
        """What is attached, by name; the advisory first."""
        annex = {annex_name(self.name.removesuffix(".pdf")): self.annex} if self.annex else {}
        return {self.name: self.pdf, **annex, **self.more}

    @property
    def facts(self) -> Facts:
        return self.enclosed.facts

    @property
    def name(self) -> str:
        return self.enclosed.file


@dataclass(frozen=True)
class Letter:
    """A letter ready to be kept or sent."""

    client: str
    recipient: str
    content: bytes


@dataclass(frozen=True)
class NoLetter:
    """A client for whom no letter could be made, with the reason."""

    client: str
    reason: str


class LetterFault(LoambriefError):
    """A letter cannot be written: no usable address, too large, or mixed advisories."""


def letters(finished: Iterable[Finished]) -> tuple[list[Letter], list[NoLetter]]:
    """One letter per client, adviser and language, by name of the client.

    Clients without an address are named.
    """
    groups: dict[tuple[str, ...], list[Finished]] = {}
    for one in finished:
        facts = one.facts
        key = (facts.client, facts.adviser, facts.adviser_email, facts.language, facts.currency,
               facts.units)
        groups.setdefault(key, []).append(one)
    made: list[Letter] = []
    refused: list[NoLetter] = []
    for name in sorted(groups):
        group = sorted(groups[name], key=lambda one: one.name)
        try:
            made.append(compose(group))
        except LetterFault as fault:
            refused.append(NoLetter(name[0], str(fault)))
    return made, refused


def compose(group: Sequence[Finished]) -> Letter:
    """The letter for one client's advisories.

    Raises
    ------
    LetterFault
        No usable address of client or adviser, two addresses for one client, or too large.
    """
    clients = {one.facts.client_email for one in group}
    if len(clients) > 1:
        found = ", ".join(sorted(c or "none" for c in clients))
        raise LetterFault(f"the cases name different e-mail addresses: {found}")
    facts = group[0].facts
    recipient = _address(facts.contact or facts.client, facts.client_email, "client")
    sender = _address(facts.adviser, facts.adviser_email, "adviser")
    text = letter_text([one.enclosed for one in group])

    message = EmailMessage(policy=SMTP)
    message["From"] = sender
    message["To"] = recipient
    message["Subject"] = _plain(text.subject)
    message["X-Unsent"] = "1"
    message.set_content(text.plain, cte="quoted-printable")
    message.add_alternative(text.html, subtype="html", cte="quoted-printable")
    for one in group:
        for name, content in one.files().items():
            message.add_attachment(content, maintype="application", subtype="pdf", filename=name)
    digest = _digest(message, group)
    message["Message-ID"] = f"<{digest[:32]}@{sender.domain}>"
    for number, part in enumerate(p for p in message.walk() if p.is_multipart()):
        part.set_boundary(f"=_{digest[:40]}_{number}")
    content = message.as_bytes()
    if len(content) > MOST_BYTES:
        raise LetterFault(f"the letter has {len(content) / 1e6:.0f} MB, more than the "
                          f"{MOST_BYTES / 1e6:.0f} MB that mail servers commonly take")
    return Letter(facts.client, recipient.addr_spec, content)


def _digest(message: EmailMessage, group: Sequence[Finished]) -> str:
    digest = hashlib.sha256()
    for header in ("From", "To", "Subject"):
        digest.update(str(message[header]).encode() + b"\0")
    for part in message.walk():
        if not part.is_multipart():
            digest.update(bytes(part.get_payload(decode=True) or b"") + b"\0")
    for one in group:
        for name in one.files():
            digest.update(name.encode() + b"\0")
    return digest.hexdigest()


def _plain(text: str) -> str:
    return _CONTROL.sub(" ", text).strip()


def _address(name: str, spec: str, whose: str) -> Address:
    if not spec:
        raise LetterFault(f"the case gives no e-mail address of the {whose}")
    try:
        address = Address(display_name=_plain(name), addr_spec=spec)
    except (ValueError, IndexError, MessageError) as error:
        raise LetterFault(f"{spec!r} is not a usable e-mail address of the {whose}") from error
    if not spec.isascii() or "." not in address.domain or not address.username:
        raise LetterFault(f"{spec!r} is not a usable e-mail address of the {whose}")
    return address
