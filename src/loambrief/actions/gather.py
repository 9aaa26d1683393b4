"""Needs out of findings, merged where two findings ask for the same thing."""

from dataclasses import dataclass, replace

from loambrief.findings.model import Confidence, Finding, Need, NeedKind, beyond

_ORDER = (Confidence.LOW, Confidence.MEDIUM, Confidence.HIGH)


@dataclass(frozen=True)
class NeedFor:
    """A need with the findings that ask for it."""

    need: Need
    findings: tuple[Finding, ...]

    @property
    def finding_ids(self) -> tuple[str, ...]:
        return tuple(f.id for f in self.findings)

    @property
    def severity(self) -> int:
        return max(f.severity for f in self.findings)

    @property
    def distance(self) -> float:
        """The farthest that a reading behind the need lies from its line (share of it)."""
        return max(beyond(f) for f in self.findings)

    @property
    def confidence(self) -> Confidence:
        """The weakest confidence among the findings that rest on measurements."""
        return min((f.confidence for f in self.findings), key=_ORDER.index)

    @property
    def key(self) -> tuple[str, str, str]:
        return (self.need.kind.value, self.need.item, self.need.place.id)


def gather(findings: tuple[Finding, ...]) -> tuple[NeedFor, ...]:
    """Needs in a fixed order; the same need from several findings becomes one.

    Where amounts differ the larger stands (both findings must be met), and its range
    covers both.
    """
    merged: dict[tuple[str, str, str], NeedFor] = {}
    for finding in sorted(findings, key=lambda f: f.id):
        for need in finding.needs:
            entry = NeedFor(need, (finding,))
            if entry.key in merged:
                entry = _merge(merged[entry.key], entry)
            merged[entry.key] = entry
    return tuple(merged[key] for key in sorted(merged))


def _merge(old: NeedFor, new: NeedFor) -> NeedFor:
    bigger = max((old.need, new.need), key=lambda n: (n.amount is not None, n.amount or 0.0))
    known = {caution.key for caution in old.need.cautions}
    cautions = old.need.cautions + tuple(c for c in new.need.cautions if c.key not in known)
    return NeedFor(replace(bigger, cautions=cautions), old.findings + new.findings)


def amounts(needs: tuple[NeedFor, ...], kind: NeedKind) -> tuple[NeedFor, ...]:
    return tuple(n for n in needs if n.need.kind is kind)
