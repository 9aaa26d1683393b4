"""The errors this package raises on purpose; ``exit_code`` is what the command returns.

All are LoambriefErrors. Those of one part stand there: of keys, signatures and timestamps in
``archive.errors``, of letters in ``mail``, of settings in ``settings``.

Every class passes its arguments to ``super().__init__`` in order, so that an error
survives the trip back from a worker process.
"""

from difflib import get_close_matches

MOST_LISTED = 40
"""Names that are known, in a message."""


class LoambriefError(Exception):
    """Root of all errors raised on purpose; ``exit_code`` is what the command returns."""

    exit_code = 2


class ResourceMissing(LoambriefError):
    """A packaged file could not be found."""


class TableFault(LoambriefError):
    """A data table is malformed or disagrees with its source file."""


class UnknownName(LoambriefError, KeyError):
    """Something was asked for by a name that does not exist."""

    def __init__(self, kind: str, name: str, known: tuple[str, ...] = ()):
        super().__init__(kind, name, known)
        self.kind, self.name, self.known = kind, name, tuple(known)

    def __str__(self) -> str:
        near = get_close_matches(self.name, self.known, n=1, cutoff=0.6)
        part = self.name.lower()
        holding = [name for name in self.known if part and part in name.lower()]
        if near:
            hint = f"; did you mean {near[0]!r}?"
        elif 0 < len(self.known) <= MOST_LISTED:
            hint = "; known: " + ", ".join(self.known)
        elif holding:
            hint = "; with it in the name: " + ", ".join(holding[:MOST_LISTED])
        else:
            hint = ""
        return f"unknown {self.kind} {self.name!r}{hint}"


class ImpossibleInput(LoambriefError, ValueError):
    """An input that cannot be (negative concentration, more than 100 %, empty list)."""

    exit_code = 1


class TextFault(LoambriefError):
    """A message template is missing or was given too few values."""


class RenderFault(LoambriefError):
    """A document cannot be printed as it was put together (a link to nowhere, a skipped level)."""


class ArchiveFault(LoambriefError):
    """An archive is not there, is in use by another process, or cannot be read or written."""


class ArchiveBroken(LoambriefError):
    """An archive does not agree with its own log: something was edited, removed or put in."""

    exit_code = 1


class RecordRefused(LoambriefError):
    """What was asked would spoil the record: a number twice, an erased client, a legal hold."""

    exit_code = 1


class FolderBusy(LoambriefError):
    """Another batch is at work in the output folder."""


class NotOurs(LoambriefError):
    """A file that no batch made, or that was changed since, stands in the way."""


class ClusterFault(LoambriefError):
    """A cluster cannot be reached, is not of this program, or was lost while it worked."""


class PlanFaults(LoambriefError):
    """Own entries of a case that its plan cannot take; ``faults`` holds them all."""

    exit_code = 1

    def __init__(self, faults: tuple = ()):
        super().__init__(faults)
        self.faults = tuple(faults)

    def __str__(self) -> str:
        return "; ".join(f"{fault.found}, wanted {fault.wanted}" for fault in self.faults)


class CaseProblems(LoambriefError):
    """A case file has problems; ``problems`` holds them all, in file order."""

    exit_code = 1

    def __init__(self, problems: tuple = ()):
        super().__init__(problems)
        self.problems = tuple(problems)

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)
