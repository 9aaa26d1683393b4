"""A check as a record of separate facts, and one bottom line computed from them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum


class FactState(StrEnum):
    """How a fact stands. Only BAD is an accusation; UNKNOWN says what could not be judged."""

    GOOD = "good"
    BAD = "bad"
    UNKNOWN = "not known"
    NONE = "not applicable"


@dataclass(frozen=True)
class FileFact:
    """One thing that was checked."""

    id: str
    """Stable name for programs."""
    state: FactState
    text: str
    """One sentence for people."""
    about: str = ""
    """Field name of the signature it is about; empty for the whole file."""


@dataclass(frozen=True)
class SignatureFound:
    """Who signed where, as the file says it."""

    field: str
    signer: str
    claimed_time: str
    level: str
    kind: str
    fingerprint: str
    trial: bool = False


TRUST = ("adviser", "client", "time")
"""Roles in which a certificate may be trusted: to vouch for either signer, or for a clock."""
Anchors = Mapping[str, Sequence[bytes]] | Sequence[bytes]
NEEDED = frozenset({"readable", "status", "signed", "bytes", "signature", "container", "signer",
                    "coverage", "changes", "whole", "archival", "data"})
"""Facts that must be good, each wherever it applies, for the file to be good."""


def bottom_line(facts: Iterable[FileFact]) -> tuple[FactState, str]:
    """State and sentence that follow from the facts.

    Good only if nothing is bad and every needed fact is good or does not apply. A fact that
    is not needed may be unknown; the sentence then names it.
    """
    facts = list(facts)
    bad = [f for f in facts if f.state is FactState.BAD]
    open_ones = [f for f in facts if f.state is FactState.UNKNOWN and f.id in NEEDED]
    if bad:
        more = f" (and {len(bad) - 1} more)" if len(bad) > 1 else ""
        return FactState.BAD, f"Not good: {_lower(bad[0].text)}{more}"
    if open_ones:
        return FactState.UNKNOWN, f"Not shown to be good: {_lower(open_ones[0].text)}"
    if not any(f.id == "signed" and f.state is FactState.GOOD for f in facts):
        return FactState.UNKNOWN, "Not shown to be good: nothing was checked."
    unknown = [f.id for f in facts if f.state is FactState.UNKNOWN]
    rest = f" Not known: {', '.join(dict.fromkeys(unknown))}." if unknown else ""
    return FactState.GOOD, f"Good.{rest}"


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:] if text[1:2].islower() else text


@dataclass(frozen=True)
class Inspection:
    """What was found in a file without any knowledge from outside but the trust anchors."""

    facts: tuple[FileFact, ...]
    signatures: tuple[SignatureFound, ...] = ()
    """In the order in which they were made."""
    attached: dict[str, bytes] = field(default_factory=dict, repr=False)
    """Attached files by name, in the order of the document."""
    described: dict[str, str] = field(default_factory=dict)
    """Their descriptions."""
    stated: dict = field(default_factory=dict)
    """What the attached data say of the advisory: status, number, revision, version, digests."""
    ends: tuple[int, ...] = ()
    """Where each revision of the file ends [byte]."""

    def state(self, name: str, about: str = "") -> FactState:
        """State of a fact; ``NONE`` if it was not looked at."""
        for fact in self.facts:
            if fact.id == name and (not about or fact.about == about):
                return fact.state
        return FactState.NONE
